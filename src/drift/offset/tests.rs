//! The life of a device that two instruments read.

use super::*;
use crate::drift::tests::reading;
use crate::drift::{Act, Fate, Happening, Params, TargetWhite, Thing};
use crate::units::{Days, Time, UvPrime};

fn params() -> Params {
    let aim_white = Some(UvPrime { u: 0.1978, v: 0.4683 });
    Params { thing: Thing::Display, aim_white, aim_ln_level: Some(5.0), warm_up_min: 30.0 }
}

fn on(day: f64) -> Time {
    Time::from_micros(1_750_000_000_000_000).plus(Days(day))
}

fn id(name: &str) -> InstrumentId {
    InstrumentId::new(name).unwrap()
}

const BROAD: Apart = Apart { mean: [0.0; 3], var: [4.5e-6, 4.5e-6, 8e-4] };

fn read(day: f64, by: &str, off: [f64; 3]) -> Observation {
    let level = Some(5.0 + off[2]);
    Observation { instrument: Some(id(by)), apart: Some(BROAD), ln_level: level, ..reading(day, off) }
}

fn at(state: &DeviceState, day: f64) -> [(f64, f64); 3] {
    state.forecast(&params(), &[on(day)]).likely.channels.map(|path| path.map(|p| (p.mean[0], p.sd[0])).unwrap())
}

const APART: [f64; 3] = [0.003, -0.001, 0.03];

fn two_readers(rounds: u32) -> DeviceState {
    let mut state = DeviceState::new(&params());
    for k in 0..rounds {
        let day = 14.0 * f64::from(k);
        let wobble = 4e-4 * (f64::from(k % 3) - 1.0);
        assert_eq!(state.absorb(&params(), &read(day, "first", [wobble, -wobble, 5.0 * wobble])).fate, Fate::Used);
        if k % 2 == 1 {
            let other = [APART[0] - wobble, APART[1] + wobble, APART[2]];
            assert_eq!(state.absorb(&params(), &read(day + 1.0, "second", other)).fate, Fate::Used);
        }
    }
    state
}

#[test]
fn a_second_instrument_is_learnt_and_does_not_move_the_first_ones_scale() {
    let state = two_readers(16);
    let (other, apart) = state.other_instrument(&params()).unwrap();
    assert_eq!(other.as_str(), "second");
    for (c, (mean, sd)) in apart.iter().enumerate() {
        assert!((mean - APART[c]).abs() < 2.5 * sd, "channel {c}: {mean} ± {sd}");
        assert!(*sd < 0.3 * BROAD.var[c].sqrt(), "channel {c}: {sd}");
    }
    let now = at(&state, 212.0);
    assert!((now[0].0 - 0.1978).abs() < 5e-4 && (now[2].0 - 5.0).abs() < 0.006, "{now:?}");
    let bytes = state.to_bytes();
    assert!(DeviceState::from_bytes(&bytes) == Ok(state.clone()) && bytes.len() < 18 * 1024, "{} bytes", bytes.len());
    for cut in [bytes.len() / 3, bytes.len() - 1] {
        assert!(DeviceState::from_bytes(&bytes[..cut]).is_err());
    }
}

/// Readings of one instrument cost nothing and mean the same, whatever is believed of instruments.
#[test]
fn one_instrument_alone_is_as_if_there_were_no_other() {
    let run = |apart| {
        let mut state = DeviceState::new(&params());
        for k in 0..12 {
            let one = Observation { apart, ..read(9.0 * f64::from(k), "first", [1e-4 * f64::from(k % 4), 0.0, 0.0]) };
            state.absorb(&params(), &one);
        }
        state
    };
    assert!(run(None) == run(Some(BROAD)));
    assert!(run(None).banks.iter().all(|bank| bank.constants.is_none()));
}

