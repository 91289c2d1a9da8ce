//! Whether the watch sees and lives, and what it publishes: the alert of blindness, the beat with its outgoing URL, the metrics, the
//! calendar's file.
//!
//! A beat follows a complete look only: the inbox was looked through and not blind, all that was whole is committed, and the last
//! judgement went well. At most one a minute.

use std::path::PathBuf;
use std::sync::mpsc::{Receiver, TryRecvError, channel};
use std::time::Duration;

use chrono::{Days as CalendarDays, NaiveDate};

use super::{Daemon, DaemonError, LEDGER_FILE, Notice};
use crate::alert::{Kind, Sighting, conditions};
use crate::evaluate::{self, Condition, Estimates};
use crate::ledger::LedgerError;
use crate::publish::beat::{Beat, Failing, Fails};
use crate::publish::feed::{self, Foreign};
use crate::publish::{self, metrics};
use crate::say;
use crate::schedule::merge;
use crate::units::Time;
use crate::whole_file;
use crate::zone::LocalZone;

/// No two beats are closer.
const BEAT_EVERY: Duration = Duration::from_secs(60);
/// A blind inbox is looked at again after so long.
const LOOK_AGAIN: Duration = Duration::from_secs(15);
/// An address that has not answered by then has failed.
const URL_PATIENCE: Duration = Duration::from_secs(10);
/// What is due is worked out anew after so long though nothing was entered and no day has begun.
const CALENDAR_EVERY: Duration = Duration::from_secs(15 * 60);
/// The calendar shows what is due within so many days.
const CALENDAR_DAYS: u64 = 366;

/// What is known between two wakes.
#[derive(Default)]
pub(super) struct Pulse {
    /// Since when the inbox cannot be looked through, and why.
    blind: Option<(Duration, String)>,
    /// What the alert of blindness was last decided on; nothing before the first look.
    told_blind: Option<Sighting>,
    /// The inbox was looked through at this wake.
    looked: bool,
    /// Something failed at this wake that may pass.
    failed: bool,
    /// The last judgement went well.
    judged: bool,
    beat: Option<Duration>,
    asked: Option<Duration>,
    answer: Option<Receiver<Result<(), String>>>,
    url_fails: Option<Fails>,
    calendar: Option<Drawn>,
    /// Files that could not be written, so that each is complained of once.
    unwritable: Vec<PathBuf>,
}

/// What the calendar was last made of.
#[derive(PartialEq)]
struct Drawn {
    at: Duration,
    entries: i64,
    day: NaiveDate,
}

impl Pulse {
    /// A wake begins.
    pub(super) fn begin(&mut self) {
        (self.looked, self.failed) = (false, false);
    }

    /// Something failed at this wake.
    pub(super) fn failed(&mut self) {
        self.failed = true;
    }

    /// A judgement ended.
    pub(super) fn judged(&mut self, well: bool) {
        self.judged = well;
    }

    /// The configuration is another one: all that is published is made anew.
    pub(super) fn forget(&mut self) {
        (self.beat, self.calendar, self.told_blind) = (None, None, None);
        self.unwritable.clear();
    }
}

impl Daemon {
    /// Takes note of whether the inbox could be looked through, and tells when it cannot be for long, or can be again.
    pub(super) fn mind_blindness(&mut self, blind: Option<String>, monotonic: Duration) -> Result<(), DaemonError> {
        let pulse = &mut self.pulse;
        pulse.looked = blind.is_none();
        let since = pulse.blind.take().map_or(monotonic, |(since, _)| since);
        pulse.blind = blind.map(|why| (since, why));
        let sighting =
            conditions::of_blindness(pulse.blind.as_ref().map(|(since, _)| monotonic.saturating_sub(*since)));
        if pulse.blind.is_some() {
            let again = monotonic + LOOK_AGAIN;
            self.due.look = Some(self.due.look.map_or(again, |look| look.min(again)));
        }
        if pulse.told_blind == Some(sighting) {
            return Ok(());
        }
        let detail = pulse.blind.as_ref().map(|(_, why)| say::of_blind(why)).unwrap_or_default();
        let condition = Condition::of(Kind::Blind, self.config.site.id.as_str(), sighting, detail);
        let config = &self.config;
        // A write is made only where an alert stands or is to.
        let stands = self.ledger.standing_alert(Kind::Blind.word(), config.site.id.as_str())?.is_some();
        if sighting == Sighting::Bad || stands {
            match self.ledger.write(self.clock.now(), |tx| evaluate::decide(tx, config, condition)) {
                Ok(happened) => happened.map(Notice::Happened).into_iter().for_each(&mut self.tell),
                Err(error) => return self.survive(error),
            }
        }
        self.pulse.told_blind = Some(sighting);
        Ok(())
    }

