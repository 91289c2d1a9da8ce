//! Verdicts, alerts, and the messages about them.

use rusqlite::Row;

use super::values::words;
use super::{LedgerError, Store, Tx};
use crate::ledger::entry::{Seq, Transition};
use crate::units::{OperatorId, StationId, Time};
use rusqlite::ToSql;
use rusqlite::types::{FromSql, FromSqlError, FromSqlResult, ToSqlOutput, ValueRef};

/// The verdict of a station.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct VerdictRow {
    /// The station.
    pub station: StationId,
    /// The verdict's word.
    pub verdict: String,
    /// Since when it stands.
    pub since: Time,
    /// The entry that says so.
    pub seq: Seq,
}

/// An alert, from its first entry to its last.
#[derive(Debug, Clone, PartialEq, Eq)]
#[allow(missing_docs)]
pub struct AlertRow {
    pub id: i64,
    pub kind: String,
    /// The station, device or file it is about.
    pub subject: String,
    pub raised_at: Time,
    pub acknowledged_at: Option<Time>,
    pub cleared_at: Option<Time>,
    /// Who acknowledged it.
    pub operator: Option<OperatorId>,
    /// The word of the last reason.
    pub reason: String,
    /// One sentence for people.
    pub detail: String,
    /// The run of a reminder that it tells of.
    pub run: Option<Time>,
}

impl AlertRow {
    /// The last step it went.
    pub const fn state(&self) -> Transition {
        match (self.cleared_at, self.acknowledged_at) {
            (Some(_), _) => Transition::Cleared,
            (None, Some(_)) => Transition::Acknowledged,
            (None, None) => Transition::Raised,
        }
    }
}

/// How far a message has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum MessageState {
    Due,
    Sent,
    GivenUp,
}

impl MessageState {
    const ALL: [Self; 3] = [Self::Due, Self::Sent, Self::GivenUp];

    /// The word in the column.
    const fn word(self) -> &'static str {
        match self {
            Self::Due => "due",
            Self::Sent => "sent",
            Self::GivenUp => "given_up",
        }
    }
}

words!(MessageState, "a message's state", MessageState::word, |word| {
    MessageState::ALL.into_iter().find(|state| state.word() == word)
});

/// A message to people.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MessageRow {
    /// Stable, so that a receiver can drop a repeat.
    pub key: String,
    /// The alert it is about.
    pub alert: Option<i64>,
    /// The channel it goes through.
    pub channel: String,
    /// JSON.
    pub body: String,
    /// When it was written.
    pub created_at: Time,
    /// How far it has come.
    pub state: MessageState,
}

const ALERT: &str =
    "SELECT id, kind, subject, raised_us, acknowledged_us, cleared_us, operator, reason, detail, run_us FROM alert";
const MESSAGE: &str = "SELECT key, alert, channel, body, created_us, state FROM outbox";
const VERDICT: &str = "SELECT station, verdict, since_us, seq FROM verdict";

fn alert_row(row: &Row<'_>) -> rusqlite::Result<AlertRow> {
    Ok(AlertRow {
        id: row.get(0)?,
        kind: row.get(1)?,
        subject: row.get(2)?,
        raised_at: row.get(3)?,
        acknowledged_at: row.get(4)?,
        cleared_at: row.get(5)?,
        operator: row.get(6)?,
        reason: row.get(7)?,
        detail: row.get(8)?,
        run: row.get(9)?,
    })
}

fn message_row(row: &Row<'_>) -> rusqlite::Result<MessageRow> {
    Ok(MessageRow {
        key: row.get(0)?,
        alert: row.get(1)?,
        channel: row.get(2)?,
        body: row.get(3)?,
        created_at: row.get(4)?,
        state: row.get(5)?,
    })
}

fn verdict_row(row: &Row<'_>) -> rusqlite::Result<VerdictRow> {
    Ok(VerdictRow { station: row.get(0)?, verdict: row.get(1)?, since: row.get(2)?, seq: row.get(3)? })
}

impl Store {
    /// The verdict of `station`, once there is one.
    pub fn verdict(&self, station: &StationId) -> Result<Option<VerdictRow>, LedgerError> {
        self.maybe(&format!("{VERDICT} WHERE station = ?1"), (station,), verdict_row)
    }

