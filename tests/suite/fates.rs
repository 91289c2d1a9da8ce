//! What becomes of odd readings: held, released, taken back, doubted, in conflict, seen before, late.

use serde_json::Value;

use super::site::{HEADER, LOFT, Site, day, from_now, lamp, quiet_weeks, screen};

/// A lamp row with everything said.
fn row(n: f64, x: f64, y: f64, lx: f64, hours: f64) -> String {
    format!("{},loft-lamp,{x},{y},,{lx},{hours}\n", day(n))
}

fn used(site: &Site, device: &str) -> Vec<bool> {
    site.readings(device).iter().map(|reading| reading["used"].as_bool().unwrap()).collect()
}

#[track_caller]
fn newest(site: &Site, device: &str) -> Value {
    site.readings(device).pop().unwrap()
}

#[track_caller]
fn assert_held(site: &Site, name: &str, text: &str, part: &str) -> i64 {
    let answer = site.ingest(name, text);
    assert_eq!((&answer["result"], &answer["readings"]), (&"taken".into(), &1.into()), "{answer}");
    let held = &answer["held"][0];
    assert!(held["why"].as_str().unwrap().contains(part), "{answer}");
    let reading = newest(site, "loft-lamp");
    assert_eq!((&reading["used"], &reading["seq"]), (&false.into(), &held["seq"]));
    assert!(reading["why"].as_str().unwrap().contains("held back"), "{reading}");
    held["seq"].as_i64().unwrap()
}

#[test]
fn unit_slips_are_held_and_a_person_may_let_them_count() {
    let site = Site::loft();
    site.ingest("quiet.csv", &quiet_weeks(12));
    let before = site.ok(&format!("forecast desk --json --as-of {}", day(90.0)));
    let thousand = assert_held(&site, "a.csv", &format!("{HEADER}{}", lamp(day(85.0), 500_000.0)), "1000");
    assert_held(&site, "b.csv", &format!("{HEADER}{}", lamp(day(86.0), 46.5)), "foot-candles");
    assert_eq!(site.ok(&format!("forecast desk --json --as-of {}", day(90.0))), before, "held is outside the model");
    // The rest of such a file counts.
    let answer = site.ingest("c.csv", &format!("{HEADER}{}{}", lamp(day(87.0), 501_000.0), lamp(day(88.0), 501.0)));
    assert_eq!((answer["readings"].as_i64(), answer["held"].as_array().unwrap().len()), (Some(2), 1));
    assert_eq!(newest(&site, "loft-lamp")["used"], true);
    let reasons = site.json(&format!("status --as-of {}", day(90.0)))["stations"][0]["reasons"].to_string();
    assert!(reasons.contains("3 readings of loft-lamp are held back"), "{reasons}");

    site.ok(&format!("release {thousand}"));
    let released = site.readings("loft-lamp").into_iter().find(|reading| reading["seq"] == thousand).unwrap();
    assert_eq!(released["used"], true, "{released}");
    site.audit();
}

#[test]
fn hours_that_run_backwards_wait_for_the_replacement_that_explains_them() {
    let site = Site::loft();
    let old: String =
        (0..8).map(|n| row(7.0 * f64::from(n), 0.3457, 0.3585, 500.0, 1000.0 + 50.0 * f64::from(n))).collect();
    site.ingest("old.csv", &(HEADER.to_owned() + &old));
    let seq = assert_held(&site, "new.csv", &(HEADER.to_owned() + &row(60.0, 0.3457, 0.3585, 503.0, 4.0)), "1350");
    site.ingest("event.csv", &format!("time,device,event\n{},loft-lamp,replaced\n", day(59.5)));
    let reading = newest(&site, "loft-lamp");
    assert_eq!((&reading["seq"], &reading["used"], &reading["why"]), (&seq.into(), &true.into(), &Value::Null));
    // And if the event was wrong, it is held again.
    let event = site.json("history loft-lamp")["events"][0]["seq"].clone();
    site.run_with(&["retract", &event.to_string(), "--reason", "the other lamp"], &[]);
    assert_eq!(newest(&site, "loft-lamp")["used"], false);
    site.audit();
}

#[test]
fn a_reading_from_the_future_is_held_and_shown() {
    let site = Site::loft();
    let near = site.ingest("near.csv", &(HEADER.to_owned() + &lamp(from_now(5.0 / 1440.0), 500.0)));
    assert_eq!(near["held"], serde_json::json!([]), "five minutes are a clock that is a little off");
    let seq = assert_held(&site, "far.csv", &(HEADER.to_owned() + &lamp(from_now(3.0), 500.0)), "ahead of the clock");
    site.ok(&format!("release {seq}"));
    assert_eq!(newest(&site, "loft-lamp")["used"], true);
    site.audit();
}

