//! How a command fails: a kind, one clear line, and what to do next. The only place where module errors become sentences.

use schemars::JsonSchema;
use serde::Serialize;

use crate::acts::ActError;
use crate::config::find::{LoadError, NotFound};
use crate::daemon::{DaemonError, StartError};
use crate::ledger::LedgerError;
use crate::ledger::certificate::CannotCertify;
use crate::signing::SigningError;

/// Why a command failed. The exit code is 2 for `usage`, else 1; what clap refuses before the program looks at it stays plain text.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Failed<'a> {
    /// What went wrong.
    error: FailedJson<'a>,
}

/// What went wrong.
#[derive(Debug, Serialize, JsonSchema)]
pub struct FailedJson<'a> {
    /// What sort of failure it is.
    kind: Kind,
    /// What was found, what was expected and what to do, for people.
    message: &'a str,
}

/// Why a command failed.
#[derive(Debug)]
pub struct Failure {
    kind: Kind,
    message: String,
}

/// What sort of failure it is, for scripts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// What was typed cannot be meant: exit code 2.
    Usage,
    /// No configuration, or one with mistakes.
    Config,
    /// A thing or record that does not exist.
    NotFound,
    /// A file that cannot be taken in or read.
    Input,
    /// What was asked for is not done for a reason that lies in the match; saying why may do it all the same.
    Refused,
    /// The ledger cannot be used.
    Ledger,
    /// Something of the system.
    System,
}

impl Failure {
    /// A failure with its words.
    pub fn new(kind: Kind, message: impl Into<String>) -> Self {
        Self { kind, message: message.into() }
    }

    /// 2 for wrong usage, else 1.
    pub fn exit_code(&self) -> u8 {
        if self.kind == Kind::Usage { 2 } else { 1 }
    }

    /// Says it on standard error.
    pub fn print(&self, json: bool) {
        if json {
            let failed = Failed { error: FailedJson { kind: self.kind, message: &self.message } };
            if let Ok(text) = serde_json::to_string(&failed) {
                eprintln!("{text}");
                return;
            }
        }
        eprintln!("twinwhite: {}", self.message);
    }
}

impl std::fmt::Display for Failure {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.message)
    }
}

macro_rules! fails_as {
    ($($error:ty => $kind:expr),* $(,)?) => {
        $(impl From<$error> for Failure {
            fn from(error: $error) -> Self {
                Self::new($kind, error.to_string())
            }
        })*
    };
}

fails_as! {
    NotFound => Kind::Config,
    LoadError => Kind::Config,
    LedgerError => Kind::Ledger,
    StartError => Kind::Ledger,
    DaemonError => Kind::Ledger,
    std::io::Error => Kind::System,
}

impl From<SigningError> for Failure {
    fn from(error: SigningError) -> Self {
        let kind = match &error {
            SigningError::Ledger(_) | SigningError::Empty => Kind::Ledger,
            SigningError::NoKey => Kind::NotFound,
            _ => Kind::System,
        };
        Self::new(kind, error.to_string())
    }
}

impl From<CannotCertify> for Failure {
    fn from(error: CannotCertify) -> Self {
        let kind = match &error {
            CannotCertify::Ledger(_) | CannotCertify::Altered { .. } | CannotCertify::Stale => Kind::Ledger,
            CannotCertify::NoEntry { .. } | CannotCertify::Pruned { .. } => Kind::NotFound,
            CannotCertify::Foreign(_) => Kind::Input,
        };
        Self::new(kind, error.to_string())
    }
}

impl From<ActError> for Failure {
    fn from(error: ActError) -> Self {
        let kind = match &error {
            ActError::Ledger(_) => Kind::Ledger,
            ActError::BadEnd { .. } => Kind::Usage,
            ActError::NoSuchRecord { .. }
            | ActError::NotGivenUp { .. }
            | ActError::NoSuchThing { .. }
            | ActError::NoSuchMaintenance { .. }
            | ActError::AlreadyRetracted { .. }
            | ActError::NoSuchAlert { .. }
            | ActError::AlreadyCleared { .. } => Kind::NotFound,
        };
        Self::new(kind, error.to_string())
    }
}
