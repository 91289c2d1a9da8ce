//! How long a match is likely to hold: the path of risk from now on, and the days on which it passes its lines. Pure.
//!
//! *Holds until* is the day on which it is as likely as not that the match has been out by then, *likely* from the day on which
//! that is 1 in 10 to the day on which it is 9 in 10: median and central 80 % of the time of first leaving the tolerance, if
//! nobody touches anything. No day is given further ahead than six times what the readings span, nor than 1500 days.

use super::risk::{Difference, Limits, risk_until};
use super::{RiskDate, grid};
use crate::drift::Summary;
use crate::units::{Days, Time};

/// Days further ahead than this are not looked at, whatever the readings reach back.
pub(super) const FARTHEST_DAYS: f64 = 1500.0;
/// A date further ahead than this is called a guess (standards: never further than the readings reach back, nor this).
pub(super) const GUESS_BEYOND_DAYS: f64 = 180.0;
/// A date rests on at least so many readings of each device, over so many days, or it is a guess.
pub(crate) const GUESS_BELOW_READINGS: u64 = 5;
pub(super) const GUESS_BELOW_DAYS: f64 = 14.0;
/// No date is given further ahead than this many times the time the readings span.
pub(super) const FARTHEST_SPANS: f64 = 6.0;

/// The shares of all outcomes by which a match has been out on the early, the middle and the late day.
pub(super) const EARLY: f64 = 0.1;
const MIDDLE: f64 = 0.5;
const LATE: f64 = 0.9;

/// Until when a match is likely to hold. A day that lies beyond all that may honestly be said is absent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Holds {
    /// The day by which it is as likely as not that it has been out.
    pub date: Option<Time>,
    /// The day by which that is 1 in 10.
    pub early: Option<Time>,
    /// The day by which that is 9 in 10.
    pub late: Option<Time>,
    /// How far ahead was looked.
    pub farthest: Time,
    /// Further ahead than the readings reach back, or from too few of them: to be called a guess.
    pub guess: bool,
}

impl Holds {
    /// Whether the readings do not reach back far enough to say anything of the time after `now`.
    pub fn beyond_reach(&self, now: Time) -> bool {
        self.at_least() <= now
    }

    /// The day up to which it holds with 9 in 10, or as far as may be said.
    pub fn at_least(&self) -> Time {
        self.early.unwrap_or(self.farthest)
    }
}

/// How far ahead the readings of a station allow to look.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Reach {
    /// Time that the readings span, of the device where that is shorter.
    pub observed: Days,
    few: bool,
}

impl Reach {
    pub fn of(summaries: &[Summary; 2]) -> Self {
        let observed = summaries.iter().map(|s| s.observed.0).fold(f64::INFINITY, f64::min);
        let few = summaries.iter().any(|s| s.used < GUESS_BELOW_READINGS) || observed < GUESS_BELOW_DAYS;
        Self { observed: Days(observed), few }
    }

    fn farthest(&self) -> f64 {
        (self.observed.0 * FARTHEST_SPANS).min(FARTHEST_DAYS)
    }

    /// Whether a date so many days ahead is a guess.
    fn is_guess(&self, days: f64) -> bool {
        days > 0.0 && (self.few || days > self.observed.0 || days > GUESS_BEYOND_DAYS)
    }

    /// A grid from `now` that has a point at the end of `horizon` and goes on as far as may be looked, by steps that grow to a
    /// third of the way: good for weighing acts by how long each holds, of which there are many.
    pub fn coarse_times(&self, now: Time, horizon: Days) -> Vec<Time> {
        let mut times = grid(now, horizon);
        let mut day = horizon.0;
        while day < self.farthest() {
            day = (day + 1.0).max(day * 1.33).min(self.farthest());
            times.push(now.plus(Days(day)));
        }
        times
    }

    /// A grid from `now` that has a point at the end of `horizon` and goes on as far as may be looked.
    pub fn times(&self, now: Time, horizon: Days) -> Vec<Time> {
        let far = grid(now, Days(self.farthest()));
        let end = now.plus(horizon);
        let mut times = grid(now, horizon);
        times.extend(far.into_iter().filter(|time| *time > end));
        times
    }
}

/// The path of risk from now on.
#[derive(Debug, Clone)]
pub(super) struct Outlook {
    now: Time,
    reach: Reach,
    /// Days from now; as many as were worth looking at.
    days: Vec<f64>,
    on: Vec<f64>,
    within: Vec<f64>,
}

impl Outlook {
    /// Along `times`, the first of them now. Nothing is looked at after the day on which it is out almost surely; where all
    /// days together stay below `negligible`, their sum stands for what is sought.
    pub fn of(
        hypotheses: &[(f64, Vec<Difference>)],
        limits: &Limits,
        reach: Reach,
        times: &[Time],
        negligible: f64,
    ) -> Self {
        let now = times.first().copied().unwrap_or(Time::from_micros(0));
        let path = risk_until(hypotheses, limits, |risk| risk > LATE, negligible);
        let days = times.iter().take(path.on.len()).map(|time| time.since(now).0).collect();
        Self { now, reach, days, on: path.on, within: path.within }
    }

    /// A match that is out for certain, whatever the whites do.
    pub fn certainly_out(reach: Reach, now: Time) -> Self {
        Self { now, reach, days: vec![0.0], on: vec![1.0], within: vec![1.0] }
    }

    /// Probability of being out now.
    pub fn risk_now(&self) -> f64 {
        self.on.first().copied().unwrap_or(1.0)
    }

