//! What taking files in costs beside raw rusqlite, both in the same run and in turn, as medians and their ratio.
//!
//! - many: a CSV of 10 000 rows, from its bytes to the commit, against 10 000 rows of 500 bytes raw. Bringing the
//!   estimates up to date is done once more by itself and taken off.
//! - drift: what bringing the estimates up to date costs a reading beside 100, 10 000 and 100 000 that are there already:
//!   newer ones, and ones that come late among the last hundred.
//! - one: a file of one reading, from its bytes to the commit, against one raw row, each in a synced transaction.
//!
//! Run with `cargo bench --bench intake [many] [drift] [one]`.

mod measure;
mod raw;

use std::fmt::Write;
use std::path::Path;
use std::time::Duration;

use measure::{Outcome, median, ratio, timed};
use raw::{open_raw, raw_rows};
use twinwhite::clock::{Clock, SystemClock};
use twinwhite::config::Config;
use twinwhite::estimates;
use twinwhite::evaluate::append;
use twinwhite::ledger::entry::{Body, CameBy, ReadingTaken};
use twinwhite::ledger::{Ledger, OpenMode};
use twinwhite::pipeline::{Incoming, Taken, take};
use twinwhite::project::Stirred;
use twinwhite::reading::{Circumstances, ColourSet, Level, Reading};
use twinwhite::units::{DeviceId, Illuminance, InstrumentId, Time, Xy};

const SITE: &str = include_str!("../../config/print-room.toml");
const MANY: i64 = 10_000;
const START: &str = "2025-01-01T00:00:00Z";
const MINUTE: i64 = 60_000_000;

fn main() -> Outcome<()> {
    let clock = SystemClock::new();
    let named: Vec<String> = std::env::args().skip(1).filter(|word| !word.starts_with('-')).collect();
    let wanted = |name: &str| named.is_empty() || named.iter().any(|word| word == name);
    if wanted("many") {
        many(&clock)?;
    }
    if wanted("drift") {
        drift(&clock)?;
    }
    if wanted("one") {
        one(&clock)?;
    }
    Ok(())
}

/// Processor time of this thread, to the tick; zero where the system does not tell. Beside other work it says more than the clock.
fn processor() -> Duration {
    let told = std::fs::read_to_string("/proc/thread-self/schedstat").ok();
    let nanos = told.and_then(|text| text.split(' ').next().and_then(|first| first.parse().ok()));
    Duration::from_nanos(nanos.unwrap_or(0))
}

fn config(folder: &Path) -> Outcome<Config> {
    Config::parse(SITE, "print-room.toml", folder).map_err(|mistakes| mistakes.to_string().into())
}

fn open(folder: &Path, config: &Config) -> Outcome<Ledger> {
    let mut ledger = Ledger::open(&folder.join("ledger.db"), &config.site.id, OpenMode::Create)?;
    ledger.found(start(0)?, "bench", None)?;
    Ok(ledger)
}

fn start(minutes: i64) -> Outcome<Time> {
    Ok(Time::from_micros(Time::parse(START)?.micros() + minutes * MINUTE))
}

/// Rows for the four devices of two stations in turn, 15 minutes apart, with a note that makes their entries as long as the raw rows.
fn csv(from: i64, count: i64) -> Outcome<String> {
    let mut text = String::from("device,time,x,y,luminance_cd_m2,illuminance_lx,instrument,operator,warmup_min,note\n");
    for n in from..from + count {
        let (device, x, y, screen, lamp) = match n % 4 {
            0 => ("bay-screen", 0.3105, 0.3251, "146.2", ""),
            1 => ("bay-lamp", 0.3127, 0.3290, "", "501.5"),
            2 => ("booth-screen", 0.3447, 0.3568, "142.3", ""),
            _ => ("booth-lamp", 0.3457, 0.3585, "", "2003"),
        };
        let scatter = ((n as f64 * 0.618_033_988_749_895).fract() - 0.5) * 0.0006;
        writeln!(
            text,
            "{device},{},{:.5},{:.5},{screen},{lamp},spectro-1,ines,45,\"read at the usual place, blinds shut, after the \
             morning's first proof was taken away; the head sat flat; the second of two readings, the first was not kept\"",
            start(n * 15)?,
            x + scatter,
            y - scatter,
        )?;
    }
    Ok(text)
}

