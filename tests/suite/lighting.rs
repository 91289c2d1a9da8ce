//! Light as it is judged at a station: spectra and their levels, rendering, lit paper, foreign light, labels; by the program itself.

use serde_json::Value;
use twinwhite::units::Time;

use super::site::{HEADER, LOFT, Site, day, lamp, pinned, quiet_weeks, screen};

/// The loft, whose lamp must render colours with an Ra of at least 90, and a second paper.
fn gallery() -> Site {
    let limits = "{ delta_uv = 0.005, luminance_ratio = 1.2 }";
    let asked = LOFT.replace(limits, "{ delta_uv = 0.005, luminance_ratio = 1.2, ra_min = 90 }");
    assert_ne!(asked, LOFT);
    let baryta = "[[paper]]\nid = \"baryta\"\nwhite = { L = 95.0, a = 0.0, b = -1.0 }\n\n[[station]]";
    Site::new(&asked.replace("[[station]]", baryta))
}

fn weeks(site: &Site) {
    site.ingest("quiet.csv", &quiet_weeks(10));
}

fn station(site: &Site, n: f64) -> Value {
    site.json(&format!("status --as-of {}", day(n)))["stations"][0].clone()
}

fn reasons(station: &Value) -> String {
    station["reasons"].as_array().unwrap().iter().map(|reason| reason.as_str().unwrap().to_owned() + "\n").collect()
}

#[track_caller]
fn says(station: &Value, part: &str) {
    assert!(reasons(station).contains(part), "'{part}' is not in:\n{}", reasons(station));
}

#[track_caller]
fn silent(station: &Value, part: &str) {
    assert!(!reasons(station).contains(part), "'{part}' is in:\n{}", reasons(station));
}

/// A spectral file of one reading.
fn spectrum(time: Time, device: &str, unit: &str, power: impl Fn(f64) -> f64) -> String {
    let nm: Vec<u32> = (380..=780).step_by(5).collect();
    let header: String = nm.iter().map(|nm| format!(",nm{nm}")).collect();
    let values: String = nm.iter().map(|nm| format!(",{}", power(f64::from(*nm)))).collect();
    format!("time,device,unit{header}\n{time},{device},{unit}{values}\n")
}

/// The same of equal power at all wavelengths.
fn flat(time: Time, device: &str, power: f64, unit: &str) -> String {
    spectrum(time, device, unit, |_| power)
}

#[test]
fn an_absolute_spectrum_gives_the_level() {
    let site = Site::loft();
    // 683 lm/W × Σ ȳ(λ) (106.857 nm for the 2° observer): 0.00685 W/m2/nm are 500 lx.
    site.ingest("lamp.csv", &flat(day(0.0), "loft-lamp", 0.006_85, "W/m2/nm"));
    site.ingest("screen.csv", &flat(day(0.0), "loft-screen", 0.002, "W/m2/sr/nm"));
    site.ingest("colour.csv", &flat(day(1.0), "loft-lamp", 3.0, "relative"));
    let level = |device: &str, row: usize| site.readings(device)[row]["ln_luminance"].as_f64().map(f64::exp);
    let near = |found: Option<f64>, expected: f64| (found.unwrap() / expected - 1.0).abs() < 1e-4;
    assert!(near(level("loft-lamp", 0), 0.006_85 * 683.0 * 106.8566), "{:?}", level("loft-lamp", 0));
    assert!(near(level("loft-screen", 0), 0.002 * 683.0 * 106.8566));
    assert_eq!(level("loft-lamp", 1), None, "a relative spectrum has colour and no level");
    let u = site.readings("loft-lamp")[1]["u_prime"].as_f64().unwrap();
    assert!((u - 0.2105).abs() < 2e-4, "equal energy: {u}");
    site.audit();
}

