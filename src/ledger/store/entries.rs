//! Entries: appending one, and reading them back in order.

use std::borrow::Cow;
use std::ops::ControlFlow;

use super::{LedgerError, Store, Tx, heads};
use crate::ledger::digest::Digest;
use crate::ledger::entry::{self, Body, Entry, Seq};
use crate::ledger::tree;
use crate::units::{SiteId, Time};

/// A row of `entry` as it stands, nothing believed.
#[derive(Debug, Clone, PartialEq, Eq)]
#[allow(missing_docs)]
pub struct RawEntry {
    pub site: String,
    pub seq: i64,
    pub time: String,
    pub kind: String,
    pub body: String,
    pub leaf: Vec<u8>,
}

/// The same, lent for a moment: a walk over millions of rows copies none.
#[derive(Debug, Clone, Copy)]
#[allow(missing_docs)]
pub(in crate::ledger) struct RawRow<'r> {
    pub site: &'r str,
    pub seq: i64,
    pub time: &'r str,
    pub kind: &'r str,
    pub body: &'r str,
    pub leaf: &'r [u8],
}

/// The same before it is known whether its texts are text.
#[derive(Debug, Clone, Copy)]
pub(in crate::ledger) struct RawBytes<'r> {
    pub seq: i64,
    /// Site, time, kind, body and leaf.
    pub columns: [&'r [u8]; 5],
}

impl RawBytes<'_> {
    /// Hands it on as a row. Bytes that are no UTF-8 become replacement marks, whose leaf cannot match.
    pub fn as_row<T>(self, take: impl FnOnce(&RawRow) -> T) -> T {
        let [site, time, kind, body, leaf] = self.columns;
        let [site, time, kind, body] = [site, time, kind, body].map(text);
        take(&RawRow { site: &site, seq: self.seq, time: &time, kind: &kind, body: &body, leaf })
    }
}

/// To tell that bytes are text takes far less than to mend them, which is what `from_utf8_lossy` begins with.
fn text(bytes: &[u8]) -> Cow<'_, str> {
    std::str::from_utf8(bytes).map_or_else(|_| String::from_utf8_lossy(bytes), Cow::Borrowed)
}

impl RawRow<'_> {
    /// The leaf that the other columns have; `None` if they are no entry (see [`entry::write_bytes`]). `bytes` is room to write in.
    pub fn true_leaf(&self, bytes: &mut Vec<u8>) -> Option<Digest> {
        bytes.clear();
        let written = entry::write_bytes(bytes, self.site, self.seq, self.time, self.kind, self.body.as_bytes());
        written.then(|| tree::leaf(bytes))
    }
}

impl RawEntry {
    /// The leaf that the other columns have; `None` if they are no entry (see [`entry::write_bytes`]).
    pub fn true_leaf(&self) -> Option<Digest> {
        self.as_row().true_leaf(&mut Vec::new())
    }

    pub(in crate::ledger) fn as_row(&self) -> RawRow<'_> {
        let Self { site, seq, time, kind, body, leaf } = self;
        RawRow { site, seq: *seq, time, kind, body, leaf }
    }

    /// Whether the other columns have the leaf that is kept.
    pub fn matches_leaf(&self) -> bool {
        self.true_leaf().is_some_and(|leaf| leaf.as_bytes().as_slice() == self.leaf)
    }

    fn decode(self) -> Result<Entry, LedgerError> {
        let damaged = |what: String| LedgerError::Damaged { what: format!("entry {}: {what}", self.seq) };
        let seq = Seq::new(self.seq).ok_or_else(|| damaged("a seq begins at 1".to_owned()))?;
        let site = SiteId::new(&self.site).map_err(|bad| damaged(bad.to_string()))?;
        let time = Time::parse(&self.time).map_err(|bad| damaged(bad.to_string()))?;
        let body = Body::parse(&self.kind, &self.body).map_err(|source| LedgerError::BadEntry { seq, source })?;
        Ok(Entry { site, seq, time, body })
    }
}

