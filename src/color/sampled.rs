//! A spectrum on the observer's own grid: every nanometre from 360 to 830, as CIE 15:2018 sums are made.
//!
//! What lives here: getting there from the wavelengths that were measured, and the sums. What does not: rendering.

use super::observer::{FIRST_NM, matching_functions};
use crate::reading::Level;
use crate::units::{Illuminance, Luminance, SpectralUnit, Spectrum, Xyz};

/// Values of the grid: 360, 361, … 830 nm.
pub const GRID: usize = 471;
/// Maximum luminous efficacy of CIE 1924 photopic vision, lm/W.
pub const LUMENS_PER_WATT: f64 = 683.0;

/// A spectrum each nanometre from 360 to 830 nm, and the part of it that was measured.
#[derive(Debug, Clone, PartialEq)]
pub struct Sampled {
    /// A value for each nanometre; where nothing was measured, the nearest measured value (CIE 15:2018).
    pub values: [f64; GRID],
    /// Index of the first nanometre that was measured.
    pub first: usize,
    /// Index of the last nanometre that was measured.
    pub last: usize,
}

impl Sampled {
    /// Brings a spectrum onto the grid.
    pub fn of(spectrum: &Spectrum) -> Self {
        let nm: Vec<f64> = spectrum.wavelengths().collect();
        let (from, to) = spectrum.reach();
        let mut values = [0.0; GRID];
        let mut at = 0;
        for (index, value) in values.iter_mut().enumerate() {
            let wanted = (FIRST_NM + index as f64).clamp(from, to);
            while nm.get(at + 1).is_some_and(|next| *next < wanted) {
                at += 1;
            }
            let pair = nm.get(at).zip(nm.get(at + 1)).zip(spectrum.values().get(at).zip(spectrum.values().get(at + 1)));
            if let Some(((a, b), (p, q))) = pair {
                *value = p + (q - p) * (wanted - a) / (b - a);
            }
        }
        let index = |nm: f64| (nm - FIRST_NM).clamp(0.0, (GRID - 1) as f64) as usize;
        Self { values, first: index(from.ceil()), last: index(to.floor()) }
    }

    /// Σ S x̄, Σ S ȳ, Σ S z̄ for the 2° observer, in the spectrum's unit times nm.
    pub fn tristimulus(&self) -> Xyz {
        let mut sum = [0.0; 3];
        for (value, bar) in self.values.iter().zip(matching_functions()) {
            for (sum, bar) in sum.iter_mut().zip(bar) {
                *sum += value * bar;
            }
        }
        let [x, y, z] = sum;
        Xyz { x, y, z }
    }
}

/// The level that a spectrum gives by itself: an illuminance of irradiance, a luminance of radiance, none of relative values
/// nor of a sum out of range.
pub fn level_of_spectrum(spectrum: &Spectrum) -> Option<Level> {
    let level = LUMENS_PER_WATT * Sampled::of(spectrum).tristimulus().y;
    match spectrum.unit() {
        SpectralUnit::Irradiance => Illuminance::new(level).ok().map(Level::Illuminance),
        SpectralUnit::Radiance => Luminance::new(level).ok().map(Level::Luminance),
        SpectralUnit::Relative => None,
    }
}
