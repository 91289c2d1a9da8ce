//! `maintenance`: spans for which messages about something wait, begun, ended and listed.

use chrono::{NaiveDate, NaiveTime};
use schemars::JsonSchema;
use serde::Serialize;

use super::fail::{Failure, Kind};
use super::output;
use super::session::Session;
use crate::acts;
use crate::ledger::store::MaintenanceRow;
use crate::reading::OperatorBy;
use crate::say;
use crate::units::{OperatorId, Time};

/// The answer of `maintenance --json`.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Answer {
    /// Every maintenance there ever was, the newest first.
    maintenance: Vec<Span>,
}

/// A span for which messages about something wait.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Span {
    /// Its number.
    id: i64,
    /// The station or thing; null for the whole site.
    subject: Option<String>,
    /// Its begin.
    from: Time,
    /// Its end as announced.
    until: Time,
    /// When somebody ended it sooner.
    ended_at: Option<Time>,
    /// What is done.
    reason: String,
    /// Who said so; null where nobody is known.
    operator: Option<OperatorId>,
    /// Whence that is known; null where nobody is, and in a ledger of before this was kept.
    operator_by: Option<OperatorBy>,
    /// Whether it stands now.
    stands: bool,
}

/// Announces one.
pub fn begin(session: Session, subject: Option<&str>, until: &str, reason: &str) -> Result<(), Failure> {
    if reason.trim().is_empty() {
        return Err(Failure::new(Kind::Usage, "--reason: expected what is done, in a few words"));
    }
    let zone = session.zone();
    let end = match until.parse::<NaiveDate>() {
        // A day means its evening.
        Ok(day) => zone.at(day, NaiveTime::from_hms_opt(23, 59, 59).unwrap_or(NaiveTime::MIN)),
        Err(_) => zone.read(until).map_err(|bad| Failure::new(Kind::Usage, format!("--until: {bad}")))?,
    };
    let (now, operator) = (session.clock.now(), session.operator.as_ref());
    let mut ledger = session.ledger()?;
    let by = operator.map(|by| say::who(&by.id, Some(by.by), &session.config.things.operators));
    let id = acts::begin_maintenance(&mut ledger, &session.config, subject, end, reason, operator, now)?;
    output::print(&format!(
        "{}\nWhat still stands then is told. `twinwhite maintenance --end {id}` ends it sooner.\n",
        say::maintenance(subject, end, reason, by.as_deref(), &zone)
    ))
}

/// Ends one before its time.
pub fn end(session: Session, id: i64) -> Result<(), Failure> {
    let mut ledger = session.ledger()?;
    let now = session.clock.now();
    acts::end_maintenance(&mut ledger, &session.config, id, session.operator.as_ref(), now)?;
    let others = ledger.standing_maintenance(now)?;
    let told = match others.as_slice() {
        [] => "What waited is told now.".to_owned(),
        [other] => format!("What waited for it alone is told now; maintenance {} still stands.", other.id),
        others => format!("What waited for it alone is told now; {} others still stand.", others.len()),
    };
    output::print(&format!("Maintenance {id} is over. {told}\n"))
}

/// Lists them, the newest first.
pub fn list(session: Session, json: bool) -> Result<(), Failure> {
    let now = session.clock.now();
    let mut rows = session.reader()?.read(|store| store.maintenance())?;
    rows.reverse();
    if json {
        let maintenance = rows.into_iter().map(|row| as_json(row, now)).collect();
        return output::json(&Answer { maintenance });
    }
    if rows.is_empty() {
        return output::print("No maintenance was ever announced.\n");
    }
    let text: String = rows.iter().map(|row| as_text(row, now, &session)).collect();
    output::print(&text)
}

fn stands(row: &MaintenanceRow, now: Time) -> bool {
    row.ended_at.is_none() && row.from <= now && now < row.until
}

/// A span as JSON.
pub fn as_json(row: MaintenanceRow, now: Time) -> Span {
    Span {
        stands: stands(&row, now),
        id: row.id,
        subject: row.subject,
        from: row.from,
        until: row.until,
        ended_at: row.ended_at,
        reason: row.reason,
        operator: row.operator,
        operator_by: row.operator_by,
    }
}

fn as_text(row: &MaintenanceRow, now: Time, session: &Session) -> String {
    let zone = session.zone();
    let about = row.subject.as_deref().unwrap_or("the whole site");
    let named = &session.config.things.operators;
    let by = row.operator.as_ref().map(|by| format!(", {}", say::who(by, row.operator_by, named))).unwrap_or_default();
    let end = match row.ended_at {
        Some(at) => format!("ended {}", zone.show(at)),
        None if stands(row, now) => output::strong(&format!("stands until {}", zone.show(row.until))),
        None => format!("over since {}", zone.show(row.until)),
    };
    format!("{:>4}  {about}: {}{by}\n      from {}, {end}\n", row.id, row.reason, zone.show(row.from))
}
