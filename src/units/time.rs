//! Instants in UTC and spans of time. Local time lives in `zone`.

use std::fmt;
use std::time::Duration;

use chrono::{DateTime, NaiveDate, SecondsFormat, Utc};
use schemars::JsonSchema;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// An instant, in microseconds of UTC since 1970-01-01T00:00:00Z; years 1 to 9999.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, JsonSchema)]
#[schemars(
    transparent,
    description = "An instant: RFC 3339 in UTC, with a fraction of a second only where there is one.",
    extend("format" = "date-time", "pattern" = r"^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]+)?Z$")
)]
pub struct Time(#[schemars(with = "String")] i64);

/// A span in days of 86 400 s; may be negative.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Days(pub f64);

/// Hours of use as a device counts them; finite and not negative.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
#[schemars(extend("minimum" = 0.0))]
pub struct Hours(pub f64);

/// A day of the calendar without a zone, as on a certificate; `YYYY-MM-DD`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, JsonSchema)]
#[schemars(transparent, extend("format" = "date", "pattern" = "^[0-9]{4}-[0-9]{2}-[0-9]{2}$"))]
pub struct Day(#[schemars(with = "String")] pub NaiveDate);

/// Why a text is no day.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("'{found}' is not a day: expected year, month and day, like 2027-03-31")]
pub struct BadDay {
    /// The text as it was given, cut to 80 characters.
    pub found: String,
}

impl Day {
    /// Reads `YYYY-MM-DD`, years 1 to 9999.
    pub fn parse(text: &str) -> Result<Self, BadDay> {
        let plain = text.len() == 10 && text.bytes().all(|b| b.is_ascii_digit() || b == b'-');
        (text.parse().ok().filter(|_| plain).map(Self)).ok_or_else(|| BadDay { found: text.chars().take(80).collect() })
    }
}

impl fmt::Display for Day {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.0.format("%Y-%m-%d").to_string())
    }
}

impl Serialize for Day {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Day {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        Self::parse(&String::deserialize(from)?).map_err(serde::de::Error::custom)
    }
}

/// Why a text is no instant.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("'{found}' is not a time: expected RFC 3339, like 2026-03-04T09:30:00Z or 2026-03-04T09:30:00+01:00")]
pub struct BadTime {
    /// The text as it was given, cut to 80 characters.
    pub found: String,
}

const SECOND: i64 = 1_000_000;
const DAY: f64 = 86_400.0 * SECOND as f64;
/// 0001-01-01T00:00:00Z and 9999-12-31T23:59:59.999999Z: all that RFC 3339 can write.
const RANGE: (i64, i64) = (-62_135_596_800 * SECOND, 253_402_300_800 * SECOND - 1);

impl Time {
    /// The instant `micros` microseconds after 1970; what lies outside the years 1 to 9999 is moved to their edge.
    pub fn from_micros(micros: i64) -> Self {
        Self(micros.clamp(RANGE.0, RANGE.1))
    }

    /// Microseconds of UTC since 1970.
    pub const fn micros(self) -> i64 {
        self.0
    }

    /// Reads RFC 3339 (`T` and `Z` in either case, a blank for `T`, fractions of any length, a leap second).
    /// The offset is obligatory: local times are read by `zone`.
    pub fn parse(text: &str) -> Result<Self, BadTime> {
        DateTime::parse_from_rfc3339(text.trim())
            .map(Self::from_chrono)
            .map_err(|_| BadTime { found: text.chars().take(80).collect() })
    }

    /// From chrono's instant, cut to microseconds.
    pub fn from_chrono<Z: chrono::TimeZone>(at: DateTime<Z>) -> Self {
        Self::from_micros(at.timestamp_micros())
    }

    /// As chrono's instant.
    pub fn to_chrono(self) -> DateTime<Utc> {
        DateTime::from_timestamp_micros(self.0).unwrap_or(DateTime::UNIX_EPOCH)
    }

    /// Days from `earlier` to `self`.
    pub fn since(self, earlier: Self) -> Days {
        Days((self.0 as i128 - earlier.0 as i128) as f64 / DAY)
    }

    /// The instant `days` later, stopping at the edge of the range; a span that is not a number moves nothing.
    pub fn plus(self, days: Days) -> Self {
        let step = (days.0 * DAY).round();
        Self::from_micros(self.0.saturating_add(step as i64))
    }

    /// The instant `span` later, stopping at the edge of the range.
    pub fn plus_span(self, span: Duration) -> Self {
        Self::from_micros(self.0.saturating_add(i64::try_from(span.as_micros()).unwrap_or(i64::MAX)))
    }
}

impl fmt::Display for Time {
    /// RFC 3339 in UTC, with a fraction only where there is one.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.to_chrono().to_rfc3339_opts(SecondsFormat::AutoSi, true))
    }
}

impl Serialize for Time {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Time {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        Self::parse(&String::deserialize(from)?).map_err(serde::de::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rfc3339_goes_round() {
        for (text, shown) in [
            ("2026-03-04T09:30:00Z", "2026-03-04T09:30:00Z"),
            ("2026-03-04t10:30:00.5+01:00", "2026-03-04T09:30:00.500Z"),
            ("2026-03-04 09:30:00.1234567890Z", "2026-03-04T09:30:00.123456Z"),
            ("2016-12-31T23:59:60Z", "2017-01-01T00:00:00Z"),
        ] {
            let time = Time::parse(text).unwrap();
            assert_eq!(time.to_string(), shown, "{text}");
            assert_eq!(Time::parse(shown).unwrap(), time);
        }
        for bad in ["2026-03-04T09:30:00", "2026-03-04", "yesterday", "", "2026-02-30T00:00:00Z"] {
            assert!(Time::parse(bad).is_err(), "{bad:?}");
        }
    }

    #[test]
    fn arithmetic_stops_at_the_edges() {
        let now = Time::parse("2026-03-04T09:30:00Z").unwrap();
        assert_eq!(now.plus(Days(1.5)).since(now), Days(1.5));
        assert_eq!(now.plus(Days(f64::NAN)), now);
        assert_eq!(now.plus(Days(1e300)).to_string(), "9999-12-31T23:59:59.999999Z");
        assert_eq!(Time::from_micros(i64::MIN).to_string(), "0001-01-01T00:00:00Z");
    }
}
