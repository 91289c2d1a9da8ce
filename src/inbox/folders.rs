//! The three folders of the inbox: where files are dropped, where they are kept, where the refused ones go.
//!
//! How files are moved between them lives in `shelf`.

use std::fmt;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

/// Where files are dropped, kept, and put when they were refused.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Folders {
    /// Files are dropped here or in a folder below it that is named after the device.
    pub inbox: PathBuf,
    /// Files that were taken are kept here, by year and month. May be on another file system than the inbox.
    pub archive: PathBuf,
    /// Files that were refused lie here beside their reasons.
    pub quarantine: PathBuf,
}

/// Which of the three folders is meant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FolderRole {
    /// The drop folder.
    Inbox,
    /// The folder of what was taken.
    Archive,
    /// The folder of what was refused.
    Quarantine,
}

/// Why a folder cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum FolderError {
    /// It was missing and could not be made.
    #[error(
        "the {role} folder {path} cannot be created ({source}): create it by hand, or name another one under [paths]"
    )]
    Create {
        /// Which folder.
        role: FolderRole,
        /// Its path.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// Something else has its name.
    #[error("the {role} folder {path} is not a folder: move what lies there away, or name another one under [paths]")]
    NotAFolder {
        /// Which folder.
        role: FolderRole,
        /// Its path.
        path: PathBuf,
    },
    /// Its files cannot be listed.
    #[error("the {role} folder {path} cannot be read ({source}): let the user that runs twinwhite read it")]
    NotReadable {
        /// Which folder.
        role: FolderRole,
        /// Its path.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// No file can be made or removed in it. The inbox needs this too, since files are moved out of it.
    #[error("in the {role} folder {path} no file can be made ({source}): let the user that runs twinwhite write there")]
    NotWritable {
        /// Which folder.
        role: FolderRole,
        /// Its path.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// What was moved there would be found again as if it had been dropped.
    #[error(
        "the {role} folder {path} lies in the inbox {inbox}, where every file counts as dropped: put it beside the inbox"
    )]
    InsideInbox {
        /// Which folder.
        role: FolderRole,
        /// Its path.
        path: PathBuf,
        /// The inbox it lies in.
        inbox: PathBuf,
    },
}

impl Folders {
    /// The inbox with the archive and the quarantine at their usual places beside it.
    pub fn beside(inbox: impl Into<PathBuf>) -> Self {
        let inbox = inbox.into();
        let place = inbox.parent().map(Path::to_path_buf).unwrap_or_default();
        Self { archive: place.join("archive"), quarantine: place.join("quarantine"), inbox }
    }

    /// Makes the folders that are missing and tries that files can be listed, made and removed in each.
    pub fn prepare(&self) -> Result<(), FolderError> {
        use FolderRole::{Archive, Inbox, Quarantine};
        try_folder(Inbox, &self.inbox)?;
        let inbox = fs::canonicalize(&self.inbox).unwrap_or_else(|_| self.inbox.clone());
        for (role, path) in [(Archive, &self.archive), (Quarantine, &self.quarantine)] {
            let created = try_folder(role, path)?;
            if fs::canonicalize(path).is_ok_and(|real| real.starts_with(&inbox)) {
                if created {
                    // Only an empty folder is removed, so this takes back what was made and nothing else.
                    let _ = fs::remove_dir(path);
                }
                return Err(FolderError::InsideInbox { role, path: path.clone(), inbox: self.inbox.clone() });
            }
        }
        Ok(())
    }
}

/// Says whether the folder had to be made.
fn try_folder(role: FolderRole, path: &Path) -> Result<bool, FolderError> {
    let owned = || path.to_path_buf();
    let created = match fs::metadata(path) {
        Ok(found) if found.is_dir() => false,
        Ok(_) => return Err(FolderError::NotAFolder { role, path: owned() }),
        Err(_) => {
            fs::create_dir_all(path).map_err(|source| FolderError::Create { role, path: owned(), source })?;
            true
        }
    };
    fs::read_dir(path).map_err(|source| FolderError::NotReadable { role, path: owned(), source })?;
    // A name that begins with a dot and ends in .part: no scan takes it for a dropped file.
    let trial = path.join(".twinwhite-tries-to-write.part");
    fs::write(&trial, b"").and_then(|()| fs::remove_file(&trial)).map_err(|source| FolderError::NotWritable {
        role,
        path: owned(),
        source,
    })?;
    Ok(created)
}

impl fmt::Display for FolderRole {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Inbox => "inbox",
            Self::Archive => "archive",
            Self::Quarantine => "quarantine",
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn missing_folders_are_made_and_left_empty() {
        let room = tempfile::tempdir().unwrap();
        let folders = Folders::beside(room.path().join("deep/inbox"));
        folders.prepare().unwrap();
        folders.prepare().unwrap();
        for folder in [&folders.inbox, &folders.archive, &folders.quarantine] {
            assert_eq!(fs::read_dir(folder).unwrap().count(), 0, "{folder:?}");
        }
        assert_eq!(folders.archive, room.path().join("deep/archive"));
    }

    #[test]
    fn an_archive_in_the_inbox_is_refused() {
        let room = tempfile::tempdir().unwrap();
        let mut folders = Folders::beside(room.path().join("inbox"));
        folders.archive = folders.inbox.join("kept");
        let error = folders.prepare().unwrap_err();
        assert!(matches!(error, FolderError::InsideInbox { role: FolderRole::Archive, .. }), "{error}");
        assert!(!folders.archive.exists());
        folders.archive = folders.inbox.clone();
        assert!(matches!(folders.prepare(), Err(FolderError::InsideInbox { .. })));
    }

    #[test]
    fn a_file_in_the_place_of_a_folder_is_told() {
        let room = tempfile::tempdir().unwrap();
        let folders = Folders::beside(room.path().join("inbox"));
        fs::write(&folders.quarantine, "x").unwrap();
        let error = folders.prepare().unwrap_err();
        assert!(matches!(error, FolderError::NotAFolder { role: FolderRole::Quarantine, .. }), "{error}");
        let below = Folders::beside(folders.quarantine.join("inbox"));
        assert!(matches!(below.prepare(), Err(FolderError::Create { role: FolderRole::Inbox, .. })));
    }
}
