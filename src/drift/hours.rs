//! A device's burning hours for people: how many it has now, how many a day, and when it will have so many.
//!
//! The same belief about use as in `ageing`: `ρ` hours a day learnt over `D` days, and over `n` days a variance of
//! `ρ²·¼·7·(n + n²/(5 + D))`. The days until `R` hours more are burnt lie with 90 % between the two roots of
//! `(R/ρ − n)² = z²·¼·7·(n + n²/(5 + D))`, `z` = 1.645.

use super::ageing::{PRIOR_DAYS, SCATTER};
use super::device::DeviceState;
use super::priors::HOURS_PER_DAY;
use crate::units::{Days, Time};

/// What is known of the use of a device whose hours were reported.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HoursInUse {
    /// The instant of the last record.
    pub at: Time,
    /// Hours at that instant, read or carried on.
    pub counter: f64,
    /// Hours a day as learnt.
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
    /// Hours of use, where the device in its place has reported any.
    pub fn hours_in_use(&self) -> Option<HoursInUse> {
        Some(HoursInUse {
            at: self.time?,
            counter: self.ageing.counter?,
            per_day: self.ageing.rate() * HOURS_PER_DAY,
            counted: Days(self.ageing.seen.1),
        })
    }
}

impl HoursInUse {
    /// Hours at `when`, if use goes on as learnt.
    pub fn hours(&self, when: Time) -> f64 {
        self.counter + self.per_day * when.since(self.at).0.max(0.0)
    }

    /// When it will have burnt `hours`; its last record where it has by then.
    pub fn reaches(&self, hours: f64) -> Reached {
        let days = ((hours - self.counter) / self.per_day).max(0.0);
        let doubt = 1.645 * 1.645 * SCATTER;
        let square = 1.0 - doubt / (PRIOR_DAYS + self.counted.0);
        let half = days + doubt / 2.0;
        let root = (half * half - square * days * days).max(0.0).sqrt();
        let after = |days: f64| self.at.plus(Days(days));
        let early = if days > 0.0 { days * days / (half + root) } else { 0.0 };
        let late = if days > 0.0 { (half + root) / square } else { 0.0 };
        Reached { date: after(days), likely: (after(early), after(late)) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hours_are_reached_within_their_range() {
        let at = Time::parse("2026-03-02T00:00:00Z").unwrap();
        let used = HoursInUse { at, counter: 9000.0, per_day: 10.0, counted: Days(95.0) };
        assert_eq!(used.hours(at.plus(Days(5.0))), 9050.0);
        let reached = used.reaches(10_000.0);
        assert_eq!(reached.date, at.plus(Days(100.0)));
        // The ends by the equation itself: (100 − n)² = 1.645²·1.75·(n + n²/100).
        for end in [reached.likely.0, reached.likely.1] {
            let n = end.since(at).0;
            let (left, right) = ((100.0 - n).powi(2), 1.645_f64.powi(2) * 1.75 * (n + n * n / 100.0));
            assert!((left - right).abs() < 1e-6 * left, "{n}: {left} {right}");
        }
        assert!(reached.likely.0 < reached.date && reached.date < reached.likely.1);
        let short = HoursInUse { counted: Days(0.0), ..used }.reaches(10_000.0);
        assert!(short.likely.1 > reached.likely.1, "little is known of its use");
        assert_eq!(used.reaches(500.0), Reached { date: at, likely: (at, at) });
    }
}