    /// The alert with this number.
    pub fn alert(&self, id: i64) -> Result<Option<AlertRow>, LedgerError> {
        self.maybe(&format!("{ALERT} WHERE id = ?1"), (id,), alert_row)
    }

    /// The alert of this kind that stands (is not cleared) for `subject`.
    pub fn standing_alert(&self, kind: &str, subject: &str) -> Result<Option<AlertRow>, LedgerError> {
        self.maybe(
            &format!("{ALERT} WHERE kind = ?1 AND subject = ?2 AND cleared_us IS NULL"),
            (kind, subject),
            alert_row,
        )
    }

    /// All alerts that stand, by number.
    pub fn standing_alerts(&self) -> Result<Vec<AlertRow>, LedgerError> {
        self.all(&format!("{ALERT} INDEXED BY alert_standing WHERE cleared_us IS NULL ORDER BY id"), (), alert_row)
    }

    /// All alerts that ever were, by number.
    pub fn alerts(&self) -> Result<Vec<AlertRow>, LedgerError> {
        self.all(&format!("{ALERT} ORDER BY id"), (), alert_row)
    }

    /// Alerts for `subject` that tell of runs from `from` up to and including `to`, by run.
    pub fn told_runs(&self, subject: &str, from: Time, to: Time) -> Result<Vec<AlertRow>, LedgerError> {
        let told = "WHERE subject = ?1 AND run_us IS NOT NULL AND run_us BETWEEN ?2 AND ?3 ORDER BY run_us, id";
        self.all(&format!("{ALERT} INDEXED BY alert_run {told}"), (subject, from, to), alert_row)
    }

    /// The number for the next alert.
    pub fn next_alert_id(&self) -> Result<i64, LedgerError> {
        self.one("SELECT coalesce(max(id), 0) + 1 FROM alert", (), |row| row.get(0))
    }

    /// The message with this key.
    pub fn message(&self, key: &str) -> Result<Option<MessageRow>, LedgerError> {
        self.maybe(&format!("{MESSAGE} WHERE key = ?1"), (key,), message_row)
    }

    /// All messages that are still to be delivered, the oldest first.
    pub fn due_messages(&self) -> Result<Vec<MessageRow>, LedgerError> {
        self.all(&format!("{MESSAGE} WHERE state = 'due' ORDER BY created_us, key"), (), message_row)
    }
}

impl Tx<'_> {
    /// Keeps a verdict in place of the station's last.
    pub fn put_verdict(&self, row: &VerdictRow) -> Result<(), LedgerError> {
        self.run(
            "INSERT OR REPLACE INTO verdict (station, verdict, since_us, seq) VALUES (?1, ?2, ?3, ?4)",
            (&row.station, &row.verdict, row.since, row.seq),
        )?;
        Ok(())
    }

    /// Keeps an alert, in place of what was known of the same number. A second one that stands for the same kind and subject
    /// is an error.
    pub fn put_alert(&self, row: &AlertRow) -> Result<(), LedgerError> {
        self.run(
            "INSERT INTO alert (id, kind, subject, raised_us, acknowledged_us, cleared_us, operator, reason, detail, run_us)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)
             ON CONFLICT (id) DO UPDATE SET kind = ?2, subject = ?3, raised_us = ?4, acknowledged_us = ?5,
                 cleared_us = ?6, operator = ?7, reason = ?8, detail = ?9, run_us = ?10",
            (
                row.id,
                &row.kind,
                &row.subject,
                row.raised_at,
                row.acknowledged_at,
                row.cleared_at,
                &row.operator,
                &row.reason,
                &row.detail,
                row.run,
            ),
        )?;
        Ok(())
    }

    /// Keeps a message unless its key is known; tells whether it was new.
    pub fn put_message(&self, row: &MessageRow) -> Result<bool, LedgerError> {
        let rows = self.run(
            "INSERT INTO outbox (key, alert, channel, body, created_us, state) VALUES (?1, ?2, ?3, ?4, ?5, ?6)
             ON CONFLICT (key) DO NOTHING",
            (&row.key, row.alert, &row.channel, &row.body, row.created_at, row.state),
        )?;
        Ok(rows > 0)
    }

    /// Notes how far a message has come; tells whether there is one with this key.
    pub fn mark_message(&self, key: &str, state: MessageState) -> Result<bool, LedgerError> {
        self.run("UPDATE outbox SET state = ?2 WHERE key = ?1", (key, state)).map(|rows| rows > 0)
    }
}
