//! Signed heads and certificates as somebody outside gets them: handed on, checked without the ledger, held against it later.

use std::fs;

use serde_json::Value;

use super::site::{LOFT, Site, pinned, quiet_weeks};

fn filled() -> Site {
    let site = Site::loft();
    site.ingest("quiet.csv", &quiet_weeks(6));
    site
}

/// The newest signed head, kept in a file.
#[track_caller]
fn keep_head(site: &Site, name: &str) -> Value {
    let head = site.json("audit head");
    site.write(name, head["note"].as_str().unwrap());
    head
}

/// Everything that differs from run to run, made equal.
fn steady(text: &str) -> String {
    let mut steady = String::new();
    for line in text.lines() {
        let words = line.split(' ').map(|word| {
            let plain = word.trim_end_matches(['.', ',']);
            let tail = &word[plain.len()..];
            let code = plain.len() == 14 && plain.matches('-').count() == 2 && plain.to_uppercase() == plain;
            match plain {
                _ if plain.starts_with("twinwhite/harbour-loft/") => format!("ORIGIN{tail}"),
                _ if code && !plain.starts_with("20") => format!("CODE{tail}"),
                _ if plain.len() > 40 && !plain.contains("\":") && !plain.contains('/') => format!("BASE64{tail}"),
                _ if plain.ends_with("signing.key") => format!("PATH{tail}"),
                _ if plain.len() >= 40 && !plain.contains("\":") => format!("BASE64{tail}"),
                _ if plain.starts_with("20") && plain.len() >= 10 => format!("TIME{tail}"),
                _ if plain.len() == 5 && plain.as_bytes()[2] == b':' => format!("CLOCK{tail}"),
                _ => word.to_owned(),
            }
        });
        steady.push_str(words.collect::<Vec<_>>().join(" ").trim_end());
        steady.push('\n');
    }
    steady
}

#[test]
fn a_head_is_signed_where_there_is_news() {
    let site = filled();
    let head = keep_head(&site, "kept.head");
    assert_eq!(site.json("audit head"), head, "no news, no new head");
    let size = head["size"].as_i64().unwrap();
    assert_eq!(site.audit(), size);
    let file = format!("state/heads/{}/harbour-loft-{size:09}.head", &head["time"].as_str().unwrap()[..4]);
    assert_eq!(fs::read_to_string(site.path(&file)).unwrap(), head["note"].as_str().unwrap());
    site.ok("record cleaned loft-lamp");
    let next = site.json("audit head");
    assert!(next["size"].as_i64().unwrap() > size && next["code"] != head["code"]);
    assert_eq!(site.json("audit verify --head kept.head")["ok"], true);
    let code = head["code"].as_str().unwrap().to_lowercase();
    assert_eq!(site.json(&format!("audit verify --head {code}"))["ok"], true);
    assert_eq!(site.json("audit verify --head kept.head")["signed_heads"], 2, "one of them was given besides");
    a_code_that_is_not_here(&site, "");
    pinned("audit-head", &steady(&site.ok("audit head")));
    pinned("audit-key", &steady(&site.ok("audit key")));
    pinned("audit-verify", &steady(&site.ok("audit verify")));
}

/// It may be mistyped: nothing is said against the ledger.
#[track_caller]
fn a_code_that_is_not_here(site: &Site, also: &str) {
    let said = site.run("audit verify --head 0000-0000-0000 --json");
    let found: Value = serde_json::from_str(&said.out).unwrap();
    assert_eq!((said.code, &found["ok"], &found["first_bad"]), (1, &Value::Bool(false), &Value::Null));
    assert_eq!(found["unknown_codes"], serde_json::json!(["0000-0000-0000"]));
    assert!(found["why"].as_str().unwrap().contains("no signed head with the code 0000-0000-0000"), "{found}");
    let said = site.run("audit verify --head 0000-0000-0000");
    assert_eq!(said.code, 1);
    assert!(
        said.out.contains("typed right") && said.out.contains("hold together") && said.out.contains(also),
        "{}",
        said.out
    );
    assert!(!said.out.contains("NOT hold") && !said.out.contains("move it away"), "{}", said.out);
    assert_eq!(said.out.contains("was restored"), !also.is_empty(), "{}", said.out);
}

