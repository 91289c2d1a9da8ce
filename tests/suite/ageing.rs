//! `ageing` and the drawings, as a studio uses them that has kept a lamp's readings in a spreadsheet for two years.

use std::fs;
use std::path::PathBuf;

use quick_xml::Reader;
use quick_xml::events::Event;
use serde_json::Value;
use twinwhite::life::maintenance::{LeftAt, Maintenance, NoProjection};
use twinwhite::simulate::Chance;
use twinwhite::units::Time;

use super::site::{HEADER, LOFT, Site, day, pinned};

/// A tube in the loft, and the spreadsheet's own columns.
fn studio() -> Site {
    let config = LOFT
        .replace("kind = \"led\"", "kind = \"fluorescent\"\nrated_hours = 5000")
        .replace("adjustable = [\"level\"]\n", "");
    Site::new(&(config + MAPPING))
}

const MAPPING: &str = r#"
[[mapping]]
id = "lamp-log"
decimal = ","
time = { column = "Datum", format = "%d.%m.%Y %H:%M" }
columns = { x = "x", y = "y", illuminance_lx = "Lux", hours = "Stunden" }
constants = { device = "loft-lamp", instrument = "spectro-1" }
ignore = ["Wer"]
"#;

/// Hours a day that the lamp burns.
const USE: f64 = 9.0;
/// The spreadsheet's first day, the day on which the tube is replaced, and the day on which the question is asked.
const BEGAN: f64 = -500.0;
const SWAPPED: f64 = BEGAN + 330.0;
const ENDED: f64 = BEGAN + 730.0;

fn comma(number: f64, digits: usize) -> String {
    format!("{number:.digits$}").replace('.', ",")
}

/// Two years, a reading each week: a tube that falls faster and is replaced, and one that falls slower.
fn spreadsheet() -> String {
    let mut chance = Chance::new(20_250_106);
    let mut text = "Datum;Stunden;Lux;x;y;Wer\r\n".to_owned();
    for week in 0..104 {
        let date = BEGAN + 7.0 * f64::from(week) + 0.02 * chance.share();
        let (since, alpha, first) =
            if date < SWAPPED { (date - BEGAN, 9e-5, 520.0) } else { (date - SWAPPED, 5.5e-5, 530.0) };
        let hours = USE * since + 40.0;
        let lux = first * libm::exp(-alpha * hours + 0.006 * chance.normal());
        // It turns yellower by 0.0004 in x each 1000 h.
        let x = 0.3457 + 4e-7 * hours + 0.0003 * chance.normal();
        let y = 0.3585 + 3e-7 * hours + 0.0003 * chance.normal();
        let time = day(date).to_chrono().format("%d.%m.%Y %H:%M");
        text.push_str(&format!(
            "{time};{};{};{};{};ines\r\n",
            comma(hours, 0),
            comma(lux, 1),
            comma(x, 4),
            comma(y, 4)
        ));
    }
    text
}

#[track_caller]
fn near(got: f64, want: f64, within: f64, what: &str) {
    assert!((got - want).abs() <= within, "{what}: {got}, expected {want} ± {within}");
}

/// Days from the tests' day 0 to the day that a JSON field names.
#[track_caller]
fn days_to(value: &Value) -> f64 {
    let date = value.as_str().unwrap_or_else(|| panic!("a date: {value}"));
    Time::parse(&format!("{date}T12:00:00Z")).unwrap().since(day(0.0)).0
}

/// The studio with its two years in the ledger.
fn two_years() -> Site {
    let site = studio();
    let taken = site.ingest("lamp-log.csv", &spreadsheet());
    assert_eq!((&taken["result"], &taken["readings"]), (&"taken".into(), &104.into()), "{taken}");
    site.ok(&format!("record replaced loft-lamp --at {}", day(SWAPPED)));
    site
}