#[test]
fn rendering_that_somebody_stated() {
    let site = gallery();
    weeks(&site);
    let unknown = station(&site, 64.0);
    assert_eq!(unknown["verdict"], "matched");
    says(&unknown, "colour rendering was not measured");
    site.ok(&format!("add loft-lamp x=0.3457 y=0.3585 illuminance_lx=500 ra=93 time={}", day(64.5)));
    let good = station(&site, 65.0);
    assert_eq!(good["verdict"], "matched");
    says(&good, "Ra 93 (CIE 13.3), at least 90, as its meter said on");
    assert_eq!((&good["rendering"]["ra"], &good["rendering"]["source"]), (&93.0.into(), &"given".into()));
    site.ok(&format!("add loft-lamp x=0.3457 y=0.3585 illuminance_lx=500 ra=84.6 time={}", day(66.0)));
    let poor = station(&site, 67.0);
    assert_eq!((&poor["verdict"], &poor["risk"], &poor["risk_within"]), (&"out".into(), &1.0.into(), &1.0.into()));
    assert!(
        reasons(&poor).starts_with("The lamp renders colours poorly: Ra 85 (CIE 13.3), below 90"),
        "{}",
        reasons(&poor)
    );
    assert!(poor["advice"][0].as_str().unwrap().starts_with("Replace loft-lamp (Ra 84.6"), "{}", poor["advice"]);
    let ahead = site.json(&format!("forecast desk --as-of {} --horizon 0,30", day(67.0)));
    assert_eq!((&ahead["verdict"], &ahead["risk"]), (&"out".into(), &1.0.into()));
    for horizon in ahead["horizons"].as_array().unwrap() {
        assert_eq!((&horizon["risk"], &horizon["risk_within"]), (&1.0.into(), &1.0.into()), "{ahead}");
    }
    // Another lamp: what was measured of the old one says nothing of it.
    site.ok(&format!("record replaced loft-lamp --at {}", day(68.0)));
    site.ok(&format!("add loft-lamp x=0.3457 y=0.3585 illuminance_lx=500 time={}", day(68.1)));
    let anew = station(&site, 69.0);
    says(&anew, "was not measured since the lamp was changed on");
    assert!(anew["risk"].as_f64().unwrap() < 0.5 && anew["rendering"].is_null());
    // A retracted figure is none.
    let seq = site.readings("loft-lamp").iter().map(|r| r["seq"].as_i64().unwrap()).max().unwrap();
    site.ok(&format!("add loft-lamp x=0.3457 y=0.3585 illuminance_lx=500 ra=70 time={}", day(69.1)));
    assert_eq!(station(&site, 70.0)["verdict"], "out");
    site.ok(&format!("retract {} --reason wrong-lamp", seq + 1));
    says(&station(&site, 70.0), "was not measured since the lamp was changed on");
    site.audit();
}

#[test]
fn rendering_worked_out_from_a_spectrum() {
    let site = gallery();
    let screens: String = (0..6).map(|week| screen(day(7.0 * f64::from(week)), 146.0)).collect();
    site.ingest("screen.csv", &(HEADER.to_owned() + &screens));
    // Equal energy renders well; light of one blue and one yellow band has a white and next to no colours.
    site.ingest("even.csv", &flat(day(35.0), "loft-lamp", 0.007, "W/m2/nm"));
    let even = station(&site, 35.5);
    says(&even, "Ra 95 (CIE 13.3), at least 90, from its spectrum of 10 Feb 2025.");
    assert_eq!(even["rendering"]["source"], "spectrum");
    site.ok(&format!("add loft-lamp x=0.3333 y=0.3333 ra=80 source=label time={}", day(35.2)));
    says(&station(&site, 35.5), "from its spectrum of");
    site.ok(&format!("record replaced loft-lamp --at {}", day(36.0)));
    let band = |nm: f64, at: f64| (-(nm - at) * (nm - at) / 200.0).exp();
    let bands = |nm: f64| 0.02 * band(nm, 455.0) + 0.02 * band(nm, 575.0);
    site.ingest("bands.csv", &spectrum(day(36.2), "loft-lamp", "W/m2/nm", bands));
    let poor = station(&site, 36.5);
    assert_eq!((&poor["verdict"], &poor["risk"]), (&"out".into(), &1.0.into()));
    assert!(poor["rendering"]["ra"].as_f64().unwrap() < 40.0, "{}", poor["rendering"]);
    says(&poor, "The lamp renders colours poorly");
    // As of the day before, the other lamp.
    says(&station(&site, 35.9), "Ra 95");
    site.audit();
    // A spectrum that may be of another lamp decides nothing until a second reading bears it out.
    let doubtful = gallery();
    weeks(&doubtful);
    doubtful.ingest("bands.csv", &spectrum(day(64.0), "loft-lamp", "W/m2/nm", bands));
    let status = station(&doubtful, 64.5);
    says(&status, "lies far from the rest");
    says(&status, "colour rendering was not measured");
}

