//! The raw work that ours is held against: rows of 500 bytes by rusqlite alone, as durable as the ledger's.

use std::path::Path;

use rusqlite::{Connection, TransactionBehavior};

use crate::measure::Outcome;

/// A table of rows of 500 bytes with one index on (device, time), as durable as the ledger.
pub fn open_raw(path: &Path) -> Outcome<Connection> {
    let conn = Connection::open(path)?;
    conn.pragma_update(None, "journal_mode", "WAL")?;
    conn.pragma_update(None, "synchronous", "FULL")?;
    conn.execute_batch(
        "CREATE TABLE raw (id INTEGER PRIMARY KEY, device TEXT NOT NULL, time INTEGER NOT NULL, body BLOB NOT NULL) STRICT;
         CREATE INDEX raw_time ON raw (device, time)",
    )?;
    Ok(conn)
}

/// Inserts `count` rows in one synced transaction; four devices take turns.
pub fn raw_rows(conn: &mut Connection, from: i64, count: i64) -> Outcome<()> {
    let body = [b'x'; 480];
    let tx = conn.transaction_with_behavior(TransactionBehavior::Immediate)?;
    {
        let mut insert = tx.prepare_cached("INSERT INTO raw (device, time, body) VALUES (?1, ?2, ?3)")?;
        for n in from..from + count {
            let device = ["bay-screen", "bay-lamp", "booth-screen", "booth-lamp"][(n % 4) as usize];
            insert.execute((device, n * 60_000_000, body.as_slice()))?;
        }
    }
    tx.commit()?;
    Ok(())
}
