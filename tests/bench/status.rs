//! What `status` costs as a cold process, beside the `sqlite3` shell that fetches one indexed row from the same file.
//!
//! Two stores stand ready, of ten thousand and of a million readings, each with its writer still open, as beside a running
//! daemon. All processes are started in turn, the program from a copy, as an installed one is (what a linker has just
//! written lies in smaller pieces in the page cache, and each start pays for that); medians. The split: process start is `--version`, reading and computing are
//! timed by calling the library.
//!
//! Run with `cargo bench --bench status`. The stores are kept in the target folder for a week; the large one takes minutes.

mod measure;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

use measure::{Outcome, median, ratio, timed};
use twinwhite::clock::{Clock, SystemClock};
use twinwhite::config::{Config, find};
use twinwhite::evaluate::Estimates;
use twinwhite::ledger::entry::CameBy;
use twinwhite::ledger::{Ledger, LedgerError, OpenMode};
use twinwhite::pipeline::{Incoming, Taken, come_into_force, take};
use twinwhite::units::Time;

const PROGRAM: &str = env!("CARGO_BIN_EXE_twinwhite");
const SITE: &str = include_str!("../../config/photographer.toml");
const FILE: i64 = 10_000;
const ROUNDS: usize = 101;
const WEEK: Duration = Duration::from_secs(7 * 86_400);

/// One store, with its writer.
struct Room {
    folder: PathBuf,
    config: Config,
    ledger: Ledger,
}

fn main() -> Outcome<()> {
    let clock = SystemClock::new();
    fs::copy(PROGRAM, copy())?;
    let few = Room::of(10_000, &clock)?;
    let many = Room::of(1_000_000, &clock)?;
    let shell =
        Command::new("sqlite3").arg("-version").stdout(Stdio::null()).status().is_ok_and(|status| status.success());
    if !shell {
        println!("skipped: there is no `sqlite3` to compare with");
        return Ok(());
    }
    let row = many.newest()?;
    let query = format!("SELECT u, v, ln_level FROM reading WHERE device = 'loft-lamp' AND time_us = {row}");
    let ledger = many.folder.join("state/ledger.db");
    let mut sqlite3 = Command::new("sqlite3");
    sqlite3.arg(&ledger).arg(&query);
    let mut calls = [
        ("true", Command::new("true")),
        ("twinwhite --version", twinwhite(&many, &["--version"])),
        ("sqlite3, one row of a million", sqlite3),
        ("status, a million", twinwhite(&many, &["status"])),
        ("status, ten thousand", twinwhite(&few, &["status"])),
        ("forecast, a million", twinwhite(&many, &["forecast", "desk"])),
    ];
    let mut times: [Vec<Duration>; 6] = Default::default();
    for (name, call) in &mut calls {
        if call.output()?.stdout.is_empty() && *name != "true" {
            return Err(format!("{name} answered nothing").into());
        }
        call.stdout(Stdio::null());
    }
    for _ in 0..ROUNDS {
        for ((name, call), times) in calls.iter_mut().zip(&mut times) {
            times.push(timed(&clock, || {
                if call.status()?.success() { Ok(()) } else { Err(format!("{name} failed").into()) }
            })?);
        }
    }
    let medians = times.map(|mut times| median(&mut times));
    for ((name, _), time) in calls.iter().zip(medians) {
        println!("{name:<30} {time:>8.2?}");
    }
    let [_, _, sqlite3, status, small, _] = medians;
    println!("status with a million readings: ratio to sqlite3 {:.2} (at most 1.5)", ratio(status, sqlite3));
    println!("and to itself with ten thousand {:.2} (at most 1.1)", ratio(status, small));
    split(&many, &clock)
}

fn copy() -> PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join("twinwhite")
}

fn twinwhite(room: &Room, arguments: &[&str]) -> Command {
    let mut command = Command::new(copy());
    command.arg("--config").arg(room.folder.join("twinwhite.toml")).args(arguments);
    command
}

