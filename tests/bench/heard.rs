//! How soon people hear: from a file renamed into the watched inbox to the message in the hands of a program and of a real mail
//! server. Each arrival has a site and a daemon of its own, since of one site the first message alone leaves at once; the file
//! holds a lamp and a screen that do not match.
//!
//! Run with `cargo bench --bench heard`. It should take 1 s at most, and is looked for every millisecond; the machine's load stands
//! before it. The mail server needs a Python that has aiosmtpd; without it that part is skipped.

#[expect(dead_code, reason = "nothing here is a ratio")]
mod measure;

use std::fs;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use measure::{Outcome, median};
use twinwhite::clock::{Clock, SystemClock};
use twinwhite::units::Time;

const PROGRAM: &str = env!("CARGO_BIN_EXE_twinwhite");
const SITE: &str = include_str!("../../config/photographer.toml");
const SERVER: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/fixtures/outside/mail_server.py");
const ARRIVALS: usize = 20;
/// Nothing takes this long.
const PATIENCE: Duration = Duration::from_secs(60);

fn main() -> Outcome<()> {
    let clock = SystemClock::new();
    let load = fs::read_to_string("/proc/loadavg").unwrap_or_default();
    let load: Vec<&str> = load.split(' ').take(3).collect();
    println!("load of the machine: {}", load.join(" "));
    let program = format!(
        "kind = \"command\"\nrun = [\"/bin/sh\", \"-c\", 'cat > \"$0.part\" && mv \"$0.part\" \"$0\"', {TOLD}]"
    );
    measured("a program", &clock, |told| Ok((program.replace(TOLD, &format!("{:?}", told.join("message"))), None)))?;
    let has = |python: &&str| {
        let tried = Command::new(python).args(["-c", "import aiosmtpd"]).stderr(Stdio::null()).status();
        tried.is_ok_and(|status| status.success())
    };
    let Some(python) = ["/usr/bin/python3", "python3"].into_iter().find(has) else {
        println!("skipped: no Python with aiosmtpd");
        return Ok(());
    };
    measured("a mail server", &clock, |told| {
        let mut server = Running(Command::new(python).arg(SERVER).arg(told).stdout(Stdio::piped()).spawn()?);
        let mut port = String::new();
        BufReader::new(server.0.stdout.take().ok_or("no output")?).read_line(&mut port)?;
        let channel = format!(
            "kind = \"mail\"\nserver = \"127.0.0.1\"\nport = {}\nsecurity = \"none\"\n\
             from = \"twinwhite@loft.example\"\nto = [\"ines@loft.example\"]",
            port.trim()
        );
        Ok((channel, Some(server)))
    })
}

/// Where the program's argument stands.
const TOLD: &str = "TOLD";

/// A process that ends with its handle.
struct Running(Child);

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// Times the arrivals through a channel, whose lines `channel` gives for the folder in which messages arrive.
fn measured(
    name: &str,
    clock: &SystemClock,
    channel: impl Fn(&Path) -> Outcome<(String, Option<Running>)>,
) -> Outcome<()> {
    let mut times = Vec::new();
    for _ in 0..ARRIVALS {
        let folder = tempfile::tempdir()?;
        let told = folder.path().join("told");
        fs::create_dir(&told)?;
        let (lines, _server) = channel(&told)?;
        times.push(arrival(folder.path(), &told, &lines, clock)?);
    }
    let middle = median(&mut times);
    let longest = times.iter().max().copied().unwrap_or_default();
    println!(
        "a file arrives and {name} has the message: median {middle:.0?}, at most {longest:.0?} of {ARRIVALS} (1 s)"
    );
    Ok(())
}

/// Starts a daemon, lets one file arrive, and waits for its message.
fn arrival(folder: &Path, told: &Path, channel: &str, clock: &SystemClock) -> Outcome<Duration> {
    let config = folder.join("twinwhite.toml");
    fs::write(&config, format!("{SITE}\n[[channel]]\nid = \"out\"\n{channel}\n"))?;
    let mut daemon = Command::new(PROGRAM);
    daemon.arg("--config").arg(&config).arg("run").stdout(Stdio::null()).stderr(Stdio::piped());
    let mut daemon = Running(daemon.spawn()?);
    let mut log = BufReader::new(daemon.0.stderr.take().ok_or("no log")?).lines();
    loop {
        match log.next() {
            Some(line) if line.as_ref().is_ok_and(|line| line.contains("watching")) => break,
            Some(_) => {}
            None => return Err("the daemon does not watch".into()),
        }
    }
    // Nobody reads on; a full pipe would hold the daemon up.
    std::thread::spawn(move || log.for_each(drop));
    let ready = folder.join("ready.csv");
    let now = Time::from_micros(clock.now().micros() / 1_000_000 * 1_000_000);
    let rows = format!("{now},loft-lamp,0.3800,0.3700,,500\n{now},loft-screen,0.3435,0.3550,146,\n");
    fs::write(&ready, format!("time,device,x,y,luminance_cd_m2,illuminance_lx\n{rows}"))?;
    if message(told)?.is_some() {
        return Err("there was a message before the file".into());
    }
    let begun = clock.monotonic();
    fs::rename(&ready, folder.join("inbox/ready.csv"))?;
    loop {
        if let Some(message) = message(told)? {
            let took = clock.monotonic() - begun;
            let told = fs::read_to_string(&message)?;
            return if told.contains("desk") {
                Ok(took)
            } else {
                Err(format!("told of something else: {told}").into())
            };
        }
        if clock.monotonic() - begun > PATIENCE {
            return Err("no message came".into());
        }
        std::thread::sleep(Duration::from_millis(1));
    }
}

/// The message in the folder, once it is whole.
fn message(told: &Path) -> Outcome<Option<PathBuf>> {
    for entry in fs::read_dir(told)? {
        let path = entry?.path();
        if path.extension().is_none_or(|end| end != "part") {
            return Ok(Some(path));
        }
    }
    Ok(None)
}
