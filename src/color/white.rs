//! The white point of one reading, and the colorimetry that `inspect` shows of it.
//!
//! Coordinates of every set become u′, v′. What no light can be is refused here, with a typed reason; what is merely
//! unlikely is for whoever knows the device.

use super::chromaticity::{Degenerate, UvSpread, inside_locus, uv_prime, uv_prime_of_xyz, xy, xy_of_xyz};
use super::sampled::Sampled;
use super::temperature::{CctDuv, NoTemperature, cct_duv, planckian_point, uv_of_cct_duv};
use crate::reading::ColourSet;
use crate::units::{Duv, Kelvin, UvPrime, Xy, Xyz};

/// Standard uncertainty, in Duv, of a white known only by its colour temperature.
///
/// ANSI C78.377 lets white lamps lie within ±0.006 of their nominal tint (from memory of it; the text was not seen). Of the 40
/// fluorescent, LED and high-pressure illuminants that colour-science 0.4.7 carries the root mean square Duv is 0.0034, the
/// largest 0.0107 (tests/fixtures/colour/paper_spread.py). The first is taken as one standard deviation, on the wide side.
pub const UNKNOWN_TINT_SD: f64 = 0.006;

/// Whether a reading told the tint.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tint {
    /// The coordinates say it.
    Known,
    /// Only a colour temperature was given: taken on the Planckian locus, with [`UNKNOWN_TINT_SD`] across it.
    Unknown,
    /// Printed on a label: the middle of what the trade allows for it (see `label`).
    Nominal,
}

/// The chromaticity of a white.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WhitePoint {
    /// Where it is.
    pub uv: UvPrime,
    /// Variance that comes from the coordinates themselves: zero where the tint is known.
    pub spread: UvSpread,
    /// Whether the reading told the tint; the people who read the result are told when it did not.
    pub tint: Tint,
}

/// Why no light can have such a colour.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum Impossible {
    /// A tristimulus value below zero or not a number.
    #[error(
        "{axis} = {found}: expected a tristimulus value of 0 or more; check the columns, units and the dark reading"
    )]
    Tristimulus {
        /// "X", "Y" or "Z".
        axis: &'static str,
        /// As found.
        found: f64,
    },
    /// X, Y and Z are all zero.
    #[error("X, Y and Z are all 0: expected some light; black has no chromaticity")]
    NoLight,
    /// Y is zero and another is not.
    #[error(
        "Y = 0 with X = {x}, Z = {z}: expected Y above 0, as every light has luminance; check the order of the columns"
    )]
    NoLuminance {
        /// X as found.
        x: f64,
        /// Z as found.
        z: f64,
    },
    /// Outside what light can be.
    #[error(
        "x = {x:.4}, y = {y:.4} lies outside the spectral locus (CIE 1931): expected a colour that light can have; check that the columns are not swapped or another space"
    )]
    OutsideLocus {
        /// x as found or as it follows.
        x: f64,
        /// y as found or as it follows.
        y: f64,
    },
    /// Coordinates that have no counterpart.
    #[error(transparent)]
    Degenerate(#[from] Degenerate),
    /// A colour temperature so far from the locus says nothing.
    #[error(transparent)]
    Temperature(#[from] NoTemperature),
}

/// The white point of a reading's coordinates.
pub fn white_point(colour: &ColourSet) -> Result<WhitePoint, Impossible> {
    let known = |uv| WhitePoint { uv, spread: UvSpread::default(), tint: Tint::Known };
    match *colour {
        ColourSet::Spectrum { ref spectrum } => {
            let sum = Sampled::of(spectrum).tristimulus();
            check_tristimulus(sum)?;
            within_locus(xy_of_xyz(sum)?)?;
            Ok(known(uv_prime_of_xyz(sum)?))
        }
        ColourSet::Xyz(given) => {
            check_tristimulus(given)?;
            within_locus(xy_of_xyz(given)?)?;
            Ok(known(uv_prime_of_xyz(given)?))
        }
        ColourSet::Xy(given) => {
            let uv = uv_prime(given)?;
            within_locus(given)?;
            Ok(known(uv))
        }
        ColourSet::UvPrime(given) => {
            within_locus(xy(given)?)?;
            Ok(known(given))
        }
        ColourSet::CctDuv { cct_k, duv } => {
            let uv = uv_of_cct_duv(CctDuv { cct_k, duv })?;
            within_locus(xy(uv)?)?;
            Ok(known(uv))
        }
        ColourSet::Cct { cct_k } => {
            let foot = planckian_point(cct_k);
            let (nu, nv) = foot.across();
            // Duv is measured in CIE 1960, where v is two thirds of v′.
            let spread = UvSpread::along(UNKNOWN_TINT_SD * nu, UNKNOWN_TINT_SD * nv * 1.5);
            Ok(WhitePoint { uv: UvPrime { u: foot.u, v: foot.v * 1.5 }, spread, tint: Tint::Unknown })
        }
    }
}

fn check_tristimulus(given: Xyz) -> Result<(), Impossible> {
    for (axis, found) in [("X", given.x), ("Y", given.y), ("Z", given.z)] {
        // Also true of what is not a number.
        if !(found >= 0.0 && found.is_finite()) {
            return Err(Impossible::Tristimulus { axis, found });
        }
    }
    match (given.y > 0.0, given.x > 0.0 || given.z > 0.0) {
        (true, _) => Ok(()),
        (false, false) => Err(Impossible::NoLight),
        (false, true) => Err(Impossible::NoLuminance { x: given.x, z: given.z }),
    }
}

fn within_locus(at: Xy) -> Result<(), Impossible> {
    if inside_locus(at) { Ok(()) } else { Err(Impossible::OutsideLocus { x: at.x, y: at.y }) }
}

/// All that is known of a white's colour. What was not given and cannot be known is None.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub struct Colorimetry {
    pub xy: Option<Xy>,
    pub uv: Option<UvPrime>,
    /// None where it means nothing: further than 0.05 from the locus, or beyond 1000 to 100 000 K.
    pub cct_k: Option<Kelvin>,
    pub duv: Option<Duv>,
}

