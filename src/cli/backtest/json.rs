//! The JSON of `backtest`.

use schemars::JsonSchema;
use serde::Serialize;

use crate::trial::Trial;
use crate::trial::device::{DeviceTrial, HORIZONS, Verdict};
use crate::trial::matches::MatchTrial;
use crate::units::{Days, DeviceId, StationId, Time};

/// How good the forecasts were on each station's own past: every forecast asked again with only what was read before it, and held
/// against what was read later.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Backtest {
    /// The instant up to which the past is looked at.
    pub as_of: Time,
    /// Each station that was asked for, in the order of the configuration.
    pub stations: Vec<StationTrial>,
}

/// The forecasts of one station.
#[derive(Debug, Serialize, JsonSchema)]
pub struct StationTrial {
    /// The station.
    station: StationId,
    /// The worse of its devices' verdicts.
    verdict: BandsVerdict,
    /// Display and lamp.
    devices: Vec<DeviceJson>,
    /// What was said of its match each week, against the weeks that followed.
    #[serde(rename = "match")]
    matches: MatchJson,
}

/// What can be said of the bands that were foretold.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum BandsVerdict {
    /// So few forecasts were held against a reading that chance decides.
    TooFew,
    /// As many readings fell within the bands as should.
    Held,
    /// Fewer did.
    TooNarrow,
    /// More did.
    TooWide,
}

/// The forecasts of one device.
#[derive(Debug, Serialize, JsonSchema)]
pub struct DeviceJson {
    /// The display or lamp.
    device: DeviceId,
    /// What can be said of its bands.
    verdict: BandsVerdict,
    /// The same by how many days ahead was foretold.
    horizons: Vec<HorizonJson>,
    /// Size of the errors over that of taking the last reading for granted; below 1 the forecasts were nearer.
    error_against_last_reading: ErrorJson,
    /// The record by which the model mends the spread of its forecasts.
    spread: SpreadJson,
}

/// Forecasts of one length.
#[derive(Debug, Serialize, JsonSchema)]
pub struct HorizonJson {
    /// Days ahead.
    days: f64,
    /// Of CIE 1976 u′.
    u_prime: Cell,
    /// Of CIE 1976 v′.
    v_prime: Cell,
    /// Of the natural logarithm of the level.
    ln_luminance: Cell,
}

/// How many forecasts were right.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Cell {
    /// Forecasts that a reading was held against.
    checked: usize,
    /// Readings among them that fell within the band that should hold nine in ten.
    within_90: usize,
}

/// Errors as ratios.
#[derive(Debug, Serialize, JsonSchema)]
pub struct ErrorJson {
    /// Of the white, as a distance in CIE 1976 u′v′; null with nothing to compare.
    colour: Option<f64>,
    /// Of the natural logarithm of the level; null with nothing to compare.
    ln_luminance: Option<f64>,
}

/// The record of a device's own forecasts, four weeks ahead.
#[derive(Debug, Serialize, JsonSchema)]
pub struct SpreadJson {
    /// Of CIE 1976 u′.
    u_prime: Option<RecordJson>,
    /// Of CIE 1976 v′.
    v_prime: Option<RecordJson>,
    /// Of the natural logarithm of the level.
    ln_luminance: Option<RecordJson>,
}

/// Errors that were seen beside those that were foretold.
#[derive(Debug, Serialize, JsonSchema)]
pub struct RecordJson {
    /// Forecasts that a reading was held against.
    forecasts: u32,
    /// Sum of their squared errors, each in units of the variance foretold: about `forecasts` where the spread is right.
    squares: f64,
    /// By what the standard deviation of a forecast is multiplied; 1 unless the spread has proved wrong.
    sd_factor: f64,
}

/// What was said of a match each week.
#[derive(Debug, Serialize, JsonSchema)]
pub struct MatchJson {
    /// Weeks in which the station could be judged.
    weeks: usize,
    /// Weeks in which it was unknown.
    weeks_unknown: usize,
    /// Weeks that were out of tolerance.
    weeks_out: usize,
    /// The times that it went out by drift.
    drifted_out: Vec<DriftedOut>,
    /// The times that it went out after a jump or after something was done, which nobody can foretell.
    out_after_jump_or_act: Vec<Time>,
    /// How its warnings did.
    warnings: Warnings,
}

/// One time that a match went out by drift.
#[derive(Debug, Serialize, JsonSchema)]
pub struct DriftedOut {
    /// The week in which it was out.
    out: Time,
    /// Days from the first warning to it, up to 28; null where it came without.
    warned_days_before: Option<Days>,
}

/// Warnings that a match would go out within four weeks.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Warnings {
    /// It did.
    right: usize,
    /// It did not.
    for_nothing: usize,
    /// Overtaken by something that was done, or the four weeks are not over.
    not_judged: usize,
}

impl StationTrial {
    pub(super) fn of(trial: &Trial) -> Self {
        Self {
            station: trial.station.clone(),
            verdict: trial.verdict().into(),
            devices: trial.devices.iter().map(DeviceJson::of).collect(),
            matches: MatchJson::of(&trial.matches),
        }
    }
}

impl MatchJson {
    fn of(trial: &MatchTrial) -> Self {
        let drifted = trial.drifted.iter().map(|(out, lead)| DriftedOut { out: *out, warned_days_before: *lead });
        Self {
            weeks: trial.weeks,
            weeks_unknown: trial.weeks_unknown,
            weeks_out: trial.weeks_out,
            drifted_out: drifted.collect(),
            out_after_jump_or_act: trial.jumped.clone(),
            warnings: Warnings { right: trial.right, for_nothing: trial.wrong, not_judged: trial.open },
        }
    }
}

impl DeviceJson {
    fn of(device: &DeviceTrial) -> Self {
        let horizons = HORIZONS.iter().enumerate().map(|(place, days)| {
            let cell = |channel| {
                let (within_90, checked) = device.within_band(place, channel);
                Cell { checked, within_90 }
            };
            HorizonJson { days: *days, u_prime: cell(0), v_prime: cell(1), ln_luminance: cell(2) }
        });
        let record = |channel: usize| {
            device.verified.get(channel).map(|record| RecordJson {
                forecasts: record.forecasts,
                squares: record.squares,
                sd_factor: libm::sqrt(record.factor()),
            })
        };
        Self {
            device: device.device.clone(),
            verdict: device.verdict().into(),
            horizons: horizons.collect(),
            error_against_last_reading: ErrorJson {
                colour: device.colour_error_against_last(),
                ln_luminance: device.error_against_last(2),
            },
            spread: SpreadJson { u_prime: record(0), v_prime: record(1), ln_luminance: record(2) },
        }
    }
}

impl From<Verdict> for BandsVerdict {
    fn from(verdict: Verdict) -> Self {
        match verdict {
            Verdict::TooFew => Self::TooFew,
            Verdict::Held => Self::Held,
            Verdict::TooNarrow => Self::TooNarrow,
            Verdict::TooWide => Self::TooWide,
        }
    }
}
