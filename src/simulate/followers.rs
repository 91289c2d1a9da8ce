//! Ways to follow a device, all with the same face: the product's, an oracle and the simple ones it must beat.

use super::device::{Logged, SimDevice};
use crate::drift::filter::Filter;
use crate::drift::matrix::Matrix;
use crate::drift::{Act, DeviceState, Observation, Path};
use crate::units::{Days, Time};

/// Mean and sd of the true u′, v′, ln level.
pub type Guess = [(f64, f64); 3];

/// Which way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// The project's own.
    Product,
    /// One filter that knows every noise, the strays and the steps.
    Oracle,
    /// The last reading holds; its sd from the differences between readings so far.
    LastReading,
    /// A straight line through the last eight readings, with its prediction interval.
    StraightLine,
}

impl Method {
    /// As the table calls it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Product => "product",
            Self::Oracle => "oracle",
            Self::LastReading => "last reading",
            Self::StraightLine => "line through last 8",
        }
    }
}

/// Follows one device; fed in order of time.
#[derive(Debug, Clone)]
pub enum Follower {
    /// See [`Method::Product`].
    Product(Box<DeviceState>),
    /// See [`Method::Oracle`].
    Oracle(Box<Oracle>),
    /// Readings since the last logged event, as (day, values).
    Simple(Vec<(f64, [f64; 3])>, Method),
}

impl Follower {
    /// One that has seen nothing.
    pub fn new(method: Method, device: &SimDevice) -> Self {
        match method {
            Method::Product => Self::Product(Box::new(DeviceState::new(&device.recipe.params))),
            Method::Oracle => Self::Oracle(Box::new(Oracle::new(device))),
            _ => Self::Simple(Vec::new(), method),
        }
    }

    /// Feeds it one entry; true where it reports an unlogged step.
    pub fn see(&mut self, device: &SimDevice, entry: &Logged) -> bool {
        let params = &device.recipe.params;
        match (self, entry) {
            (Self::Product(state), Logged::Reading(observation, _)) => {
                return state.absorb(params, observation).step.is_some();
            }
            (Self::Product(state), Logged::Event(happening)) => {
                state.note(params, happening);
            }
            (Self::Oracle(oracle), entry) => oracle.see(device, entry),
            (Self::Simple(readings, _), Logged::Event(_)) => readings.clear(),
            (Self::Simple(readings, _), Logged::Reading(observation, _)) => {
                readings.push((day_of(device, observation.time), values(observation)));
            }
        }
        false
    }

    /// One guess at the true values at each of `days`, as it would be shown; nothing before the first reading.
    pub fn shown(&self, device: &SimDevice, days: &[f64]) -> Option<Vec<Guess>> {
        if let Self::Product(state) = self {
            return guesses(&state.forecast(&device.recipe.params, &times(device, days)).shown());
        }
        self.guess(device, days)?.into_iter().next().map(|(_, guess)| guess)
    }

    /// Weighted guesses at the true values at each of `days`, the likely one first; nothing before the first reading.
    pub fn guess(&self, device: &SimDevice, days: &[f64]) -> Option<Vec<(f64, Vec<Guess>)>> {
        match self {
            Self::Product(state) => {
                let forecast = state.forecast(&device.recipe.params, &times(device, days));
                let possible: f64 = forecast.possible.iter().map(|h| h.p).sum();
                let mut out = vec![(1.0 - possible, guesses(&forecast.likely)?)];
                for hypothesis in &forecast.possible {
                    out.push((hypothesis.p, guesses(&hypothesis.path)?));
                }
                Some(out)
            }
            Self::Oracle(oracle) => Some(vec![(1.0, days.iter().map(|day| oracle.guess(device, *day)).collect())]),
            Self::Simple(readings, method) => {
                let guess = |day: f64| simple(readings, *method, day, device);
                readings.last().map(|_| vec![(1.0, days.iter().map(|day| guess(*day)).collect())])
            }
        }
    }
}

