//! Which of the messages that wait for a channel leave now. The one place that decides it.
//!
//! The first leaves at once. What comes within [`GROUP_EVERY`] of it waits and leaves together, so that ten alarms are one
//! message or two and never ten. What concerns something under maintenance waits for its end, what comes in quiet hours for
//! theirs, whatever else leaves meanwhile.

use super::rules::Rules;
use crate::alert::Kind;
use crate::units::{Days, Time};
use crate::zone::LocalZone;

/// A site's messages leave through one channel no oftener than this: 5 minutes.
const GROUP_EVERY: Days = Days(5.0 / 1440.0);

/// A message that waits for a channel.
#[derive(Debug, Clone, Copy)]
pub struct Waiting<'a> {
    /// The kind of the alert it tells of; `None` for a summary.
    pub kind: Option<Kind>,
    /// The kind of an alert that is not raised since this one says it better, where that is so now.
    pub speaks_for: Option<Kind>,
    /// What it is about.
    pub subject: &'a str,
}

/// Until when what is about a station or a thing, or about the site as a whole, waits.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Held {
    /// The names it is about; empty for all there are.
    pub names: Vec<String>,
    /// Its end.
    pub until: Time,
}

impl Held {
    /// Whether it holds what is about `subject`. Tasks are called by what is to be done and the thing it is done to.
    pub fn holds(&self, subject: &str) -> bool {
        self.names.is_empty() || self.names.iter().any(|name| subject.split(' ').any(|word| word == name))
    }
}

/// What is to be done about the messages that wait for a channel.
#[derive(Debug, Clone, PartialEq)]
pub enum Next {
    /// These leave, by their place in the list.
    Send(Vec<usize>),
    /// None leaves before this.
    Wait(Time),
    /// None waits.
    Nothing,
}

/// Says which of `waiting` leave a channel at `now`, where something last went out at `last_sent`.
pub fn next(
    waiting: &[Waiting],
    last_sent: Option<Time>,
    held: &[Held],
    rules: &Rules,
    now: Time,
    zone: LocalZone,
) -> Next {
    let quiet = rules.quiet.as_ref().and_then(|quiet| Some((quiet.until(now, zone)?, &quiet.except)));
    let waits_until = |message: &Waiting| {
        let by_night = quiet.as_ref().and_then(|(until, except)| {
            let passes = message.kind.into_iter().chain(message.speaks_for).any(|kind| except.contains(&kind));
            (!passes).then_some(*until)
        });
        let by_work = held.iter().filter(|held| held.until > now && held.holds(message.subject)).map(|held| held.until);
        by_work.chain(by_night).max()
    };
    let until: Vec<Option<Time>> = waiting.iter().map(waits_until).collect();
    let ready: Vec<usize> = until.iter().enumerate().filter(|(_, until)| until.is_none()).map(|(nth, _)| nth).collect();
    if ready.is_empty() {
        return until.into_iter().flatten().min().map_or(Next::Nothing, Next::Wait);
    }
    // A time ahead of the clock is of before somebody set it back: it says nothing.
    match last_sent.filter(|last| *last <= now).map(|last| last.plus(GROUP_EVERY)).filter(|next| *next > now) {
        Some(next) => Next::Wait(next),
        None => Next::Send(ready),
    }
}

#[cfg(test)]
mod tests {
    use chrono::NaiveTime;

    use super::*;
    use crate::outbox::Quiet;

    const LISBON: LocalZone = LocalZone(chrono_tz::Europe::Lisbon);

    fn at(local: &str) -> Time {
        LISBON.read(local).unwrap()
    }

    fn about(kind: Kind, subject: &str) -> Waiting<'_> {
        Waiting { kind: Some(kind), speaks_for: None, subject }
    }

    #[test]
    fn the_first_leaves_at_once_and_the_others_together() {
        let (out, off) = (about(Kind::MatchOut, "bay"), about(Kind::OffAim, "bay-lamp"));
        let ask = |waiting: &[Waiting], last: Option<&str>, now: &str| {
            next(waiting, last.map(at), &[], &Rules::default(), at(now), LISBON)
        };
        assert_eq!(ask(&[], None, "2026-05-07 12:00"), Next::Nothing);
        assert_eq!(ask(&[out], None, "2026-05-07 12:00"), Next::Send(vec![0]));
        assert_eq!(ask(&[out], Some("2026-05-07 11:55"), "2026-05-07 12:00"), Next::Send(vec![0]));
        let wait = Next::Wait(at("2026-05-07 12:04"));
        assert_eq!(ask(&[out, off], Some("2026-05-07 11:59"), "2026-05-07 12:00"), wait);
        assert_eq!(ask(&[out, off], Some("2026-05-07 11:59"), "2026-05-07 12:04"), Next::Send(vec![0, 1]));
        // Somebody set the clock back.
        assert_eq!(ask(&[out], Some("2026-05-09 12:00"), "2026-05-07 12:00"), Next::Send(vec![0]));
    }

    #[test]
    fn quiet_hours_let_only_exceptions_through() {
        let hours = Some((NaiveTime::from_hms_opt(20, 0, 0).unwrap(), NaiveTime::from_hms_opt(8, 0, 0).unwrap()));
        let quiet = Quiet { hours, days: Vec::new(), except: vec![Kind::MatchOut] };
        let rules = Rules { quiet: Some(quiet), ..Rules::default() };
        let digest = Waiting { kind: None, speaks_for: None, subject: "harbour-loft" };
        let waiting = [about(Kind::OffAim, "bay-lamp"), about(Kind::MatchOut, "bay"), digest];
        let ask = |waiting: &[Waiting], now| next(waiting, None, &[], &rules, at(now), LISBON);
        assert_eq!(ask(&waiting, "2026-05-07 23:00"), Next::Send(vec![1]));
        assert_eq!(ask(&waiting[..1], "2026-05-07 23:00"), Next::Wait(at("2026-05-08 08:00")));
        assert_eq!(ask(&waiting, "2026-05-08 08:00"), Next::Send(vec![0, 1, 2]));
        // The match is out, and what tells so is the alert of its cause.
        let cause = Waiting { speaks_for: Some(Kind::MatchOut), ..waiting[0] };
        assert_eq!(ask(&[cause, waiting[0]], "2026-05-07 23:00"), Next::Send(vec![0]));
    }

    #[test]
    fn maintenance_holds_what_it_is_about() {
        let painted = Held { names: vec!["bay".into(), "bay-lamp".into()], until: at("2026-05-08 18:00") };
        let waiting =
            [about(Kind::TaskDue, "read bay-lamp"), about(Kind::MatchOut, "bay"), about(Kind::MatchOut, "booth")];
        let ask = |waiting: &[Waiting], held: &Held, now| {
            next(waiting, None, std::slice::from_ref(held), &Rules::default(), at(now), LISBON)
        };
        assert_eq!(ask(&waiting, &painted, "2026-05-07 12:00"), Next::Send(vec![2]));
        assert_eq!(ask(&waiting[..2], &painted, "2026-05-07 12:00"), Next::Wait(at("2026-05-08 18:00")));
        assert_eq!(ask(&waiting, &painted, "2026-05-08 18:00"), Next::Send(vec![0, 1, 2]));
        let whole = Held { names: Vec::new(), ..painted };
        assert_eq!(ask(&waiting, &whole, "2026-05-07 12:00"), Next::Wait(at("2026-05-08 18:00")));
    }
}
