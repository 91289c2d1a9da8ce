//! Rule sets: the figures of those that come with the program, what `status` says of a station point by point, and the files
//! that a configuration names.

use std::fs;

use serde_json::{Value, json};
use twinwhite::config::built_in_rules;
use twinwhite::rules::{Limit, Origin, Quantity, Rule};
use twinwhite::units::UvPrime;

use super::site::{HEADER, LOFT, Site, day, lamp, pinned, quiet_weeks, screen};

fn point(set: &str, quantity: Quantity) -> Rule {
    let set = built_in_rules().into_iter().find(|known| known.id == set).unwrap();
    set.points.into_iter().find(|point| point.quantity == quantity).unwrap()
}

fn range(min: Option<f64>, max: Option<f64>) -> Limit {
    Limit::Range { min, max }
}

/// u′v′ of CIE 1976 from x, y of CIE 1931 or 1964.
fn uv(x: f64, y: f64) -> UvPrime {
    let d = -2.0 * x + 12.0 * y + 3.0;
    UvPrime { u: 4.0 * x / d, v: 9.0 * y / d }
}

/// The figures of the project's collection of what could be read about the standards, each with how it was known there.
#[test]
fn limits_are_those_that_were_gathered() {
    let (critical, practical) = ("iso-3664-critical", "iso-3664-practical");
    let (beside, studio) = ("iso-12646-beside-print", "d65-studio");
    use Origin::{Memory, Practice, Secondary, Standard};
    use Quantity as Q;
    // ISO 3664:2009, P1 2000 lx ± 500, better ± 250; P2 500 lx ± 125.
    let (p1, p1_better) = (range(Some(1500.0), Some(2500.0)), range(Some(1750.0), Some(2250.0)));
    let p2 = range(Some(375.0), Some(625.0));
    let (at_least, at_most) = (|min| range(Some(min), None), |max| range(None, Some(max)));
    let ratio = |times| Limit::Ratio { times };
    let surround = range(Some(0.1), Some(0.6));
    for (set, quantity, limit, preferred, origin) in [
        (critical, Q::Illuminance, p1, Some(p1_better), Memory),
        (practical, Q::Illuminance, p2, None, Memory),
        (studio, Q::Illuminance, p2, None, Practice),
        (studio, Q::Ra, at_least(90.0), None, Practice),
        (studio, Q::AmbientShare, at_most(0.1), None, Practice),
        (studio, Q::ScreenLuminance, at_least(80.0), Some(at_least(160.0)), Secondary),
        (studio, Q::ScreenAmbient, at_most(64.0), Some(at_most(32.0)), Memory),
        (studio, Q::ScreenToPaper, at_most(0.005), Some(at_most(0.003)), Practice),
        (studio, Q::LuminanceRatio, ratio(1.2), Some(ratio(1.1)), Practice),
        (beside, Q::ScreenLuminance, at_least(80.0), Some(at_least(160.0)), Memory),
        (beside, Q::ScreenEvenness, at_most(0.10), Some(at_most(0.05)), Standard),
        (beside, Q::ScreenTintEvenness, at_most(0.01), None, Standard),
        (beside, Q::ScreenBlack, at_most(2.0), None, Standard),
        (beside, Q::ScreenSurround, at_most(0.25), None, Secondary),
        (beside, Q::ScreenAmbient, at_most(64.0), Some(at_most(32.0)), Memory),
        (beside, Q::AmbientOverScreen, at_most(0.0), None, Secondary),
        // ISO 3664 sets no limit for a screen beside a print.
        (beside, Q::ScreenToPaper, at_most(0.005), Some(at_most(0.003)), Practice),
        (beside, Q::LuminanceRatio, ratio(1.2), Some(ratio(1.1)), Practice),
    ] {
        let found = point(set, quantity);
        assert_eq!((found.limit, found.preferred, found.origin), (limit, preferred, origin), "{set}: {quantity:?}");
    }
    for set in [critical, practical] {
        for (quantity, limit, preferred, origin) in [
            (Q::Ra, at_least(90.0), None, Memory),
            (Q::LowestR1To8, at_least(80.0), None, Memory),
            (Q::MetamerismVisible, at_most(1.0), Some(at_most(0.5)), Memory),
            (Q::MetamerismUv, at_most(1.5), None, Memory),
            (Q::Evenness, at_least(0.75), None, Memory),
            (Q::SurroundReflectance, surround, None, Memory),
            (Q::WarmUp, at_least(15.0), Some(at_least(30.0)), Practice),
            (Q::LampHours, at_most(1.0), None, Memory),
        ] {
            let found = point(set, quantity);
            assert_eq!((found.limit, found.preferred, found.origin), (limit, preferred, origin), "{set}: {quantity:?}");
        }
    }
    // D50 for the 10° observer, D50 and D65 for the 2° observer (CIE 15), each about 0.005.
    for (set, quantity, white, origin) in [
        (critical, Q::LampWhite10, uv(0.347_73, 0.359_52), Secondary),
        (practical, Q::LampWhite10, uv(0.347_73, 0.359_52), Secondary),
        (critical, Q::LampWhite2, uv(0.345_67, 0.358_50), Practice),
        (practical, Q::LampWhite2, uv(0.345_67, 0.358_50), Practice),
        (beside, Q::ScreenWhite, uv(0.345_67, 0.358_50), Memory),
        (studio, Q::LampWhite2, uv(0.312_7, 0.329_0), Practice),
        (studio, Q::ScreenWhite, uv(0.312_7, 0.329_0), Practice),
    ] {
        let found = point(set, quantity);
        let Limit::Circle { centre, radius } = found.limit else { panic!("{found:?}") };
        let apart = (centre.u - white.u).hypot(centre.v - white.v);
        assert!(apart < 1e-4 && radius == 0.005 && found.origin == origin, "{set}: {quantity:?} is {apart} off");
    }
}

