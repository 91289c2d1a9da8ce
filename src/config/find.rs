//! Finding the configuration file, and reading it and the files it names: the only part of `config` that touches a disk.
//!
//! The surroundings (variables, current folder, platform) come in as a value; nothing here asks the environment.

use std::fmt;
use std::fs;
use std::io::{ErrorKind, Read};
use std::path::{Path, PathBuf};

use super::{Config, MAX_BYTES, Mistake, Mistakes, NamedFile, files};

/// The name of the file in every folder that is looked into.
pub const FILE_NAME: &str = "twinwhite.toml";

/// The folder of the program inside a configuration folder.
const FOLDER: &str = "twinwhite";

/// Whose habits rule where configurations lie.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Platform {
    /// XDG Base Directory Specification 0.8; Linux and the like.
    Xdg,
    MacOs,
    Windows,
}

impl Platform {
    /// The platform this was built for.
    pub const HERE: Self = if cfg!(windows) {
        Self::Windows
    } else if cfg!(target_os = "macos") {
        Self::MacOs
    } else {
        Self::Xdg
    };
}

/// Where a configuration is looked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Surroundings {
    /// What `--config` named, if it did.
    pub named: Option<PathBuf>,
    /// The current folder.
    pub folder: PathBuf,
    /// Environment variables; of them `HOME`, `XDG_CONFIG_HOME`, `XDG_CONFIG_DIRS`, `APPDATA`, `PROGRAMDATA` count.
    pub variables: Vec<(String, String)>,
    /// Whose habits rule.
    pub platform: Platform,
}

/// There is no configuration at all. Says in three lines how to start.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub struct NotFound {
    /// Where one was looked for, in this order.
    pub tried: Vec<PathBuf>,
}

/// Why a configuration could not be loaded.
#[derive(Debug, thiserror::Error)]
pub enum LoadError {
    /// The file could not be read.
    #[error("cannot read the configuration {}: {cause}; check the path and who may read it", path.display())]
    Unreadable {
        /// The file.
        path: PathBuf,
        /// What the system said.
        cause: std::io::Error,
    },
    /// The file was read and has mistakes.
    #[error(transparent)]
    Mistaken(#[from] Mistakes),
}

impl fmt::Display for NotFound {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let tried: Vec<String> = self.tried.iter().map(|path| path.display().to_string()).collect();
        writeln!(f, "No configuration was found; looked for {}.", tried.join(", "))?;
        writeln!(f, "`twinwhite init` asks four questions and writes {FILE_NAME}.")?;
        write!(f, "Then `twinwhite check` says what is still wrong; `twinwhite demo` needs no configuration.")
    }
}

impl Surroundings {
    /// The files that may be the configuration, the first existing one of which counts.
    pub fn candidates(&self) -> Vec<PathBuf> {
        if let Some(named) = &self.named {
            return vec![self.folder.join(named)];
        }
        let mut folders: Vec<PathBuf> = Vec::new();
        let home = |rest: &str| self.folder_in("HOME").map(|home| home.join(rest));
        match self.platform {
            Platform::Xdg => {
                folders.extend(self.folder_in("XDG_CONFIG_HOME").or_else(|| home(".config")));
                let listed = self.variable("XDG_CONFIG_DIRS").unwrap_or("/etc/xdg");
                folders.extend(listed.split(':').map(PathBuf::from).filter(|folder| folder.is_absolute()));
                folders.push(PathBuf::from("/etc"));
            }
            Platform::MacOs => {
                folders.extend(home("Library/Application Support"));
                folders.push(PathBuf::from("/Library/Application Support"));
            }
            Platform::Windows => {
                folders.extend(self.folder_in("APPDATA"));
                folders.extend(self.folder_in("PROGRAMDATA"));
            }
        }
        let own = folders.into_iter().map(|folder| folder.join(FOLDER).join(FILE_NAME));
        std::iter::once(self.folder.join(FILE_NAME)).chain(own).collect()
    }

    fn variable(&self, name: &str) -> Option<&str> {
        let found = self.variables.iter().find(|(known, _)| known == name);
        found.map(|(_, value)| value.as_str()).filter(|value| !value.is_empty())
    }

    /// A folder from a variable; as XDG wants it, a relative one counts as not set. (Windows paths are not judged.)
    fn folder_in(&self, name: &str) -> Option<PathBuf> {
        let folder = PathBuf::from(self.variable(name)?);
        (folder.is_absolute() || self.platform == Platform::Windows).then_some(folder)
    }
}

/// The configuration file that counts: the one named, else the first candidate that exists.
pub fn find(surroundings: &Surroundings) -> Result<PathBuf, NotFound> {
    let candidates = surroundings.candidates();
    if surroundings.named.is_some() {
        // One that was asked for by name is not looked for elsewhere: that it is missing is said when it is read.
        return candidates.into_iter().next().ok_or(NotFound { tried: Vec::new() });
    }
    match candidates.iter().find(|path| path.exists()) {
        Some(path) => Ok(path.clone()),
        None => Err(NotFound { tried: candidates }),
    }
}

