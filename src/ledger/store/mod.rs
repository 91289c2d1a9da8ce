//! The SQLite file: who may open it, how a transaction goes, and reading under one snapshot.
//!
//! What lives here: one [`Ledger`], the only owner of its connection. What it keeps is read through [`Store`] (to which both
//! a ledger and a transaction lead, so that a query works on either) and changed only through [`Tx`]. What lives not here:
//! the tables (`schema`), and what an entry does to the projections (`pipeline`, `rebuild`).
//!
//! **A write** is BEGIN IMMEDIATE (in turn: `turn`), read the head, do the work, write the head, COMMIT. The lock is taken first,
//! so two processes never read the same head; SQLite syncs its log before COMMIT returns (WAL, synchronous FULL), so what `write`
//! returned survives a power cut. If the work fails, nothing of it stays. After a failed sync the ledger writes nothing
//! more ([`LedgerError::Broken`]).

mod alerts;
mod copying;
mod entries;
mod estimates;
mod first_use;
mod heads;
mod intake;
mod lighting;
mod messages;
mod opening;
mod origins;
mod place;
mod projections;
mod pruning;
mod sign_offs;
mod sizes;
#[cfg(test)]
mod tests;
mod turn;
mod values;

use std::ops::Deref;
use std::path::Path;
use std::time::Duration;

use rusqlite::{CachedStatement, Connection, OpenFlags, OptionalExtension, Params, Row};

use super::digest::Digest;
use super::entry::{Body, Founded, Seq};
use super::error::{LedgerError, WAIT};
use super::schema::{self, Found};
use super::tree::Frontier;
use crate::units::{SiteId, Time};
use turn::Queue;

pub use alerts::{AlertRow, VerdictRow};
pub use entries::RawEntry;
pub(in crate::ledger) use entries::{RawBytes, RawRow};
pub use estimates::EstimateRow;
pub use heads::SignedRow;
pub(super) use heads::{backfill, is_kept};
pub use intake::{EventRow, FileRow, ReadingRow, Standing, UvVariance};
pub use messages::{MaintenanceRow, MessageRow, MessageState};
pub use origins::Origin;
pub use projections::{Counts, TableDigest};
pub use pruning::Shortened;
pub use sign_offs::SignOffRow;

/// What may be done with a ledger, and whether it must exist.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OpenMode {
    /// Read and write; folders and file are made where they are missing.
    Create,
    /// Read and write; the ledger must exist.
    Existing,
    /// Only read; the ledger must exist.
    ReadOnly,
}

/// The head of the hash tree.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Head {
    /// How many entries it covers.
    pub size: i64,
    /// Their root.
    pub root: Digest,
}

impl Head {
    /// The number of the last entry, if there is one.
    pub const fn last(&self) -> Option<Seq> {
        Seq::new(self.size)
    }
}

/// What a ledger keeps, as far as it can be read.
pub struct Store {
    conn: Connection,
    site: SiteId,
    /// Every statement that was run, so that a test can look at how SQLite goes about it.
    #[cfg(test)]
    asked: std::cell::RefCell<std::collections::BTreeSet<String>>,
}

/// A ledger that is open.
pub struct Ledger {
    store: Store,
    stopped: bool,
    queue: Queue,
}

/// A write transaction: whatever is done through it is kept as a whole or not at all.
pub struct Tx<'l> {
    store: &'l Store,
    /// The text of the column `time`.
    time: String,
    now: Time,
    frontier: Frontier,
    json: Vec<u8>,
    bytes: Vec<u8>,
    /// The statement that every append runs; to find it again in the cache takes as long as to hash an entry.
    insert: Option<CachedStatement<'l>>,
}

