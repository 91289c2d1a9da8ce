//! Signing the ledger's heads: the key on disk, the signature inside a transaction, the files that heads are handed on as.
//!
//! What lives here: [`sign_head`], which whoever records something that must be provable at once calls inside their own
//! transaction; making, rotating and giving up the key, each an entry; and [`files`]. What does not: the forms of notes
//! and heads (`ledger::note`, `ledger::checkpoint`), and when the daemon signs (`daemon`).
//!
//! **What it is worth.** A signed head that somebody outside keeps fixes every entry before it. Who holds the key and every copy
//! of every head can write another history and sign that; no check of one ledger finds it.

pub mod files;
mod key_file;

use std::path::PathBuf;

use crate::config::Config;
use crate::evaluate::append;
use crate::ledger::checkpoint::{BadCheckpoint, Checkpoint, SignedHead};
use crate::ledger::entry::keys::handover;
use crate::ledger::entry::{KeyLost, KeyMade, KeyRotated};
use crate::ledger::note::{BadNote, SigningKey, VerifierKey};
use crate::ledger::{Body, Ledger, LedgerError, Seq, Tx};
use crate::pipeline::come_into_force;
use crate::reading::Operator;
use crate::units::Time;
pub use key_file::KeyFileError;

/// Why no head could be signed.
#[derive(Debug, thiserror::Error)]
pub enum SigningError {
    /// The ledger failed.
    #[error(transparent)]
    Ledger(#[from] LedgerError),
    /// The key's file cannot be read or written.
    #[error(transparent)]
    File(#[from] KeyFileError),
    /// The ledger has no entry yet.
    #[error("the ledger has no entry yet, so there is nothing to sign")]
    Empty,
    /// The ledger names a key whose file is not there.
    #[error(
        "the key {id} that signs for this ledger is not in {}: put your copy of it back there, or say \
         `twinwhite audit key --lost REASON`, which makes a new one and tells so in the ledger", path.display()
    )]
    Missing {
        /// The key's id.
        id: String,
        /// Where its file should be.
        path: PathBuf,
    },
    /// The file holds another key than the one that the ledger names.
    #[error(
        "{} holds the key {found}, but this ledger is signed with {id}: put your copy of the right one back, or say \
         `twinwhite audit key --lost REASON`, which makes a new one and tells so in the ledger", path.display()
    )]
    Another {
        /// The key that the ledger names.
        id: String,
        /// The key in the file.
        found: String,
        /// The file.
        path: PathBuf,
    },
    /// There is no key that could be lost.
    #[error("this ledger has no key yet, so none is lost; `twinwhite audit head` makes one")]
    NoKey,
    /// A text of our own is not of its form.
    #[error("what was to be signed is not of its form: {0}")]
    Form(#[from] BadNote),
    /// A head of our own is not of its form.
    #[error("what was signed is not of its form: {0}")]
    Head(#[from] BadCheckpoint),
}

/// Signs the head as it stands in this transaction, entries appended in it included, and keeps it: the note and its short
/// code. The first call makes the key. A head that is signed already is returned as it is.
pub fn sign_head(tx: &mut Tx, config: &Config) -> Result<SignedHead, SigningError> {
    let key = ready(tx, config)?;
    sign_with(tx, &key)
}

fn sign_with(tx: &mut Tx, key: &SigningKey) -> Result<SignedHead, SigningError> {
    let head = tx.head_now();
    if let Some(newest) = tx.newest_signed_head()?
        && newest.head == head
    {
        return Ok(SignedHead::parse(&newest.note)?);
    }
    let origin = tx.log_origin()?.ok_or(SigningError::Empty)?;
    let text = Checkpoint { origin, head, time: Some(tx.now()) }.text();
    let signed = SignedHead::parse(&key.sign(&text)?)?;
    tx.put_signed_head(&signed)?;
    Ok(signed)
}

/// The key that the ledger names, from its file; made where none was named yet.
fn ready(tx: &mut Tx, config: &Config) -> Result<SigningKey, SigningError> {
    let path = &config.signing.key;
    let origin = tx.log_origin()?.ok_or(SigningError::Empty)?;
    let Some(named) = tx.signing_key()? else {
        // A file may be left of an attempt whose transaction failed.
        let key = match key_file::read(path)? {
            Some(key) if key.verifier().name() == origin => key,
            Some(key) => {
                return Err(
                    KeyFileError::OtherLedger { path: path.clone(), name: key.verifier().name().to_owned() }.into()
                );
            }
            None => key_file::make(path, &origin)?,
        };
        append(tx, config, Body::KeyMade(KeyMade { key: key.verifier().to_string() }))?;
        return Ok(key);
    };
    let found = match key_file::read(path)? {
        Some(key) if key.verifier().to_string() == named => return Ok(key),
        other => other.map(|key| key.verifier().id().to_string()),
    };
    // A change of keys that was committed but not carried to its end.
    if let Some(next) = key_file::read(&key_file::next_to(path))?
        && next.verifier().to_string() == named
    {
        key_file::take_over(path)?;
        return Ok(next);
    }
    let id = VerifierKey::parse(&named).map_or(named.clone(), |key| key.id().to_string());
    let path = path.clone();
    Err(match found {
        Some(found) => SigningError::Another { id, found, path },
        None => SigningError::Missing { id, path },
    })
}

/// How a key is replaced.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Change {
    /// The old one is there and signs for the new one.
    Rotate,
    /// The old one is gone, or others may have it.
    Lost,
}

/// Replaces the key and signs a head with the new one: one transaction.
pub fn replace_key(
    ledger: &mut Ledger,
    config: &Config,
    change: Change,
    reason: &str,
    operator: Option<&Operator>,
    now: Time,
) -> Result<(VerifierKey, SignedHead), SigningError> {
    let path = &config.signing.key;
    let changed = ledger.write(now, |tx| {
        come_into_force(tx, config)?;
        let origin = tx.log_origin()?.ok_or(SigningError::Empty)?;
        let reason = reason.to_owned();
        let (operator, operator_by) = (operator.map(|who| who.id.clone()), operator.map(|who| who.by));
        let old = match change {
            Change::Rotate => Some(ready(tx, config)?),
            Change::Lost => None,
        };
        let lost = tx.signing_key()?.ok_or(SigningError::NoKey)?;
        let new = key_file::make_anew(&key_file::next_to(path), &origin)?;
        let key = new.verifier().to_string();
        let body = match old {
            Some(old) => Body::KeyRotated(KeyRotated {
                note: old.sign(&handover(&origin, &key))?,
                key,
                reason,
                operator,
                operator_by,
            }),
            None => Body::KeyLost(KeyLost { key, lost, reason, operator, operator_by }),
        };
        append(tx, config, body)?;
        Ok::<_, SigningError>((new.verifier().clone(), sign_with(tx, &new)?))
    })?;
    key_file::take_over(path)?;
    Ok(changed)
}

/// One entry about a key, for people: its number, when it was written, the verifier key, and what it says.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)]
pub struct KeyEvent {
    pub seq: Seq,
    pub time: Time,
    pub key: String,
    pub body: Body,
}

/// All keys that the ledger ever named, the oldest first.
pub fn key_events(ledger: &Ledger) -> Result<Vec<KeyEvent>, LedgerError> {
    let mut events = Vec::new();
    for (seq, key) in ledger.signing_keys()? {
        if let Some(entry) = ledger.entry(seq)? {
            events.push(KeyEvent { seq, time: entry.time, key, body: entry.body });
        }
    }
    Ok(events)
}
