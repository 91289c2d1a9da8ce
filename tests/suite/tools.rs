//! Tools from outside that tests use: Debian's Python with some packages. Where one is missing a test says that it skips, or fails
//! where the variable TWINWHITE_TOOLS is `needed`, as `tests/run` sets it once it has installed them.

use std::io::Write;
use std::process::{Command, Stdio};

/// A Python that has these packages.
pub fn python(packages: &[&str]) -> Option<&'static str> {
    let imports = format!("import {}", packages.join(", "));
    let has = |python: &&str| {
        let tried = Command::new(python).args(["-c", &imports]).stderr(Stdio::null()).status();
        tried.is_ok_and(|status| status.success())
    };
    let found = ["/usr/bin/python3", "python3"].into_iter().find(has);
    if found.is_none() {
        assert_ne!(std::env::var("TWINWHITE_TOOLS").as_deref(), Ok("needed"), "no Python with {packages:?}");
        eprintln!("skipped: no Python with {packages:?}");
    }
    found
}

/// What a script writes that is given `input`.
pub fn said_by(python: &str, script: &std::path::Path, input: &str) -> String {
    let mut child =
        Command::new(python).arg(script).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().expect("it starts");
    child.stdin.take().expect("it reads").write_all(input.as_bytes()).expect("it takes all");
    let output = child.wait_with_output().expect("it ends");
    assert!(output.status.success(), "{script:?} failed");
    String::from_utf8(output.stdout).expect("it writes text")
}

/// Gives `text` to a program from outside that is to find nothing wrong with it.
pub fn checked_by(program: &str, arguments: &[&str], text: &str) {
    let started = Command::new(program)
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn();
    let mut child = match started {
        Ok(child) => child,
        Err(why) => {
            assert_ne!(std::env::var("TWINWHITE_TOOLS").as_deref(), Ok("needed"), "no {program}: {why}");
            eprintln!("skipped: no {program}");
            return;
        }
    };
    child.stdin.take().expect("it reads").write_all(text.as_bytes()).expect("it takes all");
    let said = child.wait_with_output().expect("it ends");
    let words = [said.stdout, said.stderr].map(|bytes| String::from_utf8_lossy(&bytes).into_owned()).concat();
    assert!(said.status.success() && words.trim().is_empty(), "{program}: {words}\n{text}");
}
