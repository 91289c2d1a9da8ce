//! The white of paper under a lamp, from the paper's colour under D50 or its neutral reflectance.
//!
//! A CIELAB white (D50, 2°) becomes XYZ and is carried to the lamp's white by Bradford (the linear von Kries transform of
//! ICC.1), full adaptation. With M the Bradford matrix and w the white of D50 of CIE 15:2018 ([`D50_XYZ`]; not the constants of
//! ICC or of `palette`, 1.1e-4 away):
//!
//! ```text
//! paper under lamp = M^-1 diag(M lamp / M w) M paper = [M^-1 diag(M paper / M w) M] lamp
//! ```
//!
//! Read the second way it is one matrix a paper, linear in the lamp, so that in homogeneous (u', v', 1) the paper is a
//! projective map of the lamp and its Jacobian is exact. Lambertian paper has L = E ρ / π (CIE S 017).
//!
//! **How sure that is.** The true white needs the paper's reflectance and the lamp's spectrum. tests/fixtures/colour/paper_spread.py
//! carries 3000 invented smooth reflectances without fluorescence through 54 spectra (black bodies, CIE daylight, fluorescent,
//! LED and high-pressure lamps). Root mean square error of one coordinate: about 1e-4 for neutral papers; 1.2e-4 per unit of C*ab
//! for banded lamps, even at D50's own chromaticity; for smooth spectra growing with the distance from D50, 8e-5 per unit of C*ab
//! at Δu'v' 0.05. [`PaperLight::estimate_sd`] adds the three in quadrature: our own estimate, from no standard. The reflectance is
//! then good to 0.1 %. **Not in it:** a brightened paper's blue depends on the lamp's ultraviolet, which no chromaticity
//! tells; only a reading of the lit paper does.

use std::f64::consts::PI;

use palette::chromatic_adaptation::adaptation_matrix;
use palette::convert::IntoColorUnclamped;
use palette::lms::matrix::Bradford;
use palette::white_point::{Any, WhitePoint};
use palette::{Lab, Xyz};

use super::chromaticity::{UvSpread, delta_uv, uv_prime_of_xyz};
use super::d50;
use super::illuminant::D50_XYZ;
use super::interpolate::{Wavelengths, on_grid};
use super::observer::matching_functions;
use crate::site::PaperWhite;
use crate::units::{self, Illuminance, Luminance, OutOfRange, ReflectanceCurve, UvPrime};

/// Error of one coordinate for a neutral paper.
const NEUTRAL_SD: f64 = 1e-4;
/// Error per unit of C*ab that a lamp's bands cause.
const BANDED_SD: f64 = 1.2e-4;
/// Error per unit of C*ab and of the lamp's Δu′v′ from D50.
const DISTANT_SD: f64 = 1.5e-3;

/// Why there is no white of this paper under this lamp.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum PaperError {
    /// The declared white is no colour of a paper.
    #[error(
        "L* = {l}, a* = {a}, b* = {b} is no paper white: expected L* above 0 and at most 100 and a colour with positive X, Y, Z"
    )]
    Lab {
        /// L* as found.
        l: f64,
        /// a* as found.
        a: f64,
        /// b* as found.
        b: f64,
    },
    /// The declared reflectance factor is none.
    #[error("reflectance factor {found}: expected above 0 and at most 1.2")]
    Reflectance {
        /// As found.
        found: f64,
    },
    /// The lamp's light is too saturated for an adaptation, or not a light.
    #[error(
        "a lamp of u' = {u}, v' = {v} cannot be adapted to: expected a near-white light; read the lit paper itself (patch = paper) instead"
    )]
    Lamp {
        /// u′ as found.
        u: f64,
        /// v′ as found.
        v: f64,
    },
}

/// A paper, ready to be put under lamps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PaperUnderLamp {
    /// Takes X, Y, Z of the lamp's white (Y = 1) to those of the paper under it.
    of_lamp: [[f64; 3]; 3],
    chroma: f64,
    read_sd: Option<f64>,
}

/// The white of a paper under a lamp.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PaperLight {
    /// Chromaticity of the lit paper.
    pub uv: UvPrime,
    /// Luminous reflectance: Y of the paper over Y of the perfect diffuser under the same lamp.
    pub reflectance: f64,
    /// Standard uncertainty of u′ and of v′ that the estimate itself adds (see the head of this file).
    pub estimate_sd: f64,
    /// ∂(u′, v′ of the paper) / ∂(u′, v′ of the lamp), rows by paper.
    pub by_lamp: [[f64; 2]; 2],
    /// The lamp's spread carried over.
    pub lamp_spread: UvSpread,
}

