//! What is handed out of one entry: the entry, its proof, a signed head and the key, in one file that needs no store.
//!
//! What lives here: the file's form, making it from a store, and checking it against a head that somebody kept. What does not:
//! who may see an entry, and any file (`cli`). The form is described for writers of other checkers in DEVELOPERS.md.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::checkpoint::{BadCheckpoint, ShortCode, SignedHead};
use super::digest::Digest;
use super::entry::{Seq, write_bytes};
use super::error::LedgerError;
use super::note::{BadNote, Note, VerifierKey};
use super::proof::{self, BadProof, CannotProve};
use super::store::{Head, RawEntry, Store};
use super::tree;
use base64::prelude::{BASE64_STANDARD, Engine as _};

/// The largest certificate that is read, in bytes.
pub const MAX_BYTES: usize = 8 << 20;

/// A certificate: one entry of the ledger, and the proof that a signed head covers it. Whoever kept that head, or a later one,
/// can check it without the ledger.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Certificate {
    /// The form of this file: 1.
    #[schemars(range(min = 1, max = 1))]
    pub twinwhite_certificate: u32,
    /// The entry, each column as it is hashed.
    pub entry: CertifiedEntry,
    /// That the head covers the entry.
    pub proof: InclusionJson,
    /// The signed head: the whole signed note.
    pub head: String,
    /// The verifier key that checks the head's signature. Only the one that you hold from elsewhere proves who signed.
    pub key: String,
    /// The short code of the head.
    #[schemars(extend("pattern" = "^[0-9A-HJKMNP-TV-Z]{4}-[0-9A-HJKMNP-TV-Z]{4}-[0-9A-HJKMNP-TV-Z]{4}$"))]
    pub code: String,
    /// That the head and another one that somebody kept are of one history; absent where none was asked for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub consistency: Option<ConsistencyJson>,
}

/// An entry's columns, unchanged.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct CertifiedEntry {
    /// The site.
    pub site: String,
    /// Its number, from 1.
    #[schemars(range(min = 1))]
    pub seq: i64,
    /// When it was appended, RFC 3339 in UTC.
    pub time: String,
    /// The word of its kind.
    pub kind: String,
    /// What it says: JSON, as the exact text that is hashed.
    pub body: String,
}

/// A proof of inclusion, RFC 9162 §2.1.3.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct InclusionJson {
    /// How many entries the head covers.
    #[schemars(range(min = 1))]
    pub size: u64,
    /// The entry's place among them, from 0: its number less 1.
    pub index: u64,
    /// The hashes, base64, the one nearest the entry first.
    pub hashes: Vec<String>,
}

/// A proof of consistency, RFC 9162 §2.1.4, between the certificate's head and one of this size.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ConsistencyJson {
    /// How many entries the other head covers; it may be fewer or more than the certificate's.
    #[schemars(range(min = 1))]
    pub size: u64,
    /// The hashes, base64.
    pub hashes: Vec<String>,
}

/// Why a certificate could not be made.
#[derive(Debug, thiserror::Error)]
pub enum CannotCertify {
    /// The store could not be asked.
    #[error(transparent)]
    Ledger(#[from] LedgerError),
    /// There is no such entry, or no signed head covers it.
    #[error("there is no entry {seq} under a signed head; the newest signed head covers {size}")]
    NoEntry {
        /// The number asked for.
        seq: i64,
        /// How many entries the newest signed head covers, or 0.
        size: i64,
    },
    /// What the entry said is gone; only its leaf is in the tree.
    #[error(
        "entry {seq} lost its spectrum, and entry {by} says so: it stands in the tree as it was, but can be shown only from a backup or \
         a certificate made before"
    )]
    Pruned {
        /// The entry.
        seq: i64,
        /// The entry that says so.
        by: Seq,
    },
    /// The entry's row does not give its leaf.
    #[error(
        "entry {seq} does not match its leaf: one of the two was changed since it was written, and nothing can be proven of it; \
         `twinwhite audit verify` says more"
    )]
    Altered {
        /// The entry.
        seq: i64,
    },
    /// The stored hashes do not lead to the root.
    #[error(
        "the stored hashes of the tree do not lead to its root: `twinwhite audit verify` says whether an entry was changed; where none was, \
         `twinwhite rebuild` makes the hashes anew"
    )]
    Stale,
    /// The head that somebody kept is not one of this ledger.
    #[error("the head that was given is not one of this ledger: {0}")]
    Foreign(String),
}

