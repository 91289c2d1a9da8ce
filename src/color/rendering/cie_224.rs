//! Colour fidelity of CIE 224:2017, and the gamut index and hue bins that ANSI/IES TM-30-20 adds to it.
//!
//! ΔE of each of 99 test colours between lamp and reference in CAM02-UCS (`cam02`), 10° observer, 380–780 nm:
//!
//! ```text
//! R' = 100 - 6.73 ΔE,  R = 10 ln(exp(R'/10) + 1)      of one colour, of a bin's mean ΔE (Rf,h), of the mean of all (Rf)
//! ```
//!
//! TM-30-20 sorts the colours into 16 bins of 22.5° by their hue under the reference. With (a, b) a bin's mean under the lamp, (a0, b0) under
//! the reference, θ the bin's middle and C0 = √(a0² + b0²):
//!
//! ```text
//! Rcs,h = ((a - a0) cos θ + (b - b0) sin θ)/C0     Rhs,h = (-(a - a0) sin θ + (b - b0) cos θ)/C0
//! Rg = 100 × area of the lamp's polygon of bin means / area of the reference's
//! ```
//!
//! Rg is not continuous: a colour whose hue lies at a bin's edge falls to either side, which moves Rg by up to 0.23.

use super::cam02::{Adapted, Ucs};
use super::{reference, samples};
use crate::color::Sampled;
use crate::units::Kelvin;

/// Edition of Rf and the fidelities of the samples.
pub const EDITION: &str = "CIE 224:2017 (ANSI/IES TM-30-20)";
/// Edition of Rg and the hue bins.
pub const GAMUT_EDITION: &str = "ANSI/IES TM-30-20";
/// Test colours.
pub const SAMPLES: usize = 99;
/// Hue bins.
pub const BINS: usize = 16;

const BIN_WIDTH: f64 = std::f64::consts::TAU / BINS as f64;

/// What a lamp does to colours of one hue; bin 0 begins at the red of a′ > 0, b′ = 0, and hues run over yellow, green and blue.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HueBin {
    /// Local fidelity Rf,h, 0 to 100.
    pub fidelity: f64,
    /// Local chroma shift Rcs,h as a fraction: -0.1 is 10 % duller.
    pub chroma_shift: f64,
    /// Local hue shift Rhs,h, about radians: positive towards the next bin.
    pub hue_shift: f64,
    /// Mean a′, b′ of its colours under the lamp.
    pub lamp: [f64; 2],
    /// Mean a′, b′ of its colours under the reference.
    pub reference: [f64; 2],
    /// Test colours in the bin; 0 happens only far from white light, and all else is then 0.
    pub samples: usize,
}

/// Fidelity and gamut of a lamp.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ColourFidelity {
    /// General fidelity index, 0 to 100.
    pub rf: f64,
    /// Gamut index; 100 is the reference's, more is more vivid on the whole.
    pub rg: f64,
    /// The hue bins 1 to 16 of the standard.
    pub bins: [HueBin; BINS],
    /// Fidelity of each test colour, CES01 to CES99.
    pub samples: [f64; SAMPLES],
}

/// Fidelity of a lamp of correlated colour temperature `cct_k`; None above 25 000 K, where there is no daylight, and for a light
/// that lies so far out that an eye cannot adapt to it.
pub fn colour_fidelity(lamp: &Sampled, cct_k: Kelvin) -> Option<ColourFidelity> {
    let (lamp, reference) = (seen(&samples::new(lamp))?, seen(&reference::new(cct_k)?)?);
    let mut fidelities = [0.0; SAMPLES];
    let mut total = 0.0;
    let mut sums = [Sum::default(); BINS];
    for ((fidelity, lamp), reference) in fidelities.iter_mut().zip(&lamp).zip(&reference) {
        let shift = lamp.distance(*reference);
        *fidelity = index(shift);
        total += shift;
        if let Some(sum) = sums.get_mut(bin(reference)) {
            sum.add(shift, lamp, reference);
        }
    }
    let mut bins =
        [HueBin { fidelity: 0.0, chroma_shift: 0.0, hue_shift: 0.0, lamp: [0.0; 2], reference: [0.0; 2], samples: 0 };
            BINS];
    for (number, (bin, sum)) in bins.iter_mut().zip(&sums).enumerate() {
        if let Some(filled) = sum.bin(number) {
            *bin = filled;
        }
    }
    let rg = 100.0 * area(&bins, |bin| bin.lamp) / area(&bins, |bin| bin.reference);
    Some(ColourFidelity { rf: index(total / SAMPLES as f64), rg, bins, samples: fidelities })
}

