//! The devices' estimates: brought up to date from the ledger's readings and events, and read back for any instant.
//!
//! An estimate is a pure function of a device's records in the order of their *own* times and of its parameters, never of
//! the order of arrival: a late record replays from the last checkpoint before it. `drift` does the mathematics; here
//! rows become observations, events become happenings, and states are kept and found again. How instruments differ is in
//! `instruments`, what a paper looks like under its
//! lamp is in `lit`, what a recalibration aimed at in `targets`.
//!
//! A checkpoint stands after each [`CHECKPOINT_EVERY`] readings. A change of parameters (aim, kind, an instrument's
//! noise, a new version of the program) makes everything kept of the device void, which the digest beside it shows.

mod instruments;
mod lit;
mod lives;
mod targets;

use crate::aims::params_of;
use crate::drift::{Absorbed, Act, DeviceState, Fate, Happening, Observation, Params, TargetWhite, Thing};
use crate::ledger::store::{EstimateRow, EventRow, ReadingRow};
use crate::ledger::{Digest, LedgerError, Seq, Store, Tx};
use crate::project::Stirred;
use crate::reading::{EventKind, Patch, Source, ThingKind};
use crate::site::{AimWhite, Things};
use crate::units::{DeviceId, InstrumentId, Time, UvPrime};
use instruments::Instruments;
use targets::{followed_targets, named_target};

pub(crate) use lit::just_before;
pub use lit::{LampLight, asks_for_spectrum, lit_paper, same_setting, spectrum_in_use};
pub use lives::{Held, lives};

/// Readings from one checkpoint to the next.
const CHECKPOINT_EVERY: u64 = 128;

/// A device's model at an instant.
#[derive(Debug, Clone)]
#[allow(missing_docs)]
pub struct Estimate {
    pub params: Params,
    pub state: DeviceState,
}

/// One record of a device as the model met it.
#[derive(Debug, Clone)]
pub enum Met {
    /// A reading that the model took in, and what it did.
    Reading(ReadingRow, Absorbed),
    /// A reading that did not reach the model: it does not count, or shows another patch.
    Passed(ReadingRow),
    /// Something that was done, and the readings whose fate it settled.
    Event(EventRow, Vec<(i64, Fate)>),
}

/// What became of a reading in the end, by the number of its entry.
pub type Fates = Vec<(Seq, Fate)>;

/// The estimate of `device` from all that was measured and done up to and including `to`; `None` for what is no display
/// or lamp of the site.
pub fn at(store: &Store, things: &Things, device: &DeviceId, to: Time) -> Result<Option<Estimate>, LedgerError> {
    let Some(feed) = Feed::of(store, things, device)? else { return Ok(None) };
    let (mut state, from) = feed.nearest(store, to)?;
    if from.is_none_or(|from| from < to) {
        feed.walk(store, &mut state, from, to, |_, _| Ok(()))?;
    }
    Ok(Some(Estimate { params: feed.params, state }))
}

/// Walks through all records of `device` up to and including `to` and hands each to `take` with the state after it.
pub fn history(
    store: &Store,
    things: &Things,
    device: &DeviceId,
    to: Time,
    mut take: impl FnMut(&Met, &DeviceState),
) -> Result<Option<Estimate>, LedgerError> {
    let Some(feed) = Feed::of(store, things, device)? else { return Ok(None) };
    let mut state = DeviceState::new(&feed.params);
    feed.walk(store, &mut state, None, to, |met, state| {
        take(met, state);
        Ok(())
    })?;
    Ok(Some(Estimate { params: feed.params, state }))
}

/// An estimate that was brought up to date, and the instant of the last record in it.
#[derive(Debug, Clone)]
#[allow(missing_docs)]
pub struct Refreshed {
    pub device: DeviceId,
    pub estimate: Estimate,
    pub upto: Time,
}

