//! Where records come from and what became of them: when they were entered, by whom, and which entries correct them.

use super::{LedgerError, Store, Tx};
use crate::ledger::entry::{Entry, Seq};
use crate::reading::OperatorBy;
use crate::units::{OperatorId, Time};

/// How a reading came into the ledger.
#[derive(Debug, Clone, PartialEq, Eq)]
#[allow(missing_docs)]
pub struct Origin {
    /// When it was appended.
    pub entered: Time,
    pub operator: Option<OperatorId>,
    pub operator_by: Option<OperatorBy>,
}

impl Store {
    /// How the reading of this entry came in; `None` where there is no such entry. Its spectrum is not read.
    pub fn origin(&self, seq: Seq) -> Result<Option<Origin>, LedgerError> {
        let found = self.maybe(
            "SELECT time, body ->> '$.reading.operator', body ->> '$.reading.operator_by' FROM entry WHERE seq = ?1",
            (seq,),
            |row| Ok((row.get::<_, String>(0)?, row.get(1)?, row.get(2)?)),
        )?;
        let Some((time, operator, operator_by)) = found else { return Ok(None) };
        let entered = Time::parse(&time)
            .map_err(|bad| LedgerError::Damaged { what: format!("entry {seq}: its time cannot be read: {bad}") })?;
        Ok(Some(Origin { entered, operator, operator_by }))
    }

    /// The last entry that was appended up to and including `at`; `None` where the ledger is younger. Where the clock was set back
    /// since, entries before that one may bear later times; they were known all the same. Looks from the end backwards.
    pub fn last_entry_by(&self, at: Time) -> Result<Option<Seq>, LedgerError> {
        let mut statement = self.prepared("SELECT seq, time FROM entry ORDER BY seq DESC")?;
        let mut rows = statement.query(())?;
        while let Some(row) = rows.next()? {
            if Time::parse(row.get_ref(1)?.as_str().unwrap_or_default()).is_ok_and(|time| time <= at) {
                return Ok(Some(row.get(0)?));
            }
        }
        Ok(None)
    }

    /// The last entry that says that a backup took the place of a history that had gone further.
    pub fn last_restored(&self) -> Result<Option<Seq>, LedgerError> {
        self.maybe("SELECT seq FROM entry WHERE kind = 'restored' ORDER BY seq DESC LIMIT 1", (), |row| row.get(0))
    }

    /// The entries that correct the one of this number, in their order: what took it back, or let it count.
    pub fn corrections(&self, target: Seq) -> Result<Vec<Entry>, LedgerError> {
        let seqs: Vec<Seq> =
            self.all("SELECT seq FROM correction WHERE target = ?1 ORDER BY seq", (target,), |row| row.get(0))?;
        let entries = seqs.into_iter().map(|seq| self.entry(seq));
        entries.filter_map(Result::transpose).collect()
    }
}

impl Tx<'_> {
    /// Keeps that the entry `seq` corrects the entry `target`.
    pub fn put_correction(&self, seq: Seq, target: Seq) -> Result<(), LedgerError> {
        self.run("INSERT INTO correction (seq, target) VALUES (?1, ?2)", (seq, target)).map(|_| ())
    }
}
