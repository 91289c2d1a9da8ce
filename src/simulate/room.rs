//! A random station: one display and one lamp over two years, read by people every one to three weeks.
//!
//! What a room is like, and from where:
//! - A station begins matched: lamp and display stand at their aims but for small misses. Whoever recalibrates the display
//!   measures the lamp's paper white and sets the display to that. A new lamp misses its aim by about 0.0025 in each of u′, v′ (a
//!   step of the quadrangles of ANSI C78.377 is about 0.007 long) and 6 % in level, and the display is set to it within days.
//! - Whites drift by 1e-5 a day in u′ and v′ (sd over devices): the order that 0.007 in u′v′ over 6 000 h, a common limit for
//!   lamps of good quality, allows at eight hours a day (from memory). Tubes half as much again. Levels fall by 0.9e-4 a day, tubes
//!   by 1.8e-4 (TM-21 fits of published tests, see `drift::priors`), lamps by up to 8 % more at first.
//! - Between weeks a device wanders by 0.0004 in u′v′ and 0.4 % in level about its trend, with a time constant of some 25 days.
//! - Readings scatter by about 0.0008 and 1.1 %, are declared as 0.0007 and 1 %; 4 % are strays, 7 % are cold; holidays leave gaps.
//!   In every fourth room a second instrument with an offset of its own takes every third reading.
//! - A lamp's dimmer is bumped twice in five years, a screen's control once in ten, something else jumps once in sixteen (rates of
//!   our own, nobody publishes them). Nobody logs it, but a match that is out for long is noticed, and then the display is
//!   recalibrated, as it is anyhow every two to six months.
//! - Two lamps in five report their hours, which scatter by a third from week to week.
//!
//! With these the match is out for about a tenth of the time if people do as above: neither trivial nor lost. The rooms were
//! drawn up once and made gentler once, after a look at a table of 40 tuning seeds in which the oracle did worse than the published study's.

use super::chance::Chance;
use super::device::{HoursOfUse, Life, Logged, OtherInstrument, Planned, Recipe, SimAct, SimDevice};
use super::tolerance::is_out;
use crate::drift::{Params, Thing};
use crate::site::{LampKind, Noise};
use crate::units::{InstrumentId, Time, UvPrime};

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

/// What somebody who keeps a room knows at the end of a day.
#[derive(Debug, Clone, Copy)]
pub struct Today<'a> {
    /// Which day.
    pub day: usize,
    /// Whether the devices were read today (asked before: whether they are by habit).
    pub read: bool,
    /// Display and lamp so far. Their logs are what people know.
    pub devices: [&'a SimDevice; 2],
}

/// Somebody who keeps a room: sees what is logged, and decides when the display is recalibrated.
pub trait Keeper {
    /// Sees an entry of the display (0) or the lamp (1).
    fn see(&mut self, which: usize, device: &SimDevice, entry: &Logged);

    /// Whether both are read today; by default as the habit of the room is.
    fn reads(&mut self, today: &Today) -> bool {
        today.read
    }

    /// Whether the display is recalibrated tonight.
    fn recalibrates(&mut self, today: &Today) -> bool;

    /// To what it is set: by default to the lamp's white and level as somebody measures them with care on that occasion.
    fn target(&mut self, _today: &Today, measured: [f64; 3]) -> [f64; 3] {
        measured
    }
}

/// The room of `seed` under these conditions, as people without help keep it.
pub fn room(seed: u64, conditions: &Conditions) -> Room {
    live(seed, conditions, &mut Habit::new(seed))
}

