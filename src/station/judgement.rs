//! What is known of a station at an instant: verdict, numbers, reasons, advice. Plain values; sentences are for `say`.

use crate::color::Move;
use crate::units::{Days, DeviceId, Illuminance, Luminance, StationId, Time, UvPrime, Xy};

/// Whether a station's match holds. The worst of several counts: out, unknown, at-risk, matched.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Verdict {
    /// Within tolerance, and likely to stay so over the horizon.
    Matched,
    /// Within tolerance now, but too likely to leave it within the horizon.
    AtRisk,
    /// Nothing was read for too long, or only the doubt is too large. Never shown as good.
    Unknown,
    /// More likely out of tolerance than in.
    Out,
}

impl Verdict {
    /// The verdict's word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Matched => "matched",
            Self::AtRisk => "at-risk",
            Self::Unknown => "unknown",
            Self::Out => "out",
        }
    }

    /// The verdict that `word` names.
    pub fn from_word(word: &str) -> Option<Self> {
        [Self::Matched, Self::AtRisk, Self::Unknown, Self::Out].into_iter().find(|verdict| verdict.word() == word)
    }

    /// The exit code of `status --exit-code`.
    pub const fn exit_code(self) -> u8 {
        match self {
            Self::Matched => 0,
            Self::AtRisk => 10,
            Self::Out => 11,
            Self::Unknown => 12,
        }
    }
}

/// A mean and its standard deviation.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub struct Spread {
    pub mean: f64,
    pub sd: f64,
}

/// A white with its luminance (cd/m²), as estimated.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub struct EstimatedWhite {
    pub u: Spread,
    pub v: Spread,
    /// Median luminance in cd/m² and its standard deviation; absent where the level was never read.
    pub luminance: Option<Spread>,
}

/// When the risk will pass the station's line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RiskDate {
    /// The first day on which the risk of having been out passes `max_risk`.
    pub date: Time,
    /// Farther ahead than the readings reach back, or from too few of them: to be called a guess.
    pub guess: bool,
}

/// Everything that is known of a station at one instant.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)]
pub struct Judgement {
    pub station: StationId,
    pub as_of: Time,
    pub verdict: Verdict,
    /// Probability that the match is out of tolerance now.
    pub risk: f64,
    /// Probability that it is out at any time within the station's horizon.
    pub risk_within: f64,
    pub risk_date: Option<RiskDate>,
    /// Distance of the two mean whites, and the spread along the line between them.
    pub delta_uv: Spread,
    /// Display luminance ÷ paper luminance, median and spread; absent where either level was never read.
    pub luminance_ratio: Option<Spread>,
    pub display_white: EstimatedWhite,
    pub paper_white: EstimatedWhite,
    /// Standard uncertainty of the comparison that no further reading by the same instruments takes away: u′v′, and the
    /// luminance ratio as a fraction.
    pub scale_uncertainty: (f64, f64),
    pub reasons: Vec<Reason>,
    pub advice: Vec<Advice>,
}

/// Why the verdict is what it is, the weightiest first.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)]
pub enum Reason {
    /// The device was never read.
    NeverRead { device: DeviceId },
    /// The device was not read for longer than the station allows.
    Stale { device: DeviceId, age: Days, limit: Days },
    /// The whites differ by more than the tolerance; `direction` is the display's as seen from the paper.
    WhitesDiffer { delta_uv: f64, limit: f64, direction: Option<Move> },
    /// The luminances differ by more than the tolerance; `ratio` is display ÷ paper over what the station asks for.
    LuminancesDiffer { ratio: f64, limit: f64 },
    /// The risk is high because little is known, not because the whites differ.
    DoubtNotDrift { device: DeviceId, readings: u64, last: Option<Time> },
    /// So few readings that how the device drifts is assumed from its kind.
    FewReadings { device: DeviceId, readings: u64 },
    /// One reading lies far from the rest: the device may have jumped.
    PossibleStep { device: DeviceId, probability: f64 },
    /// How far the device is from its aim, when that matters: u′v′ distance, direction, level as a ratio to the aim.
    OffAim { device: DeviceId, delta_uv: f64, direction: Option<Move>, level_ratio: Option<f64> },
    /// Within tolerance now; the whites are this far apart.
    Holds { delta_uv: f64, limit: f64 },
    /// The readings that were held back and wait for a person.
    HeldBack { device: DeviceId, count: u64 },
    /// A part of the match that nobody has measured and that therefore is not in the risk.
    NotMeasured { what: Unmeasured },
    /// The colour of the paper white is an estimate with this standard uncertainty in u′v′.
    PaperEstimated { sd: f64 },
}

/// What a match may ask for that was never measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Unmeasured {
    DisplayLuminance,
    LampIlluminance,
    ColourRendering,
}

/// What to do, the cheapest thing that helps first.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)]
pub enum Advice {
    /// Take a reading: the doubt is the risk.
    Read { device: DeviceId },
    /// Nothing is wrong; read again by this day.
    ReadBy { device: DeviceId, date: Time },
    /// Calibrate the display to its aim again.
    RecalibrateToAim { display: DeviceId, white: Xy, luminance: Option<Luminance> },
    /// Calibrate the display to the paper white as the lamp now makes it.
    RecalibrateToPaper { display: DeviceId, white: Xy, luminance: Option<Luminance> },
    /// Turn the lamp's dimmer.
    TurnDimmer { lamp: DeviceId, from: Illuminance, to: Illuminance },
    /// Turn the lamp's colour dial.
    TurnColourDial { lamp: DeviceId, direction: Option<Move> },
    /// Clean the lamp, or replace it: it no longer reaches its aim.
    ReplaceLamp { lamp: DeviceId, why: LampFault },
    /// Look at the readings that were held back.
    LookAtHeld { device: DeviceId },
}

/// Why a lamp should go.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LampFault {
    /// Its light left its aim in colour by this much u′v′.
    Colour {
        /// Distance from the aim.
        delta_uv: f64,
    },
    /// It gives this share of its aim's illuminance.
    Dim {
        /// Level ÷ aim.
        level_ratio: f64,
    },
}

impl Reason {
    /// The reason's word, as the ledger keeps it.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::NeverRead { .. } => "never-read",
            Self::Stale { .. } => "stale",
            Self::WhitesDiffer { .. } => "whites-differ",
            Self::LuminancesDiffer { .. } => "luminances-differ",
            Self::DoubtNotDrift { .. } => "doubt-not-drift",
            Self::FewReadings { .. } => "few-readings",
            Self::PossibleStep { .. } => "possible-step",
            Self::OffAim { .. } => "off-aim",
            Self::Holds { .. } => "holds",
            Self::HeldBack { .. } => "held-back",
            Self::NotMeasured { .. } => "not-measured",
            Self::PaperEstimated { .. } => "paper-estimated",
        }
    }
}

impl EstimatedWhite {
    /// The mean chromaticity.
    pub fn uv(&self) -> UvPrime {
        UvPrime { u: self.u.mean, v: self.v.mean }
    }
}
