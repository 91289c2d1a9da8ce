//! The white of paper under a lamp: from its reflectance curve and the lamp's spectrum, from its colour under D50, or from its
//! neutral reflectance; or as it was read.
//!
//! **By curve and spectrum** (CIE 15:2018 clause 7.1), with S the lamp, R the reflectance factors:
//!
//! ```text
//! X = Σ S R x̄ / Σ S ȳ     Y = Σ S R ȳ / Σ S ȳ     Z = Σ S R z̄ / Σ S ȳ
//! ```
//!
//! **By colour under D50.** A CIELAB white (D50, 2°) becomes XYZ and is carried to the lamp's white by Bradford (the linear von
//! Kries transform of ICC.1), full adaptation. With M the Bradford matrix and w the white of D50 of CIE 15:2018 ([`D50_XYZ`];
//! not the constants of ICC or of `palette`, 1.1e-4 away):
//!
//! ```text
//! paper under lamp = M^-1 diag(M lamp / M w) M paper = [M^-1 diag(M paper / M w) M] lamp
//! ```
//!
//! Read the second way it is one matrix a paper, linear in the lamp, so that in homogeneous (u', v', 1) the paper is a
//! projective map of the lamp and its Jacobian is exact. The other two ways give one pair of lamp and paper, and the lamp moves
//! on: there w is that lamp and the matrix is exact at it. Lambertian paper has L = E ρ / π (CIE S 017).
//!
//! **How sure that is.** From no standard, but tried on thousands of invented smooth reflectances without fluorescence under black
//! bodies, CIE daylight, fluorescent, LED and high-pressure lamps. Root mean square error of one coordinate, added in quadrature:
//!
//! | way | error | tried by |
//! | --- | --- | --- |
//! | colour under D50 | 1e-4 for neutral papers, and 1.2e-4 per unit of C*ab for banded lamps, even at D50's own chromaticity | tests/fixtures/colour/paper_spread.py |
//! | the same, away from D50 | 1.5e-3 per unit of C*ab and of Δu'v' | the same |
//! | curve every 10 nm and spectrum | 3e-5, 5e-5 for the worst lamp | tests/fixtures/colour/paper_curve.py |
//! | a lamp that moved since | 9e-3 per unit of C*ab and of its move, until that is no better than the colour under D50 | the same |
//!
//! The reflectance is good to 0.1 %. What the instrument itself adds is counted nowhere here. A brightened paper's blue depends on the
//! lamp's ultraviolet, which neither tells: see `brightener`. A reading of the lit paper beats all of this.

use std::f64::consts::PI;

use palette::chromatic_adaptation::adaptation_matrix;
use palette::lms::matrix::Bradford;
use palette::white_point::{Any, WhitePoint};

use super::brightener::{self, Bright, Brightener};
use super::chromaticity::{UvSpread, delta_uv, uv_prime_of_xyz, xyz_of_uv_prime};
use super::difference::LabColour;
use super::illuminant::D50_XYZ;
use super::reflected::Reflectance;
use super::sampled::Sampled;
use crate::site::{Paper, PaperWhite};
use crate::units::{UvPrime, Xyz};

/// Error of one coordinate for a neutral paper.
const NEUTRAL_SD: f64 = 1e-4;
/// Error per unit of C*ab that a lamp's bands cause.
const BANDED_SD: f64 = 1.2e-4;
/// Error per unit of C*ab and of the lamp's Δu′v′ from where the paper's colour is known.
const DISTANT_SD: f64 = 1.5e-3;
/// Error of a white by curve and spectrum.
const CURVE_SD: f64 = 5e-5;
/// Error per unit of C*ab and of the Δu′v′ that a lamp moved since its spectrum was taken.
const MOVED_SD: f64 = 9e-3;

/// Why there is no white of this paper under this lamp.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum PaperError {
    /// The declared white is no colour of a paper.
    #[error(
        "L* = {l:.1}, a* = {a:.1}, b* = {b:.1} is no paper white: expected L* above 0 and at most 100 and a colour with positive X, Y, Z"
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
    /// What was read of the lit paper is no colour that paper can have.
    #[error(
        "paper read as u' = {u}, v' = {v}, reflectance {reflectance}: expected a near-white colour and a reflectance above 0, at most 1.6; check that the reading was of lit paper"
    )]
    Read {
        /// u′ as read.
        u: f64,
        /// v′ as read.
        v: f64,
        /// Luminous reflectance as read, or as estimated.
        reflectance: f64,
    },
}

