//! Old spectra taken out of a ledger: nothing that people are told changes, every proof holds, and it is on record.

use std::fs;
use std::process::Command;

use serde_json::Value;
use twinwhite::units::Time;

use super::site::{LOFT, Site, day, repository, screen};

/// The loft with a paper whose curve is known, and a screen that follows it: spectra tell what a recalibration aimed at.
fn follower() -> Site {
    let aim = "aim = { white = { x = 0.3435, y = 0.3550 }, luminance_cd_m2 = 146 }";
    let white = "white = { L = 96.8, a = 0.6, b = -1.9 }";
    assert!(LOFT.contains(aim) && LOFT.contains(white));
    let config = LOFT.replace(aim, "aim = { white = \"paper\", luminance_cd_m2 = 146 }");
    let site = Site::new(&config.replace(white, "reflectance = \"rag-matte.csv\""));
    let rows: String =
        (380..=730).step_by(10).map(|nm| format!("{nm},{:.3}\n", 0.86 + 0.0001 * f64::from(nm - 380))).collect();
    site.write("rag-matte.csv", format!("nm,reflectance_factor\n{rows}"));
    site
}

/// A lamp's spectrum, a little bluer each day.
fn spectrum(time: Time, n: u32) -> String {
    let nm: Vec<u32> = (380..=780).step_by(5).collect();
    let header: String = nm.iter().map(|nm| format!(",nm{nm}")).collect();
    let power = |nm: u32| {
        let from_middle = (f64::from(nm) - 560.0) / 200.0;
        0.007 * (1.0 + 0.12 * from_middle - 0.0004 * f64::from(n) * from_middle)
    };
    let values: String = nm.iter().map(|nm| format!(",{:.7}", power(*nm))).collect();
    format!("time,device,unit{header}\n{time},loft-lamp,W/m2/nm{values}\n")
}

/// A spectrum each day for `days` days, the screen each week, recalibrated on days 10 and 30.
fn kept_for(days: u32) -> Site {
    let site = follower();
    let mut screens = super::site::HEADER.to_owned();
    for n in 0..days {
        site.write(&format!("in/{n:03}.csv"), spectrum(day(f64::from(n)), n));
        if n % 7 == 0 {
            screens += &screen(day(f64::from(n) + 0.01), 146.0 + 0.2 * f64::from(n % 3));
        }
    }
    site.write("in/screens.csv", screens);
    let files: Vec<String> = site.names("in").into_iter().map(|name| format!("in/{name}")).collect();
    site.ok(&format!("ingest {}", files.join(" ")));
    for n in [10.5, 30.5] {
        site.ok(&format!("record recalibrated loft-screen --at {}", day(n)));
    }
    site
}

fn answers(site: &Site) -> [Value; 4] {
    let at = day(62.0);
    [
        site.json(&format!("status --as-of {at}")),
        site.json(&format!("forecast desk --as-of {at}")),
        site.json(&format!("history loft-screen --as-of {at}")),
        site.json(&format!("history loft-lamp --as-of {at}")),
    ]
}

