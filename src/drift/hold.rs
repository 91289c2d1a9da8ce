//! Readings that can be read but look impossible: a level off by just the factor between two units.
//!
//! A level is held only when dividing by the factor brings it close to what is expected. With a history that is the
//! model's mean with its spread; without one the aim, with windows narrow enough that an honestly dim or bright device
//! is not caught: an uncalibrated display may well stand at three times its aim, so foot-lamberts need a near-perfect
//! fit there.

use super::observation::{HeldWhy, SlipFactor};
use super::priors::Thing;

/// What the level was expected to be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Expected {
    /// From earlier readings: mean and sd of ln level, the reading's noise included.
    Read(f64, f64),
    /// From the aim alone.
    Aim(f64),
    /// From earlier readings, but the dimmer was turned since: only a thousand is no setting.
    Turned(f64),
}

/// Whether `ln_level` looks like a slip of units.
pub fn unit_slip(thing: Thing, ln_level: f64, expected: Expected) -> Option<HeldWhy> {
    let foot = match thing {
        Thing::Display => SlipFactor::FootLamberts,
        Thing::Lamp(_) => SlipFactor::FootCandles,
    };
    let (centre, window): (f64, fn(SlipFactor, f64) -> f64) = match expected {
        Expected::Read(mean, _) => (mean, |factor, sd| match factor {
            SlipFactor::FootLamberts => (2.5 * sd).clamp(0.03, 0.08),
            SlipFactor::Ten | SlipFactor::FootCandles => (3.0 * sd).clamp(0.05, 0.2),
            SlipFactor::Thousand => (3.0 * sd).clamp(0.2, 0.7),
        }),
        Expected::Aim(aim) => (aim, |factor, _| match factor {
            SlipFactor::FootLamberts => 0.02,
            SlipFactor::Ten | SlipFactor::FootCandles => 0.15,
            SlipFactor::Thousand => 1.0,
        }),
        Expected::Turned(mean) => (mean, |factor, _| match factor {
            SlipFactor::Thousand => 1.5,
            _ => 0.0,
        }),
    };
    let sd = if let Expected::Read(_, sd) = expected { sd } else { 0.0 };
    let off = ln_level - centre;
    [SlipFactor::Ten, SlipFactor::Thousand, foot]
        .into_iter()
        .map(|factor| (factor, (off.abs() - libm::log(factor.ratio())).abs()))
        .filter(|(factor, miss)| *miss < window(*factor, sd))
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(factor, _)| HeldWhy::UnitSlip { factor, too_high: off > 0.0 })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::LampKind;

    #[test]
    fn slips_are_caught_and_honest_levels_are_not() {
        let lamp = Thing::Lamp(LampKind::Led);
        let aim = 500f64.ln();
        let slip = |thing, level: f64, expected| unit_slip(thing, level.ln(), expected);
        let is = |factor, too_high| Some(HeldWhy::UnitSlip { factor, too_high });
        assert_eq!(slip(lamp, 46.45, Expected::Read(aim, 0.01)), is(SlipFactor::FootCandles, false));
        assert_eq!(slip(lamp, 50.0, Expected::Read(aim, 0.01)), is(SlipFactor::Ten, false));
        assert_eq!(slip(lamp, 0.49, Expected::Read(aim, 0.01)), is(SlipFactor::Thousand, false));
        assert_eq!(slip(lamp, 480_000.0, Expected::Aim(aim)), is(SlipFactor::Thousand, true));
        assert_eq!(slip(Thing::Display, 42.32, Expected::Read(145f64.ln(), 0.01)), is(SlipFactor::FootLamberts, false));
        for honest in [60.0, 90.0, 145.0, 250.0, 400.0, 480.0, 600.0] {
            assert_eq!(slip(Thing::Display, honest, Expected::Aim(145f64.ln())), None, "{honest} cd/m2");
        }
        for honest in [70.0, 200.0, 500.0, 1000.0, 2000.0, 4000.0] {
            assert_eq!(slip(lamp, honest, Expected::Aim(aim)), None, "{honest} lx");
        }
        assert_eq!(slip(lamp, 50.0, Expected::Turned(aim)), None, "a dimmer can be turned down to a tenth");
    }
}
