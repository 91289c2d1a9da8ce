//! The file of the private key: one line of text that only its owner may read.

use std::fs::{self, File, OpenOptions};
use std::io::{self, ErrorKind, Write};
use std::path::{Path, PathBuf};

use crate::ledger::note::{BadNote, SigningKey};

/// Why the key's file cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum KeyFileError {
    /// It cannot be read or written.
    #[error("the key file {} cannot be used: {why}; check the path and who may read and write there", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// What the system said.
        why: io::Error,
    },
    /// It holds no key.
    #[error("{} holds no private key: put your copy of the key back there, or move this one away", path.display())]
    NoKey {
        /// The file.
        path: PathBuf,
    },
    /// It holds the key of another ledger.
    #[error("{} holds the key of another ledger ({name}): move it away, or name another file under [signing] key", path.display())]
    OtherLedger {
        /// The file.
        path: PathBuf,
        /// The name of its key.
        name: String,
    },
    /// The operating system gave no random numbers.
    #[error("the operating system gave no random numbers for a key: {0}")]
    Random(String),
    /// The name cannot be that of a key.
    #[error(transparent)]
    Name(#[from] BadNote),
}

fn at(path: &Path) -> impl FnOnce(io::Error) -> KeyFileError {
    move |why| KeyFileError::Io { path: path.to_owned(), why }
}

/// The key in the file; `None` if there is no file.
pub(super) fn read(path: &Path) -> Result<Option<SigningKey>, KeyFileError> {
    let text = match fs::read_to_string(path) {
        Ok(text) => text,
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(None),
        Err(error) if error.kind() == ErrorKind::InvalidData => {
            return Err(KeyFileError::NoKey { path: path.to_owned() });
        }
        Err(error) => return Err(at(path)(error)),
    };
    let key = SigningKey::parse(text.trim_end()).map_err(|_| KeyFileError::NoKey { path: path.to_owned() })?;
    Ok(Some(key))
}

/// Makes a key and writes it to a file that must not be there yet. It is on disk when this returns.
pub(super) fn make(path: &Path, name: &str) -> Result<SigningKey, KeyFileError> {
    let mut seed = [0; 32];
    getrandom::fill(&mut seed).map_err(|error| KeyFileError::Random(error.to_string()))?;
    let key = SigningKey::from_seed(name, &seed)?;
    if let Some(folder) = path.parent() {
        fs::create_dir_all(folder).map_err(at(folder))?;
    }
    let mut options = OpenOptions::new();
    options.write(true).create_new(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let written = options.open(path).and_then(|mut file| {
        file.write_all(format!("{}\n", key.to_secret_text()).as_bytes())?;
        file.sync_all()
    });
    written.map_err(at(path))?;
    sync_folder(path)?;
    Ok(key)
}

/// The same in place of what may be left of an earlier attempt.
pub(super) fn make_anew(path: &Path, name: &str) -> Result<SigningKey, KeyFileError> {
    match fs::remove_file(path) {
        Err(error) if error.kind() != ErrorKind::NotFound => return Err(at(path)(error)),
        _ => {}
    }
    make(path, name)
}

/// Where a new key waits for the commit of the entry that names it.
pub(super) fn next_to(path: &Path) -> PathBuf {
    let mut name = path.as_os_str().to_owned();
    name.push(".next");
    PathBuf::from(name)
}

/// Puts the key that waited in the place of the old one.
pub(super) fn take_over(path: &Path) -> Result<(), KeyFileError> {
    fs::rename(next_to(path), path).map_err(at(path))?;
    sync_folder(path)
}

fn sync_folder(path: &Path) -> Result<(), KeyFileError> {
    if cfg!(unix)
        && let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty())
    {
        File::open(folder).and_then(|folder| folder.sync_all()).map_err(at(folder))?;
    }
    Ok(())
}
