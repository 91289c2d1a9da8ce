//! Walking over a TOML file by hand, so that every mistake of it is found in one go and each knows its place.
//!
//! Here: tables and entries that note a mistake instead of stopping at it, and the words for what was found.
//! Not here: which keys there are (`settings`, `things`). The values that come out matter only if no mistake was noted.

use std::cell::RefCell;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::mistake::{MOST, Mistake, Quote};
use super::words::{elsewhere, list, nearest, printable, words_for};

/// The text of the file and the mistakes noted so far.
pub(super) struct Notes<'a> {
    text: &'a str,
    line_starts: Vec<usize>,
    noted: RefCell<Vec<Mistake>>,
    /// Keys that unknown ones were likely meant to be: they are not reported as missing as well.
    misspelt: RefCell<Vec<String>>,
}

/// One table of the file.
#[derive(Clone)]
pub(super) struct Table<'a> {
    notes: &'a Notes<'a>,
    table: &'a DeTable<'a>,
    at: Range<usize>,
    /// How people find it: `[site]`, `[[station]] "bay"`; empty for the file itself.
    place: String,
    /// Keys from there to here.
    path: String,
}

/// One value of the file with the key it stands under.
#[derive(Clone)]
pub(super) struct Entry<'a> {
    notes: &'a Notes<'a>,
    value: &'a DeValue<'a>,
    at: Range<usize>,
    place: String,
    path: String,
}

impl<'a> Notes<'a> {
    pub(super) fn new(text: &'a str) -> Self {
        let starts = std::iter::once(0).chain(text.match_indices('\n').map(|(at, _)| at + 1));
        Self { text, line_starts: starts.collect(), noted: RefCell::default(), misspelt: RefCell::default() }
    }

    pub(super) fn note(
        &self,
        at: Range<usize>,
        key: String,
        found: impl Into<String>,
        expected: impl Into<String>,
        hint: Option<String>,
    ) {
        if self.noted.borrow().len() >= MOST {
            // Not even looked at, so that a hostile file costs no more.
            return;
        }
        let (line, column) = self.place_of(at.start);
        let start = self.line_starts.get(line - 1).copied().unwrap_or(0);
        let source = self.text.get(start..).and_then(|rest| rest.lines().next()).unwrap_or_default();
        let width = self.text.get(at).and_then(|piece| piece.lines().next()).map_or(1, |line| line.chars().count());
        let quote = Quote::of(source.trim_start_matches('\u{feff}'), column, width);
        let (found, expected) = (printable(&found.into()), expected.into());
        let hint = hint.map(|hint| printable(&hint));
        let mistake = Mistake { line, column, key: printable(&key), found, expected, hint, quote };
        self.push(mistake);
    }

    /// The same of something that must not be shown: of its line only what stands before it is quoted.
    fn note_hidden(&self, at: Range<usize>, key: String, found: &str, expected: &str, hint: &str) {
        let (line, column) = self.place_of(at.start);
        let start = self.line_starts.get(line - 1).copied().unwrap_or(0);
        let before = self.text.get(start..at.start).unwrap_or_default().trim_start_matches('\u{feff}');
        let quote = Quote::of(&format!("{before}…"), column, 1);
        let (found, expected, hint) = (found.to_owned(), expected.to_owned(), Some(hint.to_owned()));
        self.push(Mistake { line, column, key: printable(&key), found, expected, hint, quote });
    }

    fn push(&self, mistake: Mistake) {
        let mut noted = self.noted.borrow_mut();
        if noted.len() < MOST {
            noted.push(mistake);
        }
    }

    /// Line and column of a byte, both counted from 1; a byte-order mark has no column.
    pub(super) fn place_of(&self, byte: usize) -> (usize, usize) {
        let line = self.line_starts.partition_point(|start| *start <= byte).max(1);
        let start = self.line_starts.get(line - 1).copied().unwrap_or(0);
        let before = self.text.get(start..byte).unwrap_or_default();
        (line, before.trim_start_matches('\u{feff}').chars().count() + 1)
    }

