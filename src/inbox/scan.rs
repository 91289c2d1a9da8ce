//! Which files in the inbox are whole: the scan is the truth, hints only make it sooner.
//!
//! Every file is known by how it looks (device, inode, size, time of change). It is ready
//! - at once, if a hint said that it was renamed into place or closed after writing and it still looks as it did then;
//! - else when it has looked the same for the settle time, counted on the monotonic clock from the scan that first saw
//!   it so.
//!
//! Lost events make all earlier hints void, since the one that was lost may have been "written to again". What the
//! content means is the caller's to judge: it can leave a file as incomplete, and then it is not ready before it changes.

use std::collections::{HashMap, HashSet};
use std::ffi::OsStr;
use std::fs::{self, Metadata};
use std::io;
use std::path::{Path, PathBuf};
use std::time::Duration;

use super::claim::{self, Candidate, Claim, ClaimError, Look, TooLarge};
use super::folders::Folders;
use super::shelf::{self, Goods, ShelveError};
use super::watch::Hint;
use crate::units::Time;

/// A file that waits longer than this is listed as incomplete.
const LONG_WAIT: Duration = Duration::from_secs(600);
/// A file that could not be read is tried again no sooner than this, nor sooner than the settle time.
const RETRY: Duration = Duration::from_secs(1);

/// The drop folder with what is known of the files in it.
#[derive(Debug)]
pub struct Inbox {
    folders: Folders,
    settle: Duration,
    max_bytes: u64,
    files: HashMap<PathBuf, Known>,
    /// Files that a hint called whole, and how they looked then.
    complete: HashMap<PathBuf, Look>,
    /// Files that a hint, or a claim, saw being written.
    touched: HashSet<PathBuf>,
    noted: HashSet<Note>,
    /// Device and inode of the folder; `None` before the first scan and while there is no such folder.
    identity: Option<(u64, u64)>,
    scanned_before: bool,
    last_scan: Duration,
}

/// What a scan found.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ScanReport {
    /// Files that are whole, the longest unchanged first, then by path. One that is not claimed is found again.
    pub ready: Vec<Candidate>,
    /// How many files are there that are not ready.
    pub waiting: usize,
    /// Files that have been waiting for more than 10 minutes.
    pub incomplete: Vec<IncompleteFile>,
    /// The monotonic time at which the next settle time is over, so that it is worth looking again.
    pub next_look: Option<Duration>,
    /// Set when new files may be missed; see [`Blind`] for what to do.
    pub blind: Option<Blind>,
    /// What was passed over; each thing is said once while it is there.
    pub notes: Vec<Note>,
}

/// Why new files may be missed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Blind {
    /// The folder is gone; nothing was found.
    #[error("the inbox {0} is gone: create it anew or mount it again")]
    Vanished(PathBuf),
    /// Something else has its name; nothing was found.
    #[error("the inbox {0} is not a folder: move what lies there away")]
    NotAFolder(PathBuf),
    /// The folder cannot be listed; nothing was found.
    #[error("the inbox {path} cannot be read ({why}): let the user that runs twinwhite read it")]
    Unreadable {
        /// The folder.
        path: PathBuf,
        /// What the system said.
        why: String,
    },
    /// Another folder stands in its place. This scan saw its files, but a [`super::Watch`] still looks at the old one and
    /// must be started anew. Said once.
    #[error("the inbox {0} was replaced by another folder: its watch must be started anew")]
    Replaced(PathBuf),
}

/// Something in the inbox that is passed over.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, thiserror::Error)]
pub enum Note {
    /// A symbolic link, to a file or to a folder.
    #[error("{0} is a symbolic link and is not followed: put the file itself there")]
    SymbolicLink(PathBuf),
    /// A pipe, a socket, a device.
    #[error("{0} is not a regular file and is passed over")]
    NotAFile(PathBuf),
    /// A folder in a device's folder.
    #[error("{0} lies too deep: files are taken from the inbox and from the folders of devices in it, not from below")]
    TooDeep(PathBuf),
    /// A device's folder, or a file's size and time, that cannot be read.
    #[error("{path} cannot be read ({why}): let the user that runs twinwhite read it; it is tried again at each scan")]
    Unreadable {
        /// What cannot be read.
        path: PathBuf,
        /// What the system said.
        why: String,
    },
}

