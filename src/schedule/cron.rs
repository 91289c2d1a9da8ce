//! Lines that say when something recurs, as crontab writes them, and the instants they mean.
//!
//! The calendar arithmetic is the `cron` crate's; what lives here is the grammar of crontab(5), which that crate does
//! not share, and the two clock changes of the year. What does not: what is due (the rest of `schedule`).
//!
//! Grammar. Five fields, `minute hour day-of-month month weekday`; six with seconds in front; seven with the year
//! (1970 to 2100) at the end. A field is `*`, a number, a range `a-b`, `*/n` or `a-b/n`, or a list of these with commas.
//! Months and weekdays may be written by name. Weekday numbers are crontab's in every form, also with seconds: 0 and 7
//! are Sunday, 1 is Monday; names are plainer. Only weekdays may wrap (`Fri-Mon`). Where both days are restricted, either
//! one suffices, as in crontab; a field that begins with `*` (`*/2` too) does not count as restricted, and then both must
//! hold. `@hourly`, `@daily`, `@weekly`, `@monthly` and `@yearly` stand for the usual lines.
//!
//! Clock changes. A run is a wall time, and each wall time runs once. One that the spring change skips runs at the first
//! instant after the gap (several skipped ones together once). One that the autumn change repeats runs at its first
//! occurrence. Runs are found on a calendar without zones and carried over to UTC by a mapping that never goes back, so
//! they come sorted, and asking anew after each run gives the same runs as asking once.

use std::collections::BTreeSet;
use std::fmt;
use std::str::FromStr;

use chrono::{DateTime, Duration, LocalResult, NaiveDateTime, TimeZone, Utc};
use chrono_tz::Tz;
use cron::Schedule;

use crate::units::Time;

/// A line that says when something recurs; it fires at least once between 1970 and 2100.
#[derive(Debug, Clone, PartialEq)]
pub struct CronLine {
    text: String,
    /// One, or two of which either suffices.
    schedules: Vec<Schedule>,
}

/// Why a text is no such line.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("found {found}; expected {expected}")]
pub struct BadCron {
    /// What stood there, with the field it stood in.
    pub found: String,
    /// What should have stood there.
    pub expected: String,
    /// What to write instead, where that can be said.
    pub hint: Option<String>,
}

impl CronLine {
    /// Reads a line of the grammar above.
    ///
    /// Errors say which field is wrong; a line that no day of the calendar satisfies (31 February) is one too. That a
    /// line's last year has passed is not an error here, since nothing here knows what day it is.
    pub fn parse(text: &str) -> Result<Self, BadCron> {
        let trimmed = text.trim();
        let line = if trimmed.starts_with('@') { nickname(trimmed)? } else { trimmed };
        let mut written: Vec<&str> = line.split_whitespace().collect();
        if !(5..=7).contains(&written.len()) {
            return Err(BadCron {
                found: match written.len() {
                    0 => "nothing".to_owned(),
                    1 => format!("one field, \"{}\"", cut(line)),
                    n => format!("{n} fields, \"{}\"", cut(line)),
                },
                expected: "five fields: minute, hour, day of the month, month, weekday (or six with seconds in front, \
                           or seven with the year at the end)"
                    .to_owned(),
                hint: Some("\"0 9 * * Mon\" is every Monday at 9:00".to_owned()),
            });
        }
        if written.len() == 5 {
            written.insert(0, "0");
        }
        let mut fields = Vec::with_capacity(7);
        for (rule, field) in RULES.iter().zip(written.iter().chain(["*"].iter())) {
            fields.push(rule.read(field)?);
        }
        let [seconds, minutes, hours, days, months, weekdays, years] = fields.as_slice() else {
            return Err(unreadable(line));
        };
        let all_days = Field::all();
        let pairs: &[(&Field, &Field)] = if days.restricted && weekdays.restricted {
            &[(days, &all_days), (&all_days, weekdays)]
        } else {
            &[(days, weekdays)]
        };
        let mut schedules = Vec::with_capacity(pairs.len());
        for (days, weekdays) in pairs {
            let spelled =
                format!("{seconds} {minutes} {hours} {days} {months} {} {years}", weekdays.counted_from_one());
            schedules.push(Schedule::from_str(&spelled).map_err(|_| unreadable(line))?);
        }
        let fires = schedules.iter().any(|schedule| schedule.after(&DateTime::UNIX_EPOCH).next().is_some());
        if !fires {
            return Err(BadCron {
                found: format!("\"{}\", which never comes", cut(trimmed)),
                expected: "a day that some month has".to_owned(),
                hint: Some("a month's last day cannot be written in crontab; its first, \"1\", can".to_owned()),
            });
        }
        Ok(Self { text: trimmed.to_owned(), schedules })
    }

