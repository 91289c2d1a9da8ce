//! Walking over a TOML file by hand, so that every mistake of it is found in one go and each knows its place.
//!
//! Here: tables and entries that note a mistake instead of stopping at it, and the words for what was found.
//! Not here: which keys there are (`settings`, `things`). The values that come out matter only if no mistake was noted.

use std::cell::RefCell;
use std::ops::Range;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::mistake::Mistake;

/// The text of the file and the mistakes noted so far.
pub(super) struct Notes<'a> {
    text: &'a str,
    line_starts: Vec<usize>,
    noted: RefCell<Vec<Mistake>>,
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
        Self { text, line_starts: starts.collect(), noted: RefCell::default() }
    }

    pub(super) fn note(
        &self,
        at: Range<usize>,
        key: String,
        found: impl Into<String>,
        expected: impl Into<String>,
        hint: Option<String>,
    ) {
        let (line, column) = self.place_of(at.start);
        let start = self.line_starts.get(line - 1).copied().unwrap_or(0);
        let source = self.text.get(start..).and_then(|rest| rest.lines().next()).unwrap_or_default();
        let source = source.trim_start_matches('\u{feff}').to_owned();
        let width = self.text.get(at).and_then(|piece| piece.lines().next()).map_or(1, |line| line.chars().count());
        let mistake =
            Mistake { line, column, key, found: found.into(), expected: expected.into(), hint, source, width };
        self.noted.borrow_mut().push(mistake);
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

    /// Notes every key that is not in `known`.
    pub(super) fn only(&self, known: &[&str]) {
        for (key, at) in self.keys() {
            if !known.contains(&key) {
                let hint = match (nearest(key, known.iter().copied()), elsewhere(key)) {
                    (_, Some(told)) => told.to_owned(),
                    (Some(near), None) => format!("did you mean {near}?"),
                    (None, None) => format!("the keys here are {}", list(known, "and")),
                };
                self.notes.note(at, self.key(key), "a key that is not known here", "a known key", Some(hint));
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
            self.mistake(key, "nothing, the key is missing", expected, None);
        }
        entry
    }

    /// Notes a mistake about `key`, which need not exist, at the head of this table.
    pub(super) fn mistake(&self, key: &str, found: &str, expected: &str, hint: Option<String>) {
        if self.place.is_empty() {
            let whole = Mistake { key: key.to_owned(), ..Mistake::of_file(found, expected, hint) };
            self.notes.noted.borrow_mut().push(whole);
        } else {
            self.notes.note(self.at.clone(), self.key(key), found, expected, hint);
        }
    }

    /// The table `[name]`, whose absence is a mistake.
    pub(super) fn need_section(&self, name: &str, expected: &str) -> Option<Table<'a>> {
        if self.get(name).is_none() {
            self.mistake(&format!("[{name}]"), "nothing, the table is missing", expected, None);
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

    pub(super) fn is_list(&self) -> bool {
        matches!(self.value, DeValue::Array(_))
    }

    /// The date, where one is written without quotation marks and without a time of day.
    pub(super) fn as_date(&self) -> Option<chrono::NaiveDate> {
        let DeValue::Datetime(written) = self.value else { return None };
        let (Some(date), None) = (written.date, written.time) else { return None };
        chrono::NaiveDate::from_ymd_opt(date.year.into(), date.month.into(), date.day.into())
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
        let number = match self.value {
            DeValue::Integer(whole) => {
                i64::from_str_radix(whole.as_str(), whole.radix()).ok().map(|whole| whole as f64)
            }
            DeValue::Float(float) => float.as_str().parse::<f64>().ok().filter(|float| float.is_finite()),
            _ => None,
        };
        if let Some(number) = number.filter(|number| good(*number)) {
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
        let DeValue::Table(table) = self.value else {
            self.mistake(expected, None);
            return None;
        };
        let table =
            Table { notes: self.notes, table, at: self.at.clone(), place: self.place.clone(), path: self.path.clone() };
        table.only(known);
        Some(table)
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

/// A value in people's words.
fn words_for(value: &DeValue<'_>) -> String {
    let cut = |text: &str| text.chars().take(80).collect::<String>();
    match value {
        DeValue::String(text) => format!("the text \"{}\"", cut(text)),
        DeValue::Integer(number) => format!("the number {}", cut(&number.to_string())),
        DeValue::Float(number) => format!("the number {}", cut(&number.to_string())),
        DeValue::Boolean(truth) => format!("the word {truth}"),
        DeValue::Datetime(moment) => format!("the date or time {moment}"),
        DeValue::Array(items) if items.is_empty() => "an empty list".to_owned(),
        DeValue::Array(items) => match items.len() {
            1 => "a list of one".to_owned(),
            n => format!("a list of {n}"),
        },
        DeValue::Table(table) if table.is_empty() => "an empty table { }".to_owned(),
        DeValue::Table(table) => {
            let keys: Vec<&str> = table.keys().map(|key| key.get_ref().as_ref()).collect();
            cut(&format!("a table with {}", list(&keys, "and")))
        }
    }
}

/// "a, b and c".
pub(super) fn list<S: AsRef<str>>(words: &[S], last: &str) -> String {
    match words {
        [] => "none".to_owned(),
        [one] => one.as_ref().to_owned(),
        [most @ .., end] => {
            let most: Vec<&str> = most.iter().map(AsRef::as_ref).collect();
            format!("{} {last} {}", most.join(", "), end.as_ref())
        }
    }
}

/// The candidate that `word` was most likely meant to be.
///
/// Near is one slip of the pen (Damerau) for every four letters and one more, or a word cut short.
pub(super) fn nearest<'w>(word: &str, candidates: impl Iterator<Item = &'w str>) -> Option<&'w str> {
    let plain = |text: &str| text.trim().to_lowercase().replace([' ', '-', '_'], "");
    let word: String = plain(word).chars().take(100).collect();
    let distance = |candidate: &str| {
        let candidate = plain(candidate);
        let cut_short = word.len() >= 3 && candidate.len() >= 3;
        if cut_short && (candidate.starts_with(&word) || word.starts_with(&candidate)) {
            return 1;
        }
        strsim::damerau_levenshtein(&word, &candidate)
    };
    let near = 1 + word.chars().count() / 4;
    let scored = candidates.map(|candidate| (distance(candidate), candidate));
    let best = scored.min_by_key(|(distance, _)| *distance)?;
    // Of two words without a letter in common the shorter would do for anything.
    (best.0 <= near && best.0 < word.chars().count()).then_some(best.1)
}

/// Keys that people write in the wrong place, and what to do about it.
fn elsewhere(key: &str) -> Option<&'static str> {
    Some(match key {
        "illuminance_lx" => "lux is for lamps; a display has luminance_cd_m2",
        "luminance_cd_m2" => "cd/m2 is for displays; a lamp has illuminance_lx, a paper its white",
        "u_prime" | "v_prime" => "a white is written as x and y (CIE 1931), not u', v'",
        "zone" | "tz" => "the key is timezone",
        _ => return None,
    })
}
