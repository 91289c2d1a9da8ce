//! Whether anybody watches: the beat's file, what `status` says of it, the outgoing URL, blindness, and the metrics as promtool reads them.

use std::fs;
use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::process::Command;
use std::sync::mpsc;
use std::time::Duration;

use serde_json::Value;
use twinwhite::publish::beat::{self, Beat};

use super::clock::{CONFIG, Watch};
use super::site::{PROGRAM, Site, quiet_weeks};
use super::tools::checked_by;

#[test]
fn quiet_and_unwatched_never_look_alike() {
    let site = Site::loft();
    site.ingest("weeks.csv", &quiet_weeks(2));
    assert!(site.ok("status").contains("No watch runs here"), "{}", site.ok("status"));
    assert_eq!(site.json("status")["heartbeat"], Value::Null);

    let daemon = site.daemon();
    daemon.until("a beat", || site.path("state/heartbeat.json").exists());
    let said = site.ok("status");
    assert!(said.contains("The watch is alive: it last looked through everything "), "{said}");
    assert!(said.contains("last read: "), "{said}");
    let heartbeat = site.json("status")["heartbeat"].clone();
    let age = heartbeat["age_s"].as_f64().unwrap();
    assert!((0.0..180.0).contains(&age), "{heartbeat}");
    assert_eq!((&heartbeat["blind"], &heartbeat["last_reading"]["device"]), (&false.into(), &"loft-screen".into()));
    assert_eq!(daemon.stop().code(), Some(0));

    let said = site.ok("status");
    assert!(said.contains("Nobody is watching: `twinwhite run` was ended "), "{said}");
    assert!(site.json("status")["heartbeat"]["ended_at"].is_string());

    // Cut off: its lock is free at once, however young the beat.
    let mut daemon = site.daemon();
    let alive = || site.json("status")["heartbeat"]["ended_at"].is_null();
    daemon.until("a beat", alive);
    daemon.signal("KILL");
    daemon.ended();
    let said = site.ok("status");
    assert!(said.contains("Nobody is watching: `twinwhite run` was cut off; it last finished a look "), "{said}");

    // The same an hour ago, where the lock tells nothing.
    fs::remove_file(site.path("state/run.lock")).unwrap();
    let file = site.path("state/heartbeat.json");
    let mut beat: Beat = serde_json::from_str(&fs::read_to_string(&file).unwrap()).unwrap();
    beat.ended_at = None;
    beat.at = beat.at.plus(twinwhite::units::Days(-1.0 / 24.0));
    fs::write(&file, serde_json::to_string(&beat).unwrap()).unwrap();
    let said = site.ok("status");
    assert!(said.contains("Nobody is watching: `twinwhite run` last finished a look 1 hour ago"), "{said}");
}

#[test]
fn a_prometheus_tool_accepts_the_metrics() {
    let site = Site::loft();
    site.ingest("weeks.csv", &quiet_weeks(3));
    let daemon = site.daemon();
    let file = site.path("state/twinwhite.prom");
    daemon.until("the metrics", || file.exists());
    let text = fs::read_to_string(&file).unwrap();
    assert_eq!(daemon.stop().code(), Some(0));
    for line in [
        "twinwhite_station_verdict{station=\"desk\",verdict=\"unknown\"} ",
        "twinwhite_station_risk_ratio{station=\"desk\"} ",
        "twinwhite_device_reading_age_seconds{device=\"loft-lamp\"} ",
        "twinwhite_messages_due{channel=\"log\"} 0",
        "twinwhite_standing_alerts{kind=\"blind\"} 0",
        "twinwhite_heartbeat_timestamp_seconds ",
        "twinwhite_store_size_bytes ",
        "twinwhite_journal_size_bytes ",
        "twinwhite_inbox_waiting_files 0",
    ] {
        assert!(text.lines().any(|found| found.starts_with(line)), "no {line} in\n{text}");
    }
    assert!(text.ends_with("# EOF\n"));
    checked_by("promtool", &["check", "metrics"], &text);
}

/// Answers each request as told by its number, and hands on its first line.
fn receiver(answer: impl Fn(usize, TcpStream) + Send + 'static) -> (u16, mpsc::Receiver<String>) {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    let (send, requests) = mpsc::channel();
    std::thread::spawn(move || {
        for (number, stream) in listener.incoming().enumerate() {
            let mut stream = stream.unwrap();
            let (mut head, mut byte) = (Vec::new(), [0]);
            while !head.ends_with(b"\r\n\r\n") && stream.read(&mut byte).unwrap() == 1 {
                head.push(byte[0]);
            }
            let first = String::from_utf8(head).unwrap().lines().next().unwrap().to_owned();
            answer(number, stream);
            if send.send(first).is_err() {
                return;
            }
        }
    });
    (port, requests)
}

fn respond(mut stream: TcpStream, status: &str) {
    let _ = stream.write_all(format!("HTTP/1.1 {status}\r\nContent-Length: 0\r\nConnection: close\r\n\r\n").as_bytes());
}

