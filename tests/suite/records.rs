//! The records of equipment and of who did what, and what was known at a time.

use serde_json::{Value, json};
use twinwhite::acts;
use twinwhite::config::Config;
use twinwhite::ledger::entry::CameBy;
use twinwhite::ledger::{Ledger, OpenMode};
use twinwhite::pipeline::{Incoming, take};
use twinwhite::units::Time;

use super::site::{HEADER, LOFT, Said, Site, day, from_now, lamp, quiet_weeks, screen};

const METER: &str = "
[[instrument]]
id = \"spectro-1\"
maker = \"Larkfield\"
model = \"spot-2\"
serial = \"Q-7\"
firmware = \"2.4\"
place = \"cabinet 1\"
certificate_until = 2025-01-31
";

fn metered() -> Site {
    Site::new(&format!("{LOFT}{METER}"))
}

#[track_caller]
fn refused(said: &Said, with: &str) {
    assert_ne!(said.code, 0, "{}", said.out);
    assert!(said.err.contains(with), "{}", said.err);
}

fn station(status: &Value) -> &Value {
    &status["stations"][0]
}

fn reasons(status: &Value) -> String {
    station(status)["reasons"]
        .as_array()
        .unwrap()
        .iter()
        .map(|reason| reason.as_str().unwrap().to_owned() + "\n")
        .collect()
}

/// Both devices read weekly by the meter until day 28, which is after its certificate's end on 31 January.
fn read_by_the_meter(site: &Site, weeks: u32) {
    let text = quiet_weeks(weeks);
    let rows = text.lines().skip(1).map(|row| format!("{row}spectro-1\n"));
    let header = "time,device,x,y,luminance_cd_m2,illuminance_lx,instrument\n".to_owned();
    site.ingest("weeks.csv", &(header + &rows.collect::<String>()));
}

#[test]
fn an_instrument_past_its_certificate_is_a_reason_and_no_risk() {
    let site = metered();
    read_by_the_meter(&site, 5);
    let at = |n: f64| format!("status --as-of {}", day(n));
    assert!(!reasons(&site.json(&at(22.0))).contains("certificate"), "read on 27 January");
    let before = site.json(&at(29.0));
    let said =
        "The certificate of spectro-1 was good until 31 Jan 2025; loft-screen and loft-lamp were last read after that.";
    assert!(reasons(&before).contains(said), "{before}");
    let with = &station(&before)["instruments"][1];
    assert_eq!((&with["device"], &with["instrument"]), (&json!("loft-lamp"), &json!("spectro-1")));
    assert_eq!((&with["doubts"], &with["certificate"]["until"]), (&json!(["certificate-ended"]), &json!("2025-01-31")));
    let text = site.ok(&at(29.0));
    assert!(text.contains("Nothing to do about the match now, but see `twinwhite due`; next reading of "), "{text}");
    assert!(!text.contains("Nothing to do now"), "{text}");
    let due = site.json(&format!("due --as-of {}", day(29.0)));
    assert!(due["due"].as_array().unwrap().iter().any(|line| line["task"] == "certificate" && line["overdue"] == true));

    // A newer certificate takes the place of the configuration's; its issue was before the readings.
    site.write("k.pdf", "papers");
    let words = ["record", "certificate", "spectro-1", "--file", "k.pdf", "--at", "2025-02-01 09:00", "number=K-204"];
    let more =
        ["issued=2025-02-01", "until=2026-01-31", "laboratory=Quillmoor Light", "results=within 0.0012 in x and y"];
    let said = site.run_with(&[&words[..], &more].concat(), &[]);
    assert_eq!(said.code, 0, "{}", said.err);
    let after = site.json(&at(29.0));
    assert!(!reasons(&after).contains("certificate"), "{after}");
    for figure in ["risk", "risk_within", "verdict", "delta_uv"] {
        assert_eq!(station(&after)[figure], station(&before)[figure], "{figure}");
    }
    let history = site.json(&format!("history spectro-1 --as-of {}", day(29.0)));
    assert_eq!((&history["kind"], &history["identity"]["serial"]), (&json!("instrument"), &json!("Q-7")));
    assert_eq!(history["certificate"]["number"], "K-204");
    let event = &history["events"][0];
    // SHA-256 of "papers".
    // As sha256sum says of "papers".
    let digest = "8bddf4c0f769a0125ce2a2a0c6464bbd8fb9a679acc1ace032a7d08b0c7a5b5b";
    assert_eq!(event["attached"]["sha256"], digest);
    assert_eq!((&event["attached"]["name"], &event["attached"]["bytes"]), (&json!("k.pdf"), &json!(6)));
    assert_eq!((&event["operator"], &event["operator_by"]), (&json!("bay-account"), &json!("login")));

    // Taken back, it is shown beside what takes it back, and no longer counts.
    let seq = event["seq"].to_string();
    let said = site.run_with(&["--operator", "ines", "retract", &seq, "--reason", "of another meter"], &[]);
    assert_eq!(said.code, 0, "{}", said.err);
    assert!(reasons(&site.json(&at(29.0))).contains("certificate of spectro-1"));
    let event = site.json("history spectro-1")["events"][0].clone();
    assert_eq!((&event["used"], &event["corrections"][0]["what"]), (&json!(false), &json!("retracted")));
    assert_eq!(event["corrections"][0]["operator_by"], "option");
    let text = site.ok("history spectro-1");
    assert!(text.contains("Larkfield, spot-2, serial Q-7, firmware 2.4, at cabinet 1"), "{text}");
    assert!(text.contains(&format!("takes entry {seq} back: of another meter, ines (as typed)")), "{text}");
    site.audit();
}

