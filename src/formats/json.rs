//! JSON and JSON Lines: the names of CSV as keys, numbers as JSON numbers.
//!
//! Grammar: one object; or an array of objects; or `{"readings": [objects], "events": [objects]}`; or one object a
//! line. An object with the key `event` is an event. Values are numbers, texts and null, which means absent. The values of
//! a spectrum stand beside the others, under `nm380` and its like.
//!
//! The text is first read through for its syntax. In what is then known to be JSON the objects of the rows are found
//! by their brackets, so that each has a line; each is then read by itself, without recursion. What does not live
//! here: what the fields mean (`row`).

use std::borrow::Cow;
use std::fmt;

use serde::de::{Deserialize, Deserializer, IgnoredAny, MapAccess, SeqAccess, Visitor};

use super::column::{Column, Kind, instead_of};
use super::defects::Defects;
use super::field::{Cell, Cells, put};
use super::row::record;
use super::spectral::wavelength;
use super::{
    Context, Format, MAX_ROW_BYTES, MAX_ROWS, MAX_SPECTRAL_ROW_BYTES, Outcome, TOO_MANY_ROWS, Unfinished, refused,
};
use crate::reading::{Record, Row};

/// Reads JSON of any of the shapes above; `text` begins with a bracket.
pub(super) fn read(text: &str, context: &Context) -> Outcome {
    let mut whole = serde_json::Deserializer::from_str(text);
    if let Err(bad) = IgnoredAny::deserialize(&mut whole) {
        return broken(text, &bad);
    }
    if whole.end().is_ok() { document(text, context) } else { lines(text, context) }
}

fn broken(text: &str, bad: &serde_json::Error) -> Outcome {
    let line = bad.line() as u64;
    if ends_early(text, bad) {
        return Outcome::Incomplete { why: Unfinished::MidJson { line } };
    }
    let found = text.lines().nth(bad.line().saturating_sub(1)).unwrap_or_default().trim();
    refused(line, found, &format!("JSON: {}", reason(bad)))
}

/// Whether the reader was stopped by the end of the text. In a number it calls the end an invalid number.
fn ends_early(text: &str, bad: &serde_json::Error) -> bool {
    let last = text.rsplit('\n').next().unwrap_or_default();
    let is_at_end = bad.line() > text.matches('\n').count() && bad.column() >= last.len();
    bad.is_eof() || (is_at_end && text.ends_with(|c: char| c.is_ascii_digit() || "+-.eE".contains(c)))
}

/// What the reader of JSON says, without its own line number.
fn reason(bad: &serde_json::Error) -> String {
    if bad.is_eof() {
        return "it ends too early".to_owned();
    }
    let said = bad.to_string();
    let text = said.split(" at line ").next().unwrap_or_default();
    format!("{text} (column {})", bad.column())
}

/// Gathers rows and defects over a file.
#[derive(Default)]
struct Gathered {
    rows: Vec<Row<Record>>,
    defects: Defects,
}

impl Gathered {
    fn outcome(self, format: Format) -> Outcome {
        if self.defects.count() > 0 {
            Outcome::Refused(self.defects.into_list())
        } else {
            Outcome::Records(self.rows, format, Vec::new())
        }
    }

    /// Whether to go on: not beyond the largest number of rows, nor where hardly anything is right.
    fn goes_on(&mut self, line: u64) -> bool {
        if self.rows.len() >= MAX_ROWS {
            self.defects.of_line(line, &format!("row {}", MAX_ROWS + 1), TOO_MANY_ROWS);
            return false;
        }
        !self.defects.are_hopeless()
    }

    /// Takes the object that stands in `text` on `line`; `list` is what the list it stands in holds.
    fn take(&mut self, text: &str, line: u64, list: Option<Kind>, context: &Context) -> Result<(), serde_json::Error> {
        if text.len() > MAX_ROW_BYTES && (text.len() > MAX_SPECTRAL_ROW_BYTES || !text.contains("\"nm")) {
            self.defects.of_line(line, text, "an object of 64 KiB at most, or with a spectrum 256 KiB");
            return Ok(());
        }
        if !text.starts_with('{') {
            self.defects.of_line(line, text, "an object in braces for each record");
            return Ok(());
        }
        let Members(members) = serde_json::from_str(text)?;
        let is_event = members.iter().any(|(key, _)| key == Column::Event.name());
        let kind = list.unwrap_or(if is_event { Kind::Event } else { Kind::Reading });
        let before = self.defects.count();
        let mut cells = Cells::default();
        let mut seen: Vec<Column> = Vec::new();
        for (key, value) in members {
            match Column::named(&key).filter(|column| kind.columns().contains(column)) {
                _ if self.defects.are_hopeless() => return Ok(()),
                None if kind == Kind::Reading
                    && let Some(nm) = wavelength(&key) =>
                {
                    match value {
                        Value::Cell(cell) => cells.add_band(nm, cell),
                        Value::Other(found) => self.defects.at(line, &key, found, "a number or null"),
                    }
                }
                None => self.defects.at(line, &key, "an unknown field", instead_of(&key, kind)),
                Some(column) if seen.contains(&column) => {
                    self.defects.at(line, &key, "the same field twice", "each field once");
                }
                Some(column) => {
                    seen.push(column);
                    match value {
                        Value::Cell(cell) => put(&mut cells, column, cell),
                        Value::Other(found) => self.defects.at(line, &key, found, "a number, a text or null"),
                    }
                }
            }
        }
        cells.order_bands(line, &mut self.defects);
        // Where a field was not understood, what is missing may be what was meant.
        if self.defects.count() == before {
            let value = record(&cells, kind, line, context, &mut self.defects);
            self.rows.extend(value.map(|value| Row { line, value }));
        }
        Ok(())
    }
}

