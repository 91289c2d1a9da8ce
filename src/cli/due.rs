//! `due`: everything that is due, by date, with its reason.

use std::path::Path;

use schemars::JsonSchema;
use serde::Serialize;

use super::answer::LocalDate;
use super::args::When;
use super::fail::{Failure, Kind};
use super::output;
use super::session::{Asked, Session};
use crate::evaluate::{self, Estimates};
use crate::publish::feed::{self, Changes, Foreign};
use crate::say;
use crate::schedule::{Due, Source, merge};
use crate::units::{Days, DeviceId, StationId, Time};
use crate::zone::LocalZone;

/// The farthest that is answered: ten years.
const FARTHEST_DAYS: f64 = 3653.0;

/// What is due, by date, overdue first, with the reason of each.
#[derive(Debug, Serialize, JsonSchema)]
pub struct DueList {
    /// The instant that the answer speaks of.
    as_of: Time,
    /// The last day that is looked at.
    until: LocalDate,
    /// One line for each thing that is to be done, the earliest first.
    due: Vec<DueLine>,
}

/// Something that is due.
#[derive(Debug, Serialize, JsonSchema)]
pub struct DueLine {
    /// The day by which; in the past where it is overdue.
    date: LocalDate,
    /// The thing that it is done to; null where it is none.
    device: Option<DeviceId>,
    /// The first of `stations`; null where none is concerned.
    station: Option<StationId>,
    /// What is to be done: `read`, `read-paper`, `look-at-held`, `look-at-jump`, `shut-out-light`, `clean`, `turn-dimmer`, `turn-colour-dial`,
    /// `recalibrate`, `replace`, `certificate`, `repair`, or a reminder's own words.
    task: String,
    /// All of `reasons`, one after the other.
    reason: String,
    /// The first of `sources`.
    source: Option<SourceWord>,
    /// The instant by which.
    at: Time,
    /// Whether its day is past.
    overdue: bool,
    /// The stations that it concerns.
    stations: Vec<StationId>,
    /// Why, each as a sentence.
    reasons: Vec<String>,
    /// Where the demands come from.
    sources: Vec<SourceWord>,
}

/// Where a demand comes from.
#[derive(Debug, Clone, Copy, Serialize, JsonSchema)]
#[serde(transparent)]
#[schemars(extend("enum" = Source::ALL.map(Source::word)))]
pub struct SourceWord(&'static str);

/// Answers `due`.
pub fn due(session: Session, within: f64, ics: Option<&Path>, when: &When, json: bool) -> Result<(), Failure> {
    if !(0.0..=FARTHEST_DAYS).contains(&within) {
        let message = format!("--within {within}: expected days from 0 to {FARTHEST_DAYS:.0}");
        return Err(Failure::new(Kind::Usage, message));
    }
    let Asked { session, mut ledger, as_of, .. } = session.asked(&when.at, &when.known)?;
    let demands = ledger.read(|store| {
        let mut estimates = Estimates::new(store, &session.config, as_of);
        evaluate::demands(&mut estimates, &session.config)
    })?;
    let zone = session.zone();
    let list = merge(demands, as_of);
    // To the end of the last day.
    let until = as_of.plus(Days(within));
    let mut written = String::new();
    if let Some(file) = ics {
        let changes = feed::refresh(file, &session.config, &list, as_of, zone.day(until), Foreign::Refuse)
            .map_err(|why| Failure::new(Kind::System, why.to_string()))?;
        written = format!("\n{}: {}\n", file.display(), in_calendar(&changes));
    }
    let (shown, later): (Vec<&Due>, Vec<&Due>) = list.iter().partition(|due| zone.day(due.date) <= zone.day(until));
    if json {
        let due = shown.iter().map(|due| DueLine::of(due, as_of, &zone)).collect();
        return output::json(&DueList { as_of, until: LocalDate::of(until, &zone), due });
    }
    output::print(&(as_text(&shown, later.first().copied(), as_of, until, &zone) + &written))
}

/// `5 entries, 1 new, 1 moved, 1 cancelled.`
fn in_calendar(changes: &Changes) -> String {
    let entries = say::entries(changes.standing);
    let others = [(changes.new, "new"), (changes.moved, "moved"), (changes.cancelled, "cancelled")];
    let others = others.iter().filter(|(count, _)| *count > 0).map(|(count, word)| format!(", {count} {word}"));
    format!("{entries}{}.", others.collect::<String>())
}

impl DueLine {
    fn of(due: &Due, as_of: Time, zone: &LocalZone) -> Self {
        let reasons = reasons(due, as_of, zone);
        let stations: Vec<StationId> = due.stations().into_iter().cloned().collect();
        let sources: Vec<SourceWord> = due.sources().into_iter().map(|source| SourceWord(source.word())).collect();
        Self {
            date: LocalDate::of(due.date, zone),
            device: due.device.clone(),
            station: stations.first().cloned(),
            task: due.work.word().to_owned(),
            reason: reasons.join(" "),
            source: sources.first().copied(),
            at: due.date,
            overdue: overdue(due, as_of, zone),
            stations,
            reasons,
            sources,
        }
    }
}

fn reasons(due: &Due, as_of: Time, zone: &LocalZone) -> Vec<String> {
    due.because.iter().map(|(date, why)| say::because(why, *date, as_of, zone)).collect()
}

fn overdue(due: &Due, as_of: Time, zone: &LocalZone) -> bool {
    zone.day(due.date) < zone.day(as_of)
}

fn as_text(shown: &[&Due], later: Option<&Due>, as_of: Time, until: Time, zone: &LocalZone) -> String {
    let next = later.map(|due| format!(" Next: {}, {}.", say::work(due), say::day(zone, due.date))).unwrap_or_default();
    if shown.is_empty() {
        return format!("Nothing is due until {}.{next}\n", say::day(zone, until));
    }
    let today = zone.day(as_of);
    let late = shown.iter().filter(|due| zone.day(due.date) < today).count();
    let now = shown.iter().filter(|due| zone.day(due.date) == today).count();
    let ahead = shown.len() - late - now;
    let parts = [(late, "overdue".to_owned()), (now, "due today".to_owned())];
    let mut parts: Vec<String> =
        parts.into_iter().filter(|(count, _)| *count > 0).map(|(count, word)| format!("{count} {word}")).collect();
    if parts.is_empty() {
        parts.push("Nothing is due today".to_owned());
    }
    if ahead > 0 {
        parts.push(format!("{ahead} more until {}", say::day(zone, until)));
    }
    let mut text = format!("{}.\n", output::strong(&parts.join(", ")));
    for due in shown {
        let day = zone.day(due.date);
        let when = if day < today {
            format!("overdue since {}", say::day(zone, due.date))
        } else if day == today {
            "today".to_owned()
        } else {
            say::day(zone, due.date)
        };
        text.push_str(&format!("\n{when}: {}\n", output::strong(&say::work(due))));
        for (reason, (_, why)) in reasons(due, as_of, zone).iter().zip(&due.because) {
            text.push_str(&format!("    {reason} ({})\n", why.source().word()));
        }
    }
    if ahead == 0 && !next.is_empty() {
        text.push_str(&format!("\n{}\n", next.trim_start()));
    }
    text
}
