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
        // The inbox itself may stand behind a link, since it was named on purpose.
        let real = std::fs::canonicalize(inbox).unwrap_or_else(|_| inbox.to_path_buf());
        watcher.watch(&real, RecursiveMode::Recursive).map_err(|error| explain(&error, inbox))?;
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

#[cfg(test)]
mod tests {
    use super::*;

    fn told(event: Event) -> Vec<Hint> {
        hints(&event, &Translation { inbox: "/in".into(), others: vec!["/real/in".into()] })
    }

    #[test]
    fn an_overflow_comes_without_a_path_and_asks_for_a_rescan() {
        let overflow = Event::new(EventKind::Other).set_flag(notify::event::Flag::Rescan);
        assert_eq!(told(overflow), [Hint::Rescan]);
    }

    #[test]
    fn paths_are_told_below_the_inbox_as_configured() {
        let kind = EventKind::Modify(ModifyKind::Name(RenameMode::Both));
        let both = Event::new(kind).add_path("/real/in/.a".into()).add_path("/real/in/a".into());
        assert_eq!(told(both), [Hint::Complete("/in/a".into())]);
        let moved = Event::new(EventKind::Modify(ModifyKind::Name(RenameMode::From))).add_path("/real/in".into());
        assert_eq!(told(moved), [Hint::Rescan]);
    }

    #[test]
    fn the_watch_limit_is_not_called_a_full_disk() {
        let inbox = Path::new("/in");
        assert_eq!(explain(&notify::Error::new(ErrorKind::MaxFilesWatch), inbox), WatchError::WatchLimit);
        let full = notify::Error::io(std::io::Error::from_raw_os_error(28));
        if cfg!(target_os = "linux") {
            assert_eq!(explain(&full, inbox), WatchError::WatchLimit);
        }
        assert!(WatchError::WatchLimit.to_string().contains("fs.inotify.max_user_watches"));
        let gone = Watch::start(Path::new("/there/is/no/such/folder"), |_| {}).unwrap_err();
        assert_eq!(gone, WatchError::NoFolder("/there/is/no/such/folder".into()));
    }
}

/// With the real notifications of Linux.
#[cfg(all(test, target_os = "linux"))]
mod linux {
    use std::collections::HashSet;
    use std::fs;
    use std::sync::mpsc::{Receiver, channel};
    use std::time::Duration;

    use super::super::{Blind, Folders, Inbox};
    use super::*;
    use crate::units::Time;

    const PATIENCE: Duration = Duration::from_secs(20);

    struct Watched {
        room: tempfile::TempDir,
        folders: Folders,
        hints: Receiver<Hint>,
        _watch: Watch,
    }

    impl Watched {
        fn new() -> Self {
            // In memory where there is such a folder: the moves sync, and there are many.
            let room = tempfile::tempdir_in("/dev/shm").or_else(|_| tempfile::tempdir()).unwrap();
            let folders = Folders::beside(room.path().join("inbox"));
            folders.prepare().unwrap();
            let (send, hints) = channel();
            let watch = Watch::start(&folders.inbox, move |hint| drop(send.send(hint))).unwrap();
            Self { room, folders, hints, _watch: watch }
        }

        fn path(&self, name: &str) -> PathBuf {
            self.folders.inbox.join(name)
        }

        fn rename_in(&self, name: &str) {
            let draft = self.room.path().join("draft");
            fs::write(&draft, name).unwrap();
            fs::rename(draft, self.path(name)).unwrap();
        }

        /// All hints about others than a last file that is renamed in now.
        fn until_now(&self) -> Vec<Hint> {
            let last = Hint::Complete(self.path("last"));
            self.rename_in("last");
            let mut before = Vec::new();
            loop {
                match self.hints.recv_timeout(PATIENCE).unwrap() {
                    hint if hint == last => return before,
                    hint => before.push(hint),
                }
            }
        }
    }

    #[test]
    fn a_rename_is_whole_and_a_copy_is_whole_when_closed() {
        let watched = Watched::new();
        watched.rename_in("renamed");
        assert_eq!(watched.until_now(), [Hint::Complete(watched.path("renamed"))]);
        fs::copy(watched.path("renamed"), watched.path("copied")).unwrap();
        let copied = watched.until_now();
        let about = |hint: &&Hint| **hint != Hint::Complete(watched.path("last"));
        let copied: Vec<_> = copied.iter().filter(about).collect();
        let (end, before) = copied.split_last().unwrap();
        assert_eq!(**end, Hint::Complete(watched.path("copied")));
        assert!(!before.is_empty());
        assert!(before.iter().all(|hint| **hint == Hint::Touched(watched.path("copied"))), "{before:?}");
        // A rename within the folder is told of the new name.
        fs::rename(watched.path("copied"), watched.path("again")).unwrap();
        assert!(watched.until_now().contains(&Hint::Complete(watched.path("again"))));
    }

