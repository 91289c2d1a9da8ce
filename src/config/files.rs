//! Files that a configuration names: the curve of a paper, tables that are sold.
//!
//! Here: which files a text names, and their content as it was handed in. Pure; [`super::find`] reads them, and the ledger
//! keeps them beside the text, so that a configuration of the past is understood without the disk.

use std::cell::RefCell;

use toml::de::{DeTable, DeValue};

use super::walk::Entry;
use crate::ledger::entry::NamedText;

/// The largest such file that is read, in bytes.
pub const MAX_BYTES: usize = 1 << 20;

/// Why a file could not be read that is not there.
pub(super) const NO_SUCH_FILE: &str = "there is no such file";

/// A file that a configuration names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NamedFile {
    /// Its name as the configuration writes it.
    pub name: String,
    /// What stands in it, or in words why it could not be read.
    pub content: Result<String, String>,
}

impl From<&NamedText> for NamedFile {
    fn from(kept: &NamedText) -> Self {
        Self { name: kept.name.clone(), content: Ok(kept.text.clone()) }
    }
}

/// The names of all files that the text of a configuration names, each once; none where it is not TOML.
pub fn named_in(text: &str) -> Vec<String> {
    let Ok(document) = DeTable::parse(text) else { return Vec::new() };
    let document = document.get_ref();
    let mut names: Vec<String> = Vec::new();
    let mut add = |table: &DeTable<'_>, key: &str| {
        let name = table.get(key).and_then(|value| value.get_ref().as_str());
        if let Some(name) = name.filter(|name| !names.iter().any(|other| other == name)) {
            names.push(name.to_owned());
        }
    };
    if let Some(DeValue::Array(papers)) = document.get("paper").map(|papers| papers.get_ref()) {
        for paper in papers {
            if let DeValue::Table(paper) = paper.get_ref() {
                add(paper, "reflectance");
            }
        }
    }
    if let Some(DeValue::Table(tables)) = document.get("tables").map(|tables| tables.get_ref()) {
        add(tables, "iso_23603");
    }
    names
}

/// The files that were handed in with a text, and which of them it has used.
pub(super) struct Files<'f> {
    given: &'f [NamedFile],
    used: RefCell<Vec<NamedText>>,
}

impl<'f> Files<'f> {
    pub(super) fn new(given: &'f [NamedFile]) -> Self {
        Self { given, used: RefCell::default() }
    }

    /// The content of the file that `entry` names; notes why there is none. `expected` says what the file should hold.
    pub(super) fn content(&self, entry: &Entry<'_>, expected: &str) -> Option<&'f str> {
        let name = entry.text(expected)?;
        if name.starts_with('~') {
            let hint = "~ is not understood here; write the whole path, or one relative to this file";
            entry.mistake(expected, Some(hint.to_owned()));
            return None;
        }
        let refused = |why: &str| {
            let hint =
                (why == NO_SUCH_FILE).then(|| "the path counts from the folder of this configuration".to_owned());
            entry.note(format!("{name}: {why}"), expected, hint);
            None
        };
        match self.given.iter().find(|file| file.name == name).map(|file| &file.content) {
            Some(Ok(text)) => {
                let mut used = self.used.borrow_mut();
                if !used.iter().any(|file| file.name == name) {
                    used.push(NamedText { name: name.to_owned(), text: text.clone() });
                }
                Some(text)
            }
            Some(Err(why)) => refused(why),
            None => refused("its content is not at hand"),
        }
    }

    /// The files used, in the order of the text.
    pub(super) fn into_used(self) -> Vec<NamedText> {
        self.used.into_inner()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_found_wherever_they_stand() {
        let text = "tables = { iso_23603 = \"t.csv\" }\n[[paper]]\nreflectance = \"a/rag.csv\"\n[[paper]]\nid = \"x\"\n\
                    [[paper]]\nreflectance = \"a/rag.csv\"\n[[paper]]\nreflectance = 7\n";
        assert_eq!(named_in(text), ["a/rag.csv", "t.csv"]);
        assert_eq!(named_in("[[paper]\n"), Vec::<String>::new());
        assert_eq!(named_in("paper = 1\ntables = 2\n"), Vec::<String>::new());
    }
}
