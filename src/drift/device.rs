//! One device's state over its life: what it has absorbed, what it doubts, and what was done to it.
//!
//! The state is a pure function of the sequence of readings and events in the order of their times, and of the
//! parameters; whoever has a late one replays from a state before it. Odd readings are judged in `odd`, labels in `label`,
//! forecasts are made in `forecast`, the bytes of a checkpoint in `bytes`.
//!
//! Events: *recalibrated* sets the level to the target, else the aim, with an uncertainty of its own, and keeps slope
//! and weights. *replaced* sets it to the aim and the slope to the prior of the kind, narrowed by the predecessors'.
//! *part_replaced* widens the level and takes the slope half-way back to its prior. *setting_changed* leaves the level
//! open, *serviced* widens it much, *moved* and *cleaned* widen it a little; all keep slope and weights.

use super::ageing::Ageing;
use super::bank::{Bank, Number};
use super::dynamics::Span;
use super::label::Label;
use super::observation::{Absorbed, Act, Doubt, Fate, Happening, HeldWhy, Observation, Params, StepFound, TargetWhite};
use super::offset::{Apart, SLOPE};
use super::priors::{ChannelPrior, DriftPrior, HOURS_PER_DAY, Thing, drift_prior};
use super::verified::{Asked, Record};
use crate::site::LampKind;
use crate::units::{Days, InstrumentId, Time};

/// Days in which a fresh fluorescent tube settles: 100 h at eight hours a day.
pub(super) const SETTLING_DAYS: f64 = 100.0 / HOURS_PER_DAY;
/// How many held readings are listed by number; more are only counted.
pub const HELD_LISTED: usize = 32;
/// How many characters of a setting's text tell it from another.
const SETTING_KEPT: usize = 120;
/// How many instruments are counted by name.
const INSTRUMENTS_COUNTED: usize = 8;

/// The state of one device.
#[derive(Debug, Clone, PartialEq)]
pub struct DeviceState {
    pub(super) banks: Box<[Bank; 3]>,
    /// The instant the banks stand at; `None` before the first reading or event.
    pub(super) time: Option<Time>,
    pub(super) first_read: Option<Time>,
    pub(super) last_read: Option<(Time, i64)>,
    pub(super) last_used: Option<Time>,
    pub(super) readings: u64,
    pub(super) used: u64,
    /// Readings used of the thing that now stands there.
    pub(super) used_since_new: u64,
    /// Which channels were ever read.
    pub(super) ever: [bool; 3],
    /// Which channels of the thing that now stands here were not read yet: whatever it turns out to be is believed.
    pub(super) new_here: [bool; 3],
    /// Readings used since the level was last set anew, by channel.
    pub(super) since_reset: [u32; 3],
    /// What its label says, while nothing was measured.
    pub(super) label: Option<Label>,
    /// Whether the newest measurement told a colour temperature and no tint.
    pub(super) tint_open: bool,
    /// Odd readings that wait for the next one.
    pub(super) pending: Vec<Pending>,
    pub(super) held: Vec<(i64, HeldWhy)>,
    pub(super) held_count: u64,
    pub(super) last_step: Option<StepFound>,
    /// The step before that one.
    pub(super) step_before: Option<StepFound>,
    pub(super) setting: Option<String>,
    /// Whether the setting was changed since the last reading of the level.
    pub(super) turned: bool,
    pub(super) ageing: Ageing,
    /// A fresh tube settles until then.
    pub(super) settling_until: Option<Time>,
    pub(super) instruments: Vec<(InstrumentId, u64)>,
    /// The instrument beside that of the scale whose constant the banks keep.
    pub(super) other: Option<InstrumentId>,
    /// Precision and precision-weighted sum of the predecessors' slopes, by channel.
    pub(super) predecessors: [(f64, f64); 3],
    /// A forecast that waits to be held against a reading.
    pub(super) asked: Option<Asked>,
    /// How such forecasts proved, by channel.
    pub(super) records: [Record; 3],
    pub(super) retired: bool,
}

/// An odd reading that waits for the next one to say what it was.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Pending {
    pub seq: i64,
    pub time: Time,
    pub hours: Option<f64>,
    pub numbers: [Option<Number>; 3],
    /// The channels that were far off.
    pub moved: [bool; 3],
    /// Probability that the device stepped.
    pub p: f64,
    /// What was far off had not been read since it was set anew.
    pub set_anew: bool,
}

/// Share of the variance of slopes that devices in one place have in common.
const SHARED_SLOPE: f64 = 0.5;

