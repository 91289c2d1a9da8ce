//! The ledger put into safety and taken back.
//!
//! What lives here: one file that holds the whole ledger ([`make`]), and a ledger from such a file ([`restore()`]). What does not: any
//! SQL (`ledger/store`), and the walk that says whether a ledger is whole (`ledger::verify`), which judges both.
//!
//! A backup is a ledger's file as SQLite writes it in one snapshot: entries, signed heads, derived tables. Not in it are the
//! private key, which must not lie where backups lie, and the files as they were received.

mod restore;

use std::fs::{self, File, TryLockError};
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use crate::config::Config;
use crate::daemon::LEDGER_FILE;
use crate::ledger::checkpoint::{BadCheckpoint, SignedHead};
use crate::ledger::{Fault, Head, Ledger, LedgerError, OpenMode, Store, verify_both};
use crate::say;
use crate::units::{SiteId, Time};
pub use restore::{Lost, Placed, RestoreError, Restored, restore};

const LOCK_FILE: &str = "backup.lock";
/// Where a copy is made and looked through before it goes where it belongs.
const STAGED: &str = "backup.part";
/// So many names are tried for a backup that is kept aside.
const MOST_NAMES: u32 = 1000;

/// Why no backup was made. What stood under its name before still stands there.
#[derive(Debug, thiserror::Error)]
pub enum BackupError {
    /// The ledger cannot be read or copied.
    #[error(transparent)]
    Ledger(#[from] LedgerError),
    /// The folder is not there.
    #[error("the folder {} is not there: make it, or see whether its disk is connected", path.display())]
    NoFolder {
        /// The folder.
        path: PathBuf,
    },
    /// The file named is the ledger itself.
    #[error("{} is the ledger itself: name another file, best on another disk", path.display())]
    Itself {
        /// The file.
        path: PathBuf,
    },
    /// The file that is there is no backup of this site.
    #[error("{} is there already and is no backup of this site ({why}): name another file, or move it away", path.display())]
    NoBackup {
        /// The file.
        path: PathBuf,
        /// What it is instead.
        why: String,
    },
    /// The backup that is there holds more.
    #[error(
        "{} is a backup of {}, and the ledger has only {entries}: it was not overwritten; name another file. \
         Was the ledger begun anew, or is this an older one?", path.display(), say::entries(*held)
    )]
    Longer {
        /// The file.
        path: PathBuf,
        /// How many entries it holds.
        held: i64,
        /// How many the ledger has.
        entries: i64,
    },
    /// The backup that is there holds something else.
    #[error("{} is a backup of another history of this site ({}): it was not overwritten; name another file", path.display(), say::entries(*held))]
    Fork {
        /// The file.
        path: PathBuf,
        /// How many entries it holds.
        held: i64,
    },
    /// What was copied does not hold.
    #[error("no backup was made, since the ledger does not hold: {0}. Keep the backups that you have")]
    Unsound(Fault),
    /// A signed head in the store cannot be read.
    #[error("no backup was made, since a signed head cannot be read: {0}")]
    Head(#[from] BadCheckpoint),
    /// Another backup of this site is being made.
    #[error("another backup of this site is being made ({} is locked): wait until it is done", lock.display())]
    Busy {
        /// The lock.
        lock: PathBuf,
    },
    /// What was written does not read back the same.
    #[error("{} does not read back as it was written: use another disk", path.display())]
    Differs {
        /// The file.
        path: PathBuf,
    },
    /// A backup that must be kept finds no free name.
    #[error(
        "{} still has spectra that were pruned since, and every name to keep it aside under is taken: nothing was overwritten; \
         name another file", path.display()
    )]
    NoName {
        /// The file.
        path: PathBuf,
    },
    /// The system refuses.
    #[error("{}: {why}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system said.
        why: io::Error,
    },
}

/// What a finished backup holds.
#[derive(Debug, Clone, PartialEq)]
pub struct Backup {
    /// All its entries, by number and root.
    pub head: Head,
    /// When its last entry was written.
    pub ends: Option<Time>,
    /// The newest signed head in it.
    pub signed: Option<SignedHead>,
    /// How many signed heads it holds.
    pub signed_heads: usize,
    /// Its length in bytes.
    pub bytes: u64,
    /// How many entries the backup held that stood under this name before.
    pub replaced: Option<i64>,
    /// That older backup, where it still has spectra that were pruned since: it makes no room and is kept.
    pub kept_aside: Option<KeptAside>,
}

/// A backup from before a pruning, kept beside the new one.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptAside {
    /// Its file now.
    pub path: PathBuf,
    /// Of how many readings it alone still has the spectrum.
    pub spectra: i64,
}

