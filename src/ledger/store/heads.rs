//! Stored subtree hashes, signed heads, and the keys that the entries name.
//!
//! The roots of full subtrees over 2^8, 2^16 and 2^24 entries are kept, one row for each 256 entries; what lies between is
//! hashed from the level below: at most 255 hashes for one root. They are a cache: whoever makes a proof checks it against the root.

use rusqlite::{Connection, Row};

use super::{Head, LedgerError, Store, Tx};
use crate::ledger::checkpoint::{SignedHead, origin};
use crate::ledger::digest::Digest;
use crate::ledger::entry::Seq;
use crate::ledger::proof::Subtrees;
use crate::ledger::tree::{Frontier, node};
use crate::units::Time;

/// The levels that are kept, the lowest first.
const LEVELS: [u32; 3] = [8, 16, 24];
const PUT: &str = "INSERT INTO subtree (level, idx, hash) VALUES (?1, ?2, ?3)";

/// Keeps a signed head unless one of that size is kept already.
pub(super) const PUT_HEAD_IF_NEW: &str =
    "INSERT INTO signed_head (size, root, time_us, note) VALUES (?1, ?2, ?3, ?4) ON CONFLICT DO NOTHING";

/// Whether the roots of subtrees of 2^`level` entries are kept.
pub(in crate::ledger) const fn is_kept(level: u32) -> bool {
    matches!(level, 8 | 16 | 24)
}

/// The full subtree roots that one leaf completes and that are kept, pushed on the edge.
pub(super) fn push(edge: &mut Frontier, leaf: Digest, mut keep: impl FnMut(u32, u64, Digest)) {
    edge.push_telling(leaf, |level, index, root| {
        if is_kept(level) {
            keep(level, index, *root);
        }
    });
}

/// Fills the empty table of subtrees from the leaves, as an older version's ledger needs it. A leaf that cannot be one
/// counts as that of nothing: the check of the ledger names it.
pub(in crate::ledger) fn backfill(conn: &Connection) -> Result<(), LedgerError> {
    let mut leaves = conn.prepare("SELECT leaf FROM entry ORDER BY seq")?;
    let mut put = conn.prepare(PUT)?;
    let mut rows = leaves.query(())?;
    let mut edge = Frontier::new();
    let mut complete = Vec::new();
    while let Some(row) = rows.next()? {
        let leaf = row.get_ref(0)?.as_bytes().ok().and_then(Digest::from_bytes).unwrap_or_else(|| Digest::of(b""));
        push(&mut edge, leaf, |level, index, root| complete.push((level, index, root)));
        for (level, index, root) in complete.drain(..) {
            put.execute((level, index.cast_signed(), root))?;
        }
    }
    Ok(())
}

fn signed(row: &Row<'_>) -> rusqlite::Result<SignedRow> {
    Ok(SignedRow { head: Head { size: row.get(0)?, root: row.get(1)? }, time: row.get(2)?, note: row.get(3)? })
}

/// A signed head as it is kept, nothing believed.
#[derive(Debug, Clone, PartialEq, Eq)]
#[allow(missing_docs)]
pub struct SignedRow {
    pub head: Head,
    pub time: Time,
    pub note: String,
}

impl Subtrees for Store {
    type Error = LedgerError;

    fn subtree(&self, level: u32, index: u64) -> Result<Digest, LedgerError> {
        let kept = LEVELS.into_iter().rev().find(|kept| *kept <= level);
        let steps = level - kept.unwrap_or(0);
        let damaged = || LedgerError::Damaged { what: format!("a hash of level {level} cannot be made") };
        let from = index.checked_shl(steps).map(u64::cast_signed).filter(|from| *from >= 0).ok_or_else(damaged)?;
        let count = 1_i64.checked_shl(steps).ok_or_else(damaged)?;
        let mut hashes: Vec<Digest> = match kept {
            None => {
                let sql = "SELECT leaf FROM entry WHERE seq > ?1 ORDER BY seq LIMIT ?2";
                self.all(sql, (from, count), |row| row.get(0))?
            }
            Some(kept) => {
                let sql = "SELECT hash FROM subtree WHERE level = ?3 AND idx >= ?1 ORDER BY idx LIMIT ?2";
                self.all(sql, (from, count, kept), |row| row.get(0))?
            }
        };
        if i64::try_from(hashes.len()) != Ok(count) {
            return Err(damaged());
        }
        while hashes.len() > 1 {
            let paired = hashes.chunks(2).map(|pair| match pair {
                [left, right] => node(left, right),
                other => other.first().copied().unwrap_or_else(|| Digest::of(b"")),
            });
            hashes = paired.collect();
        }
        hashes.first().copied().ok_or_else(damaged)
    }
}

