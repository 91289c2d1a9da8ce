//! Local time of a site: reading what people write, and showing instants.
//!
//! What lives here: the only code that knows zones other than UTC. What does not: instants and spans (`units`), and
//! any question of what time it is (`clock`).
//!
//! A local time names one instant, except at a clock change: in spring an interval of local times never happens, in
//! autumn one happens twice. Neither is guessed; the refusal gives both offsets, and the text to write instead.
//!
//! Worked example (repeated in the tests): in Europe/Lisbon on 2026-03-29 the clocks go from 01:00 to 02:00, so 01:30
//! does not exist; on 2026-10-25 they go from 02:00 back to 01:00, so 01:30 is both 00:30Z and 01:30Z.

use std::fmt;

use chrono::{
    DateTime, FixedOffset, NaiveDate, NaiveDateTime, NaiveTime, Offset, TimeDelta, TimeZone, Timelike, Utc,
    offset::LocalResult,
};

use crate::units::Time;

/// The time zone of a site.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LocalZone(pub chrono_tz::Tz);

/// Why a text names no zone.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("'{found}' is not a time zone: expected an IANA name like Europe/Lisbon{}", .nearest.map(|n| format!("; did you mean {n}?")).unwrap_or_default())]
pub struct UnknownZone {
    /// The text as it was given, cut to 80 characters.
    pub found: String,
    /// The known name that is most like it, if one is.
    pub nearest: Option<&'static str>,
}

/// Why a text names no instant. Every variant holds the text as it was given, cut to 80 characters.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[allow(missing_docs)]
pub enum BadLocalTime {
    /// No date and time at all.
    #[error("'{found}' is no time: expected {}", self.expected())]
    NotATime { found: String },
    /// A date without a time of day.
    #[error("'{found}' is only a date: expected {}", self.expected())]
    DateOnly { found: String },
    /// A local time where no zone is known.
    #[error("'{found}' is the time of an unknown zone: expected {}", self.expected())]
    NoZone { found: String },
    /// The clocks were put forward over this local time.
    #[error("'{found}' never was: expected {}", self.expected())]
    Skipped {
        found: String,
        /// The zone in which it does not exist.
        zone: LocalZone,
        /// The local time at which the clocks were put forward.
        from: NaiveDateTime,
        /// The local time to which they were put.
        to: NaiveDateTime,
        /// The same reading of the clock with the offset in force before the change.
        before: DateTime<FixedOffset>,
        /// The same with the offset after it.
        after: DateTime<FixedOffset>,
    },
    /// The clocks were put back, and this local time came twice.
    #[error("'{found}' came twice: expected {}", self.expected())]
    Twice {
        found: String,
        /// The zone in which it came twice.
        zone: LocalZone,
        /// The first of the two instants.
        first: DateTime<FixedOffset>,
        /// The second.
        second: DateTime<FixedOffset>,
    },
}

impl BadLocalTime {
    /// What should have been written instead, and why.
    pub fn expected(&self) -> String {
        match self {
            Self::NotATime { .. } => {
                "2026-03-04T09:30:00Z, 2026-03-04T10:30:00+01:00, or local time as 2026-03-04 10:30".to_owned()
            }
            Self::DateOnly { found } => format!("the time of day too, like {found} 10:30"),
            Self::NoZone { found } => {
                format!("its offset from UTC too, like {found}Z or {found}+01:00, since no time zone is known here")
            }
            Self::Skipped { zone, from, to, before, after, .. } => format!(
                "{} if the clock had not yet been put forward, or {} if it had: in {zone} the clocks went from {} \
                 straight to {}, and the time between does not exist",
                before.to_rfc3339(),
                after.to_rfc3339(),
                from.format("%H:%M"),
                to.format("%H:%M")
            ),
            Self::Twice { zone, first, second, .. } => format!(
                "{} for the first time or {} for the second: in {zone} the clocks were put back, and this time \
                 of the clock exists twice",
                first.to_rfc3339(),
                second.to_rfc3339()
            ),
        }
    }
}

impl LocalZone {
    /// The zone with this IANA name.
    pub fn named(name: &str) -> Result<Self, UnknownZone> {
        name.trim().parse().map(Self).map_err(|_| UnknownZone {
            found: cut(name),
            nearest: chrono_tz::TZ_VARIANTS
                .iter()
                .map(|zone| (strsim::jaro_winkler(&cut(name).to_lowercase(), &zone.name().to_lowercase()), zone.name()))
                .filter(|(likeness, _)| *likeness > 0.8)
                .max_by(|a, b| a.0.total_cmp(&b.0))
                .map(|(_, name)| name),
        })
    }

