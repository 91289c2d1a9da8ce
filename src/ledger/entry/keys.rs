//! What entries say of the keys that sign heads.
//!
//! From the entry on that names a key, heads are signed with it and no other, until the next such entry.

use serde::{Deserialize, Serialize};

use super::Body;
use crate::reading::OperatorBy;
use crate::units::OperatorId;

/// The first key was made.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct KeyMade {
    /// The verifier key, as text.
    pub key: String,
}

/// Another key took the place of one that was still there.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct KeyRotated {
    /// The new verifier key.
    pub key: String,
    /// A signed note in which the old key names the new one (see [`handover`]).
    pub note: String,
    /// Why.
    pub reason: String,
    /// Who did it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator: Option<OperatorId>,
    /// Whence that is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator_by: Option<OperatorBy>,
}

/// The key was lost, or somebody else may have it; a new one took its place, which nothing but this entry vouches for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct KeyLost {
    /// The new verifier key.
    pub key: String,
    /// The verifier key that must no longer be believed after this entry.
    pub lost: String,
    /// Why.
    pub reason: String,
    /// Who said so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator: Option<OperatorId>,
    /// Whence that is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator_by: Option<OperatorBy>,
}

/// The text in which an old key names the one that follows it.
pub fn handover(origin: &str, new_key: &str) -> String {
    format!("twinwhite key handover 1\n{origin}\n{new_key}\n")
}

impl Body {
    /// The verifier key that heads from this entry on are signed with, where it names one.
    pub fn names_key(&self) -> Option<&str> {
        match self {
            Self::KeyMade(made) => Some(&made.key),
            Self::KeyRotated(rotated) => Some(&rotated.key),
            Self::KeyLost(lost) => Some(&lost.key),
            _ => None,
        }
    }
}
