//! The house's rules, held against the source text: what a module may know, in which order modules stand, what never stands
//! outside tests.

use std::fs;
use std::path::{Path, PathBuf};

use super::site::repository;

/// Modules that see no clock, disk, network or database.
const PURE: &[&str] = &[
    "units", "reading", "rules", "site", "zone", "color", "formats", "admit", "drift", "station", "life", "alert",
    "say", "outbox", "schedule", "calendar",
];
/// What gives such a module away.
const IMPURE: &[&str] = &[
    "tokio",
    "rusqlite",
    "notify",
    "std::fs",
    "std::net",
    "std::process",
    "std::env",
    "SystemTime",
    "Instant::",
    "Utc::now",
    "Local::now",
    "thread_local!",
    "static mut",
    "Mutex",
];
/// What ends the program on bad luck.
const ABRUPT: &[&str] = &[".unwrap()", ".expect(\"", "panic!(", "todo!(", "unimplemented!(", "unreachable!(", "dbg!("];
const LONGEST: usize = 500;

/// A file of src, without its tests and comments; each line keeps its number.
struct Source {
    name: String,
    module: String,
    lines: Vec<(usize, String)>,
    whole: String,
}

fn all_files(folder: &Path, to: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            all_files(&path, to);
        } else if path.extension().is_some_and(|end| end == "rs") {
            to.push(path);
        }
    }
    to.sort();
}

/// Names of modules that a text declares for tests alone, in files of their own.
fn test_files(text: &str) -> Vec<String> {
    let lines: Vec<&str> = text.lines().map(str::trim).collect();
    let declared = lines.windows(2).filter(|pair| pair[0] == "#[cfg(test)]").map(|pair| pair[1]);
    declared
        .filter_map(|line| line.trim_start_matches("pub ").trim_start_matches("pub(crate) ").strip_prefix("mod "))
        .filter_map(|rest| rest.strip_suffix(';').map(str::to_owned))
        .collect()
}

/// The lines of a text that are compiled for the program, less comments: without the module of tests that ends a file,
/// and without single items that are for tests alone.
fn without_tests(text: &str) -> Vec<(usize, String)> {
    let mut kept = Vec::new();
    let mut lines = text.lines().enumerate();
    while let Some((at, line)) = lines.next() {
        let Some(indent) = ["#[cfg(test)]", "#[cfg(all(test,"]
            .iter()
            .find_map(|cfg| line.find(cfg))
            .filter(|indent| line[..*indent].trim().is_empty())
        else {
            if !line.trim().starts_with("//") {
                kept.push((at + 1, line.trim().to_owned()));
            }
            continue;
        };
        // The item ends on its own line, or where its brace closes at its own depth.
        let end = format!("{}}}", " ".repeat(indent));
        for (_, line) in lines.by_ref() {
            let at_its_depth = line.get(indent..).is_some_and(|rest| !rest.starts_with(' '));
            if line.trim_end() == end || (at_its_depth && line.ends_with(';')) {
                break;
            }
        }
    }
    kept
}

fn sources() -> Vec<Source> {
    let root = repository("src");
    let mut paths = Vec::new();
    all_files(&root, &mut paths);
    let mut for_tests: Vec<PathBuf> = Vec::new();
    for path in &paths {
        let text = fs::read_to_string(path).unwrap();
        let stem = path.file_stem().unwrap().to_str().unwrap();
        let folder = if ["mod", "lib", "main"].contains(&stem) {
            path.parent().unwrap().to_owned()
        } else {
            path.with_extension("")
        };
        for name in test_files(&text) {
            for_tests.push(folder.join(format!("{name}.rs")));
            for_tests.push(folder.join(name).join("mod.rs"));
        }
    }
    let sources = paths.into_iter().filter(|path| !for_tests.contains(path)).map(|path| {
        let whole = fs::read_to_string(&path).unwrap();
        let name = path.strip_prefix(&root).unwrap().to_str().unwrap().replace('\\', "/");
        let module = name.split(['/', '.']).next().unwrap().to_owned();
        Source { name, module, lines: without_tests(&whole), whole }
    });
    sources.collect()
}

/// The top-level modules in the order of lib.rs.
fn order() -> Vec<String> {
    let text = fs::read_to_string(repository("src/lib.rs")).unwrap();
    let named = text.lines().filter_map(|line| line.strip_prefix("pub mod ")?.strip_suffix(';').map(str::to_owned));
    let order: Vec<String> = named.collect();
    assert!(order.len() > 20, "{order:?}");
    order
}

fn none(complaints: &[String]) {
    assert!(complaints.is_empty(), "{} complaints:\n{}", complaints.len(), complaints.join("\n"));
}

