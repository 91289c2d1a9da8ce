//! The JSON of `ageing`: numbers unrounded, dates as local days beside instants.

use schemars::JsonSchema;
use serde::Serialize;

use super::Parts;
use super::gather::Gathered;
use crate::cli::answer::{LocalDate, MeanSd};
use crate::color::Move;
use crate::drift::HoursInUse;
use crate::life::maintenance::{LeftAt, NoProjection};
use crate::life::report;
use crate::life::{Age, Aged, Life};
use crate::station::{Limits, leaving};
use crate::units::{DeviceId, Time, UvPrime};
use crate::zone::LocalZone;

/// How a lamp or a display ages, when it leaves its aim, what to do, and how far such dates were right before.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Ageing {
    /// The lamp or display.
    device: DeviceId,
    /// The instant that the answer speaks of.
    as_of: Time,
    /// The answer in one sentence.
    verdict: String,
    /// Readings used, of the thing that now stands in the place.
    readings: u64,
    /// When it was last read; null where it never was.
    last_read: Option<Time>,
    /// Whether it is out of use.
    retired: bool,
    /// How old it is; null where nothing of it was read.
    age: Option<AgeJson>,
    /// The share of its first light that is left now, about 0 to 1; null where no level was read.
    light_left: Option<MeanSd>,
    /// How the natural logarithm of its light changes; null where that is not known.
    ln_light_rate: Option<Rate>,
    /// Where its white goes; null where that is not known.
    white: Option<WhitePath>,
    /// Its hours of use; null where it counts none.
    hours: Option<Hours>,
    /// Rated hours, where the configuration knows them; else null.
    rated: Option<Rated>,
    /// How far it may be from its aim; null where no station asks for it, or it follows the paper.
    limits: Option<LimitsJson>,
    /// The risk at which its stations call for something to be done, 0 to 1; null where no station uses it.
    max_risk: Option<f64>,
    /// When it leaves its aim; null where it has no limits or nothing is known of it.
    leaves_aim: Option<Leaving>,
    /// The arithmetic of IES TM-21-11 on its record, or why there is none.
    projection: Projection,
    /// Each thing that stood in the place, the oldest first.
    lives: Vec<LifeJson>,
    /// Its ageing so far, reading by reading, without what people did to it.
    path: Vec<PathPoint>,
    /// Dates that would have been said before, and what happened.
    checked: Vec<Check>,
    /// Stretches that ended by hand before the device left its aim: no date can be held against them.
    ended_before: usize,
    /// Dates that came too early: their likely range was over, and the device still on its aim.
    outlived: usize,
    /// What to do, in words; empty where there is nothing to do.
    what_to_do: Vec<String>,
    /// How dates that would have been said before held, in words.
    said_before: Vec<String>,
}

/// An age, in the unit that the device counts.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(untagged)]
pub enum AgeJson {
    /// In use.
    Hours {
        /// Hours of use.
        hours: f64,
    },
    /// By the calendar, where no hours are counted.
    Days {
        /// Days since it was put in place.
        days: f64,
    },
}

/// A change over time.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Rate {
    /// Per 1000 hours of use; null where hours are not counted.
    per_1000_h: Option<MeanSd>,
    /// Per year of the calendar, at the use that was learnt.
    per_year: MeanSd,
}

/// Where a white goes by itself.
#[derive(Debug, Serialize, JsonSchema)]
pub struct WhitePath {
    /// At its first reading.
    first: UvPrime,
    /// Now.
    now: UvPrime,
    /// How far it moved by itself since its first reading, in u′v′.
    moved: f64,
    /// In which direction, in words; null where there is nothing to say.
    moved_direction: Option<String>,
    /// Its speed now, in u′v′.
    speed: Rate,
    /// The direction of that speed.
    towards: UnitVector,
    /// The same in words; null where there is nothing to say.
    towards_direction: Option<String>,
    /// Whether the speed is told from zero, with nine in ten.
    told_from_zero: bool,
}

