//! `backup` and `restore`: the ledger put into safety, and back from there.

use std::path::Path;

use schemars::JsonSchema;
use serde::Serialize;

use super::fail::{Failure, Kind};
use super::output::{self, Progress};
use super::session::Session;
use crate::backup::{self, Backup, BackupError, KeptAside, Lost, Placed, RestoreError, Restored};
use crate::daemon::LEDGER_FILE;
use crate::ledger::checkpoint::SignedHead;
use crate::ledger::{Head, Ledger, OpenMode};
use crate::say;
use crate::units::Time;
use crate::zone::LocalZone;

/// So many names are shown.
const SHOWN: usize = 5;

/// A backup that was written, and looked through from its first entry to its last.
#[derive(Debug, Serialize, JsonSchema)]
pub struct BackupJson {
    /// The file.
    file: String,
    /// What it holds.
    holds: HoldsJson,
    /// How many signed heads it holds; each fits its entries.
    #[schemars(range(min = 0))]
    signed_heads: usize,
    /// Its length in bytes.
    #[schemars(range(min = 1))]
    bytes: u64,
    /// How many entries the older backup held that stood under this name; null where none did.
    replaced: Option<i64>,
    /// Where that older backup stands now, since it still has spectra that were pruned after it; null where it made room.
    kept_aside: Option<String>,
    /// The file of the private key, which is not in the backup.
    key_file: String,
}

/// The history that a backup holds.
#[derive(Debug, Serialize, JsonSchema)]
pub struct HoldsJson {
    /// How many entries.
    #[schemars(range(min = 1))]
    entries: i64,
    /// Their root (RFC 9162), 64 hexadecimal digits.
    #[schemars(extend("pattern" = "^[0-9a-f]{64}$"))]
    root: String,
    /// When the last of them was written.
    ends: Option<Time>,
    /// The newest signed head in it; null where it holds none.
    signed: Option<SignedJson>,
}

/// A signed head.
#[derive(Debug, Serialize, JsonSchema)]
pub struct SignedJson {
    /// How many entries it covers.
    #[schemars(range(min = 1))]
    size: i64,
    /// When it was signed.
    time: Option<Time>,
    /// Its short code.
    code: String,
}

/// What was restored.
#[derive(Debug, Serialize, JsonSchema)]
pub struct RestoredJson {
    /// The backup.
    file: String,
    /// `new`: there was no ledger, and the backup is it now; `carried-on`: what the ledger lacked was appended to it; `nothing`:
    /// the ledger held all of it.
    placed: &'static str,
    /// How many entries the ledger that was there had; null where there was none.
    before: Option<i64>,
    /// What the backup holds.
    holds: HoldsJson,
    /// What signed heads in the state folder and the folder of copies tell to be lost; null where they tell of nothing.
    lost: Option<LostJson>,
    /// How many signed heads of another ledger of this name lie there.
    #[schemars(range(min = 0))]
    strange_heads: usize,
    /// Archived files that the ledger does not know; `ingest` takes them in again.
    unknown_files: Vec<String>,
    /// Where the private key belongs that the ledger names, if it is missing; null where it is there, or where none is named.
    missing_key: Option<String>,
}

/// Entries that are gone.
#[derive(Debug, Serialize, JsonSchema)]
pub struct LostJson {
    /// How many, after the backup's last.
    #[schemars(range(min = 1))]
    entries: i64,
    /// The longest signed head that tells of them.
    seen: SignedJson,
    /// The file that it was found in.
    file: String,
}

fn signed_json(signed: &SignedHead) -> SignedJson {
    let checkpoint = &signed.checkpoint;
    SignedJson { size: checkpoint.head.size, time: checkpoint.time, code: signed.code.to_string() }
}

fn holds_json(head: Head, ends: Option<Time>, signed: Option<&SignedHead>) -> HoldsJson {
    HoldsJson { entries: head.size, root: head.root.to_string(), ends, signed: signed.map(signed_json) }
}

