//! Lumen maintenance by the arithmetic of IES TM-21-11: an exponential through the end of a long record.
//!
//! Over the window ([`window`]) least squares of `ln φ` on the hours `t` give `φ(t) = B·e^(−αt)`, `B = e^intercept`, `α =
//! −slope`, and the hours at which a share `p` of the first light is left are `ln(B/p)/α`. Nothing is said beyond six times
//! the hours of record; where the light does not fall (`α ≤ 0`) that bound is all there is to say; and where the record itself has passed the share, it is
//! read off the record and not projected.
//!
//! TM-21 is for the mean of twenty and more samples in a laboratory (LM-80). Applied to one lamp read by one meter in a room
//! this is an estimate by the same arithmetic and no TM-21 result; whoever shows it says so. Light output only: colour does not follow
//! one exponential.
//!
//! Worked number: B 1, α 2e-5 per hour: 70 % is left after 17 833.747 h.

/// A record shorter than this, hours, gives no projection (LM-80: at least 6000 h).
pub const LEAST_HOURS: f64 = 6000.0;
/// Up to so many hours of record the window is the last [`WINDOW_HOURS`]; beyond, the last half.
const LONG_HOURS: f64 = 10_000.0;
const WINDOW_HOURS: f64 = 5000.0;
/// LM-80 reads at least each 1000 h; a record with a wider gap in the window gives no projection.
pub const WIDEST_GAP_HOURS: f64 = 1000.0;
/// Nothing is said beyond this many times the hours of record.
pub const FARTHEST_TIMES: f64 = 6.0;

/// The exponential through the window, and the record it rests on.
#[derive(Debug, Clone, PartialEq)]
pub struct Maintenance {
    /// Light at the start as the exponential has it, as a share of the first light.
    pub b: f64,
    /// Decay per hour; not above zero where the light does not fall.
    pub alpha: f64,
    /// Hours of record.
    pub record_hours: f64,
    /// Readings in the window.
    pub points: usize,
    /// The whole record: hours from its start, share of the first light.
    record: Vec<(f64, f64)>,
}

/// The hours at which only a share of the first light is left.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LeftAt {
    /// Passed within the record, at this hour (straight between the two readings).
    Passed(f64),
    /// Projected.
    Projected(f64),
    /// Later than may be said: the bound of six times the record.
    After(f64),
}

/// Why there is no projection.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum NoProjection {
    /// Fewer hours of record than [`LEAST_HOURS`].
    Short {
        /// The hours there are.
        hours: f64,
    },
    /// Readings in the window lie farther apart than [`WIDEST_GAP_HOURS`].
    Gap {
        /// The widest gap.
        hours: f64,
    },
}

/// The first hour of the window: the last 5000 h of a record of 6000 to 10 000 h, the last half of a longer one.
pub fn window(record_hours: f64) -> f64 {
    if record_hours > LONG_HOURS { record_hours / 2.0 } else { record_hours - WINDOW_HOURS }
}

impl Maintenance {
    /// From readings in the order of their hours: hours from the start of the record, and share of the first light (above 0).
    pub fn of(record: &[(f64, f64)]) -> Result<Self, NoProjection> {
        let record: Vec<(f64, f64)> =
            record.iter().copied().filter(|(t, phi)| t.is_finite() && phi.is_finite() && *phi > 0.0).collect();
        let record_hours = record.last().map_or(0.0, |(t, _)| *t);
        if record_hours < LEAST_HOURS {
            return Err(NoProjection::Short { hours: record_hours });
        }
        let first = window(record_hours);
        let used: Vec<(f64, f64)> =
            record.iter().filter(|(t, _)| *t >= first).map(|(t, phi)| (*t, libm::log(*phi))).collect();
        let ends = std::iter::once(first).chain(used.iter().map(|(t, _)| *t));
        let gap = ends.zip(used.iter().map(|(t, _)| *t)).map(|(a, b)| b - a).fold(0.0, f64::max);
        // As many hours as a check leaves for rounding of a counter.
        if gap > WIDEST_GAP_HOURS + 1.0 {
            return Err(NoProjection::Gap { hours: gap });
        }
        let count = used.len() as f64;
        let (t_mean, y_mean) =
            (used.iter().map(|p| p.0).sum::<f64>() / count, used.iter().map(|p| p.1).sum::<f64>() / count);
        let (mut tt, mut ty) = (0.0, 0.0);
        for (t, y) in &used {
            tt += (t - t_mean) * (t - t_mean);
            ty += (t - t_mean) * (y - y_mean);
        }
        let slope = if tt > 0.0 { ty / tt } else { 0.0 };
        let b = libm::exp(y_mean - slope * t_mean);
        Ok(Self { b, alpha: -slope, record_hours, points: used.len(), record })
    }

