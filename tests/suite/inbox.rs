//! Files in the drop folder of the real daemon: every way in, every way of being unfit, and kills at any moment.

use std::collections::BTreeSet;
use std::fs;
use std::io::Write;
use std::process::Command;
use std::time::Duration;

use super::site::{HEADER, LOFT, Site, day, from_now, lamp, quiet_weeks, screen, waited};

/// A file with one reading of the lamp on day `n`.
fn one(n: u32) -> String {
    format!("{HEADER}{}", lamp(day(f64::from(n) / 24.0), 500.0 + f64::from(n % 7) / 10.0))
}

fn time(n: u32) -> String {
    day(f64::from(n) / 24.0).to_string()
}

#[test]
fn a_file_may_come_in_every_way() {
    let site = Site::loft();
    let daemon = site.daemon();

    fs::rename(site.write("aside.csv", one(0)), site.path("inbox/renamed.csv")).unwrap();
    site.write("copied.csv", one(1));
    let copied = Command::new("cp").args([site.path("copied.csv"), site.path("inbox/copied.csv")]).status().unwrap();
    assert!(copied.success());
    site.write("inbox/in-place.csv", one(2));
    site.write("inbox/loft-lamp/no-device.csv", format!("time,x,y,illuminance_lx\n{},0.3457,0.3585,500\n", time(3)));
    let lines = [4, 5].map(|n| {
        format!(r#"{{"time":"{}","device":"loft-lamp","x":0.3457,"y":0.3585,"illuminance_lx":501}}"#, time(n)) + "\n"
    });
    site.write("inbox/lines.jsonl", lines.concat());

    // A writer that takes a breath again and again, within rows and between them, and never closes.
    let rows: String = (6..12).map(|n| lamp(day(f64::from(n) / 24.0), 500.0)).collect();
    let mut slow = fs::File::create(site.path("inbox/slow.csv")).unwrap();
    for piece in (HEADER.to_owned() + &rows).as_bytes().chunks(40) {
        slow.write_all(piece).unwrap();
        std::thread::sleep(Duration::from_millis(60));
    }
    drop(slow);

    let expected: Vec<String> = (0..12).map(time).collect();
    daemon.until("all readings", || site.names("inbox") == ["loft-lamp"] && site.times("loft-lamp").len() >= 12);
    assert_eq!(site.times("loft-lamp"), expected, "each reading exactly once");
    let mut archived: Vec<_> = site.files("archive").iter().map(|p| p.file_name().unwrap().to_owned()).collect();
    archived.sort();
    assert_eq!(archived, ["copied.csv", "in-place.csv", "lines.jsonl", "no-device.csv", "renamed.csv", "slow.csv"]);
    assert_eq!(site.names("quarantine"), [""; 0]);
    assert!(daemon.stop().success());
    site.audit();
}

#[test]
fn what_is_not_whole_or_not_meant_waits() {
    let site = Site::loft();
    let daemon = site.daemon();
    let target = site.write("elsewhere.csv", one(0));
    std::os::unix::fs::symlink(target, site.path("inbox/link.csv")).unwrap();
    for (n, name) in [(1, ".hidden.csv"), (2, "copying.csv.part"), (3, "saving.tmp"), (4, "edited.csv~")] {
        site.write(&format!("inbox/{name}"), one(n));
    }
    let whole = one(5) + &lamp(day(6.0 / 24.0), 498.0);
    let (half, rest) = whole.split_at(whole.len() - 20);
    site.write("inbox/half.csv", half);
    site.write("inbox/header.csv", HEADER);
    daemon.wait_for(&["not finished", "half.csv"]);
    daemon.wait_for(&["not finished", "header.csv"]);
    daemon.wait_for(&["link.csv", "symbolic link"]);
    // A later file shows that the folder was looked through with all of them in it.
    site.write("inbox/later.csv", one(7));
    daemon.wait_for(&["taken", "later.csv"]);
    assert_eq!(site.times("loft-lamp"), [time(7)]);
    let waiting =
        [".hidden.csv", "copying.csv.part", "edited.csv~", "half.csv", "header.csv", "link.csv", "saving.tmp"];
    assert_eq!(site.names("inbox"), waiting);

    let append = |name: &str, text: &str| {
        let mut file = fs::File::options().append(true).open(site.path(name)).unwrap();
        file.write_all(text.as_bytes()).unwrap();
    };
    append("inbox/half.csv", rest);
    append("inbox/header.csv", &lamp(day(8.0 / 24.0), 500.0));
    fs::rename(site.path("inbox/copying.csv.part"), site.path("inbox/copying.csv")).unwrap();
    let expected: Vec<String> = [2, 5, 6, 7, 8].map(time).to_vec();
    daemon.until("what was finished", || site.times("loft-lamp").len() >= expected.len());
    assert_eq!(site.times("loft-lamp"), expected);
    daemon.until("the archive", || site.names("inbox") == [".hidden.csv", "edited.csv~", "link.csv", "saving.tmp"]);
    assert!(daemon.stop().success());
    site.audit();
}

#[test]
fn what_cannot_be_read_goes_to_quarantine_with_its_reasons() {
    let site = Site::loft();
    let daemon = site.daemon();
    let noise: Vec<u8> = (0u32..4000).map(|n| (n.wrapping_mul(2_654_435_761) >> 13) as u8).collect();
    site.write("inbox/noise.csv", noise);
    site.write("inbox/huge.csv", HEADER.to_owned() + &lamp(day(0.0), 500.0).repeat(2000));
    site.write("inbox/wrong.csv", format!("{HEADER}{}", screen(day(0.0), 146.0).replace("loft-screen", "loft-scren")));
    site.write("inbox/nowhere/stranger.csv", format!("time,x,y,illuminance_lx\n{},0.3457,0.3585,500\n", time(3)));
    site.write("inbox/good.csv", one(9));
    let names = ["huge.csv", "noise.csv", "stranger.csv", "wrong.csv"];
    for name in names {
        daemon.wait_for(&["refused", name]);
    }
    daemon.wait_for(&["taken", "good.csv"]);
    daemon.until("the moves", || site.files("inbox").is_empty());
    let expected: Vec<String> =
        names.iter().flat_map(|name| [(*name).to_owned(), format!("{name}.reason.txt")]).collect();
    assert_eq!(site.names("quarantine"), expected);
    let reason = |name: &str| fs::read_to_string(site.path(&format!("quarantine/{name}.reason.txt"))).unwrap();
    assert!(reason("huge.csv").contains("65536"), "{}", reason("huge.csv"));
    assert!(reason("noise.csv").contains("UTF-8") || reason("noise.csv").contains("binary"), "{}", reason("noise.csv"));
    let wrong = reason("wrong.csv");
    assert!(wrong.contains("line 2, device") && wrong.contains("'loft-screen'"), "{wrong}");
    assert_eq!(site.times("loft-lamp"), [time(9)]);
    assert_eq!(site.times("loft-screen"), [""; 0]);
    let refused = site.alerts().into_iter().filter(|(kind, _)| kind == "file-refused").count();
    assert_eq!(refused, 4);

    // The same bad bytes again: moved away, and nothing new is said.
    let entries = site.audit();
    fs::copy(site.path("quarantine/wrong.csv"), site.path("inbox/wrong.csv")).unwrap();
    daemon.until("the second move", || site.files("inbox").is_empty());
    assert_eq!(site.audit(), entries);
    assert!(daemon.stop().success());
}

#[test]
fn two_thousand_files_at_once() {
    const FILES: u32 = 2000;
    let site = Site::loft();
    let daemon = site.daemon();
    for n in 0..FILES {
        fs::write(site.path(&format!("inbox/{n:04}.csv")), one(n)).unwrap();
    }
    daemon.until("an empty inbox", || site.names("inbox").is_empty());
    assert!(daemon.stop().success());
    let expected: Vec<String> = (0..FILES).map(time).collect();
    assert_eq!(site.times("loft-lamp"), expected, "each exactly once, in order of time");
    assert_eq!(site.files("archive").len(), FILES as usize);
    site.audit();
}

/// Kill -9 loses what the process had in memory, not what the system had still to write: this shows that every step can
/// be the last and be repeated, and says nothing of power cuts.
#[test]
fn killed_at_any_moment_it_takes_each_reading_once() {
    const FILES: u32 = 240;
    // Each new start finds files of which nobody told it, and waits for as long before it takes them.
    let site = Site::new(&LOFT.replace("settle_s = 3", "settle_s = 0.1"));
    fs::create_dir_all(site.path("inbox")).unwrap();
    let mut written = 0;
    let mut dice = 12_345u32;
    let mut roll = |sides: u32| {
        dice = dice.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (dice >> 16) % sides
    };
    let mut kills = 0;
    while written < FILES || !site.names("inbox").is_empty() {
        let more = (written + 20).min(FILES);
        (written..more).for_each(|n| drop(site.write(&format!("inbox/{n:03}.csv"), one(n))));
        written = more;
        let daemon = site.daemon_with(&["run"]);
        // From before it stands to somewhere among its files.
        let (after, then) = (roll(20) as usize, Duration::from_micros(u64::from(roll(4000))));
        waited(|| daemon.count("taken file=") >= after || site.names("inbox").is_empty());
        std::thread::sleep(then);
        daemon.kill();
        kills += 1;
        assert!(kills < 400, "it gets nowhere");
    }
    assert!(kills >= 12, "only {kills} kills");
    let expected: Vec<String> = (0..FILES).map(time).collect();
    assert_eq!(site.times("loft-lamp"), expected, "after {kills} kills");
    let archived: BTreeSet<_> = site.files("archive").iter().map(|path| path.file_name().unwrap().to_owned()).collect();
    assert_eq!(archived.len(), FILES as usize);
    assert_eq!(site.files("archive").len(), FILES as usize, "none twice");
    assert_eq!(site.names("quarantine"), [""; 0]);
    site.audit();
}

#[test]
fn the_same_again_changes_nothing() {
    let site = Site::loft();
    site.write("inbox/loft.csv", quiet_weeks(3));
    // It came while no daemon ran.
    let daemon = site.daemon();
    daemon.wait_for(&["taken", "loft.csv"]);
    let before = (site.audit(), site.times("loft-lamp"), site.ok("history loft-screen --json"));
    site.write("inbox/loft.csv", quiet_weeks(3));
    daemon.wait_for(&["known", "loft.csv"]);
    site.write("inbox/copy of loft.csv", quiet_weeks(3));
    daemon.wait_for(&["known", "copy of loft.csv"]);
    daemon.until("the moves", || site.names("inbox").is_empty());
    assert_eq!((site.audit(), site.times("loft-lamp"), site.ok("history loft-screen --json")), before);
    // The same readings in other bytes: the file is noted, its readings are not taken again.
    site.write("inbox/more.csv", quiet_weeks(4));
    daemon.wait_for(&["taken", "more.csv", "new=2", "duplicates=6"]);
    assert_eq!(site.times("loft-lamp").len(), 4);
    assert!(daemon.stop().success());
    site.audit();
}

#[test]
fn a_second_daemon_is_refused_and_a_signal_ends_the_first() {
    let site = Site::loft();
    let daemon = site.daemon();
    let second = site.run("run");
    assert_eq!(second.code, 1);
    assert!(second.err.contains("another `twinwhite run` already watches this site"), "{}", second.err);
    assert_eq!(daemon.stop().code(), Some(0));
    let mut third = site.daemon();
    third.signal("INT");
    assert_eq!(third.ended().code(), Some(0));
    assert!(third.log().contains("stopping"));
}

#[test]
fn an_archive_without_its_ledger_is_not_begun_anew_in_silence() {
    let site = Site::loft();
    site.write("inbox/loft.csv", quiet_weeks(2));
    let daemon = site.daemon();
    daemon.until("the archive", || site.names("inbox").is_empty());
    assert!(daemon.stop().success());
    fs::remove_dir_all(site.path("state")).unwrap();

    for command in ["run", "add loft-lamp x=0.3457 y=0.3585 illuminance_lx=500", "ingest late.csv"] {
        site.write("late.csv", one(700));
        let said = site.run(command);
        assert_eq!(said.code, 1, "{command}");
        assert!(said.err.contains("--new-ledger"), "{command}: {}", said.err);
        assert!(!site.path("state/ledger.db").exists(), "{command} began a ledger");
    }
    let daemon = site.daemon_with(&["run", "--new-ledger"]);
    daemon.wait_for(&["watching"]);
    assert_eq!(daemon.stop().code(), Some(0));
    let (kind, body): (String, String) = site
        .ledger()
        .query_row("SELECT kind, body FROM entry WHERE seq = 1", (), |row| Ok((row.get(0)?, row.get(1)?)))
        .unwrap();
    assert_eq!(kind, "founded");
    assert!(body.contains("archive that is not empty"), "{body}");
    // From then on it is a ledger like any other.
    assert!(site.daemon().stop().success());
    site.audit();
}

#[test]
fn a_broken_configuration_leaves_the_old_one_in_force() {
    let site = Site::loft();
    let good = site.write("good.toml", LOFT);
    let good = good.to_str().unwrap();
    let daemon = site.daemon();
    let alerts = || {
        let answer: serde_json::Value =
            serde_json::from_str(&site.ok(&format!("--config {good} alerts --json"))).unwrap();
        let alerts = answer["alerts"].as_array().unwrap().clone();
        let of = |alert: serde_json::Value| (alert["kind"].clone(), alert["state"].clone(), alert["detail"].clone());
        alerts.into_iter().map(of).filter(|(kind, ..)| kind == "config-refused").collect::<Vec<_>>()
    };
    site.write("twinwhite.toml", LOFT.replace("delta_uv = 0.005", "delta_uw = 0.005"));
    daemon.signal("HUP");
    daemon.wait_for(&["is not taken"]);
    daemon.until("the alert", || alerts().len() == 1);
    let (_, state, detail) = alerts().remove(0);
    assert_eq!(state, "raised");
    assert!(detail.as_str().unwrap().contains("delta_uw"), "{detail}");
    // The old one is still in force: it knows the devices and takes their files.
    site.write("inbox/loft.csv", one(0));
    daemon.wait_for(&["taken", "loft.csv"]);

    let text = LOFT.replace("max_bytes = 65536", "max_bytes = 2000");
    site.write("twinwhite.toml", &text);
    daemon.signal("HUP");
    daemon.wait_for(&["read again"]);
    daemon.until("the alert's end", || alerts().iter().all(|(_, state, _)| state == "cleared"));
    site.write("inbox/large.csv", quiet_weeks(40));
    daemon.wait_for(&["refused", "large.csv"]);
    assert!(daemon.stop().success());
    let configs: i64 =
        site.ledger().query_row("SELECT count(*) FROM entry WHERE kind = 'config'", (), |row| row.get(0)).unwrap();
    assert_eq!(configs, 2, "each configuration in force is an entry, and no other");
    site.audit();
}

#[test]
fn commands_work_beside_the_daemon() {
    let site = Site::loft();
    let daemon = site.daemon();
    site.write("inbox/a.csv", one(0));
    daemon.wait_for(&["taken", "a.csv"]);
    assert_eq!(site.ingest("b.csv", &one(1))["result"], "taken");
    site.ok("add loft-lamp x=0.3457 y=0.3585 illuminance_lx=500");
    site.ok("record cleaned loft-lamp");
    let wrong = site.write("bad.csv", "time,device,x\n");
    let wrong = fs::write(&wrong, "time,device,lustre\n2025-01-06T12:00:00Z,loft-lamp,3\n").map(|()| wrong).unwrap();
    assert_eq!(site.run(&format!("ingest {}", wrong.display())).code, 1);
    // The daemon hears of what others wrote and delivers its message.
    daemon.wait_for(&["bad.csv: the file was refused"]);
    let id = site.json("alerts --open")["alerts"][0]["id"].clone();
    site.ok(&format!("--operator ines ack {id}"));
    daemon.wait_for(&["bad.csv", "state=\"cleared\"", "since it was acknowledged"]);
    site.write("inbox/c.csv", one(2));
    daemon.wait_for(&["taken", "c.csv"]);
    // A lamp far off its aim, added by another process.
    for minutes in [-20.0, -10.0] {
        let time = from_now(minutes / 1440.0);
        site.ok(&format!("add loft-screen x=0.3700 y=0.3700 luminance_cd_m2=146 time={time}"));
    }
    daemon.wait_for(&["loft-screen: yellower than its aim; the match at desk is out"]);
    assert!(daemon.stop().success());
    assert_eq!(site.times("loft-lamp").len(), 4);
    assert_eq!(site.json("history loft-lamp")["events"].as_array().unwrap().len(), 1);
    site.audit();
}
