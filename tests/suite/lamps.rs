//! `inspect` and `compare` as a person uses them who has to choose a lamp.

use std::fs;

use serde_json::Value;

use super::site::{LOFT, Site, day, pinned, repository, screen};

/// Five invented lamps, measured in a shop (tests/fixtures/lamps).
fn shop(site: &Site) {
    site.write("shop.csv", fs::read(repository("tests/fixtures/lamps/shop.csv")).unwrap());
}

fn list(value: &Value) -> &[Value] {
    value.as_array().unwrap_or_else(|| panic!("a list: {value}"))
}

#[test]
fn five_lines_say_whether_to_judge_prints_under_a_lamp() {
    let site = Site::bare();
    shop(&site);
    let said = site.ok("inspect shop.csv");
    pinned("inspect-shop", &said);
    for block in said.split("\n\n").skip(1).take(5) {
        assert_eq!(block.lines().count(), 5, "{block}");
    }
    let one = site.ok("inspect shop.csv --only north-panel");
    pinned("inspect-one", &one);
    let missing = site.run("inspect shop.csv --only south-panel");
    assert_eq!(missing.code, 1);
    assert!(missing.err.contains("'south-panel'"), "{}", missing.err);
}

#[test]
fn a_household_lamp_is_unfit_and_equal_kelvins_are_told_apart() {
    let site = Site::bare();
    shop(&site);
    let said = site.ok("inspect shop.csv");
    let line = |name: &str| said.lines().find(|line| line.starts_with(&format!("{name}: "))).unwrap().to_owned();
    assert!(line("kitchen-bulb").contains("not a lamp to judge prints under: its white is"));
    assert!(line("kitchen-bulb").contains("yellower than daylight"));
    assert!(line("north-panel").contains("a lamp to judge prints under"));
    // Common practice: a 5000 K lamp of negative Duv looks magenta.
    assert!(line("rose-panel").contains("more magenta than daylight"));
}

#[test]
fn inspect_hands_every_figure_on() {
    let site = Site::bare();
    shop(&site);
    let answer = site.json("inspect shop.csv");
    let readings = list(&answer["readings"]);
    assert_eq!(readings.len(), 5);
    for reading in readings {
        for field in ["X", "Y", "Z", "x", "y", "u_prime", "v_prime", "cct_k", "duv", "ra", "r9", "rf", "rg", "mired"] {
            assert!(reading[field].is_number(), "{field}: {reading}");
        }
        assert_eq!(reading["Y"], reading["illuminance_lx"]);
        let spectral = &reading["spectral"];
        assert_eq!(list(&spectral["indices"]["r"]).len(), 15);
        assert_eq!(list(&spectral["fidelity"]["hue_bins"]).len(), 16);
        assert_eq!(list(&spectral["fidelity"]["samples"]).len(), 99);
        assert_eq!(list(&spectral["hues"]).len(), 6);
        assert!(spectral["similarity"]["d50"].is_number() && spectral["u_prime_10"].is_number());
        assert_eq!(spectral["ultraviolet"], "UV: not measured");
        assert_eq!(spectral["daylight_simulator"]["judged"], false);
        for edition in ["indices", "fidelity", "similarity", "daylight_simulator"] {
            assert!(spectral[edition]["edition"].is_string(), "{edition}");
        }
    }
    let ra = |at: usize| readings[at]["ra"].as_f64().unwrap();
    // colour-science 0.4.7 on the same figures, joined in its own way (make_lamps.py prints them).
    for (at, published) in [(0, 98.9), (1, 93.0), (2, 76.9), (3, 84.7), (4, 100.0)] {
        assert!((ra(at) - published).abs() < 0.3, "{}", readings[at]["id"]);
    }
    // Relative values have colour and no level.
    let relative = fs::read_to_string(site.path("shop.csv")).unwrap().replace("W/m2/nm", "relative");
    site.write("relative.csv", relative);
    let first = &site.json("inspect relative.csv")["readings"][0];
    assert!(first["Y"].is_null() && first["illuminance_lx"].is_null() && first["cct_k"].is_number());
}

#[test]
fn a_drawing_holds_both_spectra_and_every_hue() {
    let site = Site::bare();
    shop(&site);
    site.ok("inspect shop.csv --svg shop.svg");
    let drawn = fs::read_to_string(site.path("shop.svg")).unwrap();
    assert_eq!(drawn.matches("<polyline").count(), 2 * 5);
    assert_eq!(drawn.matches("<circle").count(), 16 * 5);
    assert!(drawn.starts_with("<?xml") && drawn.trim_end().ends_with("</svg>"));
    site.write("white.csv", "x,y\n0.3127,0.3290\n");
    let nothing = site.run("inspect white.csv --svg white.svg");
    assert_eq!(nothing.code, 1);
    assert!(nothing.err.contains("no spectrum to draw"), "{}", nothing.err);
}

