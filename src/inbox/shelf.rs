//! Moving a file out of the inbox: into the archive by year and month, or into the quarantine beside its reason.
//!
//! What holds whatever happens in between:
//! - No file that has content is overwritten. The name is first reserved by making an empty file under it, which fails if
//!   it is taken; an empty file found there is a reservation that a crash left behind.
//! - No file is destroyed unread. The move is a rename; if what arrived is not what was claimed, because somebody put another file
//!   in its place, it goes back. Across file systems, where a rename is impossible, the bytes are written to a
//!   temporary file, synced and renamed, and only then the original is removed, if it still looks the same.
//! - A refused file never lies in the quarantine without its reason: the reason is written first.
//! - Done again after a crash it comes to the same: the same bytes under the same name are left as they are.
//!
//! A rename within one file system is not synced here: after a power cut the file lies in one of the two folders, and one
//! found in the inbox again is only moved again. [`sync`] makes many moves last at once, since a sync costs
//! more than all else. Where an original is removed, its copy is synced before.

use std::collections::BTreeSet;
use std::ffi::{OsStr, OsString};
use std::fmt;
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use chrono::Datelike;

use super::claim::{Candidate, Claim, Look};
use crate::units::Time;

/// Names are cut to this many bytes, since most systems allow 255 and a number, `.reason.txt` and a temporary
/// name's `.` and `.part` may be added.
const LONGEST_NAME: usize = 220;

/// A file could not be moved, and is still in the inbox; or, at [`Step::Sync`], a move may not outlast a power cut.
#[derive(Debug, thiserror::Error)]
#[error(
    "cannot {step} {path} ({source}): make room or let the user that runs twinwhite write there; \
     what is still in the inbox is tried again"
)]
pub struct ShelveError {
    /// At which step.
    pub step: Step,
    /// With which file or folder.
    pub path: PathBuf,
    /// What the system said.
    pub source: io::Error,
}

/// The steps of a move.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    /// Making a folder of the archive.
    MakeFolder,
    /// Finding and reserving a free name.
    Reserve,
    /// Writing the reason of a refusal.
    WriteReason,
    /// Renaming the file, or writing its bytes on the other file system.
    Move,
    /// Making sure that it is on the disk.
    Sync,
    /// Removing it from the inbox once it lies elsewhere.
    Remove,
}

/// A file to be moved, with its bytes if it was read.
pub(super) struct Goods<'a> {
    path: &'a Path,
    look: Look,
    bytes: Option<&'a [u8]>,
}

impl<'a> From<&'a Claim> for Goods<'a> {
    fn from(claim: &'a Claim) -> Self {
        Self { path: &claim.path, look: claim.look, bytes: Some(&claim.bytes) }
    }
}

impl<'a> From<&'a Candidate> for Goods<'a> {
    fn from(candidate: &'a Candidate) -> Self {
        Self { path: &candidate.path, look: candidate.look, bytes: None }
    }
}

pub(super) fn archive(archive: &Path, goods: &Goods<'_>, now: Time) -> Result<PathBuf, ShelveError> {
    let date = now.to_chrono();
    let year = archive.join(format!("{:04}", date.year()));
    let month = year.join(format!("{:02}", date.month()));
    if !month.is_dir() {
        fs::create_dir_all(&month).map_err(at(Step::MakeFolder, &month))?;
        sync_folder(archive)?;
        sync_folder(&year)?;
    }
    shelve(goods, &month, None)
}

pub(super) fn quarantine(quarantine: &Path, goods: &Goods<'_>, reason: &str) -> Result<PathBuf, ShelveError> {
    shelve(goods, quarantine, Some(reason))
}

fn shelve(goods: &Goods<'_>, folder: &Path, reason: Option<&str>) -> Result<PathBuf, ShelveError> {
    let place = Place::find(goods, folder, reason.is_some())?;
    let done = put(goods, &place, reason);
    if done.is_err()
        && let Place::Reserved(path) = &place
    {
        // Only what this call made: the reservation if nothing came to lie there, and the reason.
        if Look::at(path).is_some_and(|look| look.size == 0) {
            let _ = fs::remove_file(path);
            if reason.is_some() {
                let _ = fs::remove_file(reason_path(path));
            }
        }
    }
    done?;
    Ok(place.into_path())
}

