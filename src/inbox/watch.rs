//! The system's notifications about the inbox, told as hints; the only place that names the notify crate.
//!
//! What Linux tells (inotify(7) through notify 8): a rename into the folder is one `Name(To)` and no `Close`; a copy in
//! place ends in `Close(Write)`. Opening a file is told too, so one's own reading raises events: all kinds that are not
//! named here are dropped, or the daemon would wake itself for ever. A queue that ran over is told by a flag without
//! a path. macOS and Windows tell no `Close(Write)`: there files settle, and only renames are taken at once.
//!
//! Hints may come late, twice or never. That is the scan's business.

use std::path::{Path, PathBuf};

use notify::event::{AccessKind, AccessMode, EventKind, ModifyKind, RenameMode};
use notify::{Config, ErrorKind, Event, RecommendedWatcher, RecursiveMode, Watcher};

/// What a notification says about the inbox.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Hint {
    /// The file was renamed into place, or closed after writing.
    Complete(PathBuf),
    /// Something was made, written or taken away there.
    Touched(PathBuf),
    /// Notifications were lost, or the folder itself was moved: what was told before counts no longer.
    Rescan,
    /// The watch no longer sees everything; only the periodic scan does.
    Deaf(WatchError),
}

/// Why the inbox is not watched. Files are still found by the periodic scan.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum WatchError {
    /// inotify's own limit, which the system reports as a full disk.
    #[error(
        "the system's limit of watched folders is reached (not the disk's): raise fs.inotify.max_user_watches; until then files are found by the periodic scan"
    )]
    WatchLimit,
    /// inotify's limit of watchers, which the system reports as too many open files.
    #[error(
        "the system's limit of watchers is reached: raise fs.inotify.max_user_instances or the limit of open files; until then files are found by the periodic scan"
    )]
    WatcherLimit,
    /// There is no such folder.
    #[error("there is no folder {0} to watch: create it")]
    NoFolder(PathBuf),
    /// Anything else.
    #[error("{path} cannot be watched ({why}): files are found by the periodic scan")]
    Other {
        /// The folder.
        path: PathBuf,
        /// What the system said.
        why: String,
    },
}

/// A running watch; it ends when dropped.
#[derive(Debug)]
pub struct Watch {
    _watcher: RecommendedWatcher,
}

impl Watch {
    /// Watches the inbox and all folders in it, those made later included. `send` is called from a thread of the watch
    /// and must not wait for long. Paths in hints begin with `inbox` as given here.
    pub fn start(inbox: &Path, send: impl Fn(Hint) + Send + 'static) -> Result<Self, WatchError> {
        let translation = Translation::of(inbox);
        let told = inbox.to_path_buf();
        let handler = move |event: notify::Result<Event>| match event {
            Ok(event) => hints(&event, &translation).into_iter().for_each(&send),
            Err(error) => send(Hint::Deaf(explain(&error, &told))),
        };
        // A link is not followed, neither by the scan nor here, where a ring of them would be endless.
        let config = Config::default().with_follow_symlinks(false);
        let mut watcher = RecommendedWatcher::new(handler, config).map_err(|error| explain(&error, inbox))?;
        watcher.watch(inbox, RecursiveMode::Recursive).map_err(|error| explain(&error, inbox))?;
        Ok(Self { _watcher: watcher })
    }
}

/// Notifications name files by their absolute or by their real path; the scan knows them below the inbox as configured.
struct Translation {
    inbox: PathBuf,
    others: Vec<PathBuf>,
}

impl Translation {
    fn of(inbox: &Path) -> Self {
        let others = [std::path::absolute(inbox), std::fs::canonicalize(inbox)];
        Self { inbox: inbox.to_path_buf(), others: others.into_iter().flatten().collect() }
    }

    fn path(&self, told: &Path) -> PathBuf {
        let below = self.others.iter().find_map(|other| told.strip_prefix(other).ok());
        match below {
            Some(below) if below.as_os_str().is_empty() => self.inbox.clone(),
            Some(below) => self.inbox.join(below),
            None => told.to_path_buf(),
        }
    }
}

fn hints(event: &Event, translation: &Translation) -> Vec<Hint> {
    if event.need_rescan() {
        return vec![Hint::Rescan];
    }
    let hint: fn(PathBuf) -> Hint = match event.kind {
        EventKind::Modify(ModifyKind::Name(RenameMode::To))
        | EventKind::Access(AccessKind::Close(AccessMode::Write)) => Hint::Complete,
        EventKind::Modify(ModifyKind::Name(RenameMode::Both)) => {
            // The first path is where it came from; that one was told by `From`.
            return event.paths.get(1).map(|to| Hint::Complete(translation.path(to))).into_iter().collect();
        }
        EventKind::Any
        | EventKind::Create(_)
        | EventKind::Remove(_)
        | EventKind::Modify(ModifyKind::Any | ModifyKind::Data(_) | ModifyKind::Name(_)) => Hint::Touched,
        // Opening and closing for reading, rights and times, and whatever else: not about content.
        EventKind::Access(_) | EventKind::Modify(ModifyKind::Metadata(_) | ModifyKind::Other) | EventKind::Other => {
            return Vec::new();
        }
    };
    let told = event.paths.iter().map(|path| translation.path(path));
    told.map(|path| if path == translation.inbox { Hint::Rescan } else { hint(path) }).collect()
}

/// inotify says "no space left on device" (28) when its own limit is reached and "too many open files" (24) when there
/// are too many watchers. On other systems these numbers come from the disk and from the process.
fn explain(error: &notify::Error, inbox: &Path) -> WatchError {
    let other = |why: String| WatchError::Other { path: inbox.to_path_buf(), why };
    match &error.kind {
        ErrorKind::MaxFilesWatch => WatchError::WatchLimit,
        ErrorKind::PathNotFound => WatchError::NoFolder(inbox.to_path_buf()),
        ErrorKind::Io(io) => match io.raw_os_error() {
            Some(28) if cfg!(target_os = "linux") => WatchError::WatchLimit,
            Some(24) if cfg!(target_os = "linux") => WatchError::WatcherLimit,
            _ if io.kind() == std::io::ErrorKind::NotFound => WatchError::NoFolder(inbox.to_path_buf()),
            _ => other(io.to_string()),
        },
        _ => other(error.to_string()),
    }
}
