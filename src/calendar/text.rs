//! A feed as an iCalendar file (RFC 5545, RFC 7986) and back.
//!
//! The `icalendar` crate escapes, folds and parses. What it leaves to its caller is done here: it gives an all-day entry no length, puts
//! a clock's time and a random UID where none is set (also into alarms), does not escape NAME, and its last folded line may have 76 octets.

use chrono::{NaiveDate, NaiveDateTime, NaiveTime, TimeDelta};
use icalendar::{Alarm, Calendar, Component, Event, EventLike, EventStatus, Parameter, Property};

use super::{Entry, Feed, plain};
use crate::units::Time;
use crate::zone::LocalZone;

/// Who wrote it; by this a feed of ours is known again.
const PRODUCT: &str = "-//twinwhite//due list//EN";
/// A subscriber should ask again after so long.
const REFRESH: TimeDelta = TimeDelta::hours(1);
/// The hour of the site's day at which an entry rings.
const RINGS_AT: u32 = 9;
/// The largest file that is read back.
const MAX_BYTES: usize = 4 << 20;
/// A calendar holds entries, and entries hold alarms; whatever goes deeper is not ours.
const DEEPEST: usize = 3;
const STAMP: &str = "%Y%m%dT%H%M%SZ";
/// Octets of a line without its break (RFC 5545 3.1).
const LINE: usize = 75;

/// Why a file is not read as a feed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotAFeed {
    /// It is larger than any feed.
    #[error("it has {0} bytes, more than any due list")]
    TooLarge(usize),
    /// The system does not let it be read.
    #[error("it cannot be read ({0})")]
    Unreadable(String),
    /// It is no iCalendar file.
    #[error("it is not an iCalendar file")]
    NoCalendar,
    /// It was written by another program.
    #[error("it is a calendar that another program wrote")]
    Foreign,
    /// It was ours, and an entry of it cannot be understood.
    #[error("its entry '{uid}' has no {lacks} that can be read")]
    Broken {
        /// The entry.
        uid: String,
        /// What it lacks.
        lacks: &'static str,
    },
}

/// The feed as text, with the site's name for people.
pub fn write(feed: &Feed, site_name: &str, zone: LocalZone) -> String {
    let name = plain(&format!("{site_name}: due"));
    let mut calendar = Calendar::empty();
    for (key, value) in [("VERSION", "2.0"), ("PRODID", PRODUCT), ("CALSCALE", "GREGORIAN"), ("METHOD", "PUBLISH")] {
        calendar.append_property(Property::new(key, value));
    }
    calendar
        .append_property(Property::new("NAME", name.as_str()).append_parameter(Parameter::new("VALUE", "TEXT")).done());
    calendar.append_property(Property::new("X-WR-CALNAME", name.as_str()));
    calendar.ttl(&REFRESH);
    for (uid, entry) in &feed.entries {
        calendar.push(event(uid, entry, zone));
    }
    finished(&calendar.to_string())
}

fn event(uid: &str, entry: &Entry, zone: LocalZone) -> Event {
    let changed = entry.changed.to_chrono();
    let mut event = Event::new();
    event.uid(uid).timestamp(changed).last_modified(changed).sequence(entry.sequence);
    event.starts(entry.day).ends(entry.end);
    event.summary(&entry.summary).description(&entry.description);
    event.status(if entry.cancelled { EventStatus::Cancelled } else { EventStatus::Confirmed });
    // A task takes nobody's day: it does not make one busy.
    event.add_property("TRANSP", "TRANSPARENT");
    if !entry.categories.is_empty() {
        event.categories(&entry.categories);
    }
    if !entry.cancelled {
        let mut alarm = Alarm::display(&entry.summary, rings(entry.day, zone).to_chrono());
        alarm.add_property("UID", format!("alarm-{uid}")).timestamp(changed);
        event.alarm(alarm.done());
    }
    event.done()
}