#[test]
fn damage_is_a_reason_until_a_reading_after_the_repair() {
    let site = metered();
    site.ok("record moved spectro-1 place=drawer --at 2025-01-07T08:00:00Z");
    site.ok("record firmware spectro-1 firmware=2.5 --at 2025-01-07T08:00:00Z");
    site.ok("record damaged spectro-1 --at 2025-01-08T08:00:00Z");
    read_by_the_meter(&site, 2);
    let at = format!("--as-of {}", day(8.0));
    let damaged =
        "spectro-1 was damaged on 8 Jan 2025 and is not repaired; loft-screen and loft-lamp were last read after that.";
    let status = site.json(&format!("status {at}"));
    assert!(reasons(&status).contains(damaged), "{status}");
    let due = site.json(&format!("due {at}"));
    assert!(
        due["due"].as_array().unwrap().iter().any(|line| line["task"] == "repair" && line["device"] == "spectro-1")
    );
    site.ok("record repaired spectro-1 --at 2025-01-14T08:00:00Z");
    let at = format!("--as-of {}", day(9.0));
    assert!(reasons(&site.json(&format!("status {at}"))).contains("repaired on 14 Jan 2025"));
    let known = site.json(&format!("history spectro-1 {at}"));
    assert_eq!((&known["identity"]["place"], &known["identity"]["firmware"]), (&json!("drawer"), &json!("2.5")));
    assert_eq!(known["damaged_since"], Value::Null);
    site.audit();
}

#[test]
fn what_does_not_fit_a_record_is_refused() {
    let site = metered();
    refused(&site.run("record certificate spectro-1"), "the last day on which it is good");
    refused(&site.run("record certificate loft-lamp until=2026-01-31"), "only of an instrument");
    refused(&site.run("record certificate spectro-1 until=31.1.2026"), "2027-03-31");
    refused(&site.run("record certificate spectro-1 issued=2026-02-01 until=2026-01-31"), "from its issue on");
    refused(&site.run("record damaged spectro-1 until=2026-01-31"), "belongs to a certificate");
    refused(&site.run("record firmware rag-matte firmware=1"), "that has any");
    refused(&site.run("record damaged spectro-1 --file none.pdf"), "cannot be read");
    assert!(site.ok("history rag-matte").contains("nothing was done to it yet"));
    site.ok("record new_batch rag-matte");
    assert_eq!(site.json("history rag-matte")["events"][0]["event"], "new_batch");
}

