//! The life of a device as its owner would see it, and what must hold whatever is fed.

use proptest::prelude::*;

use super::filter::Filter;
use super::matrix::Matrix;
use super::*;
use crate::site::{LampKind, Noise};
use crate::units::{Days, InstrumentId, Time, UvPrime};

pub(super) fn params(thing: Thing) -> Params {
    Params {
        thing,
        aim_white: Some(UvPrime { u: 0.1978, v: 0.4683 }),
        aim_ln_level: Some(500f64.ln()),
        warm_up_min: 30.0,
    }
}

pub(super) fn led() -> Params {
    params(Thing::Lamp(LampKind::Led))
}

pub(super) fn on(day: f64) -> Time {
    Time::from_micros(1_750_000_000_000_000).plus(Days(day))
}

/// A reading at the aim but for `off` in u′, v′, ln level.
pub(super) fn reading(day: f64, off: [f64; 3]) -> Observation {
    Observation {
        seq: (day * 10.0) as i64,
        time: on(day),
        white: UvPrime { u: 0.1978 + off[0], v: 0.4683 + off[1] },
        extra_cov: [0.0; 3],
        ln_level: Some(500f64.ln() + off[2]),
        extra_ln: 0.0,
        noise: Noise { uv: 0.0007, level: 0.01 },
        warmup_min: None,
        hours: None,
        setting: None,
        label: false,
        instrument: None,
        apart: None,
        released: false,
    }
}

/// A device read every ten days with a small deterministic scatter.
fn steady(params: &Params, readings: u32) -> DeviceState {
    let mut state = DeviceState::new(params);
    for k in 0..readings {
        let wobble = f64::from(k % 3) - 1.0;
        let fate = state.absorb(params, &reading(10.0 * f64::from(k), [4e-4 * wobble, -3e-4 * wobble, 6e-3 * wobble]));
        assert_eq!(fate.fate, Fate::Used);
    }
    state
}

fn at(state: &DeviceState, params: &Params, day: f64) -> [(f64, f64); 3] {
    state.forecast(params, &[on(day)]).likely.channels.map(|path| {
        let path = path.expect("read");
        (path.mean[0], path.sd[0])
    })
}

#[test]
fn ignorance_is_honest() {
    let params = led();
    let mut state = DeviceState::new(&params);
    assert_eq!(state.forecast(&params, &[on(0.0)]).likely.channels, [None, None, None]);
    let fresh = state.after_fresh_reading(&params, on(0.0), Noise::default(), &[on(0.0)]);
    assert_eq!(fresh.channels, [None, None, None]);
    state.absorb(&params, &Observation { ln_level: None, ..reading(0.0, [0.001, 0.0, 0.0]) });
    let likely = state.forecast(&params, &[on(0.0), on(60.0)]).likely;
    assert!(likely.channels[2].is_none(), "the level was never read");
    let u = likely.channels[0].as_ref().unwrap();
    assert!((u.mean[0] - 0.1988).abs() < 2e-4);
    assert!(u.sd[0] > 0.0006 && u.sd[0] < 0.0015, "one reading tells no more than its noise: {}", u.sd[0]);
    assert!(u.sd[1] > 1.3 * u.sd[0], "and ages");
    let twice = {
        state.absorb(&params, &Observation { ln_level: None, ..reading(7.0, [0.001, 0.0, 0.0]) });
        state.forecast(&params, &[on(7.0)]).likely.channels[0].as_ref().unwrap().sd[0]
    };
    assert!(twice < u.sd[0]);
}

#[test]
fn a_stray_is_doubted_and_dropped() {
    let params = led();
    let mut state = steady(&params, 8);
    let before = at(&state, &params, 90.0);
    let absorbed = state.absorb(&params, &reading(84.0, [0.008, -0.003, 0.0]));
    assert_eq!(absorbed.fate, Fate::Doubted(Doubt::PossibleStep));
    assert_eq!(at(&state, &params, 90.0), before, "it stays out of the mean");
    let ahead = state.forecast(&params, &[on(90.0)]);
    assert_eq!(ahead.possible.len(), 1);
    let stepped = ahead.possible[0].path.channels[0].as_ref().unwrap();
    assert!((stepped.mean[0] - 0.2058).abs() < 5e-4, "but counts as a possible step");
    let after = state.absorb(&params, &reading(94.0, [0.0, 0.0, 0.0]));
    assert_eq!(after.fate, Fate::Used);
    assert_eq!(after.revised, [(840, Fate::Doubted(Doubt::NotBorneOut))]);
    assert!(state.forecast(&params, &[on(100.0)]).possible.is_empty());
}

