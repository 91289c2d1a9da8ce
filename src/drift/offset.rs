//! The hidden constant between a second instrument and the one on whose scale a device is kept.
//!
//! A reading by another instrument is `level + wander + constant + noise`. The constant is a fourth state that never moves, one
//! a channel, with the covariance between it and the other three kept by every setting: an exact joint Kalman filter, of which
//! a device that one instrument reads keeps three states and pays for no more. What is reset in a device (level, slope,
//! wander) loses its covariance with the constant; the constant itself belongs to the instruments and stays.
//!
//! **Scale.** A device is kept on the scale of the instrument that has read it most, the earlier one on a tie. When another
//! overtakes it, the state is turned to the new scale: `level ← level + constant`, `constant ← −constant`. That is a linear map
//! of the joint state, so nothing is lost, and what was not known of the constant becomes doubt of the level.
//!
//! **One constant at a time.** The second instrument of a device has it; a further one takes it over once it has read more
//! than that, or is the scale. Until then its readings count with its expected difference and the variance of that beside
//! their noise, as if the difference were drawn anew each time.
//!
//! [`Pool`] makes of differences seen on other devices what is believed of the constant before it was met here.

use super::bank::{Bank, GRID, Number, Setting};
use super::device::DeviceState;
use super::dynamics::Span;
use super::filter::Filter;
use super::matrix::Matrix;
use super::observation::Observation;
use super::priors::{ChannelPrior, DriftPrior};
use crate::units::InstrumentId;

/// What an instrument is thought to read above another, by channel (u′, v′, ln level): mean and variance.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub struct Apart {
    pub mean: [f64; 3],
    pub var: [f64; 3],
}

impl Apart {
    /// The same seen from the other instrument.
    pub fn reversed(self) -> Self {
        Self { mean: self.mean.map(|mean| -mean), ..self }
    }

    /// Finite, and in a range in which no square overflows.
    pub(super) fn tidied(self) -> Self {
        let cut = |x: f64, low: f64, high: f64| if x.is_nan() { 0.0 } else { x.clamp(low, high) };
        Self { mean: self.mean.map(|x| cut(x, -10.0, 10.0)), var: self.var.map(|x| cut(x, 0.0, 100.0)) }
    }
}

/// The constant of one channel under one setting, or its moments over all of them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Constant {
    pub mean: f64,
    pub var: f64,
    /// Covariance with level, slope and wander.
    pub cross: [f64; 3],
}

impl Constant {
    /// No constant.
    pub const NONE: Self = Self { mean: 0.0, var: 0.0, cross: [0.0; 3] };

    /// The same after `span`.
    pub fn carried(&self, span: &Span) -> Self {
        Self { cross: span.transition().times_column(&self.cross), ..*self }
    }

    fn joined(&self, filter: &Filter<3>) -> Filter<4> {
        let [m0, m1, m2] = filter.mean;
        let [p0, p1, p2] = filter.cov.0;
        let [c0, c1, c2] = self.cross;
        Filter {
            mean: [m0, m1, m2, self.mean],
            cov: Matrix([
                [p0[0], p0[1], p0[2], c0],
                [p1[0], p1[1], p1[2], c1],
                [p2[0], p2[1], p2[2], c2],
                [c0, c1, c2, self.var],
            ]),
        }
    }

    fn parted(joint: &Filter<4>) -> (Filter<3>, Self) {
        let [m0, m1, m2, mean] = joint.mean;
        let [p0, p1, p2, [c0, c1, c2, var]] = joint.cov.0;
        let cov = Matrix([p0, p1, p2].map(|row| [row[0], row[1], row[2]]));
        (Filter { mean: [m0, m1, m2], cov }, Self { mean, var, cross: [c0, c1, c2] })
    }
}

/// What is read by the instrument of the scale, and by the other.
const BY_SCALE: [f64; 4] = [1.0, 0.0, 1.0, 0.0];
const BY_OTHER: [f64; 4] = [1.0, 0.0, 1.0, 1.0];
/// Turns the joint state to the scale of the other instrument.
const TURNED: Matrix<4, 4> =
    Matrix([[1.0, 0.0, 0.0, 1.0], [0.0, 1.0, 0.0, 0.0], [0.0, 0.0, 1.0, 0.0], [0.0, 0.0, 0.0, -1.0]]);

/// States of a channel, as [`Bank::sever`] names them.
pub(super) const LEVEL: usize = 0;
pub(super) const SLOPE: usize = 1;
pub(super) const WANDER: usize = 2;

impl Bank {
    /// Begins a constant, in place of one that there may be; it is known apart from the device.
    fn begin_constant(&mut self, mean: f64, var: f64) {
        self.constants = Some(Box::new([Constant { mean, var, ..Constant::NONE }; GRID]));
    }

