//! Projections of what came in: files, configurations, readings and events.
//!
//! Readings and events of a device come back in an order that depends on their content alone, never on arrival: readings by
//! time, instrument, patch and values, events by time, kind and target.

use super::{LedgerError, Store, Tx};
use crate::ledger::digest::Digest;
use crate::ledger::entry::Seq;
use crate::ledger::given::Given;
use crate::reading::{Details, Event, Patch, Reading, Source};
use crate::units::{DeviceId, Hours, InstrumentId, Luminance, Time, Xy};
use rusqlite::Row;
use rusqlite::types::FromSqlError;

/// What stands in `excluded` of a record that was taken back.
const RETRACTED: &str = "retracted";

/// What the ledger already has of a record that is about to come in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// Nothing.
    New,
    /// The same record, values included.
    Duplicate(Seq),
    /// A record of the same key with other values; the earliest that was not taken back.
    Conflict(Seq),
}

/// Variance of u′ and v′ and their covariance.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub struct UvVariance {
    pub uu: f64,
    pub uv: f64,
    pub vv: f64,
}

/// A reading as the model takes it.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadingRow {
    /// Its entry.
    pub seq: Seq,
    /// The thing that was measured.
    pub device: DeviceId,
    /// When it was measured.
    pub time: Time,
    /// The instrument that read it.
    pub instrument: Option<InstrumentId>,
    /// What was lit.
    pub patch: Patch,
    /// Colour and level as received, as a digest.
    pub given: Given,
    /// CIE 1976 u′.
    pub u: f64,
    /// CIE 1976 v′.
    pub v: f64,
    /// Variance that comes from how the colour was given; `None` where it adds none.
    pub spread: Option<UvVariance>,
    /// Natural logarithm of lx or cd/m².
    pub ln_level: Option<f64>,
    /// The device's own hours counter.
    pub hours: Option<Hours>,
    /// Minutes since the device was switched on.
    pub warmup_min: Option<f64>,
    /// Dimmer or dial.
    pub setting: Option<String>,
    /// Measured, or copied from a label.
    pub source: Source,
    /// Whether its entry holds a spectrum.
    pub spectral: bool,
    /// General colour rendering index as somebody else worked it out.
    pub ra: Option<f64>,
    /// Of lit paper: the row's own name, which may be a paper's.
    pub named: Option<String>,
    /// The word for why it does not count; `None` if it counts. The final word: a release clears it.
    pub excluded: Option<String>,
    /// Whether somebody let it count, so that it is not held anew.
    pub released: bool,
}

/// An event as the model takes it.
#[derive(Debug, Clone, PartialEq)]
pub struct EventRow {
    /// Its entry.
    pub seq: Seq,
    /// The event; `time_given`, `operator_by` and `details` are left to the entry.
    pub event: Event,
    /// The word for why it does not count; `None` if it counts.
    pub excluded: Option<String>,
}

/// A file whose bytes the ledger knows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FileRow {
    /// The digest of its bytes.
    pub sha256: Digest,
    /// The entry that took or refused it last.
    pub seq: Seq,
    /// Its name, without folders.
    pub name: String,
    /// Whether it was refused.
    pub refused: bool,
}

macro_rules! reading_columns {
    () => {
        "seq, device, time_us, instrument, patch, given, u, v, suu, suv, svv, ln_level, hours, warmup_min, setting, \
         label, excluded, released, spectral, ra, named"
    };
}

pub(super) use reading_columns;

macro_rules! event_columns {
    () => {
        "seq, device, time_us, kind, operator, note, target_x, target_y, target_luminance, other, excluded"
    };
}

pub(super) fn reading_row(row: &Row<'_>) -> rusqlite::Result<ReadingRow> {
    let spread = match (row.get(8)?, row.get(9)?, row.get(10)?) {
        (Some(uu), Some(uv), Some(vv)) => Some(UvVariance { uu, uv, vv }),
        _ => None,
    };
    Ok(ReadingRow {
        seq: row.get(0)?,
        device: row.get(1)?,
        time: row.get(2)?,
        instrument: if row.get_ref(3)?.as_str()?.is_empty() { None } else { Some(row.get(3)?) },
        patch: row.get(4)?,
        given: row.get(5)?,
        u: row.get(6)?,
        v: row.get(7)?,
        spread,
        ln_level: row.get(11)?,
        hours: row.get::<_, Option<f64>>(12)?.map(Hours),
        warmup_min: row.get(13)?,
        setting: row.get(14)?,
        source: if row.get(15)? { Source::Label } else { Source::Measured },
        excluded: row.get(16)?,
        released: row.get(17)?,
        spectral: row.get(18)?,
        ra: row.get(19)?,
        named: row.get(20)?,
    })
}

