//! Whether a light is fit for judging prints at all, from what is known of it. No station, no display: that is for `station`.
//!
//! Two things count: where its white lies, and how it renders colours. Where the limits come from:
//! - White: prints are judged under light from D50 to D65 (ISO 3664:2009 has D50 with radius 0.005 in u′v′, seen in a trade
//!   summary; D65 rooms are common practice). Up to [`WHITE_BEARABLE`] from the nearest daylight a screen can be set to follow;
//!   that figure is our own.
//! - Rendering: Ra 90 and above counts as good, below 80 as poor (common practice). ISO 3664 asks for Ra ≥ 90 and each of R1 to R8 ≥ 80
//!   (from memory). R9, the strong red that skin and print reds rest on, is wanted at 50 or more (common practice).
//!
//! Worked number: a household lamp of 2826 K, Duv +0.0013, lies Δu′v′ 0.061 from D50: unfit by its white alone.

use super::chromaticity::{delta_uv, uv_prime};
use super::illuminant::{D50_K, D65_K, daylight};
use super::words::{Move, direction};
use crate::units::{Kelvin, UvPrime};

/// Distance in u′v′ from the nearest daylight between D50 and D65 up to which a white is right.
pub const WHITE_GOOD: f64 = 0.005;
/// Distance up to which a screen may still be set to follow it.
pub const WHITE_BEARABLE: f64 = 0.012;
/// Ra from which rendering counts as good.
pub const RA_GOOD: f64 = 90.0;
/// Ra below which a lamp is no lamp for judging prints.
pub const RA_LEAST: f64 = 80.0;
/// The least of R1 to R8.
pub const SPECIAL_LEAST: f64 = 80.0;
/// R9 from which reds are honest enough.
pub const R9_GOOD: f64 = 50.0;
/// How far below D50 and above D65 a colour temperature alone may lie: about [`WHITE_BEARABLE`] along the locus.
const COLDER_K: f64 = 400.0;
const HOTTER_K: f64 = 500.0;

/// What is known of a light.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct KnownLight {
    /// Its white; absent where the tint is not known.
    pub white: Option<UvPrime>,
    /// Its colour temperature, where that is all there is.
    pub cct_k: Option<Kelvin>,
    /// General colour rendering index.
    pub ra: Option<f64>,
    /// The least of R1 to R8, with its number.
    pub least_special: Option<(u8, f64)>,
    /// R9.
    pub r9: Option<f64>,
}

/// How fit a light is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fitness {
    /// Nothing speaks against it.
    Fit,
    /// It will do, with the faults that are named.
    WithCare,
    /// Prints should not be judged under it.
    Unfit,
}

/// What speaks against a light, or is not known of it.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub enum Fault {
    /// Its white lies this far from the nearest daylight between D50 and D65; `direction` is from there to it.
    White {
        distance: f64,
        direction: Option<Move>,
    },
    /// Its colour temperature alone is known, and it is none between the usual aims.
    Kelvin {
        cct_k: Kelvin,
    },
    Ra {
        ra: f64,
    },
    /// One of R1 to R8 is low.
    Special {
        number: u8,
        value: f64,
    },
    Red {
        r9: f64,
    },
    TintUnknown,
    RenderingUnknown,
}

/// A fault and how much it weighs.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub struct Finding {
    pub fault: Fault,
    pub weight: Fitness,
}

/// How fit a light is and what speaks against it, the weightiest first.
pub fn fitness(light: &KnownLight) -> (Fitness, Vec<Finding>) {
    let mut found = Vec::new();
    let mut add = |fault, weight| found.push(Finding { fault, weight });
    match (light.white, light.cct_k) {
        (Some(white), _) => {
            let (nearest, distance) = nearest_daylight(white);
            if distance > WHITE_GOOD {
                let weight = if distance > WHITE_BEARABLE { Fitness::Unfit } else { Fitness::WithCare };
                add(Fault::White { distance, direction: direction(nearest, white) }, weight);
            }
        }
        (None, cct_k) => {
            if let Some(cct_k) = cct_k.filter(|k| !(D50_K - COLDER_K..=D65_K + HOTTER_K).contains(&k.get())) {
                add(Fault::Kelvin { cct_k }, Fitness::Unfit);
            }
            add(Fault::TintUnknown, Fitness::WithCare);
        }
    }
    match light.ra {
        None => add(Fault::RenderingUnknown, Fitness::WithCare),
        Some(ra) if ra < RA_LEAST => add(Fault::Ra { ra }, Fitness::Unfit),
        Some(ra) if ra < RA_GOOD => add(Fault::Ra { ra }, Fitness::WithCare),
        Some(_) => {}
    }
    if let Some((number, value)) = light.least_special.filter(|(_, value)| *value < SPECIAL_LEAST) {
        add(Fault::Special { number, value }, Fitness::WithCare);
    }
    if let Some(r9) = light.r9.filter(|r9| *r9 < R9_GOOD) {
        add(Fault::Red { r9 }, Fitness::WithCare);
    }
    found.sort_by_key(|finding| std::cmp::Reverse(finding.weight));
    (found.first().map_or(Fitness::Fit, |finding| finding.weight), found)
}

