//! The daemon under a clock that is turned by hand: suspend, a calendar that jumps, and a year in no time.

use std::fs;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use tokio::sync::mpsc;
use twinwhite::alert::Kind;
use twinwhite::clock::{Clock, SystemClock, TurnedClock};
use twinwhite::config::Config;
use twinwhite::daemon::{self, FileEnd, Notice, Signal, StartError};
use twinwhite::evaluate::Happened;
use twinwhite::ledger::entry::Transition;
use twinwhite::units::Time;

const DAY: Duration = Duration::from_secs(86_400);
/// The daemon is given up after so long of real time without the notice a test waits for.
const PATIENCE: Duration = Duration::from_secs(60);

pub const CONFIG: &str = r#"
[site]
name = "Tower"
timezone = "Europe/Lisbon"
[paths]
inbox = "inbox"
state = "state"
[[display]]
id = "screen"
aim = { white = "D65", luminance_cd_m2 = 143 }
[[lamp]]
id = "lamp"
kind = "led"
aim = { white = "D65", illuminance_lx = 500 }
[[paper]]
id = "grey"
white = { reflectance_factor = 0.9 }
[[station]]
id = "desk"
display = "screen"
lamp = "lamp"
paper = "grey"
tolerance = { delta_uv = 0.005, luminance_ratio = 1.2 }
max_age_days = 45
"#;

pub struct Watch {
    pub clock: Arc<TurnedClock>,
    notices: mpsc::UnboundedReceiver<Notice>,
    signals: mpsc::Sender<Signal>,
    running: tokio::task::JoinHandle<()>,
    config: Config,
    pub folder: tempfile::TempDir,
}

impl Watch {
    fn start(at: &str) -> Self {
        Self::start_with(at, "")
    }

    /// With more than the usual in its configuration.
    pub fn start_with(at: &str, more: &str) -> Self {
        Self::start_in(tempfile::tempdir().unwrap(), at, more)
    }

    /// In a folder where one may have run before.
    pub fn start_in(folder: tempfile::TempDir, at: &str, more: &str) -> Self {
        let config = Config::parse(&format!("{CONFIG}{more}"), "twinwhite.toml", folder.path()).unwrap();
        let clock = Arc::new(TurnedClock::new(Time::parse(at).unwrap()));
        let (send, notices) = mpsc::unbounded_channel();
        let start = || {
            let send = send.clone();
            let tell = Box::new(move |notice| drop(send.send(notice)));
            daemon::start(config.clone(), folder.path().join("twinwhite.toml"), clock.clone(), false, tell)
        };
        // A process that another test begins at this moment may hold the last daemon's lock until it is the program it runs.
        let mut started = start();
        for _ in 0..200 {
            if !matches!(started, Err(StartError::Running { .. })) {
                break;
            }
            std::thread::sleep(Duration::from_millis(20));
            started = start();
        }
        let daemon = started.unwrap();
        let (signals, receive) = mpsc::channel(4);
        let running = tokio::spawn(async move { daemon.run(receive).await.unwrap() });
        Self { clock, notices, signals, running, config, folder }
    }

    /// The configuration it runs by.
    pub fn config(&self) -> Config {
        self.config.clone()
    }

    /// Waits for the first notice that `wanted` picks something out of. Meanwhile the clock goes on by seconds, since a
    /// daemon that was at work when it was turned sleeps from then on.
    async fn hear<T>(&mut self, wanted: impl Fn(&Notice) -> Option<T>) -> T {
        let heard = async {
            loop {
                match tokio::time::timeout(Duration::from_millis(50), self.notices.recv()).await {
                    Err(_) => self.clock.advance(Duration::from_secs(3)),
                    Ok(notice) => {
                        if let Some(found) = wanted(&notice.expect("the daemon runs on")) {
                            return found;
                        }
                    }
                }
            }
        };
        tokio::time::timeout(PATIENCE, heard).await.expect("the daemon speaks")
    }

    /// What it says until all that is due by now is done. The clock goes on by seconds, as in [`Watch::hear`].
    pub async fn settle(&mut self) -> Vec<Notice> {
        self.clock.advance(Duration::from_secs(3));
        let turned = self.clock.monotonic();
        let settled = async {
            let mut said = Vec::new();
            loop {
                let notice = self.notices.recv().await.expect("the daemon runs on");
                let done = matches!(notice, Notice::Round { began, .. } if began >= turned);
                said.push(notice);
                if done {
                    return said;
                }
            }
        };
        tokio::time::timeout(PATIENCE, settled).await.expect("the daemon comes round")
    }

    pub fn drop_in(&self, name: &str, text: &str) {
        let beside = self.folder.path().join(name);
        fs::write(&beside, text).unwrap();
        fs::rename(beside, self.folder.path().join("inbox").join(name)).unwrap();
    }