    /// Probability of being out at any time up to `horizon`, which is a point of the grid.
    pub fn risk_within(&self, horizon: Days) -> f64 {
        let up_to = self.days.iter().zip(&self.within).take_while(|(day, _)| **day <= horizon.0 + 1e-6);
        let last = up_to.last().map_or(1.0, |(_, within)| *within);
        // The path ends where it is out almost surely.
        let reached = self.days.last().is_some_and(|last| *last + 1e-6 >= horizon.0);
        if reached { last } else { last.max(LATE) }
    }

    /// Days until the risk of having been out passes `line`; `None` where it does not as far ahead as may be said. Between two
    /// points of the grid the risk is taken to rise in a straight line.
    pub fn passes(&self, line: f64) -> Option<f64> {
        let place = self.within.iter().position(|risk| *risk > line)?;
        let (after, risk_after) = (*self.days.get(place)?, *self.within.get(place)?);
        let before = place.checked_sub(1);
        let days = match before.and_then(|place| Some((*self.days.get(place)?, *self.within.get(place)?))) {
            Some((before, risk_before)) => {
                let share = (line - risk_before) / (risk_after - risk_before).max(f64::MIN_POSITIVE);
                before + share.clamp(0.0, 1.0) * (after - before)
            }
            None => 0.0,
        };
        (days <= self.reach.farthest()).then_some(days)
    }

    /// Days until the risk passes `line`, or as many as may be looked ahead.
    pub fn keeps(&self, line: f64) -> f64 {
        self.passes(line).unwrap_or(self.reach.farthest())
    }

    /// The first day on which the risk of having been out passes the station's line.
    pub fn risk_date(&self, max_risk: f64) -> Option<RiskDate> {
        let days = self.passes(max_risk)?.ceil();
        Some(RiskDate { date: self.now.plus(Days(days)), guess: self.reach.is_guess(days) })
    }

    /// Until when it is likely to hold.
    pub fn holds(&self) -> Holds {
        let day = |days: f64| self.now.plus(Days(days));
        let (early, middle, late) = (self.passes(EARLY), self.passes(MIDDLE), self.passes(LATE));
        let farthest = self.reach.farthest();
        Holds {
            date: middle.map(|days| day(days.round())),
            early: early.map(|days| day(days.floor())),
            late: late.map(|days| day(days.ceil())),
            farthest: day(farthest.floor()),
            guess: self.reach.is_guess(middle.or(early).unwrap_or(farthest)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn now() -> Time {
        Time::from_micros(1_772_616_600_000_000)
    }

    fn outlook(observed: f64, few: bool, days: &[f64], within: &[f64]) -> Outlook {
        let reach = Reach { observed: Days(observed), few };
        Outlook { now: now(), reach, days: days.to_vec(), on: within.to_vec(), within: within.to_vec() }
    }

    fn ahead(time: Option<Time>) -> Option<f64> {
        time.map(|time| time.since(now()).0)
    }

    #[test]
    fn the_days_of_a_path() {
        let path = outlook(300.0, false, &[0.0, 10.0, 20.0, 120.0], &[0.0, 0.05, 0.25, 0.95]);
        assert_eq!(path.passes(0.05), Some(10.0), "on the line is not past it, and the rise begins there");
        assert_eq!(path.passes(0.15), Some(15.0));
        assert_eq!(path.risk_date(0.2), Some(RiskDate { date: now().plus(Days(18.0)), guess: false }));
        let holds = path.holds();
        assert_eq!((ahead(holds.early), ahead(holds.date), ahead(holds.late)), (Some(12.0), Some(56.0), Some(113.0)));
        assert!(!holds.guess);
        assert_eq!(holds.at_least(), now().plus(Days(12.0)));
        assert!((path.risk_within(Days(20.0)) - 0.25).abs() < 1e-12);
        assert!(path.risk_within(Days(200.0)) >= 0.95, "where the path ends it is out almost surely");
    }

    #[test]
    fn no_day_beyond_what_may_be_said() {
        // Ten days of readings reach sixty days ahead, and no further.
        let path = outlook(10.0, false, &[0.0, 50.0, 100.0], &[0.0, 0.15, 0.3]);
        assert_eq!(path.risk_date(0.2), None);
        let holds = path.holds();
        assert_eq!((ahead(holds.early), ahead(holds.date), ahead(holds.late)), (Some(33.0), None, None));
        assert!(holds.guess, "33 days from ten");
        let never = outlook(400.0, false, &[0.0, 1500.0], &[0.0, 0.01]).holds();
        assert_eq!((never.early, ahead(Some(never.at_least()))), (None, Some(1500.0)));
    }

    #[test]
    fn what_is_called_a_guess() {
        let guess = |observed, few, day: f64| {
            outlook(observed, few, &[0.0, day - 1.0, day], &[0.0, 0.0, 0.4]).risk_date(0.2).map(|date| date.guess)
        };
        assert_eq!(guess(400.0, false, 170.0), Some(false));
        assert_eq!(guess(400.0, false, 190.0), Some(true), "beyond 180 days");
        assert_eq!(guess(100.0, false, 110.0), Some(true), "beyond what the readings span");
        assert_eq!(guess(400.0, true, 20.0), Some(true), "from few readings");
        let today = outlook(400.0, true, &[0.0], &[0.6]).risk_date(0.2);
        assert_eq!(today, Some(RiskDate { date: now(), guess: false }), "what is so now is no guess");
    }
}
