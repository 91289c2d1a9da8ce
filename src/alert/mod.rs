//! Life of an alert: one function of its last state, what is seen now, and the time. Pure.
//!
//! An alert is *raised* when its condition is [`Sighting::Bad`], *acknowledged* when a person says so, and *cleared* when
//! the condition is [`Sighting::Good`] and the alert has stood for at least [`MINIMUM_HOLD`] (a refused configuration is
//! over as soon as a good one is read, an instrument's suspicion as soon as a reading or a service answers it, blindness as soon as the inbox
//! can be looked through). Between the two lines
//! nothing changes: that is the hysteresis. There is at most one open alert for a kind and a subject.
//!
//! What decides whether a sighting is bad (risks, ages, steps) is for [`conditions`]; what people are told is for `say`.

pub mod conditions;

use crate::units::{Days, Time};

/// An alert that was raised is not cleared sooner than this, so that a value dancing on a line sends two messages and not
/// twenty. 15 minutes.
pub const MINIMUM_HOLD: Days = Days(15.0 / (24.0 * 60.0));

/// What can be wrong. The word is used in commands, JSON and the ledger.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// A station's match is out of tolerance. Subject: the station.
    MatchOut,
    /// A station's match will probably not hold over its horizon. Subject: the station.
    MatchAtRisk,
    /// A device was not read for longer than its strictest station allows. Subject: the device.
    ReadingOverdue,
    /// A device's light jumped. Subject: the device.
    StepChange,
    /// A file could not be read. Subject: the file's name.
    FileRefused,
    /// A device is farther from its aim than its strictest station tolerates. Subject: the device.
    OffAim,
    /// A changed configuration could not be read and the old one stays in force. Subject: the site.
    ConfigRefused,
    /// Something is due: a reminder's run, a reading that a forecast calls for, the end of a certificate or of a lamp's rated
    /// hours. Subject: what is to be done, and to what.
    TaskDue,
    /// A reminder in somebody's own words. Subject: those words.
    Reminder,
    /// All devices that an instrument reads seem to have jumped together. Subject: the instrument.
    InstrumentSuspect,
    /// The inbox cannot be looked through: readings may lie there that nobody counts. Subject: the site.
    Blind,
    /// A channel does not take messages. Subject: the channel.
    ChannelFailing,
}

impl Kind {
    /// Every kind.
    pub const ALL: [Self; 12] = [
        Self::MatchOut,
        Self::MatchAtRisk,
        Self::ReadingOverdue,
        Self::StepChange,
        Self::FileRefused,
        Self::OffAim,
        Self::ConfigRefused,
        Self::TaskDue,
        Self::Reminder,
        Self::InstrumentSuspect,
        Self::Blind,
        Self::ChannelFailing,
    ];

