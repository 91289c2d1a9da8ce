//! Whether a folder lies on a network share, from where no event comes when another machine writes to it.
//!
//! Linux says it in /proc/self/mountinfo (proc_pid_mountinfo(5)): one line a mount, the mount point in field 5 with
//! blanks and backslashes as three octal digits, the type of file system in the first field after a lone hyphen.
//! Elsewhere the answer is not known, and a folder is taken to be local.

use std::path::Path;

/// The type of the network file system that `path` lies on, such as `nfs4` or `cifs`; `None` where it is local or
/// nobody can say. On a share events do not come and the periodic scan finds the files.
pub fn network_share(path: &Path) -> Option<String> {
    let mounts = std::fs::read_to_string("/proc/self/mountinfo").ok()?;
    let path = std::fs::canonicalize(path).or_else(|_| std::path::absolute(path)).ok()?;
    share_in(&mounts, &path)
}

/// Types that are served by another machine, without the `fuse.` in front.
const SHARES: [&str; 19] = [
    "nfs",
    "nfs4",
    "cifs",
    "smb3",
    "smbfs",
    "afs",
    "ncpfs",
    "coda",
    "9p",
    "ceph",
    "lustre",
    "gfs2",
    "ocfs2",
    "davfs",
    "sshfs",
    "rclone",
    "glusterfs",
    "s3fs",
    "vboxsf",
];

fn share_in(mounts: &str, path: &Path) -> Option<String> {
    let mut nearest: Option<(usize, &str)> = None;
    for line in mounts.lines() {
        let Some((mount, kind)) = line.split_once(" - ") else { continue };
        let Some(point) = mount.split(' ').nth(4) else { continue };
        let Some(kind) = kind.split(' ').next() else { continue };
        let point = unescaped(point);
        let depth = Path::new(&point).components().count();
        // A later line at the same point lies over the earlier one.
        if path.starts_with(&point) && nearest.is_none_or(|(known, _)| depth >= known) {
            nearest = Some((depth, kind));
        }
    }
    let (_, kind) = nearest?;
    SHARES.contains(&kind.strip_prefix("fuse.").unwrap_or(kind)).then(|| kind.to_owned())
}

/// `\040` and its like turned back.
fn unescaped(text: &str) -> String {
    let mut plain = Vec::with_capacity(text.len());
    let mut rest = text.as_bytes();
    while let Some((&first, after)) = rest.split_first() {
        let octal = after.get(..3).and_then(|digits| std::str::from_utf8(digits).ok());
        match octal.and_then(|digits| u8::from_str_radix(digits, 8).ok()) {
            Some(byte) if first == b'\\' => {
                plain.push(byte);
                rest = after.get(3..).unwrap_or_default();
            }
            _ => {
                plain.push(first);
                rest = after;
            }
        }
    }
    String::from_utf8_lossy(&plain).into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    const MOUNTS: &str = "\
22 1 8:1 / / rw,relatime shared:1 - ext4 /dev/sda1 rw
40 22 0:35 / /srv/print\\040room rw shared:20 - nfs4 store:/room rw,vers=4.2
41 40 8:2 / /srv/print\\040room/local rw - xfs /dev/sda2 rw
42 22 0:50 / /mnt/desk rw - fuse.sshfs desk: rw
43 22 8:3 / /mnt/stick rw - fuseblk /dev/sdb1 rw
44 22 0:51 / /mnt/over rw - ext4 /dev/sdc1 rw
45 44 0:52 / /mnt/over rw - cifs //store/over rw
";

    #[test]
    fn the_nearest_mount_decides() {
        for (path, share) in [
            ("/home/inbox", None),
            ("/srv/print room/inbox", Some("nfs4")),
            ("/srv/print room/local/inbox", None),
            ("/srv/print rooms", None),
            ("/mnt/desk", Some("fuse.sshfs")),
            ("/mnt/stick/inbox", None),
            ("/mnt/over/inbox", Some("cifs")),
        ] {
            assert_eq!(share_in(MOUNTS, Path::new(path)).as_deref(), share, "{path}");
        }
        assert_eq!(share_in("nonsense\n - \n1 2 3 4 - nfs\n", Path::new("/")), None);
    }
}