#[test]
fn a_second_reading_makes_it_a_step() {
    let params = led();
    let mut state = steady(&params, 8);
    let slopes = state.summary(&params).slopes;
    assert_eq!(state.absorb(&params, &reading(84.0, [0.0, 0.0, -0.3])).fate, Fate::Doubted(Doubt::PossibleStep));
    let absorbed = state.absorb(&params, &reading(94.0, [0.0, 0.0, -0.31]));
    assert_eq!(absorbed.fate, Fate::Used);
    assert_eq!(absorbed.revised, [(840, Fate::Used)]);
    let step = absorbed.step.expect("a step");
    assert_eq!((step.after, step.began, &step.seqs[..]), (Some(on(70.0)), on(84.0), &[840, 940][..]));
    assert!((step.delta_ln + 0.305).abs() < 0.02 && step.delta_u.abs() < 5e-4);
    assert_eq!(state.summary(&params).last_step, Some(step));
    assert!((at(&state, &params, 94.0)[2].0 - (500f64.ln() - 0.305)).abs() < 0.012);
    for (c, (before, after)) in slopes.iter().zip(state.summary(&params).slopes).enumerate() {
        assert!((before.0 - after.0).abs() < 0.5 * before.1, "the step is no slope of channel {c}");
    }
    assert_eq!(state.summary(&params).used, 10);
}

#[test]
fn a_bumped_dimmer_is_likelier_than_a_jump_of_colour() {
    let params = led();
    let chance = |off| {
        let mut state = steady(&params, 8);
        state.absorb(&params, &reading(84.0, off));
        state.forecast(&params, &[on(90.0)]).possible[0].p
    };
    let (level, colour) = (chance([0.0, 0.0, -0.2]), chance([0.008, 0.0, -0.2]));
    assert!(level > 0.25 && colour < 0.1, "{level} against {colour}");
}

#[test]
fn the_gate_always_opens_again() {
    let params = led();
    let mut state = steady(&params, 8);
    for (day, off) in [(84.0, 0.1), (94.0, -0.4), (104.0, 0.5)] {
        state.absorb(&params, &reading(day, [0.0, 0.0, off]));
    }
    let last = state.absorb(&params, &reading(114.0, [0.0, 0.0, 0.5]));
    assert!(last.fate.is_used());
    assert!((at(&state, &params, 114.0)[2].0 - (500f64.ln() + 0.5)).abs() < 0.1);
}

#[test]
fn a_released_reading_is_taken_as_given() {
    let params = led();
    let mut state = steady(&params, 8);
    let dim = Observation { ln_level: Some(50f64.ln()), ..reading(84.0, [0.0; 3]) };
    let held = state.absorb(&params, &dim);
    let why = HeldWhy::UnitSlip { factor: SlipFactor::Ten, too_high: false };
    assert_eq!(held.fate, Fate::Held(why));
    assert_eq!(state.summary(&params).held, [(840, why)]);
    assert_eq!(state.summary(&params).last_read, Some((on(70.0), 700)), "a held reading does not count as one");
    let mut other = steady(&params, 8);
    let taken = other.absorb(&params, &Observation { released: true, ..dim });
    assert_eq!((taken.fate, taken.step.map(|step| step.seqs)), (Fate::Used, Some(vec![840])));
    assert!((at(&other, &params, 84.0)[2].0 - 50f64.ln()).abs() < 0.01, "the device is there, not half-way");
}

