//! One simulated display or lamp, day by day, with everything about it known.
//!
//! True value of a channel = start + slope·t + settling decay `−a(1 − e^(−t/T))` of the level (lamps fall fast at
//! first, then slower: published ageing of light sources) + random change of slope + Ornstein–Uhlenbeck wander +
//! steps. `t` is use: days of eight burning hours where the hours are known to scatter, else days. A recalibration brings
//! the true value to its target but for a small miss; a replacement begins a new life.
//!
//! [`Recipe::live`] lives a device through whose whole course stands beforehand; [`Life`] goes day by day, so that what is
//! done to it can be decided on the way.

use super::chance::Chance;
use crate::drift::priors::HOURS_PER_DAY;
use crate::drift::{Act, Apart, Happening, Observation, Params, TargetWhite};
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
    /// Sd of the start about the aim.
    pub miss_first: [f64; 3],
    /// Sd of a replacement about the aim.
    pub miss_new: [f64; 3],
    /// Sd of a recalibration about its target.
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
    /// How it is used; a day is a day where this is absent.
    pub hours: Option<HoursOfUse>,
    /// What happens, by day.
    pub acts: Vec<(f64, SimAct)>,
    /// When it is read and what goes wrong then.
    pub plan: Vec<Planned>,
    /// True scatter of the instrument.
    pub noise: Noise,
    /// Its scatter as declared.
    pub declared: Noise,
    /// Who reads, on whose scale the truth is told.
    pub instrument: Option<InstrumentId>,
    /// Who reads now and then instead.
    pub other: Option<OtherInstrument>,
}

/// How a device is used, and that its counter of hours is reported.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HoursOfUse {
    /// Mean hours a day.
    pub per_day: f64,
    /// Scatter from week to week, as a share of the mean.
    pub scatter: f64,
}

/// A second instrument with an offset that nobody knows.
#[derive(Debug, Clone, PartialEq)]
pub struct OtherInstrument {
    /// Its name.
    pub id: InstrumentId,
    /// What it reads too much of u′, v′, ln level, against the first.
    pub offset: [f64; 3],
    /// Sd of that offset as declared: u′ and v′, ln level.
    pub declared: Noise,
}

/// What happens to a simulated device.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SimAct {
    /// An unlogged jump of the true values, as of a bumped dimmer.
    Step([f64; 3]),
    /// Logged: to this target, else back to the aim, but for a small miss.
    Recalibrated(Option<[f64; 3]>),
    /// Logged: a new one.
    Replaced,
}

/// One reading to come.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Planned {
    /// Day, with fraction.
    pub day: f64,
    /// Minutes since switching on and the error at minute 0, where it is read cold.
    pub cold: Option<(f64, [f64; 3])>,
    /// Error of a stray reading.
    pub stray: Option<[f64; 3]>,
    /// Read with the other instrument, if there is one.
    pub by_other: bool,
}

/// What came of a recipe.
#[derive(Debug, Clone, PartialEq)]
pub struct SimDevice {
    /// What it was made by.
    pub recipe: Recipe,
    /// True values at the end of day 0, 1, 2 …; between days the truth is taken to stand still.
    pub truth: Vec<[f64; 3]>,
    /// Use since day 0 at the end of day 0, 1, 2 …, in days of eight burning hours.
    pub used: Vec<f64>,
    /// What was done to it, by day.
    pub done: Vec<(f64, SimAct)>,
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
        self.plan.sort_by(|a, b| a.day.total_cmp(&b.day));
        let (days, plan) = (self.days, std::mem::take(&mut self.plan));
        let mut life = Life::new(self, chance);
        while life.device.truth.len() <= days {
            life.next_day(chance);
        }
        for planned in &plan {
            life.read(planned, chance);
        }
        let mut device = life.device;
        device.recipe.plan = plan;
        device.log.sort_by_key(Logged::time);
        device
    }

    /// Aims of u′, v′ and ln level.
    pub fn aim(&self) -> [f64; 3] {
        let white = self.params.aim_white.unwrap_or(UvPrime { u: 0.1978, v: 0.4683 });
        [white.u, white.v, self.params.aim_ln_level.unwrap_or(5.0)]
    }
}

