//! A ledger from a backup: put where there is none, or carried on where the one that is there is its beginning.
//!
//! The backup is copied and looked through before anything is touched. Nothing that stands is ever overwritten: a ledger that holds
//! more, or something else, or that is damaged, is refused and named.

use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

use super::{Staged, companions, copy_synced, ends, folder_of, is_same, newest, sync_folder};
use crate::config::Config;
use crate::daemon::{self, LEDGER_FILE, StartError};
use crate::evaluate;
use crate::ledger::checkpoint::SignedHead;
use crate::ledger::{Body, Digest, Fault, Head, Ledger, LedgerError, OpenMode, entry, verify, verify_both};
use crate::reading::Operator;
use crate::rebuild;
use crate::say;
use crate::signing::files;
use crate::units::Time;

/// The backup as it is looked through.
const STAGED: &str = "restore.part";
/// The ledger as it is made from it.
const BUILT: &str = "ledger.db.part";

/// Why nothing was restored. What was there is as it was.
#[derive(Debug, thiserror::Error)]
pub enum RestoreError {
    /// The ledger that is there, or the new one, cannot be used.
    #[error(transparent)]
    Ledger(#[from] LedgerError),
    /// The state folder cannot be used, or the daemon runs.
    #[error(transparent)]
    Start(#[from] StartError),
    /// The file is no backup, or one of another site.
    #[error("{} cannot be restored: {why}", path.display())]
    NoBackup {
        /// The file.
        path: PathBuf,
        /// What it is instead, and what to do.
        why: String,
    },
    /// The backup does not hold.
    #[error("{} is damaged: {fault}. Nothing was restored; take another backup", path.display())]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What is wrong with it.
        fault: Fault,
    },
    /// A signed head that was kept says otherwise.
    #[error(
        "{} is not the history that was signed: {} has a signed head of {} that it does not lead to. Nothing was restored. \
         One of the two was changed; if you know why, move that head away and restore again", path.display(), head.display(), say::entries(*size)
    )]
    Contradicted {
        /// The file.
        path: PathBuf,
        /// The file of the head.
        head: PathBuf,
        /// How many entries it covers.
        size: i64,
    },
    /// The ledger that is there holds more.
    #[error(
        "the ledger that is there has {} and the backup only {held}, all of which it holds: nothing was restored, and nothing needs to be",
        say::entries(*entries)
    )]
    Longer {
        /// How many the ledger has.
        entries: i64,
        /// How many the backup holds.
        held: i64,
    },
    /// The ledger that is there holds more, but for spectra that were pruned.
    #[error(
        "the ledger that is there has {} and the backup only {held}, all of which it holds but for the spectra of {}, which were pruned \
         since: nothing was restored. Whoever wants them restores this backup beside it: with --config and a configuration of the \
         same site whose folders (all under [paths], and [signing] copies) are others", say::entries(*entries),
        say::count(u64::try_from(*spectra).unwrap_or(0), "reading")
    )]
    Unpruned {
        /// How many the ledger has.
        entries: i64,
        /// How many the backup holds.
        held: i64,
        /// Of how many readings only the backup has the spectrum.
        spectra: i64,
    },
    /// The ledger that is there is another one.
    #[error(
        "the ledger that is there ({}) and the backup ({}) are two histories of this site, and neither is the \
         beginning of the other: nothing was restored. If it is the backup that you want, move ledger.db and what begins with its name \
         out of {} and restore again", say::entries(*entries), say::entries(*held), state.display()
    )]
    Fork {
        /// How many entries the ledger has.
        entries: i64,
        /// How many the backup holds.
        held: i64,
        /// The state folder.
        state: PathBuf,
    },
    /// The ledger that is there is damaged.
    #[error(
        "the ledger that is there does not hold ({why}), so what it has beyond the backup ({}) cannot be told: nothing was \
         restored. Move ledger.db and what begins with its name out of {}, keep it, and restore again", say::entries(*held), state.display()
    )]
    Unsound {
        /// What is wrong with it.
        why: String,
        /// How many entries the backup holds.
        held: i64,
        /// The state folder.
        state: PathBuf,
    },
    /// A log without its ledger.
    #[error("{} is there without its ledger.db and may hold entries that nothing else does: move it away, keep it, and restore again", path.display())]
    Leftover {
        /// The file.
        path: PathBuf,
    },
    /// Somebody wrote to the ledger meanwhile.
    #[error("another process wrote to the ledger meanwhile: nothing was restored; try again")]
    Moved,
    /// The system refuses.
    #[error("{}: {why}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system said.
        why: io::Error,
    },
}

