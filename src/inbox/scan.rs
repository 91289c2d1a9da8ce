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
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::time::Duration;

use super::claim::{self, Candidate, Claim, ClaimError, Look, TooLarge};
use super::folders::Folders;
use super::listing::{Listing, is_ignored};
use super::report::{Blind, IncompleteFile, Note, ScanReport, WhyWaiting};
use super::shelf::{self, Goods, ShelveError};
use super::watch::Hint;
use crate::units::Time;

/// A file that waits longer than this is listed as incomplete.
const LONG_WAIT: Duration = Duration::from_secs(600);
/// A file that could not be read is tried again no sooner than this, nor sooner than the settle time.
const RETRY: Duration = Duration::from_secs(1);
/// After so many moves they are synced even if nobody asks for it.
const UNSYNCED: usize = 64;

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
    /// Files that were moved and may not outlast a power cut there.
    unsynced: Vec<PathBuf>,
    /// Device and inode of the folder; `None` before the first scan and while there is no such folder.
    identity: Option<(u64, u64)>,
    scanned_before: bool,
    last_scan: Duration,
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
            unsynced: Vec::new(),
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
    /// stays in the inbox and is found again, except at [`super::Step::Sync`], when it was moved.
    pub fn archive(&mut self, claim: &Claim, now: Time) -> Result<PathBuf, ShelveError> {
        let shelved = shelf::archive(&self.folders.archive, &Goods::from(claim), now)?;
        self.moved(&claim.path, shelved)
    }

    /// Moves a refused file to the quarantine, writes `reason` beside it as `<name>.reason.txt`, and says where it lies.
    /// Names are chosen as for the archive.
    pub fn quarantine(&mut self, claim: &Claim, reason: &str) -> Result<PathBuf, ShelveError> {
        let shelved = shelf::quarantine(&self.folders.quarantine, &Goods::from(claim), reason)?;
        self.moved(&claim.path, shelved)
    }

    /// Moves a file that was never read, such as one that is too large, to the quarantine.
    pub fn quarantine_unread(&mut self, candidate: &Candidate, reason: &str) -> Result<PathBuf, ShelveError> {
        let shelved = shelf::quarantine(&self.folders.quarantine, &Goods::from(candidate), reason)?;
        self.moved(&candidate.path, shelved)
    }

    /// Makes the moves since the last call outlast a power cut. Without it nothing is lost either, since a file found
    /// again in the inbox is only moved again; so it is called once there is nothing else to do, and at the end. A
    /// failed sync is not repeated: it would succeed without having written.
    pub fn sync(&mut self) -> Result<(), ShelveError> {
        shelf::sync(&std::mem::take(&mut self.unsynced))
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

    fn moved(&mut self, from: &Path, to: PathBuf) -> Result<PathBuf, ShelveError> {
        self.forget(from);
        self.unsynced.push(to.clone());
        if self.unsynced.len() >= UNSYNCED {
            self.sync()?;
        }
        Ok(to)
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

#[cfg(test)]
mod tests {
    use super::*;

    const SETTLE: Duration = Duration::from_secs(10);
    const START: Duration = Duration::from_secs(100);

    fn room() -> (tempfile::TempDir, Inbox) {
        let room = tempfile::tempdir().unwrap();
        let folders = Folders::beside(room.path().join("inbox"));
        folders.prepare().unwrap();
        (room, Inbox::new(folders, SETTLE, 1_000))
    }

    fn names(report: &ScanReport) -> Vec<&str> {
        report.ready.iter().map(|candidate| candidate.name.as_str()).collect()
    }

    fn drop_in(inbox: &Inbox, name: &str, text: &str) -> PathBuf {
        let path = inbox.folders().inbox.join(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(&path, text).unwrap();
        path
    }

    #[test]
    fn a_file_settles_from_when_it_was_last_seen_changing() {
        let (_room, mut inbox) = room();
        let path = drop_in(&inbox, "bay-lamp/a.csv", "1");
        let report = inbox.scan(START);
        assert_eq!((report.waiting, report.next_look), (1, Some(START + SETTLE)));
        drop_in(&inbox, "bay-lamp/a.csv", "12");
        let report = inbox.scan(START + SETTLE);
        assert_eq!((names(&report), report.next_look), (vec![], Some(START + 2 * SETTLE)));
        assert_eq!(inbox.scan(START + 2 * SETTLE - Duration::from_millis(1)).waiting, 1);
        let report = inbox.scan(START + 2 * SETTLE);
        assert_eq!((names(&report), report.next_look), (vec!["a.csv"], None));
        let claim = inbox.claim(&report.ready[0]).unwrap();
        assert_eq!((claim.folder_device.as_deref(), claim.bytes.as_slice()), (Some("bay-lamp"), &b"12"[..]));
        // FIPS 180-4, of the two bytes "12".
        assert_eq!(claim.sha256, "6b51d431df5d7f141cbececcf79edf3dd861c3b4069f0b11661a3eefacbba918");
        assert_eq!(claim.path, path);
        // Not archived, so it is found again.
        assert_eq!(names(&inbox.scan(START + 3 * SETTLE)), ["a.csv"]);
    }

    #[test]
    fn a_whole_file_is_ready_at_once_unless_it_was_touched_since() {
        let (_room, mut inbox) = room();
        let path = drop_in(&inbox, "a.csv", "1");
        inbox.hint(Hint::Complete(path.clone()));
        assert_eq!(names(&inbox.scan(START)), ["a.csv"]);
        inbox.hint(Hint::Touched(path.clone()));
        assert_eq!(names(&inbox.scan(START)), [""; 0]);
        // Called whole, then written again before the scan, with that hint still under way.
        inbox.hint(Hint::Complete(path.clone()));
        drop_in(&inbox, "a.csv", "123");
        assert_eq!(names(&inbox.scan(START)), [""; 0]);
        // Hints were lost: perhaps just the one that it was written again.
        inbox.hint(Hint::Complete(path.clone()));
        inbox.hint(Hint::Rescan);
        assert_eq!(names(&inbox.scan(START)), [""; 0]);
        inbox.hint(Hint::Complete(path));
        assert_eq!(names(&inbox.scan(START)), ["a.csv"]);
    }

    #[test]
    fn names_that_say_not_yet_are_passed_over() {
        let (_room, mut inbox) = room();
        for name in [".a.csv", "a.csv.part", "a.tmp", "a.csv~", ".hidden/a.csv", "lamp.part/a.csv", "part", "a.partial"]
        {
            let path = drop_in(&inbox, name, "1");
            inbox.hint(Hint::Complete(path));
        }
        let report = inbox.scan(START);
        assert_eq!((names(&report).len(), report.waiting), (2, 0), "{report:?}");
        assert!(names(&report).contains(&"part") && names(&report).contains(&"a.partial"));
    }

    #[cfg(unix)]
    #[test]
    fn links_and_sockets_are_said_once_and_never_followed() {
        use std::os::unix::fs::symlink;
        let (room, mut inbox) = room();
        let folder = inbox.folders().inbox.clone();
        fs::create_dir_all(room.path().join("elsewhere")).unwrap();
        fs::write(room.path().join("elsewhere/secret.csv"), "1").unwrap();
        symlink(room.path().join("elsewhere/secret.csv"), folder.join("file")).unwrap();
        symlink(room.path().join("elsewhere"), folder.join("folder")).unwrap();
        symlink(&folder, folder.join("ring")).unwrap();
        let _socket = std::os::unix::net::UnixListener::bind(folder.join("socket")).unwrap();
        fs::create_dir_all(folder.join("bay-lamp/deep")).unwrap();
        inbox.hint(Hint::Complete(folder.join("file")));
        let expected = vec![
            Note::SymbolicLink(folder.join("file")),
            Note::SymbolicLink(folder.join("folder")),
            Note::SymbolicLink(folder.join("ring")),
            Note::NotAFile(folder.join("socket")),
            Note::TooDeep(folder.join("bay-lamp/deep")),
        ];
        let report = inbox.scan(START);
        assert_eq!((report.notes, report.ready.len(), report.waiting), (expected, 0, 0));
        assert_eq!(inbox.scan(START + SETTLE).notes, []);
        fs::remove_file(folder.join("ring")).unwrap();
        assert_eq!(inbox.scan(START + SETTLE).notes, []);
        symlink(&folder, folder.join("ring")).unwrap();
        assert_eq!(inbox.scan(START + SETTLE).notes, [Note::SymbolicLink(folder.join("ring"))]);
    }

    #[cfg(unix)]
    #[test]
    fn what_was_put_in_a_files_place_is_not_read() {
        let (room, mut inbox) = room();
        fs::write(room.path().join("secret"), "1").unwrap();
        let path = drop_in(&inbox, "a.csv", "1");
        inbox.hint(Hint::Complete(path.clone()));
        let report = inbox.scan(START);
        fs::remove_file(&path).unwrap();
        std::os::unix::fs::symlink(room.path().join("secret"), &path).unwrap();
        assert!(matches!(inbox.claim(&report.ready[0]), Err(ClaimError::Changed { .. })));
        fs::remove_file(&path).unwrap();
        assert!(matches!(inbox.claim(&report.ready[0]), Err(ClaimError::Gone { .. })));
        drop_in(&inbox, "a.csv", "longer");
        assert!(matches!(inbox.claim(&report.ready[0]), Err(ClaimError::Changed { .. })));
        assert_eq!(inbox.scan(START).waiting, 1);
    }

    #[test]
    fn a_large_file_is_offered_to_be_refused_and_never_read() {
        let (_room, mut inbox) = room();
        drop_in(&inbox, "large.csv", &"x".repeat(1_001));
        drop_in(&inbox, "fits.csv", &"x".repeat(1_000));
        inbox.scan(START);
        let report = inbox.scan(START + SETTLE);
        assert_eq!(names(&report).len(), 2);
        for candidate in &report.ready {
            let claimed = inbox.claim(candidate);
            match candidate.name.as_str() {
                "fits.csv" => assert_eq!(claimed.unwrap().size, 1_000),
                _ => {
                    let reason = candidate.too_large.unwrap().to_string();
                    assert_eq!(reason, "larger than 1000 bytes: it has 1001; split it, or raise the limit");
                    assert!(matches!(claimed, Err(ClaimError::TooLarge { .. })));
                    let kept = inbox.quarantine_unread(candidate, &reason).unwrap();
                    assert_eq!(fs::metadata(&kept).unwrap().len(), 1_001);
                    assert_eq!(fs::read_to_string(kept.with_file_name("large.csv.reason.txt")).unwrap(), reason);
                }
            }
        }
    }

    #[test]
    fn an_incomplete_file_waits_for_a_change_and_is_listed_after_ten_minutes() {
        let (_room, mut inbox) = room();
        let path = drop_in(&inbox, "a.csv", "time,x,y\n");
        inbox.hint(Hint::Complete(path.clone()));
        let report = inbox.scan(START);
        inbox.claim(&report.ready[0]).unwrap();
        inbox.leave_incomplete(&report.ready[0], "a header and no row");
        // The second notification of one rename.
        inbox.hint(Hint::Complete(path.clone()));
        for seconds in [0, 10, 599] {
            let report = inbox.scan(START + Duration::from_secs(seconds));
            assert_eq!((report.ready.len(), report.waiting, report.incomplete.len()), (0, 1, 0), "{seconds}");
            assert_eq!(report.next_look, None);
        }
        let later = START + LONG_WAIT;
        let listed = IncompleteFile {
            path: path.clone(),
            since: START,
            why: WhyWaiting::Incomplete("a header and no row".into()),
        };
        assert_eq!(inbox.scan(later).incomplete, [listed]);
        drop_in(&inbox, "a.csv", "time,x,y\n1,2,3\n");
        let report = inbox.scan(later);
        assert_eq!((report.waiting, &report.incomplete[0].why), (1, &WhyWaiting::Changing));
        let report = inbox.scan(later + SETTLE);
        assert_eq!((names(&report), report.incomplete.len()), (vec!["a.csv"], 0));
    }

    /// Needs a file that may be seen but not read; root may read all, so it is a file of /proc that fails when read.
    #[cfg(target_os = "linux")]
    #[test]
    fn what_cannot_be_read_is_told_once_and_tried_again_later() {
        let (_room, mut inbox) = room();
        let path = PathBuf::from("/proc/self/mem");
        let look = Look::at(&path).unwrap();
        let candidate = Candidate {
            path: path.clone(),
            name: "mem".into(),
            folder_device: None,
            size: look.size,
            too_large: None,
            look,
        };
        inbox.scan(START);
        let error = inbox.claim(&candidate).unwrap_err();
        assert!(matches!(error, ClaimError::Unreadable { again: false, .. }), "{error}");
        assert!(matches!(inbox.claim(&candidate), Err(ClaimError::Unreadable { again: true, .. })));
        let known = &inbox.files[&path];
        assert!(!known.may_be_tried(START + SETTLE - Duration::from_millis(1), SETTLE));
        assert!(known.may_be_tried(START + SETTLE, SETTLE));
        let why = &inbox.incomplete(START + LONG_WAIT)[0].why;
        assert!(matches!(why, WhyWaiting::Unreadable(_)), "{why}");
    }

    #[test]
    fn a_folder_that_goes_or_is_replaced_makes_blind() {
        let (room, mut inbox) = room();
        let folder = inbox.folders().inbox.clone();
        drop_in(&inbox, "a.csv", "1");
        assert_eq!(inbox.scan(START).blind, None);
        fs::rename(&folder, room.path().join("moved")).unwrap();
        let report = inbox.scan(START);
        assert_eq!((report.blind, report.waiting), (Some(Blind::Vanished(folder.clone())), 1));
        fs::write(&folder, "").unwrap();
        assert_eq!(inbox.scan(START).blind, Some(Blind::NotAFolder(folder.clone())));
        fs::remove_file(&folder).unwrap();
        // The old folder comes back, as when a disk is mounted again; a watch on it may be dead all the same.
        fs::rename(room.path().join("moved"), &folder).unwrap();
        assert_eq!(inbox.scan(START).blind, Some(Blind::Replaced(folder.clone())));
        assert_eq!(inbox.scan(START).blind, None);
        // Replaced between two scans.
        fs::rename(&folder, room.path().join("moved")).unwrap();
        fs::create_dir(&folder).unwrap();
        drop_in(&inbox, "b.csv", "1");
        let report = inbox.scan(START);
        if cfg!(unix) {
            assert_eq!(report.blind, Some(Blind::Replaced(folder)));
        }
        assert_eq!(report.waiting, 1);
        assert_eq!(inbox.scan(START + SETTLE).blind, None);
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn a_name_that_is_no_text_is_moved_exactly() {
        use std::os::unix::ffi::OsStrExt;
        let (_room, mut inbox) = room();
        let name = std::ffi::OsStr::from_bytes(b"l\xe4mp.csv");
        let path = inbox.folders().inbox.join(name);
        fs::write(&path, "1").unwrap();
        inbox.hint(Hint::Complete(path));
        let report = inbox.scan(START);
        assert_eq!(names(&report), ["l\u{fffd}mp.csv"]);
        let claim = inbox.claim(&report.ready[0]).unwrap();
        let kept = inbox.archive(&claim, Time::parse("2026-12-31T23:59:59Z").unwrap()).unwrap();
        assert_eq!(kept, inbox.folders().archive.join("2026/12").join(name));
        assert_eq!(fs::read(kept).unwrap(), b"1");
    }
}
