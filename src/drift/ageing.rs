//! The two clocks of a device: the calendar, and its burning hours where it reports them.
//!
//! Slopes are per day of [`HOURS_PER_DAY`] burning hours. Where a device has reported hours, the ageing between two
//! readings is the difference of its counter; ahead of the last one it is the calendar's days times the learnt hours
//! per day `ρ = (8·5 + H)/(5 + D)` (`H` hours seen in `D` days, five days of prior use). Use scatters by about half
//! from week to week, so over `n` days the ageing has variance `(ρ/8)²·¼·7·(n + n²/(5 + D))` days². Where none were
//! reported, a day is a day.

use super::priors::HOURS_PER_DAY;
use crate::units::Time;

/// Days of use at [`HOURS_PER_DAY`] that stand for what is believed before the first count.
pub(super) const PRIOR_DAYS: f64 = 5.0;
/// Variance of use from week to week as a share of its square, times the week's seven days.
pub(super) const SCATTER: f64 = 0.25 * 7.0;
/// A count may fall by this much, hours, before it is a finding: counters are read with rounding.
pub const FALL_ALLOWED: f64 = 1.0;

/// What is known of a device's hours.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Ageing {
    /// The counter as it stands at the instant of the filters, read or carried on.
    pub(super) counter: Option<f64>,
    /// Highest count read since the device was new in its place, and when.
    pub(super) last: Option<(Time, f64)>,
    /// Hours and days between counts, over all that stood in this place.
    pub(super) seen: (f64, f64),
    /// Where the counter stood when the present thing was put in place: 0 unless it ran on from its predecessor's.
    pub(super) began_at: f64,
}

impl Ageing {
    /// The count before, if `hours` would be a fall.
    pub fn falls(&self, hours: f64) -> Option<f64> {
        self.last.map(|(_, before)| before).filter(|before| hours < before - FALL_ALLOWED)
    }

    /// Whether hours were ever reported in this place.
    pub fn counted(&self) -> bool {
        self.counter.is_some() || self.seen.1 > 0.0
    }

    /// Ageing days per calendar day.
    pub fn rate(&self) -> f64 {
        let (hours, days) = self.seen;
        ((HOURS_PER_DAY * PRIOR_DAYS + hours) / (PRIOR_DAYS + days)).clamp(0.01, 24.0) / HOURS_PER_DAY
    }

    /// Ageing days from the filters' instant over `days` of the calendar, at whose end the counter may have been read.
    pub fn days(&self, days: f64, hours: Option<f64>) -> f64 {
        match (self.counter, hours) {
            // No counter runs faster than the calendar; half a day for when it was looked at.
            (Some(before), Some(now)) => {
                ((now - before) / HOURS_PER_DAY).clamp(0.0, (days + 0.5) * 24.0 / HOURS_PER_DAY)
            }
            _ if self.counted() => days * self.rate(),
            _ => days,
        }
    }

    /// Covariance of the ageing over `near` and over `far ≥ near` calendar days, days².
    pub fn covariance(&self, near: f64, far: f64) -> f64 {
        if !self.counted() {
            return 0.0;
        }
        let rate = self.rate();
        rate * rate * SCATTER * (near + near * far / (PRIOR_DAYS + self.seen.1))
    }

    /// Notes that `ageing` days have been carried, and the count if one was read.
    pub fn carried(&mut self, ageing: f64, hours: Option<f64>) {
        self.counter = hours.or(self.counter.map(|before| before + ageing * HOURS_PER_DAY));
    }

    /// Notes a count.
    pub fn read(&mut self, time: Time, hours: f64) {
        if self.last.is_none() && hours < self.began_at {
            self.began_at = 0.0;
        }
        if let Some((then, before)) = self.last {
            let days = time.since(then).0.max(0.0);
            self.seen.0 += (hours - before).clamp(0.0, days * 24.0);
            self.seen.1 += days;
        }
        let highest = self.last.map_or(hours, |(_, before)| before.max(hours));
        self.last = Some((time, highest));
    }

    /// The counter may begin anew; the use of the place goes on.
    pub fn begin_anew(&mut self) {
        self.counter = None;
        self.last = None;
    }

    /// A new device stands in the place: its counter begins anew, or runs on from its predecessor's.
    pub fn replaced(&mut self) {
        self.began_at = self.last.map_or(self.began_at, |(_, before)| before);
        self.begin_anew();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Days;

    #[test]
    fn hours_a_day_are_learnt_and_doubted() {
        let start = Time::from_micros(0);
        let mut ageing = Ageing::default();
        assert_eq!(
            (ageing.days(14.0, None), ageing.covariance(14.0, 14.0)),
            (14.0, 0.0),
            "without hours a day is a day"
        );
        for week in 0..=10 {
            let hours = 1000.0 + 84.0 * f64::from(week);
            let days = ageing.days(if week == 0 { 0.0 } else { 7.0 }, Some(hours));
            assert_eq!(days, if week == 0 { 0.0 } else { 10.5 });
            ageing.carried(days, Some(hours));
            ageing.read(start.plus(Days(7.0 * f64::from(week))), hours);
        }
        // (8·5 + 840)/(5 + 70) = 11.733 hours a day.
        assert!((ageing.rate() - 11.733_333_333 / 8.0).abs() < 1e-9);
        assert!(ageing.covariance(14.0, 14.0) > 0.0 && ageing.covariance(14.0, 28.0) < ageing.covariance(28.0, 28.0));
        assert_eq!(ageing.falls(1839.5), None, "rounding");
        assert_eq!(ageing.falls(1800.0), Some(1840.0));
        assert_eq!(ageing.days(1.0, Some(9999.0)), 4.5, "no counter runs faster than the calendar");
        let mut ran_on = ageing;
        ageing.replaced();
        assert_eq!((ageing.falls(3.0), ageing.began_at), (None, 1840.0));
        ageing.read(start.plus(Days(80.0)), 3.0);
        assert_eq!(ageing.began_at, 0.0, "its own counter");
        ran_on.replaced();
        ran_on.read(start.plus(Days(80.0)), 1850.0);
        assert_eq!(ran_on.began_at, 1840.0, "the counter ran on");
    }
}
