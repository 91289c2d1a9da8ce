//! What is due, in sentences: what is to be done, why, and what counts as done. Pure.

use chrono::{NaiveDate, Offset, Timelike};

use super::{advice, ageing, call_reason, count, day, span};
use crate::schedule::{Because, Due, Reminder, Task, Work};
use crate::station::{Advice, Call, CallReason, GUESS_BELOW_READINGS};
use crate::units::{DeviceId, InstrumentId, StationId, Time};
use crate::zone::LocalZone;

/// What is to be done, in a few words.
pub fn work(due: &Due) -> String {
    let device = due.device.as_ref().map(DeviceId::as_str).unwrap_or_default();
    let to_it = |verb: &str| format!("{verb} {device}").trim_end().to_owned();
    match &due.work {
        Work::Read => to_it("read"),
        Work::ReadPaper => format!("read the paper under {device}"),
        Work::LookAtHeld => format!("look at the held readings of {device}"),
        Work::LookAtJump => format!("look what happened to {device}"),
        Work::ShutOutLight => "shut out foreign light".to_owned(),
        Work::Clean => to_it("clean"),
        Work::TurnDimmer => format!("turn the dimmer of {device}"),
        Work::TurnColourDial => format!("turn the colour dial of {device}"),
        Work::Recalibrate => to_it("recalibrate"),
        Work::Replace => to_it("replace"),
        Work::Certificate => format!("renew the certificate of {device}"),
        Work::Repair => to_it("repair"),
        Work::Other(words) => to_it(words),
    }
}

