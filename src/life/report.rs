//! All that is said of a device's ageing at one instant: plain values, and how they follow from its lives and its state.

use super::maintenance::{Maintenance, NoProjection};
use super::{Age, Lives, left_at_age, white_of};
use crate::color::{Move, direction};
use crate::drift::{HoursInUse, Reached, Thing};
use crate::station::leaving::Leaving;
use crate::station::{Spread, Watched};
use crate::units::{Days, DeviceId, Time, UvPrime};

/// The ageing of a device.
#[derive(Debug, Clone, PartialEq)]
pub struct Report {
    /// The device.
    pub device: DeviceId,
    /// What it is.
    pub thing: Thing,
    /// The instant.
    pub as_of: Time,
    /// When it was last read.
    pub last_read: Option<Time>,
    /// Readings used, of the thing that now stands there.
    pub readings: u64,
    /// After so long without a reading nothing is certain, where a station says so.
    pub max_age: Option<Days>,
    /// Out of use.
    pub retired: bool,
    /// How old it is.
    pub age: Option<Age>,
    /// The share of its first light that is left now; absent where no level was read.
    pub light_left: Option<Spread>,
    /// How its light changes.
    pub light_rate: Option<Rate>,
    /// Where its white goes.
    pub white: Option<WhitePath>,
    /// Its hours of use, where it counts them.
    pub hours: Option<HoursInUse>,
    /// Rated hours, where the configuration knows them.
    pub rated: Option<Rated>,
    /// Each thing that stood in the place, the oldest first.
    pub lives: Vec<LifeLine>,
    /// When it leaves its aim; absent where it has no limits or nothing is known of it.
    pub leaving: Option<Leaving>,
    /// TM-21's arithmetic on its record.
    pub projection: Result<Projection, NoProjection>,
    /// How far such dates were right before.
    pub checks: Checks,
}

/// A change over time, in the logarithm of light or in u′v′.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rate {
    /// Per 1000 hours of use, where hours are counted.
    pub per_1000_h: Option<Spread>,
    /// Per year of the calendar, at the use that was learnt.
    pub per_year: Spread,
}

/// Where a white goes.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub struct WhitePath {
    /// At its first reading, and now.
    pub first: UvPrime,
    pub now: UvPrime,
    /// How far it moved by itself since its first reading, and in which direction.
    pub moved: f64,
    pub direction: Option<Move>,
    /// Its speed now: u′v′ and the standard deviation along the way.
    pub speed: Rate,
    /// The direction of that speed in u′ and v′, a unit vector.
    pub towards: (f64, f64),
    /// The same in words.
    pub towards_word: Option<Move>,
    /// Whether the speed is told from zero (with nine in ten).
    pub told: bool,
}

/// Rated hours and what is used of them.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rated {
    /// As declared.
    pub hours: f64,
    /// Share of them used; absent where hours are not reported.
    pub used: Option<f64>,
    /// When they will be used up, or were at its last record, at the use that was learnt.
    pub reached: Option<Reached>,
}

/// One thing that stood in the place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LifeLine {
    /// Its first day.
    pub from: Time,
    /// Its last day; absent for the one that stands there.
    pub to: Option<Time>,
    /// How long it served.
    pub served: Age,
    /// Share of its first light at the age that the present one has; absent where it never got so old.
    pub left_at_same_age: Option<f64>,
    /// Share of its first light now, or at its last reading.
    pub left_now_or_at_end: Option<f64>,
    /// How far its white moved for each 1000 h (where the present one counts hours) or year.
    pub moved_per: Option<f64>,
    /// When it left its aim by itself, the first time.
    pub left_aim: Option<Time>,
}

/// TM-21's arithmetic on one lamp in a room: an estimate, no TM-21 result.
#[derive(Debug, Clone, PartialEq)]
pub struct Projection {
    /// The exponential.
    pub fit: Maintenance,
    /// The counter at the record's first reading.
    pub counter_from: f64,
}

/// Dates that would have been said before.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Checks {
    /// One for each time that the device left its aim by itself and each point of the way at which the date is asked for.
    pub asked: Vec<Check>,
    /// Stretches that ended by hand before the device left its aim: no date can be held against them.
    pub ended_before: usize,
    /// Dates that came too early: their likely range was over, and the device still on its aim.
    pub outlived: usize,
}

/// A date that would have been said before, and what happened.
#[derive(Debug, Clone, PartialEq)]
pub struct Check {
    /// Asked at this point of the way from the first reading to the leaving.
    pub share: f64,
    /// Asked on this day.
    pub asked: Time,
    /// What would have been said; `None` where no date.
    pub said: Option<Leaving>,
    /// When it left.
    pub happened: Time,
}

