//! What is on record of instruments, and what a station's devices were read with last.

use crate::config::Config;
use crate::equipment::{Life, ReadWith};
use crate::ledger::store::EventRow;
use crate::ledger::{Body, LedgerError, Seq, Store};
use crate::reading::{EventKind, Source};
use crate::station::Watched;
use crate::units::{DeviceId, InstrumentId, Time};
use crate::zone::LocalZone;

/// The life of an instrument as the records of things done up to `at` tell it.
pub fn instrument_life(
    store: &Store,
    config: &Config,
    instrument: &InstrumentId,
    at: Time,
) -> Result<Life, LedgerError> {
    let mut events = match DeviceId::new(instrument.as_str()) {
        Ok(subject) => store.events(&subject, Time::from_micros(i64::MIN), at)?,
        Err(_) => Vec::new(),
    };
    events.retain(|row| row.excluded.is_none());
    for row in events.iter_mut().filter(|row| row.event.kind == EventKind::Certificate) {
        complete(store, row)?;
    }
    let events = events.iter().map(|row| (row.seq, &row.event));
    Ok(Life::of(config.things.instrument(instrument), events, LocalZone(config.site.zone)))
}

/// Fills in what only the entry of an event says.
pub fn complete(store: &Store, row: &mut EventRow) -> Result<Option<Time>, LedgerError> {
    let Some(entry) = store.entry(row.seq)? else { return Ok(None) };
    if let Body::EventTaken(taken) = entry.body {
        row.event = taken.event;
    }
    Ok(Some(entry.time))
}

/// What these devices were read with last, as it is on record at `at`; each where it was read.
pub(super) fn read_with(
    store: &Store,
    config: &Config,
    devices: [&Watched<'_>; 2],
    at: Time,
) -> Result<Vec<ReadWith>, LedgerError> {
    let zone = LocalZone(config.site.zone);
    let mut all = Vec::new();
    for device in devices {
        let last = device.state.summary(device.params).last_read.and_then(|(_, seq)| Seq::new(seq));
        let Some(row) = last.map(|seq| store.reading(seq)).transpose()?.flatten() else { continue };
        if row.source == Source::Label {
            continue;
        }
        let life = match &row.instrument {
            Some(instrument) => instrument_life(store, config, instrument, at)?,
            None => Life::default(),
        };
        all.push(ReadWith {
            device: device.id.clone(),
            seq: row.seq,
            read: row.time,
            certificate: life.certificate(row.time).cloned(),
            doubts: life.doubts(row.time, zone),
            instrument: row.instrument,
        });
    }
    Ok(all)
}
