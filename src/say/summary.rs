//! The summary of a morning, and how a maintenance is told.

use super::{count, day, percent, span, work};
use crate::schedule::Due;
use crate::station::{Judgement, Verdict};
use crate::units::{Days, Time};
use crate::zone::LocalZone;

/// How a station stands.
pub struct StationLine {
    /// What is thought of it.
    pub judgement: Judgement,
    /// How far ahead it looks.
    pub horizon: Days,
    /// When the one of its two devices that was read longer ago was read; `None` where one never was.
    pub last_read: Option<Time>,
}

/// What came in.
pub struct Intake {
    /// How many readings in the last day; `None` for very many.
    pub taken: Option<u64>,
    /// When anything was measured last.
    pub last: Option<Time>,
}

impl Intake {
    fn nothing(&self) -> bool {
        self.taken == Some(0)
    }
}

/// The first line: the stations by verdict, the worst first; and, so that quiet is never taken for health, that nothing was
/// read.
pub fn summary_headline(stations: &[StationLine], intake: &Intake, zone: &LocalZone) -> String {
    let mut parts: Vec<String> = Vec::new();
    for verdict in [Verdict::Out, Verdict::Unknown, Verdict::AtRisk, Verdict::Matched] {
        let names: Vec<&str> = (stations.iter())
            .filter(|line| line.judgement.verdict == verdict)
            .map(|line| line.judgement.station.as_str())
            .collect();
        if !names.is_empty() {
            parts.push(format!("{} {}", names.join(", "), super::verdict(verdict)));
        }
    }
    if parts.is_empty() {
        parts.push("no station is declared".to_owned());
    }
    let read = match (intake.nothing(), intake.last) {
        (false, _) => String::new(),
        (true, Some(last)) => format!(" - nothing came in since yesterday, last reading {}", day(zone, last)),
        (true, None) => " - nothing was ever read".to_owned(),
    };
    format!("This morning: {}{read}", parts.join("; "))
}

/// The lines below.
pub fn summary(
    stations: &[StationLine],
    intake: &Intake,
    alerts: &[(String, Time)],
    due: &[Due],
    given_up: usize,
    zone: &LocalZone,
) -> Vec<String> {
    let mut lines: Vec<String> = stations.iter().map(|line| of_station(line, zone)).collect();
    lines.push(match intake.taken {
        Some(0) => "No reading came in during the last 24 hours: what stands here rests on older ones.".to_owned(),
        Some(taken) => format!("{} came in during the last 24 hours.", count(taken, "reading")),
        None => "Very many readings came in during the last 24 hours.".to_owned(),
    });
    if alerts.is_empty() {
        lines.push("No alert stands.".to_owned());
    }
    lines.extend(alerts.iter().map(|(headline, since)| format!("Alert: {headline}, since {}.", day(zone, *since))));
    if due.is_empty() {
        lines.push("Nothing is due within 7 days.".to_owned());
    }
    lines.extend(due.iter().map(|due| format!("Due {}: {}.", day(zone, due.date), work(due))));
    if given_up > 0 {
        lines.push(format!("{} given up: see `twinwhite messages`.", count(given_up as u64, "message")));
    }
    lines
}

fn of_station(line: &StationLine, zone: &LocalZone) -> String {
    let judgement = &line.judgement;
    let read = match line.last_read {
        Some(last) => format!("both read by {}", day(zone, last)),
        None => "not both were read yet".to_owned(),
    };
    format!(
        "{}: {}, risk {} now and {} within {}; {read}.",
        judgement.station,
        super::verdict(judgement.verdict),
        percent(judgement.risk),
        percent(judgement.risk_within),
        span(line.horizon)
    )
}

/// A maintenance that stands.
pub fn maintenance(subject: Option<&str>, until: Time, reason: &str, by: Option<&str>, zone: &LocalZone) -> String {
    let about = subject.unwrap_or("the whole site");
    let by = by.map(|by| format!(", {by}")).unwrap_or_default();
    format!("Maintenance of {about} until {}: {reason}{by}. Its messages wait until then.", zone.show(until))
}
