//! SHA-256 digests (FIPS 180-4), written as 64 small hexadecimal digits.

use std::fmt;

use serde::{Deserialize, Deserializer, Serialize, Serializer};
use sha2::{Digest as _, Sha256};

/// A SHA-256 digest.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Digest([u8; 32]);

impl Digest {
    /// The digest of `bytes`.
    pub fn of(bytes: &[u8]) -> Self {
        Self::of_parts(&[bytes])
    }

    /// The digest of the parts set end to end.
    pub fn of_parts(parts: &[&[u8]]) -> Self {
        let mut hash = Sha256::new();
        for part in parts {
            hash.update(part);
        }
        Self(hash.finalize().into())
    }

    /// Takes 32 bytes as a digest; `None` for any other number of bytes.
    pub fn from_bytes(bytes: &[u8]) -> Option<Self> {
        bytes.try_into().ok().map(Self)
    }

    /// Reads 64 hexadecimal digits, in either case.
    pub fn parse(text: &str) -> Option<Self> {
        if text.len() != 64 || !text.bytes().all(|b| b.is_ascii_hexdigit()) {
            return None;
        }
        let mut bytes = [0; 32];
        for (byte, pair) in bytes.iter_mut().zip(text.as_bytes().chunks_exact(2)) {
            *byte = u8::from_str_radix(std::str::from_utf8(pair).ok()?, 16).ok()?;
        }
        Some(Self(bytes))
    }

    /// The 32 bytes.
    pub const fn as_bytes(&self) -> &[u8; 32] {
        &self.0
    }
}

impl fmt::Display for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

impl fmt::Debug for Digest {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

impl Serialize for Digest {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_str(self)
    }
}

impl<'de> Deserialize<'de> for Digest {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let text = String::deserialize(from)?;
        Self::parse(&text).ok_or_else(|| serde::de::Error::custom("expected a SHA-256 digest of 64 hexadecimal digits"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// FIPS 180-4 example "abc".
    const ABC: &str = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";

    #[test]
    fn digests_go_round_as_text() {
        let digest = Digest::of(b"abc");
        assert_eq!(digest, Digest::of_parts(&[b"a", b"", b"bc"]));
        assert_eq!(digest.to_string(), ABC);
        assert_eq!(Digest::parse(&ABC.to_uppercase()), Some(digest));
        for bad in ["", "ab", &ABC[1..], &ABC.replace('b', "g"), &format!("{ABC}0"), &format!("+{}", &ABC[1..])] {
            assert_eq!(Digest::parse(bad), None, "{bad:?}");
        }
    }
}
