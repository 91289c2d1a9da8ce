//! `alerts` and `ack`: what needs attention, and that somebody has taken notice.

use serde_json::{Value, json};

use super::fail::Failure;
use super::output;
use super::session::Session;
use crate::acts;
use crate::alert::{Kind, State};
use crate::evaluate::state_of;
use crate::ledger::store::AlertRow;
use crate::say;
use crate::zone::LocalZone;

/// Lists alerts, the newest first.
pub fn alerts(session: Session, open: bool, json: bool) -> Result<(), Failure> {
    let mut ledger = session.reader()?;
    let mut rows = ledger.read(|store| if open { store.standing_alerts() } else { store.alerts() })?;
    rows.reverse();
    if json {
        return output::json(&json!({ "alerts": rows.iter().map(as_json).collect::<Vec<_>>() }));
    }
    if rows.is_empty() {
        let none = if open { "No alert stands." } else { "There was no alert yet." };
        return output::print(&format!("{none}\n"));
    }
    output::print(&listing(&rows, &session.zone()))
}

/// What `alerts` prints of these.
pub fn listing(rows: &[AlertRow], zone: &LocalZone) -> String {
    rows.iter().map(|row| as_text(row, zone)).collect()
}

fn as_text(row: &AlertRow, zone: &LocalZone) -> String {
    let headline =
        Kind::from_word(&row.kind).map_or_else(|| row.kind.clone(), |kind| say::headline(kind, &row.subject));
    let state = match (state_of(row), row.cleared_at, row.acknowledged_at) {
        (State::Cleared, Some(at), _) => {
            format!("over since {}, after {}", zone.show(at), say::span(at.since(row.raised_at)))
        }
        (State::Acknowledged, _, Some(at)) => {
            let who = row.operator.as_ref().map(|who| format!(" by {who}")).unwrap_or_default();
            format!("acknowledged {}{who}", zone.show(at))
        }
        _ => "open".to_owned(),
    };
    let mut text = format!("{:>4}  {}\n", row.id, output::strong(&headline));
    text.push_str(&format!("      raised {}, {state}\n", zone.show(row.raised_at)));
    if row.cleared_at.is_none() {
        for line in row.detail.lines() {
            text.push_str(&format!("      {line}\n"));
        }
    }
    text
}

fn as_json(row: &AlertRow) -> Value {
    json!({
        "id": row.id,
        "kind": row.kind,
        "subject": row.subject,
        "state": state_of(row).word(),
        "raised_at": row.raised_at,
        "acknowledged_at": row.acknowledged_at,
        "cleared_at": row.cleared_at,
        "detail": row.detail,
        "operator": row.operator,
        "reason": row.reason,
    })
}

/// Acknowledges an alert.
pub fn ack(session: Session, id: i64) -> Result<(), Failure> {
    let mut ledger = session.ledger()?;
    let happened = acts::acknowledge(&mut ledger, &session.config, id, session.operator.as_ref(), session.clock.now())?;
    output::print(&if happened.is_empty() {
        format!("Alert {id} was already acknowledged.\n")
    } else if happened.len() > 1 {
        format!("Alert {id} is acknowledged, and over thereby.\n")
    } else {
        format!("Alert {id} is acknowledged. It stays open until its cause is gone.\n")
    })
}