impl Tx<'_> {
    /// Appends one entry and returns its number. Nothing else changes: projections are the caller's to fill.
    pub fn append(&mut self, body: &Body) -> Result<Seq, LedgerError> {
        let seq = Seq::new(self.size()).map_or(Seq::FIRST, Seq::next);
        if matches!(body, Body::Founded(_)) != (seq == Seq::FIRST) {
            return Err(LedgerError::Order { seq, kind: body.kind() });
        }
        self.json.clear();
        body.write_json(&mut self.json).map_err(|source| LedgerError::BadEntry { seq, source })?;
        let site = self.store.site.as_str();
        self.bytes.clear();
        let written = entry::write_bytes(&mut self.bytes, site, seq.get(), &self.time, body.kind(), &self.json);
        let leaf = tree::leaf(&self.bytes);
        let json = std::mem::take(&mut self.json);
        let text = std::str::from_utf8(&json).ok().filter(|_| written);
        let Some(text) = text else {
            return Err(LedgerError::Damaged { what: format!("entry {seq} would not be one line of text") });
        };
        let time = std::mem::take(&mut self.time);
        let kept = self.keep_entry(&time, body.kind(), text, leaf);
        (self.time, self.json) = (time, json);
        kept
    }

    /// Keeps a row as the next entry, whose leaf is `leaf`.
    pub(super) fn keep_entry(&mut self, time: &str, kind: &str, body: &str, leaf: Digest) -> Result<Seq, LedgerError> {
        let seq = Seq::new(self.size()).map_or(Seq::FIRST, Seq::next);
        let insert = match &mut self.insert {
            Some(insert) => insert,
            none => none.insert(self.store.prepared(INSERT)?),
        };
        insert.execute((self.store.site.as_str(), seq, time, kind, body, leaf))?;
        let mut complete = Vec::new();
        heads::push(&mut self.frontier, leaf, |level, index, root| complete.push((level, index, root)));
        complete.into_iter().try_for_each(|(level, index, root)| self.put_subtree(level, index, root))?;
        Ok(seq)
    }
}

const INSERT: &str = "INSERT INTO entry (site, seq, time, kind, body, leaf) VALUES (?1, ?2, ?3, ?4, ?5, ?6)";
pub(super) const COLUMNS: &str = "SELECT site, seq, time, kind, body, leaf FROM entry";

pub(super) fn raw(row: &rusqlite::Row<'_>) -> rusqlite::Result<RawEntry> {
    // Bytes that are no UTF-8 become replacement marks, whose leaf cannot match.
    let text = |column| -> rusqlite::Result<String> {
        Ok(String::from_utf8_lossy(row.get_ref(column)?.as_bytes()?).into_owned())
    };
    Ok(RawEntry {
        site: text(0)?,
        seq: row.get(1)?,
        time: text(2)?,
        kind: text(3)?,
        body: text(4)?,
        leaf: row.get_ref(5)?.as_bytes()?.to_vec(),
    })
}

impl Store {
    /// The entry with this number.
    pub fn entry(&self, seq: Seq) -> Result<Option<Entry>, LedgerError> {
        self.raw_entry(seq)?.map(RawEntry::decode).transpose()
    }

    /// The row of the entry with this number, nothing believed.
    pub fn raw_entry(&self, seq: Seq) -> Result<Option<RawEntry>, LedgerError> {
        self.maybe(&format!("{COLUMNS} WHERE seq = ?1"), (seq,), raw)
    }

    /// Up to `limit` entries from `from` on, in order. Whoever wants all asks again from the last one's next, so that no
    /// long read keeps the log from shrinking.
    pub fn entries(&self, from: Seq, limit: u32) -> Result<Vec<Entry>, LedgerError> {
        self.all(&format!("{COLUMNS} WHERE seq >= ?1 ORDER BY seq LIMIT ?2"), (from, limit), raw)?
            .into_iter()
            .map(RawEntry::decode)
            .collect()
    }

    /// Up to `limit` rows of `entry` from `from` on, in order, nothing believed.
    pub fn raw_entries(&self, from: Seq, limit: u32) -> Result<Vec<RawEntry>, LedgerError> {
        self.all(&format!("{COLUMNS} WHERE seq >= ?1 ORDER BY seq LIMIT ?2"), (from, limit), raw)
    }

    /// Hands every row of `entry`, whatever its number, to `take` in order of number, until `take` breaks off.
    pub(in crate::ledger) fn each_raw(
        &self,
        mut take: impl FnMut(RawBytes) -> ControlFlow<()>,
    ) -> Result<(), LedgerError> {
        let mut statement = self.prepared(&format!("{COLUMNS} ORDER BY seq"))?;
        let mut rows = statement.query(())?;
        while let Some(row) = rows.next()? {
            let bytes = |column| -> rusqlite::Result<&[u8]> { Ok(row.get_ref(column)?.as_bytes()?) };
            let columns = [bytes(0)?, bytes(2)?, bytes(3)?, bytes(4)?, bytes(5)?];
            if take(RawBytes { seq: row.get(1)?, columns }).is_break() {
                break;
            }
        }
        Ok(())
    }
}
