//! Commands and the JSON that scripts outside rely on: names and kinds of fields, exit codes, errors, pipes, help.

use std::io::Read;
use std::process::{Command, Stdio};

use serde_json::{Value, json};

use super::site::{HEADER, LOFT, PROGRAM, Site, day, from_now, lamp, quiet_weeks, screen};

/// Holds an object against `name:kind …`; a kind that ends in `?` may be null. Other fields may stand beside these.
#[track_caller]
fn assert_shape(value: &Value, fields: &str) {
    for field in fields.split_whitespace() {
        let (name, kind) = field.split_once(':').unwrap();
        let found = value.get(name).unwrap_or_else(|| panic!("no field '{name}' in {value}"));
        let (kind, nullable) = kind.strip_suffix('?').map_or((kind, false), |kind| (kind, true));
        let fits = match kind {
            "text" => found.is_string(),
            "number" => found.is_number(),
            "whole" => found.is_i64(),
            "bool" => found.is_boolean(),
            "list" => found.is_array(),
            "spread" => found["mean"].is_number() && found["sd"].is_number(),
            "object" => found.is_object(),
            "time" => found.as_str().is_some_and(|text| text.ends_with('Z') && text.contains('T')),
            "date" => found.as_str().is_some_and(|text| text.len() == 10),
            "null" => found.is_null(),
            other => panic!("no kind {other}"),
        };
        assert!(fits || (nullable && found.is_null()), "'{name}' should be {kind}: {value}");
    }
}

fn list(value: &Value) -> &Vec<Value> {
    value.as_array().unwrap()
}

fn as_of(n: f64) -> String {
    format!("--as-of {}", day(n))
}

#[test]
fn inspect_answers_without_a_configuration() {
    let site = Site::bare();
    site.write("white.csv", "x,y,luminance_cd_m2\n0.3127,0.3290,100\n0.3457,0.3585,\n");
    site.write(
        "mixed.csv",
        "device,id,time,X,Y,Z,x,y,cct_k,duv\n\
         bay-lamp,,2026-03-04T09:30:00Z,95.047,100,108.883,,,,\n\
         bay-lamp,sheet-3,,,,,0.3127,0.3290,,\n\
         ,,,,,,,,5003,0.001\n,,,,,,,,4000,\n",
    );
    let answer = site.json("inspect white.csv mixed.csv");
    let readings = list(&answer["readings"]);
    assert_eq!(readings.len(), 6);
    let fields = "id:text time:time? device:text? X:number? Y:number? Z:number? x:number? y:number? u_prime:number? \
                  v_prime:number? cct_k:number? duv:number? ra:null r9:null rf:null rg:null";
    for reading in readings {
        assert_shape(reading, fields);
    }
    let near = |value: &Value, expected: f64, within: f64| {
        let found = value.as_f64().unwrap();
        assert!((found - expected).abs() <= within, "{found} is not {expected}");
    };
    assert_eq!(readings[0]["id"], "white", "the file's name where no row names anything");
    // CIE 15: the white point of D65, x 0.3127, y 0.3290; u′v′ by its own formulas.
    near(&readings[0]["u_prime"], 4.0 * 0.3127 / (-2.0 * 0.3127 + 12.0 * 0.3290 + 3.0), 1e-12);
    near(&readings[0]["v_prime"], 9.0 * 0.3290 / (-2.0 * 0.3127 + 12.0 * 0.3290 + 3.0), 1e-12);
    near(&readings[0]["Y"], 100.0, 1e-9);
    near(&readings[0]["X"], 100.0 * 0.3127 / 0.3290, 1e-9);
    near(&readings[0]["cct_k"], 6503.0, 2.0);
    near(&readings[0]["duv"], 0.0032, 5e-5);
    assert_eq!(readings[1]["X"], Value::Null, "colour without a level has no tristimulus values");
    assert_eq!((&readings[2]["id"], &readings[2]["time"]), (&json!("bay-lamp"), &json!("2026-03-04T09:30:00Z")));
    assert_eq!((readings[2]["X"].as_f64(), readings[2]["Z"].as_f64()), (Some(95.047), Some(108.883)));
    near(&readings[2]["x"], 0.312_727, 1e-6);
    assert_eq!((&readings[3]["id"], &readings[3]["device"]), (&json!("sheet-3"), &json!("bay-lamp")));
    assert_eq!(readings[4]["id"], "mixed");
    near(&readings[4]["cct_k"], 5003.0, 0.2);
    near(&readings[4]["duv"], 0.001, 5e-6);
    assert_eq!((&readings[5]["duv"], &readings[5]["u_prime"]), (&Value::Null, &Value::Null), "no tint, no place");
    let said = site.run("inspect nowhere.csv --json");
    assert_eq!(said.code, 1);
    assert!(said.err.contains("nowhere.csv"));
}

