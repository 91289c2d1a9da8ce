//! Rule sets for viewing conditions, as data: what a standard or a studio asks of a station, point by point.
//!
//! Here: the plain values of a set (`config` reads them, from `config/rules/` and from a user's own `[[rules]]`), and the
//! quantities a point can be about. Every limit carries where it comes from, since the standards are sold and a limit seen
//! in somebody's summary is not the standard. Not here: holding a station against a set (`station::rules`), nor the words
//! (`say::rules`). A rule set never makes a verdict; only the tolerance of a station does.

use crate::units::UvPrime;

/// One set of rules: a viewing condition of a standard, or a house's own.
#[derive(Debug, Clone, PartialEq)]
pub struct RuleSet {
    /// Its name in a configuration, by the rules of every id.
    pub id: String,
    /// Its name for people.
    pub title: String,
    /// The text it follows.
    pub source: String,
    /// The edition of that text; whoever has another one should compare.
    pub edition: String,
    /// What it asks, in the order of the file; never empty, each quantity once.
    pub points: Vec<Rule>,
}

/// One point of a set: the limits of one quantity.
#[derive(Debug, Clone, PartialEq)]
pub struct Rule {
    /// What is limited.
    pub quantity: Quantity,
    /// What must hold.
    pub limit: Limit,
    /// What should hold, where a tighter limit is preferred; of the same form as `limit`.
    pub preferred: Option<Limit>,
    /// A quantity this one stands in for: the point counts only while that one was not measured.
    pub stands_in_for: Option<Quantity>,
    /// How well the limit is known.
    pub origin: Origin,
    /// Where it was seen, in words.
    pub source: String,
}

/// What a quantity must keep within.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Limit {
    /// From `min` to `max`, both included; never both absent.
    #[allow(missing_docs)]
    Range { min: Option<f64>, max: Option<f64> },
    /// Within `radius` about `centre`, in u′v′ of the quantity's own observer.
    #[allow(missing_docs)]
    Circle { centre: UvPrime, radius: f64 },
    /// At most `times` either way: from 1/times to times; above 1.
    #[allow(missing_docs)]
    Ratio { times: f64 },
}

/// The form a limit must have.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Form {
    Range,
    Circle,
    Ratio,
}

/// How well a limit is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Origin {
    /// Seen in the text of the standard that the point names.
    Standard,
    /// Seen in a secondary source, which the point names.
    Secondary,
    /// From memory; no text was at hand.
    Memory,
    /// No standard: common practice, or the house's own choice.
    Practice,
}

impl Origin {
    /// Every origin, with the word it has in files.
    pub const WORDS: [(&str, Self); 4] = [
        ("standard", Self::Standard),
        ("secondary", Self::Secondary),
        ("memory", Self::Memory),
        ("practice", Self::Practice),
    ];

    /// Its word in files and in JSON.
    pub fn word(self) -> &'static str {
        Self::WORDS.iter().find(|(_, origin)| *origin == self).map_or("", |(word, _)| word)
    }
}