/// A direction, of length 1.
#[derive(Debug, Serialize, JsonSchema)]
pub struct UnitVector {
    /// Its part along u′, -1 to 1.
    u_prime: f64,
    /// Its part along v′, -1 to 1.
    v_prime: f64,
}

/// Hours of use.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Hours {
    /// The counter now, h; null where the thing that now stands there reported none.
    counter: Option<f64>,
    /// Hours a day, learnt over all that stood in this place.
    per_day: f64,
    /// The standard deviation of that.
    per_day_sd: f64,
}

/// Rated hours.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Rated {
    /// As declared, h.
    hours: f64,
    /// Share of them used, 0 or more; null where hours are not reported.
    used: Option<f64>,
    /// The day on which they will be used up, or were; null where that is not known.
    date: Option<LocalDate>,
}

/// How far a device may be from its aim.
#[derive(Debug, Serialize, JsonSchema)]
pub struct LimitsJson {
    /// In u′v′.
    delta_uv: f64,
    /// In level, as a ratio either way, above 1; null where the level is not judged.
    level_ratio: Option<f64>,
}

/// When a device leaves its aim.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Leaving {
    /// Probability that it is off its aim now, 0 to 1.
    #[schemars(range(min = 0.0, max = 1.0))]
    off_now: f64,
    /// The day by which it has left as likely as not; null where that lies beyond what may be said.
    about: Option<LocalDate>,
    /// The day by which it has left with one in ten; null likewise.
    likely_from: Option<LocalDate>,
    /// The day by which it has left with nine in ten; null likewise.
    likely_to: Option<LocalDate>,
    /// Farther ahead than the readings reach back, or from too few of them.
    guess: bool,
    /// What takes it out; null where no date is known.
    because: Option<Because>,
    /// The direction in which its white moves, in words; null where something else takes it out.
    direction: Option<String>,
    /// The day by which something should be done; null where that lies beyond what may be said.
    act_by: Option<LocalDate>,
    /// Nothing is said of days after this one.
    not_said_beyond: LocalDate,
}

/// What takes a device out of its limits.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Because {
    /// Its white moves.
    Colour,
    /// It gets dimmer.
    Dimmer,
    /// It gets brighter.
    Brighter,
    /// It is expected inside; only what is not known of it grows.
    Doubt,
}

/// The arithmetic of TM-21, or why there is none.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(untagged)]
pub enum Projection {
    /// An exponential through the end of a long record: light = b · exp(-alpha · hours), as a share of the first light.
    Projected {
        /// Light at the start as the exponential has it, as a share of the first light.
        b: f64,
        /// Decay per hour; not above 0 where the light does not fall.
        alpha_per_hour: f64,
        /// Hours of record.
        record_hours: f64,
        /// Readings in the window.
        points: usize,
        /// When 90, 80 and 70 % of the first light are left.
        left: [Left; 3],
        /// What this is, and what it is not.
        is: &'static str,
    },
    /// There is none.
    None {
        /// Why not.
        none: WhyNone,
    },
}

/// Why there is no projection.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(tag = "why", rename_all = "lowercase")]
pub enum WhyNone {
    /// Fewer than 6000 hours of record.
    Short {
        /// The hours there are.
        hours: f64,
    },
    /// Readings lie more than 1000 hours apart.
    Gap {
        /// The widest gap, h.
        hours: f64,
    },
}

/// The hours at which only a share of the first light is left.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Left {
    /// The share, 0 to 1.
    share: f64,
    /// Hours from the start of the record.
    hours: f64,
    /// The device's own counter then, h.
    counter: f64,
    /// How these hours are known.
    kind: LeftKind,
}

/// How hours are known.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum LeftKind {
    /// Passed within the record.
    Passed,
    /// Projected.
    Projected,
    /// Later than may be said: six times the hours of record.
    After,
}

