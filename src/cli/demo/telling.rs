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
            | Notice::Settled(_)
            | Notice::Round { .. }
            | Notice::Stopping => Ok(()),
        }
    }

    fn of_alert(&mut self, at: Time, step: &entry::Alert) -> Result<(), Failure> {
        let Some(kind) = Kind::from_word(&step.kind) else { return Ok(()) };
        match step.transition {
            Transition::Raised => {
                self.raised.insert(step.id, at);
                let headline = step.headline.clone().unwrap_or_else(|| say::headline(kind, &step.subject));
                let why = match step.detail.lines().next() {
                    // Why a file is refused has just been told.
                    Some(first) if kind != Kind::FileRefused => format!(". {first}"),
                    _ => ".".to_owned(),
                };
                self.line(at, &format!("alert {}", step.id), &format!("{headline}{why}"))
            }
            Transition::Repeated => {
                let lasted = at.since(self.raised.get(&step.id).copied().unwrap_or(at));
                self.line(at, &format!("alert {}", step.id), &format!("{}.", say::still(kind, &step.subject, lasted)))
            }
            Transition::Cleared if !kind.end_is_news() => Ok(()),
            Transition::Cleared => {
                let why = Cleared::from_word(&step.reason).unwrap_or(Cleared::ConditionOver);
                let lasted = at.since(self.raised.get(&step.id).copied().unwrap_or(at));
                self.line(
                    at,
                    &format!("alert {}", step.id),
                    &format!("{}.", say::closing(kind, &step.subject, why, lasted)),
                )
            }
            Transition::Acknowledged => {
                let who = step.operator.as_ref().map(|who| format!(" by {who}")).unwrap_or_default();
                let headline = say::headline(kind, &step.subject);
                self.line(at, &format!("alert {}", step.id), &format!("{headline} - acknowledged{who}."))
            }
        }
    }

    fn line(&self, at: Time, who: &str, what: &str) -> Result<(), Failure> {
        output::print(&format!("{:>11}  {who:<8}  {what}\n", say::day(&self.zone, at)))
    }
}

fn of_verdict(verdict: &entry::Verdict) -> String {
    let known = Verdict::from_word(&verdict.verdict).unwrap_or(Verdict::Unknown);
    let before = verdict.from.as_deref().and_then(Verdict::from_word);
    let before = before.map(|before| format!(", before {}", say::verdict(before))).unwrap_or_default();
    let why = match known {
        // Where too little is known, a number would pass for knowledge.
        Verdict::Unknown => "a reading is needed".to_owned(),
        _ => format!("risk of being out of tolerance now {}", say::percent(verdict.risk.get())),
    };
    format!("{}: {}{before} ({why})", verdict.station, say::verdict(known))
}
