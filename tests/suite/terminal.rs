//! What people see on a terminal: nothing wider than it, and questions asked again.

use std::path::Path;
use std::process::Command;

use super::site::{PROGRAM, Site};

/// Runs the program on a terminal of `columns` (0: it does not tell), types `input`, and prints all that was shown.
const ON_A_TERMINAL: &str = r#"
import fcntl, json, os, pty, struct, sys, termios
words, variables, columns, typed = json.loads(sys.argv[1])
pid, fd = pty.fork()
if pid == 0:
    fcntl.ioctl(1, termios.TIOCSWINSZ, struct.pack("HHHH", 24 if columns else 0, columns, 0, 0))
    os.execve(words[0], words, variables)
os.write(fd, typed.encode())
shown = b""
while True:
    try:
        part = os.read(fd, 65536)
    except OSError:
        break
    if not part:
        break
    shown += part
os.waitpid(pid, 0)
sys.stdout.buffer.write(shown.replace(b"\r\n", b"\n"))
"#;

/// What a terminal shows; `None`, and said so, where there is no Python to make one.
fn shown(site: &Site, words: &str, variables: &[(&str, &str)], columns: u16, typed: &str) -> Option<String> {
    let python = ["/usr/bin/python3", "python3"].into_iter().find(|name| {
        Command::new(name).args(["-c", "import pty, fcntl, termios"]).output().is_ok_and(|done| done.status.success())
    });
    let Some(python) = python else {
        assert_ne!(std::env::var("TWINWHITE_TOOLS").as_deref(), Ok("needed"), "no Python that can make a terminal");
        println!("skipped: no Python that can make a terminal");
        return None;
    };
    let words: Vec<&str> = std::iter::once(PROGRAM).chain(words.split_whitespace()).collect();
    let variables: serde_json::Map<_, _> = variables.iter().map(|(k, v)| ((*k).to_owned(), (*v).into())).collect();
    let asked = serde_json::json!([words, variables, columns, typed]).to_string();
    let output = Command::new(python).args(["-c", ON_A_TERMINAL, &asked]).current_dir(site.path("")).output().unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    Some(String::from_utf8(output.stdout).unwrap())
}

/// Characters that take a column.
fn columns(line: &str) -> usize {
    line.replace("\x1b[1m", "").replace("\x1b[0m", "").chars().count()
}

#[test]
fn nothing_is_wider_than_the_terminal() {
    let site = Site::bare();
    site.ok("demo --dir room");
    site.write("room/shop.csv", std::fs::read(super::site::repository("tests/fixtures/lamps/shop.csv")).unwrap());
    let queries = [
        "status",
        "history bay-lamp",
        "history bay-screen --last 30",
        "compare room/shop.csv --station bay",
        "alerts",
        "messages",
        "due --within 120",
        "ageing bay-lamp",
        "ageing bay-screen",
        "forecast booth",
        "backtest bay",
        "inspect room/shop.csv",
        "inspect room/shop.csv --full",
        "check",
    ];
    for query in queries {
        let words = format!("--config room/twinwhite.toml {query}");
        let piped = site.run(&words).out;
        for width in [60, 80, 120] {
            let told = width.to_string();
            // By the variable, and by the terminal itself, which is believed first.
            for (variable, own) in [(told.as_str(), 0), ("33", width)] {
                let Some(shown) = shown(&site, &words, &[("COLUMNS", variable)], own, "") else { return };
                assert!(shown.lines().count() > 1, "{query}: {shown}");
                // A path is one word, and may be longer than anything.
                let fits = |line: &&str| {
                    columns(line) <= usize::from(width)
                        || line.split(' ').any(|word| {
                            columns(word) > 30 && Path::new(word.trim_matches(['(', ')', '.'])).is_absolute()
                        })
                };
                let wide: Vec<&str> = shown.lines().filter(|line| !fits(line)).collect();
                assert_eq!(wide, Vec::<&str>::new(), "{query} in {width} columns:\n{shown}");
            }
        }
        // A pipe loses no column whatever the variable says.
        let told = site.run_with(&words.split_whitespace().collect::<Vec<_>>(), &[("COLUMNS", "60")]).out;
        assert!(!told.contains("no room for"), "{query}: {told}");
        assert_eq!(told.lines().next(), piped.lines().next(), "{query}");
    }
}

#[test]
fn a_terminal_without_a_word_has_eighty_columns() {
    let site = Site::bare();
    site.ok("init");
    let Some(shown) = shown(&site, "history desk-lamp", &[], 0, "") else { return };
    assert!(shown.lines().all(|line| columns(line) <= 80), "{shown}");
}

#[test]
fn init_asks_again_until_it_understands() {
    let site = Site::bare();
    let typed = "Desk, D75\nDesk, D65\n\n\nstate\nreadings\n";
    let Some(shown) = shown(&site, "init", &[("COLUMNS", "100"), ("TZ", "Europe/Lisbon")], 0, typed) else { return };
    assert_eq!(shown.matches("Screen, such as").count(), 2, "{shown}");
    assert_eq!(shown.matches("Folder where").count(), 2, "{shown}");
    assert!(shown.contains("'D75' is not understood; expected a name"), "{shown}");
    let text = std::fs::read_to_string(site.path("twinwhite.toml")).unwrap();
    assert!(text.contains("\"readings\"") && text.contains("\"Europe/Lisbon\"") && text.contains("\"D65\""), "{text}");
    site.ok("check");
}
