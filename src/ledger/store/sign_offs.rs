//! Sign-offs: which print was approved where and when, and whether that still stands.

use rusqlite::Row;

use super::{LedgerError, Seq, Store};
use crate::units::{OperatorId, StationId, Time};

/// A sign-off as it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
#[allow(missing_docs)]
pub struct SignOffRow {
    pub seq: Seq,
    pub station: StationId,
    pub job: String,
    pub time: Time,
    pub verdict: String,
    pub operator: Option<OperatorId>,
    /// Whether it was signed although the program objected.
    pub overridden: bool,
    /// The entry that took it back.
    pub withdrawn: Option<Seq>,
}

fn sign_off(row: &Row<'_>) -> rusqlite::Result<SignOffRow> {
    Ok(SignOffRow {
        seq: row.get(0)?,
        station: row.get(1)?,
        job: row.get(2)?,
        time: row.get(3)?,
        verdict: row.get(4)?,
        operator: row.get(5)?,
        overridden: row.get(6)?,
        withdrawn: row.get(7)?,
    })
}

impl Store {
    /// The sign-off of this entry.
    pub fn sign_off(&self, seq: Seq) -> Result<Option<SignOffRow>, LedgerError> {
        let sql =
            "SELECT seq, station, job, time_us, verdict, operator, overridden, withdrawn FROM sign_off WHERE seq = ?1";
        self.maybe(sql, (seq,), sign_off)
    }

    /// Keeps a sign-off.
    pub fn put_sign_off(&self, row: &SignOffRow) -> Result<(), LedgerError> {
        self.run(
            "INSERT INTO sign_off (seq, station, job, time_us, verdict, operator, overridden, withdrawn)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
            (row.seq, &row.station, &row.job, row.time, &row.verdict, &row.operator, row.overridden, row.withdrawn),
        )
        .map(|_| ())
    }

    /// Takes a sign-off back by entry `by`; tells whether there was one that stood.
    pub fn withdraw_sign_off(&self, seq: Seq, by: Seq) -> Result<bool, LedgerError> {
        let sql = "UPDATE sign_off SET withdrawn = ?2 WHERE seq = ?1 AND withdrawn IS NULL";
        self.run(sql, (seq, by)).map(|rows| rows > 0)
    }
}
