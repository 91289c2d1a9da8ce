//! What lies in the inbox and in the folders of devices in it: regular files whose names do not say "not yet".
//!
//! Links are described, not followed. What was seen earlier is not known here.

use std::collections::HashSet;
use std::ffi::OsStr;
use std::fs::{self, Metadata};
use std::io;
use std::path::{Path, PathBuf};

use super::claim::Look;
use super::report::Note;

/// Whether a name says "not for you" or "not yet".
pub(super) fn is_ignored(name: &OsStr) -> bool {
    let name = name.as_encoded_bytes();
    name.starts_with(b".") || [&b".part"[..], b".tmp", b"~"].iter().any(|ending| name.ends_with(ending))
}

/// How many files lie in an inbox, whole or not; 0 where there is none.
pub fn files_waiting(inbox: &Path) -> u64 {
    let mut listing = Listing::default();
    // What cannot be looked through is told by `check` and by the watch.
    let _ = listing.add_folder(inbox, None);
    u64::try_from(listing.files.len()).unwrap_or(u64::MAX)
}

/// What lies in the inbox at one instant.
#[derive(Default)]
pub(super) struct Listing {
    pub files: Vec<Found>,
    pub notes: HashSet<Note>,
}

/// A regular file that lies where dropped files lie.
pub(super) struct Found {
    pub path: PathBuf,
    pub name: String,
    pub folder_device: Option<String>,
    pub look: Look,
}

impl Listing {
    /// Adds the files of the inbox, or of the folder of `device` in it.
    pub fn add_folder(&mut self, folder: &Path, device: Option<&str>) -> io::Result<()> {
        for entry in fs::read_dir(folder)? {
            let entry = entry?;
            let file_name = entry.file_name();
            if is_ignored(&file_name) {
                continue;
            }
            let path = entry.path();
            let name = file_name.to_string_lossy().into_owned();
            // Like symlink_metadata: a link is described, not followed.
            match entry.metadata() {
                Ok(found) => self.add(path, name, device, &found),
                Err(error) => self.cannot_read(path, &error),
            }
        }
        Ok(())
    }

    fn add(&mut self, path: PathBuf, name: String, device: Option<&str>, found: &Metadata) {
        if found.is_file() {
            let folder_device = device.map(str::to_owned);
            self.files.push(Found { path, name, folder_device, look: Look::of(found) });
        } else if found.is_symlink() {
            self.notes.insert(Note::SymbolicLink(path));
        } else if !found.is_dir() {
            self.notes.insert(Note::NotAFile(path));
        } else if device.is_some() {
            self.notes.insert(Note::TooDeep(path));
        } else if let Err(error) = self.add_folder(&path, Some(&name)) {
            self.cannot_read(path, &error);
        }
    }

    fn cannot_read(&mut self, path: PathBuf, error: &io::Error) {
        // What was taken away between listing and looking is no trouble.
        if error.kind() != io::ErrorKind::NotFound {
            self.notes.insert(Note::Unreadable { path, why: error.to_string() });
        }
    }
}
