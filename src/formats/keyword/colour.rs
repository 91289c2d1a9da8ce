//! Which fields of a table hold a colour, of what quantity, and which tables are no readings of light at all.
//!
//! The names of the standard (CGATS.17, ISO 28178): XYZ_X, XYZ_Y, XYZ_Z; XYY_X, XYY_Y, XYY_CAPY; pairs of SPECTRAL_NM
//! with SPECTRAL_PCT or SPECTRAL_DEC, which hold reflectance unless a quantity is declared. Beside them our own names
//! `nm380`, and names after the pattern of the configuration. LAB_* is relative to a white that is not told; CMYK_* and
//! densities are of prints.
//!
//! What does not live here: the values (`set`).

use super::super::column::Column;
use super::super::defects::Defects;
use super::super::{Context, KeywordRules, Quantity, spectral};
use super::table::Table;
use crate::units::{SpectralUnit, Spectrum};

/// What a field of a set is by its name.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Kind {
    /// One that is ours, and no colour.
    Ours(Column),
    X,
    Y,
    Z,
    ChromaX,
    ChromaY,
    CapitalY,
    /// The value at this wavelength, nm.
    At(f64),
    /// The wavelength of a pair.
    PairNm,
    /// The value of a pair.
    PairValue {
        is_percent: bool,
    },
    /// Inks, or the densities of a print.
    Print,
    /// A colour relative to a white.
    Relative,
    Unknown,
}

/// Which fields are the colour of a set, and what it is a colour of.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Colour {
    /// X, Y and Z.
    Xyz(Quantity),
    /// x and y; and Y where it is the level.
    Xyy(Quantity),
    /// A value at each of these wavelengths, nm, rising.
    Columns(SpectralUnit, Vec<f64>),
    /// Pairs of wavelength and value.
    Pairs(SpectralUnit),
}

impl Kind {
    pub fn of(name: &str, rules: &KeywordRules) -> Self {
        let by_pattern = || rules.spectral_pattern.as_ref().and_then(|pattern| pattern.wavelength(name));
        let by_name = || spectral::wavelength(name);
        match name.to_ascii_uppercase().as_str() {
            "XYZ_X" => Self::X,
            "XYZ_Y" => Self::Y,
            "XYZ_Z" => Self::Z,
            "XYY_X" => Self::ChromaX,
            "XYY_Y" => Self::ChromaY,
            "XYY_CAPY" => Self::CapitalY,
            "SPECTRAL_NM" => Self::PairNm,
            "SPECTRAL_PCT" => Self::PairValue { is_percent: true },
            "SPECTRAL_DEC" => Self::PairValue { is_percent: false },
            "SAMPLE_ID" => Self::Ours(Column::Id),
            "SAMPLE_NAME" => Self::Ours(Column::Note),
            upper if upper.starts_with("CMYK_") || upper.starts_with("D_") || upper.contains("CLR_") => Self::Print,
            upper if upper.starts_with("LAB_") || upper.starts_with("LCH_") => Self::Relative,
            _ => match by_pattern().or_else(by_name) {
                Some(nm) => Self::At(nm),
                None => ours(name).map_or(Self::Unknown, Self::Ours),
            },
        }
    }

    fn is_colour(self) -> bool {
        use Kind::*;
        matches!(self, X | Y | Z | ChromaX | ChromaY | CapitalY | At(_) | PairNm | PairValue { .. })
    }

    /// Whether a table may have it more than once.
    pub fn may_repeat(self) -> bool {
        matches!(self, Self::At(_) | Self::PairNm | Self::PairValue { .. })
            || matches!(self, Self::Print | Self::Relative | Self::Unknown)
    }
}

/// The column of ours that a keyword or field of this name is, capitals or not.
pub(super) fn ours(name: &str) -> Option<Column> {
    use Column::*;
    [Time, Device, Instrument, Operator, Hours, WarmupMin, Setting, Source, Patch, Ra, Id, Note]
        .into_iter()
        .find(|column| column.name().eq_ignore_ascii_case(name))
}

