//! A bank of filters for one channel over a fixed grid of noise settings, averaged by how well each foretold.
//!
//! Setting = factor on the instrument's noise × standing sd of the wander × rate of change of the slope × width of the
//! slope prior. Each is an exact Kalman filter; its weight is its prior weight times the predictive density of every
//! number it was given, kept as a logarithm (Bayesian model averaging, Hoeting et al. 1999). No optimiser, cost flat in
//! history, honest at one reading.
//!
//! Since every setting shares the time constant of the wander, mean and covariance of the whole mixture at any later
//! time follow exactly from its first two moments now: [`Belief`].

use super::dynamics::{SEEN, Span, Strength, movement};
use super::filter::Filter;
use super::matrix::{Matrix, dot};
use super::offset::{Constant, LEVEL, SLOPE, WANDER};
use super::priors::{ChannelPrior, WANDERS};

/// Factors on the declared noise of a reading, with their prior weights.
const NOISES: [(f64, f64); 3] = [(0.7, 0.3), (1.0, 0.65), (1.7, 0.05)];
/// Prior weights of the wander's values.
const WANDER_WEIGHTS: [f64; WANDERS] = [0.35, 0.6, 0.05];
/// Prior weights of the two values of the slope's change.
const CHANGE_WEIGHTS: [f64; 2] = [0.5, 0.5];
/// Width of the slope prior as a multiple of the kind's, with prior weights.
const WIDTHS: [(f64, f64); 2] = [(1.0, 0.75), (3.0, 0.25)];

/// Number of settings.
pub const GRID: usize = NOISES.len() * WANDERS * CHANGE_WEIGHTS.len() * WIDTHS.len();

/// No weight falls further behind the best than this, so that none is lost for good.
const FURTHEST_BEHIND: f64 = -25.0;

/// One point of the grid for one channel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Setting {
    /// Factor on the declared noise.
    pub noise: f64,
    /// Of the movement.
    pub strength: Strength,
    /// Sd of the slope, per day.
    pub slope_sd: f64,
    /// Prior weight; all together 1.
    pub weight: f64,
}

impl Setting {
    /// Point `index` of the grid, `0..GRID`.
    #[inline]
    pub fn at(index: usize, prior: &ChannelPrior) -> Self {
        let (noise, a) = NOISES[index % NOISES.len()];
        let rest = index / NOISES.len();
        let (wander, b) = (prior.wander[rest % WANDERS], WANDER_WEIGHTS[rest % WANDERS]);
        let rest = rest / WANDERS;
        let (change, c) =
            (prior.slope_changes[rest % CHANGE_WEIGHTS.len()], CHANGE_WEIGHTS[rest % CHANGE_WEIGHTS.len()]);
        let (width, d) = WIDTHS[(rest / CHANGE_WEIGHTS.len()) % WIDTHS.len()];
        let per_day = change * width * prior.slope_sd;
        Self {
            noise,
            strength: Strength {
                slope_change: per_day * per_day,
                wander: wander * wander,
                settling: prior.settling * prior.settling / super::device::SETTLING_DAYS,
            },
            slope_sd: width * prior.slope_sd,
            weight: a * b * c * d,
        }
    }
}

/// A number as one channel takes it in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Number {
    /// Its value.
    pub value: f64,
    /// Variance declared for its noise, which the settings scale.
    pub noise: f64,
    /// Variance that stands beside it unscaled (cold, label, unknown tint).
    pub extra: f64,
    /// Read by the instrument whose constant is kept (see `offset`).
    pub across: bool,
}

/// First two moments of the mixture, and the mean strengths that carry them on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Belief {
    /// Mean and covariance, differences between settings included.
    pub state: Filter<3>,
    /// Mean strength of movement.
    pub strength: Strength,
    /// Mean of the squared noise factor.
    pub noise: f64,
    /// What a second instrument reads above the first; nothing where there is none.
    pub(super) constant: Constant,
}

/// The filters of one channel and their log weights (the best is 0).
#[derive(Debug, Clone, PartialEq)]
pub struct Bank {
    pub(super) filters: [Filter<3>; GRID],
    pub(super) log_weights: [f64; GRID],
    /// Where a second instrument has read the device: its constant under each setting.
    pub(super) constants: Option<Box<[Constant; GRID]>>,
}

impl Bank {
    /// A channel that was never read: level `mean` ± `sd`, slope as the kind has it.
    pub fn new(prior: &ChannelPrior, mean: f64, sd: f64) -> Self {
        let mut bank = Self {
            filters: [Filter { mean: [mean, prior.slope, 0.0], cov: Matrix::ZERO }; GRID],
            log_weights: [0.0; GRID],
            constants: None,
        };
        bank.alter(prior, |filter, setting| {
            filter.cov = Matrix::diagonal([sd * sd, setting.slope_sd * setting.slope_sd, setting.strength.wander]);
        });
        for (index, weight) in bank.log_weights.iter_mut().enumerate() {
            *weight = libm::log(Setting::at(index, prior).weight);
        }
        bank.level_weights();
        bank
    }

