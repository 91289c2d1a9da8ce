//! The projections as a whole: emptying them, counting them, and comparing those of two ledgers.

use rusqlite::types::ValueRef;
use sha2::{Digest as _, Sha256};

use super::{LedgerError, Store, Tx};
use crate::ledger::digest::Digest;
use crate::ledger::schema::PROJECTIONS;

/// The content of one projection, in short.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TableDigest {
    /// The table.
    pub table: &'static str,
    /// How many rows it has.
    pub rows: i64,
    /// The digest of all of them, in an order that depends on their content alone.
    pub digest: Digest,
}

/// How much there is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)]
pub struct Counts {
    pub readings: i64,
    /// Of the readings, those that do not count.
    pub excluded: i64,
    pub events: i64,
    pub files: i64,
    pub refused: i64,
    pub standing_alerts: i64,
    pub due_messages: i64,
}

impl Store {
    /// The digest of every projection, by name of table: two ledgers have the same projections if and only if these agree
    /// (estimates and checkpoints included, whose bytes must then be made in the same way).
    pub fn projection_digests(&self) -> Result<Vec<TableDigest>, LedgerError> {
        PROJECTIONS.iter().map(|(table, order)| self.table_digest(table, order)).collect()
    }

    /// How much there is. Looks at whole tables: for `check`, not for queries.
    pub fn counts(&self) -> Result<Counts, LedgerError> {
        self.one(
            "SELECT (SELECT count(*) FROM reading), (SELECT count(*) FROM reading WHERE excluded IS NOT NULL),
                    (SELECT count(*) FROM event), (SELECT count(*) FROM file WHERE NOT refused),
                    (SELECT count(*) FROM file WHERE refused), (SELECT count(*) FROM alert WHERE cleared_us IS NULL),
                    (SELECT count(*) FROM outbox WHERE state = 'due')",
            (),
            |row| {
                Ok(Counts {
                    readings: row.get(0)?,
                    excluded: row.get(1)?,
                    events: row.get(2)?,
                    files: row.get(3)?,
                    refused: row.get(4)?,
                    standing_alerts: row.get(5)?,
                    due_messages: row.get(6)?,
                })
            },
        )
    }

    /// Each value enters with its kind, and texts and bytes with their length, so that no value runs into the next.
    fn table_digest(&self, table: &'static str, order: &str) -> Result<TableDigest, LedgerError> {
        let mut statement = self.conn.prepare(&format!("SELECT * FROM {table} ORDER BY {order}"))?;
        let columns = statement.column_count();
        let mut rows = statement.query(())?;
        let mut hash = Sha256::new();
        let mut count = 0;
        while let Some(row) = rows.next()? {
            count += 1;
            for column in 0..columns {
                match row.get_ref(column)? {
                    ValueRef::Null => hash.update([0]),
                    ValueRef::Integer(number) => {
                        hash.update([1]);
                        hash.update(number.to_le_bytes());
                    }
                    ValueRef::Real(number) => {
                        hash.update([2]);
                        hash.update(number.to_le_bytes());
                    }
                    ValueRef::Text(bytes) => lengthened(&mut hash, 3, bytes),
                    ValueRef::Blob(bytes) => lengthened(&mut hash, 4, bytes),
                }
            }
        }
        let bytes: [u8; 32] = hash.finalize().into();
        let digest = Digest::from_bytes(&bytes).unwrap_or_else(|| Digest::of(b""));
        Ok(TableDigest { table, rows: count, digest })
    }
}

fn lengthened(hash: &mut Sha256, kind: u8, bytes: &[u8]) {
    hash.update([kind]);
    hash.update((bytes.len() as u64).to_le_bytes());
    hash.update(bytes);
}

impl Tx<'_> {
    /// Empties every projection; the entries and the head stay.
    pub fn clear_projections(&self) -> Result<(), LedgerError> {
        for (table, _) in PROJECTIONS {
            self.run(&format!("DELETE FROM {table}"), ())?;
        }
        Ok(())
    }
}
