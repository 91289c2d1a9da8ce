//! Messages: written with the alert that causes them, given as JSON to a command, tried again until it takes them, whenever the
//! daemon is killed meanwhile.

use std::fs;
use std::os::unix::process::ExitStatusExt;
use std::time::Duration;

use serde_json::{Value, json};

use super::site::{LOFT, Site};

/// A site with a channel that runs `script`, whose first argument is a folder of its own.
fn site_with(script: &str) -> Site {
    let site = Site::bare();
    let tell = site.write("tell.sh", script);
    let folder = site.path("told");
    fs::create_dir_all(&folder).unwrap();
    let run = json!(["/bin/sh", tell, folder]);
    site.write("twinwhite.toml", format!("{LOFT}\n[[channel]]\nid = \"desk\"\nkind = \"command\"\nrun = {run}\n"));
    site
}

/// What was told, in the order of the alerts' steps.
fn told(site: &Site) -> Vec<Value> {
    let mut all: Vec<Value> = site
        .names("told")
        .iter()
        .filter(|name| name.ends_with(".json"))
        .map(|name| serde_json::from_str(&fs::read_to_string(site.path(&format!("told/{name}"))).unwrap()).unwrap())
        .collect();
    all.sort_by_key(|message| message["at"].as_str().unwrap().to_owned());
    all
}

/// How many messages went out, as the ledger has it.
fn sent(site: &Site) -> i64 {
    let sent = "SELECT count(*) FROM outbox WHERE state = 'sent' AND channel = 'desk'";
    site.ledger().query_row(sent, (), |row| row.get(0)).unwrap()
}

/// Writes what it is given to a file of its own, whole or not at all.
const WRITE: &str = "cat > \"$1/$$.part\" && mv \"$1/$$.part\" \"$1/$$.json\"\n";

#[test]
fn a_command_is_given_each_message_as_json() {
    let site = site_with(WRITE);
    let daemon = site.daemon();
    site.write("inbox/bad.csv", "time,device,lustre\n2025-01-06T12:00:00Z,loft-lamp,3\n");
    daemon.until("the first message", || told(&site).len() == 1);
    site.ok("--operator ines ack 1");
    // The end leaves within the next group, five minutes later.
    let waits = |site: &Site| {
        let messages = site.json("messages");
        messages["waiting"].as_array().unwrap().iter().map(|row| row["key"].clone()).collect::<Vec<_>>()
    };
    daemon.until("the end that waits", || waits(&site) == ["harbour-loft/1/cleared/desk"]);
    assert!(daemon.stop().success());
    let alert = &site.json("alerts")["alerts"][0];
    let told = told(&site);
    for group in &told {
        assert_eq!((&group["site"], &group["site_name"]), (&json!("harbour-loft"), &json!("Harbour loft")));
        assert!(group["key"].as_str().unwrap().starts_with("harbour-loft/desk/"), "{group}");
        assert_eq!(group["headline"], group["messages"][0]["headline"], "one message speaks for itself");
    }
    let [group] = &told[..] else { panic!("{told:?}") };
    let message = &group["messages"][0];
    assert_eq!(message["key"], "harbour-loft/1/raised");
    assert_eq!(message["site"], "harbour-loft");
    assert_eq!(message["alert"], 1);
    assert_eq!(message["kind"], "file-refused");
    assert_eq!(message["subject"], "bad.csv");
    assert_eq!(message["state"], "raised");
    assert_eq!((&message["at"], &message["since"]), (&alert["raised_at"], &alert["raised_at"]));
    assert!(message["at_local"].as_str().unwrap().len() > 15, "{message}");
    assert!(message["headline"].as_str().unwrap().contains("bad.csv"), "{message}");
    assert!(message["lines"].as_array().unwrap().iter().all(Value::is_string), "{message}");
    assert!(message["lines"].to_string().contains("lustre"), "{message}");
    site.audit();
}

#[test]
fn a_command_that_fails_is_tried_again() {
    let site = site_with(&format!("if [ ! -e \"$1/tried\" ]; then : > \"$1/tried\"; echo no >&2; exit 3; fi\n{WRITE}"));
    let daemon = site.daemon();
    site.write("inbox/bad.csv", "time,device,lustre\n2025-01-06T12:00:00Z,loft-lamp,3\n");
    daemon.wait_for(&["1 message not delivered through 'desk'", "no"]);
    daemon.until("the second try", || told(&site).len() == 1);
    daemon.until("the mark", || sent(&site) == 1);
    assert!(daemon.stop().success());
    let delivery: String = site
        .ledger()
        .query_row("SELECT body FROM entry WHERE kind = 'delivery' AND body LIKE '%/desk%'", (), |row| row.get(0))
        .unwrap();
    let delivery: Value = serde_json::from_str(&delivery).unwrap();
    assert_eq!((&delivery["attempts"], &delivery["outcome"]), (&json!(2), &json!("sent")));
    site.audit();
}

