//! How fast the model goes: one reading, one station's forecast, ten years of a print room.
//!
//! - absorb: what one reading costs a device's state, beside 10 to 100 000 that are there already, against as many bare
//!   filters carried and given a number as the state's banks hold.
//! - forecast: `forecast` of one station as a cold process, of a station that holds and of one at risk, less the start of
//!   the process (`--version`); all processes in turn, from a copy, as medians and by processor time.
//! - decade: `rebuild` of ten years of 40 stations as a process, 292 000 readings and their events, against as many raw rows
//!   of 500 bytes read and written in one transaction.
//!
//! Run with `cargo bench --bench pace [absorb] [forecast] [decade]`. The store of ten years is kept in the target folder for
//! a week; making it takes a minute. What must be reached is named in each line; the machine's load stands before it, and beside
//! other work the processor's time says more than the clock.

mod measure;
mod raw;

use std::fmt::Write;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::time::Duration;

use measure::{Outcome, median, ratio, timed};
use raw::{open_raw, raw_rows};
use twinwhite::clock::{Clock, SystemClock};
use twinwhite::config::{Config, find};
use twinwhite::drift::dynamics::{SEEN, Span, Strength};
use twinwhite::drift::filter::Filter;
use twinwhite::drift::matrix::Matrix;
use twinwhite::drift::{DeviceState, Observation, Params, Thing};
use twinwhite::ledger::entry::CameBy;
use twinwhite::ledger::{Ledger, OpenMode};
use twinwhite::pipeline::{Incoming, Taken, take};
use twinwhite::simulate::Chance;
use twinwhite::site::{LampKind, Noise};
use twinwhite::units::{Days, Time, UvPrime};

const PROGRAM: &str = env!("CARGO_BIN_EXE_twinwhite");
const STATIONS: usize = 40;
const DAYS: u32 = 3650;
const READINGS: i64 = 2 * STATIONS as i64 * DAYS as i64;
/// Cold processes are started in so many turns, each so often.
const TURNS: usize = 5;
const STARTS: usize = 20;
const WEEK: Duration = Duration::from_secs(7 * 86_400);

fn main() -> Outcome<()> {
    let clock = SystemClock::new();
    let named: Vec<String> = std::env::args().skip(1).filter(|word| !word.starts_with('-')).collect();
    let wanted = |name: &str| named.is_empty() || named.iter().any(|word| word == name);
    load();
    if wanted("absorb") {
        absorb(&clock)?;
    }
    if !wanted("forecast") && !wanted("decade") {
        return Ok(());
    }
    fs::copy(PROGRAM, copy())?;
    let folder = room(&clock)?;
    if wanted("forecast") {
        load();
        forecast(&folder, &clock)?;
    }
    if wanted("decade") {
        load();
        decade(&folder, &clock)?;
    }
    Ok(())
}

/// How many processes want the processor, where the system tells.
fn load() {
    let told = fs::read_to_string("/proc/loadavg").unwrap_or_default();
    println!("load {}", told.split(' ').next().unwrap_or("not told"));
}

/// Processor time of this thread; zero where the system does not tell.
fn own_processor() -> Duration {
    let told = fs::read_to_string("/proc/thread-self/schedstat").ok();
    let nanos = told.and_then(|text| text.split(' ').next().and_then(|first| first.parse().ok()));
    Duration::from_nanos(nanos.unwrap_or(0))
}

/// Processor time of all processes started and ended so far, to a hundredth of a second; zero where the system does not tell.
fn processes() -> Duration {
    let told = fs::read_to_string("/proc/self/stat").unwrap_or_default();
    // After the name in brackets: state, then numbers; user and system time of the children are the 16th and 17th of all.
    let after = told.rsplit(')').next().unwrap_or_default();
    let ticks: u64 = after.split_whitespace().skip(13).take(2).filter_map(|field| field.parse::<u64>().ok()).sum();
    Duration::from_millis(10 * ticks)
}