impl From<CannotProve<LedgerError>> for CannotCertify {
    fn from(error: CannotProve<LedgerError>) -> Self {
        match error {
            CannotProve::Store(error) => Self::Ledger(error),
            CannotProve::Outside { .. } => Self::Stale,
        }
    }
}

/// Why a certificate proves nothing.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadCertificate {
    /// It is no certificate.
    #[error("this is no certificate: {0}")]
    Form(String),
    /// The entry's columns cannot be those of an entry.
    #[error("the entry in it cannot be one: a column holds a line feed, or its number does not fit its place")]
    Entry,
    /// The proof does not hold.
    #[error("the entry is not the one that was signed for, or the proof was changed: {0}")]
    Inclusion(BadProof),
    /// The signed head in it is none.
    #[error("the signed head in it is none: {0}")]
    Head(BadCheckpoint),
    /// The head's signature does not hold.
    #[error("the head in it is not signed with the key in it: {0}")]
    Signature(BadNote),
    /// Parts of it name different sites, sizes or codes.
    #[error("its parts do not agree: {0}")]
    Parts(&'static str),
    /// The head that was kept is of another ledger.
    #[error("the head that you hold is of '{held}', the certificate of '{own}': they are of different ledgers")]
    Origin {
        /// The origin of the kept head.
        held: String,
        /// The origin in the certificate.
        own: String,
    },
    /// The certificate's head is not the one that was kept, though of the same size.
    #[error(
        "the head that you hold has the root {held}, the certificate's {own}, both of {size} entries: one of two histories is forged"
    )]
    Forked {
        /// How many entries.
        size: i64,
        /// The root that was kept.
        held: Digest,
        /// The root in the certificate.
        own: Digest,
    },
    /// The short code that was kept is not that of the certificate's head.
    #[error("the code that you hold is {held}, that of the certificate's head is {own}: they are not the same head")]
    Code {
        /// The code that was kept.
        held: ShortCode,
        /// The certificate's.
        own: ShortCode,
    },
    /// The head that was kept is of another size, and nothing connects the two.
    #[error(
        "the head that you hold is of {held} entries, the certificate's of {own}, and nothing in the certificate connects them: \
         have it made anew with `twinwhite audit prove {seq} --head FILE`, FILE being your head{}",
        if held < seq { too_old(*seq) } else { String::new() }
    )]
    Unconnected {
        /// The size of the kept head.
        held: i64,
        /// The size of the certificate's head.
        own: i64,
        /// The entry.
        seq: i64,
    },
    /// The proof of consistency does not hold.
    #[error("the head that you hold and the certificate's are not of one history: {0}")]
    Consistency(BadProof),
    /// The key that was kept is not the certificate's.
    #[error(
        "the key that you hold is not the one in the certificate: whoever signed this is somebody else, or the key was changed since"
    )]
    Key,
}

fn too_old(seq: i64) -> String {
    format!(
        ". Your head is older than the entry: connected with it, the certificate would show that its history continues yours, and not \
         that entry {seq} was always as it says; only a head of {seq} entries or more fixes it"
    )
}

/// What somebody holds from elsewhere to check a certificate against.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Kept {
    /// A signed head.
    Head(SignedHead),
    /// A short code.
    Code(ShortCode),
}

impl Kept {
    /// Whether it fixes entry `seq` of a certificate that was found right against it: a head of fewer entries was signed before the entry
    /// was written, and fits any entry that came after. The code is that of the certificate's own head.
    pub const fn covers(&self, seq: i64) -> bool {
        match self {
            Self::Head(held) => held.checkpoint.head.size >= seq,
            Self::Code(_) => true,
        }
    }
}

