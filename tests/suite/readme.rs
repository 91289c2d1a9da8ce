//! The commands of README.md, as a reader would type them.

use std::fs;

use super::site::{Site, repository};

/// Not tried here, by name: they build, test, ask, or never end.
const SKIPPED: &[&str] = &["cargo run --release --locked -- demo", "tests/run", "twinwhite init", "twinwhite run"];

/// The blocks of one language, in order.
fn blocks(text: &str, language: &str) -> Vec<String> {
    let mut blocks = Vec::new();
    let mut open: Option<(bool, String)> = None;
    for line in text.lines() {
        match (line.strip_prefix("```"), &mut open) {
            (Some(_), Some(_)) => blocks.extend(open.take().filter(|(wanted, _)| *wanted).map(|(_, block)| block)),
            (Some(of), None) => open = Some((of == language, String::new())),
            (None, Some((_, block))) => block.push_str(&format!("{line}\n")),
            (None, None) => {}
        }
    }
    blocks
}

/// Commands in running text: spans of code that begin with the program's name.
fn spans(text: &str) -> Vec<String> {
    let prose: String = text.split("```").step_by(2).collect();
    let spans = prose.split('`').skip(1).step_by(2).filter(|span| span.starts_with("twinwhite "));
    spans.map(str::to_owned).collect()
}

fn readme() -> String {
    fs::read_to_string(repository("README.md")).unwrap()
}

#[test]
fn the_commands_work_as_written() {
    // A reader who answers as the text does.
    let site = Site::bare();
    let dialogue = &blocks(&readme(), "text")[0];
    let answers: Vec<&str> = dialogue.lines().filter_map(|line| Some(line.split_once("]: ")?.1)).collect();
    assert_eq!(answers.len(), 4, "{dialogue}");
    let said = site.run_told(&["init"], &[], &format!("{}\n", answers.join("\n")));
    assert_eq!(said.code, 0, "{}", said.err);
    let inbox = format!("{}, and archive", site.path("inbox").display());
    let place = said.out.split(&inbox);
    assert!(place.collect::<Vec<_>>().join("…/inbox, and archive").starts_with(dialogue), "{}", said.out);
    let photographer = fs::read_to_string(repository("config/photographer.toml")).unwrap();
    assert_eq!(Site::new(&photographer).run("check").code, 0);
    site.write("shop.csv", fs::read(repository("tests/fixtures/lamps/shop.csv")).unwrap());
    let mut tried = 0;
    for line in blocks(&readme(), "sh").iter().flat_map(|block| block.lines()) {
        if SKIPPED.contains(&line) {
            continue;
        }
        let words = line.strip_prefix("twinwhite ").unwrap_or_else(|| panic!("what is this? {line}"));
        site.ok(words);
        tried += 1;
    }
    assert!(tried >= 4, "only {tried} commands were found");
    let csv = &blocks(&readme(), "csv")[0];
    site.write("readings.csv", csv);
    assert_eq!(site.json("inspect readings.csv")["readings"].as_array().unwrap().len(), csv.lines().count() - 1);
    // An alert with the number that the text acknowledges.
    for n in 1..=3 {
        site.write("bad.csv", format!("time,device,colour\n{n},loft-lamp,white\n"));
        fs::rename(site.path("bad.csv"), site.path(&format!("bad-{n}.csv"))).unwrap();
        assert_eq!(site.run(&format!("ingest bad-{n}.csv")).code, 1);
    }
    let mut tried = 0;
    for span in spans(&readme()).iter().filter(|span| !SKIPPED.contains(&span.as_str())) {
        let said = site.run(span.strip_prefix("twinwhite ").unwrap());
        let allowed: &[i32] = if span.contains("--exit-code") { &[0, 10, 11, 12] } else { &[0] };
        assert!(allowed.contains(&said.code), "{span}: {}{}", said.out, said.err);
        tried += 1;
    }
    assert!(tried >= 6, "only {tried} commands were found");
    site.audit();
}

#[test]
fn what_is_linked_exists() {
    let text = readme();
    let links = text.split("](").skip(1).filter_map(|rest| rest.split_once(')')).map(|(link, _)| link);
    for link in links.filter(|link| !link.starts_with("http")) {
        assert!(repository(link).exists(), "README.md links to {link}, which does not exist");
    }
}
