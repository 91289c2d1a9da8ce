//! The sets of a table as readings: device, time and circumstances from its keywords and fields, and the values.
//!
//! What does not live here: which fields are the colour (`colour`), and what the cells of a reading may hold (`row`).

use std::borrow::Cow;

use super::super::column::Column;
use super::super::defects::Defects;
use super::super::field::{Cell, Cells, decimal, put};
use super::super::row;
use super::super::warning::{cut, warn};
use super::super::{Context, Need, Quantity, Warning};
use super::colour::{self, Colour, Kind, ours};
use super::lexer::Token;
use super::table::{Keyword, Table};
use crate::reading::{ColourSet, Record, Row};
use crate::units::Spectrum;

/// So many names of fields that mean nothing here are listed.
const LISTED: usize = 8;
const NUMBER: &str = "a number without a unit, like 0.3127";

/// What a value of a set is for.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Use {
    Nothing,
    Cell(Column),
    /// Y of a chromaticity, which is the level.
    Level,
    /// The value at the wavelength of this number.
    Value(usize),
    PairNm,
    PairValue,
}

/// Where a column of ours was found.
struct Origin<'t> {
    column: Column,
    name: &'t str,
    /// The line of the keyword; absent for a field.
    line: Option<u64>,
}

/// The sets of a table, understood once for all of them.
pub(super) struct Sets<'m, 't> {
    table: &'m Table<'t>,
    context: &'m Context,
    colour: Colour,
    uses: Vec<Use>,
    /// What the keywords say of every set.
    base: Cells<'m>,
    origins: Vec<Origin<'m>>,
}

impl<'m, 't> Sets<'m, 't> {
    /// Understands a table; nothing, and a defect, where its sets are no readings.
    pub fn of(
        table: &'m Table<'t>,
        context: &'m Context,
        defects: &mut Defects,
        warnings: &mut Vec<Row<Warning>>,
    ) -> Option<Self> {
        let before = defects.count();
        let kinds: Vec<Kind> = table.fields.iter().map(|name| Kind::of(name, &context.keyword_text)).collect();
        for (place, kind) in kinds.iter().enumerate() {
            let earlier = kinds.get(..place).unwrap_or_default();
            if !kind.may_repeat() && earlier.contains(kind) {
                let name = table.fields.get(place).map_or("", |name| name.as_ref());
                defects.at(table.format_line, name, "the same field twice", "each field once");
            }
        }
        let colour = colour::of_table(table, &kinds, context, defects)?;
        let mut sets = Self { table, context, colour, uses: Vec::new(), base: Cells::default(), origins: Vec::new() };
        sets.use_fields(&kinds, warnings);
        sets.use_keywords(defects);
        sets.find_time(defects, warnings);
        sets.find_device(defects);
        if let Colour::Xyz(found @ Quantity::Spectral(unit)) = sets.colour
            && unit != crate::units::SpectralUnit::Relative
        {
            warn(warnings, table.line, Warning::NoLevel { found });
        }
        (defects.count() == before).then_some(sets)
    }

    fn use_fields(&mut self, kinds: &[Kind], warnings: &mut Vec<Row<Warning>>) {
        let mut unread = Vec::new();
        for (kind, name) in kinds.iter().zip(&self.table.fields) {
            let with_level = self.level().is_some();
            let used = match (&self.colour, *kind) {
                (_, Kind::Ours(column)) => Use::Cell(column),
                (Colour::Xyz(_), Kind::X) => Use::Cell(Column::X),
                (Colour::Xyz(_), Kind::Y) => Use::Cell(Column::Y),
                (Colour::Xyz(_), Kind::Z) => Use::Cell(Column::Z),
                (Colour::Xyy(_), Kind::ChromaX) => Use::Cell(Column::ChromaX),
                (Colour::Xyy(_), Kind::ChromaY) => Use::Cell(Column::ChromaY),
                (Colour::Xyy(_), Kind::CapitalY) if with_level => Use::Level,
                (Colour::Columns(_, all), Kind::At(nm)) => {
                    all.binary_search_by(|at| at.total_cmp(&nm)).map_or(Use::Nothing, Use::Value)
                }
                (Colour::Pairs(_), Kind::PairNm) => Use::PairNm,
                (Colour::Pairs(_), Kind::PairValue { .. }) => Use::PairValue,
                _ => Use::Nothing,
            };
            match used {
                Use::Nothing => unread.push(name.as_ref()),
                Use::Cell(column) => self.origins.push(Origin { column, name, line: None }),
                Use::Level => self.origins.extend(self.level().map(|column| Origin { column, name, line: None })),
                _ => {}
            }
            self.uses.push(used);
        }
        if !unread.is_empty() {
            let names = unread.iter().take(LISTED).map(|name| cut(name)).collect();
            let others = unread.len().saturating_sub(LISTED);
            warn(warnings, self.table.format_line, Warning::NotRead { names, others });
        }
    }