    /// The kind's word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::MatchOut => "match-out",
            Self::MatchAtRisk => "match-at-risk",
            Self::ReadingOverdue => "reading-overdue",
            Self::StepChange => "step-change",
            Self::FileRefused => "file-refused",
            Self::OffAim => "off-aim",
            Self::ConfigRefused => "config-refused",
            Self::TaskDue => "task-due",
            Self::Reminder => "reminder",
            Self::InstrumentSuspect => "instrument-suspect",
            Self::Blind => "blind",
            Self::ChannelFailing => "channel-failing",
        }
    }

    /// Which is told first where there are several: 0 is the worst.
    pub const fn rank(self) -> u8 {
        match self {
            Self::MatchOut => 0,
            Self::InstrumentSuspect => 1,
            Self::OffAim => 2,
            Self::StepChange => 3,
            Self::MatchAtRisk => 4,
            Self::ReadingOverdue => 5,
            Self::Blind => 6,
            Self::ChannelFailing => 7,
            Self::ConfigRefused => 8,
            Self::FileRefused => 9,
            Self::TaskDue => 10,
            Self::Reminder => 11,
        }
    }

    /// The kind that `word` names.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.word() == word)
    }

    /// Whether nothing in the world can end it but a person: such an alert is over once it is acknowledged.
    const fn ends_with_acknowledgement(self) -> bool {
        matches!(self, Self::FileRefused | Self::Reminder)
    }

    /// Whether its end is news: whoever does what was due knows that it is done.
    pub const fn end_is_news(self) -> bool {
        !matches!(self, Self::TaskDue | Self::Reminder)
    }

    /// Whether it is a cause that tells of matches in their own alerts' place: these are silent while it stands, or are raised
    /// beside it for the same event.
    pub const fn tells_of_matches(self) -> bool {
        matches!(self, Self::OffAim | Self::StepChange | Self::InstrumentSuspect)
    }

    /// Until when an alert that was raised at `raised_at` stays, whatever becomes of its condition; `None` for a kind that may be
    /// over at once.
    pub fn stays_until(self, raised_at: Time) -> Option<Time> {
        let at_once = self.is_seen_by_act_alone() || self.ends_with_acknowledgement();
        (!at_once).then(|| raised_at.plus(MINIMUM_HOLD))
    }

    /// Whether its condition changes only when a person does something (a configuration, a reading, a service): it cannot dance
    /// on a line, and nobody might look at it again once a hold was over. Nor can a channel's failing, which needs several
    /// attempts, nor blindness, which is raised after a wait.
    const fn is_seen_by_act_alone(self) -> bool {
        matches!(self, Self::ConfigRefused | Self::InstrumentSuspect | Self::ChannelFailing | Self::Blind)
    }
}

/// Where an alert stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    /// Nobody has taken notice yet.
    Raised,
    /// A person has taken notice; the condition holds on.
    Acknowledged,
    /// Over.
    Cleared,
}

impl State {
    /// Every state, in the order of an alert's life.
    pub const ALL: [Self; 3] = [Self::Raised, Self::Acknowledged, Self::Cleared];

    /// The state's word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Raised => "raised",
            Self::Acknowledged => "acknowledged",
            Self::Cleared => "cleared",
        }
    }

    /// The state that `word` names.
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|state| state.word() == word)
    }
}

/// What the machine needs to know of an alert that was raised before.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)]
pub struct Standing {
    pub kind: Kind,
    pub state: State,
    pub raised_at: Time,
}

/// How a condition looks now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sighting {
    /// Over the line at which an alert is raised.
    Bad,
    /// Under that line but not yet under the line at which it is cleared, or not to be told.
    Between,
    /// Under the line at which it is cleared.
    Good,
    /// Bad or not, another alert speaks for it: a cause silences its consequence.
    SpokenFor(Kind),
    /// What it told of falls due once more, and that is told anew.
    DueAgain,
}

/// What happens to the alert.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Change {
    /// A new alert begins.
    Raise,
    /// The open alert ends.
    Clear(Cleared),
}

/// Why an alert ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cleared {
    /// Its condition is over.
    ConditionOver,
    /// Another alert says it better.
    SpokenFor(Kind),
    /// It was of a kind that an acknowledgement ends.
    Acknowledged,
    /// What it told of fell due once more.
    DueAgain,
}

impl Cleared {
    /// The reason's word, as the ledger keeps it.
    pub const fn word(self) -> &'static str {
        match self {
            Self::ConditionOver => "condition-over",
            Self::SpokenFor(Kind::OffAim) => "spoken-for-by-off-aim",
            Self::SpokenFor(Kind::MatchOut) => "spoken-for-by-match-out",
            Self::SpokenFor(Kind::ReadingOverdue) => "spoken-for-by-reading-overdue",
            Self::SpokenFor(Kind::InstrumentSuspect) => "spoken-for-by-instrument-suspect",
            Self::SpokenFor(_) => "spoken-for",
            Self::Acknowledged => "acknowledged",
            Self::DueAgain => "due-again",
        }
    }

    /// The reason that `word` names.
    pub fn from_word(word: &str) -> Option<Self> {
        let spoken = [Kind::OffAim, Kind::MatchOut, Kind::ReadingOverdue, Kind::InstrumentSuspect].map(Self::SpokenFor);
        let others = [Self::ConditionOver, Self::Acknowledged, Self::DueAgain];
        spoken.into_iter().chain(others).find(|why| why.word() == word)
    }
}