/// Writes a backup of `ledger` to `file`, while others write to it. It is made aside, looked through from the first entry to the last,
/// and only then takes its name. An older backup of the same history makes room for it, and is kept under another name where it
/// has spectra that were pruned since; nothing else makes room.
pub fn make(ledger: &Ledger, config: &Config, file: &Path) -> Result<Backup, BackupError> {
    let state = &config.paths.state;
    let _lock = lock(state)?;
    let folder = folder_of(file);
    if !folder.is_dir() {
        return Err(BackupError::NoFolder { path: folder.to_owned() });
    }
    if is_same(file, &state.join(LEDGER_FILE)) {
        return Err(BackupError::Itself { path: file.to_owned() });
    }
    let before = standing(file, ledger.site())?;
    let staged = Staged::at(state.join(STAGED)).map_err(failed(state))?;
    ledger.copy_to(&staged.path)?;
    let (made, pruned_since) = examine(&staged.path, ledger.site(), file, before)?;
    let to_keep = before.filter(|_| pruned_since > 0).map(|before| before.size);
    let kept = deliver(&staged.path, file, to_keep)?;
    let kept_aside = kept.map(|path| KeptAside { path, spectra: pruned_since });
    Ok(Backup { kept_aside, ..made })
}

fn lock(state: &Path) -> Result<File, BackupError> {
    let path = state.join(LOCK_FILE);
    let file = File::options().create(true).truncate(false).write(true).open(&path).map_err(failed(&path))?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(TryLockError::WouldBlock) => Err(BackupError::Busy { lock: path }),
        Err(TryLockError::Error(why)) => Err(failed(&path)(why)),
    }
}

/// The backup that stands under this name already.
fn standing(file: &Path, site: &SiteId) -> Result<Option<Head>, BackupError> {
    let why = match fs::metadata(file) {
        Err(why) if why.kind() == io::ErrorKind::NotFound => return Ok(None),
        Err(why) => return Err(failed(file)(why)),
        Ok(about) if about.is_file() => match Ledger::head_of_file(file, site) {
            Ok(head) => return Ok(Some(head)),
            Err(LedgerError::NotALedger { .. }) => "it is no ledger at all".to_owned(),
            Err(LedgerError::OtherSite { found, .. }) => format!("it belongs to site '{found}'"),
            Err(other) => other.to_string(),
        },
        Ok(_) => "it is no file".to_owned(),
    };
    Err(BackupError::NoBackup { path: file.to_owned(), why })
}

/// Looks through the whole copy. Returns also how many readings of the backup `before` have lost their spectrum since.
fn examine(copy: &Path, site: &SiteId, file: &Path, before: Option<Head>) -> Result<(Backup, i64), BackupError> {
    let bytes = fs::metadata(copy).map_err(failed(copy))?.len();
    let copy = Ledger::open(copy, site, OpenMode::ReadOnly)?;
    let head = copy.head()?;
    let path = || file.to_owned();
    if let Some(before) = before.filter(|before| before.size > head.size) {
        return Err(BackupError::Longer { path: path(), held: before.size, entries: head.size });
    }
    let found = verify_both(&copy, before.as_slice(), &[])?;
    match (found.fault, before) {
        (None, _) => {}
        (Some(fault), Some(before)) if fault.contradicts(before) => {
            return Err(BackupError::Fork { path: path(), held: before.size });
        }
        (Some(fault), _) => return Err(BackupError::Unsound(fault)),
    }
    let last = before.and_then(|before| before.last());
    let pruned_since = last.map(|last| copy.pruned_since(last)).transpose()?.unwrap_or(0);
    let made = Backup {
        head,
        ends: ends(&copy)?,
        signed: newest(&copy)?,
        signed_heads: found.signed_heads,
        bytes,
        replaced: before.map(|before| before.size),
        kept_aside: None,
    };
    Ok((made, pruned_since))
}

/// When the last entry was written.
fn ends(store: &Store) -> Result<Option<Time>, LedgerError> {
    let last = store.head()?.last().map(|seq| store.entry(seq)).transpose()?.flatten();
    Ok(last.map(|entry| entry.time))
}

fn newest(store: &Store) -> Result<Option<SignedHead>, BackupError> {
    Ok(store.newest_signed_head()?.map(|row| SignedHead::parse(&row.note)).transpose()?)
}

