//! Papers under lamps: what was sums is recomputed here, what was guessed is held to what it says of itself.

use super::*;
use crate::color::chromaticity::{uv_prime, xyz_of_xy};
use crate::color::illuminant::Illuminant;
use crate::color::temperature::planckian;
use crate::site::Identity;
use crate::units::{DeviceId, Kelvin, ReflectanceCurve, Xy};
use proptest::prelude::*;

fn lab(l: f64, a: f64, b: f64) -> PaperUnderLamp {
    PaperUnderLamp::new(&PaperWhite::Lab { l, a, b }).unwrap()
}

fn d65() -> UvPrime {
    uv_prime(Illuminant::D65.xy()).unwrap()
}

#[test]
fn bradford_as_published() {
    // D65 (.95047 1 1.08883) to D50 (.96422 1 .82521), from colour-science and palette alike.
    let d65: palette::Xyz<palette::white_point::D65, f64> = palette::Xyz::new(0.95047, 1.0, 1.08883);
    let found =
        adaptation_matrix::<f64, palette::white_point::D65, palette::white_point::D50, Bradford>(Some(d65), None);
    let published =
        [1.0478112, 0.0228866, -0.0501270, 0.0295424, 0.9904844, -0.0170491, -0.0092345, 0.0150436, 0.7521316];
    for (f, p) in found.into_array().into_iter().zip(published) {
        assert!((f - p).abs() < 1e-6, "{f} {p}");
    }
}

#[test]
fn neutral_paper_has_the_lamps_white() {
    let exact = PaperUnderLamp::new(&PaperWhite::ReflectanceFactor(0.88)).unwrap();
    let lit = exact.under(d65(), UvSpread::round(0.001)).unwrap();
    assert!(delta_uv(lit.uv, d65()) < 1e-15);
    assert!((lit.reflectance - 0.88).abs() < 1e-15);
    assert!((lit.lamp_spread.uu - 1e-6).abs() < 1e-18 && lit.lamp_spread.uv.abs() < 1e-18);
    // L* 92 is Y 0.8071 (CIE 15: ((L* + 16) / 116)³).
    let lit = lab(92.0, 0.0, 0.0).under(d65(), UvSpread::default()).unwrap();
    assert!(delta_uv(lit.uv, d65()) < 2e-7, "the published inverse of Bradford has seven decimals");
    assert!((lit.reflectance - (108.0f64 / 116.0).powi(3)).abs() < 2e-7);
}

#[test]
fn under_d50_a_paper_is_what_its_lab_says() {
    let d50 = uv_prime_of_xyz(D50_XYZ).unwrap();
    let lit = lab(96.8, 0.6, -1.9).under(d50, UvSpread::default()).unwrap();
    let fy: f64 = 112.8 / 116.0;
    let (x, y, z) = ((fy + 0.6 / 500.0).powi(3) * 0.9642, fy.powi(3), (fy + 1.9 / 200.0).powi(3) * 0.8251);
    let said = uv_prime_of_xyz(crate::units::Xyz { x, y, z }).unwrap();
    assert!(delta_uv(lit.uv, said) < 2e-7);
    assert!((lit.reflectance - y).abs() < 2e-7);
}

#[test]
fn luminance_of_lit_paper() {
    for (e, rho, cd) in [(500.0, 1.0, 159.2), (2000.0, 1.0, 636.6), (500.0, 0.85, 135.3), (625.0, 0.85, 169.1)] {
        let paper = PaperUnderLamp::new(&PaperWhite::ReflectanceFactor(rho)).unwrap();
        let lit = paper.under(d65(), UvSpread::default()).unwrap();
        assert!((lit.luminance(e) - cd).abs() < 0.05, "{e} {rho}");
    }
}

#[test]
fn no_paper_and_no_lamp_are_refused() {
    for (l, a, b) in [(0.0, 0.0, 0.0), (101.0, 0.0, 0.0), (50.0, -400.0, 0.0), (50.0, 0.0, f64::NAN)] {
        assert!(
            matches!(PaperUnderLamp::new(&PaperWhite::Lab { l, a, b }), Err(PaperError::Lab { .. })),
            "{l} {a} {b}"
        );
    }
    for r in [0.0, 1.3, f64::NAN, -0.5] {
        assert!(PaperUnderLamp::new(&PaperWhite::ReflectanceFactor(r)).is_err());
    }
    for (u, v) in [(0.2, 0.0), (f64::NAN, 0.5), (0.2, 0.7), (-0.1, 0.5)] {
        let lit = lab(95.0, 1.0, -4.0).under(UvPrime { u, v }, UvSpread::default());
        assert!(matches!(lit, Err(PaperError::Lamp { .. })), "{u} {v}");
    }
}

