//! Acts chosen, what they gain, and what is called for by when, in constructed situations.

use proptest::prelude::*;

use super::tests::{Bay, now};
use super::*;
use crate::site::Adjustable;

/// Ten weeks at the aims, in the last four of which the light is this share of it.
fn bumped(level: f64) -> Bay {
    Bay::new().read_weekly(|_| 0.0, |_| 0.0, move |week| if week < 6.0 { 1.0 } else { level })
}

fn chosen(judgement: &Judgement) -> &Weighed {
    let mut all = judgement.acts.iter().filter(|act| act.chosen);
    let first = all.next().unwrap_or_else(|| panic!("none chosen: {:?}", judgement.acts));
    assert!(all.next().is_none(), "one is chosen: {:?}", judgement.acts);
    first
}

#[test]
fn a_bumped_dimmer_is_turned_back() {
    let mut bay = bumped(0.75);
    bay.adjustable = vec![Adjustable::Level, Adjustable::Cct];
    let judgement = bay.judge(now());
    assert_eq!(judgement.verdict, Verdict::Out);
    let [Advice::TurnDimmer { from, to, .. }] = judgement.advice.as_slice() else { panic!("{:?}", judgement.advice) };
    assert!((from.get() - 375.0).abs() < 10.0 && to.get() == 500.0);
    let act = chosen(&judgement);
    assert!((act.cost, act.risk_after < 0.01) == (5.0, true) && act.days > 14.0, "{act:?}");
    // Every act is weighed, and those that leave the light as it is hold nothing.
    let dial =
        judgement.acts.iter().find(|act| matches!(act.steps.as_slice(), [Advice::TurnColourDial { .. }])).unwrap();
    assert!(dial.risk_after > 0.9 && dial.days == 0.0, "{dial:?}");
    let call = judgement.calls.first().expect("it is called for");
    assert_eq!((&call.advice, call.by, call.why), (&judgement.advice[0], now(), CallReason::Out));
}

#[test]
fn costs_decide_between_what_holds() {
    let mut bay = bumped(0.78);
    bay.adjustable = vec![Adjustable::Level];
    let is = |bay: &Bay, word: &str| {
        let judgement = bay.judge(now());
        assert_eq!(judgement.advice.first().map(Advice::word), Some(word), "{:?}", judgement.acts);
    };
    is(&bay, "turn-dimmer");
    bay.costs.turn_lamp = 5000.0;
    is(&bay, "recalibrate-to-paper");
    bay.costs.recalibrate = 5000.0;
    is(&bay, "replace-lamp");
}

#[test]
fn two_faults_take_two_acts() {
    let level = |week: f64| if week < 6.0 { 1.0 } else { 0.6 };
    let mut bay = Bay::new().read_weekly(|week| -0.0009 * week, |_| 0.0, level);
    bay.adjustable = vec![Adjustable::Level];
    let judgement = bay.judge(now());
    let words: Vec<&str> = judgement.advice.iter().map(Advice::word).collect();
    assert_eq!(words, ["turn-dimmer", "recalibrate-to-aim"], "{:?}", judgement.acts);
    assert_eq!(chosen(&judgement).cost, 35.0);
}

#[test]
fn on_the_limit_is_not_matched() {
    for off in [0.005, 0.0049, 0.0048] {
        let judgement = Bay::new().read_weekly(|_| off, |_| 0.0, |_| 1.0).judge(now());
        assert_ne!(judgement.verdict, Verdict::Matched, "{off}: {} {}", judgement.risk, judgement.risk_within);
        assert!(judgement.risk_within > 0.2);
    }
    let mut bay = Bay::new().read_weekly(|_| 0.0, |_| 0.0, |_| 1.2);
    bay.station.tolerance.luminance_ratio = Some(1.2);
    assert_ne!(bay.judge(now()).verdict, Verdict::Matched, "nor on that of luminance");
}

#[test]
fn what_cannot_leave_its_tolerance_has_no_date() {
    let mut bay = Bay::new().read_weekly(|_| 0.0, |_| 0.0, |_| 1.0);
    bay.station.tolerance.delta_uv = 0.05;
    bay.station.tolerance.luminance_ratio = None;
    let judgement = bay.judge(now());
    assert_eq!((judgement.risk_date, judgement.holds.date, judgement.holds.early), (None, None, None));
    assert_eq!(judgement.holds.at_least(), now().plus(Days(6.0 * 63.0)), "six times what was seen");
    assert!(judgement.acts.is_empty(), "nothing needs doing");
    let next = next_reading(&bay.seen(), now()).expect("one day it is too old");
    assert_eq!((next.why, next.by), (CallReason::TooOld { limit: Days(45.0) }, now().plus(Days(44.0))));
    assert!(judgement.advice.is_empty(), "{:?}", judgement.advice);
    assert_eq!((judgement.calls[0].by, judgement.calls[0].why), (next.by, next.why));
}

