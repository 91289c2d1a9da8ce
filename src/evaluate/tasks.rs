//! Alerts of what is due: a reminder's run, a reading that a forecast calls for, a certificate or rated hours that end.
//!
//! A run is told once: the alert that told of it bears it, whatever the clock has done since. Runs that were missed are caught up by
//! the last one alone. Dates that no line of the calendar sets are told from [`TELL_FROM_HOUR`] on the clock on the wall. Acts that a
//! forecast calls for are not told here: the alerts of the match name them.

use chrono::NaiveDate;

use super::equipment::instrument_life;
use super::seen::Estimates;
use super::{Condition, Scope, agenda};
use crate::alert::{Kind, Sighting};
use crate::config::Config;
use crate::ledger::LedgerError;
use crate::ledger::store::AlertRow;
use crate::say;
use crate::schedule::sources::{Stage, certificate_stage, of_rated_hours, rated_stage};
use crate::schedule::{Reminder, Task, Work};
use crate::station::{Advice, Call, CallReason, GUESS_BELOW_READINGS, Verdict};
use crate::units::{Days, DeviceId, Hours, InstrumentId, StationId, Time};
use crate::zone::LocalZone;

/// What the calendar's lines do not set is told from this hour on, so that nobody is woken for it.
pub const TELL_FROM_HOUR: u32 = 9;
/// A device is asked for as one that is learnt only for so long after its first reading.
const LEARNING_TOLD: Days = Days(42.0);
/// And only where it was not read for so long: who reads every week on some day needs no word.
const LEARNING_LATE: Days = Days(9.0);
/// A reading that was asked for and is still wanted within so many days goes on being asked for: dates move a little from day to day.
const STILL_WANTED: Days = Days(7.0);
/// A run that was told may lie this far ahead, after the clock was set back.
const SET_BACK: Days = Days(1.0);

/// Why an alert was raised, as the ledger keeps it.
mod reason {
    pub const FORECAST: &str = "forecast";
    pub const LEARNING: &str = "learning";
    pub const CERTIFICATE_ENDS: &str = "certificate-ends";
    pub const CERTIFICATE_ENDED: &str = "certificate-ended";
    pub const RATED_HOURS_NEAR: &str = "rated-hours-near";
    pub const RATED_HOURS_REACHED: &str = "rated-hours-reached";
}

/// The conditions of what is due. `others` are the devices' conditions, among which a reading that is overdue speaks for itself.
pub(super) fn conditions(
    estimates: &Estimates,
    config: &Config,
    scope: Scope,
    others: &[Condition],
) -> Result<Vec<Condition>, LedgerError> {
    let standing = estimates.store.standing_alerts()?;
    let mut looked = Looked { estimates, config, scope, others, standing, found: Vec::new() };
    for reminder in &config.reminders {
        looked.reminder(reminder)?;
    }
    for instrument in &config.things.instruments {
        looked.certificate(&instrument.id)?;
    }
    for lamp in &config.things.lamps {
        if let Some(rated) = lamp.rated_hours {
            looked.rated_hours(&lamp.id, rated);
        }
    }
    looked.readings_wanted()?;
    looked.gone()?;
    Ok(looked.found)
}

/// A reading that a station calls for.
struct Wanted {
    /// As its alert names it.
    subject: String,
    device: DeviceId,
    station: StationId,
    call: Call,
    /// Whether it may be told of, or only goes on being asked for.
    tells: bool,
}

fn is_learning(call: &Call) -> bool {
    matches!(call.why, CallReason::Learning { .. })
}

struct Looked<'a> {
    estimates: &'a Estimates<'a>,
    config: &'a Config,
    scope: Scope<'a>,
    others: &'a [Condition],
    standing: Vec<AlertRow>,
    found: Vec<Condition>,
}

