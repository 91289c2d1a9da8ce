//! What must hold of whole lives: readings by two instruments, hours, events, gaps of years, numbers that are no numbers.

use proptest::prelude::*;

use super::bank::{Bank, GRID, Number, Setting};
use super::dynamics::{SEEN, Span};
use super::matrix::dot;
use super::priors::{ChannelPrior, drift_prior};
use super::tests::{on, params, reading};
use super::*;
use crate::simulate::Chance;
use crate::site::{LampKind, Noise};
use crate::units::{Days, InstrumentId, Time, UvPrime};

/// One line of a device's log: days since the line before, and what was read or done.
#[derive(Debug, Clone)]
struct Line {
    gap: f64,
    off: [f64; 3],
    by: u8,
    hours: bool,
    cold: bool,
    act: Option<Act>,
}

/// Everything but a recalibration to a target.
fn plain_act() -> impl Strategy<Value = Act> {
    prop_oneof![
        Just(Act::Replaced),
        Just(Act::PartReplaced),
        Just(Act::SettingChanged),
        Just(Act::Moved),
        Just(Act::Cleaned),
        Just(Act::Serviced),
        Just(Act::Recalibrated { target: None }),
    ]
}

fn any_act() -> impl Strategy<Value = Act> {
    let white =
        |sd_uv| TargetWhite { uv: UvPrime { u: 0.199, v: 0.469 }, ln_level: Some(500f64.ln()), sd_uv, sd_ln: None };
    prop_oneof![
        7 => plain_act(),
        1 => Just(Act::Recalibrated { target: Some(white(None)) }),
        1 => Just(Act::Recalibrated { target: Some(white(Some(0.0))) }),
    ]
}

/// Acts that set a device to whites which are none.
fn wild_act() -> impl Strategy<Value = Act> {
    let white = |x| TargetWhite { uv: UvPrime { u: x, v: 0.47 }, ln_level: Some(x), sd_uv: Some(0.0), sd_ln: None };
    let to = any::<f64>().prop_map(move |x| Act::Recalibrated { target: Some(white(x.clamp(-1e9, 1e9))) });
    prop_oneof![7 => plain_act(), 1 => to]
}

fn wild_reading() -> impl Strategy<Value = Observation> {
    let number = || prop_oneof![6 => -0.02..0.02f64, 1 => any::<f64>(), 1 => Just(0.0), 1 => Just(1e308)];
    let side = (0.0..3.0f64, any::<bool>(), proptest::option::of(number()), proptest::option::of(0u8..3));
    ((0.0..400.0f64, number(), number(), number()), (number(), number(), number()), side).prop_map(
        |((day, u, v, ln), (uu, uv, noise), (scale, released, hours, setting))| {
            let mut one = reading(day, [u, v, 0.0]);
            one.ln_level = (scale > 0.3).then_some(500f64.ln() + ln);
            one.extra_cov = [uu.abs() * scale, uv, uu.abs()];
            one.noise = Noise { uv: noise, level: noise * scale };
            one.released = released;
            one.hours = hours.map(|h| h.abs() * 1e4);
            one.warmup_min = (scale > 2.0).then_some(ln);
            one.setting = setting.map(|s| s.to_string());
            one.time = if scale > 2.9 { on(day * 5000.0) } else { one.time };
            one
        },
    )
}

fn any_line() -> impl Strategy<Value = Line> {
    // Whole quarters of a day, so that a shift of the calendar rounds nothing.
    let gap = prop_oneof![6 => 0u32..120, 1 => Just(0u32), 1 => 400u32..8000];
    let off = prop_oneof![6 => -0.004..0.004f64, 1 => -0.03..0.03f64];
    let act = proptest::option::weighted(0.2, any_act());
    (gap, off, -0.004..0.004f64, -0.05..0.05f64, 0u8..3, any::<bool>(), 0u8..5, act).prop_map(
        |(gap, u, v, ln, by, hours, cold, act)| Line {
            gap: 0.25 * f64::from(gap),
            off: [u, v, ln],
            by,
            hours,
            cold: cold == 0,
            act,
        },
    )
}