impl DeviceState {
    /// A device that was never read.
    pub fn new(params: &Params) -> Self {
        let prior = drift_prior(params.thing);
        let aims = aims(params);
        Self {
            banks: Box::new([0, 1, 2].map(|c: usize| {
                let prior = &prior.channels[c];
                let (mean, sd) = aims[c].map_or((prior.level, prior.level_sd), |aim| (aim, prior.new_about_aim));
                Bank::new(prior, mean, sd)
            })),
            time: None,
            first_read: None,
            last_read: None,
            last_used: None,
            readings: 0,
            used: 0,
            used_since_new: 0,
            ever: [false; 3],
            new_here: [true; 3],
            since_reset: [0; 3],
            label: None,
            tint_open: false,
            pending: Vec::new(),
            held: Vec::new(),
            held_count: 0,
            last_step: None,
            step_before: None,
            setting: None,
            turned: false,
            ageing: Ageing::default(),
            settling_until: None,
            instruments: Vec::new(),
            other: None,
            predecessors: [(0.0, 0.0); 3],
            asked: None,
            records: [Record::default(); 3],
            retired: false,
        }
    }

    /// When the newest jump that was found began.
    pub fn last_step_began(&self) -> Option<Time> {
        self.last_step.as_ref().map(|step| step.began)
    }

    /// When it was last read, readings that are held left out.
    pub fn last_read(&self) -> Option<Time> {
        self.last_read.map(|(time, _)| time)
    }

    /// When it was first read, readings that are held left out.
    pub const fn first_read(&self) -> Option<Time> {
        self.first_read
    }

    /// Whether the reading of this number waits for another to say what it was, or is held.
    pub fn doubts(&self, seq: i64) -> bool {
        self.pending.iter().any(|odd| odd.seq == seq) || self.held.iter().any(|(held, _)| *held == seq)
    }

    /// Dimmer or dial as last reported.
    pub fn setting(&self) -> Option<&str> {
        self.setting.as_deref()
    }

    /// Whether it is out of use.
    pub const fn is_retired(&self) -> bool {
        self.retired
    }

    /// How many readings were taken in, held ones included.
    pub const fn readings(&self) -> u64 {
        self.readings
    }

    /// Takes a reading in. Times before the last one taken in count as at that one: the caller feeds in order.
    pub fn absorb(&mut self, params: &Params, observation: &Observation) -> Absorbed {
        let observation = &observation.tidied();
        self.readings += 1;
        if !observation.released
            && let Some(why) = self.looks_impossible(params, observation)
        {
            self.held_count += 1;
            if self.held.len() < HELD_LISTED {
                self.held.push((observation.seq, why));
            }
            return Absorbed { fate: Fate::Held(why), revised: Vec::new(), step: None };
        }
        let prior = drift_prior(params.thing);
        if observation.label {
            return self.read_label(params, &prior, observation);
        }
        self.first_read.get_or_insert(observation.time);
        self.last_read = Some((observation.time, observation.seq));
        let moved = self.meet_instrument(&prior, observation);
        let observation = moved.as_ref().unwrap_or(observation);
        let mut revised = self.label_outranked();
        if self.setting_differs(observation) {
            revised.append(&mut self.overtaken());
            self.carry_to(&prior, observation.time, None);
            self.turn(&prior);
        }
        if observation.setting.is_some() {
            self.setting.clone_from(&observation.setting);
        }
        self.tint_open = observation.leaves_the_tint_open();
        if self.tint_open {
            self.carry_to(&prior, observation.time, None);
            self.expect_any_white(&prior);
        }
        let mut absorbed = self.judge(params, &prior, observation);
        if let Some(hours) = observation.hours {
            self.ageing.read(observation.time, hours);
        }
        if absorbed.fate.is_used() {
            self.used += 1;
            self.used_since_new += 1;
            self.last_used = Some(observation.time);
        }
        revised.append(&mut absorbed.revised);
        absorbed.revised = revised;
        absorbed
    }

    /// Takes note of something that was done. Returns readings whose fate is now another.
    pub fn note(&mut self, params: &Params, happening: &Happening) -> Vec<(i64, Fate)> {
        let prior = drift_prior(params.thing);
        self.carry_to(&prior, happening.time, None);
        let revised = if happening.act == Act::Retired { Vec::new() } else { self.overtaken() };
        self.asked = None;
        match happening.act {
            Act::Recalibrated { target } => self.recalibrate(params, &prior, target),
            Act::Replaced => self.replace(params, &prior, happening.time),
            Act::PartReplaced => {
                self.widen(&prior, |p| p.part_replaced, true);
                self.ageing.begin_anew();
                for (bank, prior) in self.banks.iter_mut().zip(&prior.channels) {
                    bank.slope_half_new(prior);
                }
            }
            Act::SettingChanged => self.turn(&prior),
            Act::Moved => self.widen(&prior, |p| p.moved, false),
            Act::Cleaned => self.widen(&prior, |p| p.cleaned, false),
            Act::Serviced => self.widen(&prior, |p| p.serviced, true),
            Act::Retired => self.retired = true,
        }
        revised
    }

