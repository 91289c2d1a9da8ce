//! What the record of a thing's life says beyond that something was done: certificates, firmware, place, attached papers.
//!
//! Together with the identity in the configuration this is what ISO/IEC 17025:2017 clause 6.4.13 has kept of equipment.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::units::Day;

/// What an event says beside its kind.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Details {
    /// Of a certificate.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub certificate: Option<Certificate>,
    /// The firmware that it has from then on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub firmware: Option<String>,
    /// Where it stands from then on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub place: Option<String>,
    /// A file that belongs to it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub attached: Option<Attached>,
}

impl Details {
    /// Whether nothing is said.
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }
}

/// An instrument's certificate (ISO/IEC 17025:2017 clause 6.4.13 e).
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Certificate {
    /// The last day on which it is good; laboratories often leave that to whoever owns the instrument.
    pub until: Day,
    /// Its number; absent where that was not written down.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub number: Option<String>,
    /// The day of its issue; absent where that was not written down.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub issued: Option<Day>,
    /// Who issued it; absent where that was not written down.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub laboratory: Option<String>,
    /// What was found, in words; absent where that was not written down.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub results: Option<String>,
}

/// A file that belongs to a record. The ledger keeps its digest, so that nobody can put another in its place; the file itself is
/// for whoever owns it to keep.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Attached {
    /// Its name, without folders.
    pub name: String,
    /// SHA-256 of its bytes, 64 hexadecimal digits.
    #[schemars(extend("pattern" = "^[0-9a-f]{64}$"))]
    pub sha256: String,
    /// Its length in bytes.
    pub bytes: u64,
}