#[test]
fn nothing_that_is_told_changes_and_every_proof_holds() {
    let site = kept_for(60);
    site.ok("sign desk --job poster --override trial --out handed");
    let head = site.json("audit head");
    site.write("kept.head", head["note"].as_str().unwrap());
    let certificate = site.names("handed").into_iter().find(|name| name.ends_with("json")).unwrap();
    let spectral = site.readings("loft-lamp")[3]["seq"].as_i64().unwrap();
    site.ok(&format!("audit prove {spectral} -o reading.json"));
    let (before, entries) = (answers(&site), site.audit());

    // Said first, done after.
    let would = site.json(&format!("prune --spectra-before {}", day(40.0)));
    assert_eq!((&would["done"], site.audit()), (&false.into(), entries), "only said");
    let text = site.ok(&format!("prune --spectra-before {}", day(40.0)));
    assert!(text.contains("would go") && text.contains("--yes"), "{text}");
    let done = site.json(&format!("prune --spectra-before {} --yes --operator ines", day(40.0)));
    assert_eq!((&done["go"], &done["stay"], &done["done"]), (&would["go"], &would["stay"], &true.into()));
    // Forty spectra are as old. Kept are those of the two recalibrations and the last before the day.
    let seqs =
        |name: &str| -> Vec<i64> { done[name].as_array().unwrap().iter().map(|seq| seq.as_i64().unwrap()).collect() };
    assert_eq!((seqs("go").len(), seqs("stay").len()), (37, 3));
    let of_day = |n: usize| site.readings("loft-lamp")[n]["seq"].as_i64().unwrap();
    assert_eq!(seqs("stay"), [of_day(10), of_day(30), of_day(39)]);
    assert!(done["bytes"].as_i64().unwrap() > 37 * 600, "{}", done["bytes"]);

    assert_eq!(answers(&site), before, "to the last digit");
    let verified = site.json("audit verify --head kept.head");
    assert_eq!((&verified["ok"], &verified["spectra_pruned"]), (&true.into(), &37.into()), "{verified}");
    assert_eq!(site.json(&format!("audit verify handed/{certificate} --head kept.head"))["ok"], true);
    assert_eq!(site.json("audit verify reading.json --head kept.head")["ok"], true, "made before, good for ever");
    let refused = site.run(&format!("audit prove {spectral}"));
    assert_eq!(refused.code, 1);
    assert!(refused.err.contains("lost its spectrum") && refused.err.contains("backup"), "{}", refused.err);
    site.ok(&format!("audit prove {}", of_day(10)));

    // On record: who, what, and each reading says so itself.
    let said = site.json("audit show --kind spectra-pruned");
    let entry = &said["entries"][0];
    assert_eq!((&entry["body"]["operator"], &entry["seq"]), (&"ines".into(), &done["said_by"][0]));
    assert!(entry["says"].as_str().unwrap().starts_with("the spectra of 37 readings made before"), "{entry}");
    assert_eq!(entry["body"]["entries"].as_array().unwrap().len(), 37);
    let shown = site.ok("audit show --device loft-lamp");
    assert!(shown.contains("its spectrum was pruned") && !shown.contains("does not match"), "{shown}");

    // The same again finds nothing; the same reading in another file is known; everything can be made anew.
    assert_eq!(site.json(&format!("prune --spectra-before {} --yes", day(40.0)))["go"], Value::Array(Vec::new()));
    let again = site.ingest("again.csv", &(spectrum(day(3.0), 3) + "\n"));
    assert_eq!(again["duplicates"], 1, "{again}");
    site.ok("rebuild");
    assert_eq!(answers(&site), before);
    site.audit();
    // What is left of one is watched too.
    let edit = "UPDATE entry SET body = replace(body, '\"u_prime\":0.2', '\"u_prime\":0.3') WHERE seq = ?1";
    assert_eq!(site.ledger().execute(edit, [spectral]).unwrap(), 1);
    let shown = site.ok("audit show --device loft-lamp --kind reading");
    let marked: Vec<&str> = shown.lines().filter(|line| line.ends_with(" [does not match its leaf]")).collect();
    assert!(marked.len() == 1 && marked[0].trim_start().starts_with(&spectral.to_string()), "{marked:?}");
}