impl PaperLight {
    /// Everything that is unsure of the paper's white: the lamp's spread carried over, and the estimate's own.
    pub const fn spread(&self) -> UvSpread {
        self.lamp_spread.plus(UvSpread::round(self.estimate_sd))
    }
}

/// D50 as CIE 15:2018 has it, as a white of `palette`.
struct D50;

impl WhitePoint<f64> for D50 {
    fn get_xyz() -> Xyz<Any, f64> {
        Xyz::new(D50_XYZ.x, D50_XYZ.y, D50_XYZ.z)
    }
}

impl palette::xyz::meta::HasXyzMeta for D50 {
    type XyzMeta = Self;
}

impl PaperUnderLamp {
    /// Makes a paper ready; the checks are those that [`PaperWhite`] promises.
    pub fn new(white: &PaperWhite) -> Result<Self, PaperError> {
        match *white {
            PaperWhite::Curve(ref curve) => {
                let seen = under_d50(curve);
                let Lab { l, a, b, .. } = Xyz::<D50, f64>::new(seen.x, seen.y, seen.z).into_color_unclamped();
                Self::new(&PaperWhite::Lab { l, a, b })
            }
            PaperWhite::ReflectanceFactor(found) => {
                if !(found > 0.0 && found <= 1.2) {
                    return Err(PaperError::Reflectance { found });
                }
                Ok(Self {
                    of_lamp: [[found, 0.0, 0.0], [0.0, found, 0.0], [0.0, 0.0, found]],
                    chroma: 0.0,
                    read_sd: None,
                })
            }
            PaperWhite::Lab { l, a, b } => {
                let paper: Xyz<D50, f64> = Lab::<D50, f64>::new(l, a, b).into_color_unclamped();
                let light = [paper.x, paper.y, paper.z].into_iter().all(|c| c.is_finite() && c > 0.0);
                if !(l > 0.0 && l <= 100.0 && light) {
                    return Err(PaperError::Lab { l, a, b });
                }
                // The matrix comes out for a paper of Y = 1.
                let level = paper.y;
                let [a0, a1, a2, b0, b1, b2, c0, c1, c2] =
                    adaptation_matrix::<f64, D50, D50, Bradford>(None, Some(paper)).into_array().map(|m| m * level);
                Ok(Self {
                    of_lamp: [[a0, a1, a2], [b0, b1, b2], [c0, c1, c2]],
                    chroma: libm::hypot(a, b),
                    read_sd: None,
                })
            }
        }
    }

    /// This paper under a lamp of white `lamp`, known with `spread`.
    pub fn under(&self, lamp: UvPrime, spread: UvSpread) -> Result<PaperLight, PaperError> {
        let refused = PaperError::Lamp { u: lamp.u, v: lamp.v };
        // X, Y, Z of the lamp times 4v′, its derivatives by u′ and by v′.
        let white = [9.0 * lamp.u, 4.0 * lamp.v, 12.0 - 3.0 * lamp.u - 20.0 * lamp.v];
        let (by_u, by_v) = ([9.0, 0.0, -3.0], [0.0, 4.0, -20.0]);
        let [[x, y, z], [xu, yu, zu], [xv, yv, zv]] = [white, by_u, by_v].map(|w| self.apply(w));
        let d = x + 15.0 * y + 3.0 * z;
        let (du, dv) = (xu + 15.0 * yu + 3.0 * zu, xv + 15.0 * yv + 3.0 * zv);
        let (u, v) = (4.0 * x / d, 9.0 * y / d);
        let lamp_y = 4.0 * lamp.v;
        let possible = [x, y, lamp_y, d].into_iter().all(|c| c > 0.0) && z >= 0.0 && u.is_finite() && v.is_finite();
        if !possible {
            return Err(refused);
        }
        let by_lamp =
            [[(4.0 * xu - u * du) / d, (4.0 * xv - u * dv) / d], [(9.0 * yu - v * du) / d, (9.0 * yv - v * dv) / d]];
        let d50 = uv_prime_of_xyz(D50_XYZ).map_err(|_| refused)?;
        let (banded, distant) = (BANDED_SD * self.chroma, DISTANT_SD * self.chroma * delta_uv(lamp, d50));
        Ok(PaperLight {
            uv: UvPrime { u, v },
            reflectance: y / lamp_y,
            estimate_sd: self.read_sd.unwrap_or(libm::hypot(NEUTRAL_SD, libm::hypot(banded, distant))),
            by_lamp,
            lamp_spread: spread.through(by_lamp),
        })
    }

