//! The example configurations with every device at its aim, and the wrong configurations, through the real program.

use std::fs;

use serde_json::Value;
use twinwhite::config::Config;
use twinwhite::site::AimWhite;

use super::site::{Site, day, repository};

/// Weeks of readings at the aims before the question.
const WEEKS: u32 = 10;

fn example(name: &str) -> (Site, Config) {
    let text = fs::read_to_string(repository("config").join(name)).unwrap();
    let site = Site::new(&text);
    let config = Config::parse(&text, name, &site.path("")).unwrap_or_else(|mistakes| panic!("{mistakes}"));
    site.ok("check");
    (site, config)
}

/// Every week a row of `cells` for `device`.
fn weekly(device: &str, cells: &str) -> String {
    (0..WEEKS).map(|week| format!("{},{device},{cells}\n", day(7.0 * f64::from(week)))).collect()
}

#[track_caller]
fn stand_at_their_aims(name: &str) {
    let (site, config) = example(name);
    matched_at_the_aims(&site, &config, 0.0005);
}

/// Reads every device of a site at its aim for weeks: then each station is matched.
#[track_caller]
pub fn matched_at_the_aims(site: &Site, config: &Config, apart: f64) {
    let as_of = day(7.0 * f64::from(WEEKS - 1) + 1.0);
    let things = &config.things;
    let mut lamps = "time,device,x,y,illuminance_lx\n".to_owned();
    for lamp in &things.lamps {
        let cells = format!("{},{},{}", lamp.aim.white.x, lamp.aim.white.y, lamp.aim.illuminance.get());
        lamps.push_str(&weekly(lamp.id.as_str(), &cells));
    }
    assert_eq!(site.ingest("lamps.csv", &lamps)["held"], serde_json::json!([]));

    let mut displays = "time,device,x,y,luminance_cd_m2\n".to_owned();
    for display in &things.displays {
        let station = things.stations.iter().find(|station| station.display == display.id).unwrap();
        let paper = site.json(&format!("status {} --as-of {as_of}", station.id))["stations"][0]["paper_white"].clone();
        let (x, y) = match display.aim.white {
            AimWhite::Fixed(xy) => (xy.x, xy.y),
            AimWhite::Paper => (paper["x"].as_f64().unwrap(), paper["y"].as_f64().unwrap()),
        };
        let own = display.aim.luminance.map(|luminance| luminance.get());
        let luminance = own.unwrap_or_else(|| paper["luminance_cd_m2"]["mean"].as_f64().unwrap());
        displays.push_str(&weekly(display.id.as_str(), &format!("{x},{y},{luminance}")));
    }
    assert_eq!(site.ingest("displays.csv", &displays)["doubted"], serde_json::json!([]));

    let status = site.json(&format!("status --as-of {as_of}"));
    let stations = status["stations"].as_array().unwrap();
    assert_eq!(stations.len(), things.stations.len());
    for station in stations {
        assert_eq!(station["verdict"], "matched", "{station}");
        assert!(station["delta_uv"]["mean"].as_f64().unwrap() < apart, "{station}");
    }
    assert_eq!(site.run(&format!("status --exit-code --as-of {as_of}")).code, 0);
    site.audit();
}

#[test]
fn the_photographer_is_matched_at_the_aims() {
    stand_at_their_aims("photographer.toml");
}

#[test]
fn the_print_room_is_matched_at_the_aims() {
    stand_at_their_aims("print-room.toml");
}

#[test]
fn without_a_configuration_three_lines_say_how_to_start() {
    let site = Site::bare();
    for words in ["status", "run", "check", "add loft-lamp x=0.3457 y=0.3585", "audit verify"] {
        let said = site.run(words);
        assert_eq!((said.code, said.out.as_str()), (1, ""), "{words}");
        assert_eq!(said.err.lines().count(), 3, "{words}: {}", said.err);
        assert!(said.err.contains("twinwhite.toml") && said.err.contains("twinwhite check"), "{}", said.err);
    }
    let said = site.run("--config nowhere.toml status");
    assert_eq!(said.code, 1);
    assert!(said.err.contains("nowhere.toml"), "{}", said.err);
}

#[test]
fn every_wrong_configuration_fails_the_check() {
    let mut count = 0;
    for entry in fs::read_dir(repository("tests/config/invalid")).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|end| end != "toml") {
            continue;
        }
        count += 1;
        let site = Site::new(&fs::read_to_string(&path).unwrap());
        let said = site.run("check");
        assert_eq!(said.code, 1, "{}: {}", path.display(), said.out);
        assert!(said.err.contains("twinwhite.toml"), "{}: {}", path.display(), said.err);
        let said = site.run("check --json");
        assert_eq!(said.code, 1);
        let answer: Value = serde_json::from_str(&said.out).unwrap_or_else(|bad| panic!("{}: {bad}", path.display()));
        assert_eq!(answer["ok"], false);
        let mistakes = answer["mistakes"].as_array().unwrap();
        assert!(!mistakes.is_empty(), "{}", path.display());
        for mistake in mistakes {
            assert!(mistake["line"].is_u64(), "{mistake}");
            assert!(mistake["found"].is_string() && mistake["expected"].is_string(), "{mistake}");
        }
        assert!(!site.path("state").exists(), "{}: nothing is begun", path.display());
    }
    assert!(count > 50, "{count}");
}

#[test]
fn sound_configurations_pass_the_check() {
    for name in ["smallest", "no-station", "dotted-keys", "byte-order-mark-and-crlf"] {
        let site = Site::new(&fs::read_to_string(repository(&format!("tests/config/valid/{name}.toml"))).unwrap());
        let said = site.run("check");
        assert_eq!(said.code, 0, "{name}: {}{}", said.out, said.err);
    }
}

#[test]
fn check_finds_what_a_file_alone_cannot_show() {
    // A reading by an instrument that nobody declared, and an inbox whose place is taken by a file.
    let (site, _) = example("photographer.toml");
    site.ok("add loft-lamp x=0.3457 y=0.3585 illuminance_lx=500 instrument=meter-7");
    let answer = site.json("check");
    assert_eq!(answer["ok"], true);
    assert!(answer["findings"].to_string().contains("meter-7"), "{answer}");
    fs::remove_dir_all(site.path("inbox")).unwrap();
    site.write("inbox", "not a folder");
    let said = site.run("check --json");
    assert_eq!(said.code, 1);
    let answer: Value = serde_json::from_str(&said.out).unwrap();
    let wrong = answer["findings"].as_array().unwrap().iter().find(|finding| finding["found"] == "wrong").unwrap();
    assert_eq!(wrong["what"], "folders");
}
