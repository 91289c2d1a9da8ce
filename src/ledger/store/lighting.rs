//! The newest of what few readings have: a spectrum, a rendering index, another patch than white; and the last event of a kind.
//!
//! Each is found by a partial index that holds those few readings alone, so that a million others cost nothing. Only readings
//! that count are answered, the newest first; of one instant the order is that of the content.

use super::intake::{reading_columns, reading_row};
use super::{LedgerError, ReadingRow, Store};
use crate::ledger::entry::{Body, Seq};
use crate::reading::{ColourSet, EventKind, Patch, Source};
use crate::units::{DeviceId, Spectrum, Time};

impl Store {
    /// The newest spectrum of the light of `device` itself, measured after `from` up to and including `to`.
    pub fn latest_spectrum(
        &self,
        device: &DeviceId,
        from: Time,
        to: Time,
    ) -> Result<Option<(ReadingRow, Spectrum)>, LedgerError> {
        let row = self.maybe(
            concat!(
                "SELECT ",
                reading_columns!(),
                " FROM reading
                 WHERE device = ?1 AND time_us > ?2 AND time_us <= ?3 AND spectral = 1 AND patch = 'white'
                 AND excluded IS NULL ORDER BY time_us DESC, instrument DESC, given DESC LIMIT 1"
            ),
            (device, from, to),
            reading_row,
        )?;
        let Some(row) = row else { return Ok(None) };
        match self.spectrum(row.seq)? {
            Some(spectrum) => Ok(Some((row, spectrum))),
            None => Err(LedgerError::Damaged { what: format!("entry {} holds no spectrum", row.seq) }),
        }
    }

    /// The spectrum that an entry holds.
    pub fn spectrum(&self, seq: Seq) -> Result<Option<Spectrum>, LedgerError> {
        Ok(match self.entry(seq)?.map(|entry| entry.body) {
            Some(Body::ReadingTaken(taken)) => match taken.reading.colour {
                ColourSet::Spectrum { spectrum } => Some(*spectrum),
                _ => None,
            },
            _ => None,
        })
    }

    /// The newest reading of `device` from `source` that states a rendering index, after `from` up to and including `to`.
    pub fn latest_ra(
        &self,
        device: &DeviceId,
        source: Source,
        from: Time,
        to: Time,
    ) -> Result<Option<ReadingRow>, LedgerError> {
        self.maybe(
            concat!(
                "SELECT ",
                reading_columns!(),
                " FROM reading
                 WHERE device = ?1 AND label = ?2 AND time_us > ?3 AND time_us <= ?4 AND ra IS NOT NULL AND patch = 'white'
                 AND excluded IS NULL ORDER BY time_us DESC, instrument DESC, given DESC LIMIT 1"
            ),
            (device, source == Source::Label, from, to),
            reading_row,
        )
    }

    /// The newest `count` readings of `device` that show `patch`, which is another than white, up to and including `to`.
    pub fn last_of_patch(
        &self,
        device: &DeviceId,
        patch: Patch,
        to: Time,
        count: u32,
    ) -> Result<Vec<ReadingRow>, LedgerError> {
        self.all(
            concat!(
                "SELECT ",
                reading_columns!(),
                " FROM reading
                 WHERE device = ?1 AND patch = ?2 AND time_us <= ?3 AND patch <> 'white' AND excluded IS NULL
                 ORDER BY time_us DESC, instrument DESC, given DESC LIMIT ?4"
            ),
            (device, patch, to, count),
            reading_row,
        )
    }

    /// The newest reading of paper lit by `lamp`, up to and including `to`, whose name `is_meant`.
    pub fn latest_lit(
        &self,
        lamp: &DeviceId,
        to: Time,
        is_meant: impl Fn(Option<&str>) -> bool,
    ) -> Result<Option<ReadingRow>, LedgerError> {
        /// So many readings of other papers are stepped over.
        const LOOKED_AT: u32 = 256;
        let rows = self.last_of_patch(lamp, Patch::Paper, to, LOOKED_AT)?;
        Ok(rows.into_iter().find(|row| is_meant(row.named.as_deref())))
    }

    /// When an event of one of three kinds last happened to `device`, up to and including `to`.
    pub fn last_event(&self, device: &DeviceId, kinds: [EventKind; 3], to: Time) -> Result<Option<Time>, LedgerError> {
        let [a, b, c] = kinds;
        self.maybe(
            "SELECT time_us FROM event WHERE device = ?1 AND time_us <= ?2 AND kind IN (?3, ?4, ?5) AND excluded IS NULL
             ORDER BY time_us DESC LIMIT 1",
            (device, to, a, b, c),
            |row| row.get(0),
        )
    }
}
