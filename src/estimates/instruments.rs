//! What the ledger says of the difference of two instruments that read one device.
//!
//! Before they met on it, the difference has the variance of both biases, narrowed by what other devices told that both had
//! read before: pairs of readings of one device within [`PAIR`] days, at one setting, with nothing done to it in between.
//! Nothing that comes after they met is used, so that what is believed is a function of what was measured by then: from there
//! on the device's own filter learns. A comparison of the two (`cross_calibrated`) sets it anew for all devices.
//!
//! A device that one instrument reads costs a single look at one row.

use super::just_before;
use crate::aims::params_of;
use crate::drift::{Apart, LightKind, Params, Pool, Thing, drift_prior, dynamics};
use crate::ledger::store::ReadingRow;
use crate::ledger::{LedgerError, Store};
use crate::reading::{EventKind, Patch, Source};
use crate::site::{Bias, Things};
use crate::units::{Days, DeviceId, InstrumentId, Time};

/// Days within which readings by two instruments tell of their difference.
const PAIR: Days = Days(7.0);
/// Of the instruments of a device, so many have their differences learnt from other devices, the first that read it.
const POOLED: usize = 4;
/// So many other devices are looked at, those that both instruments met last.
const DEVICES: usize = 8;
/// So many readings of each from when both had read it, and so many before.
const AFTER: u32 = 48;
const BEFORE: u32 = 16;
/// A comparison of two instruments is a series of so many readings by both.
const SERIES: f64 = 5.0;
/// What the difference to an instrument is given where its bias is not stated: no two are the same. A middling instrument of
/// the trade, from memory.
const UNSTATED: Bias = Bias { uv: 0.0015, level: 0.02, common: 0.8 };

/// The differences of the instruments that read one device; empty where there is one.
#[derive(Debug, Default)]
pub(super) struct Instruments {
    met: Vec<Met>,
    compared: Vec<Compared>,
    /// Variances of the differences that were not learnt elsewhere.
    far: Vec<(InstrumentId, InstrumentId, Apart)>,
}

/// Two instruments on the device, and what was believed of `b` above `a` when both had read it.
#[derive(Debug)]
struct Met {
    a: InstrumentId,
    b: InstrumentId,
    apart: Apart,
}

/// Two instruments that were held against each other.
#[derive(Debug)]
pub(super) struct Compared {
    pub time: Time,
    pub a: InstrumentId,
    pub b: InstrumentId,
    pub apart: Apart,
}

impl Compared {
    fn is_of(&self, a: &InstrumentId, b: &InstrumentId) -> bool {
        (&self.a == a && &self.b == b) || (&self.a == b && &self.b == a)
    }
}

impl Instruments {
    pub fn of(store: &Store, things: &Things, device: &DeviceId, params: &Params) -> Result<Self, LedgerError> {
        let used = store.first_uses(device)?;
        if used.len() < 2 {
            return Ok(Self::default());
        }
        let mut out = Self { compared: comparisons(store, things, &used)?, ..Self::default() };
        for (place, (b, since)) in used.iter().enumerate() {
            for (a, _) in used.iter().take(place) {
                let look = Look { store, things, device, pair: [a, b], to: *since };
                if place < POOLED {
                    let apart = look.pooled(&out.compared)?.of(light(params.thing));
                    out.met.push(Met { a: a.clone(), b: b.clone(), apart });
                } else {
                    out.far.push((a.clone(), b.clone(), unlearnt(things, a, b)));
                }
            }
        }
        Ok(out)
    }

    /// What `other` is thought to read above `scale` at `time`, where the device has not told.
    pub fn apart(&self, scale: &InstrumentId, other: &InstrumentId, time: Time) -> Option<Apart> {
        if let Some(last) = self.compared.iter().rev().find(|one| one.time <= time && one.is_of(scale, other)) {
            return Some(last.apart);
        }
        let met = self.met.iter().map(|met| (&met.a, &met.b, met.apart));
        let far = self.far.iter().map(|(a, b, apart)| (a, b, *apart));
        met.chain(far).find_map(|(a, b, apart)| match () {
            () if a == scale && b == other => Some(apart),
            () if b == scale && a == other => Some(apart.reversed()),
            () => None,
        })
    }

