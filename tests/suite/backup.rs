//! The ledger put into safety while others write, and back from there: on an empty machine, over its own beginning, and not over anything else.

use std::fs;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use serde_json::Value;

use super::site::{HEADER, LOFT, Site, day, lamp, pinned, quiet_weeks};

fn filled() -> Site {
    let site = Site::loft();
    site.ingest("quiet.csv", &quiet_weeks(6));
    site.ok("audit head");
    site
}

/// A file of one site as a file of another.
fn carry(from: &Site, name: &str, to: &Site) {
    to.write(name, fs::read(from.path(name)).unwrap());
}

fn root(site: &Site) -> String {
    site.json("audit verify")["root"].as_str().unwrap().to_owned()
}

/// What a call must refuse, and what it says.
#[track_caller]
fn refused(site: &Site, words: &str, part: &str) {
    let said = site.run(words);
    assert_eq!((said.code, said.out.as_str()), (1, ""), "{words}: {}", said.err);
    assert!(said.err.contains(part), "{words} should speak of '{part}': {}", said.err);
}

/// Names in the state folder that are a ledger's or a copy's, without SQLite's own beside a ledger that was only read.
fn ledgers(site: &Site) -> Vec<String> {
    let of_a_ledger = |name: &String| name.starts_with("ledger.db") || name.contains(".part");
    let own = |name: &String| ["ledger.db-wal", "ledger.db-shm"].contains(&name.as_str());
    site.names("state").into_iter().filter(|name| of_a_ledger(name) && !own(name)).collect()
}

/// As when the machine is lost.
fn lose(site: &Site) {
    for name in site.names("state").iter().filter(|name| name.starts_with("ledger.db")) {
        fs::remove_file(site.path("state").join(name)).unwrap();
    }
}

#[test]
fn a_backup_says_what_it_holds() {
    let site = filled();
    let entries = site.audit();
    site.ok("record cleaned loft-lamp");
    let made = site.json("backup first.backup");
    assert_eq!(made["holds"]["entries"], entries + 1);
    assert_eq!(made["holds"]["root"], root(&site).as_str());
    assert_eq!(made["holds"]["signed"]["size"], entries, "the newest head, which does not reach the end");
    assert_eq!(made["signed_heads"], 1);
    assert_eq!(made["bytes"], fs::metadata(site.path("first.backup")).unwrap().len());
    assert_eq!(made["replaced"], Value::Null);
    assert_eq!(ledgers(&site), ["ledger.db"], "nothing is left of making it");
    let key = fs::read_to_string(site.path("state/signing.key")).unwrap();
    let secret = key.lines().last().unwrap().as_bytes().to_vec();
    let bytes = fs::read(site.path("first.backup")).unwrap();
    assert!(
        secret.len() > 20 && !bytes.windows(secret.len()).any(|part| part == secret),
        "the private key is not in it"
    );
    // Once more under the same name: an older one of the same history makes room.
    site.ok("record cleaned loft-screen");
    assert_eq!(site.json("backup first.backup")["replaced"], entries + 1);
    assert_eq!(site.json("backup first.backup")["replaced"], entries + 2);
}

#[test]
fn on_an_empty_machine_everything_answers_alike() {
    let site = filled();
    site.ingest("dim.csv", &(HEADER.to_owned() + &lamp(day(43.0), 380.0) + &lamp(day(50.0), 379.0)));
    site.ok("audit head");
    site.ok("backup loft.backup");
    let asked = |site: &Site| {
        let when = day(51.0);
        let words = [
            format!("status --as-of {when}"),
            format!("forecast desk --as-of {when}"),
            format!("due --as-of {when}"),
            "history loft-lamp".to_owned(),
            "history loft-screen".to_owned(),
            "alerts".to_owned(),
            "messages".to_owned(),
            "audit verify".to_owned(),
        ];
        words.map(|words| site.json(&words))
    };
    let before = asked(&site);

    let empty = Site::loft();
    carry(&site, "loft.backup", &empty);
    // A service that starts too early begins nothing of its own beside the old archive.
    empty.write("archive/2025/old.csv", "what was received");
    let said = empty.run("run");
    assert_eq!(said.code, 1);
    assert!(said.err.contains("twinwhite restore FILE"), "{}", said.err);
    let restored = empty.json("restore loft.backup");
    assert_eq!(
        (&restored["placed"], &restored["before"], &restored["lost"]),
        (&"new".into(), &Value::Null, &Value::Null)
    );
    assert!(restored["missing_key"].as_str().unwrap().ends_with("signing.key"), "{restored}");
    assert_eq!(restored["unknown_files"].as_array().unwrap().len(), 1);
    assert_eq!(ledgers(&empty), ["ledger.db"]);
    assert_eq!(asked(&empty), before);
    assert!(empty.run("audit head --json").err.is_empty(), "the newest is signed already");

    // And goes on.
    empty.write("inbox/more.csv", HEADER.to_owned() + &lamp(day(57.0), 378.0));
    let daemon = empty.daemon();
    daemon.until("the reading", || empty.readings("loft-lamp").len() == 9);
    daemon.stop();
    assert!(empty.audit() > site.audit());
    carry(&site, "state/signing.key", &empty);
    empty.ok("audit head");
    refused(&empty, "restore loft.backup", "all of which it holds");
}

