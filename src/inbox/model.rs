//! Random deeds of people and programs, done on a real folder and on a toy of it in memory, which says what the scan
//! must find.
//!
//! The toy knows files by a version that rises with every change. The caller in this test takes a file whose content
//! ends in `end`, leaves others as incomplete, and may be cut off between its commit and the move.

use std::collections::{BTreeMap, BTreeSet, HashSet};
use std::fs::{self, OpenOptions};
use std::io::Write as _;
use std::path::{Path, PathBuf};
use std::time::{Duration, SystemTime};

use proptest::prelude::*;

use super::*;
use crate::units::Time;

const SETTLE: Duration = Duration::from_secs(10);
const SLOTS: [&str; 4] = ["a.csv", "b", "bay-lamp/a.csv", "bay-lamp/long name.csv"];

#[derive(Debug, Clone)]
enum Deed {
    /// A program opens a new file and writes its beginning.
    Begin(usize),
    /// It writes more and keeps the file open.
    Write(usize),
    /// It opens the file again, adds a piece and closes it.
    Add(usize),
    /// It writes the end and closes the file.
    Finish(usize),
    /// A whole file is renamed into place, over what lies there.
    RenameIn(usize),
    /// The file is renamed to somewhere else.
    TakeAway(usize),
    Delete(usize),
    /// Its time of change is set.
    SetTime(usize),
    Advance(u64),
    /// All hints since the last scan are lost, and that is told.
    Overflow,
    /// All hints since the last scan are lost, and nobody knows.
    LoseHints,
    Scan,
    /// A scan before the hints have come; they come later.
    ScanEarly,
    /// A scan; a whole file is renamed over each claimed one between the commit and the move.
    ScanRaced,
    /// A scan; after the first commit the daemon is killed and starts again.
    ScanCrashed,
}

fn deed() -> impl Strategy<Value = Deed> {
    let slot = || 0..SLOTS.len();
    prop_oneof![
        3 => slot().prop_map(Deed::Begin),
        2 => slot().prop_map(Deed::Write),
        2 => slot().prop_map(Deed::Add),
        4 => slot().prop_map(Deed::Finish),
        3 => slot().prop_map(Deed::RenameIn),
        1 => slot().prop_map(Deed::TakeAway),
        1 => slot().prop_map(Deed::Delete),
        1 => slot().prop_map(Deed::SetTime),
        4 => prop_oneof![1_u64..3_000, Just(5_000), Just(10_000)].prop_map(Deed::Advance),
        1 => Just(Deed::Overflow),
        2 => Just(Deed::LoseHints),
        6 => Just(Deed::Scan),
        2 => Just(Deed::ScanEarly),
        1 => Just(Deed::ScanRaced),
        1 => Just(Deed::ScanCrashed),
    ]
}

#[derive(Clone, Copy, PartialEq)]
enum Fate {
    Usual,
    Raced,
    Crashed,
}

struct ToyFile {
    content: Vec<u8>,
    version: u64,
}

/// What the toy says the inbox knows of a slot.
#[derive(Default, Clone)]
struct ToyKnown {
    still: Option<(u64, Duration)>,
    mark: Option<u64>,
    left: Option<u64>,
}

struct Room {
    _keep: tempfile::TempDir,
    outside: PathBuf,
    inbox: Inbox,
    now: Duration,
    versions: u64,
    files: BTreeMap<usize, ToyFile>,
    known: Vec<ToyKnown>,
    /// Slot and whether it was called whole.
    queue: Vec<(usize, bool)>,
    /// Contents that were committed.
    ledger: HashSet<Vec<u8>>,
    /// Of those, the ones that a crash kept from being moved.
    unmoved: HashSet<Vec<u8>>,
    /// Contents that were taken away or written over where they lay.
    destroyed: HashSet<Vec<u8>>,
    /// Contents that were whole and that nobody but the inbox may have taken away.
    owed: BTreeSet<Vec<u8>>,
    calendar: Time,
}

impl Room {
    fn new() -> Self {
        // In memory where there is such a folder: each move syncs, and there are many.
        let keep = tempfile::tempdir_in("/dev/shm").or_else(|_| tempfile::tempdir()).unwrap();
        let folders = Folders::beside(keep.path().join("inbox"));
        folders.prepare().unwrap();
        fs::create_dir(folders.inbox.join("bay-lamp")).unwrap();
        let outside = keep.path().join("outside");
        fs::create_dir(&outside).unwrap();
        Self {
            outside,
            inbox: Inbox::new(folders, SETTLE, 1 << 20),
            now: Duration::ZERO,
            versions: 0,
            files: BTreeMap::new(),
            known: vec![ToyKnown::default(); SLOTS.len()],
            queue: Vec::new(),
            ledger: HashSet::new(),
            unmoved: HashSet::new(),
            destroyed: HashSet::new(),
            owed: BTreeSet::new(),
            calendar: Time::parse("2026-02-03T04:05:06Z").unwrap(),
            _keep: keep,
        }
    }