    /// Carries every filter over `span`.
    pub fn carry(&mut self, prior: &ChannelPrior, span: &Span) {
        let (f, left) = (span.transition(), span.wander_left());
        self.alter(prior, |filter, setting| *filter = filter.predict(&f, &span.noise(&setting.strength, left)));
        self.carry_constants(span);
    }

    /// Takes a number in and weighs the settings anew.
    pub fn take(&mut self, prior: &ChannelPrior, number: &Number) {
        if self.take_joint(prior, number) {
            return self.level_weights();
        }
        for index in 0..GRID {
            let factor = Setting::at(index, prior).noise;
            let r = number.noise * factor * factor + number.extra;
            let (filter, innovation) = self.filters[index].update(&SEEN, r, number.value);
            self.filters[index] = filter;
            self.log_weights[index] += innovation.log_likelihood;
        }
        self.level_weights();
    }

    /// Changes every filter knowing its setting; the weights stay.
    pub fn alter(&mut self, prior: &ChannelPrior, mut change: impl FnMut(&mut Filter<3>, &Setting)) {
        for (index, filter) in self.filters.iter_mut().enumerate() {
            change(filter, &Setting::at(index, prior));
        }
    }

    /// The true value becomes `mean` ± `sd`, known apart from all before; slope and weights stay.
    pub fn reset_level(&mut self, prior: &ChannelPrior, mean: f64, sd: f64) {
        self.alter(prior, |filter, _| {
            filter.mean = [mean, filter.mean[1], 0.0];
            filter.cov = Matrix::diagonal([sd * sd, filter.cov.0[1][1], 0.0]);
        });
        self.sever([LEVEL, WANDER]);
    }

    /// Half of what makes the slope is new: `s ← (s + s₀)/2`, whose variance is taken no smaller than the mean of both. What the slope's
    /// error has in common with others halves with it, so that the covariance stays one.
    pub(super) fn slope_half_new(&mut self, prior: &ChannelPrior) {
        self.alter(prior, |filter, setting| {
            filter.mean[SLOPE] = 0.5 * (filter.mean[SLOPE] + prior.slope);
            let cov = &mut filter.cov.0;
            cov[SLOPE][SLOPE] = 0.5 * (cov[SLOPE][SLOPE] + setting.slope_sd * setting.slope_sd);
            for other in [LEVEL, WANDER] {
                cov[SLOPE][other] *= 0.5;
                cov[other][SLOPE] *= 0.5;
            }
        });
        self.halve_constants_share(SLOPE);
    }

    /// The level gains `sd` in doubt and nothing else changes.
    pub fn widen_level(&mut self, prior: &ChannelPrior, sd: f64) {
        self.alter(prior, |filter, _| filter.cov.0[0][0] += sd * sd);
    }

    /// The mixture's first two moments.
    pub fn belief(&self, prior: &ChannelPrior) -> Belief {
        let mut weights = [0.0; GRID];
        let mut total = 0.0;
        for (weight, log) in weights.iter_mut().zip(&self.log_weights) {
            *weight = libm::exp(*log);
            total += *weight;
        }
        let mut mean = [0.0; 3];
        let mut strength = Strength { slope_change: 0.0, wander: 0.0, settling: 0.0 };
        let mut noise = 0.0;
        for (index, weight) in weights.iter_mut().enumerate() {
            *weight /= total;
            let setting = Setting::at(index, prior);
            for (sum, value) in mean.iter_mut().zip(&self.filters[index].mean) {
                *sum += *weight * value;
            }
            strength.slope_change += *weight * setting.strength.slope_change;
            strength.wander += *weight * setting.strength.wander;
            strength.settling += *weight * setting.strength.settling;
            noise += *weight * setting.noise * setting.noise;
        }
        let mut cov = Matrix::<3, 3>::ZERO;
        for (weight, filter) in weights.iter().zip(&self.filters) {
            let apart = [filter.mean[0] - mean[0], filter.mean[1] - mean[1], filter.mean[2] - mean[2]];
            for i in 0..3 {
                for j in 0..3 {
                    cov.0[i][j] += weight * (filter.cov.0[i][j] + apart[i] * apart[j]);
                }
            }
        }
        Belief { state: Filter { mean, cov }, strength, noise, constant: self.constant(&weights, &mean) }
    }

    fn level_weights(&mut self) {
        let best = self.log_weights.iter().fold(f64::NEG_INFINITY, |a, b| a.max(*b));
        for weight in &mut self.log_weights {
            *weight = (*weight - best).max(FURTHEST_BEHIND);
        }
    }
}

impl Belief {
    /// Mean of the true value after `span`.
    pub fn mean(&self, span: &Span) -> f64 {
        dot(&span.row(), &self.state.mean)
    }

