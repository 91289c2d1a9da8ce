//! Quantities of light. Every value in here is finite; what cannot be (negative light, a chromaticity without a
//! denominator) cannot be built.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// Why a number is no such quantity.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("{found} is not {expected}")]
pub struct OutOfRange {
    /// The number as found.
    pub found: f64,
    /// What it should have been, as a noun phrase with its unit.
    pub expected: &'static str,
}

fn within(value: f64, low: f64, high: f64, expected: &'static str) -> Result<f64, OutOfRange> {
    if value.is_finite() && (low..=high).contains(&value) {
        Ok(value)
    } else {
        Err(OutOfRange { found: value, expected })
    }
}

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $low:expr, $high:expr, $expected:literal) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, JsonSchema)]
        #[serde(transparent)]
        #[schemars(extend("minimum" = $low, "maximum" = $high))]
        pub struct $name(f64);

        impl $name {
            /// Takes a number as this quantity, or says what is wrong with it.
            pub fn new(value: f64) -> Result<Self, OutOfRange> {
                within(value, $low, $high, $expected).map(Self)
            }

            /// The number, in this type's unit.
            pub const fn get(self) -> f64 {
                self.0
            }
        }

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: serde::Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
                Self::new(f64::deserialize(from)?).map_err(serde::de::Error::custom)
            }
        }
    };
}

quantity!(
    /// Luminance in cd/m², 0 to 1e6.
    Luminance, 0.0, 1e6, "a luminance from 0 to 1 000 000 cd/m2"
);
quantity!(
    /// Illuminance in lx, 0 to 1e6 (full sun is about 1e5).
    Illuminance, 0.0, 1e6, "an illuminance from 0 to 1 000 000 lx"
);
quantity!(
    /// Correlated colour temperature in kelvin, 1000 to 100 000.
    Kelvin, 1000.0, 100_000.0, "a colour temperature from 1000 to 100 000 K"
);
quantity!(
    /// Signed distance from the Planckian locus in CIE 1960 u,v (Ohno 2013): positive is greenish, negative pinkish.
    Duv, -0.1, 0.1, "a Duv from -0.1 to 0.1"
);
quantity!(
    /// A probability, 0 to 1.
    Probability, 0.0, 1.0, "a probability from 0 to 1"
);

impl Probability {
    /// Moves a number into 0..=1; what is not a number counts as certain, since a probability here is one of harm.
    pub fn clamped(value: f64) -> Self {
        Self(if value.is_nan() { 1.0 } else { value.clamp(0.0, 1.0) })
    }
}

/// CIE 1931 2° tristimulus values, on whatever scale they were given; not negative, Y above zero or all zero.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct Xyz {
    #[serde(rename = "X")]
    pub x: f64,
    #[serde(rename = "Y")]
    pub y: f64,
    #[serde(rename = "Z")]
    pub z: f64,
}

/// CIE 1931 chromaticity coordinates x, y.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct Xy {
    pub x: f64,
    pub y: f64,
}

/// CIE 1976 UCS chromaticity coordinates u′, v′ (ISO/CIE 11664-5).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct UvPrime {
    /// u′, a bare number.
    #[serde(rename = "u_prime")]
    pub u: f64,
    /// v′, a bare number.
    #[serde(rename = "v_prime")]
    pub v: f64,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_quantity_holds_nonsense() {
        assert!(Luminance::new(-0.1).is_err());
        assert!(Luminance::new(f64::NAN).is_err());
        assert!(Illuminance::new(f64::INFINITY).is_err());
        assert!(Probability::new(1.0 + 1e-9).is_err());
        assert_eq!(Kelvin::new(6504.0).unwrap().get(), 6504.0);
        let said = Luminance::new(-3.0).unwrap_err().to_string();
        assert_eq!(said, "-3 is not a luminance from 0 to 1 000 000 cd/m2");
    }
}
