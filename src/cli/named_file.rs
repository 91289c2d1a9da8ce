//! A file that `--file` names: what is kept of it is its name, its digest and its length, never the file.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use sha2::{Digest as _, Sha256};

use super::fail::{Failure, Kind};
use crate::ledger::Digest;

/// Its name without folders, SHA-256 of its bytes, and how many those are.
pub fn read(path: &Path) -> Result<(String, Digest, u64), Failure> {
    let unreadable =
        |why: std::io::Error| Failure::new(Kind::Input, format!("--file {}: cannot be read ({why})", path.display()));
    let mut file = File::open(path).map_err(unreadable)?;
    let (mut hash, mut bytes, mut part) = (Sha256::new(), 0, vec![0; 1 << 16]);
    loop {
        let count = file.read(&mut part).map_err(unreadable)?;
        let Some(read) = part.get(..count).filter(|read| !read.is_empty()) else { break };
        hash.update(read);
        bytes += read.len() as u64;
    }
    let name = path.file_name().unwrap_or(path.as_os_str()).to_string_lossy().into_owned();
    let sha256 = Digest::from_bytes(&hash.finalize());
    let sha256 = sha256.ok_or_else(|| Failure::new(Kind::System, "SHA-256 gave no 32 bytes"))?;
    Ok((name, sha256, bytes))
}
