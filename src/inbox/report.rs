//! What a scan says: files that are ready or wait, what was passed over, and why new files may be missed.

use std::path::PathBuf;
use std::time::Duration;

use super::claim::Candidate;

/// What a scan found.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct ScanReport {
    /// Files that are whole, the longest unchanged first, then by path. One that is not claimed is found again.
    pub ready: Vec<Candidate>,
    /// How many files are there that are not ready.
    pub waiting: usize,
    /// Files that have been waiting for more than 10 minutes.
    pub incomplete: Vec<IncompleteFile>,
    /// The monotonic time at which the next settle time is over, so that it is worth looking again.
    pub next_look: Option<Duration>,
    /// Set when new files may be missed; see [`Blind`] for what to do.
    pub blind: Option<Blind>,
    /// What was passed over; each thing is said once while it is there.
    pub notes: Vec<Note>,
}

/// Why new files may be missed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Blind {
    /// The folder is gone; nothing was found.
    #[error("the inbox {0} is gone: create it anew or mount it again")]
    Vanished(PathBuf),
    /// Something else has its name; nothing was found.
    #[error("the inbox {0} is not a folder: move what lies there away")]
    NotAFolder(PathBuf),
    /// The folder cannot be listed; nothing was found.
    #[error("the inbox {path} cannot be read ({why}): let the user that runs twinwhite read it")]
    Unreadable {
        /// The folder.
        path: PathBuf,
        /// What the system said.
        why: String,
    },
    /// Another folder stands in its place. This scan saw its files, but a [`super::Watch`] still looks at the old one and
    /// must be started anew. Said once.
    #[error("the inbox {0} was replaced by another folder: its watch must be started anew")]
    Replaced(PathBuf),
}

/// Something in the inbox that is passed over.
#[derive(Debug, Clone, PartialEq, Eq, Hash, PartialOrd, Ord, thiserror::Error)]
pub enum Note {
    /// A symbolic link, to a file or to a folder.
    #[error("{0} is a symbolic link and is not followed: put the file itself there")]
    SymbolicLink(PathBuf),
    /// A pipe, a socket, a device.
    #[error("{0} is not a regular file and is passed over")]
    NotAFile(PathBuf),
    /// A folder in a device's folder.
    #[error("{0} lies too deep: files are taken from the inbox and from the folders of devices in it, not from below")]
    TooDeep(PathBuf),
    /// A device's folder, or a file's size and time, that cannot be read.
    #[error("{path} cannot be read ({why}): let the user that runs twinwhite read it; it is tried again at each scan")]
    Unreadable {
        /// What cannot be read.
        path: PathBuf,
        /// What the system said.
        why: String,
    },
}

/// A file that has been waiting for long.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct IncompleteFile {
    /// Where it lies.
    pub path: PathBuf,
    /// Since when, on the monotonic clock.
    pub since: Duration,
    /// What it waits for.
    pub why: WhyWaiting,
}

/// What a file waits for.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum WhyWaiting {
    /// It changes from scan to scan.
    #[error("it keeps changing")]
    Changing,
    /// Its content shows that more is to come; in the words of who looked at it.
    #[error("{0}")]
    Incomplete(String),
    /// The system does not let it be read.
    #[error("it cannot be read: {0}")]
    Unreadable(String),
}
