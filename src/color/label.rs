//! The white that a lamp's label promises, with the spread that the trade allows for it.
//!
//! ANSI C78.377 gives white lamps nominal colour temperatures, each with a quadrangle in chromaticity: a tolerance in CCT
//! and, in Duv, ±0.006 about a target that follows the Planckian locus below 2870 K and bends towards daylight above:
//!
//! ```text
//! Duv(T) = 57700 (1/T)^2 - 44.6 (1/T) + 0.00854       T >= 2870 K, else 0
//! flexible nominal T, every 100 K:  T +- (0.0000108 T^2 + 0.0262 T + 8)
//! ```
//!
//! All of it, the table included, is [from memory, check your copy]. A lamp lies anywhere in its quadrangle with equal right:
//! the half-width over √3 is its standard uncertainty (JCGM 100 clause 4.3.7). What does not live here: how the model holds a
//! label against readings (`drift`).

use super::chromaticity::UvSpread;
use super::temperature::{CctDuv, cct_duv, planckian_point, uv_of_cct_duv};
use super::white::{Impossible, Tint, WhitePoint, white_point};
use crate::reading::{ColourSet, Source};
use crate::units::{Duv, Kelvin};

/// Nominal temperature, centre and half-width in kelvin.
const CATEGORIES: [(f64, f64, f64); 10] = [
    (2200.0, 2238.0, 102.0),
    (2500.0, 2460.0, 120.0),
    (2700.0, 2725.0, 145.0),
    (3000.0, 3045.0, 175.0),
    (3500.0, 3465.0, 245.0),
    (4000.0, 3985.0, 275.0),
    (4500.0, 4503.0, 243.0),
    (5000.0, 5029.0, 283.0),
    (5700.0, 5667.0, 355.0),
    (6500.0, 6532.0, 510.0),
];
/// Half-width in Duv.
const TINT_HALF_WIDTH: f64 = 0.006;
/// Standard uncertainty of u′ and of v′ for a label whose colour has no colour temperature: about that of a quadrangle.
const UNNAMED_SD: f64 = 0.004;

/// The white that a reading stands for: as measured, or as its label says.
pub fn white_as_given(colour: &ColourSet, source: Source) -> Result<WhitePoint, Impossible> {
    match source {
        Source::Measured => white_point(colour),
        Source::Label => label_white(colour),
    }
}

/// The white that a label's colour stands for. A colour temperature alone is a nominal value; coordinates stand as printed, with the
/// spread that their colour temperature allows.
pub fn label_white(colour: &ColourSet) -> Result<WhitePoint, Impossible> {
    let nominal_white = |uv, spread| WhitePoint { uv, spread, tint: Tint::Nominal };
    if let ColourSet::Cct { cct_k } = *colour {
        let (kelvin, half_width) = nominal(cct_k.get());
        if let (Ok(cct_k), Ok(duv)) = (Kelvin::new(kelvin), Duv::new(target(kelvin))) {
            let at = CctDuv { cct_k, duv };
            return Ok(nominal_white(uv_of_cct_duv(at)?, spread(at, half_width)));
        }
    }
    let uv = white_point(colour)?.uv;
    let spread = match cct_duv(uv) {
        Ok(at) => spread(at, nominal(at.cct_k.get()).1),
        Err(_) => UvSpread::round(UNNAMED_SD),
    };
    Ok(nominal_white(uv, spread))
}

/// Centre and half-width in kelvin of a nominal colour temperature.
fn nominal(kelvin: f64) -> (f64, f64) {
    let category = CATEGORIES.iter().find(|(nominal, ..)| *nominal == kelvin);
    let flexible = (kelvin, (0.000_010_8 * kelvin + 0.0262) * kelvin + 8.0);
    category.map_or(flexible, |(_, centre, half_width)| (*centre, *half_width))
}

/// The tint that a lamp of this temperature should have.
fn target(kelvin: f64) -> f64 {
    let mirek = 1.0 / kelvin;
    if kelvin < 2870.0 { 0.0 } else { (57_700.0 * mirek - 44.6) * mirek + 0.008_54 }
}

