//! How a lamp renders colours, from its spectrum. Pure, f64; every figure carries the edition of its standard.
//!
//! What lives here: the colour rendering indices of CIE 13.3 (`cie_13_3`), fidelity, gamut and hue bins of CIE 224 and TM-30 (`cie_224`), the
//! spectral similarity index (`similarity`), the metamerism index of daylight simulators from tables that a user owns
//! (`daylight_simulator`), and which hues a lamp pushes where (`hues`). What does not: which figure is good enough for a place
//! (the rules of a configuration), and how spectra are read and interpolated (`formats`, `sampled`).

mod cam02;
mod ces;
mod cie_13_3;
mod cie_224;
mod daylight_simulator;
mod hues;
mod moments;
mod phases;
mod powers;
mod reference;
mod samples;
mod similarity;
mod simulator_tables;
mod tcs;

pub use cie_13_3::{ColourRendering, EDITION as RA_EDITION, R15_EDITION, VALID_DISTANCE, colour_rendering};
pub use cie_224::{
    BINS, ColourFidelity, EDITION as RF_EDITION, GAMUT_EDITION as RG_EDITION, HueBin, SAMPLES, colour_fidelity,
};
pub use daylight_simulator::{
    Daylight, EDITION as SIMULATOR_EDITION, Grade, MAX_DISTANCE, Metamerism, Simulator, Ultraviolet, simulator,
};
pub use hues::{HueShift, Lightness, Named, PLAIN, Towards, UNSEEN, Vividness, hues};
pub use reference::{black_body, daylight_phase, honest_light};
pub use similarity::{EDITION as SSI_EDITION, similarity};
pub use simulator_tables::{BadTables, SimulatorTables};

use super::chromaticity::uv_prime_of_xyz;
use super::illuminant::{D50_K, D65_K};
use super::sampled::Sampled;
use super::temperature::{CctDuv, cct_duv};
use crate::units::{Kelvin, Xyz};

/// Everything that a spectrum says of how a lamp renders colours.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rendering {
    /// Colour temperature and tint; references have this temperature.
    pub cct_duv: CctDuv,
    /// Ra and R1 to R15 ([`RA_EDITION`], [`R15_EDITION`]).
    pub indices: ColourRendering,
    /// Rf, Rg, bins and samples ([`RF_EDITION`], [`RG_EDITION`]).
    pub fidelity: ColourFidelity,
    /// Spectral similarity to daylight of 5000 K ([`SSI_EDITION`]), unrounded.
    pub similar_to_d50: f64,
    /// Spectral similarity to daylight of 6500 K, unrounded.
    pub similar_to_d65: f64,
}

/// The general figures alone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Figures {
    /// Σ S x̄, Σ S ȳ, Σ S z̄, 2° observer.
    pub xyz: Xyz,
    /// Colour temperature and tint.
    pub cct_duv: CctDuv,
    /// General index of [`RA_EDITION`].
    pub ra: f64,
    /// General fidelity index of [`RF_EDITION`].
    pub rf: f64,
}

/// The rendering of a lamp; None for a light without a colour temperature (|Duv| > 0.05) or hotter than 25 000 K, which no reference
/// belongs to.
pub fn rendering(lamp: &Sampled) -> Option<Rendering> {
    let cct_duv = temperature(lamp.tristimulus())?;
    let daylight = |kelvin: f64| daylight_phase(Kelvin::new(kelvin).ok()?);
    Some(Rendering {
        cct_duv,
        indices: colour_rendering(lamp, cct_duv.cct_k)?,
        fidelity: colour_fidelity(lamp, cct_duv.cct_k)?,
        similar_to_d50: similarity(lamp, &daylight(D50_K)?)?,
        similar_to_d65: similarity(lamp, &daylight(D65_K)?)?,
    })
}

/// The indices of a lamp alone; None for a light that no reference belongs to, as in [`rendering`].
pub fn indices(lamp: &Sampled) -> Option<ColourRendering> {
    colour_rendering(lamp, temperature(lamp.tristimulus())?.cct_k)
}

/// The general figures of a lamp, as [`rendering`] has them, without bins, samples and similarities.
pub fn figures(lamp: &Sampled) -> Option<Figures> {
    let xyz = lamp.tristimulus();
    let cct_duv = temperature(xyz)?;
    let ra = colour_rendering(lamp, cct_duv.cct_k)?.ra;
    Some(Figures { xyz, cct_duv, ra, rf: cie_224::general_fidelity(lamp, cct_duv.cct_k)? })
}

fn temperature(xyz: Xyz) -> Option<CctDuv> {
    cct_duv(uv_prime_of_xyz(xyz).ok()?).ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{SpectralUnit, Spectrum};
    use proptest::prelude::*;

    fn of(values: &[f64]) -> Option<Sampled> {
        let nm: Vec<f64> = (0..values.len()).map(|index| 380.0 + 10.0 * index as f64).collect();
        Some(Sampled::of(&Spectrum::new(SpectralUnit::Relative, &nm, values.to_vec(), None).ok()?))
    }

    #[test]
    fn a_light_without_a_temperature_has_no_rendering() {
        let mut green = [0.0; 41];
        green[15] = 1.0;
        assert_eq!(rendering(&of(&green).unwrap()), None);
        assert_eq!(figures(&of(&green).unwrap()), None);
        // Hotter than any daylight.
        let mut blue = [0.05; 41];
        blue[..12].fill(1.0);
        assert_eq!(rendering(&of(&blue).unwrap()), None);
    }

    proptest! {
        #[test]
        fn figures_are_in_range_and_no_matter_of_level(
            values in proptest::collection::vec(0.0f64..1.0, 41), level in 1e-6f64..1e6,
        ) {
            let lamp = of(&values).unwrap();
            let brighter = of(&values.iter().map(|value| value * level).collect::<Vec<_>>()).unwrap();
            let (one, other) = (rendering(&lamp), rendering(&brighter));
            prop_assert_eq!(one.is_some(), other.is_some());
            if let (Some(one), Some(other)) = (one, other) {
                prop_assert!((one.indices.ra - other.indices.ra).abs() < 1e-3 || (one.cct_duv.cct_k.get() - 5000.0).abs() < 0.01);
                prop_assert!((one.fidelity.rf - other.fidelity.rf).abs() < 1e-6);
                prop_assert!((one.similar_to_d50 - other.similar_to_d50).abs() < 1e-6);
                prop_assert!(one.indices.r.iter().all(|r| *r <= 100.0) && one.indices.ra <= 100.0);
                prop_assert!((0.0..=100.01).contains(&one.fidelity.rf) && one.fidelity.rg > 0.0);
                prop_assert!(one.fidelity.samples.iter().all(|r| (0.0..=100.01).contains(r)));
                prop_assert!(one.similar_to_d50 <= 100.0 && one.similar_to_d65 <= 100.0);
                let short = figures(&lamp).map(|short| (short.ra, short.rf));
                prop_assert_eq!(short, Some((one.indices.ra, one.fidelity.rf)));
            }
        }

        #[test]
        fn no_spectrum_makes_it_panic(values in proptest::collection::vec(-0.02f64..1.0, 33..60), sharp in 0usize..33) {
            let mut values = values;
            values[sharp] = 1.0;
            if let Some(lamp) = of(&values) {
                let _ = (rendering(&lamp), hues(&lamp, None, None));
            }
        }
    }
}
