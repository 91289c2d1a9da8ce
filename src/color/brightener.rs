//! What optical brighteners leave in doubt of a paper's white.
//!
//! A brightener takes in ultraviolet and violet light (about 340 to 420 nm) and gives it out as blue. The paper's blue was measured under the
//! instrument's own ultraviolet (ISO 13655: M1 that of D50, M0 undefined, M2 and M3 none) and the lamp's is another, which neither a chromaticity
//! nor a spectrum from 380 nm tells. Nothing here corrects the white; what it may be wrong by is added to its spread, along
//! the line from the paper with its brightening to the paper without.
//!
//! **Whether there is any**: as declared; else guessed (common practice, no standard) of papers measured with ultraviolet or under no stated condition
//! whose b* is -2 or less, or whose curve lies at 420 to 450 nm more than 0.01 above its mean of 500 to 600 nm: no unbrightened white does that.
//!
//! **How much**: the excess is the difference between the paper and the same paper with its factors below 500 nm cut to the
//! mean of 500 to 600 nm; by CIELAB alone, between it and a neutral paper of its L*. Where no excess shows (ultraviolet was cut, or the paper is
//! cream), 4 units of b*: the premium papers of ISO/PAS 15339 have b* -4 under M1.
//!
//! **How wide**: nothing is known within a half-range, so its sd is half-range / √3 (JCGM 100 clause 4.3.7). The half-range is the
//! excess times
//!
//! | the lamp's ultraviolet | paper measured under M1 | M0 or not stated | M2 or M3 |
//! | --- | --- | --- | --- |
//! | not measured | 1 | 1 | 1 |
//! | measured, r of that of D50 | the greater of abs(1 - r) and 1/4 | the greater of abs(1 - r) and 1/2 | r |
//!
//! at most 2, where r is the lamp's power from 365 to 400 nm over its luminous sum, against D50. That excess goes with r is a first-order guess:
//! it takes no account of the brightener's own spectrum.

use super::chromaticity::UvSpread;
use super::difference::LabColour;
use super::illuminant::D50_XYZ;
use super::observer::{FIRST_NM, GRID, matching_functions};
use super::paper::{Carry, PaperError};
use super::reflected::{Reflectance, d50};
use super::sampled::Sampled;
use crate::site::{MeasurementCondition, Paper, PaperWhite};
use crate::units::Xyz;

/// b* from which on a paper is taken for brightened.
const BLUISH: f64 = -2.0;
/// How far a curve's blue stands above its middle in a brightened paper.
const RISE: f64 = 0.01;
/// The excess where none shows, in b*.
const USUAL_EXCESS: f64 = 4.0;
/// The band that stands for a lamp's ultraviolet, nm.
const ULTRAVIOLET_NM: (f64, f64) = (365.0, 400.0);
/// The widest half-range, in excesses.
const WIDEST: f64 = 2.0;

/// Whether optical brighteners leave a paper's white in doubt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Brightener {
    /// None is known of, or the lit paper itself was read.
    NoneKnown,
    /// The paper is brightened and its white under this lamp depends on ultraviolet.
    Uncertain {
        /// Whether someone declared it; else it is a guess from the paper's colour.
        declared: bool,
        /// The lamp's ultraviolet over that of D50 at equal light, where its spectrum shows it.
        lamp_uv: Option<f64>,
        /// Standard uncertainty of the white along the line of the brightening, Δu′v′.
        sd: f64,
    },
}

/// The paper with its brightening and without, and how much of the way is in doubt.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Bright {
    one: Carry,
    other: Carry,
    half_range: f64,
    declared: bool,
    lamp_uv: Option<f64>,
}

impl Bright {
    /// What is in doubt under a lamp of these X, Y, Z on any scale; None where that is no lamp to adapt to.
    pub fn under(&self, lamp: [f64; 3]) -> Option<(Brightener, UvSpread)> {
        let [(u, v), (p, q)] = [self.one, self.other].map(|carry| {
            let [x, y, z] = carry.apply(lamp);
            let d = x + 15.0 * y + 3.0 * z;
            (4.0 * x / d, 9.0 * y / d)
        });
        let share = self.half_range / libm::sqrt(3.0);
        let (du, dv) = ((p - u) * share, (q - v) * share);
        let sd = libm::hypot(du, dv);
        let said = Brightener::Uncertain { declared: self.declared, lamp_uv: self.lamp_uv, sd };
        sd.is_finite().then_some((said, UvSpread::along(du, dv)))
    }
}

