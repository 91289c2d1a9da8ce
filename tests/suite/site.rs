//! A site in a temporary folder and the real program in it: commands, the daemon, and waiting without fixed sleeps.
//!
//! The environment is cleared, so that nothing of the machine's own leaks in. A daemon is ended with its handle.

use std::fs;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use serde_json::Value;
use twinwhite::clock::{Clock, SystemClock};
use twinwhite::units::{Days, Time};

/// The program under test.
pub const PROGRAM: &str = env!("CARGO_BIN_EXE_twinwhite");

/// Nothing takes this long, even where other tests fill the machine.
const PATIENCE: Duration = Duration::from_secs(120);

/// One screen, one lamp, one station called `desk`.
pub const LOFT: &str = r#"
[site]
name = "Harbour loft"
timezone = "Europe/Lisbon"

[paths]
inbox = "inbox"
state = "state"

[inbox]
settle_s = 3
rescan_s = 5
max_bytes = 65536

[[display]]
id = "loft-screen"
aim = { white = { x = 0.3435, y = 0.3550 }, luminance_cd_m2 = 146 }

[[lamp]]
id = "loft-lamp"
kind = "led"
aim = { white = "D50", illuminance_lx = 500 }
adjustable = ["level"]

[[paper]]
id = "rag-matte"
white = { L = 96.8, a = 0.6, b = -1.9 }

[[operator]]
id = "ines"

[[station]]
id = "desk"
display = "loft-screen"
lamp = "loft-lamp"
paper = "rag-matte"
tolerance = { delta_uv = 0.005, luminance_ratio = 1.2 }
"#;

/// The header of the CSV rows that [`lamp`] and [`screen`] write.
pub const HEADER: &str = "time,device,x,y,luminance_cd_m2,illuminance_lx,hours\n";

/// The `n`th day of the tests' time, which lies in the past; noon.
pub fn day(n: f64) -> Time {
    Time::parse("2025-01-06T12:00:00Z").unwrap().plus(Days(n))
}

/// `days` from now.
pub fn from_now(days: f64) -> Time {
    let now = SystemClock::new().now().plus(Days(days));
    Time::from_micros(now.micros() / 1_000_000 * 1_000_000)
}

/// A row of the lamp at its aim's white.
pub fn lamp(time: Time, lx: f64) -> String {
    format!("{time},loft-lamp,0.3457,0.3585,,{lx},\n")
}

/// A row of the screen at its aim's white.
pub fn screen(time: Time, luminance: f64) -> String {
    format!("{time},loft-screen,0.3435,0.3550,{luminance},,\n")
}

/// Both devices at their aims every week, `weeks` times, from day 0 on.
pub fn quiet_weeks(weeks: u32) -> String {
    let rows = (0..weeks).map(|week| {
        let time = day(7.0 * f64::from(week));
        // No instrument repeats itself to the digit.
        let scatter = 0.5 * f64::from(week % 3) - 0.5;
        lamp(time, 500.0 + 4.0 * scatter) + &screen(time, 146.0 + scatter)
    });
    HEADER.to_owned() + &rows.collect::<String>()
}

/// Holds a text against its snapshot.
pub fn pinned(name: &str, text: &str) {
    insta::with_settings!({ prepend_module_to_snapshot => false, omit_expression => true },
        { insta::assert_snapshot!(name, text) });
}

/// What one call of the program said.
pub struct Said {
    pub code: i32,
    pub out: String,
    pub err: String,
}

pub struct Site {
    folder: tempfile::TempDir,
}

impl Site {
    pub fn new(config: &str) -> Self {
        let site = Self::bare();
        site.write("twinwhite.toml", config);
        site
    }

    pub fn loft() -> Self {
        Self::new(LOFT)
    }

    /// A folder without a configuration.
    pub fn bare() -> Self {
        Self { folder: tempfile::tempdir().unwrap() }
    }

    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// Writes a file of the site, folders included.
    pub fn write(&self, name: &str, bytes: impl AsRef<[u8]>) -> PathBuf {
        let path = self.path(name);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(&path, bytes).unwrap();
        path
    }

    /// Names of what lies in a folder of the site, sorted; none if there is no such folder.
    pub fn names(&self, folder: &str) -> Vec<String> {
        let Ok(entries) = fs::read_dir(self.path(folder)) else { return Vec::new() };
        let mut names: Vec<String> = entries.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    }

