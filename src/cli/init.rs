//! `init`: four questions, and a commented configuration that is at once ready for `add` and `run`.
//!
//! What answers mean stands in `answers`, what is written in `document`; here are the terminal, the file and the clock's zone.

mod answers;
mod document;

use std::env;
use std::fs::{self, OpenOptions};
use std::io::{self, BufRead, ErrorKind, IsTerminal, Write};
use std::path::{Path, PathBuf};

use super::args::{Answers, Cli};
use super::demo::quoted;
use super::fail::{Failure, Kind};
use super::output;
use crate::config::Config;
use crate::config::find::FILE_NAME;
use crate::config::id_from;
use crate::site::LampKind;
use crate::zone::LocalZone;
use answers::{Lamp, Puzzled, Screen, Sheet, SheetWhite, White};
use document::Watch;

/// Asks what the options do not say, writes the configuration, and says how to go on.
pub fn init(cli: &Cli, given: &Answers) -> Result<(), Failure> {
    let file = target(cli, given.dir.as_deref())?;
    if fs::symlink_metadata(&file).is_ok() {
        return Err(exists(&file));
    }
    let folder = file.parent().map_or_else(|| PathBuf::from("."), Path::to_path_buf);
    let mut asker = Asker::new();
    let screen = asker.ask(
        given.display.as_deref(),
        ("--display", "Screen, such as: Desk screen, D65, 120 cd/m2 [desk-screen, as white and bright as the paper]: "),
        answers::screen,
        screen_said,
    )?;
    let white = screen.white.unwrap_or(White::D50);
    let level = screen.luminance.map_or("500 lx", |_| "as bright as the screen");
    let question = format!("Lamp, such as: Desk lamp, D50, 500 lx, led [desk-lamp, {white}, {level}, led]: ");
    let lamp =
        asker.ask(given.lamp.as_deref(), ("--lamp", &question), answers::lamp, |lamp| lamp_said(lamp, white, level))?;
    let question = "Paper, such as: Rag matte, 96.8 0.6 -1.9 (L a b), or matte, glossy, uncoated, cream [matte]: ";
    let paper = asker.ask(given.paper.as_deref(), ("--paper", question), answers::paper, paper_said)?;
    let (lamp, paper) = answers::told_apart(&screen, lamp, paper);
    let aims = document::aims(&screen, &lamp, &paper)
        .ok_or_else(|| Failure::new(Kind::Usage, "these whites make no aims; give the lamp a white such as D50"))?;
    let mut watch = Watch { name: site_name(&folder), zone: zone(), screen, lamp, paper, folder: "inbox".to_owned() };
    let question = "Folder where readings are dropped, such as: inbox [inbox]: ";
    let sound = |answer: &str| {
        watch.folder = answers::folder(answer)?;
        let expected = "a folder of its own, as in: inbox";
        Config::parse(&watch.text(&aims), FILE_NAME, &folder).map_err(|mistakes| Puzzled {
            found: mistakes.list.first().map_or_else(String::new, |mistake| mistake.found.clone()),
            expected,
        })
    };
    let config = asker.ask(given.folder.as_deref(), ("--folder", question), sound, |config| {
        format!("{}, and archive and quarantine beside it", config.paths.inbox.display())
    })?;
    write(&file, &watch.text(&aims))?;
    fs::create_dir_all(&config.paths.inbox)?;
    closing(&watch, &aims, &file, cli)
}

/// The file to write: in the folder that was named, else the one that `--config` names, else here.
fn target(cli: &Cli, dir: Option<&Path>) -> Result<PathBuf, Failure> {
    let file = match (dir, &cli.config) {
        (Some(dir), _) => dir.join(FILE_NAME),
        (None, Some(file)) => file.clone(),
        (None, None) => PathBuf::from(FILE_NAME),
    };
    Ok(std::path::absolute(file)?)
}

fn exists(file: &Path) -> Failure {
    let message = format!(
        "{} is there already and stays as it is; `twinwhite check` says whether it is sound, and `twinwhite init --dir FOLDER` begins another watch",
        file.display()
    );
    Failure::new(Kind::Config, message)
}

/// Writes a file that must not be there yet.
fn write(file: &Path, text: &str) -> Result<(), Failure> {
    if let Some(folder) = file.parent() {
        fs::create_dir_all(folder)?;
    }
    let mut to = match OpenOptions::new().write(true).create_new(true).open(file) {
        Err(why) if why.kind() == ErrorKind::AlreadyExists => return Err(exists(file)),
        to => to?,
    };
    to.write_all(text.as_bytes())?;
    Ok(to.sync_all()?)
}

/// Asks on a terminal until it understands; in a pipe each line is one answer, and what is missing the default.
struct Asker {
    lines: io::Lines<io::StdinLock<'static>>,
    is_terminal: bool,
}