    /// A wake ends: beats if all of it went well, and publishes.
    pub(super) fn beat(&mut self, monotonic: Duration, waiting: usize) -> Result<(), DaemonError> {
        self.hear_url();
        let pulse = &self.pulse;
        let due = pulse.beat.is_none_or(|beat| monotonic.saturating_sub(beat) >= BEAT_EVERY);
        if !due || !pulse.looked || pulse.failed || !pulse.judged {
            return Ok(());
        }
        let now = self.clock.now();
        let ledger_file = self.config.paths.state.join(LEDGER_FILE);
        let failing = Failing { url: self.pulse.url_fails.clone(), heads: self.heads.fails.clone() };
        let config = &self.config;
        let made = self.ledger.read(|store| {
            let beat = Beat::of(store, now, waiting, failing)?;
            let text = metrics::text(store, config, &ledger_file, &beat)?;
            Ok::<_, LedgerError>((beat, text))
        });
        let (beat, text) = match made {
            Ok(made) => made,
            Err(error) => return self.survive(error),
        };
        self.pulse.beat = Some(monotonic);
        let (beat_file, metrics_file) = (publish::beat::path(&self.config), self.config.publish.metrics.clone());
        let written = beat.write(&self.config);
        if self.note_written(beat_file, written.map_err(|why| why.to_string())) {
            self.ask_url(monotonic);
        }
        let written = whole_file::write(&metrics_file, text.as_bytes());
        self.note_written(metrics_file, written.map_err(|why| why.to_string()));
        self.draw_calendar(monotonic, now, beat.entries)
    }

    /// The watch ends: whoever asks is to know at once.
    pub(super) fn end_beat(&mut self) {
        if self.pulse.beat.is_some()
            && let Some(last) = publish::beat::last(&self.config)
        {
            let ended = Beat { ended_at: Some(self.clock.now()), ..last };
            let written = ended.write(&self.config);
            self.note_written(publish::beat::path(&self.config), written.map_err(|why| why.to_string()));
        }
    }

    /// Tells once that a file cannot be written, and once that it can be again.
    fn note_written(&mut self, file: PathBuf, written: Result<(), String>) -> bool {
        let complained = self.pulse.unwritable.contains(&file);
        match written {
            Ok(()) => self.pulse.unwritable.retain(|other| *other != file),
            Err(why) if !complained => {
                let what =
                    format!("{} cannot be written: {why}; check the path and who may write there", file.display());
                (self.tell)(Notice::Trouble(what));
                self.pulse.unwritable.push(file);
                return false;
            }
            Err(_) => return false,
        }
        true
    }

    fn draw_calendar(&mut self, monotonic: Duration, now: Time, entries: i64) -> Result<(), DaemonError> {
        let zone = LocalZone(self.config.site.zone);
        let day = zone.day(now);
        let same = |drawn: &Drawn| {
            drawn.entries == entries && drawn.day == day && monotonic.saturating_sub(drawn.at) < CALENDAR_EVERY
        };
        if self.pulse.calendar.as_ref().is_some_and(same) {
            return Ok(());
        }
        let config = &self.config;
        let demands = self.ledger.read(|store| evaluate::demands(&mut Estimates::new(store, config, now), config));
        let list = match demands {
            Ok(demands) => merge(demands, now),
            Err(error) => return self.survive(error),
        };
        let until = day.checked_add_days(CalendarDays::new(CALENDAR_DAYS)).unwrap_or(day);
        let file = config.publish.calendar.clone();
        let written = feed::refresh(&file, config, &list, now, until, Foreign::Replace);
        self.pulse.calendar = Some(Drawn { at: monotonic, entries, day });
        self.note_written(file, written.map(|_| ()).map_err(|why| why.to_string()));
        Ok(())
    }