fn absorb(clock: &SystemClock) -> Outcome<()> {
    const EACH: usize = 2000;
    /// Filters of one state: a grid of 36 for each of three channels.
    const FILTERS: usize = 108;
    let params = Params {
        thing: Thing::Lamp(LampKind::Led),
        aim_white: Some(UvPrime { u: 0.2092, v: 0.4881 }),
        aim_ln_level: Some(libm::log(500.0)),
        warm_up_min: 30.0,
    };
    let mut chance = Chance::new(1);
    let mut state = DeviceState::new(&params);
    let mut next = 0i64;
    let mut reading = |n: i64| Observation {
        seq: n,
        time: Time::from_micros(1_400_000_000_000_000).plus(Days(n as f64 / 24.0)),
        white: UvPrime { u: 0.2092 + 5e-4 * chance.normal(), v: 0.4881 + 5e-4 * chance.normal() },
        extra_cov: [0.0; 3],
        ln_level: Some(libm::log(500.0) + 0.01 * chance.normal()),
        extra_ln: 0.0,
        noise: Noise { uv: 5e-4, level: 0.01 },
        warmup_min: None,
        hours: None,
        setting: None,
        label: false,
        instrument: None,
        apart: None,
        released: false,
    };
    for history in [10, 100, 1000, 10_000, 100_000] {
        while next < history {
            state.absorb(&params, &reading(next));
            next += 1;
        }
        let readings: Vec<Observation> = (next..next + EACH as i64).map(&mut reading).collect();
        let (mut ours, mut processor, mut raws) = (Vec::new(), Vec::new(), Vec::new());
        for _ in 0..5 {
            let mut state = state.clone();
            let begun = own_processor();
            ours.push(timed(clock, || {
                readings.iter().for_each(|one| drop(std::hint::black_box(state.absorb(&params, one))));
                Ok(())
            })?);
            processor.push(own_processor() - begun);
            let begun = own_processor();
            std::hint::black_box(bare_filters(FILTERS, EACH));
            raws.push(own_processor() - begun);
        }
        let [ours, processor, raw] = [ours, processor, raws].map(|mut times| median(&mut times));
        println!(
            "one reading beside {history}: {:.2?}, of the processor {:.2?} (at most 20 µs), ratio to {FILTERS} bare filters {:.2}",
            ours / EACH as u32,
            processor / EACH as u32,
            ratio(processor, raw)
        );
    }
    Ok(())
}

/// `rounds` numbers given to each of `filters`, each carried to it first.
fn bare_filters(filters: usize, rounds: usize) -> f64 {
    let strength = Strength { slope_change: 1e-12, wander: 4e-6, settling: 0.0 };
    let span = Span { ageing: 1.0, calendar: 1.0, settling: 0.0 };
    let mut bank = vec![Filter { mean: [0.2, 0.0, 0.0], cov: Matrix::diagonal([1e-4, 1e-10, 4e-6]) }; filters];
    let mut sum = 0.0;
    for round in 0..rounds {
        let (f, q) = (span.transition(), span.noise(&strength, span.wander_left()));
        for filter in &mut bank {
            let (next, innovation) = filter.predict(&f, &q).update(&SEEN, 1e-6, 0.2 + 1e-4 * (round % 7) as f64);
            *filter = next;
            sum += innovation.log_likelihood;
        }
    }
    std::hint::black_box(sum)
}

fn copy() -> PathBuf {
    Path::new(env!("CARGO_TARGET_TMPDIR")).join("twinwhite-pace")
}

fn twinwhite(folder: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(copy());
    command.arg("--config").arg(folder.join("twinwhite.toml")).args(arguments).stdout(Stdio::null());
    command
}

fn forecast(folder: &Path, clock: &SystemClock) -> Outcome<()> {
    let mut calls = [
        ("--version", twinwhite(folder, &["--version"])),
        ("forecast, holds", twinwhite(folder, &["forecast", "place-00"])),
        ("forecast, at risk", twinwhite(folder, &["forecast", "place-01"])),
        ("forecast --json, at risk", twinwhite(folder, &["forecast", "place-01", "--json"])),
        ("status, 40 stations", twinwhite(folder, &["status"])),
    ];
    let mut times: [Vec<Duration>; 5] = Default::default();
    let mut processor = [Duration::ZERO; 5];
    for _ in 0..TURNS {
        for (((name, call), times), processor) in calls.iter_mut().zip(&mut times).zip(&mut processor) {
            let begun = processes();
            for _ in 0..STARTS {
                let mut start = || if call.status()?.success() { Ok(()) } else { Err(format!("{name} failed").into()) };
                times.push(timed(clock, &mut start)?);
            }
            *processor += processes() - begun;
        }
    }
    let [start, rest @ ..] = times.map(|mut times| median(&mut times));
    let [start_of, rest_of @ ..] = processor.map(|all| all / (TURNS * STARTS) as u32);
    println!("process start {start:.2?}, of the processor {start_of:.2?}");
    for (((name, _), time), of) in calls.iter().skip(1).zip(rest).zip(rest_of) {
        let most = if name.starts_with("forecast") { " (at most 5 ms)" } else { "" };
        println!(
            "{name}: {time:.2?}; beyond process start {:.2?}, of the processor {:.2?}{most}",
            time.saturating_sub(start),
            of.saturating_sub(start_of)
        );
    }
    Ok(())
}

