//! Foreign light: its share on the print and its pull on the white, by hours of the day. Pure.
//!
//! Readings with the lamp off tell what else falls on the print (daylight, a ceiling lamp) or on the face of the screen. With
//! E the illuminances, and the two lights added as tristimulus values weighted by them:
//!
//! ```text
//! share = E foreign / (E foreign + E lamp)        pull = u'v' of the sum - u'v' of the lamp
//! ```
//!
//! Foreign light comes and goes with the hour, so it is gathered in [`HOURS`]-hour stretches of the local day; of several
//! readings in one stretch the mean counts.
//!
//! It is a reason in the verdict and not a part of the risk: a few readings tell that a window is there, not how bright it is at
//! the minute when a print is judged, and a probability made of that would be a guess. Nor does it excuse anything: the match
//! is judged as if the room were dark, which it should be.

use crate::color::{Move, delta_uv, direction, uv_prime_of_xyz, xyz_of_uv_prime};
use crate::units::{Days, UvPrime, Xyz};

/// Share of the light before it that a screen's face sends back, about (common practice: 2 to 6 %).
pub const SCREEN_REFLECTANCE: f64 = 0.04;
/// Hours of the day that are taken together.
pub const HOURS: u16 = 3;
/// Readings older than this say nothing of the light of this season.
pub const LOOK_BACK: Days = Days(60.0);
/// No more readings than this are looked at, the newest.
pub const AT_MOST: u32 = 64;

/// A reading of foreign light.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Foreign {
    /// Minutes since midnight, local time.
    pub minute: u16,
    /// Illuminance, lx.
    pub lx: f64,
    /// Its white, where the reading told more than a colour temperature.
    pub white: Option<UvPrime>,
}

/// Foreign light at some hours of the day.
#[derive(Debug, Clone, PartialEq)]
pub struct AtHours {
    /// The first hour, 0 to 21.
    pub from: u16,
    /// The hour at which it ends, up to 24.
    pub to: u16,
    /// How many readings.
    pub readings: usize,
    /// Mean illuminance, lx.
    pub lx: f64,
    /// The white of all of it together, where a reading told it.
    pub white: Option<UvPrime>,
    /// Share of all light, 0 to 1; absent where the lamp's level is not known.
    pub share: Option<f64>,
    /// What it does to the lamp's white, where its own is known.
    pub pull: Option<Pull>,
}

/// How far foreign light pulls a white.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub struct Pull {
    pub delta_uv: f64,
    pub direction: Option<Move>,
}

/// Foreign light at a station.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Ambient {
    /// On the print, by hours; only hours that were read.
    pub print: Vec<AtHours>,
    /// At the face of the screen, by hours; the share is of the light that comes from the face, as [`SCREEN_REFLECTANCE`] has it.
    pub screen: Vec<AtHours>,
}

impl Ambient {
    /// The hours with the largest share on the print.
    pub fn worst(&self) -> Option<&AtHours> {
        let shared = self.print.iter().filter(|hours| hours.share.is_some());
        shared.max_by(|a, b| a.share.unwrap_or(0.0).total_cmp(&b.share.unwrap_or(0.0)))
    }

    /// The brightest hours at the screen.
    pub fn brightest(&self) -> Option<&AtHours> {
        self.screen.iter().max_by(|a, b| a.lx.total_cmp(&b.lx))
    }
}

/// Gathers readings by hours. `lamp` is the light they are foreign to: its illuminance in lx and its white.
pub fn by_hours(readings: &[Foreign], lamp: Option<(f64, UvPrime)>) -> Vec<AtHours> {
    let sound = |reading: &&Foreign| reading.lx >= 0.0 && reading.lx.is_finite();
    (0..24 / HOURS)
        .filter_map(|stretch| {
            let of_it = || readings.iter().filter(sound).filter(|reading| reading.minute / 60 / HOURS == stretch);
            let count = of_it().count();
            if count == 0 {
                return None;
            }
            let lx = of_it().map(|reading| reading.lx).sum::<f64>() / count as f64;
            let lamp = lamp.filter(|(level, _)| *level > 0.0);
            let share = lamp.map(|(level, _)| lx / (lx + level));
            let coloured: Vec<Xyz> =
                of_it().filter_map(|reading| xyz_of_uv_prime(reading.white?, reading.lx).ok()).collect();
            let sum = sum(&coloured);
            let white = sum.and_then(|sum| uv_prime_of_xyz(sum).ok());
            let pull = lamp.zip(sum).and_then(|((level, white), foreign)| pull(white, level, foreign, lx));
            Some(AtHours { from: stretch * HOURS, to: (stretch + 1) * HOURS, readings: count, lx, white, share, pull })
        })
        .collect()
}

