//! The store against other processes, other versions, other sites and failing work.

use super::opening::beside;
use super::*;
use crate::ledger::entry::{Body, Delivery, Outcome, ReadingTaken, Transition};
use crate::ledger::proof::Subtrees;
use crate::ledger::samples::{Room, at, noon, reading, retract, row, site, take};
use crate::ledger::verify;
use crate::reading::{ColourSet, Event, EventKind, Patch, Source};
use crate::units::{DeviceId, InstrumentId, Spectrum, Xy};

fn device(id: &str) -> DeviceId {
    DeviceId::new(id).unwrap()
}

const EVER: (&str, &str) = ("0001-01-01T00:00:00Z", "9999-12-31T00:00:00Z");

#[test]
fn a_ledger_is_found_once_and_reopens() {
    let room = Room::new();
    assert!(matches!(Ledger::open(&room.path(), &site(), OpenMode::Existing), Err(LedgerError::Missing { .. })));
    assert!(matches!(Ledger::open(&room.path(), &site(), OpenMode::ReadOnly), Err(LedgerError::Missing { .. })));
    let mut ledger = room.filled(3);
    assert!(!ledger.found(noon(), "0.1.0", Some("again")).unwrap());
    let head = ledger.head().unwrap();
    // As after a crash: the connection goes without being closed, and its log stays.
    std::mem::forget(ledger);
    for mode in [OpenMode::ReadOnly, OpenMode::Existing, OpenMode::Create] {
        let ledger = Ledger::open(&room.path(), &site(), mode).unwrap();
        assert_eq!(ledger.head().unwrap(), head, "{mode:?}");
        assert!(verify(&ledger, &[head]).unwrap().ok, "{mode:?}");
        let entries = ledger.entries(Seq::FIRST, 10).unwrap();
        assert_eq!(entries.iter().map(|e| e.seq.get()).collect::<Vec<_>>(), [1, 2, 3]);
        assert_eq!(entries[1].body, retract(2));
        assert_eq!(ledger.entry(Seq::new(3).unwrap()).unwrap().unwrap(), entries[2]);
        assert_eq!(ledger.entry(Seq::new(4).unwrap()).unwrap(), None);
    }
}

#[test]
fn it_is_opened_as_the_durable_kind() {
    let room = Room::new();
    let ledger = room.filled(1);
    let asked =
        |pragma: &str| ledger.conn.query_row(&format!("PRAGMA {pragma}"), (), |row| row.get::<_, i64>(0)).unwrap();
    assert_eq!(asked("synchronous"), 2, "FULL");
    assert_eq!(asked("busy_timeout"), 10_000);
    assert_eq!(asked("journal_size_limit"), 16 * 1024 * 1024);
    let mode: String = ledger.conn.query_row("PRAGMA journal_mode", (), |row| row.get(0)).unwrap();
    assert_eq!(mode, "wal");
    let check: String = ledger.conn.query_row("PRAGMA integrity_check", (), |row| row.get(0)).unwrap();
    assert_eq!(check, "ok");
}

#[test]
fn what_is_not_ours_is_refused() {
    let room = Room::new();
    drop(room.filled(2));
    let other = SiteId::new("elsewhere").unwrap();
    let refused = Ledger::open(&room.path(), &other, OpenMode::Create).err().unwrap();
    assert!(matches!(&refused, LedgerError::OtherSite { found, .. } if found == "quillmoor"), "{refused}");

    room.raw().pragma_update(None, "user_version", schema::VERSION + 1).unwrap();
    for mode in [OpenMode::ReadOnly, OpenMode::Existing, OpenMode::Create] {
        let refused = Ledger::open(&room.path(), &site(), mode).err().unwrap();
        assert!(matches!(refused, LedgerError::Newer { found, known } if found == known + 1), "{refused}");
    }

    let stranger = Room::new();
    std::fs::create_dir_all(stranger.path().parent().unwrap()).unwrap();
    stranger.raw().execute_batch("CREATE TABLE entry (a)").unwrap();
    for mode in [OpenMode::ReadOnly, OpenMode::Create] {
        let refused = Ledger::open(&stranger.path(), &site(), mode).err().unwrap();
        assert!(matches!(refused, LedgerError::NotALedger { .. }), "{refused}");
    }
    std::fs::write(stranger.path(), "the quick brown fox jumps over the lazy dog, again and again".repeat(99)).unwrap();
    let refused = Ledger::open(&stranger.path(), &site(), OpenMode::Create).err().unwrap();
    assert!(matches!(refused, LedgerError::NotALedger { .. }), "{refused}");
}