fn decade(folder: &Path, clock: &SystemClock) -> Outcome<()> {
    let digests = |folder: &Path| -> Outcome<_> {
        let config = find::load(&folder.join("twinwhite.toml"))?;
        let mut ledger = Ledger::open(&folder.join("state/ledger.db"), &config.site.id, OpenMode::ReadOnly)?;
        Ok(ledger.read(|store| store.projection_digests())?)
    };
    let raw = tempfile::tempdir_in(env!("CARGO_TARGET_TMPDIR"))?;
    let mut conn = open_raw(&raw.path().join("raw.db"))?;
    raw_rows(&mut conn, 0, READINGS)?;
    let by_raw = timed(clock, || {
        conn.execute_batch(
            "BEGIN IMMEDIATE; CREATE TABLE again (id INTEGER PRIMARY KEY, device TEXT NOT NULL, time INTEGER NOT NULL, body \
             BLOB NOT NULL) STRICT; CREATE INDEX again_time ON again (device, time); INSERT INTO again SELECT * FROM raw; COMMIT",
        )?;
        Ok(())
    })?;
    let before = digests(folder)?;
    let begun = processes();
    let ours = timed(clock, || {
        let status = twinwhite(folder, &["rebuild"]).stderr(Stdio::null()).status()?;
        if status.success() { Ok(()) } else { Err("rebuild failed".into()) }
    })?;
    let processor = processes() - begun;
    let after = digests(folder)?;
    println!(
        "rebuild of {READINGS} readings: {ours:.2?}, of the processor {processor:.2?} (at most 10 s), ratio to raw rows {:.1}; projections {}",
        ratio(ours, by_raw),
        if before == after { "as before, to the byte" } else { "DIFFER from before" }
    );
    Ok(())
}

fn site() -> Outcome<String> {
    let mut text = String::from(
        "[site]\nname = \"Ten years\"\ntimezone = \"Europe/Lisbon\"\n[paths]\ninbox = \"inbox\"\nstate = \"state\"\n\
         [[instrument]]\nid = \"house\"\nkind = \"spectrometer\"\nnoise = { uv = 0.0005, luminance_pct = 1.0 }\n\
         bias = { uv = 0.001, luminance_pct = 2.0, common = 0.8 }\n\
         [[paper]]\nid = \"rag\"\nwhite = { L = 96.8, a = 0.6, b = -1.9 }\n",
    );
    for n in 0..STATIONS {
        let kind = ["led", "fluorescent", "halogen"][n % 3];
        writeln!(
            text,
            "[[display]]\nid = \"screen-{n:02}\"\naim = {{ white = {{ x = 0.3435, y = 0.3550 }}, luminance_cd_m2 = 146 }}\n\
             [[lamp]]\nid = \"lamp-{n:02}\"\nkind = \"{kind}\"\nadjustable = [\"level\"]\n\
             aim = {{ white = \"D50\", illuminance_lx = 500 }}\n\
             [[station]]\nid = \"place-{n:02}\"\ndisplay = \"screen-{n:02}\"\nlamp = \"lamp-{n:02}\"\npaper = \"rag\"\n\
             tolerance = {{ delta_uv = 0.005, luminance_ratio = 1.2 }}"
        )?;
    }
    Ok(text)
}