/// What became of the ledger.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Placed {
    /// There was none: the backup is the ledger now.
    New,
    /// What it lacked was appended to the one that is there, which had so many entries.
    CarriedOn(i64),
    /// The one that is there held all of it.
    Nothing,
}

/// Entries that are gone, as far as signed heads tell.
#[derive(Debug, Clone, PartialEq)]
pub struct Lost {
    /// How many there were after the backup's last.
    pub entries: i64,
    /// The longest signed head that was seen.
    pub seen: SignedHead,
    /// Its file.
    pub file: PathBuf,
}

/// What was restored.
#[derive(Debug, Clone, PartialEq)]
pub struct Restored {
    /// What became of the ledger.
    pub placed: Placed,
    /// All entries of the backup, by number and root.
    pub head: Head,
    /// When the backup's last entry was written.
    pub ends: Option<Time>,
    /// The newest signed head in it.
    pub signed: Option<SignedHead>,
    /// What signed heads tell to be lost; an entry of the ledger says so too.
    pub lost: Option<Lost>,
    /// How many signed heads of another ledger of this name lie in the folders.
    pub strange_heads: usize,
    /// Archived files that the ledger does not know, and which can be taken in again.
    pub unknown_files: Vec<PathBuf>,
    /// Whether the private key that the ledger names is missing.
    pub key_missing: bool,
}

/// Restores `file` as the ledger of the configured site. Refused while the daemon runs.
pub fn restore(
    config: &Config,
    file: &Path,
    operator: Option<&Operator>,
    now: Time,
    progress: impl FnMut(i64),
) -> Result<Restored, RestoreError> {
    let state = &config.paths.state;
    let _lock = daemon::lock(state)?;
    let place = state.join(LEDGER_FILE);
    if !place.exists()
        && let Some(left) = logs(&place)
    {
        return Err(RestoreError::Leftover { path: left });
    }
    let staged = Staged::at(state.join(STAGED)).map_err(failed(state))?;
    let built = Staged::at(state.join(BUILT)).map_err(failed(state))?;
    let copy = fetch(config, file, &staged.path, &place)?;
    let head = copy.head().map_err(|bad| of_the_backup(file, bad))?;
    let there = if place.exists() { Some(standing(config, &place, head)?) } else { None };
    let heads = Heads::sort(files::seen(config), &copy, head)?;
    hold(&copy, file, there.as_ref().map(|(_, head)| *head), &heads, config)?;
    let restored = Restored {
        placed: Placed::New,
        head,
        ends: ends(&copy).map_err(|bad| of_the_backup(file, bad))?,
        signed: newest(&copy).map_err(|bad| of_the_backup(file, bad))?,
        lost: heads.lost(head),
        strange_heads: heads.strange,
        unknown_files: Vec::new(),
        key_missing: copy.signing_key()?.is_some() && !config.signing.key.exists(),
    };
    let (placed, ledger) = match there {
        Some((ledger, known)) if known == head => (Placed::Nothing, ledger),
        Some((mut ledger, known)) => {
            let carried = rebuild::carry_over(&mut ledger, &copy, known, config, now, progress)?;
            carried.ok_or(RestoreError::Moved)?;
            if let Some(lost) = &restored.lost {
                say_so(&mut ledger, config, head, lost, operator, now)?;
            }
            (Placed::CarriedOn(known.size), ledger)
        }
        None => {
            // Nothing but entries and signed heads is taken from the backup; all else is made anew.
            let mut ledger = Ledger::open(&built.path, &config.site.id, OpenMode::Create)?;
            let empty = ledger.head()?;
            let carried = rebuild::carry_over(&mut ledger, &copy, empty, config, now, progress)?;
            carried.ok_or(RestoreError::Moved)?;
            if let Some(lost) = &restored.lost {
                say_so(&mut ledger, config, head, lost, operator, now)?;
            }
            // With the last connection goes the log.
            drop(ledger);
            put(&built.path, &place)?;
            (Placed::New, Ledger::open(&place, &config.site.id, OpenMode::Existing)?)
        }
    };
    if placed != Placed::Nothing {
        // A head whose file keeps its name is told again by the next restore; nothing worse.
        heads.beyond.iter().for_each(|(file, _)| drop(files::mark_lost(file)));
    }
    Ok(Restored { placed, unknown_files: unknown(config, &ledger)?, ..restored })
}

