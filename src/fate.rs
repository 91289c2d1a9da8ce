//! Why a reading in the ledger does not count: what a person or its key decides here, what the model decides in `drift`.

use crate::drift::HeldWhy;
use crate::ledger::Seq;

/// Why a reading does not count although it is in the ledger. The word stands in the projection.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Excluded {
    /// Taken back by a person.
    Retracted,
    /// The same key already stood with other values.
    Conflict,
    /// Its time lay more than ten minutes ahead of the clock when it arrived.
    Ahead,
}

impl Excluded {
    /// The word in the projection.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Retracted => "retracted",
            Self::Conflict => "conflict",
            Self::Ahead => "ahead",
        }
    }

    /// The reason that `word` names.
    pub fn from_word(word: &str) -> Option<Self> {
        [Self::Retracted, Self::Conflict, Self::Ahead].into_iter().find(|why| why.word() == word)
    }
}

/// Why a reading waits for a person.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Hold {
    /// The same device, time, instrument and patch stand in this entry with other values.
    Conflict(Seq),
    /// Its time lies ahead of the clock.
    Ahead,
    /// The model found it impossible.
    Model(HeldWhy),
}