    /// Whether a reading looks like a slip of units, or the hours counter fell.
    fn looks_impossible(&self, params: &Params, observation: &Observation) -> Option<HeldWhy> {
        use super::hold::{Expected, unit_slip};
        if let Some(after) = observation.hours
            && let Some(before) = self.ageing.falls(after)
        {
            return Some(HeldWhy::HoursBackwards { before, after });
        }
        let level = observation.ln_level?;
        let prior = drift_prior(params.thing).channels[2];
        let expected = if self.ever[2] {
            let belief = self.banks[2].belief(&prior);
            let span = self.span(observation.time, observation.hours);
            if self.turned || self.setting_differs(observation) {
                Expected::Turned(belief.mean(&span))
            } else {
                let noise = observation.noise.level * observation.noise.level;
                Expected::Read(belief.mean(&span), libm::sqrt(belief.variance(&span) + noise))
            }
        } else {
            Expected::Aim(params.aim_ln_level?)
        };
        unit_slip(params.thing, level, expected)
    }

    fn setting_differs(&self, observation: &Observation) -> bool {
        matches!((&self.setting, &observation.setting), (Some(before), Some(now)) if before != now)
    }

    pub(super) fn count_instrument(&mut self, instrument: &InstrumentId) {
        if let Some((_, count)) = self.instruments.iter_mut().find(|(id, _)| id == instrument) {
            *count += 1;
        } else if self.instruments.len() < INSTRUMENTS_COUNTED {
            self.instruments.push((instrument.clone(), 1));
        }
    }

    /// The stretch from the banks' instant to `to`, at whose end the hours counter may have been read.
    pub(super) fn span(&self, to: Time, hours: Option<f64>) -> Span {
        let Some(from) = self.time else { return Span::default() };
        let calendar = to.since(from).0.max(0.0);
        let settling = self.settling_until.map_or(0.0, |until| until.since(from).0.clamp(0.0, calendar));
        let ageing = self.ageing.days(calendar, hours);
        let share = if calendar > 0.0 { (calendar - settling) / calendar } else { 1.0 };
        Span { ageing: ageing * share, calendar, settling }
    }

    /// Carries the banks to `to`.
    pub(super) fn carry_to(&mut self, prior: &DriftPrior, to: Time, hours: Option<f64>) {
        let span = self.span(to, hours);
        let whole = self.ageing.days(span.calendar, hours);
        self.ageing.carried(whole, hours);
        for (bank, prior) in self.banks.iter_mut().zip(&prior.channels) {
            bank.carry(prior, &span);
        }
        if let Some(asked) = &mut self.asked {
            asked.goes_on(&span);
        }
        self.time = Some(self.time.map_or(to, |from| from.max(to)));
    }

    /// The question of every waiting reading is closed by an event.
    fn overtaken(&mut self) -> Vec<(i64, Fate)> {
        self.pending.drain(..).map(|p| (p.seq, Fate::Doubted(Doubt::Overtaken))).collect()
    }

    fn widen(&mut self, prior: &DriftPrior, sd: impl Fn(&ChannelPrior) -> f64, open: bool) {
        for (bank, prior) in self.banks.iter_mut().zip(&prior.channels) {
            bank.widen_level(prior, sd(prior));
        }
        if let Some(label) = &mut self.label {
            label.widen(prior, &sd);
        }
        if open {
            self.since_reset = [0; 3];
        }
    }

    fn turn(&mut self, prior: &DriftPrior) {
        self.asked = None;
        self.widen(prior, |p| p.setting_changed, true);
        self.turned = true;
    }

