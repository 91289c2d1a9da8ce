//! Signed notes: a text and who signed it, in the open form of C2SP "signed-note", with Ed25519 (RFC 8032).
//!
//! What lives here: keys as text, signing a text, reading a note, and saying by which known keys it is signed. What does not:
//! what the text says (`checkpoint`), where a key is kept and how it is made (`signing`), any random number.
//!
//! ```text
//! <text, one or more lines, each ended by a line feed>
//! <an empty line>
//! — <name> <base64 of: 4 bytes of key id ‖ signature of 64 bytes>
//! ```
//! More lines of signatures may follow; those of unknown keys count for nothing. What is signed is the text with its last
//! line feed and without the empty line; the last empty line of a note divides them. Key id: the first 4 bytes of
//! SHA-256(name ‖ 0x0A ‖ 0x01 ‖ public key). A verifier key is `<name>+<id, 8 hexadecimal digits>+<base64 of 0x01 ‖ public key>`.
//! Base64 is the standard alphabet of RFC 4648 §4 with its padding, and nothing else.

use std::fmt;

use base64::prelude::{BASE64_STANDARD, Engine as _};
use ed25519_dalek::{Signature as Ed25519, Signer as _, VerifyingKey};

use super::digest::Digest;

/// The algorithm's byte: Ed25519.
const ED25519: u8 = 0x01;
/// The longest note that is looked at, in bytes.
const MAX_BYTES: usize = 1 << 20;
/// The most signatures that are looked at.
const MAX_SIGNATURES: usize = 100;
const PRIVATE: &str = "PRIVATE+KEY+";

/// Why a text is no key or no note, or is not signed as it should be.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadNote {
    /// A text is no verifier key.
    #[error("this is no verifier key: expected name+id+key, as `twinwhite audit key` shows it")]
    Key,
    /// A text is no private key.
    #[error("this is no private key in the text form: expected PRIVATE+KEY+name+id+key")]
    PrivateKey,
    /// A name cannot be one.
    #[error("'{found}' cannot name a key: expected a text without blanks and plus signs")]
    Name {
        /// The name, cut to 80 characters.
        found: String,
    },
    /// A text cannot be signed: it is empty, does not end with a line feed, or holds control characters.
    #[error("this text cannot be signed: expected lines of text, the last one ended too")]
    Text,
    /// The whole is no note.
    #[error("this is no signed note: {0}")]
    Form(&'static str),
    /// Two different keys have one name and one id.
    #[error("two different keys go by {name}+{id}: this note cannot tell which signed it")]
    Ambiguous {
        /// Their name.
        name: String,
        /// Their id.
        id: KeyId,
    },
    /// A known key's signature does not fit the text.
    #[error("the signature of {name}+{id} does not fit the text: one of the two was changed")]
    Signature {
        /// The key's name.
        name: String,
        /// Its id.
        id: KeyId,
    },
    /// None of the known keys signed it.
    #[error("none of the keys that count has signed this note")]
    Unsigned,
}

/// The first 4 bytes of the digest over a key's name and the key.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct KeyId([u8; 4]);

impl KeyId {
    fn of(name: &str, key: &[u8; 32]) -> Self {
        let digest = Digest::of_parts(&[name.as_bytes(), b"\n", &[ED25519], key]);
        let [a, b, c, d, ..] = *digest.as_bytes();
        Self([a, b, c, d])
    }
}

impl fmt::Display for KeyId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

/// What somebody needs to check signatures: a name and a public key.
#[derive(Clone, PartialEq, Eq)]
pub struct VerifierKey {
    name: String,
    id: KeyId,
    key: VerifyingKey,
}

impl VerifierKey {
    fn of(name: &str, key: VerifyingKey) -> Result<Self, BadNote> {
        if !is_name(name) {
            return Err(BadNote::Name { found: name.chars().take(80).collect() });
        }
        Ok(Self { name: name.to_owned(), id: KeyId::of(name, key.as_bytes()), key })
    }

    /// Reads a key from its text.
    pub fn parse(text: &str) -> Result<Self, BadNote> {
        let (name, id, bytes) = key_parts(text).ok_or(BadNote::Key)?;
        let key = VerifyingKey::from_bytes(&bytes).map_err(|_| BadNote::Key)?;
        // A key of small order fits signatures that nobody made.
        if key.is_weak() {
            return Err(BadNote::Key);
        }
        let found = Self::of(name, key).map_err(|_| BadNote::Key)?;
        if found.id.to_string() == id { Ok(found) } else { Err(BadNote::Key) }
    }

    /// Whose key it is.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Its id.
    pub const fn id(&self) -> KeyId {
        self.id
    }
}

impl fmt::Display for VerifierKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}+{}+{}", self.name, self.id, encoded(&[&[ED25519], self.key.as_bytes()]))
    }
}

impl fmt::Debug for VerifierKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, f)
    }
}

/// A key that signs. Its secret is not shown by `Debug`.
pub struct SigningKey {
    secret: ed25519_dalek::SigningKey,
    verifier: VerifierKey,
}

impl SigningKey {
    /// The key that 32 secret bytes make (the seed of RFC 8032 §5.1.5), under a name.
    pub fn from_seed(name: &str, seed: &[u8; 32]) -> Result<Self, BadNote> {
        let secret = ed25519_dalek::SigningKey::from_bytes(seed);
        let verifier = VerifierKey::of(name, secret.verifying_key())?;
        Ok(Self { secret, verifier })
    }