    fn path(&self, slot: usize) -> PathBuf {
        self.inbox.folders().inbox.join(SLOTS[slot])
    }

    /// A new version, whose number is also the file's time of change: the disk's own clock ticks too slowly here.
    fn stamp(&mut self, path: &Path) -> u64 {
        self.versions += 1;
        let time = SystemTime::UNIX_EPOCH + Duration::from_secs(1_000_000 + self.versions);
        OpenOptions::new().write(true).open(path).unwrap().set_modified(time).unwrap();
        self.versions
    }

    fn append(&mut self, slot: usize, text: &str) {
        let path = self.path(slot);
        OpenOptions::new().append(true).open(&path).unwrap().write_all(text.as_bytes()).unwrap();
        let version = self.stamp(&path);
        let file = self.files.get_mut(&slot).unwrap();
        file.content.extend_from_slice(text.as_bytes());
        file.version = version;
    }

    fn is_open(&self, slot: usize) -> bool {
        self.files.get(&slot).is_some_and(|file| !file.content.ends_with(b"end\n"))
    }

    fn rename_in(&mut self, slot: usize) {
        let content = format!("whole {}\nend\n", self.versions).into_bytes();
        let from = self.outside.join("draft");
        fs::write(&from, &content).unwrap();
        let version = self.stamp(&from);
        fs::rename(&from, self.path(slot)).unwrap();
        if let Some(gone) = self.files.insert(slot, ToyFile { content: content.clone(), version }) {
            self.owed.remove(&gone.content);
            self.destroyed.insert(gone.content);
        }
        self.owed.insert(content);
        self.queue.extend([(slot, true), (slot, true)]);
    }

    fn do_deed(&mut self, deed: &Deed) {
        match *deed {
            Deed::Begin(slot) if !self.files.contains_key(&slot) => {
                fs::write(self.path(slot), b"").unwrap();
                self.files.insert(slot, ToyFile { content: Vec::new(), version: 0 });
                let text = format!("slow {}\n", self.versions);
                self.append(slot, &text);
                self.queue.extend([(slot, false), (slot, false)]);
            }
            Deed::Write(slot) if self.is_open(slot) => {
                self.append(slot, "more\n");
                self.queue.push((slot, false));
            }
            Deed::Add(slot) if self.is_open(slot) => {
                self.append(slot, "piece\n");
                self.queue.extend([(slot, false), (slot, true)]);
            }
            Deed::Finish(slot) if self.is_open(slot) => {
                self.append(slot, "end\n");
                self.owed.insert(self.files[&slot].content.clone());
                self.queue.extend([(slot, false), (slot, true)]);
            }
            Deed::RenameIn(slot) => self.rename_in(slot),
            Deed::TakeAway(slot) | Deed::Delete(slot) if self.files.contains_key(&slot) => {
                match deed {
                    Deed::Delete(_) => fs::remove_file(self.path(slot)).unwrap(),
                    _ => fs::rename(self.path(slot), self.outside.join("taken")).unwrap(),
                }
                let gone = self.files.remove(&slot).unwrap();
                self.owed.remove(&gone.content);
                self.destroyed.insert(gone.content);
                self.queue.push((slot, false));
            }
            Deed::SetTime(slot) if self.files.contains_key(&slot) => {
                let version = self.stamp(&self.path(slot));
                self.files.get_mut(&slot).unwrap().version = version;
            }
            Deed::Advance(millis) => self.now += Duration::from_millis(millis),
            Deed::Overflow => {
                self.queue.clear();
                self.inbox.hint(Hint::Rescan);
                self.known.iter_mut().for_each(|known| known.mark = None);
            }
            Deed::LoseHints => self.queue.clear(),
            Deed::Scan => self.deliver_and_scan(Fate::Usual),
            Deed::ScanRaced => self.deliver_and_scan(Fate::Raced),
            Deed::ScanCrashed => self.deliver_and_scan(Fate::Crashed),
            Deed::ScanEarly => self.scan(Fate::Usual),
            _ => {}
        }
    }

