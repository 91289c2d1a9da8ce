//! CSV: a header row of names, then one record a row (RFC 4180, with more separators and fewer assumptions).
//!
//! Grammar: rows end in LF, CRLF or CR; fields are separated by the one of `,` `;` TAB that makes most sense of the
//! header; a field may stand in double quotes, with `""` for a quote in it, and may then hold separators and line
//! ends. Rows in which every field is empty are skipped. Numbers have a decimal point.
//!
//! A row holds one colour set; where it is a spectrum, columns are `nm380`, `nm382.5`, … in any order and at any steps. A
//! spectral field that is empty is absent, so that spectra with different wavelengths, and other colour sets, may share a
//! table.
//!
//! What does not live here: what the fields mean (`row`), the text of rows (`lines`), names that are not ours (`mapped`).

use csv::StringRecord;

use super::column::{Column, Kind, instead_of};
use super::defects::Defects;
use super::field::{Cell, Cells, put};
use super::lines::{Line, Lines, Quotes};
use super::mapped::Plan;
use super::row::{COLOUR_SETS, record};
use super::spectral::{name_of, wavelength, why_unfit};
use super::{
    Context, Format, MAX_ROW_BYTES, MAX_ROWS, MAX_SPECTRAL_ROW_BYTES, Need, Outcome, TOO_MANY_ROWS, Unfinished, refused,
};
use crate::reading::{Record, Row};

/// The largest number of columns beside the spectral ones; of those a spectrum has its own limit.
const MAX_COLUMNS: usize = 200;

/// Reads a table of readings or of events.
pub(super) fn read(text: &str, context: &Context) -> Outcome {
    let separator = separator_of(text);
    let mut lines = Lines::new(text, separator, 1);
    let Some(first) = lines.next_filled() else { return Outcome::Incomplete { why: Unfinished::Empty } };
    match Header::understand(&first, &lines.record, separator, context) {
        Ok(header) => read_rows(lines, &header, context),
        Err(outcome) => outcome,
    }
}

/// Reads the rows that follow a header.
pub(super) fn read_rows(mut lines: Lines<'_>, header: &Header<'_>, context: &Context) -> Outcome {
    let mut rows: Vec<Row<Record>> = Vec::new();
    let mut defects = Defects::default();
    while let Some(line) = lines.advance() {
        match header.row(&line, &lines, context, &mut defects) {
            Ok(Some(value)) if rows.len() < MAX_ROWS => rows.push(Row { line: line.number, value }),
            Ok(Some(_)) => {
                return refused(line.number, &format!("row {}", MAX_ROWS + 1), TOO_MANY_ROWS);
            }
            Ok(None) if defects.are_hopeless() => break,
            Ok(None) => {}
            Err(why) => return Outcome::Incomplete { why },
        }
    }
    if defects.count() > 0 {
        Outcome::Refused(defects.into_list())
    } else if rows.is_empty() {
        Outcome::Incomplete { why: Unfinished::HeaderOnly }
    } else {
        let format = if header.kind == Kind::Event { Format::CsvEvents } else { Format::CsvReadings };
        Outcome::Records(rows, format, Vec::new())
    }
}

/// The separator that makes most known names of the first filled line; a comma where none does.
fn separator_of(text: &str) -> u8 {
    let start = text.trim_start();
    let line = start.split(['\n', '\r']).next().unwrap_or_default();
    let known = |separator: char| {
        let cells = line.split(separator).map(|cell| cell.trim().trim_matches('"').trim());
        cells.filter(|cell| is_known(cell)).count()
    };
    let fields = |separator: char| line.matches(separator).count();
    // Of equals the last counts.
    let best = ['\t', ';', ','].into_iter().max_by_key(|separator| (known(*separator), fields(*separator)));
    best.map_or(b',', |separator| separator as u8)
}

/// Whether a name is one of ours.
pub(super) fn is_known(name: &str) -> bool {
    Column::named(name).is_some() || wavelength(name).is_some()
}

/// The header, understood once for all rows.
pub(super) struct Header<'m> {
    pub kind: Kind,
    /// How many fields a row has.
    pub width: usize,
    /// The last column, as defects name it.
    pub last: String,
    pub meaning: Meaning<'m>,
}

/// What the columns of a table mean.
pub(super) enum Meaning<'m> {
    /// Their names are ours.
    Ours {
        /// The field at each place; nothing where a spectral column stands.
        places: Vec<Option<Column>>,
        /// Place and wavelength of the spectral columns, rising.
        bands: Vec<(usize, f64)>,
    },
    /// A mapping of the configuration says so.
    Mapped(Plan<'m>),
}

