//! The plain values that travel: readings, events, where in a file they stood, and what is wrong with a row.
//!
//! A [`Draft`] is a row as a format found it; a [`Reading`] is one whose device and time are known. What a reading
//! *means* (chromaticity, used or held) is for later modules.

mod details;
mod operator;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

pub use details::{Attached, Certificate, Details};
pub use operator::{Operator, OperatorBy};

use crate::units::{
    DeviceId, Duv, Hours, Illuminance, InstrumentId, Kelvin, Luminance, OperatorId, Spectrum, Time, UvPrime, Xy, Xyz,
};

/// One measurement of a display, a lamp or lit paper, as received.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// The thing that was measured.
    pub device: DeviceId,
    /// When, in UTC.
    pub time: Time,
    /// The time as it was written, where it was not written in UTC just so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub time_given: Option<String>,
    /// The colour, in the set it came in.
    pub colour: ColourSet,
    /// The level of light, if it was measured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub level: Option<Level>,
    /// Everything else that was said of it.
    #[serde(flatten)]
    pub circumstances: Circumstances,
}

/// What may be said of a reading beside device, time, colour and level.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Circumstances {
    /// The instrument that read it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instrument: Option<InstrumentId>,
    /// Who read it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator: Option<OperatorId>,
    /// Whence that is known; absent where nobody is named, and in entries of before this was kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator_by: Option<OperatorBy>,
    /// The device's own hours counter.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hours: Option<Hours>,
    /// Minutes since the device was switched on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub warmup_min: Option<f64>,
    /// Dimmer or dial; another setting is another regime.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub setting: Option<String>,
    /// Whether it was measured or copied from a label.
    #[serde(default, skip_serializing_if = "Source::is_measured")]
    pub source: Source,
    /// What was lit.
    #[serde(default, skip_serializing_if = "Patch::is_white")]
    pub patch: Patch,
    /// General colour rendering index Ra as somebody else worked it out: from a label, or a meter that keeps its spectrum.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ra: Option<f64>,
    /// The row's own name.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub id: Option<String>,
    /// Free text.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
}

/// A colour in the set of coordinates it was received in. Never more than one set.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum ColourSet {
    /// CIE 1931 tristimulus values on any scale: the columns name no unit, so they give colour and no level.
    Xyz(Xyz),
    /// CIE 1931 chromaticity.
    Xy(Xy),
    /// CIE 1976 chromaticity.
    UvPrime(UvPrime),
    /// Colour temperature and tint (Ohno 2013).
    CctDuv {
        /// Correlated colour temperature.
        cct_k: Kelvin,
        /// Signed distance from the Planckian locus.
        duv: Duv,
    },
    /// Colour temperature alone: the tint is unknown.
    Cct {
        /// Correlated colour temperature.
        cct_k: Kelvin,
    },
    /// The whole spectrum; an absolute one gives the level too.
    Spectrum {
        /// As received.
        spectrum: Box<Spectrum>,
    },
}

/// A level of light with its unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub enum Level {
    /// Of a display or of lit paper.
    #[serde(rename = "luminance_cd_m2")]
    Luminance(Luminance),
    /// Of a lamp.
    #[serde(rename = "illuminance_lx")]
    Illuminance(Illuminance),
}

/// Whether a reading was measured or copied from a label.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Source {
    /// Read by an instrument.
    #[default]
    Measured,
    /// Copied from what is printed on the thing.
    Label,
}

impl Source {
    fn is_measured(&self) -> bool {
        *self == Self::Measured
    }
}

/// What was lit when the reading was made.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Patch {
    /// The display's white, or the lamp's own light as on a neutral tile.
    #[default]
    White,
    /// The display's black.
    Black,
    /// The lit paper, in cd/m².
    Paper,
    /// Foreign light, lamp off.
    Ambient,
}

impl Patch {
    fn is_white(&self) -> bool {
        *self == Self::White
    }
}

/// Something done to a thing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Event {
    /// The thing it was done to.
    pub device: DeviceId,
    /// When, in UTC.
    pub time: Time,
    /// The time as it was written, where it was not written in UTC just so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub time_given: Option<String>,
    /// What was done.
    #[serde(rename = "event")]
    pub kind: EventKind,
    /// Who did it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator: Option<OperatorId>,
    /// Whence that is known; absent where nobody is named, and in entries of before this was kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator_by: Option<OperatorBy>,
    /// Free text.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub note: Option<String>,
    /// The white a recalibration aimed at.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub target_white: Option<Xy>,
    /// The luminance a recalibration aimed at.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub target_luminance: Option<Luminance>,
    /// The instrument that was compared with, for a cross-calibration.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub other: Option<InstrumentId>,
    /// What else is said of it.
    #[serde(default, skip_serializing_if = "Details::is_empty")]
    pub details: Details,
}

