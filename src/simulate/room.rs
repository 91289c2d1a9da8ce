//! A random station: one display and one lamp over two years, read by people every one to three weeks.
//!
//! Slopes and decays are drawn about published ageing (see `drift::priors` for the sources): level falling by about
//! 1e-4 a day, lamps faster at first; whites by about 1e-5 a day in u′v′. About 4 % of the readings are strays, 7 %
//! are cold, a dimmer is bumped about every second year, holidays leave gaps, displays are recalibrated now and then,
//! lamps replaced.

use super::chance::Chance;
use super::device::{Planned, Recipe, SimAct, SimDevice};
use crate::drift::{Params, Thing};
use crate::site::{LampKind, Noise};
use crate::units::{Time, UvPrime};

/// One station.
#[derive(Debug, Clone, PartialEq)]
pub struct Room {
    /// The screen.
    pub display: SimDevice,
    /// The lamp; its ln level stands on the scale of the display's (a paper that reflects it so).
    pub lamp: SimDevice,
}

/// Days a room is lived through.
pub const ROOM_DAYS: usize = 730;

/// How a kind of room differs from the usual one. Factors, all 1 by default.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conditions {
    /// On the scatter of readings, which people go on declaring as usual.
    pub noise: f64,
    /// On the size of the wander.
    pub wander: f64,
    /// On its time constant.
    pub wander_days: f64,
    /// On slopes, their changes and the settling decay.
    pub ageing: f64,
    /// On the share of stray readings.
    pub strays: f64,
    /// On how often unlogged steps come.
    pub steps: f64,
    /// On the time between readings.
    pub interval: f64,
}

impl Default for Conditions {
    fn default() -> Self {
        Self { noise: 1.0, wander: 1.0, wander_days: 1.0, ageing: 1.0, strays: 1.0, steps: 1.0, interval: 1.0 }
    }
}

/// The room of `seed` under these conditions.
pub fn room(seed: u64, conditions: &Conditions) -> Room {
    let mut chance = Chance::new(seed);
    let (mut first, mut second) = (chance.split(), chance.split());
    let kind = match (chance.share() * 4.0) as u32 {
        0 => LampKind::Fluorescent,
        1 => LampKind::Other,
        _ => LampKind::Led,
    };
    let noise = Noise { uv: chance.about(0.0007, 0.35), level: chance.about(0.01, 0.35) };
    let noise = Noise { uv: noise.uv * conditions.noise, level: noise.level * conditions.noise };
    let display = device(&mut first, Thing::Display, noise, conditions);
    let lamp = device(&mut second, Thing::Lamp(kind), noise, conditions);
    Room { display, lamp }
}

fn device(chance: &mut Chance, thing: Thing, noise: Noise, conditions: &Conditions) -> SimDevice {
    let ageing = conditions.ageing;
    let is_lamp = thing != Thing::Display;
    let tube = thing == Thing::Lamp(LampKind::Fluorescent);
    let fall = if tube { 1.8e-4 } else { 0.9e-4 };
    let fall = fall * ageing;
    let white = 1e-5 * ageing;
    let slope = [white * chance.normal(), white * chance.normal(), -fall * chance.about(1.0, 0.6)];
    let decay = if is_lamp { (ageing * chance.between(0.0, 0.08), chance.between(60.0, 300.0)) } else { (0.0, 100.0) };
    let wander = conditions.wander * chance.about(1.0, 0.4);
    Recipe {
        params: Params {
            thing,
            aim_white: Some(UvPrime { u: 0.1978, v: 0.4683 }),
            aim_ln_level: Some(libm::log(140.0)),
            warm_up_min: 30.0,
        },
        start: Time::from_micros(1_700_000_000_000_000),
        days: ROOM_DAYS,
        miss_new: if is_lamp { [0.0025, 0.0025, 0.06] } else { [0.0015, 0.0015, 0.03] },
        miss_recalibrated: [0.0006, 0.0006, 0.01],
        slope,
        slope_sd: [white, white, 0.5 * fall],
        slope_change: [0.03 * white, 0.03 * white, 0.02 * fall],
        decay,
        wander: [0.0006 * wander, 0.0006 * wander, 0.006 * conditions.wander * chance.about(1.0, 0.4)],
        wander_days: conditions.wander_days * chance.about(25.0, 0.5),
        acts: acts(chance, is_lamp, conditions.steps),
        plan: plan(chance, conditions),
        noise,
        declared: Noise::default(),
        instrument: None,
    }
    .live(chance)
}

fn acts(chance: &mut Chance, is_lamp: bool, steps: f64) -> Vec<(f64, SimAct)> {
    let mut acts = Vec::new();
    let last = ROOM_DAYS as f64;
    let (bumps, jumps) = (steps * if is_lamp { 0.5 } else { 0.25 }, steps * 0.12);
    let mut day = chance.wait(bumps);
    while day < last {
        acts.push((day, SimAct::Step([0.0, 0.0, chance.sign() * chance.between(0.06, 0.45)])));
        day += chance.wait(bumps);
    }
    day = chance.wait(jumps);
    while day < last {
        acts.push((day, SimAct::Step([0.005 * chance.normal(), 0.005 * chance.normal(), 0.08 * chance.normal()])));
        day += chance.wait(jumps);
    }
    if is_lamp {
        if chance.happens(0.5) {
            acts.push((chance.between(200.0, 650.0), SimAct::Replaced));
        }
    } else {
        day = chance.between(90.0, 260.0);
        while day < last {
            acts.push((day, SimAct::Recalibrated));
            day += chance.between(90.0, 260.0);
        }
    }
    acts
}

fn plan(chance: &mut Chance, conditions: &Conditions) -> Vec<Planned> {
    let mut plan = Vec::new();
    let usual = conditions.interval * chance.between(8.0, 18.0);
    let mut day = chance.between(0.0, 5.0).floor() + 0.4;
    while day < ROOM_DAYS as f64 {
        let cold = chance.happens(0.07).then(|| {
            let error = [0.002 * chance.normal(), 0.002 * chance.normal(), -0.05 * chance.between(0.3, 1.7)];
            (chance.between(0.0, 30.0), error)
        });
        let stray = chance.happens(0.04 * conditions.strays).then(|| {
            let level = chance.sign() * chance.between(0.05, 0.3);
            let white = [0.005 * chance.normal(), 0.005 * chance.normal()];
            if chance.happens(0.25) { [0.0, 0.0, level] } else { [white[0], white[1], 0.5 * level] }
        });
        plan.push(Planned { day, cold, stray });
        let holiday = if chance.happens(0.02) { chance.between(25.0, 60.0) } else { 0.0 };
        day += (usual * chance.between(0.6, 1.4) + holiday).clamp(5.0, 120.0).round();
    }
    plan
}