fn document(text: &str, context: &Context) -> Outcome {
    let mut gathered = Gathered::default();
    let mut place = Place { text, at: 0, line: 1 };
    let top = text.trim();
    let members = if top.starts_with('{') { parts(top) } else { Vec::new() };
    let list_of = |part: &Part<'_>| match part.name().as_deref() {
        Some("readings") => Some(Kind::Reading),
        Some("events") => Some(Kind::Event),
        _ => None,
    };
    let lists = members.iter().any(|part| list_of(part).is_some());
    let mut each = |gathered: &mut Gathered, object: &str, list: Option<Kind>| {
        let line = place.line_of(object);
        if !gathered.goes_on(line) {
            return false;
        }
        if let Err(bad) = gathered.take(object, line, list, context) {
            let line = line + (bad.line() as u64).saturating_sub(1);
            gathered.defects.of_line(line, object, format!("JSON: {}", reason(&bad)));
        }
        true
    };
    if top.starts_with('[') {
        for part in parts(top) {
            if !each(&mut gathered, part.value, None) {
                break;
            }
        }
    } else if !lists {
        each(&mut gathered, top, None);
    } else {
        let mut seen: Vec<Kind> = Vec::new();
        for member in &members {
            let name = member.name().unwrap_or_default();
            match list_of(member) {
                None => {
                    let expected = "the lists \"readings\" and \"events\" and nothing beside them";
                    gathered.defects.at(0, &name, "an unknown field", expected);
                }
                Some(kind) if seen.contains(&kind) => {
                    gathered.defects.at(0, &name, "the same field twice", "each field once");
                }
                Some(kind) if member.value.starts_with('[') => {
                    seen.push(kind);
                    for part in parts(member.value) {
                        if !each(&mut gathered, part.value, Some(kind)) {
                            break;
                        }
                    }
                }
                Some(_) => gathered.defects.at(0, &name, member.value, "a list of objects in brackets"),
            }
            if gathered.defects.are_hopeless() {
                break;
            }
        }
    }
    gathered.outcome(Format::Json)
}

fn lines(text: &str, context: &Context) -> Outcome {
    let mut gathered = Gathered::default();
    for (line, whole) in (1..).zip(text.split_inclusive('\n')) {
        let object = whole.trim();
        if object.is_empty() {
            continue;
        }
        if !gathered.goes_on(line) {
            break;
        }
        match gathered.take(object, line, None, context) {
            Ok(()) => {}
            Err(bad) if ends_early(object, &bad) && !whole.ends_with('\n') => {
                return Outcome::Incomplete { why: Unfinished::MidJson { line } };
            }
            Err(bad) => {
                let expected = format!("one JSON object a line, or one JSON text in all: {}", reason(&bad));
                gathered.defects.of_line(line, object, expected);
                // If the first line is none, the others are no JSON Lines either.
                if gathered.rows.is_empty() && gathered.defects.count() == 1 {
                    break;
                }
            }
        }
    }
    gathered.outcome(Format::JsonLines)
}

/// Counts lines up to places that follow each other in one text.
struct Place<'t> {
    text: &'t str,
    at: usize,
    line: u64,
}

impl Place<'_> {
    /// The line on which `part`, a slice of the text not before the last one asked for, begins.
    fn line_of(&mut self, part: &str) -> u64 {
        let at = (part.as_ptr() as usize).saturating_sub(self.text.as_ptr() as usize);
        let between = self.text.get(self.at..at).unwrap_or_default();
        self.line += between.bytes().filter(|b| *b == b'\n').count() as u64;
        self.at = self.at.max(at);
        self.line
    }
}

/// An element of an array, or a member of an object with its key still in quotes.
struct Part<'t> {
    key: Option<&'t str>,
    value: &'t str,
}

impl Part<'_> {
    fn name(&self) -> Option<String> {
        self.key.and_then(|key| serde_json::from_str(key).ok())
    }
}