impl Colorimetry {
    /// The colorimetry of a reading's coordinates. Temperature and tint that were given stand as given; with a temperature
    /// alone the chromaticity is not known and stays None.
    pub fn of(colour: &ColourSet) -> Result<Self, Impossible> {
        let white = white_point(colour)?;
        if let ColourSet::Cct { cct_k } = *colour {
            return Ok(Self { xy: None, uv: None, cct_k: Some(cct_k), duv: None });
        }
        let temperature = match *colour {
            ColourSet::CctDuv { cct_k, duv } => Some(CctDuv { cct_k, duv }),
            _ => cct_duv(white.uv).ok(),
        };
        let xy = match *colour {
            ColourSet::Xy(given) => given,
            ColourSet::Xyz(given) => xy_of_xyz(given)?,
            _ => xy(white.uv)?,
        };
        Ok(Self {
            xy: Some(xy),
            uv: Some(white.uv),
            cct_k: temperature.map(|t| t.cct_k),
            duv: temperature.map(|t| t.duv),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::super::chromaticity::delta_uv;
    use super::super::temperature::planckian;
    use super::*;
    use proptest::prelude::*;

    fn kelvin(k: f64) -> Kelvin {
        Kelvin::new(k).unwrap()
    }

    #[test]
    fn every_set_leads_to_the_same_white() {
        let xyz = ColourSet::Xyz(Xyz { x: 95.04, y: 100.0, z: 108.88 });
        let white = white_point(&xyz).unwrap();
        assert_eq!((white.spread, white.tint), (UvSpread::default(), Tint::Known));
        let seen = Colorimetry::of(&xyz).unwrap();
        let (t, duv) = (seen.cct_k.unwrap(), seen.duv.unwrap());
        for set in [
            ColourSet::Xy(seen.xy.unwrap()),
            ColourSet::UvPrime(white.uv),
            ColourSet::CctDuv { cct_k: t, duv },
            ColourSet::Xyz(Xyz { x: 0.9504e-3, y: 1e-3, z: 1.0888e-3 }),
        ] {
            let other = white_point(&set).unwrap();
            assert!(delta_uv(other.uv, white.uv) < 1e-6, "{set:?} {other:?}");
        }
    }

    #[test]
    fn a_temperature_alone_is_wide_across_the_locus_and_exact_along_it() {
        let white = white_point(&ColourSet::Cct { cct_k: kelvin(5000.0) }).unwrap();
        assert_eq!(white.tint, Tint::Unknown);
        assert_eq!(white.uv, planckian(kelvin(5000.0)));
        let UvSpread { uu, uv, vv } = white.spread;
        assert!((uu * vv - uv * uv).abs() < 1e-18, "one direction only");
        let sd_1960 = (uu + vv / 2.25).sqrt();
        assert!((sd_1960 - UNKNOWN_TINT_SD).abs() < 1e-12);
        // One standard deviation towards green is the white with that Duv.
        let green = uv_of_cct_duv(CctDuv { cct_k: kelvin(5000.0), duv: Duv::new(0.006).unwrap() }).unwrap();
        assert!(((green.u - white.uv.u).abs() - uu.sqrt()).abs() < 1e-12);
        assert!(((green.v - white.uv.v).abs() - vv.sqrt()).abs() < 1e-12);
        let seen = Colorimetry::of(&ColourSet::Cct { cct_k: kelvin(5000.0) }).unwrap();
        assert_eq!((seen.xy, seen.uv, seen.cct_k, seen.duv), (None, None, Some(kelvin(5000.0)), None));
    }

    #[test]
    fn impossible_light_is_refused_by_reason() {
        let xyz = |x, y, z| white_point(&ColourSet::Xyz(Xyz { x, y, z })).unwrap_err();
        assert_eq!(xyz(1.0, 1.0, -0.1), Impossible::Tristimulus { axis: "Z", found: -0.1 });
        assert!(matches!(xyz(f64::NAN, 1.0, 1.0), Impossible::Tristimulus { axis: "X", .. }));
        assert!(matches!(xyz(1.0, f64::INFINITY, 1.0), Impossible::Tristimulus { axis: "Y", .. }));
        assert_eq!(xyz(0.0, 0.0, 0.0), Impossible::NoLight);
        assert_eq!(xyz(1.0, 0.0, 2.0), Impossible::NoLuminance { x: 1.0, z: 2.0 });
        assert!(matches!(xyz(0.1, 5.0, 0.1), Impossible::OutsideLocus { .. }));
        let at = |x, y| white_point(&ColourSet::Xy(Xy { x, y })).unwrap_err();
        assert!(matches!(at(0.8, 0.4), Impossible::OutsideLocus { .. }));
        assert!(matches!(at(f64::NAN, 0.3), Impossible::Degenerate(_)));
        assert!(matches!(at(31.27, 32.9), Impossible::OutsideLocus { .. }), "percent for fractions");
        let uv = white_point(&ColourSet::UvPrime(UvPrime { u: 0.1978, v: 0.7 })).unwrap_err();
        assert!(matches!(uv, Impossible::OutsideLocus { .. }));
        let tinted = ColourSet::CctDuv { cct_k: kelvin(5000.0), duv: Duv::new(0.06).unwrap() };
        assert!(matches!(white_point(&tinted), Err(Impossible::Temperature(NoTemperature::TooFar { .. }))));
        let said = xyz(0.1, 5.0, 0.1).to_string();
        assert!(said.contains("outside the spectral locus") && said.contains("swapped"), "{said}");
    }

    #[test]
    fn a_colour_far_from_white_has_no_temperature() {
        let green = Colorimetry::of(&ColourSet::Xy(Xy { x: 0.30, y: 0.60 })).unwrap();
        assert!(green.xy.is_some() && green.cct_k.is_none() && green.duv.is_none());
    }

    proptest! {
        #[test]
        fn no_numbers_make_it_panic(a in any::<f64>(), b in any::<f64>(), c in any::<f64>()) {
            for set in [
                ColourSet::Xyz(Xyz { x: a, y: b, z: c }),
                ColourSet::Xy(Xy { x: a, y: b }),
                ColourSet::UvPrime(UvPrime { u: a, v: b }),
            ] {
                if let Ok(white) = white_point(&set) {
                    prop_assert!(white.uv.u.is_finite() && white.uv.v.is_finite());
                    prop_assert!(Colorimetry::of(&set).is_ok());
                }
            }
        }
    }
}
