//! A reflectance curve on the observers' grid: the colour of what it reflects, under D50 and under a lamp's spectrum.
//!
//! What lives here: the sums. What does not: how the white follows a lamp that moves (`paper`), and fluorescence (`brightener`).

use super::d50;
use super::difference::LabColour;
use super::illuminant::D50_XYZ;
use super::interpolate::{Wavelengths, on_grid};
use super::observer::{FIRST_NM, GRID, matching_functions};
use super::sampled::Sampled;
use crate::units::{ReflectanceCurve, Xyz};

/// Reflectance factors each nanometre from 360 to 830 nm.
pub(super) struct Reflectance([f64; GRID]);

impl Reflectance {
    /// Brings a curve onto the grid, as spectra are; beyond its ends the nearest measured factor stands.
    pub fn of(curve: &ReflectanceCurve) -> Self {
        Self(on_grid(&Wavelengths::of(curve.step_nm(), curve.wavelengths()), curve.factors()).values)
    }

    /// X, Y, Z of the lamp, Y = 1, and of what this reflects of it.
    pub fn under(&self, lamp: &Sampled) -> (Xyz, Xyz) {
        self.lit_by(&lamp.values)
    }

    /// The colour under D50, 2°.
    pub fn lab(&self) -> LabColour {
        let (white, lit) = self.lit_by(&d50());
        // Where the sums' own D50 differs from the rounded one in the last digit the paper keeps its place beside the white.
        let lit = Xyz { x: lit.x * D50_XYZ.x / white.x, y: lit.y, z: lit.z * D50_XYZ.z / white.z };
        LabColour::of(lit, D50_XYZ).unwrap_or(LabColour { l: 0.0, a: 0.0, b: 0.0 })
    }

    /// The mean factor from one wavelength to another, nm.
    pub fn mean(&self, from: usize, to: usize) -> f64 {
        let some = self.0.get(from - FIRST_NM as usize..=to - FIRST_NM as usize).unwrap_or_default();
        some.iter().sum::<f64>() / some.len().max(1) as f64
    }

    /// The same with no factor above `level` at wavelengths shorter than `nm`.
    pub fn capped(&self, level: f64, nm: usize) -> Self {
        let mut capped = self.0;
        for factor in capped.iter_mut().take(nm - FIRST_NM as usize) {
            *factor = factor.min(level);
        }
        Self(capped)
    }

    fn lit_by(&self, light: &[f64; GRID]) -> (Xyz, Xyz) {
        let (mut white, mut lit) = ([0.0; 3], [0.0; 3]);
        for ((factor, light), bar) in self.0.iter().zip(light).zip(matching_functions()) {
            for ((white, lit), bar) in white.iter_mut().zip(&mut lit).zip(bar) {
                *white += light * bar;
                *lit += factor * light * bar;
            }
        }
        let [_, scale, _] = white;
        let of = |[x, y, z]: [f64; 3]| Xyz { x: x / scale, y: y / scale, z: z / scale };
        (of(white), of(lit))
    }
}

/// The relative power of D50 each nanometre: straight lines between the values of its table, as CIE 15:2018 makes daylight, the last
/// one kept.
pub(super) fn d50() -> [f64; GRID] {
    let mut light = [0.0; GRID];
    for (index, light) in light.iter_mut().enumerate() {
        let t = (FIRST_NM + index as f64 - d50::FROM_NM) / d50::STEP_NM;
        let at = t as usize;
        let value = |index: usize| d50::D50.get(index).or(d50::D50.last()).copied().unwrap_or_default();
        *light = value(at) + (value(at + 1) - value(at)) * (t - at as f64);
    }
    light
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_white_of_d50_is_the_printed_one() {
        let white = Reflectance([1.0; GRID]);
        let (sum, lit) = white.lit_by(&d50());
        assert_eq!(sum, lit);
        // CIE 15:2018: 96.42, 82.51.
        assert!((sum.x - 0.9642).abs() < 5e-5 && (sum.z - 0.8251).abs() < 5e-5, "{sum:?}");
        let lab = white.lab();
        assert!((lab.l - 100.0).abs() < 1e-9 && lab.chroma() < 1e-9);
    }

    #[test]
    fn a_flat_curve_is_grey_and_a_cap_takes_the_blue_rise() {
        let nm: Vec<f64> = (0..31).map(|i| 400.0 + 10.0 * f64::from(i)).collect();
        let flat = Reflectance::of(&ReflectanceCurve::new(&nm, vec![0.8; 31]).unwrap());
        assert!((flat.mean(420, 450) - 0.8).abs() < 1e-12 && flat.lab().chroma() < 1e-9);
        let mut blue = vec![0.8; 31];
        blue[2..6].fill(0.95);
        let blue = Reflectance::of(&ReflectanceCurve::new(&nm, blue).unwrap());
        assert!(blue.lab().b < -3.0, "{:?}", blue.lab());
        let capped = blue.capped(0.8, 500).lab();
        assert!(capped.chroma() < 0.2, "{capped:?}");
    }
}
