//! What can go wrong with a ledger, and what the caller must do about it.
//!
//! **A failed sync.** After a failed sync the system may have dropped the pages and let the next sync succeed, so a second try
//! proves nothing. [`LedgerError::Broken`] therefore ends the writer: the process exits and the next start reads what is
//! really on disk. A full disk ([`LedgerError::DiskFull`]) is told apart: SQLite took the transaction back, the ledger is as
//! it was, and the same work may be tried again once there is space.

use std::path::PathBuf;
use std::time::Duration;

use super::entry::{BadBody, Seq};

/// Why the ledger could not do what was asked.
#[derive(Debug, thiserror::Error)]
pub enum LedgerError {
    /// There is no ledger at the path.
    #[error("no ledger at {}: `twinwhite run` begins one, as do `add` and `ingest`", path.display())]
    Missing {
        /// Where it was looked for.
        path: PathBuf,
    },
    /// The file is no ledger.
    #[error("{} is not a twinwhite ledger: move it away, or name another folder under [paths] state", path.display())]
    NotALedger {
        /// The file.
        path: PathBuf,
    },
    /// A newer program wrote the store.
    #[error("the ledger has version {found}, this program knows versions up to {known}: use a newer twinwhite")]
    Newer {
        /// The version found.
        found: i64,
        /// The newest version this program knows.
        known: i64,
    },
    /// An older program wrote the store, and it was opened only for reading.
    #[error("the ledger has version {found} and needs {known}: `twinwhite check` brings it up to date")]
    Older {
        /// The version found.
        found: i64,
        /// The version needed.
        known: i64,
    },
    /// The ledger belongs to another site.
    #[error(
        "the ledger belongs to site '{found}', not '{expected}': correct [site] id, or name another folder under [paths] state"
    )]
    OtherSite {
        /// The site in the ledger.
        found: String,
        /// The site that was configured.
        expected: String,
    },
    /// The ledger lies on a network file system, where SQLite's log can be damaged.
    #[error("{} lies on a network file system ({kind}), where a ledger can be damaged: name a local folder under [paths] state", path.display())]
    NetworkFileSystem {
        /// The ledger's path.
        path: PathBuf,
        /// The kind of file system.
        kind: String,
    },
    /// The folder of the ledger could not be made or looked at.
    #[error("cannot use the folder {}: {source}", path.display())]
    Folder {
        /// The folder.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// Another process kept the ledger locked for longer than the wait.
    #[error("another process kept the ledger locked for {waited_s} s: try again, or see what it is doing")]
    Busy {
        /// How long was waited, in seconds.
        waited_s: u64,
    },
    /// The ledger was opened only for reading, by choice or because its files allow no more.
    #[error("the ledger can only be read here: check who may write to its folder")]
    ReadOnly,
    /// The disk is full; nothing was written, and the work may be tried again.
    #[error("the disk is full, nothing was written: make space and try again")]
    DiskFull,
    /// Reading, writing or syncing failed; the writer must stop (see the module's header).
    #[error("the disk failed ({what}): whether the last write is kept is not known, so start anew and look")]
    Broken {
        /// What SQLite said.
        what: String,
    },
    /// A write was asked of a ledger whose disk had failed.
    #[error("the ledger's disk failed before, so nothing more is written: start anew")]
    Stopped,
    /// What the store holds cannot be.
    #[error("the ledger is damaged ({what}): `twinwhite audit verify` says where")]
    Damaged {
        /// What was found.
        what: String,
    },
    /// An entry was to be written, or was read, that is none.
    #[error("entry {seq}: {source}")]
    BadEntry {
        /// The entry.
        seq: Seq,
        /// What is wrong with it.
        source: BadBody,
    },
    /// `founded` was not first, or something else was.
    #[error("entry {seq} cannot be '{kind}': a ledger begins with 'founded' and has it only once")]
    Order {
        /// The number it would have got.
        seq: Seq,
        /// Its kind.
        kind: &'static str,
    },
    /// Anything else SQLite says.
    #[error("the ledger's store says: {0}")]
    Sql(rusqlite::Error),
}

/// How long a connection waits for another one's lock.
pub(super) const WAIT: Duration = Duration::from_secs(10);

impl LedgerError {
    /// Whether the process must stop writing and start anew.
    pub const fn is_fatal(&self) -> bool {
        matches!(self, Self::Broken { .. } | Self::Stopped)
    }

    /// Whether the same work may succeed later without anybody restarting anything: a full disk, a busy ledger.
    pub const fn is_passing(&self) -> bool {
        matches!(self, Self::DiskFull | Self::Busy { .. })
    }
}

impl From<rusqlite::Error> for LedgerError {
    fn from(error: rusqlite::Error) -> Self {
        use rusqlite::Error as Sqlite;
        use rusqlite::ErrorCode;
        if matches!(
            error,
            Sqlite::FromSqlConversionFailure(..) | Sqlite::InvalidColumnType(..) | Sqlite::IntegralValueOutOfRange(..)
        ) {
            return Self::Damaged { what: error.to_string() };
        }
        match error.sqlite_error_code() {
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => Self::Busy { waited_s: WAIT.as_secs() },
            Some(ErrorCode::DiskFull) => Self::DiskFull,
            Some(ErrorCode::SystemIoFailure) => Self::Broken { what: error.to_string() },
            Some(ErrorCode::DatabaseCorrupt) => Self::Damaged { what: error.to_string() },
            Some(ErrorCode::ReadOnly) => Self::ReadOnly,
            _ => Self::Sql(error),
        }
    }
}
