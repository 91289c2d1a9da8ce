//! `backtest`: how good the forecasts were on the station's own past.

pub mod json;

use super::args::AsOf;
use super::fail::Failure;
use super::output;
use super::plot::{Plot, Point};
use super::session::Session;
use super::width;
use crate::backtest::of_station;
use crate::say;
use crate::site::Station;
use crate::trial::Trial;
use crate::trial::device::{DeviceTrial, HORIZONS};
use crate::units::{Days, Time};

/// Answers `backtest`.
pub fn backtest(session: Session, station: Option<&str>, when: &AsOf, json: bool) -> Result<(), Failure> {
    let as_of = session.as_of(when)?;
    let stations: Vec<&Station> = match station {
        Some(name) => vec![session.station(name)?],
        None => session.config.things.stations.iter().collect(),
    };
    let mut ledger = session.reader()?;
    let trials = ledger.read(|store| -> Result<Vec<Trial>, Failure> {
        stations.iter().map(|station| Ok(of_station(store, &session.config, station, as_of)?)).collect()
    })?;
    if json {
        output::json(&json::Backtest { as_of, stations: trials.iter().map(json::StationTrial::of).collect() })
    } else {
        let texts: Vec<String> = trials.iter().map(|trial| as_text(trial, &session)).collect();
        output::print(&texts.join("\n"))
    }
}

fn as_text(trial: &Trial, session: &Session) -> String {
    let zone = session.zone();
    let verdict = trial.verdict();
    let mut text = format!(
        "{}: {}\n",
        output::strong(trial.station.as_str()),
        output::strong(&format!("forecasts {}", say::forecasts_verdict(verdict)))
    );
    for line in say::backtest(trial, &zone) {
        text.push_str(&format!("  {line}\n"));
    }
    let rows = trial.devices.iter().flat_map(rows_of);
    let rows: Vec<[String; 5]> = rows.collect();
    if rows.is_empty() {
        return text;
    }
    text.push('\n');
    text.push_str(&output::table(["device", "days ahead", "u′ in band", "v′ in band", "level in band"], rows));
    text.push('\n');
    text.push_str(&plot(trial, |time| say::day(&zone, time)));
    text
}

fn rows_of(device: &DeviceTrial) -> Vec<[String; 5]> {
    let horizons = HORIZONS.iter().enumerate();
    let rows = horizons.map(|(place, days)| {
        let cell = |channel| match device.within_band(place, channel) {
            (_, 0) => "-".to_owned(),
            (within, of) => format!("{within} of {of}"),
        };
        [device.device.to_string(), format!("{days:.0}"), cell(0), cell(1), cell(2)]
    });
    rows.filter(|row| row.iter().skip(2).any(|cell| cell != "-")).collect()
}

/// Where each reading fell within the band that was foretold for it 30 days before.
fn plot(trial: &Trial, date: impl Fn(Time) -> String) -> String {
    let points: Vec<Point> = (trial.devices.iter())
        .flat_map(|device| (0..3).flat_map(|channel| device.numbers(channel)))
        .filter(|(check, _)| check.horizon == 0)
        .map(|(check, number)| Point { time: check.read, value: number.band_widths() })
        .collect();
    let (Some(first), Some(last)) = (points.iter().map(|p| p.time).min(), points.iter().map(|p| p.time).max()) else {
        return String::new();
    };
    let (inside, outside): (Vec<Point>, Vec<Point>) = points.iter().partition(|point| point.value.abs() <= 1.0);
    let edges: Vec<Point> = (0..=EDGE_POINTS)
        .flat_map(|k| {
            let time = first.plus(Days(last.since(first).0 * f64::from(k) / f64::from(EDGE_POINTS)));
            [1.0, -1.0].map(|value| Point { time, value })
        })
        .collect();
    let drawn = Plot {
        title: "where readings fell in the 90 % band foretold 30 days before (its edges are at -1 and 1)",
        points: &inside,
        doubted: &outside,
        line: &edges,
        events: &[],
        digits: 1,
    };
    drawn.draw(width::of_drawing(), date) + "o within   x outside   . edge of the band\n"
}

/// Dots along each edge.
const EDGE_POINTS: u32 = 120;
