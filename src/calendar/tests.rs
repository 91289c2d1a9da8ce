//! The rules of the feed, one by one, and the way through a file and back.

use chrono::NaiveDate;
use proptest::prelude::*;

use super::*;
use crate::schedule::{Because, Demand, Work, merge};
use crate::units::{Days, DeviceId};

const NOON: &str = "2026-03-02T12:00:00Z";

fn at(days: f64) -> Time {
    Time::parse(NOON).unwrap().plus(Days(days))
}

fn date(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

fn zone() -> LocalZone {
    LocalZone(chrono_tz::Europe::Lisbon)
}

/// The wish that the lamp be read by that day.
fn read(days: f64) -> Demand {
    let because = Because::Reminder { line: "0 9 * * Mon".into(), run: at(days) };
    Demand { date: at(days), work: Work::Read, device: DeviceId::new("bay-lamp").ok(), because }
}

/// The feed after `last`, on day `now`, of these demands.
fn next(last: &Feed, now: f64, demands: Vec<Demand>) -> Feed {
    let site = SiteId::new("harbour").unwrap();
    let list = merge(demands, at(now));
    let until = zone().day(at(now + 366.0));
    renew(last, &list, &Setting { site: &site, zone: zone(), now: at(now), until })
}

fn only(feed: &Feed) -> (&String, &Entry) {
    assert_eq!(feed.entries.len(), 1, "{feed:?}");
    feed.entries.first_key_value().unwrap()
}

#[test]
fn an_unchanged_list_gives_an_equal_feed() {
    let first = next(&Feed::default(), 0.0, vec![read(5.0)]);
    assert_eq!(next(&first, 0.4, vec![read(5.0)]), first);
    let (uid, entry) = only(&first);
    assert!(uid.ends_with("-1@harbour.twinwhite"), "{uid}");
    assert_eq!((entry.day, entry.end, entry.sequence), (date("2026-03-07"), date("2026-03-08"), 0));
    assert_eq!(entry.summary, "Read bay-lamp");
}

#[test]
fn a_move_keeps_the_uid_and_raises_the_sequence() {
    let first = next(&Feed::default(), 0.0, vec![read(5.0)]);
    let moved = next(&first, 1.0, vec![read(9.0)]);
    let ((uid, before), (same, after)) = (only(&first), only(&moved));
    assert_eq!(uid, same);
    assert_eq!((after.day, after.sequence), (date("2026-03-11"), before.sequence + 1));
    assert!(after.changed > before.changed);
}

#[test]
fn what_is_done_stays_as_cancelled_and_comes_back_under_its_own_uid() {
    let first = next(&Feed::default(), 0.0, vec![read(5.0)]);
    let done = next(&first, 1.0, Vec::new());
    assert_eq!((only(&done).1.cancelled, only(&done).1.sequence), (true, 1));
    assert_eq!(next(&done, 2.0, Vec::new()), done, "cancelled once");
    let again = next(&done, 3.0, vec![read(6.0)]);
    assert_eq!(only(&again).0, only(&first).0);
    assert_eq!((only(&again).1.cancelled, only(&again).1.sequence), (false, 2));
    // Its last day was the 7th; thirty days after the 8th it is forgotten.
    assert_eq!(next(&done, 36.0, Vec::new()).entries.len(), 1);
    assert_eq!(next(&done, 37.0, Vec::new()).entries.len(), 0);
}

#[test]
fn what_is_overdue_keeps_its_day_reaches_today_and_changes_once_a_week() {
    let mut feed = next(&Feed::default(), 0.0, vec![read(1.0)]);
    let mut sequences = Vec::new();
    for day in 1..=15 {
        let now = f64::from(day);
        // The list says "by today" each day anew, as it does of a station that is out.
        feed = next(&feed, now, vec![read(now)]);
        let (_, entry) = only(&feed);
        let today = zone().day(at(now));
        assert_eq!(entry.day, date("2026-03-03"));
        assert!(entry.day <= today && today < entry.end, "{entry:?}");
        sequences.push(entry.sequence);
    }
    assert_eq!(sequences, [0, 1, 1, 1, 1, 1, 1, 2, 2, 2, 2, 2, 2, 2, 3], "day by day");
}

#[test]
fn last_week_s_work_and_next_week_s_are_two_entries() {
    let both = next(&Feed::default(), 0.0, vec![read(-2.0), read(5.0)]);
    let days: Vec<_> = both.entries.values().map(|entry| entry.day).collect();
    assert_eq!(days.len(), 2);
    // The late one is done: the other stays as it is.
    let (kept, before) = both.entries.iter().find(|(_, entry)| entry.day == date("2026-03-07")).unwrap();
    let done = next(&both, 1.0, vec![read(5.0)]);
    assert_eq!(done.entries[kept], *before);
    assert_eq!(done.entries.values().filter(|entry| entry.cancelled).count(), 1);
}

#[test]
fn days_are_the_site_s_and_last_one_day_across_clock_changes() {
    // Clocks go forward in Lisbon on 29 March 2026 at 01:00 and back on 25 October at 02:00.
    for (days, day, end, rings_at) in [
        (27.0, "2026-03-29", "2026-03-30", "2026-03-29T08:00:00Z"),
        (26.0, "2026-03-28", "2026-03-29", "2026-03-28T09:00:00Z"),
        (237.0, "2026-10-25", "2026-10-26", "2026-10-25T09:00:00Z"),
    ] {
        let feed = next(&Feed::default(), 0.0, vec![read(days)]);
        let (_, entry) = only(&feed);
        assert_eq!((entry.day, entry.end), (date(day), date(end)));
        assert_eq!(text::rings(entry.day, zone()), Time::parse(rings_at).unwrap());
        let written = write(&feed, "Harbour Print Room", zone());
        assert!(written.contains(&format!("DTSTART;VALUE=DATE:{}\r\n", day.replace('-', ""))), "{written}");
    }
}

#[test]
fn another_program_s_file_and_a_broken_one_are_told_apart() {
    let ours = write(&next(&Feed::default(), 0.0, vec![read(5.0)]), "Harbour", zone());
    assert_eq!(text::read("hello"), Err(NotAFeed::NoCalendar));
    assert_eq!(text::read(&ours.replace("//twinwhite//", "//another//")), Err(NotAFeed::Foreign));
    let broken = text::read(&ours.replace("DTEND;VALUE=DATE:20260308", "DTEND;VALUE=DATE:20260306"));
    assert!(matches!(broken, Err(NotAFeed::Broken { lacks: "end", .. })), "{broken:?}");
    let deep = "BEGIN:VCALENDAR\r\n".repeat(100_000);
    assert_eq!(text::read(&deep), Err(NotAFeed::NoCalendar));
}

fn any_entry() -> impl Strategy<Value = Entry> {
    let words = prop::collection::vec("[ -~äß€日🙂,;\\\\:\"\n]{0,120}", 2);
    (words, 0i64..4000, 1i64..40, any::<bool>(), 0u32..9, prop::sample::subsequence(vec!["forecast", "held"], 0..=2))
        .prop_map(|(words, day, days, cancelled, sequence, categories)| {
            let day = date("2026-01-01") + TimeDelta::days(day);
            Entry {
                day,
                end: day + TimeDelta::days(days),
                sequence,
                cancelled,
                changed: Time::parse(NOON).unwrap(),
                summary: plain(&words[0]),
                description: plain(&words[1]),
                categories: categories.into_iter().map(str::to_owned).collect(),
            }
        })
}

proptest! {
    #[test]
    fn a_file_gives_back_what_was_written(entries in prop::collection::vec(any_entry(), 0..4), name in "[ -~ä🙂]{0,90}") {
        let numbered = entries.into_iter().enumerate().map(|(number, entry)| (format!("{number}@harbour.twinwhite"), entry));
        let feed = Feed { entries: numbered.collect() };
        let written = write(&feed, &name, zone());
        for line in written.split_terminator("\r\n") {
            prop_assert!(line.len() <= 75 && !line.contains(['\r', '\n']), "{line:?}");
        }
        prop_assert_eq!(text::read(&written), Ok(feed));
    }

    #[test]
    fn no_text_takes_it_down(text in "(BEGIN:VCALENDAR|END:VCALENDAR|BEGIN:VEVENT|PRODID|[:;=,\"\\\\ \r\nA-Z0-9é]){0,200}") {
        let _ = text::read(&text);
    }
}