/// What is to be done, as a calendar's entry names it.
pub fn entry(due: &Due, overdue: bool) -> String {
    if overdue { format!("Overdue: {}", work(due)) } else { capital(&work(due)) }
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

/// Why something is due by `date`, as a sentence; as it stands at `now`.
pub fn because(why: &Because, date: Time, now: Time, zone: &LocalZone) -> String {
    match why {
        Because::Forecast { station, advice: act, why } => {
            let reason = format!("Station {station}: {}.", call_reason(*why));
            match act {
                Advice::Read { .. } => reason,
                act => format!("{reason} {}", advice(act, zone)),
            }
        }
        Because::Reminder { line, run } if *run <= now => {
            format!("The reminder of {} ({line}) is not served yet.", moment(zone, *run))
        }
        Because::Reminder { line, run } => format!("Reminder, {} ({line}).", moment(zone, *run)),
        Because::MaxAge { station, last, limit } => format!(
            "Last read on {}; station {station} counts on a reading for {}, so until {}.",
            day(zone, *last),
            span(*limit),
            day(zone, date)
        ),
        Because::Held { count: 1 } => "1 reading is held back; `twinwhite history` shows it.".to_owned(),
        Because::Held { count: held } => {
            format!("{} are held back; `twinwhite history` shows them.", count(*held, "reading"))
        }
        Because::Certificate { until } if date <= now => {
            format!("Its certificate was good until {}.", until.format("%-d %b %Y"))
        }
        Because::Certificate { until } => format!("Its certificate is good until {}.", until.format("%-d %b %Y")),
        Because::Damaged { since } => format!(
            "It was damaged on {}. Once it is mended: `twinwhite record repaired` with its name.",
            day(zone, *since)
        ),
        Because::RatedHours { now: hours, rated, .. } if hours.0 >= rated.0 => {
            format!("It has burnt about {:.0} h and is rated for {:.0} h.", hours.0, rated.0)
        }
        Because::RatedHours { now: hours, rated, reached } => format!(
            "It has burnt about {:.0} h of the {:.0} h it is rated for; the rest lasts until {}, likely {} to {}.",
            hours.0,
            rated.0,
            day(zone, reached.date),
            day(zone, reached.likely.0),
            day(zone, reached.likely.1)
        ),
        Because::LeavesAim { leaving, .. } => ageing::leaves_aim(leaving, now, zone),
        Because::LightLeft { share, counter, reached } => ageing::light_left(*share, *counter, reached.as_ref(), zone),
    }
}

/// What the alert of a reading that a station calls for says.
pub fn of_wanted(station: &StationId, call: &Call, now: Time, zone: &LocalZone) -> Vec<String> {
    let day = if zone.day(call.by) > zone.day(now) { format!(" by {}", day(zone, call.by)) } else { String::new() };
    let act = advice(&call.advice, zone);
    let mut lines =
        vec![format!("Station {station}: {}.", call_reason(call.why)), format!("{}{day}.", act.trim_end_matches('.'))];
    if let CallReason::Learning { .. } = call.why {
        lines.push(format!("Once a week will do, until there are {GUESS_BELOW_READINGS}; this is told once."));
    }
    lines
}

/// What a reminder's alert says: whose run it tells of, and what counts as done.
pub fn of_run(reminder: &Reminder, run: Time, zone: &LocalZone) -> Vec<String> {
    let device = reminder.device.as_ref().map(DeviceId::as_str).unwrap_or_default();
    let done = match &reminder.task {
        Task::Read => format!("A reading of {device} serves it."),
        Task::Recalibrate => format!("Once it is done: `twinwhite record recalibrated {device}`."),
        Task::Clean => format!("Once it is done: `twinwhite record cleaned {device}`."),
        Task::Certificate => format!("Once it is done: `twinwhite record certificate {device} until=…`."),
        Task::Other(_) => "Once it is done: `twinwhite ack` with the number of this alert.".to_owned(),
    };
    vec![format!("Reminder of {} ({}).", moment(zone, run), reminder.cron), done]
}

/// What the alert of an instrument's certificate says.
pub fn of_certificate(instrument: &InstrumentId, until: NaiveDate, over: bool) -> Vec<String> {
    let verb = if over { "was" } else { "is" };
    vec![
        format!("The certificate of {instrument} {verb} good until {}.", until.format("%-d %b %Y")),
        format!("Have it certified, then `twinwhite record certificate {instrument} until=…`."),
    ]
}

/// What the alert of a lamp near its rated hours says beside the reason.
pub fn of_rated_hours(why: String, lamp: &DeviceId) -> Vec<String> {
    vec![
        why,
        format!("Have a new one at hand; once it is in: `twinwhite record replaced {lamp}`."),
        "Power off, let it cool, do not look into it.".to_owned(),
    ]
}

/// `Mon 2 Mar 2026, 09:00`.
fn moment(zone: &LocalZone, time: Time) -> String {
    time.to_chrono().with_timezone(&zone.0).format("%a %-d %b %Y, %H:%M").to_string()
}

/// The next runs of a line: `2026-03-02 09:00, …`; with seconds where they have any, and with the offset to UTC where the clocks
/// change between `now` and the last of them.
pub fn runs(times: &[Time], now: Time, zone: &LocalZone) -> String {
    let local = |time: &Time| time.to_chrono().with_timezone(&zone.0);
    let offset = |time: &Time| local(time).offset().fix();
    let seconds = if times.iter().any(|time| local(time).second() != 0) { ":%S" } else { "" };
    let change = if times.iter().any(|time| offset(time) != offset(&now)) { " %:z" } else { "" };
    let pattern = format!("%Y-%m-%d %H:%M{seconds}{change}");
    let shown: Vec<String> = times.iter().map(|time| local(time).format(&pattern).to_string()).collect();
    shown.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::schedule::cron::CronLine;

    #[test]
    fn runs_show_seconds_and_clock_changes_where_there_are_any() {
        let zone = LocalZone(chrono_tz::Europe::Berlin);
        let next = |line: &str, now: &str| {
            let (line, now) = (CronLine::parse(line).unwrap(), Time::parse(now).unwrap());
            let first = line.next_after(now, zone.0).unwrap();
            let second = line.next_after(first, zone.0).unwrap();
            runs(&[first, second], now, &zone)
        };
        assert_eq!(next("0 9 * * Mon", "2026-03-02T09:00:00Z"), "2026-03-09 09:00, 2026-03-16 09:00");
        assert_eq!(next("30 0 9 * * Mon", "2026-03-02T09:00:00Z"), "2026-03-09 09:00:30, 2026-03-16 09:00:30");
        assert_eq!(
            next("30 2 * * *", "2026-03-28T09:00:00Z"),
            "2026-03-29 03:00 +02:00, 2026-03-30 02:30 +02:00",
            "in the gap, after it"
        );
        assert_eq!(next("30 2 * * *", "2026-10-24T09:00:00Z"), "2026-10-25 02:30 +02:00, 2026-10-26 02:30 +01:00");
    }
}
