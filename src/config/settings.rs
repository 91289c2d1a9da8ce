//! The tables of the file that are about the program: site, paths, inbox, reminders, sold tables; and the file as a
//! whole.
//!
//! Not here: the things of the site (`things`), the ways out for messages (`channels`).

use std::path::{Component, Path, PathBuf};
use std::time::Duration;

use chrono_tz::{TZ_VARIANTS, Tz};

use super::checks::Declared;
use super::files::Files;
use super::walk::{Entry, Notes, Table};
use super::words::nearest;
use super::{InboxSettings, LATER, Paths, Site, TABLES, Tables};
use crate::color::rendering::SimulatorTables;
use crate::ledger::entry::NamedText;
use crate::reading::ThingKind;
use crate::schedule::cron::CronLine;
use crate::schedule::{Reminder, Task};
use crate::site::Costs;
use crate::units::{DeviceId, SiteId};

/// What every id must look like.
pub(super) const ID: &str = "an id: 1 to 64 letters, digits, '-', '_' or '.', beginning with a letter or digit";

/// Notes the place where reading the file as TOML broke off, in people's words.
pub(super) fn note_syntax(notes: &Notes<'_>, text: &str, error: &toml::de::Error) {
    let at = error.span().unwrap_or(0..0);
    let message = error.message();
    let (said, expected) = message.split_once(", expected ").unwrap_or((message, "valid TOML"));
    let here = text.get(at.clone()).unwrap_or_default();
    let (found, expected, hint) = match said {
        "duplicate key" => {
            let found = format!("{here}, which was written before");
            (found, "each key once in its table", Some("for one more of a kind use double brackets, like [[lamp]]"))
        }
        "string values must be quoted" if here.is_empty() => ("no value".to_owned(), "a value after the =", None),
        "string values must be quoted" => {
            let hint = "texts stand in straight quotation marks: \"D50\"; a number with a point, not a comma";
            (here.to_owned(), "a text in quotation marks, a number, or true or false", Some(hint))
        }
        "invalid basic string" | "invalid literal string" => {
            let hint =
                "a text ends on the line it begins on; backslashes are kept only between single marks: 'C:\\prints'";
            ("a text that is not closed or holds a backslash".to_owned(), "a closing quotation mark", Some(hint))
        }
        "key with no value" => ("a key without a value".to_owned(), "key = value", None),
        "unclosed table" => ("a table name that is not closed".to_owned(), "a closing bracket ]", None),
        "missing comma between array elements" => (
            "a list that is not closed, or lacks a comma".to_owned(),
            "a comma between values and a ] at the end",
            None,
        ),
        "unclosed array" => ("a list that is not closed".to_owned(), "a closing bracket ]", None),
        "unclosed inline table" => ("a table that is not closed".to_owned(), "a closing brace }", None),
        "unexpected key or value" => {
            let hint = "a number is written with a point, not a comma; a comment begins with #";
            ("more on the line than a key and its value".to_owned(), "the end of the line", Some(hint))
        }
        _ => (said.to_owned(), expected, None),
    };
    let found: String = found.chars().take(120).collect();
    let reads_on = "the rest of the file is read once this is right";
    let hint = hint.map_or(reads_on.to_owned(), |hint| format!("{hint}; {reads_on}"));
    notes.note(at, String::new(), found, expected, Some(hint));
}

/// Notes tables that no version knows, and those that only later ones do.
pub(super) fn note_unknown_tables(root: &Table<'_>) {
    for (key, _) in root.keys().filter(|(key, _)| LATER.contains(key)) {
        let Some(entry) = root.get(key) else { continue };
        let name = if entry.is_list() { format!("[[{key}]]") } else { format!("[{key}]") };
        let hint = "take it out for now; the name is kept for a later version".to_owned();
        entry.note(name.clone(), &format!("nothing: {name} is not in this version"), Some(hint));
    }
    root.only_beside(&TABLES, &LATER);
}