/// Reads and understands the configuration in `path`.
pub fn load(path: &Path) -> Result<Config, LoadError> {
    let unreadable = |cause| LoadError::Unreadable { path: path.to_owned(), cause };
    let mut bytes = Vec::new();
    let file = fs::File::open(path).map_err(unreadable)?;
    file.take(MAX_BYTES as u64 + 1).read_to_end(&mut bytes).map_err(unreadable)?;
    let base = path.parent().unwrap_or(Path::new(""));
    let file = path.display().to_string();
    if bytes.len() > MAX_BYTES {
        let too_long = Mistake::of_file("a longer file", format!("at most {MAX_BYTES} bytes"), None);
        return Err(Mistakes { file, list: vec![too_long] }.into());
    }
    match std::str::from_utf8(&bytes) {
        Ok(text) => Ok(Config::parse_with(text, &file, base, &read_named(text, base))?),
        Err(error) => {
            let line = bytes.iter().take(error.valid_up_to()).filter(|byte| **byte == b'\n').count() + 1;
            let hint = "save the file again with the encoding UTF-8".to_owned();
            let found = format!("bytes that are not UTF-8 on line {line}");
            Err(Mistakes { file, list: vec![Mistake::of_file(found, "a text in UTF-8", Some(hint))] }.into())
        }
    }
}

/// Reads the files that the text of a configuration names; relative names count from `base`.
pub fn read_named(text: &str, base: &Path) -> Vec<NamedFile> {
    let named = files::named_in(text).into_iter();
    named.map(|name| NamedFile { content: content(&base.join(&name)), name }).collect()
}

fn content(path: &Path) -> Result<String, String> {
    let why = |cause: std::io::Error| match cause.kind() {
        ErrorKind::NotFound => files::NO_SUCH_FILE.to_owned(),
        ErrorKind::PermissionDenied => "it may not be read".to_owned(),
        _ => cause.to_string(),
    };
    let mut bytes = Vec::new();
    let file = fs::File::open(path).map_err(why)?;
    file.take(files::MAX_BYTES as u64 + 1).read_to_end(&mut bytes).map_err(why)?;
    if bytes.len() > files::MAX_BYTES {
        return Err(format!("it is longer than {} bytes", files::MAX_BYTES));
    }
    String::from_utf8(bytes).map_err(|error| {
        let valid = error.as_bytes().iter().take(error.utf8_error().valid_up_to());
        format!("bytes that are not UTF-8 on line {}", valid.filter(|byte| **byte == b'\n').count() + 1)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn surroundings(platform: Platform, variables: &[(&str, &str)]) -> Surroundings {
        let variables = variables.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect();
        Surroundings { named: None, folder: PathBuf::from("/here"), variables, platform }
    }

    fn shown(surroundings: &Surroundings) -> Vec<String> {
        surroundings.candidates().iter().map(|path| path.display().to_string().replace('\\', "/")).collect()
    }

    #[test]
    fn each_platform_looks_in_its_usual_places() {
        let plain = surroundings(Platform::Xdg, &[("HOME", "/home/ines")]);
        let usual = [
            "/here/twinwhite.toml",
            "/home/ines/.config/twinwhite/twinwhite.toml",
            "/etc/xdg/twinwhite/twinwhite.toml",
            "/etc/twinwhite/twinwhite.toml",
        ];
        assert_eq!(shown(&plain), usual);
        let set = [("HOME", "/home/ines"), ("XDG_CONFIG_HOME", "/c"), ("XDG_CONFIG_DIRS", "/d:relative:/e")];
        let usual = ["/here", "/c/twinwhite", "/d/twinwhite", "/e/twinwhite", "/etc/twinwhite"];
        assert_eq!(shown(&surroundings(Platform::Xdg, &set)), usual.map(|folder| format!("{folder}/twinwhite.toml")));
        let unset = [("HOME", ""), ("XDG_CONFIG_HOME", "relative")];
        assert_eq!(shown(&surroundings(Platform::Xdg, &unset)).len(), 3, "an empty or relative folder does not count");
        let mac = surroundings(Platform::MacOs, &[("HOME", "/Users/ines")]);
        assert_eq!(shown(&mac)[1], "/Users/ines/Library/Application Support/twinwhite/twinwhite.toml");
        let windows = surroundings(Platform::Windows, &[("APPDATA", "C:/Users/ines/AppData/Roaming")]);
        assert_eq!(shown(&windows)[1], "C:/Users/ines/AppData/Roaming/twinwhite/twinwhite.toml");
        let named = Surroundings { named: Some(PathBuf::from("other.toml")), ..plain };
        assert_eq!(shown(&named), ["/here/other.toml"]);
    }

    #[test]
    fn without_any_configuration_three_lines_say_how_to_start() {
        let folder = tempfile::tempdir().unwrap();
        let home = folder.path().display().to_string();
        let mut nowhere = surroundings(Platform::MacOs, &[("HOME", home.as_str())]);
        nowhere.folder = folder.path().to_owned();
        let text = find(&nowhere).unwrap_err().to_string();
        assert_eq!(text.lines().count(), 3, "{text}");
        assert!(text.contains(&home) && text.contains("twinwhite init"), "{text}");
        fs::write(folder.path().join(FILE_NAME), "").unwrap();
        assert_eq!(find(&nowhere).unwrap(), folder.path().join(FILE_NAME));
    }

    #[test]
    fn what_cannot_be_read_is_told() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join(FILE_NAME);
        let text = load(&path).unwrap_err().to_string();
        assert!(text.contains("cannot read") && text.contains(FILE_NAME), "{text}");
        fs::write(&path, b"[site]\nname = \"caf\xe9\"\n").unwrap();
        let text = load(&path).unwrap_err().to_string();
        assert!(text.contains("not UTF-8 on line 2"), "{text}");
        fs::write(&path, vec![b'#'; MAX_BYTES + 1]).unwrap();
        let text = load(&path).unwrap_err().to_string();
        assert!(text.contains("a longer file"), "{text}");
    }
}