#[test]
fn tables_that_a_user_owns_judge_a_daylight_simulator() {
    let site = Site::bare();
    shop(&site);
    // Invented: five greys, each with a counterpart that trades green for red.
    let mut tables =
        "nm,standard_1,standard_2,standard_3,standard_4,standard_5,d50_1,d50_2,d50_3,d50_4,d50_5\n".to_owned();
    for nm in (400..=700).step_by(5) {
        let ripple = 0.02 * (f64::from(nm) / 25.0).sin();
        let standard: Vec<String> = (1..=5).map(|k| format!("{}", 0.15 * f64::from(k))).collect();
        let other: Vec<String> = (1..=5).map(|k| format!("{}", 0.15 * f64::from(k) + ripple)).collect();
        tables.push_str(&format!("{nm},{},{}\n", standard.join(","), other.join(",")));
    }
    site.write("tables.csv", tables);
    let judged = site.json("inspect shop.csv --only north-panel --tables tables.csv");
    let simulator = &judged["readings"][0]["spectral"]["daylight_simulator"];
    assert_eq!((&simulator["judged"], simulator["phase"].as_str()), (&Value::Bool(true), Some("D50")));
    assert!(simulator["index"].as_f64().unwrap() > 0.0 && simulator["grade"].is_string());
    let without = site.ok("inspect shop.csv --only north-panel");
    assert!(without.contains("not judged: needs the tables of ISO 23603"), "{without}");
    let bad = site.run("inspect shop.csv --tables shop.csv");
    assert_eq!(bad.code, 1);
    assert!(bad.err.contains("standard_1"), "{}", bad.err);
}

#[test]
fn compare_ranks_the_lamps_of_a_shop() {
    let site = Site::new(LOFT);
    let screens: String = (0..6).map(|week| screen(day(7.0 * f64::from(week)), 146.0)).collect();
    site.ingest("screen.csv", &(super::site::HEADER.to_owned() + &screens));
    shop(&site);
    site.write("labels.csv", "id,source,cct_k,ra,illuminance_lx\nbox-5000,label,5000,95,\nbox-3000,label,3000,90,\n");
    let said = site.ok(&format!("compare shop.csv labels.csv --station desk --as-of {}", day(36.0)));
    pinned("compare-shop", &said);
    let answer = site.json(&format!("compare shop.csv labels.csv --station desk --as-of {}", day(36.0)));
    let candidates = list(&answer["candidates"]);
    let names: Vec<&str> = candidates.iter().map(|one| one["lamp"].as_str().unwrap()).collect();
    assert_eq!(names[0], "north-panel");
    let place = |name: &str| names.iter().position(|known| *known == name).unwrap();
    assert!(place("kitchen-bulb") > place("rose-panel") && place("box-3000") > place("box-5000"));
    let of = |name: &str| &candidates[place(name)];
    assert_eq!(of("kitchen-bulb")["fitness"], "unfit");
    assert_eq!(of("kitchen-bulb")["screen_aim"]["sensible"], false);
    assert_eq!(of("north-panel")["screen_aim"]["sensible"], true);
    assert!(of("north-panel")["now"]["chance"].as_f64().unwrap() > 0.95);
    assert_eq!(of("box-5000")["basis"], "label");
    assert!(of("box-5000")["why"].as_str().unwrap().contains("by its label only"));
    let (sd, measured) = (&of("box-5000")["white_sd"], &of("box-5000")["white_sd_if_measured"]);
    assert!(sd.as_f64() > measured.as_f64(), "{sd} {measured}");
    assert!(said.contains("north-panel and rose-panel have nearly the same kelvin"), "{said}");
    // The illuminance times the paper's reflectance over pi, and the lamp's white seen on the paper.
    let aim = &of("north-panel")["screen_aim"];
    assert!((aim["luminance_cd_m2"].as_f64().unwrap() - 520.0 * 0.92 / std::f64::consts::PI).abs() < 1.5, "{aim}");
    site.audit();
}

#[test]
fn compare_says_what_it_cannot_use() {
    let site = Site::loft();
    site.write("screen.csv", "id,x,y,luminance_cd_m2\na,0.31,0.33,100\n");
    let none = site.run("compare screen.csv --station desk");
    assert_eq!(none.code, 1);
    assert!(none.err.contains("no reading of a lamp's white"), "{}", none.err);
    shop(&site);
    let unknown = site.run("compare shop.csv --station dusk");
    assert_eq!(unknown.code, 1);
    assert!(unknown.err.contains("there is desk"), "{}", unknown.err);
    let read = site.ok("compare shop.csv screen.csv --station desk");
    assert!(read.contains("Note: a is passed over: not the light of a lamp."), "{read}");
}

#[test]
fn what_is_missing_of_an_open_file_is_named() {
    let beside = repository("../shared/open-data");
    let folder = std::env::var_os("TWINWHITE_OPEN_DATA").map_or(beside, Into::into);
    let file = folder.join("formats/fluorescent.spdx");
    if !file.is_file() {
        eprintln!("skipped: no open data at {}", folder.display());
        return;
    }
    let site = Site::bare();
    let said = site.ok(&format!("inspect {}", file.display()));
    assert!(said.contains("400 to 850.1 nm, uneven steps"), "{said}");
    assert!(said.lines().any(|line| line.starts_with("Note: ") && line.contains("400 nm")), "{said}");
    let prints = site.run(&format!("inspect {}", folder.join("formats/iso15339-crpc6.txt").display()));
    assert_eq!(prints.code, 1);
    assert!(prints.err.contains("printed patches") || prints.err.contains("prints"), "{}", prints.err);
}
