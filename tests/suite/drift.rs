//! The drift model on simulated rooms. What others published is in `published`.

use twinwhite::simulate::{Conditions, Method, Score};

/// Floors on rooms nobody tuned on, with a margin for so few of them; the bench prints the whole table.
#[test]
fn simulated_rooms_reach_the_floors() {
    let (seeds, usual) = (7_000_000..7_000_025, Conditions::default());
    let oracle = Score::of(Method::Oracle, seeds.clone(), &usual);
    let product = Score::of(Method::Product, seeds.clone(), &usual);
    let line = Score::of(Method::StraightLine, seeds, &usual);
    for horizon in 0..3 {
        let share = product.coverage(horizon);
        assert!((0.83..=0.96).contains(&share), "coverage {share:.3} at horizon {horizon}");
    }
    for channel in 0..3 {
        let share = product.coverage_of(channel);
        assert!((0.82..=0.96).contains(&share), "coverage {share:.3} of channel {channel}");
    }
    let [all, young] = product.crps_ratio(&oracle);
    assert!(all < 1.35 && young < 1.5, "CRPS {all:.3}, young {young:.3} times the oracle's");
    assert!(product.crps_ratio(&line)[0] < 0.7, "a straight line must be left far behind");
    let (share, delay) = product.steps_found();
    assert!(share > 0.7 && delay < 25.0, "steps reported: {share:.2}, median {delay:.0} d");
    assert!(product.brier_mean() < 1.5 * oracle.brier_mean(), "Brier {}", product.brier_mean());
}

/// Rooms unlike those that the priors were thought out for: the intervals must stay honest, and simple ways be left
/// behind.
#[test]
fn strange_rooms_do_not_fool_it() {
    let usual = Conditions::default();
    for (name, conditions) in [
        ("noisy instrument", Conditions { noise: 2.0, ..usual }),
        ("fine instrument", Conditions { noise: 0.5, ..usual }),
        ("restless devices", Conditions { wander: 2.0, ..usual }),
        ("slow wander", Conditions { wander_days: 3.0, ..usual }),
        ("fast ageing", Conditions { ageing: 3.0, ..usual }),
        ("hardly any ageing", Conditions { ageing: 0.2, ..usual }),
        ("twice the strays", Conditions { strays: 2.0, ..usual }),
        ("seldom read", Conditions { interval: 2.5, ..usual }),
    ] {
        let seeds = 8_000_000..8_000_012;
        let product = Score::of(Method::Product, seeds.clone(), &conditions);
        let last = Score::of(Method::LastReading, seeds, &conditions);
        let shares = [0, 1, 2].map(|h| product.coverage(h));
        eprintln!("{name}: coverage {shares:.3?}, CRPS {:.3} of the last reading's", product.crps_ratio(&last)[0]);
        assert!(shares.iter().all(|share| (0.78..=0.985).contains(share)), "{name}: coverage {shares:?}");
        assert!(product.crps_ratio(&last)[0] < 0.95, "{name}: CRPS against the last reading");
    }
}
