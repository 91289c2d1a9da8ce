//! What a proof costs: one entry out of ten million, made from the store and checked, and how large it is.
//!
//! The rows are put in by SQL in one go, with small bodies but their real leaf hashes, and the tree's own kept subtrees as
//! opening an older ledger makes them. Also the whole check against mere hashing of the same bytes.
//!
//! Run with `cargo bench --bench proofs`; `ENTRIES=1000000 cargo bench --bench proofs` for fewer.

mod measure;

use std::path::Path;
use std::time::Duration;

use measure::{Outcome, median, ratio, timed};
use rusqlite::Connection;
use twinwhite::clock::{Clock, SystemClock};
use twinwhite::ledger::checkpoint::{Checkpoint, SignedHead};
use twinwhite::ledger::note::SigningKey;
use twinwhite::ledger::tree::{self, Frontier};
use twinwhite::ledger::{Certificate, Digest, Head, Ledger, OpenMode, Seq, entry, proof, verify};
use twinwhite::units::{SiteId, Time};

const SITE: &str = "bench";
const START: &str = "2026-01-01T00:00:00Z";
const PROOFS: usize = 2000;

fn main() -> Outcome<()> {
    let entries: i64 = std::env::var("ENTRIES").ok().and_then(|text| text.parse().ok()).unwrap_or(10_000_000);
    let clock = SystemClock::new();
    let folder = tempfile::tempdir()?;
    let path = folder.path().join("ledger.db");
    let begun = clock.monotonic();
    let head = fill(&path, entries)?;
    println!("{entries} entries written in {:.1?}", clock.monotonic() - begun);
    let begun = clock.monotonic();
    let mut ledger = Ledger::open(&path, &SiteId::new(SITE)?, OpenMode::Existing)?;
    println!("subtrees made anew from the leaves in {:.1?}", clock.monotonic() - begun);

    let origin = ledger.log_origin()?.ok_or("no entry")?;
    let key = SigningKey::from_seed(&origin, &[7; 32])?;
    let text = Checkpoint { origin, head, time: Some(Time::parse(START)?) }.text();
    let signing = timed(&clock, || Ok(key.sign(&text)?))?;
    let signed = SignedHead::parse(&key.sign(&text)?)?;

    let size = head.size.cast_unsigned();
    let (mut making, mut checking, mut longest) = (Vec::new(), Vec::new(), 0);
    let mut connecting = Vec::new();
    for n in 0..PROOFS {
        // All over the ledger, never near the last one, so that no page is in SQLite's cache by chance.
        let index = (n as u64 * 6_180_339_887 + 12_345) % size;
        let mut path = Vec::new();
        making.push(timed(&clock, || {
            path = ledger.read(|store| Ok::<_, Box<dyn std::error::Error>>(proof::inclusion(store, index, size)?))?;
            Ok(())
        })?);
        longest = longest.max(path.len());
        let leaf = ledger.raw_entry(seq(index)?)?.and_then(|raw| raw.true_leaf()).ok_or("no leaf")?;
        checking.push(timed(&clock, || Ok(proof::check_inclusion(&leaf, index, size, &path, &head.root)?))?);
        connecting.push(timed(&clock, || {
            ledger.read(|store| Ok::<_, Box<dyn std::error::Error>>(proof::consistency(store, index.max(1), size)?))
        })?);
    }
    let report = |what: &str, times: &mut [Duration]| {
        let middle = median(times);
        println!("{what}: median {middle:.2?}, slowest {:.2?}", times.last().copied().unwrap_or_default());
    };
    report("proof of inclusion, made", &mut making);
    report("proof of inclusion, checked", &mut checking);
    report("proof of consistency, made", &mut connecting);
    println!("first signature: {signing:.2?}");

    let certificate = Certificate::make(&ledger, seq(size / 3)?, &signed, key.verifier(), None)?;
    let text = serde_json::to_string_pretty(&certificate.proof)?;
    println!(
        "longest proof: {longest} hashes, {} bytes with size and index in binary, {} as text",
        32 * longest + 16,
        text.len()
    );
    println!("whole certificate with a small body: {} bytes", serde_json::to_string_pretty(&certificate)?.len());

    let hashing = timed(&clock, || hash_all(entries))?;
    let mut sound = false;
    let checked = timed(&clock, || {
        sound = verify(&ledger, &[])?.ok;
        Ok(())
    })?;
    println!(
        "whole check {checked:.2?}, hashing the same bytes {hashing:.2?}, ratio {:.2}, sound: {sound}",
        ratio(checked, hashing)
    );
    Ok(())
}

fn seq(index: u64) -> Outcome<Seq> {
    Ok(Seq::new(index.cast_signed() + 1).ok_or("no number")?)
}

fn body(n: i64) -> (&'static str, String) {
    if n == 1 {
        ("founded", r#"{"format":1,"program":"bench"}"#.to_owned())
    } else {
        ("retract", format!(r#"{{"seq":{n},"reason":"a row of the bench, as short as a row can well be"}}"#))
    }
}

fn bytes_of(n: i64, to: &mut Vec<u8>) -> (&'static str, String) {
    let (kind, body) = body(n);
    to.clear();
    entry::write_bytes(to, SITE, n, START, kind, body.as_bytes());
    (kind, body)
}

/// Leaves and nodes over the same bytes, and nothing else.
fn hash_all(entries: i64) -> Outcome<Digest> {
    let mut edge = Frontier::new();
    let mut bytes = Vec::new();
    for n in 1..=entries {
        bytes_of(n, &mut bytes);
        edge.push(tree::leaf(&bytes));
    }
    Ok(edge.root())
}

/// A ledger of the version before subtrees were kept, so that opening it fills them.
fn fill(path: &Path, entries: i64) -> Outcome<Head> {
    drop(Ledger::open(path, &SiteId::new(SITE)?, OpenMode::Create)?);
    let mut raw = Connection::open(path)?;
    raw.pragma_update(None, "synchronous", "OFF")?;
    let tx = raw.transaction()?;
    let mut edge = Frontier::new();
    {
        let mut put = tx.prepare("INSERT INTO entry VALUES (?1, ?2, ?3, ?4, ?5, ?6)")?;
        let mut bytes = Vec::new();
        for n in 1..=entries {
            let (kind, body) = bytes_of(n, &mut bytes);
            let leaf = tree::leaf(&bytes);
            put.execute((SITE, n, START, kind, body, leaf.as_bytes().as_slice()))?;
            edge.push(leaf);
        }
    }
    let root = edge.root();
    tx.execute(
        "UPDATE head SET size = ?1, root = ?2, frontier = ?3",
        (entries, root.as_bytes().as_slice(), edge.to_bytes()),
    )?;
    // As a ledger of before there were subtrees, so that they are filled in.
    tx.execute_batch(
        "DROP TABLE subtree; DROP TABLE signed_head; DROP TABLE signing_key; DROP TABLE sign_off; DROP TABLE correction;
         DROP TABLE pruned; DROP INDEX reading_spectral;
         ALTER TABLE alert DROP COLUMN operator_by; ALTER TABLE maintenance DROP COLUMN operator_by; PRAGMA user_version = 5",
    )?;
    tx.commit()?;
    Ok(Head { size: entries, root })
}
