//! What must hold before the daemon runs: folders, ledger, no other daemon, no archive without its ledger.

use std::fs::{self, File, TryLockError};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::mpsc;

use super::deliver::Deliveries;
use super::pulse::Pulse;
use super::{Daemon, Due, Heads, Notice};
use crate::alert::{Kind, Sighting};
use crate::clock::Clock;
use crate::config::Config;
use crate::evaluate::{self, Condition};
use crate::inbox::{FolderError, Folders, Inbox, network_share};
use crate::ledger::{Ledger, LedgerError, OpenMode};
use crate::pipeline;

/// The ledger's file inside the state folder.
pub const LEDGER_FILE: &str = "ledger.db";
const LOCK_FILE: &str = "run.lock";
/// A lock that is taken is asked for again for so long: whoever only looks whether it is taken holds it for no time at all.
const LOCK_AGAIN: (u32, Duration) = (20, Duration::from_millis(10));

/// Why the daemon does not start.
#[derive(Debug, thiserror::Error)]
pub enum StartError {
    /// A folder is missing or cannot be written to.
    #[error(transparent)]
    Folder(#[from] FolderError),
    /// The ledger cannot be used.
    #[error(transparent)]
    Ledger(#[from] LedgerError),
    /// The state folder cannot be used.
    #[error("the state folder {} cannot be used: {why}; check the path and who may write there", path.display())]
    State {
        /// The folder.
        path: PathBuf,
        /// What the system said.
        why: std::io::Error,
    },
    /// Another daemon runs on this state.
    #[error("another `twinwhite run` already watches this site ({} is locked): stop it first", lock.display())]
    Running {
        /// The lock.
        lock: PathBuf,
    },
    /// There are archived files, but the ledger that took them is gone.
    #[error(
        "there is no ledger in {}, but files in {}: they were taken in by a ledger that is gone. Put a backup in its place with \
         `twinwhite restore FILE`, or run once with --new-ledger to begin anew; the first entry will then say so",
        state.display(), archive.display()
    )]
    Orphaned {
        /// The state folder.
        state: PathBuf,
        /// The archive.
        archive: PathBuf,
    },
}

/// The three folders of the configuration.
pub(super) fn folders(config: &Config) -> Folders {
    Folders {
        inbox: config.paths.inbox.clone(),
        archive: config.paths.archive.clone(),
        quarantine: config.paths.quarantine.clone(),
    }
}

/// Opens the ledger of a site to write to it, and begins it where there is none.
pub fn open_ledger(config: &Config, clock: &dyn Clock, new_ledger: bool) -> Result<Ledger, StartError> {
    let path = config.paths.state.join(LEDGER_FILE);
    let orphaned = !path.exists() && holds_files(&config.paths.archive);
    if orphaned && !new_ledger {
        let (state, archive) = (config.paths.state.clone(), config.paths.archive.clone());
        return Err(StartError::Orphaned { state, archive });
    }
    let mut ledger = Ledger::open(&path, &config.site.id, OpenMode::Create)?;
    let note = orphaned.then_some("begun anew beside an archive that is not empty; the ledger that filled it is gone");
    ledger.found(clock.now(), env!("CARGO_PKG_VERSION"), note)?;
    Ok(ledger)
}

/// Makes everything ready. `tell` hears what happens from then on.
pub fn start(
    config: Config,
    config_file: PathBuf,
    clock: Arc<dyn Clock>,
    new_ledger: bool,
    tell: Box<dyn FnMut(Notice) + Send>,
) -> Result<Daemon, StartError> {
    let lock = lock(&config.paths.state)?;
    let folders = folders(&config);
    folders.prepare()?;
    let mut ledger = open_ledger(&config, clock.as_ref(), new_ledger)?;
    let good = refused_configuration(&config, Sighting::Good, "");
    let happened = ledger.write(clock.now(), |tx| {
        pipeline::come_into_force(tx, &config)?;
        evaluate::decide(tx, &config, good)
    })?;
    let inbox = Inbox::new(folders, config.inbox.settle, config.inbox.max_bytes);
    let (send_hint, hints) = mpsc::unbounded_channel();
    let deaf = network_share(&config.paths.inbox).map(|kind| {
        let every = config.inbox.look_every().as_secs();
        format!(
            "the inbox lies on a network share ({kind}), which sends no events: it is looked through every {every} s"
        )
    });
    let watching = Notice::Watching { inbox: config.paths.inbox.clone(), deaf };
    let mut daemon = Daemon {
        config,
        config_file,
        clock,
        ledger,
        inbox,
        watch: None,
        hints,
        send_hint,
        deliveries: Deliveries::default(),
        heads: Heads::default(),
        due: Due::default(),
        pulse: Pulse::default(),
        tell,
        _lock: lock,
    };
    // Before it says so: what is renamed in from then on is known to be whole, and need not settle.
    daemon.start_watch();
    std::iter::once(watching).chain(happened.map(Notice::Happened)).for_each(&mut daemon.tell);
    Ok(daemon)
}

/// What is known of the configuration file: whether it could be read, and if not, why.
pub(super) fn refused_configuration(config: &Config, sighting: Sighting, why: &str) -> Condition {
    let detail = why.lines().map(str::to_owned).collect();
    Condition::of(Kind::ConfigRefused, config.site.id.as_str(), sighting, detail)
}

/// Keeps every other `run` away from this state, for as long as the file is open.
pub(crate) fn lock(state: &Path) -> Result<File, StartError> {
    let unusable = |why| StartError::State { path: state.to_owned(), why };
    fs::create_dir_all(state).map_err(unusable)?;
    let path = state.join(LOCK_FILE);
    let file = File::options().create(true).truncate(false).write(true).open(&path).map_err(unusable)?;
    let (times, pause) = LOCK_AGAIN;
    for _ in 0..times {
        match file.try_lock() {
            Ok(()) => return Ok(file),
            Err(TryLockError::WouldBlock) => std::thread::sleep(pause),
            Err(TryLockError::Error(why)) => return Err(unusable(why)),
        }
    }
    Err(StartError::Running { lock: path })
}

/// Whether a daemon runs on this state, by its lock, which the operating system lets go when it dies in whatever way; `None` where that
/// cannot be told.
pub fn is_running(state: &Path) -> Option<bool> {
    let file = File::open(state.join(LOCK_FILE)).ok()?;
    // Let go at once: a daemon that begins at this moment asks again.
    match file.try_lock_shared() {
        Ok(()) => Some(false),
        Err(TryLockError::WouldBlock) => Some(true),
        Err(TryLockError::Error(_)) => None,
    }
}

/// Whether there is any file below `folder`.
fn holds_files(folder: &Path) -> bool {
    let Ok(entries) = fs::read_dir(folder) else { return false };
    entries.flatten().any(|entry| match entry.file_type() {
        Ok(kind) if kind.is_dir() => holds_files(&entry.path()),
        Ok(kind) => kind.is_file(),
        Err(_) => false,
    })
}