impl Check {
    /// Days that the date was late (early: below zero); `None` where no date was said.
    pub fn error(&self) -> Option<f64> {
        Some(self.said.as_ref()?.about?.since(self.happened).0)
    }

    /// Whether it happened within the likely range; an open end holds everything after it.
    pub fn within(&self) -> Option<bool> {
        let said = self.said.as_ref()?;
        said.about?;
        Some(
            said.early.is_some_and(|early| early <= self.happened)
                && said.late.is_none_or(|late| self.happened <= late),
        )
    }
}

/// Points of the way at which past dates are asked for.
pub const ASKED_AT: [f64; 2] = [0.5, 0.8];

/// A day in the past on which the date is asked for, and what is known since.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub struct Question {
    pub share: f64,
    pub asked: Time,
    pub known: Known,
}

/// What became of a stretch.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Known {
    /// It left its aim by itself.
    Left(Time),
    /// It was still on its aim at its last reading.
    OnAimUntil(Time),
}

/// When past dates are to be asked for, and how many stretches ended by hand before the device left its aim.
pub fn questions(lives: &Lives) -> (Vec<Question>, usize) {
    let (mut questions, mut ended_before) = (Vec::new(), 0);
    for (place, life) in lives.0.iter().enumerate() {
        for (stretch_place, stretch) in life.stretches.iter().enumerate() {
            let (Some(first), Some(last)) = (stretch.points.first(), stretch.points.last()) else { continue };
            let open = place + 1 == lives.0.len() && stretch_place + 1 == life.stretches.len();
            let (end, known) = match stretch.left_aim() {
                Some(left) => (left, Known::Left(left)),
                // Off from its first reading: there was nothing to foretell.
                None if last.off.is_none_or(|off| off > 0.5) => continue,
                None => {
                    ended_before += usize::from(!open);
                    (last.time, Known::OnAimUntil(last.time))
                }
            };
            let day = |share: f64| first.time.plus(Days(share * end.since(first.time).0));
            questions.extend(ASKED_AT.map(|share| Question { share, asked: day(share), known }));
        }
    }
    (questions, ended_before)
}

const DAYS_PER_YEAR: f64 = 365.25;
/// Days of ageing (of eight hours) in 1000 h.
const AGEING_DAYS: f64 = 1000.0 / crate::drift::priors::HOURS_PER_DAY;
/// χ² of two degrees of freedom that nine of ten resting whites stay below.
const TOLD: f64 = 4.605;
/// A move of this size asks for its words, whatever its speed: words are for directions here.
const WORD_SIZE: f64 = 0.01;

/// What was found out of a device beside its lives and its state.
#[derive(Debug, Clone, Default)]
#[allow(missing_docs)]
pub struct Found {
    pub rated_hours: Option<f64>,
    pub max_age: Option<Days>,
    pub leaving: Option<Leaving>,
    pub checks: Checks,
}