    /// The mistakes in the order of the file.
    pub(super) fn into_mistakes(self) -> Vec<Mistake> {
        let mut noted = self.noted.into_inner();
        noted.sort_by_key(|mistake| (mistake.line, mistake.column));
        noted
    }
}

impl<'a> Table<'a> {
    /// The file itself.
    pub(super) fn root(notes: &'a Notes<'a>, table: &'a DeTable<'a>) -> Self {
        Self { notes, table, at: 0..0, place: String::new(), path: String::new() }
    }

    /// The keys as written, with their places.
    pub(super) fn keys(&self) -> impl Iterator<Item = (&'a str, Range<usize>)> {
        self.table.iter().map(|(key, _)| (key.get_ref().as_ref(), key.span()))
    }

    /// Notes every key that is not in `known`. To be called before `need`.
    pub(super) fn only(&self, known: &[&str]) {
        self.only_beside(known, &[]);
    }

    /// The same, leaving out those in `aside`.
    pub(super) fn only_beside(&self, known: &[&str], aside: &[&str]) {
        for (key, at) in self.keys() {
            if !known.contains(&key) && !aside.contains(&key) {
                let moved = elsewhere(key).filter(|(meant, _)| known.contains(meant));
                let (meant, hint) = match moved {
                    Some((meant, hint)) => (Some(meant), Some(hint.to_owned())),
                    None => {
                        let near = nearest(key, known.iter().copied());
                        (near, near.map(|near| format!("did you mean {near}?")))
                    }
                };
                self.notes.misspelt.borrow_mut().extend(meant.map(|meant| self.key(meant)));
                let found = "a key that is not known here";
                self.notes.note(at, self.key(key), found, list(known, "or"), hint);
            }
        }
    }

    /// The value under `key`, if there is one.
    pub(super) fn get(&self, key: &str) -> Option<Entry<'a>> {
        let value = self.table.get(key)?;
        Some(Entry {
            notes: self.notes,
            value: value.get_ref(),
            at: value.span(),
            place: self.place.clone(),
            path: self.path_to(key),
        })
    }

    /// The value under `key`, whose absence is a mistake; `expected` says what should stand there.
    pub(super) fn need(&self, key: &str, expected: &str) -> Option<Entry<'a>> {
        let entry = self.get(key);
        if entry.is_none() {
            self.missing(key, expected, None);
        }
        entry
    }

    /// Notes at the head of this table that `key` is missing, unless a misspelt one stands for it.
    pub(super) fn missing(&self, key: &str, expected: &str, hint: Option<String>) {
        if !self.notes.misspelt.borrow().contains(&self.key(key)) {
            self.notes.note(self.at.clone(), self.key(key), "nothing, the key is missing", expected, hint);
        }
    }

    /// The table `[name]`, whose absence is a mistake.
    pub(super) fn need_section(&self, name: &str, expected: &str) -> Option<Table<'a>> {
        if self.get(name).is_none() && !self.notes.misspelt.borrow().iter().any(|key| key == name) {
            let whole = Mistake::of_file("nothing, the table is missing", expected, None);
            self.notes.push(Mistake { key: format!("[{name}]"), ..whole });
        }
        self.section(name)
    }

    /// The table `[name]`, if there is one.
    pub(super) fn section(&self, name: &str) -> Option<Table<'a>> {
        let entry = self.get(name)?;
        match entry.value {
            DeValue::Table(table) => {
                Some(Table { notes: self.notes, table, at: entry.at, place: format!("[{name}]"), path: String::new() })
            }
            DeValue::Array(_) => {
                entry.mistake("a single table", Some(format!("write [{name}] once, with one pair of brackets")));
                None
            }
            _ => {
                entry.mistake("a table", Some(format!("write [{name}] on a line of its own, its keys below it")));
                None
            }
        }
    }

    /// The tables `[[name]]`, in the order of the file.
    pub(super) fn sections(&self, name: &str) -> Vec<Table<'a>> {
        let Some(entry) = self.get(name) else { return Vec::new() };
        let doubled = || Some(format!("write [[{name}]] with two pairs of brackets, once for each {name}"));
        let DeValue::Array(items) = entry.value else {
            entry.mistake(&format!("a list of tables [[{name}]]"), doubled());
            return Vec::new();
        };
        let mut sections = Vec::new();
        for (index, item) in items.iter().enumerate() {
            let DeValue::Table(table) = item.get_ref() else {
                Entry { value: item.get_ref(), at: item.span(), ..entry.clone() }.mistake("a table", doubled());
                continue;
            };
            let named = table.get("id").and_then(|id| id.get_ref().as_str());
            let place = match named {
                Some(id) => format!("[[{name}]] \"{}\"", id.chars().take(64).collect::<String>()),
                None => format!("[[{name}]] number {}", index + 1),
            };
            sections.push(Table { notes: self.notes, table, at: item.span(), place, path: String::new() });
        }
        sections
    }

    fn path_to(&self, key: &str) -> String {
        if self.path.is_empty() { key.to_owned() } else { format!("{}.{key}", self.path) }
    }

    fn key(&self, key: &str) -> String {
        key_at(&self.place, &self.path_to(key))
    }
}