    /// The hours at which the exponential comes down to `share`, whatever the bound; `None` where it never does.
    pub fn projected(&self, share: f64) -> Option<f64> {
        (self.alpha > 0.0).then(|| libm::log(self.b / share) / self.alpha)
    }

    /// Farther than this many hours nothing is said.
    pub fn bound(&self) -> f64 {
        FARTHEST_TIMES * self.record_hours
    }

    /// The hours at which `share` of the first light is left, as may be said.
    pub fn left_at(&self, share: f64) -> LeftAt {
        let crossing = self.record.windows(2).find_map(|pair| match pair {
            [(t0, a), (t1, b)] if *a > share && *b <= share => Some(t0 + (a - share) / (a - b) * (t1 - t0)),
            _ => None,
        });
        match (crossing, self.projected(share)) {
            // One low reading among high ones is not the lamp: the exponential must bear it out.
            (Some(hours), Some(projected)) if projected <= self.record_hours => LeftAt::Passed(hours),
            (_, Some(hours)) if hours <= self.bound() => LeftAt::Projected(hours.max(self.record_hours)),
            _ => LeftAt::After(self.bound()),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(got: f64, want: f64, within: f64) {
        assert!((got - want).abs() <= within, "{got}, expected {want} ± {within}");
    }

    /// The project's worked example: only the last 5000 h count.
    const WORKED: [f64; 11] = [1.0, 0.9960, 0.9930, 0.9895, 0.9850, 0.9812, 0.9766, 0.9725, 0.9680, 0.9640, 0.9598];

    fn worked() -> Vec<(f64, f64)> {
        WORKED.iter().enumerate().map(|(n, phi)| (1000.0 * n as f64, *phi)).collect()
    }

    #[test]
    fn the_worked_example_to_its_digits() {
        let fit = Maintenance::of(&worked()).unwrap();
        assert_eq!(fit.points, 6);
        near(fit.b, 1.002_845_791_7, 5e-11);
        near(fit.alpha, 4.395_784_973_4e-6, 5e-17);
        for (share, hours) in [(0.7, 81_786.687_983), (0.8, 51_409.544_098), (0.9, 24_615.004_245)] {
            near(fit.projected(share).unwrap(), hours, 5e-7);
        }
        // All eleven points would give 86 361 h.
        assert!((fit.projected(0.7).unwrap() - 86_361.18).abs() > 4000.0);
        assert_eq!(fit.left_at(0.7), LeftAt::After(60_000.0));
        assert!(matches!(fit.left_at(0.9), LeftAt::Projected(hours) if (hours - 24_615.004_245).abs() < 1e-5));
    }

    #[test]
    fn an_exact_exponential_is_met_exactly() {
        let exact: Vec<(f64, f64)> =
            (0..=8).map(|n| 1000.0 * f64::from(n)).map(|t| (t, libm::exp(-2e-5 * t))).collect();
        let fit = Maintenance::of(&exact).unwrap();
        near(fit.b, 1.0, 1e-12);
        near(fit.alpha, 2e-5, 1e-16);
        for (share, hours) in [(0.7, 17_833.747_197), (0.8, 11_157.177_565), (0.9, 5_268.025_783)] {
            near(fit.projected(share).unwrap(), hours, 5e-6);
        }
        // 90 % lies within the record: read off it, straight between 5000 and 6000 h.
        let LeftAt::Passed(hours) = fit.left_at(0.9) else { panic!("{:?}", fit.left_at(0.9)) };
        near(hours, 5268.0, 10.0);
    }

    #[test]
    fn the_window_is_the_last_5000_h_or_the_last_half() {
        assert_eq!(
            [6000.0, 9744.0, 10_000.0, 10_001.0, 18_000.0].map(window),
            [1000.0, 4744.0, 5000.0, 5000.5, 9000.0]
        );
    }

    #[test]
    fn a_lamp_that_does_not_fall_has_only_the_bound() {
        let rising: Vec<(f64, f64)> = (0..=7).map(|n| (1000.0 * f64::from(n), 1.0 + 0.001 * f64::from(n))).collect();
        let fit = Maintenance::of(&rising).unwrap();
        assert!(fit.alpha < 0.0 && fit.projected(0.7).is_none());
        assert_eq!(fit.left_at(0.7), LeftAt::After(42_000.0));
    }

    #[test]
    fn short_and_gappy_records_give_none() {
        assert_eq!(Maintenance::of(&worked()[..6]), Err(NoProjection::Short { hours: 5000.0 }));
        assert_eq!(Maintenance::of(&[]), Err(NoProjection::Short { hours: 0.0 }));
        let gappy: Vec<(f64, f64)> = worked().into_iter().filter(|(t, _)| *t != 7000.0).collect();
        assert_eq!(Maintenance::of(&gappy), Err(NoProjection::Gap { hours: 2000.0 }));
        // Nothing that is no number gets in.
        assert!(Maintenance::of(&[(f64::NAN, 1.0), (7000.0, -1.0)]).is_err());
    }
}