/// What brighteners leave in doubt of this paper under a lamp of this spectrum, if they do.
pub(super) fn of(paper: &Paper, lamp: Option<&Sampled>) -> Result<Option<Bright>, PaperError> {
    let cut = matches!(paper.condition, Some(MeasurementCondition::M2 | MeasurementCondition::M3));
    let (lab, without) = match &paper.white {
        PaperWhite::Curve(curve) => {
            let curve = Reflectance::of(curve);
            let level = curve.mean(500, 600);
            let rises = curve.mean(420, 450) > level + RISE;
            (curve.lab(), rises.then(|| curve.capped(level, 500).lab()))
        }
        PaperWhite::Lab { l, a, b } => {
            let lab = LabColour { l: *l, a: *a, b: *b };
            (lab, (*b <= BLUISH).then_some(LabColour { l: *l, a: 0.0, b: 0.0 }))
        }
        PaperWhite::ReflectanceFactor(factor) => {
            let factor = factor.min(1.0);
            let lit = Xyz { x: factor * D50_XYZ.x, y: factor, z: factor * D50_XYZ.z };
            (LabColour::of(lit, D50_XYZ).unwrap_or(LabColour { l: 100.0, a: 0.0, b: 0.0 }), None)
        }
    };
    let declared = paper.brightened.is_some();
    let shows = without.filter(|_| !cut);
    let brightened = paper.brightened.unwrap_or(!cut && (shows.is_some() || lab.b <= BLUISH));
    if !brightened {
        return Ok(None);
    }
    let usual = if cut { -USUAL_EXCESS } else { USUAL_EXCESS };
    let other = shows.unwrap_or(LabColour { b: lab.b + usual, ..lab });
    let lamp_uv = lamp.and_then(ultraviolet);
    let half_range = match (lamp_uv, paper.condition) {
        (None, _) => 1.0,
        (Some(share), Some(MeasurementCondition::M2 | MeasurementCondition::M3)) => share,
        (Some(share), Some(MeasurementCondition::M1)) => (1.0 - share).abs().max(0.25),
        (Some(share), Some(MeasurementCondition::M0) | None) => (1.0 - share).abs().max(0.5),
    };
    let half_range = half_range.clamp(0.0, WIDEST);
    Ok(Some(Bright { one: Carry::of_lab(lab)?, other: Carry::of_lab(other)?, half_range, declared, lamp_uv }))
}

/// A lamp's ultraviolet over that of D50 at equal light; None unless the whole band was measured.
fn ultraviolet(lamp: &Sampled) -> Option<f64> {
    let index = |nm: f64| (nm - FIRST_NM) as usize;
    let band = index(ULTRAVIOLET_NM.0)..=index(ULTRAVIOLET_NM.1);
    if lamp.first > *band.start() {
        return None;
    }
    let share = |light: &[f64; GRID]| {
        let luminous: f64 = light.iter().zip(matching_functions()).map(|(light, [_, y, _])| light * y).sum();
        light.get(band.clone()).unwrap_or_default().iter().sum::<f64>() / luminous
    };
    Some((share(&lamp.values) / share(&d50())).max(0.0)).filter(|share| share.is_finite())
}

#[cfg(test)]
mod tests {
    use super::super::chromaticity::{UvSpread, delta_uv, uv_prime_of_xyz};
    use super::super::illuminant::D50_XYZ;
    use super::super::paper::{PaperLight, PaperUnderLamp};
    use super::*;
    use crate::site::Identity;
    use crate::units::{DeviceId, ReflectanceCurve};

    fn paper(white: PaperWhite, condition: Option<MeasurementCondition>, brightened: Option<bool>) -> Paper {
        Paper { id: DeviceId::new("satin").unwrap(), identity: Identity::default(), white, condition, brightened }
    }

    fn lab(b: f64) -> PaperWhite {
        PaperWhite::Lab { l: 95.0, a: 1.0, b }
    }

    /// D50 with its power below 400 nm times `uv`, as far as `first` says it was measured.
    fn lamp(uv: f64, first: usize) -> Sampled {
        let mut values = d50();
        values[..=40].iter_mut().for_each(|value| *value *= uv);
        Sampled { values, first, last: 470 }
    }

    fn under_d50(paper: &Paper, lamp: Option<&Sampled>) -> PaperLight {
        let at = uv_prime_of_xyz(D50_XYZ).unwrap();
        PaperUnderLamp::of(paper, lamp).unwrap().under(at, UvSpread::default()).unwrap()
    }

    fn doubt(paper: &Paper, lamp: Option<&Sampled>) -> Option<(bool, Option<f64>, f64)> {
        match under_d50(paper, lamp).brightener {
            Brightener::NoneKnown => None,
            Brightener::Uncertain { declared, lamp_uv, sd } => Some((declared, lamp_uv, sd)),
        }
    }