#[test]
fn a_spreadsheet_of_two_years_gives_a_date_a_range_a_reason_and_how_such_dates_did() {
    let site = two_years();
    let asked = format!("ageing loft-lamp --as-of {}", day(ENDED));
    let told = site.json(&asked);
    // 530 lx fall to 500/1.2 lx at 4374 h, which is day 482 of the second tube.
    let truth = SWAPPED + (libm::log(530.0 * 1.2 / 500.0) / 5.5e-5 - 40.0) / USE;
    let leaves = &told["leaves_aim"];
    near(days_to(&leaves["about"]), truth, 15.0, "about");
    assert!(days_to(&leaves["likely_from"]) < truth && truth < days_to(&leaves["likely_to"]), "{leaves}");
    assert!(days_to(&leaves["likely_to"]) - days_to(&leaves["likely_from"]) < 120.0, "{leaves}");
    assert_eq!((&leaves["because"], &leaves["guess"]), (&"dimmer".into(), &false.into()));
    let hours = USE * (ENDED - SWAPPED) + 40.0;
    near(told["age"]["hours"].as_f64().unwrap(), hours, 60.0, "age");
    near(told["light_left"]["mean"].as_f64().unwrap(), libm::exp(-5.5e-5 * (hours - 70.0)), 0.03, "light left");
    near(told["ln_light_rate"]["per_1000_h"]["mean"].as_f64().unwrap(), -0.055, 0.01, "rate");
    near(told["hours"]["per_day"].as_f64().unwrap(), USE, 0.1, "hours a day");
    near(told["rated"]["used"].as_f64().unwrap(), hours / 5000.0, 0.02, "rated");
    let lives = told["lives"].as_array().unwrap();
    assert_eq!(lives.len(), 2);
    near(lives[0]["light_left"].as_f64().unwrap(), libm::exp(-9e-5 * 2900.0), 0.03, "the first tube's end");
    // The first tube was at 500/1.2 lx after 2462 h, day 269.
    let left = BEGAN + (libm::log(520.0 * 1.2 / 500.0) / 9e-5 - 40.0) / USE;
    let checked = told["checked"].as_array().unwrap();
    assert_eq!(checked.len(), 2);
    for check in checked {
        near(days_to(&check["left_aim"]), left, 15.0, "left its aim");
        assert_eq!(check["within"], true, "{check}");
        near(check["days_late"].as_f64().unwrap(), 0.0, 40.0, "late");
        // What would have been said is what is said as of then.
        let then = site.json(&format!("ageing loft-lamp --as-of {}", check["asked"].as_str().unwrap()));
        assert_eq!(then["leaves_aim"], check["said"]);
        assert_eq!(then["checked"].as_array().unwrap().len(), 0, "what had not happened was not known");
    }
    assert_eq!(told["outlived"], 0);
    let text = site.ok(&asked);
    assert_eq!(text.lines().next(), told["verdict"].as_str());
    pinned("ageing-lamp", &text);
    site.audit();
}

#[test]
fn ageing_from_the_first_reading_on() {
    let site = studio();
    pinned("ageing-nothing", &site.ok("ageing loft-lamp"));
    let site = two_years();
    let at = |n: f64| site.ok(&format!("ageing loft-lamp --as-of {}", day(n)));
    pinned("ageing-first", &at(BEGAN + 1.0));
    pinned("ageing-young", &at(BEGAN + 60.0));
    pinned("ageing-off", &at(BEGAN + 300.0));
    pinned("ageing-new-tube", &at(SWAPPED + 10.0));
    let first = site.json(&format!("ageing loft-lamp --as-of {}", day(BEGAN + 1.0)));
    assert_eq!(first["leaves_aim"]["about"], Value::Null, "one reading gives no date");
    assert_eq!(site.run("ageing loft-lump").code, 1);
}