    /// Reads a key from its text.
    pub fn parse(text: &str) -> Result<Self, BadNote> {
        let rest = text.strip_prefix(PRIVATE).ok_or(BadNote::PrivateKey)?;
        let (name, id, seed) = key_parts(rest).ok_or(BadNote::PrivateKey)?;
        let key = Self::from_seed(name, &seed).map_err(|_| BadNote::PrivateKey)?;
        if key.verifier.id.to_string() == id { Ok(key) } else { Err(BadNote::PrivateKey) }
    }

    /// The key as text, secret included: `PRIVATE+KEY+<name>+<id>+<base64 of 0x01 ‖ seed>`.
    pub fn to_secret_text(&self) -> String {
        let seed = encoded(&[&[ED25519], self.secret.as_bytes()]);
        format!("{PRIVATE}{}+{}+{seed}", self.verifier.name, self.verifier.id)
    }

    /// The key that checks what this one signs.
    pub const fn verifier(&self) -> &VerifierKey {
        &self.verifier
    }

    /// Signs a text and returns the whole note.
    pub fn sign(&self, text: &str) -> Result<String, BadNote> {
        let sound = text.len() > 1 && text.ends_with('\n') && text.len() < MAX_BYTES / 2 && !has_control(text);
        if !sound {
            return Err(BadNote::Text);
        }
        let signature = self.secret.sign(text.as_bytes()).to_bytes();
        let coded = encoded(&[&self.verifier.id.0, &signature]);
        Ok(format!("{text}\n\u{2014} {} {coded}\n", self.verifier.name))
    }
}

impl fmt::Debug for SigningKey {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "the private key of {}", self.verifier)
    }
}

/// One line of signature, not looked at more closely.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Signature {
    name: String,
    id: KeyId,
    bytes: Vec<u8>,
}

/// A note as read: nothing of it is believed before [`Note::signed_by`].
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Note {
    text: String,
    signatures: Vec<Signature>,
}

impl Note {
    /// Reads a note.
    pub fn parse(whole: &str) -> Result<Self, BadNote> {
        if whole.len() > MAX_BYTES {
            return Err(BadNote::Form("it is too long"));
        }
        if has_control(whole) {
            return Err(BadNote::Form("it holds control characters; lines must end with a line feed alone"));
        }
        let divide = whole.rfind("\n\n").ok_or(BadNote::Form("there is no empty line before the signatures"))?;
        let (text, rest) = whole.split_at(divide + 1);
        let lines = rest.strip_prefix('\n').and_then(|lines| lines.strip_suffix('\n'));
        let lines = lines.ok_or(BadNote::Form("there is no signature, or its line is cut off"))?;
        let mut signatures = Vec::new();
        for line in lines.split('\n') {
            if signatures.len() == MAX_SIGNATURES {
                return Err(BadNote::Form("it has too many signatures"));
            }
            signatures.push(signature(line).ok_or(BadNote::Form("a line of signature is not of that form"))?);
        }
        Ok(Self { text: text.to_owned(), signatures })
    }

    /// The text, its last line feed included.
    pub fn text(&self) -> &str {
        &self.text
    }

    /// The keys of `known` that signed it. Signatures of others count for nothing; one of a known key that does not fit,
    /// or that cannot be told from another known key's, condemns the note.
    pub fn signed_by<'k>(&self, known: &'k [VerifierKey]) -> Result<Vec<&'k VerifierKey>, BadNote> {
        let mut found: Vec<&VerifierKey> = Vec::new();
        for signature in &self.signatures {
            let mut keys = known.iter().filter(|key| key.name == signature.name && key.id == signature.id);
            let Some(key) = keys.next() else { continue };
            let (name, id) = (key.name.clone(), key.id);
            if keys.any(|other| other.key != key.key) {
                return Err(BadNote::Ambiguous { name, id });
            }
            if found.contains(&key) {
                continue;
            }
            let bytes = <[u8; 64]>::try_from(signature.bytes.as_slice()).ok();
            let fits = bytes
                .is_some_and(|bytes| key.key.verify_strict(self.text.as_bytes(), &Ed25519::from_bytes(&bytes)).is_ok());
            if !fits {
                return Err(BadNote::Signature { name, id });
            }
            found.push(key);
        }
        if found.is_empty() { Err(BadNote::Unsigned) } else { Ok(found) }
    }
}

fn signature(line: &str) -> Option<Signature> {
    let (name, coded) = line.strip_prefix("\u{2014} ")?.split_once(' ')?;
    let bytes = BASE64_STANDARD.decode(coded).ok().filter(|_| is_name(name))?;
    let (id, bytes) = bytes.split_first_chunk::<4>()?;
    (!bytes.is_empty()).then(|| Signature { name: name.to_owned(), id: KeyId(*id), bytes: bytes.to_vec() })
}

/// `name+id+base64 of the algorithm and 32 bytes`; base64 itself may hold plus signs, names not.
fn key_parts(text: &str) -> Option<(&str, &str, [u8; 32])> {
    let (name, rest) = text.split_once('+')?;
    let (id, coded) = rest.split_once('+')?;
    let bytes = BASE64_STANDARD.decode(coded).ok()?;
    match bytes.split_first() {
        Some((&ED25519, key)) => Some((name, id, key.try_into().ok()?)),
        _ => None,
    }
}

fn encoded(parts: &[&[u8]]) -> String {
    BASE64_STANDARD.encode(parts.concat())
}

fn is_name(name: &str) -> bool {
    !name.is_empty() && !name.contains(|c: char| c.is_whitespace() || c == '+' || c.is_control())
}

fn has_control(text: &str) -> bool {
    text.bytes().any(|byte| byte < 0x20 && byte != b'\n')
}

#[cfg(test)]
mod tests;
