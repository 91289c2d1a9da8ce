//! Tasks, timers, signals, delivery: carries out what the other modules decide, and decides nothing.
//!
//! One loop owns the ledger and the inbox. It wakes on a hint from the watch, a signal, a finished delivery, or its timer,
//! and then does everything that may be due, in order: look through the inbox, take in what is whole, judge by the clock,
//! deliver. The timer never sleeps longer than [`SLICE`], so that a machine that was suspended or whose clock was set
//! is back on time soon: what is due is always asked of the clock, never of how long was slept.

mod deliver;
mod heads;
mod intake;
mod pulse;
mod start;

use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use chrono::NaiveDate;
use tokio::sync::mpsc;

use crate::alert::Sighting;
use crate::clock::Clock;
use crate::config::{self, Config};
use crate::evaluate::{self, Happened, Scope};
use crate::inbox::{Blind, Hint, Inbox, Watch};
use crate::ledger::{Ledger, LedgerError};
use crate::outbox::Message;
use crate::pipeline;
use crate::units::{Days, Time};
use crate::zone::LocalZone;
use deliver::Deliveries;
use heads::Heads;
use pulse::Pulse;
pub(crate) use start::lock;
pub use start::{LEDGER_FILE, StartError, is_running, open_ledger, start};

/// The longest sleep.
const SLICE: Duration = Duration::from_secs(30);
/// How often everything is judged by the clock, and foreign entries are looked for.
const JUDGE_EVERY: Duration = Duration::from_secs(60);
/// A calendar that went on by more than this since the last judgement has jumped: the machine slept, or its clock was set.
const STEPPED: Days = Days(1.0 / 1440.0);
/// How often the ledger is asked whether another process has written.
const LISTEN_EVERY: Duration = Duration::from_secs(2);

/// What a person or a service manager can tell the daemon.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Signal {
    /// Read the configuration again.
    Reload,
    /// End.
    Stop,
}

/// What the daemon tells as it goes.
#[derive(Debug, Clone, PartialEq)]
pub enum Notice {
    /// It is watching.
    Watching {
        /// The inbox.
        inbox: PathBuf,
        /// Why events may not come, if so.
        deaf: Option<String>,
    },
    /// A file's walk ended.
    File {
        /// Its name.
        name: String,
        /// What became of it.
        end: FileEnd,
    },
    /// A verdict or an alert changed.
    Happened(Happened),
    /// A message left through the log.
    Message(Box<Message>),
    /// Something is wrong that a person can mend.
    Trouble(String),
    /// What was told as wrong is right again.
    Settled(String),
    /// A new configuration is in force.
    Reloaded,
    /// Everything that was due at this wake is done.
    Round {
        /// The clock's monotonic time at which the wake began.
        began: Duration,
        /// Files that still wait in the inbox.
        waiting: usize,
    },
    /// It ends.
    Stopping,
}

/// What became of a file.
#[derive(Debug, Clone, PartialEq)]
pub enum FileEnd {
    /// In the ledger and in the archive.
    Taken {
        /// Readings and events that are new.
        new: usize,
        /// Rows the ledger already had.
        duplicates: u64,
        /// Readings that wait for a person.
        held: usize,
        /// What was noticed of the file besides.
        warnings: Vec<String>,
    },
    /// The ledger knew it; in the archive.
    Known,
    /// In quarantine, with the reason beside it.
    Refused {
        /// The first thing that is wrong with it.
        first: String,
        /// How many things are.
        count: usize,
    },
    /// Stays in the inbox until it grows.
    Incomplete(String),
}