/// Ten years of readings once a day, up to now: each device ages and wanders, a screen is recalibrated each quarter, a lamp
/// replaced each two and a half years. The second station's screen ends near its limit.
fn room(clock: &SystemClock) -> Outcome<PathBuf> {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("decade");
    let whole = folder.join("whole");
    let age = fs::metadata(&whole).and_then(|found| found.modified()).ok().and_then(|at| at.elapsed().ok());
    if age.is_some_and(|age| age < WEEK) {
        refresh(&folder, clock)?;
        return Ok(folder);
    }
    let _ = fs::remove_dir_all(&folder);
    fs::create_dir_all(folder.join("inbox"))?;
    fs::write(folder.join("twinwhite.toml"), site()?)?;
    let config = find::load(&folder.join("twinwhite.toml"))?;
    let now = clock.now();
    let mut ledger = Ledger::open(&folder.join("state/ledger.db"), &config.site.id, OpenMode::Create)?;
    ledger.found(now, "bench", None)?;
    let mut chance = Chance::new(2026);
    let mut wander = vec![[0.0f64; 3]; 2 * STATIONS];
    let took = timed(clock, || {
        for from in (0..DAYS).step_by(125) {
            let (mut readings, mut events) = (
                String::from("device,time,u_prime,v_prime,luminance_cd_m2,illuminance_lx,instrument\n"),
                String::from("device,time,event\n"),
            );
            for day in from..(from + 125).min(DAYS) {
                for (thing, wander) in wander.iter_mut().enumerate() {
                    row(&mut readings, &mut events, thing, day, wander, now, &mut chance)?;
                }
            }
            for (name, text) in [("events", &events), ("readings", &readings)] {
                if text.lines().count() > 1 {
                    taken(&mut ledger, &config, &format!("{name}-{from}.csv"), text, now)?;
                }
            }
        }
        Ok(())
    })?;
    println!("taking in ten years: {took:.1?}, {:.0?} a reading", took / READINGS as u32);
    fs::write(whole, "")?;
    Ok(folder)
}

/// What another build left void is made anew here, not by `forecast`.
fn refresh(folder: &Path, clock: &SystemClock) -> Outcome<()> {
    let config = find::load(&folder.join("twinwhite.toml"))?;
    let mut ledger = Ledger::open(&folder.join("state/ledger.db"), &config.site.id, OpenMode::Existing)?;
    Ok(ledger.write(clock.now(), |tx| twinwhite::estimates::refresh_void(tx, &config.things))?)
}

fn row(
    readings: &mut String,
    events: &mut String,
    thing: usize,
    day: u32,
    wander: &mut [f64; 3],
    now: Time,
    chance: &mut Chance,
) -> Outcome<()> {
    let (place, lamp) = (thing / 2, thing % 2 == 1);
    let time = Time::from_micros(now.micros() / 1_000_000 * 1_000_000)
        .plus(Days(f64::from(day) - f64::from(DAYS) + 0.9 + thing as f64 / 1000.0));
    let every = if lamp { 912 } else { 91 };
    let since = (day + 13 * place as u32) % every;
    let name = if lamp { format!("lamp-{place:02}") } else { format!("screen-{place:02}") };
    if since == 0 && day > 0 {
        let event = if lamp { "replaced" } else { "recalibrated" };
        writeln!(events, "{name},{},{event}", time.plus(Days(-0.01)))?;
        *wander = [0.0; 3];
    }
    let sizes = [4e-4, 4e-4, 4e-3];
    for (wander, size) in wander.iter_mut().zip(sizes) {
        *wander = 0.967 * *wander + 0.25 * size * chance.normal();
    }
    let drift = if place == 1 && !lamp { 0.0046 * f64::from(day) / f64::from(DAYS) } else { 0.0 };
    let level = wander[2] - 8e-5 * f64::from(since) + 0.01 * chance.normal();
    let (u, v, level) = match lamp {
        false => (0.20904, 0.48608, format!("{:.2},", 146.0 * libm::exp(level))),
        true => (0.2092, 0.4881, format!(",{:.2}", 500.0 * libm::exp(level))),
    };
    let (u, v) = (u + drift + wander[0] + 5e-4 * chance.normal(), v + wander[1] + 5e-4 * chance.normal());
    writeln!(readings, "{name},{time},{u:.5},{v:.5},{level},house")?;
    Ok(())
}

fn taken(ledger: &mut Ledger, config: &Config, name: &str, text: &str, now: Time) -> Outcome<()> {
    let incoming = Incoming { name, bytes: text.as_bytes(), folder_device: None, from: CameBy::Ingest, operator: None };
    match take(ledger, config, &incoming, now)? {
        Taken::Accepted(_) => Ok(()),
        other => Err(format!("not accepted: {other:?}").chars().take(600).collect::<String>().into()),
    }
}