/// Makes sure that files shelved before are on the disk, content and name.
pub(super) fn sync(shelved: &[PathBuf]) -> Result<(), ShelveError> {
    let folders: BTreeSet<&Path> = shelved.iter().filter_map(|path| path.parent()).collect();
    // Somebody may have cleared the archive meanwhile.
    shelved.iter().filter(|path| path.exists()).try_for_each(|path| sync_file(path))?;
    folders.into_iter().filter(|folder| folder.exists()).try_for_each(sync_folder)
}

fn put(goods: &Goods<'_>, place: &Place, reason: Option<&str>) -> Result<(), ShelveError> {
    let to = place.path();
    if let Some(reason) = reason {
        let path = reason_path(to);
        write_whole(&path, |file| file.write_all(reason.as_bytes())).map_err(at(Step::WriteReason, &path))?;
    }
    match place {
        Place::Same(_) => {
            sync_file(to)?;
            to.parent().map_or(Ok(()), sync_folder)?;
            remove_if_unchanged(goods)
        }
        Place::Reserved(_) => carry(goods, to),
    }
}

/// Brings the goods to `to`, where an empty file holds the place.
fn carry(goods: &Goods<'_>, to: &Path) -> Result<(), ShelveError> {
    if Look::at(goods.path) != Some(goods.look) {
        return write_bytes(goods, to);
    }
    match fs::rename(goods.path, to) {
        Ok(()) if Look::at(to).is_some_and(|look| look.same_content(&goods.look)) => Ok(()),
        Ok(()) => {
            put_back(to, goods.path)?;
            write_bytes(goods, to)
        }
        Err(error) if error.kind() == io::ErrorKind::CrossesDevices => {
            write_bytes(goods, to)?;
            to.parent().map_or(Ok(()), sync_folder)?;
            remove_if_unchanged(goods)
        }
        // Taken away just now.
        Err(error) if error.kind() == io::ErrorKind::NotFound => write_bytes(goods, to),
        Err(error) => Err(at(Step::Move, goods.path)(error)),
    }
}

/// Writes the goods to `to` without touching the original.
fn write_bytes(goods: &Goods<'_>, to: &Path) -> Result<(), ShelveError> {
    let written = match goods.bytes {
        Some(bytes) => write_whole(to, |file| {
            file.write_all(bytes)?;
            // The time of change is for people who look into the archive; not every file system can keep it.
            let _ = goods.look.modified.map(|time| file.set_modified(time));
            Ok(())
        }),
        // What was not read is copied only as long as it is the file that was found.
        None => File::open(goods.path).and_then(|mut original| {
            if Look::of(&original.metadata()?) != goods.look {
                return Err(io::Error::other("it changed meanwhile"));
            }
            write_whole(to, |file| io::copy(&mut original, file).map(drop))
        }),
    };
    written.map_err(at(Step::Move, to))
}

/// Returns a file that was moved by mistake, beside its old place if that is taken again.
fn put_back(from: &Path, old: &Path) -> Result<(), ShelveError> {
    let (Some(folder), Some(name)) = (old.parent(), old.file_name()) else { return Ok(()) };
    let back = reserve(folder, name, 1, false)?;
    fs::rename(from, &back).map_err(at(Step::Move, from))
}

fn remove_if_unchanged(goods: &Goods<'_>) -> Result<(), ShelveError> {
    if Look::at(goods.path) != Some(goods.look) {
        return Ok(());
    }
    match fs::remove_file(goods.path) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => Err(at(Step::Remove, goods.path)(error)),
        _ => Ok(()),
    }
}

/// Where a file comes to lie.
enum Place {
    /// The same bytes lie there already.
    Same(PathBuf),
    /// An empty file holds the place.
    Reserved(PathBuf),
}

impl Place {
    fn path(&self) -> &Path {
        match self {
            Self::Same(path) | Self::Reserved(path) => path,
        }
    }

    fn into_path(self) -> PathBuf {
        match self {
            Self::Same(path) | Self::Reserved(path) => path,
        }
    }

    fn find(goods: &Goods<'_>, folder: &Path, reasoned: bool) -> Result<Self, ShelveError> {
        let name = fitting(goods.path.file_name().unwrap_or(OsStr::new("unnamed")));
        let last = last_taken(folder, &name, reasoned);
        // A crash leaves its traces under the first name or the last; looking at all of them would make the thousandth
        // file of one name slow.
        for number in [1, last] {
            let path = folder.join(numbered(&name, number));
            let Some(look) = Look::at(&path) else { continue };
            if goods.bytes.is_some_and(|bytes| holds(&path, look, bytes)) {
                return Ok(Self::Same(path));
            }
            if look.size == 0 {
                return Ok(Self::Reserved(path));
            }
        }
        reserve(folder, &name, last.saturating_add(1), reasoned).map(Self::Reserved)
    }
}

