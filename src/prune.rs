//! Old spectra taken out of the ledger, so that it stays small where a lamp is read often.
//!
//! What lives here: which spectra may go, and the act itself, which changes no estimate and says so in the ledger. What does not: what
//! is left in an entry and how a check finds that right (`ledger/entry/pruned`, `ledger/verify`).
//!
//! White and level of each reading stay. What stays of the spectra is whatever answers for a lamp's light at an instant that
//! counts: when a screen beside it was recalibrated (a screen that follows the paper was then set to a white worked out from
//! it), when the lamp was changed, and at the day that is named, from which on every question has the answer that it had before.

use crate::config::Config;
use crate::estimates;
use crate::evaluate::append;
use crate::ledger::entry::{ReadingTaken, SpectraPruned};
use crate::ledger::store::ReadingRow;
use crate::ledger::{Body, Ledger, LedgerError, Seq, Store, Tx};
use crate::pipeline::come_into_force;
use crate::project::reading_row;
use crate::reading::{EventKind, Operator};
use crate::rebuild;
use crate::site::Things;
use crate::units::{DeviceId, Time};

/// One entry names at most so many.
const NAMED_AT_ONCE: usize = 500;

/// Why nothing was taken out.
#[derive(Debug, thiserror::Error)]
pub enum PruneError {
    /// The ledger failed.
    #[error(transparent)]
    Ledger(#[from] LedgerError),
    /// The day is not past.
    #[error("{before} is not past: name a day before which spectra are no longer needed")]
    NotPast {
        /// The instant that was given.
        before: Time,
    },
    /// What is derived does not follow from the entries, with or without the spectra.
    #[error(
        "nothing was taken out, since what is derived from the ledger would differ in {tables}: `twinwhite audit verify` says \
         whether it does already, and `twinwhite rebuild` makes it anew"
    )]
    Differs {
        /// The tables, separated by commas.
        tables: String,
    },
}

/// What goes and what stays.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Choice {
    /// The readings that lose their spectrum, in the order of their times.
    pub go: Vec<Seq>,
    /// Those that keep it although they are as old.
    pub stay: Vec<Seq>,
}

/// What was done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Done {
    /// What went and what stayed.
    pub choice: Choice,
    /// The entries that say so.
    pub by: Vec<Seq>,
    /// How many bytes shorter the entries are.
    pub bytes: usize,
}

/// Which spectra of readings made before `before` would go.
pub fn choose(store: &Store, things: &Things, before: Time, now: Time) -> Result<Choice, PruneError> {
    if before > now {
        return Err(PruneError::NotPast { before });
    }
    let mut needed = Vec::new();
    for lamp in things.lamps.iter().map(|lamp| &lamp.id) {
        for instant in instants(store, things, lamp, before, now)? {
            if let Some(estimate) = estimates::at(store, things, lamp, instant)? {
                needed.extend(estimates::spectrum_in_use(store, lamp, &estimate.state, instant)?);
            }
        }
    }
    let (mut stay, mut go) = (Vec::new(), Vec::new());
    for seq in store.spectral_before(before)? {
        let kept = needed.contains(&seq) || left_of(store, seq)?.is_none();
        if kept { stay.push(seq) } else { go.push(seq) }
    }
    Ok(Choice { go, stay })
}

/// Takes them out, in one transaction that is kept only if everything derived from the ledger is the same without them.
pub fn prune(
    ledger: &mut Ledger,
    config: &Config,
    before: Time,
    operator: Option<&Operator>,
    now: Time,
    progress: impl FnMut(i64),
) -> Result<Done, PruneError> {
    ledger.write(now, |tx| {
        come_into_force(tx, config)?;
        let choice = choose(tx, &config.things, before, now)?;
        let (mut by, mut bytes) = (Vec::new(), 0);
        for part in choice.go.chunks(NAMED_AT_ONCE) {
            let mut entries = Vec::with_capacity(part.len());
            for seq in part {
                let Some(left) = left_of(tx, *seq)? else { continue };
                let shortened = tx.replace_reading(*seq, left)?;
                bytes += shortened.by_bytes;
                entries.push(shortened.entry);
            }
            let said = SpectraPruned {
                before,
                entries,
                operator: operator.map(|by| by.id.clone()),
                operator_by: operator.map(|by| by.by),
            };
            by.push(append(tx, config, Body::SpectraPruned(said))?.0);
        }
        if !by.is_empty() {
            holds(tx, config, now, progress)?;
        }
        Ok(Done { choice, by, bytes })
    })
}

/// The instants at which something may have rested on a lamp's spectrum.
fn instants(
    store: &Store,
    things: &Things,
    lamp: &DeviceId,
    before: Time,
    now: Time,
) -> Result<Vec<Time>, LedgerError> {
    let always = Time::from_micros(i64::MIN);
    let mut instants = vec![estimates::just_before(Some(before)), now];
    for station in things.stations_of(lamp) {
        let events = store.events(&station.display, always, before)?;
        let set = events.iter().filter(|row| row.event.kind == EventKind::Recalibrated);
        instants.extend(set.map(|row| row.event.time));
    }
    let changes = [EventKind::Replaced, EventKind::PartReplaced, EventKind::SettingChanged];
    let events = store.events(lamp, always, before)?;
    let changed = events.iter().filter(|row| changes.contains(&row.event.kind));
    instants.extend(changed.map(|row| estimates::just_before(Some(row.event.time))));
    Ok(instants)
}

/// What is left of a reading without its spectrum; `None` where the model would not meet the same.
fn left_of(store: &Store, seq: Seq) -> Result<Option<ReadingTaken>, LedgerError> {
    let Some(Body::ReadingTaken(taken)) = store.entry(seq)?.map(|entry| entry.body) else { return Ok(None) };
    let Some(left) = taken.without_spectrum() else { return Ok(None) };
    let with = ReadingRow { spectral: false, ..reading_row(seq, &taken)? };
    Ok(reading_row(seq, &left).is_ok_and(|without| without == with).then_some(left))
}

/// Whether all that is derived follows from the entries as they now stand.
fn holds(tx: &Tx, config: &Config, now: Time, progress: impl FnMut(i64)) -> Result<(), PruneError> {
    let differing = rebuild::differences_in(tx, config, now, progress)?;
    if differing.is_empty() { Ok(()) } else { Err(PruneError::Differs { tables: differing.join(", ") }) }
}