/// What can be done to a thing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)]
pub enum EventKind {
    Recalibrated,
    Replaced,
    /// One tube of several.
    PartReplaced,
    /// Dimmer or colour dial.
    SettingChanged,
    Moved,
    Cleaned,
    Serviced,
    Retired,
    /// An instrument was certified.
    Certificate,
    /// An instrument was adjusted to read otherwise than before.
    Adjusted,
    /// Something is wrong with it.
    Damaged,
    Repaired,
    /// It has another firmware.
    Firmware,
    /// An instrument was compared with another.
    CrossCalibrated,
    /// Of a paper.
    NewBatch,
}

impl EventKind {
    /// Every kind, in the order people are shown them.
    pub const ALL: [Self; 15] = [
        Self::Recalibrated,
        Self::Replaced,
        Self::PartReplaced,
        Self::SettingChanged,
        Self::Moved,
        Self::Cleaned,
        Self::Serviced,
        Self::Retired,
        Self::Certificate,
        Self::Adjusted,
        Self::Damaged,
        Self::Repaired,
        Self::Firmware,
        Self::CrossCalibrated,
        Self::NewBatch,
    ];

    /// The word used in files, commands and output.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Recalibrated => "recalibrated",
            Self::Replaced => "replaced",
            Self::PartReplaced => "part_replaced",
            Self::SettingChanged => "setting_changed",
            Self::Moved => "moved",
            Self::Cleaned => "cleaned",
            Self::Serviced => "serviced",
            Self::Retired => "retired",
            Self::Certificate => "certificate",
            Self::Adjusted => "adjusted",
            Self::Damaged => "damaged",
            Self::Repaired => "repaired",
            Self::Firmware => "firmware",
            Self::CrossCalibrated => "cross_calibrated",
            Self::NewBatch => "new_batch",
        }
    }

    /// The kind that `word` names.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.word() == word)
    }
}

/// What kind of thing an id stands for in the configuration.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[allow(missing_docs)]
pub enum ThingKind {
    Display,
    Lamp,
    Paper,
    Instrument,
}

impl ThingKind {
    /// The word people use.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Display => "display",
            Self::Lamp => "lamp",
            Self::Paper => "paper",
            Self::Instrument => "instrument",
        }
    }
}

/// A reading as a format found it: device and time may be missing, and nothing was checked against the site.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)]
pub struct Draft {
    pub device: Option<DeviceId>,
    pub time: Option<Time>,
    /// The time as written, where it was not written in UTC just so.
    pub time_given: Option<String>,
    pub colour: ColourSet,
    pub level: Option<Level>,
    pub circumstances: Circumstances,
}

/// What one row of a file holds.
#[derive(Debug, Clone, PartialEq)]
pub enum Record {
    /// A measurement.
    Reading(Draft),
    /// Something that was done.
    Event(Event),
}

/// A value and the line of the file it stood on, counted from 1.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)]
pub struct Row<T> {
    pub line: u64,
    pub value: T,
}

/// What is wrong with one place of a file.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct Defect {
    /// Line of the file, counted from 1; 0 for the file as a whole.
    pub line: u64,
    /// The column or field; left out where none is to blame.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub column: Option<String>,
    /// What stood there, cut to 80 characters.
    pub found: String,
    /// What should have stood there, and what to do about it.
    pub expected: String,
}

impl Defect {
    /// A defect of `column` on `line`.
    pub fn at(line: u64, column: &str, found: &str, expected: impl Into<String>) -> Self {
        Self {
            line,
            column: Some(column.to_owned()),
            found: found.chars().take(80).collect(),
            expected: expected.into(),
        }
    }

    /// A defect of the whole of `line`.
    pub fn of_line(line: u64, found: &str, expected: impl Into<String>) -> Self {
        Self { line, column: None, found: found.chars().take(80).collect(), expected: expected.into() }
    }
}

impl std::fmt::Display for Defect {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match (self.line, &self.column) {
            (0, None) => write!(f, "found {}; expected {}", self.found, self.expected),
            (0, Some(column)) => write!(f, "{column}: found {}; expected {}", self.found, self.expected),
            (line, None) => write!(f, "line {line}: found {}; expected {}", self.found, self.expected),
            (line, Some(column)) => {
                write!(f, "line {line}, {column}: found {}; expected {}", self.found, self.expected)
            }
        }
    }
}