    /// Takes a number in where there is a constant; returns false where there is none.
    pub(super) fn take_joint(&mut self, prior: &ChannelPrior, number: &Number) -> bool {
        let Some(constants) = &mut self.constants else { return false };
        let seen = if number.across { &BY_OTHER } else { &BY_SCALE };
        let settings = self.filters.iter_mut().zip(constants.iter_mut()).zip(&mut self.log_weights);
        for (index, ((filter, constant), weight)) in settings.enumerate() {
            let factor = Setting::at(index, prior).noise;
            let r = number.noise * factor * factor + number.extra;
            let (joint, innovation) = constant.joined(filter).update(seen, r, number.value);
            (*filter, *constant) = Constant::parted(&joint);
            *weight += innovation.log_likelihood;
        }
        true
    }

    pub(super) fn carry_constants(&mut self, span: &Span) {
        for constant in self.constants.iter_mut().flat_map(|all| all.iter_mut()) {
            *constant = constant.carried(span);
        }
    }

    /// These states were set anew: what the constant's error had in common with theirs is gone.
    pub(super) fn sever<const N: usize>(&mut self, states: [usize; N]) {
        for constant in self.constants.iter_mut().flat_map(|all| all.iter_mut()) {
            for (state, covariance) in constant.cross.iter_mut().enumerate() {
                if states.contains(&state) {
                    *covariance = 0.0;
                }
            }
        }
    }

    /// What the constant's error has in common with a state halves.
    pub(super) fn halve_constants_share(&mut self, state: usize) {
        for constant in self.constants.iter_mut().flat_map(|all| all.iter_mut()) {
            if let Some(covariance) = constant.cross.get_mut(state) {
                *covariance *= 0.5;
            }
        }
    }

    /// Turns the channel to the scale of the other instrument.
    fn turn_scale(&mut self) {
        let Some(constants) = &mut self.constants else { return };
        for (filter, constant) in self.filters.iter_mut().zip(constants.iter_mut()) {
            let joint = constant.joined(filter);
            let turned = Filter { mean: TURNED.times_column(&joint.mean), cov: joint.cov.carried_by(&TURNED) };
            (*filter, *constant) = Constant::parted(&turned);
        }
    }

    /// A number as the instrument of the scale would have read it, as far as that is known.
    pub(super) fn on_scale(&self, prior: &ChannelPrior, number: &Number) -> f64 {
        if number.across { number.value - self.belief(prior).constant.mean } else { number.value }
    }

    /// The constant's moments over all settings, `weights` summing to 1 and `means` being those of the three states.
    pub(super) fn constant(&self, weights: &[f64; GRID], means: &[f64; 3]) -> Constant {
        let Some(constants) = &self.constants else { return Constant::NONE };
        let mut out = Constant::NONE;
        for (weight, constant) in weights.iter().zip(constants.iter()) {
            out.mean += weight * constant.mean;
        }
        for ((weight, filter), constant) in weights.iter().zip(&self.filters).zip(constants.iter()) {
            let apart = constant.mean - out.mean;
            out.var += weight * (constant.var + apart * apart);
            for (state, covariance) in out.cross.iter_mut().enumerate() {
                *covariance += weight * (constant.cross[state] + (filter.mean[state] - means[state]) * apart);
            }
        }
        out
    }
}

impl DeviceState {
    /// Counts the instrument of a reading and settles what its numbers are held against. Returns the reading as it is to be
    /// taken where that differs: moved to the device's scale, with the doubt of that.
    pub(super) fn meet_instrument(&mut self, prior: &DriftPrior, observation: &Observation) -> Option<Observation> {
        let own = observation.instrument.as_ref()?;
        let before = self.scale_instrument().cloned();
        self.count_instrument(own);
        let scale = before?;
        if scale == *own {
            return None;
        }
        let overtaken = self.scale_instrument() == Some(own);
        if self.other.as_ref() != Some(own) {
            let apart = observation.apart?;
            let takes_over = self.other.as_ref().is_none_or(|other| self.count_of(own) > self.count_of(other));
            if !takes_over && !overtaken {
                return Some(beside(observation, &apart));
            }
            self.set_constant(prior, own, &apart);
        }
        if overtaken {
            self.turn_scale(scale);
        }
        None
    }

    /// Whether a reading is by the instrument whose constant is kept.
    pub(super) fn is_across(&self, observation: &Observation) -> bool {
        self.other.is_some() && self.other == observation.instrument
    }

    /// Two instruments were compared with each other: from now on their difference is `apart` (`b` above `a`), wherever both
    /// read.
    pub fn cross_calibrated(&mut self, params: &super::Params, a: &InstrumentId, b: &InstrumentId, apart: &Apart) {
        let apart = match (self.scale_instrument(), &self.other) {
            (Some(scale), Some(other)) if scale == a && other == b => apart.tidied(),
            (Some(scale), Some(other)) if scale == b && other == a => apart.tidied().reversed(),
            _ => return,
        };
        if let Some(other) = self.other.clone() {
            self.set_constant(&super::priors::drift_prior(params.thing), &other, &apart);
        }
    }