    /// What the toy says a scan must find: ready slots, how many wait, when to look again.
    fn foretell(&mut self) -> (BTreeSet<usize>, usize, Option<Duration>) {
        let (mut ready, mut waiting, mut next) = (BTreeSet::new(), 0, None);
        for slot in 0..SLOTS.len() {
            let Some(file) = self.files.get(&slot) else {
                self.known[slot] = ToyKnown::default();
                continue;
            };
            let known = &mut self.known[slot];
            if known.still.is_none_or(|(version, _)| version != file.version) {
                known.still = Some((file.version, self.now));
            }
            if known.mark != Some(file.version) {
                known.mark = None;
            }
            let whole_at = known.still.unwrap().1 + SETTLE;
            let whole = known.mark.is_some() || self.now >= whole_at;
            if whole && known.left != Some(file.version) {
                ready.insert(slot);
            } else {
                waiting += 1;
                if !whole {
                    next = Some(next.map_or(whole_at, |sooner: Duration| sooner.min(whole_at)));
                }
            }
        }
        (ready, waiting, next)
    }

    fn deliver_and_scan(&mut self, fate: Fate) {
        for (slot, whole) in std::mem::take(&mut self.queue) {
            let path = self.path(slot);
            self.inbox.hint(if whole { Hint::Complete(path) } else { Hint::Touched(path) });
            let known = &mut self.known[slot];
            if whole {
                known.mark = self.files.get(&slot).map(|file| file.version);
            } else {
                (known.mark, known.still) = (None, None);
            }
        }
        self.scan(fate);
    }

    fn scan(&mut self, fate: Fate) {
        let report = self.inbox.scan(self.now);
        let (ready, waiting, next_look) = self.foretell();
        let slot_of = |path: &Path| (0..SLOTS.len()).find(|slot| self.path(*slot) == path).unwrap();
        let found: BTreeSet<usize> = report.ready.iter().map(|candidate| slot_of(&candidate.path)).collect();
        assert_eq!((&found, report.waiting, report.next_look), (&ready, waiting, next_look), "at {:?}", self.now);
        assert_eq!((report.blind, report.notes), (None, vec![]));

        let slots: Vec<usize> = report.ready.iter().map(|candidate| slot_of(&candidate.path)).collect();
        for (slot, candidate) in slots.into_iter().zip(&report.ready) {
            let claim = self.inbox.claim(candidate).unwrap();
            assert_eq!(claim.bytes, self.files[&slot].content);
            assert_eq!(claim.folder_device.as_deref(), (slot >= 2).then_some("bay-lamp"));
            if !claim.bytes.ends_with(b"end\n") {
                self.inbox.leave_incomplete(candidate, "no end");
                self.known[slot].left = Some(self.files[&slot].version);
                continue;
            }
            let first = self.ledger.insert(claim.bytes.clone());
            assert!(first || self.unmoved.contains(&claim.bytes), "committed twice");
            if fate == Fate::Crashed {
                self.unmoved.insert(claim.bytes);
                let folders = self.inbox.folders().clone();
                self.inbox = Inbox::new(folders, SETTLE, 1 << 20);
                self.known.fill(ToyKnown::default());
                self.queue.clear();
                return;
            }
            if fate == Fate::Raced {
                // The claimed file is overwritten, but its bytes were committed: they are still owed.
                self.files.remove(&slot);
                self.rename_in(slot);
            } else {
                self.files.remove(&slot);
            }
            let kept = self.inbox.archive(&claim, self.calendar).unwrap();
            assert_eq!(fs::read(&kept).unwrap(), claim.bytes);
            assert!(self.owed.remove(&claim.bytes), "moved twice, or never whole");
            self.known[slot] = ToyKnown::default();
        }
    }

    /// Everybody finishes, no hint comes any more; the rescans must find the rest.
    fn close(mut self) {
        (0..SLOTS.len()).for_each(|slot| self.do_deed(&Deed::Finish(slot)));
        self.queue.clear();
        self.scan(Fate::Usual);
        self.now += SETTLE;
        self.scan(Fate::Usual);
        assert!(self.files.is_empty() && self.owed.is_empty(), "left over: {:?}", self.owed);

        let month = self.inbox.folders().archive.join("2026/02");
        let kept: Vec<_> = fs::read_dir(month).into_iter().flatten().map(|kept| kept.unwrap().path()).collect();
        let contents: HashSet<_> = kept.iter().map(|path| fs::read(path).unwrap()).collect();
        assert_eq!(contents.len(), kept.len(), "each content lies there once");
        assert!(contents.is_subset(&self.ledger), "nothing is kept that was not committed");
        let lost: Vec<_> = self.ledger.difference(&contents).collect();
        let unmoved = |content: &&Vec<u8>| self.unmoved.contains(*content) && self.destroyed.contains(*content);
        assert!(lost.iter().all(unmoved), "committed and not kept: {lost:?}");
        let left = self.inbox.scan(self.now);
        assert_eq!((left.ready.len(), left.waiting), (0, 0));
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 150, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn the_scan_finds_what_the_toy_foretells(deeds in prop::collection::vec(deed(), 1..60)) {
        let mut room = Room::new();
        deeds.iter().for_each(|deed| room.do_deed(deed));
        room.close();
    }
}
