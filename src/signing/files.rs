//! Signed heads as files: one for each, in the state folder and in the folder of copies.
//!
//! `heads/YYYY/SITE-<size, 9 digits>.head` holds the whole signed note. A file that is there is never written again. The folder of
//! copies itself must be there: a disk that is not mounted must not look like one that is.

use std::collections::HashSet;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use crate::config::Config;
use crate::ledger::certificate::MAX_BYTES;
use crate::ledger::checkpoint::SignedHead;
use crate::ledger::store::SignedRow;
use crate::units::SiteId;
use crate::whole_file;

/// Why heads could not be written as files.
#[derive(Debug, thiserror::Error)]
pub enum FileError {
    /// The folder of copies is not there.
    #[error("signed heads cannot be copied: the folder {} is not there; make it, or see whether its disk is connected. What is missing is made up for", path.display())]
    Absent {
        /// The folder.
        path: PathBuf,
    },
    /// A file cannot be written.
    #[error("a signed head cannot be written to {}: {why}. What is missing is made up for", path.display())]
    Io {
        /// The file or folder.
        path: PathBuf,
        /// What the system said.
        why: io::Error,
    },
}

/// A folder that holds signed heads.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Place {
    root: PathBuf,
    /// Whether the folder may be made.
    own: bool,
}

/// The state folder's, and that of copies where there is one.
pub fn places(config: &Config) -> Vec<Place> {
    let own = Place { root: config.paths.state.clone(), own: true };
    let copies = config.signing.copies.clone().map(|root| Place { root, own: false });
    std::iter::once(own).chain(copies).collect()
}

impl Place {
    fn file(&self, site: &SiteId, row: &SignedRow) -> PathBuf {
        let time = row.time.to_string();
        let year = time.get(..4).unwrap_or("0000");
        self.root.join("heads").join(year).join(format!("{site}-{:09}.head", row.head.size))
    }

    /// The heads of which no file is here.
    pub fn missing<'r>(&self, site: &SiteId, rows: &'r [SignedRow]) -> Vec<&'r SignedRow> {
        let mut folders: HashSet<PathBuf> = HashSet::new();
        let mut there: HashSet<PathBuf> = HashSet::new();
        let absent = |row: &&SignedRow| {
            let file = self.file(site, row);
            if let Some(folder) = file.parent()
                && folders.insert(folder.to_owned())
            {
                there.extend(fs::read_dir(folder).into_iter().flatten().flatten().map(|entry| entry.path()));
            }
            !there.contains(&file)
        };
        rows.iter().filter(absent).collect()
    }

    /// Writes a file for each head that has none here.
    pub fn make_up(&self, site: &SiteId, rows: &[SignedRow]) -> Result<(), FileError> {
        if !self.own && !self.root.is_dir() {
            return Err(FileError::Absent { path: self.root.clone() });
        }
        for row in self.missing(site, rows) {
            let file = self.file(site, row);
            whole_file::write(&file, row.note.as_bytes()).map_err(|why| FileError::Io { path: file, why })?;
        }
        Ok(())
    }

    /// The folder's name for people.
    pub fn folder(&self) -> &Path {
        &self.root
    }
}

/// What stands in the name of a head's file whose entries are known to be lost.
const LOST: &str = "-lost";

/// The signed heads that lie in any of the folders, each with its file; those known to be of a lost history are left out, as is
/// what cannot be read as one.
pub fn seen(config: &Config) -> Vec<(PathBuf, SignedHead)> {
    let below = |folder: PathBuf| fs::read_dir(folder).into_iter().flatten().flatten().map(|entry| entry.path());
    let years = places(config).into_iter().flat_map(|place| below(place.root.join("heads")));
    let of_a_head = |file: &PathBuf| {
        file.extension().is_some_and(|ending| ending == "head")
            && !file.file_stem().and_then(|stem| stem.to_str()).is_some_and(|stem| stem.ends_with(LOST))
    };
    let read = |file: PathBuf| {
        let small = fs::metadata(&file).is_ok_and(|about| about.len() <= MAX_BYTES as u64);
        let text = small.then(|| fs::read_to_string(&file).ok()).flatten()?;
        Some((file, SignedHead::parse(&text).ok()?))
    };
    years.flat_map(below).filter(of_a_head).filter_map(read).collect()
}

/// Gives the file of a head whose entries are lost another name, so that it stays and a new head of that size finds room.
pub fn mark_lost(file: &Path) -> io::Result<()> {
    let mut name = file.file_stem().unwrap_or_default().to_owned();
    name.push(LOST);
    name.push(".head");
    fs::rename(file, file.with_file_name(name))
}