/// A file that has been waiting for long.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct IncompleteFile {
    /// Where it lies.
    pub path: PathBuf,
    /// Since when, on the monotonic clock.
    pub since: Duration,
    /// What it waits for.
    pub why: WhyWaiting,
}

/// What a file waits for.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum WhyWaiting {
    /// It changes from scan to scan.
    #[error("it keeps changing")]
    Changing,
    /// Its content shows that more is to come; in the words of who looked at it.
    #[error("{0}")]
    Incomplete(String),
    /// The system does not let it be read.
    #[error("it cannot be read: {0}")]
    Unreadable(String),
}

#[derive(Debug)]
struct Known {
    look: Look,
    /// When the scan first saw it looking so.
    still_since: Duration,
    first_seen: Duration,
    /// It is not offered again while it looks like this.
    left: Option<(Look, String)>,
    /// It could not be read: how it looked, when, and what the system said.
    failed: Option<(Look, Duration, String)>,
    ready: bool,
}

impl Inbox {
    /// An inbox of which nothing is known yet. `settle` is the time for which a file must stand still where no hint
    /// comes; no file above `max_bytes` is read.
    pub fn new(folders: Folders, settle: Duration, max_bytes: u64) -> Self {
        Self {
            folders,
            settle,
            max_bytes,
            files: HashMap::new(),
            complete: HashMap::new(),
            touched: HashSet::new(),
            noted: HashSet::new(),
            identity: None,
            scanned_before: false,
            last_scan: Duration::ZERO,
        }
    }

    /// The three folders.
    pub fn folders(&self) -> &Folders {
        &self.folders
    }

    /// Takes note of what the watch saw. Hints must be given in their order, all that have come before the next scan;
    /// a scan should follow soon.
    pub fn hint(&mut self, hint: Hint) {
        match hint {
            Hint::Complete(path) if self.is_place(&path) => match Look::at(&path) {
                Some(look) => {
                    self.complete.insert(path, look);
                }
                None => {
                    self.complete.remove(&path);
                }
            },
            Hint::Touched(path) if self.is_place(&path) => self.disturbed(path),
            Hint::Complete(_) | Hint::Touched(_) => {}
            Hint::Rescan | Hint::Deaf(_) => self.complete.clear(),
        }
    }

    /// Lists the folder. `monotonic` is the time now, which never goes back.
    pub fn scan(&mut self, monotonic: Duration) -> ScanReport {
        self.last_scan = monotonic;
        let mut report = ScanReport { blind: self.check_folder(), ..ScanReport::default() };
        let mut listing = Listing::default();
        if matches!(report.blind, None | Some(Blind::Replaced(_)))
            && let Err(error) = listing.add_folder(&self.folders.inbox, None)
        {
            report.blind = Some(Blind::Unreadable { path: self.folders.inbox.clone(), why: error.to_string() });
        }
        if !matches!(report.blind, None | Some(Blind::Replaced(_))) {
            report.waiting = self.files.len();
            report.incomplete = self.incomplete(monotonic);
            return report;
        }

        let mut files = std::mem::take(&mut self.files);
        let mut complete = std::mem::take(&mut self.complete);
        for found in listing.files {
            let (path, look) = (found.path, found.look);
            let mut known = match files.remove(&path) {
                Some(known) if known.look.identity == look.identity => known,
                _ => Known::new(look, monotonic),
            };
            if known.look != look || self.touched.contains(&path) {
                known.look = look;
                known.still_since = monotonic;
            }
            // A mark that no longer fits is dropped, so that it cannot fit again by chance.
            let called_whole = complete.remove(&path).filter(|marked| *marked == look);
            if let Some(marked) = called_whole {
                self.complete.insert(path.clone(), marked);
            }
            let settled_at = known.still_since.saturating_add(self.settle);
            let whole = called_whole.is_some() || monotonic >= settled_at;
            known.ready = whole && known.may_be_tried(monotonic, self.settle.max(RETRY));
            if known.ready {
                let too_large =
                    (look.size > self.max_bytes).then_some(TooLarge { size: look.size, most: self.max_bytes });
                report.ready.push(Candidate {
                    name: found.name,
                    folder_device: found.folder_device,
                    size: look.size,
                    path: path.clone(),
                    too_large,
                    look,
                });
            } else {
                report.waiting += 1;
                if !whole {
                    report.next_look = Some(report.next_look.map_or(settled_at, |sooner| sooner.min(settled_at)));
                }
            }
            self.files.insert(path, known);
        }
        self.touched.clear();
        report.ready.sort_by(|a, b| (a.look.modified, &a.path).cmp(&(b.look.modified, &b.path)));
        report.notes = listing.notes.difference(&self.noted).cloned().collect();
        report.notes.sort();
        self.noted = listing.notes;
        report.incomplete = self.incomplete(monotonic);
        report
    }