/// The highest number in use of a name, 0 if none is; found by doubling and halving.
fn last_taken(folder: &Path, name: &OsStr, reasoned: bool) -> u32 {
    let taken = |number| is_taken(&folder.join(numbered(name, number)), reasoned);
    let (mut used, mut free) = (0, 1);
    while taken(free) && free < u32::MAX / 2 {
        (used, free) = (free, free * 2);
    }
    while free - used > 1 {
        let middle = used + (free - used) / 2;
        if taken(middle) { used = middle } else { free = middle }
    }
    used
}

fn is_taken(path: &Path, reasoned: bool) -> bool {
    let lies = |path: &Path| fs::symlink_metadata(path).is_ok();
    lies(path) || reasoned && lies(&reason_path(path))
}

/// Makes an empty file under the first free name from `number` on.
fn reserve(folder: &Path, name: &OsStr, number: u32, reasoned: bool) -> Result<PathBuf, ShelveError> {
    for number in number..u32::MAX {
        let path = folder.join(numbered(name, number));
        if reasoned && is_taken(&path, true) {
            continue;
        }
        match File::create_new(&path) {
            Ok(_) => return Ok(path),
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
            Err(error) => return Err(at(Step::Reserve, &path)(error)),
        }
    }
    Err(at(Step::Reserve, folder)(io::Error::other("no name is free")))
}

fn holds(path: &Path, look: Look, bytes: &[u8]) -> bool {
    look.size == bytes.len() as u64 && fs::read(path).is_ok_and(|found| found == bytes)
}

/// `lamp.csv`, then `lamp-2.csv`, `lamp-3.csv`, …
fn numbered(name: &OsStr, number: u32) -> OsString {
    if number <= 1 {
        return name.to_owned();
    }
    let whole = Path::new(name);
    let mut numbered = whole.file_stem().unwrap_or(name).to_owned();
    numbered.push(format!("-{number}"));
    if let Some(ending) = whole.extension() {
        numbered.push(".");
        numbered.push(ending);
    }
    numbered
}

fn reason_path(path: &Path) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(".reason.txt");
    name.into()
}

/// The name itself, or where it is too long its readable beginning with its ending.
fn fitting(name: &OsStr) -> OsString {
    if name.len() <= LONGEST_NAME {
        return name.to_owned();
    }
    let ending = Path::new(name).extension().filter(|ending| ending.len() <= 20);
    let ending = ending.map(|ending| format!(".{}", ending.to_string_lossy())).unwrap_or_default();
    let mut cut = String::new();
    for letter in name.to_string_lossy().chars() {
        if cut.len() + letter.len_utf8() + ending.len() > LONGEST_NAME {
            break;
        }
        cut.push(letter);
    }
    (cut + &ending).into()
}

/// Writes a file so that it is there whole or not at all: under a temporary name, synced, then renamed.
fn write_whole(path: &Path, content: impl FnOnce(&mut File) -> io::Result<()>) -> io::Result<()> {
    let mut name = OsString::from(".");
    name.push(path.file_name().unwrap_or(OsStr::new("unnamed")));
    name.push(".part");
    let temporary = path.with_file_name(name);
    let written = File::create(&temporary)
        .and_then(|mut file| {
            content(&mut file)?;
            file.sync_all()
        })
        .and_then(|()| fs::rename(&temporary, path));
    if written.is_err() {
        let _ = fs::remove_file(&temporary);
    }
    written
}

/// The one who dropped the file may not have synced it. Elsewhere than on Unix this needs a right to write that the
/// daemon may not have.
#[cfg(unix)]
fn sync_file(path: &Path) -> Result<(), ShelveError> {
    File::open(path).and_then(|file| file.sync_all()).map_err(at(Step::Sync, path))
}

#[cfg(not(unix))]
fn sync_file(_path: &Path) -> Result<(), ShelveError> {
    Ok(())
}

/// Syncs the names in a folder. Some network file systems do not know this and say so; elsewhere than on Unix a folder
/// cannot be opened for it.
#[cfg(unix)]
fn sync_folder(path: &Path) -> Result<(), ShelveError> {
    match File::open(path).and_then(|folder| folder.sync_all()) {
        Err(error) if matches!(error.kind(), io::ErrorKind::InvalidInput | io::ErrorKind::Unsupported) => Ok(()),
        other => other.map_err(at(Step::Sync, path)),
    }
}