#[test]
fn near_the_limit_a_reading_is_due_sooner_than_far_from_it() {
    let next = |off: f64| {
        let bay = Bay::new().read_weekly(|_| 0.0, move |_| off, |_| 1.0);
        (bay.judge(now()).verdict, next_reading(&bay.seen(), now()).unwrap())
    };
    let offs = (0..48).map(|step| 0.0001 * f64::from(step));
    let matched: Vec<NextReading> =
        offs.map(next).take_while(|(verdict, _)| *verdict == Verdict::Matched).map(|(_, next)| next).collect();
    let [far, .., near] = matched.as_slice() else { panic!("{matched:?}") };
    assert!(matched.windows(2).all(|pair| pair[1].by <= pair[0].by), "the nearer the sooner: {matched:?}");
    assert!(matches!(far.why, CallReason::TooOld { .. }), "{far:?}");
    assert!(near.by < now().plus(Days(7.0)) && near.by >= now(), "{near:?}");
    assert!(matches!(near.why, CallReason::Doubt { .. } | CallReason::Decides), "{near:?}");
}

#[test]
fn a_device_that_is_learnt_is_read_weekly_and_one_that_was_not_read_now() {
    let mut bay = Bay::new();
    let by = |bay: &Bay, at: Time| next_reading(&bay.seen(), at).map(|next| (next.by, next.why)).unwrap();
    assert_eq!(by(&bay, now()), (now(), CallReason::NeverRead));
    bay.station.tolerance.delta_uv = 0.05;
    bay.station.tolerance.luminance_ratio = None;
    bay.display.read(now(), (0.0, 0.0), 1.0);
    bay.lamp.read(now(), (0.0, 0.0), 1.0);
    assert_eq!(by(&bay, now()), (now().plus(Days(7.0)), CallReason::Learning { readings: 1 }));
    let late = now().plus(Days(20.0));
    assert_eq!(by(&bay, late).0, late, "a plan that was not followed is for now, not overdue");
    let stale = now().plus(Days(60.0));
    let call = bay.judge(stale).calls[0].clone();
    assert_eq!((call.by, call.why), (now().plus(Days(45.0)), CallReason::TooOld { limit: Days(45.0) }));
}

#[test]
fn an_act_is_called_for_by_the_day_the_risk_passes() {
    let judgement = Bay::new().read_weekly(|_| 0.0, |week| 0.00045 * week, |_| 1.0).judge(now());
    assert_eq!(judgement.verdict, Verdict::AtRisk);
    let act = judgement.calls.iter().find(|call| !call.why.is_reading()).expect("an act is called for");
    let risk = judgement.risk_date.unwrap();
    assert_eq!(act.why, CallReason::RiskPasses { guess: risk.guess });
    assert!(act.by >= now() && act.by <= risk.date, "{act:?}");
    assert_eq!(Some(&act.advice), judgement.advice.first());
    assert!(judgement.calls.windows(2).all(|pair| pair[0].by <= pair[1].by));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, ..ProptestConfig::default() })]

    /// Whatever is advised in place of nothing leaves no higher risk than nothing does, and days stand in their order.
    #[test]
    fn no_act_that_is_chosen_makes_it_worse(
        screen in -0.0012f64..0.0012, lamp in -0.0012f64..0.0012, level in -0.05f64..0.03, turns in any::<bool>(),
        tolerance in 0.002f64..0.008,
    ) {
        let mut bay = Bay::new().read_weekly(|week| screen * week, |week| lamp * week, |week| 1.0 + level * week);
        bay.station.tolerance.delta_uv = tolerance;
        if turns {
            bay.adjustable = vec![Adjustable::Level, Adjustable::Cct];
        }
        let judgement = bay.judge(now());
        for act in &judgement.acts {
            let in_order = |a: Option<Time>, b: Option<Time>| b.is_none_or(|b| a.is_some_and(|a| a <= b));
            prop_assert!(in_order(act.holds.early, act.holds.date) && in_order(act.holds.date, act.holds.late));
            prop_assert!((0.0..=1.0).contains(&act.risk_after) && act.risk_after <= act.risk_within + 1e-9);
            // A reading that finds what is expected may only make sure of the worst.
            let is_reading = |step: &Advice| matches!(step, Advice::Read { .. } | Advice::ReadPaper { .. });
            if act.chosen && !act.steps.iter().any(is_reading) {
                prop_assert!(act.risk_within <= judgement.risk_within + 1e-9, "{:?}", act);
            }
        }
        for call in &judgement.calls {
            prop_assert!(call.by >= now(), "nothing here is overdue: {:?}", call);
        }
    }
}