/// Nobody has done yet what lies ahead of the clock; as soon as that time has come, the same file is taken.
#[test]
fn what_lies_ahead_of_the_clock_is_no_record() {
    let site = Site::loft();
    site.ok("record cleaned loft-lamp");
    let entries = site.audit();
    let said = site.run(&format!("record replaced loft-lamp --at {}", from_now(60.0)));
    assert_eq!(said.code, 2, "{}", said.err);
    assert!(said.err.contains("--at: found ") && said.err.contains("expected a time that is past"), "{}", said.err);
    assert_eq!(site.audit(), entries, "nothing is written down");
    // A clock that is a little off is no reason to refuse anything.
    site.ok(&format!("record cleaned loft-screen --at {}", from_now(5.0 / 1440.0)));

    site.write("ahead.csv", format!("time,device,event\n{},loft-lamp,replaced\n", from_now(60.0)));
    let said = site.run("ingest ahead.csv");
    assert_eq!(said.code, 1, "{}", said.err);
    let told = said.out + &said.err;
    assert!(told.contains("line 2") && told.contains("a time that is past: an event is what was done"), "{told}");
    assert!(
        site.json("history loft-lamp")["events"].as_array().unwrap().iter().all(|event| event["event"] != "replaced")
    );
    // A reading is held, as ever.
    let held = site.ingest("early.csv", &(HEADER.to_owned() + &lamp(from_now(60.0), 500.0)));
    assert_eq!(held["held"].as_array().map(Vec::len), Some(1), "{held}");
}

