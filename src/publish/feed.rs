//! The calendar's file: what is due now, made of what the file held and written where something changed.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use chrono::NaiveDate;

use crate::calendar::{self, Feed, NotAFeed, Setting};
use crate::config::Config;
use crate::schedule::Due;
use crate::units::Time;
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

/// Brings the file up to date with what is due; tells whether it was written. New entries are made up to the day `until`.
pub fn refresh(
    path: &Path,
    config: &Config,
    list: &[Due],
    now: Time,
    until: NaiveDate,
    foreign: Foreign,
) -> Result<bool, FeedError> {
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
    let text = calendar::write(&next, &config.site.name, zone);
    if held.is_some_and(|held| held.as_deref() == Ok(text.as_str())) {
        return Ok(false);
    }
    if foreign == Foreign::Replace && path.exists() && !was_ours {
        // What lay there may be somebody's own: it is kept beside.
        let mut beside = path.as_os_str().to_owned();
        beside.push(".before");
        fs::rename(path, beside).map_err(|why| FeedError::Unwritable { path: path.to_owned(), why })?;
    }
    super::write(path, &text).map_err(|why| FeedError::Unwritable { path: path.to_owned(), why })?;
    Ok(true)
}