/// Brings the kept estimates up to date after `stirred` records; returns them, and what became of the readings that were
/// met.
pub fn refresh(tx: &Tx, things: &Things, stirred: &[Stirred]) -> Result<(Vec<Refreshed>, Fates), LedgerError> {
    let mut devices: Vec<(DeviceId, Time)> = Vec::new();
    for Stirred { device, from } in stirred {
        match devices.iter_mut().find(|(known, _)| known == device) {
            Some((_, earliest)) => *earliest = (*earliest).min(*from),
            None => devices.push((device.clone(), *from)),
        }
    }
    let read_alike = sharing_instruments(tx, things, &devices)?;
    for (device, from) in read_alike {
        match devices.iter_mut().find(|(known, _)| *known == device) {
            Some((_, earliest)) => *earliest = (*earliest).min(from),
            None => devices.push((device, from)),
        }
    }
    // A display that follows the paper rests on its lamp's estimate; the lamp goes first.
    for display in followers(things, &devices) {
        devices.push((display, Time::from_micros(i64::MAX)));
    }
    devices.sort_by_key(|(device, _)| things.display(device).is_some());
    let mut fates = Fates::new();
    let mut refreshed = Vec::with_capacity(devices.len());
    for (device, from) in &devices {
        refreshed.extend(refresh_one(tx, things, device, *from, &mut fates)?);
    }
    Ok((refreshed, fates))
}

/// Devices whose estimates rest on a stirred record of something else, and from when they are to be done anew: what was
/// measured of one device tells of the difference of instruments that later met on another; and a comparison of two
/// instruments counts wherever both read. [`refresh_one`] finds by the digest whether anything changed.
fn sharing_instruments(
    tx: &Tx,
    things: &Things,
    stirred: &[(DeviceId, Time)],
) -> Result<Vec<(DeviceId, Time)>, LedgerError> {
    let never = Time::from_micros(i64::MAX);
    let mut found = Vec::new();
    for (device, from) in stirred {
        for later in tx.devices_begun_after(*from)? {
            found.push((later, never));
        }
        if things.kind_of(device.as_str()) == Some(ThingKind::Instrument)
            && let Ok(instrument) = InstrumentId::new(device.as_str())
        {
            found.extend(tx.devices_read_by(&instrument)?.into_iter().map(|device| (device, *from)));
        }
    }
    found.sort();
    found.dedup_by(|later, kept| later.0 == kept.0);
    let mut sharing = Vec::new();
    for (device, from) in found {
        if tx.first_uses(&device)?.len() > 1 {
            sharing.push((device, from));
        }
    }
    Ok(sharing)
}

fn followers(things: &Things, stirred: &[(DeviceId, Time)]) -> Vec<DeviceId> {
    let is_stirred = |id: &DeviceId| stirred.iter().any(|(device, _)| device == id);
    (things.displays.iter())
        .filter(|display| display.aim.white == AimWhite::Paper && !is_stirred(&display.id))
        .filter(|display| things.stations_of(&display.id).any(|station| is_stirred(&station.lamp)))
        .map(|display| display.id.clone())
        .collect()
}

