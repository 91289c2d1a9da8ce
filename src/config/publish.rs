//! What is written for others to read: `[calendar]`, `[heartbeat]`, `[metrics]`. All of it optional.

use std::path::{Path, PathBuf};
use std::time::Duration;

use super::Paths;
use super::channels::{WebAddress, web_address};
use super::settings::plain;
use super::walk::{Entry, Table};

/// What the program keeps for itself in the state folder.
const OWN_FILES: [&str; 5] = ["ledger.db", "run.lock", "write.lock", "backup.lock", "heartbeat.json"];

/// Files for others, and whom to tell of each beat.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Publish {
    /// What is due, as a calendar.
    pub calendar: PathBuf,
    /// The metrics.
    pub metrics: PathBuf,
    /// An address that is asked for after a beat.
    pub url: Option<WebAddress>,
    /// How often at most; no more often than there are beats.
    pub every: Duration,
}

/// The three tables; `paths` are the site's, from which the usual places come and which the files must not disturb.
pub(super) fn publish(root: &Table<'_>, base: &Path, paths: Option<&Paths>) -> Option<Publish> {
    let calendar = file(root, "calendar", base, paths);
    let metrics = file(root, "metrics", base, paths);
    if let (Some((path, _)), Some((other, Some(entry)))) = (&calendar, &metrics)
        && path == other
    {
        entry.note("the file of the calendar", "a file of its own", Some("for example \"twinwhite.prom\"".to_owned()));
    }
    let (url, every) = heartbeat(root, base);
    Some(Publish { calendar: calendar?.0, metrics: metrics?.0, url, every })
}

/// The file of a table, and where it is written, if it is.
fn file<'a>(root: &Table<'a>, name: &str, base: &Path, paths: Option<&Paths>) -> Option<(PathBuf, Option<Entry<'a>>)> {
    let table = root.section(name);
    if let Some(table) = &table {
        table.only(&["file"]);
    }
    let (usual, example) = match name {
        "calendar" => ("twinwhite.ics", "a file, like \"twinwhite.ics\""),
        _ => ("twinwhite.prom", "a file, like \"twinwhite.prom\""),
    };
    let Some(entry) = table.and_then(|table| table.get("file")) else {
        return paths.map(|paths| (paths.state.join(usual), None));
    };
    let path = path(&entry, example, base)?;
    let taken = |folder: &PathBuf| path.starts_with(folder);
    if paths.is_some_and(|paths| [&paths.inbox, &paths.archive, &paths.quarantine].into_iter().any(taken)) {
        let hint = Some(format!("without [{name}] it is {usual} in the state folder"));
        entry.note("a file where readings lie", "a file outside of inbox, archive and quarantine", hint);
        return None;
    }
    let own = |paths: &Paths| OWN_FILES.map(|own| paths.state.join(own)).contains(&path);
    if paths.is_some_and(own) {
        entry.note(
            "a file that twinwhite keeps for itself",
            "a file of its own",
            Some(format!("for example \"{usual}\"")),
        );
        return None;
    }
    Some((path, Some(entry)))
}

fn path(entry: &Entry<'_>, expected: &str, base: &Path) -> Option<PathBuf> {
    let text = entry.text(expected)?;
    if text.starts_with('~') {
        let hint = "~ is not understood here; write the whole path, or one relative to this file";
        entry.mistake(expected, Some(hint.to_owned()));
        return None;
    }
    Some(plain(&base.join(text)))
}

/// An address and how often it is asked for.
fn heartbeat(root: &Table<'_>, base: &Path) -> (Option<WebAddress>, Duration) {
    const USUAL: Duration = Duration::from_secs(60);
    let Some(table) = root.section("heartbeat") else { return (None, USUAL) };
    table.only(&["url", "url_file", "url_env", "every_s"]);
    let url = web_address(&table, base);
    let expected = "a number of seconds from 60 to 86400: there is a beat a minute";
    let every = table.get("every_s").and_then(|entry| entry.number(expected, |s| (60.0..=86_400.0).contains(&s)));
    (url, every.and_then(|s| Duration::try_from_secs_f64(s).ok()).unwrap_or(USUAL))
}