#[test]
fn brightened_paper_is_uncertain_until_it_is_read() {
    let bluish = LOFT.replace("a = 0.6, b = -1.9", "a = 1.2, b = -5.5");
    assert_ne!(bluish, LOFT);
    let site = Site::new(&bluish);
    weeks(&site);
    let sd = |station: &Value| station["paper_white"]["v_prime"]["sd"].as_f64().unwrap();
    let unread = station(&site, 64.0);
    says(&unread, "Brightened paper under a lamp whose UV was not measured: its white is uncertain by ± Δu′v′ 0.00");
    assert_ne!(unread["verdict"], "matched", "{unread}");
    let advice = unread["advice"][0].as_str().unwrap();
    assert!(advice.starts_with("Read rag-matte under loft-lamp (`twinwhite add loft-lamp patch=paper"), "{advice}");
    site.ok(&format!("add loft-lamp patch=paper x=0.3435 y=0.3550 luminance_cd_m2=146 time={}", day(64.2)));
    let read = station(&site, 64.5);
    silent(&read, "Brightened");
    says(&read, "was read under this lamp");
    assert!(sd(&read) < 0.5 * sd(&unread), "{} {}", sd(&read), sd(&unread));
    assert_eq!(read["verdict"], "matched", "{}", reasons(&read));
}

#[test]
fn lit_paper_that_was_read_beats_the_calculation() {
    let site = gallery();
    weeks(&site);
    let paper = |station: &Value| station["paper_white"]["v_prime"]["mean"].as_f64().unwrap();
    let before = station(&site, 64.0);
    silent(&before, "was read under this lamp");
    // Bluer than calculated, as of a brightened paper; another paper; and foreign names mean the usual paper.
    let add = |name: &str, y: f64, n: f64| {
        site.ok(&format!("add loft-lamp patch=paper id={name} x=0.3400 y={y} luminance_cd_m2=146 time={}", day(n)));
    };
    add("baryta", 0.3000, 64.1);
    let other = station(&site, 64.2);
    silent(&other, "was read under this lamp");
    assert!((paper(&other) - paper(&before)).abs() < 1e-6);
    add("sheet-7", 0.3490, 64.3);
    let read = station(&site, 64.5);
    says(&read, "The paper white is as rag-matte was read under this lamp on 11 Mar 2025.");
    let expected = 9.0 * 0.3490 / (-2.0 * 0.3400 + 12.0 * 0.3490 + 3.0);
    assert!((paper(&read) - expected).abs() < 2e-4, "{} for {expected}", paper(&read));
    let luminance = read["paper_white"]["luminance_cd_m2"]["mean"].as_f64().unwrap();
    assert!((luminance - 146.0).abs() < 1.0, "{luminance}");
    let sd = |station: &Value| station["paper_white"]["v_prime"]["sd"].as_f64().unwrap();
    assert!(sd(&read) < 0.002, "{}", sd(&read));
    // It goes on holding while the lamp is dimmed by age, and ends with the batch of paper or with the lamp.
    site.ok(&format!("record new_batch rag-matte --at {}", day(65.0)));
    silent(&station(&site, 65.1), "was read under this lamp");
    says(&station(&site, 64.9), "was read under this lamp");
    add("rag-matte", 0.3490, 66.0);
    says(&station(&site, 66.1), "was read under this lamp");
    site.ok(&format!("record setting_changed loft-lamp --at {}", day(67.0)));
    silent(&station(&site, 67.1), "was read under this lamp");
    site.audit();
}

#[test]
fn a_lamp_known_by_its_paper_alone_was_never_read() {
    let site = Site::loft();
    site.ok(&format!("add loft-lamp patch=paper x=0.3435 y=0.3550 luminance_cd_m2=146 time={}", day(0.0)));
    site.ok(&format!("add loft-screen x=0.3435 y=0.3550 luminance_cd_m2=146 time={}", day(0.0)));
    let status = station(&site, 1.0);
    assert_eq!(status["verdict"], "unknown");
    says(&status, "loft-lamp was never read.");
}