#[test]
fn a_site_of_which_nothing_is_known_still_answers_in_numbers() {
    let site = Site::loft();
    for round in 0..2 {
        // First without a ledger, then with one that knows nothing of the lamp, and of the screen no luminance.
        if round == 1 {
            site.ok("add loft-screen x=0.3435 y=0.3550");
        }
        let forecast = site.json("forecast desk");
        assert_shape(&forecast, "station:text as_of:time verdict:text max_risk:number risk_date:date? horizons:list");
        assert_eq!(forecast["verdict"], "unknown");
        let horizons = list(&forecast["horizons"]);
        let days: Vec<f64> = horizons.iter().map(|horizon| horizon["days"].as_f64().unwrap()).collect();
        assert_eq!(days, [30.0, 60.0, 90.0]);
        for horizon in horizons {
            assert_shape(horizon, "days:number risk:number risk_within:number devices:list");
            let lamp = list(&horizon["devices"]).iter().find(|device| device["device"] == "loft-lamp").unwrap();
            assert_shape(lamp, "u_prime:null v_prime:null ln_luminance:null");
            let screen = list(&horizon["devices"]).iter().find(|device| device["device"] == "loft-screen").unwrap();
            assert_shape(
                screen,
                if round == 0 { "u_prime:null v_prime:null" } else { "u_prime:spread v_prime:spread" },
            );
            assert_shape(screen, "ln_luminance:null");
        }
        let status = site.json("status");
        let station = &list(&status["stations"])[0];
        assert_eq!(station["verdict"], "unknown");
        assert_shape(station, "risk:number since:time? reasons:list advice:list");
    }
    assert_eq!(site.json("alerts"), json!({ "alerts": [] }));
    let nobody = json!({ "maker": null, "model": null, "serial": null, "firmware": null, "place": null });
    let nothing = json!({ "device": "loft-lamp", "kind": "lamp", "identity": nobody, "certificate": null,
        "damaged_since": null, "readings": [], "events": [] });
    assert_eq!(site.json("history loft-lamp"), nothing);
}

#[test]
fn queries_never_begin_a_ledger() {
    let site = Site::loft();
    for words in ["status", "forecast desk", "history loft-lamp", "alerts", "audit verify"] {
        site.ok(words);
    }
    assert!(!site.path("state").exists());
}

