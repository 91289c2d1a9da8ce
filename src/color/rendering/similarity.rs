//! The spectral similarity index: how much of a lamp's spectrum is that of another light. SMPTE ST 2122; Academy of Motion Picture
//! Arts and Sciences, "Academy Spectral Similarity Index (SSI): Overview", 2020.
//!
//! ```text
//! 30 bands of 10 nm about 380, 390, … 670 nm: ½ at both ends, 1 between, 1 nm apart; each spectrum then scaled to sum 1
//! d = (lamp - reference)/(reference + 1/30), times 4/15 22/45 32/45 40/45 44/45 1 … 1 11/15 3/15
//! smoothed by 0.22 0.56 0.22 (nothing beyond the ends),  SSI = 100 - 32 √Σ d²
//! ```
//!
//! It asks nothing of colours and observers: 100 is the same spectrum, and a good lamp of another make-up may have 70. The overview joins
//! values by straight lines; here they come as [`Sampled`] has them, which differs by a few tenths where 5 nm lines are sharp.

use crate::color::{FIRST_NM, Sampled};

/// Edition of the index.
pub const EDITION: &str = "SMPTE ST 2122 (Academy SSI, 2020)";

const BANDS: usize = 30;
/// Index in the grid of 375 nm, where the first band begins.
const FROM: usize = 375 - FIRST_NM as usize;

/// The index of `lamp` against `reference`, as computed: the standard gives it as a whole number. Wavelengths that were not measured
/// count as dark. It is below 0 for spectra that have nothing in common; None when one of them is dark in all bands.
pub fn similarity(lamp: &Sampled, reference: &Sampled) -> Option<f64> {
    let (lamp, reference) = (bands(lamp)?, bands(reference)?);
    let mut off = [0.0; BANDS + 2];
    // A zero stands at each end.
    for (index, ((off, lamp), reference)) in off.iter_mut().skip(1).zip(lamp).zip(reference).enumerate() {
        *off = weight(index) * (lamp - reference) / (reference + 1.0 / BANDS as f64);
    }
    let smoothed = off.windows(3).map(|w| if let [a, b, c] = w { 0.22 * (a + c) + 0.56 * b } else { 0.0 });
    let square: f64 = smoothed.map(|d| d * d).sum();
    Some(100.0 - 32.0 * square.sqrt())
}

/// The bands, scaled to sum 1.
fn bands(light: &Sampled) -> Option<[f64; BANDS]> {
    let measured = |index: usize| {
        let inside = (light.first..=light.last).contains(&index);
        light.values.get(index).copied().filter(|_| inside).unwrap_or(0.0)
    };
    let mut out = [0.0; BANDS];
    for (number, band) in out.iter_mut().enumerate() {
        let from = FROM + 10 * number;
        let whole: f64 = (from + 1..from + 10).map(measured).sum();
        *band = whole + (measured(from) + measured(from + 10)) / 2.0;
    }
    let total: f64 = out.iter().sum();
    (total > 0.0).then(|| out.map(|band| band / total))
}

fn weight(band: usize) -> f64 {
    const FIRST: [f64; 5] = [4.0 / 15.0, 22.0 / 45.0, 32.0 / 45.0, 40.0 / 45.0, 44.0 / 45.0];
    match band {
        28 => 11.0 / 15.0,
        29 => 3.0 / 15.0,
        _ => FIRST.get(band).copied().unwrap_or(1.0),
    }
}

#[cfg(test)]
mod tests {
    use super::super::reference::{black_body, daylight_phase};
    use super::*;
    use crate::color::GRID;
    use crate::color::illuminant::{D50_K, D65_K};
    use crate::units::Kelvin;

    #[test]
    fn the_same_spectrum_is_100_at_any_level() {
        let d50 = daylight_phase(Kelvin::new(D50_K).unwrap()).unwrap();
        let mut brighter = d50.clone();
        brighter.values.iter_mut().for_each(|value| *value *= 7.0);
        assert!((similarity(&brighter, &d50).unwrap() - 100.0).abs() < 1e-9);
        let d65 = daylight_phase(Kelvin::new(D65_K).unwrap()).unwrap();
        let other = similarity(&d65, &d50).unwrap();
        assert!((70.0..95.0).contains(&other), "{other}");
        let lamp = similarity(&black_body(Kelvin::new(2700.0).unwrap()), &d50).unwrap();
        assert!(lamp < other, "{lamp}");
    }

    #[test]
    fn what_was_not_measured_is_dark() {
        let d50 = daylight_phase(Kelvin::new(D50_K).unwrap()).unwrap();
        let cut = Sampled { first: 70, ..d50.clone() };
        assert!(similarity(&cut, &d50).unwrap() < 99.0);
        let dark = Sampled { values: [0.0; GRID], first: 0, last: GRID - 1 };
        assert_eq!(similarity(&dark, &d50), None);
    }
}