/// Rectangular along the locus (± `half_width` kelvin) and across it.
fn spread(at: CctDuv, half_width: f64) -> UvSpread {
    let root = libm::sqrt(3.0);
    let (nu, nv) = planckian_point(at.cct_k).across();
    let tint = TINT_HALF_WIDTH / root;
    // Duv is measured in CIE 1960, where v is two thirds of v′.
    let across = UvSpread::along(tint * nu, tint * nv * 1.5);
    let end = |sign: f64| {
        let cct_k = Kelvin::new(at.cct_k.get() + sign * half_width / root).unwrap_or(at.cct_k);
        uv_of_cct_duv(CctDuv { cct_k, duv: at.duv })
    };
    match (end(1.0), end(-1.0)) {
        (Ok(hot), Ok(cold)) => across.plus(UvSpread::along((hot.u - cold.u) / 2.0, (hot.v - cold.v) / 2.0)),
        _ => UvSpread::round(UNNAMED_SD),
    }
}

#[cfg(test)]
mod tests {
    use super::super::chromaticity::{delta_uv, uv_prime};
    use super::super::illuminant::daylight;
    use super::*;
    use crate::units::Xy;
    use proptest::prelude::*;

    fn of(kelvin: f64) -> WhitePoint {
        label_white(&ColourSet::Cct { cct_k: Kelvin::new(kelvin).unwrap() }).unwrap()
    }

    #[test]
    fn a_nominal_value_stands_for_the_middle_of_its_quadrangle() {
        for (nominal, centre, duv) in [(2700.0, 2725.0, 0.0), (3000.0, 3045.0, 0.00012), (5000.0, 5029.0, 0.00195)] {
            let t = cct_duv(of(nominal).uv).unwrap();
            assert!((t.cct_k.get() - centre).abs() < 0.1, "{nominal}: {t:?}");
            assert!((t.duv.get() - duv).abs() < 1e-5, "{nominal}: {t:?}");
        }
        assert!((cct_duv(of(5300.0).uv).unwrap().cct_k.get() - 5300.0).abs() < 0.1, "a flexible one is its own middle");
        assert!((nominal(5300.0).1 - 450.232).abs() < 1e-9);
        // Above 5000 K the target follows daylight to a tenth of its tolerance.
        let daylight = uv_prime(daylight(Kelvin::new(6532.0).unwrap()).unwrap()).unwrap();
        assert!(delta_uv(of(6500.0).uv, daylight) < 0.0006);
    }

    #[test]
    fn its_spread_is_that_of_a_rectangle() {
        // At 5029 K: 283 K are 11.2 mired, each 4.6e-4 in u′v′; ±0.006 in Duv lies nearly along v.
        let label = of(5000.0);
        let (u, v) = (label.spread.uu.sqrt(), label.spread.vv.sqrt());
        assert!((0.002..0.005).contains(&u) && (0.003..0.006).contains(&v), "{u} {v}");
        let hot = uv_of_cct_duv(CctDuv { cct_k: Kelvin::new(5312.0).unwrap(), duv: Duv::new(target(5029.0)).unwrap() })
            .unwrap();
        let d = (hot.u - label.uv.u, hot.v - label.uv.v);
        let s = label.spread;
        let det = s.uu * s.vv - s.uv * s.uv;
        let squared = (s.vv * d.0 * d.0 - 2.0 * s.uv * d.0 * d.1 + s.uu * d.1 * d.1) / det;
        // The end of a rectangle lies √3 standard deviations from its middle.
        assert!((squared.sqrt() - 3f64.sqrt()).abs() < 0.1, "{squared}");
    }

    #[test]
    fn printed_coordinates_stand_as_printed() {
        let xy = Xy { x: 0.3457, y: 0.3585 };
        let label = label_white(&ColourSet::Xy(xy)).unwrap();
        assert_eq!(label.uv, uv_prime(xy).unwrap());
        assert!(label.spread.uu > 0.0);
        let green = label_white(&ColourSet::Xy(Xy { x: 0.3, y: 0.6 })).unwrap();
        assert_eq!(green.spread, UvSpread::round(UNNAMED_SD));
        assert!(label_white(&ColourSet::Xy(Xy { x: 0.0, y: 0.0 })).is_err());
    }

    proptest! {
        #[test]
        fn every_label_has_a_white_and_a_spread(kelvin in 1000f64..100_000.0) {
            let label = of(kelvin);
            let s = label.spread;
            prop_assert!(label.uv.u.is_finite() && label.uv.v.is_finite());
            prop_assert!(s.uu > 0.0 && s.vv > 0.0 && s.uu * s.vv >= s.uv * s.uv);
        }
    }
}