#[test]
fn hours_that_fall_are_held_until_the_replacement_is_known() {
    let params = led();
    let counted = |day: f64, hours: f64| Observation { hours: Some(hours), ..reading(day, [0.0; 3]) };
    let mut state = DeviceState::new(&params);
    state.absorb(&params, &counted(0.0, 4000.0));
    state.absorb(&params, &counted(10.0, 4080.0));
    let fate = state.absorb(&params, &counted(20.0, 60.0)).fate;
    assert_eq!(fate, Fate::Held(HeldWhy::HoursBackwards { before: 4080.0, after: 60.0 }));
    let mut replayed = DeviceState::new(&params);
    replayed.absorb(&params, &counted(0.0, 4000.0));
    replayed.absorb(&params, &counted(10.0, 4080.0));
    replayed.note(&params, &Happening { time: on(12.0), act: Act::Replaced });
    assert_eq!(replayed.absorb(&params, &counted(20.0, 60.0)).fate, Fate::Used);
}

#[test]
fn ageing_follows_the_hours_where_they_are_counted() {
    let params = led();
    let run = |per_day: f64| {
        let mut state = DeviceState::new(&params);
        for k in 0..12 {
            let day = 14.0 * f64::from(k);
            let fall = -3e-5 * per_day * day;
            state.absorb(&params, &Observation { hours: Some(per_day * day), ..reading(day, [0.0, 0.0, fall]) });
        }
        (state.summary(&params).slopes[2].0, at(&state, &params, 254.0)[2].0 - at(&state, &params, 154.0)[2].0)
    };
    let (busy, idle) = (run(16.0), run(4.0));
    assert!((busy.0 / idle.0 - 1.0).abs() < 0.5, "the same slope by the hour: {busy:?}, {idle:?}");
    assert!(busy.1 < 2.5 * idle.1, "but more of it by the calendar: {busy:?}, {idle:?}");
}

#[test]
fn a_recalibration_sets_the_level_and_keeps_what_was_learnt() {
    let params = params(Thing::Display);
    let mut state = DeviceState::new(&params);
    for k in 0..12 {
        let day = 14.0 * f64::from(k);
        state.absorb(&params, &reading(day, [3e-5 * day, 0.0, -3e-4 * day]));
    }
    let slope = state.summary(&params).slopes;
    let uv = UvPrime { u: 0.2, v: 0.47 };
    let target = TargetWhite { uv, ln_level: Some(5.0), sd_uv: None, sd_ln: None };
    state.note(&params, &Happening { time: on(154.0), act: Act::Recalibrated { target: Some(target) } });
    let now = at(&state, &params, 154.0);
    assert!((now[0].0 - 0.2).abs() < 1e-12 && (now[2].0 - 5.0).abs() < 1e-12);
    assert!(now[0].1 > 0.0009 && now[0].1 < 0.003, "with an uncertainty of its own");
    for (before, after) in slope.iter().zip(state.summary(&params).slopes) {
        assert!((before.0 - after.0).abs() < 1e-15);
    }
    state.note(&params, &Happening { time: on(160.0), act: Act::Recalibrated { target: None } });
    assert!((at(&state, &params, 160.0)[0].0 - 0.1978).abs() < 1e-12, "else the aim");
}

#[test]
fn a_first_reading_far_from_the_target_waits_for_a_second() {
    let params = params(Thing::Display);
    let recalibrated = || {
        let mut state = steady(&params, 8);
        state.note(&params, &Happening { time: on(160.0), act: Act::Recalibrated { target: None } });
        let first = state.absorb(&params, &reading(161.0, [0.012, 0.0, 0.0]));
        assert_eq!(first.fate, Fate::Doubted(Doubt::PossibleStep));
        let possible = &state.forecast(&params, &[on(161.0)]).possible[0];
        assert!(possible.p > 0.2, "it may well have been set elsewhere");
        state
    };
    let mut missed = recalibrated();
    let second = missed.absorb(&params, &reading(168.0, [0.012, 0.0, 0.0]));
    assert_eq!((second.fate, second.step), (Fate::Used, None), "set elsewhere than was thought is no unlogged step");
    assert_eq!(second.revised, [(1610, Fate::Used)]);
    assert!((at(&missed, &params, 168.0)[0].0 - 0.2098).abs() < 5e-4);
    let mut stray = recalibrated();
    let second = stray.absorb(&params, &reading(168.0, [0.0; 3]));
    assert_eq!(second.revised, [(1610, Fate::Doubted(Doubt::NotBorneOut))]);
    assert!((at(&stray, &params, 168.0)[0].0 - 0.1978).abs() < 5e-4);
}

