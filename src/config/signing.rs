//! `[signing]`: where the key that signs heads lies, where copies of signed heads go, and when heads are signed.

use std::path::{Path, PathBuf};

use super::Paths;
use super::settings::place;
use super::walk::Table;

/// The key's name in the state folder, if nothing else is said.
const KEY_FILE: &str = "signing.key";

/// How heads of the ledger are signed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Signing {
    /// The file of the private key.
    pub key: PathBuf,
    /// A second folder that every signed head is copied to; it must be there already, so that nothing is taken for elsewhere
    /// that is not.
    pub copies: Option<PathBuf>,
    /// Whether the daemon signs a head each hour with news.
    pub hourly: bool,
}

/// `[signing]`, all of it optional.
pub(super) fn signing(root: &Table<'_>, paths: &Paths, base: &Path) -> Signing {
    let mut signing = Signing { key: paths.state.join(KEY_FILE), copies: None, hourly: true };
    let Some(table) = root.section("signing") else { return signing };
    table.only(&["key", "copies", "heads"]);
    if let Some(hourly) = table.get("heads").and_then(|entry| entry.choice(&[("hour", true), ("off", false)])) {
        signing.hourly = hourly;
    }
    if let Some(entry) = table.get("copies") {
        let folder = place(&entry, "a folder that is there already, best on another computer", base);
        let lies_in = |other: &Path| folder.as_deref().is_some_and(|folder| folder.starts_with(other));
        let hint = "heads are worth something where whoever changes the ledger cannot change them too".to_owned();
        if lies_in(&paths.state) {
            entry.note("a folder inside the state folder", "a folder elsewhere", Some(hint));
        } else if lies_in(&paths.inbox) {
            entry.note("a folder inside the inbox, whose files are taken in as readings", "a folder elsewhere", None);
        }
        signing.copies = folder;
    }
    if let Some(entry) = table.get("key") {
        let Some(key) = place(&entry, "a file, like \"state/signing.key\"", base) else { return signing };
        if key.starts_with(&paths.inbox) {
            entry.note("a file inside the inbox, whose files are taken in as readings", "a file elsewhere", None);
        }
        signing.key = key;
    }
    // Without a line of its own the key lies in the state folder, which the copies may then not hold either.
    let exposed = signing.copies.as_deref().is_some_and(|copies| signing.key.starts_with(copies));
    if exposed && let Some(entry) = table.get("key").or_else(|| table.get("copies")) {
        let found = "a place where the key lies inside the folder of copies";
        let hint = "whoever has the key can sign in your name; the copies are for others to see";
        entry.note(found, "a key that only twinwhite can read, outside the copies", Some(hint.to_owned()));
    }
    signing
}