impl Ledger {
    /// Opens the ledger of `site` at `path`.
    ///
    /// A store of an older version is brought up to date, unless it is only to be read. Refused are: a store of a newer
    /// version, another site's ledger, a file that is no ledger, and a folder on a network file system (known on Linux only).
    pub fn open(path: &Path, site: &SiteId, mode: OpenMode) -> Result<Self, LedgerError> {
        if mode == OpenMode::Create {
            opening::make_folder(path)?;
        } else if !path.is_file() {
            return Err(LedgerError::Missing { path: path.to_owned() });
        }
        place::refuse_network(path)?;
        let (conn, found) = match mode {
            OpenMode::ReadOnly => opening::open_to_read(path)?,
            OpenMode::Existing => opening::open_as(path, OpenFlags::SQLITE_OPEN_READ_WRITE)?,
            OpenMode::Create => {
                opening::open_as(path, OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE)?
            }
        };
        match (found, mode) {
            (Found::Foreign, _) => return Err(LedgerError::NotALedger { path: path.to_owned() }),
            (Found::Empty, OpenMode::Existing | OpenMode::ReadOnly) => {
                return Err(LedgerError::Missing { path: path.to_owned() });
            }
            (Found::Version(found), OpenMode::ReadOnly) if found < schema::VERSION => {
                return Err(LedgerError::Older { found, known: schema::VERSION });
            }
            (_, OpenMode::ReadOnly) => {}
            (found, OpenMode::Create | OpenMode::Existing) => opening::prepare_to_write(&conn, site, found)?,
        }
        let queue = if mode == OpenMode::ReadOnly { Queue::none() } else { Queue::before(path) };
        Self::of(conn, site, queue)
    }

    /// An empty ledger of `site` that is kept only in memory, to rebuild projections beside those on disk.
    pub fn in_memory(site: &SiteId) -> Result<Self, LedgerError> {
        let conn = Connection::open_in_memory()?;
        opening::prepare_to_write(&conn, site, Found::Empty)?;
        Self::of(conn, site, Queue::none())
    }

