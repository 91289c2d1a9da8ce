//! Leads the real daemon through the days of the story: turns its clock, drops files, and waits for what it says.
//!
//! Nothing here waits for a while and hopes. The clock is turned only after the daemon has told that it did everything
//! that was due; a dropped file is waited for by name. Where notifications do not come (a folder on a network share) the clock
//! is turned on by a minute, so that the daemon's own look through the inbox finds the file.

use std::fmt;
use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::mpsc::{Receiver, RecvTimeoutError, channel};
use std::time::Duration;

use chrono::NaiveDate;
use tokio::runtime::Runtime;
use tokio::sync::mpsc::Sender;
use tokio::task::JoinHandle;

use super::super::fail::{Failure, Kind};
use super::telling::Telling;
use crate::acts;
use crate::alert;
use crate::clock::{Clock, TurnedClock};
use crate::config::Config;
use crate::daemon::{self, DaemonError, FileEnd, Notice, Signal};
use crate::reading::{Operator, OperatorBy};
use crate::say;
use crate::simulate::{self, Deed, Dropped, Scene};
use crate::units::{Days, OperatorId, Time};
use crate::zone::LocalZone;

/// A daemon that says nothing for so long has failed.
const PATIENCE: Duration = Duration::from_secs(60);
/// A file that is not noticed for so long was not told of: the look through the inbox must find it.
const UNNOTICED: Duration = Duration::from_secs(1);
/// The same once that has happened: where notifications failed, they will not come back soon.
const UNNOTICED_AGAIN: Duration = Duration::from_millis(20);
/// The daemon's look through the inbox, and the time after which a file stands still, fit in this.
const LOOK: Duration = Duration::from_secs(61);
/// So many looks find any file.
const LOOKS: u32 = 5;

/// A running daemon under a clock that is turned by hand.
pub struct Passage {
    folder: PathBuf,
    config: Config,
    clock: Arc<TurnedClock>,
    runtime: Runtime,
    running: JoinHandle<Result<(), DaemonError>>,
    signals: Sender<Signal>,
    notices: Receiver<Notice>,
    /// How long a dropped file is waited for before the clock is turned on.
    unnoticed: Duration,
    tally: Tally,
}

/// What went through the daemon.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Tally {
    files: u64,
    rows: u64,
    refused: u64,
}

impl Passage {
    /// Starts the daemon on the first morning.
    pub fn begin(folder: &Path, config: &Config, zone: LocalZone, today: NaiveDate) -> Result<Self, Failure> {
        // People have made a folder for each device before the daemon begins to watch.
        for device in config.things.displays.iter().map(|d| &d.id).chain(config.things.lamps.iter().map(|l| &l.id)) {
            fs::create_dir_all(config.paths.inbox.join(device.as_str()))?;
        }
        let clock = Arc::new(TurnedClock::new(simulate::first_morning(zone, today)));
        let (send, notices) = channel();
        let tell = Box::new(move |notice| drop(send.send(notice)));
        let daemon = daemon::start(config.clone(), folder.join(super::CONFIG_FILE), clock.clone(), false, tell)?;
        let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build()?;
        let (signals, listen) = tokio::sync::mpsc::channel(1);
        let running = runtime.spawn(daemon.run(listen));
        let (folder, config) = (folder.to_owned(), config.clone());
        Ok(Self {
            folder,
            config,
            clock,
            runtime,
            running,
            signals,
            notices,
            unnoticed: UNNOTICED,
            tally: Tally::default(),
        })
    }

    /// Lives through the scenes, one look at least on every day, up to `now`.
    pub fn live(mut self, scenes: Vec<Scene>, now: Time, mut telling: Telling) -> Result<Tally, Failure> {
        let done = self.live_through(scenes, now, &mut telling);
        // A daemon that has ended by itself knows best what went wrong.
        let _ = self.signals.blocking_send(Signal::Stop);
        self.runtime.block_on(self.running).map_err(|why| Failure::new(Kind::System, why.to_string()))??;
        done.map(|()| self.tally)
    }

    fn live_through(&mut self, scenes: Vec<Scene>, now: Time, telling: &mut Telling) -> Result<(), Failure> {
        self.wait(telling, PATIENCE, |notice| matches!(notice, Notice::Round { .. }))?;
        let day = Days(1.0);
        for scene in scenes.into_iter().filter(|scene| scene.at < now) {
            while self.clock.now().plus(day) < scene.at {
                self.turn_to(self.clock.now().plus(day), telling)?;
            }
            self.turn_to(scene.at, telling)?;
            if let Some(told) = &scene.told {
                telling.of_room(scene.at, told)?;
            }
            match &scene.deed {
                Some(Deed::Drop(file)) => self.drop_file(file, telling)?,
                Some(Deed::Acknowledge { kind, subject, by }) => self.acknowledge(*kind, subject, by, telling)?,
                None => {}
            }
        }
        while self.clock.now().plus(day) < now {
            self.turn_to(self.clock.now().plus(day), telling)?;
        }
        self.turn_to(now, telling)
    }

