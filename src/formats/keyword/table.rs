//! The tables of keyword text: keywords, names of fields, and where the values stand.
//!
//! Grammar (CGATS.17, ISO 28178), in our own reading of it:
//!
//! ```text
//! file   = { table }
//! table  = header format header sets data
//! header = { line }                   a line: KEY and its value, or a type of table such as CGATS.17, which is let pass
//! format = "BEGIN_DATA_FORMAT" { name } "END_DATA_FORMAT"
//! data   = "BEGIN_DATA" { value } "END_DATA"          free-flowing: as many values a set as there are names
//! ```
//!
//! NUMBER_OF_FIELDS and NUMBER_OF_SETS may be missing; where they stand they agree with what was found. Each table has
//! a header and a format of its own: nothing is taken over from the table before.
//!
//! What does not live here: what keywords and fields mean (`colour`, `set`).

use std::borrow::Cow;

use super::super::Unfinished;
use super::super::defects::Defects;
use super::lexer::{BadToken, Lexer, Token};

/// The largest number of fields of a set.
pub(super) const MAX_FIELDS: usize = 4096;
/// The largest number of sets of a file.
pub(super) const MAX_SETS: usize = 100_000;

/// A line of a header.
#[derive(Debug, Clone)]
pub(super) struct Keyword<'t> {
    pub name: Cow<'t, str>,
    pub value: Cow<'t, str>,
    pub line: u64,
}

/// A table as it stands in a file, its counts known to agree.
#[derive(Debug)]
pub(super) struct Table<'t> {
    /// The line on which it begins.
    pub line: u64,
    pub keywords: Vec<Keyword<'t>>,
    pub fields: Vec<Cow<'t, str>>,
    /// The line on which its fields begin.
    pub format_line: u64,
    /// How many values it has.
    values: usize,
    data: Lexer<'t>,
}

/// Why a text has no tables.
#[derive(Debug)]
pub(super) enum Stop {
    /// It goes on elsewhere, or later.
    Unfinished(Unfinished),
    /// It is wrong; the reason is among the defects.
    Refused,
}

impl<'t> Table<'t> {
    fn at(line: u64) -> Self {
        let (keywords, fields) = (Vec::new(), Vec::new());
        Self { line, keywords, fields, format_line: line, values: 0, data: Lexer::new("") }
    }

    /// The values in their order.
    pub fn values(&self) -> impl Iterator<Item = Token<'t>> {
        self.data.clone().take(self.values).map_while(Result::ok)
    }

    /// The lines of the header with this keyword.
    pub fn keyword(&self, name: &str) -> impl Iterator<Item = &Keyword<'t>> {
        self.keywords.iter().filter(move |keyword| keyword.name.eq_ignore_ascii_case(name))
    }

    /// How many sets it has.
    pub fn sets(&self) -> usize {
        self.values.checked_div(self.fields.len()).unwrap_or_default()
    }

    /// Holds what was counted against what the header says; `odd` is the first line of data that has another number of
    /// values than there are fields.
    fn check_counts(&self, odd: Option<(u64, usize)>, end: u64, defects: &mut Defects) {
        let names = self.fields.len();
        self.check_count("NUMBER_OF_FIELDS", names, "names between BEGIN_DATA_FORMAT and END_DATA_FORMAT", defects);
        if self.values == 0 {
            defects.of_line(end, "no value between BEGIN_DATA and END_DATA", "at least one set of values");
        } else if !self.values.is_multiple_of(names) {
            let (line, here) = odd.unwrap_or((end, self.values));
            let found = format!("{} values, {here} of them on this line", self.values);
            defects.of_line(line, &found, format!("{names} values a set, one for each field"));
        } else {
            self.check_count("NUMBER_OF_SETS", self.sets(), "sets between BEGIN_DATA and END_DATA", defects);
        }
    }

    fn check_count(&self, name: &str, counted: usize, of_what: &str, defects: &mut Defects) {
        for said in self.keyword(name) {
            match said.value.parse::<usize>() {
                Ok(count) if count == counted => {}
                Ok(count) => {
                    let found = format!("{name} {count}, and {counted} {of_what}");
                    defects.of_line(
                        said.line,
                        &found,
                        "the two to agree: one of them is wrong, or something is missing",
                    );
                }
                Err(_) => defects.at(said.line, name, &said.value, "a whole number"),
            }
        }
    }
}

/// Reads the tables of a text.
pub(super) fn tables<'t>(text: &'t str, defects: &mut Defects) -> Result<Vec<Table<'t>>, Stop> {
    let mut walk = Walk { lexer: Lexer::new(text), tables: Vec::new(), sets: 0, defects };
    while let Some(first) = walk.next(1)? {
        let table = walk.table(first)?;
        walk.sets += table.sets();
        walk.tables.push(table);
    }
    match walk.tables.is_empty() {
        true => Err(Stop::Unfinished(Unfinished::NoEndData { line: 1 })),
        false => Ok(walk.tables),
    }
}

