//! `[[mapping]]`: tables of other makes, and which of their columns holds what.
//!
//! Not here: what a mapping means (`formats::mapping`).

use super::checks::{Declared, id_of};
use super::walk::{Entry, Table};
use super::words::quoted;
use crate::formats::mapping::{
    BadTimeFormat, Constant, Conversion, Decimal, Field, Ignored, Mapping, SPECTRAL_UNITS, Scope, SpectralColumns,
    TimeColumns, TimeFormat,
};
use crate::formats::{KeywordRules, NamePattern, Quantity};
use crate::reading::ThingKind;
use crate::units::{DeviceId, InstrumentId, OperatorId, SpectralUnit};

const KEYS: [&str; 13] = [
    "id",
    "folder",
    "name",
    "separator",
    "decimal",
    "skip_lines",
    "time",
    "columns",
    "constants",
    "spectral",
    "ignore",
    "ignore_others",
    "keyword_text",
];
const A_DEVICE: [ThingKind; 2] = [ThingKind::Display, ThingKind::Lamp];
const COLUMN: &str = "the name of a column, as the file's header has it";
const TIME: &str = "the column of the time, like \"Date\", { column = \"Date\", format = \"%d.%m.%Y %H:%M\" } or \
                    { date = \"Date\", clock = \"Time\", format = \"%d.%m.%Y %H:%M\" }";
const FORMAT: &str = "how the time is written, like \"%d.%m.%Y %H:%M\": day, month, year, hour and minute";
const COLUMNS: &str =
    "what each column holds, like { x = \"x value\", illuminance_lx = { column = \"E\", unit = \"klx\" } }";
const SPECTRAL: &str =
    "how spectral columns are named and what they hold, like { pattern = \"{nm} nm\", unit = \"W/m2/nm\" }";
const PATTERN: &str = "the name of a spectral column with {nm} for the wavelength, like \"{nm} nm\"";

/// What the `[[mapping]]`s of a file say.
#[derive(Default)]
pub(super) struct Mappings {
    pub(super) tables: Vec<Mapping>,
    pub(super) keyword_text: Vec<(Scope, KeywordRules)>,
}

/// Every `[[mapping]]`.
pub(super) fn mappings(root: &Table<'_>, declared: &Declared) -> Mappings {
    let mut seen: Vec<(String, usize)> = Vec::new();
    let mut mappings = Mappings::default();
    for table in root.sections("mapping") {
        let id = id_of(&table).map(|(entry, id)| {
            if let Some((_, line)) = seen.iter().find(|(other, _)| other == id) {
                let found = format!("\"{id}\", already the id of a mapping on line {line}");
                entry.note(found, "an id of its own for each mapping", None);
            }
            seen.push((id.to_owned(), entry.line()));
            id.to_owned()
        });
        table.only(&KEYS);
        let scope = scope(&table, declared);
        if let Some(entry) = table.get("keyword_text") {
            mappings.keyword_text.extend(keyword_text(&entry).map(|rules| (scope.clone(), rules)));
            // Where nothing is said of tables, keyword text is all it is for.
            if table.keys().all(|(key, _)| ["id", "folder", "name", "keyword_text"].contains(&key)) {
                continue;
            }
        }
        mappings.tables.extend(mapping(&table, id, scope, declared));
    }
    mappings
}

fn scope(table: &Table<'_>, declared: &Declared) -> Scope {
    let folder = table.get("folder").and_then(|entry| declared.refer(&entry, &A_DEVICE));
    let expected = "a file name, with * for any text and ? for any character, like \"log-*.csv\"";
    let name = table.get("name").and_then(|entry| entry.text(expected)).map(str::to_owned);
    Scope { folder: folder.and_then(|id| DeviceId::new(id).ok()), name }
}

