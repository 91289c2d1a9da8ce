//! What people read, as a whole: the texts of status, forecast, history and alerts, pinned.

use super::site::{HEADER, LOFT, Site, day, from_now, lamp, pinned, quiet_weeks, screen};

/// Dates that depend on the day of the test, as `#`.
fn undated(text: &str) -> String {
    let masked = |line: &str| match line.split_once("raised ") {
        Some((before, dates)) if before.trim().is_empty() => {
            let dates: String = dates.chars().map(|c| if c.is_ascii_digit() { '#' } else { c }).collect();
            format!("{before}raised {dates}")
        }
        _ => match line.split_once("entered ") {
            Some((before, late)) => {
                let late: String = late.trim_start_matches(|c: char| c.is_ascii_digit()).to_owned();
                format!("{before}entered #{late}")
            }
            None => line.to_owned(),
        },
    };
    text.lines().map(|line| masked(line) + "\n").collect()
}

/// A lamp that stands still and then walks towards yellow; a screen that is recalibrated once.
fn two_seasons() -> Site {
    let site = Site::new(LOFT);
    site.ingest("quiet.csv", &quiet_weeks(10));
    let walk: String = (0..14)
        .map(|n| {
            let (week, off) = (70.0 + 7.0 * f64::from(n), 0.0012 * f64::from(n));
            let level = 500.0 - f64::from(n);
            format!("{},loft-lamp,{},{},,{level},\n", day(week), 0.3457 + off, 0.3585 + off) + &screen(day(week), 146.0)
        })
        .collect();
    site.ingest("walk.csv", &(HEADER.to_owned() + &walk));
    site.ingest(
        "events.csv",
        &format!("time,device,event,operator,note\n{},loft-screen,recalibrated,ines,monthly\n", day(60.5)),
    );
    site.ingest("slip.csv", &(HEADER.to_owned() + &lamp(day(71.0), 46.5)));
    site.ingest(
        "cold.csv",
        &format!("time,device,x,y,illuminance_lx,warmup_min\n{},loft-lamp,0.3457,0.3585,490,4\n", day(65.0)),
    );
    site.ingest("stray.csv", &(HEADER.to_owned() + &format!("{},loft-screen,0.37,0.38,146,,\n", day(73.0))));
    site
}

#[test]
fn status_of_a_new_site() {
    pinned("status-new", &Site::loft().ok(&format!("status --as-of {}", day(0.0))));
}

#[test]
fn status_through_two_seasons() {
    let site = two_seasons();
    let status = |n: f64| site.ok(&format!("status --as-of {}", day(n)));
    pinned("status-matched", &status(64.0));
    pinned("status-held", &status(72.0));
    pinned("status-at-risk", &status(113.0));
    pinned("status-out", &status(162.0));
    pinned("status-stale", &status(300.0));
}

#[test]
fn forecast_through_two_seasons() {
    let site = two_seasons();
    let forecast = |n: f64| site.ok(&format!("forecast desk --as-of {}", day(n)));
    pinned("forecast-matched", &forecast(64.0));
    pinned("forecast-at-risk", &forecast(113.0));
}

#[test]
fn history_of_both_devices() {
    let site = two_seasons();
    pinned("history-lamp", &undated(&site.ok("history loft-lamp")));
    pinned("history-screen", &undated(&site.ok(&format!("history loft-screen --as-of {}", day(80.0)))));
    pinned("history-nothing", &Site::loft().ok("history loft-lamp"));
}

#[test]
fn alerts_open_and_over() {
    let site = Site::loft();
    pinned("alerts-none", &site.ok("alerts"));
    let off = |days: f64| {
        let time = from_now(days);
        format!("{time},loft-lamp,0.3600,0.3700,,400,\n") + &screen(time, 146.0)
    };
    site.ingest("off.csv", &(HEADER.to_owned() + &off(-3.0) + &off(-2.0) + &off(-1.0)));
    for name in ["wrong", "worse"] {
        let file = format!("{name}.csv");
        site.write(&file, format!("time,device,lustre\n2025-01-06T12:00:00Z,loft-lamp,{name}\n"));
        assert_eq!(site.run(&format!("ingest {file}")).code, 1);
    }
    let open = site.json("alerts --open");
    let worse = open["alerts"].as_array().unwrap().iter().find(|alert| alert["subject"] == "worse.csv").unwrap();
    site.ok(&format!("--operator ines ack {}", worse["id"]));
    let aim = open["alerts"].as_array().unwrap().iter().find(|alert| alert["kind"] == "off-aim").unwrap();
    site.ok(&format!("--operator ines ack {}", aim["id"]));
    pinned("alerts", &undated(&site.ok("alerts")));
}

#[test]
fn what_ingest_says() {
    let site = Site::loft();
    site.write("quiet.csv", quiet_weeks(10));
    site.write(
        "slip.csv",
        HEADER.to_owned() + &lamp(day(71.0), 46.5) + &lamp(day(72.0), 500.0) + &lamp(day(0.0), 498.0),
    );
    site.write("stray.csv", format!("{HEADER}{},loft-screen,0.37,0.38,146,,\n", day(73.0)));
    site.write("bad.csv", format!("time,device,x,y,illuminance\n{},loft-lamp,0.3457,0.3585,500\n", day(1.0)));
    site.write("half.csv", HEADER);
    let said = site.run("ingest quiet.csv slip.csv stray.csv quiet.csv bad.csv half.csv nowhere.csv");
    assert_eq!(said.code, 1);
    pinned("ingest", &said.out);
}