#[cfg(not(unix))]
fn sync_folder(_path: &Path) -> Result<(), ShelveError> {
    Ok(())
}

fn at(step: Step, path: &Path) -> impl FnOnce(io::Error) -> ShelveError {
    let path = path.to_path_buf();
    move |source| ShelveError { step, path, source }
}

impl fmt::Display for Step {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::MakeFolder => "make the folder",
            Self::Reserve => "find a free name for",
            Self::WriteReason => "write the reason",
            Self::Move => "move",
            Self::Sync => "sync",
            Self::Remove => "remove",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    struct Room {
        room: tempfile::TempDir,
        archive: PathBuf,
    }

    impl Room {
        fn new() -> Self {
            let room = tempfile::tempdir().unwrap();
            let archive = room.path().join("archive");
            fs::create_dir(&archive).unwrap();
            fs::create_dir(room.path().join("inbox")).unwrap();
            Self { room, archive }
        }

        fn claim(&self, name: &str, text: &str) -> Claim {
            let path = self.room.path().join("inbox").join(name);
            fs::write(&path, text).unwrap();
            Claim {
                look: Look::at(&path).unwrap(),
                path,
                name: name.into(),
                folder_device: None,
                bytes: text.into(),
                sha256: String::new(),
                size: text.len() as u64,
            }
        }

        fn archive(&self, claim: &Claim) -> String {
            let kept = archive(&self.archive, &Goods::from(claim), Time::parse("2026-02-28T23:30:00Z").unwrap());
            let kept = kept.unwrap();
            assert_eq!(fs::read(&kept).unwrap(), claim.bytes);
            kept.strip_prefix(&self.archive).unwrap().to_str().unwrap().replace('\\', "/")
        }

        fn quarantine(&self, claim: &Claim, reason: &str) -> PathBuf {
            quarantine(&self.archive, &Goods::from(claim), reason).unwrap()
        }
    }

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<_> =
            fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    #[test]
    fn a_taken_name_gets_a_number_and_nothing_is_overwritten() {
        let room = Room::new();
        for number in 1..=40 {
            let claim = room.claim("lamp.csv", &format!("{number}"));
            let expected = if number == 1 { "2026/02/lamp.csv".into() } else { format!("2026/02/lamp-{number}.csv") };
            assert_eq!(room.archive(&claim), expected);
            assert!(!claim.path.exists());
        }
        assert_eq!(room.archive(&room.claim("lamp", "a")), "2026/02/lamp");
        assert_eq!(room.archive(&room.claim("lamp", "b")), "2026/02/lamp-2");
        assert_eq!(names(&room.archive.join("2026/02")).len(), 42);
    }

    #[test]
    fn the_same_bytes_lie_there_once() {
        let room = Room::new();
        assert_eq!(room.archive(&room.claim("lamp.csv", "1")), "2026/02/lamp.csv");
        assert_eq!(room.archive(&room.claim("lamp.csv", "2")), "2026/02/lamp-2.csv");
        for text in ["1", "2"] {
            let again = room.claim("lamp.csv", text);
            room.archive(&again);
            assert!(!again.path.exists());
        }
        assert_eq!(names(&room.archive.join("2026/02")), ["lamp-2.csv", "lamp.csv"]);
    }

    #[test]
    fn a_reservation_left_by_a_crash_is_used() {
        let room = Room::new();
        fs::create_dir_all(room.archive.join("2026/02")).unwrap();
        fs::write(room.archive.join("2026/02/lamp.csv"), "").unwrap();
        fs::write(room.archive.join("2026/02/.lamp.csv.part"), "half").unwrap();
        assert_eq!(room.archive(&room.claim("lamp.csv", "1")), "2026/02/lamp.csv");
    }

    #[test]
    fn a_file_put_in_its_place_stays_and_the_claimed_bytes_are_kept() {
        let room = Room::new();
        let claim = room.claim("lamp.csv", "old");
        let other = room.claim("lamp.csv", "another");
        room.archive(&claim);
        assert_eq!(fs::read(&other.path).unwrap(), b"another");
        // Taken away altogether.
        fs::remove_file(&other.path).unwrap();
        assert_eq!(room.archive(&other), "2026/02/lamp-2.csv");
    }

