//! The rows of a store, fetched on one thread and walked on another.
//!
//! To fetch a row costs about as much as to hash it. The connection stays with the caller, who copies rows into batches;
//! a second thread takes them in the same order. A few batches go round between the two, so that memory stays the same however
//! many rows there are: each batch holds [`MOST_BYTES`] and one row more at most.

use std::ops::ControlFlow;
use std::panic::resume_unwind;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::thread;

use crate::ledger::error::LedgerError;
use crate::ledger::store::{RawBytes, RawRow, Store};

/// One being filled, one being walked, one on its way.
const BATCHES: usize = 3;
/// Enough to pay for waking a thread, and little enough to stay in a core's own cache.
const MOST_BYTES: usize = 256 * 1024;
const MOST_ROWS: usize = 1024;

/// Hands every row of `store`, whatever its number, to `take` in order of number.
///
/// `take` runs on a thread of its own; where none can be started, on the caller's. It has seen every row before the one at
/// which an error came. If it panics, so does this.
pub(super) fn each(store: &Store, mut take: impl FnMut(&RawRow) + Send) -> Result<(), LedgerError> {
    match beside(store, &mut take) {
        Some(fetched) => fetched,
        None => alone(store, take),
    }
}

fn alone(store: &Store, mut take: impl FnMut(&RawRow)) -> Result<(), LedgerError> {
    store.each_raw(|row| {
        row.as_row(&mut take);
        ControlFlow::Continue(())
    })
}

/// `None` if no thread can be started.
fn beside(store: &Store, take: impl FnMut(&RawRow) + Send) -> Option<Result<(), LedgerError>> {
    let (fill, filled) = channel();
    let (give_back, emptied) = channel();
    for _ in 1..BATCHES {
        give_back.send(Batch::default()).ok()?;
    }
    thread::scope(|scope| {
        let walker = thread::Builder::new().name("verify".to_owned());
        let walker = walker.spawn_scoped(scope, move || walk(&filled, &give_back, take)).ok()?;
        let fetched = fetch(store, &emptied, fill);
        match walker.join() {
            Ok(()) => Some(fetched),
            Err(panic) => resume_unwind(panic),
        }
    })
}

/// Ends early if nobody takes the rows any more.
fn fetch(store: &Store, emptied: &Receiver<Batch>, fill: Sender<Batch>) -> Result<(), LedgerError> {
    let mut batch = Batch::default();
    let fetched = store.each_raw(|row| {
        batch.push(row);
        if !batch.is_full() {
            return ControlFlow::Continue(());
        }
        let Ok(next) = emptied.recv() else { return ControlFlow::Break(()) };
        match fill.send(std::mem::replace(&mut batch, next)) {
            Ok(()) => ControlFlow::Continue(()),
            Err(_) => ControlFlow::Break(()),
        }
    });
    // What came before an error is walked too. Nobody left to take it has panicked, which the caller sees.
    fill.send(batch).ok();
    fetched
}

fn walk(filled: &Receiver<Batch>, give_back: &Sender<Batch>, mut take: impl FnMut(&RawRow)) {
    for mut batch in filled {
        batch.rows().for_each(|row| row.as_row(&mut take));
        batch.clear();
        // After the last batch nobody waits for it.
        give_back.send(batch).ok();
    }
}

/// Rows end to end.
#[derive(Default)]
struct Batch {
    bytes: Vec<u8>,
    /// The number of each, and how long its columns are.
    rows: Vec<(i64, [usize; 5])>,
}

impl Batch {
    fn push(&mut self, row: RawBytes) {
        row.columns.iter().for_each(|column| self.bytes.extend_from_slice(column));
        self.rows.push((row.seq, row.columns.map(<[u8]>::len)));
    }

    fn is_full(&self) -> bool {
        self.bytes.len() >= MOST_BYTES || self.rows.len() >= MOST_ROWS
    }

    fn rows(&self) -> impl Iterator<Item = RawBytes<'_>> {
        let mut rest = self.bytes.as_slice();
        self.rows.iter().map(move |&(seq, lengths)| {
            let columns = lengths.map(|length| {
                let (column, after) = rest.split_at_checked(length).unwrap_or_default();
                rest = after;
                column
            });
            RawBytes { seq, columns }
        })
    }

    /// Room that one large row took is given up.
    fn clear(&mut self) {
        self.bytes.clear();
        self.rows.clear();
        self.bytes.shrink_to(2 * MOST_BYTES);
    }
}

#[cfg(test)]
mod tests {
    use std::panic::{AssertUnwindSafe, catch_unwind};

    use super::*;
    use crate::ledger::samples::{Room, fill, site};
    use crate::ledger::store::Ledger;