impl Certificate {
    /// Makes the certificate of entry `seq` under the signed head `under`, which must cover it; connected with `kept`,
    /// a signed head of the same ledger, where that is of another size. What is made was checked.
    pub fn make(
        store: &Store,
        seq: Seq,
        under: &SignedHead,
        key: &VerifierKey,
        kept: Option<&SignedHead>,
    ) -> Result<Self, CannotCertify> {
        let head = under.checkpoint.head;
        let size = head.size.cast_unsigned();
        let missing = CannotCertify::NoEntry { seq: seq.get(), size: head.size };
        if seq.get() > head.size {
            return Err(missing);
        }
        if let Some(by) = store.pruned_by(seq)? {
            return Err(CannotCertify::Pruned { seq: seq.get(), by });
        }
        let Some(row) = store.raw_entry(seq)? else { return Err(missing) };
        if !row.matches_leaf() {
            return Err(CannotCertify::Altered { seq: seq.get() });
        }
        let RawEntry { site, seq, time, kind, body, .. } = row;
        let index = (seq - 1).cast_unsigned();
        let hashes = proof::inclusion(store, index, size)?;
        let consistency = match kept {
            Some(kept) if kept.checkpoint.head.size != head.size => Some(connect(store, head, kept.checkpoint.head)?),
            _ => None,
        };
        let made = Self {
            twinwhite_certificate: 1,
            entry: CertifiedEntry { site, seq, time, kind, body },
            proof: InclusionJson { size, index, hashes: coded(&hashes) },
            head: under.note.clone(),
            key: key.to_string(),
            code: under.code.to_string(),
            consistency,
        };
        let kept = kept.map(|kept| Kept::Head(kept.clone()));
        match made.check(kept.as_ref()) {
            Ok(_) => Ok(made),
            Err(BadCertificate::Inclusion(_)) => Err(CannotCertify::Stale),
            Err(other) if kept.is_some() => Err(CannotCertify::Foreign(other.to_string())),
            Err(other) => Err(LedgerError::Damaged { what: other.to_string() }.into()),
        }
    }

    /// Reads a certificate.
    pub fn parse(text: &str) -> Result<Self, BadCertificate> {
        if text.len() > MAX_BYTES {
            return Err(BadCertificate::Form("it is too long".to_owned()));
        }
        let read: Self = serde_json::from_str(text).map_err(|bad| BadCertificate::Form(bad.to_string()))?;
        match read.twinwhite_certificate {
            1 => Ok(read),
            other => Err(BadCertificate::Form(format!("its form is {other}, this program knows 1"))),
        }
    }

    /// The leaf of the entry as it stands here.
    fn leaf(&self) -> Result<Digest, BadCertificate> {
        let CertifiedEntry { site, seq, time, kind, body } = &self.entry;
        let mut bytes = Vec::with_capacity(body.len() + 128);
        let written = write_bytes(&mut bytes, site, *seq, time, kind, body.as_bytes());
        let in_place = *seq >= 1 && self.proof.index == (*seq - 1).cast_unsigned();
        if written && in_place { Ok(tree::leaf(&bytes)) } else { Err(BadCertificate::Entry) }
    }