fn holds_text(head: Head, ends: Option<Time>, signed: Option<&SignedHead>, zone: LocalZone) -> String {
    let until = ends.map_or(String::new(), |ends| format!(", the last of {}", zone.show_full(ends)));
    let signed = match signed {
        None => "none".to_owned(),
        Some(signed) => {
            let size = signed.checkpoint.head.size;
            let when = signed.checkpoint.time.map_or(String::new(), |time| format!(", {}", zone.show_full(time)));
            format!("{}, code {}{when}", say::entries(size), signed.code)
        }
    };
    format!("  entries      {}{until}\n  signed head  {signed}\n  root         {}\n", head.size, head.root)
}

/// Writes a backup.
pub fn backup(session: Session, file: &Path, json: bool) -> Result<(), Failure> {
    let config = &session.config;
    let ledger = Ledger::open(&config.paths.state.join(LEDGER_FILE), &config.site.id, OpenMode::ReadOnly)?;
    let made = backup::make(&ledger, config, file)?;
    let Backup { head, ends, signed, signed_heads, bytes, replaced, kept_aside } = &made;
    let key = config.signing.key.display();
    if json {
        return output::json(&BackupJson {
            file: file.display().to_string(),
            holds: holds_json(*head, *ends, signed.as_ref()),
            signed_heads: *signed_heads,
            bytes: *bytes,
            replaced: *replaced,
            kept_aside: kept_aside.as_ref().map(|kept| kept.path.display().to_string()),
            key_file: key.to_string(),
        });
    }
    let mut text = format!("{} holds the whole ledger, checked from the first entry to the last.\n", file.display());
    text.push_str(&holds_text(*head, *ends, signed.as_ref(), session.zone()));
    text.push_str(&format!("  size         {} KiB\n", bytes.div_ceil(1024)));
    if let Some(replaced) = replaced {
        text.push_str(&format!("It took the place of a backup of {}.\n", say::entries(*replaced)));
    }
    if let Some(KeptAside { path, spectra }) = kept_aside {
        text.push_str(&format!(
            "That one still has the spectra of {}, which were pruned since, so it is kept: {}\n",
            say::count(u64::try_from(*spectra).unwrap_or(0), "reading"),
            path.display()
        ));
    }
    text.push_str(&format!(
        "Not in it: the private key ({key}), of which you keep a copy where nobody else gets at it; the configuration's file and \
         secrets; and the files as they were received, in {}.\n",
        config.paths.archive.display()
    ));
    output::print(&text)
}

/// Puts a backup in place.
pub fn restore(session: Session, file: &Path, json: bool) -> Result<(), Failure> {
    let config = &session.config;
    let mut progress = Progress::of("entries applied");
    let now = session.clock.now();
    let restored = backup::restore(config, file, session.operator.as_ref(), now, |done| progress.at(done))?;
    drop(progress);
    if json {
        return output::json(&restored_json(&restored, file, &session));
    }
    let Restored { placed, head, ends, signed, .. } = &restored;
    let mut text = match placed {
        Placed::New => {
            format!("The ledger is restored from {}, checked from the first entry to the last.\n", file.display())
        }
        Placed::CarriedOn(before) => format!(
            "The ledger that was there ends at entry {before}; what is new in {} was appended: {}.\n",
            file.display(),
            say::entries(head.size - before)
        ),
        Placed::Nothing => format!("Nothing to restore: the ledger holds all of {}.\n", file.display()),
    };
    text.push_str(&holds_text(*head, *ends, signed.as_ref(), session.zone()));
    text.push_str(&open_ends(&restored, &session));
    output::print(&text)
}

