//! The ledger against somebody with SQLite in hand: what was changed, taken out or cut off is found and named.

use std::fs::{self, File, TryLockError};

use serde_json::Value;

use super::site::{Site, day, quiet_weeks};

fn filled() -> Site {
    let site = Site::loft();
    site.ingest("quiet.csv", &quiet_weeks(6));
    site.ok("record cleaned loft-lamp");
    site.audit();
    site
}

/// What `audit verify` says after `damage` was done.
#[track_caller]
fn after(site: &Site, damage: &str) -> Value {
    site.ledger().execute_batch(damage).unwrap();
    let said = site.run("audit verify --json");
    assert_eq!(said.code, 1, "{damage}: {}{}", said.out, said.err);
    assert_eq!(said.err, "", "{damage}: the answer is the same JSON, on standard output");
    let answer: Value = serde_json::from_str(&said.out).unwrap();
    assert_eq!(answer["ok"], false, "{damage}");
    assert!(answer["entries"].is_i64() && answer["root"].as_str().unwrap().len() == 64, "{answer}");
    let plain = site.run("audit verify");
    assert_eq!(plain.code, 1);
    assert!(plain.out.contains("NOT") || plain.out.contains("rebuild"), "{}", plain.out);
    answer
}

#[test]
fn an_edited_entry_is_named() {
    let site = filled();
    let edit = "UPDATE entry SET body = replace(body, '0.3457', '0.3458') WHERE seq = 8";
    assert_eq!(after(&site, edit)["first_bad"], 8);
    // And the time, of an earlier one.
    let edit = "UPDATE entry SET time = replace(time, 'T', 't') WHERE seq = 5";
    assert_eq!(after(&site, edit)["first_bad"], 5);
}

#[test]
fn a_missing_entry_is_named() {
    let site = filled();
    assert_eq!(after(&site, "DELETE FROM entry WHERE seq = 7")["first_bad"], 7);
    // The gap closed by renumbering: the first that moved no longer matches its leaf.
    let closed = "UPDATE entry SET seq = -seq WHERE seq > 7; UPDATE entry SET seq = -seq - 1 WHERE seq < 0";
    assert_eq!(after(&site, closed)["first_bad"], 7);
}

#[test]
fn a_cut_tail_is_named() {
    let site = filled();
    let entries = site.audit();
    assert_eq!(after(&site, &format!("DELETE FROM entry WHERE seq > {}", entries - 3))["first_bad"], entries - 2);
}

#[test]
fn an_entry_put_in_past_the_head_is_named() {
    let site = filled();
    let entries = site.audit();
    let put =
        format!("INSERT INTO entry SELECT site, {0} + 1, time, kind, body, leaf FROM entry WHERE seq = {0}", entries);
    assert_eq!(after(&site, &put)["first_bad"], entries + 1);
}

#[test]
fn damaged_tables_are_named_and_made_anew() {
    let site = filled();
    let said = |site: &Site| {
        let as_of = day(40.0);
        [
            format!("forecast desk --json --as-of {as_of}"),
            format!("status --json --as-of {as_of}"),
            "history loft-lamp --json".to_owned(),
            "alerts --json".to_owned(),
        ]
        .map(|words| site.ok(&words))
    };
    let before = said(&site);
    let damage = "DELETE FROM reading WHERE seq % 2 = 0; UPDATE alert SET detail = 'all is well';
                  DELETE FROM checkpoint; DELETE FROM estimate; UPDATE verdict SET verdict = 'matched'";
    let answer = after(&site, damage);
    assert_eq!(answer["first_bad"], Value::Null, "the entries themselves are whole");
    let differing: Vec<&str> =
        answer["differing_tables"].as_array().unwrap().iter().map(|table| table.as_str().unwrap()).collect();
    for table in ["alert", "estimate", "reading"] {
        assert!(differing.contains(&table), "{table}: {differing:?}");
    }
    site.ok("rebuild");
    assert!(site.audit() > 0);
    assert_eq!(said(&site), before);
    // Once more changes nothing.
    site.ok("rebuild");
    site.audit();
    assert_eq!(said(&site), before);
}

#[test]
fn a_store_that_is_newer_or_none_is_refused_clearly() {
    let site = filled();
    site.ledger().execute_batch("PRAGMA user_version = 99").unwrap();
    for words in ["status", "add loft-lamp x=0.3457 y=0.3585 illuminance_lx=500", "run"] {
        let said = site.run(words);
        assert_eq!(said.code, 1, "{words}");
        assert!(said.err.contains("newer"), "{words}: {}", said.err);
    }
    let site = Site::loft();
    site.write("state/ledger.db", "a shopping list, long enough to be looked at as a database header ".repeat(20));
    let said = site.run("status");
    assert_eq!((said.code, said.out.as_str()), (1, ""));
    assert!(said.err.contains("ledger"), "{}", said.err);
}

/// Bits that rot in the file: found by the check, or of no consequence; never a crash.
#[test]
fn a_flipped_byte_is_found_or_changes_nothing() {
    let site = filled();
    let path = site.path("state/ledger.db");
    // All of it into one file.
    site.ledger().execute_batch("PRAGMA wal_checkpoint(TRUNCATE)").unwrap();
    let whole = fs::read(&path).unwrap();
    let rows = |site: &Site| -> Vec<String> {
        let ledger = site.ledger();
        let mut rows = ledger.prepare("SELECT seq || site || time || kind || body FROM entry ORDER BY seq").unwrap();
        rows.query_map((), |row| row.get(0)).unwrap().map(Result::unwrap).collect()
    };
    let before = rows(&site);
    let (mut found, mut harmless) = (0, 0);
    let step = whole.len() / 97;
    for at in (step / 2..whole.len()).step_by(step) {
        let mut flipped = whole.clone();
        flipped[at] ^= 1 << (at % 8);
        for ending in ["-wal", "-shm"] {
            let _ = fs::remove_file(site.path(&format!("state/ledger.db{ending}")));
        }
        fs::write(&path, flipped).unwrap();
        let said = site.run("audit verify --json");
        assert!([0, 1].contains(&said.code), "byte {at}: {} {}", said.code, said.err);
        if said.code == 1 {
            found += 1;
        } else {
            harmless += 1;
            assert_eq!(rows(&site), before, "byte {at}");
        }
    }
    assert!(found > 10, "{found} found, {harmless} of no consequence");
    fs::write(&path, whole).unwrap();
    site.audit();
}

#[test]
fn who_is_killed_while_standing_in_line_keeps_nobody_from_writing() {
    let site = filled();
    let before = site.audit();
    let holder = site.ledger();
    holder.execute_batch("BEGIN IMMEDIATE").unwrap();
    let mut first = site.daemon_with(&["record", "cleaned", "loft-lamp"]);
    let line = File::open(site.path("state/write.lock")).unwrap();
    let taken = || match line.try_lock_shared() {
        Ok(()) => line.unlock().map(|()| false).unwrap(),
        Err(TryLockError::WouldBlock) => true,
        Err(TryLockError::Error(bad)) => panic!("{bad}"),
    };
    first.until("the first in line", taken);
    first.signal("KILL");
    first.ended();
    assert!(!taken(), "it left the line with its life");
    holder.execute_batch("ROLLBACK").unwrap();
    site.ok("record cleaned loft-lamp");
    assert_eq!(site.audit(), before + 1);
}