impl Header<'_> {
    fn understand(line: &Line<'_>, names: &StringRecord, separator: u8, context: &Context) -> Result<Self, Outcome> {
        let refuse = |found: &str, expected: &str| Err(refused(line.number, found, expected));
        let names: Vec<&str> = names.iter().map(str::trim).collect();
        let spectral = names.iter().filter(|name| wavelength(name).is_some()).count();
        if names.len() - spectral > MAX_COLUMNS {
            return refuse(&format!("{} columns", names.len()), "200 columns at most, beside those of spectra");
        }
        match line.quotes(separator) {
            _ if line.raw.len() > longest(spectral > 0) => return refuse(line.raw, too_long(spectral > 0)),
            Quotes::Open => return Err(Outcome::Incomplete { why: Unfinished::OpenQuote { line: line.number } }),
            _ => {}
        }
        // Where the text ends within the header, the last name may be half of a known one.
        let half = names.last().filter(|name| !line.is_ended() && Column::may_begin_with(name)).is_some();
        let whole = names.len() - usize::from(half);
        if !half && !names.iter().any(|name| is_known(name)) {
            return refuse(line.raw.trim(), NO_HEADER);
        }
        let kind = if names.contains(&Column::Event.name()) { Kind::Event } else { Kind::Reading };
        let mut defects = Defects::default();
        let mut places: Vec<Option<Column>> = Vec::with_capacity(names.len());
        let mut bands: Vec<(usize, f64)> = Vec::with_capacity(spectral);
        for (place, name) in names.iter().take(whole).enumerate() {
            let column = Column::named(name).filter(|column| half || kind.columns().contains(column));
            match (column, wavelength(name)) {
                (None, Some(nm)) => {
                    bands.push((place, nm));
                    places.push(None);
                }
                (None, None) if name.is_empty() => {
                    defects.at(line.number, &format!("column {}", place + 1), "no name", "a name in every column");
                }
                (None, None) => defects.at(line.number, name, "an unknown column", instead_of(name, kind)),
                (Some(_), _) if places.contains(&column) => {
                    defects.at(line.number, name, "the same column twice", "each column once");
                }
                (Some(_), _) => places.push(column),
            }
        }
        let is_whole = line.is_ended() && defects.count() == 0;
        judge_bands(&mut bands, kind, line.number, is_whole, &mut defects);
        let columns: Vec<Column> = places.iter().copied().flatten().collect();
        if is_whole && let Some((found, expected)) = missing(&columns, !bands.is_empty(), kind, context) {
            defects.of_line(line.number, &found, expected);
        }
        if defects.count() > 0 {
            Err(Outcome::Refused(defects.into_list()))
        } else if !line.is_ended() {
            Err(Outcome::Incomplete { why: Unfinished::HeaderOnly })
        } else {
            let last = names.last().copied().unwrap_or_default();
            let last = wavelength(last).map_or_else(|| last.to_owned(), name_of);
            Ok(Self { kind, width: places.len(), last, meaning: Meaning::Ours { places, bands } })
        }
    }

    fn is_spectral(&self) -> bool {
        match &self.meaning {
            Meaning::Ours { bands, .. } => !bands.is_empty(),
            Meaning::Mapped(plan) => plan.is_spectral(),
        }
    }

    /// The record on `line`; nothing where the line is empty or bad; an error where the text ends within it.
    fn row(
        &self,
        line: &Line<'_>,
        lines: &Lines<'_>,
        context: &Context,
        defects: &mut Defects,
    ) -> Result<Option<Record>, Unfinished> {
        let fields = &lines.record;
        let is_last = !line.is_ended();
        let is_too_long = line.raw.len() > MAX_ROW_BYTES && line.raw.len() > longest(self.is_spectral());
        match line.quotes(lines.separator) {
            Quotes::Open if is_last || !is_too_long => return Err(Unfinished::OpenQuote { line: line.number }),
            Quotes::Open => {}
            Quotes::Followed => {
                let expected =
                    "a separator or the end of the line after a closing quote; a quote within quotes is doubled";
                defects.of_line(line.number, line.raw.trim(), expected);
                return Ok(None);
            }
            Quotes::Fine => {}
        }
        if line.raw.trim().is_empty() {
            return Ok(None);
        }
        let (found, expected) = (fields.len(), self.width);
        if is_last && found < expected {
            return Err(Unfinished::MidRow { line: line.number, found, expected });
        }
        if is_too_long {
            defects.of_line(line.number, line.raw.trim(), too_long(self.is_spectral()));
            return Ok(None);
        }
        let mid_field = || Unfinished::MidField { line: line.number, column: self.last.clone() };
        // A row that ends with a separator is most likely cut there: a value may be lost that nobody would miss.
        if is_last && found == expected && fields.iter().next_back().is_some_and(|field| field.trim().is_empty()) {
            return Err(mid_field());
        }
        if fields.iter().all(|field| field.trim().is_empty()) {
            return Ok(None);
        }
        if found != expected {
            let hint = if found < expected {
                "an absent value is an empty field"
            } else {
                "a text that holds the separator needs double quotes, and numbers have a decimal point"
            };
            let expected = format!("{expected} fields as in the header: {hint}");
            defects.of_line(line.number, &format!("{found} fields"), expected);
            return Ok(None);
        }
        let mut here = Defects::default();
        let value = match &self.meaning {
            Meaning::Ours { places, bands } => {
                record(&cells(places, bands, fields), self.kind, line.number, context, &mut here)
            }
            Meaning::Mapped(plan) => plan.record(fields, line.number, context, &mut here),
        };
        // Cut off in a spectrum, its last value may be what makes another one too negative.
        let spectral = |name: &str| match &self.meaning {
            Meaning::Ours { .. } => wavelength(name).is_some(),
            Meaning::Mapped(plan) => plan.holds_a_band(name),
        };
        if is_last && here.concern(|blamed| blamed == self.last || (spectral(&self.last) && spectral(blamed))) {
            return Err(mid_field());
        }
        defects.append(here);
        Ok(value)
    }
}