    /// The instrument beside the one of the scale whose constant is kept, and by channel what it reads above it: mean and sd.
    pub fn other_instrument(&self, params: &super::Params) -> Option<(&InstrumentId, [(f64, f64); 3])> {
        let other = self.other.as_ref()?;
        let beliefs = super::odd::beliefs_of(&self.banks, &super::priors::drift_prior(params.thing));
        Some((other, beliefs.map(|belief| (belief.constant.mean, libm::sqrt(belief.constant.var.max(0.0))))))
    }

    fn count_of(&self, instrument: &InstrumentId) -> u64 {
        self.instruments.iter().find(|(id, _)| id == instrument).map_or(0, |(_, count)| *count)
    }

    /// Begins the constant of `other` anew. What waits and was read across the one before is moved to the scale by that.
    fn set_constant(&mut self, prior: &DriftPrior, other: &InstrumentId, apart: &Apart) {
        for c in 0..3 {
            let before = self.banks[c].belief(&prior.channels[c]).constant;
            for number in self.pending.iter_mut().filter_map(|odd| odd.numbers[c].as_mut()).filter(|n| n.across) {
                number.value -= before.mean;
                number.extra += before.var;
                number.across = false;
            }
            self.banks[c].begin_constant(apart.mean[c], apart.var[c]);
        }
        self.other = Some(other.clone());
        // A forecast that waits knew nothing of this constant.
        self.asked = None;
    }

    fn turn_scale(&mut self, before: InstrumentId) {
        self.banks.iter_mut().for_each(Bank::turn_scale);
        self.other = Some(before);
        self.asked = None;
        // What was read on the old scale is now read by the other instrument, and the other way round.
        for number in self.pending.iter_mut().flat_map(|odd| odd.numbers.iter_mut().flatten()) {
            number.across = !number.across;
        }
    }
}

/// A reading by a further instrument, on the device's scale as far as is known.
fn beside(observation: &Observation, apart: &Apart) -> Observation {
    let mut moved = observation.clone();
    let [mean_u, mean_v, mean_ln] = apart.mean;
    let [var_u, var_v, var_ln] = apart.var;
    moved.white.u -= mean_u;
    moved.white.v -= mean_v;
    moved.ln_level = moved.ln_level.map(|level| level - mean_ln);
    moved.extra_cov[0] += var_u;
    moved.extra_cov[2] += var_v;
    moved.extra_ln += var_ln;
    moved
}

/// Of what is not known of the difference of two instruments, the share that is a device's own: no two lights are the same.
const OWN_SHARE: f64 = 0.05;
/// A difference further from what was expected than this many sd is a stray: 1 in 1000 and rounder.
const STRAY: f64 = 3.3;

/// What differences seen on some devices tell of the same two instruments on another. Per channel two unknowns, the
/// difference on displays and on lamps, correlated as far as the instruments' errors are common to both kinds of light.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pool {
    channels: [Filter<2>; 3],
    own: [f64; 3],
}

/// Kinds of light between which an instrument's error may differ.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum LightKind {
    Display,
    Lamp,
}

impl LightKind {
    const fn seen(self) -> [f64; 2] {
        match self {
            Self::Display => [1.0, 0.0],
            Self::Lamp => [0.0, 1.0],
        }
    }
}

impl Pool {
    /// Before anything was seen: mean 0, the variance `var` on either kind of light, of which `common` is the same on both.
    pub fn new(var: [f64; 3], common: [f64; 3]) -> Self {
        let shared = 1.0 - OWN_SHARE;
        let channel = |c: usize| {
            let (var, common) = (shared * var[c], shared * common[c].clamp(0.0, var[c]));
            Filter { mean: [0.0; 2], cov: Matrix([[var, common], [common, var]]) }
        };
        Self { channels: [0, 1, 2].map(channel), own: var.map(|var| OWN_SHARE * var) }
    }

    /// Takes in a difference seen on a device of this kind, by channel with the variance of its two readings.
    pub fn take(&mut self, kind: LightKind, seen: &[Option<(f64, f64)>; 3]) {
        let h = kind.seen();
        let mut after = self.channels;
        for c in 0..3 {
            let Some((value, var)) = seen[c] else { continue };
            let (next, innovation) = self.channels[c].update(&h, var + self.own[c], value);
            if innovation.value * innovation.value > STRAY * STRAY * innovation.variance {
                // One stray channel makes the readings doubtful as a whole.
                return;
            }
            after[c] = next;
        }
        self.channels = after;
    }

    /// What is believed on a further device of this kind.
    pub fn of(&self, kind: LightKind) -> Apart {
        let place = usize::from(kind == LightKind::Lamp);
        let mut apart = Apart { mean: [0.0; 3], var: self.own };
        for (c, channel) in self.channels.iter().enumerate() {
            apart.mean[c] = channel.mean[place];
            apart.var[c] += channel.cov.0[place][place].max(0.0);
        }
        apart
    }
}

#[cfg(test)]
mod exact;
#[cfg(test)]
mod tests;
