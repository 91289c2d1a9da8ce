//! What a file's reader should know although the file was taken.
//!
//! What does not live here: what refuses a file (`Defect`), and what the site makes of a reading (`admit`).

use super::Quantity;
use crate::reading::Row;
use crate::units::Spectrum;

/// At most this many different warnings of one file are kept.
const KEPT: usize = 50;
/// The wavelengths that a sum over the observer should have, nm: 380 to 780 is enough for most purposes (CIE 15:2018).
const WANTED_NM: (f64, f64) = (380.0, 780.0);

/// Something that was taken, and that means less than a reader may think.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[allow(missing_docs)]
pub enum Warning {
    /// The spectrum does not cover the whole of the standard observer.
    #[error("the spectrum goes from {first} to {last} nm: {}", not_measured(*first, *last))]
    Reach { first: f64, last: f64 },
    /// Fields of a table that mean nothing here.
    #[error("not read: {}{}", names.join(", "), more(*others))]
    NotRead {
        names: Vec<String>,
        /// How many are not among the names.
        others: usize,
    },
    /// Tristimulus values under a spectral quantity.
    #[error(
        "QUANTITY \"{}\" is spectral: X, Y and Z are taken for colour without a level; \
         \"{}\" or \"{}\" would make Y the level",
        found.words(), Quantity::Illuminance.words(), Quantity::Luminance.words()
    )]
    NoLevel { found: Quantity },
    /// A spectral quantity of the lamp itself, which is no light on a print or from a screen.
    #[error("{found} is light as a lamp gives it off, not as it falls on a print: taken for colour without a level")]
    ColourOnly { found: String },
    /// A bandwidth, and no word on whether its effect was taken out.
    #[error("a bandwidth of {nm} nm, and no BandwidthCorrected: nothing is corrected")]
    BandwidthUnclear { nm: f64 },
    /// A date where a time was looked for.
    #[error("{name} {found} has no time of day: it is not taken for the time of the reading")]
    NotTheTime { name: String, found: String },
    /// A date in place of an instant: noon is taken for it.
    #[error("{name} {found} has no time of day: taken as noon of that day, local time")]
    Noon { name: String, found: String },
    /// Another edition of ANSI/IES TM-27 than the one that is known.
    #[error("{found} is not of ANSI/IES TM-27-14: read by the same names, which another edition may use differently")]
    OtherEdition { found: String },
}

impl Warning {
    /// Names what a spectrum lacks of the wavelengths that are wanted, if it lacks any.
    pub fn of_reach(spectrum: &Spectrum) -> Option<Self> {
        let (first, last) = spectrum.reach();
        (first > WANTED_NM.0 || last < WANTED_NM.1).then_some(Self::Reach { first, last })
    }
}

fn not_measured(first: f64, last: f64) -> String {
    let below = (first > WANTED_NM.0).then(|| format!("below {first} nm"));
    let above = (last < WANTED_NM.1).then(|| format!("above {last} nm"));
    let parts: Vec<String> = below.into_iter().chain(above).collect();
    let (from, to) = WANTED_NM;
    format!(
        "nothing {} was measured ({from} to {to} nm is wanted); there the nearest value stands",
        parts.join(" and nothing ")
    )
}

fn more(others: usize) -> String {
    if others == 0 { String::new() } else { format!(" and {others} more") }
}

/// As much of a file's text as a warning shows.
pub(super) fn cut(text: &str) -> String {
    text.chars().filter(|c| !c.is_control()).take(40).collect()
}

/// Adds a warning, unless the same was said before.
pub(super) fn warn(warnings: &mut Vec<Row<Warning>>, line: u64, value: Warning) {
    if warnings.len() < KEPT && !warnings.iter().any(|said| said.value == value) {
        warnings.push(Row { line, value });
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::SpectralUnit;

    #[test]
    fn what_a_spectrum_lacks_is_named() {
        let of = |from: usize, to: usize| {
            let nm: Vec<f64> = (from..=to).step_by(5).map(|nm| nm as f64).collect();
            let spectrum = Spectrum::new(SpectralUnit::Relative, &nm, vec![1.0; nm.len()], None).unwrap();
            Warning::of_reach(&spectrum).map(|warning| warning.to_string())
        };
        assert_eq!((of(360, 830), of(380, 780)), (None, None));
        let low = of(400, 850).unwrap();
        assert!(low.contains("from 400 to 850 nm: nothing below 400 nm was measured"), "{low}");
        let both = of(400, 750).unwrap();
        assert!(both.contains("nothing below 400 nm and nothing above 750 nm was measured"), "{both}");
    }

    #[test]
    fn each_warning_is_given_once() {
        let mut warnings = Vec::new();
        for line in 0..200 {
            warn(&mut warnings, line, Warning::Reach { first: 400.0, last: 700.0 });
        }
        assert_eq!((warnings.len(), warnings[0].line), (1, 0));
        for line in 0..200 {
            warn(&mut warnings, line, Warning::Reach { first: 300.0, last: 700.0 + line as f64 });
        }
        assert_eq!(warnings.len(), KEPT);
    }
}
