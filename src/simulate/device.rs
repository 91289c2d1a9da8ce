//! One simulated display or lamp, day by day, with everything about it known.
//!
//! True value of a channel = start + slope·t + settling decay `−a(1 − e^(−t/T))` of the level (lamps fall fast at
//! first, then slower: published ageing of light sources) + random change of slope + Ornstein–Uhlenbeck wander +
//! steps. A recalibration brings the true value to the aim but for a small miss; a replacement begins a new life.

use super::chance::Chance;
use crate::drift::{Act, Happening, Observation, Params};
use crate::site::Noise;
use crate::units::{Days, InstrumentId, Time, UvPrime};

/// How a device moves and how it is read. Channels are u′, v′, ln level.
#[derive(Debug, Clone, PartialEq)]
pub struct Recipe {
    /// Kind, aim and warm-up time; both aims must be known.
    pub params: Params,
    /// Day 0.
    pub start: Time,
    /// Days simulated.
    pub days: usize,
    /// Sd of the start, and of a replacement, about the aim.
    pub miss_new: [f64; 3],
    /// Sd of a recalibration about its aim.
    pub miss_recalibrated: [f64; 3],
    /// Slope per day.
    pub slope: [f64; 3],
    /// Sd of the slope of a successor.
    pub slope_sd: [f64; 3],
    /// Sd by which the slope changes in a day, per √day.
    pub slope_change: [f64; 3],
    /// Depth of the settling decay of ln level, and its time constant in days.
    pub decay: (f64, f64),
    /// Standing sd of the wander.
    pub wander: [f64; 3],
    /// Its time constant, days.
    pub wander_days: f64,
    /// What happens, by day.
    pub acts: Vec<(f64, SimAct)>,
    /// When it is read and what goes wrong then.
    pub plan: Vec<Planned>,
    /// True scatter of the instrument.
    pub noise: Noise,
    /// Its scatter as declared.
    pub declared: Noise,
    /// Who reads.
    pub instrument: Option<InstrumentId>,
}

/// What happens to a simulated device.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SimAct {
    /// An unlogged jump of the true values, as of a bumped dimmer.
    Step([f64; 3]),
    /// Logged: back to the aim, but for a small miss.
    Recalibrated,
    /// Logged: a new one.
    Replaced,
}

/// One reading to come.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Planned {
    /// Day, with fraction.
    pub day: f64,
    /// Minutes since switching on and the error at minute 0, where it is read cold.
    pub cold: Option<(f64, [f64; 3])>,
    /// Error of a stray reading.
    pub stray: Option<[f64; 3]>,
}

/// What came of a recipe.
#[derive(Debug, Clone, PartialEq)]
pub struct SimDevice {
    /// What it was made by.
    pub recipe: Recipe,
    /// True values at the end of day 0, 1, 2 …; between days the truth is taken to be linear.
    pub truth: Vec<[f64; 3]>,
    /// What people see, in order of time.
    pub log: Vec<Logged>,
}

/// One entry of what people see.
#[derive(Debug, Clone, PartialEq)]
pub enum Logged {
    /// A reading, and whether it is a stray.
    Reading(Observation, bool),
    /// An event.
    Event(Happening),
}

impl Logged {
    /// When.
    pub const fn time(&self) -> Time {
        match self {
            Self::Reading(observation, _) => observation.time,
            Self::Event(happening) => happening.time,
        }
    }
}

