//! The published schemas: they are what the structs of the answers make, every command that takes `--json` has one, and what
//! the program really answers is as they say. A validator from outside judges.

use std::collections::BTreeMap;
use std::fs;

use clap::{Command, CommandFactory};
use serde_json::{Value, json};
use twinwhite::cli::Arguments;
use twinwhite::cli::schema::schemas;

use super::site::{Site, day, lamp, quiet_weeks, repository};
use super::tools::{python, said_by};

/// Text of each schema by the command it is for.
fn published() -> BTreeMap<&'static str, (String, String)> {
    let text = |schema: &schemars::Schema| serde_json::to_string_pretty(schema).unwrap() + "\n";
    schemas().into_iter().map(|one| (one.command, (one.file_name(), text(&one.schema)))).collect()
}

#[test]
fn the_committed_schemas_are_those_of_the_answers() {
    let folder = repository("contrib/schema");
    let mut committed: BTreeMap<String, String> = BTreeMap::new();
    let write = std::env::var("TWINWHITE_WRITE").is_ok();
    if write {
        fs::create_dir_all(&folder).unwrap();
    }
    for (name, text) in published().into_values() {
        if write {
            fs::write(folder.join(&name), &text).unwrap();
        }
        let kept = fs::read_to_string(folder.join(&name)).unwrap_or_default();
        assert!(kept == text, "contrib/schema/{name} is out of date: run the tests once with TWINWHITE_WRITE=1");
        committed.insert(name, text);
    }
    let files: Vec<String> =
        fs::read_dir(&folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    assert!(files.iter().all(|name| committed.contains_key(name)), "a file too many in contrib/schema: {files:?}");
}

/// Commands that take `--json`, as they are typed.
fn takers(command: &Command, before: &str, found: &mut Vec<String>) {
    for below in command.get_subcommands() {
        let name = format!("{before}{}", below.get_name());
        if below.get_arguments().any(|argument| argument.get_long() == Some("json")) {
            found.push(name.clone());
        }
        takers(below, &format!("{name} "), found);
    }
}

#[test]
fn every_command_that_answers_in_json_has_a_schema() {
    let mut found = Vec::new();
    takers(&Arguments::command(), "", &mut found);
    assert!(found.len() > 14, "{found:?}");
    let published = published();
    for command in found {
        assert!(published.contains_key(command.as_str()), "no schema for `{command} --json` in cli/schema.rs");
    }
}

#[test]
fn what_the_program_answers_is_as_the_schemas_say() {
    let site = Site::loft();
    let mut answers: Vec<(&str, Value)> = Vec::new();
    // A site of which nothing is known.
    for (command, words) in [
        ("status", "status"),
        ("forecast", "forecast desk"),
        ("history", "history loft-lamp"),
        ("due", "due"),
        ("alerts", "alerts"),
        ("messages", "messages"),
        ("maintenance", "maintenance"),
        ("check", "check"),
        ("backtest", "backtest"),
        ("check --send", "check --send log"),
    ] {
        match command {
            // It says on standard error what goes to the log.
            "check --send" => {
                let said = site.run(&format!("{words} --json"));
                answers.push((command, serde_json::from_str(&said.out).unwrap()));
            }
            _ => answers.push((command, site.json(words))),
        }
    }
    site.write("quiet.csv", quiet_weeks(20));
    answers.push(("ingest", site.json("ingest quiet.csv")));
    answers.push(("ingest", site.json("ingest quiet.csv")));
    let rest: String = [lamp(day(141.0), 350.0), lamp(day(142.0), 351.0), lamp(day(143.0), 5000.0)].concat();
    site.write("rest.csv", super::site::HEADER.to_owned() + &rest);
    answers.push(("ingest", site.json("ingest rest.csv")));
    answers.push(("add", site.json("add loft-lamp x=0.3457 y=0.3585 illuminance_lx=352 instrument=second")));
    site.ok("record cleaned loft-lamp");
    site.write("bad.csv", "time,device,lustre\n2025-01-06T12:00:00Z,loft-lamp,3\n");
    answers.push(("ingest", serde_json::from_str(&site.run("ingest bad.csv --json").out).unwrap()));
    let until = super::site::from_now(30.0);
    site.ok(&format!("maintenance desk --until {until} --reason painting"));
    answers.push(("maintenance", site.json("maintenance")));
    for (command, words) in [
        ("status", "status"),
        ("status", "status --as-of 2025-05-28T12:00:00Z"),
        ("forecast", "forecast desk --as-of 2025-05-20T12:00:00Z"),
        ("history", "history loft-lamp"),
        ("history", "history loft-screen --last 3"),
        ("ageing", "ageing loft-lamp"),
        ("backtest", "backtest"),
        ("due", "due --within 400"),
        ("alerts", "alerts"),
        ("messages", "messages"),
        ("check", "check"),
        ("audit verify", "audit verify"),
        ("inspect", "inspect quiet.csv"),
        ("compare", "compare quiet.csv --station desk"),
    ] {
        answers.push((command, site.json(words)));
    }
    for words in ["history nothing --json", "add loft-lamp x=2 y=0.3 --json"] {
        let said = site.run(words);
        assert_ne!(said.code, 0);
        answers.push(("failure", serde_json::from_str(&said.err).unwrap()));
    }
    let Some(python) = python(&["jsonschema"]) else { return };
    let published = published();
    let schema = |command: &str| serde_json::from_str::<Value>(&published[command].1).unwrap();
    let mut lines: Vec<String> = answers
        .iter()
        .map(|(command, document)| json!({ "schema": schema(command), "document": document }).to_string())
        .collect();
    let count = lines.len();
    // One that is not as it should be, so that a judge who lets everything pass is found out.
    let mut wrong = answers[0].1.clone();
    wrong["unheard_of"] = json!(1);
    lines.push(json!({ "schema": schema("status"), "document": wrong }).to_string());
    let said = said_by(python, &repository("tests/fixtures/outside/validate.py"), &lines.join("\n"));
    let complaints: Vec<&str> = said.lines().collect();
    let named = |line: &&str| line.split(' ').next().and_then(|n| n.parse::<usize>().ok()).map(|n| n < count);
    let unjust: Vec<(&str, &str)> = complaints
        .iter()
        .filter(|line| named(line) == Some(true))
        .map(|line| (answers[line.split(' ').next().unwrap().parse::<usize>().unwrap()].0, *line))
        .collect();
    assert!(unjust.is_empty(), "{unjust:#?}");
    assert_eq!(complaints.len(), 1, "the wrong one is refused: {complaints:?}");
}