/// The top-level modules that a piece of code names: `crate::x` and `crate::{x, y::z}`.
fn named_modules(code: &str) -> Vec<String> {
    let mut named = Vec::new();
    for (at, _) in code.match_indices("crate::") {
        let rest = &code[at + "crate::".len()..];
        if let Some(list) = rest.strip_prefix('{') {
            let mut depth = 0;
            let mut name = String::new();
            let mut reading = true;
            for c in list.chars() {
                match c {
                    '{' => depth += 1,
                    '}' if depth == 0 => break,
                    '}' => depth -= 1,
                    ',' if depth == 0 => {
                        named.push(std::mem::take(&mut name));
                        reading = true;
                    }
                    c if depth == 0 && reading && (c.is_alphanumeric() || c == '_') => name.push(c),
                    c if depth == 0 && !c.is_whitespace() => reading = false,
                    _ => {}
                }
            }
            named.push(name);
        } else {
            named.push(rest.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect());
        }
    }
    named.retain(|name| !name.is_empty());
    named
}

#[test]
fn a_list_of_modules_is_read_right() {
    let code = "use crate::{units::{Days, Time}, zone}; let x = crate::say::day(1); use crate::color::Move;";
    assert_eq!(named_modules(code), ["units", "zone", "say", "color"]);
}

#[test]
fn pure_modules_know_no_world() {
    let mut complaints = Vec::new();
    for source in sources().iter().filter(|source| PURE.contains(&source.module.as_str())) {
        for (at, line) in &source.lines {
            for word in IMPURE.iter().filter(|word| line.contains(**word)) {
                complaints.push(format!("src/{}:{at} names {word}: {line}", source.name));
            }
        }
    }
    none(&complaints);
}

#[test]
fn a_module_uses_only_those_above_it() {
    let order = order();
    let place = |module: &str| order.iter().position(|name| name == module);
    let mut complaints = Vec::new();
    for source in sources() {
        let Some(own) = place(&source.module) else { continue };
        let code: String = source.lines.iter().map(|(_, line)| line.as_str()).collect::<Vec<_>>().join("\n");
        let mut named = named_modules(&code);
        named.sort();
        named.dedup();
        for module in named {
            if place(&module).is_some_and(|other| other > own) {
                complaints.push(format!("src/{} uses {module}, which stands below {}", source.name, source.module));
            }
        }
    }
    none(&complaints);
}

#[test]
fn every_module_is_in_the_order() {
    let order = order();
    let mut complaints = Vec::new();
    for source in sources() {
        if !order.contains(&source.module) && !["lib", "main"].contains(&source.module.as_str()) {
            complaints.push(format!("src/{} belongs to no module of lib.rs", source.name));
        }
    }
    none(&complaints);
}

#[test]
fn nothing_ends_abruptly_outside_tests() {
    let mut complaints = Vec::new();
    for source in sources() {
        for (at, line) in &source.lines {
            for word in ABRUPT.iter().filter(|word| line.contains(**word)) {
                complaints.push(format!("src/{}:{at} {word}: {line}", source.name));
            }
            if line.contains("unsafe ") {
                complaints.push(format!("src/{}:{at} unsafe: {line}", source.name));
            }
        }
    }
    none(&complaints);
}

#[test]
fn only_the_clock_asks_for_the_time() {
    let mut complaints = Vec::new();
    for source in sources().iter().filter(|source| source.module != "clock") {
        for (at, line) in &source.lines {
            for word in ["SystemTime::now", "Instant::now", "Utc::now", "Local::now"] {
                if line.contains(word) {
                    complaints.push(format!("src/{}:{at} {word}", source.name));
                }
            }
        }
    }
    none(&complaints);
}

#[test]
fn every_file_says_what_it_is_for() {
    let mut paths = Vec::new();
    for folder in ["src", "tests"] {
        all_files(&repository(folder), &mut paths);
    }
    let target = repository("tests/fuzz/target");
    let mut complaints = Vec::new();
    for path in paths.iter().filter(|path| !path.starts_with(&target)) {
        let text = fs::read_to_string(path).unwrap();
        if !text.starts_with("//! ") {
            complaints.push(format!("{} does not begin with what it is for", path.display()));
        }
    }
    none(&complaints);
}

#[test]
fn no_file_grows_out_of_hand() {
    // Long before the seam was found; none may be added.
    let known = ["inbox/scan.rs", "inbox/shelf.rs", "zone.rs"];
    let mut complaints = Vec::new();
    for source in sources() {
        let lines = source.whole.lines().count();
        if lines > LONGEST && !known.contains(&source.name.as_str()) {
            complaints.push(format!("src/{} has {lines} lines", source.name));
        }
    }
    none(&complaints);
}