#[test]
fn texts_of_backup_and_restore() {
    let steady = |text: String| -> String {
        let words = text.lines().map(|line| {
            let steady: Vec<&str> = line
                .split(' ')
                .map(|word| {
                    let plain = word.trim_end_matches([',', '.', ')', ';']);
                    match plain {
                        _ if plain.len() == 64 => "ROOT",
                        _ if plain.len() == 14 && plain.matches('-').count() == 2 => "CODE",
                        _ if plain.contains('/') => "PATH",
                        _ if plain.starts_with("20") || plain.contains(':') => "TIME",
                        _ => word,
                    }
                })
                .collect();
            steady.join(" ") + "\n"
        });
        words.collect()
    };
    let site = filled();
    let made = site.ok("backup loft.backup");
    let made: String = made.lines().filter(|line| !line.contains("KiB")).map(|line| format!("{line}\n")).collect();
    pinned("backup", &steady(made));
    site.ok("record cleaned loft-lamp");
    site.ok("record cleaned loft-screen");
    site.ok("audit head");
    lose(&site);
    fs::remove_file(site.path("state/signing.key")).unwrap();
    pinned("restore", &steady(site.ok("restore loft.backup")));
    site.audit();
}

/// The private key is in no backup: whoever misses it has a copy, or has lost it.
#[test]
fn a_private_key_that_is_missing_is_said_to_be_missing() {
    let site = filled();
    assert!(site.ok("audit key").contains("the private key is in"));
    fs::remove_file(site.path("state/signing.key")).unwrap();
    let said = site.ok("audit key").replace('\n', " ");
    assert!(said.contains("signing.key and is MISSING there") && said.contains("your copy of it"), "{said}");
    assert!(!said.contains("the private key is in"), "{said}");
    site.ok("record cleaned loft-lamp");
    let said = site.run("audit head");
    assert_eq!(said.code, 1);
    assert!(said.err.contains("put your copy of it back there") && !said.err.contains("from a backup"), "{}", said.err);
}

#[test]
fn an_earlier_ledger_is_carried_on_from_wherever_it_ends() {
    let site = Site::loft();
    site.ok("record cleaned loft-lamp");
    let mut made = Vec::new();
    for nth in 0..6 {
        site.ingest("more.csv", &(HEADER.to_owned() + &lamp(day(f64::from(nth)), 500.0 + f64::from(nth))));
        if nth % 2 == 0 {
            site.ok("audit head");
        }
        made.push(site.json(&format!("backup {nth}.backup"))["holds"].clone());
    }
    for (from, earlier) in made.iter().enumerate() {
        for (to, later) in made.iter().enumerate().skip(from) {
            let other = Site::loft();
            carry(&site, &format!("{from}.backup"), &other);
            carry(&site, &format!("{to}.backup"), &other);
            other.ok(&format!("restore {from}.backup"));
            let restored = other.json(&format!("restore {to}.backup"));
            let placed = if from == to { "nothing" } else { "carried-on" };
            assert_eq!((&restored["placed"], &restored["before"]), (&placed.into(), &earlier["entries"]));
            let found = other.json("audit verify");
            assert_eq!((&found["root"], &found["entries"]), (&later["root"], &later["entries"]), "{from} to {to}");
            assert_eq!(other.readings("loft-lamp").len(), to + 1);
            // And not back again.
            if from < to {
                refused(&other, &format!("restore {from}.backup"), "all of which it holds");
                refused(&other, "backup nowhere/x.backup", "is not there");
                assert_eq!(other.json(&format!("backup {from}.backup"))["replaced"], earlier["entries"]);
            }
        }
    }
}

