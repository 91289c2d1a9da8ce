//! How wide the paper is, and how text is laid on it: sentences wrap with a hanging indent, tables give up what matters least.
//!
//! In a pipe nothing is wrapped and no column left out: who reads there wants rows whole.

use std::env;
use std::io::{self, IsTerminal};

use tabled::builder::Builder;
use tabled::settings::{Padding, Style};
use terminal_size::{Width, terminal_size_of};

/// Columns of a terminal that does not say how many it has.
const USUAL: usize = 80;
/// No text is laid on less.
const LEAST: usize = 20;
/// Blanks between two columns of a table.
const GAP: usize = 2;
/// A column of prose is wrapped before another is left out, but not to less than this.
const PROSE: usize = 20;

/// The columns of the terminal that answers go to: its own word, else that of the variable COLUMNS, else 80. `None` in a pipe.
pub fn of_terminal() -> Option<usize> {
    let out = io::stdout();
    if !out.is_terminal() {
        return None;
    }
    let own = terminal_size_of(&out).map(|(Width(columns), _)| usize::from(columns)).filter(|columns| *columns > 0);
    Some(own.or_else(told).unwrap_or(USUAL).max(LEAST))
}

/// The width of a drawing: the terminal's; in a pipe what COLUMNS says, else 80.
pub fn of_drawing() -> usize {
    of_terminal().or_else(told).unwrap_or(USUAL).clamp(40, 400)
}

fn told() -> Option<usize> {
    env::var("COLUMNS").ok()?.trim().parse().ok().filter(|columns| *columns > 0)
}

/// Characters of `text` that take a column: emphasis takes none.
fn shown(text: &str) -> usize {
    let (mut count, mut hidden) = (0, false);
    for c in text.chars() {
        match c {
            '\x1b' => hidden = true,
            'm' if hidden => hidden = false,
            _ if hidden => {}
            _ => count += 1,
        }
    }
    count
}

/// `text` with each line broken at blanks so that it fits into `width` columns. What follows hangs beneath the line's text: beneath the second
/// column where the line begins with a name and a gap, else two further in. A word that is longer than the line stays whole.
pub fn wrapped(text: &str, width: usize) -> String {
    let mut out = String::with_capacity(text.len() + text.len() / 16);
    for line in text.split_inclusive('\n') {
        let (body, end) = line.strip_suffix('\n').map_or((line, ""), |body| (body, "\n"));
        if shown(body) <= width {
            out.push_str(body);
        } else {
            let hang = hanging(body, width);
            out.push_str(&broken(body, width, hang).join("\n"));
        }
        out.push_str(end);
    }
    out
}

/// How far the lines that follow `line` stand in.
fn hanging(line: &str, width: usize) -> usize {
    let indent = line.chars().take_while(|c| *c == ' ').count();
    let named = line.trim_start().split_once("  ").map(|(name, rest)| {
        let blanks = rest.chars().take_while(|c| *c == ' ').count();
        indent + shown(name) + 2 + blanks
    });
    named.filter(|at| *at <= width / 2).unwrap_or(indent + 2).min(width / 2)
}

/// The lines of one line; all but the first stand `hang` columns in.
fn broken(line: &str, width: usize, hang: usize) -> Vec<String> {
    let mut lines = Vec::new();
    let mut at = String::new();
    let mut columns = 0;
    // Blanks between words are kept as they are, so that columns within a line stay where they were.
    for piece in line.split_inclusive(' ') {
        let word = piece.trim_end_matches(' ');
        if !at.trim().is_empty() && !word.is_empty() && columns + shown(word) > width {
            lines.push(at.trim_end().to_owned());
            at = " ".repeat(hang);
            columns = hang;
        }
        at.push_str(piece);
        columns += shown(piece);
    }
    lines.push(at.trim_end().to_owned());
    lines
}

/// A table: a header, rows, and what it can do without.
pub struct Table<'a> {
    /// The names of the columns.
    pub header: Vec<String>,
    /// One cell for each column.
    pub rows: Vec<Vec<String>>,
    /// Columns by their place, the least important first: left out in this order where there is no room.
    pub spare: &'a [usize],
    /// Columns that the caller puts before each line.
    pub indent: usize,
}

