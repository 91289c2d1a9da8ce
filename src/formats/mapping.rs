//! What a mapping says: how a table that some other program writes stands for readings of ours.
//!
//! What lives here: the columns such a table has, the units they may be in, how its wavelengths are written, and to which files
//! it applies. What does not: how its times are written (`time_format`), how it is written in a configuration (`config`), and applying it (`mapped`).

use super::column::{Column, Kind};
use super::declared::NamePattern;
use crate::units::{DeviceId, SpectralUnit};

pub use super::time_format::{BadTimeFormat, TimeFormat};

/// Reads the tables of one other make.
#[derive(Debug, Clone, PartialEq)]
pub struct Mapping {
    /// Its name.
    pub id: String,
    /// Which files it is for.
    pub scope: Scope,
    /// What stands between fields: `,`, `;` or a tab.
    pub separator: u8,
    /// What stands in numbers between the whole and its parts.
    pub decimal: Decimal,
    /// Lines before the header.
    pub skip_lines: usize,
    /// Where the time stands.
    pub time: TimeColumns,
    /// Which column holds what; none stands twice, neither as a name nor as a field.
    pub columns: Vec<(String, Field, Conversion)>,
    /// What holds of every row; no field of `columns` is among them.
    pub constants: Vec<(Field, Constant)>,
    /// How spectral columns are named, and what they hold.
    pub spectral: Option<SpectralColumns>,
    /// Columns that mean nothing here.
    pub ignored: Ignored,
}

/// To which files something of the configuration applies.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Scope {
    /// Only to those of this device's inbox folder.
    pub folder: Option<DeviceId>,
    /// Only to those with names like this: `*` stands for any text, `?` for any character.
    pub name: Option<String>,
}

/// The decimal sign.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Decimal {
    #[default]
    Point,
    Comma,
}

/// The columns that hold the time of a reading.
#[derive(Debug, Clone, PartialEq)]
pub struct TimeColumns {
    /// One column, or one for the date and one for the time of day, which are read with a blank between them.
    pub columns: Vec<String>,
    /// How it is written; without one as in our own tables.
    pub format: Option<TimeFormat>,
}

/// A value that holds of every row.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)]
pub enum Constant {
    Text(String),
    Number(f64),
}

/// Spectral columns: their names, and what the values are.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)]
pub struct SpectralColumns {
    pub names: NamePattern,
    pub unit: SpectralUnit,
    pub conversion: Conversion,
}

/// Columns that are passed over.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Ignored {
    /// These.
    Named(Vec<String>),
    /// All that nothing else speaks of.
    Others,
}

/// A field of a reading that a column may hold, or a constant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Field(pub(super) Column);

/// How a value becomes one in our unit.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub enum Conversion {
    Times(f64),
    DividedBy(f64),
    /// Reciprocal megakelvin, which are kelvin again the same way.
    Mired,
}

impl Conversion {
    /// None at all.
    pub const SAME: Self = Self::Times(1.0);

    /// The value in our unit.
    pub fn apply(self, value: f64) -> f64 {
        match self {
            Self::Times(factor) => value * factor,
            Self::DividedBy(divisor) => value / divisor,
            Self::Mired => 1e6 / value,
        }
    }
}

/// Square metres of a square foot; a foot is 0.3048 m exactly (NIST SP 811, appendix B).
const SQUARE_FOOT: f64 = 0.3048 * 0.3048;

impl Field {
    /// The field of this name, like `x` or `illuminance_lx`. Time and unit of a spectrum are said elsewhere.
    pub fn named(name: &str) -> Option<Self> {
        let column = Column::named(name).filter(|column| Kind::Reading.columns().contains(column))?;
        (!matches!(column, Column::Time | Column::Unit)).then_some(Self(column))
    }

    /// The names of all of them.
    pub fn names() -> Vec<&'static str> {
        let names = Kind::Reading.columns().iter().map(|column| column.name());
        names.filter(|name| Self::named(name).is_some()).collect()
    }

    /// Its name.
    pub fn name(self) -> &'static str {
        self.0.name()
    }

    /// Whether it holds a number.
    pub fn is_number(self) -> bool {
        use Column::*;
        !matches!(self.0, Device | Instrument | Operator | Setting | Source | Patch | Id | Note)
    }

    /// The units its column may be in, our own first; none where the field has no unit.
    pub fn units(self) -> &'static [(&'static str, Conversion)] {
        use Conversion::{DividedBy, Mired, Times};
        const SAME: Conversion = Conversion::SAME;
        match self.0 {
            Column::Illuminance => &[("lx", SAME), ("klx", Times(1000.0)), ("fc", DividedBy(SQUARE_FOOT))],
            Column::Luminance => &[("cd/m2", SAME), ("fL", DividedBy(SQUARE_FOOT * std::f64::consts::PI))],
            Column::CctK => &[("K", SAME), ("mired", Mired)],
            Column::Hours => &[("h", SAME), ("min", DividedBy(60.0))],
            Column::WarmupMin => &[("min", SAME), ("h", Times(60.0)), ("s", DividedBy(60.0))],
            _ => &[],
        }
    }
}

/// The units that spectral columns may be in.
pub const SPECTRAL_UNITS: [(&str, SpectralUnit, Conversion); 7] = [
    ("relative", SpectralUnit::Relative, Conversion::SAME),
    ("W/m2/nm", SpectralUnit::Irradiance, Conversion::SAME),
    ("mW/m2/nm", SpectralUnit::Irradiance, Conversion::DividedBy(1e3)),
    ("uW/m2/nm", SpectralUnit::Irradiance, Conversion::DividedBy(1e6)),
    ("W/m2/sr/nm", SpectralUnit::Radiance, Conversion::SAME),
    ("mW/m2/sr/nm", SpectralUnit::Radiance, Conversion::DividedBy(1e3)),
    ("uW/m2/sr/nm", SpectralUnit::Radiance, Conversion::DividedBy(1e6)),
];