fn cells<'f>(places: &[Option<Column>], bands: &[(usize, f64)], fields: &'f StringRecord) -> Cells<'f> {
    let mut cells = Cells::default();
    for (column, field) in places.iter().zip(fields) {
        if let Some(column) = column {
            put(&mut cells, *column, Cell::Text(field.into()));
        }
    }
    cells.bands.reserve_exact(bands.len());
    for (place, nm) in bands {
        cells.add_band(*nm, fields.get(*place).map_or(Cell::Absent, |field| Cell::Text(field.into())));
    }
    cells
}

/// Brings the spectral columns into the order of their wavelengths, and says what no row under them could put right.
fn judge_bands(bands: &mut [(usize, f64)], kind: Kind, line: u64, is_whole: bool, defects: &mut Defects) {
    if let Some((_, nm)) = bands.first().filter(|_| kind == Kind::Event) {
        let expected = "columns of events; readings stand in a file of their own";
        defects.at(line, &name_of(*nm), "a spectral column", expected);
        return;
    }
    bands.sort_by(|a, b| a.1.total_cmp(&b.1));
    let before = defects.count();
    for pair in bands.windows(2) {
        if let [(_, one), (_, other)] = pair
            && one == other
        {
            defects.at(line, &name_of(*one), "the same wavelength twice", "each wavelength once");
        }
    }
    if is_whole && defects.count() == before && !bands.is_empty() {
        let wavelengths: Vec<f64> = bands.iter().map(|(_, nm)| *nm).collect();
        if let Some((found, expected)) = why_unfit(&wavelengths) {
            defects.of_line(line, &format!("columns that hold no spectrum: {found}"), expected);
        }
    }
}

/// The longest row of a table, in bytes.
pub(super) fn longest(spectral: bool) -> usize {
    if spectral { MAX_SPECTRAL_ROW_BYTES } else { MAX_ROW_BYTES }
}

fn too_long(spectral: bool) -> &'static str {
    if spectral { "a line of 256 KiB at most" } else { "a line of 64 KiB at most" }
}

const NO_HEADER: &str = "a header row of column names, like time,device,x,y, and values under it; or JSON";

/// What every table of this kind must have and this one has not: what was found, and what was expected.
fn missing(columns: &[Column], spectral: bool, kind: Kind, context: &Context) -> Option<(String, String)> {
    use Column::*;
    const SETS: [&[Column]; 4] = [&[X, Y, Z], &[ChromaX, ChromaY], &[UPrime, VPrime], &[CctK]];
    let has = |column: &Column| columns.contains(column);
    let must = kind == Kind::Event || context.need == Need::Ledger;
    let mut lacking: Vec<&str> = Vec::new();
    if must && !has(&Time) {
        lacking.push("time");
    }
    if must && !has(&Device) && context.folder_device.is_none() {
        lacking.push("device");
    }
    if kind == Kind::Reading && !spectral && !SETS.iter().any(|set| set.iter().all(has)) {
        lacking.push(COLOUR_SETS);
    }
    if lacking.is_empty() {
        return None;
    }
    let spectrum = spectral.then_some("those of a spectrum");
    let found: Vec<&str> = columns.iter().map(|column| column.name()).chain(spectrum).collect();
    let folder = if lacking.contains(&"device") { "; the drop folder may name the device instead" } else { "" };
    Some((format!("columns {}", found.join(", ")), format!("also {}{folder}", lacking.join(" and "))))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_separator_is_the_one_that_makes_sense() {
        for (header, separator) in [
            ("time,device,x,y\n1;2;3", b','),
            ("\n\ntime;device;\"x\";y\n1,2,3,4,5", b';'),
            ("time\tdevice\tnote, or so\r", b'\t'),
            ("time", b','),
            ("a;b;c", b';'),
            ("nm380;nm385", b';'),
        ] {
            assert_eq!(separator_of(header), separator, "{header:?}");
        }
    }
}