fn times(device: &SimDevice, days: &[f64]) -> Vec<Time> {
    days.iter().map(|day| device.recipe.start.plus(Days(*day))).collect()
}

fn day_of(device: &SimDevice, time: Time) -> f64 {
    time.since(device.recipe.start).0
}

fn values(observation: &Observation) -> [f64; 3] {
    [observation.white.u, observation.white.v, observation.ln_level.unwrap_or_default()]
}

fn guesses(path: &Path) -> Option<Vec<Guess>> {
    let [Some(u), Some(v), Some(ln)] = &path.channels else { return None };
    let rows = u.mean.iter().zip(&u.sd).zip(v.mean.iter().zip(&v.sd)).zip(ln.mean.iter().zip(&ln.sd));
    Some(rows.map(|((u, v), l)| [(*u.0, *u.1), (*v.0, *v.1), (*l.0, *l.1)]).collect())
}

/// A straight line or the last value; the sd is never below the declared noise.
fn simple(readings: &[(f64, [f64; 3])], method: Method, day: f64, device: &SimDevice) -> Guess {
    let declared = device.recipe.declared;
    let floor = [declared.uv, declared.uv, declared.level];
    let last8 = readings.get(readings.len().saturating_sub(8)..).unwrap_or_default();
    [0, 1, 2].map(|c: usize| {
        let n = last8.len() as f64;
        let last = last8.last().map_or(0.0, |r| r.1[c]);
        if method == Method::LastReading || last8.len() < 3 {
            let moves: Vec<f64> = readings.windows(2).map(|w| w[1].1[c] - w[0].1[c]).collect();
            let mean_square = moves.iter().map(|m| m * m).sum::<f64>() / (moves.len().max(1)) as f64;
            return (last, libm::sqrt(mean_square).max(floor[c]));
        }
        let t0 = last8.iter().map(|r| r.0).sum::<f64>() / n;
        let y0 = last8.iter().map(|r| r.1[c]).sum::<f64>() / n;
        let tt: f64 = last8.iter().map(|r| (r.0 - t0) * (r.0 - t0)).sum();
        let slope = last8.iter().map(|r| (r.0 - t0) * (r.1[c] - y0)).sum::<f64>() / tt.max(1e-9);
        let rest: f64 = last8.iter().map(|r| r.1[c] - y0 - slope * (r.0 - t0)).map(|e| e * e).sum();
        let variance = (rest / (n - 2.0).max(1.0)).max(floor[c] * floor[c]);
        let ahead = day - t0;
        (y0 + slope * ahead, libm::sqrt(variance * (1.0 / n + ahead * ahead / tt.max(1e-9))))
    })
}

/// One Kalman filter per channel with the true noises. It sees no stray and no cold reading, and at the first good
/// reading after a step it is told that there was one and about how large.
#[derive(Debug, Clone)]
pub struct Oracle {
    filters: [Filter<3>; 3],
    day: f64,
    /// Steps it was not yet told of.
    steps: Vec<(f64, [f64; 3])>,
}

impl Oracle {
    fn new(device: &SimDevice) -> Self {
        let recipe = &device.recipe;
        let aim = recipe.params.aim_white.map_or([0.0; 3], |w| [w.u, w.v, recipe.params.aim_ln_level.unwrap_or(0.0)]);
        let filters = [0, 1, 2].map(|c: usize| {
            let slope_sd = Self::slope_sd(device, c);
            let (new, wander) = (recipe.miss_new[c], recipe.wander[c]);
            let cov = Matrix::diagonal([new * new + wander * wander, slope_sd * slope_sd, wander * wander]);
            Filter { mean: [aim[c], Self::slope(device, c), 0.0], cov }
        });
        let steps = (recipe.acts.iter())
            .filter_map(|(day, act)| match act {
                super::SimAct::Step(by) => Some((day.ceil(), *by)),
                _ => None,
            })
            .collect();
        Self { filters, day: 0.0, steps }
    }