#[test]
fn the_same_key_with_other_values_is_a_conflict() {
    let site = Site::loft();
    let first = site.ingest("a.csv", &(HEADER.to_owned() + &lamp(day(0.0), 500.0)))["seqs"][0].clone();
    let answer = site.ingest("b.csv", &(HEADER.to_owned() + &lamp(day(0.0), 510.0)));
    let held = &answer["held"][0];
    assert!(held["why"].as_str().unwrap().contains(&format!("entry {first}")), "{answer}");
    let readings = site.readings("loft-lamp");
    let count = readings.iter().filter(|reading| reading["used"] == true).count();
    assert_eq!((readings.len(), count), (2, 1), "{readings:?}");
    // Another instrument, or another patch, is no conflict.
    let with = "time,device,x,y,illuminance_lx,instrument\n";
    let answer = site.ingest("c.csv", &format!("{with}{},loft-lamp,0.3457,0.3585,505,lux-1\n", day(0.0)));
    assert_eq!((answer["readings"].as_i64(), &answer["held"]), (Some(1), &serde_json::json!([])));
    // The person decides: the first was wrong, the second right.
    assert_eq!(site.run_with(&["retract", &first.to_string(), "--reason", "typed wrong"], &[]).code, 0);
    site.ok(&format!("release {}", held["seq"]));
    let second = site.readings("loft-lamp").into_iter().find(|reading| reading["seq"] == held["seq"]).unwrap();
    assert_eq!(second["used"], true);
    let gone = site.readings("loft-lamp").into_iter().find(|reading| reading["seq"] == first).unwrap();
    assert_eq!((&gone["used"], &gone["why"]), (&false.into(), &"taken back".into()));
    let again = site.run_with(&["retract", &first.to_string(), "--reason", "again"], &[]);
    assert_eq!(again.code, 1, "{}", again.out);
    site.audit();
}

#[test]
fn a_conflict_within_one_file_holds_the_later_row() {
    let site = Site::loft();
    let text = format!("{HEADER}{}{}{}", lamp(day(0.0), 500.0), lamp(day(0.0), 500.0), lamp(day(0.0), 520.0));
    let answer = site.ingest("a.csv", &text);
    let counts = (answer["readings"].as_i64(), answer["duplicates"].as_i64(), answer["held"][0]["line"].as_i64());
    assert_eq!(counts, (Some(2), Some(1), Some(4)), "{answer}");
    assert_eq!(used(&site, "loft-lamp").iter().filter(|used| **used).count(), 1);
    site.audit();
}

#[test]
fn duplicates_are_counted_and_change_nothing() {
    let site = Site::loft();
    site.ingest("a.csv", &quiet_weeks(4));
    let forecast = || site.ok(&format!("forecast desk --json --as-of {}", day(30.0)));
    let before = (site.ok("history loft-lamp --json"), forecast());
    // The same readings in another order of rows and columns, with other line ends and a byte-order mark.
    let mut rows: Vec<String> = quiet_weeks(4).lines().skip(1).map(str::to_owned).collect();
    rows.reverse();
    let turned: String = rows
        .iter()
        .map(|row| {
            let cells: Vec<&str> = row.split(',').collect();
            format!("{};{};{};{};{};{}\r\n", cells[1], cells[5], cells[4], cells[3], cells[2], cells[0])
        })
        .collect();
    let header = "device;illuminance_lx;luminance_cd_m2;y;x;time\r\n";
    let answer = site.ingest("b.csv", &format!("\u{feff}{header}{turned}"));
    assert_eq!((answer["readings"].as_i64(), answer["duplicates"].as_i64()), (Some(0), Some(8)), "{answer}");
    assert_eq!((site.ok("history loft-lamp --json"), forecast()), before);
    site.ok(&format!("add loft-lamp x=0.3457 y=0.3585 illuminance_lx=498 time={}", day(0.0)));
    assert_eq!((site.ok("history loft-lamp --json"), forecast()), before);
    site.audit();
}

#[test]
fn what_cannot_be_right_refuses_the_whole_file() {
    let site = Site::loft();
    let good = lamp(day(0.0), 500.0);
    for (name, bad, column) in [
        ("negative", lamp(day(1.0), -5.0), Some("illuminance_lx")),
        ("unit", screen(day(1.0), 146.0).replace("loft-screen", "loft-lamp"), Some("luminance_cd_m2")),
        ("locus", lamp(day(1.0), 500.0).replace("0.3457,0.3585", "0.01,0.01"), None),
        ("device", lamp(day(1.0), 500.0).replace("loft-lamp", "bay-lamp"), Some("device")),
        ("time", lamp(day(1.0), 500.0).replace('Z', "Q"), Some("time")),
        ("gap", "2025-03-30 01:30,loft-lamp,0.3457,0.3585,,500,\n".to_owned(), Some("time")),
        ("twice", "2025-10-26 01:30,loft-lamp,0.3457,0.3585,,500,\n".to_owned(), Some("time")),
        ("nan", good.replace("500", "NaN"), Some("illuminance_lx")),
    ] {
        let file = format!("{name}.csv");
        site.write(&file, format!("{HEADER}{good}{bad}"));
        let said = site.run(&format!("ingest {file} --json"));
        assert_eq!(said.code, 1, "{name}: {}", said.out);
        let answer: Value = serde_json::from_str(&said.out).unwrap();
        let defect = &answer["files"][0]["defects"][0];
        assert_eq!(answer["files"][0]["result"], "refused", "{name}");
        assert_eq!(defect["line"], 3, "{name}: {answer}");
        if let Some(column) = column {
            assert_eq!(defect["column"], column, "{name}: {answer}");
        }
        assert!(defect["found"].is_string() && defect["expected"].is_string(), "{name}: {answer}");
        assert!(site.path(&file).exists(), "ingest leaves the file alone");
    }
    assert!(used(&site, "loft-lamp").is_empty());
    assert_eq!(site.alerts().len(), 8);
    site.audit();
}

