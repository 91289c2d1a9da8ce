//! What a statistics package does: a local linear trend (level and slope, each in a random walk) on every reading there is, over a
//! grid of noise settings. Either the likeliest setting is taken (maximum likelihood, slope free) or all are averaged with a weak
//! prior on the slope. No gate: a stray counts like any other reading. Settings are in units of the channel, level 14 times u′v′.

use super::followers::Guess;
use crate::drift::filter::Filter;
use crate::drift::matrix::Matrix;

/// Factors on the declared noise.
const NOISES: [f64; 4] = [0.7, 1.0, 1.6, 2.5];
/// Sd of the level's walk, per √day.
const WALKS: [f64; 4] = [0.0, 3e-5, 1e-4, 3e-4];
/// Sd of the slope's walk, per day and √day.
const TURNS: [f64; 3] = [0.0, 3e-7, 3e-6];
const SETTINGS: usize = NOISES.len() * WALKS.len() * TURNS.len();
/// Units of u′, v′, ln level.
const UNIT: [f64; 3] = [1.0, 1.0, 14.0];
/// Sd of a level about where it was set, and about the aim of a thing that is new; of a free slope, and of a slope under a weak
/// prior, ten times as wide as slopes are.
const SET: f64 = 0.0015;
const NEW: f64 = 0.02;
const FREE: f64 = 1e-2;
const WEAK: f64 = 1e-4;

/// The grid of one device.
#[derive(Debug, Clone)]
pub struct Trend {
    channels: [Vec<(Filter<2>, f64)>; 3],
    averaged: bool,
    day: f64,
}

impl Trend {
    /// About `aim`; `averaged` over the grid, or by its likeliest setting.
    pub fn new(aim: [f64; 3], averaged: bool) -> Self {
        let slope = if averaged { WEAK } else { FREE };
        let channels = [0, 1, 2].map(|c: usize| {
            let (level, slope) = (NEW * UNIT[c], slope * UNIT[c]);
            vec![(Filter { mean: [aim[c], 0.0], cov: Matrix::diagonal([level * level, slope * slope]) }, 0.0); SETTINGS]
        });
        Self { channels, averaged, day: 0.0 }
    }

    /// Takes a reading in, with sd of its noise as declared.
    pub fn read(&mut self, day: f64, values: [f64; 3], noise: [f64; 3]) {
        self.carry(day);
        for c in 0..3 {
            for (place, (filter, likelihood)) in self.channels[c].iter_mut().enumerate() {
                let sd = NOISES[place % NOISES.len()] * noise[c];
                let (after, innovation) = filter.update(&[1.0, 0.0], sd * sd, values[c]);
                *filter = after;
                *likelihood += innovation.log_likelihood;
            }
        }
    }

    /// The level was set to `goal`, by a thing that is `new` or by a recalibration; what is known of slope and settings stays.
    pub fn set(&mut self, day: f64, goal: [f64; 3], new: bool) {
        self.carry(day);
        for c in 0..3 {
            let sd = if new { NEW } else { SET } * UNIT[c];
            for (filter, _) in &mut self.channels[c] {
                filter.mean[0] = goal[c];
                filter.cov = Matrix::diagonal([sd * sd, filter.cov.0[1][1]]);
            }
        }
    }

    /// Mean and sd at each of `days`.
    pub fn guesses(&self, days: &[f64]) -> Vec<Guess> {
        let weights = self.channels.each_ref().map(|grid| self.weights(grid));
        let at = |day: f64| {
            [0, 1, 2].map(|c: usize| {
                let (mut mean, mut square) = (0.0, 0.0);
                for (place, ((filter, _), weight)) in self.channels[c].iter().zip(&weights[c]).enumerate() {
                    if *weight > 1e-9 {
                        let then = carried(filter, place, c, day - self.day);
                        mean += weight * then.mean[0];
                        square += weight * (then.cov.0[0][0] + then.mean[0] * then.mean[0]);
                    }
                }
                (mean, libm::sqrt((square - mean * mean).max(0.0)))
            })
        };
        days.iter().map(|day| at(*day)).collect()
    }

    fn weights(&self, grid: &[(Filter<2>, f64)]) -> Vec<f64> {
        let best = grid.iter().map(|(_, likelihood)| *likelihood).fold(f64::NEG_INFINITY, f64::max);
        let mut weights: Vec<f64> = if self.averaged {
            grid.iter().map(|(_, likelihood)| libm::exp(likelihood - best)).collect()
        } else {
            let first = grid.iter().position(|(_, likelihood)| *likelihood == best);
            (0..grid.len()).map(|place| f64::from(u8::from(Some(place) == first))).collect()
        };
        let all: f64 = weights.iter().sum();
        weights.iter_mut().for_each(|weight| *weight /= all);
        weights
    }

    fn carry(&mut self, day: f64) {
        let days = (day - self.day).max(0.0);
        for c in 0..3 {
            for (place, (filter, _)) in self.channels[c].iter_mut().enumerate() {
                *filter = carried(filter, place, c, days);
            }
        }
        self.day = self.day.max(day);
    }
}

fn carried(filter: &Filter<2>, place: usize, c: usize, days: f64) -> Filter<2> {
    let d = days.max(0.0);
    let rest = place / NOISES.len();
    let (walk, turn) = (WALKS[rest % WALKS.len()] * UNIT[c], TURNS[rest / WALKS.len()] * UNIT[c]);
    let (walk, turn) = (walk * walk, turn * turn);
    let cross = turn * d * d / 2.0;
    let noise = Matrix([[turn * d * d * d / 3.0 + walk * d, cross], [cross, turn * d]]);
    filter.predict(&Matrix([[1.0, d], [0.0, 1.0]]), &noise)
}