/// Nine in the morning of that day on the site's wall. Where a change of clocks skips it, what comes right after; of two, the first.
pub(super) fn rings(day: NaiveDate, zone: LocalZone) -> Time {
    let nine = NaiveTime::from_hms_opt(RINGS_AT, 0, 0).unwrap_or_default();
    zone.at(day, nine)
}

/// Takes the crate's DTSTAMP out of alarms, where the standard has none, and folds what is still too long.
fn finished(text: &str) -> String {
    let mut out = String::with_capacity(text.len() + 64);
    let mut in_alarm = false;
    for line in text.split_terminator("\r\n") {
        match line {
            "BEGIN:VALARM" => in_alarm = true,
            "END:VALARM" => in_alarm = false,
            _ => {}
        }
        if in_alarm && line.starts_with("DTSTAMP:") {
            continue;
        }
        let mut rest = line;
        while rest.len() > LINE {
            let cut = (1..=LINE).rev().find(|at| rest.is_char_boundary(*at)).unwrap_or(rest.len());
            let (head, tail) = rest.split_at(cut);
            out.push_str(head);
            out.push_str("\r\n ");
            rest = tail;
            if rest.len() < LINE {
                break;
            }
        }
        out.push_str(rest);
        out.push_str("\r\n");
    }
    out
}

/// Reads back what [`write()`] wrote.
pub fn read(text: &str) -> Result<Feed, NotAFeed> {
    if text.len() > MAX_BYTES {
        return Err(NotAFeed::TooLarge(text.len()));
    }
    let text = icalendar::parser::unfold(text);
    // The parser goes down with each BEGIN, so that a hostile file could take it down for good.
    let mut depth = 0usize;
    for line in text.lines() {
        let begins = line.trim_start().get(..6).is_some_and(|word| word.eq_ignore_ascii_case("BEGIN:"));
        let ends = line.trim_start().get(..4).is_some_and(|word| word.eq_ignore_ascii_case("END:"));
        depth = if begins { depth + 1 } else { depth.saturating_sub(usize::from(ends)) };
        if depth > DEEPEST {
            return Err(NotAFeed::NoCalendar);
        }
    }
    if !text.starts_with("BEGIN:VCALENDAR") {
        return Err(NotAFeed::NoCalendar);
    }
    let parsed = icalendar::parser::read_calendar(&text).map_err(|_| NotAFeed::NoCalendar)?;
    let calendar = Calendar::from(parsed);
    if calendar.property_value("PRODID") != Some(PRODUCT) {
        return Err(NotAFeed::Foreign);
    }
    let entries = calendar.events().map(entry).collect::<Result<_, _>>()?;
    Ok(Feed { entries })
}

fn entry(event: &Event) -> Result<(String, Entry), NotAFeed> {
    let uid = event.get_uid().unwrap_or_default().to_owned();
    let broken = |lacks| NotAFeed::Broken { uid: uid.chars().take(80).collect(), lacks };
    let day = |key| event.property_value(key).and_then(|text| NaiveDate::parse_from_str(text, "%Y%m%d").ok());
    let changed = event.property_value("DTSTAMP").and_then(|text| NaiveDateTime::parse_from_str(text, STAMP).ok());
    let (start, end) = (day("DTSTART").ok_or_else(|| broken("first day"))?, day("DTEND").ok_or_else(|| broken("end"))?);
    if end <= start {
        return Err(broken("end"));
    }
    let entry = Entry {
        day: start,
        end,
        sequence: event.get_sequence().ok_or_else(|| broken("sequence"))?,
        cancelled: event.get_status() == Some(EventStatus::Cancelled),
        changed: Time::from_chrono(changed.ok_or_else(|| broken("time of its last change"))?.and_utc()),
        summary: event.get_summary().unwrap_or_default().to_owned(),
        description: event.get_description().unwrap_or_default().to_owned(),
        categories: event.get_categories().unwrap_or_default(),
    };
    if uid.is_empty() { Err(broken("UID")) } else { Ok((uid, entry)) }
}
