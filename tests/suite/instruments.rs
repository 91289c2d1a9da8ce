//! Two instruments at one site: their difference is learnt, may be set anew, and an instrument may be what has changed.

use serde_json::Value;

use super::site::{LOFT, Site, day, from_now};
use twinwhite::units::Time;

const HEADER: &str = "time,device,instrument,u_prime,v_prime,luminance_cd_m2,illuminance_lx\n";

fn site() -> Site {
    Site::new(&format!(
        "{LOFT}
[[display]]
id = \"annex-screen\"
aim = {{ white = {{ x = 0.3435, y = 0.3550 }}, luminance_cd_m2 = 146 }}

[[lamp]]
id = \"annex-lamp\"
kind = \"led\"
aim = {{ white = \"D50\", illuminance_lx = 500 }}

[[station]]
id = \"annex\"
display = \"annex-screen\"
lamp = \"annex-lamp\"
paper = \"rag-matte\"
tolerance = {{ delta_uv = 0.005, luminance_ratio = 1.2 }}

[[instrument]]
id = \"house\"
kind = \"spectrometer\"
noise = {{ uv = 0.0005, luminance_pct = 1.0 }}
bias = {{ uv = 0.0015, luminance_pct = 2.0, common = 0.8 }}

[[instrument]]
id = \"guest\"
kind = \"spectrometer\"
noise = {{ uv = 0.0005, luminance_pct = 1.0 }}
bias = {{ uv = 0.002, luminance_pct = 2.0, common = 0.8 }}
"
    ))
}

/// A device at its aim but for `off` in u′.
fn row(time: Time, device: &str, instrument: &str, off: f64) -> String {
    let (u, v, level) =
        if device.ends_with("screen") { (0.20904 + off, 0.48608, "146,") } else { (0.2092 + off, 0.4881, ",500") };
    format!("{time},{device},{instrument},{u:.6},{v},{level}\n")
}

/// What the second instrument reads above the first, in u′.
const APART: f64 = 0.003;

/// Weeks in which the first reads `device`; from week `guest` on the second does so too, every other week.
fn weeks(device: &str, weeks: u32, guest: u32) -> String {
    let mut rows = String::new();
    for week in 0..weeks {
        let scatter = 3e-4 * (f64::from(week % 3) - 1.0);
        let on = 7.0 * f64::from(week);
        rows += &row(day(on), device, "house", scatter);
        if week >= guest && week % 2 == 0 {
            rows += &row(day(on + 1.0), device, "guest", APART - scatter);
        }
    }
    rows
}

fn u_of(site: &Site, station: &str, device: &str, at: f64) -> (f64, f64) {
    let answer = site.json(&format!("forecast {station} --horizon 30 --as-of {}", day(at)));
    let devices = answer["horizons"][0]["devices"].as_array().unwrap();
    let found = devices.iter().find(|one| one["device"] == device).unwrap();
    (found["u_prime"]["mean"].as_f64().unwrap(), found["u_prime"]["sd"].as_f64().unwrap())
}

/// What the second instrument is thought to read above the first on a device, in u′.
fn learnt(site: &Site, device: &str, at: f64) -> (f64, f64) {
    let scale = site.json(&format!("history {device} --as-of {}", day(at)))["scale"].clone();
    assert_eq!((&scale["instrument"], &scale["other"]["instrument"]), (&"house".into(), &"guest".into()), "{scale}");
    let u = &scale["other"]["u_prime"];
    (u["mean"].as_f64().unwrap(), u["sd"].as_f64().unwrap())
}

#[test]
fn the_difference_is_learnt_and_the_forecast_stays_on_the_first_ones_scale() {
    let site = site();
    let alone = super::site::Site::new(&std::fs::read_to_string(site.path("twinwhite.toml")).unwrap());
    site.ingest("both.csv", &format!("{HEADER}{}{}", weeks("loft-screen", 30, 8), weeks("loft-lamp", 30, 99)));
    alone.ingest("one.csv", &format!("{HEADER}{}{}", weeks("loft-screen", 30, 99), weeks("loft-lamp", 30, 99)));
    let (mean, sd) = learnt(&site, "loft-screen", 205.0);
    assert!((mean - APART).abs() < 2.0 * sd && sd < 5e-4, "{mean} ± {sd}");
    let ((both, both_sd), (one, one_sd)) =
        (u_of(&site, "desk", "loft-screen", 205.0), u_of(&alone, "desk", "loft-screen", 205.0));
    assert!((both - one).abs() < 3e-4, "{both} {one}");
    assert!((both_sd / one_sd - 1.0).abs() < 0.15, "more readings never make it less sure: {both_sd} {one_sd}");
    assert_eq!(u_of(&site, "desk", "loft-lamp", 205.0), u_of(&alone, "desk", "loft-lamp", 205.0), "to the last digit");
    assert!(site.alerts().iter().all(|(kind, _)| kind != "step-change" && kind != "instrument-suspect"));
    site.audit();
}

#[test]
fn what_one_device_told_is_known_on_the_next_whatever_came_in_first() {
    let files = [
        weeks("loft-screen", 20, 4),
        weeks("annex-screen", 20, 15),
        weeks("loft-lamp", 20, 16),
        weeks("annex-lamp", 20, 17),
    ];
    let sites = [[0, 1, 2, 3], [3, 1, 0, 2], [2, 3, 1, 0]].map(|order| {
        let site = site();
        for file in order {
            site.ingest(&format!("{file}.csv"), &(HEADER.to_owned() + &files[file]));
        }
        site.audit();
        site
    });
    let said = sites.each_ref().map(|site| {
        ["desk", "annex"].map(|station| site.ok(&format!("forecast {station} --json --as-of {}", day(140.0))))
    });
    assert!(said[0] == said[1] && said[1] == said[2]);
    // The second instrument's first reading of the next screen, in week 16, finds its difference known, of a lamp less so.
    let met = 7.0 * 16.0 + 1.5;
    let (screen, lamp) = (learnt(&sites[0], "annex-screen", met), learnt(&sites[0], "loft-lamp", met));
    assert!((screen.0 - APART).abs() < 7e-4 && screen.1 < 8e-4, "{screen:?}");
    assert!(lamp.0 > 0.0015 && lamp.1 > screen.1, "{lamp:?}");
    // A record that is taken back is as if it had never been, for those that learnt of it too.
    let only = site();
    only.ingest("1.csv", &(HEADER.to_owned() + &files[1]));
    let before = learnt(&only, "annex-screen", met);
    assert!(before.1 > 1.05 * screen.1);
    let pair = row(day(7.0), "loft-screen", "house", 0.0) + &row(day(8.0), "loft-screen", "guest", APART);
    only.ingest("pair.csv", &(HEADER.to_owned() + &pair));
    let with = learnt(&only, "annex-screen", met);
    assert_ne!(with, before);
    only.audit();
    let seq = only.readings("loft-screen").pop().unwrap()["seq"].as_i64().unwrap();
    only.ok(&format!("retract {seq} --reason slip"));
    assert_eq!(learnt(&only, "annex-screen", met), before);
    only.audit();
}

#[test]
fn a_comparison_of_two_instruments_sets_their_difference_anew() {
    let site = site();
    site.ingest("both.csv", &(HEADER.to_owned() + &weeks("loft-screen", 20, 4)));
    let before = learnt(&site, "loft-screen", 134.5);
    site.ok(&format!("record cross_calibrated guest --at {} other=house", day(135.0)));
    assert_eq!(learnt(&site, "loft-screen", 134.5), before);
    site.ingest("next.csv", &format!("{HEADER}{}", row(day(136.0), "loft-screen", "house", 0.0)));
    let (mean, sd) = learnt(&site, "loft-screen", 137.0);
    // Both noises over the root of five.
    assert!(mean == 0.0 && (sd - 5e-4 * (2.0f64 / 5.0).sqrt()).abs() < 1e-9, "{mean} ± {sd}");
    site.audit();
    let event = site.ledger().query_row("SELECT seq FROM event", (), |row| row.get::<_, i64>(0)).unwrap();
    site.ok(&format!("retract {event} --reason never"));
    let (mean, _) = learnt(&site, "loft-screen", 137.0);
    assert!((mean - before.0).abs() < 3e-4);
    site.audit();
}

const DEVICES: [&str; 4] = ["loft-screen", "loft-lamp", "annex-screen", "annex-lamp"];

/// All devices at their aims, read by the first instrument every week until a week ago.
fn steady(site: &Site) {
    let rows: String = (1..14)
        .rev()
        .flat_map(|week| {
            let scatter = 3e-4 * (f64::from(week % 3) - 1.0);
            DEVICES.map(|device| row(from_now(-7.0 * f64::from(week)), device, "house", scatter))
        })
        .collect();
    site.ingest("steady.csv", &(HEADER.to_owned() + &rows));
}

fn open(site: &Site) -> Vec<(String, String)> {
    let answer = site.json("alerts --open");
    let word = |alert: &Value, name: &str| alert[name].as_str().unwrap().to_owned();
    answer["alerts"].as_array().unwrap().iter().map(|one| (word(one, "kind"), word(one, "subject"))).collect()
}

#[test]
fn when_all_jump_together_it_is_the_instrument() {
    let site = site();
    steady(&site);
    assert_eq!(open(&site), []);
    let suspect = [("instrument-suspect".to_owned(), "house".to_owned())];
    for (name, ago) in [("today.csv", 2.0), ("again.csv", 1.0)] {
        let rows: String = DEVICES.map(|device| row(from_now(-ago), device, "house", 0.009)).concat();
        site.ingest(name, &(HEADER.to_owned() + &rows));
        assert_eq!(open(&site), suspect, "one alert, not one a device");
    }
    let detail = site.json("alerts --open")["alerts"][0]["detail"].as_str().unwrap().to_owned();
    assert!(detail.contains("0.009") && detail.contains("with another instrument"), "{detail}");
    for device in DEVICES {
        assert!(detail.contains(device), "{detail}");
    }
    site.ok("record serviced house");
    assert!(
        open(&site).iter().all(|(kind, _)| kind != "step-change" && kind != "instrument-suspect"),
        "{:?}",
        open(&site)
    );
    site.audit();
}

#[test]
fn another_instrument_that_finds_the_same_clears_it() {
    let site = site();
    steady(&site);
    for (name, ago) in [("one.csv", 3.0), ("two.csv", 2.0)] {
        let rows: String = DEVICES.map(|device| row(from_now(-ago), device, "house", 0.009)).concat();
        site.ingest(name, &(HEADER.to_owned() + &rows));
    }
    let rows: String = DEVICES[..2].iter().map(|device| row(from_now(-1.0), device, "guest", 0.0095)).collect();
    site.ingest("guest.csv", &(HEADER.to_owned() + &rows));
    assert!(site.alerts().contains(&("instrument-suspect".to_owned(), "cleared".to_owned())), "{:?}", site.alerts());
    let open = open(&site);
    assert!(open.iter().all(|(kind, _)| kind != "instrument-suspect"), "{open:?}");
    assert!(open.contains(&("step-change".to_owned(), "loft-screen".to_owned())), "{open:?}");
    site.audit();
}

#[test]
fn one_that_jumps_alone_is_a_device() {
    let site = site();
    steady(&site);
    for (name, ago) in [("one.csv", 2.0), ("two.csv", 1.0)] {
        let rows: String = DEVICES
            .map(|device| row(from_now(-ago), device, "house", if device == "loft-lamp" { 0.009 } else { 1e-4 }))
            .concat();
        site.ingest(name, &(HEADER.to_owned() + &rows));
    }
    assert!(open(&site).contains(&("step-change".to_owned(), "loft-lamp".to_owned())), "{:?}", open(&site));
    assert!(open(&site).iter().all(|(kind, _)| kind != "instrument-suspect"));
}