/// A dimmer that is turned up is no growth of light, and buys time.
#[test]
fn a_dimmer_buys_time_and_makes_no_lamp_younger() {
    let site = Site::loft();
    let rows: String = (0..50)
        .map(|week| {
            let date = 7.0 * f64::from(week);
            let lx = if week < 30 { 500.0 } else { 560.0 } * libm::exp(-7e-4 * date);
            format!("{},loft-lamp,0.3457,0.3585,{lx:.1},{}\n", day(date), if week < 30 { "70" } else { "80" })
        })
        .collect();
    site.ingest("lamp.csv", &format!("time,device,x,y,illuminance_lx,setting\n{rows}"));
    let before = site.json(&format!("ageing loft-lamp --as-of {}", day(200.0)));
    let acts = before["what_to_do"].to_string();
    assert!(acts.contains("dimmer") && acts.contains("buys time"), "{acts}");
    let after = site.json(&format!("ageing loft-lamp --as-of {}", day(343.0)));
    near(after["light_left"]["mean"].as_f64().unwrap(), libm::exp(-7e-4 * 336.0), 0.03, "light left");
    assert_eq!((&after["hours"], &after["age"]["days"]), (&Value::Null, &343.0.into()));
    assert_eq!(after["lives"].as_array().unwrap().len(), 1);
}

/// A lamp that walks to yellow, past the hours it was rated for, with a dial that may bring it back.
#[test]
fn a_dial_buys_time_too_and_rated_hours_are_no_secret() {
    let config = LOFT.replace("adjustable = [\"level\"]", "adjustable = [\"cct\"]\nrated_hours = 1500");
    let site = Site::new(&config);
    let rows: String = (0..40)
        .map(|week| {
            let date = 7.0 * f64::from(week);
            let (x, y) = (0.3457 + 3e-5 * date, 0.3585 + 2e-5 * date);
            format!("{},loft-lamp,{x:.5},{y:.5},500,{:.0}\n", day(date), 9.0 * date)
        })
        .collect();
    site.ingest("lamp.csv", &format!("time,device,x,y,illuminance_lx,hours\n{rows}"));
    let said = |date: f64| site.json(&format!("ageing loft-lamp --as-of {}", day(date)))["what_to_do"].to_string();
    let before = said(120.0);
    assert!(before.contains("colour dial") && before.contains("buys time") && !before.contains("rated"), "{before}");
    let after = said(273.0);
    assert!(after.contains("past its rated hours") && after.contains("Turn the colour dial of loft-lamp"), "{after}");
}

#[test]
fn a_screen_is_recalibrated_and_one_that_follows_the_paper_has_no_aim_of_its_own() {
    let rows = |from: i32, to: i32| -> String {
        (from..to)
            .map(|week| {
                let since = 7.0 * f64::from(week - from);
                let (x, y) = (0.3435 + 6e-5 * since, 0.3550 + 6e-5 * since);
                format!("{},loft-screen,{x:.5},{y:.5},146,,\n", day(7.0 * f64::from(week)))
            })
            .collect()
    };
    let fill = |site: &Site| {
        site.ingest("screen.csv", &format!("{HEADER}{}", rows(0, 26) + &rows(26, 40)));
        site.ok(&format!("record recalibrated loft-screen --at {}", day(181.0)));
    };
    let site = Site::loft();
    fill(&site);
    let asked = format!("ageing loft-screen --as-of {}", day(275.0));
    let told = site.json(&asked);
    assert_eq!(told["leaves_aim"]["because"], "colour");
    assert!(told["leaves_aim"]["direction"].as_str().unwrap().contains("yellower"), "{told}");
    assert!(told["what_to_do"].to_string().contains("Recalibrate loft-screen"), "{told}");
    assert_eq!((&told["white"]["told_from_zero"], told["checked"].as_array().unwrap().len()), (&true.into(), 2));
    pinned("ageing-screen", &site.ok(&asked));

    let own = "aim = { white = { x = 0.3435, y = 0.3550 }, luminance_cd_m2 = 146 }";
    let site = Site::new(&LOFT.replace(own, "aim = { white = \"paper\", luminance_cd_m2 = 146 }"));
    fill(&site);
    let told = site.json(&asked);
    assert_eq!((&told["leaves_aim"], &told["limits"]), (&Value::Null, &Value::Null));
    let text = site.ok(&asked);
    assert!(text.contains("it follows the paper") && !text.contains("such dates"), "{text}");
}