impl Scope {
    /// Whether it takes in a file of this name from this device's folder.
    pub fn holds(&self, name: &str, folder: Option<&DeviceId>) -> bool {
        self.folder.as_ref().is_none_or(|wanted| Some(wanted) == folder) && self.holds_name(name)
    }

    /// Whether it takes in a file of this name from wherever.
    pub fn holds_name(&self, name: &str) -> bool {
        self.name.as_deref().is_none_or(|pattern| is_like(name, pattern))
    }
}

/// Whether `name` follows `pattern`, where `*` stands for any text and `?` for any character. Linear but for the last `*`.
fn is_like(name: &str, pattern: &str) -> bool {
    let (name, pattern): (Vec<char>, Vec<char>) = (name.chars().collect(), pattern.chars().collect());
    let (mut at, mut p) = (0, 0);
    // Where the last star stood, and how far the text had been read then.
    let mut star: Option<(usize, usize)> = None;
    while at < name.len() {
        match (pattern.get(p), name.get(at)) {
            (Some('*'), _) => {
                star = Some((p, at));
                p += 1;
            }
            (Some(wanted), Some(found)) if *wanted == '?' || wanted == found => {
                p += 1;
                at += 1;
            }
            _ => match star {
                Some((stood, read)) => {
                    star = Some((stood, read + 1));
                    p = stood + 1;
                    at = read + 1;
                }
                None => return false,
            },
        }
    }
    pattern.iter().skip(p).all(|c| *c == '*')
}

impl SpectralColumns {
    /// The wavelength, nm, of the column of this name, if it is a spectral one.
    pub fn wavelength(&self, name: &str, decimal: Decimal) -> Option<f64> {
        self.names.number(name).and_then(|number| decimal.number(number))
    }
}

impl Decimal {
    /// The number a text writes with this sign, and no other.
    pub fn number(self, text: &str) -> Option<f64> {
        match self {
            Self::Point => super::field::decimal(text),
            Self::Comma if text.contains('.') => None,
            Self::Comma => super::field::decimal(&text.replacen(',', ".", 1)),
        }
    }

    /// What is expected of a number.
    pub fn expected(self) -> &'static str {
        match self {
            Self::Point => "a number with a decimal point and no unit, like 0.3127",
            Self::Comma => "a number with a decimal comma and no unit, like 0,3127",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_have_the_factors_that_are_published() {
        let factor = |field: &str, unit: &str| {
            let units = Field::named(field).unwrap().units();
            units.iter().find(|(name, _)| *name == unit).unwrap().1.apply(1.0)
        };
        // NIST SP 811 (2008), appendix B.8: footcandle 1.076 391 E+01 lx, footlambert 3.426 259 cd/m2.
        assert!((factor("illuminance_lx", "fc") - 10.763_91).abs() < 5e-6);
        assert!((factor("luminance_cd_m2", "fL") - 3.426_259).abs() < 5e-7);
        assert_eq!(factor("cct_k", "mired"), 1e6);
        assert_eq!(Conversion::Mired.apply(200.0), 5000.0);
        assert_eq!((factor("hours", "min") * 60.0, factor("warmup_min", "h")), (1.0, 60.0));
        for name in Field::names() {
            let units = Field::named(name).unwrap().units();
            assert!(units.first().is_none_or(|(_, conversion)| *conversion == Conversion::SAME), "{name}");
        }
        assert_eq!((Field::named("time"), Field::named("unit"), Field::named("event")), (None, None, None));
    }

    #[test]
    fn names_of_files_are_compared() {
        for (pattern, name, like) in [
            ("log-*.csv", "log-1.csv", true),
            ("log-*.csv", "log-.csv", true),
            ("log-*.csv", "log-1.csv.bak", false),
            ("*", "", true),
            ("**a*b", "xaxxbab", true),
            ("?.csv", "é.csv", true),
            ("?.csv", ".csv", false),
            ("a", "ab", false),
            ("", "a", false),
        ] {
            assert_eq!(is_like(name, pattern), like, "{pattern} {name}");
        }
        assert!(!is_like(&"a".repeat(5000), &format!("{}b", "a*".repeat(500))), "in good time");
    }

    #[test]
    fn wavelengths_are_found_in_names() {
        let names = NamePattern::new("{nm} nm").unwrap();
        let columns = SpectralColumns { names, unit: SpectralUnit::Relative, conversion: Conversion::SAME };
        assert_eq!(columns.wavelength("380 nm", Decimal::Point), Some(380.0));
        assert_eq!(columns.wavelength("380,5 nm", Decimal::Comma), Some(380.5));
        assert_eq!(columns.wavelength("380,5 nm", Decimal::Point), None);
        for name in ["380nm", " nm", "x nm", "-380 nm", "3e2 nm", "380"] {
            assert_eq!(columns.wavelength(name, Decimal::Point), None, "{name}");
        }
    }

    #[test]
    fn a_number_has_one_sign() {
        assert_eq!(Decimal::Comma.number("0,3127"), Some(0.3127));
        assert_eq!(Decimal::Comma.number("1e3"), Some(1000.0));
        for text in ["0.3127", "1.234,5", "1,234,5", ",", "nan"] {
            assert_eq!(Decimal::Comma.number(text), None, "{text}");
        }
        assert_eq!(Decimal::Point.number("0,3127"), None);
    }
}