/// A paper, ready to be put under lamps.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PaperUnderLamp {
    /// Takes X, Y, Z of the lamp's white to those of the paper under it.
    of_lamp: Carry,
    /// The white of the lamp that the paper's colour is known under.
    known_at: UvPrime,
    /// Standard uncertainty of a coordinate there.
    known_sd: f64,
    /// What is added for each Δu′v′ that the lamp lies away from it, at most `BANDED_SD` a unit of chroma.
    moved_sd: f64,
    /// C*ab under D50.
    chroma: f64,
    bright: Option<Bright>,
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
    /// Whether optical brighteners leave the white in doubt.
    pub brightener: Brightener,
    /// The spread that they add, along the line from the paper with its brightening to the paper without.
    pub brightener_spread: UvSpread,
}

impl PaperLight {
    /// Everything that is unsure of the paper's white: the lamp's spread carried over, the estimate's own, the brightener's.
    pub const fn spread(&self) -> UvSpread {
        self.lamp_spread.plus(UvSpread::round(self.estimate_sd)).plus(self.brightener_spread)
    }

    /// Luminance in cd/m² under an illuminance in lx: E ρ / π, the paper taken as Lambertian.
    pub const fn luminance(&self, lx: f64) -> f64 {
        lx * self.reflectance / PI
    }
}

impl PaperUnderLamp {
    /// A paper of this white and no more known of it; the checks are those that [`PaperWhite`] promises. A curve is taken for the
    /// colour it has under D50.
    pub fn new(white: &PaperWhite) -> Result<Self, PaperError> {
        let known_at = d50()?;
        match *white {
            PaperWhite::Curve(ref curve) => Self::of_lab(Reflectance::of(curve).lab()),
            PaperWhite::ReflectanceFactor(found) => {
                if !(found > 0.0 && found <= 1.2) {
                    return Err(PaperError::Reflectance { found });
                }
                let of_lamp = Carry([[found, 0.0, 0.0], [0.0, found, 0.0], [0.0, 0.0, found]]);
                Ok(Self { of_lamp, known_at, known_sd: NEUTRAL_SD, moved_sd: 0.0, chroma: 0.0, bright: None })
            }
            PaperWhite::Lab { l, a, b } => Self::of_lab(LabColour { l, a, b }),
        }
    }

    fn of_lab(lab: LabColour) -> Result<Self, PaperError> {
        let chroma = lab.chroma();
        let known_sd = libm::hypot(NEUTRAL_SD, BANDED_SD * chroma);
        Ok(Self { of_lamp: Carry::of_lab(lab)?, known_at: d50()?, known_sd, moved_sd: 0.0, chroma, bright: None })
    }

    /// A paper under a lamp whose spectrum may be known: with a curve and a spectrum by the sum of both, exact at the spectrum's
    /// own white; else by its colour under D50. Brighteners are minded as `brightener` says.
    pub fn of(paper: &Paper, lamp: Option<&Sampled>) -> Result<Self, PaperError> {
        let plain = match (&paper.white, lamp) {
            (PaperWhite::Curve(curve), Some(lamp)) => {
                let reflectance = Reflectance::of(curve);
                let (white, lit) = reflectance.under(lamp);
                let known_at = uv_prime_of_xyz(white)
                    .map_err(|_| PaperError::Lamp { u: white.x / white.y, v: white.z / white.y })?;
                let refused = PaperError::Lamp { u: known_at.u, v: known_at.v };
                let chroma = reflectance.lab().chroma();
                Self {
                    of_lamp: Carry::between(white, lit).ok_or(refused)?,
                    known_at,
                    known_sd: CURVE_SD,
                    moved_sd: MOVED_SD,
                    chroma,
                    bright: None,
                }
            }
            (white, _) => Self::new(white)?,
        };
        Ok(Self { bright: brightener::of(paper, lamp)?, ..plain })
    }

    /// The same paper after a reading of it under the lamp: exact at the lamp white of that time, whatever `base` said there. `sd`
    /// is the standard uncertainty of u′ and of v′ of the paper against the lamp. Where no luminous reflectance was read, that of `base` stands. Brighteners
    /// leave no doubt: the reading has seen them.
    pub fn as_read(
        base: &Self,
        lamp: UvPrime,
        paper: UvPrime,
        reflectance: Option<f64>,
        sd: f64,
    ) -> Result<Self, PaperError> {
        let before = base.under(lamp, UvSpread::default())?;
        let reflectance = reflectance.unwrap_or(before.reflectance);
        let refused = PaperError::Read { u: paper.u, v: paper.v, reflectance };
        if !(reflectance > 0.0 && reflectance <= 1.6) {
            return Err(refused);
        }
        let white = |at, level| xyz_of_uv_prime(at, level).ok();
        let pair = white(lamp, 1.0).zip(white(paper, reflectance));
        Ok(Self {
            of_lamp: pair.and_then(|(lamp, paper)| Carry::between(lamp, paper)).ok_or(refused)?,
            known_at: lamp,
            known_sd: sd,
            moved_sd: MOVED_SD,
            chroma: base.chroma,
            bright: None,
        })
    }

