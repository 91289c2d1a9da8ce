//! The list of what is wrong with a file: kept short enough to read, safe to print.

use crate::reading::Defect;
use crate::units::BadSpectrum;

/// At most this many defects are listed; the rest are counted.
pub(super) const LISTED: usize = 200;

/// So many defects end the reading of a file.
const HOPELESS: u64 = 10_000;

/// Gathers defects in the order in which they are found.
#[derive(Debug, Default)]
pub(super) struct Defects {
    listed: Vec<Defect>,
    more: u64,
}

impl Defects {
    /// Adds a defect of one field.
    pub fn at(&mut self, line: u64, column: &str, found: &str, expected: impl Into<String>) {
        if self.has_room() {
            self.listed.push(Defect::at(line, &shown(column), &shown(found), expected));
        }
    }

    /// Adds a defect of a whole line, or with line 0 of the whole file.
    pub fn of_line(&mut self, line: u64, found: &str, expected: impl Into<String>) {
        if self.has_room() {
            self.listed.push(Defect::of_line(line, &shown(found), expected));
        }
    }

    /// Adds what is wrong with a spectrum.
    pub fn of_spectrum(&mut self, line: u64, bad: &BadSpectrum) {
        let (found, expected) = halves(bad);
        self.of_line(line, &found, expected);
    }

    /// How many there are, listed or not.
    pub fn count(&self) -> u64 {
        self.listed.len() as u64 + self.more
    }

    /// Whether there are so many that the rest of the file is not worth reading.
    pub fn are_hopeless(&self) -> bool {
        self.count() >= HOPELESS
    }

    /// Whether one of them blames such a column, or the row as a whole.
    pub fn concern(&self, such: impl Fn(&str) -> bool) -> bool {
        self.listed.iter().any(|defect| defect.column.as_deref().is_none_or(&such))
    }

    /// Gives the columns they blame other names, where there are such.
    pub fn rename(&mut self, name: impl Fn(&str) -> Option<String>) {
        for column in self.listed.iter_mut().filter_map(|defect| defect.column.as_mut()) {
            if let Some(name) = name(column) {
                *column = shown(&name);
            }
        }
    }

    /// Adds those of `other`.
    pub fn append(&mut self, other: Self) {
        for defect in other.listed {
            if self.has_room() {
                self.listed.push(defect);
            }
        }
        self.more += other.more;
    }

    /// The list, with a last line that says how many more there are.
    pub fn into_list(mut self) -> Vec<Defect> {
        if self.more > 0 {
            let least = if self.are_hopeless() { "at least " } else { "" };
            let found = format!("{least}{} more defects", self.more);
            let expected = format!("the {LISTED} above to be put right first");
            self.listed.push(Defect::of_line(0, &found, expected));
        }
        self.listed
    }

    fn has_room(&mut self) -> bool {
        let room = self.listed.len() < LISTED;
        self.more += u64::from(!room);
        room
    }
}

/// What was found and what was expected, from the one sentence that says both of a spectrum.
pub(super) fn halves(bad: &BadSpectrum) -> (String, String) {
    let said = bad.to_string();
    let (found, expected) = said.split_once(": expected ").unwrap_or((&said, "a spectrum of light"));
    (found.to_owned(), expected.to_owned())
}

/// `text` without the control characters that could drive a terminal, and not longer than a defect can hold.
fn shown(text: &str) -> String {
    let mut out = String::new();
    for c in text.chars().take(80) {
        if c.is_control() { out.extend(c.escape_default()) } else { out.push(c) }
    }
    out
}
