//! What several commands take, and what stands below a command.

use std::path::PathBuf;

use clap::{Args, Subcommand};

/// What can be done with the ledger.
#[derive(Debug, Subcommand)]
pub enum Audit {
    /// Recompute every hash and every derived table, and compare
    #[command(after_help = "\
Examples:
  twinwhite audit verify
  twinwhite audit verify --json         exit code 1 when something does not match")]
    Verify {
        #[allow(missing_docs)]
        #[command(flatten)]
        output: Json,
    },
}

/// What `init` would ask for.
#[derive(Debug, Clone, Args)]
pub struct Answers {
    /// The folder to begin in; made if it is not there [default: this one].
    #[arg(long, value_name = "FOLDER")]
    pub dir: Option<PathBuf>,
    /// The screen: name, white, level.
    #[arg(long, value_name = "ANSWER")]
    pub display: Option<String>,
    /// The lamp: name, white, level, kind.
    #[arg(long, value_name = "ANSWER")]
    pub lamp: Option<String>,
    /// The paper: name, and its white or what sort it is.
    #[arg(long, value_name = "ANSWER")]
    pub paper: Option<String>,
    /// The folder where readings will be dropped.
    #[arg(long, value_name = "FOLDER")]
    pub folder: Option<String>,
}

/// What is inspected, and how it is shown.
#[derive(Debug, Clone, Args)]
pub struct Look {
    /// The files.
    #[arg(required = true)]
    pub files: Vec<PathBuf>,
    /// Only the reading with this id.
    #[arg(long, value_name = "ID")]
    pub only: Option<String>,
    /// Every figure of every reading, also where there are many.
    #[arg(long)]
    pub full: bool,
    /// Draw spectra and hue shifts into this file.
    #[arg(long, value_name = "FILE")]
    pub svg: Option<PathBuf>,
    /// The tables of ISO 23603, if you own them, as CSV: nm,standard_1…5,d50_1…5.
    #[arg(long, value_name = "FILE")]
    pub tables: Option<PathBuf>,
}

/// How a command answers.
#[derive(Debug, Clone, Copy, Args)]
pub struct Json {
    /// Answer in JSON, numbers unrounded.
    #[arg(long)]
    pub json: bool,
}

/// The instant a query is asked for.
#[derive(Debug, Clone, Args)]
pub struct AsOf {
    /// Answer as if it were this time, from the readings and events measured up to then. RFC 3339, or local time.
    #[arg(long, value_name = "TIME")]
    pub as_of: Option<String>,
}

/// The instant a query is asked for, and the instant whose knowledge answers it.
#[derive(Debug, Clone, Args)]
pub struct When {
    #[allow(missing_docs)]
    #[command(flatten)]
    pub at: AsOf,
    #[allow(missing_docs)]
    #[command(flatten)]
    pub known: KnownAt,
}

/// The instant whose knowledge answers a query.
#[derive(Debug, Clone, Args)]
pub struct KnownAt {
    /// Answer what the ledger knew at this time: only what was entered by then, under the configuration in force then. Of
    /// --as-of the earlier of both counts.
    #[arg(long, value_name = "TIME")]
    pub known_at: Option<String>,
}
