//! A spectrum on the observers' own grid: every nanometre from 360 to 830, as CIE 15:2018 sums are made.
//!
//! What lives here: getting there from a spectrum as it was measured, and the sums of both standard observers with their level.
//! How values between the measured ones are found is in `interpolate`, what a wide slit did to them in `bandwidth`. What does not
//! live here: rendering.
//!
//! ```text
//! X = Σ S(λ) x̄(λ)   Y = Σ S(λ) ȳ(λ)   Z = Σ S(λ) z̄(λ)      λ = 360, 361 … 830 nm, Δλ = 1 nm
//! E (lx) or L (cd/m²) = 683 lm/W × Y, with Y of the 2° observer (CIE 15:2018 clause 7.1; ȳ is V(λ))
//! ```
//!
//! 683 is the rounded efficacy at 555 nm of CIE 15; programs that take 683.002 (555 nm in air) come out 3e-6 higher.

use super::bandwidth::corrected;
use super::interpolate::{OnGrid, Wavelengths, on_grid};
use super::observer::{GRID, Observer};
use crate::reading::{ColourSet, Level};
use crate::units::{Illuminance, Luminance, SpectralUnit, Spectrum, Xyz};

/// Maximum luminous efficacy of CIE 1924 photopic vision, lm/W.
pub const LUMENS_PER_WATT: f64 = 683.0;

/// A spectrum each nanometre from 360 to 830 nm, and the part of it that was measured.
#[derive(Debug, Clone, PartialEq)]
pub struct Sampled {
    /// A value for each nanometre; where nothing was measured, the nearest measured value (CIE 15:2018). Between measured values
    /// of a line spectrum some may lie a little below zero (see `interpolate`).
    pub values: [f64; GRID],
    /// Index of the first nanometre that was measured.
    pub first: usize,
    /// Index of the last nanometre that was measured.
    pub last: usize,
}

impl Sampled {
    /// Brings a spectrum onto the grid, its bandwidth corrected where it is given.
    pub fn of(spectrum: &Spectrum) -> Self {
        let wavelengths = Wavelengths::of(spectrum.step_nm(), spectrum.wavelengths());
        let OnGrid { values, first, last } = match spectrum.bandwidth_nm() {
            Some(width) => on_grid(&wavelengths, &corrected(&wavelengths, spectrum.values(), width)),
            None => on_grid(&wavelengths, spectrum.values()),
        };
        Self { values, first, last }
    }

    /// Σ S x̄, Σ S ȳ, Σ S z̄ for the 2° observer, in the spectrum's unit times nm.
    pub fn tristimulus(&self) -> Xyz {
        self.tristimulus_for(Observer::TwoDegree)
    }

    /// The same sums for either observer.
    pub fn tristimulus_for(&self, observer: Observer) -> Xyz {
        let (mut x, mut y, mut z) = (0.0, 0.0, 0.0);
        for (value, [bar_x, bar_y, bar_z]) in self.values.iter().zip(observer.matching_functions()) {
            x += value * bar_x;
            y += value * bar_y;
            z += value * bar_z;
        }
        Xyz { x, y, z }
    }

    /// The level of light, where `unit` is absolute and the sum is one that the quantity can have.
    pub fn level(&self, unit: SpectralUnit) -> Option<Level> {
        let level = LUMENS_PER_WATT * self.tristimulus().y;
        match unit {
            SpectralUnit::Irradiance => Illuminance::new(level).ok().map(Level::Illuminance),
            SpectralUnit::Radiance => Luminance::new(level).ok().map(Level::Luminance),
            SpectralUnit::Relative => None,
        }
    }
}

/// The level of a reading: the one that was given, else that of its spectrum.
pub fn level_as_given(level: Option<Level>, colour: &ColourSet) -> Option<Level> {
    level.or_else(|| match colour {
        ColourSet::Spectrum { spectrum } => level_of_spectrum(spectrum),
        _ => None,
    })
}

/// The level that a spectrum gives by itself: an illuminance of irradiance, a luminance of radiance, none of relative values
/// nor of a sum out of range.
pub fn level_of_spectrum(spectrum: &Spectrum) -> Option<Level> {
    match spectrum.unit() {
        SpectralUnit::Relative => None,
        unit => Sampled::of(spectrum).level(unit),
    }
}