    /// The line as it was written.
    pub fn as_str(&self) -> &str {
        &self.text
    }

    /// The first run later than `after` in `zone`, or `None` when there is none up to the year 2100.
    ///
    /// At the clock changes: see the head of this file.
    pub fn next_after(&self, after: Time, zone: Tz) -> Option<Time> {
        let wall = zone.from_utc_datetime(&after.to_chrono().naive_utc()).naive_local();
        let next_of = |schedule: &Schedule| {
            // The mapping to instants never goes back, so no wall time up to `wall` can give an instant after `after`.
            // After the repeated hour has begun, some later ones still give instants before it: skip those.
            let walls = schedule.after(&wall.and_utc());
            walls.map(|next| instant_of(next.naive_utc(), zone)).find(|instant| *instant > after)
        };
        self.schedules.iter().filter_map(next_of).min()
    }
}

impl fmt::Display for CronLine {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.text)
    }
}

/// The instant a wall time means in `zone`: the first of two, and for a skipped one the end of the gap.
fn instant_of(wall: NaiveDateTime, zone: Tz) -> Time {
    match zone.from_local_datetime(&wall) {
        LocalResult::Single(at) => Time::from_chrono(at),
        LocalResult::Ambiguous(one, other) => Time::from_chrono(one.min(other)),
        LocalResult::None => Time::from_chrono(end_of_gap(wall, zone)),
    }
}

/// The first whole second at which the clocks of `zone` show `wall` or later, where they skip `wall`.
fn end_of_gap(wall: NaiveDateTime, zone: Tz) -> DateTime<Utc> {
    // No zone is more than 26 hours from UTC, so the instant lies within two days of the wall time read as UTC.
    let start = wall.and_utc() - Duration::days(2);
    let shows_later = |second: i64| {
        let at = start + Duration::seconds(second);
        zone.from_utc_datetime(&at.naive_utc()).naive_local() >= wall
    };
    let (mut before, mut after) = (0, 4 * 86_400);
    while after - before > 1 {
        let middle = (before + after) / 2;
        if shows_later(middle) {
            after = middle;
        } else {
            before = middle;
        }
    }
    start + Duration::seconds(after)
}

fn nickname(text: &str) -> Result<&'static str, BadCron> {
    match text.to_ascii_lowercase().as_str() {
        "@hourly" => Ok("0 * * * *"),
        "@daily" | "@midnight" => Ok("0 0 * * *"),
        "@weekly" => Ok("0 0 * * Sun"),
        "@monthly" => Ok("0 0 1 * *"),
        "@yearly" | "@annually" => Ok("0 0 1 1 *"),
        _ => Err(BadCron {
            found: format!("\"{}\"", cut(text)),
            expected: "@hourly, @daily, @weekly, @monthly or @yearly, or five fields".to_owned(),
            hint: (text.eq_ignore_ascii_case("@reboot"))
                .then(|| "a reminder is a time of the calendar; a restart is none".to_owned()),
        }),
    }
}

fn cut(text: &str) -> String {
    text.chars().take(80).collect()
}

fn unreadable(line: &str) -> BadCron {
    BadCron { found: format!("\"{}\"", cut(line)), expected: "a line as in crontab".to_owned(), hint: None }
}

/// What one field may hold.
struct Rule {
    name: &'static str,
    /// A noun phrase with the range.
    expected: &'static str,
    low: u32,
    high: u32,
    names: &'static [&'static str],
    /// Weekdays go round, and 7 is 0.
    week: bool,
}

const RULES: [Rule; 7] = [
    Rule { name: "seconds", expected: "a second from 0 to 59", low: 0, high: 59, names: &[], week: false },
    Rule { name: "minute", expected: "a minute from 0 to 59", low: 0, high: 59, names: &[], week: false },
    Rule { name: "hour", expected: "an hour from 0 to 23", low: 0, high: 23, names: &[], week: false },
    Rule { name: "day-of-month", expected: "a day from 1 to 31", low: 1, high: 31, names: &[], week: false },
    Rule {
        name: "month",
        expected: "a month from 1 to 12 or Jan to Dec",
        low: 1,
        high: 12,
        names: &MONTHS,
        week: false,
    },
    Rule {
        name: "weekday",
        expected: "a weekday, Mon to Sun (or 0 to 7, where 0 and 7 are Sunday)",
        low: 0,
        high: 7,
        names: &WEEKDAYS,
        week: true,
    },
    Rule { name: "year", expected: "a year from 1970 to 2100", low: 1970, high: 2100, names: &[], week: false },
];

const MONTHS: [&str; 12] = [
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
];