    /// Slopes over the rooms are not known to it beforehand, only how they scatter.
    fn slope_sd(device: &SimDevice, c: usize) -> f64 {
        device.recipe.slope_sd[c]
    }

    fn slope(device: &SimDevice, c: usize) -> f64 {
        if c == 2 { -2.0 * device.recipe.slope_sd[2] } else { 0.0 }
    }

    fn motion(device: &SimDevice, c: usize, days: f64) -> (Matrix<3, 3>, Matrix<3, 3>) {
        let recipe = &device.recipe;
        let left = libm::exp(-days / recipe.wander_days);
        let mut q = recipe.slope_change[c] * recipe.slope_change[c];
        if c == 2 && recipe.decay.0 > 0.0 {
            // The bend of the settling decay, as a random change of slope.
            let bend = recipe.decay.0 / recipe.decay.1;
            q += bend * bend / recipe.decay.1;
        }
        let wander = recipe.wander[c] * recipe.wander[c] * (1.0 - left * left);
        let f = Matrix([[1.0, days, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, left]]);
        let cross = q * days * days / 2.0;
        let noise = Matrix([[q * days * days * days / 3.0, cross, 0.0], [cross, q * days, 0.0], [0.0, 0.0, wander]]);
        (f, noise)
    }

    fn carry(&mut self, device: &SimDevice, day: f64) {
        let days = (day - self.day).max(0.0);
        for (c, filter) in self.filters.iter_mut().enumerate() {
            let (f, q) = Self::motion(device, c, days);
            *filter = filter.predict(&f, &q);
        }
        self.day = self.day.max(day);
    }

    fn see(&mut self, device: &SimDevice, entry: &Logged) {
        let recipe = &device.recipe;
        self.carry(device, day_of(device, entry.time()));
        match entry {
            Logged::Reading(_, true) => {}
            Logged::Reading(observation, false) => {
                if observation.warmup_min.is_some() {
                    return;
                }
                let noise = [recipe.noise.uv, recipe.noise.uv, recipe.noise.level];
                let seen = values(observation);
                for (_, by) in self.steps.iter().filter(|(at, _)| *at <= self.day) {
                    for (filter, by) in self.filters.iter_mut().zip(by) {
                        filter.cov.0[0][0] += 4.0 * by * by;
                    }
                }
                self.steps.retain(|(at, _)| *at > self.day);
                for (c, filter) in self.filters.iter_mut().enumerate() {
                    *filter = filter.update(&[1.0, 0.0, 1.0], noise[c] * noise[c], seen[c]).0;
                }
            }
            Logged::Event(happening) => {
                let new = happening.act == Act::Replaced;
                let begin = Self::new(device);
                let miss = if new { recipe.miss_new } else { recipe.miss_recalibrated };
                for (c, filter) in self.filters.iter_mut().enumerate() {
                    let slope = if new {
                        let sd = recipe.slope_sd[c];
                        (Self::slope(device, c), sd * sd)
                    } else {
                        (filter.mean[1], filter.cov.0[1][1])
                    };
                    filter.mean = [begin.filters[c].mean[0], slope.0, 0.0];
                    filter.cov = Matrix::diagonal([miss[c] * miss[c], slope.1, 0.0]);
                }
            }
        }
    }

    fn guess(&self, device: &SimDevice, day: f64) -> Guess {
        // A step that lies ahead is no knowledge.
        let days = (day - self.day).max(0.0);
        [0, 1, 2].map(|c: usize| {
            let (f, q) = Self::motion(device, c, days);
            let filter = self.filters[c].predict(&f, &q);
            let variance = filter.cov.0[0][0] + filter.cov.0[2][2] + 2.0 * filter.cov.0[0][2];
            (filter.mean[0] + filter.mean[2], libm::sqrt(variance.max(0.0)))
        })
    }
}
