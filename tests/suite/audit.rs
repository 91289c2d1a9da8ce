//! The audit trail as somebody meets it who does not trust it: lists, an export that another checker reads, and every way of changing
//! history behind its back.

use std::collections::BTreeSet;
use std::fs;
use std::path::Path;
use std::process::Command;

use serde_json::Value;

use super::site::{HEADER, LOFT, Said, Site, from_now, lamp, repository, screen};

/// A small ledger with readings, a record taken back, sign-offs and their heads.
pub fn signed_loft() -> Site {
    let site = Site::new(&format!("{LOFT}\n[[operator]]\nid = \"tomas\"\n"));
    let rows = (0..8).map(|week| {
        let time = from_now(-1.0 - 7.0 * f64::from(7 - week));
        lamp(time, 500.0 + f64::from(week % 3)) + &screen(time, 142.0 + 0.3 * f64::from(week % 3))
    });
    site.ingest("weeks.csv", &(HEADER.to_owned() + &rows.collect::<String>()));
    for (who, job) in [("ines", "calendar"), ("tomas", "poster")] {
        let said = site.run_with(&["--operator", who, "sign", "desk", "--job", job, "--out", "handed"], &[]);
        assert_eq!(said.code, 0, "{}", said.err);
    }
    let said = site.run_with(&["--operator", "ines", "retract", "5", "--reason", "the wrong lamp"], &[]);
    assert_eq!(said.code, 0, "{}", said.err);
    site
}

fn shown(site: &Site, words: &str) -> Vec<(i64, String)> {
    let answer = site.json(&format!("audit show {words}"));
    let one = |entry: &Value| (entry["seq"].as_i64().unwrap(), entry["kind"].as_str().unwrap().to_owned());
    answer["entries"].as_array().unwrap().iter().map(one).collect()
}

#[test]
fn entries_are_found_by_what_they_are_about() {
    let site = signed_loft();
    let all = shown(&site, "");
    assert_eq!(all.len() as i64, site.audit());
    assert_eq!(shown(&site, "--kind sign-off").len(), 2);
    assert_eq!(shown(&site, "--job poster").len(), 1);
    assert_eq!(shown(&site, "--by tomas"), shown(&site, "--job poster"));
    let lamp = shown(&site, "--device loft-lamp --kind reading");
    assert_eq!(lamp.len(), 8, "{lamp:?}");
    let at_desk: BTreeSet<String> = shown(&site, "--station desk").into_iter().map(|(_, kind)| kind).collect();
    assert!(at_desk.contains("sign-off") && at_desk.contains("verdict"), "{at_desk:?}");
    assert_eq!(shown(&site, "--last 3"), all[all.len() - 3..]);
    assert_eq!(shown(&site, "--from 2031-01-01T00:00:00Z"), []);
    // What was taken back is shown beside what takes it back.
    let entries = site.json("audit show")["entries"].as_array().unwrap().clone();
    let back = entries.iter().find(|entry| entry["seq"] == 5).unwrap();
    assert!(back["taken_back_by"].as_i64().is_some_and(|by| by > 5), "{back}");
    assert!(site.ok("audit show --job poster").contains("poster signed off at desk while matched"));
    let said = site.run("audit show --kind signoff");
    assert_eq!(said.code, 2);
    assert!(said.err.contains("expected one of"), "{}", said.err);
}

/// Asked about a thing, station or job, nobody shall miss that a record of it was taken back.
#[test]
fn what_takes_an_entry_back_is_shown_with_it() {
    let site = signed_loft();
    let (poster, last) = (shown(&site, "--job poster")[0].0, site.audit());
    site.ok(&format!("--operator ines retract {poster} --reason smudged"));
    let both = [(poster, "sign-off".to_owned()), (last + 1, "retract".to_owned())];
    assert_eq!(shown(&site, "--job poster"), both);
    assert_eq!(shown(&site, "--station desk --last 1"), both[1..]);
    assert_eq!(shown(&site, "--job poster --by ines"), both[1..], "what this operator did");
    assert_eq!(shown(&site, "--job poster --kind sign-off"), both[..1]);
    assert!(!shown(&site, "--job calendar").contains(&both[1]));
    assert!(shown(&site, "--device loft-lamp").iter().filter(|(_, kind)| kind == "retract").count() <= 1);
    assert_eq!(site.json("audit show --job poster")["entries"][0]["taken_back_by"], last + 1);
}