fn event_row(row: &Row<'_>) -> rusqlite::Result<EventRow> {
    let target_white = match (row.get(6)?, row.get(7)?) {
        (Some(x), Some(y)) => Some(Xy { x, y }),
        _ => None,
    };
    let luminance: Option<f64> = row.get(8)?;
    let target_luminance =
        luminance.map(Luminance::new).transpose().map_err(|bad| FromSqlError::Other(Box::new(bad)))?;
    Ok(EventRow {
        seq: row.get(0)?,
        event: Event {
            device: row.get(1)?,
            time: row.get(2)?,
            time_given: None,
            kind: row.get(3)?,
            operator: row.get(4)?,
            operator_by: None,
            note: row.get(5)?,
            target_white,
            target_luminance,
            other: row.get(9)?,
            details: Details::default(),
        },
        excluded: row.get(10)?,
    })
}

fn instrument_text(instrument: Option<&InstrumentId>) -> &str {
    instrument.map_or("", InstrumentId::as_str)
}

impl Store {
    /// What the ledger already has of this reading. A reading that was taken back is still known, so the same one again
    /// is a duplicate; but it conflicts with nothing.
    pub fn reading_standing(&self, reading: &Reading) -> Result<Standing, LedgerError> {
        let circumstances = &reading.circumstances;
        let found: Vec<(Seq, Given, bool)> = self.all(
            "SELECT seq, given, excluded IS 'retracted' FROM reading
             WHERE device = ?1 AND time_us = ?2 AND instrument = ?3 AND patch = ?4",
            (&reading.device, reading.time, instrument_text(circumstances.instrument.as_ref()), circumstances.patch),
            |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
        )?;
        if found.is_empty() {
            return Ok(Standing::New);
        }
        let given = Given::of_reading(reading);
        if let Some((seq, ..)) = found.iter().find(|(_, other, _)| *other == given) {
            return Ok(Standing::Duplicate(*seq));
        }
        let other = found.iter().filter(|(.., retracted)| !retracted).map(|(seq, ..)| *seq).min();
        Ok(other.map_or(Standing::New, Standing::Conflict))
    }

    /// The entry that already holds this event (same device, time, kind and target).
    pub fn event_standing(&self, event: &Event) -> Result<Option<Seq>, LedgerError> {
        self.maybe(
            "SELECT seq FROM event WHERE device = ?1 AND time_us = ?2 AND kind = ?3 AND given = ?4",
            (&event.device, event.time, event.kind, Given::of_event(event)),
            |row| row.get(0),
        )
    }

    /// The reading of this entry.
    pub fn reading(&self, seq: Seq) -> Result<Option<ReadingRow>, LedgerError> {
        self.maybe(concat!("SELECT ", reading_columns!(), " FROM reading WHERE seq = ?1"), (seq,), reading_row)
    }

    /// All readings of `device` measured from `from` up to and including `to`, excluded ones too, in order.
    pub fn readings(&self, device: &DeviceId, from: Time, to: Time) -> Result<Vec<ReadingRow>, LedgerError> {
        let mut rows = Vec::new();
        self.each_reading(device, from, to, |row| {
            rows.push(row);
            Ok::<_, LedgerError>(())
        })?;
        Ok(rows)
    }

    /// Hands the same readings to `take` one at a time, until it fails.
    pub fn each_reading<E: From<LedgerError>>(
        &self,
        device: &DeviceId,
        from: Time,
        to: Time,
        take: impl FnMut(ReadingRow) -> Result<(), E>,
    ) -> Result<(), E> {
        self.each(
            concat!(
                "SELECT ",
                reading_columns!(),
                " FROM reading WHERE device = ?1 AND time_us BETWEEN ?2 AND ?3
                 ORDER BY time_us, instrument, patch, given"
            ),
            (device, from, to),
            reading_row,
            take,
        )
    }

    /// The last `count` readings of `device` measured up to and including `to`, excluded ones too, in order.
    pub fn last_readings(&self, device: &DeviceId, to: Time, count: u32) -> Result<Vec<ReadingRow>, LedgerError> {
        let mut rows = self.all(
            concat!(
                "SELECT ",
                reading_columns!(),
                " FROM reading WHERE device = ?1 AND time_us <= ?2
                 ORDER BY time_us DESC, instrument DESC, patch DESC, given DESC LIMIT ?3"
            ),
            (device, to, count),
            reading_row,
        )?;
        rows.reverse();
        Ok(rows)
    }

    /// Every instrument that was named, with the number of its readings. Looks at all readings: for `check`, not for queries.
    pub fn instruments(&self) -> Result<Vec<(InstrumentId, i64)>, LedgerError> {
        self.all(
            "SELECT instrument, count(*) FROM reading WHERE instrument <> '' GROUP BY instrument ORDER BY instrument",
            (),
            |row| Ok((row.get(0)?, row.get(1)?)),
        )
    }

    /// The event of this entry.
    pub fn event(&self, seq: Seq) -> Result<Option<EventRow>, LedgerError> {
        self.maybe(concat!("SELECT ", event_columns!(), " FROM event WHERE seq = ?1"), (seq,), event_row)
    }

