//! Who did something, and whence that is known.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::units::OperatorId;

/// Whence an operator is known. None of these is proof of a person: an option and a file say what somebody wrote, a login what
/// the computer was told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum OperatorBy {
    /// Somebody said so as they typed the command; the configuration names them.
    Option,
    /// The file that a record came in says so.
    File,
    /// Nobody said anything: it is the name under which the computer was used.
    Login,
}

impl OperatorBy {
    /// Every way.
    pub const ALL: [Self; 3] = [Self::Option, Self::File, Self::Login];

    /// The word in entries and JSON.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Option => "option",
            Self::File => "file",
            Self::Login => "login",
        }
    }

    /// The way that `word` names.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|by| by.word() == word)
    }
}

/// Who did something.
#[derive(Debug, Clone, PartialEq, Eq)]
#[allow(missing_docs)]
pub struct Operator {
    pub id: OperatorId,
    pub by: OperatorBy,
}
