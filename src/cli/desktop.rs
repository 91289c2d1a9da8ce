//! `desktop`: shows what the channel of that name has laid down, in the session of whoever sits there.
//!
//! It looks every two seconds by listing the folder, needs to read nothing else, and remembers for each user what it has
//! shown. Many at once, as after a weekend, are shown as one. No runtime here: the library of notifications blocks.

use std::collections::BTreeSet;
use std::env;
use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::mpsc;
use std::thread;
use std::time::Duration;

use notify_rust::{Notification, Timeout};

use super::args::Cli;
use super::fail::{Failure, Kind};
use super::output;
use super::session;
use crate::channels::{desktop, letter_of};
use crate::clock::Clock;
use crate::config::ChannelKind;
use crate::config::find::{self, Platform};
use crate::ledger::Digest;
use crate::outbox::Group;
use crate::say::{self, letter};
use crate::whole_file;

/// How often it looks.
const LOOK_EVERY: Duration = Duration::from_secs(2);
/// How often it leaves a sign that it did.
const SIGN_EVERY: Duration = Duration::from_secs(60);
/// More than so many at once are shown as one.
const ONE_BY_ONE: usize = 3;
/// A desktop that has not answered by then is left for now.
const PATIENCE: Duration = Duration::from_secs(20);

/// Shows what is new, once or until the session ends.
pub fn desktop(cli: &Cli, clock: &dyn Clock, folder: Option<&Path>, once: bool) -> Result<(), Failure> {
    let folder = match folder {
        Some(folder) => folder.to_owned(),
        None => configured(cli)?,
    };
    let mut memory = Memory::open(&folder)?;
    if once {
        let shown = look(&folder, &mut memory).map_err(|why| Failure::new(Kind::System, why))?;
        // Whoever may only read the folder leaves no sign.
        let _ = desktop::leave_sign(&folder, &user(), clock.now());
        return match shown {
            0 => output::print("Nothing new.\n"),
            shown => output::print(&format!("{} shown.\n", say::count(shown as u64, "message"))),
        };
    }
    let (mut told, mut sign_at) = (None, Duration::ZERO);
    loop {
        match look(&folder, &mut memory) {
            Ok(_) => told = None,
            // Said once and not every two seconds.
            Err(why) if told.as_ref() == Some(&why) => {}
            Err(why) => {
                eprintln!("twinwhite: {why}");
                told = Some(why);
            }
        }
        if told.is_none() && clock.monotonic() >= sign_at {
            let _ = desktop::leave_sign(&folder, &user(), clock.now());
            sign_at = clock.monotonic() + SIGN_EVERY;
        }
        thread::sleep(LOOK_EVERY);
    }
}

/// The folder of the configuration's only desktop channel.
fn configured(cli: &Cli) -> Result<PathBuf, Failure> {
    let config = find::load(&session::config_file(cli)?)?;
    let folders = config.channels.into_iter().filter_map(|channel| match channel.kind {
        ChannelKind::Desktop { folder } => Some(folder),
        _ => None,
    });
    let folders: BTreeSet<PathBuf> = folders.collect();
    let named = |folders: &BTreeSet<PathBuf>| {
        let names: Vec<String> = folders.iter().map(|folder| folder.display().to_string()).collect();
        names.join(", ")
    };
    match folders.len() {
        1 => Ok(folders.into_iter().next().unwrap_or_default()),
        0 => {
            let message =
                "no [[channel]] of kind \"desktop\" lays messages down; add one, or name a folder with --folder";
            Err(Failure::new(Kind::NotFound, message))
        }
        _ => Err(Failure::new(Kind::Usage, format!("say which with --folder: {}", named(&folders)))),
    }
}