/// One thing that stood in the place.
#[derive(Debug, Serialize, JsonSchema)]
pub struct LifeJson {
    /// Its first day.
    from: LocalDate,
    /// Its last day; null for the one that stands there.
    to: Option<LocalDate>,
    /// How long it served.
    served: AgeJson,
    /// Share of its first light now, or at its last reading; null where no level was read.
    light_left: Option<f64>,
    /// Share of its first light at the age that the present one has; null where it never got so old.
    light_left_at_same_age: Option<f64>,
    /// How far its white moved for each 1000 h (where the present one counts hours) or year, in u′v′; null where that is not known.
    white_moved_per_1000_h_or_year: Option<f64>,
    /// The day on which it left its aim by itself, the first time; null where it never did.
    left_aim: Option<LocalDate>,
}

/// Its ageing up to one reading.
#[derive(Debug, Serialize, JsonSchema)]
pub struct PathPoint {
    /// When it was read.
    time: Time,
    /// How old it was.
    age: AgeJson,
    /// Natural logarithm of the share of its first light that was left; null where no level was read.
    ln_light_left: Option<MeanSd>,
    /// How far its white had moved by itself, in u′.
    moved_u_prime: MeanSd,
    /// How far its white had moved by itself, in v′.
    moved_v_prime: MeanSd,
}

/// A date that would have been said before, and what happened.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Check {
    /// Asked at this share of the way from the first reading to the leaving, 0 to 1.
    share_of_the_way: f64,
    /// The instant at which it was asked.
    asked: Time,
    /// What would have been said; null where no date.
    said: Option<Leaving>,
    /// The day on which it left.
    left_aim: LocalDate,
    /// Days that the date was late, below 0 where it was early; null where no date was said.
    days_late: Option<f64>,
    /// Whether it left within the likely range; null where no date was said.
    within: Option<bool>,
}

impl Ageing {
    pub(super) fn of(gathered: &Gathered, parts: Parts, zone: &LocalZone) -> Self {
        let report = &gathered.report;
        Self {
            device: report.device.clone(),
            as_of: report.as_of,
            verdict: parts.headline,
            readings: report.readings,
            last_read: report.last_read,
            retired: report.retired,
            age: report.age.map(AgeJson::from),
            light_left: report.light_left.map(MeanSd::from),
            ln_light_rate: report.light_rate.map(Rate::from),
            white: report.white.as_ref().map(WhitePath::of),
            hours: report.hours.map(|hours| Hours::of(&hours, report.as_of)),
            rated: report.rated.map(|rated| Rated {
                hours: rated.hours,
                used: rated.used,
                date: rated.reached.map(|reached| LocalDate::of(reached.date, zone)),
            }),
            limits: gathered.limits.map(LimitsJson::from),
            max_risk: gathered.max_risk,
            leaves_aim: report.leaving.as_ref().map(|leaving| Leaving::of(leaving, zone)),
            projection: Projection::of(&report.projection),
            lives: report.lives.iter().map(|line| LifeJson::of(line, zone)).collect(),
            path: gathered.lives.current().map(Life::ageing).unwrap_or_default().iter().map(PathPoint::of).collect(),
            checked: report.checks.asked.iter().map(|check| Check::of(check, zone)).collect(),
            ended_before: report.checks.ended_before,
            outlived: report.checks.outlived,
            what_to_do: parts.acts,
            said_before: parts.checks,
        }
    }
}

fn words(direction: &Option<Move>) -> Option<String> {
    direction.as_ref().map(Move::to_string)
}

impl From<Age> for AgeJson {
    fn from(age: Age) -> Self {
        match age {
            Age::Hours(hours) => Self::Hours { hours },
            Age::Days(days) => Self::Days { days },
        }
    }
}

impl From<report::Rate> for Rate {
    fn from(rate: report::Rate) -> Self {
        Self { per_1000_h: rate.per_1000_h.map(MeanSd::from), per_year: rate.per_year.into() }
    }
}