fn loft_with(station: &str, rest: &str) -> Site {
    Site::new(&format!("{LOFT}{station}\n{rest}"))
}

const THREE: &str = "rules = [\"iso-3664-practical\", \"iso-12646-beside-print\", \"house\"]";
const HOUSE: &str = r#"
[[rules]]
id = "house"
title = "the loft's own"
source = "agreed"
edition = "2026"
point = [
    { quantity = "screen_to_aim", max = 0.002 },
    { quantity = "illuminance", min = 450, max = 550, preferred_min = 495, preferred_max = 505, source = "the desk" },
]
"#;

fn points(status: &Value, set: usize) -> Vec<(String, String)> {
    let points = status["stations"][0]["rules"][set]["points"].as_array().unwrap();
    let word = |point: &Value, key: &str| point[key].as_str().unwrap().to_owned();
    points.iter().map(|point| (word(point, "point"), word(point, "state"))).collect()
}

fn state(status: &Value, set: usize, quantity: &str) -> String {
    let found = points(status, set).into_iter().find(|(point, _)| point == quantity);
    found.unwrap_or_else(|| panic!("no {quantity}: {status}")).1
}

#[test]
fn status_goes_through_the_rules_point_by_point() {
    let site = loft_with(THREE, HOUSE);
    site.ingest("quiet.csv", &quiet_weeks(10));
    let text = site.ok(&format!("status --as-of {}", day(64.0)));
    let block = text.split_once("  rules, ").unwrap().1;
    pinned("status-rules", &format!("  rules, {block}"));
    assert!(!Site::loft().ok("status").contains("rules"), "a station without sets is as before");
}