fn refresh_one(
    tx: &Tx,
    things: &Things,
    device: &DeviceId,
    from: Time,
    fates: &mut Fates,
) -> Result<Option<Refreshed>, LedgerError> {
    let Some(feed) = Feed::of(tx, things, device)? else { return Ok(None) };
    let kept = tx.estimate(device)?.filter(|row| row.params == feed.digest);
    let (mut state, start) = match kept {
        Some(row) if from > row.upto => match DeviceState::from_bytes(&row.state) {
            Ok(state) => (state, Some(row.upto)),
            Err(_) => (DeviceState::new(&feed.params), None),
        },
        Some(_) => {
            tx.drop_checkpoints(device, from)?;
            feed.checkpoint(tx, from)?
        }
        None => {
            tx.forget_estimate(device)?;
            (DeviceState::new(&feed.params), None)
        }
    };
    let mut upto = None;
    let mut counted = state.readings() / CHECKPOINT_EVERY;
    let mut before: Option<(Time, DeviceState)> = None;
    feed.walk(tx, &mut state, start, Time::from_micros(i64::MAX), |met, state| {
        let time = met.time();
        // The last state of an instant is complete only when the next instant begins.
        if let Some((done, complete)) = before.take_if(|(done, _)| *done < time) {
            tx.put_checkpoint(device, done, &complete.to_bytes())?;
        }
        upto = Some(time);
        let count = state.readings() / CHECKPOINT_EVERY;
        if count > counted || before.is_some() {
            counted = count;
            before = Some((time, state.clone()));
        }
        if let Met::Reading(row, absorbed) = met {
            fates.push((row.seq, absorbed.fate));
        }
        fates.extend(met.revised());
        Ok(())
    })?;
    if let Some((done, complete)) = before {
        tx.put_checkpoint(device, done, &complete.to_bytes())?;
    }
    // Nothing met: what is kept stands, or there is nothing to keep.
    let Some(upto) = upto.or(start) else { return Ok(None) };
    let row = EstimateRow { device: device.clone(), upto, params: feed.digest, state: state.to_bytes() };
    tx.put_estimate(&row)?;
    let estimate = Estimate { params: feed.params, state };
    Ok(Some(Refreshed { device: row.device, estimate, upto }))
}

/// Refreshes what is void or missing, as after a change of the configuration, and forgets things the site no longer has.
pub fn refresh_void(tx: &Tx, things: &Things) -> Result<(), LedgerError> {
    for device in tx.estimated_devices()? {
        if params_of(things, &device).is_none() {
            tx.forget_estimate(&device)?;
        }
    }
    let never = Time::from_micros(i64::MAX);
    let lamps = things.lamps.iter().map(|lamp| &lamp.id);
    for device in lamps.chain(things.displays.iter().map(|display| &display.id)) {
        refresh_one(tx, things, device, never, &mut Fates::new())?;
    }
    Ok(())
}

/// Where a device's model gets its parameters and records from.
struct Feed<'a> {
    things: &'a Things,
    device: &'a DeviceId,
    params: Params,
    /// Digest of all that goes into the estimate beside readings and events.
    digest: Digest,
    /// For a display that follows the paper: the targets of its recalibrations that named none.
    targets: Vec<(Seq, TargetWhite)>,
    /// What is known of the differences of the instruments that read it.
    instruments: Instruments,
}

impl<'a> Feed<'a> {
    fn of(store: &Store, things: &'a Things, device: &'a DeviceId) -> Result<Option<Self>, LedgerError> {
        let Some(params) = params_of(things, device) else { return Ok(None) };
        let follows = things.display(device).filter(|display| display.aim.white == AimWhite::Paper);
        let targets = match follows {
            Some(display) => followed_targets(store, things, display)?,
            None => Vec::new(),
        };
        let instruments = Instruments::of(store, things, device, &params)?;
        let digest = digest_of(things, &params, &targets, &instruments);
        Ok(Some(Self { things, device, params, digest, targets, instruments }))
    }

    /// The state kept nearest before `to` (inclusive), and the instant up to which it holds everything.
    fn nearest(&self, store: &Store, to: Time) -> Result<(DeviceState, Option<Time>), LedgerError> {
        let fresh = (DeviceState::new(&self.params), None);
        let Some(row) = store.estimate(self.device)?.filter(|row| row.params == self.digest) else { return Ok(fresh) };
        if row.upto <= to {
            return Ok(DeviceState::from_bytes(&row.state).map_or(fresh, |state| (state, Some(row.upto))));
        }
        Ok(self.checkpoint_at(store, to)?.unwrap_or(fresh))
    }

    /// The state to replay from for a record of the instant `from`.
    fn checkpoint(&self, store: &Store, from: Time) -> Result<(DeviceState, Option<Time>), LedgerError> {
        let before = Time::from_micros(from.micros().saturating_sub(1));
        Ok(self.checkpoint_at(store, before)?.unwrap_or((DeviceState::new(&self.params), None)))
    }

