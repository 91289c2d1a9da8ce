//! A device's burning hours for people: how many it has now, how many a day, and when it will have so many.
//!
//! The same belief about use as in `ageing`: `ρ` hours a day learnt over `D` days, and over `n` days a variance of
//! `ρ²·¼·7·(n + n²/(5 + D))`. The days until `R` hours more are burnt lie with 90 % between the two roots of
//! `(R/ρ − n)² = z²·¼·7·(n + n²/(5 + D))`, `z` = 1.645.

use super::ageing::{PRIOR_DAYS, SCATTER};
use super::device::DeviceState;
use super::priors::HOURS_PER_DAY;
use crate::units::{Days, Time};

/// What is known of the use of a place whose devices report hours.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HoursInUse {
    /// The instant of the last record.
    pub at: Time,
    /// The counter at that instant, read or carried on; absent where the device that now stands there reported none.
    pub counter: Option<f64>,
    /// The counter when that device was put in place: 0 unless it ran on from its predecessor's.
    pub began_at: f64,
    /// Hours a day, learnt over all that stood in this place.
    pub per_day: f64,
    /// Days over which hours were counted.
    pub counted: Days,
}

/// When a count of hours is reached.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reached {
    /// Most likely.
    pub date: Time,
    /// The earliest and latest it may be, with 90 %.
    pub likely: (Time, Time),
}

impl DeviceState {
    /// Hours of use; `None` where hours were never reported in this place.
    pub fn hours_in_use(&self) -> Option<HoursInUse> {
        let time = self.time.filter(|_| self.ageing.counted())?;
        Some(HoursInUse {
            at: time,
            counter: self.ageing.counter,
            began_at: self.ageing.began_at,
            per_day: self.ageing.rate() * HOURS_PER_DAY,
            counted: Days(self.ageing.seen.1),
        })
    }
}

impl HoursInUse {
    /// Standard deviation of the hours a day.
    pub fn per_day_sd(&self) -> f64 {
        self.per_day * libm::sqrt(SCATTER / (PRIOR_DAYS + self.counted.0))
    }

    /// The counter at `when`, if use goes on as learnt.
    pub fn counter_at(&self, when: Time) -> Option<f64> {
        Some(self.counter? + self.per_day * when.since(self.at).0.max(0.0))
    }

    /// Hours that the device itself has burnt by `when`.
    pub fn burnt(&self, when: Time) -> Option<f64> {
        Some((self.counter_at(when)? - self.began_at).max(0.0))
    }

    /// When it will have burnt `hours`; its last record where it has by then.
    pub fn reaches(&self, hours: f64) -> Option<Reached> {
        let days = ((hours - self.burnt(self.at)?) / self.per_day).max(0.0);
        let doubt = 1.645 * 1.645 * SCATTER;
        let square = 1.0 - doubt / (PRIOR_DAYS + self.counted.0);
        let half = days + doubt / 2.0;
        let root = (half * half - square * days * days).max(0.0).sqrt();
        let after = |days: f64| self.at.plus(Days(days));
        let early = if days > 0.0 { days * days / (half + root) } else { 0.0 };
        let late = if days > 0.0 { (half + root) / square } else { 0.0 };
        Some(Reached { date: after(days), likely: (after(early), after(late)) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hours_are_reached_within_their_range() {
        let at = Time::parse("2026-03-02T00:00:00Z").unwrap();
        let used = HoursInUse { at, counter: Some(9000.0), began_at: 0.0, per_day: 10.0, counted: Days(95.0) };
        assert_eq!(used.burnt(at.plus(Days(5.0))), Some(9050.0));
        let reached = used.reaches(10_000.0).unwrap();
        assert_eq!(reached.date, at.plus(Days(100.0)));
        // The ends by the equation itself: (100 − n)² = 1.645²·1.75·(n + n²/100).
        for end in [reached.likely.0, reached.likely.1] {
            let n = end.since(at).0;
            let (left, right) = ((100.0 - n).powi(2), 1.645_f64.powi(2) * 1.75 * (n + n * n / 100.0));
            assert!((left - right).abs() < 1e-6 * left, "{n}: {left} {right}");
        }
        assert!(reached.likely.0 < reached.date && reached.date < reached.likely.1);
        let short = HoursInUse { counted: Days(0.0), ..used }.reaches(10_000.0).unwrap();
        assert!(short.likely.1 > reached.likely.1, "little is known of its use");
        assert_eq!(used.reaches(500.0), Some(Reached { date: at, likely: (at, at) }));
        // What its predecessor burnt is not its own.
        let ran_on = HoursInUse { counter: Some(11_000.0), began_at: 2000.0, ..used };
        assert_eq!((ran_on.burnt(at), ran_on.reaches(10_000.0)), (Some(9000.0), Some(reached)));
        assert_eq!(HoursInUse { counter: None, ..used }.reaches(10_000.0), None);
    }
}
