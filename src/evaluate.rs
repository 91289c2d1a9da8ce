//! Judges stations at an instant from the kept estimates, and writes down what changed: verdicts, alerts, messages.
//!
//! This is the second half of a reading's walk (station → alert → outbox), and all of it for a mere passing of time. It
//! runs inside the transaction of whatever caused it, so that a transition and its message are kept together or not at
//! all. It decides nothing itself: `seen` gathers what a judgement rests on, `station` judges, `alert` decides, `say` words it.

mod again;
mod agenda;
mod equipment;
mod seen;
mod summary;
mod suspects;
mod tasks;

use crate::alert::{self, Change, Cleared, Kind, Quiet, Sighting, Standing, conditions};
use crate::config::Config;
use crate::estimates::Refreshed;
use crate::ledger::entry::{self, Transition};
use crate::ledger::store::AlertRow;
use crate::ledger::{Body, LedgerError, Seq, Tx};
use crate::project;
use crate::say;
use crate::site::{AimWhite, Station, Things};
use crate::station::{self, Assessment, Judgement, Verdict};
use crate::units::{Days, DeviceId, Probability, Time};
use crate::zone::LocalZone;

pub use again::{held, speaks_for};
pub use agenda::{demands, next_run};
pub use equipment::{complete, instrument_life};
pub use seen::Estimates;
pub use summary::sum_up;
use suspects::Suspects;
pub use tasks::may_tell;

/// Which part of the site is looked at.
#[derive(Debug, Clone, Copy)]
pub enum Scope<'a> {
    /// Everything, and what forecasts call for, which costs more: once a day.
    Day,
    /// Everything.
    All,
    /// These devices and the stations they belong to.
    Devices(&'a [DeviceId]),
}

impl Scope<'_> {
    fn holds(&self, device: &DeviceId) -> bool {
        match self {
            Self::All | Self::Day => true,
            Self::Devices(devices) => devices.contains(device),
        }
    }
}

/// Something that happened while judging, for the log and for progress.
#[derive(Debug, Clone, PartialEq)]
pub enum Happened {
    /// A station's verdict changed.
    Verdict(entry::Verdict),
    /// An alert went one step.
    Alert(entry::Alert),
}

/// What came of judging.
#[derive(Debug, Default)]
pub struct Judged {
    /// What happened thereby.
    pub happened: Vec<Happened>,
    /// The numbers of the alerts that stand only since they were raised too short a time ago: all is right again.
    pub passing: Vec<i64>,
}

impl Judged {
    fn add(&mut self, step: Step) {
        match step {
            Step::Taken(happened) => self.happened.push(happened),
            Step::Passing(alert) => self.passing.push(alert),
            Step::None => {}
        }
    }
}

/// What became of an alert.
enum Step {
    Taken(Happened),
    /// It stands, and its condition is over.
    Passing(i64),
    None,
}

/// Judges what is in scope as of the transaction's own instant and writes down what changed. `fresh` are estimates that
/// were brought up to date just now, so that they need not be read back.
pub fn evaluate(
    tx: &mut Tx,
    config: &Config,
    scope: Scope,
    fresh: Vec<Refreshed>,
) -> Result<Vec<Happened>, LedgerError> {
    Ok(judge(tx, config, scope, fresh)?.happened)
}

