//! A mail: its subject, its plain text and the same words as HTML. Pure.
//!
//! What is wrong where stands in the first line; then of each message since when, how sure, what to do, and how to say that
//! somebody is on it. The HTML loads nothing, is dim for a dim room, and has one column for windows of any width.

use maud::{DOCTYPE, Markup, html as markup};

/// What a mail tells.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)]
pub struct Letter<'a> {
    /// What is wrong where, in one line.
    pub headline: &'a str,
    /// The site's name.
    pub site: &'a str,
    /// When the newest of it came about, in the site's local time.
    pub at: &'a str,
    /// The worst first.
    pub parts: Vec<Part<'a>>,
    /// Of the program.
    pub version: &'a str,
}

/// One message of it.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)]
pub struct Part<'a> {
    pub headline: &'a str,
    /// When it came about, in the site's local time.
    pub at: &'a str,
    /// Why, how sure, what to do: a sentence each.
    pub lines: &'a [String],
    pub state: State,
}

/// How a message stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    /// It goes on until somebody acts.
    Open {
        /// The alert's number.
        alert: i64,
    },
    /// It is over.
    Over,
    /// Nothing that goes on.
    News,
}

/// Headline and lines of a message that tells nothing but that a channel works.
pub fn trial(site: &str, channel: &str) -> (String, Vec<String>) {
    let headline = format!("A test from {site}: messages arrive through '{channel}'");
    let lines = vec![
        "Somebody asked for it with `twinwhite check --send`; nothing is wrong and nothing is to be done.".to_owned(),
        "A real message says in its first line what is wrong where, then since when, how sure, and what to do."
            .to_owned(),
    ];
    (headline, lines)
}

/// The subject: one line, the headline before the site.
pub fn subject(letter: &Letter<'_>) -> String {
    line(&format!("{} - {}", letter.headline, letter.site))
}

/// The plain text.
pub fn plain(letter: &Letter<'_>) -> String {
    let mut text = format!("{}\n", line(letter.headline));
    for part in &letter.parts {
        text.push('\n');
        // The first line has said it where there is only one.
        if part.headline != letter.headline {
            text.push_str(&format!("{}\n", line(part.headline)));
        }
        for said in sentences(part) {
            text.push_str(&format!("  {said}\n"));
        }
        if let Some((before, command)) = acknowledge(part) {
            text.push_str(&format!("  {before}: {command}\n"));
        }
    }
    text.push_str(&format!("\n-- \n{}\n", origin(letter)));
    text
}

/// The same as HTML.
pub fn html(letter: &Letter<'_>) -> String {
    const PAGE: &str = "margin:0;padding:16px;background:#1d1c1a;color:#cfcac0;\
        font-family:Georgia,'Times New Roman',serif;font-size:16px;line-height:1.5";
    const COLUMN: &str = "max-width:38em;overflow-wrap:break-word";
    const FIRST: &str = "margin:0 0 16px;font-size:20px;line-height:1.3;font-weight:bold;color:#f0ebe0";
    const PART: &str = "margin:0 0 4px;font-size:16px;font-weight:bold;color:#e4dfd4";
    const SENTENCE: &str = "margin:0 0 4px";
    const ACK: &str = "margin:8px 0 0;color:#a9a498";
    const COMMAND: &str = "font-family:monospace;color:#cfcac0";
    const ORIGIN: &str = "margin:24px 0 0;padding-top:8px;border-top:1px solid #45423c;font-size:14px;color:#a9a498";
    let part = |part: &Part<'_>| -> Markup {
        markup! {
            div style="margin:0 0 20px" {
                @if part.headline != letter.headline {
                    h2 style=(PART) { (line(part.headline)) }
                }
                @for said in sentences(part) {
                    p style=(SENTENCE) { (said) }
                }
                @if let Some((before, command)) = acknowledge(part) {
                    p style=(ACK) { (before) ": " code style=(COMMAND) { (command) } }
                }
            }
        }
    };
    let page = markup! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content="dark";
                title { (subject(letter)) }
            }
            body style=(PAGE) bgcolor="#1d1c1a" {
                div style=(COLUMN) {
                    h1 style=(FIRST) { (line(letter.headline)) }
                    @for one in &letter.parts { (part(one)) }
                    p style=(ORIGIN) { (origin(letter)) }
                }
            }
        }
    };
    page.into_string()
}

/// What a desktop shows of it: a title, and lines that fit a small window.
pub fn bubble(letter: &Letter<'_>) -> (String, String) {
    let mut lines = vec![line(letter.site)];
    match letter.parts.as_slice() {
        [part] => {
            lines.extend(sentences(part).into_iter().take(SHOWN));
            lines.extend(acknowledge(part).map(|(before, command)| format!("{before}: {command}")));
        }
        parts => lines.extend(few(parts.iter().map(|part| part.headline))),
    }
    (line(letter.headline), lines.join("\n"))
}

