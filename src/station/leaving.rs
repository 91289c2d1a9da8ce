//! When a device will leave its aim, if nobody touches it.
//!
//! The device is held against its aim as a match is against its tolerance: the same integrals over circle and band, the same
//! probability of having been out on any day so far. The date is that at which this probability passes one half, the likely range
//! reaches from one tenth to nine tenths. As for the date of risk: never farther ahead than six times the time the readings span, and
//! a guess beyond that time itself, beyond 180 days, or from few readings.

use super::compare::Light;
use super::outlook::{FARTHEST_DAYS, FARTHEST_SPANS, GUESS_BELOW_DAYS, GUESS_BELOW_READINGS, GUESS_BEYOND_DAYS};
use super::region::{inside_band, inside_circle};
use super::risk::{Difference, Limits, LnRatio, risk_path};
use super::{OUT_ABOVE, Watched, grid};
use crate::color::{Move, direction};
use crate::units::{Days, Time, UvPrime};

/// Probabilities at the ends of the likely range.
pub const LIKELY: (f64, f64) = (0.1, 0.9);

/// When a device will leave its aim. Dates are absent where they lie farther ahead than may be said.
#[derive(Debug, Clone, PartialEq)]
pub struct Leaving {
    /// Probability that it is off its aim now.
    pub off_now: f64,
    /// The day by which it has left with one half.
    pub about: Option<Time>,
    /// The day by which it has left with one tenth.
    pub early: Option<Time>,
    /// The day by which it has left with nine tenths.
    pub late: Option<Time>,
    /// The day on which the risk of having left passes the line it is held to.
    pub act_by: Option<Time>,
    /// Farther ahead than the readings reach back, or from too few of them: to be called a guess.
    pub guess: bool,
    /// What takes it out, where a date is known or it is out.
    pub cause: Option<Cause>,
    /// Nothing is said of days after this one.
    pub farthest: Time,
}

/// What takes a device out of its limits.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Cause {
    /// Its white moves, in this direction from its aim.
    Colour(Option<Move>),
    /// It gets dimmer.
    Dimmer,
    /// It gets brighter.
    Brighter,
    /// It is expected inside; only what is not known of it grows.
    Doubt,
}

impl Leaving {
    /// Whether it is more likely off its aim than on it.
    pub fn is_off(&self) -> bool {
        self.off_now > OUT_ABOVE
    }
}

/// When `device` will be farther from its aim than `limits` allow. `max_risk` is the line for [`Leaving::act_by`].
pub fn leaving(device: &Watched, limits: &Limits, max_risk: f64, now: Time) -> Leaving {
    let summary = device.state.summary(device.params);
    let observed = summary.observed.0;
    let farthest = (observed * FARTHEST_SPANS).min(FARTHEST_DAYS);
    let times = grid(now, Days(farthest));
    let forecast = device.state.forecast(device.params, &times);
    // An odd reading that waits may be a step, which is no drift: nothing is ordered on its word.
    let path: Vec<Difference> =
        (0..times.len()).map(|index| from_aim(device, &Light::at(&forecast.likely, index, device.aim))).collect();
    let risk = risk_path(&[(1.0, path)], limits);
    let date = |line: f64| crossing(&risk.within, &times, line);
    let about = date(0.5);
    let days = about.map_or(0.0, |about| about.since(now).0);
    let few = summary.used_since_new < GUESS_BELOW_READINGS || observed < GUESS_BELOW_DAYS;
    let off_now = risk.on.first().copied().unwrap_or(1.0);
    // The light on the day it is about, or at the far end of what may be said.
    let index = times.iter().position(|time| about.is_some_and(|about| *time >= about)).unwrap_or(times.len() - 1);
    Leaving {
        off_now,
        about,
        early: date(LIKELY.0),
        late: date(LIKELY.1),
        act_by: date(max_risk),
        guess: days > 0.0 && (few || days > observed || days > GUESS_BEYOND_DAYS),
        cause: about.map(|_| cause(device, limits, &Light::at(&forecast.likely, index, device.aim))),
        farthest: now.plus(Days(farthest)),
    }
}

/// The first day on which a path that never falls passes `line`, straight between the days of the grid.
fn crossing(within: &[f64], times: &[Time], line: f64) -> Option<Time> {
    let index = within.iter().position(|risk| *risk > line)?;
    let (after, risk_after) = (*times.get(index)?, *within.get(index)?);
    let before = index.checked_sub(1).and_then(|before| Some((*times.get(before)?, *within.get(before)?)));
    let Some((before, risk_before)) = before else { return Some(after) };
    let share = (line - risk_before) / (risk_after - risk_before).max(f64::MIN_POSITIVE);
    Some(before.plus(Days(share.clamp(0.0, 1.0) * after.since(before).0)))
}

fn from_aim(device: &Watched, light: &Light) -> Difference {
    let (u, v) = (light.u, light.v);
    Difference {
        uv: (u.mean - device.aim.u, v.mean - device.aim.v),
        uv_cov: (u.var, 0.0, v.var),
        uv_fresh: (u.fresh, 0.0, v.fresh),
        uv_fresh_carry: (u.fresh_carry, 0.0, v.fresh_carry),
        ln_ratio: light.ln_level.zip(device.aim_level).map(|(level, aim)| LnRatio {
            mean: level.mean - libm::log(aim),
            var: level.var,
            fresh: level.fresh,
            fresh_carry: level.fresh_carry,
        }),
    }
}

/// A mean nearer to the aim than this share of the limit is not what takes a device out.
const STILL_NEAR: f64 = 0.6;