#[test]
fn a_new_lamp_forgets_the_slope_but_for_what_its_predecessors_say() {
    let params = led();
    let life = |state: &mut DeviceState, from: f64| {
        for k in 0..20 {
            let day = 14.0 * f64::from(k);
            state.absorb(&params, &reading(from + day, [0.0, 0.0, -2e-4 * day]));
        }
        state.note(&params, &Happening { time: on(from + 280.0), act: Act::Replaced });
        state.summary(&params).slopes[2]
    };
    let mut state = DeviceState::new(&params);
    let fresh = state.summary(&params).slopes[2];
    let second = life(&mut state, 0.0);
    let third = life(&mut state, 300.0);
    assert!(second.0 < fresh.0 - 3e-5 && third.0 < second.0, "{fresh:?} {second:?} {third:?}");
    assert!(second.1 < fresh.1 && third.1 < second.1);
}

#[test]
fn a_fresh_tube_is_held_level_at_first() {
    let params = params(Thing::Lamp(LampKind::Fluorescent));
    let mut state = steady(&params, 10);
    state.note(&params, &Happening { time: on(100.0), act: Act::Replaced });
    let (day0, day12, day40) = (at(&state, &params, 100.0), at(&state, &params, 112.0), at(&state, &params, 140.0));
    assert!((day12[2].0 - day0[2].0).abs() < 1e-12 && day12[2].1 > day0[2].1 + 0.01);
    assert!(day40[2].0 < day12[2].0 - 1e-3, "then it ages as its kind does");
}

#[test]
fn another_setting_is_another_regime() {
    let params = led();
    let set = |day: f64, off, setting: &str| Observation { setting: Some(setting.into()), ..reading(day, off) };
    let mut state = DeviceState::new(&params);
    for k in 0..6 {
        state.absorb(&params, &set(10.0 * f64::from(k), [0.0; 3], "80 %"));
    }
    let absorbed = state.absorb(&params, &set(60.0, [0.002, 0.001, -0.7], "40 %"));
    assert_eq!((absorbed.fate, absorbed.step), (Fate::Used, None));
    assert!((at(&state, &params, 60.0)[2].0 - (500f64.ln() - 0.7)).abs() < 0.01);
}

#[test]
fn a_cold_reading_weighs_less() {
    let params = led();
    let after = |warmup_min| {
        let mut state = steady(&params, 8);
        let cold = Observation { warmup_min, ..reading(80.0, [0.0015, 0.0, -0.02]) };
        let fate = state.absorb(&params, &cold).fate;
        (fate, at(&state, &params, 80.0)[2].0 - 500f64.ln())
    };
    let (cold, half, warm) = (after(Some(1.0)), after(Some(15.0)), after(Some(45.0)));
    assert_eq!((cold.0, half.0, warm.0), (Fate::UsedCold, Fate::UsedCold, Fate::Used));
    assert!(cold.1.abs() < half.1.abs() && half.1.abs() <= warm.1.abs());
}

