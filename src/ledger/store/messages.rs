//! The outbox: messages, how far each has come, and the spans for which they wait.

use rusqlite::types::{FromSql, FromSqlError, FromSqlResult, ToSqlOutput, ValueRef};
use rusqlite::{Row, ToSql};

use super::values::words;
use super::{LedgerError, Store, Tx};
use crate::reading::OperatorBy;
use crate::units::{OperatorId, Time};

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
    /// When it was delivered or given up.
    pub ended_at: Option<Time>,
}

/// A span for which messages about something wait.
#[derive(Debug, Clone, PartialEq, Eq)]
#[allow(missing_docs)]
pub struct MaintenanceRow {
    pub id: i64,
    /// The station or thing; `None` for the whole site.
    pub subject: Option<String>,
    pub from: Time,
    /// Its end as announced.
    pub until: Time,
    /// When somebody ended it sooner.
    pub ended_at: Option<Time>,
    pub reason: String,
    pub operator: Option<OperatorId>,
    pub operator_by: Option<OperatorBy>,
}

const MESSAGE: &str = "SELECT key, alert, channel, body, created_us, state, ended_us FROM outbox";
const MAINTENANCE: &str =
    "SELECT id, subject, from_us, until_us, ended_us, reason, operator, operator_by FROM maintenance";

fn message_row(row: &Row<'_>) -> rusqlite::Result<MessageRow> {
    Ok(MessageRow {
        key: row.get(0)?,
        alert: row.get(1)?,
        channel: row.get(2)?,
        body: row.get(3)?,
        created_at: row.get(4)?,
        state: row.get(5)?,
        ended_at: row.get(6)?,
    })
}

fn maintenance_row(row: &Row<'_>) -> rusqlite::Result<MaintenanceRow> {
    Ok(MaintenanceRow {
        id: row.get(0)?,
        subject: row.get(1)?,
        from: row.get(2)?,
        until: row.get(3)?,
        ended_at: row.get(4)?,
        reason: row.get(5)?,
        operator: row.get(6)?,
        operator_by: row.get(7)?,
    })
}

impl Store {
    /// The message with this key.
    pub fn message(&self, key: &str) -> Result<Option<MessageRow>, LedgerError> {
        self.maybe(&format!("{MESSAGE} WHERE key = ?1"), (key,), message_row)
    }

    /// All messages that are still to be delivered, the oldest first.
    pub fn due_messages(&self) -> Result<Vec<MessageRow>, LedgerError> {
        self.all(&format!("{MESSAGE} WHERE state = 'due' ORDER BY created_us, key"), (), message_row)
    }

    /// All messages that were given up and not tried again since, the oldest first.
    pub fn given_up_messages(&self) -> Result<Vec<MessageRow>, LedgerError> {
        self.all(&format!("{MESSAGE} WHERE state = 'given_up' ORDER BY created_us, key"), (), message_row)
    }

    /// When something last went out through a channel.
    pub fn last_sent(&self, channel: &str) -> Result<Option<Time>, LedgerError> {
        let last = "SELECT max(ended_us) FROM outbox INDEXED BY outbox_sent
                    WHERE state = 'sent' AND ended_us IS NOT NULL AND channel = ?1";
        self.one(last, (channel,), |row| row.get(0))
    }

    /// What a channel complained of when something last went out through it all the same.
    pub fn last_remark(&self, channel: &str) -> Result<Option<String>, LedgerError> {
        let last = "SELECT remark FROM outbox INDEXED BY outbox_sent
                    WHERE state = 'sent' AND ended_us IS NOT NULL AND channel = ?1 ORDER BY ended_us DESC LIMIT 1";
        Ok(self.maybe(last, (channel,), |row| row.get(0))?.flatten())
    }

    /// The maintenance that stands at `now`, the one that ends last first.
    pub fn standing_maintenance(&self, now: Time) -> Result<Vec<MaintenanceRow>, LedgerError> {
        let standing = "INDEXED BY maintenance_standing WHERE ended_us IS NULL AND until_us > ?1";
        self.all(&format!("{MAINTENANCE} {standing} ORDER BY until_us DESC"), (now,), maintenance_row)
    }

    /// All maintenance there ever was, by number.
    pub fn maintenance(&self) -> Result<Vec<MaintenanceRow>, LedgerError> {
        self.all(&format!("{MAINTENANCE} ORDER BY id"), (), maintenance_row)
    }

    /// The number for the next maintenance.
    pub fn next_maintenance_id(&self) -> Result<i64, LedgerError> {
        self.one("SELECT coalesce(max(id), 0) + 1 FROM maintenance", (), |row| row.get(0))
    }
}

impl Tx<'_> {
    /// Keeps a message unless its key is known; tells whether it was new.
    pub fn put_message(&self, row: &MessageRow) -> Result<bool, LedgerError> {
        let rows = self.run(
            "INSERT INTO outbox (key, alert, channel, body, created_us, state, ended_us)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7) ON CONFLICT (key) DO NOTHING",
            (&row.key, row.alert, &row.channel, &row.body, row.created_at, row.state, row.ended_at),
        )?;
        Ok(rows > 0)
    }

    /// Notes how far a message has come, when it ended and what the channel complained of; tells whether there is one with this
    /// key.
    pub fn mark_message(
        &self,
        key: &str,
        state: MessageState,
        ended: Option<Time>,
        remark: Option<&str>,
    ) -> Result<bool, LedgerError> {
        let marked = "UPDATE outbox SET state = ?2, ended_us = ?3, remark = ?4 WHERE key = ?1";
        self.run(marked, (key, state, ended, remark)).map(|rows| rows > 0)
    }

    /// Keeps a maintenance, in place of what was known of the same number.
    pub fn put_maintenance(&self, row: &MaintenanceRow) -> Result<(), LedgerError> {
        self.run(
            "INSERT OR REPLACE INTO maintenance (id, subject, from_us, until_us, ended_us, reason, operator, operator_by)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
            (row.id, &row.subject, row.from, row.until, row.ended_at, &row.reason, &row.operator, row.operator_by),
        )?;
        Ok(())
    }

    /// Ends a maintenance before its time.
    pub fn end_maintenance(&self, id: i64, at: Time) -> Result<(), LedgerError> {
        self.run("UPDATE maintenance SET ended_us = ?2 WHERE id = ?1", (id, at)).map(|_| ())
    }
}