fn mapping(table: &Table<'_>, id: Option<String>, scope: Scope, declared: &Declared) -> Option<Mapping> {
    let decimals = [(".", Decimal::Point), (",", Decimal::Comma)];
    let decimal = table.get("decimal").and_then(|entry| entry.choice(&decimals)).unwrap_or_default();
    let separators = [(",", b','), (";", b';'), ("tab", b'\t')];
    // Where numbers have commas, fields have none between them.
    let usual = if decimal == Decimal::Comma { b';' } else { b',' };
    let separator = table.get("separator").and_then(|entry| entry.choice(&separators)).unwrap_or(usual);
    let expected = "how many lines stand before the header, from 0 to 1000";
    let skip_lines = table.get("skip_lines").and_then(|entry| entry.whole(expected, 0..1001)).unwrap_or(0) as usize;
    let mut named = Named::default();
    let time = table.need("time", TIME).and_then(|entry| time(&entry, &mut named));
    let columns = table.get("columns").map(|entry| columns(&entry, &mut named)).unwrap_or_default();
    let spectral = table.get("spectral").and_then(|entry| spectral(&entry));
    let constants = table.get("constants").map(|entry| constants(&entry, &columns, declared)).unwrap_or_default();
    gives_a_colour(table, &columns);
    if let Some((entry, _)) = constants.iter().find(|(_, (field, _))| field.name() == "bandwidth_nm")
        && table.get("spectral").is_none()
    {
        entry.note("a bandwidth without a spectrum", "nothing, or spectral beside it", None);
    }
    let ignored = ignored(table, &named);
    let constants = constants.into_iter().map(|(_, constant)| constant).collect();
    let columns = columns.into_iter().map(|(_, column)| column).collect();
    Some(Mapping { id: id?, scope, separator, decimal, skip_lines, time: time?, columns, constants, spectral, ignored })
}

/// The columns that were spoken of, with the line.
#[derive(Default)]
struct Named(Vec<(String, usize)>);

impl Named {
    /// The name of a column, which must not have been named before.
    fn column(&mut self, entry: &Entry<'_>) -> Option<String> {
        let name = entry.text(COLUMN)?.trim().to_owned();
        if let Some((_, line)) = self.0.iter().find(|(other, _)| *other == name) {
            let found = format!("\"{name}\", of which line {line} speaks already");
            entry.note(found, "each column of the file once", None);
        }
        self.0.push((name.clone(), entry.line()));
        Some(name)
    }
}

fn time(entry: &Entry<'_>, named: &mut Named) -> Option<TimeColumns> {
    if !entry.is_table() {
        if entry.as_text().is_none() {
            entry.mistake(TIME, None);
            return None;
        }
        return Some(TimeColumns { columns: vec![named.column(entry)?], format: None });
    }
    let table = entry.table(TIME, &["column", "date", "clock", "format"])?;
    let (whole, date, clock) = (table.get("column"), table.get("date"), table.get("clock"));
    let columns = match (whole, date, clock) {
        (Some(whole), None, None) => vec![named.column(&whole)?],
        (None, Some(date), Some(clock)) => vec![named.column(&date)?, named.column(&clock)?],
        (None, None, None) if table.keys().any(|(key, _)| key != "format") => return None,
        _ => {
            entry.mistake("either column, or date and clock", None);
            return None;
        }
    };
    let format = table.get("format").map(|entry| format(&entry));
    // None at all is fine, a bad one is not.
    let format = match format {
        Some(format) => Some(format?),
        None => None,
    };
    Some(TimeColumns { columns, format })
}

fn format(entry: &Entry<'_>) -> Option<TimeFormat> {
    let bad = match TimeFormat::new(entry.text(FORMAT)?) {
        Ok(format) => return Some(format),
        Err(bad) => bad,
    };
    let hint = match bad {
        BadTimeFormat::Sign => {
            "%Y year, %m month, %d day, %H hour, %M minute, %S second, %I with %p for 12 hours, %z offset"
        }
        BadTimeFormat::Unfit => "a time without its offset is one of the site's zone; with one, write %z",
        BadTimeFormat::Vague => "a date alone is no time, and %I needs %p; for two columns write date and clock",
    };
    let found = entry.as_text().map_or_else(String::new, |text| format!("\"{text}\", {bad}"));
    entry.note(found, FORMAT, Some(hint.to_owned()));
    None
}

