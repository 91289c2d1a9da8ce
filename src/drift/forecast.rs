//! What lies ahead if nobody touches the device: the true state at later times, with its spread.
//!
//! Mean and variance are those of the whole mixture of settings, exact (see `bank`); by them a Gaussian is meant. The
//! covariance of successive times is given beside them, for the risk of being out at any time up to a day. Where an odd
//! reading waits, the state after the step that it may be stands beside the likely one as a hypothesis.

use super::bank::{Belief, Number};
use super::device::{DeviceState, HELD_LISTED};
use super::dynamics::movement;
use super::observation::{HeldWhy, Params, StepFound};
use super::odd::beliefs_of;
use super::priors::drift_prior;
use super::verified::Record;
use crate::site::Noise;
use crate::units::{Days, InstrumentId, Time};

/// The true state of one channel at each of the times asked for.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ChannelPath {
    /// Expected value.
    pub mean: Vec<f64>,
    /// Standard deviation.
    pub sd: Vec<f64>,
    /// Of the variance, what movement from now on adds (the rest is what is not known of the present and its trend).
    pub fresh: Vec<f64>,
    /// Covariance of that movement with the next time's; one shorter than `mean`.
    pub fresh_next: Vec<f64>,
}

/// The true state of the device under one hypothesis.
#[derive(Debug, Clone, PartialEq)]
pub struct Path {
    /// u′, v′, ln level; `None` for a channel that was never read.
    pub channels: [Option<ChannelPath>; 3],
}

/// A state that the device may be in instead.
#[derive(Debug, Clone, PartialEq)]
pub struct Hypothesis {
    /// Its probability.
    pub p: f64,
    /// When it would have begun: the reading that may show a step.
    pub began: Time,
    /// The path under it.
    pub path: Path,
}

/// What lies ahead.
#[derive(Debug, Clone, PartialEq)]
pub struct Forecast {
    /// The times asked for; those before the state's own instant are answered as at that instant.
    pub times: Vec<Time>,
    /// The state as the readings in use have it: what is shown. A waiting odd reading stays out of its mean and of its spread; what it may
    /// mean stands beside it, and counts in the risk.
    pub likely: Path,
    /// Steps that a waiting odd reading may mean; their probabilities and the likely state's make 1.
    pub possible: Vec<Hypothesis>,
}

/// What the state rests on.
#[derive(Debug, Clone, PartialEq)]
pub struct Summary {
    /// Time and number of the last reading that is not held.
    pub last_read: Option<(Time, i64)>,
    /// Readings taken in, held ones included.
    pub readings: u64,
    /// Readings that moved the estimate.
    pub used: u64,
    /// The same of the thing that now stands there, since it was replaced.
    pub used_since_new: u64,
    /// Days from the first reading to the last.
    pub observed: Days,
    /// The first held readings, at most 32, and why.
    pub held: Vec<(i64, HeldWhy)>,
    /// How many are held in all.
    pub held_count: u64,
    /// Doubted readings that wait for the next one, and the probability that each is a step.
    pub waiting: Vec<(i64, f64)>,
    /// Nothing was measured: it is known by its label only.
    pub by_label: bool,
    /// The newest measurement told a colour temperature and no tint.
    pub tint_open: bool,
    /// The last unlogged step.
    pub last_step: Option<StepFound>,
    /// The one before it.
    pub step_before: Option<StepFound>,
    /// The instrument on whose scale the device is kept: the one that read it most, the earlier one on a tie.
    pub scale_instrument: Option<InstrumentId>,
    /// Slope of u′, v′, ln level per day: mean and sd.
    pub slopes: [(f64, f64); 3],
    /// Factor by which readings of u′, v′, ln level scatter more than their instrument declares.
    pub noise_factors: [f64; 3],
    /// How the state's own forecasts, four weeks ahead and more, proved for u′, v′ and ln level.
    pub verified: [Record; 3],
    /// Out of use.
    pub retired: bool,
}

