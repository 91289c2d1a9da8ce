//! Bodies and rows that the ledger's tests share.

use super::entry::{Body, ReadingTaken, Retract, Seq};
use super::given::Given;
use super::store::{Ledger, ReadingRow, Standing};
use super::{LedgerError, OpenMode};
use crate::reading::{Circumstances, ColourSet, Level, Patch, Reading, Source};
use crate::units::{DeviceId, Illuminance, SiteId, Time, Xy};

pub(super) fn site() -> SiteId {
    SiteId::new("quillmoor").unwrap()
}

pub(super) fn at(text: &str) -> Time {
    Time::parse(text).unwrap()
}

pub(super) fn noon() -> Time {
    at("2026-03-04T12:00:00Z")
}

pub(super) fn retract(number: i64) -> Body {
    Body::Retract(Retract {
        seq: Seq::new(number).unwrap(),
        reason: format!("reason {number}"),
        operator: None,
        operator_by: None,
    })
}

pub(super) fn reading(device: &str, time: Time, x: f64) -> Reading {
    Reading {
        device: DeviceId::new(device).unwrap(),
        time,
        time_given: None,
        colour: ColourSet::Xy(Xy { x, y: 0.329 }),
        level: Some(Level::Illuminance(Illuminance::new(500.0).unwrap())),
        circumstances: Circumstances::default(),
    }
}

pub(super) fn row(seq: Seq, reading: &Reading) -> ReadingRow {
    ReadingRow {
        seq,
        device: reading.device.clone(),
        time: reading.time,
        instrument: reading.circumstances.instrument.clone(),
        patch: Patch::White,
        given: Given::of_reading(reading),
        u: 0.1978,
        v: 0.4683,
        spread: None,
        ln_level: Some(6.2),
        hours: None,
        warmup_min: None,
        setting: None,
        source: Source::Measured,
        excluded: None,
        released: false,
        spectral: false,
        ra: None,
        named: None,
    }
}

/// Takes one reading in as the pipeline would.
pub(super) fn take(ledger: &mut Ledger, now: Time, reading: Reading) -> Result<Option<Seq>, LedgerError> {
    ledger.write(now, |tx| {
        let conflict_with = match tx.reading_standing(&reading)? {
            Standing::Duplicate(_) => return Ok(None),
            Standing::Conflict(seq) => Some(seq),
            Standing::New => None,
        };
        let body = Body::ReadingTaken(ReadingTaken { conflict_with, ..ReadingTaken::from(reading.clone()) });
        let seq = tx.append(&body)?;
        let excluded = conflict_with.map(|_| "conflict".to_owned());
        tx.put_reading(&ReadingRow { excluded, ..row(seq, &reading) })?;
        Ok(Some(seq))
    })
}

/// Makes a new ledger one of `entries` entries.
pub(super) fn fill(ledger: &mut Ledger, entries: i64) {
    assert!(ledger.found(noon(), "0.1.0", None).unwrap());
    ledger.write(noon(), |tx| (2..=entries).try_for_each(|n| tx.append(&retract(n)).map(|_| ()))).unwrap();
}

/// A ledger in a folder of its own.
pub(super) struct Room {
    pub(super) folder: tempfile::TempDir,
}

impl Room {
    pub(super) fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    pub(super) fn path(&self) -> std::path::PathBuf {
        self.folder.path().join("state/ledger.db")
    }

    pub(super) fn open(&self) -> Ledger {
        Ledger::open(&self.path(), &site(), OpenMode::Create).unwrap()
    }

    /// A ledger of `entries` entries.
    pub(super) fn filled(&self, entries: i64) -> Ledger {
        let mut ledger = self.open();
        fill(&mut ledger, entries);
        ledger
    }

    /// A connection that keeps no rule, as an attacker's.
    pub(super) fn raw(&self) -> rusqlite::Connection {
        rusqlite::Connection::open(self.path()).unwrap()
    }
}
