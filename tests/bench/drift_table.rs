//! Prints how good the forecasts are on simulated rooms, beside an oracle and the simple ways, what upkeep they allow, and what
//! they cost. Floors and goals are those of the project's statistical notes.
//!
//! `cargo bench --bench drift_table [ROOMS [FIRST_SEED]]`. Seeds below 1 000 000 are for tuning; the default reports
//! on others.

use std::hint::black_box;
use std::ops::Range;

use twinwhite::drift::{Apart, DeviceState};
use twinwhite::simulate::{Conditions, HORIZONS, Logged, Method, Policy, Score, keep, laxest, room};
use twinwhite::units::{Days, InstrumentId};

/// Rooms on which the policies find their thresholds, whatever is reported.
const TUNING: Range<u64> = 0..60;

fn main() {
    let mut given = std::env::args().skip(1).filter_map(|text| text.parse::<u64>().ok());
    let rooms = given.next().unwrap_or(200);
    let first = given.next().unwrap_or(5_000_000);
    println!("{rooms} rooms of two years, seeds from {first}");
    table(first..first + rooms);
    upkeep(first..first + rooms);
    strange(first, rooms / 4);
    cost(first, false);
    cost(first, true);
}

/// Every measure, for every way.
fn table(seeds: Range<u64>) {
    let scores = Score::of_each(&Method::ALL, seeds, &Conditions::default());
    let Some(oracle) = scores.last() else { return };
    let heads = Method::ALL.map(|method| format!("{:>9}", method.word())).join(" ");
    println!("{:<28}{:>10}{:>10}  {heads}", "measure", "floor", "goal");
    let row = |what: &str, floor: &str, goal: &str, of: &dyn Fn(&Score) -> String| {
        let values: Vec<String> = scores.iter().map(|score| format!("{:>9}", of(score))).collect();
        println!("{what:<28}{floor:>10}{goal:>10}  {}", values.join(" "));
    };
    for (h, days) in HORIZONS.iter().enumerate() {
        row(&format!("coverage at {days} d"), ".85-.95", ".87-.93", &|s| format!("{:.3}", s.coverage(h)));
    }
    let extreme = |score: &Score, highest: bool| {
        let cells = score.cells().map(|(_, cell)| cell.share());
        if highest { cells.fold(0.0, f64::max) } else { cells.fold(1.0, f64::min) }
    };
    row("  least device, channel", ".85", ".87", &|s| format!("{:.3}", extreme(s, false)));
    row("  greatest", ".95", ".93", &|s| format!("{:.3}", extreme(s, true)));
    row("  with 1 to 3 readings", "", "", &|s| format!("{:.3}", s.first.share()));
    row("CRPS / oracle, all", "1.35", "1.20", &|s| format!("{:.3}", s.crps_ratio(oracle)[0]));
    row("  with 4 to 7 readings", "1.50", "1.22", &|s| format!("{:.3}", s.crps_ratio(oracle)[1]));
    row("Brier, 14 d", ".050", ".036", &|s| format!("{:.4}", s.brier_mean()));
    row("  / oracle", "", "", &|s| format!("{:.3}", s.brier_mean() / oracle.brier_mean()));
    row("breaches by drift warned", ".75", ".85", &|s| format!("{:.2}", s.warned.share()));
    row("  median lead, days", "7", "10", &|s| format!("{:.0}", s.lead()));
    row("  false alerts a year", "1.0", "1.0", &|s| format!("{:.2}", s.false_alerts()));
    row("    of them by doubt", "", "", &|s| format!("{:.2}", s.false_by_doubt as f64 / s.years));
    let product = |of: &dyn Fn(&Score) -> String| scores.first().map_or_else(String::new, of);
    let only =
        |what: &str, floor: &str, goal: &str, value: String| println!("{what:<28}{floor:>10}{goal:>10}  {value:>9}");
    only("steps alerted", ".75", ".85", product(&|s| format!("{:.2}", s.steps.share())));
    only("  median delay, days", "21", "12", product(&|s| format!("{:.0}", s.delay())));
    only("  groundless a year", "", "", product(&|s| format!("{:.2}", s.groundless as f64 / s.years)));
    println!(
        "out in {:.1} % of the weeks asked; {} breaches by drift, {} steps",
        100.0 * oracle.out.share(),
        oracle.warned.of,
        oracle.steps.of
    );
    if let Some(product) = scores.first() {
        println!("product, coverage u' v' ln at 30 d, 60 d, 90 d (windows at 30 d)");
        for (device, name) in ["display", "lamp"].into_iter().enumerate() {
            let shares: Vec<String> = product.covered[device]
                .iter()
                .map(|channels| channels.map(|c| format!("{:.3}", c.share())).join(" "))
                .collect();
            println!("  {name:<8} {}  ({})", shares.join("   "), product.covered[device][0][0].of);
        }
    }
}