#[test]
fn foreign_light_is_told_by_its_hours() {
    let site = Site::loft();
    weeks(&site);
    assert!(station(&site, 64.0)["ambient"].is_null());
    // The zone is Lisbon, in March an hour of no difference to UTC.
    let mut rows = "time,device,patch,x,y,illuminance_lx\n".to_owned();
    for (n, lx) in [(62.9, 90.0), (63.9, 110.0), (63.6, 4.0)] {
        rows += &format!("{},loft-lamp,ambient,0.28,0.295,{lx}\n", day(n));
    }
    rows += &format!("{},loft-screen,ambient,0.28,0.295,80\n", day(63.9));
    site.ingest("window.csv", &rows);
    let status = station(&site, 64.0);
    assert_eq!(status["verdict"], "matched", "it is a reason and no risk");
    says(&status, "Between 9:00 and 12:00 17 % of the light on the print is not the lamp's (at most 10 %); it pulls");
    says(&status, "bluer");
    let ambient = &status["ambient"];
    assert!((ambient["share"].as_f64().unwrap() - 1.0 / 6.0).abs() < 0.003, "{ambient}");
    assert_eq!(ambient["on_print"].as_array().unwrap().len(), 2);
    assert!((ambient["screen_lx"].as_f64().unwrap() - 80.0).abs() < 1e-9);
    silent(&station(&site, 130.0), "is not the lamp's");
    site.audit();
}

#[test]
fn what_the_box_says_stands_until_a_measurement() {
    let site = gallery();
    let screens: String = (0..6).map(|week| screen(day(7.0 * f64::from(week)), 146.0)).collect();
    site.ingest("screen.csv", &(HEADER.to_owned() + &screens));
    site.ok(&format!("add loft-lamp cct_k=5000 ra=90 source=label time={}", day(30.0)));
    let by_label = station(&site, 36.0);
    assert_ne!(by_label["verdict"], "matched", "{by_label}");
    assert_eq!(by_label["verdict"], "unknown", "a reading would settle it");
    says(&by_label, "loft-lamp is known by its label only");
    says(&by_label, "Ra 90 (CIE 13.3), at least 90, by its label.");
    silent(&by_label, "never read");
    assert_eq!(by_label["advice"][0], "Read loft-lamp.");
    pinned("status-by-label", &site.ok(&format!("status --as-of {}", day(36.0))));
    // What is called 5000 K reads 4464 K: taken, used, and no step.
    let taken = site.json(&format!("add loft-lamp cct_k=4464 duv=0.001 illuminance_lx=500 time={}", day(36.5)));
    assert_eq!((taken["held"].as_array().unwrap().len(), taken["doubted"].as_array().unwrap().len()), (0, 0));
    let measured = station(&site, 37.0);
    silent(&measured, "by its label only");
    says(&measured, "The whites differ");
    assert_eq!(measured["verdict"], "out");
    let readings = site.readings("loft-lamp");
    let used: Vec<_> = readings.iter().map(|reading| reading["used"].as_bool().unwrap()).collect();
    assert_eq!(used, [false, true]);
    assert_eq!(readings[0]["why"], "a label; a measurement stands in its place");
    assert!(!site.alerts().iter().any(|(kind, _)| kind == "step-change"), "{:?}", site.alerts());
    // As if there had been no label: the white is the measured one.
    let white = &station(&site, 37.0)["paper_white"];
    assert!((white["cct_k"].as_f64().unwrap() - 4464.0).abs() < 80.0, "{white}");
    site.audit();
}

#[test]
fn a_label_of_another_sort_of_lamp_is_out() {
    let site = Site::loft();
    let screens: String = (0..6).map(|week| screen(day(7.0 * f64::from(week)), 146.0)).collect();
    site.ingest("screen.csv", &(HEADER.to_owned() + &screens));
    site.ok(&format!("add loft-lamp cct_k=2700 source=label time={}", day(30.0)));
    let status = station(&site, 36.0);
    assert_eq!(status["verdict"], "out", "no reading of a household lamp would save it");
    assert_eq!(status["advice"].as_array().unwrap().len(), 1, "it is read before it is thrown away: {status}");
    assert!(site.alerts().iter().all(|(kind, _)| kind != "off-aim"), "{:?}", site.alerts());
}