#[test]
fn failed_work_leaves_nothing() {
    let room = Room::new();
    let mut ledger = room.filled(2);
    let head = ledger.head().unwrap();
    let failed: Result<(), LedgerError> = ledger.write(noon(), |tx| {
        tx.append(&retract(3))?;
        assert_eq!(tx.size(), 3);
        Err(LedgerError::DiskFull)
    });
    assert!(matches!(failed, Err(LedgerError::DiskFull)));
    let panicked = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
        ledger.write(noon(), |tx| {
            tx.append(&retract(3))?;
            if tx.size() == 3 {
                panic!("on purpose");
            }
            Ok::<_, LedgerError>(())
        })
    }));
    assert!(panicked.is_err());
    assert_eq!(ledger.write(noon(), |tx| tx.append(&retract(3))).unwrap().get(), 3);
    assert_eq!(ledger.head().unwrap().size, head.size + 1);
    assert!(verify(&ledger, &[head]).unwrap().ok);
}

#[test]
fn a_ledger_begins_with_founded_and_has_it_once() {
    let mut ledger = Ledger::in_memory(&site()).unwrap();
    let early = ledger.write(noon(), |tx| tx.append(&retract(1)));
    assert!(matches!(early, Err(LedgerError::Order { .. })));
    assert!(ledger.found(noon(), "0.1.0", None).unwrap());
    let founded = ledger.entry(Seq::FIRST).unwrap().unwrap().body;
    assert!(matches!(ledger.write(noon(), |tx| tx.append(&founded)), Err(LedgerError::Order { .. })));
}

#[test]
fn a_ledger_that_was_tampered_with_takes_nothing_more() {
    for tampering in [
        "DELETE FROM entry WHERE seq = 3",
        "UPDATE head SET size = 2",
        "UPDATE head SET root = zeroblob(32)",
        "UPDATE head SET frontier = zeroblob(64)",
        "UPDATE head SET frontier = x''",
        "DELETE FROM head",
    ] {
        let room = Room::new();
        let mut ledger = room.filled(3);
        room.raw().execute(tampering, ()).unwrap();
        let refused = ledger.write(noon(), |tx| tx.append(&retract(4)));
        assert!(matches!(refused, Err(LedgerError::Damaged { .. })), "{tampering}: {refused:?}");
    }
}

#[test]
fn a_transaction_that_ended_early_stops_the_writer() {
    let mut ledger = Ledger::in_memory(&site()).unwrap();
    let ended: Result<(), LedgerError> = ledger.write(noon(), |tx| {
        tx.store.conn.execute_batch("ROLLBACK")?;
        Ok(())
    });
    assert!(matches!(ended, Err(LedgerError::Broken { .. })));
    let next = ledger.found(noon(), "0.1.0", None);
    assert!(matches!(&next, Err(error) if error.is_fatal()), "{next:?}");
}

#[test]
fn a_full_disk_is_told_apart_and_gets_over() {
    let room = Room::new();
    let mut ledger = room.filled(2);
    let pages: i64 = ledger.conn.query_row("PRAGMA page_count", (), |row| row.get(0)).unwrap();
    ledger.conn.pragma_update(None, "max_page_count", pages).unwrap();
    let full: Result<(), LedgerError> =
        ledger.write(noon(), |tx| (3..2000).try_for_each(|n| tx.append(&retract(n)).map(|_| ())));
    assert!(matches!(full, Err(LedgerError::DiskFull)), "{full:?}");
    ledger.conn.pragma_update(None, "max_page_count", 1_000_000).unwrap();
    assert_eq!(ledger.write(noon(), |tx| tx.append(&retract(3))).unwrap().get(), 3);
    assert!(verify(&ledger, &[]).unwrap().ok);
}

#[test]
fn two_writers_leave_no_gap() {
    let room = Room::new();
    let start = std::sync::Barrier::new(2);
    std::thread::scope(|scope| {
        for _ in 0..2 {
            scope.spawn(|| {
                start.wait();
                // Both make the store, both want to be the first.
                let mut ledger = room.open();
                ledger.found(noon(), "0.1.0", None).unwrap();
                for n in 1..=500 {
                    ledger.write(noon(), |tx| tx.append(&retract(n))).unwrap();
                }
            });
        }
    });
    let ledger = room.open();
    let found = verify(&ledger, &[]).unwrap();
    assert!(found.ok, "{:?}", found.fault);
    assert_eq!((found.entries, found.root), (1001, ledger.head().unwrap().root));
}

