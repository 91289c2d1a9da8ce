//! Ten thousand sign-offs and readings from eight hands at once: is anything lost, is the numbering without a gap, and how long does
//! one sign-off take, alone, in the crowd, and beside one who takes in large files without rest?
//!
//! Half of it are sign-offs. Each hand has a connection of its own; every write is synced. Run with `cargo bench --bench crowd [COUNT]`; the time of a
//! sign-off alone should stay under 50 ms, and nobody should wait for 10 s in vain.

mod measure;

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::time::Duration;

use measure::{Outcome, median, ratio, timed};
use twinwhite::clock::{Clock, SystemClock};
use twinwhite::config::{Config, find};
use twinwhite::ledger::entry::CameBy;
use twinwhite::ledger::{Body, Ledger, OpenMode, Seq, verify};
use twinwhite::pipeline::{Incoming, Taken, take};
use twinwhite::sign_off::{Request, sign};
use twinwhite::units::{Days, Time};

const HANDS: usize = 8;
static TOLD_TO_TRY_AGAIN: AtomicUsize = AtomicUsize::new(0);
const SITE: &str = r#"
[site]
name = "Crowd"
timezone = "Europe/Lisbon"
[paths]
inbox = "inbox"
state = "state"
[[display]]
id = "screen"
aim = { white = "D50", luminance_cd_m2 = 143 }
[[lamp]]
id = "lamp"
kind = "led"
aim = { white = "D50", illuminance_lx = 500 }
[[paper]]
id = "grey"
white = { reflectance_factor = 0.9 }
[[station]]
id = "desk"
display = "screen"
lamp = "lamp"
paper = "grey"
tolerance = { delta_uv = 0.006, luminance_ratio = 1.3 }
"#;

fn main() -> Outcome<()> {
    let asked = std::env::args().skip(1).find_map(|word| word.parse().ok());
    let count: usize = asked.unwrap_or(10_000);
    let clock = SystemClock::new();
    let room = tempfile::tempdir()?;
    fs::write(room.path().join("twinwhite.toml"), SITE)?;
    let config = find::load(&room.path().join("twinwhite.toml"))?;
    let path = config.paths.state.join("ledger.db");
    let mut ledger = Ledger::open(&path, &config.site.id, OpenMode::Create)?;
    let now = clock.now();
    ledger.found(now, "bench", None)?;
    let weeks: String = (0..20).map(|week| rows(now.plus(Days(f64::from(week) * 7.0 - 134.0)), week)).collect();
    reading(&mut ledger, &config, "weeks.csv", &weeks, now)?;

    let mut alone = (0..50).map(|n| timed(&clock, || signed(&mut ledger, &config, &format!("alone {n}"), &clock)));
    let mut alone = alone.by_ref().collect::<Outcome<Vec<Duration>>>()?;
    let single = median(&mut alone);
    println!(
        "a sign-off alone: median {single:.1?}, slowest {:.1?} (target: under 50 ms)",
        alone.last().copied().unwrap_or_default()
    );

    let before = ledger.head()?.size;
    let mut each = Vec::new();
    let all = timed(&clock, || {
        let done: Vec<Result<Vec<Duration>, String>> = std::thread::scope(|scope| {
            let hands: Vec<_> = (0..HANDS)
                .map(|hand| {
                    let (config, path) = (&config, &path);
                    scope.spawn(move || work(hand, count / HANDS, config, path).map_err(|bad| bad.to_string()))
                })
                .collect();
            hands.into_iter().map(|hand| hand.join().unwrap_or_else(|_| Err("a hand panicked".to_owned()))).collect()
        });
        for hand in done {
            each.extend(hand?);
        }
        Ok(())
    })?;
    let middle = median(&mut each);
    println!(
        "{count} from {HANDS} hands: {all:.1?}; a sign-off among them: median {middle:.1?} ({:.1} times one alone), slowest {:.1?}",
        ratio(middle, single),
        each.last().copied().unwrap_or_default()
    );
    println!("{} times somebody had waited for 10 s and tried again", TOLD_TO_TRY_AGAIN.load(Ordering::Relaxed));
    counted(&ledger, before, count)?;
    beside_a_restless_one(&mut ledger, &config, &path, &clock)
}

/// One hand takes in large files without rest, which keeps the ledger locked nearly always; another signs off now and then.
fn beside_a_restless_one(ledger: &mut Ledger, config: &Config, path: &Path, clock: &SystemClock) -> Outcome<()> {
    const SIGN_OFFS: usize = 20;
    let (told, done) = (TOLD_TO_TRY_AGAIN.load(Ordering::Relaxed), AtomicBool::new(false));
    let (mut each, files) = std::thread::scope(|scope| {
        let restless = scope.spawn(|| restless(config, path, clock, &done).map_err(|bad| bad.to_string()));
        let mut each = Vec::new();
        for n in 0..SIGN_OFFS {
            std::thread::sleep(Duration::from_millis(50));
            let job = format!("beside {n}");
            each.push(timed(clock, || again(|| signed(ledger, config, &job, clock))));
        }
        done.store(true, Ordering::Relaxed);
        let each = each.into_iter().collect::<Outcome<Vec<Duration>>>()?;
        Ok::<_, Box<dyn std::error::Error>>((each, restless.join().map_err(|_| "the restless hand panicked")??))
    })?;
    let middle = median(&mut each);
    println!(
        "{SIGN_OFFS} sign-offs beside one that took in {files} large files without rest: median {middle:.1?}, slowest {:.1?}; {} times told to try again",
        each.last().copied().unwrap_or_default(),
        TOLD_TO_TRY_AGAIN.load(Ordering::Relaxed) - told
    );
    Ok(())
}

