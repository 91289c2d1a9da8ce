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

mod field;

use std::fmt;
use std::str::FromStr;

use chrono::{DateTime, Duration, LocalResult, NaiveDateTime, TimeZone, Utc};
use chrono_tz::Tz;
use cron::Schedule;

use crate::units::{Days, Time};
use field::{Field, RULES};

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

    /// The last run at or before `at` in `zone`, or `None` when there was none since 1970.
    pub fn last_until(&self, at: Time, zone: Tz) -> Option<Time> {
        let local = |at: Time| zone.from_utc_datetime(&at.to_chrono().naive_utc()).naive_local();
        // After the clocks were put back they have shown later times before: look back from the latest they showed.
        let shown = local(at).max(local(at.plus(Days(-1.0))) + Duration::days(1)) + Duration::seconds(1);
        let last_of = |schedule: &Schedule| {
            let walls = schedule.after(&shown.and_utc()).rev();
            walls.map(|before| instant_of(before.naive_utc(), zone)).find(|instant| *instant <= at)
        };
        self.schedules.iter().filter_map(last_of).max()
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

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const BERLIN: Tz = Tz::Europe__Berlin;

    /// The next `n` runs after `after` (RFC 3339), asked one by one, as local RFC 3339 to the minute.
    fn runs(line: &str, after: &str, zone: Tz, n: usize) -> Vec<String> {
        let line = CronLine::parse(line).unwrap();
        let mut now = Time::parse(after).unwrap();
        let mut shown = Vec::new();
        for _ in 0..n {
            let Some(next) = line.next_after(now, zone) else { break };
            shown.push(next.to_chrono().with_timezone(&zone).format("%a %Y-%m-%d %H:%M%:z").to_string());
            now = next;
        }
        shown
    }

    fn weekdays(line: &str) -> Vec<String> {
        let mut days: Vec<String> = runs(line, "2026-06-07T22:00:00Z", BERLIN, 7)
            .into_iter()
            .filter(|run| &run[4..14] < "2026-06-15")
            .map(|run| run[..3].to_owned())
            .collect();
        days.dedup();
        days
    }

    #[test]
    fn five_fields_are_crontabs() {
        let monday = ["Mon 2026-06-08 09:00+02:00", "Mon 2026-06-15 09:00+02:00"];
        for line in ["0 9 * * 1", "0 9 * * Mon", "0 9 * * monday", "0 0 9 * * 1", "0 0 9 * * Mon *", " 0  9 * * MON "] {
            assert_eq!(runs(line, "2026-06-03T00:00:00Z", BERLIN, 2), monday, "{line}");
        }
    }

    #[test]
    fn weekday_numbers_are_crontabs_and_wrap() {
        assert_eq!(weekdays("0 9 * * 0"), ["Sun"]);
        assert_eq!(weekdays("0 9 * * 7"), ["Sun"]);
        assert_eq!(weekdays("0 9 * * 6"), ["Sat"]);
        assert_eq!(weekdays("0 0 9 * * 6"), ["Sat"], "with seconds too");
        assert_eq!(weekdays("0 9 * * 5-7"), ["Fri", "Sat", "Sun"]);
        assert_eq!(weekdays("0 9 * * Fri-Mon"), ["Mon", "Fri", "Sat", "Sun"]);
        assert_eq!(weekdays("0 9 * * 5-1"), ["Mon", "Fri", "Sat", "Sun"]);
        assert_eq!(weekdays("0 9 * * Sat-Sun"), ["Sat", "Sun"]);
        assert_eq!(weekdays("0 9 * * 1-5/2"), ["Mon", "Wed", "Fri"]);
        assert_eq!(weekdays("0 9 * * */2"), ["Tue", "Thu", "Sat", "Sun"], "0, 2, 4, 6");
        assert_eq!(weekdays("0 9 * * 0-7").len(), 7);
    }

    #[test]
    fn two_restricted_days_are_either_or() {
        let either = runs("0 9 1 * Mon", "2026-06-01T08:00:00Z", BERLIN, 6);
        let days: Vec<&str> = either.iter().map(|run| &run[..14]).collect();
        assert_eq!(
            days,
            [
                "Mon 2026-06-08",
                "Mon 2026-06-15",
                "Mon 2026-06-22",
                "Mon 2026-06-29",
                "Wed 2026-07-01",
                "Mon 2026-07-06"
            ]
        );
        // A field that begins with * does not restrict, and then both must hold: odd days that are Mondays.
        let both = runs("0 9 */2 * Mon", "2026-06-01T08:00:00Z", BERLIN, 3);
        let days: Vec<&str> = both.iter().map(|run| &run[..14]).collect();
        assert_eq!(days, ["Mon 2026-06-15", "Mon 2026-06-29", "Mon 2026-07-13"]);
    }

    #[test]
    fn month_ends_and_leap_days() {
        let ends = runs("0 9 31 * *", "2026-01-01T00:00:00Z", BERLIN, 4);
        let days: Vec<&str> = ends.iter().map(|run| &run[4..14]).collect();
        assert_eq!(days, ["2026-01-31", "2026-03-31", "2026-05-31", "2026-07-31"]);
        assert_eq!(runs("0 9 29 2 *", "2026-01-01T00:00:00Z", BERLIN, 1), ["Tue 2028-02-29 09:00+01:00"]);
    }

    #[test]
    fn a_skipped_run_comes_once_after_the_gap() {
        // 2026-03-29, 02:00 becomes 03:00.
        let gap = runs("30 2 * * *", "2026-03-28T12:00:00Z", BERLIN, 2);
        assert_eq!(gap, ["Sun 2026-03-29 03:00+02:00", "Mon 2026-03-30 02:30+02:00"]);
        let quarters = runs("*/15 * * * *", "2026-03-29T00:40:00Z", BERLIN, 3);
        assert_eq!(
            quarters,
            ["Sun 2026-03-29 01:45+01:00", "Sun 2026-03-29 03:00+02:00", "Sun 2026-03-29 03:15+02:00"]
        );
        // A whole day was skipped on Samoa, 2011-12-30.
        let day = runs("0 9 30 12 *", "2011-12-01T00:00:00Z", Tz::Pacific__Apia, 1);
        assert_eq!(day, ["Sat 2011-12-31 00:00+14:00"]);
    }

    #[test]
    fn a_repeated_run_comes_once_at_its_first_occurrence() {
        // 2026-10-25, 03:00 becomes 02:00.
        let fold = runs("30 2 * * *", "2026-10-24T12:00:00Z", BERLIN, 2);
        assert_eq!(fold, ["Sun 2026-10-25 02:30+02:00", "Mon 2026-10-26 02:30+01:00"]);
        let halves = runs("*/30 * * * *", "2026-10-24T23:50:00Z", BERLIN, 4);
        assert_eq!(
            halves,
            [
                "Sun 2026-10-25 02:00+02:00",
                "Sun 2026-10-25 02:30+02:00",
                "Sun 2026-10-25 03:00+01:00",
                "Sun 2026-10-25 03:30+01:00"
            ]
        );
        // Asked anew in the middle of the repeated hour: nothing is run a second time.
        let anew = runs("*/30 * * * *", "2026-10-25T01:10:00Z", BERLIN, 1);
        assert_eq!(anew, ["Sun 2026-10-25 03:00+01:00"]);
    }

    #[test]
    fn the_last_run_is_found_after_both_clock_changes() {
        let last = |line: &str, at: &str| {
            let found = CronLine::parse(line).unwrap().last_until(Time::parse(at).unwrap(), BERLIN);
            found.map(|run| run.to_string())
        };
        assert_eq!(last("0 9 * * Mon", "2026-03-04T12:00:00Z").unwrap(), "2026-03-02T08:00:00Z");
        assert_eq!(last("30 2 * * *", "2026-03-29T00:59:59Z").unwrap(), "2026-03-28T01:30:00Z", "before the gap");
        assert_eq!(last("30 2 * * *", "2026-03-29T01:00:00Z").unwrap(), "2026-03-29T01:00:00Z", "right after it");
        // 02:10 for the second time: 02:30 was shown twenty minutes before the clocks went back.
        assert_eq!(last("30 2 * * *", "2026-10-25T01:10:00Z").unwrap(), "2026-10-25T00:30:00Z");
        assert_eq!(last("30 2 * * *", "2026-10-25T01:40:00Z").unwrap(), "2026-10-25T00:30:00Z", "not a second time");
        assert_eq!(last("0 0 9 1 1 * 2027", "2026-10-25T01:40:00Z"), None, "it has not run yet");
    }

    #[test]
    fn lines_that_mean_nothing_are_told_apart() {
        for (line, found, expected, hint) in [
            ("0 9 31 2 *", "never comes", "a day that some month has", ""),
            ("0 9 * *", "4 fields", "five fields", "every Monday at 9:00"),
            ("", "nothing", "five fields", ""),
            ("0 0 9 * * Mon * *", "8 fields", "five fields", ""),
            ("60 9 * * *", "\"60\" in the minute field", "a minute from 0 to 59", ""),
            ("0 24 * * *", "\"24\" in the hour field", "an hour from 0 to 23", ""),
            ("0 9 0 * *", "\"0\" in the day-of-month field", "a day from 1 to 31", ""),
            ("0 9 * 13 *", "\"13\" in the month field", "Jan to Dec", ""),
            ("0 9 * * 8", "\"8\" in the weekday field", "0 and 7 are Sunday", ""),
            ("0 9 * * Mo", "\"Mo\" in the weekday field", "Mon to Sun", ""),
            ("*/90 * * * *", "\"*/90\" in the minute field", "a step from 1 to 59", "each round"),
            ("*/0 * * * *", "\"*/0\"", "a step from 1 to 59", ""),
            ("5/10 * * * *", "\"5/10\"", "after a range", "5-59/"),
            ("0 22-2 * * *", "\"22-2\"", "runs upwards", "22-23,0-2"),
            ("0 9 L * *", "\"L\"", "a day from 1 to 31", "other programs"),
            ("0 9 * * Mon#2", "\"Mon#2\"", "a weekday", "other programs"),
            ("0 9 ? * Mon", "\"?\"", "a day", "other programs"),
            ("0 9 1, * *", "\"\" in the day-of-month field \"1,\"", "a day", ""),
            ("0 9 -1 * *", "\"\"", "a day", ""),
            ("0 9 1-2-3 * *", "\"2-3\"", "a day", ""),
            ("@fortnightly", "\"@fortnightly\"", "@weekly", ""),
            ("@reboot", "\"@reboot\"", "@weekly", "a restart is none"),
            ("0 0 9 1 1 * 1969", "\"1969\"", "a year from 1970 to 2100", ""),
        ] {
            let bad = CronLine::parse(line).expect_err(line);
            assert!(bad.found.contains(found), "{line}: {bad:?}");
            assert!(bad.expected.contains(expected), "{line}: {bad:?}");
            assert!(bad.hint.as_deref().unwrap_or_default().contains(hint), "{line}: {bad:?}");
        }
    }

    #[test]
    fn nicknames_years_and_the_end_of_time() {
        assert_eq!(runs("@daily", "2026-06-07T12:00:00Z", BERLIN, 1), ["Mon 2026-06-08 00:00+02:00"]);
        assert_eq!(runs("0 0 9 1 1 * 2027", "2026-06-07T12:00:00Z", BERLIN, 3), ["Fri 2027-01-01 09:00+01:00"]);
        let daily = CronLine::parse("@daily").unwrap();
        assert_eq!(daily.next_after(Time::from_micros(i64::MAX), BERLIN), None);
        let first = daily.next_after(Time::from_micros(i64::MIN), Tz::UTC).unwrap();
        assert_eq!(first.to_string(), "1970-01-01T00:00:00Z");
        let at = Time::parse("2026-06-07T08:59:59.999999Z").unwrap();
        let nine = CronLine::parse("0 9 * * *").unwrap().next_after(at, Tz::UTC).unwrap();
        assert_eq!(nine.to_string(), "2026-06-07T09:00:00Z");
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

        #[test]
        fn no_text_breaks_the_reader(text in "[0-9*/,@A-Za-z# -]{0,24}|.{0,24}") {
            let _ = CronLine::parse(&text);
        }

        /// Whatever the zone and its clock changes: runs come in order, whether asked from a run or from before it, and a
        /// run shows the line's wall time or is the end of a gap.
        #[test]
        fn runs_are_sorted_and_the_same_from_anywhere(
            days in 0.0f64..9000.0,
            back in 0.0f64..0.2,
            zone in prop::sample::select(vec![
                BERLIN, Tz::UTC, Tz::America__St_Johns, Tz::Australia__Lord_Howe, Tz::Africa__Casablanca,
            ]),
            line in prop::sample::select(vec!["30 2 * * *", "*/20 1-3 * * *", "0 0 1 * Sun", "15 2 * 3,4,10,11 Sun"]),
        ) {
            let line = CronLine::parse(line).unwrap();
            let start = Time::parse("2007-01-01T00:00:00Z").unwrap().plus(Days(days));
            let first = line.next_after(start, zone).unwrap();
            prop_assert!(first > start);
            let between = first.plus(Days(-back));
            if between >= start {
                prop_assert_eq!(line.next_after(between, zone), Some(first));
            }
            prop_assert!(line.next_after(first, zone).unwrap() > first);
            // And backwards: between two runs the last one is the first of them.
            let second = line.next_after(first, zone).unwrap();
            prop_assert_eq!(line.last_until(first, zone), Some(first));
            let before_second = Time::from_micros(second.micros() - 1);
            prop_assert_eq!(line.last_until(before_second, zone), Some(first));
            let after_first = first.plus(Days(back)).min(before_second);
            prop_assert_eq!(line.last_until(after_first, zone), Some(first));
        }
    }
}
