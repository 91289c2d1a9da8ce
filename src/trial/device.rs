//! What was foretold of one device and what was read then. Pure.

use crate::drift::Record;
use crate::units::{DeviceId, Time};

/// Days ahead.
pub const HORIZONS: [f64; 3] = [30.0, 60.0, 90.0];
/// 90 % of a normal distribution lie within so many standard deviations.
pub const Z90: f64 = 1.645;

/// How the forecasts of one device did.
#[derive(Debug, Clone)]
pub struct DeviceTrial {
    /// The device.
    pub device: DeviceId,
    /// Its first reading that counted.
    pub first: Option<Time>,
    /// When it was touched, turned or jumped, in order.
    pub breaks: Vec<Time>,
    /// Forecasts held against a reading, in order of the horizon and the reading's time.
    pub checks: Vec<Check>,
    /// The record by which the model mends its own spread; u′, v′, ln level.
    pub verified: [Record; 3],
}

/// One forecast and the reading that followed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Check {
    /// Which of [`HORIZONS`].
    pub horizon: usize,
    /// When the reading was made.
    pub read: Time,
    /// u′, v′, ln level, where foretold and read.
    pub channels: [Option<Foretold>; 3],
}

/// A number that was foretold, and what came.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Foretold {
    /// Expected.
    pub mean: f64,
    /// Standard deviation of the reading about it.
    pub sd: f64,
    /// As read.
    pub seen: f64,
    /// As last read when the forecast was asked.
    pub last: f64,
}

/// What can be said of a device's bands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Fewer than [`ENOUGH`] numbers: chance decides.
    TooFew,
    /// As many within the band as there should be, but for chance.
    Held,
    /// Fewer than chance explains.
    TooNarrow,
    /// More than chance explains.
    TooWide,
}

/// Numbers below which nothing is claimed: with 22 of 22 within, the share is above 87 % with 95 % confidence (binomial).
pub const ENOUGH: usize = 22;
/// Normal quantile of a two-sided 99 % band.
const SURE: f64 = 2.576;

impl Foretold {
    /// How far the reading fell from what was expected; 1 is the edge of the 90 % band.
    pub fn band_widths(&self) -> f64 {
        (self.seen - self.mean) / (Z90 * self.sd)
    }
}

impl DeviceTrial {
    /// Of the numbers of one channel at one horizon: how many lay within the 90 % band, of how many.
    pub fn within_band(&self, horizon: usize, channel: usize) -> (usize, usize) {
        let numbers = || self.numbers(channel).filter(|(check, _)| check.horizon == horizon);
        (numbers().filter(|(_, number)| number.band_widths().abs() <= 1.0).count(), numbers().count())
    }

    /// The same over all horizons and channels.
    pub fn within_band_in_all(&self) -> (usize, usize) {
        let all = (0..HORIZONS.len()).flat_map(|horizon| (0..3).map(move |channel| (horizon, channel)));
        all.map(|(horizon, channel)| self.within_band(horizon, channel)).fold((0, 0), |a, b| (a.0 + b.0, a.1 + b.1))
    }

    /// Whether the bands held, by the shortest horizon: its windows do not overlap, so the errors are nearly independent.
    pub fn verdict(&self) -> Verdict {
        let one = (0..3).map(|channel| self.within_band(0, channel)).fold((0, 0), |a, b| (a.0 + b.0, a.1 + b.1));
        let (within, of) = (one.0 as f64, one.1 as f64);
        let chance = SURE * libm::sqrt(of * 0.9 * 0.1);
        if one.1 < ENOUGH {
            Verdict::TooFew
        } else if within < 0.9 * of - chance {
            Verdict::TooNarrow
        } else if within > 0.9 * of + chance {
            Verdict::TooWide
        } else {
            Verdict::Held
        }
    }

    /// Mean distance in u′v′ from what was foretold over that from the last reading.
    pub fn colour_error_against_last(&self) -> Option<f64> {
        let pairs =
            || self.checks.iter().filter_map(|check| check.channels[0].as_ref().zip(check.channels[1].as_ref()));
        let far = |of: fn(&Foretold) -> f64| pairs().map(|(u, v)| of(u).hypot(of(v))).sum::<f64>();
        let (error, plain) = (far(|n| n.seen - n.mean), far(|n| n.seen - n.last));
        (plain > 0.0).then(|| error / plain)
    }

    /// Mean size of the error over that of "it stays as last read", all horizons; `None` with nothing to compare.
    pub fn error_against_last(&self, channel: usize) -> Option<f64> {
        let sum = |of: fn(&Foretold) -> f64| self.numbers(channel).map(|(_, number)| of(number).abs()).sum::<f64>();
        let (error, plain) = (sum(|n| n.seen - n.mean), sum(|n| n.seen - n.last));
        (plain > 0.0).then(|| error / plain)
    }

    /// Every number of one channel.
    pub fn numbers(&self, channel: usize) -> impl Iterator<Item = (&Check, &Foretold)> {
        self.checks.iter().filter_map(move |check| Some((check, check.channels.get(channel)?.as_ref()?)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Forecasts 30 days ahead of one level, `within` of `of` inside the band, each error half that of persistence.
    fn trial(within: usize, of: usize) -> DeviceTrial {
        let check = |k: usize| {
            let error = if k < within { 1.0 } else { 2.0 };
            let level = Foretold { mean: 5.0, sd: 1.0, seen: 5.0 + error, last: 5.0 - error };
            Check { horizon: 0, read: Time::from_micros(k as i64), channels: [None, None, Some(level)] }
        };
        let verified = [Record::default(); 3];
        let device = DeviceId::new("bay-lamp").unwrap();
        DeviceTrial { device, first: None, breaks: Vec::new(), checks: (0..of).map(check).collect(), verified }
    }

    #[test]
    fn only_what_chance_does_not_explain_is_a_fault() {
        assert_eq!(trial(21, 21).verdict(), Verdict::TooFew);
        // 99 % binomial bands: of 200 numbers .845 to .955 (standards: .840 to .950 exactly).
        for (within, of, verdict) in [
            (180, 200, Verdict::Held),
            (170, 200, Verdict::Held),
            (165, 200, Verdict::TooNarrow),
            (192, 200, Verdict::TooWide),
        ] {
            assert_eq!(trial(within, of).verdict(), verdict, "{within} of {of}");
        }
    }

    #[test]
    fn errors_are_held_against_the_last_reading() {
        let trial = trial(3, 4);
        assert_eq!(
            (trial.within_band(0, 2), trial.within_band(1, 2), trial.within_band_in_all()),
            ((3, 4), (0, 0), (3, 4))
        );
        assert_eq!((trial.error_against_last(2), trial.error_against_last(0)), (Some(0.5), None));
        assert_eq!(trial.colour_error_against_last(), None);
        let colour = Foretold { mean: 0.2, sd: 0.001, seen: 0.203, last: 0.2 };
        let other = Foretold { mean: 0.47, sd: 0.001, seen: 0.474, last: 0.474 - 0.0075 };
        let mut both = trial;
        both.checks =
            vec![Check { horizon: 1, read: Time::from_micros(0), channels: [Some(colour), Some(other), None] }];
        let ratio = both.colour_error_against_last().unwrap();
        assert!((ratio - 5.0 / 3f64.hypot(7.5)).abs() < 1e-9, "{ratio}");
    }
}
