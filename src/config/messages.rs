//! `[messages]` and `[quiet]`: how often people are told again, when their summary comes, when they want to be left alone.

use chrono::{NaiveTime, Weekday};

use super::walk::{Entry, Table};
use super::words::nearest;
use crate::alert::Kind;
use crate::outbox::{Quiet, Rules};
use crate::units::Days;

const CLOCK: &str = "a time of day in quotation marks, like \"07:30\"";

/// Both tables, all of them optional.
pub(super) fn messages(root: &Table<'_>) -> Rules {
    let mut rules = Rules { quiet: quiet(root), ..Rules::default() };
    let Some(table) = root.section("messages") else { return rules };
    table.only(&["repeat_h", "summary", "give_up_days"]);
    let expected = "hours from 1 to 2160, or 0 for never";
    let repeat = table.get("repeat_h");
    if let Some(hours) = repeat.and_then(|e| e.number(expected, |h| h == 0.0 || (1.0..=2160.0).contains(&h))) {
        rules.repeat = (hours > 0.0).then_some(Days(hours / 24.0));
    }
    rules.summary = table.get("summary").and_then(|entry| clock(&entry));
    let expected = "days from 1 to 90";
    if let Some(days) = table.get("give_up_days").and_then(|e| e.number(expected, |d| (1.0..=90.0).contains(&d))) {
        rules.give_up = Days(days);
    }
    rules
}

fn quiet(root: &Table<'_>) -> Option<Quiet> {
    let table = root.section("quiet")?;
    table.only(&["from", "until", "days", "except"]);
    let (from, until) = (table.get("from"), table.get("until"));
    let hours = match (&from, &until) {
        (Some(from), Some(until)) => {
            let (start, end) = (clock(from), clock(until));
            if start.is_some() && start == end {
                let hint = "for whole days use days = [\"Sat\", \"Sun\"]";
                until.mistake("another time than that of from", Some(hint.to_owned()));
            }
            start.zip(end)
        }
        (Some(_), None) => {
            table.need("until", CLOCK);
            None
        }
        (None, Some(_)) => {
            table.need("from", CLOCK);
            None
        }
        (None, None) => None,
    };
    let days = table.get("days").map(|entry| each(&entry, "a list of weekdays, like [\"Sat\", \"Sun\"]", weekday));
    let except = table.get("except").map(|entry| each(&entry, "a list of kinds of alert, like [\"match-out\"]", kind));
    Some(Quiet { hours, days: days.unwrap_or_default(), except: except.unwrap_or_default() })
}

/// A time of the wall's clock.
fn clock(entry: &Entry<'_>) -> Option<NaiveTime> {
    let text = entry.text(CLOCK)?;
    let time = NaiveTime::parse_from_str(text, "%H:%M").ok().filter(|_| text.len() == 5);
    if time.is_none() {
        entry.mistake(CLOCK, None);
    }
    time
}

fn each<T>(entry: &Entry<'_>, expected: &str, read: impl Fn(&Entry<'_>) -> Option<T>) -> Vec<T> {
    entry.list(expected).unwrap_or_default().iter().filter_map(read).collect()
}

fn weekday(entry: &Entry<'_>) -> Option<Weekday> {
    let expected = "a weekday, like \"Sat\"";
    let text = entry.text(expected)?;
    let day = text.parse().ok();
    if day.is_none() {
        entry.mistake(expected, None);
    }
    day
}

fn kind(entry: &Entry<'_>) -> Option<Kind> {
    let expected = "a kind of alert, like \"match-out\"";
    let text = entry.text(expected)?;
    let kind = Kind::from_word(text);
    if kind.is_none() {
        let near = nearest(text, Kind::ALL.into_iter().map(Kind::word));
        let all: Vec<&str> = Kind::ALL.into_iter().map(Kind::word).collect();
        let hint =
            near.map_or_else(|| format!("there is {}", all.join(", ")), |near| format!("did you mean \"{near}\"?"));
        entry.mistake(expected, Some(hint));
    }
    kind
}
