//! Entries whose body was replaced by a shorter one, and the later entries that say so.
//!
//! What an entry says of earlier ones counts only where it matches its own leaf. A replaced body that nothing names is told at the
//! end of the walk: if the entry that named it was changed or is missing, that one is the first to blame.

use std::collections::BTreeMap;

use crate::ledger::digest::Digest;
use crate::ledger::entry::{Body, Pruned, Seq};
use crate::ledger::store::RawRow;

#[derive(Default)]
pub(super) struct Replaced {
    /// Those that no entry has named so far.
    untold: BTreeMap<i64, Pruned>,
    told: u64,
}

impl Replaced {
    /// Takes the next entry, whose columns have the leaf `now`: the leaf that it has in the tree, or `None` if it was changed.
    pub(super) fn pass(&mut self, entry: &RawRow, now: Digest) -> Option<Digest> {
        if now.as_bytes().as_slice() != entry.leaf {
            return self.take(entry, now);
        }
        self.told_by(entry);
        Some(now)
    }

    /// Takes an entry that does not match its leaf, where it may be a reading whose spectrum was taken out: the leaf that it
    /// has in the tree, if a later entry names it so.
    fn take(&mut self, entry: &RawRow, now: Digest) -> Option<Digest> {
        let (seq, was) = (Seq::new(entry.seq)?, Digest::from_bytes(entry.leaf)?);
        match Body::parse(entry.kind, entry.body) {
            Ok(Body::ReadingTaken(taken)) if taken.spectrum_pruned.is_some() => {}
            _ => return None,
        }
        self.untold.insert(entry.seq, Pruned { seq, was, now });
        Some(was)
    }

    /// Takes an entry that matches its leaf, which may say of earlier ones that they were replaced.
    fn told_by(&mut self, entry: &RawRow) {
        if entry.kind != "spectra-pruned" {
            return;
        }
        let Ok(Body::SpectraPruned(pruned)) = Body::parse(entry.kind, entry.body) else { return };
        for one in &pruned.entries {
            if self.untold.get(&one.seq.get()) == Some(one) {
                self.untold.remove(&one.seq.get());
                self.told += 1;
            }
        }
    }

    /// The first that no entry has named.
    pub(super) fn untold(&self) -> Option<i64> {
        self.untold.keys().next().copied()
    }

    /// Whether this one was taken, and no entry has named it.
    pub(super) fn is_untold(&self, seq: i64) -> bool {
        self.untold.contains_key(&seq)
    }

    /// How many were named.
    pub(super) const fn count(&self) -> u64 {
        self.told
    }
}

#[cfg(test)]
mod tests;