#[test]
fn what_is_no_older_backup_is_not_overwritten() {
    let site = filled();
    site.write("letter.txt", "Dear all, the blinds stay shut.");
    refused(&site, "backup letter.txt", "no ledger at all");
    site.write("empty", "");
    refused(&site, "backup empty", "no backup of this site");
    fs::create_dir(site.path("folder")).unwrap();
    refused(&site, "backup folder", "it is no file");
    refused(&site, "backup state/ledger.db", "the ledger itself");
    let other = Site::new(&LOFT.replace("Harbour loft", "Quillmoor"));
    other.ingest("quiet.csv", &quiet_weeks(1));
    other.ok("backup other.backup");
    carry(&other, "other.backup", &site);
    refused(&site, "backup other.backup", "belongs to site");
    refused(&site, "restore other.backup", "belongs to site");
    // A longer one, and one of another history.
    site.ok("backup long.backup");
    let anew = Site::loft();
    anew.ok("record cleaned loft-lamp");
    carry(&site, "long.backup", &anew);
    refused(&anew, "backup long.backup", "has only");
    anew.ingest("quiet.csv", &quiet_weeks(9));
    refused(&anew, "backup long.backup", "another history");
    assert_eq!(fs::read(anew.path("long.backup")).unwrap(), fs::read(site.path("long.backup")).unwrap());
    refused(&anew, "restore long.backup", "two histories");
    refused(&Site::loft(), "backup x.backup", "no ledger at");
    assert_eq!(fs::read_to_string(site.path("letter.txt")).unwrap(), "Dear all, the blinds stay shut.");
}

#[test]
fn restore_touches_nothing_that_stands() {
    let site = filled();
    site.ok("backup loft.backup");
    refused(&site, "restore nowhere.backup", "no such file");
    refused(&site, "restore state/ledger.db", "the ledger itself");
    site.write("letter.txt", "Dear all, the blinds stay shut.");
    refused(&site, "restore letter.txt", "it is no ledger");
    let daemon = site.daemon();
    refused(&site, "restore loft.backup", "already watches");
    daemon.stop();
    // Two histories of the same beginning, the backup longer: still another one.
    let twin = Site::loft();
    carry(&site, "loft.backup", &twin);
    twin.ok("restore loft.backup");
    twin.ok("record cleaned loft-lamp");
    site.ingest("more.csv", &(HEADER.to_owned() + &lamp(day(60.0), 480.0) + &lamp(day(61.0), 481.0)));
    site.ok("backup longer.backup");
    carry(&site, "longer.backup", &twin);
    let before = root(&twin);
    refused(&twin, "restore longer.backup", "two histories");
    assert_eq!(root(&twin), before);
    // A damaged one.
    let damage = "UPDATE entry SET body = replace(body, '0.3457', '0.3458') WHERE seq = 8";
    let broken = Site::loft();
    carry(&site, "loft.backup", &broken);
    carry(&site, "longer.backup", &broken);
    broken.ok("restore loft.backup");
    broken.ledger().execute_batch(damage).unwrap();
    refused(&broken, "restore longer.backup", "entry 8");
    refused(&broken, "backup x.backup", "entry 8");
    assert!(!broken.path("x.backup").exists());
    fs::remove_file(broken.path("state/ledger.db")).unwrap();
    broken.write("state/ledger.db-wal", "perhaps the last entries");
    refused(&broken, "restore longer.backup", "without its ledger.db");
    fs::remove_file(broken.path("state/ledger.db-wal")).unwrap();
    broken.ok("restore longer.backup");
    assert_eq!(root(&broken), root(&site));
}

#[test]
fn a_damaged_backup_is_refused_or_restores_the_same() {
    let site = filled();
    let made = site.json("backup loft.backup");
    let whole = fs::read(site.path("loft.backup")).unwrap();
    let mut named = 0;
    let step = whole.len() / 61;
    let flips = (step / 3..whole.len()).step_by(step).map(|at| {
        let mut bytes = whole.clone();
        bytes[at] ^= 1 << (at % 8);
        bytes
    });
    let cuts = [whole.len() / 2, whole.len() - 4096, 100, 0].map(|end| whole[..end].to_vec());
    for (nth, bytes) in flips.chain(cuts).enumerate() {
        let empty = Site::loft();
        empty.write("loft.backup", &bytes);
        let said = empty.run("restore loft.backup");
        assert_eq!(ledgers(&empty), if said.code == 0 { vec!["ledger.db"] } else { vec![] }, "{nth}: {}", said.err);
        if said.code == 0 {
            assert_eq!(root(&empty), made["holds"]["root"].as_str().unwrap(), "{nth}");
        } else {
            assert_eq!(said.code, 1, "{nth}: {}", said.err);
            assert!(said.err.contains("loft.backup"), "{nth}: {}", said.err);
            named += 1;
        }
    }
    assert!(named > 4, "{named}");
    // And by somebody with SQLite in hand.
    let copy = rusqlite::Connection::open(site.path("loft.backup")).unwrap();
    copy.execute_batch("UPDATE entry SET body = replace(body, '0.3457', '0.3458') WHERE seq = 8").unwrap();
    drop(copy);
    let empty = Site::loft();
    carry(&site, "loft.backup", &empty);
    refused(&empty, "restore loft.backup", "entry 8 does not match its leaf");
}