/// A device that is being lived.
#[derive(Debug, Clone)]
pub struct Life {
    /// As far as it has come.
    pub device: SimDevice,
    base: [f64; 3],
    slope: [f64; 3],
    wander: [f64; 3],
    /// Use since it was new.
    age: f64,
    /// Use in a day of this week.
    a_day: f64,
    /// Acts of the recipe that were done.
    done: usize,
}

impl Life {
    /// Before day 0.
    pub fn new(mut recipe: Recipe, chance: &mut Chance) -> Self {
        recipe.acts.sort_by(|a, b| a.0.total_cmp(&b.0));
        let aim = recipe.aim();
        let wander = recipe.wander.map(|sd| sd * chance.normal());
        let base = [0, 1, 2].map(|c: usize| aim[c] + recipe.miss_first[c] * chance.normal() - wander[c]);
        let slope = recipe.slope;
        let device = SimDevice { recipe, truth: Vec::new(), used: Vec::new(), done: Vec::new(), log: Vec::new() };
        Self { device, base, slope, wander, age: 0.0, a_day: 1.0, done: 0 }
    }

    /// One day more, with what the recipe holds for it.
    pub fn next_day(&mut self, chance: &mut Chance) {
        let day = self.device.truth.len();
        let recipe = &self.device.recipe;
        if let Some(hours) = recipe.hours.filter(|_| day.is_multiple_of(7)) {
            let share = (1.0 + hours.scatter * chance.normal()).clamp(0.1, 2.5);
            self.a_day = (hours.per_day * share / HOURS_PER_DAY).min(24.0 / HOURS_PER_DAY);
        }
        let mut used = 0.0;
        if day > 0 {
            let left = libm::exp(-1.0 / recipe.wander_days);
            let gained = libm::sqrt(1.0 - left * left);
            let (depth, time) = recipe.decay;
            let fall = |age: f64| -depth * (1.0 - libm::exp(-age / time));
            used = self.a_day;
            for c in 0..3 {
                self.base[c] += self.slope[c] * used;
                self.slope[c] += recipe.slope_change[c] * libm::sqrt(used) * chance.normal();
                self.wander[c] = left * self.wander[c] + gained * recipe.wander[c] * chance.normal();
            }
            self.base[2] += fall(self.age + used) - fall(self.age);
            self.age += used;
        }
        let before = self.device.used.last().copied().unwrap_or(0.0);
        self.device.used.push(before + used);
        self.device.truth.push([0, 1, 2].map(|c: usize| self.base[c] + self.wander[c]));
        while let Some((_, act)) = self.device.recipe.acts.get(self.done).filter(|(at, _)| *at <= day as f64).copied() {
            self.done += 1;
            self.act(act, chance);
        }
    }

    /// Something is done to it today. It is written down for the day's end: what is read later that day sees it.
    pub fn act(&mut self, act: SimAct, chance: &mut Chance) {
        let day = self.device.truth.len().saturating_sub(1) as f64;
        let recipe = &self.device.recipe;
        let (aim, wander) = (recipe.aim(), self.wander);
        let about = |goal: [f64; 3], miss: [f64; 3], chance: &mut Chance| {
            [0, 1, 2].map(|c: usize| goal[c] + miss[c] * chance.normal() - wander[c])
        };
        let logged = match act {
            SimAct::Step(by) => {
                (0..3).for_each(|c| self.base[c] += by[c]);
                None
            }
            SimAct::Recalibrated(goal) => {
                self.base = about(goal.unwrap_or(aim), recipe.miss_recalibrated, chance);
                let target = goal.map(|[u, v, ln]| TargetWhite {
                    uv: UvPrime { u, v },
                    ln_level: Some(ln),
                    sd_uv: None,
                    sd_ln: None,
                });
                Some(Act::Recalibrated { target })
            }
            SimAct::Replaced => {
                self.base = about(aim, recipe.miss_new, chance);
                self.slope = [0, 1, 2].map(|c: usize| recipe.slope[c] + recipe.slope_sd[c] * chance.normal());
                self.age = 0.0;
                Some(Act::Replaced)
            }
        };
        let time = recipe.start.plus(Days(day));
        self.device.log.extend(logged.map(|act| Logged::Event(Happening { time, act })));
        self.device.done.push((day, act));
        if let Some(truth) = self.device.truth.last_mut() {
            *truth = [0, 1, 2].map(|c: usize| self.base[c] + self.wander[c]);
        }
    }