/// Finds the colour of a table; adds a defect where it has none that is light.
pub(super) fn of_table(table: &Table<'_>, kinds: &[Kind], context: &Context, defects: &mut Defects) -> Option<Colour> {
    const LIGHT: &str = "a reading of a display or a lamp: printed patches are measured under the instrument's own light, \
                         and say nothing of the light of a station";
    const NO_COLOUR: &str = "XYZ_X, XYZ_Y and XYZ_Z; or XYY_X and XYY_Y; or spectral fields: nm380, or as the pattern in \
                             the configuration names them";
    let declared = declared(table, defects).ok()?;
    if let Some(found) = printed(table, kinds, declared, context) {
        defects.of_line(table.format_line, &found, LIGHT);
        return None;
    }
    if !kinds.iter().any(|kind| kind.is_colour()) {
        defects.of_line(table.format_line, &format!("fields {}", table.fields.join(", ")), NO_COLOUR);
        return None;
    }
    let Some(quantity) = declared.or(context.keyword_text.quantity) else {
        let expected = format!("KEYWORD \"QUANTITY\" and a line QUANTITY with {}; in each table", all_quantities());
        defects.of_line(table.line, "no QUANTITY", expected);
        return None;
    };
    let has = |kind: Kind| kinds.contains(&kind);
    let is_spectral = |kind: &Kind| matches!(kind, Kind::At(_) | Kind::PairNm | Kind::PairValue { .. });
    if kinds.iter().any(is_spectral) {
        let Quantity::Spectral(unit) = quantity else {
            let expected = format!("for spectral fields one of {}", spectral_quantities());
            let line = table.keyword("QUANTITY").next().map_or(table.line, |said| said.line);
            defects.of_line(line, &format!("QUANTITY \"{}\"", quantity.words()), expected);
            return None;
        };
        return if kinds.iter().any(|kind| matches!(kind, Kind::At(_))) {
            columns(table, kinds, unit, defects)
        } else {
            pairs(table, kinds, unit, defects)
        };
    }
    let missing = if has(Kind::X) || has(Kind::Y) || has(Kind::Z) {
        let all = [(Kind::X, "XYZ_X"), (Kind::Y, "XYZ_Y"), (Kind::Z, "XYZ_Z")];
        all.into_iter().filter(|(kind, _)| !has(*kind)).map(|(_, name)| name).collect::<Vec<_>>()
    } else if has(Kind::ChromaX) && has(Kind::ChromaY) {
        if has(Kind::CapitalY) || !matches!(quantity, Quantity::Illuminance | Quantity::Luminance) {
            return Some(Colour::Xyy(quantity));
        }
        vec!["XYY_CAPY (the level that QUANTITY declares)"]
    } else {
        let all = [(Kind::ChromaX, "XYY_X"), (Kind::ChromaY, "XYY_Y")];
        all.into_iter().filter(|(kind, _)| !has(*kind)).map(|(_, name)| name).collect()
    };
    if missing.is_empty() {
        return Some(Colour::Xyz(quantity));
    }
    let found = format!("fields {}", table.fields.join(", "));
    defects.of_line(table.format_line, &found, format!("also {}", missing.join(" and ")));
    None
}

/// What the table's own QUANTITY says, if it has one; an error where it says nothing that is known.
fn declared(table: &Table<'_>, defects: &mut Defects) -> Result<Option<Quantity>, ()> {
    let mut said: Option<Quantity> = None;
    for keyword in table.keyword("QUANTITY") {
        let material = ["reflect", "transmi", "absor", "densit"];
        let value = keyword.value.to_lowercase();
        let expected = match Quantity::from_words(&value) {
            Some(quantity) if said.is_none_or(|before| before == quantity) => {
                said = Some(quantity);
                continue;
            }
            Some(_) => "one quantity in a table".to_owned(),
            None if material.iter().any(|word| value.starts_with(word)) => {
                format!("a quantity of light, one of {}: this is one of materials", all_quantities())
            }
            None => format!("a quantity and its unit, one of {}", all_quantities()),
        };
        defects.at(keyword.line, "QUANTITY", &keyword.value, expected);
        return Err(());
    }
    Ok(said)
}

