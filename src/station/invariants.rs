//! What must hold of a judgement whatever the devices' states are.

use proptest::prelude::*;

use super::tests::{Bay, now};
use super::*;
use crate::drift::Observation;
use crate::units::Days;

fn number() -> impl Strategy<Value = f64> {
    prop_oneof![
        8 => -0.01..0.01f64,
        1 => Just(1e300),
        1 => Just(-1e300),
        1 => Just(f64::NAN),
        1 => Just(0.0),
        1 => -3.0..3.0f64,
    ]
}

/// Days since the reading before, which device, how far off, the noise it is said to have.
fn any_reading() -> impl Strategy<Value = (f64, bool, [f64; 3], f64)> {
    let gap = prop_oneof![5 => 0.0..30.0f64, 1 => Just(0.0), 1 => 300.0..6000.0f64];
    let noise = prop_oneof![4 => 1e-4..2e-3f64, 1 => Just(0.0), 1 => Just(1e300)];
    (gap, any::<bool>(), [number(), number(), number()], noise)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Probabilities are probabilities, what was out stays having been out, and the verdict goes by the risk.
    #[test]
    fn risks_are_probabilities_and_only_rise(
        readings in proptest::collection::vec(any_reading(), 0..16), years in prop_oneof![3 => Just(0.0), 1 => 0.0..30.0f64],
    ) {
        let mut bay = Bay::new();
        let mut time = now().plus(Days(-400.0));
        for (gap, lamp, off, noise) in readings {
            time = time.plus(Days(gap));
            let device = if lamp { &mut bay.lamp } else { &mut bay.display };
            device.meet(time, |one: &mut Observation| {
                one.white.u += off[0];
                one.white.v += off[1];
                one.ln_level = one.ln_level.map(|level| level + off[2]);
                one.noise.uv = noise;
                one.noise.level = 10.0 * noise;
            });
        }
        let at = time.max(now()).plus(Days(365.25 * years));
        let seen = bay.seen();
        let path = seen.risk_along(&seen.comparison(), &grid(at, Days(120.0)));
        let share = |p: &f64| (0.0..=1.0).contains(p);
        prop_assert!(path.on.iter().all(share) && path.within.iter().all(share), "{:?}", path);
        prop_assert!(path.within.windows(2).all(|pair| pair[0] <= pair[1]), "{:?}", path);
        prop_assert!(path.on.iter().zip(&path.within).all(|(on, within)| *on <= within + 1e-9), "{:?}", path);
        let judgement = bay.judge(at);
        prop_assert!(share(&judgement.risk) && share(&judgement.risk_within), "{:?}", judgement);
        prop_assert!(judgement.risk <= judgement.risk_within + 1e-9);
        let spreads = [judgement.display_white.u, judgement.display_white.v, judgement.paper_white.u, judgement.paper_white.v];
        prop_assert!(spreads.iter().all(|s| s.sd >= 0.0 && !s.sd.is_nan() && !s.mean.is_nan()), "{:?}", spreads);
        if judgement.verdict == Verdict::Matched {
            prop_assert!(judgement.risk_within <= bay.station.max_risk.get());
            prop_assert!(bay.display.was_read() && bay.lamp.was_read(), "matched, and never read");
        }
    }
}