    /// Comparisons of two of them after `from` up to and including `to`, in order.
    pub fn compared(&self, from: Option<Time>, to: Time) -> impl Iterator<Item = &Compared> {
        self.compared.iter().filter(move |one| from.is_none_or(|from| one.time > from) && one.time <= to)
    }

    /// All that it adds to what an estimate rests on beside readings and events.
    pub fn digested(&self, bytes: &mut Vec<u8>) {
        for Met { a, b, apart } in &self.met {
            for id in [a, b] {
                bytes.push(1);
                bytes.extend_from_slice(id.as_str().as_bytes());
            }
            for value in apart.mean.iter().chain(&apart.var) {
                bytes.extend_from_slice(&value.to_le_bytes());
            }
        }
        // What is not learnt follows from the instruments alone, and those of `met` from the order of first use.
        bytes.extend_from_slice(&(self.far.len() as u64).to_le_bytes());
    }

    /// Whether one instrument reads the device.
    pub fn is_empty(&self) -> bool {
        self.met.is_empty()
    }
}

const fn light(thing: Thing) -> LightKind {
    match thing {
        Thing::Display => LightKind::Display,
        Thing::Lamp(_) => LightKind::Lamp,
    }
}

/// The biases as far as they count in a difference: what is not stated is taken as usual.
fn stated(things: &Things, instrument: &InstrumentId) -> Bias {
    let bias = things.bias_of(Some(instrument));
    Bias {
        uv: if bias.uv > 0.0 { bias.uv } else { UNSTATED.uv },
        level: if bias.level > 0.0 { bias.level } else { UNSTATED.level },
        common: if bias.uv > 0.0 { bias.common } else { UNSTATED.common },
    }
}

/// Variance of the difference by channel, and of it what is the same on a display and on a lamp: of the colour the squares of
/// the common shares, of the level nothing, since a luminance and an illuminance head have nothing in common.
fn variances(things: &Things, a: &InstrumentId, b: &InstrumentId) -> ([f64; 3], [f64; 3]) {
    let (a, b) = (stated(things, a), stated(things, b));
    let square = |x: f64| x * x;
    let uv = square(a.uv) + square(b.uv);
    let common = square(a.uv * a.common) + square(b.uv * b.common);
    ([uv, uv, square(a.level) + square(b.level)], [common, common, 0.0])
}

fn unlearnt(things: &Things, a: &InstrumentId, b: &InstrumentId) -> Apart {
    Apart { mean: [0.0; 3], var: variances(things, a, b).0 }
}

/// All comparisons of two of the instruments in `used`, in the order of their times.
fn comparisons(store: &Store, things: &Things, used: &[(InstrumentId, Time)]) -> Result<Vec<Compared>, LedgerError> {
    let always = (Time::from_micros(i64::MIN), Time::from_micros(i64::MAX));
    let mut found = Vec::new();
    for (a, _) in used {
        let Ok(subject) = DeviceId::new(a.as_str()) else { continue };
        for row in store.events(&subject, always.0, always.1)? {
            let Some(b) = row.event.other.filter(|b| b != a && used.iter().any(|(id, _)| id == b)) else { continue };
            if row.event.kind == EventKind::CrossCalibrated && row.excluded.is_none() {
                let (one, two) = (things.noise_of(Some(a)), things.noise_of(Some(&b)));
                let uv = (one.uv * one.uv + two.uv * two.uv) / SERIES;
                let level = (one.level * one.level + two.level * two.level) / SERIES;
                let apart = Apart { mean: [0.0; 3], var: [uv, uv, level] };
                found.push(Compared { time: row.event.time, a: a.clone(), b, apart });
            }
        }
    }
    found.sort_by(|x, y| (x.time, &x.a, &x.b).cmp(&(y.time, &y.a, &y.b)));
    Ok(found)
}

/// A search for what other devices tell of two instruments.
struct Look<'a> {
    store: &'a Store,
    things: &'a Things,
    /// Not this one.
    device: &'a DeviceId,
    pair: [&'a InstrumentId; 2],
    /// Before this instant.
    to: Time,
}

