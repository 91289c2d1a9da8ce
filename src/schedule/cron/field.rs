//! One field of a line: what it may hold, and what is wrong with it. The grammar is told in `cron`.

use std::collections::BTreeSet;
use std::fmt;

use super::{BadCron, cut};

/// What one field may hold.
pub(super) struct Rule {
    name: &'static str,
    /// A noun phrase with the range.
    expected: &'static str,
    low: u32,
    high: u32,
    names: &'static [&'static str],
    /// Weekdays go round, and 7 is 0.
    week: bool,
}

pub(super) const RULES: [Rule; 7] = [
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
pub(super) struct Field {
    /// `None` for everything.
    values: Option<BTreeSet<u32>>,
    /// Whether it counts as restricting, for the rule of the two days.
    pub(super) restricted: bool,
}

impl Field {
    pub(super) fn all() -> Self {
        Self { values: None, restricted: false }
    }

    /// Weekdays as the crate counts them, Sunday being 1.
    pub(super) fn counted_from_one(&self) -> Self {
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
    pub(super) fn read(&self, text: &str) -> Result<Field, BadCron> {
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