/// A log beside this name that holds what its ledger may lack.
fn logs(ledger: &Path) -> Option<PathBuf> {
    let [log, _, journal] = companions(ledger);
    [log, journal].into_iter().find(|path| fs::metadata(path).is_ok_and(|about| about.len() > 0))
}

/// The backup as a ledger of its own, of this program's version, under another name.
fn fetch(config: &Config, file: &Path, staged: &Path, place: &Path) -> Result<Ledger, RestoreError> {
    let no_backup = |why: String| RestoreError::NoBackup { path: file.to_owned(), why };
    if !file.is_file() {
        return Err(no_backup("there is no such file".to_owned()));
    }
    if is_same(file, place) {
        return Err(no_backup("it is the ledger itself".to_owned()));
    }
    if let Some(log) = logs(file) {
        let why = format!("{} lies beside it, so it is in use or was not closed", log.display());
        return Err(no_backup(format!("{why}; make a backup of it with `twinwhite backup`")));
    }
    copy_synced(file, staged).map_err(failed(file))?;
    Ledger::head_of_file(staged, &config.site.id)
        .and_then(|_| Ledger::open(staged, &config.site.id, OpenMode::Existing))
        .and_then(|ledger| if ledger.head()?.size > 0 { Ok(Some(ledger)) } else { Ok(None) })
        .map_err(|bad| match bad {
            LedgerError::NotALedger { .. } => no_backup("it is no ledger".to_owned()),
            LedgerError::OtherSite { found, expected } => {
                no_backup(format!("it belongs to site '{found}', and the configuration is of '{expected}'"))
            }
            other => no_backup(other.to_string()),
        })?
        .ok_or_else(|| no_backup("it holds no entry".to_owned()))
}

/// The ledger that is there, sound and no longer than the backup.
fn standing(config: &Config, place: &Path, held: Head) -> Result<(Ledger, Head), RestoreError> {
    let state = config.paths.state.clone();
    let unsound = |why: String| RestoreError::Unsound { why, held: held.size, state: state.clone() };
    let ledger = match Ledger::open(place, &config.site.id, OpenMode::Existing) {
        Ok(ledger) => ledger,
        Err(bad @ (LedgerError::NotALedger { .. } | LedgerError::Damaged { .. } | LedgerError::Missing { .. })) => {
            return Err(unsound(bad.to_string()));
        }
        Err(other) => return Err(other.into()),
    };
    let head = ledger.head()?;
    let remembered = (head.size > held.size).then_some(held);
    match verify(&ledger, remembered.as_slice())?.fault {
        None if head.size > held.size => {
            let (entries, held_entries) = (head.size, held.size);
            let spectra = held.last().map(|last| ledger.pruned_since(last)).transpose()?.unwrap_or(0);
            Err(if spectra > 0 {
                RestoreError::Unpruned { entries, held: held_entries, spectra }
            } else {
                RestoreError::Longer { entries, held: held_entries }
            })
        }
        None => Ok((ledger, head)),
        Some(fault) if remembered.is_some_and(|held| fault.contradicts(held)) => {
            Err(RestoreError::Fork { entries: head.size, held: held.size, state: state.clone() })
        }
        Some(fault) => Err(unsound(fault.to_string())),
    }
}

/// Walks the whole backup, and holds it against all that is known from elsewhere.
fn hold(copy: &Ledger, file: &Path, there: Option<Head>, heads: &Heads, config: &Config) -> Result<(), RestoreError> {
    let within: Vec<SignedHead> = heads.within.iter().map(|(_, head)| head.clone()).collect();
    let found = verify_both(copy, there.as_slice(), &within).map_err(|bad| of_the_backup(file, bad))?;
    let Some(fault) = found.fault else { return Ok(()) };
    if let Some(there) = there.filter(|there| fault.contradicts(*there)) {
        let (entries, held, state) = (there.size, copy.head()?.size, config.paths.state.clone());
        return Err(RestoreError::Fork { entries, held, state });
    }
    // The backup's own heads are as much part of it as its entries.
    let alone = verify(copy, &[])?.fault;
    let against = heads.within.iter().find(|(_, head)| fault.is_about_head(head.checkpoint.head.size));
    Err(match (alone, against) {
        (None, Some((head, signed))) => {
            RestoreError::Contradicted { path: file.to_owned(), head: head.clone(), size: signed.checkpoint.head.size }
        }
        (alone, _) => RestoreError::Damaged { path: file.to_owned(), fault: alone.unwrap_or(fault) },
    })
}

