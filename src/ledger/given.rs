//! What makes two records of one key the same or not: a digest of the values as they were received.

use rusqlite::ToSql;
use rusqlite::types::{FromSql, FromSqlError, FromSqlResult, ToSqlOutput, ValueRef};
use serde::{Deserialize, Deserializer, Serialize, Serializer};

use super::digest::Digest;
use crate::reading::{ColourSet, Event, Level, Reading};
use crate::units::{InstrumentId, Luminance};

/// The first 16 bytes of a digest of the values as received: what makes two records of one key the same or not.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Given([u8; 16]);

impl Given {
    /// Of a reading: its colour set and its level, exactly as received. Hours, setting, operator and notes do not enter.
    pub fn of_reading(reading: &Reading) -> Self {
        let mut spectral = Vec::new();
        let (set, colour) = match &reading.colour {
            ColourSet::Xyz(c) => (1, [c.x, c.y, c.z]),
            ColourSet::Xy(c) => (2, [c.x, c.y, 0.0]),
            ColourSet::UvPrime(c) => (3, [c.u, c.v, 0.0]),
            ColourSet::CctDuv { cct_k, duv } => (4, [cct_k.get(), duv.get(), 0.0]),
            ColourSet::Cct { cct_k } => (5, [cct_k.get(), 0.0, 0.0]),
            ColourSet::Spectrum { spectrum } => {
                spectral.extend(spectrum.wavelengths().zip(spectrum.values()).flat_map(|(nm, value)| [nm, *value]));
                (6, [f64::from(spectrum.unit() as u8), spectrum.bandwidth_nm().unwrap_or(0.0), 0.0])
            }
        };
        let (unit, level) = match reading.level {
            None => (0, 0.0),
            Some(Level::Luminance(luminance)) => (1, luminance.get()),
            Some(Level::Illuminance(illuminance)) => (2, illuminance.get()),
        };
        let [a, b, c] = colour;
        let numbers = [&[f64::from(set), a, b, c, f64::from(unit), level][..], &spectral].concat();
        Self::of(&numbers, "")
    }

    /// Of an event: what it aimed at, the instrument it names, and its details.
    pub fn of_event(event: &Event) -> Self {
        let white = event.target_white.map_or([0.0, 0.0], |white| [white.x, white.y]);
        let luminance = event.target_luminance.map_or(0.0, Luminance::get);
        let (has_white, has_luminance) = (event.target_white.is_some(), event.target_luminance.is_some());
        let numbers =
            [f64::from(u8::from(has_white)), white[0], white[1], f64::from(u8::from(has_luminance)), luminance];
        let other = event.other.as_ref().map_or("", InstrumentId::as_str);
        if event.details.is_empty() {
            return Self::of(&numbers, other);
        }
        // Two certificates of one hour are two.
        Self::of(&numbers, &format!("{other} {}", serde_json::to_string(&event.details).unwrap_or_default()))
    }

    fn of(numbers: &[f64], text: &str) -> Self {
        let mut bytes = Vec::with_capacity(8 * numbers.len() + text.len());
        for number in numbers {
            // Adding zero makes -0 the 0 it equals.
            bytes.extend_from_slice(&(number + 0.0).to_le_bytes());
        }
        bytes.extend_from_slice(text.as_bytes());
        let digest = Digest::of(&bytes);
        let mut first = [0; 16];
        first.copy_from_slice(digest.as_bytes().split_at(16).0);
        Self(first)
    }
}

impl ToSql for Given {
    fn to_sql(&self) -> rusqlite::Result<ToSqlOutput<'_>> {
        Ok(self.0.as_slice().into())
    }
}

impl FromSql for Given {
    fn column_result(value: ValueRef<'_>) -> FromSqlResult<Self> {
        let bytes = value.as_blob()?;
        bytes.try_into().map(Self).map_err(|_| FromSqlError::Other("expected 16 bytes".into()))
    }
}

impl Serialize for Given {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(&format_args!("{:032x}", u128::from_be_bytes(self.0)))
    }
}

impl<'de> Deserialize<'de> for Given {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = String::deserialize(from)?;
        let digits = text.len() == 32 && text.bytes().all(|byte| byte.is_ascii_hexdigit());
        let number = u128::from_str_radix(&text, 16).ok().filter(|_| digits);
        let number = number.ok_or_else(|| serde::de::Error::custom("expected 32 hexadecimal digits"))?;
        Ok(Self(number.to_be_bytes()))
    }
}
