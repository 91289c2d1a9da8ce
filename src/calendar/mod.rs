//! What is due, as a calendar that people subscribe to: which entries it has, and how they change from one time to the next. Pure.
//!
//! The file is its own memory: [`text`] writes a feed and reads it back, [`renew`] makes the next one of the last and of what is due
//! now. The rules (RFC 5545 3.8.7.4; RFC 5546 2.1.4 for SEQUENCE):
//!
//! - An entry keeps its UID as long as its work on its thing is asked for again and again; that its day moves, it is cancelled or it comes
//!   back raises its SEQUENCE. What else is said of it may change without.
//! - An entry stands on the day by which its work is due. Once that day has come it keeps it until the work is done, also where the list
//!   says "today" anew each day; overdue, it reaches from that day in whole weeks past today, so that it is seen today and changes
//!   once a week and not every day.
//! - What is no longer due is kept as cancelled until [`KEPT`] after its day, so that every subscriber learns it; what comes back
//!   meanwhile goes on under its own UID.
//! - An unchanged list gives an equal feed.

pub mod text;

#[cfg(test)]
mod tests;

use std::collections::{BTreeMap, BTreeSet};

use chrono::{NaiveDate, TimeDelta};

use crate::ledger::Digest;
use crate::say;
use crate::schedule::Due;
use crate::units::{SiteId, Time};
use crate::zone::LocalZone;

pub use text::{NotAFeed, read, write};

/// Days after its last one for which a cancelled entry is kept.
pub const KEPT: TimeDelta = TimeDelta::days(30);
/// An overdue entry reaches past today in steps of so many days.
const OVERDUE_STEP: i64 = 7;

/// All entries, by UID.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Feed {
    /// By UID.
    pub entries: BTreeMap<String, Entry>,
}

/// One all-day entry.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// Its first day, in the site's local time.
    pub day: NaiveDate,
    /// The day after its last one.
    pub end: NaiveDate,
    /// How often it was moved, cancelled, revived or renamed.
    pub sequence: u32,
    /// Whether it is no longer due.
    pub cancelled: bool,
    /// When it changed last; whole seconds.
    pub changed: Time,
    /// What is to be done.
    pub summary: String,
    /// Why, a sentence a line.
    pub description: String,
    /// Where it comes from, in the words of `due`.
    pub categories: Vec<String>,
}

/// What a feed is made of besides what is due.
#[derive(Debug, Clone, Copy)]
pub struct Setting<'a> {
    /// Stands in every UID.
    pub site: &'a SiteId,
    /// In whose days entries stand.
    pub zone: LocalZone,
    /// Now.
    pub now: Time,
    /// The last day on which something new is entered. What is entered already stays, however far it moves.
    pub until: NaiveDate,
}

/// The next feed.
pub fn renew(last: &Feed, list: &[Due], setting: &Setting) -> Feed {
    let mut kinds: BTreeMap<String, Vec<&Due>> = BTreeMap::new();
    for due in list {
        kinds.entry(kind(due)).or_default().push(due);
    }
    let mut next = Feed::default();
    for (kind, lines) in &kinds {
        for (due, uid) in pair(last, kind, lines, setting) {
            let before = last.entries.get(&uid);
            if before.is_some() || setting.zone.day(due.date) <= setting.until {
                next.entries.insert(uid, entry(before, due, setting));
            }
        }
    }
    let today = setting.zone.day(setting.now);
    for (uid, gone) in &last.entries {
        if !next.entries.contains_key(uid) && after(gone.end, KEPT) >= today {
            let now_over = Entry {
                cancelled: true,
                sequence: gone.sequence.saturating_add(1),
                changed: whole_seconds(setting.now),
                ..gone.clone()
            };
            next.entries.insert(uid.clone(), if gone.cancelled { gone.clone() } else { now_over });
        }
    }
    next
}

/// What makes two lines of a list the same work on the same thing, in a form that may stand in a UID.
fn kind(due: &Due) -> String {
    // Work without a thing belongs to its station, or to the words of its reminder.
    let (sort, thing) = match (&due.device, due.stations().first()) {
        (Some(device), _) => ("device", device.as_str()),
        (None, Some(station)) => ("station", station.as_str()),
        (None, None) => ("words", ""),
    };
    let digest = Digest::of_parts(&[due.work.word().as_bytes(), sort.as_bytes(), thing.as_bytes()]).to_string();
    digest.chars().take(24).collect()
}

