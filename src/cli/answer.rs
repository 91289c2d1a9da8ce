//! Pieces that the JSON of several commands shares.

use schemars::JsonSchema;
use serde::Serialize;

use crate::station::Spread;
use crate::units::Time;
use crate::zone::LocalZone;

/// An estimate: a mean and its standard deviation.
#[derive(Debug, Clone, Copy, Serialize, JsonSchema)]
pub struct MeanSd {
    /// The mean, in the unit of the field that holds this pair.
    pub mean: f64,
    /// The standard deviation, 0 or more, in the unit of the mean.
    #[schemars(range(min = 0.0))]
    pub sd: f64,
}

impl From<(f64, f64)> for MeanSd {
    fn from((mean, sd): (f64, f64)) -> Self {
        Self { mean, sd }
    }
}

impl From<Spread> for MeanSd {
    fn from(spread: Spread) -> Self {
        Self { mean: spread.mean, sd: spread.sd }
    }
}

/// A local day of the site, as YYYY-MM-DD.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[serde(transparent)]
#[schemars(extend("format" = "date", "pattern" = "^[0-9]{4}-[0-9]{2}-[0-9]{2}$"))]
pub struct LocalDate(String);

impl LocalDate {
    /// The day of `time` in the site's zone.
    pub fn of(time: Time, zone: &LocalZone) -> Self {
        Self(zone.date(time))
    }
}