    /// Reads a file that a scan found ready. One that changed meanwhile goes back to waiting; one that cannot be read is
    /// not offered again at once.
    pub fn claim(&mut self, candidate: &Candidate) -> Result<Claim, ClaimError> {
        match claim::read(candidate, self.max_bytes) {
            Err(ClaimError::Unreadable { path, source, again: _ }) => {
                let (now, why) = (self.last_scan, source.to_string());
                let known = self.known(candidate);
                let again = known.failed.as_ref().is_some_and(|(look, _, _)| *look == candidate.look);
                known.failed = Some((candidate.look, now, why));
                known.ready = false;
                Err(ClaimError::Unreadable { path, source, again })
            }
            Err(error) => {
                match &error {
                    ClaimError::Changed { path } => self.disturbed(path.clone()),
                    ClaimError::Gone { path } => self.forget(path),
                    ClaimError::TooLarge { .. } | ClaimError::Unreadable { .. } => {}
                }
                Err(error)
            }
            Ok(claim) => Ok(claim),
        }
    }

    /// Moves a file whose content is safely committed to `archive/YYYY/MM/` (in UTC, at the calendar's `now`) and says
    /// where it lies. No other file is overwritten: a name that is taken gets `-2`, `-3`, … before its ending, unless the
    /// same bytes lie there already, when the file is only removed from the inbox. If somebody has put another file in
    /// its place since it was claimed, that one stays and the claimed bytes are archived. On failure the file
    /// stays in the inbox and is found again.
    pub fn archive(&mut self, claim: &Claim, now: Time) -> Result<PathBuf, ShelveError> {
        let shelved = shelf::archive(&self.folders.archive, &Goods::from(claim), now)?;
        self.forget(&claim.path);
        Ok(shelved)
    }

    /// Moves a refused file to the quarantine, writes `reason` beside it as `<name>.reason.txt`, and says where it lies.
    /// Names are chosen as for the archive.
    pub fn quarantine(&mut self, claim: &Claim, reason: &str) -> Result<PathBuf, ShelveError> {
        let shelved = shelf::quarantine(&self.folders.quarantine, &Goods::from(claim), reason)?;
        self.forget(&claim.path);
        Ok(shelved)
    }

    /// Moves a file that was never read, such as one that is too large, to the quarantine.
    pub fn quarantine_unread(&mut self, candidate: &Candidate, reason: &str) -> Result<PathBuf, ShelveError> {
        let shelved = shelf::quarantine(&self.folders.quarantine, &Goods::from(candidate), reason)?;
        self.forget(&candidate.path);
        Ok(shelved)
    }

    /// Leaves a file where it is because its content shows that more is to come; `why` is for people. It is offered again
    /// only after it has changed.
    pub fn leave_incomplete(&mut self, candidate: &Candidate, why: impl Into<String>) {
        let known = self.known(candidate);
        known.left = Some((candidate.look, why.into()));
        known.ready = false;
    }

    /// Files that have been waiting for more than 10 minutes at `monotonic`, by path.
    pub fn incomplete(&self, monotonic: Duration) -> Vec<IncompleteFile> {
        let mut files: Vec<_> = self
            .files
            .iter()
            .filter(|(_, known)| !known.ready && monotonic >= known.first_seen.saturating_add(LONG_WAIT))
            .map(|(path, known)| IncompleteFile { path: path.clone(), since: known.first_seen, why: known.why() })
            .collect();
        files.sort_by(|a, b| a.path.cmp(&b.path));
        files
    }

    fn check_folder(&mut self) -> Option<Blind> {
        let path = self.folders.inbox.clone();
        match fs::metadata(&path) {
            Ok(found) if found.is_dir() => {
                let before = self.identity.replace(claim::identity(&found));
                let replaced = self.scanned_before && before != self.identity;
                self.scanned_before = true;
                replaced.then_some(Blind::Replaced(path))
            }
            Ok(_) => {
                self.lost_sight();
                Some(Blind::NotAFolder(path))
            }
            Err(error) if error.kind() == io::ErrorKind::NotFound => {
                self.lost_sight();
                Some(Blind::Vanished(path))
            }
            Err(error) => Some(Blind::Unreadable { path, why: error.to_string() }),
        }
    }

