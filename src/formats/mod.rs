//! Bytes in, readings and defects out; picks the format by content and never touches a file.
//!
//! What lives here: the choice of format, and what is refused before any format is tried. Layouts are in `table` (CSV),
//! `json`, `keyword` (CGATS.17 / ISO 28178) and `tm27` (spectral XML), names in `column`, values in `field`, `row` and `spectral`;
//! tables in somebody else's names are declared in [`mapping`] and read in `mapped`. What does not: the site (whether a device
//! exists, whether a value is plausible of it), colorimetry (whether a colour can exist), and any file, clock or configuration.
//!
//! A file is taken whole or refused whole. One that ends in mid-row waits: it is [`Outcome::Incomplete`], so that a
//! writer that is still at work loses nothing. Of a file cut anywhere, what is read is what stood in it, with one
//! exception that nobody can see: a CSV whose last line has no newline, cut within the last field so that what is left
//! still reads as a value (`14` of `145.2`). Whoever writes files ends them with a newline, or renames them into place.

mod column;
mod declared;
mod defects;
mod field;
mod json;
mod keyword;
mod lines;
mod mapped;
pub mod mapping;
mod row;
mod spectral;
mod table;
mod time_format;
mod tm27;
mod warning;

use std::borrow::Cow;

use crate::reading::{ColourSet, Defect, Draft, Event, Record, Row};
use crate::units::DeviceId;
use crate::zone::LocalZone;

use column::{Column, Kind, instead_of};
use defects::Defects;
use field::{Cell, Cells, put};
use mapping::Mapping;

pub use declared::{BadPattern, KeywordRules, NamePattern, Quantity};
pub use warning::Warning;
use warning::warn;

/// The largest input that is looked at, in bytes.
pub const MAX_BYTES: usize = 256 << 20;
/// The largest number of rows of one file.
pub const MAX_ROWS: usize = 1_000_000;
/// The longest row, in bytes.
pub const MAX_ROW_BYTES: usize = 64 << 10;
/// The longest row that holds a spectrum, in bytes: room for the most values that one may have.
pub const MAX_SPECTRAL_ROW_BYTES: usize = 256 << 10;

const TOO_MANY_ROWS: &str = "at most 1 000 000 rows: split the file";

/// What is known of a file from outside it.
#[derive(Debug, Clone, PartialEq)]
pub struct Context {
    /// The zone of local times; without one they are refused, or left out where [`Need::Look`] is enough.
    pub zone: Option<LocalZone>,
    /// The device that the drop folder names, for rows that name none.
    pub folder_device: Option<DeviceId>,
    /// What the readings are wanted for.
    pub need: Need,
    /// Tables of other makes that are read, as far as they may be meant by where the file lies and what it is called.
    pub mappings: Vec<Mapping>,
    /// What keyword text that does not say it itself is known to hold.
    pub keyword_text: KeywordRules,
}

impl Context {
    /// Nothing is known but what the readings are wanted for.
    pub fn of(need: Need) -> Self {
        Self { zone: None, folder_device: None, need, mappings: Vec::new(), keyword_text: KeywordRules::default() }
    }
}

/// What readings are wanted for. Events always need device and time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Need {
    /// To be kept: each needs a device and a time.
    Ledger,
    /// To be looked at: neither is needed, and a local time without a zone is left out.
    Look,
}

/// What became of a file's bytes.
#[derive(Debug, Clone, PartialEq)]
pub enum Outcome {
    /// All rows could be read; in the order of the file. With them, what their reader should know.
    Records(Vec<Row<Record>>, Format, Vec<Row<Warning>>),
    /// The file is not finished: look again when it has grown.
    Incomplete {
        /// What is missing.
        why: Unfinished,
    },
    /// The file cannot be read as it is. Never empty; in the order of the file, at most 200 and a line that counts the
    /// rest.
    Refused(Vec<Defect>),
}