    /// Paths of all files below a folder.
    pub fn files(&self, folder: &str) -> Vec<PathBuf> {
        let mut files = Vec::new();
        let mut folders = vec![self.path(folder)];
        while let Some(folder) = folders.pop() {
            for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
                if entry.file_type().unwrap().is_dir() { folders.push(entry.path()) } else { files.push(entry.path()) }
            }
        }
        files.sort();
        files
    }

    /// The program with these arguments, which hold no blanks.
    pub fn run(&self, words: &str) -> Said {
        self.run_with(&words.split_whitespace().collect::<Vec<_>>(), &[])
    }

    pub fn run_with(&self, words: &[&str], variables: &[(&str, &str)]) -> Said {
        self.run_told(words, variables, "")
    }

    /// The same with something on its standard input.
    pub fn run_told(&self, words: &[&str], variables: &[(&str, &str)], input: &str) -> Said {
        let output = assert_cmd::Command::new(PROGRAM)
            .env_clear()
            .env("LOGNAME", "bay-account")
            .envs(variables.iter().copied())
            .current_dir(self.folder.path())
            .args(words)
            .write_stdin(input)
            .timeout(PATIENCE)
            .output()
            .unwrap();
        Said {
            code: output.status.code().unwrap_or(-1),
            out: String::from_utf8(output.stdout).unwrap(),
            err: String::from_utf8(output.stderr).unwrap(),
        }
    }

    /// What the program says when all is well.
    #[track_caller]
    pub fn ok(&self, words: &str) -> String {
        let said = self.run(words);
        assert_eq!(said.code, 0, "twinwhite {words}:\n{}{}", said.out, said.err);
        assert_eq!(said.err, "", "twinwhite {words}");
        said.out
    }

    /// The JSON that it answers; `--json` is added.
    #[track_caller]
    pub fn json(&self, words: &str) -> Value {
        let out = self.ok(&format!("{words} --json"));
        assert_eq!(out.matches('\n').count(), 1, "one line of JSON: {out}");
        serde_json::from_str(&out).unwrap_or_else(|bad| panic!("twinwhite {words}: {bad}: {out}"))
    }

    /// Writes a file and takes it in; the answer's part about it.
    #[track_caller]
    pub fn ingest(&self, name: &str, text: &str) -> Value {
        self.write(name, text);
        self.json(&format!("ingest {name}"))["files"][0].clone()
    }

    /// The readings of a device, as `history` lists them.
    #[track_caller]
    pub fn readings(&self, device: &str) -> Vec<Value> {
        self.json(&format!("history {device}"))["readings"].as_array().unwrap().clone()
    }

    /// The times of a device's readings, in the order of `history`.
    #[track_caller]
    pub fn times(&self, device: &str) -> Vec<String> {
        self.readings(device).iter().map(|reading| reading["time"].as_str().unwrap().to_owned()).collect()
    }

    /// Kind and state of every alert, the oldest first.
    #[track_caller]
    pub fn alerts(&self) -> Vec<(String, String)> {
        let alerts = self.json("alerts");
        let alerts = alerts["alerts"].as_array().unwrap().iter().rev();
        let word = |value: &Value| value.as_str().unwrap().to_owned();
        alerts.map(|alert| (word(&alert["kind"]), word(&alert["state"]))).collect()
    }

    /// Checks the ledger, and that every derived table is what a rebuild would make; the number of entries.
    #[track_caller]
    pub fn audit(&self) -> i64 {
        let found = self.run("audit verify --json");
        assert_eq!(found.code, 0, "{}{}", found.out, found.err);
        let found: Value = serde_json::from_str(&found.out).unwrap();
        assert_eq!((&found["ok"], &found["first_bad"]), (&Value::Bool(true), &Value::Null), "{found}");
        found["entries"].as_i64().unwrap()
    }

    /// The ledger's file, by SQLite itself.
    pub fn ledger(&self) -> rusqlite::Connection {
        let ledger = rusqlite::Connection::open(self.path("state/ledger.db")).unwrap();
        ledger.busy_timeout(PATIENCE).unwrap();
        ledger
    }

    /// `twinwhite run`, watching already.
    #[track_caller]
    pub fn daemon(&self) -> Daemon {
        let daemon = self.daemon_with(&["run"]);
        daemon.wait_for(&["watching"]);
        daemon
    }

    /// `twinwhite` with these words, not waited for.
    pub fn daemon_with(&self, words: &[&str]) -> Daemon {
        let mut child = Command::new(PROGRAM)
            .env_clear()
            .current_dir(self.folder.path())
            .args(words)
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        let log: Arc<Mutex<Vec<String>>> = Arc::default();
        let (lines, to) = (BufReader::new(child.stderr.take().unwrap()).lines(), Arc::clone(&log));
        std::thread::spawn(move || {
            for line in lines.map_while(Result::ok) {
                to.lock().unwrap().push(line);
            }
        });
        Daemon { child, log }
    }
}

/// A running `twinwhite run`.
pub struct Daemon {
    child: Child,
    log: Arc<Mutex<Vec<String>>>,
}

impl Daemon {
    /// All it has said.
    pub fn log(&self) -> String {
        self.log.lock().unwrap().join("\n")
    }

    /// How many lines it has said that hold `part`.
    pub fn count(&self, part: &str) -> usize {
        self.log.lock().unwrap().iter().filter(|line| line.contains(part)).count()
    }

    /// Waits for a line that holds all these parts.
    #[track_caller]
    pub fn wait_for(&self, parts: &[&str]) {
        let said = || self.log.lock().unwrap().iter().any(|line| parts.iter().all(|part| line.contains(part)));
        self.until(&format!("a line with {parts:?}"), said);
    }

    /// Waits until `holds`, and tells the log if it never does.
    #[track_caller]
    pub fn until(&self, what: &str, holds: impl FnMut() -> bool) {
        assert!(waited(holds), "waited in vain for {what}; the log:\n{}", self.log());
    }

    /// Sends a signal by its name.
    pub fn signal(&self, name: &str) {
        let id = self.child.id().to_string();
        let sent = Command::new("kill").args(["-s", name, &id]).status().unwrap();
        assert!(sent.success());
    }

    /// Asks it to end and waits for that.
    #[track_caller]
    pub fn stop(mut self) -> ExitStatus {
        self.signal("TERM");
        self.ended()
    }

    /// Waits for its end.
    #[track_caller]
    pub fn ended(&mut self) -> ExitStatus {
        let child = &mut self.child;
        let mut status = None;
        let over = waited(|| {
            status = child.try_wait().unwrap();
            status.is_some()
        });
        assert!(over, "it does not end; the log:\n{}", self.log());
        status.unwrap()
    }

    /// Ends it without a chance to tidy up.
    pub fn kill(mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }
}

impl Drop for Daemon {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Looks again and again until `holds`; `false` if it never does.
pub fn waited(mut holds: impl FnMut() -> bool) -> bool {
    let clock = SystemClock::new();
    while clock.monotonic() < PATIENCE {
        if holds() {
            return true;
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    false
}

/// A file of the repository.
pub fn repository(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}
