//! Reading one field of a row: a number, a text, an identity, one of a few words.
//!
//! What does not live here: which fields a row must have, and what they mean together (`row`).

use std::borrow::Cow;

use super::Context;
use super::column::{Column, nearest};
use super::defects::Defects;
use crate::units::{BadId, OutOfRange};

/// What stands in one field.
#[derive(Debug, Clone, Default)]
pub(super) enum Cell<'a> {
    /// Nothing, or nothing but blanks.
    #[default]
    Absent,
    /// Text, which may be the text of a number.
    Text(Cow<'a, str>),
    /// A number, and text will not do (JSON).
    Number(f64),
    /// Text, and a number written as text will not do (JSON).
    Quoted(Cow<'a, str>),
}

/// The cells of a row.
#[derive(Debug, Clone)]
pub(super) struct Cells<'a> {
    /// Each at the number of its column.
    named: [Cell<'a>; Column::ALL.len()],
    /// The spectral ones, each with its wavelength, nm, rising. Kept apart, since most rows have none.
    pub bands: Vec<(f64, Cell<'a>)>,
}

impl Default for Cells<'_> {
    fn default() -> Self {
        Self { named: std::array::from_fn(|_| Cell::Absent), bands: Vec::new() }
    }
}

/// Puts `cell` where `column` belongs, without the blanks around it; one that is empty then stays absent.
pub(super) fn put<'a>(cells: &mut Cells<'a>, column: Column, cell: Cell<'a>) {
    if let Some((place, cell)) = cells.named.get_mut(column as usize).zip(filled(cell)) {
        *place = cell;
    }
}

impl Cells<'_> {
    /// Makes a field absent.
    pub fn forget(&mut self, column: Column) {
        if let Some(place) = self.named.get_mut(column as usize) {
            *place = Cell::Absent;
        }
    }
}

/// The cell without the blanks around its text; nothing where nothing is left.
pub(super) fn filled(cell: Cell<'_>) -> Option<Cell<'_>> {
    match cell {
        Cell::Absent => None,
        Cell::Text(text) => trimmed(text).map(Cell::Text),
        Cell::Quoted(text) => trimmed(text).map(Cell::Quoted),
        number => Some(number),
    }
}

fn trimmed(text: Cow<'_, str>) -> Option<Cow<'_, str>> {
    let text = match text {
        Cow::Borrowed(text) => Cow::Borrowed(text.trim()),
        Cow::Owned(text) => Cow::Owned(text.trim().to_owned()),
    };
    (!text.is_empty()).then_some(text)
}

const NUMBER: &str = "a number with a decimal point and no unit, like 0.3127";

/// A row while it is read: cells, their place, and where to say what is wrong.
pub(super) struct Row<'r, 'a> {
    pub cells: &'r Cells<'a>,
    pub line: u64,
    pub context: &'r Context,
    pub defects: &'r mut Defects,
}

impl Row<'_, '_> {
    pub(super) fn half_a_set(&mut self, column: Column, set: &str) {
        if self.is_absent(column) {
            self.blame(column, "nothing", format!("a number: {set} belong together"));
        }
    }

    pub(super) fn within(&mut self, column: Column, high: f64, expected: &str) -> Option<f64> {
        self.within_both(column, 0.0, high, expected)
    }

    pub(super) fn within_both(&mut self, column: Column, low: f64, high: f64, expected: &str) -> Option<f64> {
        let value = self.number(column)?;
        if (low..=high).contains(&value) {
            // Adding 0 turns a negative zero into zero.
            return Some(value + 0.0);
        }
        self.blame(column, &value.to_string(), expected);
        None
    }

    pub(super) fn quantity<T>(&mut self, column: Column, new: fn(f64) -> Result<T, OutOfRange>) -> Option<T> {
        let value = self.number(column)?;
        new(value + 0.0).map_err(|bad| self.blame(column, &bad.found.to_string(), bad.expected)).ok()
    }

    /// The number in a field: decimal digits with a point, finite. Adds a defect where there is something else.
    pub(super) fn number(&mut self, column: Column) -> Option<f64> {
        match number_in(self.cell(column)) {
            Ok(number) => number,
            Err((found, expected)) => {
                self.blame(column, &found, expected);
                None
            }
        }
    }

    pub(super) fn word<'w>(&mut self, column: Column, words: &[&'w str]) -> Option<&'w str> {
        let found = self.text(column)?;
        self.one_of(column, &found, words)
    }

    pub(super) fn one_of<'w>(&mut self, column: Column, found: &str, words: &[&'w str]) -> Option<&'w str> {
        if let Some(word) = words.iter().find(|word| **word == found) {
            return Some(word);
        }
        let hint = nearest(found, words).map(|near| format!("; did you mean {near}?")).unwrap_or_default();
        self.blame(column, found, format!("one of {}{hint}", words.join(", ")));
        None
    }

    pub(super) fn named<T>(&mut self, column: Column, new: fn(&str) -> Result<T, BadId>) -> Option<T> {
        let text = match self.cell(column) {
            Cell::Text(text) | Cell::Quoted(text) => text.as_ref(),
            _ => return self.text(column).and(None),
        };
        match new(text) {
            Ok(id) => Some(id),
            Err(_) => {
                let found = text.to_owned();
                self.blame(column, &found, "an id: 1 to 64 letters, digits, '-', '_' or '.', a letter or digit first");
                None
            }
        }
    }

    pub(super) fn text(&mut self, column: Column) -> Option<String> {
        let text = match self.cell(column) {
            Cell::Absent => return None,
            Cell::Number(value) => {
                let found = value.to_string();
                self.blame(column, &found, "text: put it in quotes");
                return None;
            }
            Cell::Text(text) | Cell::Quoted(text) => text.as_ref(),
        };
        let breaks_a_line =
            |c: char| matches!(column, Column::Note | Column::Results) && matches!(c, '\n' | '\r' | '\t');
        match text.chars().find(|c| c.is_control() && !breaks_a_line(*c)) {
            Some(control) => {
                let (found, expected) = (text.to_owned(), format!("text without U+{:04X}", u32::from(control)));
                self.blame(column, &found, expected);
                None
            }
            None => Some(text.to_owned()),
        }
    }

    pub(super) fn must_be_empty(&mut self, column: Column, expected: &str) {
        if !self.is_absent(column) {
            let found = match self.cell(column) {
                Cell::Number(value) => value.to_string(),
                Cell::Text(text) | Cell::Quoted(text) => text.to_string(),
                Cell::Absent => return,
            };
            self.blame(column, &found, expected);
        }
    }

    pub(super) fn cell(&self, column: Column) -> &Cell<'_> {
        self.cells.named.get(column as usize).unwrap_or(&Cell::Absent)
    }

    pub(super) fn is_absent(&self, column: Column) -> bool {
        matches!(self.cell(column), Cell::Absent)
    }

    pub(super) fn blame(&mut self, column: Column, found: &str, expected: impl Into<String>) {
        self.defects.at(self.line, column.name(), found, expected);
    }
}