#[test]
fn many_may_begin_the_same_ledger_at_once() {
    for _ in 0..5 {
        let room = Room::new();
        let start = std::sync::Barrier::new(4);
        let founded = std::thread::scope(|scope| {
            let begin = || {
                start.wait();
                room.open().found(noon(), "0.1.0", None).unwrap()
            };
            let threads: Vec<_> = (0..4).map(|_| scope.spawn(begin)).collect();
            threads.into_iter().filter_map(|thread| thread.join().unwrap().then_some(())).count()
        });
        assert_eq!(founded, 1);
        assert_eq!(room.open().head().unwrap().size, 1);
    }
}

#[test]
fn a_reader_sees_others_write_and_keeps_its_snapshot() {
    let room = Room::new();
    let mut writer = room.filled(1);
    let mut reader = Ledger::open(&room.path(), &site(), OpenMode::ReadOnly).unwrap();
    let before = reader.data_version().unwrap();
    assert_eq!(reader.data_version().unwrap(), before);
    reader
        .read(|store| {
            assert_eq!(store.head()?.size, 1);
            writer.write(noon(), |tx| tx.append(&retract(2)))?;
            assert_eq!(store.head()?.size, 1, "the snapshot stands still");
            Ok::<_, LedgerError>(())
        })
        .unwrap();
    assert_ne!(reader.data_version().unwrap(), before);
    assert_eq!(reader.head().unwrap().size, 2);
    let refused = reader.write(noon(), |tx| tx.append(&retract(3)));
    assert!(matches!(refused, Err(LedgerError::ReadOnly)), "{refused:?}");
    let own = writer.data_version().unwrap();
    writer.write(noon(), |tx| tx.append(&retract(3))).unwrap();
    assert_eq!(writer.data_version().unwrap(), own, "one's own writing is not news");
}

#[test]
fn a_closed_ledger_reads_where_no_log_can_be_made() {
    let room = Room::new();
    drop(room.filled(3));
    assert!(!beside(&room.path(), "-wal").exists(), "closed cleanly");
    // A folder in the place of the shared memory keeps SQLite from making one, whoever runs this test.
    std::fs::create_dir(beside(&room.path(), "-shm")).unwrap();
    let ledger = Ledger::open(&room.path(), &site(), OpenMode::ReadOnly).unwrap();
    assert!(verify(&ledger, &[]).unwrap().ok);
    assert_eq!(ledger.head().unwrap().size, 3);
}

#[test]
fn duplicates_and_conflicts_are_told_apart() {
    let room = Room::new();
    let mut ledger = room.filled(1);
    let first = reading("bay-lamp", noon(), 0.3127);
    let seq = take(&mut ledger, noon(), first.clone()).unwrap().unwrap();
    assert_eq!(take(&mut ledger, noon(), first.clone()).unwrap(), None, "a duplicate");
    let mut noted = first.clone();
    noted.circumstances.note = Some("the same values, another remark".into());
    assert_eq!(ledger.reading_standing(&noted).unwrap(), Standing::Duplicate(seq));

    let other = reading("bay-lamp", noon(), 0.3130);
    assert_eq!(ledger.reading_standing(&other).unwrap(), Standing::Conflict(seq));
    let held = take(&mut ledger, noon(), other.clone()).unwrap().unwrap();
    assert_eq!(ledger.reading(held).unwrap().unwrap().excluded.as_deref(), Some("conflict"));
    assert_eq!(ledger.reading_standing(&other).unwrap(), Standing::Duplicate(held));
    let mut elsewhere = other.clone();
    elsewhere.circumstances.instrument = Some(InstrumentId::new("spectro-1").unwrap());
    assert_eq!(ledger.reading_standing(&elsewhere).unwrap(), Standing::New);
    elsewhere.circumstances.instrument = None;
    elsewhere.circumstances.patch = Patch::Paper;
    assert_eq!(ledger.reading_standing(&elsewhere).unwrap(), Standing::New);

    assert!(ledger.write(noon(), |tx| tx.retract(seq)).unwrap());
    assert!(ledger.write(noon(), |tx| tx.retract(held)).unwrap());
    assert!(!ledger.write(noon(), |tx| tx.retract(Seq::FIRST)).unwrap(), "no reading");
    assert_eq!(ledger.reading_standing(&first).unwrap(), Standing::Duplicate(seq));
    assert_eq!(ledger.reading_standing(&reading("bay-lamp", noon(), 0.31)).unwrap(), Standing::New);
    assert!(ledger.write(noon(), |tx| tx.release_reading(held)).unwrap());
    let released = ledger.reading(held).unwrap().unwrap();
    assert_eq!((released.excluded, released.released), (None, true));
    let counts = ledger.counts().unwrap();
    assert_eq!((counts.readings, counts.excluded), (2, 1));
}

