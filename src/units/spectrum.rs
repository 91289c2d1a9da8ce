//! A spectrum as it was received: wavelengths, values, and what they are values of. Kept whole, never resampled.
//!
//! What lives here: which lists of numbers are a spectrum of light that can be judged. What does not: interpolation,
//! tristimulus values and rendering (`color`).

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// A spectrum reaches from this wavelength or a shorter one, nm.
pub const MUST_BEGIN_NM: f64 = 400.0;
/// A spectrum reaches to this wavelength or a longer one, nm.
pub const MUST_END_NM: f64 = 700.0;
/// Neighbouring wavelengths are no farther apart than this, nm.
pub const WIDEST_GAP_NM: f64 = 50.0;
/// The fewest values of a spectrum: 20 nm steps from 400 to 700 nm, as ASTM E308 has at the coarsest, are 16.
pub const FEWEST_VALUES: usize = 16;
/// The most values of a spectrum.
pub const MOST_VALUES: usize = 10_000;
/// Values below zero are dark noise down to this share of the peak; beyond it light would be negative.
pub const DARK_NOISE: f64 = 0.02;

/// What the values of a spectrum are values of, and in which unit. Declared by whoever wrote them, never guessed.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub enum SpectralUnit {
    /// Spectral irradiance, W·m⁻²·nm⁻¹: gives an illuminance.
    #[serde(rename = "W/m2/nm")]
    Irradiance,
    /// Spectral radiance, W·m⁻²·sr⁻¹·nm⁻¹: gives a luminance.
    #[serde(rename = "W/m2/sr/nm")]
    Radiance,
    /// On any scale: gives colour and no level.
    #[default]
    #[serde(rename = "relative")]
    Relative,
}

impl SpectralUnit {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Irradiance, Self::Radiance, Self::Relative];

    /// As it is written in files.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Irradiance => "W/m2/nm",
            Self::Radiance => "W/m2/sr/nm",
            Self::Relative => "relative",
        }
    }

    /// The unit that `word` names.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|unit| unit.word() == word)
    }
}

/// A spectrum of light, as received: at least [`FEWEST_VALUES`] finite values at rising wavelengths that reach from 400 nm
/// or below to 700 nm or above, not all dark.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "Written", into = "Written")]
pub struct Spectrum {
    unit: SpectralUnit,
    places: Places,
    values: Vec<f64>,
    bandwidth_nm: Option<f64>,
}

/// At which wavelengths values stand, nm.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Places {
    Even { from: f64, step: f64 },
    Listed(Vec<f64>),
}

/// Why a list of numbers is no spectrum that can be judged.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[allow(missing_docs)]
pub enum BadSpectrum {
    #[error("{wavelengths} wavelengths and {values} values: expected one value at each wavelength")]
    Lengths { wavelengths: usize, values: usize },
    #[error("{found} values: expected {FEWEST_VALUES} to {MOST_VALUES}, at least one every 20 nm")]
    Count { found: usize },
    #[error("{nm} nm after {before} nm: expected each wavelength once, in rising order, from 100 to 4000 nm")]
    Order { before: f64, nm: f64 },
    #[error("the spectrum goes from {first} to {last} nm: expected one that reaches from 400 to 700 nm")]
    Reach { first: f64, last: f64 },
    #[error("nothing between {from} and {to} nm: expected no gap wider than 50 nm")]
    Gap { from: f64, to: f64 },
    #[error("{value} at {nm} nm: expected a number from 0 to 1e9 (noise down to -2 % of the peak is borne)")]
    Value { nm: f64, value: f64 },
    #[error("no value is above 0: expected some light; check that the lamp was on")]
    Dark,
    #[error("a bandwidth of {found} nm: expected the full width at half maximum, above 0, at most 50 nm")]
    Bandwidth { found: f64 },
}

