//! A file that was found whole, and the bytes read from it.
//!
//! A drop folder is hostile ground. The file is looked at before it is opened, and the opened file must be the same one
//! (device and inode, on Unix), so that a symbolic link put in its place in between is not followed; elsewhere only its
//! being a regular file is checked. What was read counts only if size and time after the reading are still those that
//! the scan found.

use std::fmt::Write as _;
use std::fs::{self, File, Metadata, OpenOptions};
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use sha2::{Digest, Sha256};

/// A file in the inbox that is whole and waits to be claimed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Candidate {
    /// Where it lies; exact, also where its name is not UTF-8.
    pub path: PathBuf,
    /// Its name for showing; what is not UTF-8 in it is replaced.
    pub name: String,
    /// The name of the folder below the inbox it lies in, which names the device.
    pub folder_device: Option<String>,
    /// Its size in bytes.
    pub size: u64,
    /// Set where the file is too large to be read: it can only be refused.
    pub too_large: Option<TooLarge>,
    pub(super) look: Look,
}

/// A file that was read whole.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Claim {
    /// Where it lies; exact, also where its name is not UTF-8.
    pub path: PathBuf,
    /// Its name for showing; what is not UTF-8 in it is replaced.
    pub name: String,
    /// The name of the folder below the inbox it lies in, which names the device.
    pub folder_device: Option<String>,
    /// The content.
    pub bytes: Vec<u8>,
    /// SHA-256 of the content, 64 lower-case hexadecimal digits.
    pub sha256: String,
    /// Its size in bytes.
    pub size: u64,
    pub(super) look: Look,
}

/// A file is larger than may be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("larger than {most} bytes: it has {size}; split it, or raise the limit")]
pub struct TooLarge {
    /// Its size in bytes.
    pub size: u64,
    /// The most that is read.
    pub most: u64,
}

/// Why a file was not claimed.
#[derive(Debug, thiserror::Error)]
pub enum ClaimError {
    /// It was taken away or renamed since the scan. Nothing is to be done.
    #[error("{path} is no longer there")]
    Gone {
        /// Where it lay.
        path: PathBuf,
    },
    /// It changed since the scan or while it was read. It goes back to waiting by itself.
    #[error("{path} is still being written: it is looked at again once it stands still")]
    Changed {
        /// Where it lies.
        path: PathBuf,
    },
    /// It is too large to be read, and is to be refused with [`super::Inbox::quarantine_unread`].
    #[error("{path} is {limit}")]
    TooLarge {
        /// Where it lies.
        path: PathBuf,
        /// Its size and the limit.
        limit: TooLarge,
    },
    /// The system would not let it be read. It is tried again at a later scan.
    #[error(
        "{path} cannot be read ({source}): let the user that runs twinwhite read it; it is tried again at the next rescan"
    )]
    Unreadable {
        /// Where it lies.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
        /// Whether an earlier claim of the same file failed likewise, so that it need not be told once more.
        again: bool,
    },
}

/// How a file looked: what tells one state of a file from another without reading it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Look {
    /// Device and inode; zeros where the platform has none.
    pub identity: (u64, u64),
    pub size: u64,
    pub modified: Option<SystemTime>,
}

impl Look {
    pub fn of(found: &Metadata) -> Self {
        Self { identity: identity(found), size: found.len(), modified: found.modified().ok() }
    }

    /// How the file at `path` looks, if it is a regular file; a link is not followed.
    pub fn at(path: &Path) -> Option<Self> {
        fs::symlink_metadata(path).ok().filter(Metadata::is_file).map(|found| Self::of(&found))
    }

    /// Whether content may be taken as the same; some file systems give a file another inode when it is renamed.
    pub fn same_content(&self, other: &Self) -> bool {
        self.size == other.size && self.modified == other.modified
    }
}

#[cfg(unix)]
pub(super) fn identity(found: &Metadata) -> (u64, u64) {
    use std::os::unix::fs::MetadataExt;
    (found.dev(), found.ino())
}

#[cfg(not(unix))]
pub(super) fn identity(_found: &Metadata) -> (u64, u64) {
    (0, 0)
}

/// Reads a candidate, at most `most` bytes of it.
pub(super) fn read(candidate: &Candidate, most: u64) -> Result<Claim, ClaimError> {
    let path = &candidate.path;
    if let Some(limit) = candidate.too_large {
        return Err(ClaimError::TooLarge { path: path.clone(), limit });
    }
    let failed = |source: io::Error| match source.kind() {
        io::ErrorKind::NotFound => ClaimError::Gone { path: path.clone() },
        _ => ClaimError::Unreadable { path: path.clone(), source, again: false },
    };
    let changed = || ClaimError::Changed { path: path.clone() };
    let is_as_found = |found: &Metadata| found.is_file() && Look::of(found) == candidate.look;

    if !is_as_found(&fs::symlink_metadata(path).map_err(failed)?) {
        return Err(changed());
    }
    let mut file = open(path).map_err(failed)?;
    if !is_as_found(&file.metadata().map_err(failed)?) {
        return Err(changed());
    }
    let mut bytes = Vec::with_capacity(usize::try_from(candidate.size.min(most)).unwrap_or(0));
    file.by_ref().take(most.saturating_add(1)).read_to_end(&mut bytes).map_err(failed)?;
    let still = is_as_found(&file.metadata().map_err(failed)?)
        && Look::at(path) == Some(candidate.look)
        && bytes.len() as u64 == candidate.size;
    if !still {
        return Err(changed());
    }
    Ok(Claim {
        path: path.clone(),
        name: candidate.name.clone(),
        folder_device: candidate.folder_device.clone(),
        sha256: hex(&Sha256::digest(&bytes)),
        size: candidate.size,
        bytes,
        look: candidate.look,
    })
}

fn open(path: &Path) -> io::Result<File> {
    let mut how = OpenOptions::new();
    how.read(true);
    // O_NONBLOCK of Linux's generic fcntl.h: a pipe put in the file's place must not hold the daemon up. Regular files
    // are not changed by it.
    #[cfg(all(target_os = "linux", any(target_arch = "x86_64", target_arch = "aarch64", target_arch = "riscv64")))]
    std::os::unix::fs::OpenOptionsExt::custom_flags(&mut how, 0o4000);
    how.open(path)
}

fn hex(digest: &[u8]) -> String {
    digest.iter().fold(String::with_capacity(64), |mut text, byte| {
        // Writing to a String cannot fail.
        let _ = write!(text, "{byte:02x}");
        text
    })
}