    /// When a folder comes back, even with the old inode, a watch on it may be dead: it then counts as replaced.
    fn lost_sight(&mut self) {
        self.identity = None;
        self.scanned_before = true;
    }

    /// Whether a dropped file may lie at `path`.
    fn is_place(&self, path: &Path) -> bool {
        let Some(folder) = path.parent() else { return false };
        let inbox = self.folders.inbox.as_path();
        path.file_name().is_some_and(|name| !is_ignored(name)) && (folder == inbox || folder.parent() == Some(inbox))
    }

    fn disturbed(&mut self, path: PathBuf) {
        self.complete.remove(&path);
        self.touched.insert(path);
    }

    fn forget(&mut self, path: &Path) {
        self.files.remove(path);
        self.complete.remove(path);
        self.touched.remove(path);
    }

    fn known(&mut self, candidate: &Candidate) -> &mut Known {
        let now = self.last_scan;
        self.files.entry(candidate.path.clone()).or_insert_with(|| Known::new(candidate.look, now))
    }
}

impl Known {
    fn new(look: Look, now: Duration) -> Self {
        Self { look, still_since: now, first_seen: now, left: None, failed: None, ready: false }
    }

    fn may_be_tried(&self, now: Duration, pause: Duration) -> bool {
        let left = self.left.as_ref().is_some_and(|(look, _)| *look == self.look);
        let failed =
            self.failed.as_ref().is_some_and(|(look, at, _)| *look == self.look && now < at.saturating_add(pause));
        !left && !failed
    }

    fn why(&self) -> WhyWaiting {
        match (&self.left, &self.failed) {
            (Some((look, why)), _) if *look == self.look => WhyWaiting::Incomplete(why.clone()),
            (_, Some((look, _, why))) if *look == self.look => WhyWaiting::Unreadable(why.clone()),
            _ => WhyWaiting::Changing,
        }
    }
}

/// Whether a name says "not for you" or "not yet".
fn is_ignored(name: &OsStr) -> bool {
    let name = name.as_encoded_bytes();
    name.starts_with(b".") || [&b".part"[..], b".tmp", b"~"].iter().any(|ending| name.ends_with(ending))
}

/// What lies in the inbox at one instant.
#[derive(Default)]
struct Listing {
    files: Vec<Found>,
    notes: HashSet<Note>,
}

struct Found {
    path: PathBuf,
    name: String,
    folder_device: Option<String>,
    look: Look,
}

impl Listing {
    /// Adds the files of the inbox, or of the folder of `device` in it.
    fn add_folder(&mut self, folder: &Path, device: Option<&str>) -> io::Result<()> {
        for entry in fs::read_dir(folder)? {
            let entry = entry?;
            let file_name = entry.file_name();
            if is_ignored(&file_name) {
                continue;
            }
            let path = entry.path();
            let name = file_name.to_string_lossy().into_owned();
            // Like symlink_metadata: a link is described, not followed.
            match entry.metadata() {
                Ok(found) => self.add(path, name, device, &found),
                Err(error) => self.cannot_read(path, &error),
            }
        }
        Ok(())
    }

    fn add(&mut self, path: PathBuf, name: String, device: Option<&str>, found: &Metadata) {
        if found.is_file() {
            let folder_device = device.map(str::to_owned);
            self.files.push(Found { path, name, folder_device, look: Look::of(found) });
        } else if found.is_symlink() {
            self.notes.insert(Note::SymbolicLink(path));
        } else if !found.is_dir() {
            self.notes.insert(Note::NotAFile(path));
        } else if device.is_some() {
            self.notes.insert(Note::TooDeep(path));
        } else if let Err(error) = self.add_folder(&path, Some(&name)) {
            self.cannot_read(path, &error);
        }
    }

    fn cannot_read(&mut self, path: PathBuf, error: &io::Error) {
        // What was taken away between listing and looking is no trouble.
        if error.kind() != io::ErrorKind::NotFound {
            self.notes.insert(Note::Unreadable { path, why: error.to_string() });
        }
    }
}