/// A layout that is read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Format {
    CsvReadings,
    CsvEvents,
    Json,
    JsonLines,
    KeywordText,
    Tm27,
}

impl Format {
    /// What people call it.
    pub const fn name(self) -> &'static str {
        match self {
            Self::CsvReadings => "CSV of readings",
            Self::CsvEvents => "CSV of events",
            Self::Json => "JSON",
            Self::JsonLines => "JSON Lines",
            Self::KeywordText => "CGATS.17 / ISO 28178 keyword text",
            Self::Tm27 => "ANSI/IES TM-27 spectral XML",
        }
    }
}

/// Why a file is not finished.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[allow(missing_docs)]
pub enum Unfinished {
    #[error("the file is empty so far")]
    Empty,
    #[error("there is a header, but no row under it yet")]
    HeaderOnly,
    #[error("line {line} has {found} of {expected} fields and no newline: the row is not finished")]
    MidRow { line: u64, found: usize, expected: usize },
    #[error("line {line} has no newline and ends within '{column}': finish the row, or end it with a newline")]
    MidField { line: u64, column: String },
    #[error("the quote that opens on line {line} is not closed")]
    OpenQuote { line: u64 },
    #[error("the JSON text ends too early, on line {line}")]
    MidJson { line: u64 },
    #[error("the table that begins on line {line} has no END_DATA yet")]
    NoEndData { line: u64 },
    #[error("the XML text ends too early, on line {line}")]
    MidXml { line: u64 },
    #[error("the file ends within a character")]
    MidCharacter,
}

/// Reads a file's bytes.
pub fn parse(bytes: &[u8], context: &Context) -> Outcome {
    let text = match text_of(bytes) {
        Ok(text) => text,
        Err(outcome) => return outcome,
    };
    match by_content(&text, context) {
        Outcome::Records(rows, format, mut warnings) => {
            for row in &rows {
                if let Record::Reading(Draft { colour: ColourSet::Spectrum { spectrum }, .. }) = &row.value
                    && let Some(warning) = Warning::of_reach(spectrum)
                {
                    warn(&mut warnings, row.line, warning);
                }
            }
            Outcome::Records(rows, format, warnings)
        }
        outcome => outcome,
    }
}

fn by_content(text: &str, context: &Context) -> Outcome {
    let start = text.trim_start();
    if start.is_empty() {
        return Outcome::Incomplete { why: Unfinished::Empty };
    }
    let nearly = match mapped::read(text, context) {
        Ok(outcome) => return outcome,
        Err(nearly) => nearly,
    };
    let outcome = if start.starts_with(['{', '[']) {
        json::read(text, context)
    } else if start.starts_with('<') {
        tm27::read(text, context)
    } else if keyword::is_written_in(start) {
        keyword::read(text, context)
    } else {
        table::read(text, context)
    };
    match outcome {
        Outcome::Refused(mut defects) => {
            defects.extend(nearly);
            Outcome::Refused(defects)
        }
        outcome => outcome,
    }
}

/// Builds a reading from fields that were typed, named and written as in CSV. Device and time may be missing: the
/// device is then that of `context`, if it has one. Defects have line 0.
pub fn typed(fields: &[(String, String)], context: &Context) -> Result<Draft, Vec<Defect>> {
    let mut defects = Defects::default();
    let cells = typed_cells(fields, Kind::Reading, &mut defects);
    let draft = row::typed(&cells, context, &mut defects);
    draft.filter(|_| defects.count() == 0).ok_or_else(|| defects.into_list())
}

/// Builds an event from fields that were typed, named and written as in CSV; device, time and event must be among them.
pub fn typed_event(fields: &[(String, String)], context: &Context) -> Result<Event, Vec<Defect>> {
    let mut defects = Defects::default();
    let cells = typed_cells(fields, Kind::Event, &mut defects);
    match row::record(&cells, Kind::Event, 0, context, &mut defects) {
        Some(Record::Event(event)) if defects.count() == 0 => Ok(event),
        _ => Err(defects.into_list()),
    }
}

