//! The kinds of entry as plain records, and the exact bytes that are hashed.
//!
//! What lives here: what an entry says. What does not: where it is kept (`store`), how leaves become a root (`tree`), and
//! how a verdict or an alert comes about: those modules turn their own values into these records.
//!
//! **Bytes of an entry.** Six lines of UTF-8, each ended by one line feed (0x0A), the last one too:
//! ```text
//! twinwhite entry 1
//! <site>
//! <seq, decimal, no sign and no leading zero>
//! <time, as in the column>
//! <kind>
//! <body>
//! ```
//! Each line is the text of the column of that name, unchanged. None of them may hold a line feed (a row that does is no
//! entry), so different columns give different bytes. The column `leaf` is SHA-256(0x00 ‖ these bytes), RFC 9162 §2.1.1.
//! The body is JSON; a checker takes it as it stands and never writes it anew. `time` is when the entry was appended,
//! RFC 3339 in UTC, the fraction of a second left out or given with 3 or 6 digits.
//!
//! Example: site `quillmoor`, seq 1, time `2026-03-04T09:30:00Z`, kind `retract`, body `{"seq":7,"reason":"wrong lamp"}`
//! has the leaf `807d01a06f8b88552ae7283941eb0e94e60927d4519b1569282474f58c0b7e90`; a test repeats it.
//!
//! **Kinds of the future.** A new kind or field comes with a new version of the store, and a program refuses a store newer
//! than itself. So an unknown kind is damage and is not carried along; `verify` needs no kinds and checks it all the same.

pub mod keys;
pub mod pruned;
pub mod sign_off;
mod told;

use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Deserializer, Serialize};

use super::digest::Digest;
use super::given::Given;
use crate::reading::{Defect, Event, OperatorBy, Reading};
use crate::units::{OperatorId, Probability, SiteId, StationId, Time};
pub use keys::{KeyLost, KeyMade, KeyRotated};
pub use pruned::{Pruned, SpectraPruned};
pub use sign_off::SignOff;
pub use told::{Alert, Delivery, Maintenance, MaintenanceEnded, Outcome, Resend, Summary, Transition};

/// The number of an entry in its ledger: from 1, without gaps.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, JsonSchema)]
#[serde(transparent)]
#[schemars(extend("minimum" = 1))]
pub struct Seq(i64);

impl Seq {
    /// The number of the first entry.
    pub const FIRST: Self = Self(1);

    /// Takes a number from 1 on; `None` for anything below.
    pub const fn new(number: i64) -> Option<Self> {
        if number >= 1 { Some(Self(number)) } else { None }
    }

    /// The number.
    pub const fn get(self) -> i64 {
        self.0
    }

    /// The number of the entry after this one.
    pub const fn next(self) -> Self {
        Self(self.0.saturating_add(1))
    }
}

impl fmt::Display for Seq {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(&self.0, f)
    }
}

impl<'de> Deserialize<'de> for Seq {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        Self::new(i64::deserialize(from)?).ok_or_else(|| serde::de::Error::custom("a seq begins at 1"))
    }
}

/// One entry of the ledger.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// The site the ledger belongs to.
    pub site: SiteId,
    /// Its number.
    pub seq: Seq,
    /// When it was appended.
    pub time: Time,
    /// What it says.
    pub body: Body,
}

/// Why a kind and a body are no entry.
#[derive(Debug, thiserror::Error)]
pub enum BadBody {
    /// The word is none of the kinds.
    #[error("'{found}' is not a kind of entry")]
    Kind {
        /// The word as found, cut to 80 characters.
        found: String,
    },
    /// The body does not hold what its kind needs.
    #[error("the body is no {kind}: {source}")]
    Body {
        /// The kind.
        kind: &'static str,
        /// What is wrong with the JSON.
        source: serde_json::Error,
    },
}