fn restless(config: &Config, path: &Path, clock: &SystemClock, done: &AtomicBool) -> Outcome<usize> {
    let mut ledger = Ledger::open(path, &config.site.id, OpenMode::Existing)?;
    let mut files = 0;
    while !done.load(Ordering::Relaxed) {
        let first = clock.now().plus(Days(-900.0 + files as f64));
        let lines: String = (0..400).map(|n| lamp(first.plus(Days(f64::from(n) / 500.0)), 1)).collect();
        again(|| reading(&mut ledger, config, &format!("large-{files}.csv"), &lines, clock.now()))?;
        files += 1;
    }
    Ok(files)
}

fn work(hand: usize, count: usize, config: &Config, path: &Path) -> Outcome<Vec<Duration>> {
    let clock = SystemClock::new();
    let mut ledger = Ledger::open(path, &config.site.id, OpenMode::Existing)?;
    let mut took = Vec::new();
    for n in 0..count {
        if n % 2 == 0 {
            let job = format!("job {hand}-{n}");
            took.push(timed(&clock, || again(|| signed(&mut ledger, config, &job, &clock)))?);
        } else {
            let time = clock.now().plus(Days(-0.5 + (hand * 100_000 + n) as f64 / 2e6));
            let (name, row) = (format!("hand-{hand}-{n}.csv"), lamp(time, n % 3));
            again(|| reading(&mut ledger, config, &name, &row, clock.now()))?;
        }
    }
    Ok(took)
}

/// Does it again where somebody waited for ten seconds in vain, as they are told to. What was refused so left nothing behind;
/// [`counted`] would see it.
fn again(mut act: impl FnMut() -> Outcome<()>) -> Outcome<()> {
    loop {
        match act() {
            Err(error) if error.to_string().contains("try again") => {
                TOLD_TO_TRY_AGAIN.fetch_add(1, Ordering::Relaxed);
            }
            other => return other,
        }
    }
}

/// Nothing is lost and nothing is twice: each job once, each file once, numbers without a gap, heads that hold.
fn counted(ledger: &Ledger, before: i64, count: usize) -> Outcome<()> {
    let (mut jobs, mut files, mut next) = (BTreeSet::new(), BTreeSet::new(), before + 1);
    let mut from = Seq::new(next).ok_or("no number")?;
    loop {
        let part = ledger.entries(from, 1000)?;
        let Some(last) = part.last() else { break };
        from = last.seq.next();
        for entry in part {
            if entry.seq.get() != next {
                return Err(format!("entry {next} is missing").into());
            }
            next += 1;
            let new = match entry.body {
                Body::SignOff(signed) => jobs.insert(signed.job),
                Body::File(file) => files.insert(file.name),
                _ => true,
            };
            if !new {
                return Err(format!("entry {} is there twice", entry.seq).into());
            }
        }
    }
    let found = verify(ledger, &[])?;
    let (jobs, files) = (jobs.len(), files.len());
    println!(
        "{jobs} sign-offs and {files} files of {count} are there, numbers to {} without a gap, {} signed heads; sound: {}",
        next - 1,
        found.signed_heads,
        found.ok
    );
    if jobs + files == count / HANDS * HANDS && found.ok { Ok(()) } else { Err("something was lost".into()) }
}

fn signed(ledger: &mut Ledger, config: &Config, job: &str, clock: &SystemClock) -> Outcome<()> {
    let station = config.things.stations.first().ok_or("no station")?;
    let request = Request {
        station,
        job,
        file: None,
        operator: None,
        over: Some("the bench signs all the same"),
        files_waiting: 0,
    };
    sign(ledger, config, &request, clock.now())?;
    Ok(())
}

fn reading(ledger: &mut Ledger, config: &Config, name: &str, rows: &str, now: Time) -> Outcome<()> {
    let text = format!("time,device,x,y,luminance_cd_m2,illuminance_lx\n{rows}");
    let incoming = Incoming { name, bytes: text.as_bytes(), folder_device: None, from: CameBy::Ingest, operator: None };
    match take(ledger, config, &incoming, now)? {
        Taken::Accepted(_) => Ok(()),
        other => Err(format!("not accepted: {other:?}").into()),
    }
}

fn rows(time: Time, week: i32) -> String {
    lamp(time, usize::try_from(week % 3).unwrap_or(0)) + &format!("{time},screen,0.3457,0.3585,{},\n", 143 + week % 2)
}

fn lamp(time: Time, wobble: usize) -> String {
    format!("{time},lamp,0.3457,0.3585,,{}\n", 499 + wobble)
}