impl Spectrum {
    /// Takes `values` at `wavelengths` (nm, rising) as a spectrum. `bandwidth_nm` is the instrument's full width at half
    /// maximum where its effect is still in the values; absent where it was corrected, or is not known.
    pub fn new(
        unit: SpectralUnit,
        wavelengths: &[f64],
        values: Vec<f64>,
        bandwidth_nm: Option<f64>,
    ) -> Result<Self, BadSpectrum> {
        if wavelengths.len() != values.len() {
            return Err(BadSpectrum::Lengths { wavelengths: wavelengths.len(), values: values.len() });
        }
        let (Some(first), Some(last)) = (wavelengths.first(), wavelengths.last()) else {
            return Err(BadSpectrum::Count { found: 0 });
        };
        for pair in wavelengths.windows(2) {
            let [before, nm] = pair else { continue };
            // Also true of what is not a number.
            if !(nm > before && *before >= 100.0 && *nm <= 4000.0) {
                return Err(BadSpectrum::Order { before: *before, nm: *nm });
            }
        }
        if !(*first <= MUST_BEGIN_NM && *last >= MUST_END_NM) {
            return Err(BadSpectrum::Reach { first: *first, last: *last });
        }
        if !(FEWEST_VALUES..=MOST_VALUES).contains(&values.len()) {
            return Err(BadSpectrum::Count { found: values.len() });
        }
        if let Some([from, to]) = wavelengths.windows(2).find(|pair| matches!(pair, [a, b] if b - a > WIDEST_GAP_NM)) {
            return Err(BadSpectrum::Gap { from: *from, to: *to });
        }
        let peak = values.iter().copied().fold(0.0, f64::max);
        let bad = |value: f64| !(value.is_finite() && value <= 1e9 && value >= -DARK_NOISE * peak);
        if let Some((nm, value)) = wavelengths.iter().zip(&values).find(|(_, value)| bad(**value)) {
            return Err(BadSpectrum::Value { nm: *nm, value: *value });
        }
        if peak <= 0.0 {
            return Err(BadSpectrum::Dark);
        }
        if let Some(found) = bandwidth_nm.filter(|width| !(*width > 0.0 && *width <= 50.0)) {
            return Err(BadSpectrum::Bandwidth { found });
        }
        Ok(Self { unit, places: Places::of(wavelengths), values, bandwidth_nm })
    }

    /// What the values are values of.
    pub const fn unit(&self) -> SpectralUnit {
        self.unit
    }

    /// The values, in the order of their wavelengths.
    pub fn values(&self) -> &[f64] {
        &self.values
    }

    /// The wavelengths, nm, rising.
    pub fn wavelengths(&self) -> impl Iterator<Item = f64> + '_ {
        (0..self.values.len()).map(|index| self.places.nm(index))
    }

    /// The step between wavelengths, nm, where it is the same everywhere.
    pub const fn step_nm(&self) -> Option<f64> {
        self.places.step_nm()
    }

    /// First and last wavelength, nm.
    pub fn reach(&self) -> (f64, f64) {
        (self.places.nm(0), self.places.nm(self.values.len().saturating_sub(1)))
    }

    /// Full width at half maximum of the instrument, nm, where its effect is still in the values.
    pub const fn bandwidth_nm(&self) -> Option<f64> {
        self.bandwidth_nm
    }
}

impl Places {
    pub(super) fn of(wavelengths: &[f64]) -> Self {
        if let [from, second, ..] = *wavelengths {
            let even = Self::Even { from, step: second - from };
            if wavelengths.iter().enumerate().all(|(index, nm)| even.nm(index) == *nm) {
                return even;
            }
        }
        Self::Listed(wavelengths.to_vec())
    }

    pub(super) const fn step_nm(&self) -> Option<f64> {
        match self {
            Self::Even { step, .. } => Some(*step),
            Self::Listed(_) => None,
        }
    }

    pub(super) fn nm(&self, index: usize) -> f64 {
        match self {
            Self::Even { from, step } => from + index as f64 * step,
            Self::Listed(all) => all.get(index).copied().unwrap_or_default(),
        }
    }
}

/// The form in the ledger: wavelengths as `from_nm` and `step_nm` where they are evenly spaced, else as the list `nm`.
#[derive(Serialize, Deserialize)]
struct Written {
    unit: SpectralUnit,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    from_nm: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    step_nm: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    nm: Option<Vec<f64>>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    bandwidth_nm: Option<f64>,
    values: Vec<f64>,
}

impl From<Spectrum> for Written {
    fn from(spectrum: Spectrum) -> Self {
        let Spectrum { unit, places, values, bandwidth_nm } = spectrum;
        let (from_nm, step_nm, nm) = match places {
            Places::Even { from, step } => (Some(from), Some(step), None),
            Places::Listed(all) => (None, None, Some(all)),
        };
        Self { unit, from_nm, step_nm, nm, bandwidth_nm, values }
    }
}