fn cause(device: &Watched, limits: &Limits, light: &Light) -> Cause {
    let difference = from_aim(device, light);
    let (u, v) = difference.uv;
    let colour_out = 1.0 - inside_circle(difference.uv, difference.uv_cov, limits.delta_uv);
    let level = limits.ln_ratio.zip(difference.ln_ratio);
    let level_out = level.map_or(0.0, |(limit, ratio)| 1.0 - inside_band(ratio.mean, ratio.var, limit));
    let level_share = level.map_or(0.0, |(limit, ratio)| ratio.mean.abs() / limit.max(f64::MIN_POSITIVE));
    let colour_share = u.hypot(v) / limits.delta_uv;
    if level_share.max(colour_share) < STILL_NEAR {
        return Cause::Doubt;
    }
    match level {
        Some((_, ratio)) if level_out > colour_out => {
            if ratio.mean < 0.0 {
                Cause::Dimmer
            } else {
                Cause::Brighter
            }
        }
        _ => {
            let there = UvPrime { u: device.aim.u + u, v: device.aim.v + v };
            Cause::Colour(direction(device.aim, there))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drift::{DeviceState, Observation, Params, Thing};
    use crate::site::{Bias, LampKind, Noise};
    use crate::units::DeviceId;

    const AIM: UvPrime = UvPrime { u: 0.2092, v: 0.4881 };

    /// A lamp read each week for `weeks` that loses this share of its light a day.
    fn lamp(weeks: i64, loss: f64) -> (Params, DeviceState, Time) {
        let thing = Thing::Lamp(LampKind::Led);
        let params = Params { thing, aim_white: Some(AIM), aim_ln_level: Some(libm::log(500.0)), warm_up_min: 0.0 };
        let mut state = DeviceState::new(&params);
        let mut time = Time::from_micros(0);
        for seq in 0..weeks {
            time = Time::from_micros(0).plus(Days(7.0 * seq as f64));
            // No instrument repeats itself to the digit.
            let scatter = 0.004 * ((seq * 5 % 7) as f64 - 3.0) / 3.0;
            state.absorb(
                &params,
                &Observation {
                    apart: None,
                    seq: seq + 1,
                    time,
                    white: AIM,
                    extra_cov: [0.0; 3],
                    ln_level: Some(libm::log(500.0) - loss * 7.0 * seq as f64 + scatter),
                    extra_ln: 0.0,
                    noise: Noise::default(),
                    warmup_min: None,
                    hours: None,
                    setting: None,
                    label: false,
                    instrument: None,
                    released: false,
                },
            );
        }
        (params, state, time)
    }

    fn asked(weeks: i64, loss: f64, delta_uv: f64) -> (Leaving, Time) {
        let (params, state, now) = lamp(weeks, loss);
        let id = DeviceId::new("bay-lamp").unwrap();
        let watched = Watched {
            id: &id,
            params: &params,
            state: &state,
            aim: AIM,
            aim_level: Some(500.0),
            bias: Bias::default(),
            noise: Noise::default(),
        };
        let limits = Limits { delta_uv, ln_ratio: Some(libm::log(1.2)) };
        (leaving(&watched, &limits, 0.2, now), now)
    }

    #[test]
    fn a_steady_fall_is_dated() {
        // ln 1.2 = 0.182 is lost after 456 days at 0.0004 a day; 51 weeks are 357 days.
        let (leaving, now) = asked(52, 4e-4, 0.006);
        let days = |time: Option<Time>| time.unwrap().since(now).0;
        assert!((days(leaving.about) - 99.0).abs() < 15.0, "{leaving:?}");
        assert!(days(leaving.early) < days(leaving.act_by) && days(leaving.act_by) < days(leaving.about));
        assert!(days(leaving.late) > days(leaving.about) && days(leaving.late) < 200.0, "{leaving:?}");
        assert_eq!((leaving.cause, leaving.guess, leaving.is_off()), (Some(Cause::Dimmer), false, false));
    }

    #[test]
    fn what_has_left_is_said_to_be_off() {
        let (leaving, now) = asked(80, 4e-4, 0.006);
        assert!(leaving.is_off() && leaving.about == Some(now) && !leaving.guess, "{leaving:?}");
        assert_eq!(leaving.cause, Some(Cause::Dimmer));
    }

    #[test]
    fn few_readings_make_a_guess_and_one_makes_no_date() {
        let (few, _) = asked(4, 4e-3, 0.006);
        assert!(few.about.is_none() || few.guess, "{few:?}");
        let (one, now) = asked(1, 0.0, 0.006);
        assert_eq!((one.about, one.farthest), (None, now));
    }

    #[test]
    fn a_lamp_that_stands_still_is_not_said_to_drift() {
        let (leaving, _) = asked(30, 0.0, 0.006);
        assert!(leaving.cause.is_none_or(|cause| cause == Cause::Doubt), "{leaving:?}");
    }

    #[test]
    fn a_crossing_lies_between_two_days() {
        let now = Time::from_micros(0);
        let times = [now, now.plus(Days(10.0)), now.plus(Days(20.0))];
        assert_eq!(crossing(&[0.1, 0.2, 0.6], &times, 0.5), Some(now.plus(Days(17.5))));
        assert_eq!(crossing(&[0.7, 0.8, 0.9], &times, 0.5), Some(now));
        assert_eq!(crossing(&[0.1, 0.2, 0.3], &times, 0.5), None);
        assert_eq!(crossing(&[], &[], 0.5), None);
    }
}
