//! Forecasts put on trial: what was said of a station's own past, and how that compares with what came. Pure.
//!
//! Two questions: what was foretold of each [`device`], 30, 60 and 90 days ahead, and what was said each week of the match
//! ([`mod@matches`]). Who asks and who looks up what came is `backtest`.

pub mod device;
pub mod matches;

use crate::units::StationId;
use device::{DeviceTrial, Verdict};
use matches::MatchTrial;

/// What became of a station's forecasts.
#[derive(Debug, Clone)]
pub struct Trial {
    /// The station.
    pub station: StationId,
    /// Display and lamp, in this order.
    pub devices: [DeviceTrial; 2],
    /// Its match, week by week.
    pub matches: MatchTrial,
}

impl Trial {
    /// The worse of the two devices' verdicts.
    pub fn verdict(&self) -> Verdict {
        let worst = [Verdict::TooNarrow, Verdict::TooFew, Verdict::TooWide];
        let is = |verdict: &Verdict| self.devices.iter().any(|device| device.verdict() == *verdict);
        worst.into_iter().find(is).unwrap_or(Verdict::Held)
    }
}
