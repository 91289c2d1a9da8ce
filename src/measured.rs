//! What is known of a station as of an instant, by the quantities that rule sets ask for.
//!
//! Here: gathering it from estimates, readings and configuration, in [`measured`] alone. Not here: holding it against a set
//! (`station::rules`).

use crate::evaluate::Estimates;
use crate::ledger::{LedgerError, Store};
use crate::reading::Patch;
use crate::site::{Station, Things};
use crate::station::Spread;
use crate::station::rules::Measured;
use crate::station::{Judgement, Watched};
use crate::units::{Time, UvPrime};

/// A white whose standard deviation is above this in u′ or v′ was not measured for the purpose of a rule: it is the radius
/// that the sets have, so such a white could lie anywhere in it or out of it (a label, a meter that gives no tint).
const KNOWN_WITHIN: f64 = 0.005;

/// What is known of a station. What was last read longer ago than the station's `max_age_days` counts as not measured.
pub fn measured(
    store: &Store,
    things: &Things,
    estimates: &Estimates,
    station: &Station,
    judgement: &Judgement,
) -> Result<Measured, LedgerError> {
    let at = judgement.as_of;
    let Some(seen) = estimates.seen(station) else { return Ok(Measured::default()) };
    let lamp = Known::of(&seen.lamp, station, at);
    let screen = Known::of(&seen.display, station, at);
    let both = |value: Spread, known: bool| known.then_some(value);
    let whites = lamp.white.is_some() && screen.white.is_some();
    let levels = lamp.level.is_some() && screen.level.is_some();
    let mut measured = Measured {
        lamp_uv: lamp.white,
        illuminance: lamp.level,
        screen_uv: screen.white,
        screen_to_aim: screen.white.map(|at| crate::color::delta_uv(at, seen.display.aim)),
        screen_luminance: screen.level,
        delta_uv: both(judgement.delta_uv, whites),
        luminance_ratio: judgement.luminance_ratio.and_then(|ratio| both(ratio, levels)),
        ..Measured::default()
    };
    if lamp.white.is_some() || lamp.level.is_some() {
        let last = store.latest_reading(&station.lamp, Patch::White, at)?;
        measured.warm_up_min = last.as_ref().and_then(|row| row.warmup_min);
        let rated = things.lamp(&station.lamp).and_then(|lamp| lamp.rated_hours);
        let hours = last.and_then(|row| row.hours);
        measured.lamp_hours_of_rated = hours.zip(rated).map(|(hours, rated)| hours.0 / rated.0);
    }
    Ok(measured)
}

/// What is known of one device, no older than the station allows.
struct Known {
    white: Option<UvPrime>,
    level: Option<Spread>,
}

impl Known {
    fn of(device: &Watched, station: &Station, at: Time) -> Self {
        let fresh = device.state.last_read().is_some_and(|last| at.since(last) <= station.max_age);
        if !fresh {
            return Self { white: None, level: None };
        }
        let [u, v, level] = device.state.forecast(device.params, &[at]).shown().channels;
        let now = |channel: Option<crate::drift::ChannelPath>| {
            let channel = channel?;
            Some(Spread { mean: *channel.mean.first()?, sd: *channel.sd.first()? })
        };
        let close = |spread: &Spread| spread.sd <= KNOWN_WITHIN;
        let white = now(u).filter(close).zip(now(v).filter(close)).map(|(u, v)| UvPrime { u: u.mean, v: v.mean });
        let level = now(level).map(|ln| {
            let median = libm::exp(ln.mean);
            Spread { mean: median, sd: median * ln.sd }
        });
        Self { white, level }
    }
}