    /// All events of `device` done from `from` up to and including `to`, excluded ones too, in order.
    pub fn events(&self, device: &DeviceId, from: Time, to: Time) -> Result<Vec<EventRow>, LedgerError> {
        self.all(
            concat!(
                "SELECT ",
                event_columns!(),
                " FROM event WHERE device = ?1 AND time_us BETWEEN ?2 AND ?3
                 ORDER BY time_us, kind, given"
            ),
            (device, from, to),
            event_row,
        )
    }

    /// The file with these bytes, if the ledger knows it.
    pub fn file(&self, sha256: &Digest) -> Result<Option<FileRow>, LedgerError> {
        self.maybe("SELECT sha256, seq, name, refused FROM file WHERE sha256 = ?1", (sha256,), |row| {
            Ok(FileRow { sha256: row.get(0)?, seq: row.get(1)?, name: row.get(2)?, refused: row.get(3)? })
        })
    }

    /// The entry of the configuration in force, and the digest of its text.
    pub fn config_in_force(&self) -> Result<Option<(Seq, Digest)>, LedgerError> {
        self.maybe("SELECT seq, sha256 FROM config_in_force ORDER BY seq DESC LIMIT 1", (), |row| {
            Ok((row.get(0)?, row.get(1)?))
        })
    }

    /// The entries of all configurations that were ever in force, the newest first.
    pub fn configs_in_force(&self) -> Result<Vec<Seq>, LedgerError> {
        self.all("SELECT seq FROM config_in_force ORDER BY seq DESC", (), |row| row.get(0))
    }
}

impl Tx<'_> {
    /// Keeps a reading. The same one twice (device, time, instrument, patch, values) is an error: ask
    /// [`Store::reading_standing`] first.
    pub fn put_reading(&self, row: &ReadingRow) -> Result<(), LedgerError> {
        let spread = row.spread;
        self.run(
            concat!(
                "INSERT INTO reading (",
                reading_columns!(),
                ") VALUES
                 (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14, ?15, ?16, ?17, ?18, ?19, ?20, ?21)"
            ),
            rusqlite::params![
                row.seq,
                row.device,
                row.time,
                instrument_text(row.instrument.as_ref()),
                row.patch,
                row.given,
                row.u,
                row.v,
                spread.map(|s| s.uu),
                spread.map(|s| s.uv),
                spread.map(|s| s.vv),
                row.ln_level,
                row.hours.map(|hours| hours.0),
                row.warmup_min,
                row.setting,
                row.source == Source::Label,
                row.excluded,
                row.released,
                row.spectral,
                row.ra,
                row.named,
            ],
        )?;
        Ok(())
    }

    /// Sets or clears why a reading does not count. Tells whether there is such a reading.
    pub fn exclude_reading(&self, seq: Seq, why: Option<&str>) -> Result<bool, LedgerError> {
        self.run("UPDATE reading SET excluded = ?2 WHERE seq = ?1", (seq, why)).map(|rows| rows > 0)
    }

    /// Lets a held reading count. Tells whether there is such a reading.
    pub fn release_reading(&self, seq: Seq) -> Result<bool, LedgerError> {
        self.run("UPDATE reading SET excluded = NULL, released = 1 WHERE seq = ?1", (seq,)).map(|rows| rows > 0)
    }

    /// Keeps an event. The same one twice is an error: ask [`Store::event_standing`] first.
    pub fn put_event(&self, row: &EventRow) -> Result<(), LedgerError> {
        let event = &row.event;
        self.run(
            concat!(
                "INSERT INTO event (",
                event_columns!(),
                ", given) VALUES
                 (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12)"
            ),
            rusqlite::params![
                row.seq,
                event.device,
                event.time,
                event.kind,
                event.operator,
                event.note,
                event.target_white.map(|white| white.x),
                event.target_white.map(|white| white.y),
                event.target_luminance.map(Luminance::get),
                event.other,
                row.excluded,
                Given::of_event(event),
            ],
        )?;
        Ok(())
    }

    /// Takes back the reading or event of this entry: it stays known and no longer counts. Tells whether there is one.
    pub fn retract(&self, seq: Seq) -> Result<bool, LedgerError> {
        let readings = self.exclude_reading(seq, Some(RETRACTED))?;
        let events = self.run("UPDATE event SET excluded = ?2 WHERE seq = ?1", (seq, RETRACTED))? > 0;
        Ok(readings || events)
    }

    /// Keeps a file, in place of what was known of the same bytes (one refused before may be taken now).
    pub fn put_file(&self, row: &FileRow) -> Result<(), LedgerError> {
        self.run(
            "INSERT OR REPLACE INTO file (sha256, seq, name, refused) VALUES (?1, ?2, ?3, ?4)",
            (row.sha256, row.seq, &row.name, row.refused),
        )?;
        Ok(())
    }

    /// Keeps the configuration of this entry as the one in force.
    pub fn put_config(&self, seq: Seq, sha256: &Digest) -> Result<(), LedgerError> {
        self.run("INSERT INTO config_in_force (seq, sha256) VALUES (?1, ?2)", (seq, sha256))?;
        Ok(())
    }
}