    /// Asks for the outgoing URL on a thread of its own, unless the last request is still under way.
    fn ask_url(&mut self, monotonic: Duration) {
        let every = self.config.publish.every;
        let due = self.pulse.asked.is_none_or(|asked| monotonic.saturating_sub(asked) >= every);
        if !due || self.pulse.answer.is_some() {
            return;
        }
        let Some(url) = publish::heartbeat_url(&self.config) else { return };
        self.pulse.asked = Some(monotonic);
        let (send, answer) = channel();
        match url {
            Err(why) => drop(send.send(Err(why))),
            // Not a task of the runtime: an address that hangs must not hold up the end of the program.
            Ok(url) => {
                let asked = std::thread::Builder::new().name("heartbeat".to_owned()).spawn({
                    let send = send.clone();
                    move || drop(send.send(ask(&url)))
                });
                if let Err(why) = asked {
                    drop(send.send(Err(why.to_string())));
                }
            }
        }
        self.pulse.answer = Some(answer);
        self.hear_url();
    }

    /// Takes note of how the request under way ended; told once when it begins to fail, and once when it works again.
    fn hear_url(&mut self) {
        let Some(answer) = &self.pulse.answer else { return };
        let end = match answer.try_recv() {
            Ok(end) => end,
            Err(TryRecvError::Empty) => return,
            Err(TryRecvError::Disconnected) => Err("the request broke off".to_owned()),
        };
        self.pulse.answer = None;
        match (end, self.pulse.url_fails.take()) {
            (Ok(()), None) => {}
            (Ok(()), Some(before)) => {
                let since = LocalZone(self.config.site.zone).show(before.since);
                (self.tell)(Notice::Settled(format!("the heartbeat's URL works again; it had failed since {since}")));
            }
            (Err(why), Some(before)) => self.pulse.url_fails = Some(Fails { why, ..before }),
            (Err(why), None) => {
                (self.tell)(Notice::Trouble(format!(
                    "the heartbeat's URL fails: {why}; it is asked for again with each beat"
                )));
                self.pulse.url_fails = Some(Fails { since: self.clock.now(), why });
            }
        }
    }
}

/// Requests the URL; the error is in words that do not hold it.
fn ask(url: &str) -> Result<(), String> {
    let agent = ureq::Agent::config_builder().timeout_global(Some(URL_PATIENCE)).max_redirects(0).build().new_agent();
    match agent.get(url).call() {
        Ok(answer) if answer.status().is_redirection() => {
            Err("it leads elsewhere: redirects are not followed".to_owned())
        }
        Ok(_) => Ok(()),
        Err(ureq::Error::StatusCode(code)) => Err(format!("it answers with status {code}")),
        Err(ureq::Error::Timeout(_)) => Err(format!("it does not answer within {} s", URL_PATIENCE.as_secs())),
        Err(ureq::Error::HostNotFound) => Err("its host is not found".to_owned()),
        Err(ureq::Error::Io(why)) => Err(format!("the connection failed ({})", why.kind())),
        Err(ureq::Error::ConnectionFailed) => Err("the connection failed".to_owned()),
        Err(ureq::Error::Tls(_) | ureq::Error::Rustls(_)) => Err("its certificate is not accepted".to_owned()),
        Err(ureq::Error::BadUri(_) | ureq::Error::Http(_)) => Err("it is no address".to_owned()),
        Err(_) => Err("the request failed".to_owned()),
    }
}