impl<'a> Entry<'a> {
    /// Notes that this value is not what was expected.
    pub(super) fn mistake(&self, expected: &str, hint: Option<String>) {
        self.note(words_for(self.value), expected, hint);
    }

    /// Notes a mistake at this value.
    pub(super) fn note(&self, found: impl Into<String>, expected: &str, hint: Option<String>) {
        self.notes.note(self.at.clone(), key_at(&self.place, &self.path), found, expected, hint);
    }

    /// Notes a mistake at this value without showing it, since it may be a secret.
    pub(super) fn note_hidden(&self, found: &str, expected: &str, hint: &str) {
        self.notes.note_hidden(self.at.clone(), key_at(&self.place, &self.path), found, expected, hint);
    }

    /// The line this value begins on.
    pub(super) fn line(&self) -> usize {
        self.notes.place_of(self.at.start).0
    }

    pub(super) fn as_text(&self) -> Option<&'a str> {
        self.value.as_str()
    }

    pub(super) fn is_table(&self) -> bool {
        matches!(self.value, DeValue::Table(_))
    }

    /// How many keys a table has.
    pub(super) fn keys_of_table(&self) -> Option<usize> {
        self.value.as_table().map(|table| table.len())
    }

    pub(super) fn is_list(&self) -> bool {
        matches!(self.value, DeValue::Array(_))
    }

    /// The date, where one is written without quotation marks and without a time of day.
    pub(super) fn as_date(&self) -> Option<chrono::NaiveDate> {
        let DeValue::Datetime(written) = self.value else { return None };
        let (Some(date), None) = (written.date, written.time) else { return None };
        chrono::NaiveDate::from_ymd_opt(date.year.into(), date.month.into(), date.day.into())
    }

    /// The number, where there is a finite one.
    pub(super) fn as_number(&self) -> Option<f64> {
        match self.value {
            DeValue::Integer(whole) => {
                i64::from_str_radix(whole.as_str(), whole.radix()).ok().map(|whole| whole as f64)
            }
            DeValue::Float(float) => float.as_str().parse::<f64>().ok().filter(|float| float.is_finite()),
            _ => None,
        }
    }

    /// A text that is not blank; `expected` names it.
    pub(super) fn text(&self, expected: &str) -> Option<&'a str> {
        match self.value.as_str() {
            Some(text) if text.trim().is_empty() => {
                self.note("an empty text", expected, None);
                None
            }
            Some(text) if text.chars().any(char::is_control) => {
                let hint = "in double quotation marks a backslash has a meaning of its own; single ones ('…') keep it";
                self.note(format!("a text with unprintable characters, {text:?}"), expected, Some(hint.to_owned()));
                None
            }
            Some(text) => Some(text),
            None => {
                let quotes = matches!(self.value, DeValue::Integer(_) | DeValue::Float(_) | DeValue::Boolean(_));
                self.mistake(expected, quotes.then(|| "put it in quotation marks".to_owned()));
                None
            }
        }
    }

    /// A number for which `good` holds; `expected` says which those are.
    pub(super) fn number(&self, expected: &str, good: impl Fn(f64) -> bool) -> Option<f64> {
        if let Some(number) = self.as_number().filter(|number| good(*number)) {
            return Some(number);
        }
        let hint = self.value.as_str().and_then(|text| {
            if text.trim().parse::<f64>().is_ok() {
                Some("a number stands without quotation marks")
            } else if text.trim().replacen(',', ".", 1).parse::<f64>().is_ok() {
                Some("a number stands without quotation marks and with a point, not a comma")
            } else {
                None
            }
        });
        self.mistake(expected, hint.map(str::to_owned));
        None
    }

    /// A whole number within `range`.
    pub(super) fn whole(&self, expected: &str, range: Range<u64>) -> Option<u64> {
        let whole = match self.value {
            DeValue::Integer(whole) => u64::from_str_radix(whole.as_str(), whole.radix()).ok(),
            _ => None,
        };
        let good = whole.filter(|whole| range.contains(whole));
        if good.is_none() {
            self.mistake(expected, None);
        }
        good
    }

    /// One of several words.
    pub(super) fn choice<T: Copy>(&self, choices: &[(&str, T)]) -> Option<T> {
        let words: Vec<String> = choices.iter().map(|(word, _)| format!("\"{word}\"")).collect();
        let words: Vec<&str> = words.iter().map(String::as_str).collect();
        let expected = list(&words, "or");
        let text = self.value.as_str();
        let chosen = choices.iter().find(|(word, _)| Some(*word) == text);
        if chosen.is_none() {
            let near = text.and_then(|text| nearest(text, choices.iter().map(|(word, _)| *word)));
            self.mistake(&expected, near.map(|near| format!("did you mean \"{near}\"?")));
        }
        chosen.map(|(_, choice)| *choice)
    }

    /// A table `{ … }` with none but the `known` keys.
    pub(super) fn table(&self, expected: &str, known: &[&str]) -> Option<Table<'a>> {
        let table = self.open(expected)?;
        table.only(known);
        Some(table)
    }

    /// A table whose keys the caller judges.
    pub(super) fn open(&self, expected: &str) -> Option<Table<'a>> {
        let DeValue::Table(table) = self.value else {
            self.mistake(expected, None);
            return None;
        };
        let (place, path) = (self.place.clone(), self.path.clone());
        Some(Table { notes: self.notes, table, at: self.at.clone(), place, path })
    }

    /// The word true or false, without quotation marks.
    pub(super) fn truth(&self) -> Option<bool> {
        let truth = self.value.as_bool();
        if truth.is_none() {
            let quoted = matches!(self.as_text(), Some("true" | "false"));
            self.mistake("true or false", quoted.then(|| "it stands without quotation marks".to_owned()));
        }
        truth
    }

    /// A list `[ … ]`.
    pub(super) fn list(&self, expected: &str) -> Option<Vec<Entry<'a>>> {
        let DeValue::Array(items) = self.value else {
            let hint = self.value.as_str().map(|text| format!("a list stands in brackets: [\"{text}\"]"));
            self.mistake(expected, hint);
            return None;
        };
        let entry = |(index, item): (usize, &'a Spanned<DeValue<'a>>)| Entry {
            value: item.get_ref(),
            at: item.span(),
            path: format!("{}[{}]", self.path, index + 1),
            ..self.clone()
        };
        Some(items.iter().enumerate().map(entry).collect())
    }
}

fn key_at(place: &str, path: &str) -> String {
    if place.is_empty() { path.to_owned() } else { format!("{place}: {path}") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_counted_in_characters_from_one() {
        let notes = Notes::new("\u{feff}ä = 1\r\nß = 2\n");
        assert_eq!(notes.place_of(3), (1, 1));
        assert_eq!(notes.place_of(5), (1, 2));
        assert_eq!(notes.place_of(11), (2, 1));
        assert_eq!(notes.place_of(13), (2, 2));
        assert_eq!(notes.place_of(9999).0, 3);
    }
}