fn taken(ledger: &mut Ledger, config: &Config, text: &str, now: Time) -> Outcome<usize> {
    let incoming = Incoming {
        name: "readings.csv",
        bytes: text.as_bytes(),
        folder_device: None,
        from: CameBy::Inbox,
        operator: None,
    };
    match take(ledger, config, &incoming, now)? {
        Taken::Accepted(receipt) if receipt.duplicates == 0 => Ok(receipt.readings.len()),
        other => Err(format!("not accepted: {other:?}").chars().take(600).collect::<String>().into()),
    }
}

fn many(clock: &SystemClock) -> Outcome<()> {
    let (mut raws, mut alls, mut drifts, mut rests) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let (mut raw_cpu, mut rest_cpu, mut drift_cpu) = (Vec::new(), Vec::new(), Vec::new());
    let text = csv(0, MANY)?;
    for _ in 0..7 {
        let folder = tempfile::tempdir()?;
        let config = config(folder.path())?;
        let mut raw = open_raw(&folder.path().join("raw.db"))?;
        let mut ledger = open(folder.path(), &config)?;
        let now = start(MANY * 15)?;
        let at_first = processor();
        raws.push(timed(clock, || raw_rows(&mut raw, 0, MANY))?);
        let after_raw = processor();
        let all = timed(clock, || taken(&mut ledger, &config, &text, now))?;
        let after_all = processor();
        let stirred = config.things.lamps.iter().map(|l| &l.id).chain(config.things.displays.iter().map(|d| &d.id));
        let stirred: Vec<Stirred> =
            stirred.map(|id| Stirred { device: id.clone(), from: Time::from_micros(0) }).collect();
        let mut drift = Duration::ZERO;
        ledger.write(now, |tx| {
            let begun = clock.monotonic();
            let (_, fates) = estimates::refresh(tx, &config.things, &stirred)?;
            drift = clock.monotonic() - begun;
            assert_eq!(fates.len() as i64, MANY);
            Ok::<_, twinwhite::ledger::LedgerError>(())
        })?;
        let drift_of = processor() - after_all;
        raw_cpu.push(after_raw - at_first);
        drift_cpu.push(drift_of);
        rest_cpu.push((after_all - after_raw).saturating_sub(drift_of));
        alls.push(all);
        drifts.push(drift);
        rests.push(all.saturating_sub(drift));
    }
    let [raw, all, drift, rest] = [raws, alls, drifts, rests].map(|mut times| median(&mut times));
    println!(
        "10 000 rows of CSV to the commit: raw {raw:.1?}, ours {rest:.1?}, ratio {:.2} (at most 3); drift beside it {drift:.1?}, \
         all {all:.1?}; {} bytes a row of CSV",
        ratio(rest, raw),
        text.len() / MANY as usize
    );
    let [raw, rest, drift] = [raw_cpu, rest_cpu, drift_cpu].map(|mut times| median(&mut times));
    println!(
        "  of the processor alone: raw {raw:.1?}, ours {rest:.1?}, ratio {:.2}; drift {drift:.1?}",
        ratio(rest, raw)
    );
    Ok(())
}

fn lamp_reading(time: Time, n: i64) -> Outcome<Reading> {
    let scatter = ((n as f64 * 0.618_033_988_749_895).fract() - 0.5) * 0.0006;
    Ok(Reading {
        device: DeviceId::new("booth-lamp")?,
        time,
        time_given: None,
        colour: ColourSet::Xy(Xy { x: 0.3457 + scatter, y: 0.3585 - scatter }),
        level: Some(Level::Illuminance(Illuminance::new(2003.0)?)),
        circumstances: Circumstances { instrument: Some(InstrumentId::new("spectro-1")?), ..Circumstances::default() },
    })
}

