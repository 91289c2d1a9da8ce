//! Prints how good the forecasts are on simulated rooms, beside the simple ways, and what they cost.
//!
//! `cargo bench --bench drift_table [ROOMS [FIRST_SEED]]`. Seeds below 1 000 000 are for tuning; the default reports
//! on others.

use std::hint::black_box;

use twinwhite::drift::{Apart, DeviceState};
use twinwhite::simulate::{Conditions, HORIZONS, Logged, Method, Score, room};
use twinwhite::units::{Days, InstrumentId};

fn main() {
    let mut given = std::env::args().skip(1).filter_map(|text| text.parse::<u64>().ok());
    let rooms = given.next().unwrap_or(200);
    let first = given.next().unwrap_or(5_000_000);
    println!("{rooms} rooms of two years, seeds from {first}");
    let usual = Conditions::default();
    let oracle = Score::of(Method::Oracle, first..first + rooms, &usual);
    println!(
        "{:<20} {:>22} {:>20} {:>6} {:>6} {:>6} {:>7} {:>7} {:>6}",
        "method", "coverage 30/60/90 d", "u'   v'   ln", "first", "CRPSx", "young", "Brier", "warned", "false"
    );
    for method in [Method::Product, Method::LastReading, Method::StraightLine, Method::Oracle] {
        let score = Score::of(method, first..first + rooms, &usual);
        let by_horizon: Vec<String> = (0..HORIZONS.len()).map(|h| format!("{:.3}", score.coverage(h))).collect();
        let by_channel: Vec<String> = (0..3).map(|c| format!("{:.3}", score.coverage_of(c))).collect();
        let [all, young] = score.crps_ratio(&oracle);
        println!(
            "{:<20} {:>22} {:>20} {:>6.3} {all:>6.3} {young:>6.3} {:>7.4} {:>7.2} {:>6.2}",
            method.word(),
            by_horizon.join(" "),
            by_channel.join(" "),
            score.first.0 as f64 / score.first.1.max(1) as f64,
            score.brier_mean(),
            score.breaches.0 as f64 / score.breaches.1.max(1) as f64,
            score.false_alerts as f64 / score.years,
        );
        if method == Method::Product {
            let (share, delay) = score.steps_found();
            let groundless = score.steps.1 as f64 / score.years;
            println!(
                "    steps reported: {share:.2} of {}, median {delay:.0} d; groundless {groundless:.2} a station-year",
                score.steps.0
            );
        }
    }
    strange(first, rooms / 4);
    cost(first, false);
    cost(first, true);
}

/// Rooms unlike the usual ones, one condition at a time.
fn strange(first: u64, rooms: u64) {
    let usual = Conditions::default();
    println!("\n{rooms} rooms each; product");
    println!(
        "{:<20} {:>22} {:>20} {:>6} {:>6} {:>7}",
        "rooms", "coverage 30/60/90 d", "u'   v'   ln", "CRPSx", "young", "false"
    );
    for (name, conditions) in [
        ("noise x2", Conditions { noise: 2.0, ..usual }),
        ("noise /2", Conditions { noise: 0.5, ..usual }),
        ("wander x2", Conditions { wander: 2.0, ..usual }),
        ("wander /3", Conditions { wander: 0.33, ..usual }),
        ("wander 3x slower", Conditions { wander_days: 3.0, ..usual }),
        ("wander 3x faster", Conditions { wander_days: 0.33, ..usual }),
        ("ageing x3", Conditions { ageing: 3.0, ..usual }),
        ("ageing /5", Conditions { ageing: 0.2, ..usual }),
        ("strays x2", Conditions { strays: 2.0, ..usual }),
        ("steps x3", Conditions { steps: 3.0, ..usual }),
        ("read 2.5x seldomer", Conditions { interval: 2.5, ..usual }),
        ("read twice as often", Conditions { interval: 0.5, ..usual }),
    ] {
        let seeds = first..first + rooms;
        let oracle = Score::of(Method::Oracle, seeds.clone(), &conditions);
        let score = Score::of(Method::Product, seeds, &conditions);
        let by_horizon: Vec<String> = (0..HORIZONS.len()).map(|h| format!("{:.3}", score.coverage(h))).collect();
        let by_channel: Vec<String> = (0..3).map(|c| format!("{:.3}", score.coverage_of(c))).collect();
        let [all, young] = score.crps_ratio(&oracle);
        println!(
            "{name:<20} {:>22} {:>20} {all:>6.3} {young:>6.3} {:>7.2}",
            by_horizon.join(" "),
            by_channel.join(" "),
            score.false_alerts as f64 / score.years,
        );
    }
}

#[allow(clippy::disallowed_methods, reason = "a bench measures real time")]
fn cost(seed: u64, two_instruments: bool) {
    let mut device = room(seed, &Conditions::default()).lamp;
    if two_instruments {
        let [one, two] = ["one", "two"].map(|name| InstrumentId::new(name).ok());
        let apart = Some(Apart { mean: [0.0; 3], var: [6e-6, 6e-6, 8e-4] });
        for (place, entry) in device.log.iter_mut().enumerate() {
            if let Logged::Reading(observation, _) = entry {
                observation.instrument = if place % 4 == 1 { two.clone() } else { one.clone() };
                observation.apart = apart;
            }
        }
    }
    let params = &device.recipe.params;
    let mut best = [f64::INFINITY; 3];
    let mut state = DeviceState::new(params);
    for _ in 0..50 {
        state = DeviceState::new(params);
        let start = std::time::Instant::now();
        let mut readings = 0u32;
        for entry in &device.log {
            match entry {
                Logged::Reading(observation, _) => {
                    black_box(state.absorb(params, observation));
                    readings += 1;
                }
                Logged::Event(happening) => {
                    black_box(state.note(params, happening));
                }
            }
        }
        best[0] = best[0].min(start.elapsed().as_secs_f64() / f64::from(readings.max(1)));
        let from = device.recipe.start.plus(Days(730.0));
        let times: Vec<_> = (0..40).map(|d| from.plus(Days(f64::from(d)))).collect();
        let start = std::time::Instant::now();
        black_box(state.forecast(params, &times));
        best[1] = best[1].min(start.elapsed().as_secs_f64());
        let start = std::time::Instant::now();
        black_box(DeviceState::from_bytes(&black_box(state.to_bytes()))).ok();
        best[2] = best[2].min(start.elapsed().as_secs_f64());
    }
    println!(
        "cost with {} instrument(s): {:.1} us a reading, {:.1} us a forecast of 40 times, {:.1} us to bytes and back ({} bytes)",
        1 + u8::from(two_instruments),
        best[0] * 1e6,
        best[1] * 1e6,
        best[2] * 1e6,
        state.to_bytes().len()
    );
}