    /// Whether brighteners leave its white in doubt.
    pub const fn is_brightened(&self) -> bool {
        self.bright.is_some()
    }

    /// This paper under a lamp of white `lamp`, known with `spread`.
    pub fn under(&self, lamp: UvPrime, spread: UvSpread) -> Result<PaperLight, PaperError> {
        let refused = PaperError::Lamp { u: lamp.u, v: lamp.v };
        // X, Y, Z of the lamp times 4v′, its derivatives by u′ and by v′.
        let white = [9.0 * lamp.u, 4.0 * lamp.v, 12.0 - 3.0 * lamp.u - 20.0 * lamp.v];
        let (by_u, by_v) = ([9.0, 0.0, -3.0], [0.0, 4.0, -20.0]);
        let [[x, y, z], [xu, yu, zu], [xv, yv, zv]] = [white, by_u, by_v].map(|w| self.of_lamp.apply(w));
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
        let (brightener, brightener_spread) = match &self.bright {
            Some(bright) => bright.under(white).ok_or(refused)?,
            None => (Brightener::NoneKnown, UvSpread::default()),
        };
        Ok(PaperLight {
            uv: UvPrime { u, v },
            reflectance: y / lamp_y,
            estimate_sd: self.sd_at(lamp),
            by_lamp,
            lamp_spread: spread.through(by_lamp),
            brightener,
            brightener_spread,
        })
    }

    fn sd_at(&self, lamp: UvPrime) -> f64 {
        let away = delta_uv(lamp, self.known_at);
        let (moved, distant) = ((self.moved_sd * away).min(BANDED_SD), DISTANT_SD * away);
        libm::hypot(self.known_sd, self.chroma * libm::hypot(moved, distant))
    }
}

/// D50 as CIE 15:2018 has it, as a white of `palette`; a type is wanted there, the whites themselves are given.
struct D50;

impl WhitePoint<f64> for D50 {
    fn get_xyz() -> palette::Xyz<Any, f64> {
        palette::Xyz::new(D50_XYZ.x, D50_XYZ.y, D50_XYZ.z)
    }
}

impl palette::xyz::meta::HasXyzMeta for D50 {
    type XyzMeta = Self;
}

/// What takes X, Y, Z of a lamp's white to those of a paper.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Carry([[f64; 3]; 3]);

impl Carry {
    /// By Bradford, so that a lamp of `white` makes the paper `lit`; None unless both are colours with positive X, Y, Z.
    pub fn between(white: Xyz, lit: Xyz) -> Option<Self> {
        let light = [white.x, white.y, white.z, lit.x, lit.y, lit.z].into_iter().all(|c| c.is_finite() && c > 0.0);
        if !light {
            return None;
        }
        let [from, to] = [white, lit].map(|of| palette::Xyz::<D50, f64>::new(of.x / of.y, 1.0, of.z / of.y));
        let level = lit.y / white.y;
        let [a0, a1, a2, b0, b1, b2, c0, c1, c2] =
            adaptation_matrix::<f64, D50, D50, Bradford>(Some(from), Some(to)).into_array().map(|m| m * level);
        let carry = [[a0, a1, a2], [b0, b1, b2], [c0, c1, c2]];
        carry.iter().flatten().all(|c| c.is_finite()).then_some(Self(carry))
    }

    /// For a paper of this colour under D50.
    pub fn of_lab(lab: LabColour) -> Result<Self, PaperError> {
        let LabColour { l, a, b } = lab;
        let refused = PaperError::Lab { l, a, b };
        if !(l > 0.0 && l <= 100.0) {
            return Err(refused);
        }
        Self::between(D50_XYZ, lab.xyz(D50_XYZ)).ok_or(refused)
    }

    /// X, Y, Z of the paper.
    pub fn apply(&self, [x, y, z]: [f64; 3]) -> [f64; 3] {
        self.0.map(|[a, b, c]| a * x + b * y + c * z)
    }
}

fn d50() -> Result<UvPrime, PaperError> {
    uv_prime_of_xyz(D50_XYZ).map_err(|_| PaperError::Lamp { u: D50_XYZ.x, v: D50_XYZ.y })
}

#[cfg(test)]
mod tests;