    pub async fn stop(self) -> tempfile::TempDir {
        self.signals.send(Signal::Stop).await.unwrap();
        tokio::time::timeout(PATIENCE, self.running).await.expect("it ends").unwrap();
        self.folder
    }
}

fn taken(notice: &Notice) -> Option<usize> {
    match notice {
        Notice::File { end: FileEnd::Taken { new, .. }, .. } => Some(*new),
        _ => None,
    }
}

fn alert(kind: Kind, transition: Transition) -> impl Fn(&Notice) -> Option<String> {
    move |notice| match notice {
        Notice::Happened(Happened::Alert(step)) if step.kind == kind.word() && step.transition == transition => {
            Some(step.subject.clone())
        }
        _ => None,
    }
}

fn readings(day: &str) -> String {
    format!(
        "time,device,x,y,luminance_cd_m2,illuminance_lx\n{day}T09:00:00Z,screen,0.3127,0.3290,143,\n\
         {day}T09:05:00Z,lamp,0.3127,0.3290,,500\n"
    )
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_comes_as_soon_as_it_says_that_it_watches_is_taken_at_once() {
    let folder = tempfile::tempdir().unwrap();
    let toml = format!("{CONFIG}[inbox]\nsettle_s = 3600\nrescan_s = 3600\n");
    let config = Config::parse(&toml, "twinwhite.toml", folder.path()).unwrap();
    let (ready, inbox) = (folder.path().join("ready.csv"), folder.path().join("inbox/ready.csv"));
    fs::write(&ready, "time,device,x,y,illuminance_lx\n2025-01-06T12:00:00Z,lamp,0.3127,0.329,500\n").unwrap();
    let (send, mut ends) = mpsc::unbounded_channel();
    let tell = Box::new(move |notice| match notice {
        Notice::Watching { .. } => fs::rename(&ready, &inbox).unwrap(),
        Notice::File { end, .. } => drop(send.send(end)),
        _ => {}
    });
    let clock = Arc::new(SystemClock::new());
    let daemon = daemon::start(config, folder.path().join("twinwhite.toml"), clock, false, tell).unwrap();
    let (signals, receive) = mpsc::channel(4);
    let running = tokio::spawn(async move { daemon.run(receive).await.unwrap() });
    let end = tokio::time::timeout(PATIENCE, ends.recv()).await.expect("long before the file has settled").unwrap();
    assert!(matches!(end, FileEnd::Taken { new: 1, .. }), "{end:?}");
    signals.send(Signal::Stop).await.unwrap();
    running.await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn nothing_is_late_after_a_suspend_or_a_jump_of_the_calendar() {
    let mut watch = Watch::start("2026-03-02T10:00:00Z");
    watch.drop_in("first.csv", &readings("2026-03-02"));
    assert_eq!(watch.hear(taken).await, 2);

    // A suspend stops tokio's timers and the monotonic clock; only the calendar goes on.
    watch.clock.set_calendar(Time::parse("2026-05-01T10:00:00Z").unwrap());
    let mut overdue = [watch_overdue(&mut watch).await, watch_overdue(&mut watch).await];
    overdue.sort();
    assert_eq!(overdue, ["lamp", "screen"]);

    // A calendar set back, even to 1970, does not stop it: the next file is taken, ahead of the clock and so held.
    watch.clock.set_calendar(Time::parse("1970-01-01T00:00:00Z").unwrap());
    watch.drop_in("second.csv", &readings("2026-05-01"));
    let held = watch.hear(|notice| match notice {
        Notice::File { end: FileEnd::Taken { new, held, .. }, .. } => Some((*new, *held)),
        _ => None,
    });
    assert_eq!(held.await, (2, 2));
    watch.stop().await;
}

async fn watch_overdue(watch: &mut Watch) -> String {
    watch.hear(alert(Kind::ReadingOverdue, Transition::Raised)).await
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_year_passes_in_a_moment() {
    let mut watch = Watch::start("2026-01-05T10:00:00Z");
    let mut entries = 0;
    for week in 0..52 {
        let day = Time::parse("2026-01-05T10:00:00Z").unwrap().plus(twinwhite::units::Days(7.0 * f64::from(week)));
        watch.drop_in(&format!("week-{week}.csv"), &readings(&day.to_string()[..10]));
        entries += watch.hear(taken).await;
        watch.clock.advance(7 * DAY);
    }
    assert_eq!(entries, 104);
    let archived = count_files(&watch.folder.path().join("archive"));
    assert_eq!(archived, 52);
    watch.stop().await;
}

fn count_files(folder: &Path) -> usize {
    fs::read_dir(folder)
        .unwrap()
        .flatten()
        .map(|entry| if entry.path().is_dir() { count_files(&entry.path()) } else { 1 })
        .sum()
}