#[test]
fn what_is_set_anew_in_the_device_leaves_the_constant() {
    let mut state = two_readers(12);
    let learnt = state.other_instrument(&params()).unwrap().1;
    let target = TargetWhite { uv: UvPrime { u: 0.2, v: 0.47 }, ln_level: Some(5.1), sd_uv: None, sd_ln: None };
    for (place, act) in
        [Act::Recalibrated { target: Some(target) }, Act::Serviced, Act::Replaced].into_iter().enumerate()
    {
        state.note(&params(), &Happening { time: on(170.0 + place as f64), act });
    }
    assert_eq!(state.other_instrument(&params()).unwrap().1, learnt);
    // The second instrument alone then tells where the new one stands on the first one's scale.
    for day in [174.0, 181.0, 188.0] {
        let new = [0.002 + APART[0], APART[1], 0.05 + APART[2]];
        state.absorb(&params(), &read(day, "second", new));
    }
    let now = at(&state, 188.0);
    assert!((now[0].0 - 0.1998).abs() < 2.0 * now[0].1 && (now[0].0 - 0.1998).abs() < 8e-4, "{now:?}");
    assert!((now[2].0 - 5.05).abs() < 0.012, "{now:?}");
}

#[test]
fn the_scale_turns_to_whoever_reads_more() {
    let mut state = two_readers(4);
    let mut day = 60.0;
    while state.scale_instrument() == Some(&id("first")) {
        let before = at(&state, day);
        let apart = state.other_instrument(&params()).unwrap().1;
        let mut turned = state.clone();
        turned.absorb(&params(), &read(day, "second", APART));
        if turned.scale_instrument() == Some(&id("second")) {
            let after = at(&turned, day);
            let [u, _, ln] = [0, 1, 2].map(|c: usize| after[c].0 - before[c].0 - apart[c].0);
            assert!(u.abs() < 4e-4 && ln.abs() < 6e-3, "the mean moves by the constant: {u} {ln}");
        }
        state = turned;
        day += 7.0;
        assert!(day < 200.0);
    }
    let (other, apart) = state.other_instrument(&params()).unwrap();
    assert!(other == &id("first") && (apart[0].0 + APART[0]).abs() < 7e-4, "{apart:?}");
    let mut there_and_back = state.banks[0].clone();
    there_and_back.turn_scale();
    there_and_back.turn_scale();
    let (a, b) = (state.banks[0].filters[7], there_and_back.filters[7]);
    assert!((a.mean[0] - b.mean[0]).abs() < 1e-15 && (a.cov.0[0][0] - b.cov.0[0][0]).abs() < 1e-15);
}

#[test]
fn a_jump_seen_by_the_other_instrument_is_a_jump_on_the_scale() {
    let mut state = two_readers(10);
    let jumped = |off: f64| [0.012 + APART[0] + off, APART[1], APART[2]];
    assert!(matches!(state.absorb(&params(), &read(150.0, "second", jumped(0.0))).fate, Fate::Doubted(_)));
    let possible = &state.forecast(&params(), &[on(150.0)]).possible[0].path.channels[0];
    assert!((possible.as_ref().unwrap().mean[0] - 0.2098).abs() < 1e-3, "on the first one's scale");
    let found = state.absorb(&params(), &read(157.0, "first", [0.012, 0.0, 0.0]));
    let step = found.step.unwrap();
    assert!((step.delta_u - 0.012).abs() < 1e-3, "{step:?}");
}

#[test]
fn a_third_instrument_counts_with_what_is_expected_of_it() {
    let mut state = two_readers(8);
    let known = Apart { mean: [-0.004, 0.0, 0.0], var: [1e-7, 1e-7, 1e-4] };
    let third = |day| Observation { apart: Some(known), ..read(day, "third", [-0.004, 0.0, 0.0]) };
    assert_eq!(state.absorb(&params(), &third(120.0)).fate, Fate::Used);
    assert_eq!(state.other_instrument(&params()).unwrap().0, &id("second"));
    assert!((at(&state, 120.0)[0].0 - 0.1978).abs() < 6e-4);
    for k in 0..4 {
        state.absorb(&params(), &third(127.0 + 7.0 * f64::from(k)));
    }
    let (other, apart) = state.other_instrument(&params()).unwrap();
    assert!(other == &id("third") && (apart[0].0 + 0.004).abs() < 5e-4, "it has read more than the second: {apart:?}");
}

