//! The rows of a table as they stand in the text: where each begins and ends, and whether its quotes are closed.
//!
//! What does not live here: what the fields mean (`table`, `mapped`).

use csv::{ReaderBuilder, StringRecord};

/// One row as it stands in the file.
pub(super) struct Line<'t> {
    pub number: u64,
    pub raw: &'t str,
}

impl Line<'_> {
    /// Whether a line end follows it: else more of it may come.
    pub fn is_ended(&self) -> bool {
        self.raw.ends_with(['\n', '\r'])
    }

    /// What its quotes are worth.
    pub fn quotes(&self, separator: u8) -> Quotes {
        quotes(self.raw, separator)
    }
}

/// What the quotes of a row are worth.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Quotes {
    Fine,
    /// The row ended, and the quote was still open.
    Open,
    /// Something other than a separator follows a closing quote.
    Followed,
}

/// Walks over the rows, with the line each begins on.
pub(super) struct Lines<'t> {
    text: &'t str,
    reader: csv::Reader<&'t [u8]>,
    pub record: StringRecord,
    pub separator: u8,
    counted_to: usize,
    number: u64,
}

impl<'t> Lines<'t> {
    /// Over `text`, which begins on line `number`.
    pub fn new(text: &'t str, separator: u8, number: u64) -> Self {
        let reader = ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .delimiter(separator)
            .buffer_capacity(text.len().clamp(1 << 10, 64 << 10))
            .from_reader(text.as_bytes());
        Self { text, reader, record: StringRecord::new(), separator, counted_to: 0, number }
    }

    /// The next row; its fields are in `record`.
    pub fn advance(&mut self) -> Option<Line<'t>> {
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
    pub fn next_filled(&mut self) -> Option<Line<'t>> {
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

/// The text after its first `count` lines, if it has so many.
pub(super) fn after_lines(text: &str, count: usize) -> Option<&str> {
    let bytes = text.as_bytes();
    let ends = bytes.iter().enumerate().filter(|(at, byte)| match byte {
        b'\n' => true,
        b'\r' => bytes.get(at + 1) != Some(&b'\n'),
        _ => false,
    });
    match count {
        0 => Some(text),
        _ => ends.map(|(at, _)| at).nth(count - 1).and_then(|at| text.get(at + 1..)),
    }
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

#[cfg(test)]
mod tests {
    use super::*;

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

    #[test]
    fn lines_are_passed_over_whatever_ends_them() {
        let text = "a\r\nb\nc\rd";
        for (count, rest) in [(0, Some(text)), (1, Some("b\nc\rd")), (2, Some("c\rd")), (3, Some("d")), (4, None)] {
            assert_eq!(after_lines(text, count), rest, "{count}");
        }
        assert_eq!(after_lines("a\n", 1), Some(""));
    }
}