/// Why the daemon had to stop.
#[derive(Debug, thiserror::Error)]
pub enum DaemonError {
    /// The ledger cannot go on; a restart reads it anew from the disk.
    #[error("the ledger failed: {0}")]
    Ledger(#[from] LedgerError),
}

/// The daemon between two wakes.
pub struct Daemon {
    config: Config,
    config_file: PathBuf,
    clock: Arc<dyn Clock>,
    ledger: Ledger,
    inbox: Inbox,
    watch: Option<Watch>,
    hints: mpsc::UnboundedReceiver<Hint>,
    send_hint: mpsc::UnboundedSender<Hint>,
    deliveries: Deliveries,
    heads: Heads,
    due: Due,
    pulse: Pulse,
    tell: Box<dyn FnMut(Notice) + Send>,
    /// Held as long as the daemon runs: the operating system's own lock against a second one.
    _lock: std::fs::File,
}

/// When things are due: monotonic times, but for what the calendar decides.
#[derive(Debug, Clone, Copy, Default)]
struct Due {
    rescan: Duration,
    look: Option<Duration>,
    judge: Duration,
    /// The calendar's time of the last judgement: one that went back or jumped ahead since calls for another at once.
    judged: Option<Time>,
    /// The calendar's time at which the next reminder falls due.
    run: Option<Time>,
    /// The last day on which it was looked at what forecasts call for.
    looked_ahead: Option<NaiveDate>,
    data_version: i64,
}

impl Daemon {
    /// Runs until it is told to stop.
    pub async fn run(mut self, mut signals: mpsc::Receiver<Signal>) -> Result<(), DaemonError> {
        loop {
            let next = self.round()?;
            let clock = self.clock.clone();
            let signal = tokio::select! {
                hint = self.hints.recv() => {
                    if let Some(hint) = hint { self.take_hints(hint); }
                    None
                }
                signal = signals.recv() => Some(signal.unwrap_or(Signal::Stop)),
                done = self.deliveries.finished() => {
                    self.note(done)?;
                    None
                }
                () = clock.sleep_until(next) => None,
            };
            match signal {
                Some(Signal::Stop) => break,
                Some(Signal::Reload) => self.reload()?,
                None => {}
            }
        }
        (self.tell)(Notice::Stopping);
        for done in self.deliveries.drain().await {
            self.note(done)?;
        }
        self.sync_moves();
        self.end_beat();
        Ok(())
    }

    fn note(&mut self, done: deliver::Done) -> Result<(), DaemonError> {
        let Self { deliveries, ledger, config, clock, tell, .. } = self;
        Ok(deliveries.note(ledger, config, clock.as_ref(), done, tell)?)
    }

    fn deliver(&mut self) -> Result<(), DaemonError> {
        let Self { deliveries, ledger, config, clock, tell, .. } = self;
        deliveries.send_due(ledger, config, clock.as_ref(), tell).or_else(|error| self.survive(error))
    }

    /// Does everything that is due and returns the monotonic time until which to sleep at most.
    fn round(&mut self) -> Result<Duration, DaemonError> {
        let monotonic = self.clock.monotonic();
        let mut waiting = 0;
        self.pulse.begin();
        if monotonic >= self.due.rescan || self.due.look.is_some_and(|look| monotonic >= look) {
            waiting = self.look_through(monotonic)?;
        }
        self.judge_if_due(monotonic)?;
        self.keep_heads(monotonic)?;
        self.deliver()?;
        self.beat(monotonic, waiting)?;
        (self.tell)(Notice::Round { began: monotonic, waiting });
        let next = [Some(self.due.rescan), self.due.look, Some(self.due.judge)].into_iter().flatten().min();
        let sleep = next.map_or(SLICE, |next| next.saturating_sub(monotonic));
        Ok(monotonic + sleep.clamp(Duration::from_millis(20), LISTEN_EVERY.min(SLICE)))
    }

    fn look_through(&mut self, monotonic: Duration) -> Result<usize, DaemonError> {
        if monotonic >= self.due.rescan {
            self.due.rescan = monotonic + self.config.inbox.look_every();
        }
        let report = self.inbox.scan(monotonic);
        self.due.look = report.next_look;
        for note in &report.notes {
            (self.tell)(Notice::Trouble(note.to_string()));
        }
        if let Some(blind) = &report.blind {
            if matches!(blind, Blind::Replaced(_)) || self.watch.is_some() {
                (self.tell)(Notice::Trouble(blind.to_string()));
                self.watch = None;
            }
        } else if self.watch.is_none() {
            self.start_watch();
        }
        let unseen = report.blind.as_ref().filter(|blind| !matches!(blind, Blind::Replaced(_)));
        self.mind_blindness(unseen.map(Blind::to_string), monotonic)?;
        if report.ready.is_empty() {
            self.sync_moves();
        }
        let mut waiting = report.waiting;
        for candidate in &report.ready {
            match self.take_in(candidate)? {
                Some(notices) => notices.into_iter().for_each(&mut self.tell),
                None => waiting += 1,
            }
        }
        Ok(waiting)
    }

    /// Lets the moves of files outlast a power cut, once there is nothing else to do.
    fn sync_moves(&mut self) {
        if let Err(why) = self.inbox.sync() {
            (self.tell)(Notice::Trouble(why.to_string()));
        }
    }

