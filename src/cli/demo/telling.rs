//! Tells the demo's story line by line: what people of the room do, and what the daemon finds.

use std::collections::HashMap;

use super::super::fail::Failure;
use super::super::output;
use crate::alert::{Cleared, Kind};
use crate::daemon::{FileEnd, Notice};
use crate::evaluate::Happened;
use crate::ledger::entry::{self, Transition};
use crate::say;
use crate::station::Verdict;
use crate::units::Time;
use crate::zone::LocalZone;

/// Knows what was told so far.
pub struct Telling {
    zone: LocalZone,
    raised: HashMap<i64, Time>,
}

impl Telling {
    /// Nothing was told yet.
    pub fn new(zone: LocalZone) -> Self {
        Self { zone, raised: HashMap::new() }
    }

    /// Something that people of the room do.
    pub fn of_room(&self, at: Time, what: &str) -> Result<(), Failure> {
        self.line(at, "room", what)
    }

    /// What the daemon says; what is not worth a line gets none.
    pub fn of_daemon(&mut self, at: Time, notice: &Notice) -> Result<(), Failure> {
        match notice {
            Notice::Happened(Happened::Verdict(verdict)) => self.line(at, "verdict", &of_verdict(verdict)),
            Notice::Happened(Happened::Alert(step)) => self.of_alert(at, step),
            Notice::File { name, end: FileEnd::Refused { first, .. } } => {
                self.line(at, "refused", &format!("{name} goes to quarantine: {first}."))
            }
            Notice::File { name, end: FileEnd::Incomplete(why) } => self.line(at, "waits", &format!("{name}: {why}")),
            Notice::File { name, end: FileEnd::Taken { held, .. } } if *held > 0 => {
                let held = say::count(*held as u64, "reading");
                self.line(at, "held", &format!("{held} of {name} held back."))
            }
            Notice::Trouble(what) => self.line(at, "trouble", what),
            Notice::Watching { .. }
            | Notice::File { .. }
            | Notice::Message(_)
            | Notice::Reloaded
            | Notice::Round { .. }
            | Notice::Stopping => Ok(()),
        }
    }

    fn of_alert(&mut self, at: Time, step: &entry::Alert) -> Result<(), Failure> {
        let Some(kind) = Kind::from_word(&step.kind) else { return Ok(()) };
        match step.transition {
            Transition::Raised => {
                self.raised.insert(step.id, at);
                let first = step.detail.lines().next().unwrap_or_default();
                let headline = say::headline(kind, &step.subject);
                self.line(at, &format!("alert {}", step.id), &format!("{headline}. {first}"))
            }
            Transition::Cleared => {
                let why = Cleared::from_word(&step.reason).unwrap_or(Cleared::ConditionOver);
                let lasted = at.since(self.raised.get(&step.id).copied().unwrap_or(at));
                self.line(
                    at,
                    &format!("alert {}", step.id),
                    &format!("{}.", say::closing(kind, &step.subject, why, lasted)),
                )
            }
            Transition::Acknowledged => Ok(()),
        }
    }

    fn line(&self, at: Time, who: &str, what: &str) -> Result<(), Failure> {
        output::print(&format!("{:>11}  {who:<8}  {what}\n", say::day(&self.zone, at)))
    }
}

fn of_verdict(verdict: &entry::Verdict) -> String {
    let words = |word: &str| Verdict::from_word(word).map_or_else(|| word.to_owned(), |v| say::verdict(v).to_owned());
    let before = verdict.from.as_deref().map(|from| format!(", before {}", words(from))).unwrap_or_default();
    let risk = say::percent(verdict.risk.get());
    format!("{}: {}{before} (risk of being out now {risk})", verdict.station, words(&verdict.verdict))
}