    fn use_keywords(&mut self, defects: &mut Defects) {
        let table = self.table;
        for keyword in &table.keywords {
            let Some(column) = ours(&keyword.name) else { continue };
            if self.origins.iter().any(|origin| origin.column == column && origin.line.is_some()) {
                defects.at(keyword.line, &keyword.name, "the same keyword twice", "each keyword once in a table");
                continue;
            }
            self.say_of_all(column, keyword);
        }
    }

    /// Takes what a keyword says for all sets; a field of the same meaning goes before it.
    fn say_of_all(&mut self, column: Column, keyword: &'m Keyword<'t>) {
        let value = if is_number(column) { with_point(&keyword.value) } else { Cow::Borrowed(keyword.value.as_ref()) };
        put(&mut self.base, column, Cell::Text(value));
        self.origins.push(Origin { column, name: &keyword.name, line: Some(keyword.line) });
    }

    fn names(&self, column: Column) -> bool {
        self.origins.iter().any(|origin| origin.column == column)
    }

    /// The time is that of TIME, or CREATED, a date alone taken for its noon.
    fn find_time(&mut self, defects: &mut Defects, warnings: &mut Vec<Row<Warning>>) {
        let table = self.table;
        if self.names(Column::Time) {
            return;
        }
        let created = table.keyword("CREATED").next();
        match created {
            Some(created) if row::has_a_time_of_day(&created.value, self.context) => {
                self.say_of_all(Column::Time, created)
            }
            Some(created)
                if self.context.need == Need::Ledger && row::noon_of(&created.value, self.context).is_some() =>
            {
                let (name, found) = (cut(&created.name), cut(&created.value));
                warn(warnings, created.line, Warning::Noon { name, found });
                let noon = row::noon_of(&created.value, self.context).unwrap_or_default();
                put(&mut self.base, Column::Time, Cell::Text(Cow::Owned(noon)));
                self.origins.push(Origin { column: Column::Time, name: &created.name, line: Some(created.line) });
            }
            _ if self.context.need == Need::Ledger => {
                let (line, found) = created.map_or((table.line, "nothing"), |created| (created.line, &created.value));
                let expected = "date and time of day, here or as KEYWORD \"TIME\" and TIME \"2026-03-04 10:30\"";
                defects.at(line, "CREATED", found, expected);
            }
            Some(created) => {
                let (name, found) = (cut(&created.name), cut(&created.value));
                warn(warnings, created.line, Warning::NotTheTime { name, found });
            }
            None => {}
        }
    }

    fn find_device(&self, defects: &mut Defects) {
        let context = self.context;
        if context.need == Need::Ledger && context.folder_device.is_none() && !self.names(Column::Device) {
            let expected =
                "KEYWORD \"DEVICE\" and DEVICE \"its-id\", or the device's id as the name of the drop folder";
            defects.at(self.table.line, "DEVICE", "nothing", expected);
        }
    }

    /// The column of the level, where Y is one.
    fn level(&self) -> Option<Column> {
        match self.colour {
            Colour::Xyz(quantity) | Colour::Xyy(quantity) => match quantity {
                Quantity::Illuminance => Some(Column::Illuminance),
                Quantity::Luminance => Some(Column::Luminance),
                Quantity::Spectral(_) => None,
            },
            Colour::Columns(..) | Colour::Pairs(_) => None,
        }
    }

    /// Reads the sets, and adds them to `rows`.
    pub fn read(&self, rows: &mut Vec<Row<Record>>, defects: &mut Defects) {
        let mut marks = Marks::default();
        let mut keywords_blamed = Vec::new();
        let mut values = self.table.values();
        let mut set: Vec<Token<'t>> = Vec::with_capacity(self.uses.len());
        for _ in 0..self.table.sets() {
            set.clear();
            set.extend(values.by_ref().take(self.uses.len()));
            let line = set.first().map_or(self.table.line, |first| first.line);
            let mut here = Defects::default();
            let value = self.set(&set, line, &mut marks, &mut here);
            self.blame(here, &mut keywords_blamed, defects);
            rows.extend(value.map(|value| Row { line, value }));
            if defects.are_hopeless() {
                return;
            }
        }
        if let Some((comma, point)) = marks.comma.zip(marks.point) {
            let found = format!("a decimal comma, and on line {point} a decimal point");
            defects.of_line(comma, &found, "one of the two in all of a table");
        }
    }

