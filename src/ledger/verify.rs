//! The check that believes nothing but the entries themselves.
//!
//! What lives here: a walk over all entries from the first, which makes every leaf and the root anew and compares them with
//! what is kept and with any head remembered elsewhere. What does not: whether the projections fit the entries (`rebuild`).
//!
//! What it finds: a row changed, taken out, put in, moved or doubled; a tail cut off; a head changed. What no check of one
//! file can find: a ledger rewritten as a whole, head included. For that, a head must be remembered elsewhere and given here.

use super::digest::Digest;
use super::error::LedgerError;
use super::store::{Head, RawEntry, Store};
use super::tree::Frontier;

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
    #[error("at {size} entries the root was remembered as {expected}, but is {found}: the ledger was rewritten since")]
    Remembered {
        /// How many entries the remembered head covers.
        size: i64,
        /// The root of that many entries.
        found: Digest,
        /// The root remembered.
        expected: Digest,
    },
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
}

/// Walks all entries of `store`, compares them with its head and with the heads `remembered` elsewhere.
///
/// Call it inside [`super::Ledger::read`] where others may append meanwhile. Errors only where the store cannot be asked at
/// all; damage is what it reports.
pub fn verify(store: &Store, remembered: &[Head]) -> Result<Verification, LedgerError> {
    let mut walk = Walk::new(store.site().as_str(), remembered);
    match store.each_raw(|entry| walk.step(&entry)) {
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
    Ok(walk.end(kept))
}

/// The walk itself: knows no store.
struct Walk<'a> {
    site: &'a str,
    /// Sorted by size.
    remembered: Vec<Head>,
    /// The number the next entry must have.
    next: i64,
    entries: i64,
    tree: Frontier,
    first_bad: Option<i64>,
    fault: Option<Fault>,
}

impl<'a> Walk<'a> {
    fn new(site: &'a str, remembered: &[Head]) -> Self {
        let mut remembered = remembered.to_vec();
        remembered.sort_by_key(|head| head.size);
        let mut walk =
            Self { site, remembered, next: 1, entries: 0, tree: Frontier::new(), first_bad: None, fault: None };
        walk.recall();
        walk
    }

    /// Keeps the first fault, since whatever comes after it may be its consequence, and the first number to blame.
    fn note(&mut self, fault: Fault, at: Option<i64>) {
        self.fault.get_or_insert(fault);
        self.first_bad = self.first_bad.or(at);
    }

    fn step(&mut self, entry: &RawEntry) {
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
        let leaf = entry.true_leaf().filter(|_| entry.site == self.site);
        match leaf {
            None => self.note(Fault::NoEntry(seq), Some(seq)),
            Some(leaf) if leaf.as_bytes().as_slice() != entry.leaf => self.note(Fault::Leaf(seq), Some(seq)),
            Some(_) => {}
        }
        self.tree.push(leaf.unwrap_or_else(|| Digest::of(b"")));
        self.recall();
    }

    /// Compares the root so far with the heads remembered for this size.
    fn recall(&mut self) {
        while let Some(head) = self.remembered.first().copied().filter(|head| head.size <= self.entries) {
            self.remembered.remove(0);
            let found = self.tree.root();
            if found != head.root || head.size != self.entries {
                self.note(Fault::Remembered { size: head.size, found, expected: head.root }, None);
            }
        }
    }

    fn end(mut self, kept: Option<(Head, Vec<u8>)>) -> Verification {
        let root = self.tree.root();
        let longest = self.remembered.last().map_or(0, |head| head.size);
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
        }
    }
}