impl Asker {
    fn new() -> Self {
        let input = io::stdin();
        Self { is_terminal: input.is_terminal(), lines: input.lock().lines() }
    }

    /// The answer that was given as an option, or by whoever is asked; what was understood is said back.
    fn ask<T>(
        &mut self,
        given: Option<&str>,
        (option, question): (&str, &str),
        mut understand: impl FnMut(&str) -> Result<T, Puzzled>,
        said: impl Fn(&T) -> String,
    ) -> Result<T, Failure> {
        if let Some(given) = given {
            return understand(given).map_err(|why| Failure::new(Kind::Usage, format!("{option}: {why}")));
        }
        loop {
            output::verbatim(question)?;
            io::stdout().flush()?;
            let line = self.lines.next().transpose()?;
            if !self.is_terminal {
                // Nobody's Enter has ended the line.
                output::verbatim(&format!("{}\n", line.as_deref().unwrap_or_default()))?;
            } else if line.is_none() {
                return Err(Failure::new(Kind::Usage, "nothing was written; `twinwhite init` asks anew"));
            }
            match understand(line.as_deref().unwrap_or_default()) {
                Ok(thing) => {
                    output::print(&format!("  → {}\n", said(&thing)))?;
                    return Ok(thing);
                }
                Err(why) if self.is_terminal => output::print(&format!("  {why}\n"))?,
                Err(why) => return Err(Failure::new(Kind::Usage, format!("{why}; nothing was written"))),
            }
        }
    }
}

fn screen_said(screen: &Screen) -> String {
    let white = screen.white.map_or_else(|| "the paper's white".to_owned(), |white| white.to_string());
    let level = screen.luminance.map_or_else(|| "as bright as the paper".to_owned(), |level| format!("{level} cd/m²"));
    format!("{}: aims at {white}, {level}", screen.id)
}

fn lamp_said(lamp: &Lamp, white: White, level: &str) -> String {
    let white = lamp.white.unwrap_or(white);
    let level = lamp.illuminance.map_or_else(|| level.to_owned(), |lx| format!("{lx} lx"));
    let kind = match lamp.kind {
        LampKind::Led => "an LED lamp",
        LampKind::Fluorescent => "a fluorescent lamp",
        LampKind::Halogen => "a halogen lamp",
        LampKind::Other => "a lamp of no kind named",
    };
    format!("{}: {kind}, aims at {white}, {level} at the print", lamp.id)
}

fn paper_said(paper: &Sheet) -> String {
    let [l, a, b] = paper.white.lab();
    let typical = match paper.white {
        SheetWhite::Read { .. } => String::new(),
        SheetWhite::Typical(finish) => format!(", typical of {} paper; read your own", finish.word()),
    };
    format!("{}: L {l}, a {a}, b {b}{typical}", paper.id)
}

/// The system's time zone; UTC where it does not say or has one that the database lacks.
fn zone() -> LocalZone {
    let named = env::var("TZ").ok().and_then(|name| LocalZone::named(name.trim_start_matches(':')).ok());
    let system = || LocalZone::named(&iana_time_zone::get_timezone().ok()?).ok();
    named.or_else(system).unwrap_or(LocalZone(chrono_tz::UTC))
}

/// A name for people: the folder's, or at home whose home it is.
fn site_name(folder: &Path) -> String {
    let home = env::var_os("HOME").is_some_and(|home| Path::new(&home) == folder);
    let user = || env::var("USER").or_else(|_| env::var("USERNAME")).ok().map(|user| format!("{user}'s room"));
    let name = if home { user() } else { folder.file_name().map(|name| name.to_string_lossy().into_owned()) };
    let name = name.map(|name| name.replace(['-', '_'], " ").trim_matches([' ', '.']).to_owned());
    let name = name.filter(|name| id_from(name).is_some() && !name.chars().any(char::is_control));
    name.map_or_else(|| "Print room".to_owned(), |name| capitalised(&name))
}

fn capitalised(name: &str) -> String {
    let mut chars = name.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

fn closing(watch: &Watch, aims: &document::Aims, file: &Path, cli: &Cli) -> Result<(), Failure> {
    let here = env::current_dir().is_ok_and(|here| here.join(FILE_NAME) == file) && cli.config.is_none();
    let call = if here {
        "twinwhite".to_owned()
    } else {
        format!("twinwhite --config {}", quoted(&file.display().to_string()))
    };
    for doubt in aims.doubts() {
        output::print(&format!("\nNote: {doubt}\n"))?;
    }
    output::print(&format!(
        "\n{} is written: {}, {}.\n\nNext, with the numbers that your meter shows:\n\n",
        file.display(),
        watch.name,
        watch.zone.name()
    ))?;
    output::verbatim(&watch.commands(aims, &call))?;
    output::print(&format!(
        "\nThen `{call} run` watches the folder. \"Hearing about it\" in README.md tells how a mail reaches you when something is wrong.\n"
    ))
}
