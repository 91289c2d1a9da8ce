//! The check that believes nothing but the entries themselves.
//!
//! What lives here: a walk over all entries from the first, which makes every leaf and the root anew and compares them with
//! what is kept, with every signed head in the store, and with any head remembered elsewhere. What is signed must be signed
//! with the key that the entries name at that size (`signed`). What does not live here: whether the projections fit the
//! entries (`rebuild`).
//!
//! A reading whose spectrum was taken out stands in the tree with the leaf that it had, if a later entry names both that leaf and
//! what stands there now (`pruned`).
//!
//! What it finds: a row changed, taken out, put in, moved or doubled; a tail cut off; a head changed. What no check of one
//! file can find: a ledger rewritten as a whole, heads included, by somebody who holds the key. For that, a head must be
//! remembered elsewhere and given here.

mod pruned;
mod rows;
mod signed;
mod unsound;

use std::collections::BTreeSet;

use super::checkpoint::SignedHead;
use super::digest::Digest;
use super::error::LedgerError;
use super::store::{Head, RawRow, SignedRow, Store, is_kept};
use super::tree::Frontier;
use pruned::Replaced;
use signed::Keys;
pub use unsound::Unsound;

/// What is wrong with a ledger.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Fault {
    /// A number has no entry.
    #[error("entry {0} is missing")]
    Missing(i64),
    /// An entry has a number that none can have.
    #[error("there is an entry {0}, but they begin at 1")]
    Below(i64),
    /// A number has two entries.
    #[error("there are two entries {0}")]
    Twice(i64),
    /// A column cannot be one of an entry, or belongs to another site.
    #[error("entry {0} is none: it names another site or holds a line feed")]
    NoEntry(i64),
    /// The kept leaf is not the hash of the other columns.
    #[error("entry {0} does not match its leaf: one of the two was changed")]
    Leaf(i64),
    /// A reading without its spectrum, of which no entry says that it was taken out, or not so.
    #[error(
        "entry {0} does not match its leaf, and no later entry says that its spectrum was taken out: one of them was changed"
    )]
    Untold(i64),
    /// The store could not be read any further.
    #[error("entry {0} cannot be read: {1}")]
    Unreadable(i64, String),
    /// There are entries that the head does not cover.
    #[error("entry {0} is not covered by the head: it was not appended by this program")]
    PastHead(i64),
    /// All leaves match, but they do not lead to the kept head.
    #[error(
        "every entry matches its leaf, but together they have the root {found}, not the head's {expected}: an entry and its leaf, or the head, were rewritten"
    )]
    Root {
        /// The root of the entries.
        found: Digest,
        /// The root in the head.
        expected: Digest,
    },
    /// The head's edge is not that of the entries.
    #[error("the edge of the hash tree kept with the head is not that of the entries")]
    Edge,
    /// There is no head.
    #[error("there is no head")]
    NoHead,
    /// A remembered head is not one that this ledger ever had.
    #[error(
        "up to entry {size} the root was remembered as {expected}, but is {found}: the ledger was rewritten since, somewhere from entry {} to {size}",
        agreed + 1
    )]
    Remembered {
        /// How many entries the remembered head covers.
        size: i64,
        /// The size of the last head before it that is right, or 0.
        agreed: i64,
        /// The root of that many entries.
        found: Digest,
        /// The root remembered.
        expected: Digest,
    },
    /// A signed head in the store is damaged, is another ledger's, or was not signed with the key that counted then.
    #[error("the signed head up to entry {size} is not to be believed: {why}")]
    SignedHead {
        /// How many entries it covers.
        size: i64,
        /// What is wrong with it.
        why: String,
    },
    /// An entry about the key that signs heads is not what it must be.
    #[error("entry {seq} names a key, but {why}")]
    Key {
        /// The entry.
        seq: i64,
        /// What is wrong with it.
        why: String,
    },
}

impl Fault {
    /// Whether it says that the ledger never had this head.
    pub fn contradicts(&self, remembered: Head) -> bool {
        matches!(self, Self::Remembered { size, expected, .. } if *size == remembered.size && *expected == remembered.root)
    }

    /// Whether it is about a remembered or signed head of this size.
    pub const fn is_about_head(&self, of: i64) -> bool {
        matches!(self, Self::Remembered { size, .. } | Self::SignedHead { size, .. } if *size == of)
    }
}