/// `[site]`.
pub(super) fn site(root: &Table<'_>) -> Option<Site> {
    let site = root.need_section("site", "[site] with name and timezone")?;
    site.only(&["id", "name", "timezone"]);
    let name = site.need("name", "a name for people, like \"Quillmoor print room\"");
    let name = name.and_then(|entry| entry.text("a name for people").map(|text| (entry, text.trim().to_owned())));
    let id = match (site.get("id"), &name) {
        (Some(entry), _) => entry.text(ID).and_then(|text| {
            let id = SiteId::new(text).ok();
            if id.is_none() {
                entry.mistake(ID, id_from(text).map(|near| format!("for example \"{near}\"")));
            }
            id
        }),
        (None, Some((entry, name))) => {
            let id = id_from(name).and_then(|made| SiteId::new(&made).ok());
            if id.is_none() {
                let hint = "add id = \"…\" to [site]: it is made from the name only where that has letters of ASCII";
                entry.mistake("a name from which an id can be made, or an id", Some(hint.to_owned()));
            }
            id
        }
        (None, None) => None,
    };
    let expected = "a time zone by its name in the IANA database, like \"Europe/Lisbon\"";
    let zone = site.need("timezone", expected).and_then(|entry| {
        let text = entry.text(expected)?;
        let zone = text.parse::<Tz>().ok();
        if zone.is_none() {
            entry.mistake(expected, zone_near(text).map(|near| format!("did you mean \"{near}\"?")));
        }
        zone
    });
    Some(Site { id: id?, name: name?.1, zone: zone? })
}

fn zone_near(text: &str) -> Option<&'static str> {
    let wanted = text.trim().to_lowercase().replace(' ', "_");
    let names = || TZ_VARIANTS.iter().map(|zone| zone.name());
    let city = |name: &&str| name.rsplit('/').next().is_some_and(|city| city.to_lowercase() == wanted);
    names().find(city).or_else(|| nearest(text, names()))
}

/// An id made from a name: lower case, ASCII, hyphens between words. `None` if nothing of the name is left.
pub fn id_from(name: &str) -> Option<String> {
    let mut id = String::new();
    for c in name.to_lowercase().chars() {
        match c {
            'a'..='z' | '0'..='9' => id.push(c),
            'à'..='å' => id.push('a'),
            'ç' => id.push('c'),
            'è'..='ë' => id.push('e'),
            'ì'..='ï' => id.push('i'),
            'ñ' => id.push('n'),
            'ò'..='ö' | 'ø' => id.push('o'),
            'ù'..='ü' => id.push('u'),
            'ý' | 'ÿ' => id.push('y'),
            'æ' => id.push_str("ae"),
            'œ' => id.push_str("oe"),
            'ß' => id.push_str("ss"),
            '\'' | '’' => {}
            _ if id.is_empty() || id.ends_with('-') => {}
            _ => id.push('-'),
        }
    }
    id.truncate(64);
    let id = id.trim_end_matches('-');
    (!id.is_empty()).then(|| id.to_owned())
}

/// `[paths]`.
pub(super) fn paths(root: &Table<'_>, base: &Path) -> Option<Paths> {
    let paths = root.need_section("paths", "[paths] with inbox and state")?;
    let names = ["inbox", "archive", "quarantine", "state"];
    paths.only(&names);
    let folder = |name: &str| place(&paths.get(name)?, "a folder, like \"inbox\"", base);
    for needed in ["inbox", "state"] {
        paths.need(needed, "a folder, relative to this file or whole");
    }
    let inbox = folder("inbox");
    let beside = |name: &str| {
        if paths.get(name).is_some() { folder(name) } else { inbox.as_deref().map(|inbox| sibling(inbox, name)) }
    };
    let (archive, quarantine, state) = (beside("archive"), beside("quarantine"), folder("state"));
    let all = [("inbox", &inbox), ("archive", &archive), ("quarantine", &quarantine), ("state", &state)];
    for (nth, (name, folder)) in all.iter().enumerate() {
        // A folder that is not named lies beside the inbox: then the inbox's own name clashes.
        let entry = paths.get(name).or_else(|| paths.get("inbox"));
        let (Some(folder), Some(entry)) = (folder, entry) else { continue };
        let clash = all.iter().take(nth).find_map(|(other, path)| {
            let path = path.as_ref()?;
            if folder == path {
                Some(format!("the same folder as {other}"))
            } else if *other == "inbox" && folder.starts_with(path) {
                Some("a folder inside the inbox".to_owned())
            } else {
                None
            }
        });
        let Some(clash) = clash else { continue };
        let (found, hint) = match paths.get(name) {
            Some(_) => (clash, format!("for example \"{name}\"")),
            None => (
                format!("where {name} lies if nothing else is said: {clash}"),
                format!("name this folder otherwise, or say where {name} is"),
            ),
        };
        entry.note(found, "a folder of its own, outside the inbox", Some(hint));
    }
    Some(Paths { inbox: inbox?, archive: archive?, quarantine: quarantine?, state: state? })
}