#[test]
fn a_message_is_written_with_the_alert_and_waits_for_a_daemon() {
    let site = site_with(WRITE);
    site.write("bad.csv", "time,device,lustre\n2025-01-06T12:00:00Z,loft-lamp,3\n");
    assert_eq!(site.run("ingest bad.csv").code, 1);
    let rows = |site: &Site| -> Vec<(String, String, String)> {
        let ledger = site.ledger();
        let mut rows = ledger.prepare("SELECT key, channel, state FROM outbox ORDER BY key").unwrap();
        let row = |row: &rusqlite::Row| Ok((row.get(0)?, row.get(1)?, row.get(2)?));
        rows.query_map((), row).unwrap().map(Result::unwrap).collect()
    };
    let of = |state: &str| {
        ["desk", "log"]
            .map(|channel| (format!("harbour-loft/1/raised/{channel}"), channel.to_owned(), state.to_owned()))
            .to_vec()
    };
    assert_eq!(rows(&site), of("due"));
    site.audit();
    let daemon = site.daemon();
    daemon.until("the message", || told(&site).len() == 1 && rows(&site) == of("sent"));
    assert!(daemon.stop().success());
    assert_eq!(told(&site).len(), 1, "told once");
}

/// Kills the daemon at the moment that a file names: before it has read anything, while it reads, when all is kept.
const KILL: &str = r#"cd "$1" || exit 9
strike() { if [ -e "$1" ]; then rm "$1"; kill -9 $PPID; exit 0; fi; }
strike before
dd bs=1 count=20 of=half 2>/dev/null
strike during
{ cat half; cat; } > $$.part && mv $$.part $$.json
strike after
"#;

/// A site whose daemon was killed by its own channel.
fn killed(moment: &str) -> Site {
    let site = site_with(KILL);
    site.write(&format!("told/{moment}"), "");
    let mut daemon = site.daemon();
    site.write("inbox/bad.csv", "time,device,lustre\n2025-01-06T12:00:00Z,loft-lamp,3\n");
    assert_eq!(daemon.ended().signal(), Some(9), "{moment}: {}", daemon.log());
    assert_eq!(sent(&site), 0, "{moment}");
    site
}

#[test]
fn killed_while_it_tells_it_loses_nothing_and_repeats_only_what_was_taken_already() {
    for (moment, times) in [("before", 1), ("during", 1), ("after", 2)] {
        let site = killed(moment);
        let daemon = site.daemon();
        daemon.until("the mark", || sent(&site) == 1);
        assert!(daemon.stop().success());
        let told = told(&site);
        assert_eq!(told.len(), times, "{moment}: {told:?}");
        assert!(told.iter().all(|group| *group == told[0]), "{moment}: the repeat bears the same keys: {told:?}");
        site.audit();
    }
}

#[test]
fn a_repeat_among_others_bears_its_key() {
    let site = killed("after");
    site.write("worse.csv", "time,device,gloss\n2025-01-06T12:00:00Z,loft-lamp,3\n");
    assert_eq!(site.run("ingest worse.csv").code, 1);
    let daemon = site.daemon();
    daemon.until("the mark", || sent(&site) == 2);
    assert!(daemon.stop().success());
    let mut keys: Vec<String> = Vec::new();
    for group in told(&site) {
        let messages = group["messages"].as_array().unwrap();
        keys.extend(messages.iter().map(|message| message["key"].as_str().unwrap().to_owned()));
    }
    keys.sort();
    assert_eq!(keys, ["harbour-loft/1/raised", "harbour-loft/1/raised", "harbour-loft/2/raised"]);
    site.audit();
}

#[test]
fn killed_at_any_moment_after_it_told_it_tells_no_more_than_twice() {
    for wait in 0..12 {
        let site = site_with(WRITE);
        let daemon = site.daemon();
        site.write("inbox/bad.csv", "time,device,lustre\n2025-01-06T12:00:00Z,loft-lamp,3\n");
        while told(&site).is_empty() {
            std::thread::yield_now();
        }
        // Not to wait for anything: each time it is killed elsewhere on the way to the commit.
        std::thread::sleep(Duration::from_millis(wait));
        daemon.kill();
        let committed = sent(&site) == 1;
        let daemon = site.daemon();
        daemon.until("the mark", || sent(&site) == 1);
        assert!(daemon.stop().success());
        let told = told(&site);
        assert_eq!(told.len(), if committed { 1 } else { 2 }, "after {wait} ms: {told:?}");
        assert!(told.iter().all(|group| *group == told[0]), "after {wait} ms: {told:?}");
        site.audit();
    }
}