/// What the check found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Verification {
    /// Whether all is well.
    pub ok: bool,
    /// How many entries there are.
    pub entries: i64,
    /// Their root, made anew.
    pub root: Digest,
    /// The lowest number that is missing, does not match its leaf, or has no right to be there; none if the fault lies in the
    /// head, or cannot be told to lie in one entry.
    pub first_bad: Option<i64>,
    /// What was found first.
    pub fault: Option<Fault>,
    /// How many readings are there without the spectrum that they came with.
    pub pruned: u64,
    /// Whether the stored subtree hashes are those of the entries. They are a cache that `rebuild` makes anew, and no
    /// part of `ok`.
    pub subtrees_ok: bool,
    /// How many different signed heads were held against the entries.
    pub signed_heads: usize,
}

/// Walks all entries of `store`, compares them with its head and with the heads `remembered` elsewhere.
///
/// Call it inside [`super::Ledger::read`] where others may append meanwhile. Errors only where the store cannot be asked at
/// all; damage is what it reports.
pub fn verify(store: &Store, remembered: &[Head]) -> Result<Verification, LedgerError> {
    verify_both(store, remembered, &[])
}

/// The same with signed heads that were kept elsewhere: their signatures count too.
pub fn verify_against(store: &Store, outside: &[SignedHead]) -> Result<Verification, LedgerError> {
    verify_both(store, &[], outside)
}

/// The same with heads of both kinds.
pub fn verify_both(store: &Store, remembered: &[Head], outside: &[SignedHead]) -> Result<Verification, LedgerError> {
    let held = outside.iter().map(|signed| Held { head: signed.checkpoint.head, note: Some(signed.note.clone()) });
    check(store, remembered.iter().map(|head| Held { head: *head, note: None }).chain(held).collect())
}

fn check(store: &Store, mut held: Vec<Held>) -> Result<Verification, LedgerError> {
    let mut unreadable = None;
    match store.signed_heads(-1, u32::MAX) {
        Ok(kept) => held.extend(kept.into_iter().map(|SignedRow { head, note, .. }| Held { head, note: Some(note) })),
        Err(LedgerError::Damaged { what } | LedgerError::Broken { what }) => unreadable = Some(what),
        Err(other) => return Err(other),
    }
    let mut walk = Walk::new(store.site().as_str(), held);
    if let Some(why) = unreadable {
        walk.note(Fault::SignedHead { size: 0, why }, None);
    }
    match rows::each(store, |entry| walk.step(entry)) {
        Ok(()) => {}
        Err(LedgerError::Damaged { what } | LedgerError::Broken { what }) => {
            walk.note(Fault::Unreadable(walk.next, what), Some(walk.next));
        }
        Err(other) => return Err(other),
    }
    let kept = match store.kept_head() {
        Ok(kept) => Some(kept),
        Err(LedgerError::Damaged { .. }) => None,
        Err(other) => return Err(other),
    };
    let subtrees = match store.kept_subtrees() {
        Ok(kept) => kept,
        Err(LedgerError::Damaged { .. } | LedgerError::Broken { .. }) => Vec::new(),
        Err(other) => return Err(other),
    };
    Ok(walk.end(kept, &subtrees))
}

/// A head that the entries must lead to, from wherever it comes.
#[derive(Debug, Clone)]
struct Held {
    head: Head,
    /// As it was signed.
    note: Option<String>,
}

impl Held {
    /// What was signed, by which one head kept in two places is known.
    fn signed_text(&self) -> Option<&str> {
        let note = self.note.as_deref()?;
        Some(note.rsplit_once("\n\n").map_or(note, |(text, _)| text))
    }
}

/// The walk itself: knows no store.
struct Walk<'a> {
    site: &'a str,
    /// Sorted by size, and how many were compared.
    held: Vec<Held>,
    compared: usize,
    /// The size of the last one that was right.
    agreed: i64,
    keys: Keys,
    /// Entries whose body was replaced, until one says so.
    replaced: Replaced,
    /// Roots of the subtrees whose roots are kept.
    subtrees: Vec<(u32, i64, Digest)>,
    /// The number the next entry must have.
    next: i64,
    entries: i64,
    tree: Frontier,
    /// Room for the bytes of one entry.
    bytes: Vec<u8>,
    first_bad: Option<i64>,
    fault: Option<Fault>,
}

