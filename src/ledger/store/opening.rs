//! Opening the file: its folder, its kind, and the settings that make a commit durable.

use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::config::DbConfig;
use rusqlite::{Connection, ErrorCode, OpenFlags};

use crate::ledger::entry::Seq;
use crate::ledger::error::{LedgerError, WAIT};
use crate::ledger::schema::{self, Found};
use crate::ledger::tree::Frontier;
use crate::units::SiteId;

/// Makes the folder of the ledger, and sees to it that its name is on disk before anything inside is.
pub(super) fn make_folder(path: &Path) -> Result<(), LedgerError> {
    let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty() && !folder.exists()) else {
        return Ok(());
    };
    let failed = |source| LedgerError::Folder { path: folder.to_owned(), source };
    let above = folder.ancestors().find(|above| above.exists()).map(Path::to_owned);
    std::fs::create_dir_all(folder).map_err(failed)?;
    if cfg!(unix) {
        for new in folder.ancestors().skip(1) {
            let new = if new.as_os_str().is_empty() { Path::new(".") } else { new };
            std::fs::File::open(new).and_then(|folder| folder.sync_all()).map_err(failed)?;
            if above.as_deref().is_none_or(|above| above == new) {
                break;
            }
        }
    }
    Ok(())
}

pub(super) fn open_as(path: &Path, flags: OpenFlags) -> Result<(Connection, Found), LedgerError> {
    let conn = Connection::open_with_flags(path, flags | OpenFlags::SQLITE_OPEN_NO_MUTEX)?;
    // Before the first pragma, which may already find the file locked.
    conn.busy_timeout(WAIT)?;
    // Plans that do not hang on what is bound: else SQLite prepares a query about a range anew for every new bound.
    conn.set_db_config(DbConfig::SQLITE_DBCONFIG_ENABLE_QPSG, true)?;
    let found = schema::look(&conn).map_err(|error| match error {
        LedgerError::Sql(inner) if inner.sqlite_error_code() == Some(ErrorCode::NotADatabase) => {
            LedgerError::NotALedger { path: path.to_owned() }
        }
        other => other,
    })?;
    Ok((conn, found))
}

/// Opens for reading. Beside a writer, or where this process may make SQLite's `-shm` file, that is plain. A ledger closed
/// cleanly in a folder this process may not write to has neither; since it then has no log either, the file alone is whole
/// and is read as one that does not change.
pub(super) fn open_to_read(path: &Path) -> Result<(Connection, Found), LedgerError> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY;
    match open_as(path, flags) {
        Err(LedgerError::Sql(error))
            if error.sqlite_error_code() == Some(ErrorCode::CannotOpen) && !beside(path, "-wal").exists() =>
        {
            let Some(uri) = as_unchanging(path) else { return Err(LedgerError::Sql(error)) };
            open_as(Path::new(&uri), flags | OpenFlags::SQLITE_OPEN_URI)
        }
        other => other,
    }
}

fn uri(path: &Path, how: &str) -> Option<String> {
    let text = path.to_str()?.replace('%', "%25").replace('?', "%3f").replace('#', "%23");
    Some(format!("file:{text}?{how}"))
}

/// An empty ledger in memory whose entries are those of the file at `path` up to `last`, read where they lie. It has no head.
pub(super) fn open_past(path: &Path, site: &SiteId, last: Seq) -> Result<Connection, LedgerError> {
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_CREATE | OpenFlags::SQLITE_OPEN_URI;
    let conn = Connection::open_in_memory_with_flags(flags | OpenFlags::SQLITE_OPEN_NO_MUTEX)?;
    conn.busy_timeout(WAIT)?;
    prepare_to_write(&conn, site, Found::Empty)?;
    let attach = |how| match uri(path, how) {
        Some(uri) => conn.execute("ATTACH ?1 AS kept", (uri,)).and_then(|_| {
            // Attaching opens nothing yet.
            conn.query_row("SELECT count(*) FROM kept.head", (), |row| row.get::<_, i64>(0)).map(|_| ())
        }),
        None => Err(rusqlite::Error::InvalidPath(path.to_owned())),
    };
    match attach("mode=ro") {
        Err(error) if error.sqlite_error_code() == Some(ErrorCode::CannotOpen) && !beside(path, "-wal").exists() => {
            conn.execute_batch("DETACH kept").ok();
            attach("immutable=1")?;
        }
        attached => attached?,
    }
    conn.execute_batch(&format!(
        "DELETE FROM main.head; DROP TABLE main.entry;
         CREATE TEMP VIEW entry AS SELECT * FROM kept.entry WHERE seq <= {last};"
    ))?;
    Ok(conn)
}

/// The file's name for SQLite as one that does not change: no lock, no log. `None` where the name is no UTF-8.
pub(super) fn as_unchanging(path: &Path) -> Option<String> {
    uri(path, "immutable=1")
}

pub(super) fn beside(path: &Path, ending: &str) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(ending);
    PathBuf::from(name)
}

pub(super) fn prepare_to_write(conn: &Connection, site: &SiteId, found: Found) -> Result<(), LedgerError> {
    switch_to_log(conn)?;
    conn.pragma_update(None, "synchronous", "FULL")?;
    // The log shrinks to this after a checkpoint; a long reader can make it grow past it meanwhile.
    conn.pragma_update(None, "journal_size_limit", 16 * 1024 * 1024)?;
    // Room for a file of 10 000 rows, so that its pages are written once, at the commit; in KiB below zero.
    conn.pragma_update(None, "cache_size", -32 * 1024)?;
    if matches!(found, Found::Version(schema::VERSION)) {
        return Ok(());
    }
    let tx = rusqlite::Transaction::new_unchecked(conn, rusqlite::TransactionBehavior::Immediate)?;
    // Another process may have been here since.
    let from = match schema::look(&tx)? {
        Found::Version(version) => version,
        Found::Empty | Found::Foreign => 0,
    };
    if from < schema::VERSION {
        schema::migrate(&tx, from)?;
    }
    let empty = Frontier::new();
    tx.execute(
        "INSERT INTO head (site, size, root, frontier)
         SELECT ?1, 0, ?2, ?3 WHERE NOT EXISTS (SELECT 1 FROM head) AND NOT EXISTS (SELECT 1 FROM entry)",
        (site.as_str(), empty.root(), empty.to_bytes()),
    )?;
    tx.commit()?;
    Ok(())
}

/// The first switch to the write-ahead log needs the file for itself and, unlike other locks, SQLite does not wait for it:
/// another process that merely looks at the new file makes it fail.
fn switch_to_log(conn: &Connection) -> Result<(), LedgerError> {
    const STEP: Duration = Duration::from_millis(10);
    let mut tries = WAIT.as_millis() / STEP.as_millis();
    loop {
        match conn.pragma_update(None, "journal_mode", "WAL").map_err(LedgerError::from) {
            Err(LedgerError::Busy { .. }) if tries > 0 => {
                tries -= 1;
                std::thread::sleep(STEP);
            }
            done => return done,
        }
    }
}
