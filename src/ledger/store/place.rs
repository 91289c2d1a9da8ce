//! Where a ledger may lie: not on a network file system.
//!
//! SQLite's write-ahead log shares memory between processes, which network file systems do not do; ledgers there have been
//! damaged. Linux tells the kind of every mount in `/proc/self/mountinfo` (proc(5)); on other systems, and where that file
//! cannot be read, nothing is checked.

use std::path::{Path, PathBuf};

use super::LedgerError;

/// Kinds of file system that lie on another machine.
const NETWORK: &[&str] = &[
    "9p",
    "acfs",
    "afs",
    "beegfs",
    "ceph",
    "cifs",
    "coda",
    "davfs",
    "fuse.ceph",
    "fuse.ceph-fuse",
    "fuse.davfs2",
    "fuse.glusterfs",
    "fuse.rclone",
    "fuse.s3fs",
    "fuse.smbnetfs",
    "fuse.sshfs",
    "glusterfs",
    "lustre",
    "ncpfs",
    "nfs",
    "nfs4",
    "orangefs",
    "smb2",
    "smb3",
    "smbfs",
];

/// Refuses a ledger whose folder lies on a network file system.
pub(super) fn refuse_network(path: &Path) -> Result<(), LedgerError> {
    let Ok(mounts) = std::fs::read("/proc/self/mountinfo") else { return Ok(()) };
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let Ok(folder) = folder.canonicalize() else { return Ok(()) };
    match network_kind(&String::from_utf8_lossy(&mounts), &folder) {
        Some(kind) => Err(LedgerError::NetworkFileSystem { path: path.to_owned(), kind }),
        None => Ok(()),
    }
}

/// The kind of the network file system that `path` lies on, if it does. The longest mount point above it counts, and of
/// two on the same point the later, which covers the other.
fn network_kind(mounts: &str, path: &Path) -> Option<String> {
    let mut nearest: Option<(usize, &str)> = None;
    for line in mounts.lines() {
        let Some((mount, source)) = line.split_once(" - ") else { continue };
        let (Some(point), Some(kind)) = (mount.split(' ').nth(4), source.split(' ').next()) else { continue };
        let point = unescaped(point);
        let depth = point.components().count();
        if path.starts_with(&point) && nearest.is_none_or(|(deepest, _)| depth >= deepest) {
            nearest = Some((depth, kind));
        }
    }
    nearest.filter(|(_, kind)| NETWORK.contains(kind)).map(|(_, kind)| kind.to_owned())
}

/// A mount point as it is: mountinfo writes blank, tab, line feed and backslash as three octal digits.
fn unescaped(point: &str) -> PathBuf {
    let mut whole = String::with_capacity(point.len());
    let mut parts = point.split('\\');
    whole.push_str(parts.next().unwrap_or_default());
    for part in parts {
        match part.get(..3).and_then(|digits| u8::from_str_radix(digits, 8).ok()) {
            Some(byte) => {
                whole.push(char::from(byte));
                whole.push_str(part.get(3..).unwrap_or_default());
            }
            None => {
                whole.push('\\');
                whole.push_str(part);
            }
        }
    }
    PathBuf::from(whole)
}

#[cfg(test)]
mod tests {
    use super::*;

    const MOUNTS: &str = "\
22 1 254:0 / / rw,relatime - ext4 /dev/vda rw
23 22 0:40 / /srv rw shared:1 master:2 - nfs4 server:/srv rw
24 23 0:41 / /srv/local rw - xfs /dev/vdb rw
25 22 0:42 / /mnt/print\\040room rw - cifs //server/share rw
26 22 0:43 / /over rw - ext4 /dev/vdc rw
27 22 0:44 / /over rw - fuse.sshfs me@server: rw
a line that is none
";

    #[test]
    fn the_nearest_mount_decides() {
        let kind = |path: &str| network_kind(MOUNTS, Path::new(path));
        assert_eq!(kind("/home/ines/state"), None);
        assert_eq!(kind("/srv/state").as_deref(), Some("nfs4"));
        assert_eq!(kind("/srv/local/state"), None);
        assert_eq!(kind("/srvother"), None);
        assert_eq!(kind("/mnt/print room/state").as_deref(), Some("cifs"));
        assert_eq!(kind("/over").as_deref(), Some("fuse.sshfs"));
        assert_eq!(network_kind("", Path::new("/")), None);
    }
}
