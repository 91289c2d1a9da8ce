//! A file that is there whole or not at all: written beside under a name of its own, synced, and renamed into place.

use std::ffi::OsString;
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// Puts `content` into the file, whole or not at all; the folder is made where it is missing.
pub fn write(path: &Path, content: &[u8]) -> io::Result<()> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
    if let Some(folder) = folder {
        fs::create_dir_all(folder)?;
    }
    let aside = aside(path);
    let written = File::create(&aside).and_then(|mut file| {
        file.write_all(content)?;
        file.sync_data()
    });
    written.and_then(|()| fs::rename(&aside, path)).inspect_err(|_| {
        // What was begun is of no use to anybody.
        let _ = fs::remove_file(&aside);
    })
}

/// Whether the file could be written, without touching what it holds.
pub fn try_write(path: &Path) -> io::Result<()> {
    if let Some(folder) = path.parent().filter(|folder| !folder.as_os_str().is_empty()) {
        fs::create_dir_all(folder)?;
    }
    if path.is_dir() {
        return Err(io::Error::new(io::ErrorKind::IsADirectory, "it is a folder"));
    }
    let aside = aside(path);
    File::create(&aside)?;
    fs::remove_file(&aside)
}

/// A name beside the file; each process has its own. It begins with a dot and ends in `.part`, so that nobody who lists a folder takes it for a file of theirs.
fn aside(path: &Path) -> PathBuf {
    let mut name = OsString::from(".");
    name.push(path.file_name().unwrap_or_default());
    name.push(format!(".{}.part", std::process::id()));
    path.with_file_name(name)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_replaced_whole_and_nothing_stays_beside_it() {
        let room = tempfile::tempdir().unwrap();
        let path = room.path().join("deep/due.ics");
        write(&path, b"one").unwrap();
        write(&path, b"two").unwrap();
        try_write(&path).unwrap();
        assert_eq!(fs::read_to_string(&path).unwrap(), "two");
        assert_eq!(fs::read_dir(path.parent().unwrap()).unwrap().count(), 1);
        assert!(write(room.path(), b"x").is_err(), "a folder is not replaced");
        assert!(try_write(room.path()).is_err());
        assert_eq!(fs::read_dir(room.path()).unwrap().count(), 1);
    }
}
