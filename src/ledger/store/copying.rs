//! A ledger as a whole: copied while others write, its head read wherever it lies, its entries carried over.

use std::fs::File;
use std::path::Path;

use rusqlite::{OpenFlags, OptionalExtension};

use super::{Head, Ledger, LedgerError, Store, Tx, entries, heads, opening};
use crate::ledger::digest::Digest;
use crate::ledger::schema::Found;
use crate::units::SiteId;

impl Store {
    /// Writes the whole ledger into `to`, a file that must not be there: one snapshot in one file, synced, while others may go
    /// on writing. Every row is read and every index made anew, so a page that cannot be read is found; nothing of what
    /// was once deleted comes along.
    pub fn copy_to(&self, to: &Path) -> Result<(), LedgerError> {
        let failed = |source| LedgerError::Folder { path: to.to_owned(), source };
        let name = to.to_str().ok_or_else(|| failed(std::io::ErrorKind::InvalidFilename.into()))?;
        self.run("VACUUM INTO ?1", (name,))?;
        // SQLite does not sync what it writes so.
        File::options().write(true).open(to).and_then(|file| file.sync_all()).map_err(failed)
    }
}

impl Ledger {
    /// The head in a finished file that nobody writes to, of whatever version and on whatever file system. Nothing else
    /// of it is looked at.
    pub fn head_of_file(path: &Path, site: &SiteId) -> Result<Head, LedgerError> {
        let no_ledger = || LedgerError::NotALedger { path: path.to_owned() };
        let uri = opening::as_unchanging(path).ok_or_else(no_ledger)?;
        let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_URI;
        let (conn, found) = opening::open_as(Path::new(&uri), flags).map_err(|error| match error {
            LedgerError::NotALedger { .. } => no_ledger(),
            other => other,
        })?;
        if !matches!(found, Found::Version(_)) {
            return Err(no_ledger());
        }
        let kept = conn.query_row("SELECT site, size, root FROM head", (), |row| {
            Ok((row.get::<_, String>(0)?, Head { size: row.get(1)?, root: row.get(2)? }))
        });
        match kept.optional()? {
            Some((found, head)) if found == site.as_str() => Ok(head),
            Some((found, _)) => Err(LedgerError::OtherSite { found, expected: site.as_str().to_owned() }),
            None => Err(no_ledger()),
        }
    }
}

impl Tx<'_> {
    /// Appends those entries of `from` that come after the last one here, as they stand there, and keeps the signed heads
    /// that are not here. Returns how many entries that were. Projections are the caller's to make anew, and that
    /// what stands here is the beginning of `from` is the caller's to know.
    pub fn carry_over(&mut self, from: &Store) -> Result<i64, LedgerError> {
        let before = self.size();
        let sql = format!("{} WHERE seq > ?1 ORDER BY seq", entries::COLUMNS);
        from.each(&sql, (before,), entries::raw, |entry| {
            let leaf = Digest::from_bytes(&entry.leaf).filter(|_| entry.seq == self.size().saturating_add(1));
            let leaf =
                leaf.ok_or_else(|| LedgerError::Damaged { what: format!("entry {} is out of order", entry.seq) })?;
            self.keep_entry(&entry.time, &entry.kind, &entry.body, leaf).map(|_| ())
        })?;
        for row in from.signed_heads(-1, u32::MAX)? {
            self.run(heads::PUT_HEAD_IF_NEW, (row.head.size, row.head.root, row.time, &row.note))?;
        }
        Ok(self.size() - before)
    }
}