#[test]
fn a_comparison_sets_the_constant_anew() {
    let mut state = two_readers(8);
    let compared = Apart { mean: [0.0; 3], var: [2e-7, 2e-7, 4e-5] };
    state.cross_calibrated(&params(), &id("second"), &id("third"), &compared);
    assert!(state.other_instrument(&params()).unwrap().1[0].0 > 0.002, "others are none of its business");
    state.cross_calibrated(&params(), &id("second"), &id("first"), &compared);
    let (mean, sd) = state.other_instrument(&params()).unwrap().1[0];
    assert!(mean == 0.0 && (sd / 2e-7f64.sqrt() - 1.0).abs() < 1e-12);
    assert_eq!(state.absorb(&params(), &read(120.0, "second", [0.0; 3])).fate, Fate::Used);
    assert!((at(&state, 120.0)[0].0 - 0.1978).abs() < 5e-4);
}

#[test]
fn a_pool_keeps_what_kinds_of_light_have_in_common() {
    let (var, common) = ([4e-6, 4e-6, 4e-4], [2e-6, 2e-6, 0.0]);
    let mut pool = Pool::new(var, common);
    assert_eq!(pool.of(LightKind::Lamp), Apart { mean: [0.0; 3], var });
    for _ in 0..40 {
        pool.take(LightKind::Display, &[Some((0.002, 1e-6)), Some((-0.001, 1e-6)), Some((0.02, 2e-4))]);
    }
    let (display, lamp) = (pool.of(LightKind::Display), pool.of(LightKind::Lamp));
    assert!((display.mean[0] - 0.002).abs() < 1e-4 && display.var[0] < 4e-7, "{display:?}");
    assert!((lamp.mean[0] - 0.001).abs() < 1e-4, "half of it is common: {lamp:?}");
    assert!((2.9e-6..3.1e-6).contains(&lamp.var[0]) && (lamp.mean[2], lamp.var[2]) == (0.0, 4e-4), "{lamp:?}");
    let before = pool;
    pool.take(LightKind::Display, &[Some((0.03, 1e-6)), Some((-0.001, 1e-6)), None]);
    assert_eq!(pool, before, "a stray tells nothing");
}

/// Rooms drawn from the model: 90 % intervals hold about 90 % of the truth, before and after the constant is known well, and
/// it is told from a device that moves meanwhile.
#[test]
fn intervals_hold_what_they_say_with_two_instruments() {
    let mut seed = 20_260_101u64;
    let mut normal = move || {
        let uniform = |seed: &mut u64| {
            *seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (*seed >> 11) as f64 / (1u64 << 53) as f64
        };
        (0..12).map(|_| uniform(&mut seed)).sum::<f64>() - 6.0
    };
    let (mut held, mut held_constant, mut off, mut all) = (0, 0, 0.0, 0);
    for _ in 0..150 {
        let (constant, slope) = (BROAD.var[0].sqrt() * normal(), 1e-5 * normal());
        let mut state = DeviceState::new(&params());
        let (mut wander, left) = (0.0007 * normal(), (-7.0f64 / 30.0).exp());
        let begun = 0.001 * normal();
        let mut truth = 0.0;
        for week in 0..26u32 {
            wander = left * wander + 0.0007 * (1.0 - left * left).sqrt() * normal();
            let day = 7.0 * f64::from(week);
            truth = begun + slope * day + wander;
            // The second comes in the eighth week, and the first one leaves in the twentieth.
            let by = if week >= 20 || (week >= 8 && week % 3 == 0) { "second" } else { "first" };
            let bias = if by == "second" { constant } else { 0.0 };
            let seen = truth + bias + 0.0007 * normal();
            state.absorb(&params(), &read(day, by, [seen, 0.0007 * normal(), 0.01 * normal()]));
        }
        assert_eq!(state.scale_instrument(), Some(&id("first")));
        let (mean, sd) = at(&state, 175.0)[0];
        held += i32::from((mean - 0.1978 - truth).abs() < 1.645 * sd);
        let (mean, sd) = state.other_instrument(&params()).unwrap().1[0];
        held_constant += i32::from((mean - constant).abs() < 1.645 * sd);
        off += (mean - constant) / 150.0;
        all += 1;
    }
    eprintln!("90 % intervals hold {held} of {all} states, {held_constant} constants, mean error {off:.6}");
    assert!((125..=146).contains(&held) && (125..=146).contains(&held_constant), "{held} {held_constant}");
    assert!(off.abs() < 2e-4);
}
