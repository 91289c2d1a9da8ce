//! `alerts` and `ack`: what needs attention, and that somebody has taken notice.

use schemars::JsonSchema;
use serde::Serialize;

use super::args::{AsOf, KnownAt};
use super::fail::Failure;
use super::output;
use super::session::{Asked, Session};
use crate::acts;
use crate::alert::{Kind, State};
use crate::config::Config;
use crate::evaluate::state_of;
use crate::ledger::store::AlertRow;
use crate::reading::OperatorBy;
use crate::say;
use crate::units::{OperatorId, Time};
use crate::zone::LocalZone;

/// All alerts, or those that stand, the newest first.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Alerts {
    /// The alerts.
    alerts: Vec<AlertJson>,
}

/// A condition that somebody should act on.
#[derive(Debug, Serialize, JsonSchema)]
pub struct AlertJson {
    /// Its number, as `ack` takes it.
    #[schemars(range(min = 1))]
    id: i64,
    /// What sort of condition it is.
    #[schemars(extend("enum" = Kind::ALL.map(Kind::word)))]
    kind: String,
    /// The station, device, instrument, file or task that it is about.
    subject: String,
    /// Where it stands.
    #[schemars(extend("enum" = State::ALL.map(State::word)))]
    state: &'static str,
    /// When the condition was seen.
    raised_at: Time,
    /// When a person took notice; null before that.
    acknowledged_at: Option<Time>,
    /// When it was over; null before that.
    cleared_at: Option<Time>,
    /// What is the matter and what to do, for people.
    detail: String,
    /// Who took notice; null where nobody did or nobody was named.
    operator: Option<OperatorId>,
    /// Whence that is known; null where nobody is, and in a ledger of before this was kept.
    operator_by: Option<OperatorBy>,
    /// The word for why it last changed, like `condition-over`.
    #[schemars(extend("pattern" = "^[a-z-]+$"))]
    reason: String,
}

/// Lists alerts, the newest first.
pub fn alerts(session: Session, open: bool, known: &KnownAt, json: bool) -> Result<(), Failure> {
    let Asked { session, mut ledger, as_of, .. } = session.asked(&AsOf { as_of: None }, known)?;
    let mut rows = ledger.read(|store| if open { store.standing_alerts() } else { store.alerts() })?;
    rows.reverse();
    if json {
        return output::json(&Alerts { alerts: rows.iter().map(AlertJson::of).collect() });
    }
    if rows.is_empty() {
        let none = if open { "No alert stands." } else { "There was no alert yet." };
        return output::print(&format!("{none}\n"));
    }
    output::print(&listing(&rows, &session.config, as_of))
}

/// What `alerts` prints of these at `now`.
pub fn listing(rows: &[AlertRow], config: &Config, now: Time) -> String {
    rows.iter().map(|row| as_text(row, config, now)).collect()
}

fn as_text(row: &AlertRow, config: &Config, now: Time) -> String {
    let zone = LocalZone(config.site.zone);
    let headline =
        Kind::from_word(&row.kind).map_or_else(|| row.kind.clone(), |kind| say::headline(kind, &row.subject));
    let state = match (state_of(row), row.cleared_at, row.acknowledged_at) {
        (State::Cleared, Some(at), _) => {
            format!("over since {}, after {}", zone.show(at), say::span(at.since(row.raised_at)))
        }
        (State::Acknowledged, _, Some(at)) => {
            let who = row.operator.as_ref().map(|who| say::who(who, row.operator_by, &config.things.operators));
            let who = who.map(|who| format!(" by {who}")).unwrap_or_default();
            format!("acknowledged {}{who}", zone.show(at))
        }
        _ => "open".to_owned(),
    };
    let mut text = format!("{:>4}  {}\n", row.id, output::strong(&headline));
    let stays = Kind::from_word(&row.kind).and_then(|kind| kind.stays_until(row.raised_at));
    let stays = match stays.filter(|until| row.cleared_at.is_none() && *until > now) {
        Some(until) => format!("; it stays until {} at least, also if all is right again before", zone.show(until)),
        None => String::new(),
    };
    text.push_str(&format!("      raised {}, {state}{stays}\n", zone.show(row.raised_at)));
    if row.cleared_at.is_none() {
        for line in row.detail.lines() {
            text.push_str(&format!("      {line}\n"));
        }
    }
    text
}

impl AlertJson {
    fn of(row: &AlertRow) -> Self {
        Self {
            id: row.id,
            kind: row.kind.clone(),
            subject: row.subject.clone(),
            state: state_of(row).word(),
            raised_at: row.raised_at,
            acknowledged_at: row.acknowledged_at,
            cleared_at: row.cleared_at,
            detail: row.detail.clone(),
            operator: row.operator.clone(),
            operator_by: row.operator_by,
            reason: row.reason.clone(),
        }
    }
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
