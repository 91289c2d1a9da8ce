//! Signed heads as time passes: one each hour with news, and its files, made up for where a folder was not there.
//!
//! Copies may lie on a disk of another computer that answers late or never, so files are written by a thread of their own.

use std::time::Duration;

use tokio::sync::oneshot;

use super::{Daemon, DaemonError, Notice};
use crate::ledger::LedgerError;
use crate::publish::beat::Fails;
use crate::signing::files::{self, FileError};
use crate::signing::{SigningError, sign_head};
use crate::units::Days;

/// A head is signed this long after the last, if there is news.
const EVERY: Days = Days(1.0 / 24.0);
/// How often it is looked whether one is due.
const LOOK_EVERY: Duration = Duration::from_secs(60);
/// How long until what failed is tried again.
const AGAIN: Duration = Duration::from_secs(600);
/// Files are written for so many heads at a time.
const CHUNK: u32 = 1000;

/// What is known of signed heads between two wakes.
#[derive(Debug, Default)]
pub(super) struct Heads {
    /// When to look again whether one is due, and whether files are missing: monotonic.
    look: Duration,
    write: Duration,
    /// Heads of up to so many entries have their files.
    written: i64,
    writing: Option<oneshot::Receiver<Result<i64, FileError>>>,
    /// Set while files cannot be written; stands in each beat.
    pub(super) fails: Option<Fails>,
    /// What was told last, so that it is told once.
    told: Option<String>,
}

impl Daemon {
    /// Signs a head if one is due, and sees to the files of those there are.
    pub(super) fn keep_heads(&mut self, monotonic: Duration) -> Result<(), DaemonError> {
        if monotonic >= self.heads.look {
            self.heads.look = monotonic + LOOK_EVERY;
            if self.config.signing.hourly
                && let Err(error) = self.sign_if_due()
            {
                match error {
                    SigningError::Ledger(error) => self.survive(error)?,
                    other => self.tell_once(other.to_string()),
                }
            }
        }
        self.files(monotonic).or_else(|error| self.survive(error))
    }

    fn sign_if_due(&mut self) -> Result<(), SigningError> {
        let now = self.clock.now();
        if let Some(newest) = self.ledger.newest_signed_head()? {
            // A clock that was set back must not keep heads waiting.
            let recent = newest.time <= now && now.since(newest.time) < EVERY;
            if recent || newest.head.size >= self.ledger.head()?.size {
                return Ok(());
            }
        }
        let config = &self.config;
        self.ledger.write(now, |tx| sign_head(tx, config))?;
        self.heads.write = Duration::ZERO;
        Ok(())
    }

    fn files(&mut self, monotonic: Duration) -> Result<(), LedgerError> {
        if let Some(writing) = &mut self.heads.writing {
            match writing.try_recv() {
                Err(oneshot::error::TryRecvError::Empty) => return Ok(()),
                Ok(Ok(size)) => {
                    self.heads.written = size;
                    (self.heads.told, self.heads.fails) = (None, None);
                }
                Ok(Err(why)) => {
                    self.heads.write = monotonic + AGAIN;
                    let why = why.to_string();
                    let since = self.heads.fails.take().map_or(self.clock.now(), |before| before.since);
                    self.heads.fails = Some(Fails { since, why: why.clone() });
                    self.tell_once(why);
                }
                // The thread ended without a word.
                Err(oneshot::error::TryRecvError::Closed) => self.heads.write = monotonic + AGAIN,
            }
            self.heads.writing = None;
        }
        if monotonic < self.heads.write {
            return Ok(());
        }
        let rows = self.ledger.signed_heads(self.heads.written, CHUNK)?;
        let Some(last) = rows.last().map(|row| row.head.size) else {
            // Others sign too; their files are theirs, and made up for here where that failed.
            self.heads.write = monotonic + LOOK_EVERY;
            return Ok(());
        };
        let (done, writing) = oneshot::channel();
        let (places, site) = (files::places(&self.config), self.config.site.id.clone());
        self.heads.writing = Some(writing);
        std::thread::spawn(move || {
            // The state folder's own comes first, and is not kept waiting by the other.
            let made = places.iter().map(|place| place.make_up(&site, &rows)).find(Result::is_err);
            // Nobody listens any more where the daemon has ended.
            let _ = done.send(made.unwrap_or(Ok(())).map(|()| last));
        });
        Ok(())
    }

    fn tell_once(&mut self, why: String) {
        if self.heads.told.as_ref() != Some(&why) {
            (self.tell)(Notice::Trouble(why.clone()));
            self.heads.told = Some(why);
        }
    }
}
