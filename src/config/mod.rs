//! The configuration file: as written, and as understood.
//!
//! Here: what a configuration is once understood, and [`Config::parse`], which is pure. How the file is walked over and
//! its mistakes are told is in `walk`, `words` and `mistake`; which keys there are in `settings`, `things`, `stations` and
//! `mapping`; what must agree between tables in `checks`. Finding and reading the file is in [`find`], the only part
//! that touches a disk.

mod checks;
pub mod find;
mod mapping;
mod mistake;
mod settings;
mod stations;
mod things;
mod walk;
mod white;
mod words;

use std::path::{Path, PathBuf};
use std::time::Duration;

use sha2::{Digest, Sha256};
use toml::de::DeTable;

use crate::formats::mapping::Mapping;
use crate::schedule::Reminder;
use crate::site::Things;
use crate::units::{DeviceId, SiteId};
pub use mistake::{Mistake, Mistakes};
use walk::{Notes, Table};

/// A configuration without a mistake.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)]
pub struct Config {
    pub site: Site,
    pub paths: Paths,
    pub inbox: InboxSettings,
    pub things: Things,
    pub reminders: Vec<Reminder>,
    /// Tables of other makes that are read.
    pub mappings: Vec<Mapping>,
    /// Where messages go beside the log, which is always on.
    pub channels: Vec<Channel>,
    /// The file as read.
    pub text: String,
    /// SHA-256 of `text`, 64 hexadecimal digits.
    pub sha256: String,
}

/// The site as a whole.
#[derive(Debug, Clone, PartialEq, Eq)]
#[allow(missing_docs)]
pub struct Site {
    pub id: SiteId,
    pub name: String,
    pub zone: chrono_tz::Tz,
}

/// Folders; relative ones of the file are already joined to the file's own folder.
#[derive(Debug, Clone, PartialEq, Eq)]
#[allow(missing_docs)]
pub struct Paths {
    pub inbox: PathBuf,
    pub archive: PathBuf,
    pub quarantine: PathBuf,
    pub state: PathBuf,
}

/// How the drop folder is watched.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct InboxSettings {
    /// How long size and time of a file must stand still before it counts as finished.
    pub settle: Duration,
    /// How often everything is looked through, whatever the notifications said.
    pub rescan: Duration,
    /// The largest file that is read.
    pub max_bytes: u64,
}

impl Default for InboxSettings {
    fn default() -> Self {
        Self { settle: Duration::from_secs(10), rescan: Duration::from_secs(60), max_bytes: 8 << 20 }
    }
}

/// One way out for messages.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Channel {
    /// Its name, by the rules of every id.
    pub id: String,
    /// What it does with a message.
    pub kind: ChannelKind,
}

/// What a channel does with a message.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ChannelKind {
    /// Starts a program for each message, without a shell, and gives it the message as JSON on standard input.
    Command {
        /// The program, as written.
        program: String,
        /// Its arguments.
        arguments: Vec<String>,
    },
}

/// The largest configuration that is read, in bytes.
pub const MAX_BYTES: usize = 1 << 20;

/// Tables of the file that this version reads.
const TABLES: [&str; 12] = [
    "site",
    "paths",
    "inbox",
    "display",
    "lamp",
    "paper",
    "station",
    "instrument",
    "operator",
    "reminder",
    "channel",
    "mapping",
];

/// Tables that later versions read.
const LATER: [&str; 6] = ["rules", "costs", "quiet", "page", "signing", "forward"];

impl Config {
    /// Understands the text of a configuration file, or lists all its mistakes.
    ///
    /// `file` is the name that messages use. Relative paths of the file count from `base`, the folder it lies in.
    /// A file that is not TOML gives the one place where reading it broke off.
    pub fn parse(text: &str, file: &str, base: &Path) -> Result<Self, Mistakes> {
        let failed = |list| Mistakes { file: file.to_owned(), list };
        if text.len() > MAX_BYTES {
            let found = format!("{} bytes", text.len());
            return Err(failed(vec![Mistake::of_file(found, format!("at most {MAX_BYTES} bytes"), None)]));
        }
        let notes = Notes::new(text);
        let document = match DeTable::parse(text) {
            Ok(document) => document,
            Err(error) => {
                settings::note_syntax(&notes, text, &error);
                return Err(failed(notes.into_mistakes()));
            }
        };
        let understood = understand(&Table::root(&notes, document.get_ref()), base);
        let mistakes = notes.into_mistakes();
        match understood {
            Some(parts) if mistakes.is_empty() => Ok(Self {
                site: parts.site,
                paths: parts.paths,
                inbox: parts.inbox,
                things: parts.things,
                reminders: parts.reminders,
                channels: parts.channels,
                mappings: parts.mappings,
                text: text.to_owned(),
                sha256: Sha256::digest(text.as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect(),
            }),
            _ => Err(failed(mistakes)),
        }
    }

    /// The mappings for a file of this name from this device's inbox folder.
    pub fn mappings_for(&self, name: &str, folder: Option<&DeviceId>) -> Vec<Mapping> {
        self.mappings.iter().filter(|mapping| mapping.scope.holds(name, folder)).cloned().collect()
    }
}

/// Everything a file says. Meaningless if a mistake was noted meanwhile; `None` only if one was.
struct Parts {
    site: Site,
    paths: Paths,
    inbox: InboxSettings,
    things: Things,
    reminders: Vec<Reminder>,
    channels: Vec<Channel>,
    mappings: Vec<Mapping>,
}

fn understand(root: &Table<'_>, base: &Path) -> Option<Parts> {
    settings::note_unknown_tables(root);
    let site = settings::site(root);
    let paths = settings::paths(root, base);
    let inbox = settings::inbox(root);
    let tables = things::Tables::of(root);
    let declared = checks::Declared::of(root, &tables);
    let things = things::things(&tables, &declared, white::cct_duv_to_xy);
    let reminders = settings::reminders(root, &declared);
    let channels = settings::channels(root);
    let mappings = mapping::mappings(root, &declared);
    Some(Parts { site: site?, paths: paths?, inbox, things, reminders, channels, mappings })
}
