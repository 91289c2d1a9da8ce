//! A print signed off: the state of the match at that instant, whole, so that the entry alone answers for it years later.

use serde::{Deserialize, Serialize};

use super::Seq;
use crate::ledger::Digest;
use crate::reading::OperatorBy;
use crate::units::{Day, Days, DeviceId, InstrumentId, OperatorId, Probability, StationId, Time};

/// Somebody approved a print at a station.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SignOff {
    /// What was approved, in the house's own words or number.
    pub job: String,
    /// The file it was printed from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub file: Option<PrintFile>,
    /// Who approved it; absent where nobody knows.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator: Option<OperatorId>,
    /// Whence that is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator_by: Option<OperatorBy>,
    /// Why it was signed all the same, where it would have been refused; with what the program objected.
    #[serde(default, rename = "override", skip_serializing_if = "Option::is_none")]
    pub over: Option<Override>,
    /// The clock on the wall, with its offset from UTC.
    pub local_time: String,
    /// The match as it was judged.
    #[serde(rename = "match")]
    pub state: Box<MatchState>,
    /// What the program knew.
    pub known: Known,
}

/// A file that was printed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct PrintFile {
    /// Its name, without folders.
    pub name: String,
    pub sha256: Digest,
    pub bytes: u64,
}

/// A sign-off that was not refused because somebody said why.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct Override {
    pub reason: String,
    /// What the program objected, a sentence each.
    pub objections: Vec<String>,
}

/// A station's match at an instant.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct MatchState {
    pub station: StationId,
    /// The instant that is judged: that of the sign-off. Only what was measured up to it counts.
    pub as_of: Time,
    /// `matched`, `at-risk`, `out` or `unknown`.
    pub verdict: String,
    /// Since when, where the ledger has recorded that.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub since: Option<Time>,
    /// Probability that the match is out of tolerance now, and at any time within the horizon.
    pub risk: Probability,
    pub risk_within: Probability,
    pub horizon_days: Days,
    pub max_risk: Probability,
    pub tolerance: ToleranceState,
    pub delta_uv: MeanSd,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub luminance_ratio: Option<MeanSd>,
    pub screen: WhiteState,
    pub paper: WhiteState,
    /// General colour rendering index of the lamp, where it is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ra: Option<f64>,
    /// Why the verdict is what it is, a sentence each.
    pub reasons: Vec<String>,
    /// Rule sets, point by point.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub rules: Vec<RuleSetState>,
}

/// The limits that the verdict rests on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct ToleranceState {
    pub delta_uv: f64,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub luminance_ratio: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ra_min: Option<f64>,
}

/// A mean and its standard deviation.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct MeanSd {
    pub mean: f64,
    pub sd: f64,
}

/// One of the two whites, as estimated.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct WhiteState {
    /// The display, or the lamp.
    pub device: DeviceId,
    /// The paper under the lamp.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub paper: Option<DeviceId>,
    pub u_prime: MeanSd,
    pub v_prime: MeanSd,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub x: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub y: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cct_k: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub duv: Option<f64>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub luminance_cd_m2: Option<MeanSd>,
    /// The device's newest reading that counts.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub last_reading: Option<ReadingState>,
}

/// A reading that a sign-off rests on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct ReadingState {
    /// Its entry, and the leaf of that.
    pub seq: Seq,
    pub leaf: Digest,
    /// When it was measured, and when it was written down.
    pub time: Time,
    pub entered: Time,
    /// How old it was at the sign-off.
    pub age_days: Days,
    /// Whether it lay so far from the rest that only another reading could tell what to make of it.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub doubted: bool,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instrument: Option<InstrumentState>,
}

/// The instrument of a reading, as the configuration in force had it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct InstrumentState {
    pub id: InstrumentId,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub serial: Option<String>,
    /// The certificate it had at the hour of the reading, good or ended; absent where none is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub certificate: Option<CertificateState>,
    /// What spoke against it then, by word: `certificate-ended`, `instrument-damaged`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub doubts: Vec<String>,
}

/// An instrument's certificate.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct CertificateState {
    /// The entry that recorded it; absent where the configuration alone names its end.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub seq: Option<Seq>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub number: Option<String>,
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub laboratory: Option<String>,
    /// The last day on which it is good.
    pub until: Day,
}

/// How a rule set stood.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct RuleSetState {
    pub id: String,
    pub edition: String,
    /// Its points that hold, that fail, and that nobody measured, by name.
    pub holds: Vec<String>,
    pub fails: Vec<String>,
    pub not_measured: Vec<String>,
}

/// What the program knew when it judged, and by which version and configuration.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct Known {
    /// The program's version.
    pub program: String,
    /// The entry and the digest of the configuration in force.
    pub config_seq: Seq,
    pub config_sha256: Digest,
    /// The instant whose knowledge judged, as `--known-at` means it; absent in entries of before this was kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub known_at: Option<Time>,
    /// How many entries the ledger had before this one, and their root: all that was known.
    pub entries: i64,
    pub root: Digest,
    /// Files that lay in the inbox and were not taken in yet.
    pub files_waiting: u64,
}
