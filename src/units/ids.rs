//! Identities: short names that are safe in a file name, a shell and a URL.

use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Deserializer, Serialize};

/// Why a text is no identity.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("'{found}' is not an id: expected 1 to 64 letters, digits, '-', '_' or '.', beginning with a letter or digit")]
pub struct BadId {
    /// The text as it was given, cut to 80 characters.
    pub found: String,
}

fn checked(text: &str) -> Result<String, BadId> {
    let good = |c: char| c.is_ascii_alphanumeric() || matches!(c, '-' | '_' | '.');
    let starts_well = text.starts_with(|c: char| c.is_ascii_alphanumeric());
    if starts_well && text.len() <= 64 && text.chars().all(good) {
        Ok(text.to_owned())
    } else {
        Err(BadId { found: text.chars().take(80).collect() })
    }
}

macro_rules! identity {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        ///
        /// 1 to 64 ASCII letters, digits, `-`, `_` or `.`, beginning with a letter or digit.
        #[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, JsonSchema)]
        #[serde(transparent)]
        #[schemars(extend("pattern" = "^[A-Za-z0-9][A-Za-z0-9._-]{0,63}$"))]
        pub struct $name(String);

        impl $name {
            /// Takes `text` as an identity, or says what is wrong with it.
            pub fn new(text: &str) -> Result<Self, BadId> {
                checked(text).map(Self)
            }

            /// The identity as text.
            pub fn as_str(&self) -> &str {
                &self.0
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.pad(&self.0)
            }
        }

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
                let text = String::deserialize(from)?;
                Self::new(&text).map_err(serde::de::Error::custom)
            }
        }
    };
}

identity!(
    /// Names one site: one ledger belongs to one site.
    SiteId
);
identity!(
    /// Names a thing that readings or events can be about: a display, a lamp, a paper or an instrument.
    DeviceId
);
identity!(
    /// Names one place where prints are judged.
    StationId
);
identity!(
    /// Names the instrument a reading was made with.
    InstrumentId
);
identity!(
    /// Names the person who did something.
    OperatorId
);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_are_safe_names() {
        for good in ["bay-lamp", "L1", "a.b_c-9", "7"] {
            assert_eq!(DeviceId::new(good).unwrap().as_str(), good);
        }
        for bad in ["", "-x", ".hidden", "a b", "a/b", "ü", "..", &"x".repeat(65)] {
            assert!(DeviceId::new(bad).is_err(), "{bad:?} must be refused");
        }
    }
}
