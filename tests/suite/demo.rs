//! The demo as a new user runs it: the real program in an empty environment, and then every query on what it left.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};
use std::time::Instant;

use serde_json::Value;

/// The program with nothing of this machine around it.
fn twinwhite(folder: &Path) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_twinwhite"));
    command.env_clear().current_dir(folder);
    command
}

fn text(output: &Output) -> String {
    let error = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{}: {error}", output.status);
    assert!(error.is_empty(), "{error}");
    String::from_utf8(output.stdout.clone()).unwrap()
}

fn json(folder: &Path, arguments: &[&str]) -> Value {
    let output = twinwhite(folder).args(arguments).arg("--json").output().unwrap();
    serde_json::from_str(&text(&output)).unwrap()
}

fn words<'a>(list: &'a Value, key: &str) -> Vec<&'a str> {
    list.as_array().unwrap().iter().map(|item| item[key].as_str().unwrap()).collect()
}

#[test]
#[allow(clippy::disallowed_methods, reason = "the wall time is told, not tested")]
fn two_years_pass_and_leave_a_folder_that_answers() {
    let room = tempfile::tempdir().unwrap();
    let folder = room.path().join("a room");
    let begun = Instant::now();
    let told = text(&twinwhite(room.path()).args(["demo", "--dir", "a room"]).output().unwrap());
    println!("the demo took {:.1} s", begun.elapsed().as_secs_f64());

    // Every kind that the world raises, and most of it over again.
    let alerts = json(&folder, &["alerts"]);
    let kinds = words(&alerts["alerts"], "kind");
    for kind in ["match-out", "match-at-risk", "reading-overdue", "step-change", "file-refused", "off-aim"] {
        assert!(kinds.contains(&kind), "no {kind} in {kinds:?}");
    }
    // Nobody is told each week of what is done anyway.
    let tasks = kinds.iter().filter(|kind| **kind == "task-due").count();
    assert!(tasks <= 20 && kinds.len() <= 35, "{tasks} of {} alerts are of what is due", kinds.len());
    let states = words(&alerts["alerts"], "state");
    assert!(states.contains(&"cleared") && states.contains(&"raised"), "{states:?}");
    let seen = alerts["alerts"].as_array().unwrap().iter().filter(|alert| !alert["acknowledged_at"].is_null()).count();
    assert_eq!(seen, 1, "{alerts}");
    for alert in alerts["alerts"].as_array().unwrap() {
        let line = format!("alert {}", alert["id"]);
        let times = told.lines().filter(|told| told.contains(&format!("{line:<8}  "))).count();
        assert!(times >= 1, "{line} was not told");
    }

    // The bad file lies beside its reason; put right, it was taken.
    let quarantine: Vec<_> = fs::read_dir(folder.join("quarantine")).unwrap().map(|e| e.unwrap().path()).collect();
    assert_eq!(quarantine.len(), 2, "{quarantine:?}");
    let reason = quarantine.iter().find(|path| path.to_string_lossy().ends_with(".reason.txt")).unwrap();
    assert!(fs::read_to_string(reason).unwrap().contains("'illuminance_lx'"));
    let bad = quarantine.iter().find(|path| *path != reason).unwrap().file_name().unwrap().to_owned();
    let refused = alerts["alerts"].as_array().unwrap().iter().find(|alert| alert["kind"] == "file-refused").unwrap();
    assert_eq!(refused["subject"].as_str(), bad.to_str());
    assert_eq!(refused["state"], "cleared");
    for device in ["", "bay-screen", "bay-lamp", "booth-screen", "booth-lamp"] {
        let left =
            fs::read_dir(folder.join("inbox").join(device)).unwrap().filter(|e| e.as_ref().unwrap().path().is_file());
        assert_eq!(left.count(), 0, "inbox/{device}");
    }

    // One station to be content with, one to look at.
    let status = json(&folder, &["status"]);
    assert_eq!(words(&status["stations"], "station"), ["bay", "booth"]);
    assert_eq!(words(&status["stations"], "verdict"), ["matched", "at-risk"]);

    // The last line, as a shell is given it.
    let last = told.lines().last().unwrap();
    assert!(last.ends_with(" status"), "{last}");
    let again = Command::new("/bin/sh").arg("-c").arg(last).env_clear().current_dir("/").output().unwrap();
    let again = text(&again);
    assert!(again.starts_with("bay: matched, since ") && again.contains("\nbooth: at risk, since "), "{again}");

    // Every query.
    let verified = json(&folder, &["audit", "verify"]);
    assert_eq!((&verified["ok"], &verified["first_bad"]), (&Value::Bool(true), &Value::Null), "{verified}");
    let root = verified["root"].clone();
    assert!(text(&twinwhite(&folder).arg("rebuild").output().unwrap()).starts_with("Made anew from "));
    let verified = json(&folder, &["audit", "verify"]);
    assert_eq!((&verified["ok"], &verified["root"]), (&Value::Bool(true), &root), "{verified}");
    assert_eq!(json(&folder, &["check"])["ok"], true);
    for device in ["bay-screen", "bay-lamp", "booth-screen", "booth-lamp"] {
        let history = json(&folder, &["history", device]);
        let readings = history["readings"].as_array().unwrap();
        assert!(readings.len() > 50, "{device}: {}", readings.len());
        assert!(!history["events"].as_array().unwrap().is_empty(), "{device}");
        let used = readings.iter().filter(|reading| reading["used"] == true).count();
        assert!(used * 10 > readings.len() * 9, "{device}: {used} of {} used", readings.len());
        assert!(text(&twinwhite(&folder).args(["history", device]).output().unwrap()).contains("| event"));
    }
    for (station, verdict) in [("bay", "matched"), ("booth", "at-risk")] {
        let forecast = json(&folder, &["forecast", station]);
        assert_eq!(forecast["verdict"], verdict);
        assert_eq!(forecast["horizons"].as_array().unwrap().len(), 3);
    }
    text(&twinwhite(&folder).args(["due", "--ics", "due.ics"]).output().unwrap());
    let feed = fs::read_to_string(folder.join("due.ics")).unwrap();
    assert!(feed.matches("BEGIN:VEVENT").count() >= 1, "{feed}");
    let exit = twinwhite(&folder).args(["status", "--exit-code"]).output().unwrap();
    assert_eq!(exit.status.code(), Some(10));
}

#[test]
fn a_folder_in_use_is_left_alone() {
    let room = tempfile::tempdir().unwrap();
    fs::write(room.path().join("print.tif"), "mine").unwrap();
    let output = twinwhite(room.path()).args(["demo", "--dir", "."]).output().unwrap();
    assert_eq!(output.status.code(), Some(1));
    let error = String::from_utf8(output.stderr).unwrap();
    assert!(error.contains("is not empty; name a folder that does not exist yet"), "{error}");
    assert_eq!(fs::read_dir(room.path()).unwrap().count(), 1);
}