#[test]
fn it_travels_in_backups_and_exports_and_what_was_known_says_what_is_missing() {
    let site = kept_for(30);
    site.ok("backup whole.backup");
    let known = site.json("status")["as_of"].as_str().unwrap().to_owned();
    site.ok(&format!("prune --spectra-before {} --yes", day(25.0)));
    let said = site.run(&format!("status --known-at {known}"));
    assert!(said.err.contains("spectra of 2") && said.err.contains("taken out since"), "{}", said.err);
    assert_eq!(site.run("status").err, "");

    // Onto an empty machine, which then has what is left; and onto a backup of before, which has them all.
    site.ok("backup pruned.backup");
    let sizes = ["whole.backup", "pruned.backup"].map(|name| fs::metadata(site.path(name)).unwrap().len());
    let empty = follower();
    fs::copy(site.path("pruned.backup"), empty.path("pruned.backup")).unwrap();
    empty.ok("restore pruned.backup");
    assert_eq!(empty.json("audit verify")["spectra_pruned"], site.json("audit verify")["spectra_pruned"]);
    assert_eq!(answers(&empty), answers(&site));
    let older = follower();
    for name in ["whole.backup", "pruned.backup"] {
        fs::copy(site.path(name), older.path(name)).unwrap();
    }
    older.ok("restore whole.backup");
    older.ok("restore pruned.backup");
    assert_eq!(answers(&older), answers(&site));
    assert_eq!(older.json("audit verify")["root"], site.json("audit verify")["root"]);
    assert!(sizes[1] < sizes[0] + 40_000, "{sizes:?}");

    if Command::new("python3").arg("--version").output().is_err() {
        assert_ne!(std::env::var("TWINWHITE_TOOLS").as_deref(), Ok("needed"), "no Python");
        return;
    }
    let head = site.json("audit head");
    site.write("kept.head", head["note"].as_str().unwrap());
    site.ok("audit export ledger");
    let checked = |site: &Site| {
        let words = ["ledger", "--head", "kept.head"];
        let done = Command::new("python3")
            .arg(repository("contrib/check_ledger.py"))
            .args(words)
            .current_dir(site.path("."))
            .output();
        let done = done.unwrap();
        (done.status.code(), String::from_utf8(done.stdout).unwrap() + &String::from_utf8(done.stderr).unwrap())
    };
    let (code, text) = checked(&site);
    assert!(code == Some(0) && text.contains("spectra pruned") && !text.contains(" 0 spectra"), "{text}");
    // A digit of what is left of a reading; then the entry that says so.
    let lines = fs::read_to_string(site.path("ledger/entries.jsonl")).unwrap();
    let left = lines.lines().find(|line| line.contains("spectrum_pruned")).unwrap();
    let seq = serde_json::from_str::<Value>(left).unwrap()["seq"].as_i64().unwrap();
    site.write("ledger/entries.jsonl", lines.replacen("\\\"u_prime\\\":0.2", "\\\"u_prime\\\":0.3", 1));
    let (code, text) = checked(&site);
    assert!(code == Some(1) && text.contains(&format!("entry {seq} does not match its leaf")), "{text}");
    site.write("ledger/entries.jsonl", lines.replacen("\\\"was\\\":\\\"", "\\\"was\\\":\\\"0", 1));
    let (code, text) = checked(&site);
    assert!(code == Some(1) && text.contains("does not match its leaf"), "{text}");
}