    fn recalibrate(&mut self, params: &Params, prior: &DriftPrior, target: Option<TargetWhite>) {
        let mut goals = aims(params).map(|aim| (aim, None));
        if let Some(target) = target {
            goals[0] = (Some(target.uv.u).filter(|u| u.is_finite()), target.sd_uv);
            goals[1] = (Some(target.uv.v).filter(|v| v.is_finite()), target.sd_uv);
            if let Some(level) = target.ln_level.filter(|level| level.is_finite()) {
                goals[2] = (Some(level), target.sd_ln);
            }
        }
        for ((bank, prior), (goal, sd)) in self.banks.iter_mut().zip(&prior.channels).zip(goals) {
            match goal {
                Some(goal) => {
                    let sd = sd.filter(|sd| sd.is_finite() && *sd >= 0.0).unwrap_or(prior.after_recalibration);
                    bank.reset_level(prior, goal, sd);
                }
                None => bank.widen_level(prior, prior.step),
            }
        }
        self.since_reset = [0; 3];
        self.label = None;
        self.tint_open = false;
        self.turned = false;
    }

    fn replace(&mut self, params: &Params, prior: &DriftPrior, time: Time) {
        let aims = aims(params);
        for (c, (bank, prior)) in self.banks.iter_mut().zip(&prior.channels).enumerate() {
            let shared = SHARED_SLOPE * prior.slope_sd * prior.slope_sd;
            let own = prior.slope_sd * prior.slope_sd - shared;
            let belief = bank.belief(prior);
            let (precision, sum) = &mut self.predecessors[c];
            if self.since_reset[c] > 1 {
                let weight = 1.0 / (own + belief.state.cov.0[1][1].max(0.0));
                *precision += weight;
                *sum += weight * (belief.state.mean[1] - prior.slope);
            }
            let common = 1.0 / (1.0 / shared + *precision);
            let (mean, variance) = (prior.slope + common * *sum, common + own);
            let narrowing = variance / (prior.slope_sd * prior.slope_sd);
            match aims[c] {
                Some(aim) => bank.reset_level(prior, aim, prior.after_replacement),
                None => bank.widen_level(prior, prior.level_about_aim),
            }
            bank.alter(prior, |filter, setting| {
                filter.mean[1] = mean;
                let row = [0.0, setting.slope_sd * setting.slope_sd * narrowing, 0.0];
                filter.cov.0[1] = row;
                filter.cov.0[0][1] = 0.0;
                filter.cov.0[2][1] = 0.0;
            });
            bank.sever([SLOPE]);
        }
        self.new_here = [true; 3];
        self.since_reset = [0; 3];
        self.label = None;
        self.tint_open = false;
        self.turned = false;
        self.retired = false;
        self.used_since_new = 0;
        self.ageing.replaced();
        if params.thing == Thing::Lamp(LampKind::Fluorescent) {
            self.settling_until = Some(time.plus(Days(SETTLING_DAYS / self.ageing.rate())));
        }
    }
}

/// What the device should have, by channel.
fn aims(params: &Params) -> [Option<f64>; 3] {
    let white = params.aim_white.filter(|white| white.u.is_finite() && white.v.is_finite());
    [white.map(|w| w.u), white.map(|w| w.v), params.aim_ln_level.filter(|level| level.is_finite())]
}

impl Observation {
    /// Whether the reading is a colour temperature without its tint: nothing else ties the errors of u′ and v′ together.
    fn leaves_the_tint_open(&self) -> bool {
        self.extra_cov[1] != 0.0
    }

    /// Finite, and in a range in which no square overflows.
    fn tidied(&self) -> Self {
        let cut = |value: f64, low: f64, high: f64| if value.is_nan() { 0.0 } else { value.clamp(low, high) };
        let mut tidy = self.clone();
        tidy.white.u = self.white.u.clamp(-10.0, 10.0);
        tidy.white.v = self.white.v.clamp(-10.0, 10.0);
        let [uu, uv, vv] = self.extra_cov;
        let (uu, vv) = (cut(uu, 0.0, 100.0), cut(vv, 0.0, 100.0));
        let most = libm::sqrt(uu * vv);
        tidy.extra_cov = [uu, cut(uv, -most, most), vv];
        tidy.extra_ln = cut(self.extra_ln, 0.0, 100.0);
        tidy.ln_level = self.ln_level.filter(|level| level.is_finite()).map(|level| level.clamp(-50.0, 50.0));
        tidy.noise.uv = cut(self.noise.uv.abs(), 0.0, 10.0);
        tidy.noise.level = cut(self.noise.level.abs(), 0.0, 10.0);
        tidy.warmup_min = self.warmup_min.filter(|minutes| minutes.is_finite() && *minutes >= 0.0);
        tidy.setting = self.setting.as_ref().map(|setting| setting.chars().take(SETTING_KEPT).collect());
        tidy.apart = self.apart.map(Apart::tidied);
        tidy.hours = self.hours.filter(|hours| hours.is_finite()).map(|hours| hours.clamp(0.0, 1e9));
        tidy
    }
}