    fn set(&self, set: &[Token<'t>], line: u64, marks: &mut Marks, defects: &mut Defects) -> Option<Record> {
        let mut cells = self.base.clone();
        let (mut nm, mut values) = match &self.colour {
            Colour::Columns(_, nm) => (nm.clone(), vec![f64::NAN; nm.len()]),
            _ => (Vec::new(), Vec::new()),
        };
        for ((token, used), name) in set.iter().zip(&self.uses).zip(&self.table.fields) {
            let text = token.text.as_ref();
            let mut number = || {
                let read = decimal(&marks.seen(text, token.line));
                if read.is_none() {
                    defects.at(token.line, name, text, NUMBER);
                }
                read
            };
            match *used {
                Use::Nothing => {}
                Use::Cell(column) if is_number(column) => {
                    let text = marks.seen(text, token.line);
                    if let Some(level) = self.level().filter(|_| column == Column::Y) {
                        put(&mut cells, level, Cell::Text(text.clone()));
                    }
                    put(&mut cells, column, Cell::Text(text));
                }
                Use::Cell(column) => put(&mut cells, column, Cell::Text(text.into())),
                Use::Level => {
                    if let Some(level) = self.level() {
                        put(&mut cells, level, Cell::Text(marks.seen(text, token.line)));
                    }
                }
                Use::Value(at) => {
                    if let Some((value, place)) = number().zip(values.get_mut(at)) {
                        *place = value;
                    }
                }
                Use::PairNm => nm.extend(number()),
                Use::PairValue => values.extend(number()),
            }
        }
        match self.colour {
            Colour::Columns(unit, _) | Colour::Pairs(unit) => {
                let spectrum =
                    if defects.count() == 0 { Spectrum::new(unit, &nm, values, None).map_err(Some) } else { Err(None) };
                if let Err(Some(bad)) = &spectrum {
                    defects.of_spectrum(line, bad);
                }
                let colour = spectrum.ok().map(|spectrum| ColourSet::Spectrum { spectrum: Box::new(spectrum) });
                row::coloured(&cells, colour, line, self.context, defects)
            }
            _ => row::record(&cells, super::super::column::Kind::Reading, line, self.context, defects),
        }
    }

    /// Passes the defects of a set on under the names that the file has, those of keywords at their line and once.
    fn blame(&self, here: Defects, keywords_blamed: &mut Vec<String>, defects: &mut Defects) {
        let list = here.into_list();
        let is_said_of_y = |column: &str| {
            self.level().is_some_and(|level| level.name() == column)
                && list.iter().any(|defect| defect.column.as_deref() == Some(Column::Y.name()))
        };
        for defect in &list {
            let Some(column) = &defect.column else {
                defects.of_line(defect.line, &defect.found, &defect.expected);
                continue;
            };
            if is_said_of_y(column) {
                continue;
            }
            let y = self.level().filter(|level| level.name() == column && matches!(self.colour, Colour::Xyz(_)));
            let column = if y.is_some() { Column::Y.name() } else { column };
            match self.origins.iter().find(|origin| origin.column.name() == column) {
                Some(Origin { name, line: Some(line), .. }) => {
                    if !keywords_blamed.iter().any(|blamed| blamed == column) {
                        keywords_blamed.push(column.to_owned());
                        defects.at(*line, name, &defect.found, &defect.expected);
                    }
                }
                Some(Origin { name, .. }) => defects.at(defect.line, name, &defect.found, &defect.expected),
                None => defects.at(defect.line, column, &defect.found, &defect.expected),
            }
        }
    }
}

/// With which mark the numbers of a table were written, and on which line each was seen first. A comma is a decimal
/// comma only where no number has a point: `1,234` beside `0.5` may mean either of two numbers.
#[derive(Default)]
struct Marks {
    comma: Option<u64>,
    point: Option<u64>,
}

impl Marks {
    /// Takes note of a number, and gives it as it is read.
    fn seen<'v>(&mut self, text: &'v str, line: u64) -> Cow<'v, str> {
        let text = with_point(text);
        match &text {
            Cow::Owned(_) => self.comma.get_or_insert(line),
            Cow::Borrowed(text) if text.contains('.') => self.point.get_or_insert(line),
            Cow::Borrowed(_) => return text,
        };
        text
    }
}

/// A number with a decimal comma as one with a point; owned where it had a comma.
fn with_point(text: &str) -> Cow<'_, str> {
    let plain = |text: &str| text.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '-' | '+'));
    match text.split_once(',') {
        Some((whole, part)) if plain(text) && !part.contains([',', '.']) && !whole.contains('.') => {
            let pointed = format!("{whole}.{part}");
            if decimal(&pointed).is_some() { pointed.into() } else { text.into() }
        }
        _ => text.into(),
    }
}

/// Whether a column of ours holds numbers.
fn is_number(column: Column) -> bool {
    use Column::*;
    matches!(column, X | Y | Z | ChromaX | ChromaY | Hours | WarmupMin | Ra)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_decimal_comma_becomes_a_point() {
        for (text, read) in [("0,3127", "0.3127"), ("-1,5e-3", "-1.5e-3"), ("1,", "1."), ("500", "500"), ("0.5", "0.5")]
        {
            assert_eq!(with_point(text), read);
        }
        for text in ["1,234.5", "1.234,5", "1,2,3", "a,5", ",5", "1,x"] {
            assert_eq!(with_point(text), text);
        }
    }

    #[test]
    fn a_table_has_commas_or_points() {
        let mut marks = Marks::default();
        for (line, text) in [(1, "500"), (2, "0,5"), (3, "0.5"), (4, "0,5")] {
            marks.seen(text, line);
        }
        assert_eq!((marks.comma, marks.point), (Some(2), Some(3)));
    }
}
