//! The configuration file: as written, and as understood.
//!
//! Here: what a configuration is once understood, and [`Config::parse`], which is pure. How the file is walked over and
//! its mistakes are told is in `walk`, `words` and `mistake`; which keys there are in `settings`, `channels`, `things`,
//! `stations` and `mapping`; what is written for others in `publish`; papers with their curves in `papers` and `curve`, rule sets in `rules`; what must agree between tables in
//! `checks`. Which other files a configuration names is in [`files`]. Finding and reading all of them is in [`find`], the
//! only part that touches a disk.

mod channels;
mod checks;
mod curve;
pub mod files;
pub mod find;
mod mapping;
mod messages;
mod mistake;
mod papers;
mod publish;
mod rules;
mod settings;
mod signing;
mod stations;
mod things;
mod walk;
mod white;
mod words;

use std::path::{Path, PathBuf};
use std::time::Duration;

use sha2::{Digest, Sha256};
use toml::de::DeTable;

use crate::formats::mapping::{Mapping, Scope};
use crate::formats::{Context, KeywordRules, Need};
use crate::ledger::entry::NamedText;
use crate::outbox::Rules;
use crate::schedule::Reminder;
use crate::site::{Costs, Things};
use crate::units::{DeviceId, SiteId};
pub use channels::{Channel, ChannelKind, Login, Mail, Reach, SecretPlace, Security, WebAddress, Webhook, reach_of};
use files::Files;
pub use files::NamedFile;
pub use mistake::{Mistake, Mistakes};
pub use publish::Publish;
use rules::RuleSets;
pub use rules::built_in_rules;
pub use settings::id_from;
pub use signing::Signing;
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
    /// What keyword text holds that does not say so itself, and in which files.
    pub keyword_text: Vec<(Scope, KeywordRules)>,
    /// Where messages go beside the log, which is always on.
    pub channels: Vec<Channel>,
    /// How often people are told again, and when not.
    pub messages: Rules,
    /// Tables of standards that are sold, from files that the user owns.
    pub tables: Tables,
    /// What the acts cost that advice chooses from.
    pub costs: Costs,
    /// What is written for others to read.
    pub publish: Publish,
    /// How heads of the ledger are signed.
    pub signing: Signing,
    /// The file as read.
    pub text: String,
    /// The other files it names, as read, in the order it names them.
    pub files: Vec<NamedText>,
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

impl InboxSettings {
    /// How often everything is looked through: at least once a minute, since each beat of the watch rests on a look.
    pub fn look_every(&self) -> Duration {
        self.rescan.min(Duration::from_secs(60))
    }
}

/// Tables of standards that are sold: what the user has of them.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Tables {
    /// The tables of ISO 23603, by which daylight simulators are judged.
    pub iso_23603: Option<NamedText>,
}

/// The largest configuration that is read, in bytes.
pub const MAX_BYTES: usize = 1 << 20;

/// Tables of the file that this version reads.
const TABLES: [&str; 21] = [
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
    "messages",
    "quiet",
    "mapping",
    "rules",
    "tables",
    "costs",
    "calendar",
    "heartbeat",
    "metrics",
    "signing",
];

/// Tables that later versions read.
const LATER: [&str; 2] = ["page", "forward"];

impl Config {
    /// Understands the text of a configuration that names no other files; see [`Config::parse_with`].
    pub fn parse(text: &str, file: &str, base: &Path) -> Result<Self, Mistakes> {
        Self::parse_with(text, file, base, &[])
    }

    /// Understands the text of a configuration file, or lists all its mistakes.
    ///
    /// `file` is the name that messages use. Relative paths of the file count from `base`, the folder it lies in.
    /// `files` holds what stands in the files that the text names ([`files::named_in`]).
    /// A file that is not TOML gives the one place where reading it broke off.
    pub fn parse_with(text: &str, file: &str, base: &Path, files: &[NamedFile]) -> Result<Self, Mistakes> {
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
        let files = Files::new(files);
        let understood = understand(&Table::root(&notes, document.get_ref()), base, &files);
        let mistakes = notes.into_mistakes();
        match understood {
            Some(parts) if mistakes.is_empty() => Ok(Self {
                site: parts.site,
                paths: parts.paths,
                inbox: parts.inbox,
                things: parts.things,
                reminders: parts.reminders,
                channels: parts.channels,
                messages: parts.messages,
                mappings: parts.mappings.tables,
                keyword_text: parts.mappings.keyword_text,
                tables: parts.tables,
                costs: parts.costs,
                publish: parts.publish,
                signing: parts.signing,
                text: text.to_owned(),
                files: files.into_used(),
                sha256: Sha256::digest(text.as_bytes()).iter().map(|byte| format!("{byte:02x}")).collect(),
            }),
            _ => Err(failed(mistakes)),
        }
    }

    /// The mappings for a file of this name from this device's inbox folder.
    pub fn mappings_for(&self, name: &str, folder: Option<&DeviceId>) -> Vec<Mapping> {
        self.mappings.iter().filter(|mapping| mapping.scope.holds(name, folder)).cloned().collect()
    }

    /// What is known of a file of this name that is only looked at: it lies in no inbox folder, so that the folders of
    /// mappings say nothing of it.
    pub fn to_look_at(&self, name: &str) -> Context {
        let mappings = self.mappings.iter().filter(|mapping| mapping.scope.holds_name(name)).cloned().collect();
        let rules = self.keyword_text.iter().find(|(scope, _)| scope.holds_name(name));
        let keyword_text = rules.map(|(_, rules)| rules.clone()).unwrap_or_default();
        Context { mappings, keyword_text, ..Context::of(Need::Look) }
    }

    /// What keyword text in such a file is known to hold: as the first mapping for it says.
    pub fn keyword_text_for(&self, name: &str, folder: Option<&DeviceId>) -> KeywordRules {
        let first = self.keyword_text.iter().find(|(scope, _)| scope.holds(name, folder));
        first.map(|(_, rules)| rules.clone()).unwrap_or_default()
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
    messages: Rules,
    mappings: mapping::Mappings,
    tables: Tables,
    costs: Costs,
    publish: Publish,
    signing: Signing,
}

fn understand(root: &Table<'_>, base: &Path, files: &Files<'_>) -> Option<Parts> {
    settings::note_unknown_tables(root);
    let site = settings::site(root);
    let paths = settings::paths(root, base);
    let inbox = settings::inbox(root);
    let tables = things::Tables::of(root);
    let declared = checks::Declared::of(root, &tables);
    let rules = RuleSets::of(root);
    let things = things::things(&tables, &declared, &rules, files, white::cct_duv_to_xy);
    let reminders = settings::reminders(root, &declared);
    let channels = channels::channels(root, base, paths.as_ref());
    let messages = messages::messages(root);
    let mappings = mapping::mappings(root, &declared);
    let tables = settings::tables(root, files);
    let costs = settings::costs(root);
    let publish = publish::publish(root, base, paths.as_ref());
    let (site, paths, publish) = (site?, paths?, publish?);
    let signing = signing::signing(root, &paths, base);
    Some(Parts { site, paths, inbox, things, reminders, channels, messages, mappings, tables, costs, publish, signing })
}
