//! What is due as a calendar, read by Python's icalendar: the command, a move, a cancellation, and the file that the daemon keeps.

use std::fs;
use std::path::Path;
use std::time::Duration;

use serde_json::Value;

use super::clock::Watch;
use super::site::{LOFT, Site, quiet_weeks, repository};
use super::tools::{python, said_by};

fn loft_with(reminder: &str) -> String {
    format!("{LOFT}\n[[reminder]]\ntask = \"clean\"\ndevice = \"loft-lamp\"\ncron = \"{reminder}\"\n")
}

#[test]
fn a_folder_that_is_not_there_is_not_made() {
    let site = Site::loft();
    let said = site.run("due --ics away/due.ics");
    assert_eq!(said.code, 1);
    assert!(said.err.contains("there is no folder away"), "{}", said.err);
    assert!(!site.path("away").exists());
}

/// What the outside reads in a file; it must find nothing to complain of.
fn feed(python: &str, file: &Path) -> Value {
    let read = said_by(python, &repository("tests/fixtures/outside/read_feed.py"), &fs::read_to_string(file).unwrap());
    let feed: Value = serde_json::from_str(&read).unwrap();
    assert_eq!((&feed["version"], &feed["method"]), (&"2.0".into(), &"PUBLISH".into()));
    assert_eq!(feed["errors"], Value::Array(Vec::new()));
    for entry in feed["entries"].as_array().unwrap() {
        assert_eq!(entry["errors"], Value::Array(Vec::new()), "{entry}");
        assert_eq!(entry["busy"], false, "{entry}");
    }
    feed
}

fn cleaning(feed: &Value) -> &Value {
    let entries = feed["entries"].as_array().unwrap();
    entries.iter().find(|entry| entry["summary"].as_str().unwrap().ends_with("lean loft-lamp")).unwrap()
}

#[test]
fn a_subscriber_s_program_sees_an_entry_its_move_and_its_end() {
    let Some(python) = python(&["icalendar"]) else { return };
    let site = Site::new(&loft_with("0 9 * * Mon"));
    site.ingest("weeks.csv", &quiet_weeks(4));
    let file = site.path("due.ics");
    // Thursday, 30 January 2025.
    let ask = |at: &str| site.ok(&format!("due --within 60 --ics due.ics --as-of {at}"));

    let said = ask("2025-01-30T12:00:00Z");
    assert!(said.lines().last().unwrap().starts_with("due.ics: ") && said.contains(" new."), "{said}");
    let first = feed(python, &file);
    assert_eq!(first["name"], "Harbour loft: due");
    let entry = cleaning(&first);
    assert_eq!((&entry["status"], &entry["sequence"]), (&"CONFIRMED".into(), &0.into()), "{entry}");
    assert_eq!((&entry["first"], &entry["end"]), (&"2025-02-03".into(), &"2025-02-04".into()), "a whole day");
    let alarm = &entry["alarms"][0];
    assert_eq!((&alarm["action"], &alarm["at"]), (&"DISPLAY".into(), &"2025-02-03T09:00:00+00:00".into()));
    assert!(!entry["description"].as_str().unwrap().is_empty());

    ask("2025-01-30T15:00:00Z");
    assert_eq!(cleaning(&feed(python, &file)), entry, "what did not move is as it was");

    site.write("twinwhite.toml", loft_with("0 9 * * Wed"));
    let said = ask("2025-01-30T16:00:00Z");
    assert!(said.lines().last().unwrap().contains(", 1 moved"), "{said}");
    let moved = feed(python, &file);
    let after = cleaning(&moved);
    assert_eq!(after["uid"], entry["uid"]);
    assert_eq!((&after["first"], &after["sequence"]), (&"2025-02-05".into(), &1.into()), "{after}");
    assert!(after["stamp"].as_str() > entry["stamp"].as_str());

    site.write("twinwhite.toml", LOFT);
    ask("2025-01-30T17:00:00Z");
    let gone = feed(python, &file);
    let gone = cleaning(&gone);
    assert_eq!(gone["uid"], entry["uid"]);
    assert_eq!((&gone["status"], &gone["sequence"]), (&"CANCELLED".into(), &2.into()), "{gone}");
    assert_eq!(gone["alarms"], Value::Array(Vec::new()), "it does not ring");
}

#[test]
fn somebody_s_own_file_is_left_alone() {
    let site = Site::new(&loft_with("0 9 * * Mon"));
    let own = "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//somebody//own//EN\r\nEND:VCALENDAR\r\n";
    site.write("own.ics", own);
    let said = site.run("due --ics own.ics");
    assert_eq!(said.code, 1);
    assert!(said.err.contains("own.ics is left alone: it is a calendar that another program wrote"), "{}", said.err);
    assert_eq!(fs::read_to_string(site.path("own.ics")).unwrap(), own);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_daemon_keeps_a_file_up_to_date() {
    let Some(python) = python(&["icalendar"]) else { return };
    let reminder = "\n[[reminder]]\ntask = \"sweep the booth\"\ncron = \"0 9 * * Fri\"\n";
    let mut watch = Watch::start_with("2026-03-02T10:00:00Z", reminder);
    watch.settle().await;
    watch.settle().await;
    let file = watch.folder.path().join("state/twinwhite.ics");
    let firsts = |feed: &Value| -> Vec<String> {
        let sweeps = feed["entries"].as_array().unwrap().iter().filter(|entry| {
            entry["summary"].as_str().unwrap().ends_with("weep the booth") && entry["status"] == "CONFIRMED"
        });
        sweeps.map(|entry| entry["first"].as_str().unwrap().to_owned()).collect()
    };
    assert_eq!(firsts(&feed(python, &file)), ["2026-03-06"]);

    // Friday passes and nobody says that it was done: it stays, overdue, beside the next one.
    watch.clock.advance(Duration::from_secs(5 * 86_400));
    for _ in 0..3 {
        watch.settle().await;
    }
    let mut both = firsts(&feed(python, &file));
    both.sort();
    assert_eq!(both, ["2026-03-06", "2026-03-13"]);
    watch.stop().await;
}
