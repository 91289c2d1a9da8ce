//! What is due as of an instant, gathered from the configuration and the record: every source's demands, and whether a
//! reminder's run was served. What follows from them is for `schedule` (one list) and `tasks` (alerts).

use std::path::Path;

use super::equipment::instrument_life;
use super::seen::Estimates;
use crate::config::{Config, NamedFile};
use crate::drift::Thing;
use crate::estimates::{Held, lives};
use crate::fate::Excluded;
use crate::ledger::{Body, LedgerError, Store};
use crate::life::maintenance::LEAST_HOURS;
use crate::life::report::projection;
use crate::schedule::served::{ServedBy, served_by};
use crate::schedule::{Because, Demand, Reminder, Source, Work, sources};
use crate::site::{Station, Things};
use crate::station::CallReason;
use crate::units::{DeviceId, InstrumentId, StationId, Time};
use crate::zone::LocalZone;

/// A served run lets the next one be looked at; so many at most (a certificate can serve a year of runs).
const RUNS_LOOKED_AT: usize = 400;

/// Of a device's newest readings so many are looked through for ones that wait for a person.
const HELD_LOOKED_AT: u32 = 200;

/// Everything that anything asks for. The estimates may have read nothing yet.
pub fn demands(estimates: &mut Estimates, config: &Config) -> Result<Vec<Demand>, LedgerError> {
    let things = &config.things;
    let (now, zone) = (estimates.at, LocalZone(config.site.zone));
    let mut demands = Vec::new();
    for station in &things.stations {
        estimates.read_station(station)?;
        if !retired(estimates, &station.display) && !retired(estimates, &station.lamp) {
            let seen = estimates.seen(station)?;
            // When a reading grows too old is said of its device below, for all its stations at once.
            let own =
                |demand: &Demand| !matches!(demand.because, Because::Forecast { why: CallReason::TooOld { .. }, .. });
            demands.extend(sources::of_forecast(&estimates.judge(&seen)?).into_iter().filter(own));
        }
    }
    for device in super::devices_of(things) {
        estimates.read([device])?;
        let Some(estimate) = estimates.get(device).filter(|estimate| !estimate.state.is_retired()) else { continue };
        let summary = estimate.state.summary(&estimate.params);
        let stations: Vec<&Station> = things.stations_of(device).collect();
        let last = estimate.state.last_read();
        demands.extend(last.and_then(|last| sources::of_age(device, last, &stations)));
        // What the model holds, and what another reading of the same key holds.
        let rows = estimates.store.last_readings(device, now, HELD_LOOKED_AT)?;
        let waits = [Excluded::Conflict, Excluded::Ahead];
        let waiting = rows.iter().filter(|row| {
            row.excluded.as_deref().and_then(Excluded::from_word).is_some_and(|why| waits.contains(&why))
        });
        demands.extend(sources::of_held(device, summary.held_count + waiting.count() as u64, now));
        let rated = things.lamp(device).and_then(|lamp| lamp.rated_hours).zip(estimate.state.hours_in_use());
        demands.extend(rated.and_then(|(rated, used)| sources::of_rated_hours(device, rated, &used, now)));
        // What a forecast wants done to it says more than its own drift does.
        let acts = |demand: &Demand| {
            demand.because.source() == Source::Forecast && !matches!(demand.work, Work::Read | Work::ReadPaper)
        };
        if !demands.iter().any(|demand| acts(demand) && demand.device.as_ref() == Some(device)) {
            let called: Vec<&StationId> =
                demands.iter().filter(|d| acts(d)).filter_map(|d| d.because.station()).collect();
            let answered = stations.iter().any(|station| called.contains(&&station.id));
            demands.extend(ends(estimates, things, device, answered)?);
        }
    }
    for instrument in &things.instruments {
        let life = instrument_life(estimates.store, config, &instrument.id, now)?;
        let until = life.certificate_until(now).filter(|_| !life.is_retired());
        demands.extend(until.map(|until| sources::of_certificate(&instrument.id, until, zone)));
        demands.extend(life.damaged().map(|since| sources::of_damage(&instrument.id, since)));
    }
    for reminder in config.reminders.iter().filter(|reminder| !moot(estimates, reminder)) {
        let missed = match reminder.cron.last_until(now, zone.0) {
            Some(run) => unserved(estimates, config, reminder, run)?.then_some(run),
            None => None,
        };
        let ahead = next_unserved(estimates, config, reminder)?;
        demands.extend(missed.into_iter().chain(ahead).map(|run| Demand {
            date: run,
            work: Work::from(&reminder.task),
            device: reminder.device.clone(),
            because: Because::Reminder { line: reminder.cron.as_str().to_owned(), run },
        }));
    }
    Ok(demands)
}

