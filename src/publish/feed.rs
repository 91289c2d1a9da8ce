//! The calendar's file: what is due now, made of what the file held and written where something changed.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use chrono::NaiveDate;

use crate::calendar::{self, Feed, NotAFeed, Setting};
use crate::config::Config;
use crate::schedule::Due;
use crate::units::Time;
use crate::whole_file;
use crate::zone::LocalZone;

/// Why a calendar file is not written.
#[derive(Debug, thiserror::Error)]
pub enum FeedError {
    /// What lies there would be lost.
    #[error("{} is left alone: {why}; name another file, or move that one away", path.display())]
    NotOurs {
        /// The file.
        path: PathBuf,
        /// What it is.
        why: String,
    },
    /// The folder is not there.
    #[error("{} is not written: there is no folder {}; make it, or correct the path", path.display(), folder.display())]
    NoFolder {
        /// The file.
        path: PathBuf,
        /// Its folder.
        folder: PathBuf,
    },
    /// The system does not let it be written.
    #[error("{} cannot be written: {why}; check the path and who may write there", path.display())]
    Unwritable {
        /// The file.
        path: PathBuf,
        /// What the system said.
        why: io::Error,
    },
}

/// What to do with a file that cannot be read as a feed of ours.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Foreign {
    /// Leave it alone and say so.
    Refuse,
    /// Keep it beside under `.before` and begin anew: the configuration names the file as ours.
    Replace,
}

/// What a feed holds, and how it differs from the one before.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Changes {
    /// Entries that stand.
    pub standing: usize,
    /// Of these, those that were not there or were cancelled.
    pub new: usize,
    /// Those that stand on another day.
    pub moved: usize,
    /// Entries that stood and are no longer due.
    pub cancelled: usize,
}

impl Changes {
    fn between(last: &Feed, next: &Feed) -> Self {
        let mut changes = Self { standing: 0, new: 0, moved: 0, cancelled: 0 };
        for (uid, entry) in &next.entries {
            let before = last.entries.get(uid).filter(|before| !before.cancelled);
            match (before, entry.cancelled) {
                (None, true) => continue,
                (Some(_), true) => {
                    changes.cancelled += 1;
                    continue;
                }
                (None, false) => changes.new += 1,
                (Some(before), false) => changes.moved += usize::from(before.day != entry.day),
            }
            changes.standing += 1;
        }
        changes
    }
}

/// Brings the file up to date with what is due. New entries are made up to the day `until`.
pub fn refresh(
    path: &Path,
    config: &Config,
    list: &[Due],
    now: Time,
    until: NaiveDate,
    foreign: Foreign,
) -> Result<Changes, FeedError> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty() && !folder.is_dir());
    if let Some(folder) = folder.filter(|_| foreign == Foreign::Refuse) {
        return Err(FeedError::NoFolder { path: path.to_owned(), folder: folder.to_owned() });
    }
    let zone = LocalZone(config.site.zone);
    let held = match fs::read(path) {
        Ok(bytes) => Some(String::from_utf8(bytes).map_err(|_| NotAFeed::NoCalendar)),
        Err(why) if why.kind() == io::ErrorKind::NotFound => None,
        Err(why) => Some(Err(NotAFeed::Unreadable(why.to_string()))),
    };
    let read = held.as_ref().map(|text| text.clone().and_then(|text| calendar::read(&text)));
    let was_ours = matches!(read, Some(Ok(_)));
    let last = match read {
        None => Feed::default(),
        Some(Ok(last)) => last,
        Some(Err(why)) if foreign == Foreign::Refuse => {
            return Err(FeedError::NotOurs { path: path.to_owned(), why: why.to_string() });
        }
        Some(Err(_)) => Feed::default(),
    };
    let next = calendar::renew(&last, list, &Setting { site: &config.site.id, zone, now, until });
    let changes = Changes::between(&last, &next);
    let text = calendar::write(&next, &config.site.name, zone);
    if held.is_some_and(|held| held.as_deref() == Ok(text.as_str())) {
        return Ok(changes);
    }
    if foreign == Foreign::Replace && path.exists() && !was_ours {
        // What lay there may be somebody's own: it is kept beside.
        let mut beside = path.as_os_str().to_owned();
        beside.push(".before");
        fs::rename(path, beside).map_err(|why| FeedError::Unwritable { path: path.to_owned(), why })?;
    }
    whole_file::write(path, text.as_bytes()).map_err(|why| FeedError::Unwritable { path: path.to_owned(), why })?;
    Ok(changes)
}