    /// The ledger at `path` as it was after its entry `last`: its entries up to that one, read where they lie, and projections in
    /// memory that `replay` makes of them. It has no head and takes nothing more in.
    pub fn as_it_was(
        path: &Path,
        site: &SiteId,
        last: Seq,
        replay: impl FnOnce(&Tx<'_>) -> Result<(), LedgerError>,
    ) -> Result<Self, LedgerError> {
        let conn = opening::open_past(path, site, last)?;
        conn.set_prepared_statement_cache_capacity(64);
        let store = Store {
            conn,
            site: site.clone(),
            #[cfg(test)]
            asked: Default::default(),
        };
        store.run("BEGIN", ())?;
        // Nothing is appended, so that instant and edge are never used.
        replay(&Tx {
            store: &store,
            time: String::new(),
            now: Time::from_micros(0),
            frontier: Frontier::new(),
            json: Vec::new(),
            bytes: Vec::new(),
            insert: None,
        })?;
        store.run("COMMIT", ())?;
        Ok(Self { store, stopped: true, queue: Queue::none() })
    }

    fn of(conn: Connection, site: &SiteId, queue: Queue) -> Result<Self, LedgerError> {
        conn.set_prepared_statement_cache_capacity(64);
        let found = conn.query_row("SELECT site FROM head", (), |row| row.get::<_, String>(0)).optional()?;
        match found {
            Some(found) if found == site.as_str() => {
                let store = Store {
                    conn,
                    site: site.clone(),
                    #[cfg(test)]
                    asked: Default::default(),
                };
                Ok(Self { store, stopped: false, queue })
            }
            Some(found) => Err(LedgerError::OtherSite { found, expected: site.as_str().to_owned() }),
            None => Err(LedgerError::Damaged { what: "it has no head".to_owned() }),
        }
    }

    /// Appends the first entry if there is none yet, and tells whether it did. `program` is the program's version, `note`
    /// whatever must be said of the beginning.
    pub fn found(&mut self, now: Time, program: &str, note: Option<&str>) -> Result<bool, LedgerError> {
        self.write(now, |tx| {
            if tx.size() > 0 {
                return Ok(false);
            }
            let founded = Founded { format: 1, program: program.to_owned(), note: note.map(str::to_owned) };
            tx.append(&Body::Founded(founded)).map(|_| true)
        })
    }

    /// Does `work` in one transaction, which is on disk when this returns `Ok`; on any error nothing of it is kept.
    /// `now` is the instant that its entries bear.
    ///
    /// Errors: what `work` returned; [`LedgerError::Busy`] after 10 s of waiting; [`LedgerError::DiskFull`], after which
    /// the same may be tried again; [`LedgerError::Broken`], after which this ledger writes no more.
    pub fn write<T, E: From<LedgerError>>(
        &mut self,
        now: Time,
        work: impl FnOnce(&mut Tx<'_>) -> Result<T, E>,
    ) -> Result<T, E> {
        if self.stopped {
            return Err(LedgerError::Stopped.into());
        }
        // A panic inside an earlier `work` that somebody caught leaves its transaction open.
        self.roll_back();
        if let Err(error) = self.begin() {
            return Err(self.failed(error).into());
        }
        let done = Tx::begin(&self.store, now).map_err(E::from).and_then(|mut tx| {
            let value = work(&mut tx)?;
            tx.keep_head()?;
            Ok(value)
        });
        match done {
            Ok(value) => self.commit().map(|()| value).map_err(E::from),
            Err(error) => {
                self.roll_back();
                Err(error)
            }
        }
    }

    /// Reads under one snapshot: what others append meanwhile is not seen.
    pub fn read<T, E: From<LedgerError>>(&mut self, look: impl FnOnce(&Store) -> Result<T, E>) -> Result<T, E> {
        self.roll_back();
        self.store.run("BEGIN", ())?;
        let seen = look(&self.store);
        self.roll_back();
        seen
    }

    /// Waits in turn for SQLite's write lock.
    fn begin(&self) -> Result<(), LedgerError> {
        let conn = &self.store.conn;
        conn.busy_timeout(Duration::ZERO)?;
        let begun = self.queue.stand(|| self.store.run("BEGIN IMMEDIATE", ()).map(|_| ()));
        conn.busy_timeout(WAIT)?;
        begun
    }

    fn commit(&mut self) -> Result<(), LedgerError> {
        if self.store.conn.is_autocommit() {
            // SQLite took the transaction back after an error that the work did not pass on; what the work did after it
            // stands alone, without a head.
            self.stopped = true;
            return Err(LedgerError::Broken { what: "the transaction ended before its commit".to_owned() });
        }
        match self.store.run("COMMIT", ()) {
            Ok(_) => Ok(()),
            Err(error) => {
                let error = self.failed(error);
                self.roll_back();
                Err(error)
            }
        }
    }

    fn failed(&mut self, error: LedgerError) -> LedgerError {
        self.stopped |= error.is_fatal();
        error
    }

    fn roll_back(&mut self) {
        if !self.store.conn.is_autocommit() && self.store.conn.execute_batch("ROLLBACK").is_err() {
            self.stopped |= !self.store.conn.is_autocommit();
        }
    }
}

impl Deref for Ledger {
    type Target = Store;

    fn deref(&self) -> &Store {
        &self.store
    }
}

impl Deref for Tx<'_> {
    type Target = Store;

    fn deref(&self) -> &Store {
        self.store
    }
}

impl Store {
    /// The site the ledger belongs to.
    pub const fn site(&self) -> &SiteId {
        &self.site
    }

    /// The head as kept.
    pub fn head(&self) -> Result<Head, LedgerError> {
        self.kept_head().map(|(head, _)| head)
    }

    /// A number that differs from its last value when another connection has written since; costs no disk access.
    pub fn data_version(&self) -> Result<i64, LedgerError> {
        self.one("PRAGMA data_version", (), |row| row.get(0))
    }

