//! `init`: from four answers to a watch that works.

use std::fs;
use std::path::Path;
use std::process::Command;

use serde_json::Value;
use twinwhite::config::Config;

use super::examples::matched_at_the_aims;
use super::site::{PROGRAM, Site, repository};

/// Types the commands that `init` ends with, as they stand, into a shell.
fn type_in(site: &Site, said: &str) -> usize {
    let commands: Vec<&str> = said.lines().filter(|line| line.starts_with("twinwhite ")).collect();
    for command in &commands {
        let done = Command::new("/bin/sh")
            .args(["-c", command])
            .env_clear()
            .env("PATH", Path::new(PROGRAM).parent().unwrap())
            .current_dir(site.path(""))
            .output()
            .unwrap();
        assert!(done.status.success(), "{command}: {}", String::from_utf8_lossy(&done.stderr));
    }
    commands.len()
}

fn all_sound(site: &Site, words: &str) {
    let found = site.json(words);
    assert_eq!(found["ok"], true, "{found}");
    let findings = found["findings"].as_array().unwrap();
    assert!(findings.len() >= 4 && findings.iter().all(|finding| finding["found"] == "sound"), "{found}");
}

#[test]
fn enter_four_times_makes_a_watch_that_is_matched_at_its_aims() {
    let site = Site::bare();
    let said = site.run_told(&["init"], &[("TZ", "Europe/Lisbon")], "\n\n\n\n");
    assert_eq!((said.code, said.err.as_str()), (0, ""));
    all_sound(&site, "check");
    assert!(site.path("inbox").is_dir());
    let text = fs::read_to_string(site.path("twinwhite.toml")).unwrap();
    let config = Config::parse(&text, "twinwhite.toml", &site.path("")).unwrap_or_else(|mistakes| panic!("{mistakes}"));
    matched_at_the_aims(&site, &config, 0.0005);
}

#[test]
fn other_answers_are_matched_at_their_aims_too() {
    for answers in [
        ["Wall, D65, 120 cd/m2", "Booth, fluorescent", "Baryta, glossy", "in"],
        ["Wall, 160 cd/m2", "Booth, 5800 K, 2000 lx, halogen", "Rag, 96.8 0.6 -1.9", "drop here"],
    ] {
        let site = Site::bare();
        let said = site.run_told(&["init"], &[], &answers.join("\n"));
        assert_eq!((said.code, said.err.as_str()), (0, ""), "{}", said.out);
        all_sound(&site, "check");
        let text = fs::read_to_string(site.path("twinwhite.toml")).unwrap();
        let config =
            Config::parse(&text, "twinwhite.toml", &site.path("")).unwrap_or_else(|mistakes| panic!("{mistakes}"));
        // A white that was asked for is kept, also where the paper's own tint makes it another.
        matched_at_the_aims(&site, &config, 0.003);
    }
}

#[test]
fn the_commands_it_ends_with_can_be_copied() {
    let site = Site::bare();
    let said = site.run_told(&["init"], &[], "");
    assert_eq!(type_in(&site, &said.out), 3, "{}", said.out);
    let section = said.out.rsplit('"').nth(1).unwrap();
    let readme = fs::read_to_string(repository("README.md")).unwrap();
    assert!(readme.contains(&format!("\n## {section}\n")), "README.md has no section {section}");
    let status = site.json("status");
    assert_eq!(status["stations"][0]["station"], "desk");
    assert_eq!(site.readings("desk-lamp").len() + site.readings("desk-screen").len(), 2);
    // In another folder, with a name that a shell would take apart.
    let said = site.run_told(&["init", "--dir", "Ann's prints"], &[], "Schirm\nLampe\n");
    assert_eq!(type_in(&site, &said.out), 3, "{}", said.out);
    assert!(site.path("Ann's prints/state/ledger.db").exists());
}

#[test]
fn options_answer_and_nothing_is_asked() {
    let site = Site::bare();
    let words = [
        "init",
        "--display",
        "Loft screen",
        "--lamp",
        "Loft lamp, D50, 500 lx, led",
        "--paper",
        "Rag matte, 96.8 0.6 -1.9",
        "--folder",
        "drop",
    ];
    let said = site.run_with(&words, &[]);
    assert_eq!((said.code, said.err.as_str()), (0, ""));
    assert!(!said.out.contains("such as"), "{}", said.out);
    all_sound(&site, "check");
    assert!(site.path("drop").is_dir());
}

#[test]
fn a_configuration_that_is_there_stays() {
    let site = Site::loft();
    let before = fs::read(site.path("twinwhite.toml")).unwrap();
    let said = site.run("init");
    assert_eq!((said.code, said.out.as_str()), (1, ""));
    assert!(said.err.contains("stays as it is"), "{}", said.err);
    assert_eq!(fs::read(site.path("twinwhite.toml")).unwrap(), before);
}

#[test]
fn what_is_not_understood_in_a_pipe_writes_nothing() {
    let site = Site::bare();
    for (words, input) in [
        (vec!["init"], "Desk, purple\n"),
        (vec!["init", "--lamp", "Desk, D75"], ""),
        (vec!["init", "--folder", "/"], ""),
    ] {
        let said = site.run_told(&words, &[], input);
        assert_eq!(said.code, 2, "{words:?}: {}", said.out);
        assert!(said.err.contains("expected"), "{}", said.err);
        assert_eq!(site.names(""), Vec::<String>::new());
    }
}

#[test]
fn no_configuration_points_here() {
    let said = Site::bare().run("status --json");
    let said: Value = serde_json::from_str(&said.err).unwrap();
    assert!(said["error"]["message"].as_str().unwrap().contains("twinwhite init"), "{said}");
}