#[test]
fn a_changed_entry_is_marked_and_an_unknown_name_told() {
    let site = signed_loft();
    let marks = |words: &str| -> Vec<i64> {
        let answer = site.json(&format!("audit show {words}"));
        let entries = answer["entries"].as_array().unwrap().iter();
        entries.filter(|entry| entry["matches_leaf"] == false).map(|entry| entry["seq"].as_i64().unwrap()).collect()
    };
    assert!(marks("").is_empty());
    site.ledger()
        .execute_batch("UPDATE entry SET body = replace(body, 'poster', 'pastel') WHERE kind = 'sign-off'")
        .unwrap();
    let seq = shown(&site, "--job pastel")[0].0;
    assert_eq!(marks(""), [seq]);
    let text = site.ok("audit show --kind sign-off");
    assert_eq!(
        text.lines().map(|line| line.ends_with(" [does not match its leaf]")).collect::<Vec<_>>(),
        [false, true]
    );
    site.ledger().execute("UPDATE entry SET time = 'never' WHERE seq = ?1", [seq]).unwrap();
    assert!(site.run("audit show").err.contains(&format!("Entry {seq} is left out")));

    for (words, told) in [
        ("--device loft-lmap", "no display, lamp, paper or instrument 'loft-lmap'; it has: loft-screen, loft-lamp"),
        ("--station bay", "no station 'bay'; it has: desk"),
        ("--by otto", "no operator 'otto'; it has: ines, tomas"),
    ] {
        let text = site.ok(&format!("audit show {words}"));
        assert!(text.starts_with("No entry fits.\n") && text.contains(told), "{text}");
    }
    assert_eq!(site.ok("audit show --job nothing --station desk"), "No entry fits.\n");
}

pub fn checker(site: &Site, words: &[&str]) -> Said {
    let output = Command::new("python3")
        .arg(repository("contrib/check_ledger.py"))
        .args(words)
        .current_dir(site.path("."))
        .output()
        .expect("Python runs");
    Said {
        code: output.status.code().unwrap_or(-1),
        out: String::from_utf8(output.stdout).unwrap(),
        err: String::from_utf8(output.stderr).unwrap(),
    }
}

#[test]
fn a_checker_in_another_language_agrees() {
    if Command::new("python3").arg("--version").output().is_err() {
        assert_ne!(std::env::var("TWINWHITE_TOOLS").as_deref(), Ok("needed"), "no Python");
        return;
    }
    let lines = fs::read_to_string(repository("contrib/check_ledger.py")).unwrap().lines().count();
    assert!(lines < 150, "{lines} lines");
    let site = signed_loft();
    let head = site.json("audit head");
    site.write("kept.head", head["note"].as_str().unwrap());
    let exported = site.json("audit export ledger");
    assert_eq!(exported["entries"], site.audit());
    assert_eq!(site.names("ledger"), ["FORMAT.md", "entries.csv", "entries.jsonl", "heads.jsonl"]);
    let said = site.run("audit export ledger");
    assert_eq!(said.code, 2, "a folder that holds something is left alone");

    for kept in ["kept.head", head["code"].as_str().unwrap()] {
        let said = checker(&site, &["ledger", "--head", kept]);
        assert_eq!(said.code, 0, "{}", said.err);
        assert!(said.out.starts_with("Holds: "), "{}", said.out);
    }
    let certificate =
        site.names("handed").into_iter().find(|name| name.contains("poster") && name.ends_with("json")).unwrap();
    let certificate = format!("handed/{certificate}");
    let own: Value = serde_json::from_str(&fs::read_to_string(site.path(&certificate)).unwrap()).unwrap();
    let said =
        checker(&site, &[&certificate, "--head", own["code"].as_str().unwrap(), "--key", own["key"].as_str().unwrap()]);
    assert_eq!(said.code, 0, "{}", said.err);
    assert!(said.out.starts_with("Proven: ") && said.out.contains("poster"), "{}", said.out);
    // Under a later head that somebody kept.
    let later = format!("audit prove {} --head kept.head -o later.json", own["entry"]["seq"]);
    site.ok(&later);
    assert_eq!(checker(&site, &["later.json", "--head", "kept.head"]).code, 0);

    // One digit of it, and every way of changing the export; each is found, and named at its entry.
    let text = fs::read_to_string(site.path(&certificate)).unwrap();
    site.write("changed.json", text.replacen("\\\"risk\\\":0", "\\\"risk\\\":1", 1));
    let said = checker(&site, &["changed.json", "--head", own["code"].as_str().unwrap()]);
    assert_eq!(said.code, 1);
    assert!(said.err.starts_with("NOT proven: "), "{}", said.err);
    let lines: Vec<String> =
        fs::read_to_string(site.path("ledger/entries.jsonl")).unwrap().lines().map(str::to_owned).collect();
    let attack = |what: &str, found: &str, changed: Vec<String>| {
        site.write("ledger/entries.jsonl", changed.join("\n") + "\n");
        let said = checker(&site, &["ledger", "--head", "kept.head"]);
        assert_eq!(said.code, 1, "{what} was not found");
        assert!(said.err.contains(found), "{what}: {}", said.err);
    };
    let with = |change: &dyn Fn(&mut Vec<String>)| {
        let mut changed = lines.clone();
        change(&mut changed);
        changed
    };
    attack("a changed body", "entry 6 does not match", with(&|l| l[5] = l[5].replacen("\\\"", "\\\"x", 1)));
    attack("a removed entry", "entry 6 is missing", with(&|l| drop(l.remove(5))));
    attack("two swapped", "entry 6 is missing", with(&|l| l.swap(5, 8)));
    attack("a doubled entry", "entry 7 is missing", with(&|l| l.insert(6, l[5].clone())));
    attack("a cut tail", "shorter than a head", with(&|l| l.truncate(lines.len() - 1)));
}