/// The pull of `foreign` light, brought to `lx`, on a lamp.
fn pull(lamp: UvPrime, lamp_lx: f64, foreign: Xyz, lx: f64) -> Option<Pull> {
    let own = xyz_of_uv_prime(lamp, lamp_lx).ok()?;
    let factor = if foreign.y > 0.0 { lx / foreign.y } else { 0.0 };
    let both = Xyz { x: own.x + factor * foreign.x, y: own.y + factor * foreign.y, z: own.z + factor * foreign.z };
    let mixed = uv_prime_of_xyz(both).ok()?;
    Some(Pull { delta_uv: delta_uv(lamp, mixed), direction: direction(lamp, mixed) })
}

fn sum(lights: &[Xyz]) -> Option<Xyz> {
    let add = |a: Xyz, b: &Xyz| Xyz { x: a.x + b.x, y: a.y + b.y, z: a.z + b.z };
    (!lights.is_empty()).then(|| lights.iter().fold(Xyz { x: 0.0, y: 0.0, z: 0.0 }, add))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::color::{Illuminant, uv_prime};
    use crate::units::Xy;
    use proptest::prelude::*;

    fn d50() -> UvPrime {
        uv_prime(Illuminant::D50.xy()).unwrap()
    }

    fn sky() -> UvPrime {
        uv_prime(Xy { x: 0.28, y: 0.295 }).unwrap()
    }

    fn lamp(lx: f64) -> Option<(f64, UvPrime)> {
        Some((lx, d50()))
    }

    fn at(hour: u16, lx: f64) -> Foreign {
        Foreign { minute: hour * 60 + 30, lx, white: Some(sky()) }
    }

    #[test]
    fn share_and_pull_by_hours() {
        let readings = [at(8, 10.0), at(14, 80.0), at(13, 40.0), at(23, 0.0)];
        let print = by_hours(&readings, lamp(500.0));
        let hours: Vec<_> = print.iter().map(|hours| (hours.from, hours.to, hours.readings)).collect();
        assert_eq!(hours, [(6, 9, 1), (12, 15, 2), (21, 24, 1)]);
        let ambient = Ambient { print, screen: by_hours(&readings, None) };
        let worst = ambient.worst().unwrap();
        assert!((worst.share.unwrap() - 60.0 / 560.0).abs() < 1e-12 && worst.from == 12);
        let pull = worst.pull.unwrap();
        assert!((0.002..0.008).contains(&pull.delta_uv), "{pull:?}");
        assert!(pull.direction.unwrap().to_string().starts_with("bluer"), "{pull:?}");
        assert!(ambient.print[2].pull.unwrap().delta_uv < 1e-12, "no light pulls at nothing");
        let brightest = ambient.brightest().unwrap();
        assert!(delta_uv(brightest.white.unwrap(), sky()) < 1e-12 && ambient.screen[2].white.is_none());
        assert_eq!((brightest.from, brightest.lx, brightest.share), (12, 60.0, None));
    }

    #[test]
    fn what_is_not_known_is_not_said() {
        let dull = Foreign { white: None, ..at(10, 50.0) };
        let print = by_hours(&[dull], lamp(500.0));
        assert!(print[0].share.is_some() && print[0].pull.is_none());
        assert_eq!(by_hours(&[at(10, f64::NAN)], lamp(500.0)), []);
        assert_eq!(by_hours(&[at(10, 50.0)], lamp(0.0))[0].share, None);
        assert_eq!(Ambient::default().worst(), None);
    }

    proptest! {
        #[test]
        fn the_mix_lies_between_and_nearer_with_less(lx in 0.1f64..1000.0, more in 1.01f64..10.0, own in 1.0f64..3000.0) {
            let of = |lx: f64| by_hours(&[at(10, lx)], lamp(own)).remove(0);
            let (less, more) = (of(lx), of(lx * more));
            prop_assert!(less.share < more.share && more.share < Some(1.0));
            let (near, far) = (less.pull.unwrap().delta_uv, more.pull.unwrap().delta_uv);
            prop_assert!(near < far && far < delta_uv(d50(), sky()));
        }

        #[test]
        fn no_numbers_make_it_panic(minute in any::<u16>(), lx in any::<f64>(), u in any::<f64>(), v in any::<f64>()) {
            let odd = Foreign { minute, lx, white: Some(UvPrime { u, v }) };
            for hours in by_hours(&[odd], Some((lx, UvPrime { u: v, v: u }))) {
                prop_assert!(hours.share.is_none_or(|share| (0.0..=1.0).contains(&share)));
            }
        }
    }
}