/// Lives the room of `seed` in the hands of `keeper`. What nature does to it, and what goes wrong with the readings of the same
/// days, is the same in any hands.
pub fn live(seed: u64, conditions: &Conditions, keeper: &mut impl Keeper) -> Room {
    let mut chance = Chance::new(seed);
    let mut hidden = [chance.split(), chance.split()];
    let mut moves = [chance.split(), chance.split()];
    let mut reads = [chance.split(), chance.split()];
    let mut deeds = chance.split();
    let kind = match (chance.share() * 4.0) as u32 {
        0 => LampKind::Fluorescent,
        1 => LampKind::Other,
        _ => LampKind::Led,
    };
    let noise =
        Noise { uv: conditions.noise * chance.about(0.0008, 0.3), level: conditions.noise * chance.about(0.011, 0.3) };
    let other = other_instrument(&mut chance);
    let mut visits = visits(&mut chance, conditions).into_iter().peekable();
    let things = [Thing::Display, Thing::Lamp(kind)];
    let mut lives = [0, 1].map(|d: usize| {
        let recipe = recipe(&mut hidden[d], things[d], noise, other.as_ref(), conditions);
        Life::new(recipe, &mut moves[d])
    });
    let mut seen = [0usize; 2];
    let mut target = None;
    for day in 0..=ROOM_DAYS {
        for (life, moves) in lives.iter_mut().zip(&mut moves) {
            life.next_day(moves);
        }
        if let Some(target) = target.take() {
            lives[0].act(SimAct::Recalibrated(Some(target)), &mut deeds);
        }
        tell(&lives, &mut seen, keeper);
        let habit = visits.next_if_eq(&day).is_some();
        let read = keeper.reads(&today(day, habit, &lives));
        if read {
            let by_other = reads[0].happens(0.3);
            for (life, reads) in lives.iter_mut().zip(&mut reads) {
                let planned = Planned { by_other, ..what_goes_wrong(day as f64 + 0.4, reads, conditions) };
                life.read(&planned, reads);
            }
            tell(&lives, &mut seen, keeper);
        }
        if keeper.recalibrates(&today(day, read, &lives)) {
            let careful = Planned { day: day as f64 + 0.5, ..Planned::default() };
            let measured = lives[1].read(&careful, &mut deeds);
            tell(&lives, &mut seen, keeper);
            let measured = [measured.white.u, measured.white.v, measured.ln_level.unwrap_or_default()];
            target = Some(keeper.target(&today(day, read, &lives), measured));
        }
    }
    let [display, lamp] = lives.map(|life| life.device);
    Room { display, lamp }
}

fn today(day: usize, read: bool, lives: &[Life; 2]) -> Today<'_> {
    Today { day, read, devices: [&lives[0].device, &lives[1].device] }
}

/// Shows the keeper what was logged since.
fn tell(lives: &[Life; 2], seen: &mut [usize; 2], keeper: &mut impl Keeper) {
    for (which, (life, seen)) in lives.iter().zip(seen).enumerate() {
        for entry in life.device.log.get(*seen..).unwrap_or_default() {
            keeper.see(which, &life.device, entry);
        }
        *seen = life.device.log.len();
    }
}

fn recipe(
    chance: &mut Chance,
    thing: Thing,
    noise: Noise,
    other: Option<&OtherInstrument>,
    conditions: &Conditions,
) -> Recipe {
    let ageing = conditions.ageing;
    let is_lamp = thing != Thing::Display;
    let tube = thing == Thing::Lamp(LampKind::Fluorescent);
    let fall = ageing * if tube { 1.8e-4 } else { 0.9e-4 };
    let white = ageing * if tube { 1.5e-5 } else { 1e-5 };
    let slope = [white * chance.normal(), white * chance.normal(), -fall * chance.about(1.0, 0.6)];
    let decay = if is_lamp { (ageing * chance.between(0.0, 0.08), chance.between(60.0, 300.0)) } else { (0.0, 100.0) };
    let wander = conditions.wander * chance.about(1.0, 0.4);
    let hours = HoursOfUse { per_day: chance.about(8.0, 0.3), scatter: 0.33 };
    let reported = chance.happens(0.4) && is_lamp;
    Recipe {
        params: Params {
            thing,
            aim_white: Some(UvPrime { u: 0.1978, v: 0.4683 }),
            aim_ln_level: Some(libm::log(140.0)),
            warm_up_min: 30.0,
        },
        start: Time::from_micros(1_700_000_000_000_000),
        days: ROOM_DAYS,
        miss_first: if is_lamp { [0.0010, 0.0010, 0.02] } else { [0.0006, 0.0006, 0.01] },
        miss_new: [0.0025, 0.0025, 0.06],
        miss_recalibrated: [0.0006, 0.0006, 0.01],
        slope,
        slope_sd: [white, white, 0.5 * fall],
        slope_change: [0.03 * white, 0.03 * white, 0.02 * fall],
        decay,
        wander: [0.0004 * wander, 0.0004 * wander, 0.004 * conditions.wander * chance.about(1.0, 0.4)],
        wander_days: conditions.wander_days * chance.about(25.0, 0.5),
        hours: reported.then_some(hours),
        acts: hazards(chance, is_lamp, conditions.steps),
        plan: Vec::new(),
        noise,
        declared: Noise::default(),
        instrument: InstrumentId::new("first").ok(),
        other: other.cloned(),
    }
}

