//! What others read: the calendar's file, the beat of the watch, and its metrics. Each is a file that is written aside and renamed, so that
//! nobody reads half of one.
//!
//! When they are written is the daemon's business.

pub mod beat;
pub mod feed;
pub mod metrics;

use std::ffi::OsString;
use std::fs::{self, File};
use std::io::{self, Write};
use std::path::Path;

use crate::config::{Config, HeartbeatUrl};

/// Puts `text` into the file, whole or not at all; the folder is made where it is missing.
pub fn write(path: &Path, text: &str) -> io::Result<()> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
    if let Some(folder) = folder {
        fs::create_dir_all(folder)?;
    }
    let aside = aside(path);
    let written = File::create(&aside).and_then(|mut file| {
        file.write_all(text.as_bytes())?;
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

/// A name beside the file; each process has its own, and the metrics' reader takes only names that end in `.prom`.
fn aside(path: &Path) -> std::path::PathBuf {
    let mut name = OsString::from(".");
    name.push(path.file_name().unwrap_or_default());
    name.push(format!(".{}.part", std::process::id()));
    path.with_file_name(name)
}

/// The address to tell of each beat, where there is one. The error never holds it.
pub fn heartbeat_url(config: &Config) -> Option<Result<String, String>> {
    let read = match &config.publish.url {
        None => return None,
        Some(HeartbeatUrl::Plain(url)) => Ok(url.clone()),
        Some(HeartbeatUrl::File(path)) => {
            fs::read_to_string(path).map_err(|why| format!("its file {} cannot be read ({why})", path.display()))
        }
        Some(HeartbeatUrl::Env(name)) => {
            std::env::var(name).map_err(|_| format!("the variable {name} is not set, or is not text"))
        }
    };
    Some(read.and_then(|url| {
        let url = url.trim().to_owned();
        let web = url.starts_with("http://") || url.starts_with("https://");
        if web { Ok(url) } else { Err("what is given does not begin with http:// or https://".to_owned()) }
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_is_replaced_whole_and_nothing_stays_beside_it() {
        let room = tempfile::tempdir().unwrap();
        let path = room.path().join("deep/due.ics");
        write(&path, "one").unwrap();
        write(&path, "two").unwrap();
        try_write(&path).unwrap();
        assert_eq!(fs::read_to_string(&path).unwrap(), "two");
        assert_eq!(fs::read_dir(path.parent().unwrap()).unwrap().count(), 1);
        assert!(write(room.path(), "x").is_err(), "a folder is not replaced");
        assert!(try_write(room.path()).is_err());
        assert_eq!(fs::read_dir(room.path()).unwrap().count(), 1);
    }
}
