//! One Kalman filter per channel with the true noises. It sees no stray and no cold reading, knows how far the other
//! instrument is off, and at the first good reading after a step it is told that there was one and about how large. How a
//! device was used it knows up to now. The slope it has to learn like anybody else.

use super::device::{Logged, SimAct, SimDevice};
use super::followers::{Guess, goal_of, values};
use crate::drift::filter::Filter;
use crate::drift::matrix::Matrix;
use crate::drift::priors::HOURS_PER_DAY;
use crate::drift::{Act, Thing};

/// Follows one device.
#[derive(Debug, Clone)]
pub struct Oracle {
    filters: [Filter<3>; 3],
    day: f64,
    /// Steps it was not yet told of.
    steps: Vec<(f64, [f64; 3])>,
}

impl Oracle {
    /// Before day 0.
    pub fn new(device: &SimDevice) -> Self {
        let recipe = &device.recipe;
        let aim = recipe.aim();
        let filters = [0, 1, 2].map(|c: usize| {
            let slope_sd = recipe.slope_sd[c];
            let (miss, wander) = (recipe.miss_first[c], recipe.wander[c]);
            let cov = Matrix::diagonal([miss * miss + wander * wander, slope_sd * slope_sd, wander * wander]);
            Filter { mean: [aim[c], slope(device, c), 0.0], cov }
        });
        let steps = (recipe.acts.iter())
            .filter_map(|(day, act)| match act {
                SimAct::Step(by) => Some((day.ceil(), *by)),
                _ => None,
            })
            .collect();
        Self { filters, day: 0.0, steps }
    }

    /// Sees an entry.
    pub fn see(&mut self, device: &SimDevice, entry: &Logged) {
        let day = device.day_of(entry.time());
        let used = device.used_at(day) - device.used_at(self.day);
        let used = if device.recipe.hours.is_some() { used } else { (day - self.day).max(0.0) };
        self.carry(device, day, used);
        match entry {
            Logged::Reading(_, true) => {}
            Logged::Reading(observation, false) if observation.warmup_min.is_some() => {}
            Logged::Reading(observation, false) => {
                let recipe = &device.recipe;
                let mut seen = values(observation);
                if let Some(other) = recipe.other.as_ref().filter(|o| Some(&o.id) == observation.instrument.as_ref()) {
                    (0..3).for_each(|c| seen[c] -= other.offset[c]);
                }
                for (_, by) in self.steps.iter().filter(|(at, _)| *at <= self.day) {
                    for (filter, by) in self.filters.iter_mut().zip(by) {
                        filter.cov.0[0][0] += 4.0 * by * by;
                    }
                }
                self.steps.retain(|(at, _)| *at > self.day);
                let noise = [recipe.noise.uv, recipe.noise.uv, recipe.noise.level];
                for (c, filter) in self.filters.iter_mut().enumerate() {
                    *filter = filter.update(&[1.0, 0.0, 1.0], noise[c] * noise[c], seen[c]).0;
                }
            }
            Logged::Event(happening) => self.set_anew(device, happening.act),
        }
    }

    /// Mean and sd at `day`, not before the last entry.
    pub fn guess(&self, device: &SimDevice, day: f64) -> Guess {
        // A step that lies ahead is no knowledge, nor is how much the device will be used.
        let days = (day - self.day).max(0.0);
        let rate = device.recipe.hours.map_or(1.0, |hours| hours.per_day / HOURS_PER_DAY);
        [0, 1, 2].map(|c: usize| {
            let (f, q) = motion(device, c, days, rate * days);
            let filter = self.filters[c].predict(&f, &q);
            let variance = filter.cov.0[0][0] + filter.cov.0[2][2] + 2.0 * filter.cov.0[0][2];
            (filter.mean[0] + filter.mean[2], libm::sqrt(variance.max(0.0)))
        })
    }

    /// What movement from now to `near` adds to the product of the true values at `near` and `far`.
    pub fn fresh(&self, device: &SimDevice, c: usize, near: f64, far: f64) -> f64 {
        let recipe = &device.recipe;
        let (a, b) = ((near - self.day).max(0.0), (far - self.day).max(0.0));
        let left = |days: f64| libm::exp(-days / recipe.wander_days);
        let ageing = turning(device, c) * a * a * (a / 3.0 + (b - a) / 2.0);
        ageing + recipe.wander[c] * recipe.wander[c] * (left(b - a) - left(a + b))
    }

    fn carry(&mut self, device: &SimDevice, day: f64, used: f64) {
        let days = (day - self.day).max(0.0);
        for (c, filter) in self.filters.iter_mut().enumerate() {
            let (f, q) = motion(device, c, days, used);
            *filter = filter.predict(&f, &q);
        }
        self.day = self.day.max(day);
    }

    fn set_anew(&mut self, device: &SimDevice, act: Act) {
        let recipe = &device.recipe;
        let new = act == Act::Replaced;
        let goal = goal_of(device, act);
        let miss = if new { recipe.miss_new } else { recipe.miss_recalibrated };
        for (c, filter) in self.filters.iter_mut().enumerate() {
            let (mean, variance) = if new {
                (slope(device, c), recipe.slope_sd[c] * recipe.slope_sd[c])
            } else {
                (filter.mean[1], filter.cov.0[1][1])
            };
            filter.mean = [goal[c], mean, 0.0];
            filter.cov = Matrix::diagonal([miss[c] * miss[c], variance, 0.0]);
        }
    }
}

/// Slopes are not known to it beforehand, only how they scatter over devices.
fn slope(device: &SimDevice, c: usize) -> f64 {
    if c == 2 { -2.0 * device.recipe.slope_sd[2] } else { 0.0 }
}

/// Variance that the slope gains in a day.
fn turning(device: &SimDevice, c: usize) -> f64 {
    let recipe = &device.recipe;
    let q = recipe.slope_change[c] * recipe.slope_change[c];
    if c != 2 || recipe.decay.0 <= 0.0 || recipe.params.thing == Thing::Display {
        return q;
    }
    // The bend of the settling decay, as a random change of slope.
    let bend = recipe.decay.0 / recipe.decay.1;
    q + bend * bend / recipe.decay.1
}

fn motion(device: &SimDevice, c: usize, days: f64, used: f64) -> (Matrix<3, 3>, Matrix<3, 3>) {
    let recipe = &device.recipe;
    let left = libm::exp(-days / recipe.wander_days);
    let q = turning(device, c);
    let wander = recipe.wander[c] * recipe.wander[c] * (1.0 - left * left);
    let f = Matrix([[1.0, used, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, left]]);
    let cross = q * days * days / 2.0;
    let noise = Matrix([[q * days * days * days / 3.0, cross, 0.0], [cross, q * days, 0.0], [0.0, 0.0, wander]]);
    (f, noise)
}
