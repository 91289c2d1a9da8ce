//! Signing off: what goes on record, what is refused, what is handed out, and what becomes of it when somebody changes a digit.

use std::fs;

use serde_json::Value;

use super::site::{HEADER, Said, Site, from_now, lamp, screen};

/// A loft whose screen and lamp were read every week up to yesterday.
fn read_loft() -> Site {
    let site = Site::loft();
    let rows = (0..12).map(|week| {
        let time = from_now(-1.0 - 7.0 * f64::from(11 - week));
        let scatter = 0.5 * f64::from(week % 3) - 0.5;
        lamp(time, 500.0 + 4.0 * scatter) + &screen(time, 142.0 + scatter)
    });
    site.ingest("weeks.csv", &(HEADER.to_owned() + &rows.collect::<String>()));
    site
}

fn sign(site: &Site, words: &[&str]) -> Said {
    let all: Vec<&str> = ["--operator", "ines", "sign", "desk"].iter().chain(words).copied().collect();
    site.run_with(&all, &[])
}

fn signed(site: &Site, words: &[&str]) -> Value {
    let said = sign(site, &[words, &["--json"]].concat());
    assert_eq!(said.code, 0, "{}", said.err);
    serde_json::from_str(&said.out).unwrap()
}

#[test]
fn a_print_is_signed_and_anybody_can_check_it() {
    let site = read_loft();
    site.write("calendar.pdf", "a print");
    let answer = signed(&site, &["--job", "Harbour calendar 2027", "--file", "calendar.pdf", "--out", "handed out"]);
    assert_eq!((&answer["verdict"], &answer["overridden"]), (&"matched".into(), &false.into()));
    let (seq, code) = (&answer["seq"], answer["code"].as_str().unwrap());
    let file = format!("handed out/harbour-loft-harbour-calendar-2027-{seq}.signoff.json");
    assert_eq!(answer["files"][0], *file);
    let bytes = fs::read(site.path(&file)).unwrap();
    assert!(bytes.len() < 16_384, "{} bytes", bytes.len());

    // The state of the match is in the entry, whole.
    let body: Value = serde_json::from_str(answer["certificate"]["entry"]["body"].as_str().unwrap()).unwrap();
    assert_eq!(body["operator"], "ines");
    assert_eq!(body["match"]["verdict"], "matched");
    assert_eq!(body["file"]["sha256"], "95302eebd9bc1bf0c8c06dc7271dca037b192dc4414ed196944029d3a7fc30a3");
    assert_eq!(body["match"]["as_of"], body["known"]["known_at"], "judged by all that was known and measured then");
    for side in ["screen", "paper"] {
        let white = &body["match"][side];
        assert!(white["u_prime"]["sd"].as_f64().unwrap() > 0.0, "{white}");
        assert!((0.9..1.1).contains(&white["last_reading"]["age_days"].as_f64().unwrap()), "{white}");
    }

    // Another computer: the certificate and the code, or the head, and nothing else.
    let elsewhere = Site::bare();
    elsewhere.write("handed.json", &bytes);
    elsewhere.write("kept.head", answer["certificate"]["head"].as_str().unwrap());
    for kept in [code, "kept.head"] {
        let said = elsewhere.run(&format!("audit verify handed.json --head {kept}"));
        assert_eq!(said.code, 0, "{}{}", said.out, said.err);
        assert!(said.out.starts_with("Proven") && said.out.contains("Harbour calendar 2027"), "{}", said.out);
    }
    // One digit of it.
    let text = String::from_utf8(bytes).unwrap();
    let changed = text.replacen("Harbour calendar 2027", "Harbour calendar 2028", 1);
    assert_ne!(text, changed);
    elsewhere.write("changed.json", &changed);
    let said = elsewhere.run(&format!("audit verify changed.json --head {code}"));
    assert_eq!(said.code, 1);
    assert!(said.out.starts_with("NOT proven"), "{}", said.out);

    let page = fs::read_to_string(site.path(&file.replace(".json", ".html"))).unwrap();
    for part in ["Harbour calendar 2027", code, "matched", "ines", "What this cannot show"] {
        assert!(page.contains(part), "no {part} in {page}");
    }
    assert!(!page.contains("http") && !page.contains("src="), "it loads nothing");
    site.audit();
}

