//! What is left of a reading whose spectrum was taken out, and the entry that says so.
//!
//! The body of the reading's entry is replaced by a shorter one: the same without the spectrum, with the white and the level that
//! followed from it. Its leaf stays as it was, so every root, head and proof holds. A later entry of kind `spectra-pruned` names both
//! hashes, the leaf as it was and the leaf that the entry would have as it now stands; so the shorter body is under the root too, and
//! a body changed by anybody else is found as ever.

use serde::{Deserialize, Serialize};

use super::{ReadingTaken, Seq};
use crate::color::{level_as_given, white_point};
use crate::ledger::digest::Digest;
use crate::ledger::given::Given;
use crate::reading::{ColourSet, OperatorBy, Reading};
use crate::units::{OperatorId, Time};

/// Spectra of old readings were taken out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SpectraPruned {
    /// Of readings made before this instant.
    pub before: Time,
    /// The readings.
    pub entries: Vec<Pruned>,
    /// Who did it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator: Option<OperatorId>,
    /// Whence that is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator_by: Option<OperatorBy>,
}

/// An entry whose body was replaced.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Pruned {
    /// The entry.
    pub seq: Seq,
    /// Its leaf, which stays in the tree.
    pub was: Digest,
    /// The hash that its columns give now, made as a leaf is.
    pub now: Digest,
}

impl ReadingTaken {
    /// The same without its spectrum; `None` where it has none, or where no white follows from it.
    pub fn without_spectrum(&self) -> Option<Self> {
        let ColourSet::Spectrum { .. } = self.reading.colour else { return None };
        let white = white_point(&self.reading.colour).ok()?;
        let level = level_as_given(self.reading.level, &self.reading.colour);
        Some(Self {
            spectrum_pruned: Some(Given::of_reading(&self.reading)),
            reading: Reading { colour: ColourSet::UvPrime(white.uv), level, ..self.reading.clone() },
            ..self.clone()
        })
    }

    /// The digest of colour and level as they were received.
    pub fn given(&self) -> Given {
        self.spectrum_pruned.unwrap_or_else(|| Given::of_reading(&self.reading))
    }
}