impl<'a> Walk<'a> {
    fn new(site: &'a str, mut held: Vec<Held>) -> Self {
        held.sort_by_key(|held| held.head.size);
        let mut walk = Self {
            site,
            held,
            compared: 0,
            agreed: 0,
            keys: Keys::default(),
            replaced: Replaced::default(),
            subtrees: Vec::new(),
            next: 1,
            entries: 0,
            tree: Frontier::new(),
            bytes: Vec::new(),
            first_bad: None,
            fault: None,
        };
        walk.recall();
        walk
    }

    /// Keeps the first fault, since whatever comes after it may be its consequence, and the first number to blame.
    fn note(&mut self, fault: Fault, at: Option<i64>) {
        self.fault.get_or_insert(fault);
        self.first_bad = self.first_bad.or(at);
    }

    fn step(&mut self, entry: &RawRow) {
        let seq = entry.seq;
        self.entries += 1;
        if seq < 1 {
            self.note(Fault::Below(seq), Some(seq));
        } else if seq > self.next {
            self.note(Fault::Missing(self.next), Some(self.next));
        } else if seq < self.next {
            self.note(Fault::Twice(seq), Some(seq));
        }
        self.next = self.next.max(seq.saturating_add(1));
        let found = entry.true_leaf(&mut self.bytes).filter(|_| entry.site == self.site);
        let leaf = match found {
            None => {
                self.note(Fault::NoEntry(seq), Some(seq));
                Digest::of(b"")
            }
            Some(found) => self.replaced.pass(entry, found).unwrap_or_else(|| {
                self.note(Fault::Leaf(seq), Some(seq));
                found
            }),
        };
        let subtrees = &mut self.subtrees;
        self.tree.push_telling(leaf, |level, index, root| {
            if is_kept(level) {
                subtrees.push((level, index.cast_signed(), *root));
            }
        });
        if let Err(why) = self.keys.step(entry, &leaf) {
            self.note(Fault::Key { seq, why }, Some(seq));
        }
        self.recall();
    }

    /// Compares the root so far with the heads held for this size.
    fn recall(&mut self) {
        while let Some(held) = self.held.get(self.compared).filter(|held| held.head.size <= self.entries).cloned() {
            self.compared += 1;
            let Held { head, note } = held;
            let found = self.tree.root();
            let signed = note.map_or(Ok(()), |note| self.keys.check(&note, head));
            if found != head.root || head.size != self.entries {
                let (size, agreed) = (head.size, self.agreed);
                self.note(Fault::Remembered { size, agreed, found, expected: head.root }, None);
            } else if let Err(why) = signed {
                self.note(Fault::SignedHead { size: head.size, why }, None);
            } else {
                self.agreed = head.size;
            }
        }
    }

    fn end(mut self, kept: Option<(Head, Vec<u8>)>, subtrees: &[(u32, i64, Digest)]) -> Verification {
        let root = self.tree.root();
        let longest = self.held.last().map_or(0, |held| held.head.size);
        self.subtrees.sort_unstable_by_key(|(level, index, _)| (*level, *index));
        if let Some(seq) = self.replaced.untold().filter(|_| self.first_bad.is_none()) {
            // Whatever a head had to say against the root may be its consequence.
            self.fault = Some(Fault::Untold(seq));
            self.first_bad = Some(seq);
        }
        match kept {
            None => self.note(Fault::NoHead, None),
            Some((head, _)) if head.size.max(longest) > self.entries => {
                self.note(Fault::Missing(self.next), Some(self.next));
            }
            Some((head, _)) if head.size < self.entries => {
                let first = head.size.max(0).saturating_add(1);
                self.note(Fault::PastHead(first), Some(first));
            }
            Some((head, _)) if head.root != root => self.note(Fault::Root { found: root, expected: head.root }, None),
            Some((_, edge)) if edge != self.tree.to_bytes() => self.note(Fault::Edge, None),
            Some(_) => {}
        }
        Verification {
            ok: self.fault.is_none(),
            entries: self.entries,
            root,
            first_bad: self.first_bad,
            fault: self.fault,
            pruned: self.replaced.count(),
            subtrees_ok: self.subtrees == subtrees,
            signed_heads: self.held.iter().filter_map(Held::signed_text).collect::<BTreeSet<&str>>().len(),
        }
    }
}

#[cfg(test)]
mod tests;