impl Table<'_> {
    /// Its lines, within `width` columns if there is a limit.
    pub fn lines(&self, width: Option<usize>) -> String {
        let Some(width) = width.map(|width| width.saturating_sub(self.indent)) else {
            return self.drawn(&(0..self.header.len()).collect::<Vec<_>>(), None);
        };
        let mut kept: Vec<usize> = (0..self.header.len()).collect();
        let mut spare = self.spare.iter();
        let mut gone: Vec<&str> = Vec::new();
        let widths = loop {
            if let Some(widths) = self.fitted(&kept, width, false) {
                break Some(widths);
            }
            let Some(least) = spare.next() else { break self.fitted(&kept, width, true) };
            kept.retain(|column| column != least);
            gone.extend(self.header.get(*least).map(String::as_str));
        };
        let mut text = self.drawn(&kept, widths.as_deref());
        if !gone.is_empty() {
            text.push_str(&wrapped(&format!("(no room for {})\n", gone.join(", ")), width));
        }
        text
    }

    /// Widths for the columns that are kept, if they fit into `width`: names broken first, then prose; with `all` every cell at its blanks,
    /// and then also where that does not suffice.
    fn fitted(&self, kept: &[usize], width: usize, all: bool) -> Option<Vec<usize>> {
        let room = width.saturating_sub(GAP * kept.len().saturating_sub(1));
        let cells = |column: usize| self.rows.iter().filter_map(move |row| row.get(column)).map(String::as_str);
        let name = |column: usize| self.header.get(column).map_or("", String::as_str);
        let widest = |column: usize| cells(column).map(shown).max().unwrap_or(0);
        let whole: Vec<usize> = kept.iter().map(|c| widest(*c).max(shown(name(*c)))).collect();
        let fits = |widths: &[usize]| widths.iter().sum::<usize>() <= room;
        if fits(&whole) {
            return Some(whole);
        }
        let mut widths: Vec<usize> = kept.iter().map(|c| widest(*c).max(longest_word(name(*c))).max(1)).collect();
        let floors: Vec<usize> = (kept.iter().zip(&widths))
            .map(|(c, natural)| {
                let words = cells(*c).map(longest_word).max().unwrap_or(0).max(longest_word(name(*c))).max(1);
                if all {
                    words
                } else if *natural > PROSE {
                    words.max(PROSE)
                } else {
                    *natural
                }
            })
            .collect();
        while !fits(&widths) {
            let over = widths.iter().sum::<usize>() - room;
            let next =
                (widths.iter().zip(&floors).enumerate()).filter(|(_, (w, f))| w > f).max_by_key(|(_, (w, _))| **w);
            let Some((at, (_, floor))) = next else { return all.then_some(widths) };
            let floor = *floor;
            if let Some(widest) = widths.get_mut(at) {
                // One at a time among equals would be fairer still; the widest bears it, down to its floor.
                *widest = widest.saturating_sub(over).max(floor);
            }
        }
        Some(widths)
    }

    /// The columns `kept`, cells broken to `widths`.
    fn drawn(&self, kept: &[usize], widths: Option<&[usize]>) -> String {
        let record = |row: &[String]| -> Vec<String> {
            let cell = |(place, column): (usize, &usize)| {
                let text = row.get(*column).cloned().unwrap_or_default();
                match widths.and_then(|widths| widths.get(place)) {
                    Some(width) if shown(&text) > *width => broken(&text, *width, 0).join("\n"),
                    _ => text,
                }
            };
            kept.iter().enumerate().map(cell).collect()
        };
        let mut builder = Builder::default();
        builder.push_record(record(&self.header));
        self.rows.iter().for_each(|row| builder.push_record(record(row)));
        let mut table = builder.build();
        table.with(Style::empty()).with(Padding::new(0, GAP, 0, 0));
        let lines: Vec<String> = table.to_string().lines().map(|line| line.trim_end().to_owned()).collect();
        lines.join("\n") + "\n"
    }
}

fn longest_word(text: &str) -> usize {
    text.split(' ').map(shown).max().unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[test]
    fn sentences_hang_beneath_their_beginning() {
        assert_eq!(wrapped("one two three four\n", 20), "one two three four\n");
        assert_eq!(wrapped("one two three four five six\n", 12), "one two\n  three four\n  five six\n");
        assert_eq!(wrapped("    one two three four", 14), "    one two\n      three\n      four");
        assert_eq!(wrapped("  why   it is dim, and green\n", 19), "  why   it is dim,\n        and green\n");
        assert_eq!(wrapped("\x1b[1mdesk\x1b[0m: matched\n", 13), "\x1b[1mdesk\x1b[0m: matched\n");
        assert_eq!(wrapped("a/path/that/is/long and short", 12), "a/path/that/is/long\n  and short");
    }

    fn history() -> Table<'static> {
        let row = |cells: [&str; 5]| cells.map(str::to_owned).to_vec();
        Table {
            header: row(["entry", "time", "u′", "level now", ""]),
            rows: vec![
                row(["1", "2026-03-04 09:30", "0.1979", "500", ""]),
                row(["2", "2026-03-11 09:30", "0.1979", "50", "held back: ten times less than was expected of it"]),
            ],
            spare: &[2],
            indent: 0,
        }
    }

    #[test]
    fn a_table_breaks_prose_then_leaves_columns_out() {
        let table = history();
        for width in [None, Some(100), Some(70), Some(60), Some(50)] {
            let name = format!("table_in_{}", width.map_or("a_pipe".to_owned(), |width| width.to_string()));
            insta::assert_snapshot!(name, table.lines(width));
        }
    }

    proptest! {
        #[test]
        fn nothing_is_wider_than_it_may_be_and_no_word_is_lost(text in "([a-z′]{1,9}[ \n]{0,3}){0,40}", width in 20usize..90) {
            let laid = wrapped(&text, width);
            // A word that is longer than what is left beside the indent stays whole.
            let most = width.max(width / 2 + longest_word(&text.replace('\n', " ")));
            prop_assert!(laid.lines().all(|line| shown(line) <= most), "{laid}");
            prop_assert!(laid.split_whitespace().eq(text.split_whitespace()));
        }

        #[test]
        fn a_table_fits_wherever_its_words_do(cells in prop::collection::vec("([a-z]{1,6} ?){0,12}", 12), width in 40usize..120) {
            let table = Table {
                header: ["a", "b c", "d", "e"].map(str::to_owned).to_vec(),
                rows: cells.chunks(4).map(<[String]>::to_vec).collect(),
                spare: &[1, 3],
                indent: 2,
            };
            let drawn = table.lines(Some(width));
            let widest = cells.iter().flat_map(|cell| cell.split(' ')).map(shown).max().unwrap_or(0);
            if widest * 2 + 2 * GAP + 2 <= width {
                prop_assert!(drawn.lines().all(|line| shown(line) + 2 <= width), "{drawn}");
            }
        }
    }
}
