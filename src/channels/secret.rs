//! Secrets: read anew for each delivery from the file or variable that the configuration names, and never shown.

use std::env;
use std::fmt;
use std::fs;
use std::path::{Path, PathBuf};

use ureq::tls::{Certificate, PemItem, parse_pem};

use crate::config::{SecretPlace, WebAddress};

/// More is no secret but a wrong file.
const MOST: u64 = 64 << 10;

/// A text that nothing shows.
#[derive(Clone, PartialEq, Eq)]
pub struct Secret(String);

impl Secret {
    /// The text itself, to be used.
    pub fn reveal(&self) -> &str {
        &self.0
    }
}

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Secret(…)")
    }
}

/// Why a secret or a certificate cannot be had.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[allow(missing_docs)]
pub enum SecretTrouble {
    #[error("{} cannot be read: {why}; see the path, and that twinwhite may read it", path.display())]
    Unreadable { path: PathBuf, why: String },
    #[error("{} is {found}; expected a file with nothing but the secret", path.display())]
    Unfit { path: PathBuf, found: &'static str },
    #[error("the environment variable {0} is not set or empty; set it where twinwhite is started")]
    Unset(String),
    #[error("{} holds no certificate; expected PEM, with lines -----BEGIN CERTIFICATE-----", path.display())]
    NoCertificate { path: PathBuf },
}

/// The secret that stands there.
pub fn read(place: &SecretPlace) -> Result<Secret, SecretTrouble> {
    match place {
        SecretPlace::Variable(name) => {
            let value = env::var(name).ok().map(|value| value.trim().to_owned());
            value.filter(|value| !value.is_empty()).map(Secret).ok_or_else(|| SecretTrouble::Unset(name.clone()))
        }
        SecretPlace::File(path) => {
            let unfit = |found| SecretTrouble::Unfit { path: path.clone(), found };
            let text = String::from_utf8(bytes(path)?).map_err(|_| unfit("no text (UTF-8)"))?;
            match text.trim() {
                "" => Err(unfit("empty")),
                text if text.contains(char::is_control) => Err(unfit("a text of several lines")),
                text => Ok(Secret(text.to_owned())),
            }
        }
    }
}

/// The web address that is given, and whether it is itself a secret.
pub fn address(url: &WebAddress) -> Result<(String, bool), SecretTrouble> {
    match url {
        WebAddress::Written(url) => Ok((url.clone(), false)),
        WebAddress::Secret(place) => Ok((read(place)?.reveal().to_owned(), true)),
    }
}

/// The certificates of a PEM file; at least one.
pub fn certificates(path: &Path) -> Result<Vec<Certificate<'static>>, SecretTrouble> {
    let pem = bytes(path)?;
    let certificate = |item| match item {
        Ok(PemItem::Certificate(certificate)) => Some(certificate),
        _ => None,
    };
    let all: Vec<_> = parse_pem(&pem).filter_map(certificate).collect();
    if all.is_empty() { Err(SecretTrouble::NoCertificate { path: path.to_owned() }) } else { Ok(all) }
}

/// Whether anybody on this machine may read a file; never told where the system has no such bits.
pub fn readable_by_everybody(path: &Path) -> bool {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        fs::metadata(path).is_ok_and(|of| of.permissions().mode() & 0o004 != 0)
    }
    #[cfg(not(unix))]
    {
        let _ = path;
        false
    }
}

/// What a plain file of a sensible size holds. A pipe or device would make the reader wait.
fn bytes(path: &Path) -> Result<Vec<u8>, SecretTrouble> {
    let unreadable = |why: std::io::Error| SecretTrouble::Unreadable { path: path.to_owned(), why: why.to_string() };
    let unfit = |found| SecretTrouble::Unfit { path: path.to_owned(), found };
    let of = fs::metadata(path).map_err(unreadable)?;
    if !of.is_file() {
        return Err(unfit("no plain file"));
    }
    // Certificates of many authorities are longer than any secret.
    if of.len() > 16 * MOST {
        return Err(unfit("too long"));
    }
    fs::read(path).map_err(unreadable)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_secret_is_one_line_of_a_file_and_is_not_shown() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("word");
        let place = SecretPlace::File(path.clone());
        fs::write(&path, "open sesame\r\n").unwrap();
        let secret = read(&place).unwrap();
        assert_eq!((secret.reveal(), format!("{secret:?}").as_str()), ("open sesame", "Secret(…)"));
        for (bytes, found) in
            [(&b" \n"[..], "empty"), (b"a\nb", "a text of several lines"), (b"\xff", "no text (UTF-8)")]
        {
            fs::write(&path, bytes).unwrap();
            assert_eq!(read(&place), Err(SecretTrouble::Unfit { path: path.clone(), found }));
        }
        fs::write(&path, "x".repeat(2 << 20)).unwrap();
        assert_eq!(read(&place), Err(SecretTrouble::Unfit { path: path.clone(), found: "too long" }));
        let here = SecretPlace::File(folder.path().to_owned());
        assert_eq!(read(&here), Err(SecretTrouble::Unfit { path: folder.path().to_owned(), found: "no plain file" }));
        fs::write(&path, "no certificate").unwrap();
        assert!(matches!(certificates(&path), Err(SecretTrouble::NoCertificate { .. })));
        assert!(matches!(read(&SecretPlace::File("nowhere".into())), Err(SecretTrouble::Unreadable { .. })));
        assert_eq!(
            read(&SecretPlace::Variable("TWINWHITE_NEVER".into())),
            Err(SecretTrouble::Unset("TWINWHITE_NEVER".into()))
        );
    }
}
