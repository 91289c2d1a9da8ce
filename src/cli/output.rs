//! How answers are printed: JSON, tables, emphasis that a pipe does not see, progress that only a terminal does.

use std::env;
use std::io::{self, IsTerminal, Write};

use serde::Serialize;

use super::fail::Failure;
use super::width::{self, Table};

/// Prints `text`, on a terminal with its sentences wrapped to fit. A reader that has gone away is no failure.
pub fn print(text: &str) -> Result<(), Failure> {
    match width::of_terminal() {
        Some(columns) => verbatim(&width::wrapped(text, columns)),
        None => verbatim(text),
    }
}

/// Prints `text` as it stands: commands that are to be copied, JSON.
pub fn verbatim(text: &str) -> Result<(), Failure> {
    match io::stdout().lock().write_all(text.as_bytes()) {
        Err(gone) if gone.kind() == io::ErrorKind::BrokenPipe => Ok(()),
        other => Ok(other?),
    }
}

/// Prints one JSON value, on one line.
pub fn json(value: &impl Serialize) -> Result<(), Failure> {
    let text = serde_json::to_string(value).map_err(io::Error::from)?;
    verbatim(&(text + "\n"))
}

/// Lines under a header, columns as wide as they must be; on a terminal within its width.
pub fn table<const N: usize>(header: [&str; N], rows: impl IntoIterator<Item = [String; N]>) -> String {
    fitting_table(header, rows, &[], 0)
}

/// Such lines where a narrow terminal may go without the columns `spare`, the least important first; `indent` columns are put before each line.
pub fn fitting_table<const N: usize>(
    header: [&str; N],
    rows: impl IntoIterator<Item = [String; N]>,
    spare: &[usize],
    indent: usize,
) -> String {
    let header = header.map(str::to_owned).to_vec();
    let rows = rows.into_iter().map(|row| row.to_vec()).collect();
    Table { header, rows, spare, indent }.lines(width::of_terminal())
}

/// Makes `text` stand out on a terminal. It says the same without.
pub fn strong(text: &str) -> String {
    let plain = !io::stdout().is_terminal() || env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
    if plain { text.to_owned() } else { format!("\x1b[1m{text}\x1b[0m") }
}

/// Tells how far long work has come, on one line of a terminal, and nothing in a pipe.
pub struct Progress {
    shown: bool,
    what: &'static str,
}

impl Progress {
    /// Nothing is shown yet.
    pub fn of(what: &'static str) -> Self {
        Self { shown: false, what }
    }

    /// Shows how many are done.
    pub fn at(&mut self, done: i64) {
        if io::stderr().is_terminal() {
            self.shown = true;
            eprint!("\r{done} {}", self.what);
        }
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        if self.shown {
            eprint!("\r\x1b[K");
        }
    }
}