impl WhitePath {
    fn of(white: &report::WhitePath) -> Self {
        Self {
            first: white.first,
            now: white.now,
            moved: white.moved,
            moved_direction: words(&white.direction),
            speed: white.speed.into(),
            towards: UnitVector { u_prime: white.towards.0, v_prime: white.towards.1 },
            towards_direction: words(&white.towards_word),
            told_from_zero: white.told,
        }
    }
}

impl Hours {
    fn of(hours: &HoursInUse, now: Time) -> Self {
        Self { counter: hours.counter_at(now), per_day: hours.per_day, per_day_sd: hours.per_day_sd() }
    }
}

impl From<Limits> for LimitsJson {
    fn from(limits: Limits) -> Self {
        Self { delta_uv: limits.delta_uv, level_ratio: limits.ln_ratio.map(libm::exp) }
    }
}

impl Leaving {
    fn of(leaving: &leaving::Leaving, zone: &LocalZone) -> Self {
        use leaving::Cause;
        let day = |time: Option<Time>| time.map(|time| LocalDate::of(time, zone));
        let (because, direction) = match &leaving.cause {
            None => (None, None),
            Some(Cause::Colour(direction)) => (Some(Because::Colour), words(direction)),
            Some(Cause::Dimmer) => (Some(Because::Dimmer), None),
            Some(Cause::Brighter) => (Some(Because::Brighter), None),
            Some(Cause::Doubt) => (Some(Because::Doubt), None),
        };
        Self {
            off_now: leaving.off_now,
            about: day(leaving.about),
            likely_from: day(leaving.early),
            likely_to: day(leaving.late),
            guess: leaving.guess,
            because,
            direction,
            act_by: day(leaving.act_by),
            not_said_beyond: LocalDate::of(leaving.farthest, zone),
        }
    }
}

impl Projection {
    fn of(found: &Result<report::Projection, NoProjection>) -> Self {
        let found = match found {
            Ok(found) => found,
            Err(NoProjection::Short { hours }) => return Self::None { none: WhyNone::Short { hours: *hours } },
            Err(NoProjection::Gap { hours }) => return Self::None { none: WhyNone::Gap { hours: *hours } },
        };
        let left = |share: f64| {
            let (hours, kind) = match found.fit.left_at(share) {
                LeftAt::Passed(hours) => (hours, LeftKind::Passed),
                LeftAt::Projected(hours) => (hours, LeftKind::Projected),
                LeftAt::After(hours) => (hours, LeftKind::After),
            };
            Left { share, hours, counter: found.counter_from + hours, kind }
        };
        Self::Projected {
            b: found.fit.b,
            alpha_per_hour: found.fit.alpha,
            record_hours: found.fit.record_hours,
            points: found.fit.points,
            left: [left(0.9), left(0.8), left(0.7)],
            is: "an estimate from one lamp by one meter with the arithmetic of TM-21; no TM-21 result",
        }
    }
}

impl LifeJson {
    fn of(line: &report::LifeLine, zone: &LocalZone) -> Self {
        Self {
            from: LocalDate::of(line.from, zone),
            to: line.to.map(|to| LocalDate::of(to, zone)),
            served: line.served.into(),
            light_left: line.left_now_or_at_end,
            light_left_at_same_age: line.left_at_same_age,
            white_moved_per_1000_h_or_year: line.moved_per,
            left_aim: line.left_aim.map(|left| LocalDate::of(left, zone)),
        }
    }
}

impl PathPoint {
    fn of(point: &Aged) -> Self {
        let (u, v) = point.moved;
        Self {
            time: point.time,
            age: point.age.into(),
            ln_light_left: point.ln_left.map(MeanSd::from),
            moved_u_prime: u.into(),
            moved_v_prime: v.into(),
        }
    }
}

impl Check {
    fn of(check: &report::Check, zone: &LocalZone) -> Self {
        Self {
            share_of_the_way: check.share,
            asked: check.asked,
            said: check.said.as_ref().map(|said| Leaving::of(said, zone)),
            left_aim: LocalDate::of(check.happened, zone),
            days_late: check.error(),
            within: check.within(),
        }
    }
}
