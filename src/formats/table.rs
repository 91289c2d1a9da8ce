//! CSV: a header row of names, then one record a row (RFC 4180, with more separators and fewer assumptions).
//!
//! Grammar: rows end in LF, CRLF or CR; fields are separated by the one of `,` `;` TAB that makes most sense of the
//! header; a field may stand in double quotes, with `""` for a quote in it, and may then hold separators and line
//! ends. Rows in which every field is empty are skipped. Numbers have a decimal point.
//!
//! What does not live here: what the fields mean (`row`).

use csv::{ReaderBuilder, StringRecord};

use super::column::{Column, Kind, instead_of, is_spectral};
use super::defects::Defects;
use super::field::{Cell, Cells, put};
use super::row::{COLOUR_SETS, record};
use super::{Context, Format, MAX_ROW_BYTES, MAX_ROWS, Need, Outcome, TOO_MANY_ROWS, Unfinished, refused};
use crate::reading::{Record, Row};

/// The largest number of columns.
const MAX_COLUMNS: usize = 200;

/// Reads a table of readings or of events.
pub(super) fn read(text: &str, context: &Context) -> Outcome {
    let separator = separator_of(text);
    let mut lines = Lines::new(text, separator);
    let Some(first) = lines.next_filled() else { return Outcome::Incomplete { why: Unfinished::Empty } };
    let header = match Header::understand(&first, &lines.record, separator, context) {
        Ok(header) => header,
        Err(outcome) => return outcome,
    };
    let mut rows: Vec<Row<Record>> = Vec::new();
    let mut defects = Defects::default();
    while let Some(line) = lines.advance() {
        match header.row(&line, &lines.record, separator, context, &mut defects) {
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
        let cells = line.split(separator).take(MAX_COLUMNS).map(|cell| cell.trim().trim_matches('"').trim());
        cells.filter(|cell| Column::named(cell).is_some() || is_spectral(cell)).count()
    };
    let fields = |separator: char| line.matches(separator).count();
    // Of equals the last counts.
    let best = ['\t', ';', ','].into_iter().max_by_key(|separator| (known(*separator), fields(*separator)));
    best.map_or(b',', |separator| separator as u8)
}

/// One row as it stands in the file.
struct Line<'t> {
    number: u64,
    raw: &'t str,
}

impl Line<'_> {
    fn is_ended(&self) -> bool {
        self.raw.ends_with(['\n', '\r'])
    }

    fn quotes(&self, separator: u8) -> Quotes {
        quotes(self.raw, separator)
    }
}

/// What the quotes of a row are worth.
#[derive(Debug, PartialEq, Eq)]
enum Quotes {
    Fine,
    /// The row ended, and the quote was still open.
    Open,
    /// Something other than a separator follows a closing quote.
    Followed,
}

/// Walks over the rows, with the line each begins on.
struct Lines<'t> {
    text: &'t str,
    reader: csv::Reader<&'t [u8]>,
    record: StringRecord,
    separator: u8,
    counted_to: usize,
    number: u64,
}

impl<'t> Lines<'t> {
    fn new(text: &'t str, separator: u8) -> Self {
        let reader = ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .delimiter(separator)
            .buffer_capacity(text.len().clamp(1 << 10, 64 << 10))
            .from_reader(text.as_bytes());
        Self { text, reader, record: StringRecord::new(), separator, counted_to: 0, number: 1 }
    }

    /// The next row; its fields are in `record`.
    fn advance(&mut self) -> Option<Line<'t>> {
        // The text is UTF-8 and lies in memory: reading it cannot fail.
        if !self.reader.read_record(&mut self.record).unwrap_or(false) {
            return None;
        }
        let start = self.record.position().map_or(0, |at| at.byte() as usize);
        let raw = self.text.get(start..self.reader.position().byte() as usize)?;
        // Empty lines before a row, and the LF of the CRLF before it, are counted to the row by the reader.
        let blank = raw.len() - raw.trim_start_matches(['\n', '\r']).len();
        let begin = start + blank;
        self.number += line_ends(self.text.get(self.counted_to..begin).unwrap_or_default());
        self.counted_to = begin;
        Some(Line { number: self.number, raw: raw.get(blank..).unwrap_or_default() })
    }

    /// The next row that is not empty all through.
    fn next_filled(&mut self) -> Option<Line<'t>> {
        loop {
            let line = self.advance()?;
            if self.record.iter().any(|field| !field.trim().is_empty()) || line.quotes(self.separator) != Quotes::Fine {
                return Some(line);
            }
        }
    }
}

/// How many lines end within `text`: each LF, and each CR that no LF follows.
fn line_ends(text: &str) -> u64 {
    let bytes = text.as_bytes();
    let feeds = bytes.iter().filter(|b| **b == b'\n').count();
    if !bytes.contains(&b'\r') {
        return feeds as u64;
    }
    let returns = bytes.iter().filter(|b| **b == b'\r').count();
    let pairs = bytes.windows(2).filter(|pair| *pair == b"\r\n").count();
    (feeds + returns - pairs) as u64
}

fn quotes(raw: &str, separator: u8) -> Quotes {
    if !raw.contains('"') {
        return Quotes::Fine;
    }
    #[derive(PartialEq)]
    enum At {
        Start,
        Bare,
        Quoted,
        Closed,
    }
    let mut at = At::Start;
    for byte in raw.bytes() {
        at = match (at, byte) {
            (At::Start | At::Closed, b'"') => At::Quoted,
            (At::Quoted, b'"') => At::Closed,
            (At::Quoted, _) => At::Quoted,
            (_, b'\n' | b'\r') => At::Start,
            (_, byte) if byte == separator => At::Start,
            (At::Closed, _) => return Quotes::Followed,
            _ => At::Bare,
        };
    }
    if at == At::Quoted { Quotes::Open } else { Quotes::Fine }
}