    /// Covariance of the true values after `near` and after `far`; the variance where both are the same.
    pub fn covariance(&self, near: &Span, far: &Span) -> f64 {
        let carried = self.state.cov.times_column(&far.row());
        dot(&near.row(), &carried) + movement(near, far, &self.strength)
    }

    /// Variance of the true value after `span`, not below zero.
    pub fn variance(&self, span: &Span) -> f64 {
        self.covariance(span, span).max(0.0)
    }

    /// What a number after `span` is expected to be: mean and variance, its own noise included.
    pub fn foretell(&self, span: &Span, number: &Number) -> (f64, f64) {
        let (mean, variance) = (self.mean(span), self.variance(span) + self.noise * number.noise + number.extra);
        if !number.across {
            return (mean, variance);
        }
        let Constant { mean: apart, var, cross } = self.constant;
        (mean + apart, (variance + var + 2.0 * dot(&span.row(), &cross)).max(0.0))
    }

    /// The belief after `span`.
    pub fn carried(&self, span: &Span) -> Self {
        let state = self.state.predict(&span.transition(), &span.noise(&self.strength, span.wander_left()));
        Self { state, constant: self.constant.carried(span), ..*self }
    }

    /// The belief after a number by the instrument of the scale, as if all settings were one: good for a reading that has
    /// not been made.
    pub fn taken(&self, number: &Number) -> Self {
        let (state, _) = self.state.update(&SEEN, self.noise * number.noise + number.extra, number.value);
        Self { state, ..*self }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::drift::priors::{Thing, drift_prior};

    fn fed(scatter: f64) -> Belief {
        let prior = drift_prior(Thing::Display).channels[2];
        let mut bank = Bank::new(&prior, 5.0, 0.7);
        for k in 0..40u32 {
            bank.carry(&prior, &Span { ageing: 7.0, calendar: 7.0, settling: 0.0 });
            // A fixed sequence of mean square 1 that looks like noise.
            let z = f64::from((k * 7919 + 13) % 41) / 41.0 * 3.464 - 1.732;
            bank.take(&prior, &Number { value: 5.0 + scatter * z, noise: 1e-4, extra: 0.0, across: false });
        }
        bank.belief(&prior)
    }

    #[test]
    fn the_grid_is_a_probability() {
        let prior = drift_prior(Thing::Display).channels[0];
        let total: f64 = (0..GRID).map(|index| Setting::at(index, &prior).weight).sum();
        assert!((total - 1.0).abs() < 1e-12);
        let belief = Bank::new(&prior, 0.2, 0.02).belief(&prior);
        assert!((belief.state.mean[0] - 0.2).abs() < 1e-15 && (belief.state.cov.0[0][0] - 4e-4).abs() < 1e-15);
    }

    #[test]
    fn settings_that_foretell_well_gain_weight() {
        let (fine, as_declared, coarse) = (fed(0.005), fed(0.01), fed(0.02));
        assert!(fine.noise < 0.75 && fine.noise < as_declared.noise && as_declared.noise < coarse.noise);
        let none = Span::default();
        assert!(fine.variance(&none) < coarse.variance(&none));
        assert!(coarse.strength.wander > fine.strength.wander);
    }

    proptest! {
        /// Carrying ten days is carrying four and then six.
        #[test]
    fn a_gap_may_be_split(first in 0.0..200.0f64, second in 0.0..200.0f64, level in -0.1..0.1f64) {
        let prior = drift_prior(Thing::Display).channels[2];
        let mut bank = Bank::new(&prior, 5.0, 0.5);
        bank.take(&prior, &Number { value: 5.0 + level, noise: 1e-4, extra: 0.0, across: false });
        let span = |days| Span { ageing: days, calendar: days, settling: 0.0 };
        let mut split = bank.clone();
        let at_once = bank.belief(&prior);
        bank.carry(&prior, &span(first + second));
        split.carry(&prior, &span(first));
        let halfway = split.belief(&prior);
        split.carry(&prior, &span(second));
        let (whole, split) = (bank.belief(&prior), split.belief(&prior));
        for i in 0..3 {
            prop_assert!((whole.state.mean[i] - split.state.mean[i]).abs() < 1e-12);
            for j in 0..3 {
                let (a, b) = (whole.state.cov.0[i][j], split.state.cov.0[i][j]);
                prop_assert!((a - b).abs() < 1e-12 * (1.0 + a.abs()), "{} and {}", a, b);
            }
        }
        // What a belief says of later times is what carrying the bank gives; and the covariance of two times is right.
        let none = Span::default();
        prop_assert!((at_once.variance(&span(first + second)) - whole.variance(&none)).abs() < 1e-12);
        let near_far = at_once.covariance(&span(first), &span(first + second));
        let exact = halfway.covariance(&none, &span(second));
        prop_assert!((near_far - exact).abs() < 1e-12, "{} and {}", near_far, exact);
    }
    }
}
