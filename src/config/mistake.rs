//! What is wrong with a configuration file, told to the person who wrote it.
//!
//! Here: the record of one mistake, the list of a file, and how both read. Not here: finding them.

use std::fmt;

use schemars::JsonSchema;
use serde::Serialize;

/// One mistake, with its place.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
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
    /// What is shown of the line.
    #[serde(skip)]
    pub(super) quote: Quote,
}

/// A piece of a source line, and what of it is meant.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Quote {
    piece: String,
    /// Characters before the mark.
    indent: usize,
    /// Characters that are marked.
    width: usize,
}

/// All mistakes of one file, in the order of the file; never empty, and at most 1000.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub struct Mistakes {
    /// The file's name as people know it.
    pub file: String,
    /// The mistakes.
    pub list: Vec<Mistake>,
}

/// How many mistakes of a file are told; nobody reads more at once.
pub(super) const MOST: usize = 1000;

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
            quote: Quote::default(),
        }
    }
}

impl Quote {
    /// Of a line, the piece around `width` characters from `column` (counted from 1) on.
    pub(super) fn of(line: &str, column: usize, width: usize) -> Self {
        let column = column.saturating_sub(1);
        let length = line.chars().count();
        let from = if length > QUOTED { column.saturating_sub(LEFT) } else { 0 };
        let (head, tail) = (if from > 0 { "…" } else { "" }, if from + QUOTED < length { "…" } else { "" });
        let shown = line.chars().skip(from).take(QUOTED).map(|c| if c.is_control() { ' ' } else { c });
        let piece = format!("{head}{}{tail}", shown.collect::<String>().trim_end());
        let room = (QUOTED + from).saturating_sub(column).max(1);
        Self { piece, indent: column - from + head.chars().count(), width: width.clamp(1, room) }
    }
}

impl fmt::Display for Mistake {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.line > 0 {
            let (number, Quote { piece, indent, width }) = (self.line.to_string(), &self.quote);
            writeln!(f, "  {number} | {piece}")?;
            let (gutter, marks) = (number.len(), "^".repeat(*width));
            writeln!(f, "  {:gutter$} | {:indent$}{marks}", "", "")?;
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
            n if n >= MOST => format!("{n} mistakes or more"),
            n => format!("{n} mistakes"),
        };
        write!(f, "{count} in {}. Correct the file, then run `twinwhite check`.", self.file)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn of_a_long_line_the_piece_around_the_mistake_is_quoted() {
        let line = format!("{}wrong{}", "a".repeat(300), "b".repeat(300));
        let quote = Quote::of(&line, 301, 5);
        let marked: String = quote.piece.chars().skip(quote.indent).take(quote.width).collect();
        assert_eq!(marked, "wrong");
        assert_eq!(quote.piece.chars().count(), QUOTED + 2);
        let long = Quote::of(&line, 1, 600);
        assert_eq!((long.indent, long.width, long.piece.chars().count()), (0, QUOTED, QUOTED + 1));
        assert_eq!(Quote::of("", 1, 0), Quote { piece: String::new(), indent: 0, width: 1 });
    }
}
