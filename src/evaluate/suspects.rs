//! Gathers what tells whether an instrument is suspect: the newest jumps of all devices, and the readings of those that did
//! not jump. Whether it is one is decided in `station::suspect`.

use super::Estimates;
use crate::alert::{Kind, Sighting, conditions};
use crate::config::Config;
use crate::drift::{LightKind, StepFound, Thing};
use crate::estimates::Estimate;
use crate::ledger::store::ReadingRow;
use crate::ledger::{LedgerError, Seq, Store};
use crate::reading::{EventKind, Patch};
use crate::say;
use crate::station::suspect::{Calm, Jump, Suspicion, suspicions};
use crate::units::{DeviceId, InstrumentId, Time};
use crate::zone::LocalZone;

/// So many of a device's newest readings are looked at.
const LOOKED_AT: u32 = 32;
/// A jump and the one before it that leave less than this share of it make none: the light is back.
const BACK: f64 = 0.4;

/// The suspicions of a site at an instant.
#[derive(Debug, Default)]
pub(super) struct Suspects {
    /// Those that stand.
    standing: Vec<Suspicion>,
    /// Those that something was done about since.
    settled: Vec<Suspicion>,
}

impl Suspects {
    /// Looks at the whole site, where a device of `devices` has jumped lately or an instrument is `watched`; reads the other
    /// devices' estimates only then.
    pub fn look<'d>(
        estimates: &mut Estimates,
        config: &Config,
        devices: impl Iterator<Item = &'d DeviceId>,
        watched: bool,
    ) -> Result<Self, LedgerError> {
        let mut jumped = watched;
        for device in devices {
            estimates.read([device])?;
            jumped |= estimates.get(device).is_some_and(|estimate| newest(estimate, estimates.at).is_some());
        }
        if !jumped {
            return Ok(Self::default());
        }
        let (mut jumps, mut calm, mut count) = (Vec::new(), Vec::new(), 0);
        for device in super::devices_of(&config.things) {
            count += 1;
            estimates.read([device])?;
            let Some(estimate) = estimates.get(device) else { continue };
            let light = match estimate.params.thing {
                Thing::Display => LightKind::Display,
                Thing::Lamp(_) => LightKind::Lamp,
            };
            let rows = estimates.store.last_readings(device, estimates.at, LOOKED_AT)?;
            match jump_of(estimates.store, device, light, estimate, &rows, estimates.at)? {
                Some(jump) => jumps.push(jump),
                None => calm.extend(calm_readings(light, estimate, &rows)),
            }
        }
        let mut out = Self::default();
        for suspicion in suspicions(&jumps, &calm, count) {
            let settled = was_seen_to(estimates.store, &suspicion, estimates.at)?;
            if settled { &mut out.settled } else { &mut out.standing }.push(suspicion);
        }
        Ok(out)
    }

    /// Whether a device's jump is laid to an instrument that is suspect.
    pub fn holds(&self, device: &DeviceId) -> bool {
        self.standing.iter().any(|suspicion| suspicion.devices.contains(device))
    }

    /// Whether a device's jump was an instrument's that something was done about since.
    pub fn settled(&self, device: &DeviceId) -> bool {
        self.settled.iter().any(|suspicion| suspicion.devices.contains(device))
    }

    /// The devices that any suspicion is about.
    pub fn devices(&self) -> impl Iterator<Item = &DeviceId> {
        self.standing.iter().chain(&self.settled).flat_map(|suspicion| &suspicion.devices)
    }

    /// One condition for each suspicion, and for each of `open` that is none any more.
    pub fn conditions(&self, open: &[String], zone: &LocalZone) -> Vec<super::Condition> {
        let of = |subject: String, sighting, detail| {
            super::Condition::of(Kind::InstrumentSuspect, &subject, sighting, detail)
        };
        let standing = self
            .standing
            .iter()
            .map(|suspicion| of(suspicion.instrument.to_string(), Sighting::Bad, say::of_suspect(suspicion, zone)));
        let over = (open.iter())
            .filter(|open| !self.standing.iter().any(|suspicion| suspicion.instrument.as_str() == open.as_str()))
            .map(|open| of(open.clone(), Sighting::Good, Vec::new()));
        standing.chain(over).collect()
    }
}

/// A jump of one device, found or possible: when it began, the readings that show it, and how far (u′, v′, ln level).
struct Newest {
    began: Time,
    seqs: Vec<i64>,
    by: [f64; 3],
}