/// What is left to do or to know.
fn open_ends(restored: &Restored, session: &Session) -> String {
    let Restored { placed, head, lost, strange_heads, unknown_files, key_missing, .. } = restored;
    let mut text = String::new();
    if let Some(Lost { entries, seen, file }) = lost {
        let size = seen.checkpoint.head.size;
        text.push_str(&format!(
            "LOST: the backup ends at entry {}, but a signed head of {} was seen ({}, code {}): {} {} gone. \
             {}Is there a newer backup?\n",
            head.size,
            say::entries(size),
            file.display(),
            seen.code,
            say::entries(*entries),
            if *entries == 1 { "is" } else { "are" },
            if *placed == Placed::Nothing {
                ""
            } else {
                "An entry of the ledger says so, for whoever holds such a head. "
            },
        ));
    }
    if *strange_heads > 0 {
        let heads = say::count(u64::try_from(*strange_heads).unwrap_or(u64::MAX), "signed head");
        let are = if *strange_heads == 1 { "is" } else { "are" };
        text.push_str(&format!(
            "{heads} in the folders {are} of another ledger of this name, which says nothing about this one.\n"
        ));
    }
    if !unknown_files.is_empty() {
        let count = unknown_files.len();
        let (what, them) = if count == 1 { ("file", "it") } else { ("files", "them") };
        text.push_str(&format!(
            "{count} archived {what} the ledger does not know; `twinwhite ingest` takes {them} in again:\n"
        ));
        unknown_files.iter().take(SHOWN).for_each(|path| text.push_str(&format!("  {}\n", path.display())));
        if count > SHOWN {
            text.push_str(&format!("  and {} more (all with --json)\n", count - SHOWN));
        }
    }
    if *key_missing {
        text.push_str(&format!(
            "The private key is missing: put your copy of it to {}, or say `twinwhite audit key --lost REASON`. Until then nothing is \
             signed; all else works.\n",
            session.config.signing.key.display()
        ));
    }
    text.push_str("`twinwhite status` answers from it now. What was told after the backup may be told once more.\n");
    text
}

fn restored_json(restored: &Restored, file: &Path, session: &Session) -> RestoredJson {
    let Restored { placed, head, ends, signed, lost, strange_heads, unknown_files, key_missing } = restored;
    let (placed, before) = match placed {
        Placed::New => ("new", None),
        Placed::CarriedOn(before) => ("carried-on", Some(*before)),
        Placed::Nothing => ("nothing", Some(head.size)),
    };
    RestoredJson {
        file: file.display().to_string(),
        placed,
        before,
        holds: holds_json(*head, *ends, signed.as_ref()),
        lost: lost.as_ref().map(|lost| LostJson {
            entries: lost.entries,
            seen: signed_json(&lost.seen),
            file: lost.file.display().to_string(),
        }),
        strange_heads: *strange_heads,
        unknown_files: unknown_files.iter().map(|path| path.display().to_string()).collect(),
        missing_key: key_missing.then(|| session.config.signing.key.display().to_string()),
    }
}

impl From<BackupError> for Failure {
    fn from(error: BackupError) -> Self {
        let kind = match &error {
            BackupError::Ledger(_) | BackupError::Unsound(_) | BackupError::Head(_) => Kind::Ledger,
            BackupError::NoFolder { .. } | BackupError::Busy { .. } => Kind::System,
            BackupError::Differs { .. } | BackupError::NoName { .. } | BackupError::Io { .. } => Kind::System,
            BackupError::Itself { .. } | BackupError::NoBackup { .. } => Kind::Input,
            BackupError::Longer { .. } | BackupError::Fork { .. } => Kind::Input,
        };
        Self::new(kind, error.to_string())
    }
}

impl From<RestoreError> for Failure {
    fn from(error: RestoreError) -> Self {
        let kind = match &error {
            RestoreError::NoBackup { .. } | RestoreError::Damaged { .. } | RestoreError::Contradicted { .. } => {
                Kind::Input
            }
            RestoreError::Io { .. } => Kind::System,
            _ => Kind::Ledger,
        };
        Self::new(kind, error.to_string())
    }
}
