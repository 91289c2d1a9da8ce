//! Pieces that the JSON of several commands shares.

use schemars::JsonSchema;
use serde::Serialize;

use crate::equipment::Certified;
use crate::ledger::Seq;
use crate::reading::Certificate;
use crate::station::Spread;
use crate::units::{Day, Time};
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

/// An instrument's certificate.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct CertificateJson {
    /// The last day on which it is good.
    until: Day,
    /// Its number; null where that was not written down.
    number: Option<String>,
    /// The day of its issue; null where that was not written down.
    issued: Option<Day>,
    /// Who issued it; null where that was not written down.
    laboratory: Option<String>,
    /// What was found, in words; null where that was not written down.
    results: Option<String>,
}

/// An instrument's certificate, and where it is written down.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub struct CertifiedJson {
    /// The entry that holds it; null where only the configuration names its end.
    seq: Option<Seq>,
    #[serde(flatten)]
    certificate: CertificateJson,
}

impl CertificateJson {
    /// As it was recorded.
    pub fn of(certificate: &Certificate) -> Self {
        let Certificate { until, number, issued, laboratory, results } = certificate.clone();
        Self { until, number, issued, laboratory, results }
    }
}

impl CertifiedJson {
    /// As it is known.
    pub fn of(certified: &Certified) -> Self {
        Self { seq: certified.seq, certificate: CertificateJson::of(&certified.certificate) }
    }
}