impl DeviceState {
    /// The state at each of `times`, which must not fall.
    pub fn forecast(&self, params: &Params, times: &[Time]) -> Forecast {
        let prior = drift_prior(params.thing);
        if self.label.is_some() {
            return self.by_its_label(&prior).forecast(params, times);
        }
        let likely = self.path(&beliefs_of(&self.banks, &prior), times);
        let possible = (self.pending.last().zip(self.pending.first()))
            .map(|(last, first)| {
                let mut stepped = self.clone();
                let waiting = std::mem::take(&mut stepped.pending);
                stepped.step_to(&prior, &waiting);
                let path = stepped.path(&beliefs_of(&stepped.banks, &prior), times);
                Hypothesis { p: last.p, began: first.time, path }
            })
            .into_iter()
            .collect();
        Forecast { times: times.to_vec(), likely, possible }
    }

    /// The likely path as it would be spread after one more warm reading at `at`, by an instrument of `noise`, that
    /// finds what is expected: `unknown` compares with this. Times before `at` are answered as at `at`.
    pub fn after_fresh_reading(&self, params: &Params, at: Time, noise: Noise, times: &[Time]) -> Path {
        let prior = drift_prior(params.thing);
        if self.label.is_some() {
            return self.by_its_label(&prior).after_fresh_reading(params, at, noise, times);
        }
        let span = self.span(at, None);
        let noise = [noise.uv, noise.uv, noise.level];
        let mut c = 0;
        let beliefs = beliefs_of(&self.banks, &prior).map(|belief| {
            let belief = belief.carried(&span);
            let value = belief.mean(&Default::default());
            let noise = noise[c].clamp(0.0, 10.0);
            c += 1;
            belief.taken(&Number { value, noise: noise * noise, extra: 0.0, across: false })
        });
        let mut later = self.clone();
        later.time = Some(self.time.map_or(at, |time| time.max(at)));
        later.path(&beliefs, times)
    }

    /// The instrument that read the device most, the earlier one on a tie.
    pub fn scale_instrument(&self) -> Option<&InstrumentId> {
        let most = self.instruments.iter().map(|(_, count)| *count).max()?;
        self.instruments.iter().find(|(_, count)| *count == most).map(|(id, _)| id)
    }

    /// What the state rests on.
    pub fn summary(&self, params: &Params) -> Summary {
        let prior = drift_prior(params.thing);
        let observed = match (self.first_read, self.last_read) {
            (Some(first), Some((last, _))) => last.since(first),
            _ => Days(0.0),
        };
        debug_assert!(self.held.len() <= HELD_LISTED);
        Summary {
            last_read: self.last_read,
            readings: self.readings,
            used: self.used,
            used_since_new: self.used_since_new,
            observed,
            held: self.held.clone(),
            held_count: self.held_count,
            waiting: self.pending.iter().map(|p| (p.seq, p.p)).collect(),
            by_label: self.label.is_some(),
            tint_open: self.tint_open,
            last_step: self.last_step.clone(),
            step_before: self.step_before.clone(),
            scale_instrument: self.scale_instrument().cloned(),
            slopes: beliefs_of(&self.banks, &prior)
                .map(|b| (b.state.mean[1], libm::sqrt(b.state.cov.0[1][1].max(0.0)))),
            noise_factors: beliefs_of(&self.banks, &prior).map(|b| libm::sqrt(b.noise)),
            verified: self.records,
            retired: self.retired,
        }
    }

    fn path(&self, beliefs: &[Belief; 3], times: &[Time]) -> Path {
        let spans: Vec<_> = times.iter().map(|time| self.span(*time, None)).collect();
        let mut c = 0;
        let channels = beliefs.map(|belief| {
            let (known, record) = (self.ever[c], self.records[c]);
            c += 1;
            known.then(|| {
                let slope = belief.state.mean[1] * belief.state.mean[1] + belief.state.cov.0[1][1].max(0.0);
                let mut path = ChannelPath::default();
                for (place, span) in spans.iter().enumerate() {
                    path.mean.push(belief.mean(span));
                    let variance = belief.variance(span) + slope * self.ageing.covariance(span.calendar, span.calendar);
                    let proved = record.factor_ahead(span.calendar);
                    path.sd.push(libm::sqrt(proved * variance));
                    path.fresh.push(proved * movement(span, span, &belief.strength));
                    if let Some(next) = spans.get(place + 1) {
                        let both = libm::sqrt(proved * record.factor_ahead(next.calendar));
                        path.fresh_next.push(both * movement(span, next, &belief.strength));
                    }
                }
                path
            })
        });
        Path { channels }
    }
}