fn lives() -> impl Strategy<Value = (Thing, Vec<Line>)> {
    let thing =
        prop_oneof![Just(Thing::Display), Just(Thing::Lamp(LampKind::Led)), Just(Thing::Lamp(LampKind::Fluorescent)),];
    (thing, proptest::collection::vec(any_line(), 1..16))
}

/// The log as the model is fed it: its calendar `shift` days later, its levels `ln` higher, aims and targets too.
fn live(
    thing: Thing,
    log: &[Line],
    shift: f64,
    ln: f64,
    mut between: impl FnMut(&mut DeviceState, Time),
) -> (Params, DeviceState, Vec<Fate>, f64) {
    let usual = params(thing);
    let params = Params { aim_ln_level: usual.aim_ln_level.map(|level| level + ln), ..usual };
    let mut state = DeviceState::new(&params);
    let (mut day, mut fates) = (0.0, Vec::new());
    let mut time = on(0.0).plus(Days(shift));
    for (n, line) in log.iter().enumerate() {
        let before = time;
        day += line.gap;
        time = on(day).plus(Days(shift));
        between(&mut state, Time::from_micros(before.micros() + (time.micros() - before.micros()) / 4));
        if let Some(mut act) = line.act {
            if let Act::Recalibrated { target: Some(target) } = &mut act {
                target.ln_level = target.ln_level.map(|level| level + ln);
            }
            state.note(&params, &Happening { time, act });
        }
        let instrument = ["house", "guest"].get(usize::from(line.by)).map(|id| InstrumentId::new(id).unwrap());
        let scale = state.scale_instrument();
        let apart = (instrument.is_some() && scale.is_some() && scale != instrument.as_ref())
            .then_some(Apart { mean: [0.0005, 0.0, 0.01], var: [4e-6, 4e-6, 8e-4] });
        let one = reading(0.0, line.off);
        let absorbed = state.absorb(
            &params,
            &Observation {
                seq: n as i64,
                time,
                ln_level: one.ln_level.map(|level| level + ln),
                hours: line.hours.then_some(8.0 * day),
                warmup_min: line.cold.then_some(5.0),
                instrument,
                apart,
                ..one
            },
        );
        fates.push(absorbed.fate);
    }
    (params, state, fates, day)
}

fn ahead(params: &Params, state: &DeviceState, day: f64, shift: f64) -> Forecast {
    state.forecast(params, &[0.0, 1.0, 30.0, 900.0].map(|more| on(day + more).plus(Days(shift))))
}

/// Every path of a forecast with its probability.
fn paths(forecast: &Forecast) -> Vec<(f64, &Path)> {
    let others = forecast.possible.iter().map(|other| (other.p, &other.path));
    std::iter::once((1.0, &forecast.likely)).chain(others).collect()
}

