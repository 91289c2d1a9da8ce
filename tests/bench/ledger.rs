//! What the ledger costs beside raw rusqlite, both in the same run and in turn, as medians and their ratio.
//!
//! - many: 10 000 rows of 500 bytes with one index on (device, time), in one synced transaction, against as many `reading`
//!   entries with leaf, head and projection (each asked for a duplicate first, as the pipeline does).
//! - one: one such row a synced transaction, against one reading a synced transaction.
//!
//! Run with `cargo bench --bench ledger`.

mod measure;
mod raw;

use std::path::Path;
use std::time::Duration;

use measure::{Outcome, median, ratio, timed};
use raw::{open_raw, raw_rows};
use twinwhite::clock::SystemClock;
use twinwhite::ledger::Given;
use twinwhite::ledger::entry::{Body, ReadingTaken, Seq};
use twinwhite::ledger::store::{ReadingRow, Standing};
use twinwhite::ledger::{Ledger, LedgerError, OpenMode};
use twinwhite::reading::{Circumstances, ColourSet, Level, Reading};
use twinwhite::units::{DeviceId, Illuminance, InstrumentId, OperatorId, SiteId, Time, Xyz};

const MANY: i64 = 10_000;
const ONES: i64 = 200;
const ROUNDS: usize = 5;
const START: &str = "2026-01-01T00:00:00Z";

fn main() -> Outcome<()> {
    let clock = SystemClock::new();
    let mut many = (Vec::new(), Vec::new());
    let mut ones = (Vec::new(), Vec::new());
    let mut bytes = 0;
    for _ in 0..ROUNDS {
        let folder = tempfile::tempdir()?;
        let mut raw = open_raw(&folder.path().join("raw.db"))?;
        let mut ledger = open_ledger(&folder.path().join("ledger.db"))?;
        let bodies = (0..MANY).map(body).collect::<Outcome<Vec<_>>>()?;
        many.0.push(timed(&clock, || raw_rows(&mut raw, 0, MANY))?);
        many.1.push(timed(&clock, || our_rows(&mut ledger, &bodies))?);

        let later = (MANY..MANY + ONES).map(body).collect::<Outcome<Vec<_>>>()?;
        let (mut by_raw, mut by_us) = (Vec::new(), Vec::new());
        for (n, body) in later.iter().enumerate() {
            by_raw.push(timed(&clock, || raw_rows(&mut raw, MANY + n as i64, 1))?);
            by_us.push(timed(&clock, || our_rows(&mut ledger, std::slice::from_ref(body)))?);
        }
        ones.0.push(median(&mut by_raw));
        ones.1.push(median(&mut by_us));
        bytes = body_bytes(&ledger)?;
    }
    report("10 000 rows, one transaction", &mut many);
    report("one row, one transaction", &mut ones);
    println!("body of a reading: {bytes} bytes");
    Ok(())
}

fn report(what: &str, times: &mut (Vec<Duration>, Vec<Duration>)) {
    let (raw, ours) = (median(&mut times.0), median(&mut times.1));
    println!("{what}: raw {raw:.2?}, ledger {ours:.2?}, ratio {:.2}", ratio(ours, raw));
}

fn open_ledger(path: &Path) -> Outcome<Ledger> {
    let mut ledger = Ledger::open(path, &SiteId::new("bench")?, OpenMode::Create)?;
    ledger.found(Time::parse(START)?, "bench", None)?;
    Ok(ledger)
}

fn our_rows(ledger: &mut Ledger, bodies: &[Body]) -> Outcome<()> {
    let now = Time::parse(START)?;
    ledger.write(now, |tx| {
        for body in bodies {
            let Body::ReadingTaken(taken) = body else { continue };
            if tx.reading_standing(&taken.reading)? != Standing::New {
                return Err(LedgerError::Damaged { what: "a reading of the bench was there before".to_owned() });
            }
            let seq = tx.append(body)?;
            tx.put_reading(&row(seq, &taken.reading))?;
        }
        Ok(())
    })?;
    Ok(())
}

fn body_bytes(ledger: &Ledger) -> Outcome<usize> {
    let last = ledger.head()?.last().ok_or("no entry")?;
    let mut json = Vec::new();
    ledger.entry(last)?.ok_or("no entry")?.body.write_json(&mut json)?;
    Ok(json.len())
}

/// Four devices in turn.
fn device(n: i64) -> &'static str {
    ["bay-screen", "bay-lamp", "window-screen", "window-lamp"][(n % 4) as usize]
}

fn body(n: i64) -> Outcome<Body> {
    let reading = reading(n)?;
    Ok(Body::ReadingTaken(ReadingTaken::from(reading)))
}

fn reading(n: i64) -> Outcome<Reading> {
    let wander = (n as f64 * 0.618_033_988_749_895).fract();
    Ok(Reading {
        device: DeviceId::new(device(n))?,
        time: Time::from_micros(Time::parse(START)?.micros() + n * 60_000_000),
        time_given: Some("2026-01-01T01:00:00+01:00".to_owned()),
        colour: ColourSet::Xyz(Xyz { x: 95.047 + wander, y: 100.0, z: 108.883 - wander }),
        level: Some(Level::Illuminance(Illuminance::new(500.0 + wander)?)),
        circumstances: Circumstances {
            instrument: Some(InstrumentId::new("spectro-1")?),
            operator: Some(OperatorId::new("ines")?),
            warmup_min: Some(35.0),
            setting: Some("dimmer at the second mark from the left".to_owned()),
            id: Some(format!("row-{n}")),
            note: Some(
                "read at the usual place, blinds shut, after the morning's first proof was taken away ".repeat(2),
            ),
            ..Circumstances::default()
        },
    })
}

fn row(seq: Seq, reading: &Reading) -> ReadingRow {
    let circumstances = &reading.circumstances;
    ReadingRow {
        seq,
        device: reading.device.clone(),
        time: reading.time,
        instrument: circumstances.instrument.clone(),
        patch: circumstances.patch,
        given: Given::of_reading(reading),
        u: 0.1978,
        v: 0.4683,
        spread: None,
        ln_level: Some(6.2146),
        hours: circumstances.hours,
        warmup_min: circumstances.warmup_min,
        setting: circumstances.setting.clone(),
        source: circumstances.source,
        excluded: None,
        released: false,
        ra: None,
        spectral: false,
        named: None,
    }
}