#[test]
fn scripts_get_every_point_unrounded() {
    let site = loft_with(THREE, HOUSE);
    site.ingest("quiet.csv", &quiet_weeks(10));
    site.ingest(
        "hours.csv",
        &format!("time,device,x,y,illuminance_lx,hours,warmup_min\n{},loft-lamp,0.3457,0.3585,500,900,12\n", day(64.0)),
    );
    let status = site.json(&format!("status --as-of {}", day(64.0)));
    let sets = status["stations"][0]["rules"].as_array().unwrap();
    assert_eq!(sets.len(), 3);
    assert_eq!(
        (&sets[0]["id"], &sets[0]["title"], &sets[0]["edition"]),
        (&json!("iso-3664-practical"), &json!("practical viewing of prints (P2)"), &json!("ISO 3664:2009"))
    );
    let level = &sets[0]["points"][2];
    let mean = level["value"].as_f64().unwrap();
    assert!((498.0..502.0).contains(&mean) && level["sd"].as_f64().unwrap() > 0.0, "{level}");
    assert_eq!(level["limit"], json!({ "min": 375.0, "max": 625.0 }));
    assert_eq!((&level["point"], &level["state"]), (&json!("illuminance"), &json!("holds")));
    assert_eq!((&level["unit"], &level["origin"]), (&json!("lx"), &json!("memory")));
    assert_eq!(level["origin_note"], "default, check your copy of the standard");
    assert!(level["source"].as_str().unwrap().contains("from memory"));
    assert_eq!(state(&status, 0, "lamp_white_10deg"), "not-measured");
    assert_eq!(sets[0]["points"][0]["needs"], "a spectrum of the lamp");
    assert_eq!(state(&status, 0, "lamp_white_2deg"), "holds");
    assert_eq!(sets[0]["points"][1]["stands_in_for"], "lamp_white_10deg");
    assert_eq!(state(&status, 0, "warm_up"), "fails", "12 minutes of 15");
    assert_eq!(state(&status, 0, "lamp_hours_of_rated"), "not-measured", "no rated_hours");
    let black = sets[1]["points"].as_array().unwrap().iter().find(|point| point["point"] == "screen_black").unwrap();
    assert_eq!(black["origin_note"], Value::Null, "seen in the standard's own text");
    assert_eq!(sets[2]["points"][1]["within_preferred"], true);
}

#[test]
fn rules_never_change_the_verdict_and_old_readings_are_no_readings() {
    let (plain, ruled) = (Site::loft(), loft_with("rules = \"d65-studio\"", ""));
    for site in [&plain, &ruled] {
        site.ingest("quiet.csv", &quiet_weeks(10));
    }
    let ask = |site: &Site, n: f64| site.json(&format!("status --as-of {}", day(n)));
    let (without, with) = (ask(&plain, 64.0), ask(&ruled, 64.0));
    for field in ["verdict", "risk", "risk_within", "reasons", "advice"] {
        assert_eq!(without["stations"][0][field], with["stations"][0][field], "{field}");
    }
    assert_eq!(with["stations"][0]["verdict"], "matched");
    assert_eq!(without["stations"][0]["rules"], json!([]));
    assert_eq!(state(&with, 0, "lamp_white_2deg"), "fails", "D50 is not D65");
    assert_eq!(state(&with, 0, "screen_white"), "fails");
    assert_eq!(state(&with, 0, "screen_to_paper"), "holds");
    for empty in [ask(&ruled, 300.0), ask(&loft_with("rules = \"d65-studio\"", ""), 0.0)] {
        let told = points(&empty, 0);
        assert!(told.len() == 9 && told.iter().all(|(_, state)| state == "not-measured"), "{told:?}");
    }
}

#[test]
fn a_lamp_whose_tint_is_unknown_is_no_measured_white() {
    let site = loft_with("rules = \"iso-3664-practical\"", "");
    let rows: String = (0..5).map(|n| format!("{},loft-lamp,5000,500\n", day(7.0 * f64::from(n)))).collect();
    site.ingest("kelvin.csv", &format!("time,device,cct_k,illuminance_lx\n{rows}"));
    let status = site.json(&format!("status --as-of {}", day(29.0)));
    assert_eq!(state(&status, 0, "lamp_white_2deg"), "not-measured");
    assert_eq!(state(&status, 0, "illuminance"), "holds");
}

fn curve(factor: f64) -> String {
    let rows = (380..=730).step_by(10).map(|nm| format!("{nm},{factor}\n"));
    format!("nm,reflectance_factor\n{}", rows.collect::<String>())
}

