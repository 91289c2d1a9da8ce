//! When a run of a reminder is served: what must have been done, and since when. Pure.
//!
//! A run asks for something, and what was done shortly before it counts too: whoever reads a lamp on Sunday evening need not be
//! told on Monday morning. So a run is served by what was done from half the interval since the run before it, but at most
//! [`AT_MOST_BEFORE`], ahead of it:
//!
//! - *read* by a reading of the device that is not held back (of a paper: a reading of it under a lamp of its stations);
//! - *recalibrate* by a `recalibrated` event (of an instrument also by `cross_calibrated`), *clean* by a `cleaned` one;
//! - *certificate* by a certificate that reaches to the line's next run, or for good where none follows;
//! - a task in one's own words by acknowledging its alert, since nothing else can tell.
//!
//! What a run asks for lapses with the next run of its line: that one asks again.

use chrono::NaiveDate;
use chrono_tz::Tz;

use super::{Reminder, Task};
use crate::reading::EventKind;
use crate::units::{Days, Time};
use crate::zone::LocalZone;

/// What was done longer before a run than this does not serve it, however seldom its line runs.
pub const AT_MOST_BEFORE: Days = Days(30.0);

/// What serves a run.
#[derive(Debug, Clone, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum ServedBy {
    /// A reading of the device, from this instant on.
    Reading { from: Time },
    /// One of these events of the device, from this instant on.
    Event { kinds: Vec<EventKind>, from: Time },
    /// A certificate that is good on this day; `None` where the line never runs again and any certificate does.
    Certificate { reaching: Option<NaiveDate> },
    /// An acknowledgement of the run's alert.
    Acknowledgement,
}

/// What serves the run of `reminder` at `run`.
pub fn served_by(reminder: &Reminder, run: Time, zone: Tz) -> ServedBy {
    let from = || window(reminder, run, zone);
    match &reminder.task {
        Task::Read => ServedBy::Reading { from: from() },
        Task::Recalibrate => {
            ServedBy::Event { kinds: vec![EventKind::Recalibrated, EventKind::CrossCalibrated], from: from() }
        }
        Task::Clean => ServedBy::Event { kinds: vec![EventKind::Cleaned], from: from() },
        Task::Certificate => {
            let next = reminder.cron.next_after(run, zone);
            ServedBy::Certificate { reaching: next.map(|next| LocalZone(zone).day(next)) }
        }
        Task::Other(_) => ServedBy::Acknowledgement,
    }
}

/// From when on something that was done serves the run at `run`.
fn window(reminder: &Reminder, run: Time, zone: Tz) -> Time {
    let before = reminder.cron.last_until(Time::from_micros(run.micros().saturating_sub(1)), zone);
    let interval = before
        .map(|before| run.since(before))
        .or_else(|| reminder.cron.next_after(run, zone).map(|next| next.since(run)))
        .unwrap_or(Days(0.0));
    run.plus(Days(-(interval.0 / 2.0).min(AT_MOST_BEFORE.0)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::schedule::cron::CronLine;
    use crate::units::DeviceId;

    const LISBON: Tz = Tz::Europe__Lisbon;

    fn reminder(task: Task, cron: &str) -> Reminder {
        Reminder { task, device: DeviceId::new("bay-lamp").ok(), cron: CronLine::parse(cron).unwrap() }
    }

    fn at(text: &str) -> Time {
        Time::parse(text).unwrap()
    }

    #[test]
    fn half_the_interval_before_a_run_serves_it() {
        let from = |cron: &str, run: &str| match served_by(&reminder(Task::Read, cron), at(run), LISBON) {
            ServedBy::Reading { from } => from.to_string(),
            other => panic!("{other:?}"),
        };
        assert_eq!(from("0 9 * * Mon", "2026-03-02T09:00:00Z"), "2026-02-26T21:00:00Z", "a week: 3.5 days");
        assert_eq!(from("0 9 * * *", "2026-03-02T09:00:00Z"), "2026-03-01T21:00:00Z", "a day: 12 hours");
        assert_eq!(from("0 9 * * Mon,Fri", "2026-03-02T09:00:00Z"), "2026-02-28T21:00:00Z", "since Friday: 1.5 days");
        assert_eq!(from("0 9 2 3 *", "2026-03-02T09:00:00Z"), "2026-01-31T09:00:00Z", "a year: 30 days");
        assert_eq!(from("0 0 9 2 3 * 2026", "2026-03-02T09:00:00Z"), "2026-03-02T09:00:00Z", "one run alone");
    }

    #[test]
    fn each_task_is_served_by_its_own() {
        let by = |task| served_by(&reminder(task, "0 9 * * Mon"), at("2026-03-02T09:00:00Z"), LISBON);
        let from = at("2026-02-26T21:00:00Z");
        let calibrations = vec![EventKind::Recalibrated, EventKind::CrossCalibrated];
        assert_eq!(by(Task::Recalibrate), ServedBy::Event { kinds: calibrations, from });
        assert_eq!(by(Task::Clean), ServedBy::Event { kinds: vec![EventKind::Cleaned], from });
        let reaching = NaiveDate::from_ymd_opt(2026, 3, 9);
        assert_eq!(by(Task::Certificate), ServedBy::Certificate { reaching });
        assert_eq!(by(Task::Other("water the plant".into())), ServedBy::Acknowledgement);
    }
}
