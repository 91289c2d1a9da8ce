//! Judges stations at an instant from the kept estimates, and writes down what changed: verdicts, alerts, messages.
//!
//! This is the second half of a reading's walk (station → alert → outbox), and all of it for a mere passing of time. It
//! runs inside the transaction of whatever caused it, so that a transition and its message are kept together or not at
//! all. It decides nothing itself: `station` judges, `alert` decides, `say` words it.

use std::collections::BTreeMap;

use crate::aims;
use crate::alert::{self, Change, Cleared, Kind, Sighting, Standing, conditions};
use crate::color::uv_prime;
use crate::config::Config;
use crate::estimates::{self, Estimate, Refreshed};
use crate::ledger::entry::{self, Transition};
use crate::ledger::store::AlertRow;
use crate::ledger::{Body, LedgerError, Seq, Store, Tx};
use crate::project;
use crate::say;
use crate::site::{AimWhite, Station, Things};
use crate::station::{self, Assessment, Judgement, Seen, Verdict, Watched};
use crate::units::{Days, DeviceId, Probability, Time};
use crate::zone::LocalZone;

/// Which part of the site is looked at.
#[derive(Debug, Clone, Copy)]
pub enum Scope<'a> {
    /// Everything.
    All,
    /// These devices and the stations they belong to.
    Devices(&'a [DeviceId]),
}

/// Something that happened while judging, for the log and for progress.
#[derive(Debug, Clone, PartialEq)]
pub enum Happened {
    /// A station's verdict changed.
    Verdict(entry::Verdict),
    /// An alert went one step.
    Alert(entry::Alert),
}

/// The estimates of a site's devices at one instant, read once each.
pub struct Estimates<'a> {
    store: &'a Store,
    config: &'a Config,
    at: Time,
    known: BTreeMap<DeviceId, Estimate>,
}

impl<'a> Estimates<'a> {
    /// Reads nothing yet.
    pub fn new(store: &'a Store, config: &'a Config, at: Time) -> Self {
        Self { store, config, at, known: BTreeMap::new() }
    }

    /// Takes estimates that are at hand and hold nothing after the instant.
    fn take_fresh(&mut self, fresh: Vec<Refreshed>) {
        let at = self.at;
        let fresh = fresh.into_iter().filter(|one| one.upto <= at);
        self.known.extend(fresh.map(|one| (one.device, one.estimate)));
    }