/// Which entry each line of one kind goes on: the one of its day, else for what is due by now one whose day has come, else the first that
/// stands, else one that was cancelled, else a new one.
fn pair<'l>(last: &Feed, kind: &str, lines: &[&'l Due], setting: &Setting) -> Vec<(&'l Due, String)> {
    let uid = |number: usize| format!("{kind}-{number}@{}.twinwhite", setting.site);
    let today = setting.zone.day(setting.now);
    let mut free: BTreeSet<usize> = (1..=lines.len().max(2)).collect();
    let mut taken: Vec<Option<usize>> = vec![None; lines.len()];
    type Fits = fn(Option<&Entry>, NaiveDate, NaiveDate) -> bool;
    let stands: [Fits; 5] = [
        |entry, day, _| entry.is_some_and(|entry| !entry.cancelled && entry.day == day),
        |entry, day, today| entry.is_some_and(|entry| !entry.cancelled && entry.day <= today && day <= today),
        |entry, _, _| entry.is_some_and(|entry| !entry.cancelled),
        |entry, _, _| entry.is_some(),
        |_, _, _| true,
    ];
    for fits in stands {
        for (due, place) in lines.iter().zip(&mut taken).filter(|(_, place)| place.is_none()) {
            let day = setting.zone.day(due.date);
            *place = free.iter().copied().find(|number| fits(last.entries.get(&uid(*number)), day, today));
            if let Some(number) = place {
                free.remove(number);
            }
        }
    }
    lines.iter().zip(taken).filter_map(|(due, number)| Some((*due, uid(number?)))).collect()
}

fn entry(before: Option<&Entry>, due: &Due, setting: &Setting) -> Entry {
    let (zone, now) = (setting.zone, setting.now);
    let today = zone.day(now);
    let by = zone.day(due.date);
    let standing = before.filter(|entry| !entry.cancelled);
    // Once its day has come it keeps it.
    let day = standing.map(|entry| entry.day).filter(|day| *day <= today && by <= today && *day <= by).unwrap_or(by);
    let late = today.signed_duration_since(day).num_days();
    let days = if late > 0 { (late / OVERDUE_STEP + 1) * OVERDUE_STEP } else { 1 };
    let reasons: Vec<String> = due.because.iter().map(|(date, why)| say::because(why, *date, now, &zone)).collect();
    let mut categories: Vec<String> = due.sources().into_iter().map(|source| source.word().to_owned()).collect();
    categories.sort();
    let fresh = Entry {
        day,
        end: after(day, TimeDelta::days(days)),
        sequence: before.map_or(0, |entry| entry.sequence),
        cancelled: false,
        changed: before.map_or(whole_seconds(now), |entry| entry.changed),
        summary: plain(&say::due_entry(due, late > 0)),
        description: plain(&reasons.join("\n")),
        categories,
    };
    let Some(before) = before.filter(|before| **before != fresh) else { return fresh };
    let moved = (before.day, before.end, before.cancelled, &before.summary)
        != (fresh.day, fresh.end, fresh.cancelled, &fresh.summary);
    let sequence = before.sequence.saturating_add(u32::from(moved));
    Entry { sequence, changed: whole_seconds(now), ..fresh }
}

fn after(day: NaiveDate, span: TimeDelta) -> NaiveDate {
    day.checked_add_signed(span).unwrap_or(day)
}

fn whole_seconds(time: Time) -> Time {
    Time::from_micros(time.micros().div_euclid(1_000_000).saturating_mul(1_000_000))
}

/// Text of which no character breaks a line where none is meant, and none is lost on the way through a file: no control characters but
/// the line feed, no separators of lines and paragraphs, no blanks at the ends.
fn plain(text: &str) -> String {
    let breaks = |c: char| (c.is_control() && c != '\n') || matches!(c, '\u{2028}' | '\u{2029}' | '\u{feff}');
    let text: String = text.chars().map(|c| if breaks(c) { ' ' } else { c }).collect();
    text.trim().to_owned()
}