/// That two forecasts are one but for a level that lies `ln` higher, each number within `within` of its scale.
fn alike(one: &Forecast, other: &Forecast, ln: f64, within: f64) -> Result<(), TestCaseError> {
    prop_assert_eq!(one.possible.len(), other.possible.len());
    for ((p, one), (q, other)) in paths(one).into_iter().zip(paths(other)) {
        prop_assert!((p - q).abs() < within, "{} and {}", p, q);
        for (c, channels) in one.channels.iter().zip(&other.channels).enumerate() {
            let (Some(one), Some(other)) = channels else {
                prop_assert!(channels.0.is_none() && channels.1.is_none());
                continue;
            };
            let up = if c == 2 { ln } else { 0.0 };
            for place in 0..one.mean.len() {
                let (a, b) = (one.sd[place], other.sd[place]);
                prop_assert!((a - b).abs() <= within * a.max(1e-6), "sd {} and {} of channel {}", a, b, c);
                let (m, n) = (one.mean[place] + up, other.mean[place]);
                prop_assert!((m - n).abs() <= within * a.max(1e-6), "mean {} and {} of channel {}", m, n, c);
            }
        }
    }
    Ok(())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// The calendar has no origin, whatever was done and whoever read.
    #[test]
    fn a_life_may_begin_on_any_day((thing, log) in lives(), shift in -12_000i32..12_000) {
        let shift = f64::from(shift);
        let (params, state, fates, day) = live(thing, &log, 0.0, 0.0, |_, _| ());
        let (_, later, fates_later, _) = live(thing, &log, shift, 0.0, |_, _| ());
        prop_assert_eq!(fates, fates_later);
        let (one, other) = (ahead(&params, &state, day, 0.0), ahead(&params, &later, day, shift));
        prop_assert_eq!(&one.likely, &other.likely);
        alike(&one, &other, 0.0, 1e-12)?;
    }

    /// Another unit of level, aims and targets in it too, moves the mean of the level and nothing else.
    #[test]
    fn a_life_may_be_told_in_any_unit((thing, log) in lives(), factor in 0.05..20.0f64) {
        let ln = factor.ln();
        let (params, state, fates, day) = live(thing, &log, 0.0, 0.0, |_, _| ());
        let (others, other, fates_other, _) = live(thing, &log, 0.0, ln, |_, _| ());
        prop_assert_eq!(fates, fates_other);
        alike(&ahead(&params, &state, day, 0.0), &ahead(&others, &other, day, 0.0), ln, 1e-6)?;
    }

    /// Whoever carries the state on a quarter into every gap gets what one step gives. (A quarter, so that no sum of days is rounded: the
    /// model's own record waits for 28 days to the digit.)
    #[test]
    fn any_gap_of_a_life_may_be_split((thing, log) in lives()) {
        // An hours counter says at the end of a gap how the device was used in it, which a stop half-way cannot know.
        let log: Vec<Line> = log.into_iter().map(|line| Line { hours: false, ..line }).collect();
        let (params, mut state, fates, day) = live(thing, &log, 0.0, 0.0, |_, _| ());
        let prior = drift_prior(thing);
        let stop = |state: &mut DeviceState, time: Time| {
            // A doubt is settled at the time of the reading that gave rise to it; nobody carries a state on over one.
            if state.time.is_some() && state.pending.is_empty() {
                state.carry_to(&prior, time, None);
            }
        };
        let (_, mut split, fates_split, _) = live(thing, &log, 0.0, 0.0, stop);
        prop_assert_eq!(fates, fates_split);
        prop_assert_eq!(state.records.map(|record| record.forecasts), split.records.map(|record| record.forecasts));
        if !state.pending.is_empty() {
            // The state stands before the doubted reading, and what its record widens counts from there.
            (state.records, split.records) = Default::default();
        }
        alike(&ahead(&params, &state, day, 0.0), &ahead(&params, &split, day, 0.0), 0.0, 1e-6)?;
    }

    /// Whatever is fed, in whatever order, all that comes out is a number, and the bytes go round.
    #[test]
    fn never_nan(
        steps in proptest::collection::vec((wild_reading(), proptest::option::weighted(0.2, wild_act())), 1..14),
        tube in any::<bool>(),
    ) {
        let params = if tube { params(Thing::Lamp(LampKind::Fluorescent)) } else { params(Thing::Display) };
        let mut state = DeviceState::new(&params);
        for (reading, act) in &steps {
            state.absorb(&params, reading);
            if let Some(act) = act {
                state.note(&params, &Happening { time: reading.time, act: *act });
            }
        }
        let times = [on(0.0), on(400.0), on(401.0), on(5000.0), Time::from_micros(i64::MAX)];
        let forecast = state.forecast(&params, &times);
        let fresh = state.after_fresh_reading(&params, on(500.0), Noise { uv: 0.0, level: 0.0 }, &times);
        let paths = forecast.possible.iter().map(|h| &h.path).chain([&forecast.likely, &fresh]);
        for path in paths.flat_map(|path| path.channels.iter().flatten()) {
            prop_assert!(path.mean.iter().chain(&path.sd).chain(&path.fresh).chain(&path.fresh_next).all(|x| x.is_finite()), "{path:?}");
            prop_assert!(path.sd.iter().all(|sd| *sd >= 0.0));
        }
        prop_assert!(forecast.possible.iter().all(|h| h.p > 0.0 && h.p < 1.0));
        let bytes = state.to_bytes();
        prop_assert_eq!(DeviceState::from_bytes(&bytes).unwrap().to_bytes(), bytes);
    }

    /// Numbers beyond all measure, among a life like any other: what comes out are numbers, and the doubt never shrinks by
    /// mere waiting.
    #[test]
    fn extremes_leave_numbers(
        (thing, log) in lives(),
        bad in prop_oneof![Just(1e300), Just(-1e300), Just(f64::NAN), Just(f64::INFINITY), Just(0.0), Just(5e-324)],
        channel in 0usize..3,
        noise in prop_oneof![Just(0.0), Just(1e300), Just(f64::NAN), Just(5e-4)],
        years in 0u32..80,
        instrument in any::<bool>(),
    ) {
        let (params, mut state, _, day) = live(thing, &log, 0.0, 0.0, |_, _| ());
        let time = on(day + 365.25 * f64::from(years));
        for seq in 900..904 {
            let mut one = Observation { seq, time, noise: Noise { uv: noise, level: noise }, ..reading(0.0, [0.0; 3]) };
            match channel {
                0 => one.white.u = bad,
                1 => one.white.v = bad,
                _ => one.ln_level = Some(bad),
            }
            one.instrument = instrument.then(|| InstrumentId::new("third").unwrap());
            one.apart = instrument.then_some(Apart { mean: [bad; 3], var: [noise; 3] });
            state.absorb(&params, &one);
        }
        let forecast = state.forecast(&params, &[0.0, 1.0, 30.0, 900.0].map(|more| time.plus(Days(more))));
        for (p, path) in paths(&forecast) {
            prop_assert!(p > 0.0 && p <= 1.0, "{}", p);
            for path in path.channels.iter().flatten() {
                let numbers = path.mean.iter().chain(&path.sd).chain(&path.fresh).chain(&path.fresh_next);
                prop_assert!(numbers.clone().all(|x| x.is_finite()), "{:?}", path);
                prop_assert!(path.sd.iter().chain(&path.fresh).all(|x| *x >= 0.0), "{:?}", path);
                prop_assert!(path.fresh.windows(2).all(|pair| pair[0] <= pair[1]), "{:?}", path);
            }
        }
        let possible: f64 = forecast.possible.iter().map(|other| other.p).sum();
        prop_assert!(possible < 1.0);
        let bytes = state.to_bytes();
        prop_assert_eq!(DeviceState::from_bytes(&bytes).unwrap().to_bytes(), bytes);
    }
}