    fn judge_if_due(&mut self, monotonic: Duration) -> Result<(), DaemonError> {
        let version = self.ledger.data_version()?;
        let foreign = version != self.due.data_version;
        self.due.data_version = version;
        let now = self.clock.now();
        let stepped = self.due.judged.is_none_or(|judged| now < judged || now.since(judged) > STEPPED);
        let run = self.due.run.is_some_and(|run| now >= run);
        if monotonic < self.due.judge && !foreign && !stepped && !run {
            return Ok(());
        }
        self.due.judge = monotonic + JUDGE_EVERY;
        self.due.judged = Some(now);
        self.due.run = evaluate::next_run(&self.config, now);
        let config = &self.config;
        let zone = LocalZone(config.site.zone);
        let ahead = self.due.looked_ahead != Some(zone.day(now)) && evaluate::may_tell(now, zone);
        let scope = if ahead { Scope::Day } else { Scope::All };
        let happened = self.ledger.write(now, |tx| {
            pipeline::come_into_force(tx, config)?;
            let judged = evaluate::judge(tx, config, scope, Vec::new())?;
            evaluate::sum_up(tx, config)?;
            Ok(judged)
        });
        match happened {
            Ok(evaluate::Judged { happened, passing }) => {
                self.pulse.judged(true);
                self.deliveries.passing = passing;
                happened.into_iter().map(Notice::Happened).for_each(&mut self.tell);
                if ahead {
                    self.due.looked_ahead = Some(zone.day(now));
                }
            }
            Err(error) => {
                self.pulse.judged(false);
                self.survive(error)?;
            }
        }
        Ok(())
    }

    /// Goes on after an error that may pass by itself (a full disk, a busy ledger), having told it.
    fn survive(&mut self, error: LedgerError) -> Result<(), DaemonError> {
        if error.is_passing() {
            self.pulse.failed();
            (self.tell)(Notice::Trouble(error.to_string()));
            Ok(())
        } else {
            Err(error.into())
        }
    }

    fn take_hints(&mut self, first: Hint) {
        let mut hint = Some(first);
        while let Some(next) = hint {
            if let Hint::Deaf(why) = &next {
                (self.tell)(Notice::Trouble(why.to_string()));
            }
            self.inbox.hint(next);
            hint = self.hints.try_recv().ok();
        }
        // Only a scan knows what the hints mean.
        self.due.look = Some(Duration::ZERO);
    }

    fn start_watch(&mut self) {
        let send = self.send_hint.clone();
        match Watch::start(&self.config.paths.inbox, move |hint| drop(send.send(hint))) {
            Ok(watch) => {
                self.watch = Some(watch);
                // What came before the watch stood is found by one more scan.
                self.due.look = Some(Duration::ZERO);
            }
            Err(why) => (self.tell)(Notice::Trouble(why.to_string())),
        }
    }

    /// Reads the configuration again; a bad one leaves the old one in force and raises an alert.
    fn reload(&mut self) -> Result<(), DaemonError> {
        let read = config::find::load(&self.config_file).map_err(|why| why.to_string()).and_then(|new| {
            let same_place = new.site.id == self.config.site.id && new.paths.state == self.config.paths.state;
            let fixed = "site.id and paths.state cannot change while the daemon runs: stop it first";
            if same_place { Ok(new) } else { Err(fixed.to_owned()) }
        });
        let (sighting, detail) = match read {
            Ok(new) => {
                let folders = start::folders(&new);
                if let Err(why) = folders.prepare() {
                    (Sighting::Bad, why.to_string())
                } else {
                    if new.paths.inbox != self.config.paths.inbox {
                        self.watch = None;
                    }
                    self.inbox = Inbox::new(folders, new.inbox.settle, new.inbox.max_bytes);
                    self.config = new;
                    self.due = Due { data_version: self.due.data_version, ..Due::default() };
                    self.heads = Heads::default();
                    self.pulse.forget();
                    (self.tell)(Notice::Reloaded);
                    (Sighting::Good, String::new())
                }
            }
            Err(why) => (Sighting::Bad, why),
        };
        if sighting == Sighting::Bad {
            (self.tell)(Notice::Trouble(format!("the new configuration is not taken: {detail}")));
        }
        let condition = start::refused_configuration(&self.config, sighting, &detail);
        let config = &self.config;
        let happened = self.ledger.write(self.clock.now(), |tx| {
            pipeline::come_into_force(tx, config)?;
            evaluate::decide(tx, config, condition)
        });
        match happened {
            Ok(happened) => happened.into_iter().map(Notice::Happened).for_each(&mut self.tell),
            Err(error) => self.survive(error)?,
        }
        Ok(())
    }
}
