//! What a file of keyword text, or the configuration of the folder it came in, declares of its values: which quantity
//! they are in which unit, and how its spectral columns are named. Nothing of this is ever guessed.
//!
//! What does not live here: reading keyword text (`keyword`), and reading a configuration (`config`).

use crate::units::SpectralUnit;

/// What the values of a table are values of, and in which unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// The spectrum of light, or with `relative` a colour on any scale.
    Spectral(SpectralUnit),
    /// Y is the illuminance, lx.
    Illuminance,
    /// Y is the luminance, cd/m².
    Luminance,
}

impl Quantity {
    /// All of them.
    pub const ALL: [Self; 5] = [
        Self::Spectral(SpectralUnit::Irradiance),
        Self::Spectral(SpectralUnit::Radiance),
        Self::Spectral(SpectralUnit::Relative),
        Self::Illuminance,
        Self::Luminance,
    ];

    /// As it is written: the quantity and its unit.
    pub const fn words(self) -> &'static str {
        match self {
            Self::Spectral(SpectralUnit::Irradiance) => "irradiance W/m2/nm",
            Self::Spectral(SpectralUnit::Radiance) => "radiance W/m2/sr/nm",
            Self::Spectral(SpectralUnit::Relative) => "relative",
            Self::Illuminance => "illuminance lx",
            Self::Luminance => "luminance cd/m2",
        }
    }

    /// The quantity that `text` names with its unit; capitals and the number of blanks do not matter.
    pub fn from_words(text: &str) -> Option<Self> {
        let words = || text.split_whitespace();
        Self::ALL.into_iter().find(|quantity| {
            let known = quantity.words();
            known.split(' ').count() == words().count()
                && known.split(' ').zip(words()).all(|(known, word)| known.eq_ignore_ascii_case(word))
        })
    }
}

/// How spectral columns are named: a text in which `{nm}` stands for the wavelength, like `SPEC_{nm}`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NamePattern {
    before: String,
    after: String,
}

/// Why a text is no such pattern.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[allow(missing_docs)]
pub enum BadPattern {
    #[error("'{found}' says nothing of the wavelength: expected {{nm}} where it stands in the name, like SPEC_{{nm}}")]
    NoPlace { found: String },
    #[error("'{found}' has {{nm}} more than once: expected it once, like SPEC_{{nm}}")]
    TwoPlaces { found: String },
    #[error("'{found}' is no name of a column: expected at most 64 characters without quotes and #")]
    NotAName { found: String },
    #[error("'{found}' has a digit, a point or a comma beside {{nm}}: expected something that ends the wavelength")]
    Digit { found: String },
}

impl NamePattern {
    const PLACE: &str = "{nm}";

    /// Takes a text as a pattern.
    pub fn new(text: &str) -> Result<Self, BadPattern> {
        let found: String = text.chars().take(80).collect();
        let unfit = |c: char| c.is_control() || matches!(c, '"' | '#');
        if text.chars().count() > 64 || text.contains(unfit) {
            return Err(BadPattern::NotAName { found });
        }
        let Some((before, after)) = text.split_once(Self::PLACE) else {
            return Err(BadPattern::NoPlace { found });
        };
        if after.contains(Self::PLACE) {
            return Err(BadPattern::TwoPlaces { found });
        }
        if before.ends_with(of_a_number) || after.starts_with(of_a_number) {
            return Err(BadPattern::Digit { found });
        }
        Ok(Self { before: before.trim_start().to_owned(), after: after.trim_end().to_owned() })
    }

    /// The wavelength, nm, that a column of this name holds; nothing where the name does not follow the pattern.
    pub fn wavelength(&self, name: &str) -> Option<f64> {
        self.number(name).and_then(|number| number.parse().ok()).filter(|nm: &f64| nm.is_finite())
    }

    /// What stands in a name for the wavelength: digits first, perhaps with a decimal sign.
    pub(super) fn number<'n>(&self, name: &'n str) -> Option<&'n str> {
        let number = name.strip_prefix(self.before.as_str())?.strip_suffix(self.after.as_str())?;
        let is_plain = number.starts_with(|c: char| c.is_ascii_digit()) && number.chars().all(of_a_number);
        Some(number).filter(|_| is_plain)
    }
}

impl std::fmt::Display for NamePattern {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}{}{}", self.before, Self::PLACE, self.after)
    }
}

fn of_a_number(c: char) -> bool {
    c.is_ascii_digit() || c == '.' || c == ','
}

/// What is known from outside of keyword text that does not say it itself.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct KeywordRules {
    /// How spectral columns are named, beside the names that are always known.
    pub spectral_pattern: Option<NamePattern>,
    /// What the values are where a table has no QUANTITY.
    pub quantity: Option<Quantity>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_quantity_is_named_with_its_unit() {
        for quantity in Quantity::ALL {
            assert_eq!(Quantity::from_words(quantity.words()), Some(quantity));
        }
        assert_eq!(Quantity::from_words(" Illuminance  LX "), Some(Quantity::Illuminance));
        for text in
            ["", "irradiance", "lx", "illuminance cd/m2", "irradiance mW/m2/nm", "relative lx", "luminance cd/m2 x"]
        {
            assert_eq!(Quantity::from_words(text), None, "{text}");
        }
    }

    #[test]
    fn a_pattern_finds_the_wavelength() {
        let pattern = NamePattern::new("SPEC_{nm}").unwrap();
        assert_eq!(pattern.to_string(), "SPEC_{nm}");
        assert_eq!(pattern.wavelength("SPEC_380"), Some(380.0));
        assert_eq!(pattern.wavelength("SPEC_380.5"), Some(380.5));
        for name in ["SPEC_", "SPEC_x", "SPEC_.", "spec_380", "SPEC_380nm", "SPEC_-380", "SPEC_1.2.3", "SPEC_1e3"] {
            assert_eq!(pattern.wavelength(name), None, "{name}");
        }
        assert_eq!(NamePattern::new("{nm}nm").unwrap().wavelength("405nm"), Some(405.0));
        assert_eq!(NamePattern::new("{nm}").unwrap().wavelength("405"), Some(405.0));
    }

    #[test]
    fn a_text_that_is_no_pattern_is_refused() {
        let said = |text: &str| NamePattern::new(text).unwrap_err().to_string();
        assert!(said("SPEC_").contains("'SPEC_' says nothing of the wavelength: expected {nm}"));
        assert!(said("").contains("says nothing"));
        assert!(said("{nm}_{nm}").contains("more than once"));
        assert!(said("SPEC\"{nm}").contains("no name of a column"));
        assert!(said(&format!("{}{{nm}}", "a".repeat(70))).contains("no name of a column"));
        assert!(said("S1{nm}").contains("a digit, a point or a comma beside"));
        assert!(said("{nm}.0").contains("a digit, a point or a comma beside"));
    }
}