/// Every element closed, attributes sound, and all text of the file.
fn text_of(svg: &str) -> String {
    let mut reader = Reader::from_str(svg);
    reader.config_mut().check_end_names = true;
    let (mut text, mut depth) = (String::new(), 0i32);
    loop {
        match reader.read_event().unwrap_or_else(|bad| panic!("{bad}: {svg}")) {
            Event::Start(start) => {
                depth += 1;
                start.attributes().for_each(|attribute| assert!(attribute.is_ok(), "{attribute:?}"));
            }
            Event::Empty(empty) => empty.attributes().for_each(|a| assert!(a.is_ok(), "{a:?}")),
            Event::End(_) => depth -= 1,
            Event::Text(part) => text.push_str(&format!("{}\n", part.xml10_content())),
            Event::Eof => break,
            _ => {}
        }
    }
    assert_eq!(depth, 0);
    assert!(!svg.contains("NaN") && !svg.contains("inf"), "{svg}");
    text
}

#[test]
fn drawings_are_sound_and_tell_what_is_left_out_and_why() {
    let site = two_years();
    let slip = |n: f64, lx: f64| format!("{},loft-lamp,0.3457,0.3585,{lx}\n", day(n));
    let odd = slip(BEGAN + 100.5, 43.2) + &format!("{},loft-lamp,0.37,0.38,470\n", day(BEGAN + 150.5));
    site.ingest("odd.csv", &format!("time,device,x,y,illuminance_lx\n{odd}"));
    site.ok(&format!("record cleaned loft-lamp --at {} note=dust<&>", day(BEGAN + 500.0)));
    site.ok(&format!("history loft-lamp --svg history.svg --as-of {}", day(ENDED)));
    let svg = fs::read_to_string(site.path("history.svg")).unwrap();
    let text = text_of(&svg);
    let readings = site.readings("loft-lamp");
    let unused: Vec<&Value> = readings.iter().filter(|reading| reading["used"] == false).collect();
    assert_eq!(unused.len(), 2);
    for why in unused {
        assert!(text.matches(why["why"].as_str().unwrap()).count() >= 2, "by the mark and below: {why}");
    }
    assert!(text.contains("replaced") && text.contains("cleaned"), "{text}");
    assert_eq!(svg.matches("class=\"used\"").count(), 3 * 104);
    assert_eq!(svg.matches("class=\"unused\"").count(), 3 * 2);
    assert_eq!((svg.matches("class=\"band\"").count(), svg.matches("class=\"ahead\"").count()), (3, 3));
    assert!(svg.contains("prefers-color-scheme:dark"));

    site.ok(&format!("ageing loft-lamp --svg ageing.svg --as-of {}", day(ENDED)));
    let svg = fs::read_to_string(site.path("ageing.svg")).unwrap();
    assert!(text_of(&svg).contains("rated hours") && svg.contains("class=\"ahead\""));

    // Where nothing is known there is nothing to draw, and no harm.
    site.ok("history loft-screen --svg empty.svg");
    site.ok("ageing loft-screen --svg nothing.svg");
    for name in ["empty.svg", "nothing.svg"] {
        text_of(&fs::read_to_string(site.path(name)).unwrap());
    }
    assert_eq!(site.run("history loft-lamp --svg no/such/folder.svg").code, 1);
}