    /// Checks that all of it agrees, and with what somebody kept elsewhere. `None` shows inner agreement only, which whoever
    /// holds any key can bring about. Returns the head in it.
    pub fn check(&self, kept: Option<&Kept>) -> Result<SignedHead, BadCertificate> {
        let leaf = self.leaf()?;
        let head = SignedHead::parse(&self.head).map_err(BadCertificate::Head)?;
        let key = VerifierKey::parse(&self.key).map_err(BadCertificate::Signature)?;
        let note = Note::parse(&self.head).map_err(BadCertificate::Signature)?;
        note.signed_by(std::slice::from_ref(&key)).map_err(BadCertificate::Signature)?;
        let Head { size, root } = head.checkpoint.head;
        if i64::try_from(self.proof.size) != Ok(size) {
            return Err(BadCertificate::Parts("the proof is for another number of entries than the head covers"));
        }
        let hashes = decoded(&self.proof.hashes)?;
        proof::check_inclusion(&leaf, self.proof.index, self.proof.size, &hashes, &root)
            .map_err(BadCertificate::Inclusion)?;
        let origin = &head.checkpoint.origin;
        if key.name() != origin {
            return Err(BadCertificate::Parts("the key goes by another name than the head"));
        }
        if !origin.starts_with(&format!("twinwhite/{}/", self.entry.site)) {
            return Err(BadCertificate::Parts("the head is of another site than the entry"));
        }
        if ShortCode::parse(&self.code) != Some(head.code) {
            return Err(BadCertificate::Parts("the short code is not that of the head"));
        }
        match kept {
            None => {}
            Some(Kept::Code(held)) if *held == head.code => {}
            Some(Kept::Code(held)) => return Err(BadCertificate::Code { held: *held, own: head.code }),
            Some(Kept::Head(held)) => self.check_against(&head, held, &key)?,
        }
        Ok(head)
    }

    fn check_against(&self, own: &SignedHead, held: &SignedHead, key: &VerifierKey) -> Result<(), BadCertificate> {
        let (own, held_at) = (&own.checkpoint, &held.checkpoint);
        if held_at.origin != own.origin {
            return Err(BadCertificate::Origin { held: held_at.origin.clone(), own: own.origin.clone() });
        }
        // Signed by the same key it must fit; by one of before or after a change of keys, it is taken as what was kept.
        match Note::parse(&held.note).and_then(|note| note.signed_by(std::slice::from_ref(key)).map(|_| ())) {
            Ok(()) | Err(BadNote::Unsigned) => {}
            Err(bad) => return Err(BadCertificate::Signature(bad)),
        }
        let (own, held) = (own.head, held_at.head);
        if own.size == held.size {
            let (size, held, own) = (own.size, held.root, own.root);
            return if held == own { Ok(()) } else { Err(BadCertificate::Forked { size, held, own }) };
        }
        let unconnected = BadCertificate::Unconnected { held: held.size, own: own.size, seq: self.entry.seq };
        let connection = self.consistency.as_ref().filter(|way| i64::try_from(way.size) == Ok(held.size));
        let Some(connection) = connection else { return Err(unconnected) };
        let (small, large) = if held.size < own.size { (held, own) } else { (own, held) };
        let hashes = decoded(&connection.hashes)?;
        let (from, to) = (small.size.cast_unsigned(), large.size.cast_unsigned());
        proof::check_consistency(from, &small.root, to, &large.root, &hashes).map_err(BadCertificate::Consistency)
    }
}

fn connect(store: &Store, own: Head, kept: Head) -> Result<ConsistencyJson, CannotCertify> {
    let (small, large) = if kept.size < own.size { (kept, own) } else { (own, kept) };
    if small.size < 1 || large.size > store.head()?.size {
        let why = format!("it covers {} entries, and this ledger has {}", kept.size, store.head()?.size);
        return Err(CannotCertify::Foreign(why));
    }
    let hashes = proof::consistency(store, small.size.cast_unsigned(), large.size.cast_unsigned())?;
    Ok(ConsistencyJson { size: kept.size.cast_unsigned(), hashes: coded(&hashes) })
}

fn coded(hashes: &[Digest]) -> Vec<String> {
    hashes.iter().map(|hash| BASE64_STANDARD.encode(hash.as_bytes())).collect()
}

fn decoded(hashes: &[String]) -> Result<Vec<Digest>, BadCertificate> {
    if hashes.len() > proof::LONGEST {
        return Err(BadCertificate::Inclusion(BadProof::Length { found: hashes.len() }));
    }
    let each = hashes.iter().map(|text| BASE64_STANDARD.decode(text).ok().and_then(|bytes| Digest::from_bytes(&bytes)));
    each.collect::<Option<Vec<_>>>().ok_or_else(|| BadCertificate::Form("a hash is not 32 bytes in base64".to_owned()))
}

#[cfg(test)]
mod tests;