/// Lets time pass by the minute until `holds`.
async fn minutes_until(watch: &mut Watch, what: &str, mut holds: impl FnMut(&Watch) -> bool) {
    for _ in 0..900 {
        if holds(watch) {
            return;
        }
        watch.clock.advance(Duration::from_secs(61));
        watch.settle().await;
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    panic!("waited in vain for {what}");
}

fn beat_of(watch: &Watch) -> Option<Beat> {
    beat::last(&watch.config())
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_address_hears_of_each_beat_and_its_failing_is_told() {
    // Well, an error, a cut line, an answer that never comes, and well again.
    let (port, requests) = receiver(|number, stream| match number {
        0 => respond(stream, "204 No Content"),
        1 => respond(stream, "500 Internal Server Error"),
        2 => drop(stream),
        3 => std::mem::forget(stream),
        _ => respond(stream, "200 OK"),
    });
    let more = format!("\n[heartbeat]\nurl = \"http://127.0.0.1:{port}/secret-path\"\n");
    let mut watch = Watch::start_with("2026-03-02T10:00:00Z", &more);
    minutes_until(&mut watch, "the first request", |_| {
        requests.try_recv().is_ok_and(|line| line.starts_with("GET /secret-path "))
    })
    .await;
    let why = |watch: &Watch| beat_of(watch).and_then(|beat| beat.url_fails).map(|fails| fails.why).unwrap_or_default();
    for told in ["status 500", "the connection failed", "does not answer within 10 s"] {
        minutes_until(&mut watch, told, |watch| why(watch).contains(told)).await;
        assert!(!why(&watch).contains("secret-path"));
    }
    minutes_until(&mut watch, "that it works again", |watch| {
        beat_of(watch).is_some_and(|beat| beat.url_fails.is_none())
    })
    .await;
    watch.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_blind_watch_does_not_beat_and_says_so() {
    let mut watch = Watch::start_with("2026-03-02T10:00:00Z", "");
    minutes_until(&mut watch, "a beat", |watch| beat_of(watch).is_some()).await;
    let inbox = watch.folder.path().join("inbox");
    fs::rename(&inbox, watch.folder.path().join("elsewhere")).unwrap();
    let alerts = |watch: &Watch, state: &str| {
        let ledger = rusqlite::Connection::open(watch.folder.path().join("state/ledger.db")).unwrap();
        let asked = format!("SELECT count(*) FROM alert WHERE kind = 'blind' AND cleared_us {state}");
        ledger.query_row(&asked, [], |row| row.get::<_, i64>(0)).unwrap()
    };
    minutes_until(&mut watch, "the alert", |watch| alerts(watch, "IS NULL") == 1).await;
    let last = beat_of(&watch).unwrap().at;
    for _ in 0..5 {
        watch.clock.advance(Duration::from_secs(61));
        watch.settle().await;
    }
    assert_eq!(beat_of(&watch).unwrap().at, last, "no beat while blind");

    fs::rename(watch.folder.path().join("elsewhere"), &inbox).unwrap();
    minutes_until(&mut watch, "the alert's end", |watch| alerts(watch, "IS NOT NULL") == 1).await;
    minutes_until(&mut watch, "a beat again", |watch| beat_of(watch).unwrap().at > last).await;
    watch.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn heads_that_cannot_be_copied_are_told_in_status_until_they_are() {
    let more = "\n[signing]\ncopies = \"elsewhere\"\n";
    let mut watch = Watch::start_with("2026-03-02T10:00:00Z", more);
    let folder = watch.folder.path().to_owned();
    fs::write(folder.join("twinwhite.toml"), format!("{CONFIG}{more}")).unwrap();
    let status = |words: &[&str]| {
        let said = Command::new(PROGRAM).current_dir(&folder).env_clear().arg("status").args(words).output().unwrap();
        String::from_utf8(said.stdout).unwrap()
    };
    let json = || serde_json::from_str::<Value>(&status(&["--json"])).unwrap()["heartbeat"]["heads_fail"].clone();
    let fails = |watch: &Watch| beat_of(watch).and_then(|beat| beat.heads_fail);
    minutes_until(&mut watch, "a beat that says so", |watch| fails(watch).is_some()).await;
    let told = fails(&watch).unwrap();
    assert!(told.why.contains("elsewhere is not there"), "{told:?}");
    assert_eq!(json()["why"], told.why);
    let said = status(&[]);
    assert!(said.contains(&format!(": {}.\n", told.why)), "{said}");

    // It stands since the first time, until a later try succeeds.
    watch.clock.advance(Duration::from_secs(3600));
    watch.settle().await;
    minutes_until(&mut watch, "another beat", |watch| beat_of(watch).unwrap().at.since(told.since).0 > 0.05).await;
    assert_eq!(fails(&watch).unwrap().since, told.since);
    fs::create_dir(folder.join("elsewhere")).unwrap();
    minutes_until(&mut watch, "that they are copied", |watch| fails(watch).is_none()).await;
    assert!(!status(&[]).contains("signed heads"));
    assert_eq!(json(), Value::Null);
    watch.stop().await;
}