    /// It is read. What the reading says, as it stands in the log.
    pub fn read(&mut self, planned: &Planned, chance: &mut Chance) -> Observation {
        let recipe = &self.device.recipe;
        let scatter = [recipe.noise.uv, recipe.noise.uv, recipe.noise.level];
        let truth = self.device.truth_at(planned.day);
        let mut seen = [0, 1, 2].map(|c: usize| truth[c] + scatter[c] * chance.normal());
        if let Some((minutes, error)) = planned.cold {
            let left = libm::exp(-3.0 * minutes / recipe.params.warm_up_min.max(1.0));
            (0..3).for_each(|c| seen[c] += error[c] * left);
        }
        if let Some(error) = planned.stray {
            (0..3).for_each(|c| seen[c] += error[c]);
        }
        let other = recipe.other.as_ref().filter(|_| planned.by_other);
        if let Some(other) = other {
            (0..3).for_each(|c| seen[c] += other.offset[c]);
        }
        let apart = other.map(|o| {
            let (uv, level) = (o.declared.uv * o.declared.uv, o.declared.level * o.declared.level);
            Apart { mean: [0.0; 3], var: [uv, uv, level] }
        });
        let readings = self.device.log.iter().filter(|entry| matches!(entry, Logged::Reading(..))).count();
        let observation = Observation {
            seq: readings as i64 + 1,
            time: recipe.start.plus(Days(planned.day)),
            white: UvPrime { u: seen[0], v: seen[1] },
            extra_cov: [0.0; 3],
            ln_level: Some(seen[2]),
            extra_ln: 0.0,
            noise: recipe.declared,
            warmup_min: planned.cold.map(|(minutes, _)| minutes),
            hours: recipe.hours.map(|_| (self.counted_at(planned.day) * HOURS_PER_DAY).round()),
            setting: None,
            label: false,
            instrument: other.map(|o| &o.id).or(recipe.instrument.as_ref()).cloned(),
            apart,
            released: false,
        };
        self.device.log.push(Logged::Reading(observation.clone(), planned.stray.is_some()));
        observation
    }

    /// Use since it was new, at `day`.
    fn counted_at(&self, day: f64) -> f64 {
        let new = (self.device.done.iter().rev())
            .find(|(at, act)| *act == SimAct::Replaced && *at <= day)
            .map_or(0.0, |(at, _)| self.device.used_at(*at));
        self.device.used_at(day) - new
    }
}

impl SimDevice {
    /// The true values at `day`, held at the ends. A step shows from the day on at whose end it stands in the truth.
    pub fn truth_at(&self, day: f64) -> [f64; 3] {
        at(&self.truth, day).unwrap_or_default()
    }

    /// Use since day 0, in days of eight burning hours.
    pub fn used_at(&self, day: f64) -> f64 {
        at(&self.used, day).unwrap_or(0.0)
    }

    /// Days on which something broke the course: steps and events.
    pub fn breaks(&self) -> impl Iterator<Item = f64> {
        self.done.iter().map(|(day, _)| *day)
    }

    /// The day of a time.
    pub fn day_of(&self, time: Time) -> f64 {
        time.since(self.recipe.start).0
    }
}

fn at<T: Copy>(days: &[T], day: f64) -> Option<T> {
    let last = days.len().saturating_sub(1);
    days.get((day.max(0.0).floor() as usize).min(last)).copied()
}