/// Every byte of every column, two bits of each: found, and named at its entry.
#[test]
fn every_byte_of_a_small_ledger_is_watched() {
    let site = signed_loft();
    let entries = site.audit();
    let ledger = site.ledger();
    let config = twinwhite::config::find::load(&site.path("twinwhite.toml")).unwrap();
    let open = || {
        let mode = twinwhite::ledger::OpenMode::ReadOnly;
        twinwhite::ledger::Ledger::open(&site.path("state/ledger.db"), &config.site.id, mode).unwrap()
    };
    let reader = open();
    let mut flipped = 0;
    // The last entries are short, and are the sign-offs and what follows; a reading and the founding stand for the others.
    for seq in [1, 4, entries - 2, entries - 1, entries] {
        for column in ["site", "time", "kind", "body", "leaf"] {
            let whole: Vec<u8> = ledger
                .query_row(&format!("SELECT CAST({column} AS BLOB) FROM entry WHERE seq = ?1"), [seq], |row| row.get(0))
                .unwrap();
            let set = |bytes: &[u8]| {
                let value = if column == "leaf" { "?1".to_owned() } else { "CAST(?1 AS TEXT)".to_owned() };
                ledger.execute(&format!("UPDATE entry SET {column} = {value} WHERE seq = ?2"), (bytes, seq)).unwrap();
            };
            for at in 0..whole.len() {
                let mut bytes = whole.clone();
                bytes[at] ^= if at % 2 == 0 { 0x01 } else { 0x10 };
                set(&bytes);
                let found = twinwhite::ledger::verify(&reader, &[]).unwrap();
                assert_eq!((found.ok, found.first_bad), (false, Some(seq)), "byte {at} of {column} of entry {seq}");
                flipped += 1;
            }
            set(&whole);
        }
    }
    assert!(flipped > 2000, "{flipped}");
    site.audit();
}

/// The whole history written anew from one entry on, every hash made right again: only a signed head shows it, and where the forger
/// holds the key as well, only one that was kept elsewhere. What came after that one is lost.
#[test]
fn a_forked_history_is_found_by_a_head_and_by_nothing_else() {
    let site = signed_loft();
    let kept = site.json("audit head");
    site.write("outside/kept.head", kept["note"].as_str().unwrap());
    let size = kept["size"].as_i64().unwrap();

    // The forger has the folder, the key, and every copy in it; the same person signs another job at the same place.
    let forge = |drop_after: i64| {
        let forged = Site::bare();
        copy(&site.path("."), &forged.path("."));
        fs::remove_dir_all(forged.path("state/heads")).unwrap();
        let ledger = forged.ledger();
        ledger.execute("DELETE FROM entry WHERE seq > ?1", [drop_after]).unwrap();
        ledger.execute("DELETE FROM signed_head WHERE size > ?1", [drop_after]).unwrap();
        let edge = edge_of(&ledger);
        ledger.execute("UPDATE head SET size = ?1, root = ?2, frontier = ?3", (drop_after, edge.0, edge.1)).unwrap();
        drop(ledger);
        forged.ok("rebuild");
        let said = forged.run_with(&["--operator", "tomas", "sign", "desk", "--job", "another"], &[]);
        assert_eq!(said.code, 0, "{}", said.err);
        forged
    };
    let forged = forge(size - 2);
    assert_eq!(
        forged.run("audit verify").code,
        0,
        "alone it agrees with itself: this is the case that cannot be found"
    );
    let said = forged.run("audit verify --head outside/kept.head --json");
    let found: Value = serde_json::from_str(&said.out).unwrap();
    assert_eq!((said.code, &found["ok"]), (1, &Value::Bool(false)), "{found}");

    // Forked after the head that was kept: nothing shows it.
    site.ok("add loft-lamp x=0.3457 y=0.3585 illuminance_lx=501");
    let forged = forge(size);
    assert_eq!(
        forged.run("audit verify --head outside/kept.head").code,
        0,
        "what came after the kept head is fixed by none"
    );
}

/// Root and edge of the entries that a forger left.
fn edge_of(ledger: &rusqlite::Connection) -> (Vec<u8>, Vec<u8>) {
    let mut leaves = ledger.prepare("SELECT leaf FROM entry ORDER BY seq").unwrap();
    let mut edge = twinwhite::ledger::tree::Frontier::new();
    for leaf in leaves.query_map([], |row| row.get::<_, Vec<u8>>(0)).unwrap() {
        edge.push(twinwhite::ledger::Digest::from_bytes(&leaf.unwrap()).unwrap());
    }
    (edge.root().as_bytes().to_vec(), edge.to_bytes())
}

fn copy(from: &Path, to: &Path) {
    for entry in fs::read_dir(from).unwrap().flatten() {
        let target = to.join(entry.file_name());
        if entry.file_type().unwrap().is_dir() {
            fs::create_dir_all(&target).unwrap();
            copy(&entry.path(), &target);
        } else {
            fs::copy(entry.path(), target).unwrap();
        }
    }
}