#[test]
fn derived_tables_that_do_not_fit_are_made_anew() {
    let site = filled();
    site.ok("backup loft.backup");
    let copy = rusqlite::Connection::open(site.path("loft.backup")).unwrap();
    copy.execute_batch("DELETE FROM reading; DELETE FROM estimate; DELETE FROM checkpoint").unwrap();
    drop(copy);
    let empty = Site::loft();
    carry(&site, "loft.backup", &empty);
    empty.ok("restore loft.backup");
    empty.audit();
    assert_eq!(empty.readings("loft-lamp"), site.readings("loft-lamp"));
}

#[test]
fn what_signed_heads_tell_to_be_lost_is_said_and_recorded() {
    let config = format!("{LOFT}\n[signing]\ncopies = \"elsewhere\"\n");
    let site = Site::new(&config);
    fs::create_dir(site.path("elsewhere")).unwrap();
    site.ingest("quiet.csv", &quiet_weeks(6));
    site.ok("audit head");
    let held = site.json("backup loft.backup")["holds"]["entries"].as_i64().unwrap();
    site.ok("record cleaned loft-lamp");
    site.ok("record cleaned loft-screen");
    let last = site.json("audit head");
    // The machine is gone; the folder of copies, the key and the backup are not.
    let new = Site::new(&config);
    for name in ["loft.backup", "state/signing.key"] {
        carry(&site, name, &new);
    }
    for path in site.files("elsewhere") {
        let name = path.strip_prefix(site.path("")).unwrap().to_str().unwrap();
        carry(&site, name, &new);
    }
    let restored = new.json("--operator ines restore loft.backup");
    assert_eq!(restored["lost"]["entries"].as_i64().unwrap(), last["size"].as_i64().unwrap() - held);
    assert_eq!((&restored["lost"]["seen"]["code"], &restored["missing_key"]), (&last["code"], &Value::Null));
    let told: String =
        new.ledger().query_row("SELECT body FROM entry WHERE kind = 'restored'", (), |row| row.get(0)).unwrap();
    let told: Value = serde_json::from_str(&told).unwrap();
    assert_eq!((&told["entries"], &told["seen"], &told["operator"]), (&held.into(), &last["size"], &"ines".into()));
    new.audit();
    // Life goes on, past the size of the lost head, and the next restore has nothing to complain of.
    new.ingest("more.csv", &(HEADER.to_owned() + &lamp(day(60.0), 480.0) + &lamp(day(61.0), 481.0)));
    let head = new.json("audit head");
    assert!(head["size"].as_i64() > last["size"].as_i64() && head["copy_failed"].is_null(), "{head}");
    new.ok("backup second.backup");
    lose(&new);
    let again = new.json("restore second.backup");
    assert_eq!(again["lost"], Value::Null, "{again}");
    assert_eq!(new.files("elsewhere").iter().filter(|path| path.to_str().unwrap().contains("-lost")).count(), 1);
    new.audit();
}

#[test]
fn a_backup_that_is_not_what_was_signed_is_refused() {
    let site = filled();
    site.ok("backup early.backup");
    let forger = Site::loft();
    for name in ["early.backup", "state/signing.key"] {
        carry(&site, name, &forger);
    }
    forger.ok("restore early.backup");
    forger.ok("record cleaned loft-screen");
    forger.ok("record cleaned loft-lamp");
    forger.ok("audit head");
    forger.ok("backup forged.backup");
    site.ok("record cleaned loft-lamp");
    site.ok("audit head");
    carry(&forger, "forged.backup", &site);
    lose(&site);
    refused(&site, "restore forged.backup", "is not the history that was signed");
    assert!(ledgers(&site).is_empty());
}