#[test]
fn what_does_not_match_is_refused_unless_somebody_says_why() {
    let site = read_loft();
    // Somebody turned the dimmer.
    for minutes in [50.0, 10.0] {
        site.ingest("dim.csv", &format!("{HEADER}{}", lamp(from_now(-minutes / 1440.0), 330.0 + minutes / 20.0)));
    }
    let before = site.audit();
    let said = sign(&site, &["--job", "4711"]);
    assert_eq!(said.code, 1, "{}", said.out);
    assert!(said.err.contains("NOT signed: ") && said.err.contains("--override"), "{}", said.err);
    // The whites agree; what is out is the level, and that is what speaks against it.
    assert!(said.err.contains("times brighter than the paper asks for"), "{}", said.err);
    assert!(!said.err.contains("The whites are"), "{}", said.err);
    assert_eq!(site.audit(), before, "a refusal leaves no trace");
    let said = sign(&site, &["--job", "4711", "--json"]);
    let failed: Value = serde_json::from_str(&said.err).unwrap();
    assert_eq!(failed["error"]["kind"], "refused");
    assert_eq!(sign(&site, &["--job", "4711", "--override", "  "]).code, 2, "an empty reason is none");

    let answer = signed(&site, &["--job", "4711", "--override", "the client accepts it"]);
    assert_eq!(answer["overridden"], true);
    let body: Value = serde_json::from_str(answer["certificate"]["entry"]["body"].as_str().unwrap()).unwrap();
    assert_eq!(body["override"]["reason"], "the client accepts it");
    assert!(!body["override"]["objections"].as_array().unwrap().is_empty());
    let page = fs::read_to_string(site.path(answer["files"][1].as_str().unwrap())).unwrap();
    assert!(page.contains("Signed although the program objected") && page.contains("the client accepts it"));
}

#[test]
fn nothing_read_is_nothing_to_sign() {
    let site = Site::loft();
    let said = site.run_with(&["sign", "desk", "--job", "4711"], &[]);
    assert_eq!(said.code, 1);
    assert!(said.err.contains("loft-lamp was never read"), "{}", said.err);
}

#[test]
fn a_sign_off_is_taken_back_by_a_new_entry_alone() {
    let site = read_loft();
    let seq = signed(&site, &["--job", "4711"])["seq"].as_i64().unwrap();
    let back = || site.run_with(&["retract", &seq.to_string(), "--reason", "the wrong file"], &[]);
    let said = back();
    assert_eq!(said.code, 0);
    let by = site.audit();
    assert!(said.out.contains(&format!("`twinwhite audit prove {by} -o FILE`")), "{}", said.out);
    // Proven anew it says so, on the page too; the withdrawal is proven like any entry.
    let proven = site.ok(&format!("audit prove {seq} -o again.json"));
    assert!(proven.starts_with("The sign-off was WITHDRAWN. Entry"), "{proven}");
    let page = fs::read_to_string(site.path("again.html")).unwrap();
    assert!(page.contains("sign-off withdrawn") && page.contains("the wrong file"), "{page}");
    site.ok(&format!("audit prove {by} -o withdrawal.json"));
    assert_eq!(site.run("audit verify withdrawal.json").code, 0);
    let again = back();
    assert_eq!(again.code, 1);
    assert!(again.err.contains("already taken back"), "{}", again.err);
    let withdrawn: Option<i64> =
        site.ledger().query_row("SELECT withdrawn FROM sign_off WHERE seq = ?1", [seq], |row| row.get(0)).unwrap();
    assert!(withdrawn.is_some_and(|by| by > seq));
    site.audit();
}

#[test]
fn two_who_sign_at_once_both_get_a_record() {
    let site = read_loft();
    let codes: Vec<String> = std::thread::scope(|scope| {
        let jobs: Vec<_> = (0..8)
            .map(|n| {
                scope.spawn({
                    let site = &site;
                    move || signed(site, &["--job", &format!("job {n}")])["code"].as_str().unwrap().to_owned()
                })
            })
            .collect();
        jobs.into_iter().map(|job| job.join().unwrap()).collect()
    });
    let different: std::collections::BTreeSet<&String> = codes.iter().collect();
    assert_eq!(different.len(), 8, "each has a head of its own");
    site.audit();
    for name in site.names(".").iter().filter(|name| name.ends_with(".signoff.json")) {
        assert_eq!(site.run(&format!("audit verify {name}")).code, 0, "{name}");
    }
}

#[test]
fn nothing_is_signed_where_its_certificate_cannot_be_written() {
    let site = read_loft();
    site.write("afile", "no folder");
    let before = site.audit();
    let said = sign(&site, &["--job", "4711", "--out", "afile"]);
    assert_eq!((said.code, said.out.as_str()), (1, ""));
    assert!(said.err.contains("NOT signed: afile cannot be written"), "{}", said.err);
    assert_eq!(site.audit(), before);
}

#[test]
fn a_needless_override_is_told_and_a_doubted_reading_is_named() {
    let site = read_loft();
    let said = sign(&site, &["--job", "4711", "--override", "just in case"]);
    assert!(said.out.contains("Nothing spoke against it"), "{}", said.out);
    let body = &site.json("audit show --kind sign-off")["entries"][0]["body"];
    assert!(body["override"].is_null() && !body.to_string().contains("just in case"), "{body}");
    // One reading far from the rest: what the match rests on is the model, and the reading is doubted.
    site.ingest("dim.csv", &format!("{HEADER}{}", lamp(from_now(-5.0 / 1440.0), 300.0)));
    let said = sign(&site, &["--job", "4712"]);
    assert!(
        said.out.contains("it lies far from the rest") && said.out.contains("A second reading decides"),
        "{}",
        said.out
    );
}