macro_rules! kinds {
    ($($(#[$doc:meta])* $kind:ident = $word:literal,)*) => {
        /// What an entry says, by kind.
        #[derive(Debug, Clone, PartialEq)]
        pub enum Body {
            $($(#[$doc])* $kind($kind),)*
        }

        impl Body {
            /// Every kind's word.
            pub const KINDS: &'static [&'static str] = &[$($word),*];

            /// The word in the column `kind`.
            pub const fn kind(&self) -> &'static str {
                match self {
                    $(Self::$kind(_) => $word,)*
                }
            }

            /// Writes the body as one line of JSON.
            pub fn write_json(&self, to: &mut Vec<u8>) -> Result<(), BadBody> {
                match self {
                    $(Self::$kind(body) => {
                        serde_json::to_writer(to, body).map_err(|source| BadBody::Body { kind: $word, source })
                    })*
                }
            }

            /// Reads a body of the kind that `word` names.
            pub fn parse(word: &str, json: &str) -> Result<Self, BadBody> {
                match word {
                    $($word => serde_json::from_str(json)
                        .map(Self::$kind)
                        .map_err(|source| BadBody::Body { kind: $word, source }),)*
                    _ => Err(BadBody::Kind { found: word.chars().take(80).collect() }),
                }
            }
        }
    };
}

kinds! {
    /// The beginning; always seq 1 and nowhere else.
    Founded = "founded",
    /// A configuration that came into force.
    Config = "config",
    /// A file that was taken in; the readings and events after it point at it.
    File = "file",
    /// A reading as received.
    ReadingTaken = "reading",
    /// An event as received.
    EventTaken = "event",
    /// A file that could not be read.
    Refusal = "refusal",
    /// A record taken back.
    Retract = "retract",
    /// A held reading allowed to count.
    Release = "release",
    /// A station's verdict changed.
    Verdict = "verdict",
    /// An alert went one step.
    Alert = "alert",
    /// Messages reached their end: delivered or given up.
    Delivery = "delivery",
    /// Messages that were given up are to be tried again.
    Resend = "resend",
    /// A morning's summary.
    Summary = "summary",
    /// A span for which messages about something wait.
    Maintenance = "maintenance",
    /// Such a span ended before its time.
    MaintenanceEnded = "maintenance_ended",
    /// The first key that signs heads was made.
    KeyMade = "key-made",
    /// Another key took its place.
    KeyRotated = "key-rotated",
    /// The key was lost; another took its place.
    KeyLost = "key-lost",
    /// A print was signed off.
    SignOff = "sign-off",
    /// A backup took the place of a history that had gone further.
    Restored = "restored",
    /// Spectra of old readings were taken out.
    SpectraPruned = "spectra-pruned",
}

/// The beginning of a ledger.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Founded {
    /// The form of the bytes hashed: 1.
    pub format: u32,
    /// The version of the program that began it.
    pub program: String,
    /// Anything that has to be said, such as "new ledger begun beside a non-empty archive".
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// A configuration in force from this entry on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Config {
    /// The digest of `text`; where there are files, of the digests of `text` and of each file's name and text, end to end.
    pub sha256: Digest,
    /// The whole file as read.
    pub text: String,
    /// The files it names, as read.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub files: Vec<NamedText>,
}

/// A file that a configuration names, as read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct NamedText {
    /// Its name as the configuration writes it.
    pub name: String,
    /// What stands in it.
    pub text: String,
}

impl Config {
    /// A configuration's text with the files it names.
    pub fn of(text: &str, files: &[NamedText]) -> Self {
        let sha256 = if files.is_empty() {
            Digest::of(text.as_bytes())
        } else {
            let files = files.iter().flat_map(|file| [&file.name, &file.text]);
            let digests: Vec<Digest> = std::iter::once(Digest::of(text.as_bytes()))
                .chain(files.map(|text| Digest::of(text.as_bytes())))
                .collect();
            let parts: Vec<&[u8]> = digests.iter().map(|digest| digest.as_bytes().as_slice()).collect();
            Digest::of_parts(&parts)
        };
        Self { sha256, text: text.to_owned(), files: files.to_vec() }
    }
}

/// How readings came in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum CameBy {
    /// Dropped into the inbox.
    Inbox,
    /// Named on the command line.
    Ingest,
    /// Typed by hand.
    Add,
}