/// When a device comes to its end by its own drift. Where it is off its aim already and one of its stations calls for an act
/// (`answered`), that act is the answer.
fn ends(estimates: &Estimates, things: &Things, device: &DeviceId, answered: bool) -> Result<Vec<Demand>, LedgerError> {
    let Some(estimate) = estimates.get(device).filter(|estimate| estimate.state.last_read().is_some()) else {
        return Ok(Vec::new());
    };
    let (now, thing) = (estimates.at, estimate.params.thing);
    let held = Held::of(things, device, &estimate.params);
    let leaving = held.leaving(estimate, now).filter(|leaving| !(answered && leaving.is_off()));
    let mut demands: Vec<Demand> = Vec::new();
    demands.extend(leaving.and_then(|leaving| sources::of_leaving(device, thing, &leaving)));
    // The record is walked only where it may be long enough.
    let used = estimate.state.hours_in_use();
    let long = used.filter(|used| used.counter.is_some_and(|counter| counter >= LEAST_HOURS));
    if let (Thing::Lamp(_), Some(used)) = (thing, long) {
        let walked = lives(estimates.store, things, &held.without_limits(), now)?;
        let projection = walked.and_then(|(lives, _)| projection(&lives).ok());
        demands.extend(projection.and_then(|found| sources::of_light(device, &found, &used, now)));
    }
    Ok(demands)
}

/// The first instant after `now` at which a reminder falls due.
pub fn next_run(config: &Config, now: Time) -> Option<Time> {
    config.reminders.iter().filter_map(|reminder| reminder.cron.next_after(now, config.site.zone)).min()
}

/// Whether a reminder is about a device that is out of use.
pub(super) fn moot(estimates: &Estimates, reminder: &Reminder) -> bool {
    reminder.device.as_ref().is_some_and(|device| retired(estimates, device))
}

fn retired(estimates: &Estimates, device: &DeviceId) -> bool {
    estimates.get(device).is_some_and(|estimate| estimate.state.is_retired())
}

/// Whether a run that has passed was asked for and not served. The estimates of its device must have been read.
pub(super) fn unserved(
    estimates: &Estimates,
    config: &Config,
    reminder: &Reminder,
    run: Time,
) -> Result<bool, LedgerError> {
    Ok(!served(estimates, config, reminder, run)? && asked_for(estimates.store, config, reminder, run)?)
}

fn next_unserved(estimates: &Estimates, config: &Config, reminder: &Reminder) -> Result<Option<Time>, LedgerError> {
    let mut after = estimates.at;
    for _ in 0..RUNS_LOOKED_AT {
        let Some(run) = reminder.cron.next_after(after, config.site.zone) else { return Ok(None) };
        if !served(estimates, config, reminder, run)? {
            return Ok(Some(run));
        }
        after = run;
    }
    Ok(None)
}

/// Whether a run is served by what is on record at the estimates' instant.
pub(super) fn served(
    estimates: &Estimates,
    config: &Config,
    reminder: &Reminder,
    run: Time,
) -> Result<bool, LedgerError> {
    let (store, now) = (estimates.store, estimates.at);
    let device = reminder.device.as_ref();
    Ok(match (served_by(reminder, run, config.site.zone), device) {
        (ServedBy::Reading { from }, Some(device)) => {
            last_read(estimates, &config.things, device)?.is_some_and(|last| last >= from)
        }
        (ServedBy::Event { kinds, from }, Some(device)) => {
            let events = store.events(device, from, now)?;
            events.iter().any(|row| row.excluded.is_none() && kinds.contains(&row.event.kind))
        }
        (ServedBy::Certificate { reaching }, Some(device)) => {
            let until = match InstrumentId::new(device.as_str()) {
                Ok(instrument) => instrument_life(store, config, &instrument, now)?.certificate_until(now),
                Err(_) => None,
            };
            let needed = reaching.unwrap_or(LocalZone(config.site.zone).day(run.max(now)));
            until.is_some_and(|until| until >= needed)
        }
        (ServedBy::Acknowledgement, _) => {
            let told = store.told_runs(&reminder.to_string(), run, run)?;
            told.iter().any(|row| row.acknowledged_at.is_some_and(|at| at <= now))
        }
        // The configuration names a device with each of these.
        (ServedBy::Reading { .. } | ServedBy::Event { .. } | ServedBy::Certificate { .. }, None) => false,
    })
}

/// When a display or lamp was last read, or a paper under a lamp of its stations.
fn last_read(estimates: &Estimates, things: &Things, device: &DeviceId) -> Result<Option<Time>, LedgerError> {
    if let Some(estimate) = estimates.get(device) {
        return Ok(estimate.state.last_read());
    }
    let mut last = None;
    for station in things.stations.iter().filter(|station| station.papers.contains(device)) {
        let usual = station.papers.first() == Some(device);
        let is_meant = |named: Option<&str>| named.map_or(usual, |name| name == device.as_str());
        last = last.max(estimates.store.latest_lit(&station.lamp, estimates.at, is_meant)?.map(|row| row.time));
    }
    Ok(last)
}

/// Whether the reminder stood in the configuration at the time of the run and ever since: nobody missed a run of a line that
/// was written later, nor before the ledger began.
fn asked_for(store: &Store, config: &Config, reminder: &Reminder, run: Time) -> Result<bool, LedgerError> {
    for seq in store.configs_in_force()? {
        let Some(entry) = store.entry(seq)? else { return Ok(false) };
        let Body::Config(written) = &entry.body else { return Ok(false) };
        if written.text != config.text {
            let files: Vec<NamedFile> = written.files.iter().map(NamedFile::from).collect();
            let then = Config::parse_with(&written.text, "ledger", Path::new("."), &files);
            if !then.is_ok_and(|then| then.reminders.contains(reminder) && then.site.zone == config.site.zone) {
                return Ok(false);
            }
        }
        if entry.time <= run {
            return Ok(true);
        }
    }
    Ok(false)
}