macro_rules! quantities {
    ($($(#[$doc:meta])* $name:ident = $word:literal, $unit:literal, $form:ident;)+) => {
        /// What a point can be about.
        #[derive(Debug, Clone, Copy, PartialEq, Eq)]
        pub enum Quantity {
            $($(#[$doc])* $name,)+
        }

        impl Quantity {
            /// Every quantity, with the word it has in files.
            pub const WORDS: &[(&str, Self)] = &[$(($word, Self::$name),)+];

            /// Its word in files and in JSON.
            pub const fn word(self) -> &'static str {
                match self { $(Self::$name => $word,)+ }
            }

            /// The unit of its values and limits; empty for a bare number.
            pub const fn unit(self) -> &'static str {
                match self { $(Self::$name => $unit,)+ }
            }

            /// The form of its limits.
            pub const fn form(self) -> Form {
                match self { $(Self::$name => Form::$form,)+ }
            }
        }
    };
}

quantities! {
    /// The lamp's white for the CIE 1964 10° observer, u′₁₀ v′₁₀; only a spectrum gives it.
    LampWhite10 = "lamp_white_10deg", "u'10 v'10", Circle;
    /// The lamp's white for the CIE 1931 2° observer, which most meters report.
    LampWhite2 = "lamp_white_2deg", "u' v'", Circle;
    /// Illuminance on the print.
    Illuminance = "illuminance", "lx", Range;
    /// General colour rendering index Ra (CIE 13.3-1995).
    Ra = "ra", "", Range;
    /// The lowest of the special indices R1 to R8 (CIE 13.3-1995).
    LowestR1To8 = "lowest_r1_r8", "", Range;
    /// Visible metamerism index of a daylight simulator (ISO 23603).
    MetamerismVisible = "metamerism_visible", "", Range;
    /// Ultraviolet metamerism index of a daylight simulator (ISO 23603).
    MetamerismUv = "metamerism_uv", "", Range;
    /// Lowest illuminance on the viewing surface ÷ the one at its centre.
    Evenness = "evenness", "", Range;
    /// Reflectance factor of what surrounds the print.
    SurroundReflectance = "surround_reflectance", "", Range;
    /// The lamp's hours ÷ its rated hours.
    LampHours = "lamp_hours_of_rated", "", Range;
    /// Minutes the lamp had burned when it was last read.
    WarmUp = "warm_up", "min", Range;
    /// Foreign light ÷ all light on the print.
    AmbientShare = "ambient_share", "", Range;
    /// The screen's white, 2° observer.
    ScreenWhite = "screen_white", "u' v'", Circle;
    /// Distance of the screen's white from its own aim, Δu′v′.
    ScreenToAim = "screen_to_aim", "", Range;
    /// Luminance of the screen's white.
    ScreenLuminance = "screen_luminance", "cd/m2", Range;
    /// Distance of the screen's white from the paper's, Δu′v′.
    ScreenToPaper = "screen_to_paper", "", Range;
    /// Screen luminance ÷ paper luminance.
    LuminanceRatio = "luminance_ratio", "", Ratio;
    /// Black of the screen ÷ the same place with the screen off.
    ScreenBlack = "screen_black", "", Range;
    /// Largest departure of a place of the screen from its centre, in luminance, as a fraction.
    ScreenEvenness = "screen_evenness", "", Range;
    /// Largest distance of a place of the screen from its centre, Δu′v′.
    ScreenTintEvenness = "screen_tint_evenness", "", Range;
    /// Luminance of what surrounds the screen ÷ the screen's white.
    ScreenSurround = "screen_surround", "", Range;
    /// Illuminance at the face of the screen from all around it, screen off.
    ScreenAmbient = "screen_ambient", "lx", Range;
    /// Colour temperature of the ambient light less that of the screen's white.
    AmbientOverScreen = "ambient_cct_over_screen", "K", Range;
}

impl Quantity {
    /// The quantity with this word.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::WORDS.iter().find(|(known, _)| *known == word).map(|(_, quantity)| *quantity)
    }
}

impl Limit {
    /// Whether a number keeps within a range or a ratio; no number keeps within a circle.
    pub fn admits(&self, number: f64) -> bool {
        match *self {
            Self::Range { min, max } => min.is_none_or(|min| number >= min) && max.is_none_or(|max| number <= max),
            Self::Ratio { times } => (1.0 / times..=times).contains(&number),
            Self::Circle { .. } => false,
        }
    }

    /// Whether a chromaticity keeps within a circle; none keeps within anything else.
    pub fn admits_white(&self, at: UvPrime) -> bool {
        match *self {
            Self::Circle { centre, radius } => (at.u - centre.u).hypot(at.v - centre.v) <= radius,
            Self::Range { .. } | Self::Ratio { .. } => false,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_lead_back_to_their_quantities() {
        for (word, quantity) in Quantity::WORDS {
            assert_eq!((Quantity::from_word(word), quantity.word()), (Some(*quantity), *word));
        }
        assert_eq!(Quantity::from_word("lustre"), None);
        assert_eq!(Origin::Memory.word(), "memory");
    }

    #[test]
    fn limits_include_their_ends() {
        let range = Limit::Range { min: Some(375.0), max: Some(625.0) };
        assert!(range.admits(375.0) && range.admits(625.0) && !range.admits(374.9) && !range.admits(f64::NAN));
        assert!(Limit::Range { min: None, max: Some(0.0) }.admits(-50.0));
        let ratio = Limit::Ratio { times: 1.25 };
        assert!(ratio.admits(0.8) && ratio.admits(1.25) && !ratio.admits(0.79) && !ratio.admits(1.26));
        let circle = Limit::Circle { centre: UvPrime { u: 0.2102, v: 0.4889 }, radius: 0.005 };
        assert!(circle.admits_white(UvPrime { u: 0.2132, v: 0.4928 }));
        assert!(!circle.admits_white(UvPrime { u: 0.2142, v: 0.4928 }));
        assert!(!circle.admits(0.21) && !range.admits_white(UvPrime { u: 400.0, v: 400.0 }));
    }
}