impl Looked<'_> {
    fn in_scope(&self, device: Option<&DeviceId>) -> bool {
        match self.scope {
            Scope::All | Scope::Day => true,
            Scope::Devices(devices) => device.is_some_and(|device| devices.contains(device)),
        }
    }

    fn zone(&self) -> LocalZone {
        LocalZone(self.config.site.zone)
    }

    fn stands(&self, kind: Kind, subject: &str) -> Option<&AlertRow> {
        self.standing.iter().find(|row| row.kind == kind.word() && row.subject == subject)
    }

    /// Tells of the last run, unless that was told or served.
    fn reminder(&mut self, reminder: &Reminder) -> Result<(), LedgerError> {
        if !self.in_scope(reminder.device.as_ref()) {
            return Ok(());
        }
        let (kind, subject) = (kind_of(reminder), reminder.to_string());
        let now = self.estimates.at;
        let Some(run) = reminder.cron.last_until(now, self.config.site.zone) else { return Ok(()) };
        let told = self.estimates.store.told_runs(&subject, run, now.plus(SET_BACK))?;
        if !told.is_empty()
            || agenda::moot(self.estimates, reminder)
            || !agenda::unserved(self.estimates, self.config, reminder, run)?
        {
            return Ok(());
        }
        let detail = say::of_run(reminder, run, &self.zone());
        self.raise(Condition { run: Some(run), ..Condition::of(kind, &subject, Sighting::Bad, detail) });
        Ok(())
    }

    /// Raises a condition, and ends what stands of the same subject first.
    fn raise(&mut self, condition: Condition) {
        // Two lines may ask for the same at the same time.
        if self.found.iter().any(|other| other.kind == condition.kind && other.subject == condition.subject) {
            return;
        }
        if self.stands(condition.kind, &condition.subject).is_some() {
            self.found.push(Condition::of(condition.kind, &condition.subject, Sighting::DueAgain, Vec::new()));
        }
        self.found.push(condition);
    }

    fn certificate(&mut self, instrument: &InstrumentId) -> Result<(), LedgerError> {
        let Some(until) = self.certificate_until(instrument)? else { return Ok(()) };
        let stage = certificate_stage(until, self.estimates.at, self.zone());
        let words = [reason::CERTIFICATE_ENDS, reason::CERTIFICATE_ENDED];
        let detail = say::of_certificate(instrument, until, stage == Stage::Over);
        self.stage(&subject(&Work::Certificate, instrument.as_str()), stage, words, detail);
        Ok(())
    }

    /// The last good day of the certificate of an instrument that is in use.
    fn certificate_until(&self, instrument: &InstrumentId) -> Result<Option<NaiveDate>, LedgerError> {
        let now = self.estimates.at;
        let life = instrument_life(self.estimates.store, self.config, instrument, now)?;
        Ok(life.certificate_until(now).filter(|_| !life.is_retired()))
    }

    fn rated_hours(&mut self, lamp: &DeviceId, rated: Hours) {
        // Out of scope, nothing was read of it.
        let Some(estimate) = self.estimates.get(lamp).filter(|estimate| !estimate.state.is_retired()) else { return };
        let Some(used) = estimate.state.hours_in_use() else { return };
        let now = self.estimates.at;
        let Some((demand, burnt)) = of_rated_hours(lamp, rated, &used, now).zip(used.burnt(now)) else { return };
        let detail = say::of_rated_hours(say::because(&demand.because, demand.date, now, &self.zone()), lamp);
        let words = [reason::RATED_HOURS_NEAR, reason::RATED_HOURS_REACHED];
        self.stage(&subject(&Work::Replace, lamp.as_str()), rated_stage(burnt, rated), words, detail);
    }

    /// Tells when an end is near, and again when it has come.
    fn stage(&mut self, subject: &str, stage: Stage, [near, over]: [&'static str; 2], detail: Vec<String>) {
        let stands = self.stands(Kind::TaskDue, subject).map(|row| row.reason.clone());
        let stage_stands = stands.as_deref().filter(|reason| [near, over].contains(reason));
        let word = if stage == Stage::Over { over } else { near };
        let tells = stage >= Stage::Near && matches!(self.scope, Scope::Day);
        let news = match (&stands, stage_stands) {
            (None, _) => true,
            // A reminder of the same stands: that says it.
            (Some(_), None) => false,
            (Some(_), Some(told)) => stage == Stage::Over && told == near,
        };
        if tells && news {
            let condition = Condition::of(Kind::TaskDue, subject, Sighting::Bad, detail);
            self.raise(Condition { reason: Some(word), ..condition });
        } else if stage == Stage::Far && stage_stands.is_some() {
            self.found.push(Condition::of(Kind::TaskDue, subject, Sighting::Good, Vec::new()));
        }
    }

    /// Tells of readings that a forecast calls for by today, once a day looked at, and each once until it is made.
    fn readings_wanted(&mut self) -> Result<(), LedgerError> {
        let wanted = if matches!(self.scope, Scope::Day) { self.called_readings()? } else { Vec::new() };
        let (now, zone) = (self.estimates.at, self.zone());
        for wanted in wanted.iter().filter(|wanted| wanted.tells && zone.day(wanted.call.by) <= zone.day(now)) {
            let Wanted { subject, device, station, call, .. } = wanted;
            if self.stands(Kind::TaskDue, subject).is_none() && !self.overdue(device) && self.is_told(wanted) {
                let why = if is_learning(call) { reason::LEARNING } else { reason::FORECAST };
                let detail = say::of_wanted(station, call, now, &zone);
                let condition = Condition::of(Kind::TaskDue, subject, Sighting::Bad, detail);
                self.raise(Condition { reason: Some(why), ..condition });
            }
        }
        let told = [reason::FORECAST, reason::LEARNING];
        for row in self.standing.clone().iter().filter(|row| told.contains(&row.reason.as_str())) {
            let about = |device: &&DeviceId| row.subject.split_whitespace().next_back() == Some(device.as_str());
            let Some(device) = super::devices_of(&self.config.things).find(about) else { continue };
            let sighting = if self.overdue(device) {
                Sighting::SpokenFor(Kind::ReadingOverdue)
            } else if self.is_answered(row, device, &wanted) {
                Sighting::Good
            } else {
                Sighting::Between
            };
            self.found.push(Condition::of(Kind::TaskDue, &row.subject, sighting, Vec::new()));
        }
        Ok(())
    }

    /// The readings that stations call for, by when and why.
    fn called_readings(&self) -> Result<Vec<Wanted>, LedgerError> {
        let mut wanted = Vec::new();
        for station in &self.config.things.stations {
            let judgement = self.estimates.judge(&self.estimates.seen(station)?)?;
            // Where the match is out or at risk its own alert names what to do; nor does that end what was asked for before.
            let tells = matches!(judgement.verdict, Verdict::Matched | Verdict::Unknown);
            for call in judgement.calls {
                let (work, device) = match &call.advice {
                    Advice::Read { device } => (Work::Read, device.clone()),
                    Advice::ReadPaper { lamp, .. } => (Work::ReadPaper, lamp.clone()),
                    _ => continue,
                };
                let subject = subject(&work, device.as_str());
                wanted.push(Wanted { subject, device, station: station.id.clone(), call, tells });
            }
        }
        Ok(wanted)
    }

    fn is_told(&self, wanted: &Wanted) -> bool {
        // A device that nobody has read yet has its time until that is overdue, and a new site has many.
        let Some(known) = self.estimates.get(&wanted.device) else { return false };
        let Some(last) = known.state.last_read() else { return false };
        let late = self.estimates.at.since(last) >= LEARNING_LATE;
        !is_learning(&wanted.call) || (late && self.is_new(&wanted.device))
    }

    /// Whether a device was first read so short a time ago that readings to learn its drift by are still asked for.
    fn is_new(&self, device: &DeviceId) -> bool {
        let first = self.estimates.get(device).and_then(|known| known.state.first_read());
        first.is_some_and(|first| self.estimates.at.since(first) <= LEARNING_TOLD)
    }

    /// Whether what an alert asked for was done, or is no longer wanted. A device that is learnt goes on being asked for by the alert that
    /// stands, until it is learnt or no longer new.
    fn is_answered(&self, row: &AlertRow, device: &DeviceId, wanted: &[Wanted]) -> bool {
        // Out of scope, nothing was read of it.
        let Some(known) = self.estimates.get(device) else { return false };
        if row.reason == reason::LEARNING {
            return known.state.summary(&known.params).used >= GUESS_BELOW_READINGS || !self.is_new(device);
        }
        let soon = self.estimates.at.plus(STILL_WANTED);
        // Which of a station's readings settles a doubt may change from day to day; that one is in doubt does not end by that.
        let stations: Vec<&StationId> = self.config.things.stations_of(device).map(|station| &station.id).collect();
        let wants = |one: &&Wanted| one.subject == row.subject || stations.contains(&&one.station);
        let still = wanted.iter().filter(wants).any(|one| !one.tells || one.call.by <= soon);
        known.state.last_read().is_some_and(|read| read >= row.raised_at)
            || (matches!(self.scope, Scope::Day) && !still)
    }

    fn overdue(&self, device: &DeviceId) -> bool {
        let of_device = |other: &&Condition| other.kind == Kind::ReadingOverdue && other.subject == device.as_str();
        self.others.iter().find(of_device).is_some_and(|other| other.sighting == Sighting::Bad)
    }

    /// Ends what was served meanwhile, and what nobody asks for any more.
    fn gone(&mut self) -> Result<(), LedgerError> {
        for row in self.standing.clone() {
            let Some(kind) = Kind::from_word(&row.kind).filter(|kind| !kind.end_is_news()) else { continue };
            let asks = |reminder: &&Reminder| reminder.to_string() == row.subject;
            let mut asking = self.config.reminders.iter().filter(asks);
            let over = match (row.run, asking.next()) {
                (Some(run), Some(reminder)) => {
                    let seen = self.in_scope(reminder.device.as_ref());
                    let done = agenda::moot(self.estimates, reminder)
                        || agenda::served(self.estimates, self.config, reminder, run)?;
                    seen && done
                }
                (Some(_), None) => !matches!(self.scope, Scope::Devices(_)),
                (None, _) => !matches!(self.scope, Scope::Devices(_)) && !self.still_known(&row)?,
            };
            if over && !self.found.iter().any(|other| other.kind == kind && other.subject == row.subject) {
                self.found.push(Condition::of(kind, &row.subject, Sighting::Good, Vec::new()));
            }
        }
        Ok(())
    }

    /// Whether what an alert without a run is about can still be due.
    fn still_known(&self, row: &AlertRow) -> Result<bool, LedgerError> {
        let things = &self.config.things;
        Ok(match row.reason.as_str() {
            reason::CERTIFICATE_ENDS | reason::CERTIFICATE_ENDED => {
                let named = |id: &InstrumentId| subject(&Work::Certificate, id.as_str()) == row.subject;
                match things.instruments.iter().find(|instrument| named(&instrument.id)) {
                    Some(instrument) => self.certificate_until(&instrument.id)?.is_some(),
                    None => false,
                }
            }
            reason::RATED_HOURS_NEAR | reason::RATED_HOURS_REACHED => (things.lamps.iter())
                .filter(|lamp| lamp.rated_hours.is_some())
                .filter(|lamp| {
                    let used = self.estimates.get(&lamp.id).and_then(|known| known.state.hours_in_use());
                    used.is_some_and(|used| used.counter.is_some())
                })
                .any(|lamp| subject(&Work::Replace, lamp.id.as_str()) == row.subject),
            _ => true,
        })
    }
}

fn kind_of(reminder: &Reminder) -> Kind {
    match reminder.task {
        Task::Other(_) => Kind::Reminder,
        Task::Read | Task::Recalibrate | Task::Clean | Task::Certificate => Kind::TaskDue,
    }
}

/// What is to be done, and to what, as a reminder of the same would say it.
fn subject(work: &Work, device: &str) -> String {
    format!("{} {device}", work.word())
}

/// Whether what is not set by a line of the calendar may be told at `now`.
pub fn may_tell(now: Time, zone: LocalZone) -> bool {
    zone.hour(now) >= TELL_FROM_HOUR
}