    /// The paper as it was read under a lamp.
    pub fn as_read(
        base: &Self,
        lamp: UvPrime,
        paper: UvPrime,
        reflectance: Option<f64>,
        sd: f64,
    ) -> Result<Self, PaperError> {
        let calculated = base.under(lamp, UvSpread::default())?;
        let xyz = |uv: UvPrime, level: f64| {
            [level * 9.0 * uv.u / (4.0 * uv.v), level, level * (12.0 - 3.0 * uv.u - 20.0 * uv.v) / (4.0 * uv.v)]
        };
        let (is, was) =
            (xyz(paper, reflectance.unwrap_or(calculated.reflectance)), xyz(calculated.uv, calculated.reflectance));
        let mut of_lamp = base.of_lamp;
        for (row, (is, was)) in of_lamp.iter_mut().zip(is.into_iter().zip(was)) {
            *row = row.map(|m| m * is / was);
        }
        Ok(Self { of_lamp, chroma: base.chroma, read_sd: Some(sd) })
    }

    fn apply(&self, [x, y, z]: [f64; 3]) -> [f64; 3] {
        self.of_lamp.map(|[a, b, c]| a * x + b * y + c * z)
    }
}

/// X, Y, Z of a paper under the spectrum of D50, 2°, Y = 1 for the perfect diffuser, on the scale of [`D50_XYZ`].
fn under_d50(curve: &ReflectanceCurve) -> units::Xyz {
    let factors = on_grid(&Wavelengths::of(curve.step_nm(), curve.wavelengths()), curve.factors());
    let light = on_grid(&Wavelengths::Even { from: d50::FROM_NM, step: d50::STEP_NM }, &d50::D50);
    let (mut paper, mut white) = ([0.0; 3], [0.0; 3]);
    for ((factor, light), bar) in factors.values.iter().zip(&light.values).zip(matching_functions()) {
        for ((paper, white), bar) in paper.iter_mut().zip(&mut white).zip(bar) {
            *paper += factor * light * bar;
            *white += light * bar;
        }
    }
    let [x, y, z] = paper;
    let [white_x, white_y, white_z] = white;
    units::Xyz { x: x / white_x * D50_XYZ.x, y: y / white_y, z: z / white_z * D50_XYZ.z }
}

/// Luminance of paper of luminous reflectance `reflectance` in `illuminance`: E ρ / π, the paper taken as Lambertian.
pub fn luminance_of_paper(illuminance: Illuminance, reflectance: f64) -> Result<Luminance, OutOfRange> {
    Luminance::new(illuminance.get() * reflectance / PI)
}

#[cfg(test)]
mod tests {
    use super::super::chromaticity::{uv_prime, xyz_of_xy};
    use super::super::illuminant::Illuminant;
    use super::super::temperature::planckian;
    use super::*;
    use crate::units::{Kelvin, Xy};
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
        let d65: Xyz<palette::white_point::D65, f64> = Xyz::new(0.95047, 1.0, 1.08883);
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
        let lx = |e| Illuminance::new(e).unwrap();
        for (e, rho, cd) in [(500.0, 1.0, 159.2), (2000.0, 1.0, 636.6), (500.0, 0.85, 135.3), (625.0, 0.85, 169.1)] {
            assert!((luminance_of_paper(lx(e), rho).unwrap().get() - cd).abs() < 0.05, "{e} {rho}");
        }
        assert!(luminance_of_paper(lx(500.0), f64::NAN).is_err());
        assert!(luminance_of_paper(lx(500.0), -1.0).is_err());
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
            let white = xyz_of_xy(super::super::chromaticity::xy(lamp).unwrap(), 1.0).unwrap();
            let white: Xyz<D50, f64> = Xyz::new(white.x, white.y, white.z);
            let paper: Xyz<D50, f64> = Lab::<D50, f64>::new(l, a, b).into_color_unclamped();
            use palette::convert::ConvertOnce;
            let seen = adaptation_matrix::<f64, D50, D50, Bradford>(None, Some(white)).convert_once(paper);
            let said = uv_prime_of_xyz(crate::units::Xyz { x: seen.x, y: seen.y, z: seen.z }).unwrap();
            prop_assert!(delta_uv(lit.uv, said) < 5e-7);
            prop_assert!((lit.reflectance - seen.y).abs() < 5e-7);
        }
    }
}