#[test]
fn an_operator_is_known_by_option_file_or_login() {
    let site = Site::loft();
    refused(&site.run("--operator inez status"), "did you mean 'ines'?");
    refused(&site.run("--operator somebody-else status"), "add [[operator]]");
    refused(&site.run("add loft-lamp x=0.3457 y=0.3585 illuminance_lx=500 operator=inez"), "did you mean 'ines'?");
    site.ok("add loft-lamp x=0.3457 y=0.3585 illuminance_lx=500");
    site.ok("--operator ines add loft-lamp x=0.3457 y=0.3586 illuminance_lx=501");
    let row = format!("time,device,x,y,illuminance_lx,operator\n{},loft-lamp,0.3457,0.3585,500,rui\n", day(1.0));
    site.ingest("rui.csv", &row);
    let readings = site.readings("loft-lamp");
    let by: Vec<(&Value, &Value)> = readings.iter().map(|one| (&one["operator"], &one["operator_by"])).collect();
    let (login, option, file) = (json!("login"), json!("option"), json!("file"));
    let (account, ines, rui) = (json!("bay-account"), json!("ines"), json!("rui"));
    assert_eq!(by, [(&rui, &file), (&account, &login), (&ines, &option)]);
    site.ok("record cleaned loft-lamp");
    let text = site.ok("history loft-lamp");
    assert!(text.contains("bay-account (login name, not in the configuration)"), "{text}");
    let body: String =
        site.ledger().query_row("SELECT body FROM entry WHERE kind = 'file'", (), |row| row.get(0)).unwrap();
    assert!(body.contains(r#""operator":"bay-account","operator_by":"login""#), "{body}");
    site.audit();
}

/// A life, entered as it went: late and back-dated readings, one taken back, another configuration.
struct Lived {
    site: Site,
    asked: Vec<(Time, Vec<(String, String)>)>,
}

impl Lived {
    fn write(&self, now: Time, act: impl FnOnce(&mut Ledger, &Config, Time)) {
        let text = std::fs::read_to_string(self.site.path("twinwhite.toml")).unwrap();
        let config = Config::parse(&text, "twinwhite.toml", &self.site.path("")).unwrap();
        let path = self.site.path("state/ledger.db");
        let mut ledger = Ledger::open(&path, &config.site.id, OpenMode::Create).unwrap();
        ledger.found(now, "test", None).unwrap();
        act(&mut ledger, &config, now);
    }

    fn take(&self, now: Time, rows: &str) {
        let text = format!("{HEADER}{rows}");
        let (name, bytes) = (format!("{now}.csv"), text.as_bytes());
        let incoming = Incoming { name: &name, bytes, folder_device: None, from: CameBy::Ingest, operator: None };
        self.write(now, |ledger, config, now| drop(take(ledger, config, &incoming, now).unwrap()));
    }

    /// Asks everything as of now, and keeps how the same will be asked when it is past.
    fn ask(&mut self, now: Time) {
        let queries = ["status", "forecast desk", "due --within 90", "history loft-lamp", "history loft-screen"];
        let mut said: Vec<(String, String)> = Vec::new();
        for query in queries {
            let then = format!("{query} --json --known-at {now} --as-of {now}");
            said.push((then, self.site.ok(&format!("{query} --json --as-of {now}"))));
        }
        said.push((format!("status --json --known-at {now}"), said[0].1.clone()));
        said.push((format!("history loft-lamp --json --known-at {now}"), self.site.ok("history loft-lamp --json")));
        said.push((format!("alerts --json --known-at {now}"), self.site.ok("alerts --json")));
        self.asked.push((now, said));
    }
}

#[test]
fn what_was_known_then_is_answered_to_the_byte() {
    let mut lived = Lived { site: Site::loft(), asked: Vec::new() };
    let weeks = quiet_weeks(10);
    lived.take(day(64.0), weeks.trim_start_matches(HEADER));
    lived.ask(day(64.0));
    // Measured on day 52 and entered 12 days later; then a lamp that jumped.
    lived.take(day(65.0), &lamp(day(53.0), 430.0));
    lived.ask(day(65.0));
    lived.take(day(70.0), &(lamp(day(70.0), 430.0) + &screen(day(70.0), 146.0)));
    lived.ask(day(70.0));
    let late = lived.site.readings("loft-lamp").into_iter().find(|row| row["entered_after_days"] == 12.0).unwrap();
    let seq = late["seq"].as_i64().unwrap();
    lived.write(day(71.0), |ledger, config, now| {
        acts::retract(ledger, config, seq, "read with the blinds open", None, now).unwrap();
    });
    lived.ask(day(71.0));
    lived.site.write("twinwhite.toml", LOFT.replace("delta_uv = 0.005", "delta_uv = 0.002"));
    lived.take(day(80.0), &screen(day(80.0), 130.0));
    lived.ask(day(80.0));
    lived.take(day(90.0), &(lamp(day(60.5), 501.0) + &lamp(day(90.0), 431.0)));
    lived.ask(day(90.0));

    let text = lived.site.ok("history loft-lamp");
    assert!(text.contains("entered 12 days later"), "{text}");
    let answers: std::collections::BTreeSet<&String> = lived.asked.iter().map(|(_, said)| &said[0].1).collect();
    assert_eq!(answers.len(), lived.asked.len(), "each time something else was known");
    for (now, said) in &lived.asked {
        for (words, then) in said {
            assert_eq!(&lived.site.ok(words), then, "{words}");
        }
        // What is known later of the same day is another matter.
        assert!(lived.site.ok(&format!("status --json --as-of {now}")) != said[0].1 || *now == day(90.0), "{now}");
    }
    // Between two entries the earlier counts, and what lies ahead of the knowledge is not answered.
    let between = lived.site.json(&format!("status --known-at {} --as-of {}", day(75.0), day(90.0)));
    assert_eq!(between["as_of"], day(75.0).to_string());
    refused(&lived.site.run(&format!("status --known-at {}", day(1.0))), "the ledger knew nothing yet");
    let evening = lived.site.json("status --known-at 2025-03-22");
    assert_eq!(evening["as_of"], "2025-03-22T23:59:59Z", "a bare day means its end");
    refused(&lived.site.run("due --ics due.ics --known-at 2025-04-01T00:00:00Z"), "cannot be used with");
    lived.site.audit();
}