#[test]
fn a_far_reading_is_doubted_until_the_next_one_bears_it_out() {
    let site = Site::loft();
    let weekly: String =
        (0..10).map(|n| from_now(-80.0 + 7.0 * f64::from(n))).map(|t| lamp(t, 500.0) + &screen(t, 146.0)).collect();
    site.ingest("quiet.csv", &(HEADER.to_owned() + &weekly));
    let far = |time| lamp(time, 400.0);
    let answer = site.ingest("far.csv", &(HEADER.to_owned() + &far(from_now(-3.0))));
    assert_eq!((answer["held"].as_array().unwrap().len(), answer["doubted"].as_array().unwrap().len()), (0, 1));
    let reading = newest(&site, "loft-lamp");
    assert_eq!(reading["used"], false);
    assert!(reading["why"].as_str().unwrap().contains("doubted"), "{reading}");
    assert!(!site.alerts().iter().any(|(kind, _)| kind == "step-change"));

    site.ingest("again.csv", &(HEADER.to_owned() + &far(from_now(-1.0))));
    assert!(used(&site, "loft-lamp").iter().all(|used| *used), "both count once they agree");
    assert!(site.alerts().contains(&("step-change".to_owned(), "raised".to_owned())), "{:?}", site.alerts());
    let detail = site.json("alerts").to_string();
    assert!(detail.contains("dimmer"), "{detail}");
    site.audit();
}

#[test]
fn a_stray_reading_stays_out_once_the_next_one_agrees_with_the_rest() {
    let site = Site::loft();
    site.ingest("quiet.csv", &quiet_weeks(10));
    site.ingest("stray.csv", &(HEADER.to_owned() + &row(70.0, 0.37, 0.38, 500.0, 0.0)));
    site.ingest("usual.csv", &(HEADER.to_owned() + &lamp(day(77.0), 500.0)));
    let used = used(&site, "loft-lamp");
    assert_eq!(used.iter().filter(|used| !**used).count(), 1);
    assert!(!used[10], "{used:?}");
    site.audit();
}

/// Everything that was read and done at a station, each a file of its own.
fn story() -> Vec<String> {
    let reading = |row: String| HEADER.to_owned() + &row;
    let event = |n: f64, device: &str, event: &str| format!("time,device,event\n{},{device},{event}\n", day(n));
    let mut story = Vec::new();
    for n in 0..6 {
        let n = f64::from(n);
        story.push(reading(row(7.0 * n, 0.3457 + 0.0002 * n, 0.3585, 500.0 - n, 100.0 + 50.0 * n)));
        story.push(reading(screen(day(7.0 * n + 0.1), 146.0 - 0.5 * n)));
    }
    story.push(event(36.0, "loft-screen", "recalibrated"));
    story.push(reading(screen(day(37.0), 146.0)));
    story.push(event(40.0, "loft-lamp", "replaced"));
    story.push(reading(row(41.0, 0.3450, 0.3580, 510.0, 2.0)));
    // A step that nobody logged, and a slip.
    story.push(reading(row(50.0, 0.3450, 0.3580, 400.0, 60.0)));
    story.push(reading(row(57.0, 0.3450, 0.3580, 401.0, 100.0)));
    story.push(reading(row(58.0, 0.3450, 0.3580, 401_000.0, 101.0)));
    story
}

#[test]
fn the_order_of_arrival_does_not_matter() {
    let mut answers: Vec<(u64, Vec<String>)> = Vec::new();
    for seed in 0..4u64 {
        let site = Site::new(LOFT);
        let mut story: Vec<String> = story();
        if seed == 1 {
            story.reverse();
        } else if seed > 1 {
            let mut dice = seed;
            for at in (1..story.len()).rev() {
                dice = dice.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
                story.swap(at, (dice >> 33) as usize % (at + 1));
            }
        }
        for (n, text) in story.iter().enumerate() {
            assert_eq!(site.ingest(&format!("{n}.csv"), text)["result"], "taken");
        }
        let mut said: Vec<String> =
            [45.0, 60.0].iter().map(|n| site.ok(&format!("forecast desk --json --as-of {}", day(*n)))).collect();
        for device in ["loft-lamp", "loft-screen"] {
            let readings = site.readings(device);
            said.extend(readings.iter().map(|r| format!("{device} {} {} {}", r["time"], r["used"], r["why"])));
        }
        site.audit();
        answers.push((seed, said));
    }
    for (seed, said) in &answers {
        for (here, first) in said.iter().zip(&answers[0].1) {
            assert_eq!(here, first, "order {seed}");
        }
        assert_eq!(said.len(), answers[0].1.len());
    }
}