/// What a desktop shows of letters that came while nobody looked, the oldest first; `None` for no letter.
pub fn missed(letters: &[Letter<'_>]) -> Option<(String, String)> {
    let first = letters.first()?;
    let title = format!("{} messages since {}", letters.len(), first.at);
    let newest = few(letters.iter().rev().map(|letter| letter.headline));
    let lines: Vec<String> = std::iter::once(line(first.site)).chain(newest).collect();
    Some((line(&title), lines.join("\n")))
}

/// So many lines fit.
const SHOWN: usize = 5;

/// The first of many, and how many more there are.
fn few<'h>(headlines: impl ExactSizeIterator<Item = &'h str>) -> Vec<String> {
    let more = headlines.len().saturating_sub(SHOWN);
    let mut lines: Vec<String> = headlines.take(SHOWN).map(line).collect();
    if more > 0 {
        lines.push(format!("and {more} more: twinwhite alerts"));
    }
    lines
}

/// Since when, then what the message says.
fn sentences(part: &Part<'_>) -> Vec<String> {
    let when = match part.state {
        State::Open { .. } => format!("Since {}.", part.at),
        State::Over => format!("Over since {}.", part.at),
        State::News => format!("Written {}.", part.at),
    };
    std::iter::once(when).chain(part.lines.iter().map(|said| line(said))).collect()
}

fn acknowledge(part: &Part<'_>) -> Option<(&'static str, String)> {
    let State::Open { alert } = part.state else { return None };
    Some(("Say that you are on it", format!("twinwhite ack {alert}")))
}

fn origin(letter: &Letter<'_>) -> String {
    let Letter { site, at, version, .. } = letter;
    line(&format!("From twinwhite {version} at {site}, {at} local time. It reads no answers."))
}

/// One line, whatever was in it.
fn line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ").chars().filter(|c| !c.is_control()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pinned(name: &str, text: &str) {
        insta::with_settings!({ prepend_module_to_snapshot => false, omit_expression => true },
            { insta::assert_snapshot!(name, text) });
    }

    #[test]
    fn several_messages_are_one_letter() {
        let out = [
            "Risk of being out of tolerance: now 97 %, within 14 days over 99 %.".to_owned(),
            "The lamp's light has fallen by 12 %.".to_owned(),
            "To do: turn bay-lamp up until it reads 500 lx.".to_owned(),
        ];
        let refused = ["Line 4: \"lustre\" is <no> known column & none was near.".to_owned()];
        let letter = Letter {
            headline: "Station bay: the match is out of tolerance, and 2 more",
            site: "Quillmoor print room",
            at: "2026-03-04 10:30",
            parts: vec![
                Part {
                    headline: "Station bay: the match is out of tolerance",
                    at: "2026-03-04 10:30",
                    lines: &out,
                    state: State::Open { alert: 17 },
                },
                Part {
                    headline: "week-9.csv: the file was refused",
                    at: "2026-03-04 10:29",
                    lines: &refused,
                    state: State::Open { alert: 18 },
                },
                Part {
                    headline: "booth-lamp: off its aim - over after 3 days",
                    at: "2026-03-04 10:28",
                    lines: &[],
                    state: State::Over,
                },
            ],
            version: "0.1.0",
        };
        pinned("letter-subject", &subject(&letter));
        pinned("letter-plain", &plain(&letter));
        pinned("letter-html", &html(&letter));
    }

    #[test]
    fn a_desktop_shows_a_few_lines() {
        let lines = ["a".to_owned(), "b".to_owned()];
        let part = |headline, state| Part { headline, at: "2026-03-04 10:30", lines: &lines, state };
        let letter = |headline, parts| Letter { headline, site: "Loft", at: "2026-03-04 10:30", parts, version: "" };
        let one = letter("it is out", vec![part("it is out", State::Open { alert: 7 })]);
        let (title, body) = bubble(&one);
        assert_eq!(title, "it is out");
        assert_eq!(body, "Loft\nSince 2026-03-04 10:30.\na\nb\nSay that you are on it: twinwhite ack 7");
        let many = letter("it is out, and 6 more", vec![part("x", State::News); 7]);
        assert_eq!(bubble(&many).1, "Loft\nx\nx\nx\nx\nx\nand 2 more: twinwhite alerts");
        let (title, body) = missed(&[many, one]).unwrap();
        assert_eq!(title, "2 messages since 2026-03-04 10:30");
        assert_eq!(body, "Loft\nit is out\nit is out, and 6 more");
        assert_eq!(missed(&[]), None);
    }

    #[test]
    fn one_message_does_not_say_its_headline_twice() {
        let (headline, lines) = trial("Harbour loft", "studio-mail");
        let part = Part { headline: &headline, at: "2026-03-04 10:30", lines: &lines, state: State::News };
        let letter = Letter {
            headline: &headline,
            site: "Harbour loft",
            at: "2026-03-04 10:30",
            parts: vec![part],
            version: "0.1.0",
        };
        pinned("letter-trial", &plain(&letter));
        assert_eq!(
            html(&letter).matches(&headline.replace('\'', "&#39;")).count() + html(&letter).matches(&headline).count(),
            2,
            "title and heading"
        );
    }

    #[test]
    fn nothing_in_it_breaks_out() {
        let lines = ["<script>alert(1)</script>\r\nBcc: all@quillmoor.example".to_owned()];
        let part = Part { headline: "a\r\nb", at: "", lines: &lines, state: State::News };
        let letter = Letter { headline: "a\r\nBcc: x", site: "s\n", at: "", parts: vec![part], version: "" };
        assert_eq!(subject(&letter), "a Bcc: x - s");
        assert!(!html(&letter).contains("<script"));
        assert!(plain(&letter).lines().all(|line| !line.starts_with("Bcc")));
    }
}