#[test]
fn a_backup_is_whole_while_ten_others_write() {
    let site = filled();
    let before = site.audit();
    let daemon = site.daemon();
    let writing = AtomicUsize::new(10);
    let mut made = Vec::new();
    std::thread::scope(|scope| {
        for writer in 0..10 {
            let (site, writing) = (&site, &writing);
            scope.spawn(move || {
                for nth in 0..6 {
                    let time = day(100.0 + f64::from(writer) + f64::from(nth) / 24.0);
                    site.ok(&format!("add loft-lamp x=0.3457 y=0.3585 illuminance_lx=500 time={time}"));
                }
                writing.fetch_sub(1, Ordering::SeqCst);
            });
        }
        while writing.load(Ordering::SeqCst) > 0 {
            made.push(site.json(&format!("backup {}.backup", made.len())));
        }
    });
    daemon.stop();
    let after = site.json("backup last.backup")["holds"].clone();
    let sizes: Vec<i64> = made.iter().map(|made| made["holds"]["entries"].as_i64().unwrap()).collect();
    assert!(sizes.is_sorted(), "{sizes:?}");
    assert!(sizes.iter().any(|size| (before + 1..after["entries"].as_i64().unwrap()).contains(size)), "{sizes:?}");
    for nth in (0..made.len()).step_by(1 + made.len() / 8) {
        let empty = Site::loft();
        carry(&site, &format!("{nth}.backup"), &empty);
        carry(&site, "last.backup", &empty);
        empty.ok(&format!("restore {nth}.backup"));
        assert_eq!(root(&empty), made[nth]["holds"]["root"].as_str().unwrap());
        empty.ok("restore last.backup");
        assert_eq!(root(&empty), after["root"].as_str().unwrap(), "what it lacked was all of it");
    }
}

#[test]
fn one_that_is_killed_leaves_nothing_half() {
    let site = Site::loft();
    site.ingest("quiet.csv", &quiet_weeks(150));
    site.ok("backup loft.backup");
    site.ok("record cleaned loft-lamp");
    let whole = root(&site);
    // Quicker than the waiting of other tests: the work takes only some milliseconds.
    let soon = |begun: &dyn Fn() -> bool| {
        let mut looks = 0;
        while !begun() && looks < 1_000_000 {
            looks += 1;
            std::thread::sleep(Duration::from_micros(50));
        }
    };
    let mut seen = 0;
    for _ in 0..100 {
        if seen > 3 {
            break;
        }
        let child = site.daemon_with(&["backup", "new.backup"]);
        soon(&|| site.path("state/backup.part").exists() || site.path("new.backup").exists());
        child.kill();
        if site.path("new.backup").exists() {
            let empty = Site::loft();
            carry(&site, "new.backup", &empty);
            empty.ok("restore new.backup");
            assert_eq!(root(&empty), whole);
            fs::remove_file(site.path("new.backup")).unwrap();
        } else {
            seen += 1;
        }
    }
    assert!(seen > 3, "{seen} were killed on their way");
    site.ok("backup new.backup");
    assert_eq!(ledgers(&site), ["ledger.db"]);

    let mut seen = 0;
    for _ in 0..100 {
        if seen > 3 {
            break;
        }
        let empty = Site::loft();
        carry(&site, "new.backup", &empty);
        let child = empty.daemon_with(&["restore", "new.backup"]);
        soon(&|| empty.path("state/ledger.db.part").exists() || empty.path("state/ledger.db").exists());
        child.kill();
        seen += usize::from(!empty.path("state/ledger.db").exists());
        let placed = empty.json("restore new.backup")["placed"].clone();
        assert!(placed == "new" || placed == "nothing", "{placed}");
        assert_eq!(root(&empty), whole);
    }
    assert!(seen > 3, "{seen} were killed on their way");
}

/// Where there is a second file system to write to: the finished copy cannot be renamed there, and is copied and compared.
#[cfg(target_os = "linux")]
#[test]
fn onto_another_disk() {
    use std::os::unix::fs::MetadataExt;
    let site = filled();
    let disk = |path: &std::path::Path| fs::metadata(path).map(|about| about.dev()).ok();
    let shared = std::path::Path::new("/dev/shm");
    let Some(other) = disk(shared).filter(|other| Some(*other) != disk(&site.path("state"))) else {
        eprintln!("skipped: there is no second file system");
        return;
    };
    let folder = tempfile::tempdir_in(shared).unwrap();
    assert_eq!(disk(folder.path()), Some(other));
    let file = folder.path().join("loft.backup");
    let made = site.json(&format!("backup {}", file.display()));
    site.ok("record cleaned loft-lamp");
    let again = site.json(&format!("backup {}", file.display()));
    assert_eq!((&again["replaced"], &made["replaced"]), (&made["holds"]["entries"], &Value::Null));
    let names: Vec<String> =
        fs::read_dir(folder.path()).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    assert_eq!(names, ["loft.backup"], "nothing else is left there");
    assert_eq!(ledgers(&site), ["ledger.db"]);
    let before = root(&site);
    lose(&site);
    site.ok(&format!("restore {}", file.display()));
    assert_eq!(root(&site), before);
}
