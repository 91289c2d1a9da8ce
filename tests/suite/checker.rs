//! The checker in another language: what it is given is read as the description of the format says, and it tells what does not hold.

use std::fs;
use std::process::Command;

use serde_json::Value;

use super::audit::{checker, signed_loft};
use super::site::{Said, Site, repository};
use super::tools;

/// A certificate of entry 6 or the last one, connected with `kept.head`, which covers all but the last; `None` without Python.
fn connected() -> Option<(Site, i64)> {
    tools::python(&["json"])?;
    let site = signed_loft();
    let head = site.json("audit head");
    site.write("kept.head", head["note"].as_str().unwrap());
    site.ok("record cleaned loft-lamp");
    site.ok("audit head");
    let last = site.audit();
    let poster = site.json("audit show --job poster")["entries"][0]["seq"].as_i64().unwrap();
    site.ok(&format!("audit prove {poster} --head kept.head -o poster.json"));
    site.ok(&format!("audit prove {last} --head kept.head -o last.json"));
    Some((site, last))
}

#[track_caller]
fn refuses(said: &Said, told: &str) {
    assert_eq!(said.code, 1, "{}", said.out);
    assert!(said.err.contains(told), "{told}: {}", said.err);
}

#[test]
fn every_letter_and_digit_of_a_certificate_counts() {
    let Some((site, _)) = connected() else { return };
    let done = Command::new("python3")
        .arg(repository("tests/fixtures/outside/each_digit.py"))
        .arg(repository("contrib/check_ledger.py"))
        .args(["poster.json", "--head", "kept.head"])
        .current_dir(site.path("."))
        .output()
        .unwrap();
    let said = String::from_utf8(done.stdout).unwrap() + &String::from_utf8(done.stderr).unwrap();
    let tried: usize = said.trim().parse().unwrap_or_else(|_| panic!("not found: {said}"));
    assert!(tried > 1500, "{tried}");
}

#[test]
fn a_certificate_is_read_strictly_and_what_was_kept_generously() {
    let Some((site, last)) = connected() else { return };
    let text = fs::read_to_string(site.path("poster.json")).unwrap();
    let own: Value = serde_json::from_str(&text).unwrap();
    let code = own["code"].as_str().unwrap();
    let careless = format!("  {}  ", code.to_lowercase().replace('-', "").replace('0', "o").replace('1', "l"));
    let note = fs::read_to_string(site.path("kept.head")).unwrap();
    let lines = note.lines().filter(|line| !line.is_empty());
    let mail: String = lines.map(|line| format!(">   {line}\r\n")).collect();
    site.write("mail.txt", format!("Good morning\n\n  twinwhite/x is nothing\n{mail}\n-- \nbye"));
    for kept in [code, &careless, "kept.head", "mail.txt"] {
        let said = checker(&site, &["poster.json", "--head", kept]);
        assert!(said.code == 0 && said.out.starts_with("Proven: "), "{kept}: {}{}", said.out, said.err);
    }
    let said = checker(&site, &["poster.json"]);
    assert!(
        said.code == 0 && !said.out.contains("Proven") && said.out.contains("held against nothing"),
        "{}",
        said.out
    );
    let said = checker(&site, &["last.json", "--head", "kept.head"]);
    assert!(said.code == 0 && !said.out.contains("Proven"), "{}", said.out);
    assert!(
        said.out.contains("older") && said.out.contains(&format!("a head of {last} entries or more")),
        "{}",
        said.out
    );
    for word in ["nofile.head", "7ZK3-0QWE-11MU", "7ZK3-0QWE-11M"] {
        let said = checker(&site, &["poster.json", "--head", word]);
        refuses(&said, &format!("--head {word}: this is neither a file nor a code"));
        assert!(!said.err.contains("NOT proven"), "{}", said.err);
    }
    site.write("letter.txt", "Good morning");
    refuses(&checker(&site, &["poster.json", "--head", "letter.txt"]), "no signed head in this file");

    let key = own["key"].as_str().unwrap();
    let hash = own["proof"]["hashes"][0].as_str().unwrap();
    let loose = |hash: &str| {
        // The last digit before the padding holds two bits that mean nothing.
        let digit = hash.as_bytes()[42] + 1;
        format!("{}{}=", &hash[..42], char::from(digit))
    };
    for (what, from, to, told) in [
        (
            "another form",
            "\"twinwhite_certificate\": 1",
            "\"twinwhite_certificate\": 2".to_owned(),
            "its form is not 1",
        ),
        ("another code", code, "0000-0000-0000".to_owned(), "its code not that"),
        ("a new field", "\"entry\": {", "\"more\": 1, \"entry\": {".to_owned(), "other fields"),
        ("a new field within", "\"seq\":", "\"more\": 1, \"seq\":".to_owned(), "other fields"),
        ("a field twice", "\"seq\":", "\"seq\": 1, \"seq\":".to_owned(), "a field stands twice"),
        ("a text for a number", "\"index\": ", "\"index\": 1.0, \"x\": ".to_owned(), "other fields"),
        ("bits without meaning", hash, loose(hash), "not base64 in its one form"),
        ("a blank in base64", hash, format!(" {hash}"), "not base64 in its one form"),
        ("a mail around the head", "\"head\": \"", "\"head\": \"Good morning\\n".to_owned(), "holds no signed head"),
        ("another key", key, key.replacen('+', "+0", 1), "is no key"),
        ("a hash too few", &format!("\"{hash}\","), String::new(), "NOT proven"),
    ] {
        let changed = text.replacen(from, &to, 1);
        assert_ne!(changed, text, "{what}");
        site.write("changed.json", changed);
        let said = checker(&site, &["changed.json", "--head", "kept.head"]);
        assert!(said.code == 1 && said.err.contains(told), "{what}: {}{}", said.out, said.err);
    }
}