/// The same, telling also which alerts are passing.
pub fn judge(tx: &mut Tx, config: &Config, scope: Scope, fresh: Vec<Refreshed>) -> Result<Judged, LedgerError> {
    let now = tx.now();
    let things = &config.things;
    let zone = LocalZone(config.site.zone);
    let standing = tx.standing_alerts()?;
    let of_instruments = standing.iter().filter(|row| row.kind == Kind::InstrumentSuspect.word());
    let watched: Vec<String> = of_instruments.map(|row| row.subject.clone()).collect();

    // All reading first: the estimates borrow the store, and appending needs it to itself.
    let mut wanted = Wanted::default();
    let suspects;
    {
        let mut estimates = Estimates::new(tx, config, now);
        estimates.take_fresh(fresh);
        let looked_at = devices_of(things).filter(|device| scope.holds(device));
        suspects = Suspects::look(&mut estimates, config, looked_at, !watched.is_empty())?;
        wanted.conditions = suspects.conditions(&watched, &zone);
        let in_scope = |device: &DeviceId| scope.holds(device) || suspects.devices().any(|one| one == device);
        let stations = || things.stations.iter().filter(|s| in_scope(&s.display) || in_scope(&s.lamp));
        for station in stations() {
            estimates.read_station(station)?;
        }
        // Stations first: the alert of a device says which matches are out.
        for station in stations() {
            wanted.stations.push(assess(&estimates, station, now)?);
        }
        for device in devices_of(things).filter(|device| in_scope(device)) {
            estimates.read([device])?;
            device_conditions(&estimates, config, device, &suspects, &mut wanted)?;
        }
        wanted.conditions.extend(tasks::conditions(&estimates, config, scope, &wanted.conditions)?);
    }
    let mut judged = Judged::default();
    for station in &wanted.stations {
        if let Some(verdict) = station.verdict_change() {
            append(tx, config, Body::Verdict(verdict.clone()))?;
            judged.happened.push(Happened::Verdict(verdict));
        }
    }
    // Causes before consequences, so that a cause raised now silences at once. What is not bad and does not stand needs no
    // further look, and that is nearly everything.
    let stands = |condition: &Condition| {
        standing.iter().any(|row| row.kind == condition.kind.word() && row.subject == condition.subject)
    };
    for condition in wanted.conditions {
        if condition.sighting == Sighting::Bad || stands(&condition) {
            judged.add(step(tx, config, condition)?);
        }
    }
    for station in &wanted.stations {
        let stands = standing.iter().any(|row| row.subject == station.station.id.as_str());
        if station.assessment.verdict == Verdict::Matched && !stands {
            continue;
        }
        for condition in station.conditions(tx, config, &suspects)? {
            judged.add(step(tx, config, condition)?);
        }
    }
    if !matches!(scope, Scope::Devices(_)) {
        let standing = tx.standing_alerts()?;
        judged.happened.extend(again::end_of_channels(tx, config, &standing)?);
        judged.happened.extend(again::tell_again(tx, config, &standing)?);
    }
    Ok(judged)
}

/// A condition as seen, with the sentences that an alert raised for it would bear.
pub struct Condition {
    /// The alert's kind.
    pub kind: Kind,
    /// What it is about.
    pub subject: String,
    /// How it looks now.
    pub sighting: Sighting,
    /// Sentences, one a line.
    pub detail: Vec<String>,
    /// What is wrong where, where that says more than kind and subject.
    pub headline: Option<String>,
    /// Why it is raised, where its kind does not say so.
    pub reason: Option<&'static str>,
    /// The run of a reminder that it tells of.
    pub run: Option<Time>,
}

impl Condition {
    /// A condition whose kind says why it is raised.
    pub fn of(kind: Kind, subject: &str, sighting: Sighting, detail: Vec<String>) -> Self {
        Self { kind, subject: subject.to_owned(), sighting, detail, headline: None, reason: None, run: None }
    }
}

#[derive(Default)]
struct Wanted<'a> {
    stations: Vec<Assessed<'a>>,
    conditions: Vec<Condition>,
}

/// A station's assessment, and its judgement where there is something to tell.
struct Assessed<'a> {
    station: &'a Station,
    assessment: Assessment,
    /// The verdict on record.
    before: Option<String>,
    judgement: Option<Judgement>,
}

fn assess<'a>(estimates: &Estimates, station: &'a Station, now: Time) -> Result<Assessed<'a>, LedgerError> {
    let seen = estimates.seen(station)?;
    let assessment = station::assess(&seen, now);
    let before = estimates.store.verdict(&station.id)?.map(|row| row.verdict);
    // Reasons and sentences cost more than the verdict; they are made only for what will be told.
    let mut news = before.as_deref() != Some(assessment.verdict.word());
    for (kind, sighting) in conditions::of_match(&assessment, station.max_risk, None) {
        news |=
            sighting == Sighting::Bad && estimates.store.standing_alert(kind.word(), station.id.as_str())?.is_none();
    }
    let judgement = if news { Some(estimates.judge(&seen)?) } else { None };
    Ok(Assessed { station, assessment, before, judgement })
}