    #[test]
    fn what_was_moved_by_mistake_goes_back() {
        let room = Room::new();
        let other = room.claim("lamp.csv", "another");
        let moved = room.archive.join("lamp.csv");
        fs::rename(&other.path, &moved).unwrap();
        let newer = room.claim("lamp.csv", "newer still");
        put_back(&moved, &other.path).unwrap();
        assert_eq!(fs::read(&newer.path).unwrap(), b"newer still");
        assert_eq!(fs::read(newer.path.with_file_name("lamp-2.csv")).unwrap(), b"another");
    }

    #[test]
    fn a_refused_file_lies_beside_its_reason() {
        let room = Room::new();
        let first = room.quarantine(&room.claim("a.csv", "1"), "line 2: no unit");
        let second = room.quarantine(&room.claim("a.csv", "2"), "line 3: no time");
        // Put back and refused again, for another reason.
        let third = room.quarantine(&room.claim("a.csv", "1"), "line 2: no such device");
        assert_eq!(first, third);
        assert_eq!(fs::read_to_string(reason_path(&second)).unwrap(), "line 3: no time");
        assert_eq!(fs::read_to_string(reason_path(&first)).unwrap(), "line 2: no such device");
        // A dropped file whose name is that of a reason.
        let fourth = room.quarantine(&room.claim("a.csv.reason.txt", "x"), "not a table");
        assert_eq!(fourth.file_name().unwrap(), "a.csv.reason-2.txt");
        let expected = [
            "a-2.csv",
            "a-2.csv.reason.txt",
            "a.csv",
            "a.csv.reason-2.txt",
            "a.csv.reason-2.txt.reason.txt",
            "a.csv.reason.txt",
        ];
        assert_eq!(names(&room.archive), expected);
    }

    #[test]
    fn a_long_name_is_cut_and_keeps_its_ending() {
        let room = Room::new();
        let name = format!("{}.csv", "ä".repeat(125));
        for text in ["1", "2"] {
            let kept = room.quarantine(&room.claim(&name, text), "why");
            assert_eq!(fs::read(&kept).unwrap(), text.as_bytes());
            assert!(reason_path(&kept).is_file() && kept.extension().unwrap() == "csv");
        }
        assert_eq!(names(&room.archive).len(), 4);
    }

    #[test]
    fn a_failed_move_leaves_the_file_and_no_trace() {
        let room = Room::new();
        let claim = room.claim("a.csv", "1");
        let error = archive(&claim.path, &Goods::from(&claim), Time::from_micros(0)).unwrap_err();
        assert_eq!(error.step, Step::MakeFolder, "{error}");
        // The reason cannot be written where a folder has its temporary name.
        fs::create_dir(room.archive.join(".a.csv.reason.txt.part")).unwrap();
        let error = quarantine(&room.archive, &Goods::from(&claim), "why").unwrap_err();
        assert_eq!(error.step, Step::WriteReason, "{error}");
        assert_eq!(names(&room.archive), [".a.csv.reason.txt.part"]);
        assert_eq!(fs::read(&claim.path).unwrap(), b"1");
    }

    /// /dev/shm is a file system of its own on Linux; where it is not, this test says so and is skipped.
    #[cfg(target_os = "linux")]
    #[test]
    fn an_archive_on_another_file_system_works() {
        use std::os::unix::fs::MetadataExt;
        let mut room = Room::new();
        let Ok(away) = tempfile::tempdir_in("/dev/shm") else { return eprintln!("skipped: no /dev/shm") };
        if away.path().metadata().unwrap().dev() == room.room.path().metadata().unwrap().dev() {
            return eprintln!("skipped: /dev/shm is not another file system");
        }
        room.archive = away.path().to_path_buf();
        let claim = room.claim("lamp.csv", "1");
        assert_eq!(room.archive(&claim), "2026/02/lamp.csv");
        assert!(!claim.path.exists());
        let kept = Look::at(&room.archive.join("2026/02/lamp.csv")).unwrap();
        assert_eq!(kept.modified, claim.look.modified);
        // A crash after the copy, before the original was removed.
        let again = room.claim("lamp.csv", "1");
        assert_eq!(room.archive(&again), "2026/02/lamp.csv");
        assert!(!again.path.exists());
        assert_eq!(names(&room.archive.join("2026/02")), ["lamp.csv"]);
        // Never read, so it is copied.
        let unread = room.claim("large.csv", "large");
        let goods = Goods { path: &unread.path, look: unread.look, bytes: None };
        let kept = quarantine(&room.archive, &goods, "larger").unwrap();
        assert_eq!(fs::read(kept).unwrap(), b"large");
        assert!(!unread.path.exists());
    }
}