#[test]
fn the_fixed_fields_are_there() {
    let site = Site::loft();
    site.ingest("quiet.csv", &quiet_weeks(10));
    site.ok(&format!("record cleaned loft-lamp --at {}", day(3.0)));
    let status = site.json(&format!("status {}", as_of(64.0)));
    assert_shape(&status, "as_of:time stations:list");
    assert_eq!(status["as_of"], day(64.0).to_string());
    let station = &list(&status["stations"])[0];
    let fields = "station:text verdict:text risk:number since:time? delta_uv:spread luminance_ratio:spread \
                  paper_white:object display_white:object reasons:list advice:list";
    assert_shape(station, fields);
    for white in ["paper_white", "display_white"] {
        assert_shape(&station[white], "u_prime:spread v_prime:spread luminance_cd_m2:spread");
    }
    assert!(list(&station["reasons"]).iter().chain(list(&station["advice"])).all(Value::is_string));

    let forecast = site.json(&format!("forecast desk --horizon 0,14.5,365 {}", as_of(64.0)));
    assert_shape(&forecast, "station:text as_of:time verdict:text max_risk:number risk_date:date? horizons:list");
    let horizons = list(&forecast["horizons"]);
    let mut before = 0.0;
    for (horizon, days) in horizons.iter().zip([0.0, 14.5, 365.0]) {
        assert_eq!(horizon["days"], days);
        assert_shape(horizon, "risk:number risk_within:number devices:list");
        let (risk, within) = (horizon["risk"].as_f64().unwrap(), horizon["risk_within"].as_f64().unwrap());
        assert!((0.0..=1.0).contains(&risk) && within >= risk - 1e-12 && within >= before, "{forecast}");
        before = within;
        let devices = list(&horizon["devices"]);
        assert_eq!(devices.len(), 2);
        for device in devices {
            assert_shape(device, "device:text u_prime:spread v_prime:spread ln_luminance:spread");
        }
    }
    let lamp = list(&horizons[0]["devices"]).iter().find(|device| device["device"] == "loft-lamp").unwrap();
    let level = lamp["ln_luminance"]["mean"].as_f64().unwrap();
    assert!((level - 500f64.ln()).abs() < 0.02, "the natural logarithm of illuminance: {level}");

    let history = site.json("history loft-lamp");
    assert_shape(&history, "device:text readings:list events:list");
    assert_eq!((list(&history["readings"]).len(), list(&history["events"]).len()), (10, 1));
    for reading in list(&history["readings"]) {
        assert_shape(reading, "seq:whole time:time used:bool why:text?");
    }
    assert_shape(&history["events"][0], "seq:whole time:time event:text used:bool");
    assert_eq!(list(&site.json("history loft-lamp --last 3")["readings"]).len(), 3);

    let alerts = site.json("alerts");
    assert!(!list(&alerts["alerts"]).is_empty());
    let fields =
        "id:whole kind:text subject:text state:text raised_at:time acknowledged_at:time? cleared_at:time? detail:text";
    for alert in list(&alerts["alerts"]) {
        assert_shape(alert, fields);
    }
    let ingest = site.ingest("quiet.csv", &quiet_weeks(10));
    assert_eq!((&ingest["result"], ingest["seq"].is_i64()), (&json!("known"), true));
    let added = site.json("add loft-lamp x=0.3457 y=0.3585 illuminance_lx=500");
    assert_shape(&added, "readings:whole duplicates:whole seqs:list held:list doubted:list");
    let check = site.json("check");
    assert_shape(&check, "ok:bool config:text mistakes:list findings:list");
    let audit = site.json("audit verify");
    assert_shape(&audit, "ok:bool entries:whole root:text first_bad:null");
    assert!(audit["root"].as_str().unwrap().bytes().all(|b| b.is_ascii_hexdigit()));
}

#[test]
fn exit_codes_tell_the_verdict() {
    let site = Site::loft();
    let code = |when: f64| site.run(&format!("status --exit-code {}", as_of(when))).code;
    assert_eq!(code(0.0), 12, "nothing was ever read");
    site.ingest("quiet.csv", &quiet_weeks(10));
    assert_eq!(code(64.0), 0);
    assert_eq!(site.run(&format!("status {}", as_of(400.0))).code, 0, "only when it is asked for");
    assert_eq!(code(400.0), 12, "too old");
    // The lamp walks away from its aim: first the coming weeks are in danger, then the match is gone.
    let walk: String = (0..14)
        .map(|n| {
            let (week, off) = (70.0 + 7.0 * f64::from(n), 0.0012 * f64::from(n));
            format!("{},loft-lamp,{},{},,500,\n", day(week), 0.3457 + off, 0.3585 + off) + &screen(day(week), 146.0)
        })
        .collect();
    site.ingest("walk.csv", &(HEADER.to_owned() + &walk));
    let codes: Vec<i32> = (0..13).map(|n| code(71.0 + 7.0 * f64::from(n))).collect();
    assert!(codes.contains(&10) && codes.ends_with(&[11]), "{codes:?}");
    let order: Vec<i32> = codes.iter().copied().filter(|code| *code != 12).collect();
    assert!(order.is_sorted(), "matched, then at risk, then out: {codes:?}");
    site.audit();
}