/// The general fidelity index alone, by the same sums.
pub(super) fn general_fidelity(lamp: &Sampled, cct_k: Kelvin) -> Option<f64> {
    let (lamp, reference) = (seen(&samples::new(lamp))?, seen(&reference::new(cct_k)?)?);
    let total: f64 = lamp.iter().zip(&reference).map(|(lamp, reference)| lamp.distance(*reference)).sum();
    Some(index(total / SAMPLES as f64))
}

/// The test colours as an eye sees them that has adapted to the white after them.
fn seen(xyz: &[[f64; 3]; samples::NEW_COLUMNS]) -> Option<[Ucs; SAMPLES]> {
    let (white, colours) = xyz.split_last()?;
    Some(Adapted::to(*white)?.sees::<SAMPLES>(colours.try_into().ok()?))
}

/// The index of a colour difference.
fn index(shift: f64) -> f64 {
    let linear = (100.0 - 6.73 * shift) / 10.0;
    10.0 * linear.exp().ln_1p()
}

/// The bin of a hue.
fn bin(at: &Ucs) -> usize {
    let hue = libm::atan2(at.b, at.a).rem_euclid(std::f64::consts::TAU);
    // A hue a rounding below 0 comes out as a whole turn.
    (hue / BIN_WIDTH) as usize % BINS
}

/// Sums over the colours of a bin.
#[derive(Clone, Copy, Default)]
struct Sum {
    count: usize,
    shift: f64,
    lamp: [f64; 2],
    reference: [f64; 2],
}

impl Sum {
    fn add(&mut self, shift: f64, lamp: &Ucs, reference: &Ucs) {
        self.count += 1;
        self.shift += shift;
        self.lamp[0] += lamp.a;
        self.lamp[1] += lamp.b;
        self.reference[0] += reference.a;
        self.reference[1] += reference.b;
    }

    fn bin(&self, number: usize) -> Option<HueBin> {
        let count = self.count as f64;
        let (lamp @ [a, b], reference @ [a0, b0]) =
            (self.lamp.map(|sum| sum / count), self.reference.map(|sum| sum / count));
        let (sin, cos) = ((number as f64 + 0.5) * BIN_WIDTH).sin_cos();
        let chroma = libm::hypot(a0, b0);
        (self.count > 0).then(|| HueBin {
            fidelity: index(self.shift / count),
            chroma_shift: ((a - a0) * cos + (b - b0) * sin) / chroma,
            hue_shift: ((b - b0) * cos - (a - a0) * sin) / chroma,
            lamp,
            reference,
            samples: self.count,
        })
    }
}

/// Area of the polygon of bin means, empty bins left out.
fn area(bins: &[HueBin; BINS], mean: impl Fn(&HueBin) -> [f64; 2]) -> f64 {
    let filled = || bins.iter().filter(|bin| bin.samples > 0).map(&mean);
    let twice: f64 = filled().zip(filled().cycle().skip(1)).map(|([a, b], [c, d])| a * d - b * c).sum();
    twice / 2.0
}

#[cfg(test)]
mod tests {
    use super::super::reference::{black_body, honest_light};
    use super::*;

    fn k(kelvin: f64) -> Kelvin {
        Kelvin::new(kelvin).unwrap()
    }

    #[test]
    fn a_reference_renders_as_itself() {
        for kelvin in [1500.0, 2856.0, 4000.0, 4500.0, 5000.0, 6504.0, 20_000.0] {
            let found = colour_fidelity(&honest_light(k(kelvin)).unwrap(), k(kelvin)).unwrap();
            assert!((found.rf - 100.0).abs() < 1e-3 && (found.rg - 100.0).abs() < 1e-3, "{kelvin}: {found:?}");
            assert!(found.samples.iter().all(|r| (r - 100.0).abs() < 2e-3), "{kelvin}");
            assert_eq!(general_fidelity(&honest_light(k(kelvin)).unwrap(), k(kelvin)), Some(found.rf));
        }
        assert_eq!(colour_fidelity(&black_body(k(3000.0)), k(26_000.0)), None);
    }

    #[test]
    fn every_bin_has_colours_in_it_under_any_reference() {
        for step in 0..=60 {
            let kelvin = 1200.0 * (25_000.0f64 / 1200.0).powf(f64::from(step) / 60.0);
            let found = colour_fidelity(&honest_light(k(kelvin)).unwrap(), k(kelvin)).unwrap();
            assert!(found.bins.iter().all(|bin| bin.samples > 0), "{kelvin}");
            assert_eq!(found.bins.iter().map(|bin| bin.samples).sum::<usize>(), SAMPLES);
        }
    }

    #[test]
    fn the_scale_never_ends_below_zero() {
        assert!((index(0.0) - 100.0).abs() < 1e-3);
        assert!(index(30.0) > 0.0 && index(1000.0) >= 0.0 && index(5.0) < index(4.9));
    }
}
