//! Whose turn it is to write: a queue before SQLite's write lock.
//!
//! SQLite's lock goes to whoever asks at the right moment, and who waits asks ever more rarely; so one that writes without rest has
//! it again before anybody else asks. Therefore one at a time stands in front of it: whoever holds the lock of the file
//! `write.lock` asks SQLite, and lets go of that file once its transaction has begun. Who has just written and comes again
//! finds another in front, and cannot write twice while that one waits. Behind the front all ask equally often.
//!
//! **It is only courtesy.** SQLite's lock is what protects. Where the file cannot be made or locked there is no queue, and
//! who has spent half of its time behind others asks SQLite past them, since one of them may hang. The operating system
//! takes the lock from a process that ends in whatever way. Each open ledger opens the file for itself, and the lock belongs
//! to that opening; so threads stand in line as processes do.

use std::fs::{File, TryLockError};
use std::path::Path;
use std::thread;
use std::time::Duration;

use super::{LedgerError, WAIT};
use crate::clock::{Clock, SystemClock};

/// The file whose lock is the front of the queue, in the folder of the ledger.
const FILE: &str = "write.lock";
/// Whoever waits asks so often; a commit takes some milliseconds.
const ASK_EVERY: Duration = Duration::from_millis(1);

/// The queue, as one open ledger sees it.
pub(super) struct Queue {
    file: Option<File>,
    /// How long a writer waits in all.
    wait: Duration,
}

impl Queue {
    /// The queue before the ledger at `path`.
    pub(super) fn before(path: &Path) -> Self {
        let path = path.with_file_name(FILE);
        let file = File::options().create(true).truncate(false).write(true).open(&path);
        // Who may only read another's file may lock it all the same.
        Self { file: file.or_else(|_| File::open(&path)).ok(), wait: WAIT }
    }

    /// No queue: for a ledger that nobody else writes to.
    pub(super) const fn none() -> Self {
        Self { file: None, wait: WAIT }
    }

    /// Calls `ask`, which must not wait by itself, in turn and until it finds the ledger free or the time is over.
    pub(super) fn stand(&self, mut ask: impl FnMut() -> Result<(), LedgerError>) -> Result<(), LedgerError> {
        let clock = SystemClock::new();
        let _front = self.file.as_ref().and_then(|file| Front::reach(file, &clock, self.wait / 2));
        loop {
            match ask() {
                Err(LedgerError::Busy { .. }) if clock.monotonic() < self.wait => thread::sleep(ASK_EVERY),
                answer => return answer,
            }
        }
    }
}

/// The place in front of the ledger, until dropped.
struct Front<'f>(&'f File);

impl<'f> Front<'f> {
    /// `None` where it cannot be had, or not by `until`.
    fn reach(file: &'f File, clock: &SystemClock, until: Duration) -> Option<Self> {
        loop {
            match file.try_lock() {
                Ok(()) => return Some(Self(file)),
                Err(TryLockError::WouldBlock) if clock.monotonic() < until => thread::sleep(ASK_EVERY),
                Err(_) => return None,
            }
        }
    }
}

impl Drop for Front<'_> {
    fn drop(&mut self) {
        // A failure is passed over: others then go past this one, and closing the file lets go of it.
        let _ = self.0.unlock();
    }
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicUsize, Ordering::SeqCst};

    use super::*;
    use crate::ledger::samples::{Room, noon, retract, site};
    use crate::ledger::{Ledger, OpenMode};

    fn opened(room: &Room, wait: Duration) -> Ledger {
        let mut ledger = Ledger::open(&room.path(), &site(), OpenMode::Existing).unwrap();
        ledger.queue.wait = wait;
        ledger
    }

    fn write(ledger: &mut Ledger) -> Result<(), LedgerError> {
        ledger.write(noon(), |tx| tx.append(&retract(1)).map(|_| ()))
    }

    /// Counted in turns and not in time: how many others write between two writes of one that does not rest either. If each turn
    /// went to any of the eight alike, once in a million times somebody would wait for 150 turns.
    #[test]
    fn nobody_is_passed_over_for_long_by_those_who_never_rest() {
        const HANDS: usize = 8;
        const TURNS: usize = 300;
        let room = Room::new();
        drop(room.filled(1));
        let turns = AtomicUsize::new(0);
        let hand = || {
            let mut ledger = opened(&room, Duration::from_secs(5));
            let (mut last, mut longest) = (turns.load(SeqCst), 0);
            while turns.load(SeqCst) < TURNS {
                let turn = ledger.write(noon(), |tx| {
                    tx.append(&retract(1))?;
                    Ok::<_, LedgerError>(turns.fetch_add(1, SeqCst))
                })?;
                longest = longest.max(turn.saturating_sub(last));
                last = turn;
            }
            Ok::<_, LedgerError>(longest)
        };
        let longest = thread::scope(|scope| {
            let hands: Vec<_> = (0..HANDS).map(|_| scope.spawn(hand)).collect();
            hands.into_iter().map(|hand| hand.join().unwrap().unwrap()).max().unwrap()
        });
        assert!(longest < 150, "somebody was passed over {longest} times");
    }

    #[test]
    fn who_hangs_in_front_keeps_nobody_out() {
        let room = Room::new();
        drop(room.filled(1));
        let hangs = File::options().write(true).open(room.path().with_file_name(FILE)).unwrap();
        hangs.lock().unwrap();
        let mut ledger = opened(&room, Duration::from_millis(40));
        write(&mut ledger).unwrap();
        // And where there is no queue at all.
        ledger.queue.file = None;
        write(&mut ledger).unwrap();
        assert_eq!(ledger.head().unwrap().size, 3);
    }

    #[test]
    fn whoever_waits_in_vain_is_told_and_leaves_the_front() {
        let room = Room::new();
        let mut first = room.filled(1);
        let mut second = opened(&room, Duration::from_millis(40));
        first
            .write(noon(), |tx| {
                let refused = write(&mut second).unwrap_err();
                assert!(matches!(refused, LedgerError::Busy { .. }), "{refused}");
                tx.append(&retract(1)).map(|_| ())
            })
            .unwrap();
        let front = File::open(room.path().with_file_name(FILE)).unwrap();
        front.try_lock().unwrap();
        front.unlock().unwrap();
        write(&mut second).unwrap();
        assert_eq!(second.head().unwrap().size, 3);
    }
}