/// Whether people are told again of an alert that has stood since `raised_at`, and of which they were last told again at
/// `repeated_at`.
pub fn tell_again(standing: &Standing, repeated_at: Option<Time>, every: Days, now: Time) -> bool {
    let told = repeated_at.map_or(standing.raised_at, |repeated| repeated.max(standing.raised_at));
    // What recurs by its own line of the calendar is told by that.
    standing.state == State::Raised && standing.kind.end_is_news() && now.since(told) >= every
}

/// Why nothing happens.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quiet {
    /// Nothing is wrong and nothing was.
    NothingWrong,
    /// It is wrong and that was said.
    AlreadyRaised,
    /// It was wrong and is not clearly right yet.
    BetweenTheLines,
    /// It is right again, but was raised too short a time ago.
    Held,
}

/// Should we speak, and why? `last` is the newest alert of this kind and subject, if there ever was one.
pub fn decide(last: Option<&Standing>, seen: Sighting, now: Time) -> Result<Change, Quiet> {
    let open = last.filter(|alert| alert.state != State::Cleared);
    match (open, seen) {
        (None, Sighting::Bad) => Ok(Change::Raise),
        (None, _) => Err(Quiet::NothingWrong),
        (Some(alert), _) if alert.kind.ends_with_acknowledgement() && alert.state == State::Acknowledged => {
            Ok(Change::Clear(Cleared::Acknowledged))
        }
        (Some(_), Sighting::Bad) => Err(Quiet::AlreadyRaised),
        (Some(_), Sighting::Between) => Err(Quiet::BetweenTheLines),
        (Some(_), Sighting::DueAgain) => Ok(Change::Clear(Cleared::DueAgain)),
        (Some(_), Sighting::SpokenFor(by)) => Ok(Change::Clear(Cleared::SpokenFor(by))),
        (Some(alert), Sighting::Good)
            if now.since(alert.raised_at) < MINIMUM_HOLD && !alert.kind.is_seen_by_act_alone() =>
        {
            Err(Quiet::Held)
        }
        (Some(_), Sighting::Good) => Ok(Change::Clear(Cleared::ConditionOver)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_refused_configuration_is_over_as_soon_as_a_good_one_is_read() {
        let raised_at = Time::parse("2026-05-01T08:00:00Z").unwrap();
        let standing = Standing { kind: Kind::ConfigRefused, state: State::Raised, raised_at };
        let over = Ok(Change::Clear(Cleared::ConditionOver));
        assert_eq!(decide(Some(&standing), Sighting::Good, raised_at.plus(Days(1e-5))), over);
    }

    #[test]
    fn every_case_has_its_reason() {
        let raised_at = Time::parse("2026-05-01T08:00:00Z").unwrap();
        let soon = raised_at.plus(Days(10.0 / 1440.0));
        let later = raised_at.plus(Days(1.0));
        let standing = |state| Standing { kind: Kind::MatchOut, state, raised_at };
        let (raised, seen, cleared) =
            (standing(State::Raised), standing(State::Acknowledged), standing(State::Cleared));
        let over = Ok(Change::Clear(Cleared::ConditionOver));
        let cause = Sighting::SpokenFor(Kind::OffAim);
        for (last, sighting, now, expected) in [
            (None, Sighting::Bad, later, Ok(Change::Raise)),
            (None, Sighting::Between, later, Err(Quiet::NothingWrong)),
            (None, Sighting::Good, later, Err(Quiet::NothingWrong)),
            (None, cause, later, Err(Quiet::NothingWrong)),
            (None, Sighting::DueAgain, later, Err(Quiet::NothingWrong)),
            (Some(&raised), Sighting::DueAgain, soon, Ok(Change::Clear(Cleared::DueAgain))),
            (Some(&seen), Sighting::DueAgain, soon, Ok(Change::Clear(Cleared::DueAgain))),
            (Some(&raised), Sighting::Bad, later, Err(Quiet::AlreadyRaised)),
            (Some(&raised), Sighting::Between, later, Err(Quiet::BetweenTheLines)),
            (Some(&raised), Sighting::Good, soon, Err(Quiet::Held)),
            (Some(&raised), Sighting::Good, later, over),
            (Some(&raised), cause, soon, Ok(Change::Clear(Cleared::SpokenFor(Kind::OffAim)))),
            (Some(&seen), Sighting::Bad, later, Err(Quiet::AlreadyRaised)),
            (Some(&seen), Sighting::Good, later, over),
            (Some(&cleared), Sighting::Bad, later, Ok(Change::Raise)),
            (Some(&cleared), Sighting::Good, later, Err(Quiet::NothingWrong)),
        ] {
            assert_eq!(decide(last, sighting, now), expected, "{last:?} {sighting:?} {now}");
        }
    }

    #[test]
    fn only_what_a_person_ends_has_a_silent_end() {
        let silent: Vec<Kind> = Kind::ALL.into_iter().filter(|kind| !kind.end_is_news()).collect();
        assert_eq!(silent, [Kind::TaskDue, Kind::Reminder]);
    }

    #[test]
    fn what_nobody_acknowledged_is_told_again() {
        let raised_at = Time::parse("2026-05-01T08:00:00Z").unwrap();
        let day = |n| raised_at.plus(Days(n));
        let standing = |kind, state| Standing { kind, state, raised_at };
        let out = standing(Kind::MatchOut, State::Raised);
        assert!(!tell_again(&out, None, Days(3.0), day(2.9)));
        assert!(tell_again(&out, None, Days(3.0), day(3.0)));
        assert!(!tell_again(&out, Some(day(3.0)), Days(3.0), day(5.9)));
        assert!(tell_again(&out, Some(day(3.0)), Days(3.0), day(6.0)));
        for quiet in
            [(Kind::MatchOut, State::Acknowledged), (Kind::MatchOut, State::Cleared), (Kind::Reminder, State::Raised)]
        {
            assert!(!tell_again(&standing(quiet.0, quiet.1), None, Days(3.0), day(30.0)), "{quiet:?}");
        }
    }

    #[test]
    fn what_stays_for_a_while_says_until_when() {
        let raised_at = Time::parse("2026-05-01T08:00:00Z").unwrap();
        for kind in Kind::ALL {
            // Of what ends with it, acknowledging is what people do about it.
            let state = if kind.ends_with_acknowledgement() { State::Acknowledged } else { State::Raised };
            let standing = Standing { kind, state, raised_at };
            let ends = |at| decide(Some(&standing), Sighting::Good, at).is_ok();
            match kind.stays_until(raised_at) {
                Some(until) => assert!(ends(until) && !ends(until.plus(Days(-1e-6))), "{kind:?}"),
                None => assert!(ends(raised_at), "{kind:?}"),
            }
        }
    }

    #[test]
    fn a_refused_file_is_over_once_acknowledged() {
        let raised_at = Time::parse("2026-05-01T08:00:00Z").unwrap();
        let seen = Standing { kind: Kind::FileRefused, state: State::Acknowledged, raised_at };
        assert_eq!(decide(Some(&seen), Sighting::Bad, raised_at), Ok(Change::Clear(Cleared::Acknowledged)));
    }

    #[test]
    fn words_go_round() {
        for kind in Kind::ALL {
            assert_eq!(Kind::from_word(kind.word()), Some(kind));
        }
        for why in [Cleared::ConditionOver, Cleared::SpokenFor(Kind::ReadingOverdue), Cleared::DueAgain] {
            assert_eq!(Cleared::from_word(why.word()), Some(why));
        }
        for state in [State::Raised, State::Acknowledged, State::Cleared] {
            assert_eq!(State::from_word(state.word()), Some(state));
        }
    }
}