impl Assessed<'_> {
    fn verdict_change(&self) -> Option<entry::Verdict> {
        let judgement = self.judgement.as_ref()?;
        let word = judgement.verdict.word();
        (self.before.as_deref() != Some(word)).then(|| entry::Verdict {
            station: self.station.id.clone(),
            verdict: word.to_owned(),
            from: self.before.clone(),
            risk: Probability::clamped(judgement.risk),
            reasons: judgement.reasons.iter().map(|reason| reason.word().to_owned()).collect(),
        })
    }

    fn conditions(&self, tx: &Tx, config: &Config, suspects: &Suspects) -> Result<Vec<Condition>, LedgerError> {
        let station = self.station;
        let mut cause = None;
        for device in [&station.lamp, &station.display] {
            if tx.standing_alert(Kind::OffAim.word(), device.as_str())?.is_some() {
                cause = Some(Kind::OffAim);
            }
        }
        if suspects.holds(&station.lamp) || suspects.holds(&station.display) {
            cause = Some(Kind::InstrumentSuspect);
        }
        let zone = LocalZone(config.site.zone);
        let detail = |judgement: &Judgement| say::of_station(judgement, station.horizon, station.max_risk.get(), &zone);
        Ok(conditions::of_match(&self.assessment, station.max_risk, cause)
            .into_iter()
            .map(|(kind, sighting)| {
                let detail = self.judgement.as_ref().map(detail).unwrap_or_default();
                Condition::of(kind, station.id.as_str(), sighting, detail)
            })
            .collect())
    }
}

fn devices_of(things: &Things) -> impl Iterator<Item = &DeviceId> {
    things.lamps.iter().map(|lamp| &lamp.id).chain(things.displays.iter().map(|display| &display.id))
}

fn device_conditions(
    estimates: &Estimates,
    config: &Config,
    device: &DeviceId,
    suspects: &Suspects,
    wanted: &mut Wanted<'_>,
) -> Result<(), LedgerError> {
    let things = &config.things;
    let stations: Vec<&Station> = things.stations_of(device).collect();
    // A device that no station uses has no limit to be held against.
    let Some(limit) = stations.iter().map(|s| s.max_age.0).reduce(f64::min).map(Days) else { return Ok(()) };
    let Some(estimate) = estimates.get(device) else { return Ok(()) };
    let (now, zone) = (estimates.at, LocalZone(config.site.zone));
    let summary = estimate.state.summary(&estimate.params);
    let last = summary.last_read.map(|(time, _)| time);
    // Asked only where it counts: nothing was read yet.
    let begun = match last {
        Some(_) => now,
        None => estimates.store.entry(Seq::FIRST)?.map_or(now, |entry| entry.time),
    };
    let retired = summary.retired;
    let age = if retired { Sighting::Good } else { conditions::of_age(last, begun, limit, now) };
    let overdue = if age == Sighting::Bad { say::of_overdue(device, last, now, limit, &zone) } else { Vec::new() };
    wanted.conditions.push(Condition::of(Kind::ReadingOverdue, device.as_str(), age, overdue));
    let step = summary.last_step.as_ref();
    let acted_since = match step {
        None => false,
        Some(step) => estimates.store.events(device, step.began, now)?.iter().any(|event| event.excluded.is_none()),
    };
    // What an instrument that is suspect says of a device is its own matter.
    let spoken_for = |sighting| match sighting {
        Sighting::Bad | Sighting::Between if suspects.holds(device) => Sighting::SpokenFor(Kind::InstrumentSuspect),
        other => other,
    };
    let answered = retired || suspects.settled(device);
    let sighting = if answered { Sighting::Good } else { conditions::of_step(step.map(|s| s.began), acted_since, now) };
    let is_out = |station: &&Station| {
        let seen = wanted.stations.iter().find(|seen| seen.station.id == station.id);
        seen.is_some_and(|seen| seen.assessment.verdict == Verdict::Out)
    };
    let (out, holding): (Vec<&Station>, Vec<&Station>) = stations.iter().partition(|station| is_out(station));
    let place = say::place(&holding, &out);
    let jumped = sighting == Sighting::Bad;
    let stepped = step.map(|step| say::of_step(device, things.lamp(device).is_some(), step, &zone)).unwrap_or_default();
    let headline = step.filter(|_| jumped).map(|step| say::step_headline(device, step, &place));
    let of_step = Condition::of(Kind::StepChange, device.as_str(), spoken_for(sighting), stepped);
    wanted.conditions.push(Condition { headline, ..of_step });
    let strictest = station::Limits::strictest(&stations);
    let watched = stations.first().and_then(|station| estimates.watched(device, station, None));
    let follows = things.display(device).is_some_and(|display| display.aim.white == AimWhite::Paper);
    if let Some(watched) = watched.filter(|_| last.is_some() && !follows && !summary.by_label) {
        let probability = station::off_aim_probability(&watched, &strictest, now);
        let sighting = if retired { Sighting::Good } else { conditions::of_aim(probability, age == Sighting::Bad) };
        let off = (sighting == Sighting::Bad).then(|| station::off_aim_now(&watched, now));
        let first = step.filter(|_| jumped).map(|step| estimates.look_at_jump(device, step.began));
        let detail =
            off.as_ref().map(|off| say::of_off_aim(off, probability, &strictest, &stations, first.as_ref(), &zone));
        let headline = off.as_ref().map(|off| say::off_aim_headline(off, &strictest, &place));
        let off = Condition::of(Kind::OffAim, device.as_str(), spoken_for(sighting), detail.unwrap_or_default());
        wanted.conditions.push(Condition { headline, ..off });
    }
    Ok(())
}

