//! The desktop folder: a file for each group, which `twinwhite desktop` shows in a login session.
//!
//! A system service has no desktop, so the daemon lays the files down and a companion, as the user who sits there, picks
//! them up. Names sort by time and end with a digest of the group's key, so that a repeated delivery lays nothing twice.

use std::fs;
use std::io;
use std::path::Path;

use super::SendError;
use crate::ledger::Digest;
use crate::outbox::Group;
use crate::units::{Days, Time};
use crate::whole_file;

/// How long a file lies.
const KEPT: Days = Days(30.0);
/// How a file that tells who has looked begins; the user's name follows.
const SEEN: &str = "seen-";
/// How the name of a message ends.
const END: &str = ".json";
/// Of a file no more is read.
const LARGEST: u64 = 1 << 20;

/// Lays the group into the folder, whole or not at all, and takes away what has lain for 30 days.
pub(super) fn lay(folder: &Path, group: &Group, now: Time) -> Result<(), SendError> {
    let digest = Digest::of(group.key.as_bytes()).to_string();
    let end = format!("-{digest:.12}{END}");
    let path = folder.join(format!("{}{end}", stamp(now)));
    let laid = || -> io::Result<()> {
        fs::create_dir_all(folder)?;
        let names = names(folder)?;
        if !names.iter().any(|name| name.ends_with(&end)) {
            whole_file::write(&path, &serde_json::to_vec(group)?)?;
        }
        let oldest = stamp(now.plus(Days(-KEPT.0)));
        for old in names.iter().filter(|name| **name < oldest) {
            // Whoever else has taken it away has done the same.
            let _ = fs::remove_file(folder.join(old));
        }
        Ok(())
    };
    laid().map_err(|why| SendError::Folder { path: path.clone(), why: why.to_string() })
}

/// Names of the messages that lie there, the oldest first.
pub fn names(folder: &Path) -> io::Result<Vec<String>> {
    let mut names = Vec::new();
    for entry in fs::read_dir(folder)? {
        let Ok(name) = entry?.file_name().into_string() else { continue };
        if name.ends_with(END) && name.starts_with(|c: char| c.is_ascii_digit()) {
            names.push(name);
        }
    }
    names.sort();
    Ok(names)
}

/// A message of the folder; `None` where the file is none.
pub fn read(folder: &Path, name: &str) -> io::Result<Option<Group>> {
    let path = folder.join(name);
    let of = fs::metadata(&path)?;
    if !of.is_file() || of.len() > LARGEST {
        return Ok(None);
    }
    Ok(serde_json::from_slice(&fs::read(path)?).ok())
}

/// Leaves a sign that a session looked. Where it may not be written there is none.
pub fn leave_sign(folder: &Path, user: &str, now: Time) -> io::Result<()> {
    let user: String =
        user.chars().map(|c| if c.is_ascii_alphanumeric() || "-_".contains(c) { c } else { '_' }).collect();
    // Written aside, so that nobody reads half a sign.
    let aside = folder.join(format!(".{SEEN}{user}.part"));
    fs::write(&aside, format!("{now}\n"))?;
    fs::rename(aside, folder.join(format!("{SEEN}{user}")))
}

/// Who looked last, and when.
pub fn last_sign(folder: &Path) -> Option<(String, Time)> {
    let signs = fs::read_dir(folder).ok()?.filter_map(|entry| {
        let entry = entry.ok()?;
        let user = entry.file_name().into_string().ok()?.strip_prefix(SEEN)?.to_owned();
        entry.metadata().ok().filter(|of| of.is_file() && of.len() < 100)?;
        let time = Time::parse(&fs::read_to_string(entry.path()).ok()?).ok()?;
        Some((user, time))
    });
    signs.max_by_key(|(_, time)| *time)
}

/// `20260304T093000.000000Z`: sorts as time does.
fn stamp(time: Time) -> String {
    time.to_chrono().format("%Y%m%dT%H%M%S%.6fZ").to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::SiteId;

    fn group(key: &str, at: Time) -> Group {
        Group {
            key: key.to_owned(),
            site: SiteId::new("loft").unwrap(),
            site_name: "Loft".to_owned(),
            at,
            at_local: "then".to_owned(),
            headline: "a headline".to_owned(),
            messages: Vec::new(),
        }
    }

    #[test]
    fn a_group_lies_once_and_for_thirty_days() {
        let home = tempfile::tempdir().unwrap();
        let folder = home.path().join("new/folder");
        let start = Time::parse("2026-03-04T09:30:00Z").unwrap();
        lay(&folder, &group("a", start), start).unwrap();
        lay(&folder, &group("a", start), start.plus(Days(1.0))).unwrap();
        let first = names(&folder).unwrap();
        assert_eq!(first.len(), 1, "a repeat lays nothing: {first:?}");
        assert!(first[0].starts_with("20260304T093000.000000Z-"), "{first:?}");
        assert_eq!(read(&folder, &first[0]).unwrap(), Some(group("a", start)));
        fs::write(folder.join("notes.txt"), "mine").unwrap();
        fs::write(folder.join("9.json"), "{").unwrap();
        assert_eq!(read(&folder, "9.json").unwrap(), None);
        lay(&folder, &group("b", start), start.plus(Days(29.0))).unwrap();
        assert_eq!(names(&folder).unwrap().len(), 3);
        lay(&folder, &group("c", start), start.plus(Days(31.0))).unwrap();
        let left = names(&folder).unwrap();
        assert!(!left.contains(&first[0]) && left.len() == 3, "{left:?}");
        assert!(folder.join("notes.txt").exists());
    }

    #[test]
    fn signs_tell_who_looked_last() {
        let folder = tempfile::tempdir().unwrap();
        let time = Time::parse("2026-03-04T09:30:00Z").unwrap();
        assert_eq!(last_sign(folder.path()), None);
        leave_sign(folder.path(), "ines", time).unwrap();
        leave_sign(folder.path(), "../o tto", time.plus(Days(1.0))).unwrap();
        fs::write(folder.path().join("seen-nobody"), "gestern").unwrap();
        assert_eq!(last_sign(folder.path()), Some(("___o_tto".to_owned(), time.plus(Days(1.0)))));
    }
}