#[test]
fn a_code_may_be_of_a_head_that_a_backup_did_not_hold() {
    let site = filled();
    site.ok("backup early.backup");
    site.ok("record cleaned loft-lamp");
    let lost = site.json("audit head")["code"].as_str().unwrap().to_owned();
    for name in ["ledger.db", "ledger.db-wal", "ledger.db-shm"] {
        let _ = fs::remove_file(site.path(&format!("state/{name}")));
    }
    site.ok("restore early.backup");
    a_code_that_is_not_here(&site, "says that a backup was restored");
    assert_eq!(site.run(&format!("audit verify --head {lost}")).code, 1);
}

#[cfg(unix)]
#[test]
fn nobody_else_reads_the_key() {
    use std::os::unix::fs::PermissionsExt;
    let site = filled();
    site.ok("audit head");
    let mode = fs::metadata(site.path("state/signing.key")).unwrap().permissions().mode();
    assert_eq!(mode & 0o777, 0o600);
    site.ok("audit key --rotate yearly");
    let mode = fs::metadata(site.path("state/signing.key")).unwrap().permissions().mode();
    assert_eq!(mode & 0o777, 0o600);
    assert_eq!(site.names("state").iter().filter(|name| name.starts_with("signing")).count(), 1);
}

#[test]
fn a_certificate_is_checked_on_another_computer() {
    let site = filled();
    let head = keep_head(&site, "kept.head");
    let said = site.ok("audit prove 7 -o seven.json");
    pinned("audit-prove", &steady(&said));
    let elsewhere = Site::bare();
    for name in ["seven.json", "kept.head"] {
        elsewhere.write(name, fs::read(site.path(name)).unwrap());
    }
    pinned("audit-verify-certificate", &steady(&elsewhere.ok("audit verify seven.json --head kept.head")));
    pinned("audit-verify-certificate-alone", &steady(&elsewhere.ok("audit verify seven.json")));
    let code = head["code"].as_str().unwrap();
    let by_code = elsewhere.json(&format!("audit verify seven.json --head {code}"));
    assert_eq!((&by_code["ok"], &by_code["against"]), (&Value::Bool(true), &Value::from("code")));
    assert_eq!(by_code["entry"]["seq"], 7);
    let key = site.json("audit key")["key"].as_str().unwrap().to_owned();
    assert_eq!(elsewhere.json(&format!("audit verify seven.json --head kept.head --key {key}"))["key_matches"], true);

    // One digit.
    let text = fs::read_to_string(elsewhere.path("seven.json")).unwrap();
    assert!(text.contains("0.3435"));
    elsewhere.write("changed.json", text.replace("0.3435", "0.3436"));
    let said = elsewhere.run("audit verify changed.json --head kept.head");
    assert_eq!(said.code, 1);
    pinned("audit-verify-certificate-changed", &steady(said.out.split("leads to").next().unwrap()));
    let said = elsewhere.run("audit verify seven.json --head 0000-0000-0000 --json");
    assert_eq!(said.code, 1);
    let another = site.json("audit key --rotate yearly")["key"].as_str().unwrap().to_owned();
    assert_eq!(elsewhere.run(&format!("audit verify seven.json --head kept.head --key {another}")).code, 1);
}

#[test]
fn a_head_of_another_size_is_connected() {
    let site = filled();
    keep_head(&site, "old.head");
    site.ok("record cleaned loft-lamp");
    keep_head(&site, "new.head");
    site.ok("audit prove 7 -o seven.json");
    let said = site.run("audit verify seven.json --head old.head");
    assert_eq!(said.code, 1);
    assert!(said.out.contains("audit prove 7 --head FILE"), "{}", said.out);
    site.ok("audit prove 7 --head old.head -o seven.json");
    site.ok("audit verify seven.json --head old.head");
    site.ok("audit verify seven.json --head new.head");
    // And out of a mail, indented, with more around it.
    let note = fs::read_to_string(site.path("old.head")).unwrap();
    let mail: String = note.lines().filter(|line| !line.is_empty()).map(|line| format!("  {line}\n")).collect();
    site.write("mail.txt", format!("Good morning\n  Nothing is due.\n{mail}\n-- \nFrom twinwhite\n"));
    site.ok("audit verify seven.json --head mail.txt");
    site.ok("audit verify --head mail.txt");
}