    /// The head and the bytes of its edge.
    pub(super) fn kept_head(&self) -> Result<(Head, Vec<u8>), LedgerError> {
        let kept =
            self.maybe("SELECT size, root, frontier FROM head WHERE site = ?1", (self.site.as_str(),), |row| {
                Ok((Head { size: row.get(0)?, root: row.get(1)? }, row.get(2)?))
            })?;
        kept.ok_or_else(|| LedgerError::Damaged { what: "it has no head".to_owned() })
    }

    /// Runs `sql` past every rule, as an attacker would.
    #[cfg(test)]
    pub(in crate::ledger) fn attack(&self, sql: &str) {
        self.conn.execute_batch(sql).unwrap();
    }

    fn prepared(&self, sql: &str) -> rusqlite::Result<CachedStatement<'_>> {
        #[cfg(test)]
        self.asked.borrow_mut().insert(sql.to_owned());
        self.conn.prepare_cached(sql)
    }

    fn run(&self, sql: &str, with: impl Params) -> Result<usize, LedgerError> {
        Ok(self.prepared(sql)?.execute(with)?)
    }

    fn one<T>(
        &self,
        sql: &str,
        with: impl Params,
        read: impl FnOnce(&Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<T, LedgerError> {
        Ok(self.prepared(sql)?.query_row(with, read)?)
    }

    fn maybe<T>(
        &self,
        sql: &str,
        with: impl Params,
        read: impl FnOnce(&Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<Option<T>, LedgerError> {
        Ok(self.prepared(sql)?.query_row(with, read).optional()?)
    }

    fn all<T>(
        &self,
        sql: &str,
        with: impl Params,
        read: impl FnMut(&Row<'_>) -> rusqlite::Result<T>,
    ) -> Result<Vec<T>, LedgerError> {
        let mut statement = self.prepared(sql)?;
        let rows = statement.query_map(with, read)?.collect::<Result<Vec<T>, _>>()?;
        Ok(rows)
    }

    /// Hands each row to `take`, one at a time, until it fails.
    fn each<T, E: From<LedgerError>>(
        &self,
        sql: &str,
        with: impl Params,
        read: impl Fn(&Row<'_>) -> rusqlite::Result<T>,
        mut take: impl FnMut(T) -> Result<(), E>,
    ) -> Result<(), E> {
        let mut statement = self.prepared(sql).map_err(LedgerError::from)?;
        let mut rows = statement.query(with).map_err(LedgerError::from)?;
        while let Some(row) = rows.next().map_err(LedgerError::from)? {
            take(read(row).map_err(LedgerError::from)?)?;
        }
        Ok(())
    }
}

impl<'l> Tx<'l> {
    fn begin(store: &'l Store, now: Time) -> Result<Self, LedgerError> {
        let (head, edge) = store.kept_head()?;
        let last: i64 = store.one("SELECT coalesce(max(seq), 0) FROM entry", (), |row| row.get(0))?;
        if last != head.size {
            let what = format!("its head covers {} entries, but the last is {last}", head.size);
            return Err(LedgerError::Damaged { what });
        }
        let frontier = u64::try_from(head.size).ok().and_then(|size| Frontier::from_bytes(size, &edge));
        match frontier {
            Some(frontier) if frontier.root() == head.root => Ok(Self {
                store,
                time: now.to_string(),
                now,
                frontier,
                json: Vec::new(),
                bytes: Vec::new(),
                insert: None,
            }),
            _ => Err(LedgerError::Damaged { what: "the edge of its hash tree does not lead to its root".to_owned() }),
        }
    }

    /// The instant that entries appended here bear.
    pub const fn now(&self) -> Time {
        self.now
    }

    /// How many entries there are, those appended here included.
    pub fn size(&self) -> i64 {
        i64::try_from(self.frontier.size()).unwrap_or(i64::MAX)
    }

    fn keep_head(&self) -> Result<(), LedgerError> {
        self.run(
            "UPDATE head SET size = ?2, root = ?3, frontier = ?4 WHERE site = ?1 AND size <> ?2",
            (self.site.as_str(), self.size(), self.frontier.root(), self.frontier.to_bytes()),
        )?;
        Ok(())
    }
}
