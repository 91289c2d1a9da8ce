//! Tries a station's forecasts on its own past: asks them as they would have been asked then, and looks up what came.
//!
//! Nothing is told to a forecast that was measured after it was asked; the configuration is today's. What was foretold of each device is
//! in `devices`; here the match, judged once a week. How good that was is for `trial`.

mod devices;

use crate::config::Config;
use crate::evaluate::Estimates;
use crate::ledger::{LedgerError, Store};
use crate::site::Station;
use crate::station::{self, Verdict};
use crate::trial::Trial;
use crate::trial::matches::{self, Week};
use crate::units::{Days, Time};

/// Tries the forecasts of `station` on all that was measured up to `to`.
pub fn of_station(store: &Store, config: &Config, station: &Station, to: Time) -> Result<Trial, LedgerError> {
    let things = &config.things;
    let display = devices::of_device(store, things, &station.display, to)?;
    let lamp = devices::of_device(store, things, &station.lamp, to)?;
    let mut breaks: Vec<Time> = display.breaks.iter().chain(&lamp.breaks).copied().collect();
    breaks.sort();
    let begun = display.first.zip(lamp.first).map(|(a, b)| a.max(b));
    let weeks = match begun {
        Some(begun) => weeks(store, config, station, begun, to)?,
        None => Vec::new(),
    };
    Ok(Trial { station: station.id.clone(), devices: [display, lamp], matches: matches::outcomes(&weeks, &breaks) })
}

/// What was said each week, from a week after both devices had been read.
fn weeks(store: &Store, config: &Config, station: &Station, begun: Time, to: Time) -> Result<Vec<Week>, LedgerError> {
    let mut weeks = Vec::new();
    let mut at = begun.plus(Days(7.0));
    while at <= to {
        let mut estimates = Estimates::new(store, config, at);
        estimates.read_station(station)?;
        let said = station::assess(&estimates.seen(station)?, at);
        let known = said.verdict != Verdict::Unknown;
        weeks.push(Week { at, known, out: said.verdict == Verdict::Out, warned: said.verdict == Verdict::AtRisk });
        at = at.plus(Days(7.0));
    }
    Ok(weeks)
}
