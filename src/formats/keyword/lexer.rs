//! The words and strings of keyword text, with the line each stands on.
//!
//! Grammar: words are separated by blanks and tabs; a string stands in double quotes on one line, with `""` for a quote
//! in it; `#` outside a string begins a comment that ends with its line. Lines end in LF, CRLF or CR. The mark with
//! which old systems ended a text (U+001A) counts as a blank.
//!
//! What does not live here: what the words are for (`table`).

use std::borrow::Cow;

/// The longest line, in bytes.
pub(super) const MAX_LINE_BYTES: usize = 64 << 10;

/// A word or a string.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Token<'t> {
    pub text: Cow<'t, str>,
    pub is_quoted: bool,
    /// Whether it is the first of its line.
    pub is_first: bool,
    /// Whether nothing at all follows, so that it may be cut.
    pub is_last: bool,
    pub line: u64,
}

impl Token<'_> {
    /// Whether it is this word, and no string.
    pub fn is(&self, word: &str) -> bool {
        !self.is_quoted && self.text == word
    }
}

/// What cannot be split into words.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum BadToken {
    /// A line beyond [`MAX_LINE_BYTES`].
    LongLine { line: u64 },
    /// A string that does not end on its line.
    OpenQuote {
        line: u64,
        found: String,
        /// Whether the text ends there, so that the rest may yet come.
        is_last: bool,
    },
    /// A string that something follows without a blank between.
    AfterQuote { line: u64, found: String },
}

/// Walks over the words of a text; cheap to clone, so that a place can be kept and gone back to.
#[derive(Debug, Clone)]
pub(super) struct Lexer<'t> {
    /// What is left of the line.
    here: &'t str,
    /// What follows the line, its end included.
    rest: &'t str,
    line: u64,
    is_first: bool,
}

impl<'t> Lexer<'t> {
    pub fn new(text: &'t str) -> Self {
        Self { here: "", rest: text, line: 0, is_first: true }
    }

    /// Goes to the next line; nothing where the text ends, or a complaint of a line that is too long.
    fn turn(&mut self) -> Option<Result<(), BadToken>> {
        let rest = if self.line == 0 {
            self.rest
        } else {
            self.rest.strip_prefix("\r\n").or_else(|| self.rest.strip_prefix(['\n', '\r']))?
        };
        let end = rest.find(['\n', '\r']).unwrap_or(rest.len());
        (self.here, self.rest) = rest.split_at_checked(end)?;
        self.line += 1;
        self.is_first = true;
        if self.here.len() > MAX_LINE_BYTES {
            self.here = "";
            return Some(Err(BadToken::LongLine { line: self.line }));
        }
        Some(Ok(()))
    }

    fn token(&mut self, text: Cow<'t, str>, is_quoted: bool, left: &'t str) -> Token<'t> {
        self.here = left;
        let is_first = std::mem::replace(&mut self.is_first, false);
        Token { text, is_quoted, is_first, is_last: left.is_empty() && self.rest.is_empty(), line: self.line }
    }

    /// The string that begins with the quote at the start of `here`.
    fn string(&mut self, after_quote: &'t str) -> Result<Token<'t>, BadToken> {
        // Copied only for a complaint: a line may hold thousands of strings.
        let (line, here) = (self.line, self.here);
        let mut from = 0;
        let end = loop {
            let Some(quote) = after_quote.get(from..).and_then(|rest| rest.find('"')) else {
                self.here = "";
                return Err(BadToken::OpenQuote { line, found: here.to_owned(), is_last: self.rest.is_empty() });
            };
            let quote = from + quote;
            if after_quote.get(quote + 1..).is_some_and(|rest| rest.starts_with('"')) {
                from = quote + 2;
            } else {
                break quote;
            }
        };
        let text = after_quote.get(..end).unwrap_or_default();
        let left = after_quote.get(end + 1..).unwrap_or_default();
        if !(left.is_empty() || left.starts_with(is_blank) || left.starts_with('#')) {
            self.here = "";
            return Err(BadToken::AfterQuote { line, found: here.to_owned() });
        }
        let text = if text.contains('"') { text.replace("\"\"", "\"").into() } else { text.into() };
        Ok(self.token(text, true, left))
    }
}

impl<'t> Iterator for Lexer<'t> {
    type Item = Result<Token<'t>, BadToken>;

    fn next(&mut self) -> Option<Self::Item> {
        loop {
            let here = self.here.trim_start_matches(is_blank);
            self.here = here;
            if here.is_empty() || here.starts_with('#') {
                match self.turn()? {
                    Ok(()) => continue,
                    Err(bad) => return Some(Err(bad)),
                }
            }
            if let Some(after_quote) = here.strip_prefix('"') {
                return Some(self.string(after_quote));
            }
            let end = here.find(|c| is_blank(c) || c == '#').unwrap_or(here.len());
            let (word, left) = here.split_at_checked(end)?;
            return Some(Ok(self.token(word.into(), false, left)));
        }
    }
}

fn is_blank(c: char) -> bool {
    matches!(c, ' ' | '\t' | '\u{1a}')
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(text: &str) -> Vec<(u64, String)> {
        Lexer::new(text).map(|token| token.unwrap()).map(|token| (token.line, token.text.into_owned())).collect()
    }

    #[test]
    fn words_strings_and_comments_are_told_apart() {
        let text = "# first\r\nA \"b c\"\td#e \"\r\n\r\"x \"\"y\"\" # z\"# w\n\"\" 1\u{1a}";
        let found: Vec<Token> = Lexer::new(text).map(|token| token.unwrap()).collect();
        let said: Vec<_> =
            found.iter().map(|t| (t.line, t.text.as_ref(), t.is_quoted, t.is_first, t.is_last)).collect();
        assert_eq!(
            said,
            [
                (2, "A", false, true, false),
                (2, "b c", true, false, false),
                (2, "d", false, false, false),
                (4, "x \"y\" # z", true, true, false),
                (5, "", true, true, false),
                (5, "1", false, false, false),
            ]
        );
        assert!(words("").is_empty() && words("# x").is_empty() && words("\r\n \t").is_empty());
        assert_eq!(words("a\nb"), [(1, "a".to_owned()), (2, "b".to_owned())]);
        assert!(Lexer::new("a\nb").last().unwrap().unwrap().is_last);
        assert_eq!(words("5\" tube")[0].1, "5\"", "a quote within a word is one of its letters");
    }

    #[test]
    fn what_cannot_be_split_is_told() {
        let bad = |text: &str| Lexer::new(text).find_map(Result::err).unwrap();
        let open = |line, is_last| move |bad| matches!(bad, BadToken::OpenQuote { line: l, is_last: e, .. } if l == line && e == is_last);
        assert!(open(2, true)(bad("a\n\"b")));
        assert!(open(1, false)(bad("\"b\n\"")));
        assert!(matches!(bad("\"a\"b"), BadToken::AfterQuote { line: 1, .. }));
        assert_eq!(bad(&format!("a\n{}", "b".repeat(MAX_LINE_BYTES + 1))), BadToken::LongLine { line: 2 });
    }
}