/// Lets the alert of a condition take its step, if it takes one.
pub fn decide(tx: &mut Tx, config: &Config, condition: Condition) -> Result<Option<Happened>, LedgerError> {
    Ok(match step(tx, config, condition)? {
        Step::Taken(happened) => Some(happened),
        Step::Passing(_) | Step::None => None,
    })
}

fn step(tx: &mut Tx, config: &Config, condition: Condition) -> Result<Step, LedgerError> {
    let open = tx.standing_alert(condition.kind.word(), &condition.subject)?;
    let standing =
        open.as_ref().map(|row| Standing { kind: condition.kind, state: state_of(row), raised_at: row.raised_at });
    let step = match (alert::decide(standing.as_ref(), condition.sighting, tx.now()), open) {
        (Ok(Change::Raise), _) => entry::Alert {
            id: tx.next_alert_id()?,
            kind: condition.kind.word().to_owned(),
            subject: condition.subject,
            transition: Transition::Raised,
            reason: condition.reason.unwrap_or(condition.kind.word()).to_owned(),
            detail: condition.detail.join("\n"),
            headline: condition.headline,
            operator: None,
            operator_by: None,
            run: condition.run,
        },
        (Ok(Change::Clear(why)), Some(row)) => cleared(&row, why),
        (Err(Quiet::Held), Some(row)) => return Ok(Step::Passing(row.id)),
        (Ok(Change::Clear(_)), None) | (Err(_), _) => return Ok(Step::None),
    };
    append(tx, config, Body::Alert(step.clone()))?;
    Ok(Step::Taken(Happened::Alert(step)))
}

fn cleared(row: &AlertRow, why: Cleared) -> entry::Alert {
    entry::Alert {
        id: row.id,
        kind: row.kind.clone(),
        subject: row.subject.clone(),
        transition: Transition::Cleared,
        reason: why.word().to_owned(),
        detail: row.detail.clone(),
        headline: None,
        operator: None,
        operator_by: None,
        run: row.run,
    }
}

/// The state of a kept alert.
pub fn state_of(row: &AlertRow) -> alert::State {
    match row.state() {
        Transition::Raised | Transition::Repeated => alert::State::Raised,
        Transition::Acknowledged => alert::State::Acknowledged,
        Transition::Cleared => alert::State::Cleared,
    }
}

/// Appends an entry and applies it.
pub fn append(tx: &mut Tx, config: &Config, body: Body) -> Result<(Seq, Option<project::Stirred>), LedgerError> {
    let seq = tx.append(&body)?;
    let stirred = project::apply(tx, seq, tx.now(), &body, config)?;
    Ok((seq, stirred))
}