    fn checkpoint_at(&self, store: &Store, to: Time) -> Result<Option<(DeviceState, Option<Time>)>, LedgerError> {
        let kept = store.checkpoint(self.device, to)?;
        Ok(kept.and_then(|(time, bytes)| DeviceState::from_bytes(&bytes).ok().map(|state| (state, Some(time)))))
    }

    /// Feeds all records after `from` up to and including `to` in the order of their times, events of an instant before
    /// its readings.
    fn walk(
        &self,
        store: &Store,
        state: &mut DeviceState,
        from: Option<Time>,
        to: Time,
        mut take: impl FnMut(&Met, &DeviceState) -> Result<(), LedgerError>,
    ) -> Result<(), LedgerError> {
        let first = from.map_or(Time::from_micros(i64::MIN), |from| Time::from_micros(from.micros().saturating_add(1)));
        let mut events = store.events(self.device, first, to)?.into_iter().peekable();
        // Of the comparisons of instruments only those are told that a record follows: a later record may still come before.
        let mut compared = self.instruments.compared(from, to).peekable();
        let mut compare = |state: &mut DeviceState, to: Time| {
            while let Some(one) = compared.next_if(|one| one.time <= to) {
                state.cross_calibrated(&self.params, &one.a, &one.b, &one.apart);
            }
        };
        store.each_reading::<LedgerError>(self.device, first, to, |row| {
            while let Some(event) = events.next_if(|event| event.event.time <= row.time) {
                compare(state, event.event.time);
                take(&self.note(state, event), state)?;
            }
            compare(state, row.time);
            let met = self.meet(state, row);
            take(&met, state)
        })?;
        for event in events {
            compare(state, event.event.time);
            take(&self.note(state, event), state)?;
        }
        Ok(())
    }

    fn meet(&self, state: &mut DeviceState, row: ReadingRow) -> Met {
        if row.excluded.is_some() || row.patch != Patch::White {
            return Met::Passed(row);
        }
        let observation = self.observation(state, &row);
        let absorbed = state.absorb(&self.params, &observation);
        Met::Reading(row, absorbed)
    }

    fn observation(&self, state: &DeviceState, row: &ReadingRow) -> Observation {
        let own = row.instrument.as_ref();
        let scale = state.scale_instrument().filter(|scale| Some(*scale) != own);
        let apart = own.zip(scale).and_then(|(own, scale)| self.instruments.apart(scale, own, row.time));
        // Of an instrument that nobody named no constant can be learnt; each of its readings bears the bias of the scale.
        let (mut extra_uv, mut extra_ln) = (0.0, 0.0);
        if let Some(scale) = scale.filter(|_| own.is_none()) {
            let (a, b) = (self.things.bias_of(Some(scale)), self.things.bias_of(own));
            extra_uv = a.uv * a.uv + b.uv * b.uv;
            extra_ln = a.level * a.level + b.level * b.level;
        }
        let spread = row.spread.map_or([0.0; 3], |s| [s.uu, s.uv, s.vv]);
        Observation {
            seq: row.seq.get(),
            time: row.time,
            white: UvPrime { u: row.u, v: row.v },
            extra_cov: [spread[0] + extra_uv, spread[1], spread[2] + extra_uv],
            ln_level: row.ln_level,
            extra_ln,
            noise: self.things.noise_of(own),
            warmup_min: row.warmup_min,
            hours: row.hours.map(|hours| hours.0),
            setting: row.setting.clone(),
            label: row.source == Source::Label,
            instrument: row.instrument.clone(),
            apart,
            released: row.released,
        }
    }

    fn note(&self, state: &mut DeviceState, row: EventRow) -> Met {
        let act = self.act(&row).filter(|_| row.excluded.is_none());
        let revised = act.map(|act| state.note(&self.params, &Happening { time: row.event.time, act }));
        Met::Event(row, revised.unwrap_or_default())
    }