impl TryFrom<Written> for Spectrum {
    type Error = BadSpectrum;

    fn try_from(written: Written) -> Result<Self, BadSpectrum> {
        let count = written.values.len().min(MOST_VALUES + 1);
        let wavelengths = match (written.from_nm, written.step_nm, written.nm) {
            (Some(from), Some(step), None) => (0..count).map(|index| from + index as f64 * step).collect(),
            (_, _, nm) => nm.unwrap_or_default(),
        };
        Self::new(written.unit, &wavelengths, written.values, written.bandwidth_nm)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn flat(wavelengths: &[f64]) -> Result<Spectrum, BadSpectrum> {
        Spectrum::new(SpectralUnit::Relative, wavelengths, vec![1.0; wavelengths.len()], None)
    }

    fn every(step: usize, from: usize, to: usize) -> Vec<f64> {
        (from..=to).step_by(step).map(|nm| nm as f64).collect()
    }

    #[test]
    fn even_steps_are_known_as_such() {
        assert_eq!(flat(&every(5, 380, 780)).unwrap().step_nm(), Some(5.0));
        assert_eq!(flat(&every(20, 400, 700)).unwrap().reach(), (400.0, 700.0));
        let mut uneven = every(5, 380, 780);
        uneven.remove(3);
        let uneven = flat(&uneven).unwrap();
        assert_eq!(uneven.step_nm(), None);
        assert_eq!(uneven.wavelengths().nth(3), Some(400.0));
    }

    #[test]
    fn what_is_no_spectrum_is_refused_by_reason() {
        let said = |result: Result<Spectrum, BadSpectrum>| result.unwrap_err().to_string();
        assert_eq!(
            said(flat(&every(5, 405, 780))),
            "the spectrum goes from 405 to 780 nm: expected one that reaches from 400 to 700 nm"
        );
        assert!(said(flat(&every(50, 400, 700))).starts_with("7 values: expected 16"));
        let mut gap = every(5, 380, 780);
        gap.retain(|nm| !(500.0..=555.0).contains(nm));
        assert!(said(flat(&gap)).starts_with("nothing between 495 and 560 nm"));
        let mut twice = every(5, 380, 780);
        twice[7] = twice[6];
        assert!(said(flat(&twice)).starts_with("410 nm after 410 nm"));
        let nm = every(5, 380, 780);
        let with = |at: usize, value: f64| {
            let mut values = vec![1.0; nm.len()];
            values[at] = value;
            Spectrum::new(SpectralUnit::Relative, &nm, values, None)
        };
        assert!(with(2, -0.01).is_ok(), "dark noise");
        assert!(said(with(2, -0.1)).starts_with("-0.1 at 390 nm"));
        assert!(said(with(2, f64::NAN)).starts_with("NaN at 390 nm"));
        let dark = Spectrum::new(SpectralUnit::Relative, &nm, vec![0.0; nm.len()], None);
        assert_eq!(dark.unwrap_err(), BadSpectrum::Dark);
        let wide = Spectrum::new(SpectralUnit::Relative, &nm, vec![1.0; nm.len()], Some(0.0));
        assert!(said(wide).starts_with("a bandwidth of 0 nm"));
    }

    proptest! {
        #[test]
        fn what_is_written_is_read_again(
            from in 100f64..400.0, steps in prop::collection::vec(0.1f64..20.0, 60..200), seed in any::<u64>(), even in any::<bool>(),
        ) {
            let mut nm = vec![from];
            for step in &steps {
                let next = nm[nm.len() - 1] + if even { steps[0].max(6.0) } else { step.max(6.0) };
                nm.push(next);
            }
            nm.retain(|nm| *nm <= 4000.0);
            let values: Vec<f64> = (0..nm.len()).map(|i| ((seed >> (i % 60)) & 7) as f64 / 3.0 + 1e-3).collect();
            prop_assume!(nm[nm.len() - 1] >= 700.0);
            let spectrum = Spectrum::new(SpectralUnit::Irradiance, &nm, values, Some(5.0)).unwrap();
            let text = serde_json::to_string(&spectrum).unwrap();
            let again: Spectrum = serde_json::from_str(&text).unwrap();
            prop_assert_eq!(&again, &spectrum);
            prop_assert!(again.wavelengths().eq(nm.iter().copied()));
        }
    }
}