/// Shows what lies there and was not shown; how many messages that were.
fn look(folder: &Path, memory: &mut Memory) -> Result<usize, String> {
    let unreadable = |why: io::Error| {
        format!(
            "{} cannot be read: {why}; it comes with the first message, and this user must be able to read it",
            folder.display()
        )
    };
    let names = desktop::names(folder).map_err(unreadable)?;
    let mut new: Vec<Group> = Vec::new();
    for name in names.iter().filter(|name| !memory.shown.contains(*name)) {
        match desktop::read(folder, name) {
            // A file that is no message is passed over for good.
            Ok(group) => new.extend(group),
            // Taken away since it was listed.
            Err(gone) if gone.kind() == io::ErrorKind::NotFound => {}
            Err(why) => return Err(unreadable(why)),
        }
    }
    let letters: Vec<_> = new.iter().map(letter_of).collect();
    let bubbles: Vec<(String, String)> = if letters.len() > ONE_BY_ONE {
        letter::missed(&letters).into_iter().collect()
    } else {
        letters.iter().map(letter::bubble).collect()
    };
    for (title, body) in bubbles {
        show(title, body)?;
    }
    memory.keep(names.into_iter().collect())?;
    Ok(new.len())
}

/// Hands one notification to the desktop; it stays until somebody takes it away.
fn show(title: String, body: String) -> Result<(), String> {
    let (tell, told) = mpsc::channel();
    thread::spawn(move || {
        let body = if speaks_markup() { escaped(&body) } else { body };
        let shown = Notification::new().appname("twinwhite").summary(&title).body(&body).timeout(Timeout::Never).show();
        let _ = tell.send(shown.map(|_| ()).map_err(|why| why.to_string()));
    });
    let end = told.recv_timeout(PATIENCE).unwrap_or_else(|_| Err("no answer".to_owned()));
    end.map_err(|why| {
        format!("this session shows no notifications: {why}; see that a notification service runs and that this was started in the session")
    })
}

/// Whether a desktop takes `<`, `>` and `&` for markup (Desktop Notifications Specification 1.2, "body-markup").
#[cfg(all(unix, not(target_os = "macos")))]
fn speaks_markup() -> bool {
    notify_rust::get_capabilities().is_ok_and(|known| known.iter().any(|word| word == "body-markup"))
}

/// Elsewhere text is text.
#[cfg(not(all(unix, not(target_os = "macos"))))]
fn speaks_markup() -> bool {
    false
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;")
}

/// Who sits there.
fn user() -> String {
    ["USER", "LOGNAME", "USERNAME"].iter().find_map(|name| env::var(name).ok()).unwrap_or_else(|| "somebody".to_owned())
}

/// What this user was shown of one folder.
struct Memory {
    file: PathBuf,
    shown: BTreeSet<String>,
}

impl Memory {
    fn open(folder: &Path) -> Result<Self, Failure> {
        let whole = std::path::absolute(folder)?;
        let digest = Digest::of(whole.to_string_lossy().as_bytes()).to_string();
        let file = state_folder()?.join(format!("shown-{digest:.12}.txt"));
        let text = match fs::read_to_string(&file) {
            Ok(text) => text,
            Err(none) if none.kind() == io::ErrorKind::NotFound => String::new(),
            Err(why) => return Err(why.into()),
        };
        Ok(Self { file, shown: text.lines().map(str::to_owned).collect() })
    }

    /// Remembers what lies there now; what was taken away needs no memory.
    fn keep(&mut self, names: BTreeSet<String>) -> Result<(), String> {
        if names == self.shown {
            return Ok(());
        }
        self.shown = names;
        let text: String = self.shown.iter().map(|name| format!("{name}\n")).collect();
        whole_file::write(&self.file, text.as_bytes()).map_err(|why| {
            format!("{} cannot be written: {why}; what was shown will be shown again", self.file.display())
        })
    }
}

/// Where a user's programs keep what they remember (XDG Base Directory Specification 0.8, and the others' habits).
fn state_folder() -> Result<PathBuf, Failure> {
    let whole = |name: &str| env::var_os(name).map(PathBuf::from).filter(|path| path.is_absolute());
    let home = || whole("HOME");
    let folder = match Platform::HERE {
        Platform::Xdg => whole("XDG_STATE_HOME").or_else(|| home().map(|home| home.join(".local/state"))),
        Platform::MacOs => home().map(|home| home.join("Library/Application Support")),
        Platform::Windows => whole("LOCALAPPDATA"),
    };
    let missing =
        || Failure::new(Kind::System, "this user has no home folder (HOME) in which to remember what was shown");
    folder.map(|folder| folder.join("twinwhite")).ok_or_else(missing)
}
