//! When each instrument first read each device: which devices have a second instrument, without a look at their readings.
//!
//! Only readings count that tell something of the instrument: of white, measured, not excluded.

use super::intake::{reading_columns, reading_row};
use super::{LedgerError, ReadingRow, Store, Tx};
use crate::reading::{Patch, Source};
use crate::units::{DeviceId, InstrumentId, Time};

impl Store {
    /// The instruments that read `device`, and since when, the earliest first.
    pub fn first_uses(&self, device: &DeviceId) -> Result<Vec<(InstrumentId, Time)>, LedgerError> {
        let mut uses: Vec<(InstrumentId, Time)> =
            self.all("SELECT instrument, time_us FROM first_use WHERE device = ?1", (device,), |row| {
                Ok((row.get(0)?, row.get(1)?))
            })?;
        uses.sort_by(|one, two| (one.1, &one.0).cmp(&(two.1, &two.0)));
        Ok(uses)
    }

    /// The devices that some instrument first read after `from`, once for each that did.
    pub fn devices_begun_after(&self, from: Time) -> Result<Vec<DeviceId>, LedgerError> {
        self.all("SELECT device FROM first_use WHERE time_us > ?1 ORDER BY time_us, device", (from,), |row| row.get(0))
    }

    /// The devices that `instrument` has read.
    pub fn devices_read_by(&self, instrument: &InstrumentId) -> Result<Vec<DeviceId>, LedgerError> {
        self.all("SELECT device FROM first_use WHERE instrument = ?1 ORDER BY device", (instrument,), |row| row.get(0))
    }

    /// The devices that both instruments had read before `to`, and since when both, the newest first.
    pub fn devices_of_both(&self, [a, b]: [&InstrumentId; 2], to: Time) -> Result<Vec<(DeviceId, Time)>, LedgerError> {
        let mut devices: Vec<(DeviceId, Time)> = self.all(
            "SELECT one.device, max(one.time_us, two.time_us) FROM first_use AS one
             JOIN first_use AS two ON two.device = one.device AND two.instrument = ?2
             WHERE one.instrument = ?1 AND one.time_us < ?3 AND two.time_us < ?3",
            (a, b, to),
            |row| Ok((row.get(0)?, row.get(1)?)),
        )?;
        devices.sort_by(|one, two| (two.1, &one.0).cmp(&(one.1, &two.0)));
        Ok(devices)
    }

    /// The first `count` readings of `device` measured from `from` up to and including `to`, excluded ones too, in order.
    pub fn next_readings(
        &self,
        device: &DeviceId,
        from: Time,
        to: Time,
        count: u32,
    ) -> Result<Vec<ReadingRow>, LedgerError> {
        self.all(
            concat!(
                "SELECT ",
                reading_columns!(),
                " FROM reading WHERE device = ?1 AND time_us BETWEEN ?2 AND ?3
                 ORDER BY time_us, instrument, patch, given LIMIT ?4"
            ),
            (device, from, to, count),
            reading_row,
        )
    }
}

impl Tx<'_> {
    /// Takes note of a reading that is new.
    pub fn note_first_use(&self, row: &ReadingRow) -> Result<(), LedgerError> {
        let Some(instrument) = row.instrument.as_ref() else { return Ok(()) };
        if row.patch != Patch::White || row.source != Source::Measured || row.excluded.is_some() {
            return Ok(());
        }
        self.run(
            "INSERT INTO first_use (device, instrument, time_us) VALUES (?1, ?2, ?3)
             ON CONFLICT (device, instrument) DO UPDATE SET time_us = ?3 WHERE time_us > ?3",
            (&row.device, instrument, row.time),
        )?;
        Ok(())
    }

    /// Works out anew when the instrument of a reading first read its device, after that reading came to count or ceased to.
    pub fn renew_first_use(&self, row: &ReadingRow) -> Result<(), LedgerError> {
        let Some(instrument) = row.instrument.as_ref() else { return Ok(()) };
        self.run("DELETE FROM first_use WHERE device = ?1 AND instrument = ?2", (&row.device, instrument))?;
        self.run(
            "INSERT INTO first_use (device, instrument, time_us)
             SELECT device, instrument, time_us FROM reading
             WHERE device = ?1 AND instrument = ?2 AND patch = 'white' AND label = 0 AND excluded IS NULL
             ORDER BY time_us LIMIT 1",
            (&row.device, instrument),
        )?;
        Ok(())
    }
}
