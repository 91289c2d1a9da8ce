//! What is known of a station at an instant: verdict, numbers, reasons, advice. Plain values; sentences are for `say`.

use super::acts::Weighed;
use super::ambient::{Ambient, Pull};
use super::calls::Call;
use super::outlook::Holds;
use super::rendering::{LampRa, RaSource};
use crate::color::{LabColour, Move};
use crate::equipment::{Doubt, ReadWith};
use crate::units::{Days, DeviceId, Illuminance, InstrumentId, Luminance, StationId, Time, UvPrime, Xy, Xyz};

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
    /// Every verdict, the best first.
    pub const ALL: [Self; 4] = [Self::Matched, Self::AtRisk, Self::Unknown, Self::Out];

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
        Self::ALL.into_iter().find(|verdict| verdict.word() == word)
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
    /// Paper luminance ÷ display luminance, over what the station's rule asks for; absent where luminance is not judged or
    /// was never read.
    pub print_to_screen: Option<f64>,
    pub rendering: Option<LampRa>,
    pub ambient: Ambient,
    /// What its display and its lamp were read with last; for whoever signs on it.
    pub read_with: Vec<ReadWith>,
    pub reasons: Vec<Reason>,
    /// What to do now, the cheapest thing that helps first.
    pub advice: Vec<Advice>,
    /// Until when it is likely to hold if nobody touches anything.
    pub holds: Holds,
    /// Every act that was weighed, the best first; empty where nothing needs doing.
    pub acts: Vec<Weighed>,
    /// What is to be done by when, the earliest first.
    pub calls: Vec<Call>,
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
    /// The luminances differ by more than the tolerance; `ratio` is display ÷ paper over what the
    /// station asks for, which is `agreed`.
    LuminancesDiffer { ratio: f64, limit: f64, agreed: f64 },
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
    /// What optical brighteners leave in doubt of the paper white; with the lamp's ultraviolet as a share of that of D50, where it
    /// was measured.
    PaperBrightened { sd: f64, lamp_uv: Option<f64> },
    /// The paper white is known by a reading of the lit paper.
    PaperRead { paper: DeviceId, when: Time },
    /// The lamp renders colours worse than the station allows.
    RenderingPoor { ra: f64, limit: f64, when: Time, source: RaSource },
    /// The lamp renders colours as well as the station asks for.
    RenderingHolds { ra: f64, limit: f64, when: Time, source: RaSource },
    /// The colour rendering was not measured since the lamp was changed, and therefore is not in the risk.
    RenderingNotSince { lamp: DeviceId, changed: Time },
    /// The device is known by its label alone, with this standard uncertainty in u′v′.
    LabelOnly { device: DeviceId, sd: f64 },
    /// The newest reading of the device told a colour temperature and no tint.
    TintUnknown { device: DeviceId },
    /// Foreign light falls on the print: its share, the most that the station allows, at which hours, and its pull.
    AmbientLight { share: f64, limit: f64, from_hour: u16, to_hour: u16, pull: Option<Pull> },
    /// What speaks against the instrument that read these devices last; it is not in the risk.
    InstrumentDoubt { instrument: InstrumentId, devices: Vec<DeviceId>, doubt: Doubt },
}

/// What a match may ask for that was never measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Unmeasured {
    DisplayLuminance,
    LampIlluminance,
    ColourRendering,
}

/// What is to be done, or read.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)]
pub enum Advice {
    /// Take a reading: the doubt is the risk.
    Read { device: DeviceId },
    /// Take a reading of the lit paper: how it looks under this lamp is the doubt.
    ReadPaper { paper: DeviceId, lamp: DeviceId },
    /// Calibrate the display to its aim again.
    RecalibrateToAim { display: DeviceId, white: Xy, luminance: Option<Luminance> },
    /// Calibrate the display to the paper white as the lamp is expected to make it at the middle of the time that this should hold.
    RecalibrateToPaper { display: DeviceId, white: Xy, luminance: Option<Luminance>, meets: Time },
    /// Turn the lamp's dimmer.
    TurnDimmer { lamp: DeviceId, from: Illuminance, to: Illuminance },
    /// Turn the lamp's colour dial.
    TurnColourDial { lamp: DeviceId, direction: Option<Move>, white: Option<Xy> },
    /// Clean the lamp, of which dust may have taken light; it gives this share of its aim's.
    CleanLamp { lamp: DeviceId, level_ratio: f64 },
    /// Clean the lamp, or replace it: it no longer reaches its aim.
    ReplaceLamp { lamp: DeviceId, why: LampFault },
    /// Keep foreign light off the print between these hours, or judge at others.
    ShutOutLight { from_hour: u16, to_hour: u16 },
    /// Look at the readings that were held back.
    LookAtHeld { device: DeviceId },
    /// Look what made its light jump, which nobody wrote down: nothing is set, cleaned or replaced before.
    LookAtJump { device: DeviceId, lamp: bool, began: Time },
}