    #[test]
    fn bluish_papers_are_taken_for_brightened_unless_someone_knows() {
        use MeasurementCondition::{M0, M1, M2, M3};
        for condition in [None, Some(M0), Some(M1)] {
            assert!(matches!(doubt(&paper(lab(-4.0), condition, None), None), Some((false, None, _))));
            assert_eq!(doubt(&paper(lab(-4.0), condition, Some(false)), None), None);
            assert_eq!(doubt(&paper(lab(3.0), condition, None), None), None);
            assert!(matches!(doubt(&paper(lab(3.0), condition, Some(true)), None), Some((true, None, _))));
        }
        for condition in [M2, M3] {
            assert_eq!(doubt(&paper(lab(-4.0), Some(condition), None), None), None, "blue without ultraviolet is dye");
        }
        assert_eq!(doubt(&paper(PaperWhite::ReflectanceFactor(0.9), None, None), None), None);
        assert!(doubt(&paper(PaperWhite::ReflectanceFactor(1.1), None, Some(true)), None).is_some());
    }

    #[test]
    fn the_doubt_is_the_excess_over_root_three_along_the_blue() {
        let bright = paper(lab(-4.0), Some(MeasurementCondition::M1), None);
        let lit = under_d50(&bright, None);
        let without = under_d50(&paper(PaperWhite::Lab { l: 95.0, a: 0.0, b: 0.0 }, None, None), None);
        let (_, _, sd) = doubt(&bright, None).unwrap();
        assert!((sd - delta_uv(lit.uv, without.uv) / 3f64.sqrt()).abs() < 1e-9, "{sd}");
        assert!((0.002..0.003).contains(&sd), "{sd}");
        // One direction only, mostly v', and part of the whole.
        let UvSpread { uu, uv, vv } = lit.brightener_spread;
        assert!((uu * vv - uv * uv).abs() < 1e-18 && vv > 20.0 * uu);
        assert!((lit.spread().vv - vv - lit.estimate_sd * lit.estimate_sd).abs() < 1e-15);
        // The white itself is not moved by a guess.
        let known = under_d50(&paper(lab(-4.0), Some(MeasurementCondition::M1), Some(false)), None);
        assert_eq!(lit.uv, known.uv);
    }

    #[test]
    fn a_curve_shows_its_rise() {
        let nm: Vec<f64> = (0..36).map(|i| 380.0 + 10.0 * f64::from(i)).collect();
        let with = |rise: f64| {
            let factor = |nm: &f64| 0.9 + rise * (-0.5 * ((nm - 440.0) / 18.0).powi(2)).exp();
            let white = PaperWhite::Curve(ReflectanceCurve::new(&nm, nm.iter().map(factor).collect()).unwrap());
            paper(white, Some(MeasurementCondition::M1), None)
        };
        assert_eq!(doubt(&with(0.0), None), None);
        let (weak, strong) = (doubt(&with(0.03), None).unwrap().2, doubt(&with(0.12), None).unwrap().2);
        assert!((strong / weak - 4.0).abs() < 0.4, "{weak} {strong}");
        let seen = lamp(1.0, 20);
        assert!(matches!(doubt(&with(0.12), Some(&seen)), Some((false, None, _))), "from 380 nm says nothing");
    }

    #[test]
    fn a_spectrum_that_shows_the_ultraviolet_narrows_or_widens_it() {
        let of = |condition, lamp: &Sampled| doubt(&paper(lab(-4.0), Some(condition), Some(true)), Some(lamp)).unwrap();
        let (m1, m2) = (MeasurementCondition::M1, MeasurementCondition::M2);
        let unknown = of(m1, &lamp(1.0, 20)).2;
        let (_, share, like_d50) = of(m1, &lamp(1.0, 0));
        assert!((share.unwrap() - 1.0).abs() < 1e-9 && (like_d50 / unknown - 0.25).abs() < 1e-9);
        let none = of(m1, &lamp(0.0, 0));
        assert!(none.1.unwrap() < 0.01 && (none.2 / unknown - 1.0).abs() < 0.01, "M1 is wrong by all of it");
        // Ultraviolet was cut from the paper's measurement: a lamp without any is just right.
        assert!(of(m2, &lamp(0.0, 0)).2 < 1e-4 && of(m2, &lamp(1.0, 0)).2 > 0.002);
        assert!(of(m2, &lamp(9.0, 0)).2 <= 2.001 * of(m2, &lamp(1.0, 0)).2, "at most twice");
    }
}