#[test]
fn the_estimate_is_less_sure_of_coloured_papers_and_distant_lamps() {
    let sd = |paper: PaperUnderLamp, k| {
        paper.under(planckian(Kelvin::new(k).unwrap()), UvSpread::default()).unwrap().estimate_sd
    };
    let (plain, blue) = (lab(95.0, 0.0, 0.0), lab(95.0, 1.0, -4.0));
    assert!((sd(plain, 2700.0) - NEUTRAL_SD).abs() < 1e-12);
    assert!(sd(blue, 5000.0) > sd(plain, 5000.0));
    assert!(sd(blue, 2700.0) > sd(blue, 4000.0) && sd(blue, 4000.0) > sd(blue, 5000.0));
    // C*ab 4.1 at D50's own chromaticity: 1.2e-4 × 4.123, and the neutral 1e-4.
    let d50 = uv_prime_of_xyz(D50_XYZ).unwrap();
    let at_d50 = blue.under(d50, UvSpread::default()).unwrap().estimate_sd;
    assert!((at_d50 - 5.048e-4).abs() < 1e-7, "{at_d50}");
}

/// A curve every 10 nm from 380 to 730 nm.
fn curve(factor: impl Fn(f64) -> f64) -> PaperWhite {
    let nm: Vec<f64> = (0..36).map(|i| 380.0 + 10.0 * f64::from(i)).collect();
    let factors = nm.iter().map(|nm| factor(*nm)).collect();
    PaperWhite::Curve(ReflectanceCurve::new(&nm, factors).unwrap())
}

fn paper(white: PaperWhite) -> Paper {
    Paper {
        id: DeviceId::new("rag").unwrap(),
        identity: Identity::default(),
        white,
        condition: None,
        brightened: Some(false),
    }
}

/// Three bands, as of a lamp of three colours.
fn three_bands(blue: f64) -> Sampled {
    let band = |nm: f64, at: f64, width: f64| (-0.5 * ((nm - at) / width).powi(2)).exp();
    let values = std::array::from_fn(|i| {
        let nm = 360.0 + i as f64;
        blue * band(nm, 450.0, 12.0) + 0.9 * band(nm, 545.0, 15.0) + band(nm, 610.0, 10.0)
    });
    Sampled { values, first: 20, last: 420 }
}

fn white(lamp: &Sampled) -> UvPrime {
    uv_prime_of_xyz(lamp.tristimulus()).unwrap()
}

/// Yellowed paper: its violet is darker.
fn yellowed(nm: f64) -> f64 {
    0.9 - 0.25 / (1.0 + ((nm - 430.0) / 18.0).exp())
}

#[test]
fn by_curve_and_spectrum_it_is_the_sum_of_both() {
    let lamp = three_bands(1.0);
    let sum = |light: &dyn Fn(usize) -> f64| {
        let mut sum = [0.0; 3];
        for (i, bar) in crate::color::matching_functions().iter().enumerate() {
            for (sum, bar) in sum.iter_mut().zip(bar) {
                *sum += light(i) * bar;
            }
        }
        sum
    };
    let [x, y, z] = sum(&|i| lamp.values[i] * yellowed(360.0 + i as f64));
    let seen = uv_prime_of_xyz(crate::units::Xyz { x, y, z }).unwrap();
    let paper = paper(curve(yellowed));
    let ready = PaperUnderLamp::of(&paper, Some(&lamp)).unwrap();
    let lit = ready.under(white(&lamp), UvSpread::default()).unwrap();
    // The curve stands at 10 nm steps and ends at 380 nm.
    assert!(delta_uv(lit.uv, seen) < 3e-5, "{:?} {seen:?}", lit.uv);
    assert!((lit.reflectance - y / lamp.tristimulus().y).abs() < 1e-4);
    assert!((lit.estimate_sd - CURVE_SD).abs() < 1e-12);
    // Its colour under D50 alone misses that by more, and says so.
    let by_lab = PaperUnderLamp::of(&paper, None).unwrap().under(white(&lamp), UvSpread::default()).unwrap();
    let missed = delta_uv(by_lab.uv, seen);
    assert!(missed > 3e-4 && by_lab.estimate_sd > 3.0 * lit.estimate_sd, "{missed} {}", by_lab.estimate_sd);
    assert!(missed < 3.0 * by_lab.estimate_sd, "{missed} {}", by_lab.estimate_sd);
}

#[test]
fn it_follows_a_lamp_that_moves_and_says_how_well() {
    let (then, now) = (three_bands(1.0), three_bands(1.03));
    let moved = delta_uv(white(&then), white(&now));
    assert!(moved > 0.001, "{moved}");
    let paper = paper(curve(yellowed));
    let at = |spectrum: &Sampled| {
        PaperUnderLamp::of(&paper, Some(spectrum)).unwrap().under(white(&now), UvSpread::default()).unwrap()
    };
    let (followed, fresh) = (at(&then), at(&now));
    assert!(delta_uv(followed.uv, fresh.uv) < 3.0 * followed.estimate_sd, "{followed:?} {fresh:?}");
    assert!(followed.estimate_sd > fresh.estimate_sd);
}

