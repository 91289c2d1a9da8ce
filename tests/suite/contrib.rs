//! `contrib/`: completions and manual pages are what the command line's own definitions make. With TWINWHITE_WRITE=1 they are written.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::process::Command as Program;

use clap::{Command, CommandFactory};
use clap_complete::{Shell, generate};
use clap_mangen::Man;
use clap_mangen::roff::{Roff, bold, roman};
use twinwhite::cli::Arguments;

use super::site::repository;

/// Sections of the program's own help that hold for every command.
const EVERYWHERE: &[&str] = &["EXIT STATUS", "ENVIRONMENT", "FILES"];

/// Every file of `contrib` that is generated, by its path there.
fn generated() -> BTreeMap<String, String> {
    let mut files = BTreeMap::new();
    for (shell, name) in [
        (Shell::Bash, "twinwhite.bash"),
        (Shell::Zsh, "_twinwhite"),
        (Shell::Fish, "twinwhite.fish"),
        (Shell::PowerShell, "_twinwhite.ps1"),
    ] {
        let mut bytes = Vec::new();
        generate(shell, &mut Arguments::command(), "twinwhite", &mut bytes);
        files.insert(format!("completions/{name}"), tidy(&String::from_utf8(bytes).unwrap()));
    }
    let mut program = Arguments::command();
    program.build();
    let common = sections(&program);
    page(&program, &common, &mut files);
    files
}

/// Without blanks at the ends of lines.
fn tidy(text: &str) -> String {
    text.lines().map(|line| line.trim_end().to_owned() + "\n").collect()
}

/// The definitions keep names for as long as the program runs.
fn lasting(name: &str) -> &'static str {
    Box::leak(name.to_owned().into_boxed_str())
}

/// A section of the help: its title as manual pages have it, and its lines; as they stand where it is a list.
struct Section {
    title: &'static str,
    lines: Vec<String>,
    is_list: bool,
}

/// What stands after the options in a command's help. A paragraph whose first line is a title and a colon is a list.
fn sections(command: &Command) -> Vec<Section> {
    let help = command.get_after_help().map(ToString::to_string).unwrap_or_default();
    let mut found = Vec::new();
    for paragraph in help.split("\n\n").filter(|paragraph| !paragraph.trim().is_empty()) {
        let mut lines: Vec<String> = paragraph.lines().map(str::to_owned).collect();
        let title = match lines[0].as_str() {
            "Example:" | "Examples:" | "Start here:" => Some("EXAMPLES"),
            "Exit codes:" => Some("EXIT STATUS"),
            "Environment:" => Some("ENVIRONMENT"),
            "Files:" => Some("FILES"),
            _ => None,
        };
        if title.is_some() {
            lines.remove(0);
        }
        let title = title.unwrap_or("NOTES");
        found.push(Section { title, is_list: title != "NOTES", lines });
    }
    found
}

/// The page of a command, and those of the commands below it.
fn page(command: &Command, common: &[Section], files: &mut BTreeMap<String, String>) {
    let name = command.get_bin_name().unwrap_or("twinwhite").replace(' ', "-");
    let is_program = name == "twinwhite";
    let shown = command
        .clone()
        .name(lasting(&name))
        .display_name(&name)
        .bin_name(command.get_bin_name().unwrap_or("twinwhite"));
    let man = Man::new(shown).title(name.to_uppercase()).section("1").source("twinwhite").manual("twinwhite").date("");
    let mut bytes = Vec::new();
    man.render_title(&mut bytes).unwrap();
    man.render_name_section(&mut bytes).unwrap();
    man.render_synopsis_section(&mut bytes).unwrap();
    man.render_description_section(&mut bytes).unwrap();
    man.render_options_section(&mut bytes).unwrap();
    let mut roff = Roff::new();
    let below: Vec<&Command> = command.get_subcommands().filter(|below| below.get_name() != "help").collect();
    if !below.is_empty() {
        roff.control("SH", ["COMMANDS"]);
        for below in &below {
            roff.control("TP", []);
            roff.text([bold(format!("{name}-{}(1)", below.get_name()))]);
            roff.text([roman(below.get_about().map(ToString::to_string).unwrap_or_default())]);
        }
    }
    let mut own = sections(command);
    own.sort_by_key(|section| section.title != "EXAMPLES");
    let inherited = common.iter().filter(|section| !is_program && EVERYWHERE.contains(&section.title));
    let mut last = "";
    for section in own.iter().chain(inherited) {
        if section.title != last {
            roff.control("SH", [section.title]);
            last = section.title;
        } else {
            roff.control("PP", []);
        }
        if section.is_list {
            roff.control("nf", []);
        }
        section.lines.iter().for_each(|line| {
            roff.text([roman(line.as_str())]);
        });
        if section.is_list {
            roff.control("fi", []);
        }
    }
    if !is_program {
        roff.control("SH", ["SEE ALSO"]);
        roff.text([bold("twinwhite"), roman("(1)")]);
    }
    roff.to_writer(&mut bytes).unwrap();
    files.insert(format!("man/{name}.1"), tidy(&String::from_utf8(bytes).unwrap()));
    below.iter().for_each(|below| page(below, common, files));
}