/// Recalibrations that a share of time in tolerance takes. Thresholds are found on the tuning rooms.
fn upkeep(seeds: Range<u64>) {
    println!("\nrecalibrations a station-year (share of time in tolerance, visits a year); set on tuning rooms");
    for (share, floor, goal) in [(0.95, 2.0, 1.4), (0.99, 5.0, 3.4)] {
        println!("at {:.0} % (floor {floor}, goal {goal}):", share * 100.0);
        let say = |name: &str, policy: Policy| {
            let kept = keep(policy, seeds.clone());
            println!(
                "  {name:<10} {:>6.2}  ({:.2} %, {:.0})  {policy:.3?}",
                kept.a_year(),
                100.0 * kept.good.share(),
                kept.visits_a_year()
            );
        };
        let best = |policies: Vec<Policy>| {
            let cost = |policy: &Policy| {
                let kept = keep(*policy, TUNING);
                (kept.good.share() < share, kept.recalibrations)
            };
            policies.into_iter().min_by_key(cost)
        };
        let at_risk = |ahead: f64| laxest(|x| Policy::Risk { above: threshold(x), ahead }, share, &TUNING);
        let asking = |longest: usize| {
            laxest(|x| Policy::Asking { above: threshold(x), ahead: 0.0, read_above: 0.05, longest }, share, &TUNING)
        };
        best([0.0, 14.0].map(at_risk).to_vec()).into_iter().for_each(|policy| say("product", policy));
        best([10, 21].map(asking).to_vec()).into_iter().for_each(|policy| say("  asking", policy));
        say("fixed", laxest(|x| Policy::Every(3.0 * libm::exp(x * 5.0)), share, &TUNING));
        say("staircase", laxest(|x| Policy::Staircase(0.1 + x), share, &TUNING));
    }
}

/// A risk between 0.002 and 0.99, even in log odds.
fn threshold(x: f64) -> f64 {
    1.0 / (1.0 + libm::exp(-(-6.2 + x * 10.8)))
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
        let scores = Score::of_each(&[Method::Product, Method::Oracle], first..first + rooms, &conditions);
        let [score, oracle] = scores.as_slice() else { return };
        let by_horizon: Vec<String> = (0..HORIZONS.len()).map(|h| format!("{:.3}", score.coverage(h))).collect();
        let by_channel: Vec<String> = (0..3).map(|c| format!("{:.3}", score.coverage_of(c))).collect();
        let [all, young] = score.crps_ratio(oracle);
        println!(
            "{name:<20} {:>22} {:>20} {all:>6.3} {young:>6.3} {:>7.2}",
            by_horizon.join(" "),
            by_channel.join(" "),
            score.false_alerts(),
        );
    }
}

#[allow(clippy::disallowed_methods, reason = "a bench measures real time")]
fn cost(seed: u64, two_instruments: bool) {
    let mut device = room(seed, &Conditions::default()).lamp;
    // The room itself may have a second instrument.
    let [one, two] = ["one", "two"].map(|name| InstrumentId::new(name).ok());
    let apart = Some(Apart { mean: [0.0; 3], var: [6e-6, 6e-6, 8e-4] });
    for (place, entry) in device.log.iter_mut().enumerate() {
        if let Logged::Reading(observation, _) = entry {
            let by_two = two_instruments && place % 4 == 1;
            observation.instrument = if by_two { two.clone() } else { one.clone() };
            observation.apart = apart.filter(|_| two_instruments);
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