type At<'a, T> = (Entry<'a>, T);

fn columns<'a>(entry: &Entry<'a>, named: &mut Named) -> Vec<At<'a, (String, Field, Conversion)>> {
    let Some(table) = entry.table(COLUMNS, &Field::names()) else { return Vec::new() };
    let mut columns = Vec::new();
    for (key, _) in table.keys() {
        let (Some(field), Some(entry)) = (Field::named(key), table.get(key)) else { continue };
        columns.extend(column(&entry, field, named).map(|column| (entry, column)));
    }
    columns
}

fn column(entry: &Entry<'_>, field: Field, named: &mut Named) -> Option<(String, Field, Conversion)> {
    if entry.as_text().is_some() {
        return Some((named.column(entry)?, field, Conversion::SAME));
    }
    let units = field.units();
    let expected = match units {
        [] => format!("{COLUMN}, in quotation marks"),
        [(unit, _), ..] => format!("{COLUMN}, or {{ column = \"…\", unit = \"{unit}\" }}"),
    };
    let table = entry.table(&expected, &["column", "unit"])?;
    let name = table.need("column", COLUMN).and_then(|entry| named.column(&entry));
    let conversion = match table.get("unit") {
        None => Some(Conversion::SAME),
        Some(unit) if units.is_empty() => {
            let found = format!("a unit for {}", field.name());
            unit.note(found, "no unit: this field has none, or has it in its name", None);
            None
        }
        Some(unit) => unit.choice(units),
    };
    Some((name?, field, conversion?))
}

fn spectral(entry: &Entry<'_>) -> Option<SpectralColumns> {
    let table = entry.table(SPECTRAL, &["pattern", "unit"])?;
    let names = table.need("pattern", PATTERN).and_then(|entry| pattern(&entry, PATTERN));
    let expected = quoted(&SPECTRAL_UNITS.map(|(word, ..)| word), "or");
    let unit = table.need("unit", &expected).and_then(|entry| {
        let units = SPECTRAL_UNITS.map(|(word, unit, conversion)| (word, (unit, conversion)));
        // The micro sign and the Greek letter are two characters.
        match entry.as_text().map(|text| text.replace(['µ', 'μ'], "u")) {
            Some(text) if units.iter().any(|(word, _)| *word == text) => {
                units.iter().find(|(word, _)| *word == text).map(|(_, unit)| *unit)
            }
            _ => entry.choice(&units),
        }
    });
    let (unit, conversion): (SpectralUnit, Conversion) = unit?;
    Some(SpectralColumns { names: names?, unit, conversion })
}

fn pattern(entry: &Entry<'_>, expected: &str) -> Option<NamePattern> {
    match NamePattern::new(entry.text(expected)?) {
        Ok(pattern) => Some(pattern),
        Err(bad) => {
            let said = bad.to_string();
            let found = said.split(": expected").next().unwrap_or_default();
            entry.note(found, expected, None);
            None
        }
    }
}

const KEYWORD_TEXT: &str = "what keyword text does not say itself, like { quantity = \"irradiance W/m2/nm\" }";

fn keyword_text(entry: &Entry<'_>) -> Option<KeywordRules> {
    let table = entry.table(KEYWORD_TEXT, &["spectral_pattern", "quantity"])?;
    let expected = "the name of a spectral field with {nm} for the wavelength and no blanks, like \"SPEC_{nm}\"";
    let spectral_pattern = table.get("spectral_pattern").and_then(|entry| {
        if entry.as_text().is_some_and(|text| text.contains(char::is_whitespace)) {
            entry.mistake(expected, None);
            return None;
        }
        pattern(&entry, expected)
    });
    let quantity = table.get("quantity").and_then(|entry| {
        let words = Quantity::ALL.map(|quantity| (quantity.words(), quantity));
        match entry.as_text().and_then(Quantity::from_words) {
            Some(quantity) => Some(quantity),
            None => entry.choice(&words),
        }
    });
    if table.keys().next().is_none() {
        entry.mistake(KEYWORD_TEXT, None);
    }
    Some(KeywordRules { spectral_pattern, quantity })
}

