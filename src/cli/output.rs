//! How answers are printed: JSON, tables, emphasis that a pipe does not see, progress that only a terminal does.

use std::env;
use std::io::{self, IsTerminal, Write};

use serde::Serialize;
use tabled::builder::Builder;
use tabled::settings::{Padding, Style};

use super::fail::Failure;

/// Prints `text` as it stands. A reader that has gone away is no failure.
pub fn print(text: &str) -> Result<(), Failure> {
    match io::stdout().lock().write_all(text.as_bytes()) {
        Err(gone) if gone.kind() == io::ErrorKind::BrokenPipe => Ok(()),
        other => Ok(other?),
    }
}

/// Prints one JSON value, on one line.
pub fn json(value: &impl Serialize) -> Result<(), Failure> {
    let text = serde_json::to_string(value).map_err(io::Error::from)?;
    print(&(text + "\n"))
}

/// Lines under a header, columns as wide as they must be.
pub fn table<const N: usize>(header: [&str; N], rows: impl IntoIterator<Item = [String; N]>) -> String {
    let mut builder = Builder::default();
    builder.push_record(header);
    for row in rows {
        builder.push_record(row);
    }
    let mut table = builder.build();
    table.with(Style::empty()).with(Padding::new(0, 2, 0, 0));
    let lines: Vec<String> = table.to_string().lines().map(|line| line.trim_end().to_owned()).collect();
    lines.join("\n") + "\n"
}

/// Makes `text` stand out on a terminal. It says the same without.
pub fn strong(text: &str) -> String {
    let plain = !io::stdout().is_terminal() || env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
    if plain { text.to_owned() } else { format!("\x1b[1m{text}\x1b[0m") }
}

/// The width to draw in: the terminal's, as the shell tells it, else 80 columns.
pub fn width() -> usize {
    let told = env::var("COLUMNS").ok().and_then(|columns| columns.parse().ok());
    told.filter(|columns| (40..=400).contains(columns)).unwrap_or(80)
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