/// The daylight from D50 to D65 that lies nearest to a white, and how far that is in u′v′.
pub fn nearest_daylight(white: UvPrime) -> (UvPrime, f64) {
    /// Steps of equal reciprocal temperature; 64 of them are 0.0002 apart in u′v′.
    const STEPS: u32 = 64;
    let (cold, hot) = (1e6 / D50_K, 1e6 / D65_K);
    let at = |step: u32| {
        let mired = cold + (hot - cold) * f64::from(step) / f64::from(STEPS);
        let on_locus = Kelvin::new(1e6 / mired).ok().and_then(daylight)?;
        uv_prime(on_locus).ok()
    };
    let all = (0..=STEPS).filter_map(at).map(|on_locus| (on_locus, delta_uv(on_locus, white)));
    all.min_by(|a, b| a.1.total_cmp(&b.1)).unwrap_or((white, 0.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::color::{CctDuv, uv_of_cct_duv};
    use crate::units::Duv;

    fn white(cct: f64, duv: f64) -> Option<UvPrime> {
        uv_of_cct_duv(CctDuv { cct_k: Kelvin::new(cct).unwrap(), duv: Duv::new(duv).unwrap() }).ok()
    }

    fn light(cct: f64, duv: f64, ra: f64, r9: f64) -> KnownLight {
        KnownLight { white: white(cct, duv), ra: Some(ra), r9: Some(r9), ..KnownLight::default() }
    }

    #[test]
    fn daylight_with_honest_colours_is_fit() {
        for cct in [5003.0, 5500.0, 6000.0, 6504.0] {
            assert_eq!(fitness(&light(cct, 0.003, 96.0, 90.0)), (Fitness::Fit, vec![]), "{cct}");
        }
        // Common practice: 90 and above counts as good.
        assert_eq!(fitness(&light(5003.0, 0.003, 90.0, 60.0)).0, Fitness::Fit);
        assert_eq!(fitness(&light(5003.0, 0.003, 89.9, 60.0)).0, Fitness::WithCare);
    }

    #[test]
    fn a_household_lamp_is_unfit_by_its_white() {
        let (fit, found) = fitness(&light(2826.0, 0.0013, 97.0, 80.0));
        assert_eq!(fit, Fitness::Unfit);
        let Fault::White { distance, direction } = found[0].fault else { panic!("{found:?}") };
        assert!((distance - 0.061).abs() < 0.001, "{distance}");
        assert!(direction.unwrap().to_string().contains("yellower"), "{direction:?}");
    }

    #[test]
    fn equal_kelvin_and_another_tint_are_told_apart() {
        assert_eq!(fitness(&light(5003.0, 0.003, 95.0, 80.0)).0, Fitness::Fit);
        let (fit, found) = fitness(&light(5003.0, -0.009, 95.0, 80.0));
        assert_eq!(fit, Fitness::Unfit);
        let Fault::White { direction, .. } = found[0].fault else { panic!("{found:?}") };
        assert!(direction.unwrap().to_string().contains("more magenta"));
    }

    #[test]
    fn what_is_not_known_is_said_and_weighs() {
        let label = KnownLight { cct_k: Kelvin::new(5000.0).ok(), ..KnownLight::default() };
        let (fit, found) = fitness(&label);
        assert_eq!(fit, Fitness::WithCare);
        assert!(found.iter().any(|f| f.fault == Fault::TintUnknown));
        assert!(found.iter().any(|f| f.fault == Fault::RenderingUnknown));
        let warm = KnownLight { cct_k: Kelvin::new(3000.0).ok(), ra: Some(97.0), ..KnownLight::default() };
        assert_eq!(fitness(&warm).0, Fitness::Unfit);
    }
}