#[test]
fn readings_come_in_an_order_that_arrival_does_not_change() {
    let days = ["2026-03-01T09:00:00Z", "2026-03-02T09:00:00Z", "2026-03-02T09:00:00Z", "2026-03-03T09:00:00Z"];
    let set: Vec<_> =
        days.iter().zip([0.31, 0.32, 0.33, 0.34]).map(|(day, x)| reading("bay-lamp", at(day), x)).collect();
    let order = |arrival: &[usize]| {
        let mut ledger = Ledger::in_memory(&site()).unwrap();
        ledger.found(noon(), "0.1.0", None).unwrap();
        for &i in arrival {
            take(&mut ledger, noon(), set[i].clone()).unwrap();
        }
        take(&mut ledger, noon(), reading("another", noon(), 0.3)).unwrap();
        let rows = ledger.readings(&device("bay-lamp"), at(EVER.0), at(EVER.1)).unwrap();
        let last = ledger.last_readings(&device("bay-lamp"), at(EVER.1), 2).unwrap();
        assert_eq!(last, rows[2..]);
        rows.into_iter().map(|row| (row.time, row.given)).collect::<Vec<_>>()
    };
    let right = order(&[0, 1, 2, 3]);
    assert_eq!(right.len(), 4);
    for arrival in [[3, 2, 1, 0], [2, 0, 3, 1], [1, 3, 0, 2]] {
        assert_eq!(order(&arrival), right, "{arrival:?}");
    }
}

#[test]
fn the_newest_of_what_few_have_is_the_newest_that_counts() {
    let mut ledger = Ledger::in_memory(&site()).unwrap();
    ledger.found(noon(), "0.1.0", None).unwrap();
    let lamp = device("bay-lamp");
    let mut put = |day: &str, given: f64, row_of: fn(ReadingRow) -> ReadingRow| {
        let mut reading = reading("bay-lamp", at(&format!("2026-03-{day}T09:00:00Z")), 0.31);
        let nm: Vec<f64> = (0..17).map(|i| 380.0 + 20.0 * f64::from(i)).collect();
        let spectrum = Spectrum::new(Default::default(), &nm, vec![given; 17], None).unwrap();
        reading.colour = ColourSet::Spectrum { spectrum: Box::new(spectrum) };
        let put = |tx: &mut Tx| {
            let taken = ReadingTaken::from(reading.clone());
            let seq = tx.append(&Body::ReadingTaken(taken))?;
            tx.put_reading(&row_of(row(seq, &reading)))?;
            Ok::<_, LedgerError>(seq)
        };
        ledger.write(noon(), put).unwrap()
    };
    put("01", 1.0, |row| ReadingRow { spectral: true, ra: Some(91.0), ..row });
    put("02", 2.0, |row| ReadingRow { spectral: true, ..row });
    put("03", 3.0, |row| ReadingRow { spectral: true, excluded: Some("retracted".to_owned()), ..row });
    put("04", 4.0, |row| ReadingRow { spectral: true, patch: Patch::Ambient, ..row });
    put("05", 5.0, |row| ReadingRow { ra: Some(80.0), source: Source::Label, ..row });
    put("06", 6.0, |row| ReadingRow { patch: Patch::Paper, named: Some("rag".to_owned()), ..row });
    put("07", 7.0, |row| ReadingRow { patch: Patch::Paper, ..row });
    put("08", 8.0, |row| row);
    let (from, to) = (at(EVER.0), at(EVER.1));
    let day = |day: &str| at(&format!("2026-03-{day}T09:00:00Z"));
    let level = |from, to| ledger.latest_spectrum(&lamp, from, to).unwrap().map(|(_, spectrum)| spectrum.values()[0]);
    assert_eq!(level(from, to), Some(2.0), "the next was taken back, and foreign light is not the lamp's");
    assert_eq!(
        (level(from, day("02")), level(day("02"), to)),
        (Some(2.0), None),
        "after `from`, up to and including `to`"
    );
    assert_eq!(level(from, day("01")), Some(1.0));
    let ra = |source, to| ledger.latest_ra(&lamp, source, from, to).unwrap().and_then(|row| row.ra);
    assert_eq!((ra(Source::Measured, to), ra(Source::Label, to)), (Some(91.0), Some(80.0)));
    assert_eq!(ra(Source::Label, day("04")), None);
    let lit = |meant: &str| {
        let found = ledger.latest_lit(&lamp, to, |name| name.unwrap_or("grey") == meant).unwrap();
        found.map(|row| row.time)
    };
    assert_eq!((lit("grey"), lit("rag"), lit("other")), (Some(day("07")), Some(day("06")), None));
    let ambient = ledger.last_of_patch(&lamp, Patch::Ambient, to, 9).unwrap();
    assert_eq!(ambient.iter().map(|row| row.time).collect::<Vec<_>>(), [day("04")]);
}