    /// Turns the clock and lets the daemon do what is due by then.
    fn turn_to(&mut self, to: Time, telling: &mut Telling) -> Result<(), Failure> {
        let ahead = to.micros().saturating_sub(self.clock.now().micros());
        match u64::try_from(ahead) {
            Ok(ahead) if ahead > 0 => self.turn_by(Duration::from_micros(ahead), telling),
            // Two scenes at once.
            _ => Ok(()),
        }
    }

    fn turn_by(&mut self, span: Duration, telling: &mut Telling) -> Result<(), Failure> {
        self.clock.advance(span);
        let turned = self.clock.monotonic();
        self.wait(telling, PATIENCE, |notice| matches!(notice, Notice::Round { began, .. } if *began >= turned))?;
        Ok(())
    }

    /// Writes a file beside the inbox, renames it into it, and waits until the daemon has done with it.
    fn drop_file(&mut self, file: &Dropped, telling: &mut Telling) -> Result<(), Failure> {
        let draft = self.folder.join(format!(".{}.part", file.name));
        fs::write(&draft, &file.text)?;
        let inbox = &self.config.paths.inbox;
        let place = file.folder.as_ref().map_or(inbox.clone(), |device| inbox.join(device.as_str()));
        fs::rename(&draft, place.join(&file.name))?;
        let ended = |notice: &Notice| matches!(notice, Notice::File { name, .. } if *name == file.name);
        for _ in 0..LOOKS {
            if self.wait(telling, self.unnoticed, ended)? {
                self.wait(telling, PATIENCE, |notice| matches!(notice, Notice::Round { .. }))?;
                return Ok(());
            }
            self.unnoticed = UNNOTICED_AGAIN;
            self.turn_by(LOOK, telling)?;
        }
        Err(Failure::new(Kind::System, format!("the daemon does not take {} in", file.name)))
    }

    /// Acknowledges an alert as `ack` does it: in the ledger, beside the daemon, which notices.
    fn acknowledge(
        &mut self,
        kind: alert::Kind,
        subject: &str,
        by: &str,
        telling: &mut Telling,
    ) -> Result<(), Failure> {
        let mut ledger = daemon::open_ledger(&self.config, self.clock.as_ref(), false)?;
        if let Some(row) = ledger.read(|store| store.standing_alert(kind.word(), subject))? {
            let by = OperatorId::new(by).ok().map(|id| Operator { id, by: OperatorBy::Option });
            let now = self.clock.now();
            for happened in acts::acknowledge(&mut ledger, &self.config, row.id, by.as_ref(), now)? {
                telling.of_daemon(now, &Notice::Happened(happened))?;
            }
        }
        Ok(())
    }

    /// Tells what the daemon says until it says what was waited for. `false` where it says nothing for `patience`, which is
    /// a failure where that was [`PATIENCE`].
    fn wait(
        &mut self,
        telling: &mut Telling,
        patience: Duration,
        what: impl Fn(&Notice) -> bool,
    ) -> Result<bool, Failure> {
        loop {
            match self.notices.recv_timeout(patience) {
                Ok(notice) => {
                    self.tally.count(&notice);
                    telling.of_daemon(self.clock.now(), &notice)?;
                    if what(&notice) {
                        return Ok(true);
                    }
                }
                Err(RecvTimeoutError::Timeout) if patience < PATIENCE => return Ok(false),
                Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => {
                    return Err(Failure::new(Kind::System, "the daemon has stopped answering"));
                }
            }
        }
    }
}

impl Tally {
    fn count(&mut self, notice: &Notice) {
        let Notice::File { end, .. } = notice else { return };
        match end {
            FileEnd::Taken { new, .. } => {
                self.files += 1;
                self.rows += *new as u64;
            }
            FileEnd::Refused { .. } => self.refused += 1,
            FileEnd::Known | FileEnd::Incomplete(_) => {}
        }
    }
}

impl fmt::Display for Tally {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { files, rows, refused } = self;
        let (files, refused) = (say::count(*files, "file"), say::count(*refused, "file"));
        write!(f, "{files} with {rows} readings and events were taken in, {refused} refused.")
    }
}