#[test]
fn an_export_is_told_where_it_is_wrong() {
    let Some((site, last)) = connected() else { return };
    site.ok("audit export ledger");
    let read = |name: &str| fs::read_to_string(site.path(name)).unwrap();
    let (entries, heads) = (read("ledger/entries.jsonl"), read("ledger/heads.jsonl"));
    let check = |entries: &str, heads: &str, words: &[&str]| {
        site.write("ledger/entries.jsonl", entries);
        site.write("ledger/heads.jsonl", heads);
        checker(&site, &[&["ledger"], words].concat())
    };
    let said = check(&entries, &heads, &["--head", "kept.head"]);
    assert!(
        said.code == 0 && said.out.starts_with("Holds: ") && !said.out.contains("nothing"),
        "{}{}",
        said.out,
        said.err
    );
    let said = check(&entries, "", &[]);
    assert!(said.code == 0 && said.out.contains("nothing was signed"), "{}{}", said.out, said.err);

    let lines: Vec<&str> = entries.lines().collect();
    let shorter = lines[..lines.len() - 1].join("\n") + "\n";
    let told = format!("it has {} entries, shorter than a head", last - 1);
    refuses(&check(&shorter, &heads, &[]), &told);
    refuses(&check(&entries.replacen("\"seq\":4,", "\"seq\":4", 1), &heads, &[]), "line 4 of entries.jsonl");
    refuses(&check(&entries.replacen("\"leaf\":", "\"leaves\":", 1), &heads, &[]), "line 1 of entries.jsonl");
    refuses(&check(&entries, &heads.replacen("\"note\":", "\"notes\":", 1), &[]), "line 1 of heads.jsonl");
    let code =
        serde_json::from_str::<Value>(heads.lines().next().unwrap()).unwrap()["code"].as_str().unwrap().to_owned();
    refuses(&check(&entries, &heads.replacen(&code, "0000-0000-0000", 1), &[]), "is not of this history");
    refuses(&check(&entries, &heads, &["--head", "0000-0000-0000"]), "typed right");
    let lower = code.to_lowercase();
    assert_eq!(check(&entries, &heads, &["--head", &lower]).code, 0);
}