/// Appends readings as the pipeline does, brings the estimate up to date, and tells how long the latter took: by the clock,
/// and of the processor.
fn refreshed(
    clock: &SystemClock,
    ledger: &mut Ledger,
    config: &Config,
    readings: Vec<Reading>,
) -> Outcome<[Duration; 2]> {
    let now = start(10_000_000)?;
    let took = ledger.write(now, |tx| {
        let mut earliest: Option<Stirred> = None;
        for reading in readings {
            let body = Body::ReadingTaken(ReadingTaken::from(reading));
            let stirred = append(tx, config, body)?.1;
            earliest = earliest.into_iter().chain(stirred).min_by_key(|stirred| stirred.from);
        }
        let begun = (clock.monotonic(), processor());
        estimates::refresh(tx, &config.things, earliest.as_slice())?;
        Ok::<_, twinwhite::ledger::LedgerError>([clock.monotonic() - begun.0, processor() - begun.1])
    })?;
    Ok(took)
}

fn drift(clock: &SystemClock) -> Outcome<()> {
    const NEW: i64 = 1000;
    for history in [100, 10_000, 100_000] {
        let folder = tempfile::tempdir()?;
        let config = config(folder.path())?;
        let mut ledger = open(folder.path(), &config)?;
        let mut next = 0;
        while next < history {
            let until = (next + MANY).min(history);
            let readings = (next..until).map(|n| lamp_reading(start(n * 60)?, n)).collect::<Outcome<Vec<_>>>()?;
            refreshed(clock, &mut ledger, &config, readings)?;
            next = until;
        }
        let (mut news, mut ones, mut late, mut late_one) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
        for _ in 0..5 {
            let readings = (next..next + NEW).map(|n| lamp_reading(start(n * 60)?, n)).collect::<Outcome<Vec<_>>>()?;
            news.push(refreshed(clock, &mut ledger, &config, readings)?);
            next += NEW;
            ones.push(refreshed(clock, &mut ledger, &config, vec![lamp_reading(start(next * 60)?, next)?])?);
            next += 1;
            // Among the last hundred, at minutes at which nothing was read.
            let (first, step) = ((next - 101) * 60 + 1, 6);
            let readings = (0..NEW).map(|n| lamp_reading(start(first + n * step)?, n)).collect::<Outcome<Vec<_>>>()?;
            late.push(refreshed(clock, &mut ledger, &config, readings)?);
            late_one.push(refreshed(clock, &mut ledger, &config, vec![lamp_reading(start(first + 2)?, 7)?])?);
            next += 101;
        }
        println!("drift beside {history} readings (at most 20 µs a reading):");
        for (what, times, readings) in [
            ("a file of 1000 new ones, each", news, NEW as u32),
            ("a file of 1000 among the last 100, each", late, NEW as u32),
            ("a single new one", ones, 1),
            ("a single one that comes 1100 readings late", late_one, 1),
        ] {
            let [clock, processor] = [0, 1].map(|by| median(&mut times.iter().map(|t| t[by]).collect::<Vec<_>>()));
            println!("  {what}: {:.1?}, of the processor {:.1?}", clock / readings, processor / readings);
        }
    }
    Ok(())
}

fn one(clock: &SystemClock) -> Outcome<()> {
    const BEFORE: i64 = 400;
    const ONES: i64 = 400;
    let folder = tempfile::tempdir()?;
    let config = config(folder.path())?;
    let mut raw = open_raw(&folder.path().join("raw.db"))?;
    let mut ledger = open(folder.path(), &config)?;
    taken(&mut ledger, &config, &csv(0, BEFORE)?, start(BEFORE * 15)?)?;
    raw_rows(&mut raw, 0, BEFORE)?;
    let mut raws = Vec::new();
    let mut ours: [Vec<Duration>; 4] = Default::default();
    for n in BEFORE..BEFORE + ONES {
        let text = csv(n, 1)?;
        raws.push(timed(clock, || raw_rows(&mut raw, n, 1))?);
        ours[(n % 4) as usize].push(timed(clock, || taken(&mut ledger, &config, &text, start(n * 15)?))?);
    }
    let raw = median(&mut raws);
    println!("one reading a file to the commit (at most 1.5), against {raw:.0?} raw:");
    for (device, times) in
        ["bay-screen", "bay-lamp of two stations", "booth-screen", "booth-lamp"].iter().zip(&mut ours)
    {
        let ours = median(times);
        println!("  {device}: {ours:.0?}, ratio {:.2}", ratio(ours, raw));
    }
    Ok(())
}
