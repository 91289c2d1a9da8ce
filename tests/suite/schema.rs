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
    answers.push(("backup", site.json("backup loft.backup")));
    answers.push(("restore", site.json("restore loft.backup")));
    site.ok("audit head");
    answers.push(("backup", site.json("backup loft.backup")));
    answers.push(("restore", restored_with_loss(&site)));
    answers.push(("ageing", a_long_record()));
    for words in ["history nothing --json", "add loft-lamp x=2 y=0.3 --json"] {
        let said = site.run(words);
        assert_ne!(said.code, 0);
        answers.push(("failure", serde_json::from_str(&said.err).unwrap()));
    }
    // One that is not as it should be, so that a judge who lets everything pass is found out.
    let mut wrong = answers[0].1.clone();
    wrong["unheard_of"] = json!(1);
    let Some(complaints) = complaints(&answers) else { return };
    assert!(complaints.is_empty(), "{complaints:#?}");
    assert_eq!(self::complaints(&[("status", wrong)]).unwrap().len(), 1, "a field that no schema knows is refused");
}

/// The answer of a restore on an empty machine where a copy of a head tells of more.
fn restored_with_loss(site: &Site) -> Value {
    let empty = Site::loft();
    empty.write("loft.backup", fs::read(site.path("loft.backup")).unwrap());
    site.ok("record cleaned loft-lamp");
    let head = site.json("audit head");
    empty.write("state/heads/2025/loft-of-old.head", head["note"].as_str().unwrap());
    empty.write("archive/2025/late.csv", "what was received");
    let told = empty.json("restore loft.backup");
    assert!(
        told["lost"].is_object() && told["missing_key"].is_string() && told["unknown_files"][0].is_string(),
        "{told}"
    );
    told
}

/// The ageing of a lamp that burnt for 10 000 counted hours, which is enough for a projection.
fn a_long_record() -> Value {
    let site = Site::loft();
    let rows = (0..60).map(|week| {
        let hours = 168.0 * f64::from(week);
        let lx = 500.0 * (-2e-5 * hours).exp();
        format!("{},loft-lamp,0.3457,0.3585,,{lx:.2},{hours}\n", day(7.0 * f64::from(week)))
    });
    site.ingest("long.csv", &(super::site::HEADER.to_owned() + &rows.collect::<String>()));
    let told = site.json(&format!("ageing loft-lamp --as-of {}", day(414.0)));
    assert!(told["projection"]["left"][2]["hours"].is_f64() && told["age"]["hours"].is_f64(), "{told}");
    told
}

/// What the validator from outside says against these answers, with the command of each; `None` where there is no validator.
fn complaints(answers: &[(&str, Value)]) -> Option<Vec<String>> {
    let python = python(&["jsonschema"])?;
    let published = published();
    let lines: Vec<String> = answers
        .iter()
        .map(|(command, document)| {
            let schema: Value = serde_json::from_str(&published[command].1).unwrap();
            json!({ "schema": schema, "document": document }).to_string()
        })
        .collect();
    let said = said_by(python, &repository("tests/fixtures/outside/validate.py"), &lines.join("\n"));
    let named = said.lines().map(|line| {
        let number: usize = line.split(' ').next().unwrap().parse().unwrap();
        format!("{}: {line}", answers[number].0)
    });
    Some(named.collect())
}

#[test]
fn an_altered_answer_is_refused() {
    let site = Site::loft();
    site.write("quiet.csv", quiet_weeks(20));
    site.ok("ingest quiet.csv");
    let status = site.json(&format!("status --as-of {}", day(134.0)));
    type Change = fn(&mut Value);
    let alter: [(&str, Change); 5] = [
        ("missing", |station| drop(station.as_object_mut().unwrap().remove("reasons"))),
        ("another type", |station| station["risk"] = json!("small")),
        ("out of range", |station| station["risk"] = json!(1.5)),
        ("no verdict", |station| station["verdict"] = json!("good")),
        ("null where there is always something", |station| station["delta_uv"]["sd"] = Value::Null),
    ];
    let altered = alter.map(|(_, change)| {
        let mut answer = status.clone();
        change(&mut answer["stations"][0]);
        ("status", answer)
    });
    let Some(said) = complaints(&altered) else { return };
    for (number, (what, _)) in alter.iter().enumerate() {
        assert!(said.iter().any(|line| line.starts_with(&format!("status: {number} "))), "{what}: {said:#?}");
    }
    assert_eq!(complaints(&[("status", status)]), Some(Vec::new()));
}

/// A part of a schema, and where it stands, for each field that it describes.
fn fields(schema: &Value, place: &str, found: &mut Vec<(String, Value)>) {
    let Some(parts) = schema.as_object() else { return };
    for (key, part) in parts {
        match (key.as_str(), part) {
            ("properties" | "$defs", Value::Object(named)) => {
                for (name, field) in named {
                    let place = format!("{place}/{name}");
                    if key == "properties" {
                        found.push((place.clone(), field.clone()));
                    }
                    fields(field, &place, found);
                }
            }
            (_, Value::Array(many)) => many.iter().for_each(|one| fields(one, place, found)),
            _ => fields(part, place, found),
        }
    }
}

#[test]
fn every_field_says_what_it_is() {
    let mut found = Vec::new();
    for (command, (_, text)) in published() {
        fields(&serde_json::from_str(&text).unwrap(), command, &mut found);
    }
    assert!(found.len() > 300, "{}", found.len());
    // The tag of an alternative is said by the alternative's own description.
    let silent = found.iter().filter(|(_, field)| field.get("description").is_none() && field.get("const").is_none());
    let silent: Vec<&String> = silent.map(|(place, _)| place).collect();
    assert!(silent.is_empty(), "no word on {silent:#?}");
}