/// The loft with the curve of its paper in a file.
fn loft_with_curve(factor: f64) -> Site {
    let site = Site::new(
        &LOFT
            .replace("white = { L = 96.8, a = 0.6, b = -1.9 }", "reflectance = \"papers/rag.csv\"\ncondition = \"M1\""),
    );
    site.write("papers/rag.csv", curve(factor));
    site
}

#[test]
fn the_ledger_keeps_the_files_a_configuration_names() {
    let site = loft_with_curve(0.9);
    site.ingest("lamp.csv", &(HEADER.to_owned() + &lamp(day(0.0), 500.0) + &screen(day(0.0), 143.0)));
    let kept = |site: &Site| -> Vec<Value> {
        let ledger = site.ledger();
        let mut found = ledger.prepare("SELECT body FROM entry WHERE kind = 'config' ORDER BY seq").unwrap();
        let bodies = found.query_map((), |row| row.get::<_, String>(0)).unwrap();
        bodies.map(|body| serde_json::from_str(&body.unwrap()).unwrap()).collect()
    };
    let paper = |site: &Site| {
        let status = site.json(&format!("status --as-of {}", day(1.0)));
        status["stations"][0]["paper_white"]["luminance_cd_m2"]["mean"].as_f64().unwrap()
    };
    assert_eq!(kept(&site).len(), 1);
    assert_eq!(kept(&site)[0]["files"], json!([{ "name": "papers/rag.csv", "text": curve(0.9) }]));
    assert!((paper(&site) - 500.0 * 0.9 / std::f64::consts::PI).abs() < 0.5);
    // The same text with another curve is another configuration.
    site.write("papers/rag.csv", curve(0.8));
    assert!((paper(&site) - 500.0 * 0.8 / std::f64::consts::PI).abs() < 0.5);
    site.ingest("more.csv", &(HEADER.to_owned() + &lamp(day(0.5), 500.0)));
    assert_eq!(kept(&site).len(), 2);
    assert_eq!(kept(&site)[0]["text"], kept(&site)[1]["text"]);
    site.ingest("again.csv", &(HEADER.to_owned() + &lamp(day(0.6), 500.0)));
    assert_eq!(kept(&site).len(), 2, "nothing new");
    site.ok("audit verify");
    site.ok("rebuild");
    site.ok("audit verify");
}

#[test]
fn a_file_that_is_not_there_is_a_mistake_at_its_key() {
    let site = loft_with_curve(0.9);
    site.ok("check");
    fs::remove_file(site.path("papers/rag.csv")).unwrap();
    let said = site.run("check");
    assert_eq!(said.code, 1);
    for part in ["reflectance = \"papers/rag.csv\"", "[[paper]] \"rag-matte\": reflectance", "there is no such file"] {
        assert!(said.err.contains(part), "{part}: {}", said.err);
    }
    site.write("papers/rag.csv", "nm,reflectance_factor\n400,0.9\n410,bright\n");
    assert!(site.run("status").err.contains("papers/rag.csv: line 3: \"bright\" is no number"));
}

#[test]
#[cfg(unix)]
fn a_running_daemon_reads_the_files_again() {
    let site = loft_with_curve(0.9);
    let daemon = site.daemon();
    let files = |n: i64| {
        let count = "SELECT count(*) FROM entry WHERE kind = 'config'";
        site.ledger().query_row(count, (), |row| row.get::<_, i64>(0)).unwrap() == n
    };
    assert!(files(1));
    site.write("papers/rag.csv", curve(0.8));
    daemon.signal("HUP");
    daemon.until("the new curve is in force", || files(2));
    site.write("papers/rag.csv", "nm\n");
    daemon.signal("HUP");
    daemon.wait_for(&["new configuration is not taken"]);
    daemon.wait_for(&["config-refused", "no column reflectance_factor"]);
    assert!(files(2), "the old one stays in force");
    assert!(daemon.stop().success());
}
