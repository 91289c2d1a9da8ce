//! Tools from outside that tests use: Debian's Python with some packages. Where one is missing a test says that it skips, or fails
//! where the variable TWINWHITE_TOOLS is `needed`, as `tests/run` sets it once it has installed them.

use std::ffi::OsStr;
use std::io::{BufRead, BufReader, Write};
use std::net::TcpListener;
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};

use rcgen::{BasicConstraints, CertificateParams, CertifiedIssuer, DnType, IsCa, KeyPair};

use super::site::{Site, repository};

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

/// Whether these programs are there.
pub fn programs(names: &[&str]) -> bool {
    let path = std::env::var_os("PATH").unwrap_or_default();
    let there = |name: &&str| std::env::split_paths(&path).any(|folder| folder.join(name).is_file());
    let missing: Vec<&&str> = names.iter().filter(|name| !there(name)).collect();
    if !missing.is_empty() {
        assert_ne!(std::env::var("TWINWHITE_TOOLS").as_deref(), Ok("needed"), "no {missing:?}");
        eprintln!("skipped: no {missing:?}");
    }
    missing.is_empty()
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

/// A server that a script of `tests/fixtures/outside` runs, and the port it serves on; ended with its handle.
pub struct Server {
    child: Child,
    pub port: u16,
}

impl Server {
    pub fn start(python: &str, script: &str, arguments: &[&OsStr]) -> Self {
        let script = repository("tests/fixtures/outside").join(script);
        let mut child = Command::new(python)
            .arg(script)
            .args(arguments)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        Self { child, port: line.trim().parse().unwrap() }
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A program that runs for as long as its handle, and the first line it wrote.
pub struct Running {
    child: Child,
    pub first_line: String,
}

impl Running {
    /// Waits for the first line if there is to be one.
    pub fn start(command: &mut Command, speaks: bool) -> Self {
        let mut child = command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::null()).spawn().unwrap();
        let mut first_line = String::new();
        if speaks {
            BufReader::new(child.stdout.take().unwrap()).read_line(&mut first_line).unwrap();
        }
        Self { child, first_line: first_line.trim().to_owned() }
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A server that takes connections, says `greeting`, and nothing after that.
pub fn silent_server(greeting: &'static str) -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let port = listener.local_addr().unwrap().port();
    std::thread::spawn(move || {
        let mut held = Vec::new();
        for stream in listener.incoming() {
            let mut stream = stream.unwrap();
            let _ = stream.write_all(greeting.as_bytes());
            held.push(stream);
        }
    });
    port
}

/// A port on which nobody listens.
pub fn closed_port() -> u16 {
    TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port()
}

/// An authority of the house (`house.pem`) and what a server on localhost shows: certificate and key.
pub fn certificates(site: &Site) -> [PathBuf; 2] {
    let mut house = CertificateParams::new(Vec::new()).unwrap();
    house.is_ca = IsCa::Ca(BasicConstraints::Unconstrained);
    house.distinguished_name.push(DnType::CommonName, "the house's authority");
    let house = CertifiedIssuer::self_signed(house, KeyPair::generate().unwrap()).unwrap();
    let key = KeyPair::generate().unwrap();
    let server = CertificateParams::new(vec!["localhost".to_owned()]).unwrap().signed_by(&key, &house).unwrap();
    site.write("house.pem", house.pem());
    [site.write("server.pem", server.pem()), site.write("server.key", key.serialize_pem())]
}

/// Gives `text` to a program from outside that is to find nothing wrong with it.
pub fn checked_by(program: &str, arguments: &[&str], text: &str) {
    if !programs(&[program]) {
        return;
    }
    let mut child = Command::new(program)
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it starts");
    child.stdin.take().expect("it reads").write_all(text.as_bytes()).expect("it takes all");
    let said = child.wait_with_output().expect("it ends");
    let words = [said.stdout, said.stderr].map(|bytes| String::from_utf8_lossy(&bytes).into_owned()).concat();
    assert!(said.status.success() && words.trim().is_empty(), "{program}: {words}\n{text}");
}
