//! What was foretold of one device, against the readings that followed.
//!
//! A forecast is asked after a warm reading that counts, at most once in four weeks, and held against the reading
//! nearest to each of [`HORIZONS`] later. The band is that of the *reading*: the foretold spread of the true state and the
//! instrument's scatter as the model sees it together. A reading that the gate doubted is left out, and so is a window in which
//! the device was touched, turned or jumped: the forecast said what comes if nobody touches it.

use crate::aims;
use crate::drift::{DeviceState, Fate, Params};
use crate::estimates::{self, Met};
use crate::ledger::store::ReadingRow;
use crate::ledger::{LedgerError, Store};
use crate::reading::{EventKind, Source};
use crate::site::Things;
use crate::trial::device::{Check, DeviceTrial, Foretold, HORIZONS};
use crate::units::{Days, DeviceId, Time};

/// A reading so much earlier or later than the horizon is held against it.
const NEAR: Days = Days(10.0);
/// Days from one forecast to the next, at least.
const APART: Days = Days(28.0);

/// Tries the forecasts of `device` on all that was measured up to `to`.
pub fn of_device(store: &Store, things: &Things, device: &DeviceId, to: Time) -> Result<DeviceTrial, LedgerError> {
    let mut walk =
        Walk { things, asked: Vec::new(), last_asked: None, first: None, breaks: Vec::new(), near: Vec::new() };
    let Some(params) = aims::params_of(things, device) else {
        return Err(LedgerError::Damaged { what: format!("{device} is no display or lamp") });
    };
    let end = estimates::history(store, things, device, to, |met, state| walk.meet(met, state, &params))?;
    walk.near.extend(walk.asked.drain(..).flat_map(|asked| asked.nearest));
    let mut checks: Vec<Check> = walk.near.into_iter().flatten().map(|(_, check)| check).collect();
    checks.sort_by_key(|check| (check.horizon, check.read));
    let verified = end.map(|end| end.state.summary(&end.params).verified).unwrap_or_default();
    Ok(DeviceTrial { device: device.clone(), first: walk.first, breaks: walk.breaks, checks, verified })
}

struct Walk<'a> {
    things: &'a Things,
    asked: Vec<Asked>,
    last_asked: Option<Time>,
    first: Option<Time>,
    breaks: Vec<Time>,
    near: Vec<Option<(Days, Check)>>,
}

/// A forecast that waits for the readings that follow.
struct Asked {
    at: Time,
    state: DeviceState,
    last: [Option<f64>; 3],
    /// For each horizon the check of the nearest reading so far, and how near it is.
    nearest: [Option<(Days, Check)>; 3],
}

impl Walk<'_> {
    fn meet(&mut self, met: &Met, state: &DeviceState, params: &Params) {
        match met {
            Met::Event(row, _) if row.excluded.is_none() && touches(row.event.kind) => self.broken(row.event.time),
            Met::Reading(row, absorbed) => {
                let turned = row.setting.is_some() && self.asked.iter().any(|asked| asked.turned(row));
                if let Some(step) = &absorbed.step {
                    self.broken(step.began);
                } else if turned {
                    self.broken(row.time);
                }
                // What another instrument read stands on another scale; the band is of this one's readings.
                let on_scale = row.instrument.as_ref() == state.scale_instrument();
                if on_scale && absorbed.fate == Fate::Used && row.source == Source::Measured && row.spread.is_none() {
                    self.read(row, state, params);
                }
            }
            Met::Event(..) | Met::Passed(_) => {}
        }
    }

    /// The device was touched: what was asked before no longer speaks of what follows.
    fn broken(&mut self, at: Time) {
        self.breaks.push(at);
        self.last_asked = None;
        for asked in self.asked.drain(..) {
            self.near.extend(asked.nearest.map(|near| near.filter(|(_, check)| check.read < at)));
        }
    }

    fn read(&mut self, row: &ReadingRow, state: &DeviceState, params: &Params) {
        self.first.get_or_insert(row.time);
        let farthest = HORIZONS.iter().fold(0.0, |a: f64, b| a.max(*b)) + NEAR.0;
        for asked in &mut self.asked {
            asked.hold_against(row, self.things, params);
        }
        let over = |asked: &Asked| row.time.since(asked.at).0 > farthest;
        for asked in self.asked.extract_if(.., |asked| over(asked)) {
            self.near.extend(asked.nearest);
        }
        if self.last_asked.is_none_or(|last| row.time.since(last) >= APART) {
            self.last_asked = Some(row.time);
            let last = [Some(row.u), Some(row.v), row.ln_level];
            self.asked.push(Asked { at: row.time, state: state.clone(), last, nearest: [None; 3] });
        }
    }
}

impl Asked {
    fn turned(&self, row: &ReadingRow) -> bool {
        self.state.setting().is_some() && row.setting.as_deref() != self.state.setting()
    }

    fn hold_against(&mut self, row: &ReadingRow, things: &Things, params: &Params) {
        let days = row.time.since(self.at);
        for (horizon, (target, nearest)) in HORIZONS.iter().zip(&mut self.nearest).enumerate() {
            let off = Days((days.0 - target).abs());
            if off > NEAR || nearest.as_ref().is_some_and(|(before, _)| *before <= off) {
                continue;
            }
            let path = self.state.forecast(params, &[row.time]).likely;
            let factors = self.state.summary(params).noise_factors;
            let noise = things.noise_of(row.instrument.as_ref());
            let scatter = [noise.uv, noise.uv, noise.level];
            let seen = [Some(row.u), Some(row.v), row.ln_level];
            let channels = [0, 1, 2].map(|c: usize| {
                let channel = path.channels[c].as_ref()?;
                let (mean, sd) = (*channel.mean.first()?, *channel.sd.first()?);
                let sd = sd.hypot(factors[c] * scatter[c]);
                Some(Foretold { mean, sd, seen: seen[c]?, last: self.last[c]? })
            });
            *nearest = Some((off, Check { horizon, read: row.time, channels }));
        }
    }
}

/// Whether something done to a device changes what its forecast spoke of.
const fn touches(kind: EventKind) -> bool {
    !matches!(
        kind,
        EventKind::CrossCalibrated
            | EventKind::NewBatch
            | EventKind::Retired
            | EventKind::Certificate
            | EventKind::Adjusted
    )
}