impl Look<'_> {
    fn pooled(&self, compared: &[Compared]) -> Result<Pool, LedgerError> {
        let [a, b] = self.pair;
        let last = compared.iter().rev().find(|one| one.time <= self.to && one.is_of(a, b));
        let mut pool = match last {
            Some(last) => Pool::new(last.apart.var, last.apart.var),
            None => {
                let (var, common) = variances(self.things, a, b);
                Pool::new(var, common)
            }
        };
        let from = last.map(|last| last.time);
        let mut seen: Vec<(Time, DeviceId, LightKind, Difference)> = Vec::new();
        let others = self.store.devices_of_both(self.pair, self.to)?.into_iter().filter(|(id, _)| id != self.device);
        for (device, both) in others.take(DEVICES) {
            let Some(params) = params_of(self.things, &device) else { continue };
            let pairs = self.pairs_on(&device, &params, both.max(from.unwrap_or(both)), from)?;
            seen.extend(pairs.into_iter().map(|(time, seen)| (time, device.clone(), light(params.thing), seen)));
        }
        seen.sort_by(|x, y| (x.0, &x.1).cmp(&(y.0, &y.1)));
        for (.., kind, difference) in &seen {
            pool.take(*kind, difference);
        }
        Ok(pool)
    }

    /// What pairs of readings of `device` about `both` and later say of the second instrument above the first.
    fn pairs_on(
        &self,
        device: &DeviceId,
        params: &Params,
        both: Time,
        from: Option<Time>,
    ) -> Result<Vec<(Time, Difference)>, LedgerError> {
        let before = self.store.last_readings(device, just_before(Some(both)), BEFORE)?;
        let after = self.store.next_readings(device, both, just_before(Some(self.to)), AFTER)?;
        let tells = |row: &ReadingRow| {
            row.excluded.is_none()
                && row.patch == Patch::White
                && row.source == Source::Measured
                && row.spread.is_none()
                && row.warmup_min.is_none_or(|minutes| minutes >= params.warm_up_min)
                && row.instrument.as_ref().is_some_and(|id| self.pair.contains(&id))
                && from.is_none_or(|from| row.time > from)
                && row.time < self.to
        };
        let rows: Vec<ReadingRow> = before.into_iter().chain(after).filter(tells).collect();
        let (Some(first), Some(last)) = (rows.first(), rows.last()) else { return Ok(Vec::new()) };
        let acts = self.store.events(device, first.time, last.time)?;
        let acts: Vec<Time> = acts.iter().filter(|act| act.excluded.is_none()).map(|act| act.event.time).collect();
        let mut pairs = Vec::new();
        let mut open: Option<&ReadingRow> = None;
        for row in &rows {
            let partner = open.filter(|open| {
                let as_it_was = !acts.iter().any(|act| *act > open.time && *act <= row.time);
                open.instrument != row.instrument
                    && row.time.since(open.time) <= PAIR
                    && open.setting == row.setting
                    && as_it_was
            });
            open = match partner {
                Some(partner) => {
                    pairs.push((row.time, self.difference(params, partner, row)));
                    None
                }
                None => Some(row),
            };
        }
        Ok(pairs)
    }

    fn difference(&self, params: &Params, one: &ReadingRow, two: &ReadingRow) -> Difference {
        let days = two.time.since(one.time).0;
        let [a, b] = self.pair;
        let sign = if one.instrument.as_ref() == Some(a) { 1.0 } else { -1.0 };
        let noises = [self.things.noise_of(Some(a)), self.things.noise_of(Some(b))];
        let prior = drift_prior(params.thing);
        let var = |c: usize| {
            let channel = &prior.channels[c];
            let noise = |n: &crate::site::Noise| if c == 2 { n.level * n.level } else { n.uv * n.uv };
            let [_, wander, _] = channel.wander;
            let drifted = channel.slope_sd * days;
            noises.iter().map(noise).sum::<f64>()
                + 2.0 * wander * wander * -libm::expm1(-days / dynamics::WANDER_DAYS)
                + drifted * drifted
        };
        let level = one.ln_level.zip(two.ln_level).map(|(one, two)| sign * (two - one));
        [
            Some((sign * (two.u - one.u), var(0))),
            Some((sign * (two.v - one.v), var(1))),
            level.map(|level| (level, var(2))),
        ]
    }
}

/// What two readings say of the second instrument above the first: value and variance by channel.
type Difference = [Option<(f64, f64)>; 3];
