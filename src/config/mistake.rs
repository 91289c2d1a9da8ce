//! What is wrong with a configuration file, told to the person who wrote it.
//!
//! Here: the record of one mistake, the list of a file, and how both read. Not here: finding them.

use std::fmt;

use serde::Serialize;

/// One mistake, with its place.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Mistake {
    /// Line of the file, counted from 1; 0 for the file as a whole.
    pub line: usize,
    /// Column in characters, counted from 1; 0 for the file as a whole.
    pub column: usize,
    /// The key to blame with the table it stands in, like `[[station]] "bay": tolerance.delta_uv`; may be empty.
    pub key: String,
    /// What stood there.
    pub found: String,
    /// What should have stood there.
    pub expected: String,
    /// What to write or do, where that can be said.
    pub hint: Option<String>,
    /// The line as it stands in the file, for quoting.
    #[serde(skip)]
    pub(super) source: String,
    /// How many characters from `column` on are meant; at least 1.
    #[serde(skip)]
    pub(super) width: usize,
}

/// All mistakes of one file, in the order of the file; never empty.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub struct Mistakes {
    /// The file's name as people know it.
    pub file: String,
    /// The mistakes.
    pub list: Vec<Mistake>,
}

/// Longest piece of a source line that is quoted, and how much of it may stand left of the mistake.
const QUOTED: usize = 100;
const LEFT: usize = 40;

impl Mistake {
    /// A mistake of the file as a whole.
    pub(super) fn of_file(found: impl Into<String>, expected: impl Into<String>, hint: Option<String>) -> Self {
        Self {
            line: 0,
            column: 0,
            key: String::new(),
            found: found.into(),
            expected: expected.into(),
            hint,
            source: String::new(),
            width: 1,
        }
    }

    /// The quoted line and the marks below it.
    fn quote(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let shown: Vec<char> = self.source.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
        let column = self.column.saturating_sub(1).min(shown.len());
        let from = if shown.len() > QUOTED { column.saturating_sub(LEFT) } else { 0 };
        let piece: String = shown.iter().skip(from).take(QUOTED).collect();
        let (head, tail) = (if from > 0 { "…" } else { "" }, if from + QUOTED < shown.len() { "…" } else { "" });
        let number = self.line.to_string();
        writeln!(f, "  {number} | {head}{}{tail}", piece.trim_end())?;
        let (gutter, indent) = (number.len(), column - from + head.chars().count());
        let room = (QUOTED + from).saturating_sub(column).max(1);
        writeln!(f, "  {:gutter$} | {:indent$}{}", "", "", "^".repeat(self.width.clamp(1, room)))
    }
}

impl fmt::Display for Mistake {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.line > 0 {
            self.quote(f)?;
        }
        if !self.key.is_empty() {
            writeln!(f, "  key:      {}", self.key)?;
        }
        writeln!(f, "  found:    {}", self.found)?;
        write!(f, "  expected: {}", self.expected)?;
        if let Some(hint) = &self.hint {
            write!(f, "\n  hint:     {hint}")?;
        }
        Ok(())
    }
}

impl fmt::Display for Mistakes {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for mistake in &self.list {
            match mistake.line {
                0 => writeln!(f, "{}", self.file)?,
                line => writeln!(f, "{}, line {line}, column {}", self.file, mistake.column)?,
            }
            writeln!(f, "{mistake}\n")?;
        }
        let count = match self.list.len() {
            1 => "1 mistake".to_owned(),
            n => format!("{n} mistakes"),
        };
        write!(f, "{count} in {}. Correct the file, then run `twinwhite check`.", self.file)
    }
}
