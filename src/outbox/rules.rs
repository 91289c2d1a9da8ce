//! What a site wants of its messages: how often it is told again, when it wants to be left alone, when its summary comes.

use chrono::{Datelike, Days as CalendarDays, NaiveDate, NaiveTime, Weekday};

use crate::alert::Kind;
use crate::units::{Days, Time};
use crate::zone::LocalZone;

/// `[messages]` and `[quiet]` of the configuration.
#[derive(Debug, Clone, PartialEq)]
pub struct Rules {
    /// After how long an alert that stands and that nobody acknowledged is told again; `None`: never.
    pub repeat: Option<Days>,
    /// When the summary of the morning comes, local time; `None`: it does not.
    pub summary: Option<NaiveTime>,
    /// For how long a channel is tried before what it does not take is given up.
    pub give_up: Days,
    /// When nobody wants to be told.
    pub quiet: Option<Quiet>,
}

impl Default for Rules {
    /// Told again after three days, no summary, tried for a week, never quiet.
    fn default() -> Self {
        Self { repeat: Some(Days(3.0)), summary: None, give_up: Days(7.0), quiet: None }
    }
}

/// Hours and days at which messages wait.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Quiet {
    /// Local time of each day from which, and until which, it is quiet; over midnight where the end is the earlier.
    pub hours: Option<(NaiveTime, NaiveTime)>,
    /// Days that are quiet throughout.
    pub days: Vec<Weekday>,
    /// Kinds of alert that do not wait.
    pub except: Vec<Kind>,
}

impl Quiet {
    /// Until when it is quiet, if it is quiet at `now`. Days that are quiet one after the other count as one stretch; where every
    /// day is, the end is a week ahead.
    pub fn until(&self, now: Time, zone: LocalZone) -> Option<Time> {
        let mut at = now;
        let mut end = None;
        // A stretch is made of nights and of days; it ends where none holds.
        for _ in 0..16 {
            let Some(next) = self.stretch(at, zone).filter(|next| *next > at) else { break };
            end = Some(next);
            at = next;
        }
        end
    }

    /// The end of the night or the day of quiet that holds `at`.
    fn stretch(&self, at: Time, zone: LocalZone) -> Option<Time> {
        let today = zone.day(at);
        let of_day = self.days.contains(&today.weekday()).then(|| zone.first_of(after(today, 1)));
        let of_night = self.hours.and_then(|(from, until)| {
            // The night that began yesterday, and the one that begins today.
            [before(today), today].into_iter().find_map(|day| {
                let end = if until > from { day } else { after(day, 1) };
                let (from, until) = (zone.at(day, from), zone.at(end, until));
                (from <= at && at < until).then_some(until)
            })
        });
        of_day.into_iter().chain(of_night).max()
    }
}

fn after(day: NaiveDate, days: u64) -> NaiveDate {
    day.checked_add_days(CalendarDays::new(days)).unwrap_or(day)
}

fn before(day: NaiveDate) -> NaiveDate {
    day.checked_sub_days(CalendarDays::new(1)).unwrap_or(day)
}

#[cfg(test)]
mod tests {
    use super::*;

    const LISBON: LocalZone = LocalZone(chrono_tz::Europe::Lisbon);

    fn hour(text: &str) -> NaiveTime {
        NaiveTime::parse_from_str(text, "%H:%M").unwrap()
    }

    fn until(quiet: &Quiet, local: &str) -> Option<String> {
        quiet.until(LISBON.read(local).unwrap(), LISBON).map(|end| LISBON.show(end))
    }

    fn quiet(hours: Option<(&str, &str)>, days: &[Weekday]) -> Quiet {
        let hours = hours.map(|(from, until)| (hour(from), hour(until)));
        Quiet { hours, days: days.to_vec(), except: Vec::new() }
    }

    #[test]
    fn a_night_goes_over_midnight() {
        let night = quiet(Some(("21:30", "07:00")), &[]);
        // A Thursday.
        assert_eq!(until(&night, "2026-05-07 21:29"), None);
        assert_eq!(until(&night, "2026-05-07 21:30").as_deref(), Some("2026-05-08 07:00"));
        assert_eq!(until(&night, "2026-05-08 06:59").as_deref(), Some("2026-05-08 07:00"));
        assert_eq!(until(&night, "2026-05-08 07:00"), None);
        let noon = quiet(Some(("12:00", "13:00")), &[]);
        assert_eq!(until(&noon, "2026-05-07 12:59").as_deref(), Some("2026-05-07 13:00"));
        assert_eq!(until(&noon, "2026-05-07 21:00"), None);
    }

    #[test]
    fn a_weekend_runs_from_friday_night_to_monday_morning() {
        let weekend = quiet(Some(("20:00", "08:00")), &[Weekday::Sat, Weekday::Sun]);
        for at in ["2026-05-08 20:00", "2026-05-09 12:00", "2026-05-10 23:00", "2026-05-11 07:30"] {
            assert_eq!(until(&weekend, at).as_deref(), Some("2026-05-11 08:00"), "{at}");
        }
        assert_eq!(until(&weekend, "2026-05-11 08:00"), None);
        let days = quiet(None, &[Weekday::Sun]);
        assert_eq!(until(&days, "2026-05-10 00:00").as_deref(), Some("2026-05-11 00:00"));
        assert_eq!(until(&days, "2026-05-09 23:59"), None);
    }

    #[test]
    fn nights_end_by_the_wall_clock_also_when_it_changes() {
        let night = quiet(Some(("21:00", "07:00")), &[]);
        for (at, end) in [("2026-03-28 23:00", "2026-03-29T06:00:00Z"), ("2026-10-24 23:00", "2026-10-25T07:00:00Z")] {
            assert_eq!(night.until(LISBON.read(at).unwrap(), LISBON).unwrap().to_string(), end);
        }
        // An end within the hour that is left out comes with the hour's end.
        let odd = quiet(Some(("21:00", "01:30")), &[]);
        let end = odd.until(LISBON.read("2026-03-28 23:00").unwrap(), LISBON).unwrap();
        assert_eq!(end.to_string(), "2026-03-29T01:00:00Z");
    }

    #[test]
    fn who_never_wants_to_be_told_is_asked_again_in_a_while() {
        let all = [Weekday::Mon, Weekday::Tue, Weekday::Wed, Weekday::Thu, Weekday::Fri, Weekday::Sat, Weekday::Sun];
        let never = quiet(None, &all);
        let now = LISBON.read("2026-05-07 12:00").unwrap();
        assert!(never.until(now, LISBON).unwrap().since(now).0 > 7.0);
    }
}