#[test]
fn a_curve_without_a_spectrum_is_its_colour_under_d50() {
    let by_curve = PaperUnderLamp::new(&curve(yellowed)).unwrap();
    let d50 = uv_prime_of_xyz(D50_XYZ).unwrap();
    let lit = by_curve.under(d50, UvSpread::default()).unwrap();
    assert!(lit.uv.v > d50.v && (0.88..0.9).contains(&lit.reflectance), "{lit:?}");
    let grey = PaperUnderLamp::new(&curve(|_| 0.8)).unwrap().under(d65(), UvSpread::default()).unwrap();
    assert!(delta_uv(grey.uv, d65()) < 3e-7 && (grey.reflectance - 0.8).abs() < 1e-6);
}

#[test]
fn a_reading_of_the_lit_paper_stands() {
    let base = lab(95.0, 1.0, -4.0);
    let lamp = d65();
    let read = UvPrime { u: lamp.u + 0.0004, v: lamp.v - 0.0021 };
    let pinned = PaperUnderLamp::as_read(&base, lamp, read, Some(0.86), 0.0007).unwrap();
    let lit = pinned.under(lamp, UvSpread::default()).unwrap();
    assert!(delta_uv(lit.uv, read) < 3e-7 && (lit.reflectance - 0.86).abs() < 1e-6, "{lit:?}");
    assert!((lit.estimate_sd - 0.0007).abs() < 1e-12);
    assert_eq!(lit.brightener, Brightener::NoneKnown);
    // The lamp moves by 0.002 and the paper nearly as much.
    let moved = UvPrime { u: lamp.u + 0.002, v: lamp.v };
    let after = pinned.under(moved, UvSpread::default()).unwrap();
    assert!((after.uv.u - read.u - 0.002).abs() < 1e-4 && (after.uv.v - read.v).abs() < 1e-4, "{after:?}");
    assert!(after.estimate_sd > lit.estimate_sd);
    let unread = PaperUnderLamp::as_read(&base, lamp, read, None, 0.0007).unwrap();
    let level = |paper: &PaperUnderLamp| paper.under(lamp, UvSpread::default()).unwrap().reflectance;
    assert!((level(&unread) - level(&base)).abs() < 1e-6);
    for (u, v, reflectance) in [(0.2, 0.0, 0.9), (f64::NAN, 0.47, 0.9), (0.2, 0.47, 0.0), (0.2, 0.47, 2.0)] {
        let refused = PaperUnderLamp::as_read(&base, lamp, UvPrime { u, v }, Some(reflectance), 0.001);
        assert!(matches!(refused, Err(PaperError::Read { .. })), "{u} {v} {reflectance}");
    }
}

proptest! {
    #[test]
    fn the_jacobian_is_the_derivative(
        l in 50f64..100.0, a in -6f64..6.0, b in -12f64..12.0, x in 0.28f64..0.5, y in 0.3f64..0.42,
    ) {
        let paper = lab(l, a, b);
        let lamp = uv_prime(Xy { x, y }).unwrap();
        let lit = paper.under(lamp, UvSpread::round(0.002)).unwrap();
        let h = 1e-6;
        let at = |du: f64, dv: f64| {
            paper.under(UvPrime { u: lamp.u + du, v: lamp.v + dv }, UvSpread::default()).unwrap().uv
        };
        let (u1, u0, v1, v0) = (at(h, 0.0), at(-h, 0.0), at(0.0, h), at(0.0, -h));
        let numeric = [
            [(u1.u - u0.u) / (2.0 * h), (v1.u - v0.u) / (2.0 * h)],
            [(u1.v - u0.v) / (2.0 * h), (v1.v - v0.v) / (2.0 * h)],
        ];
        for (exact, found) in lit.by_lamp.iter().flatten().zip(numeric.iter().flatten()) {
            prop_assert!((exact - found).abs() < 1e-8, "{:?} {:?}", lit.by_lamp, numeric);
        }
        let total = lit.spread();
        prop_assert!(total.uu > 0.0 && total.uu * total.vv > total.uv * total.uv);
    }

    #[test]
    fn the_other_way_round_is_the_same(l in 50f64..100.0, a in -6f64..6.0, b in -12f64..12.0, k in 2500f64..9000.0) {
        let lamp = planckian(Kelvin::new(k).unwrap());
        let lit = lab(l, a, b).under(lamp, UvSpread::default()).unwrap();
        let white = xyz_of_xy(crate::color::chromaticity::xy(lamp).unwrap(), 1.0).unwrap();
        use palette::convert::{ConvertOnce, IntoColorUnclamped};
        let white: palette::Xyz<D50, f64> = palette::Xyz::new(white.x, white.y, white.z);
        let paper: palette::Xyz<D50, f64> = palette::Lab::<D50, f64>::new(l, a, b).into_color_unclamped();
        let seen = adaptation_matrix::<f64, D50, D50, Bradford>(None, Some(white)).convert_once(paper);
        let said = uv_prime_of_xyz(crate::units::Xyz { x: seen.x, y: seen.y, z: seen.z }).unwrap();
        prop_assert!(delta_uv(lit.uv, said) < 5e-7);
        prop_assert!((lit.reflectance - seen.y).abs() < 5e-7);
    }
}