#[test]
fn what_a_room_of_two_years_answers_is_as_the_schemas_say() {
    let site = Site::bare();
    site.ok("demo --dir room");
    site.write("shop.csv", fs::read(repository("tests/fixtures/lamps/shop.csv")).unwrap());
    let mut answers: Vec<(&str, Value)> = Vec::new();
    let mut ask = |command, words: &str| {
        let said = site.run(&format!("--config room/twinwhite.toml {words} --json"));
        let text = if said.out.is_empty() { said.err } else { said.out };
        answers.push((command, serde_json::from_str(&text).unwrap_or_else(|bad| panic!("{words}: {bad}: {text}"))));
    };
    for days in [0.0, 30.0, 200.0, 400.0, 600.0, 731.0] {
        let when = format!("--as-of {}", super::site::from_now(days - 731.0));
        ask("status", &format!("status {when}"));
        ask("due", &format!("due --within 400 {when}"));
        ask("backtest", &format!("backtest {when}"));
        for station in ["bay", "booth"] {
            ask("forecast", &format!("forecast {station} {when}"));
            ask("compare", &format!("compare shop.csv --station {station} {when}"));
        }
        for device in ["bay-screen", "bay-lamp", "booth-screen", "booth-lamp"] {
            ask("history", &format!("history {device} {when}"));
            ask("ageing", &format!("ageing {device} {when}"));
        }
    }
    ask("alerts", "alerts");
    ask("messages", "messages");
    ask("inspect", "inspect shop.csv");
    ask("ingest", "ingest shop.csv nowhere.csv");
    for folder in ["formats/good", "texts/keyword/good", "texts/tm27/good"] {
        let files = fs::read_dir(repository("tests/fixtures").join(folder)).unwrap();
        for path in files.map(|file| file.unwrap().path()) {
            let path = path.to_str().unwrap();
            let sound = site.run_with(&["inspect", path, "--json"], &[]);
            // Of events alone, or for a mapping, there is nothing to inspect.
            if sound.code == 0 {
                answers.push(("inspect", serde_json::from_str(&sound.out).unwrap()));
            }
        }
    }
    assert!(
        answers.iter().any(|(_, answer)| answer["readings"][0]["spectral"].is_object()),
        "a spectrum was inspected"
    );
    let Some(said) = complaints(&answers) else { return };
    assert!(answers.len() > 90 && said.is_empty(), "{} answers: {said:#?}", answers.len());
}

#[test]
fn what_is_wrong_is_told_as_the_schemas_say() {
    let mut answers: Vec<(&str, Value)> = Vec::new();
    let site = Site::loft();
    // A lamp by its label alone; a second instrument; a reading that waits.
    let rows = |device: &str, cells: &str| -> String {
        (0..12).map(|week| format!("{},{device},{cells}\n", day(7.0 * f64::from(week)))).collect()
    };
    let taken = |name: &str, text: String| {
        site.write(name, text);
        site.json(&format!("ingest {name}"))
    };
    let header = "time,device,source,cct_k,ra,x,y,luminance_cd_m2,instrument\n";
    let label = format!("{},loft-lamp,label,5000,93,,,,\n", day(0.0));
    let read = |instrument: &str| format!("measured,,,0.3435,0.3550,146,{instrument}");
    let screen = rows("loft-screen", &read("house"));
    let guest = format!("{},loft-screen,{}\n", day(70.5), read("guest"));
    answers.push(("ingest", taken("label.csv", [header, &label, &screen, &guest].concat())));
    let held = format!("{},loft-screen,measured,,,0.3435,0.3550,146000,house\n", day(78.0));
    answers.push(("ingest", taken("held.csv", [header, &held].concat())));
    assert!(answers[1].1["files"][0]["held"][0]["why"].is_string(), "{}", answers[1].1);
    for (command, words) in [
        ("status", "status"),
        ("status", "status --as-of 2025-03-26T12:00:00Z"),
        ("forecast", "forecast desk --as-of 2025-03-26T12:00:00Z"),
        ("history", "history loft-screen"),
        ("ageing", "ageing loft-screen --as-of 2025-03-26T12:00:00Z"),
        ("due", "due"),
        ("alerts", "alerts --open"),
    ] {
        answers.push((command, site.json(words)));
    }
    let by_label = answers.iter().find(|(command, _)| *command == "forecast").unwrap();
    let history = answers.iter().find(|(command, _)| *command == "history").unwrap();
    assert_eq!((&by_label.1["station"], &history.1["scale"]["other"]["instrument"]), (&json!("desk"), &json!("guest")));
    // A ledger that somebody has changed.
    site.ledger().execute("UPDATE entry SET time = replace(time, 'T', 't') WHERE seq = 2", ()).unwrap();
    let audit = site.run("audit verify --json");
    answers.push(("audit verify", serde_json::from_str(&audit.out).unwrap()));
    assert_eq!((audit.code, &answers.last().unwrap().1["first_bad"]), (1, &json!(2)));
    // Mistakes in the configuration, and what cannot be asked.
    site.write("wrong.toml", "[site]\nname = 3\ncolour = true\n");
    let check = site.run("--config wrong.toml check --json");
    answers.push(("check", serde_json::from_str(&check.out).unwrap()));
    assert_eq!(check.code, 1);
    for words in ["status nowhere", "forecast desk --horizon=-1", "status --config nowhere.toml", "inspect nowhere.csv"]
    {
        let said = site.run(&format!("{words} --json"));
        answers.push(("failure", serde_json::from_str(&said.err).unwrap()));
        assert!(answers.last().unwrap().1["error"]["kind"].is_string(), "{words}");
    }
    let Some(said) = complaints(&answers) else { return };
    assert!(said.is_empty(), "{said:#?}");
}