/// What befalls a device: steps nobody logs, and the lamp's replacement.
fn hazards(chance: &mut Chance, is_lamp: bool, steps: f64) -> Vec<(f64, SimAct)> {
    let mut acts = Vec::new();
    let last = ROOM_DAYS as f64;
    let (bumps, jumps) = (steps * if is_lamp { 0.4 } else { 0.1 }, steps * 0.06);
    let mut day = chance.wait(bumps);
    while day < last {
        acts.push((day, SimAct::Step([0.0, 0.0, chance.sign() * chance.between(0.05, 0.35)])));
        day += chance.wait(bumps);
    }
    day = chance.wait(jumps);
    while day < last {
        acts.push((day, SimAct::Step([0.004 * chance.normal(), 0.004 * chance.normal(), 0.08 * chance.normal()])));
        day += chance.wait(jumps);
    }
    if is_lamp && chance.happens(0.5) {
        acts.push((chance.between(200.0, 650.0), SimAct::Replaced));
    }
    acts
}

/// A second instrument, in every fourth room.
fn other_instrument(chance: &mut Chance) -> Option<OtherInstrument> {
    let declared = Noise { uv: 0.0012, level: 0.02 };
    let offset = [declared.uv, declared.uv, declared.level].map(|sd| sd * chance.normal());
    let id = InstrumentId::new("second").ok()?;
    chance.happens(0.25).then_some(OtherInstrument { id, offset, declared })
}

/// The days on which people read by habit.
fn visits(chance: &mut Chance, conditions: &Conditions) -> Vec<usize> {
    let mut days = Vec::new();
    let usual = conditions.interval * chance.between(8.0, 18.0);
    let mut day = chance.between(0.0, 5.0).floor();
    while day < ROOM_DAYS as f64 {
        days.push(day as usize);
        let holiday = if chance.happens(0.02) { chance.between(25.0, 60.0) } else { 0.0 };
        day += (usual * chance.between(0.6, 1.4) + holiday).clamp(5.0, 120.0).round();
    }
    days
}

/// What goes wrong with a reading, if anything.
fn what_goes_wrong(day: f64, chance: &mut Chance, conditions: &Conditions) -> Planned {
    let cold = chance.happens(0.07).then(|| {
        let error = [0.002 * chance.normal(), 0.002 * chance.normal(), -0.05 * chance.between(0.3, 1.7)];
        (chance.between(0.0, 30.0), error)
    });
    let stray = chance.happens(0.04 * conditions.strays).then(|| {
        let level = chance.sign() * chance.between(0.05, 0.3);
        let white = [0.005 * chance.normal(), 0.005 * chance.normal()];
        if chance.happens(0.25) { [0.0, 0.0, level] } else { [white[0], white[1], 0.5 * level] }
    });
    Planned { day, cold, stray, by_other: false }
}

/// People without help: they recalibrate every two to six months, some days after a new lamp, and when the match has been
/// out for so long that somebody notices.
struct Habit {
    chance: Chance,
    next: usize,
    /// Days out so far, and after how many it is noticed.
    out: (usize, usize),
}

impl Habit {
    fn new(seed: u64) -> Self {
        let mut chance = Chance::new(seed ^ 0x6861_6269_7400_0000);
        let next = chance.between(60.0, 180.0) as usize;
        let patience = chance.between(30.0, 90.0) as usize;
        Self { chance, next, out: (0, patience) }
    }
}

impl Keeper for Habit {
    fn see(&mut self, which: usize, device: &SimDevice, entry: &Logged) {
        if which == 1 && matches!(entry, Logged::Event(_)) {
            let soon = device.day_of(entry.time()) + self.chance.between(1.0, 10.0);
            self.next = self.next.min(soon as usize);
        }
    }

    fn recalibrates(&mut self, today: &Today) -> bool {
        let [display, lamp] = today.devices;
        let day = today.day as f64;
        self.out.0 = if is_out(display.truth_at(day), lamp.truth_at(day)) { self.out.0 + 1 } else { 0 };
        let due = today.day >= self.next || self.out.0 > self.out.1;
        if due {
            self.next = today.day + self.chance.between(60.0, 180.0) as usize;
            self.out = (0, self.chance.between(30.0, 90.0) as usize);
        }
        due
    }
}
