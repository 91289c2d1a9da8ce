//! A webhook against a real receiver: what it is sent, and what is said when it fails, cuts the line, hangs or is not there.

use std::io::{BufRead, BufReader};
use std::process::{Child, ChildStdout, Command, Stdio};

use serde_json::Value;
use twinwhite::clock::{Clock, SystemClock};

use super::site::{LOFT, Site, repository};
use super::tools::python;

const SECRET: &str = "open sesame";

struct Receiver {
    child: Child,
    port: u16,
    lines: BufReader<ChildStdout>,
}

impl Receiver {
    fn start(python: &str) -> Self {
        let mut child = Command::new(python)
            .arg(repository("tests/fixtures/outside/receiver.py"))
            .arg(SECRET)
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap());
        let mut port = String::new();
        lines.read_line(&mut port).unwrap();
        Self { child, port: port.trim().parse().unwrap(), lines }
    }

    /// The next request that it has read.
    fn next(&mut self) -> Value {
        let mut line = String::new();
        self.lines.read_line(&mut line).unwrap();
        serde_json::from_str(&line).unwrap()
    }
}

impl Drop for Receiver {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A site whose channels, named by their paths, lead to the receiver; the address stands in a file.
fn site_with(port: u16, paths: &[&str]) -> Site {
    let site = Site::bare();
    site.write("secret", format!("{SECRET}\n"));
    let mut config = LOFT.to_owned();
    for path in paths {
        site.write(&format!("{path}.url"), format!("http://127.0.0.1:{port}/{path}\n"));
        config.push_str(&format!(
            "\n[[channel]]\nid = \"{path}\"\nkind = \"webhook\"\nurl_file = \"{path}.url\"\nsecret_file = \"secret\"\n"
        ));
    }
    site.write("twinwhite.toml", config);
    site
}

#[test]
fn a_receiver_is_sent_signed_json_and_each_way_to_fail_is_told() {
    let Some(python) = python(&["hmac"]) else { return };
    let mut receiver = Receiver::start(python);
    let site = site_with(receiver.port, &["take", "fail", "cut", "hang"]);
    let before = SystemClock::new().now();
    assert!(site.ok("check --send take").starts_with("'take' took a test message."));
    let told = receiver.next();
    assert_eq!((&told["genuine"], told["type"].as_str().unwrap()), (&Value::Bool(true), "application/json"), "{told}");
    assert_eq!(told["key"], told["body"]["key"]);
    assert_eq!(told["body"]["messages"][0]["state"], "test");
    let signed = told["time"].as_i64().unwrap() - before.micros() / 1_000_000;
    assert!((0..60).contains(&signed), "signed {signed} s later");

    let ways = [
        ("fail", "did not take it: 500"),
        ("cut", "broke off"),
        ("hang", "no answer within 20 s; it may have taken the message all the same"),
    ];
    for (path, words) in ways {
        let said = site.run(&format!("check --send {path}"));
        assert_eq!(said.code, 1, "{path}");
        assert!(said.err.contains(words), "{path}: {}", said.err);
        assert!(!said.err.contains(&receiver.port.to_string()), "the address is a secret: {}", said.err);
        assert_eq!(receiver.next()["genuine"], true);
    }
    drop(receiver);
    let said = site.run("check --send take");
    assert_eq!(said.code, 1);
    assert!(said.err.contains("cannot be reached: "), "{}", said.err);
}

#[test]
fn a_repeat_after_a_cut_bears_the_same_key() {
    let Some(python) = python(&["hmac"]) else { return };
    let mut receiver = Receiver::start(python);
    let site = site_with(receiver.port, &["cut"]);
    let daemon = site.daemon();
    site.write("inbox/bad.csv", "time,device,lustre\n2025-01-06T12:00:00Z,loft-lamp,3\n");
    let first = receiver.next();
    assert_eq!(first["body"]["messages"][0]["key"], "harbour-loft/1/raised");
    let second = receiver.next();
    assert_eq!((&first["key"], &first["body"]), (&second["key"], &second["body"]), "the same message, the same key");
    assert!(daemon.stop().success());
}