impl Recipe {
    /// Lives it through.
    pub fn live(mut self, chance: &mut Chance) -> SimDevice {
        self.acts.sort_by(|a, b| a.0.total_cmp(&b.0));
        self.plan.sort_by(|a, b| a.day.total_cmp(&b.day));
        let aim = self.aim();
        let mut log = Vec::new();
        let mut truth = Vec::with_capacity(self.days + 1);
        let left = libm::exp(-1.0 / self.wander_days);
        let gained = libm::sqrt(1.0 - left * left);
        let mut slope = self.slope;
        let mut wander = self.wander.map(|sd| sd * chance.normal());
        let mut base = [0, 1, 2].map(|c: usize| aim[c] + self.miss_new[c] * chance.normal() - wander[c]);
        let mut age = 0.0;
        let mut acts = self.acts.iter().peekable();
        for day in 0..=self.days {
            if day > 0 {
                let fall = |age: f64| -self.decay.0 * (1.0 - libm::exp(-age / self.decay.1));
                for c in 0..3 {
                    base[c] += slope[c];
                    slope[c] += self.slope_change[c] * chance.normal();
                    wander[c] = left * wander[c] + gained * self.wander[c] * chance.normal();
                }
                base[2] += fall(age + 1.0) - fall(age);
                age += 1.0;
            }
            while let Some((_, act)) = acts.next_if(|(at, _)| *at <= day as f64) {
                let logged = match act {
                    SimAct::Step(by) => {
                        (0..3).for_each(|c| base[c] += by[c]);
                        None
                    }
                    SimAct::Recalibrated => {
                        base =
                            [0, 1, 2].map(|c: usize| aim[c] + self.miss_recalibrated[c] * chance.normal() - wander[c]);
                        Some(Act::Recalibrated { target: None })
                    }
                    SimAct::Replaced => {
                        base = [0, 1, 2].map(|c: usize| aim[c] + self.miss_new[c] * chance.normal() - wander[c]);
                        slope = [0, 1, 2].map(|c: usize| self.slope[c] + self.slope_sd[c] * chance.normal());
                        age = 0.0;
                        Some(Act::Replaced)
                    }
                };
                // An event of a day is written down for its end: what is read later that day sees it.
                let time = self.start.plus(Days(day as f64));
                log.extend(logged.map(|act| Logged::Event(Happening { time, act })));
            }
            truth.push([0, 1, 2].map(|c: usize| base[c] + wander[c]));
        }
        let mut device = SimDevice { recipe: self, truth, log };
        let readings = device.readings(chance);
        device.log.extend(readings);
        device.log.sort_by_key(Logged::time);
        device
    }

    fn aim(&self) -> [f64; 3] {
        let white = self.params.aim_white.unwrap_or(UvPrime { u: 0.1978, v: 0.4683 });
        [white.u, white.v, self.params.aim_ln_level.unwrap_or(5.0)]
    }
}

impl SimDevice {
    /// The true values at `day`, held at the ends. A step shows from the day on at whose end it stands in the truth.
    pub fn truth_at(&self, day: f64) -> [f64; 3] {
        let last = self.truth.len().saturating_sub(1);
        let place = (day.max(0.0).floor() as usize).min(last);
        self.truth.get(place).copied().unwrap_or_default()
    }

    /// Days on which something broke the course: steps and events.
    pub fn breaks(&self) -> impl Iterator<Item = f64> {
        self.recipe.acts.iter().map(|(day, _)| day.ceil())
    }

    fn readings(&self, chance: &mut Chance) -> Vec<Logged> {
        let recipe = &self.recipe;
        let scatter = [recipe.noise.uv, recipe.noise.uv, recipe.noise.level];
        (recipe.plan.iter().enumerate())
            .map(|(place, planned)| {
                let truth = self.truth_at(planned.day);
                let mut seen = [0, 1, 2].map(|c: usize| truth[c] + scatter[c] * chance.normal());
                if let Some((minutes, error)) = planned.cold {
                    let left = libm::exp(-3.0 * minutes / recipe.params.warm_up_min.max(1.0));
                    (0..3).for_each(|c| seen[c] += error[c] * left);
                }
                if let Some(error) = planned.stray {
                    (0..3).for_each(|c| seen[c] += error[c]);
                }
                let observation = Observation {
                    seq: place as i64 + 1,
                    time: recipe.start.plus(Days(planned.day)),
                    white: UvPrime { u: seen[0], v: seen[1] },
                    extra_cov: [0.0; 3],
                    ln_level: Some(seen[2]),
                    extra_ln: 0.0,
                    noise: recipe.declared,
                    warmup_min: planned.cold.map(|(minutes, _)| minutes),
                    hours: None,
                    setting: None,
                    label: false,
                    instrument: recipe.instrument.clone(),
                    apart: None,
                    released: false,
                };
                Logged::Reading(observation, planned.stray.is_some())
            })
            .collect()
    }
}