#[test]
fn as_of_asks_for_the_past() {
    let (whole, cut) = (Site::loft(), Site::loft());
    let weeks = quiet_weeks(10);
    whole.ingest("quiet.csv", &weeks);
    whole.ok(&format!("record recalibrated loft-screen --at {}", day(40.0)));
    // Up to and including week 5.
    cut.ingest("quiet.csv", &quiet_weeks(6));
    let when = as_of(35.0);
    for words in ["forecast desk --json", "status --json"] {
        assert_eq!(whole.ok(&format!("{words} {when}")), cut.ok(&format!("{words} {when}")), "{words}");
    }
    let count = |n: f64| list(&whole.json(&format!("history loft-lamp {}", as_of(n)))["readings"]).len();
    assert_eq!((count(35.0), count(34.999), count(-1.0)), (6, 5, 0));
    let local = whole.run_with(&["status", "--as-of", "2025-02-10 12:00", "--json"], &[]);
    assert_eq!(serde_json::from_str::<Value>(&local.out).unwrap()["as_of"], "2025-02-10T12:00:00Z");
}

#[test]
fn wrong_usage_ends_with_two_and_failure_with_one() {
    let site = Site::loft();
    site.write("bad.csv", "time,device,lustre\n2025-01-06T12:00:00Z,loft-lamp,3\n");
    site.write("header.csv", HEADER);
    for words in [
        "",
        "statsu",
        "status --bogus",
        "forecast desk --horizon -5",
        "forecast desk --horizon soon",
        "forecast",
        "retract 3",
        "ack three",
        "add loft-lamp nonsense",
        "add loft-lamp",
        "status --as-of yesterday",
        "--operator !! status",
    ] {
        let said = site.run(words);
        assert_eq!(said.code, 2, "twinwhite {words}: {}{}", said.out, said.err);
        assert!(!said.err.is_empty(), "{words}");
    }
    for words in [
        "status nowhere",
        "history nowhere",
        "forecast nowhere",
        "add nowhere x=0.3 y=0.3",
        "add loft-lamp x=0.3",
        "add loft-lamp x=0.3457 y=0.3585 lustre=3",
        "ack 99",
        "release 99",
        "retract 99 --reason never",
        "record painted loft-lamp",
        "record cleaned nowhere",
        "ingest nowhere.csv",
        "ingest bad.csv",
        "ingest header.csv",
        "inspect bad.csv",
        "--config nowhere.toml status",
    ] {
        let said = site.run(words);
        assert_eq!(said.code, 1, "twinwhite {words}: {}{}", said.out, said.err);
        assert!(!(said.err + &said.out).is_empty(), "{words}");
    }
    let said = site.run("history loft-lmp");
    assert!(said.err.contains("loft-lamp"), "it says what there is: {}", said.err);
}

#[test]
fn failures_are_json_where_json_was_asked_for() {
    let site = Site::loft();
    for (words, kind) in [
        ("status nowhere --json", "not-found"),
        ("history nowhere --json", "not-found"),
        ("inspect nowhere.csv --json", "input"),
        ("add loft-lamp x=0.3 --json", "input"),
        ("status --as-of yesterday --json", "usage"),
        ("--config nowhere.toml forecast desk --json", "config"),
    ] {
        let said = site.run(words);
        assert_eq!(said.out, "", "{words}");
        let error: Value = serde_json::from_str(&said.err).unwrap_or_else(|bad| panic!("{words}: {bad}: {}", said.err));
        assert_shape(&error["error"], "kind:text message:text");
        assert_eq!(error["error"]["kind"], kind, "{words}");
    }
}