impl Store {
    /// The ledger's origin; `None` while it has no entry.
    pub fn log_origin(&self) -> Result<Option<String>, LedgerError> {
        let leaf = self.maybe("SELECT leaf FROM entry WHERE seq = 1", (), |row| row.get::<_, Digest>(0))?;
        Ok(leaf.map(|leaf| origin(&self.site, &leaf)))
    }

    /// The verifier key that the entries name for heads signed now; `None` before the first.
    pub fn signing_key(&self) -> Result<Option<String>, LedgerError> {
        self.maybe("SELECT key FROM signing_key ORDER BY seq DESC LIMIT 1", (), |row| row.get(0))
    }

    /// The entries that name a key, and the key of each, the oldest first.
    pub fn signing_keys(&self) -> Result<Vec<(Seq, String)>, LedgerError> {
        self.all("SELECT seq, key FROM signing_key ORDER BY seq", (), |row| Ok((row.get(0)?, row.get(1)?)))
    }

    /// The signed head of the most entries.
    pub fn newest_signed_head(&self) -> Result<Option<SignedRow>, LedgerError> {
        self.maybe("SELECT size, root, time_us, note FROM signed_head ORDER BY size DESC LIMIT 1", (), signed)
    }

    /// Up to `limit` signed heads of more than `after` entries, the smallest first.
    pub fn signed_heads(&self, after: i64, limit: u32) -> Result<Vec<SignedRow>, LedgerError> {
        let sql = "SELECT size, root, time_us, note FROM signed_head WHERE size > ?1 ORDER BY size LIMIT ?2";
        self.all(sql, (after, limit), signed)
    }

    /// Every kept subtree root, by level and index.
    pub(in crate::ledger) fn kept_subtrees(&self) -> Result<Vec<(u32, i64, Digest)>, LedgerError> {
        self.all("SELECT level, idx, hash FROM subtree ORDER BY level, idx", (), |row| {
            Ok((row.get(0)?, row.get(1)?, row.get(2)?))
        })
    }
}

impl Tx<'_> {
    /// The head as it stands, entries appended here included.
    pub fn head_now(&self) -> Head {
        Head { size: self.size(), root: self.frontier.root() }
    }

    pub(super) fn put_subtree(&self, level: u32, index: u64, root: Digest) -> Result<(), LedgerError> {
        self.run(PUT, (level, index.cast_signed(), root)).map(|_| ())
    }

    /// Makes all subtree roots anew from the leaves.
    pub fn renew_subtrees(&self) -> Result<(), LedgerError> {
        self.run("DELETE FROM subtree", ())?;
        backfill(&self.store.conn)
    }

    /// Keeps a signed head, at most one for each size.
    pub fn put_signed_head(&self, signed: &SignedHead) -> Result<(), LedgerError> {
        let head = signed.checkpoint.head;
        let time = signed.checkpoint.time.unwrap_or(self.now());
        self.run(
            "INSERT INTO signed_head (size, root, time_us, note) VALUES (?1, ?2, ?3, ?4)",
            (head.size, head.root, time, &signed.note),
        )?;
        Ok(())
    }

    /// Notes the key that an entry names.
    pub fn put_signing_key(&self, seq: Seq, key: &str) -> Result<(), LedgerError> {
        self.run("INSERT INTO signing_key (seq, key) VALUES (?1, ?2)", (seq, key)).map(|_| ())
    }
}