/// Where the slope's variance grew over years, halving it alone would leave a covariance that is none.
#[test]
fn a_part_replaced_after_a_long_time_leaves_numbers() {
    let line = |gap, act| Line { gap, off: [0.0; 3], by: 2, hours: false, cold: false, act };
    let mut log = vec![line(0.0, None), line(900.0, Some(Act::PartReplaced))];
    log.extend((0..6).map(|_| line(20.0, None)));
    let (params, state, _, day) = live(Thing::Display, &log, 0.0, 0.0, |_, _| ());
    for path in ahead(&params, &state, day, 0.0).likely.channels.iter().flatten() {
        assert!(path.mean.iter().chain(&path.sd).all(|x| x.is_finite()), "{path:?}");
    }
}

/// Devices drawn as the bank believes they are: the quantiles of its mixture hold what they say, within what chance does to so
/// many independent intervals with 99 %. The Gaussian that stands for the mixture is held to what the statistical notes ask.
#[test]
fn what_is_drawn_as_believed_is_covered_as_said() {
    const DEVICES: u64 = 3000;
    for (thing, channel) in [(Thing::Display, 0), (Thing::Display, 2), (Thing::Lamp(LampKind::Fluorescent), 2)] {
        let prior = drift_prior(thing).channels[channel];
        let mut held = [[0u32; 3]; 3];
        for seed in 0..DEVICES {
            let mut chance = Chance::new(1_000_000 + seed);
            let mut draw = chance.share();
            let drawn = (0..GRID).map(|index| Setting::at(index, &prior)).find(|setting| {
                draw -= setting.weight;
                draw < 0.0
            });
            let setting = drawn.unwrap_or(Setting::at(GRID - 1, &prior));
            let mut truth = Truth {
                level: prior.level + 0.3 * prior.level_about_aim * chance.normal(),
                slope: prior.slope + setting.slope_sd * chance.normal(),
                wander: libm::sqrt(setting.strength.wander) * chance.normal(),
            };
            let mut bank = Bank::new(&prior, prior.level, 0.3 * prior.level_about_aim);
            let declared = if channel == 2 { 0.01 } else { 0.0007 };
            for _ in 0..4 + seed % 20 {
                let days = chance.between(4.0, 25.0);
                truth.go_on(&setting, days, &mut chance);
                bank.carry(&prior, &span(days));
                let value = truth.level + truth.wander + setting.noise * declared * chance.normal();
                bank.take(&prior, &Number { value, noise: declared * declared, extra: 0.0, across: false });
            }
            let belief = bank.belief(&prior);
            let mut gone = 0.0;
            for (held, days) in held.iter_mut().zip([30.0, 60.0, 90.0]) {
                truth.go_on(&setting, days - gone, &mut chance);
                gone = days;
                let value = truth.level + truth.wander;
                let below = below(&bank, &prior, days, value);
                held[0] += u32::from((0.05..=0.95).contains(&below));
                held[1] += u32::from((0.025..=0.975).contains(&below));
                let sd = libm::sqrt(belief.variance(&span(days)));
                held[2] += u32::from((value - belief.mean(&span(days))).abs() <= 1.644_854 * sd);
            }
        }
        for (held, days) in held.iter().zip([30, 60, 90]) {
            let [ninety, more, gaussian] = held.map(|held| f64::from(held) / DEVICES as f64);
            let what = format!("{thing:?}, channel {channel}, {days} days: {ninety} and {more}, Gaussian {gaussian}");
            let chance = |p: f64| 2.576 * libm::sqrt(p * (1.0 - p) / DEVICES as f64);
            assert!((ninety - 0.9).abs() < chance(0.9) && (more - 0.95).abs() < chance(0.95), "{what}");
            assert!((0.87..=0.93).contains(&gaussian), "{what}");
        }
    }
}