    /// Its IANA name.
    pub fn name(self) -> &'static str {
        self.0.name()
    }

    /// Reads RFC 3339 with its offset, or a local time of this zone: `YYYY-MM-DD HH:MM`, optionally with seconds and a
    /// fraction, `T` in place of the blank. An offset may follow either form.
    pub fn read(self, text: &str) -> Result<Time, BadLocalTime> {
        read(text, Some(self))
    }

    /// `2026-03-04 10:30`: an instant as the clock on the wall shows it, to the minute.
    pub fn show(self, time: Time) -> String {
        self.local(time).format("%Y-%m-%d %H:%M").to_string()
    }

    /// `2026-03-04`: the day on which an instant falls.
    pub fn date(self, time: Time) -> String {
        self.local(time).format("%Y-%m-%d").to_string()
    }

    /// `Wed 2026-03-04 10:30 +00:00`: the same, where weekday and offset matter.
    pub fn show_full(self, time: Time) -> String {
        self.local(time).format("%a %Y-%m-%d %H:%M %:z").to_string()
    }

    /// The day on which an instant falls.
    pub fn day(self, time: Time) -> NaiveDate {
        self.local(time).date_naive()
    }

    /// The hour of the day that the clock on the wall shows, 0 to 23.
    pub fn hour(self, time: Time) -> u32 {
        self.local(time).hour()
    }

    /// The first instant of a day, or, where the clocks skip the whole of it, of what follows.
    pub fn first_of(self, day: NaiveDate) -> Time {
        self.at(day, NaiveTime::MIN)
    }

    /// The first instant of a day at which the clock on the wall shows `wall`; where the clocks skip that, or the whole day,
    /// what follows.
    pub fn at(self, day: NaiveDate, wall: NaiveTime) -> Time {
        // A change skips by steps of half an hour, and once skipped a day. Its first half hour may be shorter than asked for.
        let whole = NaiveTime::from_hms_opt(wall.hour(), wall.minute() / 30 * 30, 0).unwrap_or(NaiveTime::MIN);
        let steps = (1..=48).map(|halves| day.and_time(whole) + TimeDelta::minutes(30 * halves));
        let walls = std::iter::once(day.and_time(wall)).chain(steps);
        let first = walls.filter_map(|wall| self.0.from_local_datetime(&wall).earliest()).next();
        first.map_or_else(|| Time::from_chrono(day.and_time(wall).and_utc()), Time::from_chrono)
    }

    fn local(self, time: Time) -> DateTime<chrono_tz::Tz> {
        time.to_chrono().with_timezone(&self.0)
    }

    fn instant(self, local: NaiveDateTime, found: &str) -> Result<Time, BadLocalTime> {
        match self.0.from_local_datetime(&local) {
            LocalResult::Single(at) => Ok(Time::from_chrono(at)),
            LocalResult::Ambiguous(one, other) => {
                let (first, second) = if one <= other { (one, other) } else { (other, one) };
                Err(BadLocalTime::Twice {
                    found: found.to_owned(),
                    zone: self,
                    first: first.fixed_offset(),
                    second: second.fixed_offset(),
                })
            }
            LocalResult::None => Err(self.skipped(local, found)),
        }
    }

    /// Finds the clock change that `local` fell into, to the second, by halving the days around it.
    fn skipped(self, local: NaiveDateTime, found: &str) -> BadLocalTime {
        let offset = |utc: i64| {
            let at = DateTime::<Utc>::from_timestamp(utc, 0).unwrap_or_default();
            self.0.offset_from_utc_datetime(&at.naive_utc()).fix()
        };
        // Offsets lie within a day of UTC, and a whole day has been left out before now: two days hold any change.
        let around = local.and_utc().timestamp();
        let (mut low, mut high) = (around - 2 * 86_400, around + 2 * 86_400);
        let (old, new) = (offset(low), offset(high));
        while high - low > 1 {
            let middle = low + (high - low) / 2;
            if offset(middle) == old { low = middle } else { high = middle }
        }
        let wall = |offset: FixedOffset| {
            let shift = TimeDelta::seconds(offset.local_minus_utc().into());
            DateTime::<Utc>::from_timestamp(high, 0).unwrap_or_default().naive_utc().checked_add_signed(shift)
        };
        let with = |offset: FixedOffset| offset.from_local_datetime(&local).single();
        match (wall(old), wall(new), with(old), with(new)) {
            (Some(from), Some(to), Some(before), Some(after)) => {
                BadLocalTime::Skipped { found: found.to_owned(), zone: self, from, to, before, after }
            }
            _ => BadLocalTime::NotATime { found: cut(found) },
        }
    }
}