    fn act(&self, row: &EventRow) -> Option<Act> {
        let act = match row.event.kind {
            EventKind::Recalibrated => Act::Recalibrated { target: self.target(row) },
            EventKind::Replaced => Act::Replaced,
            EventKind::PartReplaced => Act::PartReplaced,
            EventKind::SettingChanged => Act::SettingChanged,
            EventKind::Moved => Act::Moved,
            EventKind::Cleaned => Act::Cleaned,
            // Each may have changed what it shows, and none says how.
            EventKind::Serviced | EventKind::Damaged | EventKind::Repaired | EventKind::Firmware => Act::Serviced,
            EventKind::Retired => Act::Retired,
            EventKind::CrossCalibrated | EventKind::NewBatch | EventKind::Certificate | EventKind::Adjusted => {
                return None;
            }
        };
        Some(act)
    }

    fn target(&self, row: &EventRow) -> Option<TargetWhite> {
        let followed = self.targets.iter().find(|(seq, _)| *seq == row.seq).map(|(_, target)| *target);
        named_target(row)
            .map(|named| TargetWhite {
                ln_level: named.ln_level.or(followed.and_then(|f| f.ln_level)).or(self.params.aim_ln_level),
                ..named
            })
            .or(followed)
    }
}

/// Digest of all that goes into an estimate beside readings and events, and of the version of the program that made it.
fn digest_of(things: &Things, params: &Params, targets: &[(Seq, TargetWhite)], instruments: &Instruments) -> Digest {
    let mut bytes = env!("CARGO_PKG_VERSION").as_bytes().to_vec();
    let number = |bytes: &mut Vec<u8>, value: f64| bytes.extend_from_slice(&value.to_le_bytes());
    let maybe = |bytes: &mut Vec<u8>, value: Option<f64>| {
        bytes.push(u8::from(value.is_some()));
        number(bytes, value.unwrap_or(0.0));
    };
    let Params { thing, aim_white, aim_ln_level, warm_up_min } = params;
    bytes.push(match thing {
        Thing::Display => 0,
        Thing::Lamp(kind) => 1 + *kind as u8,
    });
    for value in [aim_white.map(|white| white.u), aim_white.map(|white| white.v), *aim_ln_level, Some(*warm_up_min)] {
        maybe(&mut bytes, value);
    }
    for instrument in &things.instruments {
        bytes.push(0);
        bytes.extend_from_slice(instrument.id.as_str().as_bytes());
        let (noise, bias) = (instrument.noise, instrument.bias);
        for value in [noise.uv, noise.level, bias.uv, bias.level, bias.common] {
            number(&mut bytes, value);
        }
    }
    for (seq, target) in targets {
        bytes.extend_from_slice(&seq.get().to_le_bytes());
        number(&mut bytes, target.uv.u);
        number(&mut bytes, target.uv.v);
        for value in [target.ln_level, target.sd_uv, target.sd_ln] {
            maybe(&mut bytes, value);
        }
    }
    if !instruments.is_empty() {
        instruments.digested(&mut bytes);
    }
    Digest::of(&bytes)
}

impl Met {
    /// When it was measured or done.
    pub fn time(&self) -> Time {
        match self {
            Self::Reading(row, _) | Self::Passed(row) => row.time,
            Self::Event(row, _) => row.event.time,
        }
    }

    /// Earlier readings whose fate is now another.
    pub fn revised(&self) -> impl Iterator<Item = (Seq, Fate)> {
        let revised = match self {
            Self::Reading(_, absorbed) => absorbed.revised.as_slice(),
            Self::Passed(_) => &[],
            Self::Event(_, revised) => revised,
        };
        revised.iter().filter_map(|(seq, fate)| Some((Seq::new(*seq)?, *fate)))
    }
}