const SECTIONS: [&str; 4] = ["BEGIN_DATA_FORMAT", "END_DATA_FORMAT", "BEGIN_DATA", "END_DATA"];

struct Walk<'t, 'd> {
    lexer: Lexer<'t>,
    tables: Vec<Table<'t>>,
    /// Of the tables so far.
    sets: usize,
    defects: &'d mut Defects,
}

impl<'t> Walk<'t, '_> {
    /// The next word of the table that begins on line `begun`.
    fn next(&mut self, begun: u64) -> Result<Option<Token<'t>>, Stop> {
        const QUOTE: &str = "a quote at the end of the text, on the same line; a quote within quotes is doubled";
        match self.lexer.next() {
            None => Ok(None),
            Some(Ok(token)) => Ok(Some(token)),
            Some(Err(BadToken::OpenQuote { is_last: true, line, .. })) => {
                Err(Stop::Unfinished(Unfinished::OpenQuote { line: line.max(begun) }))
            }
            Some(Err(BadToken::OpenQuote { line, found, .. })) => Err(self.refuse(line, &found, QUOTE)),
            Some(Err(BadToken::AfterQuote { line, found })) => {
                let expected = "a blank or the end of the line after a closing quote; a quote within quotes is doubled";
                Err(self.refuse(line, &found, expected))
            }
            Some(Err(BadToken::LongLine { line })) => {
                Err(self.refuse(line, "a longer line", "a line of 64 KiB at most"))
            }
        }
    }

    /// The next word of a table, which is not finished where there is none.
    fn must(&mut self, begun: u64) -> Result<Token<'t>, Stop> {
        self.next(begun)?.ok_or(Stop::Unfinished(Unfinished::NoEndData { line: begun }))
    }

    fn refuse(&mut self, line: u64, found: &str, expected: &str) -> Stop {
        self.defects.of_line(line, found, expected);
        Stop::Refused
    }

    /// Refuses a word that stands where it must not; one that may have been cut is waited for.
    fn misplaced(&mut self, token: &Token<'t>, begun: u64, where_to: &str, expected: &str) -> Stop {
        if token.is_last {
            return Stop::Unfinished(Unfinished::NoEndData { line: begun });
        }
        self.refuse(token.line, &format!("{} {where_to}", token.text), expected)
    }

    fn table(&mut self, first: Token<'t>) -> Result<Table<'t>, Stop> {
        let begun = first.line;
        let mut table = Table::at(begun);
        let mut token = first;
        // Whether the keyword before still takes what stands on its line.
        let mut is_open = false;
        loop {
            let begins = token.is_first || !is_open;
            if begins && token.is("BEGIN_DATA_FORMAT") {
                self.format(&mut table, &token)?;
                is_open = false;
            } else if begins && token.is("BEGIN_DATA") {
                if table.fields.is_empty() {
                    let expected =
                        "BEGIN_DATA_FORMAT, the names of the fields and END_DATA_FORMAT before it, in each table";
                    return Err(self.misplaced(&token, begun, "without a data format", expected));
                }
                self.data(&mut table)?;
                return Ok(table);
            } else if begins && SECTIONS.iter().any(|section| token.is(section)) {
                let expected = "BEGIN_DATA_FORMAT and BEGIN_DATA before what ends them";
                return Err(self.misplaced(&token, begun, "without its beginning", expected));
            } else if begins && !token.is_quoted && token.text.trim_start_matches('.').eq_ignore_ascii_case("INCLUDE") {
                let expected = "one file that holds everything: no other file is ever opened for it";
                return Err(self.misplaced(&token, begun, "directive", expected));
            } else if begins {
                table.keywords.push(Keyword { name: token.text, value: "".into(), line: token.line });
                is_open = true;
            } else if let Some(keyword) = table.keywords.last_mut() {
                if keyword.value.is_empty() {
                    keyword.value = token.text;
                } else {
                    let value = keyword.value.to_mut();
                    value.push(' ');
                    value.push_str(&token.text);
                }
            }
            token = self.must(begun)?;
        }
    }

    fn format(&mut self, table: &mut Table<'t>, begin: &Token<'t>) -> Result<(), Stop> {
        if !table.fields.is_empty() {
            return Err(self.misplaced(begin, table.line, "for the second time", "one data format in a table"));
        }
        table.format_line = begin.line;
        loop {
            let token = self.must(table.line)?;
            if token.is("END_DATA_FORMAT") && table.fields.is_empty() {
                let expected = "the names of the fields between BEGIN_DATA_FORMAT and END_DATA_FORMAT";
                return Err(self.misplaced(&token, table.line, "without any name before it", expected));
            } else if token.is("END_DATA_FORMAT") {
                return Ok(());
            } else if SECTIONS.iter().any(|section| token.is(section)) {
                return Err(self.misplaced(
                    &token,
                    table.line,
                    "among the names of fields",
                    "END_DATA_FORMAT before it",
                ));
            } else if table.fields.len() == MAX_FIELDS {
                return Err(self.refuse(token.line, &format!("field {}", MAX_FIELDS + 1), "4096 fields at most"));
            }
            table.fields.push(token.text);
        }
    }

    fn data(&mut self, table: &mut Table<'t>) -> Result<(), Stop> {
        table.data = self.lexer.clone();
        let names = table.fields.len();
        let most = MAX_SETS.saturating_sub(self.sets).saturating_mul(names);
        // The line that is being counted, how many values it has, and the first that had another number than names.
        let (mut line, mut here) = (0, 0);
        let mut odd = None;
        loop {
            let token = self.must(table.line)?;
            let ends = token.is("END_DATA");
            if token.line != line || ends {
                if odd.is_none() && here > 0 && here != names {
                    odd = Some((line, here));
                }
                (line, here) = (token.line, 0);
            }
            if ends {
                table.check_counts(odd, token.line, self.defects);
                return Ok(());
            } else if SECTIONS.iter().any(|section| token.is(section)) {
                return Err(self.misplaced(&token, table.line, "among the values", "END_DATA before it"));
            } else if table.values == most {
                return Err(self.refuse(
                    token.line,
                    &format!("set {}", MAX_SETS + 1),
                    "at most 100 000 sets: split the file",
                ));
            }
            here += 1;
            table.values += 1;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn refusal(text: &str) -> Vec<String> {
        let mut defects = Defects::default();
        let outcome = tables(text, &mut defects);
        assert!(!matches!(outcome, Err(Stop::Unfinished(_))), "{text}");
        defects.into_list().iter().map(ToString::to_string).collect()
    }

    #[test]
    fn the_parts_of_a_table_are_found() {
        let text = "CGATS.17\nA \"b\"\nC d e # f\nBEGIN_DATA_FORMAT\nX Y\nEND_DATA_FORMAT G h\nBEGIN_DATA 1\n2 3 4 END_DATA\t\t\n\
                    B x\nBEGIN_DATA_FORMAT Z END_DATA_FORMAT BEGIN_DATA \"END_DATA\" END_DATA";
        let mut defects = Defects::default();
        let tables = tables(text, &mut defects).unwrap();
        assert_eq!(defects.count(), 0);
        let said: Vec<_> = tables[0].keywords.iter().map(|k| (k.line, k.name.as_ref(), k.value.as_ref())).collect();
        assert_eq!(said, [(1, "CGATS.17", ""), (2, "A", "b"), (3, "C", "d e"), (6, "G", "h")]);
        assert_eq!((tables[0].fields.len(), tables[0].sets(), tables[0].format_line), (2, 2, 4));
        assert_eq!(tables[0].values().map(|v| (v.line, v.text.into_owned())).last(), Some((8, "4".to_owned())));
        assert_eq!((tables[1].line, tables[1].sets()), (9, 1));
        assert_eq!(tables[1].values().next().unwrap().text, "END_DATA", "in quotes it is a value");
    }

    #[test]
    fn counts_that_disagree_are_both_named() {
        let said = refusal(
            "NUMBER_OF_FIELDS 3\nBEGIN_DATA_FORMAT\nA B\nEND_DATA_FORMAT\nNUMBER_OF_SETS 3\nBEGIN_DATA\n1 2\n3 4\nEND_DATA\n",
        );
        assert!(said[0].starts_with("line 1: found NUMBER_OF_FIELDS 3, and 2 names between"), "{said:?}");
        assert!(said[1].starts_with("line 5: found NUMBER_OF_SETS 3, and 2 sets between"), "{said:?}");
        let said = refusal("BEGIN_DATA_FORMAT\nA B\nEND_DATA_FORMAT\nBEGIN_DATA\n1 2\n3\n5 6\nEND_DATA\n");
        assert_eq!(
            said,
            ["line 6: found 5 values, 1 of them on this line; expected 2 values a set, one for each field"]
        );
    }

    #[test]
    fn a_text_cut_anywhere_waits() {
        let text = "CGATS.17\nA \"b c\"\nBEGIN_DATA_FORMAT\nX Y\nEND_DATA_FORMAT\nBEGIN_DATA\n1 \"2\"\nEND_DATA\n";
        for end in 0..text.len() - 1 {
            let mut defects = Defects::default();
            let outcome = tables(&text[..end], &mut defects);
            assert!(matches!(outcome, Err(Stop::Unfinished(_))), "{end}: {outcome:?}");
        }
        assert_eq!(tables(&text[..text.len() - 1], &mut Defects::default()).unwrap().len(), 1);
    }
}