    /// Reads the estimates of these devices.
    pub fn read<'d>(&mut self, devices: impl IntoIterator<Item = &'d DeviceId>) -> Result<(), LedgerError> {
        for device in devices {
            if !self.known.contains_key(device)
                && let Some(estimate) = estimates::at(self.store, &self.config.things, device, self.at)?
            {
                self.known.insert(device.clone(), estimate);
            }
        }
        Ok(())
    }

    /// The estimate of a device that was read.
    pub fn get(&self, device: &DeviceId) -> Option<&Estimate> {
        self.known.get(device)
    }

    /// Everything a station's judgement rests on; its devices must have been read.
    pub fn seen(&self, station: &'a Station) -> Option<Seen<'_>> {
        let things = &self.config.things;
        let lamp = things.lamp(&station.lamp)?;
        let paper = things.paper(station.papers.first()?)?;
        Some(Seen {
            station,
            paper,
            adjustable: &lamp.adjustable,
            display: self.watched(&station.display, station)?,
            lamp: self.watched(&station.lamp, station)?,
        })
    }

    fn watched(&self, device: &'a DeviceId, station: &Station) -> Option<Watched<'_>> {
        let things = &self.config.things;
        let estimate = self.known.get(device)?;
        let scale = estimate.state.scale_instrument();
        let (aim, aim_level) = match things.lamp(device) {
            Some(lamp) => (uv_prime(lamp.aim.white).ok()?, Some(lamp.aim.illuminance.get())),
            None => self.display_aim(device, station)?,
        };
        Some(Watched {
            id: device,
            params: &estimate.params,
            state: &estimate.state,
            aim,
            aim_level,
            bias: things.bias_of(scale),
            noise: things.noise_of(scale),
        })
    }

    /// A display's aim; one that follows the paper should be where the paper is now.
    fn display_aim(&self, device: &DeviceId, station: &Station) -> Option<(crate::units::UvPrime, Option<f64>)> {
        let things = &self.config.things;
        let display = things.display(device)?;
        let (fixed, level) = aims::display_aim(things, display);
        let fixed = fixed?;
        if display.aim.white != AimWhite::Paper {
            return Some((fixed, level));
        }
        let Some(lamp) = self.known.get(&station.lamp).filter(|lamp| lamp.state.summary(&lamp.params).used > 0) else {
            return Some((fixed, level));
        };
        let forecast = lamp.state.forecast(&lamp.params, &[self.at]);
        let aim = uv_prime(things.lamp(&station.lamp)?.aim.white).ok()?;
        let light = station::compare::Light::at(&forecast.likely, 0, aim);
        let paper = things.paper(station.papers.first()?)?;
        let white = crate::color::PaperUnderLamp::new(&paper.white)
            .and_then(|paper| paper.under(light.uv(), crate::color::UvSpread::default()));
        let Ok(white) = white else { return Some((fixed, level)) };
        let own = display.aim.luminance.map(|level| level.get());
        let lit = light.ln_level.map(|lx| libm::exp(lx.mean) * white.reflectance / std::f64::consts::PI);
        Some((white.uv, own.or(lit).or(level)))
    }
}

/// Judges one station as of `at` without writing anything.
pub fn judge(store: &Store, config: &Config, station: &Station, at: Time) -> Result<Judgement, LedgerError> {
    let mut estimates = Estimates::new(store, config, at);
    estimates.read([&station.display, &station.lamp])?;
    judge_with(&estimates, station, at)
}

/// Judges one station from estimates that were read.
pub fn judge_with(estimates: &Estimates, station: &Station, at: Time) -> Result<Judgement, LedgerError> {
    let seen =
        estimates.seen(station).ok_or_else(|| incomplete(station, "its display, lamp or paper is not configured"))?;
    station::judge(&seen, at).map_err(|paper| incomplete(station, &paper.to_string()))
}

/// Judges what is in scope as of the transaction's own instant and writes down what changed. `fresh` are estimates that
/// were brought up to date just now, so that they need not be read back.
pub fn evaluate(
    tx: &mut Tx,
    config: &Config,
    scope: Scope,
    fresh: Vec<Refreshed>,
) -> Result<Vec<Happened>, LedgerError> {
    let now = tx.now();
    let things = &config.things;
    let in_scope = |device: &DeviceId| match scope {
        Scope::All => true,
        Scope::Devices(devices) => devices.contains(device),
    };
    let stations: Vec<&Station> =
        things.stations.iter().filter(|station| in_scope(&station.display) || in_scope(&station.lamp)).collect();

    // All reading first: the estimates borrow the store, and appending needs it to itself.
    let mut wanted = Wanted::default();
    {
        let mut estimates = Estimates::new(tx, config, now);
        estimates.take_fresh(fresh);
        for station in &stations {
            estimates.read([&station.display, &station.lamp])?;
        }
        for device in devices_of(things).filter(|device| in_scope(device)) {
            estimates.read([device])?;
            device_conditions(&estimates, config, device, &mut wanted)?;
        }
        for station in &stations {
            wanted.stations.push(assess(&estimates, station, now)?);
        }
    }
    let mut happened = Vec::new();
    for station in &wanted.stations {
        if let Some(verdict) = station.verdict_change() {
            append(tx, config, Body::Verdict(verdict.clone()))?;
            happened.push(Happened::Verdict(verdict));
        }
    }
    // Causes before consequences, so that a cause raised now silences at once. What is not bad and does not stand needs no
    // further look, and that is nearly everything.
    let standing = tx.standing_alerts()?;
    let stands = |condition: &Condition| {
        standing.iter().any(|row| row.kind == condition.kind.word() && row.subject == condition.subject)
    };
    for condition in wanted.conditions {
        if condition.sighting == Sighting::Bad || stands(&condition) {
            happened.extend(decide(tx, config, condition)?);
        }
    }
    for station in &wanted.stations {
        let stands = standing.iter().any(|row| row.subject == station.station.id.as_str());
        if station.assessment.verdict == Verdict::Matched && !stands {
            continue;
        }
        for condition in station.conditions(tx, config)? {
            happened.extend(decide(tx, config, condition)?);
        }
    }
    Ok(happened)
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
    let seen =
        estimates.seen(station).ok_or_else(|| incomplete(station, "its display, lamp or paper is not configured"))?;
    let assessment = station::assess(&seen, now).map_err(|paper| incomplete(station, &paper.to_string()))?;
    let before = estimates.store.verdict(&station.id)?.map(|row| row.verdict);
    // Reasons and sentences cost more than the verdict; they are made only for what will be told.
    let mut news = before.as_deref() != Some(assessment.verdict.word());
    for (kind, sighting) in conditions::of_match(&assessment, station.max_risk, None) {
        news |=
            sighting == Sighting::Bad && estimates.store.standing_alert(kind.word(), station.id.as_str())?.is_none();
    }
    let judgement = if news { Some(judge_with(estimates, station, now)?) } else { None };
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

    fn conditions(&self, tx: &Tx, config: &Config) -> Result<Vec<Condition>, LedgerError> {
        let station = self.station;
        let mut cause = None;
        for device in [&station.lamp, &station.display] {
            if tx.standing_alert(Kind::OffAim.word(), device.as_str())?.is_some() {
                cause = Some(Kind::OffAim);
            }
        }
        let zone = LocalZone(config.site.zone);
        let detail = |judgement: &Judgement| say::of_station(judgement, station.horizon, &zone);
        Ok(conditions::of_match(&self.assessment, station.max_risk, cause)
            .into_iter()
            .map(|(kind, sighting)| Condition {
                kind,
                subject: station.id.to_string(),
                sighting,
                detail: self.judgement.as_ref().map(detail).unwrap_or_default(),
            })
            .collect())
    }
}

fn incomplete(station: &Station, what: &str) -> LedgerError {
    LedgerError::Damaged { what: format!("station {}: {what}", station.id) }
}

fn devices_of(things: &Things) -> impl Iterator<Item = &DeviceId> {
    things.lamps.iter().map(|lamp| &lamp.id).chain(things.displays.iter().map(|display| &display.id))
}

fn device_conditions(
    estimates: &Estimates,
    config: &Config,
    device: &DeviceId,
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
    wanted.conditions.push(Condition {
        kind: Kind::ReadingOverdue,
        subject: device.to_string(),
        sighting: age,
        detail: if age == Sighting::Bad { say::of_overdue(device, last, now, limit, &zone) } else { Vec::new() },
    });
    let step = summary.last_step.as_ref();
    let acted_since = match step {
        None => false,
        Some(step) => estimates.store.events(device, step.began, now)?.iter().any(|event| event.excluded.is_none()),
    };
    wanted.conditions.push(Condition {
        kind: Kind::StepChange,
        subject: device.to_string(),
        sighting: if retired { Sighting::Good } else { conditions::of_step(step.map(|s| s.began), acted_since, now) },
        detail: step.map(|step| say::of_step(device, step, &zone)).unwrap_or_default(),
    });
    let strictest = station::Limits::strictest(&stations);
    let watched = stations.first().and_then(|station| estimates.watched(device, station));
    let follows = things.display(device).is_some_and(|display| display.aim.white == AimWhite::Paper);
    if let Some(watched) = watched.filter(|_| last.is_some() && !follows) {
        let probability = station::off_aim_probability(&watched, &strictest, now);
        let sighting = if retired { Sighting::Good } else { conditions::of_aim(probability, age == Sighting::Bad) };
        let detail = || say::of_off_aim(&station::off_aim_now(&watched, now), probability, &strictest, &stations);
        wanted.conditions.push(Condition {
            kind: Kind::OffAim,
            subject: device.to_string(),
            sighting,
            detail: if sighting == Sighting::Bad { detail() } else { Vec::new() },
        });
    }
    Ok(())
}

/// Lets the alert of a condition take its step, if it takes one.
pub fn decide(tx: &mut Tx, config: &Config, condition: Condition) -> Result<Option<Happened>, LedgerError> {
    let open = tx.standing_alert(condition.kind.word(), &condition.subject)?;
    let standing =
        open.as_ref().map(|row| Standing { kind: condition.kind, state: state_of(row), raised_at: row.raised_at });
    let step = match (alert::decide(standing.as_ref(), condition.sighting, tx.now()), open) {
        (Ok(Change::Raise), _) => entry::Alert {
            id: tx.next_alert_id()?,
            kind: condition.kind.word().to_owned(),
            subject: condition.subject,
            transition: Transition::Raised,
            reason: condition.kind.word().to_owned(),
            detail: condition.detail.join("\n"),
            operator: None,
        },
        (Ok(Change::Clear(why)), Some(row)) => cleared(&row, why),
        (Ok(Change::Clear(_)), None) | (Err(_), _) => return Ok(None),
    };
    append(tx, config, Body::Alert(step.clone()))?;
    Ok(Some(Happened::Alert(step)))
}

fn cleared(row: &AlertRow, why: Cleared) -> entry::Alert {
    entry::Alert {
        id: row.id,
        kind: row.kind.clone(),
        subject: row.subject.clone(),
        transition: Transition::Cleared,
        reason: why.word().to_owned(),
        detail: row.detail.clone(),
        operator: None,
    }
}

/// The state of a kept alert.
pub fn state_of(row: &AlertRow) -> alert::State {
    match row.state() {
        Transition::Raised => alert::State::Raised,
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
