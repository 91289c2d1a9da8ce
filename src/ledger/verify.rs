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

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::super::entry::{Body, Refusal, Retract, Seq};
    use super::super::samples::{Room, fill, noon, retract, site};
    use super::super::store::Ledger;
    use super::*;
    use crate::reading::Defect;

    const LENGTH: i64 = 9;

    /// What the check says of a ledger of nine entries after `attack`.
    fn after(attack: &str) -> Verification {
        let mut ledger = Ledger::in_memory(&site()).unwrap();
        fill(&mut ledger, LENGTH);
        ledger.attack(attack);
        verify(&ledger, &[]).unwrap()
    }

    #[test]
    fn a_sound_ledger_is_sound() {
        let found = after("");
        assert!(found.ok);
        assert_eq!((found.entries, found.first_bad, found.fault), (LENGTH, None, None));
        let empty = Ledger::in_memory(&site()).unwrap();
        let found = verify(&empty, &[]).unwrap();
        assert!(found.ok);
        assert!(found.root.to_string().starts_with("e3b0c442"));
    }

    #[test]
    fn every_column_of_every_entry_is_watched() {
        for seq in 1..=LENGTH {
            for change in [
                "body = replace(body, '\"', '\"\"')",
                "body = body || ' '",
                "body = body || char(10)",
                "body = CAST(x'ff' AS TEXT)",
                "time = '2026-03-04T12:00:00.000Z'",
                "kind = 'release'",
                "site = 'elsewhere'",
                "leaf = zeroblob(32)",
                "leaf = x''",
            ] {
                let found = after(&format!("UPDATE entry SET {change} WHERE seq = {seq}"));
                assert!(!found.ok);
                assert_eq!(found.first_bad, Some(seq), "{change}: {:?}", found.fault);
                assert_eq!(found.entries, LENGTH);
            }
        }
    }

    #[test]
    fn entries_removed_moved_or_put_in_are_found() {
        for seq in 1..=LENGTH {
            let found = after(&format!("DELETE FROM entry WHERE seq = {seq}"));
            assert_eq!((found.ok, found.first_bad, found.entries), (false, Some(seq), LENGTH - 1));
            // Closing the gap by renumbering what follows.
            let found = after(&format!(
                "DELETE FROM entry WHERE seq = {seq};
                 UPDATE entry SET seq = -seq WHERE seq > {seq}; UPDATE entry SET seq = -seq - 1 WHERE seq < 0"
            ));
            assert_eq!((found.ok, found.first_bad), (false, Some(seq)), "{:?}", found.fault);
            let copy = |to: i64| {
                format!("INSERT INTO entry SELECT site, {to}, time, kind, body, leaf FROM entry WHERE seq = {seq}")
            };
            for to in [LENGTH + 1, 0, -3, LENGTH + 5] {
                let found = after(&copy(to));
                let first = if to > LENGTH { LENGTH + 1 } else { to };
                assert_eq!((found.ok, found.first_bad), (false, Some(first)), "copy to {to}: {:?}", found.fault);
            }
        }
        for low in 1..LENGTH {
            for high in low + 1..=LENGTH {
                let found = after(&format!(
                    "UPDATE entry SET seq = -1 WHERE seq = {low}; UPDATE entry SET seq = {low} WHERE seq = {high};
                     UPDATE entry SET seq = {high} WHERE seq = -1"
                ));
                assert_eq!((found.ok, found.first_bad), (false, Some(low)), "{low} for {high}");
            }
        }
    }

    #[test]
    fn a_cut_tail_is_found_at_every_length() {
        for kept in 0..LENGTH {
            let found = after(&format!("DELETE FROM entry WHERE seq > {kept}"));
            assert_eq!((found.ok, found.first_bad, found.entries), (false, Some(kept + 1), kept));
            assert_eq!(found.fault, Some(Fault::Missing(kept + 1)));
        }
    }

    #[test]
    fn a_changed_head_is_found() {
        let cases: [(&str, Option<i64>); 6] = [
            ("UPDATE head SET root = zeroblob(32)", None),
            ("UPDATE head SET root = x'00'", None),
            ("UPDATE head SET frontier = zeroblob(64)", None),
            ("UPDATE head SET size = 4", Some(5)),
            ("UPDATE head SET size = 12", Some(10)),
            ("DELETE FROM head", None),
        ];
        for (attack, first_bad) in cases {
            let found = after(attack);
            assert_eq!((found.ok, found.first_bad), (false, first_bad), "{attack}: {:?}", found.fault);
        }
    }

    /// An attacker who makes the leaf anew is betrayed by the head; one who makes the head anew too, only by a head that was
    /// remembered elsewhere.
    #[test]
    fn a_remembered_head_finds_what_the_kept_one_cannot() {
        let room = Room::new();
        let ledger = room.filled(LENGTH);
        let remembered = ledger.head().unwrap();
        drop(ledger);
        // The same ledger with another fourth entry, every hash made anew.
        let forged = Room::new();
        let mut ledger = forged.open();
        ledger.found(noon(), "0.1.0", None).unwrap();
        ledger
            .write(noon(), |tx| {
                (2..=LENGTH).try_for_each(|n| tx.append(&retract(if n == 4 { 44 } else { n })).map(|_| ()))
            })
            .unwrap();
        assert!(verify(&ledger, &[]).unwrap().ok);
        let found = verify(&ledger, &[remembered]).unwrap();
        assert!(matches!(found.fault, Some(Fault::Remembered { size: LENGTH, .. })), "{:?}", found.fault);
        assert_eq!((found.ok, found.first_bad), (false, None));

        // Only the leaf made anew.
        let leaf: Vec<u8> =
            forged.raw().query_row("SELECT leaf FROM entry WHERE seq = 4", (), |row| row.get(0)).unwrap();
        let ledger = room.open();
        room.raw()
            .execute("UPDATE entry SET body = replace(body, '4', '44'), leaf = ?1 WHERE seq = 4", (leaf,))
            .unwrap();
        let found = verify(&ledger, &[]).unwrap();
        assert!(matches!(found.fault, Some(Fault::Root { .. })), "{:?}", found.fault);
        assert_eq!((found.ok, found.first_bad), (false, None));

        // Tail cut and head rewritten to match.
        let short = Room::new().filled(LENGTH - 2);
        assert!(verify(&short, &[]).unwrap().ok);
        assert_eq!(verify(&short, &[remembered]).unwrap().first_bad, Some(LENGTH - 1));
        let grown = {
            let room = Room::new();
            let mut ledger = room.filled(LENGTH);
            ledger.write(noon(), |tx| tx.append(&retract(10))).unwrap();
            verify(&ledger, &[remembered, Head { size: 0, root: Frontier::new().root() }]).unwrap()
        };
        assert!(grown.ok, "an old head of the same ledger is no fault");
    }

    /// A byte changed in the file itself, not through SQL.
    #[test]
    fn a_changed_byte_of_an_entry_in_the_file_is_found() {
        let room = Room::new();
        drop(room.filled(LENGTH));
        let bytes = std::fs::read(room.path()).unwrap();
        let text = b"reason 7";
        let places: Vec<usize> = (0..bytes.len() - text.len()).filter(|i| bytes[*i..].starts_with(text)).collect();
        assert!(!places.is_empty());
        for offset in places {
            let mut bytes = bytes.clone();
            bytes[offset] ^= 0x01;
            std::fs::write(room.path(), &bytes).unwrap();
            assert_eq!(verify(&room.open(), &[]).unwrap().first_bad, Some(7));
        }
    }

    fn any_body() -> impl Strategy<Value = Body> {
        let retract = (1..i64::MAX, any::<String>()).prop_map(|(seq, reason)| {
            Body::Retract(Retract { seq: Seq::new(seq).unwrap(), reason, operator: None, operator_by: None })
        });
        let refusal =
            (any::<String>(), any::<Vec<u8>>(), proptest::collection::vec((any::<u64>(), any::<String>()), 0..4))
                .prop_map(|(name, bytes, defects)| {
                    let defects =
                        defects.into_iter().map(|(line, found)| Defect::of_line(line, &found, "a number")).collect();
                    Body::Refusal(Refusal { name, sha256: Digest::of(&bytes), defects })
                });
        prop_oneof![retract, refusal]
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        #[test]
        fn whatever_is_appended_is_sound_and_comes_back(
            transactions in proptest::collection::vec(proptest::collection::vec(any_body(), 0..6), 0..6),
        ) {
            let mut ledger = Ledger::in_memory(&site()).unwrap();
            ledger.found(noon(), "0.1.0", None).unwrap();
            let mut heads = vec![ledger.head().unwrap()];
            for bodies in &transactions {
                ledger.write(noon(), |tx| bodies.iter().try_for_each(|body| tx.append(body).map(|_| ()))).unwrap();
                heads.push(ledger.head().unwrap());
            }
            let found = verify(&ledger, &heads).unwrap();
            prop_assert!(found.ok, "{:?}", found.fault);
            let read: Vec<Body> = ledger.entries(Seq::FIRST.next(), 1000).unwrap().into_iter().map(|e| e.body).collect();
            prop_assert_eq!(read, transactions.concat());
        }
    }
}
