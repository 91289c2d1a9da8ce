//! What is known of a station as of an instant, by the quantities that rule sets ask for.
//!
//! Here: judging a station and gathering it from estimates, readings and configuration, in [`judged`] alone. Not here: holding it
//! against a set (`station::rules`).

use crate::color::rendering::{Simulator, SimulatorTables, indices, simulator};
use crate::color::{Observer, Sampled, cct_duv, delta_uv, uv_prime_of_xyz};
use crate::config::Config;
use crate::drift::ChannelPath;
use crate::evaluate::Estimates;
use crate::ledger::store::ReadingRow;
use crate::ledger::{LedgerError, Store};
use crate::reading::{Patch, Source};
use crate::site::{Station, Things};
use crate::station::rules::Measured;
use crate::station::{Judgement, RaSource, Seen, Spread, Watched};
use crate::units::{Days, Kelvin, Time, UvPrime};

/// A station judged, and what its rule sets are held against.
pub struct Judged<'a> {
    /// What the judgement rests on.
    pub estimates: Estimates<'a>,
    /// What is known of the station.
    pub judgement: Judgement,
    /// By the quantities of rule sets; nothing where the station names none.
    pub measured: Measured,
    /// Since when the verdict stands, where the ledger has recorded it and it still does.
    pub since: Option<Time>,
}

/// Judges a station as of an instant, and gathers what its rule sets ask for.
pub fn judged<'a>(
    store: &'a Store,
    config: &'a Config,
    station: &Station,
    at: Time,
) -> Result<Judged<'a>, LedgerError> {
    let mut estimates = Estimates::new(store, config, at);
    estimates.read_station(station)?;
    if !station.rules.is_empty() {
        estimates.read_light(&station.lamp)?;
    }
    let seen = estimates.seen(station)?;
    let judgement = estimates.judge(&seen)?;
    let measured = if station.rules.is_empty() {
        Measured::default()
    } else {
        let tables = config.tables.iso_23603.as_ref();
        let tables = tables.and_then(|kept| SimulatorTables::parse(&kept.text).ok());
        measured(store, &config.things, tables.as_ref(), &estimates, &seen, &judgement)?
    };
    let since = (store.verdict(&station.id)?)
        .filter(|row| row.verdict == judgement.verdict.word() && row.since <= at)
        .map(|row| row.since);
    Ok(Judged { estimates, judgement, measured, since })
}

/// What is known of a station, whose lamp's light must have been read. Only readings of the station's last `max_age_days` make
/// something measured, rendering apart. `tables` are those of ISO 23603, where the user has them.
fn measured(
    store: &Store,
    things: &Things,
    tables: Option<&SimulatorTables>,
    estimates: &Estimates,
    seen: &Seen,
    judgement: &Judgement,
) -> Result<Measured, LedgerError> {
    let (station, at) = (seen.station, judgement.as_of);
    let lamp = Known::of(store, &seen.lamp, station.max_age, at)?;
    let screen = Known::of(store, &seen.display, station.max_age, at)?;
    // A white moves from week to week; how a lamp renders colours stays, until it is another lamp.
    let spectrum = estimates.light(&station.lamp).and_then(|light| light.spectrum.as_ref());
    let light = spectrum.map(|(_, light)| light);
    let recent = spectrum.filter(|(when, _)| at.since(*when) <= station.max_age).map(|(_, light)| light);
    let metamerism = light.and_then(|light| match simulator(light, kelvin(light)?, tables)? {
        Simulator::Judged(judged) => Some(judged.index),
        Simulator::NotJudged { .. } => None,
    });
    let rendering = estimates.rendering(&station.lamp)?;
    let ra = rendering.known().filter(|known| known.source != RaSource::Label).map(|known| known.ra);
    let foreign = judgement.ambient.brightest();
    let cct = |white: UvPrime| cct_duv(white).ok().map(|at| at.cct_k.get());
    let rated = things.lamp(&station.lamp).and_then(|lamp| lamp.rated_hours);
    let hours = lamp.last.as_ref().and_then(|row| row.hours);
    Ok(Measured {
        lamp_uv10: recent.and_then(|light| uv_prime_of_xyz(light.tristimulus_for(Observer::TenDegree)).ok()),
        lamp_uv: lamp.white,
        ra,
        lowest_r1_r8: light.and_then(indices).and_then(|rendering| rendering.least_special()).map(|(_, least)| least),
        metamerism_visible: metamerism,
        illuminance: lamp.level,
        lamp_hours_of_rated: hours.zip(rated).map(|(hours, rated)| hours.0 / rated.0),
        warm_up_min: lamp.last.as_ref().and_then(|row| row.warmup_min),
        screen_uv: screen.white,
        screen_to_aim: screen.white.map(|white| delta_uv(white, seen.display.aim)),
        screen_luminance: screen.level,
        delta_uv: lamp.white.and(screen.white).map(|_| judgement.delta_uv),
        luminance_ratio: lamp.level.and(screen.level).and(judgement.luminance_ratio),
        ambient_share: judgement.ambient.worst().and_then(|hours| hours.share),
        screen_ambient_lx: foreign.map(|hours| hours.lx),
        ambient_cct_over_screen: foreign.and_then(|hours| Some(cct(hours.white?)? - cct(screen.white?)?)),
        ..Measured::default()
    })
}

fn kelvin(light: &Sampled) -> Option<Kelvin> {
    Some(cct_duv(uv_prime_of_xyz(light.tristimulus()).ok()?).ok()?.cct_k)
}

/// What is known of one device from readings that are not too old.
struct Known {
    white: Option<UvPrime>,
    level: Option<Spread>,
    last: Option<ReadingRow>,
}

impl Known {
    fn of(store: &Store, device: &Watched, max_age: Days, at: Time) -> Result<Self, LedgerError> {
        let mut rows = store.readings(device.id, at.plus(Days(-max_age.0)), at)?;
        rows.retain(|row| row.patch == Patch::White && row.excluded.is_none() && row.source == Source::Measured);
        let [u, v, level] = device.state.forecast(device.params, &[at]).likely.channels;
        let now = |channel: Option<ChannelPath>| {
            let channel = channel?;
            Some(Spread { mean: *channel.mean.first()?, sd: *channel.sd.first()? })
        };
        // A kelvin figure without its tint is no measured white, however often it was read.
        let white = rows.iter().any(|row| row.spread.is_none());
        let white = now(u).zip(now(v)).filter(|_| white).map(|(u, v)| UvPrime { u: u.mean, v: v.mean });
        let level = now(level).filter(|_| rows.iter().any(|row| row.ln_level.is_some())).map(|ln| {
            let median = libm::exp(ln.mean);
            Spread { mean: median, sd: median * ln.sd }
        });
        Ok(Self { white, level, last: rows.pop() })
    }
}