/// Probability that the bank's mixture gives to the true value being below `value` after `days`.
fn below(bank: &Bank, prior: &ChannelPrior, days: f64, value: f64) -> f64 {
    let mut bank = bank.clone();
    bank.carry(prior, &span(days));
    let weights = bank.log_weights.map(libm::exp);
    let each = bank.filters.iter().zip(weights).map(|(filter, weight)| {
        let sd = libm::sqrt(dot(&SEEN, &filter.cov.times_column(&SEEN)));
        weight * 0.5 * libm::erfc((dot(&SEEN, &filter.mean) - value) / (sd * std::f64::consts::SQRT_2))
    });
    each.sum::<f64>() / weights.iter().sum::<f64>()
}

const fn span(days: f64) -> Span {
    Span { ageing: days, calendar: days, settling: 0.0 }
}

/// The true state of a channel, moved day by day and not by the closed forms.
struct Truth {
    level: f64,
    slope: f64,
    wander: f64,
}

impl Truth {
    fn go_on(&mut self, setting: &Setting, days: f64, chance: &mut Chance) {
        let steps = libm::ceil(2.0 * days);
        let step = days / steps;
        for _ in 0..steps as u32 {
            let turn = libm::sqrt(setting.strength.slope_change * step) * chance.normal();
            self.level += step * (self.slope + 0.5 * turn);
            self.slope += turn;
            let left = span(step).wander_left();
            self.wander =
                left * self.wander + libm::sqrt(setting.strength.wander * (1.0 - left * left)) * chance.normal();
        }
    }
}
