//! `twinwhite desktop` in a real session: a message bus, a screen and a notification service of their own for each test.

use std::fs;
use std::process::Command;

use serde_json::Value;

use super::site::{LOFT, Said, Site, waited};
use super::tools::{Running, programs};

/// A session with a desktop; ended with its handle.
struct Session {
    bus: Running,
    screen: Running,
    _service: Running,
}

impl Session {
    /// `None` where the programs are missing.
    fn start(site: &Site) -> Option<Self> {
        if !programs(&["dbus-daemon", "Xvfb", "dunst", "dunstctl"]) {
            return None;
        }
        let screen = Running::start(Command::new("Xvfb").args(["-displayfd", "1", "-nolisten", "tcp"]), true);
        let bus =
            Running::start(Command::new("dbus-daemon").args(["--session", "--nofork", "--print-address=1"]), true);
        let mut dunst = Command::new("dunst");
        dunst.env("DISPLAY", format!(":{}", screen.first_line)).env("DBUS_SESSION_BUS_ADDRESS", &bus.first_line);
        dunst.env("HOME", site.path("home")).env("XDG_CONFIG_HOME", site.path("home"));
        let session = Self { bus, screen, _service: Running::start(&mut dunst, false) };
        assert!(waited(|| session.control(&["count"]).is_some()), "no notification service");
        Some(session)
    }

    fn control(&self, words: &[&str]) -> Option<String> {
        let output = Command::new("dunstctl")
            .args(words)
            .env("DISPLAY", format!(":{}", self.screen.first_line))
            .env("DBUS_SESSION_BUS_ADDRESS", &self.bus.first_line)
            .output()
            .unwrap();
        output.status.success().then(|| String::from_utf8(output.stdout).unwrap())
    }

    /// Title and text of every notification so far, the oldest first.
    fn shown(&self) -> Vec<(String, String)> {
        self.control(&["close-all"]).unwrap();
        let history: Value = serde_json::from_str(&self.control(&["history"]).unwrap()).unwrap();
        let text = |one: &Value, field: &str| one[field]["data"].as_str().unwrap().to_owned();
        let all = history["data"][0].as_array().unwrap().iter().rev();
        all.map(|one| (text(one, "summary"), text(one, "body"))).collect()
    }
}

/// `twinwhite desktop --once` as somebody in that session, or in none.
fn look(site: &Site, session: Option<&Session>, words: &[&str]) -> Said {
    let home = site.path("home");
    let bus = session.map_or("unix:path=/nowhere", |session| session.bus.first_line.as_str());
    let variables = [("HOME", home.to_str().unwrap()), ("USER", "ines"), ("DBUS_SESSION_BUS_ADDRESS", bus)];
    site.run_with(&[&["desktop", "--once"], words].concat(), &variables)
}

fn with_desktop() -> Site {
    Site::new(&format!("{LOFT}\n[[channel]]\nid = \"sill\"\nkind = \"desktop\"\n"))
}

#[test]
fn a_message_is_shown_once() {
    let site = with_desktop();
    let Some(session) = Session::start(&site) else { return };
    assert_eq!(look(&site, Some(&session), &[]).code, 1, "a folder that is not there is not the same as nothing new");
    let said = site.ok("check");
    assert!(said.contains("no session has left a sign"), "{said}");
    let daemon = site.daemon();
    site.write("inbox/<b>&.csv", "time,device,lustre\n2025-01-06T12:00:00Z,loft-lamp,3\n");
    daemon.until("the message", || site.names("state/desktop").iter().any(|name| name.ends_with(".json")));
    assert!(daemon.stop().success());
    let nobody = look(&site, None, &[]);
    assert_eq!(nobody.code, 1);
    assert!(nobody.err.contains("this session shows no notifications"), "{}", nobody.err);
    let said = look(&site, Some(&session), &[]);
    assert_eq!((said.code, said.out.as_str()), (0, "1 message shown.\n"), "{}", said.err);
    let shown = session.shown();
    assert_eq!(shown.len(), 1, "{shown:?}");
    let (title, body) = &shown[0];
    assert_eq!(title, "<b>&.csv: the file was refused");
    assert!(body.contains("Harbour loft") && body.contains("lustre") && body.contains("twinwhite ack 1"), "{body}");
    let said = look(&site, Some(&session), &[]);
    assert_eq!(said.out, "Nothing new.\n");
    assert_eq!(session.shown().len(), 1);
    let said = site.ok("check");
    assert!(said.contains("is shown in the session of ines"), "{said}");
    assert!(!fs::read_dir(site.path("home/.local/state/twinwhite")).unwrap().next().unwrap().unwrap().path().is_dir());
}

#[test]
fn many_missed_ones_are_one_and_a_folder_is_enough() {
    let site = with_desktop();
    let Some(session) = Session::start(&site) else { return };
    for _ in 0..5 {
        site.ok("check --send sill");
    }
    let folder = site.path("elsewhere");
    fs::rename(site.path("state/desktop"), &folder).unwrap();
    fs::remove_file(site.path("twinwhite.toml")).unwrap();
    fs::write(folder.join("99999999T000000.000000Z-x.json"), "no message").unwrap();
    let words = ["--folder", folder.to_str().unwrap()];
    let said = look(&site, Some(&session), &words);
    assert_eq!((said.code, said.out.as_str()), (0, "5 messages shown.\n"), "{}", said.err);
    let shown = session.shown();
    assert_eq!(shown.len(), 1, "{shown:?}");
    assert!(shown[0].0.starts_with("5 messages since "), "{shown:?}");
    assert_eq!(shown[0].1.matches("A test from Harbour loft").count(), 5, "{shown:?}");
    assert_eq!(look(&site, Some(&session), &words).out, "Nothing new.\n");
}

#[test]
fn a_session_goes_on_looking() {
    let site = with_desktop();
    let Some(session) = Session::start(&site) else { return };
    site.ok("check --send sill");
    let folder = site.path("state/desktop");
    let mut companion = Command::new(super::site::PROGRAM);
    companion.env_clear().env("HOME", site.path("home")).env("DBUS_SESSION_BUS_ADDRESS", &session.bus.first_line);
    let _companion = Running::start(companion.arg("desktop").arg("--folder").arg(&folder), false);
    assert!(waited(|| session.shown().len() == 1));
    site.ok("check --send sill");
    assert!(waited(|| session.shown().len() == 2));
    assert!(folder.join("seen-somebody").exists());
}