fn open_data(file: &str) -> Option<Vec<Vec<String>>> {
    let folder = std::env::var_os("TWINWHITE_OPEN_DATA")
        .map_or_else(|| PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../shared/open-data"), PathBuf::from);
    let path = folder.join("ageing").join(file);
    let Ok(text) = fs::read_to_string(&path) else {
        eprintln!("skipped: no open data at {}", path.display());
        return None;
    };
    let rows = text.lines().skip(1).filter(|line| !line.is_empty());
    Some(rows.map(|line| line.split(',').map(str::to_owned).collect()).collect())
}

/// The mean of each temperature of a published test, against figures computed apart from this code.
#[test]
fn published_ageing_by_the_arithmetic_of_tm_21() {
    let (Some(light), Some(checks)) = (open_data("luminosity.csv"), open_data("tm21-check.csv")) else { return };
    let number = |text: &String| text.parse::<f64>().unwrap();
    for check in checks {
        let of: Vec<(f64, f64)> =
            light.iter().filter(|row| row[1] == check[0]).map(|row| (number(&row[2]), number(&row[3]))).collect();
        let mut hours: Vec<f64> = of.iter().map(|(hours, _)| *hours).collect();
        hours.sort_by(f64::total_cmp);
        hours.dedup();
        let mean = |at: f64| {
            let units: Vec<f64> = of.iter().filter(|(hours, _)| *hours == at).map(|(_, light)| *light).collect();
            units.iter().sum::<f64>() / units.len() as f64
        };
        let record: Vec<(f64, f64)> = hours.iter().map(|at| (*at, mean(*at))).collect();
        let fit = Maintenance::of(&record).unwrap();
        assert_eq!(fit.points, check[3].parse::<usize>().unwrap());
        near(fit.record_hours, number(&check[2]), 0.0, "hours of record");
        near(fit.alpha, number(&check[5]), 5e-12, "alpha");
        near(fit.b, number(&check[6]), 5e-7, "B");
        near(fit.projected(0.7).unwrap(), number(&check[7]), 0.05, "L70");
        match (fit.left_at(0.7), check[8].as_str()) {
            (LeftAt::Projected(hours), "") => near(hours, number(&check[7]), 0.05, "projected"),
            (LeftAt::Passed(hours), passed) => near(hours, passed.parse().unwrap(), 0.05, "passed within the test"),
            (other, passed) => panic!("{other:?} for {passed}"),
        }
    }
}

/// 4000 h are no long record.
#[test]
fn a_short_published_record_gives_no_projection() {
    let Some(rows) = open_data("gaas-laser.csv") else { return };
    let number = |text: &String| text.parse::<f64>().unwrap();
    let unit: Vec<(f64, f64)> = rows
        .iter()
        .filter(|row| row[0] == rows[0][0])
        .map(|row| (number(&row[1]), 1.0 / (1.0 + number(&row[2]) / 100.0)))
        .collect();
    assert_eq!(Maintenance::of(&unit), Err(NoProjection::Short { hours: 4000.0 }));
}

/// A lamp that reports hours for long enough gets a projection, and is told what it is.
#[test]
fn a_long_record_is_projected_and_never_called_a_tm_21_result() {
    let site = Site::loft();
    let mut chance = Chance::new(4);
    let rows: String = (0..52)
        .map(|fortnight| {
            let (date, hours) = (14.0 * f64::from(fortnight), 168.0 * f64::from(fortnight));
            let lx = 505.0 * libm::exp(-8e-6 * hours + 0.002 * chance.normal());
            format!("{},loft-lamp,0.3457,0.3585,{lx:.2},{hours}\n", day(date - 500.0))
        })
        .collect();
    site.ingest("lamp.csv", &format!("time,device,x,y,illuminance_lx,hours\n{rows}"));
    let asked = format!("ageing loft-lamp --as-of {}", day(220.0));
    let told = site.json(&asked);
    let projection = &told["projection"];
    near(projection["record_hours"].as_f64().unwrap(), 8568.0, 0.0, "record");
    near(projection["alpha_per_hour"].as_f64().unwrap(), 8e-6, 1.5e-6, "alpha");
    let left = projection["left"].as_array().unwrap();
    assert_eq!((&left[2]["share"], &left[2]["kind"]), (&0.7.into(), &"projected".into()));
    assert!(left[2]["hours"].as_f64().unwrap() <= 6.0 * 8568.0);
    let text = site.ok(&asked);
    assert!(text.contains("an estimate from one lamp by one meter") && text.contains("no TM-21 result"), "{text}");
}