/// Fields that may be the same in every row.
const CONSTANT: [&str; 7] = ["device", "instrument", "operator", "setting", "source", "patch", "bandwidth_nm"];

fn constants<'a>(
    entry: &Entry<'a>,
    columns: &[At<'_, (String, Field, Conversion)>],
    declared: &Declared,
) -> Vec<At<'a, (Field, Constant)>> {
    let expected = "what holds of every row, like { device = \"bay-lamp\", instrument = \"spectro-1\" }";
    let Some(table) = entry.table(expected, &CONSTANT) else { return Vec::new() };
    let mut constants = Vec::new();
    for key in CONSTANT {
        let (Some(field), Some(entry)) = (Field::named(key), table.get(key)) else { continue };
        if let Some((column, _)) = columns.iter().find(|(_, (_, other, _))| *other == field) {
            let found = format!("a constant {key} beside its column on line {}", column.line());
            entry.note(found, "either a column or a constant", None);
            continue;
        }
        constants.extend(constant(&entry, key, declared).map(|constant| (entry, (field, constant))));
    }
    constants
}

fn constant(entry: &Entry<'_>, key: &str, declared: &Declared) -> Option<Constant> {
    let word = |words: &[&'static str]| {
        let choices: Vec<(&str, &str)> = words.iter().map(|word| (*word, *word)).collect();
        entry.choice(&choices)
    };
    let text = match key {
        "device" => declared.refer(entry, &A_DEVICE),
        "instrument" | "operator" => {
            let text = entry.text(super::settings::ID)?;
            let is_id = InstrumentId::new(text).is_ok() && OperatorId::new(text).is_ok();
            if !is_id {
                entry.mistake(super::settings::ID, None);
            }
            Some(text).filter(|_| is_id)
        }
        "source" => word(&["measured", "label"]),
        "patch" => word(&["white", "black", "paper", "ambient"]),
        "bandwidth_nm" => {
            let expected = "the instrument's full width at half maximum in nm, above 0, at most 50";
            return entry.number(expected, |width| width > 0.0 && width <= 50.0).map(Constant::Number);
        }
        _ => entry.text("a text"),
    };
    text.map(|text| Constant::Text(text.to_owned()))
}

/// Notes a mapping whose tables would have no colour.
fn gives_a_colour(table: &Table<'_>, columns: &[At<'_, (String, Field, Conversion)>]) {
    const SETS: [&[&str]; 4] = [&["X", "Y", "Z"], &["x", "y"], &["u_prime", "v_prime"], &["cct_k"]];
    let has = |name: &&str| columns.iter().any(|(_, (_, field, _))| field.name() == *name);
    let written = table.get("columns");
    // Of what has a mistake already, nobody can tell what it would have been.
    let is_readable = written.as_ref().is_none_or(|entry| entry.keys_of_table() == Some(columns.len()));
    if table.get("spectral").is_some() || !is_readable || SETS.iter().any(|set| set.iter().all(has)) {
        return;
    }
    let sets = SETS.map(|set| set.join(",")).join(" or ");
    let expected = format!("columns for one colour: {sets}; or spectral");
    match written {
        Some(entry) => entry.mistake(&expected, None),
        None => table.missing("columns", &expected, None),
    }
}

fn ignored(table: &Table<'_>, named: &Named) -> Ignored {
    let others = table.get("ignore_others").and_then(|entry| entry.truth()).unwrap_or(false);
    let mut names = Vec::new();
    let expected = "a list of columns that mean nothing here, like [\"Remarks\"]";
    for entry in table.get("ignore").and_then(|entry| entry.list(expected)).unwrap_or_default() {
        let Some(name) = entry.text(COLUMN).map(str::trim) else { continue };
        if let Some((_, line)) = named.0.iter().find(|(other, _)| other == name) {
            let found = format!("\"{name}\", of which line {line} speaks already");
            entry.note(found, "a column that means nothing here", None);
        }
        names.push(name.to_owned());
    }
    if others { Ignored::Others } else { Ignored::Named(names) }
}