/// The parts of an array or object, one level deep. `text` is known to be JSON and to begin with its bracket.
fn parts(text: &str) -> Vec<Part<'_>> {
    let mut parts = Vec::new();
    let (mut depth, mut is_quoted, mut is_escaped) = (0_usize, false, false);
    let (mut from, mut key) = (1, None);
    for (at, byte) in text.bytes().enumerate() {
        if is_quoted {
            is_quoted = is_escaped || byte != b'"';
            is_escaped = !is_escaped && byte == b'\\';
            continue;
        }
        match byte {
            b'"' => is_quoted = true,
            b'[' | b'{' => depth += 1,
            b':' if depth == 1 => {
                key = text.get(from..at).map(str::trim);
                from = at + 1;
            }
            b',' | b']' | b'}' => {
                if depth == 1 {
                    let value = text.get(from..at).unwrap_or_default().trim();
                    if !value.is_empty() {
                        parts.push(Part { key: key.take(), value });
                    }
                    from = at + 1;
                }
                depth -= usize::from(byte != b',' && depth > 0);
            }
            _ => {}
        }
    }
    parts
}

/// The members of an object in their order, duplicates included.
struct Members<'t>(Vec<(Cow<'t, str>, Value<'t>)>);

enum Value<'t> {
    Cell(Cell<'t>),
    /// What it is instead.
    Other(&'static str),
}

impl<'de> Deserialize<'de> for Members<'de> {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct Object;
        impl<'de> Visitor<'de> for Object {
            type Value = Members<'de>;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("an object")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
                let mut members = Vec::new();
                while let Some((Key(key), value)) = map.next_entry()? {
                    members.push((key, value));
                }
                Ok(Members(members))
            }
        }
        from.deserialize_map(Object)
    }
}

struct Key<'t>(Cow<'t, str>);

impl<'de> Deserialize<'de> for Key<'de> {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        match Value::deserialize(from)? {
            Value::Cell(Cell::Quoted(key)) => Ok(Self(key)),
            _ => Err(serde::de::Error::custom("a key is a text")),
        }
    }
}

impl<'de> Deserialize<'de> for Value<'de> {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct Any;
        impl<'de> Visitor<'de> for Any {
            type Value = Value<'de>;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a number, a text or null")
            }

            fn visit_unit<E>(self) -> Result<Self::Value, E> {
                Ok(Value::Cell(Cell::Absent))
            }

            fn visit_f64<E>(self, number: f64) -> Result<Self::Value, E> {
                Ok(Value::Cell(Cell::Number(number)))
            }

            fn visit_u64<E>(self, number: u64) -> Result<Self::Value, E> {
                Ok(Value::Cell(Cell::Number(number as f64)))
            }

            fn visit_i64<E>(self, number: i64) -> Result<Self::Value, E> {
                Ok(Value::Cell(Cell::Number(number as f64)))
            }

            fn visit_borrowed_str<E>(self, text: &'de str) -> Result<Self::Value, E> {
                Ok(Value::Cell(Cell::Quoted(Cow::Borrowed(text))))
            }

            fn visit_str<E>(self, text: &str) -> Result<Self::Value, E> {
                Ok(Value::Cell(Cell::Quoted(Cow::Owned(text.to_owned()))))
            }

            fn visit_bool<E>(self, _: bool) -> Result<Self::Value, E> {
                Ok(Value::Other("true or false"))
            }

            fn visit_seq<A: SeqAccess<'de>>(self, mut list: A) -> Result<Self::Value, A::Error> {
                while list.next_element::<IgnoredAny>()?.is_some() {}
                Ok(Value::Other("a list"))
            }

            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Self::Value, A::Error> {
                while map.next_entry::<IgnoredAny, IgnoredAny>()?.is_some() {}
                Ok(Value::Other("an object"))
            }
        }
        from.deserialize_any(Any)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_are_found_by_their_brackets() {
        let text = r#"{ "a\"]" : [1, {"b": 2}] , "c":"},{", "d" :{}, "e":null }"#;
        let found: Vec<_> = parts(text).into_iter().map(|part| (part.name().unwrap(), part.value)).collect();
        let expected = [("a\"]", "[1, {\"b\": 2}]"), ("c", "\"},{\""), ("d", "{}"), ("e", "null")];
        assert_eq!(found, expected.map(|(name, value)| (name.to_owned(), value)));
        assert_eq!(
            parts("[ 1,[2,3], {} ]").into_iter().map(|part| part.value).collect::<Vec<_>>(),
            ["1", "[2,3]", "{}"]
        );
        assert!(parts("[ ]").is_empty());
    }

    #[test]
    fn lines_are_those_on_which_objects_begin() {
        let text = "[\n{},\n\n{}]";
        let mut place = Place { text, at: 0, line: 1 };
        assert_eq!(parts(text).iter().map(|part| place.line_of(part.value)).collect::<Vec<_>>(), [2, 4]);
    }
}