/// Gives the finished copy its name: whole or not at all, also where that lies on another disk. The backup of `to_keep` entries
/// that stands there is kept aside first; returns where.
fn deliver(staged: &Path, file: &Path, to_keep: Option<i64>) -> Result<Option<PathBuf>, BackupError> {
    let mut name = file.file_name().unwrap_or_default().to_owned();
    name.push(".new");
    let new = Staged::at(file.with_file_name(name)).map_err(failed(file))?;
    match fs::rename(staged, &new.path) {
        Err(why) if why.kind() == io::ErrorKind::CrossesDevices => {
            copy_synced(staged, &new.path).map_err(failed(&new.path))?;
            if !is_alike(staged, &new.path).map_err(failed(&new.path))? {
                return Err(BackupError::Differs { path: new.path.clone() });
            }
        }
        done => done.map_err(failed(&new.path))?,
    }
    // Only now, when nothing is left to do but to give names.
    let kept = to_keep.map(|entries| keep_aside(file, entries)).transpose()?;
    fs::rename(&new.path, file).map_err(failed(file))?;
    sync_folder(folder_of(file)).map_err(failed(file))?;
    Ok(kept)
}

/// Gives the backup of so many entries a name beside its own that was free, like `quillmoor-738-with-spectra.backup`. Where an earlier
/// attempt got as far, that name stays.
fn keep_aside(file: &Path, entries: i64) -> Result<PathBuf, BackupError> {
    let stem = file.file_stem().unwrap_or_default();
    for nth in 1..=MOST_NAMES {
        let mut name = stem.to_owned();
        name.push(format!("-{entries}-with-spectra"));
        if nth > 1 {
            name.push(format!("-{nth}"));
        }
        if let Some(ending) = file.extension() {
            name.push(".");
            name.push(ending);
        }
        let aside = file.with_file_name(name);
        match fs::hard_link(file, &aside) {
            Ok(()) => {}
            Err(why) if why.kind() == io::ErrorKind::AlreadyExists => {
                if aside.is_file() && is_alike(file, &aside).map_err(failed(&aside))? {
                    return Ok(aside);
                }
                continue;
            }
            // Some file systems know no second name for a file: it moves, to a name that is ours first.
            Err(_) => match File::options().write(true).create_new(true).open(&aside) {
                Ok(_) => fs::rename(file, &aside).map_err(failed(&aside))?,
                Err(why) if why.kind() == io::ErrorKind::AlreadyExists => continue,
                Err(why) => return Err(failed(&aside)(why)),
            },
        }
        sync_folder(folder_of(file)).map_err(failed(file))?;
        return Ok(aside);
    }
    Err(BackupError::NoName { path: file.to_owned() })
}

fn failed(path: &Path) -> impl Fn(io::Error) -> BackupError + use<> {
    let path = path.to_owned();
    move |why| BackupError::Io { path: path.clone(), why }
}

/// A ledger's file that goes again, with SQLite's own beside it, unless it was given another name.
struct Staged {
    path: PathBuf,
}

impl Staged {
    /// Takes away what an earlier attempt left there.
    fn at(path: PathBuf) -> io::Result<Self> {
        let staged = Self { path };
        staged.clear()?;
        Ok(staged)
    }

    fn clear(&self) -> io::Result<()> {
        companions(&self.path).into_iter().chain([self.path.clone()]).try_for_each(|path| match fs::remove_file(path) {
            Err(why) if why.kind() != io::ErrorKind::NotFound => Err(why),
            _ => Ok(()),
        })
    }
}

impl Drop for Staged {
    fn drop(&mut self) {
        // What cannot be taken away now is when the next one is made.
        let _ = self.clear();
    }
}

/// The files that SQLite keeps beside a ledger that is in use.
fn companions(path: &Path) -> [PathBuf; 3] {
    ["-wal", "-shm", "-journal"].map(|ending| {
        let mut name = path.as_os_str().to_owned();
        name.push(ending);
        PathBuf::from(name)
    })
}

fn folder_of(file: &Path) -> &Path {
    file.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

fn is_same(one: &Path, other: &Path) -> bool {
    matches!((one.canonicalize(), other.canonicalize()), (Ok(one), Ok(other)) if one == other)
}

fn copy_synced(from: &Path, to: &Path) -> io::Result<()> {
    io::copy(&mut File::open(from)?, &mut File::create(to)?)?;
    File::options().write(true).open(to)?.sync_all()
}

fn is_alike(one: &Path, other: &Path) -> io::Result<bool> {
    let (mut one, mut other) = (io::BufReader::new(File::open(one)?), io::BufReader::new(File::open(other)?));
    let (mut a, mut b) = (Vec::new(), Vec::new());
    loop {
        a.clear();
        b.clear();
        one.by_ref().take(1 << 20).read_to_end(&mut a)?;
        other.by_ref().take(1 << 20).read_to_end(&mut b)?;
        if a != b {
            return Ok(false);
        }
        if a.is_empty() {
            return Ok(true);
        }
    }
}

/// So that a new name is on disk; only Unix knows such a thing.
fn sync_folder(folder: &Path) -> io::Result<()> {
    if cfg!(unix) { File::open(folder)?.sync_all() } else { Ok(()) }
}