/// The header, understood once for all rows.
struct Header {
    kind: Kind,
    columns: Vec<Column>,
}

impl Header {
    fn understand(line: &Line<'_>, names: &StringRecord, separator: u8, context: &Context) -> Result<Self, Outcome> {
        let refuse = |found: &str, expected: &str| Err(refused(line.number, found, expected));
        let names: Vec<&str> = names.iter().map(str::trim).collect();
        if names.iter().any(|name| is_spectral(name)) {
            return refuse(
                "spectral columns, like nm380",
                "columns of one colour set: spectra are read from a later version on",
            );
        }
        if names.len() > MAX_COLUMNS {
            return refuse(&format!("{} columns", names.len()), "200 columns at most");
        }
        match line.quotes(separator) {
            _ if line.raw.len() > MAX_ROW_BYTES => return refuse(line.raw, TOO_LONG),
            Quotes::Open => return Err(Outcome::Incomplete { why: Unfinished::OpenQuote { line: line.number } }),
            _ => {}
        }
        // Where the text ends within the header, the last name may be half of a known one.
        let half = names.last().filter(|name| !line.is_ended() && Column::may_begin_with(name)).is_some();
        let whole = names.len() - usize::from(half);
        if !half && names.iter().all(|name| Column::named(name).is_none()) {
            return refuse(line.raw.trim(), NO_HEADER);
        }
        let kind = if names.contains(&Column::Event.name()) { Kind::Event } else { Kind::Reading };
        let mut defects = Defects::default();
        let mut columns: Vec<Column> = Vec::with_capacity(names.len());
        for (place, name) in names.iter().take(whole).enumerate() {
            match Column::named(name).filter(|column| half || kind.columns().contains(column)) {
                None if name.is_empty() => {
                    defects.at(line.number, &format!("column {}", place + 1), "no name", "a name in every column");
                }
                None => defects.at(line.number, name, "an unknown column", instead_of(name, kind)),
                Some(column) if columns.contains(&column) => {
                    defects.at(line.number, name, "the same column twice", "each column once");
                }
                Some(column) => columns.push(column),
            }
        }
        let is_whole = line.is_ended() && defects.count() == 0;
        if let Some((found, expected)) = missing(&columns, kind, context).filter(|_| is_whole) {
            defects.of_line(line.number, &found, expected);
        }
        if defects.count() > 0 {
            Err(Outcome::Refused(defects.into_list()))
        } else if !line.is_ended() {
            Err(Outcome::Incomplete { why: Unfinished::HeaderOnly })
        } else {
            Ok(Self { kind, columns })
        }
    }

    /// The record on `line`; nothing where the line is empty or bad; an error where the text ends within it.
    fn row(
        &self,
        line: &Line<'_>,
        fields: &StringRecord,
        separator: u8,
        context: &Context,
        defects: &mut Defects,
    ) -> Result<Option<Record>, Unfinished> {
        let is_last = !line.is_ended();
        let too_long = line.raw.len() > MAX_ROW_BYTES;
        match line.quotes(separator) {
            Quotes::Open if is_last || !too_long => return Err(Unfinished::OpenQuote { line: line.number }),
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
        let (found, expected) = (fields.len(), self.columns.len());
        if is_last && found < expected {
            return Err(Unfinished::MidRow { line: line.number, found, expected });
        }
        if too_long {
            defects.of_line(line.number, line.raw.trim(), TOO_LONG);
            return Ok(None);
        }
        let last = self.columns.last().map_or("", |column| column.name());
        let mid_field = || Unfinished::MidField { line: line.number, column: last.to_owned() };
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
        let mut cells = Cells::default();
        for (column, field) in self.columns.iter().zip(fields) {
            put(&mut cells, *column, Cell::Text(field.into()));
        }
        let mut here = Defects::default();
        let value = record(&cells, self.kind, line.number, context, &mut here);
        if is_last && here.concern(last) {
            return Err(mid_field());
        }
        defects.append(here);
        Ok(value)
    }
}

const TOO_LONG: &str = "a line of 64 KiB at most";
const NO_HEADER: &str = "a header row of column names, like time,device,x,y, and values under it; or JSON";

/// What every table of this kind must have and this one has not: what was found, and what was expected.
fn missing(columns: &[Column], kind: Kind, context: &Context) -> Option<(String, String)> {
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
    if kind == Kind::Reading && !SETS.iter().any(|set| set.iter().all(has)) {
        lacking.push(COLOUR_SETS);
    }
    if lacking.is_empty() {
        return None;
    }
    let found: Vec<&str> = columns.iter().map(|column| column.name()).collect();
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

    #[test]
    fn every_kind_of_line_end_is_counted_once() {
        for (text, count) in [("", 0), ("a\nb\n", 2), ("a\r\nb\r\n", 2), ("a\rb", 1), ("\n\r\n\r\r", 4)] {
            assert_eq!(line_ends(text), count, "{text:?}");
        }
    }

    #[test]
    fn quotes_are_judged() {
        for (raw, expected) in [
            ("a,b\n", Quotes::Fine),
            ("\"a,\"\"b\"\"\",c\r\n", Quotes::Fine),
            ("5\" tube,\"\"", Quotes::Fine),
            ("a,\"b\n", Quotes::Open),
            ("a,\"b\"\"", Quotes::Open),
            ("\"a\"b,c", Quotes::Followed),
        ] {
            assert_eq!(quotes(raw, b','), expected, "{raw:?}");
        }
    }
}