#[test]
fn acts_are_entries_and_nothing_is_erased() {
    let site = Site::loft();
    site.ingest("quiet.csv", &quiet_weeks(4));
    let seq = site.readings("loft-lamp")[1]["seq"].clone();
    let before = site.audit();
    let said = site.run_with(&["--operator", "ines", "retract", &seq.to_string(), "--reason", "blinds open"], &[]);
    assert_eq!(said.code, 0, "{}", said.err);
    assert!(site.audit() > before);
    let readings = site.readings("loft-lamp");
    assert_eq!(readings.len(), 4);
    assert_eq!((&readings[1]["used"], &readings[1]["why"]), (&json!(false), &json!("taken back")));
    let body: String =
        site.ledger().query_row("SELECT body FROM entry WHERE kind = 'retract'", (), |row| row.get(0)).unwrap();
    let said = site.run("retract 1 --reason wrong");
    assert_eq!(said.code, 1);
    assert!(said.err.contains("audit show --kind sign-off") && said.err.contains("history DEVICE"), "{}", said.err);
    assert_eq!(body, format!(r#"{{"seq":{seq},"reason":"blinds open","operator":"ines","operator_by":"option"}}"#));
    let words = ["record", "recalibrated", "loft-screen", "x=0.3435", "y=0.3550", "note=after the move", "--at"];
    let at = "2025-02-03 08:00".to_owned();
    let said = site.run_with(&words.iter().copied().chain([at.as_str()]).collect::<Vec<_>>(), &[]);
    assert_eq!(said.code, 0, "{}", said.err);
    let event = site.json("history loft-screen")["events"][0].clone();
    assert_eq!((&event["event"], &event["time"]), (&json!("recalibrated"), &json!("2025-02-03T08:00:00Z")));
    assert_eq!(event["note"], "after the move");
    assert_eq!(site.run_with(&["retract", &event["seq"].to_string(), "--reason", "was the other"], &[]).code, 0);
    assert_eq!(site.json("history loft-screen")["events"][0]["used"], false);
    site.audit();
}

#[test]
fn a_reader_that_leaves_early_is_no_failure() {
    let site = Site::new(&LOFT.replace("max_bytes = 65536", ""));
    let rows: String = (0..1500).map(|n| lamp(day(f64::from(n) / 100.0), 500.0)).collect();
    site.write("many.csv", HEADER.to_owned() + &rows);
    site.ok("ingest many.csv");
    for words in
        [&["inspect", "many.csv", "--json"][..], &["history", "loft-lamp"], &["history", "loft-lamp", "--json"]]
    {
        let mut child = Command::new(PROGRAM)
            .env_clear()
            .current_dir(site.path(""))
            .args(words)
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        // Far more than a pipe holds is still to come.
        drop(child.stdout.take());
        let mut err = String::new();
        child.stderr.take().unwrap().read_to_string(&mut err).unwrap();
        assert_eq!((child.wait().unwrap().code(), err.as_str()), (Some(0), ""), "{words:?}");
    }
}

#[test]
fn pipes_get_no_colours_and_no_progress() {
    let site = Site::loft();
    site.ingest("quiet.csv", &quiet_weeks(4));
    site.write("bad.csv", "time,device,lustre\n2025-01-06T12:00:00Z,loft-lamp,3\n");
    site.run("ingest bad.csv");
    for words in [
        "status",
        "forecast desk",
        "history loft-lamp",
        "alerts",
        "due",
        "check",
        "rebuild",
        "audit verify",
        "inspect quiet.csv",
        "status nowhere",
        "status --bogus",
        "--help",
        "status --help",
    ] {
        for variables in [&[][..], &[("NO_COLOR", "1")], &[("TERM", "xterm-256color"), ("COLORTERM", "truecolor")]] {
            let said = site.run_with(&words.split_whitespace().collect::<Vec<_>>(), variables);
            assert!(!(said.out.clone() + &said.err).contains(['\x1b', '\r']), "{words} {variables:?}: {}", said.out);
        }
    }
}

#[test]
fn every_command_has_examples() {
    let site = Site::bare();
    let help = site.ok("--help");
    let commands: Vec<&str> = help
        .split("Commands:\n")
        .nth(1)
        .unwrap()
        .lines()
        .take_while(|line| line.starts_with("  "))
        .filter_map(|line| line.split_whitespace().next())
        .collect();
    let step_1 = [
        "run", "add", "ingest", "inspect", "status", "history", "forecast", "alerts", "ack", "record", "retract",
        "release", "check", "rebuild", "audit", "demo", "due",
    ];
    for command in step_1 {
        assert!(commands.contains(&command), "{command} is not in {commands:?}");
    }
    for command in commands {
        let words = if command == "audit" { "audit verify" } else { command };
        let help = site.ok(&format!("{words} --help"));
        let examples = help.split("Example").nth(1).unwrap_or_else(|| panic!("{words} has no examples:\n{help}"));
        assert!(examples.contains(words), "{words}: {help}");
    }
}

#[test]
fn a_verdict_stands_since_it_changed() {
    let site = Site::new(LOFT);
    let row = |days: f64| lamp(from_now(days), 500.0) + &screen(from_now(days), 146.0);
    site.ingest("a.csv", &(HEADER.to_owned() + &row(-20.0) + &row(-10.0) + &row(-1.0)));
    let first = site.json("status")["stations"][0].clone();
    assert_eq!(first["verdict"], "matched");
    assert!(first["since"].is_string(), "{first}");
    site.ingest("b.csv", &(HEADER.to_owned() + &row(-0.5)));
    assert_eq!(site.json("status")["stations"][0]["since"], first["since"]);
}

/// On a terminal the verdict stands out, and NO_COLOR is honoured. Skipped where there is no `script` to make a terminal.
#[test]
fn on_a_terminal_no_color_is_honoured() {
    let site = Site::loft();
    let on_terminal = |no_color: Option<&str>| {
        let mut script = Command::new("script");
        script.args(["-qec", &format!("{PROGRAM} status"), "/dev/null"]).env_clear().env("PATH", "/usr/bin:/bin");
        script.envs(no_color.map(|value| ("NO_COLOR", value))).current_dir(site.path("")).stdin(Stdio::null());
        script.output().ok().filter(|output| output.status.success())
    };
    let Some(plain) = on_terminal(Some("1")) else {
        println!("skipped: there is no `script` here");
        return;
    };
    let plain = String::from_utf8(plain.stdout).unwrap();
    let bold = String::from_utf8(on_terminal(None).unwrap().stdout).unwrap();
    assert!(bold.contains("\x1b[1mdesk\x1b[0m: \x1b[1munknown\x1b[0m"), "{bold}");
    assert!(!plain.contains('\x1b') && plain.contains("desk: unknown"), "{plain}");
}

/// A lamp that gives a fifth less light since a week; its dimmer can be turned.
fn bumped(costs: &str) -> Site {
    let site = Site::new(&format!("{LOFT}\n[costs]\n{costs}\n"));
    site.ingest("quiet.csv", &quiet_weeks(10));
    let low = |n: f64| lamp(day(n), 390.0) + &screen(day(n), 146.0);
    site.ingest("low.csv", &(HEADER.to_owned() + &low(70.0) + &low(72.0) + &low(75.0)));
    site
}

#[test]
fn acts_are_weighed_by_the_costs_of_the_configuration() {
    let at = format!("--as-of {}", day(76.0));
    let chosen = |site: &Site| {
        let of = |answer: &Value| {
            let acts = list(&answer["acts"]).clone();
            for act in &acts {
                assert_shape(
                    act,
                    "act:text device:text steps:list cost:number risk_after:number holds_until:object chosen:bool",
                );
            }
            acts.into_iter().filter(|act| act["chosen"] == true).collect::<Vec<_>>()
        };
        let status = of(&site.json(&format!("status {at}"))["stations"][0]);
        assert_eq!(status, of(&site.json(&format!("forecast desk {at}"))), "both say the same");
        assert_eq!(status.len(), 1, "{status:?}");
        status[0].clone()
    };
    let cheap = chosen(&bumped("turn_lamp = 3"));
    assert_eq!((&cheap["act"], &cheap["cost"]), (&"turn-dimmer".into(), &3.0.into()));
    assert!(cheap["risk_after"].as_f64().unwrap() < 0.2);
    assert_shape(&cheap["holds_until"], "date:date? early:date? late:date? at_least:date guess:bool");
    let dear = bumped("turn_lamp = 3000");
    assert!(chosen(&dear)["act"].as_str().unwrap().starts_with("recalibrate-to-"));
    let text = dear.ok(&format!("status {at}"));
    assert!(text.contains("The match then holds ") && text.contains("Or (cost "), "{text}");
}