/// A head fixes nothing that was written after it: of two histories that continue it, both certificates fit.
#[test]
fn a_head_older_than_the_entry_does_not_prove_it() {
    let site = filled();
    let old = keep_head(&site, "old.head")["size"].as_i64().unwrap();
    let forged = Site::bare();
    for folder in ["state", "."] {
        for name in site.names(folder).into_iter().filter(|name| site.path(&format!("{folder}/{name}")).is_file()) {
            forged.write(&format!("{folder}/{name}"), fs::read(site.path(&format!("{folder}/{name}"))).unwrap());
        }
    }
    let entry = old + 1;
    for (site, event) in [(&site, "cleaned"), (&forged, "serviced")] {
        site.ok(&format!("record {event} loft-lamp"));
        let said = site.ok(&format!("audit prove {entry} -o unconnected.json"));
        assert!(!said.contains("older"), "{said}");
        let said = site.run("audit verify unconnected.json --head old.head");
        assert_eq!(said.code, 1);
        assert!(said.out.contains("Your head is older than the entry"), "{}", said.out);
        let said = site.ok(&format!("audit prove {entry} --head old.head -o proof.json"));
        assert!(said.contains("is older than the entry and does not fix it"), "{said}");
        let said = site.ok("audit verify proof.json --head old.head");
        assert!(
            said.starts_with("The head that you hold is older than the entry") && !said.contains("Proven"),
            "{said}"
        );
        let found = site.json("audit verify proof.json --head old.head");
        assert_eq!((&found["ok"], &found["covered"]), (&Value::Bool(true), &Value::Bool(false)));
        let code = found["code"].as_str().unwrap();
        for kept in [format!("--head {code}"), format!("--head old.head --head {code}")] {
            assert_eq!(site.json(&format!("audit verify proof.json {kept}"))["covered"], true);
            assert!(site.ok(&format!("audit verify proof.json {kept}")).starts_with("Proven, as far as a code"));
        }
        assert_eq!(site.json("audit verify proof.json")["covered"], false, "nothing was kept");
    }
    pinned("audit-verify-certificate-older", &steady(&site.ok("audit verify proof.json --head old.head")));
    site.ok(&format!("audit prove {old} --head old.head -o last.json"));
    let found = site.json("audit verify last.json --head old.head");
    assert_eq!(found["covered"], true, "the last entry under it");
}

/// All hashes and the kept head made anew by somebody who does not hold the key, and by somebody who does.
#[test]
fn a_rewritten_ledger_is_found_by_a_head_that_was_kept() {
    let site = filled();
    keep_head(&site, "kept.head");
    let key = fs::read(site.path("state/signing.key")).unwrap();
    let forged = Site::loft();
    forged.ingest("quiet.csv", &quiet_weeks(6).replace("0.3457", "0.3458"));
    forged.write("state/signing.key", key);
    // The key is another ledger's: its name holds a digit of the beginning.
    let said = forged.run("audit head");
    assert_eq!(said.code, 1);
    assert!(said.err.contains("another ledger"), "{}", said.err);
    fs::remove_file(forged.path("state/signing.key")).unwrap();
    forged.ok("audit head");
    assert_eq!(forged.json("audit verify")["ok"], true, "in itself it is sound");
    forged.write("kept.head", fs::read(site.path("kept.head")).unwrap());
    let said = forged.run("audit verify --head kept.head --json");
    assert_eq!(said.code, 1, "{}", said.out);
}