/// What happens inside, with nothing cold but the connection.
fn split(room: &Room, clock: &SystemClock) -> Outcome<()> {
    let mut times: [Vec<Duration>; 4] = Default::default();
    let path = room.folder.join("state/ledger.db");
    let now = clock.now();
    for _ in 0..ROUNDS {
        let mut begun = clock.monotonic();
        let mut lap = |place: usize| {
            times[place].push(clock.monotonic() - begun);
            begun = clock.monotonic();
        };
        let config = find::load(&room.folder.join("twinwhite.toml"))?;
        lap(0);
        let mut ledger = Ledger::open(&path, &config.site.id, OpenMode::ReadOnly)?;
        lap(1);
        let station = config.things.stations.first().ok_or("no station")?;
        ledger.read(|store| -> Result<(), LedgerError> {
            let mut estimates = Estimates::new(store, &config, now);
            estimates.read_station(station)?;
            lap(2);
            std::hint::black_box(estimates.judge(&estimates.seen(station)?)?);
            lap(3);
            Ok(())
        })?;
    }
    let [config, open, read, compute] = times.map(|mut times| median(&mut times));
    println!("split: configuration {config:.2?}, opening {open:.2?}, reading {read:.2?}, computing {compute:.2?}");
    Ok(())
}

impl Room {
    fn of(readings: i64, clock: &SystemClock) -> Outcome<Self> {
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("status-{readings}"));
        let file = folder.join("twinwhite.toml");
        let whole = folder.join("whole");
        let age = fs::metadata(&whole).and_then(|found| found.modified()).ok().and_then(|at| at.elapsed().ok());
        let fresh = age.is_some_and(|age| age < WEEK);
        if !fresh {
            let _ = fs::remove_dir_all(&folder);
            fs::create_dir_all(folder.join("inbox"))?;
            fs::write(&file, SITE)?;
        }
        let config = find::load(&file)?;
        let mut ledger = Ledger::open(&folder.join("state/ledger.db"), &config.site.id, OpenMode::Create)?;
        if !fresh {
            ledger.found(clock.now(), "bench", None)?;
            fill(&mut ledger, &config, readings, clock.now())?;
            fs::write(whole, "")?;
        }
        // What another build left void is made anew here and not by `status`.
        ledger.write(clock.now(), |tx| {
            come_into_force(tx, &config)?;
            twinwhite::estimates::refresh_void(tx, &config.things)
        })?;
        Ok(Self { folder, config, ledger })
    }

    fn newest(&self) -> Outcome<i64> {
        let lamp = &self.config.things.lamps.first().ok_or("no lamp")?.id;
        let rows = self.ledger.last_readings(lamp, Time::from_micros(i64::MAX), 1)?;
        Ok(rows.first().ok_or("no reading")?.time.micros())
    }
}

/// Two years of a screen and a lamp, up to `now`.
fn fill(ledger: &mut Ledger, config: &Config, readings: i64, now: Time) -> Outcome<()> {
    let step = 2 * 365 * 86_400_000_000 / readings;
    for from in (0..readings).step_by(FILE as usize) {
        let mut text = String::from("device,time,x,y,luminance_cd_m2,illuminance_lx,instrument\n");
        for n in from..(from + FILE).min(readings) {
            let time = Time::from_micros(now.micros() - (readings - n) * step);
            let scatter = ((n as f64 * 0.618_033_988_749_895).fract() - 0.5) * 0.0006;
            let row = match n % 2 {
                0 => format!("loft-screen,{time},{:.5},{:.5},146.1,,spectro-1\n", 0.3435 + scatter, 0.3550 - scatter),
                _ => format!("loft-lamp,{time},{:.5},{:.5},,501.5,spectro-1\n", 0.3457 + scatter, 0.3585 - scatter),
            };
            text.push_str(&row);
        }
        let name = format!("{from}.csv");
        let incoming =
            Incoming { name: &name, bytes: text.as_bytes(), folder_device: None, from: CameBy::Ingest, operator: None };
        match take(ledger, config, &incoming, now)? {
            Taken::Accepted(_) => {}
            other => return Err(format!("not accepted: {other:?}").chars().take(600).collect::<String>().into()),
        }
    }
    Ok(())
}
