//! What goes into the model and what it says of each reading: plain values, no mathematics.

use serde::{Deserialize, Serialize};

use super::offset::Apart;
use super::priors::Thing;
use crate::site::Noise;
use crate::units::{InstrumentId, Time, UvPrime};

/// What is known of a thing from the configuration.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Params {
    /// Display, or lamp of a kind.
    pub thing: Thing,
    /// The white it should have; `None` where it follows something else that is not known.
    pub aim_white: Option<UvPrime>,
    /// ln of the luminance in cd/m² (display) or illuminance in lx (lamp) it should have.
    pub aim_ln_level: Option<f64>,
    /// Minutes until its readings are trusted as warm.
    pub warm_up_min: f64,
}

/// One reading as the model takes it. Numbers that are not finite count as not measured; absurd ones are cut to a
/// range in which arithmetic stays exact enough (u′v′ to ±10, ln level to ±50, variances to 0..=100).
#[derive(Debug, Clone, PartialEq)]
pub struct Observation {
    /// Its number in the ledger.
    pub seq: i64,
    /// When it was measured.
    pub time: Time,
    /// Its chromaticity.
    pub white: UvPrime,
    /// Covariance `(u′u′, u′v′, v′v′)` beyond the instrument's noise, as of a colour temperature without tint or of a label.
    pub extra_cov: [f64; 3],
    /// ln of its level, if it was measured.
    pub ln_level: Option<f64>,
    /// Variance of the level beyond the instrument's noise.
    pub extra_ln: f64,
    /// Scatter of the instrument.
    pub noise: Noise,
    /// Minutes since the device was switched on; absent counts as warm.
    pub warmup_min: Option<f64>,
    /// The device's own hours counter.
    pub hours: Option<f64>,
    /// Dimmer or dial; absent counts as unchanged.
    pub setting: Option<String>,
    /// Copied from a label rather than measured: it stands in until the first measurement (see `label`).
    pub label: bool,
    /// The instrument.
    pub instrument: Option<InstrumentId>,
    /// What it is thought to read above the device's scale instrument of before this reading, until that is learnt here.
    /// Absent for that instrument itself, and where the two are taken for one.
    pub apart: Option<Apart>,
    /// A person let it count: it is never held nor doubted again.
    pub released: bool,
}

/// Something that was done to the device.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub struct Happening {
    pub time: Time,
    pub act: Act,
}

/// What was done.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Act {
    /// Set anew to a target, or to its aim where none is named.
    Recalibrated {
        /// The white it was set to.
        target: Option<TargetWhite>,
    },
    /// A new thing stands in its place.
    Replaced,
    /// One tube of several was replaced.
    PartReplaced,
    /// Dimmer or colour dial was turned.
    SettingChanged,
    /// It stands or hangs elsewhere, or the same place was changed.
    Moved,
    /// Dust is gone.
    Cleaned,
    /// Something inside was changed.
    Serviced,
    /// It is out of use.
    Retired,
}

/// The white a recalibration aimed at, and how nearly it is met (standard deviations; `None`: as is usual).
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub struct TargetWhite {
    pub uv: UvPrime,
    pub ln_level: Option<f64>,
    pub sd_uv: Option<f64>,
    pub sd_ln: Option<f64>,
}

/// What became of a reading.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Fate {
    /// It moved the estimate.
    Used,
    /// It moved the estimate with less weight, since the device was not yet warm.
    UsedCold,
    /// It stands out of the mean, but counts in the risk while it may be a step.
    Doubted(Doubt),
    /// A label, and a measurement stands in its place.
    Outranked,
    /// It looks impossible and stands outside the model until a person releases it or what it lacked arrives.
    Held(HeldWhy),
}

impl Fate {
    /// Whether it moved the estimate.
    pub const fn is_used(self) -> bool {
        matches!(self, Self::Used | Self::UsedCold)
    }
}

/// Why a reading is doubted.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Doubt {
    /// Far from what was expected, and the next reading has yet to say whether the device stepped.
    PossibleStep,
    /// Far from what was expected, and a later reading did not bear it out.
    NotBorneOut,
    /// Far from what was expected, and an event that set the device anew left the question open.
    Overtaken,
}

/// Why a reading is held.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum HeldWhy {
    /// The level is off by just the factor between two units.
    UnitSlip {
        /// The factor.
        factor: SlipFactor,
        /// Whether the level is too high by it (else too low).
        too_high: bool,
    },
    /// The device's hours counter fell although nothing was replaced. Hours.
    HoursBackwards {
        /// Highest count before.
        before: f64,
        /// The count of this reading.
        after: f64,
    },
}

/// A factor between two units, or of a lost decimal point.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SlipFactor {
    /// 10: a decimal point.
    Ten,
    /// 1000: a prefix, or a thousands separator.
    Thousand,
    /// 10.764: lux and foot-candles.
    FootCandles,
    /// 3.426: cd/m² and foot-lamberts.
    FootLamberts,
}

impl SlipFactor {
    /// The factor as a number.
    pub const fn ratio(self) -> f64 {
        match self {
            Self::Ten => 10.0,
            Self::Thousand => 1000.0,
            Self::FootCandles => 10.763_910_416_709_722,
            Self::FootLamberts => 3.426_259_099_635_39,
        }
    }
}

/// What absorbing a reading did.
#[derive(Debug, Clone, PartialEq)]
pub struct Absorbed {
    /// What became of it.
    pub fate: Fate,
    /// Earlier readings whose fate is now another.
    pub revised: Vec<(i64, Fate)>,
    /// The step that it bore out.
    pub step: Option<StepFound>,
}

/// An unlogged step of the device, borne out by at least two readings.
#[derive(Debug, Clone, PartialEq)]
pub struct StepFound {
    /// Last reading that still agreed with the old state.
    pub after: Option<Time>,
    /// First reading that showed the new one: the step is dated here, and lies between the two.
    pub began: Time,
    /// The readings that bear it out.
    pub seqs: Vec<i64>,
    /// Change of u′.
    pub delta_u: f64,
    /// Change of v′.
    pub delta_v: f64,
    /// Change of ln level.
    pub delta_ln: f64,
}