    #[test]
    fn ones_own_reading_wakes_nobody() {
        let watched = Watched::new();
        watched.rename_in("a");
        watched.until_now();
        for _ in 0..10 {
            fs::read(watched.path("a")).unwrap();
            fs::read_dir(&watched.folders.inbox).unwrap().for_each(drop);
        }
        assert_eq!(watched.until_now(), []);
    }

    #[test]
    fn a_new_folder_is_watched() {
        let watched = Watched::new();
        fs::create_dir(watched.path("bay-lamp")).unwrap();
        assert_eq!(watched.hints.recv_timeout(PATIENCE).unwrap(), Hint::Touched(watched.path("bay-lamp")));
        // The watch on it is set a moment later; a file that comes before is found by the scan, so here it tries often.
        let told = (0..1_000).any(|number| {
            watched.rename_in(&format!("bay-lamp/{number}"));
            watched.hints.recv_timeout(Duration::from_millis(20)).is_ok()
        });
        assert!(told);
    }

    #[test]
    fn a_folder_that_was_moved_is_noticed_by_watch_and_scan() {
        let watched = Watched::new();
        let mut inbox = Inbox::new(watched.folders.clone(), Duration::from_secs(10), 1_000);
        assert_eq!(inbox.scan(Duration::ZERO).blind, None);
        fs::rename(&watched.folders.inbox, watched.room.path().join("away")).unwrap();
        fs::create_dir(&watched.folders.inbox).unwrap();
        assert_eq!(watched.hints.recv_timeout(PATIENCE).unwrap(), Hint::Rescan);
        assert_eq!(inbox.scan(Duration::ZERO).blind, Some(Blind::Replaced(watched.folders.inbox.clone())));
    }

    #[test]
    fn an_inbox_behind_a_link_is_told_by_its_own_name() {
        let room = tempfile::tempdir().unwrap();
        fs::create_dir(room.path().join("real")).unwrap();
        let link = room.path().join("inbox");
        std::os::unix::fs::symlink(room.path().join("real"), &link).unwrap();
        let (send, hints) = channel();
        let _watch = Watch::start(&link, move |hint| drop(send.send(hint))).unwrap();
        fs::write(room.path().join("draft"), "1").unwrap();
        fs::rename(room.path().join("draft"), room.path().join("real/a")).unwrap();
        assert_eq!(hints.recv_timeout(PATIENCE).unwrap(), Hint::Complete(link.join("a")));
    }

    /// Four people drop 500 files each, renamed or copied, while the inbox takes them on hints alone: time stands still,
    /// so none settles. What the hints missed, if anything, the last rescan finds.
    #[test]
    fn two_thousand_at_once_are_each_taken_once() {
        let watched = Watched::new();
        let mut inbox = Inbox::new(watched.folders.clone(), Duration::from_secs(10), 1_000);
        let (folder, room) = (watched.folders.inbox.clone(), watched.room.path().to_path_buf());
        let people: Vec<_> = (0..4)
            .map(|person| {
                let (folder, room) = (folder.clone(), room.clone());
                std::thread::spawn(move || {
                    for number in 0..500 {
                        let text = format!("{person} {number}");
                        let path = folder.join(format!("{person}-{number}.csv"));
                        if number % 2 == 0 {
                            fs::write(path, text).unwrap();
                        } else {
                            let draft = room.join(format!("draft-{person}"));
                            fs::write(&draft, text).unwrap();
                            fs::rename(draft, path).unwrap();
                        }
                    }
                })
            })
            .collect();
        let mut taken = HashSet::new();
        let now = Time::parse("2026-05-06T07:08:09Z").unwrap();
        let mut take = |inbox: &mut Inbox, at: Duration| {
            for candidate in inbox.scan(at).ready {
                let claim = inbox.claim(&candidate).unwrap();
                assert!(taken.insert(claim.bytes.clone()), "twice: {candidate:?}");
                inbox.archive(&claim, now).unwrap();
            }
            taken.len()
        };
        let mut on_hints = 0;
        while on_hints < 2_000 {
            match watched.hints.recv_timeout(Duration::from_secs(2)) {
                Ok(hint) => inbox.hint(hint),
                Err(_) => break,
            }
            watched.hints.try_iter().for_each(|hint| inbox.hint(hint));
            on_hints = take(&mut inbox, Duration::ZERO);
        }
        people.into_iter().for_each(|person| person.join().unwrap());
        take(&mut inbox, Duration::ZERO);
        let all = take(&mut inbox, Duration::from_secs(10));
        inbox.sync().unwrap();
        println!("{on_hints} of {all} on hints alone");
        assert_eq!(all, 2_000);
        assert_eq!(fs::read_dir(&folder).unwrap().count(), 0);
        assert_eq!(fs::read_dir(watched.folders.archive.join("2026/05")).unwrap().count(), 2_000);
    }
}