/// Puts together what is said of a device's ageing.
pub fn report(device: &Watched, lives: &Lives, found: Found, now: Time) -> Report {
    let hours = device.state.hours_in_use();
    let summary = device.state.summary(device.params);
    let life = lives.current();
    let aged = life.map(super::Life::ageing).unwrap_or_default();
    let age = life.filter(|_| !aged.is_empty()).map(|life| life.age(now, hours.and_then(|h| h.counter_at(now))));
    let forecast = device.state.forecast(device.params, &[now]);
    let channel = |c: usize| {
        let path = forecast.likely.channels.get(c)?.as_ref()?;
        Some(Spread { mean: *path.mean.first()?, sd: *path.sd.first()? })
    };
    let rate = |mean: f64, sd: f64| Rate {
        per_1000_h: hours.map(|_| Spread { mean: mean * AGEING_DAYS, sd: sd * AGEING_DAYS }),
        per_year: {
            let days = DAYS_PER_YEAR * hours.map_or(1.0, |h| h.per_day / crate::drift::priors::HOURS_PER_DAY);
            Spread { mean: mean * days, sd: sd * days }
        },
    };
    let last = life.and_then(|life| life.points().last());
    let light_left = (|| {
        let (read, at_read) = (last?.ln_level?, aged.last()?.ln_left?);
        let today = channel(2)?;
        // From the last reading on the model goes on by itself.
        let mean = libm::exp(at_read.mean + today.mean - read.mean);
        let more = (today.sd * today.sd - read.sd * read.sd).max(0.0);
        Some(Spread { mean, sd: mean * libm::sqrt(at_read.sd * at_read.sd + more) })
    })();
    let [u_slope, v_slope, ln_slope] = summary.slopes;
    let white = (|| {
        let first = white_of(life?.points().next()?);
        let now = UvPrime { u: channel(0)?.mean, v: channel(1)?.mean };
        let (moved_u, moved_v) = aged.last()?.moved;
        let by_itself = UvPrime { u: first.u + moved_u.mean, v: first.v + moved_v.mean };
        let speed = u_slope.0.hypot(v_slope.0);
        let towards = if speed > 0.0 { (u_slope.0 / speed, v_slope.0 / speed) } else { (0.0, 0.0) };
        let sd =
            if speed > 0.0 { (u_slope.1 * towards.0).hypot(v_slope.1 * towards.1) } else { u_slope.1.max(v_slope.1) };
        let score = |slope: (f64, f64)| (slope.0 / slope.1.max(f64::MIN_POSITIVE)).powi(2);
        let onward = UvPrime { u: now.u + WORD_SIZE * towards.0, v: now.v + WORD_SIZE * towards.1 };
        Some(WhitePath {
            first,
            now,
            moved: moved_u.mean.hypot(moved_v.mean),
            direction: direction(first, by_itself),
            speed: rate(speed, sd),
            towards,
            towards_word: direction(now, onward),
            told: score(u_slope) + score(v_slope) > TOLD,
        })
    })();
    let known = !aged.is_empty();
    Report {
        device: device.id.clone(),
        thing: device.params.thing,
        as_of: now,
        last_read: summary.last_read.map(|(time, _)| time),
        readings: aged.len() as u64,
        max_age: found.max_age,
        retired: summary.retired,
        age,
        light_left,
        light_rate: (known && channel(2).is_some()).then(|| rate(ln_slope.0, ln_slope.1)),
        white,
        hours: hours.filter(|_| known),
        rated: found.rated_hours.map(|rated| rated_of(rated, hours, now)),
        lives: life_lines(lives, age, light_left.map(|left| left.mean), now),
        leaving: found.leaving.filter(|_| known),
        projection: projection(lives),
        checks: found.checks,
    }
}

fn rated_of(rated: f64, hours: Option<HoursInUse>, now: Time) -> Rated {
    let used = hours.and_then(|hours| Some(hours.burnt(now)? / rated));
    Rated { hours: rated, used, reached: hours.and_then(|hours| hours.reaches(rated)) }
}

fn life_lines(lives: &Lives, age: Option<Age>, left_now: Option<f64>, now: Time) -> Vec<LifeLine> {
    let by_hours = matches!(age, Some(Age::Hours(_)));
    let lines = lives.0.iter().filter_map(|life| {
        let aged = life.ageing();
        let (first, last) = (aged.first()?, aged.last()?);
        let served = match (last.age, life.ended) {
            (Age::Hours(hours), Some(_)) => Age::Hours(hours),
            (_, Some(ended)) => Age::Days(ended.since(life.began).0),
            (_, None) => age.unwrap_or_else(|| life.age(now, None)),
        };
        let span = match (first.age, last.age) {
            (Age::Hours(from), Age::Hours(to)) => (to - from) / 1000.0,
            _ => last.time.since(first.time).0 / DAYS_PER_YEAR,
        };
        let (u, v) = last.moved;
        Some(LifeLine {
            from: life.began,
            to: life.ended,
            served,
            left_at_same_age: age.and_then(|age| match life.ended {
                Some(_) => left_at_age(&aged, age).map(libm::exp),
                None => left_now,
            }),
            left_now_or_at_end: if life.ended.is_some() { last.ln_left.map(|ln| libm::exp(ln.mean)) } else { left_now },
            // From less than a quarter of a year or 250 h a rate is scatter; what cannot be compared is not put beside the rest.
            moved_per: (span > 0.25 && by_hours == matches!(last.age, Age::Hours(_)))
                .then(|| u.mean.hypot(v.mean) / span),
            left_aim: life.stretches.iter().find_map(super::Stretch::left_aim),
        })
    });
    lines.collect()
}

/// TM-21's arithmetic on the record of the thing that now stands there.
pub fn projection(lives: &Lives) -> Result<Projection, NoProjection> {
    let record = lives.current().map(super::Life::record).unwrap_or_default();
    let counter_from = record.first().map_or(0.0, |(hours, _)| *hours);
    let since: Vec<(f64, f64)> = record.into_iter().map(|(hours, light)| (hours - counter_from, light)).collect();
    Ok(Projection { fit: Maintenance::of(&since)?, counter_from })
}