const WEEKDAYS: [&str; 7] = ["sunday", "monday", "tuesday", "wednesday", "thursday", "friday", "saturday"];

/// What one field allows.
struct Field {
    /// `None` for everything.
    values: Option<BTreeSet<u32>>,
    /// Whether it counts as restricting, for the rule of the two days.
    restricted: bool,
}

impl Field {
    fn all() -> Self {
        Self { values: None, restricted: false }
    }

    /// Weekdays as the crate counts them, Sunday being 1.
    fn counted_from_one(&self) -> Self {
        let values = self.values.as_ref().map(|days| days.iter().map(|day| day + 1).collect());
        Self { values, restricted: self.restricted }
    }
}

impl fmt::Display for Field {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match &self.values {
            None => f.write_str("*"),
            Some(values) => {
                let listed: Vec<String> = values.iter().map(u32::to_string).collect();
                f.write_str(&listed.join(","))
            }
        }
    }
}

impl Rule {
    fn read(&self, text: &str) -> Result<Field, BadCron> {
        if text == "*" {
            return Ok(Field::all());
        }
        let mut values = BTreeSet::new();
        for part in text.split(',') {
            let (first, last, step) = self.part(text, part)?;
            let modulus = if self.week { 7 } else { u32::MAX };
            values.extend((first..=last).step_by(step).map(|value| value % modulus));
        }
        let everything = if self.week { 7 } else { self.high - self.low + 1 };
        let values = (values.len() < everything as usize).then_some(values);
        Ok(Field { values, restricted: !text.starts_with('*') })
    }

    /// First, last and step of one part of a list; for weekdays that wrap, `last` exceeds 7.
    fn part(&self, field: &str, part: &str) -> Result<(u32, u32, usize), BadCron> {
        let (range, step) = match part.split_once('/') {
            Some((range, step)) => (range, Some(step)),
            None => (part, None),
        };
        let (first, last) = match (range, range.split_once('-')) {
            ("*", _) if self.week => (0, 6),
            ("*", _) => (self.low, self.high),
            (_, Some((first, last))) => {
                let (first, last) = (self.value(field, first)?, self.value(field, last)?);
                match (first <= last, self.week) {
                    (true, _) => (first, last),
                    (false, true) => (first, last + 7),
                    (false, false) => {
                        let hint = format!("write the two ends as a list: {first}-{},{}-{last}", self.high, self.low);
                        return Err(self.bad(field, part, "a range that runs upwards", Some(hint)));
                    }
                }
            }
            (_, None) => {
                let value = self.value(field, range)?;
                if step.is_some() {
                    let hint = format!("write {value}-{}/… for \"from {value} on\"", self.high);
                    return Err(self.bad(field, part, "a step after * or after a range", Some(hint)));
                }
                (value, value)
            }
        };
        let longest = self.high - self.low;
        let step = match step {
            None => 1,
            Some(step) => match step.parse::<u32>() {
                Ok(step) if (1..=longest).contains(&step) => step as usize,
                Ok(step) if step > longest => {
                    let hint = "a step starts anew with each round of its field; write a list, or several reminders";
                    let expected = format!("a step from 1 to {longest}");
                    return Err(self.bad(field, part, &expected, Some(hint.to_owned())));
                }
                _ => return Err(self.bad(field, part, &format!("a step from 1 to {longest}"), None)),
            },
        };
        Ok((first, last, step))
    }

    fn value(&self, field: &str, text: &str) -> Result<u32, BadCron> {
        let named = |name: &&str| text.len() >= 3 && (name.eq_ignore_ascii_case(text) || short_for(text, name));
        if let Some(at) = self.names.iter().position(named) {
            return Ok(at as u32 + self.low);
        }
        match text.parse::<u32>() {
            Ok(value) if (self.low..=self.high).contains(&value) && !text.starts_with('+') => Ok(value),
            _ => {
                let foreign = text.chars().any(|c| matches!(c, 'L' | 'W' | '#' | '?'));
                let hint = foreign.then(|| {
                    "L, W, # and ? come from other programs; crontab knows *, numbers, names, ranges and steps"
                        .to_owned()
                });
                Err(self.bad(field, text, self.expected, hint))
            }
        }
    }

    fn bad(&self, field: &str, part: &str, expected: &str, hint: Option<String>) -> BadCron {
        let found = if field == part {
            format!("\"{}\" in the {} field", cut(part), self.name)
        } else {
            format!("\"{}\" in the {} field \"{}\"", cut(part), self.name, cut(field))
        };
        BadCron { found, expected: expected.to_owned(), hint }
    }
}

fn short_for(text: &str, name: &str) -> bool {
    name.get(..3).is_some_and(|short| short.eq_ignore_ascii_case(text))
}