impl fmt::Display for LocalZone {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(self.name())
    }
}

/// Reads a time as people write it; a local time is one of `zone`, and refused where there is none.
pub fn read(text: &str, zone: Option<LocalZone>) -> Result<Time, BadLocalTime> {
    let text = text.trim();
    let bad = || BadLocalTime::NotATime { found: cut(text) };
    if text.len() == 10 && shaped(text.as_bytes(), "dddd-dd-dd") {
        return Err(BadLocalTime::DateOnly { found: text.to_owned() });
    }
    let Written { wall, has_seconds, offset } = Written::split(text).ok_or_else(bad)?;
    if wall.starts_with("0000") {
        return Err(bad());
    }
    match (offset, local(wall)) {
        ("Z" | "z", Some(utc)) => Ok(Time::from_chrono(utc.and_utc())),
        ("", Some(local)) => match zone {
            Some(zone) => zone.instant(local, text),
            None => Err(BadLocalTime::NoZone { found: cut(text) }),
        },
        ("", None) => Err(bad()),
        // Seconds may be left out by people, never by RFC 3339; a leap second has an offset.
        _ => Time::parse(&format!("{wall}{}{offset}", if has_seconds { "" } else { ":00" })).map_err(|_| bad()),
    }
}

/// Whether `text`, which reads as `time`, is written just as this program writes it.
pub fn is_canonical(text: &str, time: Time) -> bool {
    // The usual shape need not be written out to be compared, leap seconds apart.
    let is_usual = text.as_bytes().get(10) == Some(&b'T') && shaped(text.as_bytes(), "dddd-dd-dd dd:dd:ddZ");
    (is_usual && !text.ends_with("60Z")) || (text.ends_with('Z') && time.to_string() == text)
}

/// The parts of a time as written.
struct Written<'t> {
    /// `YYYY-MM-DD HH:MM[:SS[.f]]`, digits where digits belong.
    wall: &'t str,
    has_seconds: bool,
    /// Nothing, `Z` or `+HH:MM`.
    offset: &'t str,
}

impl<'t> Written<'t> {
    fn split(text: &'t str) -> Option<Self> {
        let bytes = text.as_bytes();
        if !shaped(bytes.get(..16)?, "dddd-dd-dd dd:dd") {
            return None;
        }
        let has_seconds = bytes.get(16..19).is_some_and(|seconds| shaped(seconds, ":dd"));
        let mut end = if has_seconds { 19 } else { 16 };
        let digits = bytes.iter().skip(20).take_while(|b| b.is_ascii_digit()).count();
        if has_seconds && bytes.get(19) == Some(&b'.') && digits > 0 {
            end = 20 + digits;
        }
        let (wall, rest) = text.split_at_checked(end)?;
        let offset = rest.strip_prefix(' ').unwrap_or(rest);
        let is_offset = matches!(offset, "" | "Z" | "z")
            || shaped(offset.as_bytes(), "+dd:dd")
            || shaped(offset.as_bytes(), "-dd:dd");
        is_offset.then_some(Self { wall, has_seconds, offset })
    }
}

/// The date and time that `wall` writes, if there is such a day and such an hour; cut to microseconds.
fn local(wall: &str) -> Option<NaiveDateTime> {
    let number = |from: usize, to: usize| wall.get(from..to)?.parse::<u32>().ok();
    let year = i32::try_from(number(0, 4)?).ok()?;
    let date = NaiveDate::from_ymd_opt(year, number(5, 7)?, number(8, 10)?)?;
    let seconds = if wall.len() > 16 { number(17, 19)? } else { 0 };
    let fraction = wall.get(20..wall.len().min(26)).unwrap_or_default();
    let places = u32::try_from(fraction.len()).unwrap_or(6);
    let micros = fraction.parse::<u32>().unwrap_or(0) * 10_u32.pow(6_u32.saturating_sub(places));
    date.and_hms_micro_opt(number(11, 13)?, number(14, 16)?, seconds, micros)
}