/// Signed heads that lie in the folders, as they stand to the backup.
struct Heads {
    /// Those that it must lead to.
    within: Vec<(PathBuf, SignedHead)>,
    /// Those of the same ledger that go further.
    beyond: Vec<(PathBuf, SignedHead)>,
    /// How many are another ledger's.
    strange: usize,
}

impl Heads {
    fn sort(seen: Vec<(PathBuf, SignedHead)>, copy: &Ledger, held: Head) -> Result<Self, LedgerError> {
        let origin = copy.log_origin()?.unwrap_or_default();
        let (own, strange): (Vec<_>, Vec<_>) = seen.into_iter().partition(|(_, head)| head.checkpoint.origin == origin);
        let (within, beyond) = own.into_iter().partition(|(_, head)| head.checkpoint.head.size <= held.size);
        Ok(Self { within, beyond, strange: strange.len() })
    }

    fn lost(&self, held: Head) -> Option<Lost> {
        let (file, seen) = self.beyond.iter().max_by_key(|(_, head)| head.checkpoint.head.size)?;
        let entries = seen.checkpoint.head.size - held.size;
        Some(Lost { entries, seen: seen.clone(), file: file.clone() })
    }
}

/// Writes into the ledger what of its history is lost, since a head of it that somebody holds will never fit again.
fn say_so(
    ledger: &mut Ledger,
    config: &Config,
    head: Head,
    lost: &Lost,
    operator: Option<&Operator>,
    now: Time,
) -> Result<(), LedgerError> {
    let seen = lost.seen.checkpoint.head;
    let body = entry::Restored {
        entries: head.size,
        seen: seen.size,
        seen_root: seen.root,
        operator: operator.map(|who| who.id.clone()),
        operator_by: operator.map(|who| who.by),
    };
    ledger.write(now, |tx| evaluate::append(tx, config, Body::Restored(body))).map(|_| ())
}

/// Gives the finished ledger its name, and never that of another one.
fn put(staged: &Path, place: &Path) -> Result<(), RestoreError> {
    File::options().write(true).open(staged).and_then(|file| file.sync_all()).map_err(failed(staged))?;
    match fs::hard_link(staged, place) {
        Ok(()) => {}
        Err(why) if why.kind() == io::ErrorKind::AlreadyExists => return Err(RestoreError::Moved),
        // Some file systems know no second name for a file.
        Err(_) if !place.exists() => fs::rename(staged, place).map_err(failed(place))?,
        Err(why) => return Err(failed(place)(why)),
    }
    sync_folder(folder_of(place)).map_err(failed(place))
}

/// Archived files whose bytes the ledger does not know.
fn unknown(config: &Config, ledger: &Ledger) -> Result<Vec<PathBuf>, LedgerError> {
    let mut unknown = Vec::new();
    let mut folders = vec![config.paths.archive.clone()];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
            let path = entry.path();
            match entry.file_type() {
                Ok(kind) if kind.is_dir() => folders.push(path),
                Ok(kind) if kind.is_file() => {
                    let Ok(bytes) = fs::read(&path) else { continue };
                    if ledger.file(&Digest::of(&bytes))?.is_none() {
                        unknown.push(path);
                    }
                }
                _ => {}
            }
        }
    }
    unknown.sort();
    Ok(unknown)
}

fn of_the_backup(file: &Path, bad: impl std::fmt::Display) -> RestoreError {
    RestoreError::NoBackup { path: file.to_owned(), why: bad.to_string() }
}

fn failed(path: &Path) -> impl Fn(io::Error) -> RestoreError + use<> {
    let path = path.to_owned();
    move |why| RestoreError::Io { path: path.clone(), why }
}