/// A file that was taken in.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct File {
    /// Its name, without folders.
    pub name: String,
    /// The digest of its bytes.
    pub sha256: Digest,
    /// Its length in bytes.
    pub bytes: u64,
    /// How many rows became entries.
    pub taken: u64,
    /// How many rows the ledger already had.
    pub duplicate: u64,
    /// How it came in.
    pub from: CameBy,
    /// Who named it on the command line; its rows name their own operators.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator: Option<OperatorId>,
    /// Whence that is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator_by: Option<OperatorBy>,
}

/// A reading as received, and what was known of it on arrival.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ReadingTaken {
    /// The entry of the file it stood in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub file: Option<Seq>,
    /// The line it stood on, counted from 1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub line: Option<u64>,
    /// The reading that already stood for the same device, instrument, patch and time with other values.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub conflict_with: Option<Seq>,
    /// Whether its time lay more than 10 minutes ahead of the clock on arrival.
    #[serde(default, skip_serializing_if = "is_false")]
    pub ahead: bool,
    /// Whether it came with a spectrum that was taken out since (see [`pruned`]), as the digest of colour and level then; what
    /// stands in `reading` followed from the spectrum.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub spectrum_pruned: Option<Given>,
    /// The reading itself.
    pub reading: Reading,
}

impl From<Reading> for ReadingTaken {
    /// Of no file, at odds with no other, and not ahead of the clock.
    fn from(reading: Reading) -> Self {
        Self { file: None, line: None, conflict_with: None, ahead: false, spectrum_pruned: None, reading }
    }
}

/// An event as received.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct EventTaken {
    /// The entry of the file it stood in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub file: Option<Seq>,
    /// The line it stood on, counted from 1.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub line: Option<u64>,
    /// The event itself.
    pub event: Event,
}

/// A file that could not be read.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Refusal {
    /// Its name, without folders.
    pub name: String,
    /// The digest of its bytes.
    pub sha256: Digest,
    /// Everything that is wrong with it.
    pub defects: Vec<Defect>,
}

/// A record taken back.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Retract {
    /// The record.
    pub seq: Seq,
    /// Why.
    pub reason: String,
    /// Who took it back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator: Option<OperatorId>,
    /// Whence that is known; absent where nobody is named, and in entries of before this was kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator_by: Option<OperatorBy>,
}

/// A held reading allowed to count.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Release {
    /// The reading.
    pub seq: Seq,
    /// Who allowed it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator: Option<OperatorId>,
    /// Whence that is known; absent where nobody is named, and in entries of before this was kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator_by: Option<OperatorBy>,
}

/// A station's verdict changed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Verdict {
    /// The station.
    pub station: StationId,
    /// The verdict's word.
    pub verdict: String,
    /// The verdict before; absent for the first.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub from: Option<String>,
    /// The risk now.
    pub risk: Probability,
    /// The words of the reasons.
    pub reasons: Vec<String>,
}

/// A backup took the place of a ledger that is gone, and of which signed heads say that it had gone further.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Restored {
    /// How many entries the backup held.
    pub entries: i64,
    /// How many entries the longest signed head covers that was seen: those after `entries` are lost.
    pub seen: i64,
    /// The root in that head.
    pub seen_root: Digest,
    /// Who restored it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator: Option<OperatorId>,
    /// Whence that is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator_by: Option<OperatorBy>,
}

fn is_false(flag: &bool) -> bool {
    !flag
}

/// Writes the bytes of an entry (see the header) to `to`, from the text of its columns; `false`, with nothing of use
/// written, if one of them holds a line feed.
pub fn write_bytes(to: &mut Vec<u8>, site: &str, seq: i64, time: &str, kind: &str, body: &[u8]) -> bool {
    let one_line = |column: &[u8]| !column.contains(&b'\n');
    if !(one_line(site.as_bytes()) && one_line(time.as_bytes()) && one_line(kind.as_bytes()) && one_line(body)) {
        return false;
    }
    let seq = seq.to_string();
    for line in [&b"twinwhite entry 1"[..], site.as_bytes(), seq.as_bytes(), time.as_bytes(), kind.as_bytes(), body] {
        to.extend_from_slice(line);
        to.push(b'\n');
    }
    true
}

#[cfg(test)]
mod tests;