/// The two channels of a colour temperature without tint get the marginals that the joint filter would give.
#[test]
fn tint_unknown_is_the_marginal_of_the_joint_update() {
    let (p, m, r) = ([4e-6, 9e-6], [0.2, 0.47], [[2e-5, 1.5e-5], [1.5e-5, 3e-5]]);
    let z = [0.203, 0.466];
    let s = [[p[0] + r[0][0], r[0][1]], [r[1][0], p[1] + r[1][1]]];
    let det = s[0][0] * s[1][1] - s[0][1] * s[1][0];
    let v = [z[0] - m[0], z[1] - m[1]];
    let joint = m[0] + p[0] * (s[1][1] * v[0] - s[0][1] * v[1]) / det;
    let joint_variance = p[0] - p[0] * p[0] * s[1][1] / det;
    let r_part = r[0][0] - r[0][1] * r[0][1] / s[1][1];
    let z_part = z[0] - r[0][1] / s[1][1] * v[1];
    let one = Filter { mean: [m[0]], cov: Matrix([[p[0]]]) }.update(&[1.0], r_part, z_part).0;
    assert!((one.mean[0] - joint).abs() < 1e-15 && (one.cov.0[0][0] - joint_variance).abs() < 1e-18);
    // And in a device: the colour temperature is learnt along the line it is sure of, the tint stays open.
    let params = led();
    let mut state = DeviceState::new(&params);
    let tint = Observation { extra_cov: [1e-6, -3.9e-6, 1.6e-5], ..reading(0.0, [0.0; 3]) };
    for k in 0..4 {
        state.absorb(&params, &Observation { time: on(7.0 * f64::from(k)), ..tint.clone() });
    }
    let now = at(&state, &params, 21.0);
    assert!(now[1].1 > 1e-3 && now[1].1 < 4.5e-3, "{now:?}");
}

#[test]
fn the_scale_is_the_instrument_that_reads_it_most() {
    let params = led();
    let mut state = DeviceState::new(&params);
    for (day, name) in [(0.0, "b"), (7.0, "a"), (14.0, "a"), (21.0, "b"), (28.0, "a")] {
        let instrument = Some(InstrumentId::new(name).unwrap());
        state.absorb(&params, &Observation { instrument, ..reading(day, [0.0; 3]) });
    }
    assert_eq!(state.scale_instrument().map(InstrumentId::as_str), Some("a"));
}

#[test]
fn what_a_fresh_reading_would_leave() {
    let params = led();
    let state = steady(&params, 6);
    let stale = at(&state, &params, 250.0);
    let fresh = state.after_fresh_reading(&params, on(250.0), Noise { uv: 0.0007, level: 0.01 }, &[on(250.0)]);
    for (stale, fresh) in stale.iter().zip(fresh.channels) {
        assert!(fresh.unwrap().sd[0] < 0.75 * stale.1);
    }
    let path = state.after_fresh_reading(&params, on(250.0), Noise::default(), &[on(250.0), on(264.0)]);
    let u = path.channels[0].as_ref().unwrap();
    assert!((u.mean[0] - stale[0].0).abs() < 1e-12 && u.sd[1] > u.sd[0]);
}

#[test]
fn bytes_go_round_and_stay_small() {
    let params = led();
    let mut state = steady(&params, 8);
    let counted = Observation {
        hours: Some(812.5),
        setting: Some("80 %".into()),
        instrument: Some(InstrumentId::new("spectro-1").unwrap()),
        ..reading(84.0, [0.01, 0.0, 0.0])
    };
    state.absorb(&params, &counted);
    state.absorb(&params, &Observation { ln_level: Some(50f64.ln()), ..reading(90.0, [0.0; 3]) });
    let bytes = state.to_bytes();
    assert!(bytes.len() < 16 * 1024, "{} bytes", bytes.len());
    assert!(DeviceState::from_bytes(&bytes) == Ok(state.clone()), "what is read back is what was written");
    assert_eq!(DeviceState::from_bytes(&bytes).unwrap().to_bytes(), bytes);
    let mut newer = bytes.clone();
    newer[0] = 99;
    assert_eq!(DeviceState::from_bytes(&newer), Err(BadState::Version { found: 99 }));
    for cut in [0, 3, 5000, bytes.len() - 1] {
        assert!(matches!(DeviceState::from_bytes(&bytes[..cut]), Err(BadState::Damaged { .. })));
    }
    assert!(DeviceState::from_bytes(&[&bytes[..], &[0]].concat()).is_err());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// Damaged bytes are refused or are some state, never a panic.
    #[test]
    fn no_bytes_panic(cut in 0usize..9000, at in 0usize..9000, with in any::<u8>()) {
        let mut bytes = steady(&led(), 2).to_bytes();
        if let Some(byte) = bytes.get_mut(at) {
            *byte = with;
        }
        let _ = DeviceState::from_bytes(&bytes);
        bytes.truncate(cut);
        let _ = DeviceState::from_bytes(&bytes);
    }
}
