//! Rows that do not match their leaf, found while all rows pass by in order.

use std::collections::BTreeSet;

use super::pruned::Replaced;
use crate::ledger::store::RawEntry;

/// Which entries do not match their leaf; a reading whose spectrum was taken out does, where a later entry says so.
///
/// For whoever shows entries and shall not show a changed one as if it were none. Whether the leaves lead to the root is for
/// [`verify`](super::verify()).
#[derive(Default)]
pub struct Unsound {
    altered: BTreeSet<i64>,
    replaced: Replaced,
}

impl Unsound {
    /// Takes the next entry.
    pub fn pass(&mut self, entry: &RawEntry) {
        let row = entry.as_row();
        let leaf = row.true_leaf(&mut Vec::with_capacity(row.body.len() + 128));
        if leaf.and_then(|leaf| self.replaced.pass(&row, leaf)).is_none() {
            self.altered.insert(row.seq);
        }
    }

    /// Whether entry `seq`, which passed, does not match; of a reading that lost its spectrum it is known when all have passed.
    pub fn has(&self, seq: i64) -> bool {
        self.altered.contains(&seq) || self.replaced.is_untold(seq)
    }
}
