//! `demo`: an invented print room whose two years pass in seconds, through the real inbox and the real daemon.
//!
//! Here: the folder, and how it begins and ends. What happens in the room stands in `simulate::print_room`; how the daemon
//! is led through it in `passage`; how it is told in `telling`.

mod passage;
mod telling;

use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::{env, process};

use super::fail::{Failure, Kind};
use super::{alerts, output, status};
use crate::clock::Clock;
use crate::config::{Config, find};
use crate::daemon::LEDGER_FILE;
use crate::ledger::{Ledger, OpenMode};
use crate::simulate::{self, STORY_DAYS};
use crate::units::{Days, Time};
use crate::zone::LocalZone;
use passage::{Passage, Tally};
use telling::Telling;

/// The name under which every command finds the configuration.
const CONFIG_FILE: &str = "twinwhite.toml";

/// Lets the room live its two years, which end at the clock's now, and leaves the folder to look around in.
pub fn demo(dir: Option<&Path>, clock: &dyn Clock) -> Result<(), Failure> {
    let now = clock.now();
    let folder = match dir {
        Some(dir) => empty_folder(dir)?,
        None => temporary_folder()?,
    };
    let config_file = folder.join(CONFIG_FILE);
    fs::write(&config_file, simulate::CONFIG)?;
    let config = find::load(&config_file)?;
    let zone = LocalZone(config.site.zone);
    let today = now.to_chrono().with_timezone(&zone.0).date_naive();
    output::print(&format!(
        "{}, an invented site: two stations over the {STORY_DAYS} days up to now. People drop what they read into\n\
         {}, which the daemon watches. Lines marked 'room' tell what people do there; all others what\n\
         twinwhite makes of it.\n\n",
        output::strong(&config.site.name),
        config.paths.inbox.display()
    ))?;
    let scenes = simulate::story(&config.things, zone, today);
    let tally = Passage::begin(&folder, &config, zone, today)?.live(scenes, now, Telling::new(zone))?;
    closing(&config, &folder, &tally, now)
}

/// A folder that does not exist, or is empty.
fn empty_folder(dir: &Path) -> Result<PathBuf, Failure> {
    let folder = std::path::absolute(dir)?;
    let cannot = |why: String| {
        let message = format!("{} {why}; name a folder that does not exist yet, or an empty one", dir.display());
        Failure::new(Kind::System, message)
    };
    match fs::read_dir(&folder).map(|mut entries| entries.next().is_none()) {
        Ok(true) => Ok(folder),
        Ok(false) => Err(cannot("is not empty".to_owned())),
        Err(why) if why.kind() == io::ErrorKind::NotFound => match fs::create_dir_all(&folder) {
            Ok(()) => Ok(folder),
            Err(why) => Err(cannot(format!("cannot be made ({why})"))),
        },
        Err(why) => Err(cannot(format!("cannot be used ({why})"))),
    }
}

fn temporary_folder() -> Result<PathBuf, Failure> {
    let (parent, own) = (env::temp_dir(), process::id());
    for number in 0..1000 {
        let folder = parent.join(format!("twinwhite-demo-{own}-{number}"));
        match fs::create_dir(&folder) {
            Ok(()) => return Ok(folder),
            Err(why) if why.kind() == io::ErrorKind::AlreadyExists => {}
            Err(why) => {
                let message = format!("no folder can be made in {} ({why}); name one with --dir", parent.display());
                return Err(Failure::new(Kind::System, message));
            }
        }
    }
    Err(Failure::new(Kind::System, format!("{} is full of demos; name a folder with --dir", parent.display())))
}

/// The stations as they stand, the alerts in order, and how to go on.
fn closing(config: &Config, folder: &Path, tally: &Tally, now: Time) -> Result<(), Failure> {
    let mut ledger = Ledger::open(&config.paths.state.join(LEDGER_FILE), &config.site.id, OpenMode::ReadOnly)?;
    let zone = LocalZone(config.site.zone);
    let stations = ledger.read(|store| status::of_all(store, config, now))?;
    let rows = ledger.read(|store| store.alerts())?;
    let program = env::current_exe().map_or_else(|_| "twinwhite".to_owned(), |path| path.display().to_string());
    let call = format!("{} --config {}", quoted(&program), quoted(&folder.join(CONFIG_FILE).display().to_string()));
    output::print(&format!(
        "\n{tally}\n\n{}\n\n{stations}{}\n\n{}\n\
         All of it is yours to look around in; delete {} when you have seen enough.\n\
         In place of `status` in the command below try `history bay-lamp`, `forecast booth`, `alerts --open`,\n\
         `status --as-of '{}'` or `audit verify`.\n\n{call} status\n",
        output::strong("How the stations stand now"),
        output::strong("The alerts, oldest first"),
        alerts::listing(&rows, config, now),
        folder.display(),
        zone.show(now.plus(Days(-180.0))),
    ))
}

/// As a shell must be given it.
pub fn quoted(text: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "/._-+:=@%\\".contains(c);
    if !text.is_empty() && text.chars().all(plain) {
        text.to_owned()
    } else {
        format!("'{}'", text.replace('\'', r"'\''"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn paths_survive_a_shell() {
        assert_eq!(quoted("/tmp/twinwhite-demo-7-0"), "/tmp/twinwhite-demo-7-0");
        assert_eq!(quoted("/home/ann's room"), r"'/home/ann'\''s room'");
    }

    #[test]
    fn a_folder_with_something_in_it_is_left_alone() {
        let room = tempfile::tempdir().unwrap();
        assert_eq!(empty_folder(room.path()).unwrap(), room.path());
        assert!(empty_folder(&room.path().join("new/one")).unwrap().is_dir());
        let failure = empty_folder(room.path()).unwrap_err();
        assert!(failure.to_string().contains("is not empty"), "{failure}");
        let file = room.path().join("file");
        fs::write(&file, "x").unwrap();
        assert!(empty_folder(&file).is_err());
    }
}