/// The file or folder that an entry names; a relative one counts from `base`.
pub(super) fn place(entry: &Entry<'_>, expected: &str, base: &Path) -> Option<PathBuf> {
    let text = entry.text(expected)?;
    if text.starts_with('~') {
        let hint = "~ is not understood here; write the whole path, or one relative to this file";
        entry.mistake(expected, Some(hint.to_owned()));
        return None;
    }
    Some(plain(&base.join(text)))
}

fn sibling(folder: &Path, name: &str) -> PathBuf {
    folder.parent().map_or_else(|| PathBuf::from(name), |parent| parent.join(name))
}

/// The path without `.` and, where that can be told from the path alone, without `..`.
pub(super) fn plain(path: &Path) -> PathBuf {
    let mut plain = PathBuf::new();
    for part in path.components() {
        match part {
            Component::CurDir => {}
            Component::ParentDir if matches!(plain.components().next_back(), Some(Component::Normal(_))) => {
                plain.pop();
            }
            other => plain.push(other),
        }
    }
    plain
}

/// `[inbox]`, all of it optional.
pub(super) fn inbox(root: &Table<'_>) -> InboxSettings {
    let mut settings = InboxSettings::default();
    let Some(inbox) = root.section("inbox") else { return settings };
    inbox.only(&["settle_s", "rescan_s", "max_bytes"]);
    let seconds = |key: &str, low: f64, high: f64| {
        let expected = format!("a number of seconds from {low} to {high}");
        let number = inbox.get(key)?.number(&expected, |s| (low..=high).contains(&s))?;
        Duration::try_from_secs_f64(number).ok()
    };
    if let Some(settle) = seconds("settle_s", 0.1, 3600.0) {
        settings.settle = settle;
    }
    if let Some(rescan) = seconds("rescan_s", 1.0, 86_400.0) {
        settings.rescan = rescan;
    }
    let expected = "a whole number of bytes from 1024 to 1073741824 (1 GiB)";
    if let Some(bytes) = inbox.get("max_bytes").and_then(|entry| entry.whole(expected, 1024..(1 << 30) + 1)) {
        settings.max_bytes = bytes;
    }
    settings
}

/// `[costs]`, all of it optional.
pub(super) fn costs(root: &Table<'_>) -> Costs {
    let mut costs = Costs::default();
    let Some(table) = root.section("costs") else { return costs };
    let Costs { read_display, read_lamp, read_paper, recalibrate, turn_lamp, clean_lamp, replace_lamp } = &mut costs;
    let known = [
        ("read_display", read_display),
        ("read_lamp", read_lamp),
        ("read_paper", read_paper),
        ("recalibrate", recalibrate),
        ("turn_lamp", turn_lamp),
        ("clean_lamp", clean_lamp),
        ("replace_lamp", replace_lamp),
    ];
    table.only(&known.each_ref().map(|(key, _)| *key));
    for (key, cost) in known {
        let expected = "a number above 0, up to 1000000: what it costs, in one unit for all";
        let given = table.get(key).and_then(|entry| entry.number(expected, |cost| cost > 0.0 && cost <= 1e6));
        if let Some(given) = given {
            *cost = given;
        }
    }
    costs
}