/// The newest jump of a device that is still news, unless it is back from it.
fn newest(estimate: &Estimate, now: Time) -> Option<Newest> {
    let summary = estimate.state.summary(&estimate.params);
    let is_news = |began: Time| conditions::of_step(Some(began), false, now) == Sighting::Bad;
    let of = |step: StepFound| Newest {
        began: step.began,
        by: [step.delta_u, step.delta_v, step.delta_ln],
        seqs: step.seqs,
    };
    let steps = [summary.last_step, summary.step_before];
    let mut steps = steps.into_iter().flatten().filter(|step| is_news(step.began)).map(of);
    let (last, before) = if summary.waiting.is_empty() {
        (steps.next()?, steps.next())
    } else {
        let forecast = estimate.state.forecast(&estimate.params, &[now]);
        let possible = forecast.possible.first().filter(|possible| is_news(possible.began))?;
        let mut by = [0.0; 3];
        for ((by, now), then) in by.iter_mut().zip(&possible.path.channels).zip(&forecast.likely.channels) {
            let mean = |path: &Option<crate::drift::ChannelPath>| path.as_ref()?.mean.first().copied();
            *by = mean(now).zip(mean(then)).map_or(0.0, |(now, then)| now - then);
        }
        let seqs = summary.waiting.iter().map(|(seq, _)| *seq).collect();
        (Newest { began: possible.began, seqs, by }, steps.next())
    };
    let size = |by: &[f64; 3]| by[0].hypot(by[1]).max(by[2].abs() * 0.05);
    let is_back = before.is_some_and(|before| {
        let sum = [0, 1, 2].map(|c: usize| last.by[c] + before.by[c]);
        size(&sum) < BACK * size(&last.by)
    });
    (!is_back).then_some(last)
}

fn jump_of(
    store: &Store,
    device: &DeviceId,
    light: LightKind,
    estimate: &Estimate,
    rows: &[ReadingRow],
    now: Time,
) -> Result<Option<Jump>, LedgerError> {
    let Some(newest) = newest(estimate, now) else { return Ok(None) };
    let mut instrument: Option<InstrumentId> = None;
    for seq in newest.seqs.iter().filter_map(|seq| Seq::new(*seq)) {
        let by = store.reading(seq)?.and_then(|row| row.instrument);
        match (&instrument, by) {
            (None, Some(by)) => instrument = Some(by),
            (Some(one), Some(by)) if *one == by => {}
            // Nobody said what it was read with, or two instruments say the same: the device has jumped.
            _ => return Ok(None),
        }
    }
    let Some(instrument) = instrument else { return Ok(None) };
    let acted = store.events(device, newest.began, now)?.iter().any(|event| event.excluded.is_none());
    let borne_out = counted(estimate, rows)
        .any(|row| row.time >= newest.began && row.instrument.as_ref().is_some_and(|by| *by != instrument));
    let [u, v, ln_level] = newest.by;
    let jump = Jump { device: device.clone(), light, instrument, began: newest.began, uv: (u, v), ln_level };
    Ok((!acted && !borne_out).then_some(jump))
}

fn counted<'r>(estimate: &'r Estimate, rows: &'r [ReadingRow]) -> impl Iterator<Item = &'r ReadingRow> {
    rows.iter()
        .filter(|row| row.excluded.is_none() && row.patch == Patch::White && !estimate.state.doubts(row.seq.get()))
}

fn calm_readings<'r>(
    light: LightKind,
    estimate: &'r Estimate,
    rows: &'r [ReadingRow],
) -> impl Iterator<Item = Calm> + 'r {
    counted(estimate, rows)
        .filter_map(move |row| row.instrument.clone().map(|instrument| Calm { light, instrument, time: row.time }))
}

/// Whether the instrument was serviced, mended, certified or compared with another since it became suspect.
fn was_seen_to(store: &Store, suspicion: &Suspicion, now: Time) -> Result<bool, LedgerError> {
    let Ok(subject) = DeviceId::new(suspicion.instrument.as_str()) else { return Ok(false) };
    let kinds = [EventKind::CrossCalibrated, EventKind::Serviced, EventKind::Recalibrated];
    let further = [EventKind::Adjusted, EventKind::Repaired, EventKind::Certificate];
    let last = store.last_event(&subject, kinds, now)?.max(store.last_event(&subject, further, now)?);
    Ok(last.is_some_and(|at| at >= suspicion.since))
}