/// The number that a cell holds, if it holds anything; or what it holds instead, and what was expected.
pub(super) fn number_in(cell: &Cell<'_>) -> Result<Option<f64>, (String, String)> {
    Err(match cell {
        Cell::Absent => return Ok(None),
        Cell::Number(value) if value.is_finite() => return Ok(Some(*value)),
        Cell::Number(value) => (value.to_string(), NUMBER.to_owned()),
        Cell::Quoted(text) => (format!("the text \"{text}\""), "a JSON number: leave the quotes away".to_owned()),
        Cell::Text(text) => match decimal(text) {
            Some(value) => return Ok(Some(value)),
            None if has_decimal_comma(text) => (
                text.to_string(),
                format!("{NUMBER}: a decimal comma is read only through a [[mapping]]; write a point"),
            ),
            None => (text.to_string(), NUMBER.to_owned()),
        },
    })
}

/// The number that a text is: decimal digits with a point, finite.
pub(super) fn decimal(text: &str) -> Option<f64> {
    // The standard library also reads "inf", "nan" and their kin, and takes what is too large for infinite.
    let plain = text.bytes().all(|b| matches!(b, b'0'..=b'9' | b'.' | b'+' | b'-' | b'e' | b'E'));
    text.parse().ok().filter(|value: &f64| plain && value.is_finite())
}

fn has_decimal_comma(text: &str) -> bool {
    text.split_once(',').is_some_and(|(whole, rest)| {
        let digits = |part: &str| !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit());
        digits(whole.trim().trim_start_matches(['-', '+'])) && digits(rest.trim())
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_decimal_and_finite() {
        for (text, value) in [("0.3127", 0.3127), ("-.5", -0.5), ("+1e3", 1000.0), ("5.", 5.0), ("1E-2", 0.01)] {
            assert_eq!(decimal(text), Some(value), "{text}");
        }
        for text in ["", "nan", "inf", "0x10", "1_000", "1e999", "1,5", "1 5", "e5", "-", "\u{2212}1"] {
            assert_eq!(decimal(text), None, "{text}");
        }
    }

    #[test]
    fn a_decimal_comma_is_known() {
        for text in ["0,3127", "-1,5", "12, 5"] {
            assert!(has_decimal_comma(text), "{text}");
        }
        for text in ["0.5", ",5", "5,", "a,5", "1,2,3"] {
            assert!(!has_decimal_comma(text), "{text}");
        }
    }

    #[test]
    fn blanks_are_no_value() {
        let mut cells = Cells::default();
        put(&mut cells, Column::Note, Cell::Text(" \t ".into()));
        assert!(matches!(cells.named[Column::Note as usize], Cell::Absent));
        put(&mut cells, Column::Note, Cell::Quoted(Cow::Owned(" a ".to_owned())));
        assert!(matches!(&cells.named[Column::Note as usize], Cell::Quoted(text) if text == "a"));
    }
}