#[test]
fn keys_are_made_replaced_and_lost_in_the_ledger() {
    let site = filled();
    let first = site.json("audit key");
    let rotated = site.json("--operator ines audit key --rotate yearly");
    assert_ne!(first["key"], rotated["key"]);
    fs::remove_file(site.path("state/signing.key")).unwrap();
    site.ok("record cleaned loft-lamp");
    let said = site.run("audit head");
    assert_eq!(said.code, 1);
    assert!(said.err.contains("--lost REASON"), "{}", said.err);
    assert_eq!(site.run("audit key --rotate again").code, 1, "what is gone cannot sign");
    let lost = site.json("audit key --lost fire");
    let kinds: Vec<&str> = lost["history"].as_array().unwrap().iter().map(|e| e["kind"].as_str().unwrap()).collect();
    assert_eq!(kinds, ["key-made", "key-rotated", "key-lost"]);
    site.ok("audit head");
    site.audit();
    pinned("audit-key-history", &steady(&site.ok("audit key")));
    // Rebuilding keeps what cannot be made anew.
    let heads = site.json("audit verify")["signed_heads"].clone();
    site.ok("rebuild");
    site.audit();
    assert_eq!(site.json("audit verify")["signed_heads"], heads);
}

#[test]
fn stored_heads_and_the_cache_are_watched() {
    let site = filled();
    site.ok("audit head");
    let damage = "UPDATE signed_head SET note = replace(note, 'harbour', 'harbor')";
    site.ledger().execute_batch(damage).unwrap();
    let said = site.run("audit verify");
    assert_eq!(said.code, 1);
    assert!(said.out.contains("signed head"), "{}", said.out);

    let site = Site::loft();
    site.ingest("quiet.csv", &quiet_weeks(140));
    site.ledger().execute_batch("UPDATE subtree SET hash = zeroblob(32)").unwrap();
    let found: Value = serde_json::from_str(&site.run("audit verify --json").out).unwrap();
    assert_eq!((&found["ok"], &found["differing_tables"]), (&Value::Bool(false), &serde_json::json!(["subtree"])));
    let size = site.json("audit head")["size"].as_i64().unwrap();
    let said = site.run(&format!("audit prove {} -o x.json", size - 1));
    assert_eq!(said.code, 1);
    assert!(said.err.contains("rebuild"), "{}", said.err);
    site.ok("rebuild");
    site.audit();
    site.ok(&format!("audit prove {} -o x.json", size - 1));
}

/// Nothing that is made anew helps an entry that was changed: it is named.
#[test]
fn of_a_changed_entry_nothing_is_proven() {
    let site = filled();
    site.ok("audit head");
    site.ledger().execute_batch("UPDATE entry SET body = replace(body, '0.3435', '0.3436') WHERE seq = 7").unwrap();
    let said = site.run("audit prove 7");
    assert_eq!(said.code, 1);
    assert!(said.err.contains("entry 7 does not match its leaf") && !said.err.contains("rebuild"), "{}", said.err);
    site.ok("audit prove 5");
}

#[test]
fn the_daemon_signs_and_makes_up_for_copies() {
    let site = Site::new(&format!("{LOFT}\n[signing]\ncopies = \"elsewhere\"\n"));
    site.write("inbox/quiet.csv", quiet_weeks(3));
    let daemon = site.daemon();
    daemon.until("a signed head", || !site.files("state/heads").is_empty());
    daemon.wait_for(&["signed heads cannot be copied", "elsewhere"]);
    assert!(site.files("elsewhere").is_empty(), "a folder that is not there is not made");
    daemon.stop();
    let said = site.ok("check");
    assert!(said.contains("signed head"), "{said}");
    assert!(said.contains(" not in "), "{said}");
    fs::create_dir(site.path("elsewhere")).unwrap();
    let daemon = site.daemon();
    daemon.until("the copy", || site.files("elsewhere/heads").len() == site.files("state/heads").len());
    daemon.stop();
    let copy = site.files("elsewhere/heads").pop().unwrap();
    let copy = copy.strip_prefix(site.path("")).unwrap().to_str().unwrap().to_owned();
    assert_eq!(site.json(&format!("audit verify --head {copy}"))["ok"], true);
    assert!(!site.ok("check").contains("signed heads are not in"));
}

#[test]
fn heads_off_signs_none() {
    let site = Site::new(&format!("{LOFT}\n[signing]\nheads = \"off\"\n"));
    site.write("inbox/quiet.csv", quiet_weeks(3));
    let daemon = site.daemon();
    daemon.until("readings", || !site.readings("loft-lamp").is_empty());
    daemon.stop();
    assert!(site.files("state/heads").is_empty() && !site.path("state/signing.key").exists());
}