#[test]
fn a_meter_of_kelvin_alone_leaves_the_tint_open() {
    let site = Site::loft();
    weeks(&site);
    silent(&station(&site, 64.0), "tint");
    site.ok(&format!("add loft-lamp cct_k=5003 illuminance_lx=500 time={}", day(64.5)));
    let status = station(&site, 65.0);
    says(&status, "The tint of loft-lamp is unknown");
    site.ok(&format!("add loft-lamp x=0.3457 y=0.3585 illuminance_lx=500 time={}", day(65.5)));
    silent(&station(&site, 66.0), "tint");
}

#[test]
fn how_bright_the_print_looks() {
    let site = Site::loft();
    weeks(&site);
    let quiet = site.ok(&format!("status --as-of {}", day(64.0)));
    assert!(quiet.contains("The print will look"), "{quiet}");
    let dim: String =
        (0..3).map(|n| lamp(day(64.0 + f64::from(n)), 380.0) + &screen(day(64.0 + f64::from(n)), 146.0)).collect();
    site.ingest("dim.csv", &(HEADER.to_owned() + &dim));
    let status = station(&site, 66.5);
    says(&status, "% darker than the screen (ΔL* ");
    let ratio = status["print_to_screen"]["luminance_ratio"].as_f64().unwrap();
    assert!((0.7..0.82).contains(&ratio), "{ratio}");
    // CIE 1976: L* of the print's white, the screen's being 100.
    let lost = 116.0 * (1.0 - ratio.cbrt());
    assert!((status["print_to_screen"]["delta_l"].as_f64().unwrap() - lost).abs() < 1e-9);
    let text = site.ok(&format!("status --as-of {}", day(66.5)));
    assert_eq!(text.matches("The print will look").count(), 1, "once is enough:\n{text}");
}

#[test]
fn rules_are_held_against_what_spectra_and_foreign_light_tell() {
    let rules = "rules = [\"iso-3664-practical\", \"iso-12646-beside-print\"]\n[tables]\niso_23603 = \"tables.csv\"\n";
    let site = Site::new(&format!("{LOFT}{rules}"));
    site.write("tables.csv", include_str!("../config/files/tables.csv"));
    let screens: String = (0..6).map(|week| screen(day(7.0 * f64::from(week)), 146.0)).collect();
    site.ingest("screen.csv", &(HEADER.to_owned() + &screens));
    site.ingest("even.csv", &flat(day(35.0), "loft-lamp", 0.007, "W/m2/nm"));
    site.ok(&format!("add loft-screen patch=ambient x=0.28 y=0.295 illuminance_lx=80 time={}", day(35.1)));
    let point = |set: usize, name: &str| {
        let sets = station(&site, 35.5)["rules"].clone();
        let points = sets[set]["points"].as_array().unwrap().clone();
        points.into_iter().find(|point| point["point"] == name).unwrap_or_else(|| panic!("no {name}: {sets}"))
    };
    let near = |point: &Value, expected: f64, within: f64| {
        assert!((point["value"].as_f64().unwrap() - expected).abs() < within, "{point}");
    };
    // Illuminant E: Ra 95, and none of R1 to R8 far from it; by CIE 15 a white of its own for the 10° observer.
    let ra = point(0, "ra");
    near(&ra, 95.0, 1.0);
    assert_eq!(ra["state"], "holds");
    assert_eq!(point(0, "lowest_r1_r8")["state"], "holds");
    assert_eq!(point(0, "lamp_white_10deg")["state"], "fails", "equal energy is no D50");
    let light = point(1, "screen_ambient");
    near(&light, 80.0, 1e-6);
    assert_eq!(light["state"], "fails");
    // Skylight of 10 000 K before a screen of 5000 K.
    let over = point(1, "ambient_cct_over_screen");
    assert!(over["value"].as_f64().unwrap() > 3000.0 && over["state"] == "fails", "{over}");
    let metamerism = point(0, "metamerism_visible");
    assert!(metamerism["value"].as_f64().unwrap() > 0.0, "{metamerism}");
    assert_eq!(point(0, "metamerism_uv")["state"], "not-measured");
}
