//! Spectra of old readings: which there are, and taking one out.

use super::{LedgerError, RawEntry, Store, Tx};
use crate::ledger::entry::{Body, Pruned, ReadingTaken, Seq};
use crate::units::Time;

/// An entry whose body was replaced, and how many bytes shorter it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)]
pub struct Shortened {
    pub entry: Pruned,
    pub by_bytes: usize,
}

impl Store {
    /// The entries of the readings made before `before` whose spectrum is there, in the order of their times.
    pub fn spectral_before(&self, before: Time) -> Result<Vec<Seq>, LedgerError> {
        let sql = "SELECT seq FROM reading WHERE spectral = 1 AND time_us < ?1 ORDER BY time_us, seq";
        self.all(sql, (before,), |row| row.get(0))
    }

    /// The entry that says that the spectrum of this one was taken out.
    pub fn pruned_by(&self, seq: Seq) -> Result<Option<Seq>, LedgerError> {
        self.maybe("SELECT by FROM pruned WHERE seq = ?1", (seq,), |row| row.get(0))
    }

    /// How many readings up to the entry `last` have lost their spectrum since.
    pub fn pruned_since(&self, last: Seq) -> Result<i64, LedgerError> {
        self.one("SELECT count(*) FROM pruned WHERE seq <= ?1 AND by > ?1", (last,), |row| row.get(0))
    }
}

impl Tx<'_> {
    /// Puts `left` in the place of the reading that entry `seq` holds; its leaf stays. Refuses an entry that does not match its leaf,
    /// whose change would be covered up. What says so is the caller's to append.
    pub fn replace_reading(&self, seq: Seq, left: ReadingTaken) -> Result<Shortened, LedgerError> {
        let damaged = |what: &str| LedgerError::Damaged { what: format!("entry {seq} {what}") };
        let mut raw = self.raw_entry(seq)?.ok_or_else(|| damaged("is missing"))?;
        let was = raw.true_leaf().filter(|leaf| leaf.as_bytes().as_slice() == raw.leaf);
        let was = was.ok_or_else(|| damaged("does not match its leaf"))?;
        let mut json = Vec::new();
        Body::ReadingTaken(left).write_json(&mut json).map_err(|source| LedgerError::BadEntry { seq, source })?;
        let before = raw.body.len();
        raw.body = String::from_utf8(json).map_err(|_| damaged("would be no text"))?;
        let now = raw.true_leaf().ok_or_else(|| damaged("would not be one line of text"))?;
        self.run("UPDATE entry SET body = ?2 WHERE seq = ?1", (seq, &raw.body))?;
        Ok(Shortened { entry: Pruned { seq, was, now }, by_bytes: before.saturating_sub(raw.body.len()) })
    }

    /// Puts beside projections that stand alone those entries of `from` that hold a spectrum.
    pub fn borrow_spectra(&self, from: &Store) -> Result<(), LedgerError> {
        let put = "INSERT INTO entry (site, seq, time, kind, body, leaf) VALUES (?1, ?2, ?3, ?4, ?5, ?6)";
        for seq in self.spectral_before(Time::from_micros(i64::MAX))? {
            if let Some(RawEntry { site, seq, time, kind, body, leaf }) = from.raw_entry(seq)? {
                self.run(put, (site, seq, time, kind, body, leaf))?;
            }
        }
        Ok(())
    }

    /// Keeps that the entry `by` says so of the entry `seq`.
    pub fn put_pruned(&self, seq: Seq, by: Seq) -> Result<(), LedgerError> {
        self.run("INSERT INTO pruned (seq, by) VALUES (?1, ?2)", (seq, by))?;
        self.run("UPDATE reading SET spectral = 0 WHERE seq = ?1", (seq,)).map(|_| ())
    }
}