fn committed(folder: &Path) -> BTreeMap<String, String> {
    let mut files = BTreeMap::new();
    for part in ["completions", "man"] {
        for entry in fs::read_dir(folder.join(part)).into_iter().flatten().flatten() {
            let name = entry.file_name().into_string().unwrap();
            files.insert(format!("{part}/{name}"), fs::read_to_string(entry.path()).unwrap());
        }
    }
    files
}

#[test]
fn contrib_is_what_the_definitions_make() {
    let (folder, wanted) = (repository("contrib"), generated());
    if std::env::var("TWINWHITE_WRITE").is_ok_and(|value| value == "1") {
        for name in committed(&folder).keys().filter(|name| !wanted.contains_key(*name)) {
            fs::remove_file(folder.join(name)).unwrap();
        }
        for (name, text) in &wanted {
            let path = folder.join(name);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            fs::write(path, text).unwrap();
        }
    }
    let found = committed(&folder);
    let names = wanted.keys().chain(found.keys()).filter(|name| wanted.get(*name) != found.get(*name));
    let mut stale: Vec<&String> = names.collect();
    stale.sort();
    stale.dedup();
    assert!(
        stale.is_empty(),
        "contrib/ is not what the command line's definitions make: {stale:?}\nTWINWHITE_WRITE=1 cargo test --test suite contrib writes it"
    );
    assert!(found.len() > 20, "{}", found.len());
}

/// Whether a program is there, without a look at what it says.
fn is_there(program: &str) -> bool {
    Program::new(program).arg("--version").output().is_ok()
}

#[test]
fn shells_and_typesetters_find_nothing_wrong() {
    let folder = tempfile::tempdir().unwrap();
    for (name, text) in generated() {
        let path = folder.path().join(name.replace('/', "-"));
        fs::write(&path, text).unwrap();
        let path = path.to_str().unwrap();
        let checks: &[(&str, &[&str])] = match name.rsplit('.').next() {
            Some("bash") => &[("bash", &["-n"])],
            Some("fish") => &[("fish", &["--no-execute"])],
            Some("1") => &[("groff", &["-ww", "-man", "-Tutf8", "-Kutf8"]), ("mandoc", &["-Tlint", "-Werror"])],
            _ if name.ends_with("/_twinwhite") => &[("zsh", &["-n"])],
            _ => &[],
        };
        for (program, words) in checks {
            if !is_there(program) {
                println!("skipped: {name} by {program}, which is not there");
                continue;
            }
            let output = Program::new(program).args(*words).arg(path).output().unwrap();
            let said = String::from_utf8_lossy(&output.stderr);
            assert!(output.status.success() && said.is_empty(), "{program} of {name}: {said}");
        }
    }
}

#[test]
fn pages_hold_what_help_holds() {
    let files = generated();
    for (name, text) in files.iter().filter(|(name, _)| name.starts_with("man/")) {
        for title in ["NAME", "SYNOPSIS", "\"EXIT STATUS\"", "ENVIRONMENT", "FILES"] {
            assert!(text.contains(&format!(".SH {title}\n")), "{name} has no {title}");
        }
    }
    let status = &files["man/twinwhite-status.1"];
    assert!(status.contains("twinwhite status \\-\\-as\\-of 2026"), "{status}");
    assert!(files["man/twinwhite.1"].contains("twinwhite\\-init(1)"));
}