/// Every `[[reminder]]`.
pub(super) fn reminders(root: &Table<'_>, declared: &Declared) -> Vec<Reminder> {
    root.sections("reminder").iter().filter_map(|table| reminder(table, declared)).collect()
}

fn reminder(table: &Table<'_>, declared: &Declared) -> Option<Reminder> {
    table.only(&["task", "device", "cron"]);
    let expected = "\"read\", \"recalibrate\", \"clean\", \"certificate\" or a task in your own words";
    let task = table.need("task", expected).and_then(|entry| entry.text(expected)).map(|text| match text.trim() {
        "read" => Task::Read,
        "recalibrate" => Task::Recalibrate,
        "clean" => Task::Clean,
        "certificate" => Task::Certificate,
        words => Task::Other(words.to_owned()),
    });
    let fitting: &[ThingKind] = match task {
        Some(Task::Read) => &[ThingKind::Display, ThingKind::Lamp, ThingKind::Paper],
        Some(Task::Recalibrate) => &[ThingKind::Display, ThingKind::Lamp, ThingKind::Instrument],
        Some(Task::Certificate) => &[ThingKind::Instrument],
        _ => &[ThingKind::Display, ThingKind::Lamp, ThingKind::Paper, ThingKind::Instrument],
    };
    let device = match (&task, table.get("device")) {
        (_, Some(entry)) => declared.refer(&entry, fitting),
        (Some(Task::Other(_)) | None, None) => None,
        (Some(task), None) => {
            let expected = format!("what to {}: {}", verb(task), Declared::expected(fitting));
            table.missing("device", &expected, None);
            None
        }
    };
    let expected = "five fields as in crontab, like \"0 9 * * Mon\" for Mondays at 9:00";
    let cron = table.need("cron", expected).and_then(|entry| {
        let text = entry.text(expected)?;
        CronLine::parse(text).map_err(|bad| entry.note(bad.found, &bad.expected, bad.hint)).ok()
    });
    Some(Reminder { task: task?, device: device.and_then(|id| DeviceId::new(id).ok()), cron: cron? })
}

fn verb(task: &Task) -> &str {
    match task {
        Task::Certificate => "have certified",
        other => other.words(),
    }
}

/// `[tables]`: tables of standards that are sold, from files the user owns.
pub(super) fn tables(root: &Table<'_>, files: &Files<'_>) -> Tables {
    let Some(tables) = root.section("tables") else { return Tables::default() };
    tables.only(&["iso_23603"]);
    let iso_23603 = tables.get("iso_23603").and_then(|entry| {
        let expected = "a file with the tables of ISO 23603";
        let text = files.content(&entry, expected)?;
        let name = entry.as_text()?;
        if let Err(bad) = SimulatorTables::parse(text) {
            entry.note(format!("{name}: {bad}"), expected, None);
            return None;
        }
        Some(NamedText { name: name.to_owned(), text: text.to_owned() })
    });
    Tables { iso_23603 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_are_made_from_names() {
        for (name, id) in [
            ("Quillmoor print room", Some("quillmoor-print-room")),
            ("  Ines' Loft, 2nd floor ", Some("ines-loft-2nd-floor")),
            ("Prägewerk Übersee", Some("pragewerk-ubersee")),
            ("印刷室", None),
            ("--", None),
        ] {
            assert_eq!(id_from(name).as_deref(), id, "{name}");
        }
        assert_eq!(id_from(&"long name ".repeat(20)).map(|id| id.len()), Some(64));
        assert!(SiteId::new(&id_from(&"a ".repeat(64)).unwrap()).is_ok());
    }

    #[test]
    fn paths_are_joined_and_made_plain() {
        for (path, shown) in [("site/./in", "site/in"), ("site/../in", "in"), ("../in", "../in"), ("/a/../b", "/b")] {
            assert_eq!(plain(Path::new(path)), Path::new(shown), "{path}");
        }
    }
}