/// Whether `part` has the shape `shape`: `d` for a digit, a blank for one or a `T`, everything else for itself.
fn shaped(part: &[u8], shape: &str) -> bool {
    part.len() == shape.len()
        && part.iter().zip(shape.bytes()).all(|(found, wanted)| match wanted {
            b'd' => found.is_ascii_digit(),
            b' ' => matches!(found, b' ' | b'T' | b't'),
            other => *found == other,
        })
}

fn cut(text: &str) -> String {
    text.chars().take(80).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_begin_where_the_clocks_let_them() {
        let first = |zone: chrono_tz::Tz, day: (i32, u32, u32)| {
            let day = NaiveDate::from_ymd_opt(day.0, day.1, day.2).unwrap();
            LocalZone(zone).first_of(day).to_string()
        };
        assert_eq!(first(chrono_tz::America::New_York, (2026, 4, 1)), "2026-04-01T04:00:00Z");
        // In Beirut the clocks went from midnight to one; on Samoa 30 December 2011 never was.
        assert_eq!(first(chrono_tz::Asia::Beirut, (2021, 3, 28)), "2021-03-27T22:00:00Z");
        assert_eq!(first(chrono_tz::Pacific::Apia, (2011, 12, 30)), "2011-12-30T10:00:00Z");
    }
    use proptest::prelude::*;

    fn zone(name: &str) -> LocalZone {
        LocalZone::named(name).unwrap()
    }

    fn reads(name: &str, text: &str) -> String {
        zone(name).read(text).unwrap().to_string()
    }

    fn refuses(name: &str, text: &str) -> String {
        zone(name).read(text).unwrap_err().to_string()
    }

    #[test]
    fn what_people_write_is_read() {
        for (text, instant) in [
            ("2026-03-04T09:30:00Z", "2026-03-04T09:30:00Z"),
            ("2026-03-04T10:30:00+01:00", "2026-03-04T09:30:00Z"),
            ("2026-03-04T10:30+01:00", "2026-03-04T09:30:00Z"),
            ("2026-03-04 10:30 +01:00", "2026-03-04T09:30:00Z"),
            ("2026-03-04 09:30Z", "2026-03-04T09:30:00Z"),
            (" 2026-03-04 10:30 ", "2026-03-04T10:30:00Z"),
            ("2026-07-04 10:30", "2026-07-04T09:30:00Z"),
            ("2026-07-04T10:30:15", "2026-07-04T09:30:15Z"),
            ("2026-07-04 10:30:15.25", "2026-07-04T09:30:15.250Z"),
            ("2026-07-04 10:30:15.1234567891", "2026-07-04T09:30:15.123456Z"),
            ("2016-12-31T23:59:60Z", "2017-01-01T00:00:00Z"),
            ("2028-02-29 23:59", "2028-02-29T23:59:00Z"),
            ("2026-04-30 23:59:59", "2026-04-30T22:59:59Z"),
            ("2026-05-01 00:30", "2026-04-30T23:30:00Z"),
        ] {
            assert_eq!(reads("Europe/Lisbon", text), instant, "{text}");
        }
    }

    #[test]
    fn what_is_no_time_is_refused() {
        for text in [
            "",
            "yesterday",
            "2026-02-29 10:00",
            "2026-04-31 10:00",
            "2026-13-01 10:00",
            "2026-03-04 24:00",
            "2026-03-04 10:60",
            "2026-03-04 10:30:60",
            "2026-03-04 10:30:61Z",
            "2026-03-04 10:30+25:00",
            "4.3.2026 10:30",
            "03/04/2026 10:30",
            "10:30",
            "+12026-03-04 10:30",
            "0000-03-04 10:30",
            "2026-03-04 10:30 +0100",
            "2026-03-04 10:30:",
            "2026-03-04 10:30:15.",
            "2026-03-04 10:30 WET",
            "2026-03-04\u{a0}10:30",
        ] {
            let why = zone("Europe/Lisbon").read(text).unwrap_err();
            assert!(matches!(why, BadLocalTime::NotATime { .. }), "{text}: {why}");
        }
        assert_eq!(
            refuses("Europe/Lisbon", "2026-03-04"),
            "'2026-03-04' is only a date: expected the time of day too, like 2026-03-04 10:30"
        );
        let why = read("2026-03-04 10:30", None).unwrap_err().to_string();
        assert!(why.contains("2026-03-04 10:30Z or 2026-03-04 10:30+01:00, since no time zone is known"), "{why}");
    }

    #[test]
    fn lisbon_in_spring_skips_an_hour() {
        assert_eq!(
            refuses("Europe/Lisbon", "2026-03-29 01:30"),
            "'2026-03-29 01:30' never was: expected 2026-03-29T01:30:00+00:00 if the clock had not yet been put forward, \
             or 2026-03-29T01:30:00+01:00 if it had: in Europe/Lisbon the clocks went from 01:00 straight to 02:00, \
             and the time between does not exist"
        );
        assert_eq!(reads("Europe/Lisbon", "2026-03-29 00:59:59.999999"), "2026-03-29T00:59:59.999999Z");
        assert_eq!(reads("Europe/Lisbon", "2026-03-29 02:00"), "2026-03-29T01:00:00Z");
        assert!(matches!(zone("Europe/Lisbon").read("2026-03-29 01:00"), Err(BadLocalTime::Skipped { .. })));
    }

    #[test]
    fn lisbon_in_autumn_repeats_an_hour() {
        assert_eq!(
            refuses("Europe/Lisbon", "2026-10-25 01:30"),
            "'2026-10-25 01:30' came twice: expected 2026-10-25T01:30:00+01:00 for the first time or \
             2026-10-25T01:30:00+00:00 for the second: in Europe/Lisbon the clocks were put back, and this time of \
             the clock exists twice"
        );
        assert_eq!(reads("Europe/Lisbon", "2026-10-25T01:30:00+01:00"), "2026-10-25T00:30:00Z");
        assert_eq!(reads("Europe/Lisbon", "2026-10-25T01:30:00+00:00"), "2026-10-25T01:30:00Z");
        assert_eq!(reads("Europe/Lisbon", "2026-10-25 00:59"), "2026-10-24T23:59:00Z");
        assert_eq!(reads("Europe/Lisbon", "2026-10-25 02:00"), "2026-10-25T02:00:00Z");
    }

    #[test]
    fn the_south_changes_the_other_way_round() {
        let gap = refuses("Pacific/Auckland", "2026-09-27 02:30");
        assert!(gap.contains("from 02:00 straight to 03:00") && gap.contains("02:30:00+12:00"), "{gap}");
        assert!(gap.contains("02:30:00+13:00"), "{gap}");
        let fold = refuses("Pacific/Auckland", "2026-04-05 02:30");
        assert!(fold.contains("02:30:00+13:00 for the first") && fold.contains("02:30:00+12:00 for the"), "{fold}");
        assert_eq!(reads("Pacific/Auckland", "2026-04-05 03:00"), "2026-04-04T15:00:00Z");
    }

    #[test]
    fn lord_howe_changes_by_half_an_hour() {
        let gap = refuses("Australia/Lord_Howe", "2026-10-04 02:15");
        assert!(gap.contains("from 02:00 straight to 02:30"), "{gap}");
        assert!(gap.contains("02:15:00+10:30") && gap.contains("02:15:00+11:00"), "{gap}");
        assert_eq!(reads("Australia/Lord_Howe", "2026-10-04 02:30"), "2026-10-03T15:30:00Z");
        let fold = refuses("Australia/Lord_Howe", "2026-04-05 01:45");
        assert!(fold.contains("01:45:00+11:00 for the first") && fold.contains("01:45:00+10:30 for the"), "{fold}");
        assert_eq!(reads("Australia/Lord_Howe", "2026-04-05 01:29"), "2026-04-04T14:29:00Z");
        assert_eq!(reads("Australia/Lord_Howe", "2026-04-05 02:00"), "2026-04-04T15:30:00Z");
    }

    #[test]
    fn a_day_that_was_left_out_is_named() {
        let gap = refuses("Pacific/Apia", "2011-12-30 12:00");
        assert!(gap.contains("from 00:00 straight to 00:00") && gap.contains("12:00:00+14:00"), "{gap}");
    }

    #[test]
    fn instants_are_shown_as_the_wall_clock() {
        let time = Time::parse("2026-07-31T23:30:00Z").unwrap();
        assert_eq!(zone("Europe/Lisbon").show(time), "2026-08-01 00:30");
        assert_eq!(zone("Europe/Lisbon").show_full(time), "Sat 2026-08-01 00:30 +01:00");
        let winter = Time::parse("2026-03-04T10:30:59Z").unwrap();
        assert_eq!(zone("Europe/Lisbon").show(winter), "2026-03-04 10:30");
        for edge in [i64::MIN, i64::MAX] {
            assert!(!zone("Pacific/Kiritimati").show_full(Time::from_micros(edge)).is_empty());
        }
    }

    #[test]
    fn an_unknown_zone_names_its_neighbour() {
        assert_eq!(LocalZone::named("Europe/Lisboa").unwrap_err().nearest, Some("Europe/Lisbon"));
        assert!(LocalZone::named("").is_err());
    }

    /// Every quarter of an hour of the days on which a clock changes, in every zone and over two years: a local time
    /// that is refused offers two texts that are readable and as far apart as the change.
    #[test]
    fn offered_texts_are_readable() {
        let (mut gaps, mut folds) = (0, 0);
        for zone in chrono_tz::TZ_VARIANTS.map(LocalZone) {
            let day = |n: i64| Time::from_micros((20_454 + n) * 86_400_000_000);
            let offset = |n: i64| zone.local(day(n)).offset().fix();
            for n in (0..730).filter(|n| offset(*n) != offset(*n + 1)) {
                for quarter in -56..152 {
                    let local = day(n).to_chrono().naive_utc() + TimeDelta::minutes(15 * quarter);
                    match zone.read(&local.format("%Y-%m-%d %H:%M").to_string()) {
                        Ok(time) => assert_eq!(zone.local(time).naive_local(), local),
                        Err(BadLocalTime::Skipped { from, to, before, after, .. }) => {
                            gaps += 1;
                            assert!(from <= local && local < to);
                            assert_eq!(zone.read(&before.to_rfc3339()), Ok(Time::from_chrono(before)));
                            assert_eq!(to - from, before - after);
                        }
                        Err(BadLocalTime::Twice { first, second, .. }) => {
                            folds += 1;
                            assert!(first < second);
                            for one in [first, second] {
                                let time = zone.read(&one.to_rfc3339()).unwrap();
                                assert_eq!(zone.local(time).naive_local(), local);
                            }
                        }
                        Err(other) => panic!("{zone}: {other}"),
                    }
                }
            }
        }
        assert!(gaps > 1_000 && folds > 1_000, "{gaps} gaps, {folds} folds");
    }

    proptest! {
        /// Whatever RFC 3339 allows reads as the standard's own reader reads it.
        #[test]
        fn rfc3339_is_read_as_by_time(
            text in "[0-2][0-9]{3}-[01][0-9]-[0-3][0-9][ Tt][0-2][0-9]:[0-6][0-9]:[0-6][0-9](\\.[0-9]{1,11})?(Z|z|[+-][0-2][0-9]:[0-5][0-9])"
        ) {
            let ours = zone("Europe/Lisbon").read(&text).ok();
            let theirs = Time::parse(&text).ok().filter(|_| !text.starts_with("0000"));
            prop_assert_eq!(ours, theirs);
            if let Some(time) = ours {
                prop_assert_eq!(is_canonical(&text, time), text == time.to_string());
            }
        }

        #[test]
        fn no_text_makes_it_panic(text in "\\PC{0,40}", which in 0..chrono_tz::TZ_VARIANTS.len()) {
            let _ = LocalZone(chrono_tz::TZ_VARIANTS[which]).read(&text);
        }

        /// Any zone, any minute: a local time that was shown reads back to its instant, or is refused as ambiguous
        /// with that instant among the two.
        #[test]
        fn shown_times_read_back(minutes in 0i64..84_000_000, which in 0..chrono_tz::TZ_VARIANTS.len()) {
            let zone = LocalZone(chrono_tz::TZ_VARIANTS[which]);
            let time = Time::from_micros(minutes * 60_000_000);
            // Offsets of old local mean times had seconds, which the minute form cuts off.
            prop_assume!(zone.local(time).offset().fix().local_minus_utc() % 60 == 0);
            match zone.read(&zone.show(time)) {
                Ok(back) => prop_assert_eq!(back, time),
                Err(BadLocalTime::Twice { first, second, .. }) => {
                    prop_assert!([first, second].map(Time::from_chrono).contains(&time));
                    prop_assert!(first < second);
                }
                Err(other) => prop_assert!(false, "{}", other),
            }
        }
    }
}