/// Why a lamp should go.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LampFault {
    /// Its light left its aim in colour by this much u′v′.
    Colour {
        /// Distance from the aim.
        delta_uv: f64,
    },
    /// It renders colours worse than the station allows.
    Rendering {
        /// General colour rendering index.
        ra: f64,
        /// The least that the station allows.
        limit: f64,
    },
    /// It gives this share of its aim's illuminance.
    Dim {
        /// Level ÷ aim.
        level_ratio: f64,
    },
    /// It is within what can be followed, but a new one would hold longest.
    Ageing,
}

impl Advice {
    /// The act's word, as in JSON.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Read { .. } => "read",
            Self::ReadPaper { .. } => "read-paper",
            Self::RecalibrateToAim { .. } => "recalibrate-to-aim",
            Self::RecalibrateToPaper { .. } => "recalibrate-to-paper",
            Self::TurnDimmer { .. } => "turn-dimmer",
            Self::TurnColourDial { .. } => "turn-colour-dial",
            Self::CleanLamp { .. } => "clean-lamp",
            Self::ReplaceLamp { .. } => "replace-lamp",
            Self::ShutOutLight { .. } => "shut-out-light",
            Self::LookAtHeld { .. } => "look-at-held",
            Self::LookAtJump { .. } => "look-at-jump",
        }
    }

    /// The thing that it is done to, where it is one.
    pub fn device(&self) -> Option<&DeviceId> {
        match self {
            Self::Read { device } | Self::LookAtHeld { device } | Self::LookAtJump { device, .. } => Some(device),
            Self::ReadPaper { paper, .. } => Some(paper),
            Self::RecalibrateToAim { display, .. } | Self::RecalibrateToPaper { display, .. } => Some(display),
            Self::TurnDimmer { lamp, .. }
            | Self::TurnColourDial { lamp, .. }
            | Self::CleanLamp { lamp, .. }
            | Self::ReplaceLamp { lamp, .. } => Some(lamp),
            Self::ShutOutLight { .. } => None,
        }
    }
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
            Self::PaperBrightened { .. } => "paper-brightened",
            Self::PaperRead { .. } => "paper-read",
            Self::RenderingPoor { .. } => "rendering-poor",
            Self::RenderingHolds { .. } => "rendering-holds",
            Self::RenderingNotSince { .. } => "rendering-not-since",
            Self::LabelOnly { .. } => "label-only",
            Self::TintUnknown { .. } => "tint-unknown",
            Self::AmbientLight { .. } => "ambient-light",
            Self::InstrumentDoubt { doubt, .. } => doubt.word(),
        }
    }
}

/// How much darker the dimmer of two whites looks than the brighter, as a difference in CIE 1976 lightness L* (CIE 15:2018
/// clause 8.2.1, with the brighter as the white): 0 where they are equal. `ratio` is either white over the other.
pub fn lightness_lost(ratio: f64) -> f64 {
    let grey = |y: f64| Xyz { x: y, y, z: y };
    let seen = LabColour::of(grey(ratio.min(ratio.recip())), grey(1.0));
    seen.map_or(100.0, |seen| (100.0 - seen.l).clamp(0.0, 100.0))
}

impl EstimatedWhite {
    /// The mean chromaticity.
    pub fn uv(&self) -> UvPrime {
        UvPrime { u: self.u.mean, v: self.v.mean }
    }
}

#[cfg(test)]
mod tests {
    use super::lightness_lost;

    #[test]
    fn a_ratio_as_a_difference_in_lightness() {
        // CIE 15: L* = 116 (Y/Yn)^(1/3) - 16.
        for (ratio, lost) in [(0.95, 1.97), (0.90, 4.00), (0.85, 6.12), (0.80, 8.32), (1.25, 8.32), (1.0, 0.0)] {
            assert!((lightness_lost(ratio) - lost).abs() < 0.005, "{ratio}: {}", lightness_lost(ratio));
        }
        assert!((lightness_lost(0.001) - 99.096_704).abs() < 1e-6);
    }
}
