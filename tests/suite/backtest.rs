//! `backtest`: a studio asks how far the forecasts of its own past were right.

use serde_json::Value;

use super::site::{HEADER, Site, day, lamp, pinned, screen};

/// Ninety weeks. The lamp loses light: 0.6 % a week, so that its match goes out after some forty weeks; then it is
/// replaced, and the new one is bumped down in the last weeks.
fn two_years() -> (String, String) {
    let mut rows = HEADER.to_owned();
    for week in 0..90u32 {
        let scatter = [0.0, 0.006, -0.004, 0.003, -0.007, 0.001, -0.002][week as usize % 7];
        let aged = f64::from(if week < 50 { week } else { week - 50 });
        let bumped = if week >= 80 { 0.7 } else { 1.0 };
        let lx = 540.0 * (1.0 - 0.006 * aged) * bumped * (1.0 + scatter);
        let time = day(7.0 * f64::from(week));
        let [x, y] = [0.12, -0.15].map(|share| share * scatter);
        rows += &format!("{time},loft-lamp,{:.5},{:.5},,{lx:.2},\n", 0.3457 + x, 0.3585 + y);
        rows += &format!("{time},loft-screen,{:.5},{:.5},{:.2},,\n", 0.3435 - y, 0.3550 - x, 146.0 - 90.0 * scatter);
    }
    (rows, format!("time,device,event\n{},loft-lamp,replaced\n", day(7.0 * 49.5)))
}

fn answered(site: &Site, words: &str) -> Value {
    site.json(words)["stations"][0].clone()
}

#[test]
fn forecasts_are_held_against_what_came() {
    let site = Site::loft();
    let (readings, events) = two_years();
    site.ingest("readings.csv", &readings);
    site.ingest("events.csv", &events);
    let asked = format!("backtest desk --as-of {}", day(7.0 * 89.0 + 1.0));
    let trial = answered(&site, &asked);
    let lead = |breach: &Value| breach["warned_days_before"].as_f64();
    let drifted = trial["match"]["drifted_out"].as_array().unwrap();
    assert_eq!(drifted.len(), 1, "{}", trial["match"]);
    assert!(lead(&drifted[0]).unwrap() >= 7.0, "{}", trial["match"]);
    assert_eq!(trial["match"]["out_after_jump_or_act"].as_array().unwrap().len(), 1, "the bump: {}", trial["match"]);
    for device in trial["devices"].as_array().unwrap() {
        let month = &device["horizons"][0]["ln_luminance"];
        let (within, of) = (month["within_90"].as_f64().unwrap(), month["checked"].as_f64().unwrap());
        assert!(of >= 12.0 && within >= 0.75 * of, "{device}");
    }
    // A lamp that falls steadily is foretold better than by its last reading.
    let error = trial["devices"][1]["error_against_last_reading"]["ln_luminance"].as_f64().unwrap();
    assert!(error < 0.8, "{error}");
    pinned("backtest", &site.ok(&asked));
    // Asked earlier, it knows of nothing later.
    let early = answered(&site, &format!("backtest --as-of {}", day(7.0 * 20.0)));
    assert_eq!(early["match"]["weeks"], 20);
    assert!(early["match"]["drifted_out"].as_array().unwrap().is_empty());
}

#[test]
fn nothing_is_claimed_of_nothing() {
    let site = Site::loft();
    assert!(site.ok("backtest").starts_with("desk: forecasts too few to tell\n"), "{}", site.ok("backtest"));
    site.ingest("readings.csv", &(HEADER.to_owned() + &lamp(day(0.0), 500.0) + &screen(day(0.0), 146.0)));
    let trial = answered(&site, "backtest");
    assert_eq!((&trial["verdict"], &trial["match"]["weeks_out"]), (&Value::from("too-few"), &Value::from(0)));
    assert_eq!(site.run("backtest nowhere").code, 1);
}