    /// Puts in so many rows after the first two, with this body.
    fn many(rows: usize, body: &str) -> String {
        format!(
            "WITH RECURSIVE n(seq) AS (SELECT 3 UNION ALL SELECT seq + 1 FROM n WHERE seq < {rows} + 2)
             INSERT INTO entry SELECT '{}', seq, 'time ' || seq, 'kind', {body}, CAST(seq AS BLOB) FROM n
             WHERE seq <= {rows} + 2",
            site().as_str()
        )
    }

    /// Every row as it was handed over, and how it ended.
    fn told(walk: impl FnOnce(&mut (dyn FnMut(&RawRow) + Send)) -> Result<(), LedgerError>) -> (Vec<String>, String) {
        let mut rows = Vec::new();
        let ended = walk(&mut |row| rows.push(format!("{row:?}")));
        (rows, format!("{ended:?}"))
    }

    #[test]
    fn rows_come_whole_and_in_order_whatever_their_size() {
        for (rows, body) in [
            (0, "''"),
            (1, "CAST(x'c328ff' AS TEXT)"),
            (MOST_ROWS - 3, "''"),
            (MOST_ROWS - 2, "''"),
            (MOST_ROWS - 1, "''"),
            (5 * MOST_ROWS, "CASE WHEN seq % 7 = 0 THEN CAST(x'ff' AS TEXT) ELSE 'é' || seq END"),
            (40, "hex(zeroblob(10000 * seq))"),
            (9, "CASE WHEN seq % 3 = 0 THEN hex(zeroblob(1000000)) ELSE 'short' END"),
        ] {
            let mut ledger = Ledger::in_memory(&site()).unwrap();
            fill(&mut ledger, 2);
            ledger.attack(&many(rows, body));
            let expected = told(|take| alone(&ledger, take));
            assert_eq!((expected.0.len(), expected.1.as_str()), (rows + 2, "Ok(())"));
            assert!(told(|take| each(&ledger, take)) == expected, "{rows} rows of {body}");
            assert!(told(|take| beside(&ledger, take).unwrap()) == expected, "{rows} rows of {body}");
        }
    }

    #[test]
    fn an_error_comes_after_all_rows_before_it() {
        let room = Room::new();
        let ledger = room.filled(2);
        ledger.attack(&many(5000, "hex(zeroblob(200))"));
        drop(ledger);
        let whole = std::fs::read(room.path()).unwrap();
        let page = 4096;
        let places: Vec<usize> = (0..whole.len() / page).filter(|at| whole[at * page] == 0x0d).collect();
        assert!(places.len() > 300, "{}", places.len());
        let mut broken = 0;
        for at in places.iter().skip(50).step_by(60) {
            let mut bytes = whole.clone();
            bytes[at * page..][..page].fill(0);
            std::fs::write(room.path(), &bytes).unwrap();
            let ledger = room.open();
            let expected = told(|take| alone(&ledger, take));
            assert!(told(|take| each(&ledger, take)) == expected, "page {at}: {}", expected.1);
            broken += usize::from(expected.1.starts_with("Err") && expected.0.len() > 100);
        }
        assert!(broken > 3, "{broken}");
    }

    #[test]
    fn a_panic_on_the_way_is_the_callers() {
        let mut ledger = Ledger::in_memory(&site()).unwrap();
        fill(&mut ledger, 2);
        ledger.attack(&many(20 * MOST_ROWS, "''"));
        for bad in [1, 3 * MOST_ROWS as i64, 20 * MOST_ROWS as i64 + 2] {
            let walk = || each(&ledger, |row| assert!(row.seq != bad, "at {bad}"));
            let panic = catch_unwind(AssertUnwindSafe(walk)).unwrap_err();
            assert_eq!(panic.downcast_ref::<String>(), Some(&format!("at {bad}")));
        }
    }

    #[test]
    fn a_batch_ends_at_its_bounds_and_keeps_no_large_room() {
        let mut batch = Batch::default();
        let columns = [&b"s"[..], b"", b"k", &[b'x'; MOST_BYTES], b"leaf"];
        batch.push(RawBytes { seq: -7, columns });
        assert!(batch.is_full());
        batch.push(RawBytes { seq: 7, columns: [b""; 5] });
        let rows: Vec<_> = batch.rows().map(|row| (row.seq, row.columns)).collect();
        assert_eq!(rows, [(-7, columns), (7, [&b""[..]; 5])]);
        batch.push(RawBytes { seq: 8, columns: [b"", b"", b"", &[b'x'; 4 * MOST_BYTES], b""] });
        batch.clear();
        assert!(batch.bytes.capacity() <= 2 * MOST_BYTES && !batch.is_full());
        assert_eq!(batch.rows().count(), 0);
        for seq in 0..MOST_ROWS as i64 {
            assert!(!batch.is_full());
            batch.push(RawBytes { seq, columns: [b""; 5] });
        }
        assert!(batch.is_full());
    }
}