/// The last backup that has the spectra is not lost to one under the same name, also where that was a night after the pruning.
#[test]
fn a_backup_from_before_stays_beside_the_new_one() {
    let site = kept_for(30);
    site.ok("backup nightly.backup");
    let whole = fs::read(site.path("nightly.backup")).unwrap();
    let made = site.json("backup nightly.backup");
    assert_eq!(
        (&made["replaced"], &made["kept_aside"]),
        (&made["holds"]["entries"], &Value::Null),
        "nothing was pruned"
    );
    let held = made["holds"]["entries"].as_i64().unwrap();
    let pruned = site.json(&format!("prune --spectra-before {} --yes", day(25.0)))["go"].as_array().unwrap().len();

    // Somebody else's file has the name already: it stays.
    let (first, second) =
        (format!("nightly-{held}-with-spectra.backup"), format!("nightly-{held}-with-spectra-2.backup"));
    site.write(&first, "a letter");
    let made = site.json("backup nightly.backup");
    assert_eq!((&made["replaced"], &made["kept_aside"]), (&held.into(), &second.clone().into()));
    assert_eq!(fs::read(site.path(&second)).unwrap(), whole);
    assert_eq!(fs::read_to_string(site.path(&first)).unwrap(), "a letter");
    assert_eq!(site.json("backup nightly.backup")["kept_aside"], Value::Null, "this one is of after the pruning");

    // In words. An attempt that was cut off after it had kept it leaves nothing twice.
    fs::copy(site.path(&second), site.path("words.backup")).unwrap();
    fs::copy(site.path(&second), site.path(&format!("words-{held}-with-spectra.backup"))).unwrap();
    let text = site.ok("backup words.backup");
    let said = format!(
        "spectra of {pruned} readings, which were pruned since, so it is kept: words-{held}-with-spectra.backup"
    );
    assert!(text.replace('\n', " ").contains(&said), "{text}");
    let names: Vec<String> = site.names(".").into_iter().filter(|name| name.starts_with("words")).collect();
    assert_eq!(names, [format!("words-{held}-with-spectra.backup"), "words.backup".to_owned()]);

    // The ledger that is there lacks them, and says how to come by them.
    let refused = site.run(&format!("restore {second}"));
    assert_eq!(refused.code, 1);
    assert!(refused.err.contains(&format!("but for the spectra of {pruned} readings")), "{}", refused.err);
    assert!(refused.err.contains("nothing was restored") && refused.err.contains("--config"), "{}", refused.err);
    assert!(!refused.err.contains("nothing needs to be"), "{}", refused.err);
    let beside = follower();
    fs::copy(site.path(&second), beside.path("old.backup")).unwrap();
    beside.ok("restore old.backup");
    assert_eq!(beside.json("audit verify")["spectra_pruned"], 0);
}

/// Where the backup lies on another disk, it is copied there before the old one gets its other name.
#[cfg(target_os = "linux")]
#[test]
fn on_another_disk_it_stays_too() {
    let site = kept_for(20);
    let Ok(folder) = tempfile::tempdir_in("/dev/shm") else {
        eprintln!("skipped: there is no second file system");
        return;
    };
    let file = folder.path().join("nightly.backup");
    let held = site.json(&format!("backup {}", file.display()))["holds"]["entries"].clone();
    site.ok(&format!("prune --spectra-before {} --yes", day(15.0)));
    let made = site.json(&format!("backup {}", file.display()));
    let kept = folder.path().join(format!("nightly-{held}-with-spectra.backup"));
    assert_eq!(made["kept_aside"], kept.display().to_string());
    let mut names: Vec<String> =
        fs::read_dir(folder.path()).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    assert_eq!(names, [format!("nightly-{held}-with-spectra.backup"), "nightly.backup".to_owned()]);
}

#[test]
fn a_day_that_is_not_past_is_refused_and_so_is_a_ledger_that_is_not_sound() {
    let site = kept_for(12);
    let said = site.run("prune --spectra-before 2999-01-01 --yes");
    assert_eq!(said.code, 2);
    assert!(said.err.contains("--spectra-before") && said.err.contains("is not past"), "{}", said.err);
    let entries = site.audit();
    // What is derived differs already: nothing is touched until somebody has looked.
    site.ledger().execute_batch("UPDATE reading SET u = u + 0.01 WHERE device = 'loft-screen'").unwrap();
    let said = site.run(&format!("prune --spectra-before {} --yes", day(8.0)));
    assert_eq!(said.code, 1);
    assert!(said.err.contains("nothing was taken out") && said.err.contains("rebuild"), "{}", said.err);
    site.ok("rebuild");
    assert_eq!(site.audit(), entries);
    // An entry was changed behind the ledger's back.
    site.ledger()
        .execute_batch("UPDATE entry SET body = replace(body, '0.007', '0.008') WHERE kind = 'reading'")
        .unwrap();
    let said = site.run(&format!("prune --spectra-before {} --yes", day(8.0)));
    assert_eq!(said.code, 1);
    assert!(said.err.contains("does not match its leaf"), "{}", said.err);
}