/// Says by what a table is known to be of prints, if it is.
fn printed(table: &Table<'_>, kinds: &[Kind], declared: Option<Quantity>, context: &Context) -> Option<String> {
    let names = |wanted: fn(&Kind) -> bool| -> Vec<&str> {
        kinds
            .iter()
            .zip(&table.fields)
            .filter(|(kind, _)| wanted(kind))
            .map(|(_, name)| name.as_ref())
            .take(8)
            .collect()
    };
    let has_colour = kinds.iter().any(|kind| kind.is_colour());
    let nothing_declared = declared.is_none() && context.keyword_text.quantity.is_none();
    let mut signs = names(|kind| *kind == Kind::Print);
    if !has_colour && signs.is_empty() {
        signs.extend(names(|kind| *kind == Kind::Relative));
    }
    if nothing_declared && kinds.contains(&Kind::PairNm) {
        signs.extend(names(|kind| matches!(kind, Kind::PairValue { .. })).first());
    }
    let mut said = Vec::new();
    if !signs.is_empty() {
        said.push(format!("fields {}", signs.join(", ")));
    }
    // What the file itself declares goes before what may stand in a header by habit.
    if declared.is_none() {
        let of_material = |value: &str| ["reflect", "transmi"].iter().any(|word| value.to_lowercase().contains(word));
        let geometry = table.keyword("MEASUREMENT_GEOMETRY").filter(|keyword| of_material(&keyword.value));
        let source = table.keyword("MEASUREMENT_SOURCE").filter(|keyword| of_material(&keyword.value));
        let without = ["", "none", "no", "n/a", "na"];
        let backing = table.keyword("SAMPLE_BACKING");
        let backing = backing.filter(|keyword| !without.contains(&keyword.value.to_lowercase().as_str()));
        said.extend(geometry.chain(source).chain(backing).map(|said| format!("{} \"{}\"", said.name, said.value)));
    }
    (!said.is_empty()).then(|| said.join(", "))
}

fn columns(table: &Table<'_>, kinds: &[Kind], unit: SpectralUnit, defects: &mut Defects) -> Option<Colour> {
    let mut nm: Vec<f64> =
        kinds.iter().filter_map(|kind| if let Kind::At(nm) = kind { Some(*nm) } else { None }).collect();
    nm.sort_by(f64::total_cmp);
    // What is wrong with the wavelengths is wrong with every set: it is said once.
    if let Err(bad) = Spectrum::new(unit, &nm, vec![1.0; nm.len()], None) {
        defects.of_spectrum(table.format_line, &bad);
        return None;
    }
    Some(Colour::Columns(unit, nm))
}

fn pairs(table: &Table<'_>, kinds: &[Kind], unit: SpectralUnit, defects: &mut Defects) -> Option<Colour> {
    let of_pairs: Vec<Kind> =
        kinds.iter().copied().filter(|kind| matches!(kind, Kind::PairNm | Kind::PairValue { .. })).collect();
    if !of_pairs.chunks(2).all(|pair| matches!(pair, [Kind::PairNm, Kind::PairValue { .. }])) {
        let found = format!("{} spectral fields that are no pairs", of_pairs.len());
        defects.of_line(table.format_line, &found, "SPECTRAL_NM before each SPECTRAL_PCT or SPECTRAL_DEC");
        return None;
    }
    if unit != SpectralUnit::Relative && of_pairs.contains(&Kind::PairValue { is_percent: true }) {
        let found = format!("SPECTRAL_PCT and the quantity {}", unit.word());
        defects.of_line(
            table.format_line,
            &found,
            "SPECTRAL_DEC with it: percent are of something, and go with 'relative'",
        );
        return None;
    }
    Some(Colour::Pairs(unit))
}

fn quoted(quantities: impl Iterator<Item = Quantity>) -> String {
    quantities.map(|quantity| format!("\"{}\"", quantity.words())).collect::<Vec<_>>().join(", ")
}

fn all_quantities() -> String {
    quoted(Quantity::ALL.into_iter())
}

fn spectral_quantities() -> String {
    quoted(Quantity::ALL.into_iter().filter(|quantity| matches!(quantity, Quantity::Spectral(_))))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::formats::NamePattern;

    #[test]
    fn fields_are_known_by_name() {
        let none = KeywordRules::default();
        let rules = KeywordRules { spectral_pattern: NamePattern::new("S{nm}").ok(), quantity: None };
        for (name, kind) in [
            ("xyz_y", Kind::Y),
            ("XYY_Y", Kind::ChromaY),
            ("nm380", Kind::At(380.0)),
            ("nm380.5", Kind::At(380.5)),
            ("nm1.2.3", Kind::Unknown),
            ("warmup_min", Kind::Ours(Column::WarmupMin)),
            ("SAMPLE_NAME", Kind::Ours(Column::Note)),
            ("7CLR_3", Kind::Print),
            ("LAB_A", Kind::Relative),
            ("S380", Kind::Unknown),
            ("EVENT", Kind::Unknown),
            ("x", Kind::Unknown),
        ] {
            assert_eq!(Kind::of(name, &none), kind, "{name}");
        }
        assert_eq!(Kind::of("S380", &rules), Kind::At(380.0));
    }
}
