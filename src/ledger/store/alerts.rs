//! Verdicts and alerts. The messages about them are in `messages`.

use rusqlite::Row;

use super::{LedgerError, Store, Tx};
use crate::ledger::entry::{Seq, Transition};
use crate::reading::OperatorBy;
use crate::units::{OperatorId, StationId, Time};

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
    pub operator_by: Option<OperatorBy>,
    /// The word of the last reason.
    pub reason: String,
    /// One sentence for people.
    pub detail: String,
    /// The run of a reminder that it tells of.
    pub run: Option<Time>,
    /// When people were last told again that it stands.
    pub repeated_at: Option<Time>,
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

const ALERT: &str =
    "SELECT id, kind, subject, raised_us, acknowledged_us, cleared_us, operator, reason, detail, run_us, repeated_us,
            operator_by
     FROM alert";
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
        repeated_at: row.get(10)?,
        operator_by: row.get(11)?,
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
            "INSERT INTO alert (id, kind, subject, raised_us, acknowledged_us, cleared_us, operator, reason, detail, run_us,
                                repeated_us, operator_by)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12)
             ON CONFLICT (id) DO UPDATE SET kind = ?2, subject = ?3, raised_us = ?4, acknowledged_us = ?5,
                 cleared_us = ?6, operator = ?7, reason = ?8, detail = ?9, run_us = ?10,
                 repeated_us = ?11, operator_by = ?12",
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
                row.repeated_at,
                row.operator_by,
            ),
        )?;
        Ok(())
    }
}