fn typed_cells<'a>(fields: &'a [(String, String)], kind: Kind, defects: &mut Defects) -> Cells<'a> {
    let mut cells = Cells::default();
    let mut seen: Vec<Column> = Vec::new();
    for (name, value) in fields {
        match Column::named(name).filter(|column| kind.columns().contains(column)) {
            None if kind == Kind::Reading
                && let Some(nm) = spectral::wavelength(name) =>
            {
                cells.add_band(nm, Cell::Text(value.as_str().into()));
            }
            None => defects.at(0, name, value, instead_of(name, kind)),
            Some(column) if seen.contains(&column) => defects.at(0, name, value, format!("{name} only once")),
            Some(column) => {
                seen.push(column);
                put(&mut cells, column, Cell::Text(value.as_str().into()));
            }
        }
    }
    cells.order_bands(0, defects);
    cells
}

/// The bytes as text without its byte-order mark, or why they are none. Keyword text is older than UTF-8: what is not
/// UTF-8 is ISO 8859-1 there.
fn text_of(bytes: &[u8]) -> Result<Cow<'_, str>, Outcome> {
    const SAVE: &str = "UTF-8 text: save or export the file again, in UTF-8";
    if bytes.len() > MAX_BYTES {
        let expected = format!("at most {MAX_BYTES} bytes: split the file");
        return Err(refused(0, &format!("{} bytes", bytes.len()), &expected));
    }
    if bytes.starts_with(&[0xFF, 0xFE]) || bytes.starts_with(&[0xFE, 0xFF]) {
        return Err(refused(0, "UTF-16 text", SAVE));
    }
    if bytes.starts_with(b"PK\x03\x04") {
        return Err(refused(
            0,
            "a zip archive, which workbooks are too",
            "a text file: export the sheet as CSV in UTF-8",
        ));
    }
    if bytes.starts_with(b"%PDF-") {
        return Err(refused(0, "a PDF document", "a text file: export the values as CSV in UTF-8"));
    }
    let line_of = |at: usize| 1 + bytes.iter().take(at).filter(|b| **b == b'\n').count() as u64;
    if let Some(at) = bytes.iter().position(|b| *b == 0) {
        return Err(refused(line_of(at), &format!("a NUL byte at offset {at}: binary, or UTF-16 text"), SAVE));
    }
    match std::str::from_utf8(bytes) {
        Ok(text) => Ok(text.strip_prefix('\u{feff}').unwrap_or(text).into()),
        Err(bad) if is_latin_1(bytes, &bad) => Ok(latin_1(bytes).into()),
        Err(bad) if bad.error_len().is_none() => Err(Outcome::Incomplete { why: Unfinished::MidCharacter }),
        Err(bad) => {
            let at = bad.valid_up_to();
            let byte = bytes.get(at).copied().unwrap_or_default();
            let found =
                format!("byte 0x{byte:02X} at offset {at}, which is not UTF-8 (Latin-1 or Windows text, perhaps)");
            Err(refused(line_of(at), &found, SAVE))
        }
    }
}

/// Whether bytes that are not UTF-8 are keyword text in ISO 8859-1, and not UTF-8 that was cut within a character.
fn is_latin_1(bytes: &[u8], bad: &std::str::Utf8Error) -> bool {
    let before = bytes.get(..bad.valid_up_to()).unwrap_or_default();
    let is_cut = bad.error_len().is_none() && !before.is_ascii();
    !is_cut && keyword::is_written_in(latin_1(bytes.get(..keyword::HEAD).unwrap_or(bytes)).trim_start())
}

/// The text of bytes in ISO 8859-1, of which each is a character.
fn latin_1(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| char::from(*byte)).collect()
}

/// A refusal for one reason.
fn refused(line: u64, found: &str, expected: &str) -> Outcome {
    let mut defects = Defects::default();
    defects.of_line(line, found, expected);
    Outcome::Refused(defects.into_list())
}