/// A ledger of the first version is brought up to date with all it holds.
#[test]
fn an_older_ledger_is_brought_up_to_date() {
    let room = Room::new();
    let mut ledger = room.filled(1);
    let mut named = reading("bay-lamp", noon(), 0.31);
    named.circumstances.patch = Patch::Paper;
    named.circumstances.id = Some("rag-matte".to_owned());
    let seq = take(&mut ledger, noon(), named).unwrap().unwrap();
    let told = |state: &str| MessageRow {
        key: format!("quillmoor/1/{state}/log"),
        alert: Some(1),
        channel: "log".into(),
        body: format!(
            r#"{{"key":"quillmoor/1/{state}","site":"quillmoor","alert":1,"kind":"match-out","subject":"bay","state":"{state}","at":"{}","at_local":"{state}, local","headline":"Ünruhe","lines":["a","b"]}}"#,
            noon()
        ),
        created_at: noon(),
        state: MessageState::Sent,
        ended_at: None,
    };
    let heard = noon().plus_span(std::time::Duration::from_micros(1_234_500));
    for state in ["raised", "cleared"] {
        ledger.write(noon(), |tx| tx.put_message(&told(state))).unwrap();
    }
    let delivery = Delivery {
        key: "quillmoor/1/raised/log".into(),
        messages: Vec::new(),
        channel: "log".into(),
        outcome: Outcome::Sent,
        attempts: 1,
        error: None,
    };
    ledger.write(heard, |tx| tx.append(&Body::Delivery(delivery))).unwrap();
    ledger.write(heard, |tx| (0..300).try_for_each(|_| tx.append(&retract(2)).map(|_| ()))).unwrap();
    drop(ledger);
    let raw = room.raw();
    raw.execute_batch(
        "DROP TABLE pruned; DROP INDEX reading_spectral; DROP INDEX reading_spectrum; DROP INDEX reading_ra; DROP INDEX reading_patch;
         UPDATE reading SET patch = 'paper';
         ALTER TABLE reading DROP COLUMN spectral; ALTER TABLE reading DROP COLUMN ra;
         ALTER TABLE reading DROP COLUMN named; DROP TABLE first_use;
         DROP INDEX alert_run; ALTER TABLE alert DROP COLUMN run_us; ALTER TABLE alert DROP COLUMN repeated_us;
         DROP INDEX outbox_sent; DROP INDEX outbox_given_up; ALTER TABLE outbox DROP COLUMN ended_us;
         ALTER TABLE outbox DROP COLUMN remark; ALTER TABLE alert DROP COLUMN operator_by;
         DROP TABLE maintenance; DROP TABLE correction; DROP TABLE sign_off;
         DROP TABLE subtree; DROP TABLE signed_head; DROP TABLE signing_key;
         PRAGMA user_version = 1;",
    )
    .unwrap();
    drop(raw);
    let refused = Ledger::open(&room.path(), &site(), OpenMode::ReadOnly).err().unwrap();
    assert!(matches!(refused, LedgerError::Older { found: 1, .. }), "{refused}");
    let ledger = room.open();
    let row = ledger.reading(seq).unwrap().unwrap();
    assert_eq!((row.named.as_deref(), row.spectral, row.ra), (Some("rag-matte"), false, None));
    let raised = ledger.message("quillmoor/1/raised/log").unwrap().unwrap();
    assert_eq!(raised.ended_at, Some(heard), "as its delivery's entry says");
    let cleared = ledger.message("quillmoor/1/cleared/log").unwrap().unwrap();
    assert_eq!(
        cleared.body,
        told("cleared")
            .body
            .replace(r#","headline""#, &format!(r#","since":"{}","since_local":"raised, local","headline""#, noon())),
        "since when, from the message that told of the beginning"
    );
    let found = verify(&ledger, &[]).unwrap();
    assert!(found.ok && found.subtrees_ok, "{found:?}");
    assert_eq!(ledger.one("SELECT count(*) FROM subtree", (), |row| row.get::<_, i64>(0)).unwrap(), 1);
}

/// No query may look at more of a table than it returns: what grows with use is always found by a key.
#[test]
fn no_query_scans() {
    let ledger = Ledger::in_memory(&site()).unwrap();
    let (lamp, bay) = (device("bay-lamp"), crate::units::StationId::new("bay").unwrap());
    let (from, to) = (at(EVER.0), at(EVER.1));
    ledger.asked.borrow_mut().clear();
    ledger.head().unwrap();
    ledger.entry(Seq::FIRST).unwrap();
    ledger.entries(Seq::FIRST, 10).unwrap();
    ledger.reading_standing(&reading("bay-lamp", noon(), 0.3)).unwrap();
    ledger.event_standing(&recalibrated()).unwrap();
    ledger.reading(Seq::FIRST).unwrap();
    ledger.readings(&lamp, from, to).unwrap();
    ledger.last_readings(&lamp, to, 10).unwrap();
    ledger.latest_spectrum(&lamp, from, to).unwrap();
    ledger.latest_ra(&lamp, Source::Measured, from, to).unwrap();
    ledger.last_of_patch(&lamp, Patch::Paper, to, 10).unwrap();
    ledger.last_event(&lamp, [EventKind::Replaced; 3], to).unwrap();
    let meter = InstrumentId::new("meter").unwrap();
    ledger.first_uses(&lamp).unwrap();
    ledger.devices_begun_after(from).unwrap();
    ledger.devices_read_by(&meter).unwrap();
    ledger.devices_of_both([&meter, &meter], to).unwrap();
    ledger.next_readings(&lamp, from, to, 10).unwrap();
    ledger.event(Seq::FIRST).unwrap();
    ledger.events(&lamp, from, to).unwrap();
    ledger.file(&Digest::of(b"")).unwrap();
    ledger.config_in_force().unwrap();
    ledger.configs_in_force().unwrap();
    ledger.estimate(&lamp).unwrap();
    ledger.checkpoint(&lamp, to).unwrap();
    ledger.verdict(&bay).unwrap();
    ledger.alert(1).unwrap();
    ledger.standing_alert("match-out", "bay").unwrap();
    ledger.standing_alerts().unwrap();
    ledger.told_runs("read bay-lamp", from, to).unwrap();
    ledger.next_alert_id().unwrap();
    ledger.message("key").unwrap();
    ledger.due_messages().unwrap();
    ledger.given_up_messages().unwrap();
    ledger.last_sent("mail").unwrap();
    ledger.last_remark("mail").unwrap();
    ledger.standing_maintenance(to).unwrap();
    ledger.next_maintenance_id().unwrap();
    ledger.log_origin().unwrap();
    ledger.signing_key().unwrap();
    ledger.signing_keys().unwrap();
    ledger.newest_signed_head().unwrap();
    ledger.signed_heads(0, 10).unwrap();
    assert!(ledger.subtree(3, 0).is_err() && ledger.subtree(9, 0).is_err());
    ledger.origin(Seq::FIRST).unwrap();
    ledger.corrections(Seq::FIRST).unwrap();
    ledger.sign_off(Seq::FIRST).unwrap();
    ledger.spectral_before(to).unwrap();
    ledger.pruned_by(Seq::FIRST).unwrap();
    ledger.pruned_since(Seq::FIRST).unwrap();
    ledger.raw_entries(Seq::FIRST, 10).unwrap();
    let asked = ledger.asked.take();
    assert_eq!(asked.len(), 50);
    for query in asked {
        let mut plan = ledger.conn.prepare(&format!("EXPLAIN QUERY PLAN {query}")).unwrap();
        for n in 1..=plan.parameter_count() {
            plan.raw_bind_parameter(n, 1).unwrap();
        }
        let mut rows = plan.raw_query();
        while let Some(row) = rows.next().unwrap() {
            let step: String = row.get(3).unwrap();
            // The partial indexes hold only what stands or is due (and may be sorted); the newest configuration is the first
            // row from the end, and all of them are few; so with keys, and the newest signed head.
            let short = ["INDEX outbox_due", "INDEX outbox_given_up", "SCAN config_in_force", "SCAN signing_key"]
                .iter()
                .any(|words| step.contains(words))
                || query.contains("INDEXED BY alert_standing")
                || query.contains("FROM signed_head ORDER BY size DESC LIMIT 1");
            assert!(step.starts_with("SEARCH") || short, "{query}: {step}");
        }
    }
}

fn recalibrated() -> Event {
    Event {
        device: device("bay-screen"),
        time: noon(),
        time_given: None,
        kind: EventKind::Recalibrated,
        operator: None,
        operator_by: None,
        note: Some("after the move".into()),
        target_white: Some(Xy { x: 0.3127, y: 0.329 }),
        target_luminance: None,
        other: None,
        details: Default::default(),
    }
}

#[test]
fn events_go_round() {
    let mut ledger = Ledger::in_memory(&site()).unwrap();
    let event = recalibrated();
    let seq = Seq::new(5).unwrap();
    assert_eq!(ledger.event_standing(&event).unwrap(), None);
    let row = EventRow { seq, event: event.clone(), excluded: None };
    ledger.write(noon(), |tx| tx.put_event(&row)).unwrap();
    assert_eq!(ledger.event_standing(&event).unwrap(), Some(seq));
    assert_eq!(ledger.event_standing(&Event { target_white: None, ..event.clone() }).unwrap(), None);
    assert_eq!(ledger.events(&event.device, noon(), noon()).unwrap(), std::slice::from_ref(&row));
    assert_eq!(ledger.event(seq).unwrap(), Some(row));
    assert!(ledger.write(noon(), |tx| tx.retract(seq)).unwrap());
    assert_eq!(ledger.event(seq).unwrap().unwrap().excluded.as_deref(), Some("retracted"));
}

#[test]
fn estimates_and_checkpoints_go_by_time() {
    let mut ledger = Ledger::in_memory(&site()).unwrap();
    let lamp = device("bay-lamp");
    let day = |n: i64| Time::from_micros(n * 86_400_000_000);
    ledger
        .write(noon(), |tx| {
            for n in [10, 20, 30] {
                tx.put_checkpoint(&lamp, day(n), &[n as u8])?;
            }
            tx.put_estimate(&EstimateRow {
                device: lamp.clone(),
                upto: day(30),
                params: Digest::of(b"p"),
                state: vec![1],
            })
        })
        .unwrap();
    assert_eq!(ledger.checkpoint(&lamp, day(29)).unwrap(), Some((day(20), vec![20])));
    assert_eq!(ledger.checkpoint(&lamp, day(20)).unwrap(), Some((day(20), vec![20])));
    assert_eq!(ledger.checkpoint(&lamp, day(9)).unwrap(), None);
    ledger.write(noon(), |tx| tx.drop_checkpoints(&lamp, day(20))).unwrap();
    assert_eq!(ledger.checkpoint(&lamp, day(99)).unwrap(), Some((day(10), vec![10])));
    assert_eq!(ledger.estimate(&lamp).unwrap().unwrap().state, [1]);
    ledger.write(noon(), |tx| tx.forget_estimate(&lamp)).unwrap();
    assert_eq!(ledger.estimate(&lamp).unwrap(), None);
    assert_eq!(ledger.checkpoint(&lamp, day(99)).unwrap(), None);
}

#[test]
fn one_alert_of_a_kind_stands_for_a_subject() {
    let mut ledger = Ledger::in_memory(&site()).unwrap();
    let alert = |id| AlertRow {
        id,
        kind: "match-out".into(),
        subject: "bay".into(),
        raised_at: noon(),
        acknowledged_at: None,
        cleared_at: None,
        operator: None,
        operator_by: None,
        reason: "risk".into(),
        detail: "the match is out".into(),
        run: None,
        repeated_at: None,
    };
    assert_eq!(ledger.next_alert_id().unwrap(), 1);
    ledger.write(noon(), |tx| tx.put_alert(&alert(1))).unwrap();
    assert!(ledger.write(noon(), |tx| tx.put_alert(&alert(2))).is_err());
    assert_eq!(ledger.standing_alert("match-out", "bay").unwrap(), Some(alert(1)));
    let acknowledged = AlertRow { acknowledged_at: Some(noon()), ..alert(1) };
    assert_eq!(acknowledged.state(), Transition::Acknowledged);
    let cleared = AlertRow { cleared_at: Some(noon()), ..acknowledged };
    assert_eq!(cleared.state(), Transition::Cleared);
    ledger.write(noon(), |tx| tx.put_alert(&cleared)).unwrap();
    assert_eq!(ledger.standing_alerts().unwrap(), []);
    ledger.write(noon(), |tx| tx.put_alert(&alert(2))).unwrap();
    assert_eq!(ledger.alerts().unwrap(), [cleared, alert(2)]);
    assert_eq!(ledger.next_alert_id().unwrap(), 3);

    let message = MessageRow {
        key: "match-out/bay/2/raised".into(),
        alert: Some(2),
        channel: "log".into(),
        body: "{}".into(),
        created_at: noon(),
        state: MessageState::Due,
        ended_at: None,
    };
    assert!(ledger.write(noon(), |tx| tx.put_message(&message)).unwrap());
    assert!(!ledger.write(noon(), |tx| tx.put_message(&message)).unwrap(), "once only");
    assert_eq!(ledger.due_messages().unwrap(), std::slice::from_ref(&message));
    assert!(ledger.write(noon(), |tx| tx.mark_message(&message.key, MessageState::Sent, Some(noon()), None)).unwrap());
    assert_eq!(ledger.due_messages().unwrap(), []);
    assert_eq!(ledger.message(&message.key).unwrap().unwrap().state, MessageState::Sent);
}

#[test]
fn projections_of_two_ledgers_can_be_compared() {
    let fill = || {
        let mut ledger = Ledger::in_memory(&site()).unwrap();
        ledger.found(noon(), "0.1.0", None).unwrap();
        take(&mut ledger, noon(), reading("bay-lamp", noon(), 0.31)).unwrap();
        ledger
            .write(noon(), |tx| {
                tx.put_config(Seq::FIRST, &Digest::of(b"toml"))?;
                tx.put_file(&FileRow {
                    sha256: Digest::of(b"a"),
                    seq: Seq::FIRST,
                    name: "a.csv".into(),
                    refused: true,
                })?;
                tx.put_file(&FileRow {
                    sha256: Digest::of(b"a"),
                    seq: Seq::FIRST,
                    name: "a.csv".into(),
                    refused: false,
                })
            })
            .unwrap();
        ledger
    };
    let (mut one, two) = (fill(), fill());
    let whole = two.projection_digests().unwrap();
    assert_eq!(one.projection_digests().unwrap(), whole);
    assert!(!one.file(&Digest::of(b"a")).unwrap().unwrap().refused);
    assert_eq!(one.config_in_force().unwrap(), Some((Seq::FIRST, Digest::of(b"toml"))));
    assert!(whole.iter().any(|table| table.table == "reading" && table.rows == 1));

    one.write(noon(), |tx| tx.exclude_reading(Seq::new(2).unwrap(), Some("ahead"))).unwrap();
    let changed = one.projection_digests().unwrap();
    let differing: Vec<_> = whole.iter().zip(&changed).filter(|(a, b)| a != b).map(|(a, _)| a.table).collect();
    assert_eq!(differing, ["reading"]);
    one.write(noon(), |tx| tx.clear_projections()).unwrap();
    assert!(one.projection_digests().unwrap().iter().all(|table| table.rows == 0));
    assert_eq!(one.head().unwrap(), two.head().unwrap(), "the entries stay");
    // Every table but the ledger itself is a projection; signed heads and the cache of its tree are the ledger's.
    let tables: Vec<String> = one
        .all(
            "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT IN ('entry', 'head', 'signed_head', 'subtree') ORDER BY name",
            (),
            |row| row.get(0),
        )
        .unwrap();
    assert_eq!(tables, schema::PROJECTIONS.iter().map(|(table, _)| *table).collect::<Vec<_>>());
}

#[test]
fn a_reading_row_comes_back_whole() {
    let mut ledger = Ledger::in_memory(&site()).unwrap();
    let mut given = reading("bay-lamp", noon(), 0.31);
    given.circumstances.instrument = Some(InstrumentId::new("spectro-1").unwrap());
    let whole = ReadingRow {
        spread: Some(UvVariance { uu: 1e-6, uv: -1e-7, vv: 2e-6 }),
        hours: Some(crate::units::Hours(1200.5)),
        warmup_min: Some(12.0),
        setting: Some("level 3".into()),
        source: crate::reading::Source::Label,
        excluded: Some("ahead".into()),
        released: true,
        ..row(Seq::new(9).unwrap(), &given)
    };
    ledger.write(noon(), |tx| tx.put_reading(&whole)).unwrap();
    assert_eq!(ledger.reading(whole.seq).unwrap(), Some(whole.clone()));
    assert!(ledger.write(noon(), |tx| tx.put_reading(&whole)).is_err(), "twice");
    assert_eq!(ledger.instruments().unwrap(), [(InstrumentId::new("spectro-1").unwrap(), 1)]);
    assert!(matches!(
        ledger.write(noon(), |tx| tx.append(&Body::parse("release", r#"{"seq":9}"#).unwrap())),
        Err(LedgerError::Order { .. })
    ));
}
