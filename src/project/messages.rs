//! What alerts and summaries put into the outbox, one message for each channel, and how messages end there.

use crate::alert::{self, Cleared};
use crate::config::Config;
use crate::ledger::entry::{self, Delivery, Outcome, Resend, Summary, Transition};
use crate::ledger::store::{AlertRow, MessageRow, MessageState};
use crate::ledger::{LedgerError, Tx};
use crate::outbox::{self, LOG_CHANNEL, Message, Tells};
use crate::say;
use crate::units::Time;
use crate::zone::LocalZone;

/// Lets an alert go its step and writes what people are told of it.
pub fn alert_step(tx: &Tx, at: Time, step: &entry::Alert, config: &Config) -> Result<(), LedgerError> {
    let row = match (step.transition, tx.alert(step.id)?) {
        (Transition::Raised, _) | (_, None) => AlertRow {
            id: step.id,
            kind: step.kind.clone(),
            subject: step.subject.clone(),
            raised_at: at,
            acknowledged_at: None,
            cleared_at: None,
            operator: None,
            operator_by: None,
            reason: step.reason.clone(),
            detail: step.detail.clone(),
            run: step.run,
            repeated_at: None,
        },
        (Transition::Acknowledged, Some(row)) => AlertRow {
            acknowledged_at: Some(at),
            operator: step.operator.clone(),
            operator_by: step.operator_by,
            ..row
        },
        (Transition::Repeated, Some(row)) => AlertRow { repeated_at: Some(at), ..row },
        (Transition::Cleared, Some(row)) => AlertRow { cleared_at: Some(at), reason: step.reason.clone(), ..row },
    };
    tx.put_alert(&row)?;
    match of_step(tx, at, step, &row, config) {
        Some(message) => put(tx, &message, config),
        None => Ok(()),
    }
}

/// What is told of a step; `None` where that is no news.
fn of_step(tx: &Tx, at: Time, step: &entry::Alert, row: &AlertRow, config: &Config) -> Option<Message> {
    let kind = alert::Kind::from_word(&step.kind)?;
    let (lasted, zone) = (at.since(row.raised_at), LocalZone(config.site.zone));
    let mut lines: Vec<String> = step.detail.lines().map(str::to_owned).collect();
    let (state, headline) = match step.transition {
        Transition::Raised => {
            let headline = step.headline.clone().unwrap_or_else(|| say::headline(kind, &step.subject));
            (Tells::Raised, headline)
        }
        Transition::Repeated => (Tells::Still, say::still(kind, &step.subject, lasted)),
        Transition::Cleared if kind.end_is_news() => {
            let why = Cleared::from_word(&step.reason).unwrap_or(Cleared::ConditionOver);
            lines = say::of_end(why, row.raised_at, at, &zone);
            (Tells::Cleared, say::closing(kind, &step.subject, why, lasted))
        }
        // Whoever acknowledges knows already.
        Transition::Cleared | Transition::Acknowledged => return None,
    };
    // Told again as often as it stands; all else happens once.
    let word = match state {
        Tells::Still => format!("{}/{at}", state.word()),
        _ => state.word().to_owned(),
    };
    Some(Message {
        key: outbox::key(tx.site(), step.id, &word),
        site: tx.site().clone(),
        alert: Some(step.id),
        kind: step.kind.clone(),
        subject: step.subject.clone(),
        state,
        at,
        at_local: zone.show_full(at),
        since: row.raised_at,
        since_local: zone.show_full(row.raised_at),
        headline,
        lines,
    })
}

/// Writes a morning's summary for every channel.
pub fn of_summary(tx: &Tx, at: Time, summary: &Summary, config: &Config) -> Result<(), LedgerError> {
    let local = LocalZone(config.site.zone).show_full(at);
    let message = Message {
        key: outbox::summary_key(tx.site(), &summary.day),
        site: tx.site().clone(),
        alert: None,
        kind: Tells::Summary.word().to_owned(),
        subject: tx.site().to_string(),
        state: Tells::Summary,
        at,
        at_local: local.clone(),
        since: at,
        since_local: local,
        headline: summary.headline.clone(),
        lines: summary.lines.clone(),
    };
    put(tx, &message, config)
}

/// One row for each channel, the log first. What tells of a channel does not go through it.
fn put(tx: &Tx, message: &Message, config: &Config) -> Result<(), LedgerError> {
    // A message is plain texts, numbers and words: it can always be written.
    let Ok(body) = serde_json::to_string(message) else { return Ok(()) };
    let of_channel = alert::Kind::from_word(&message.kind) == Some(alert::Kind::ChannelFailing);
    let configured = config.channels.iter().map(|channel| channel.id.as_str());
    for channel in std::iter::once(LOG_CHANNEL).chain(configured.filter(|id| !(of_channel && *id == message.subject))) {
        tx.put_message(&MessageRow {
            key: format!("{}/{channel}", message.key),
            alert: message.alert,
            channel: channel.to_owned(),
            body: body.clone(),
            created_at: message.at,
            state: MessageState::Due,
            ended_at: None,
        })?;
    }
    Ok(())
}

/// Notes how messages that left together ended.
pub fn delivered(tx: &Tx, at: Time, delivery: &Delivery) -> Result<(), LedgerError> {
    let (state, remark) = match delivery.outcome {
        Outcome::Sent => (MessageState::Sent, delivery.error.as_deref()),
        Outcome::GivenUp => (MessageState::GivenUp, None),
    };
    for key in delivery.keys() {
        tx.mark_message(key, state, Some(at), remark)?;
    }
    Ok(())
}

/// Lets messages that were given up wait again.
pub fn resend(tx: &Tx, resend: &Resend) -> Result<(), LedgerError> {
    for key in &resend.messages {
        tx.mark_message(key, MessageState::Due, None, None)?;
    }
    Ok(())
}
