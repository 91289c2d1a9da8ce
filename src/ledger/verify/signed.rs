//! Which key counted when, as the entries say it, and whether a head was signed with it.

use crate::ledger::checkpoint::{Checkpoint, origin};
use crate::ledger::digest::Digest;
use crate::ledger::entry::keys::handover;
use crate::ledger::entry::{Body, KeyLost, KeyMade, KeyRotated};
use crate::ledger::note::{BadNote, Note, VerifierKey};
use crate::ledger::store::{Head, RawRow};
use crate::units::SiteId;

/// What the entries so far say of keys.
#[derive(Default)]
pub(super) struct Keys {
    /// The ledger's origin, once its first entry was seen.
    origin: Option<String>,
    /// The key that counts now.
    now: Option<VerifierKey>,
}

impl Keys {
    /// Takes one entry more, with the leaf made anew from it; says what is wrong with an entry about keys.
    pub(super) fn step(&mut self, entry: &RawRow, leaf: &Digest) -> Result<(), String> {
        if entry.seq == 1 {
            self.origin = SiteId::new(entry.site).ok().map(|site| origin(&site, leaf));
        }
        if !entry.kind.starts_with("key-") {
            return Ok(());
        }
        let body = Body::parse(entry.kind, entry.body).map_err(|bad| bad.to_string())?;
        let Some(text) = body.names_key() else { return Ok(()) };
        let key = VerifierKey::parse(text).map_err(|bad| bad.to_string())?;
        let own = self.origin.clone().unwrap_or_default();
        let before = self.now.replace(key.clone());
        if key.name() != own {
            return Err(format!("the key is that of '{}', not of '{own}'", key.name()));
        }
        match (&body, before) {
            (Body::KeyMade(KeyMade { .. }), None) => Ok(()),
            (Body::KeyMade(_), Some(_)) => {
                Err("there was one already, which it neither replaces nor gives up".to_owned())
            }
            (_, None) => Err("there was none before that it could follow".to_owned()),
            (Body::KeyLost(KeyLost { lost, .. }), Some(before)) if *lost != before.to_string() => {
                Err("it gives up another key than the one that counted".to_owned())
            }
            (Body::KeyRotated(KeyRotated { note, .. }), Some(before)) => {
                let named = Note::parse(note).and_then(|note| {
                    note.signed_by(std::slice::from_ref(&before))?;
                    Ok(note.text() == handover(&own, text))
                });
                match named {
                    Ok(true) => Ok(()),
                    Ok(false) => Err("the key before it has signed for another one".to_owned()),
                    Err(bad) => Err(format!("the key before it has not signed for it: {bad}")),
                }
            }
            _ => Ok(()),
        }
    }

    /// Whether `note` is a signed head of this ledger that says what `head` says, signed with the key that counts now.
    pub(super) fn check(&self, note: &str, head: Head) -> Result<(), String> {
        let note = Note::parse(note).map_err(|bad| bad.to_string())?;
        let said = Checkpoint::parse(note.text()).map_err(|bad| bad.to_string())?;
        if said.head != head {
            return Err("its text names another size or root than it is kept under".to_owned());
        }
        if Some(&said.origin) != self.origin.as_ref() {
            return Err(format!("it is of '{}', which is another ledger", said.origin));
        }
        let Some(key) = &self.now else { return Err("the entries name no key by then".to_owned()) };
        match note.signed_by(std::slice::from_ref(key)) {
            Ok(_) => Ok(()),
            Err(BadNote::Unsigned) => {
                Err(format!("it is not signed with {}+{}, the key that counted then", key.name(), key.id()))
            }
            Err(other) => Err(other.to_string()),
        }
    }
}
