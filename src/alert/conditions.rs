//! What makes an alert's condition bad, in between, or good: the two lines of each kind. Pure.
//!
//! A probability raises at one half or at the station's own line and clears well below it, so that the same doubt does not
//! raise and clear in turn. Where the truth is unknown nothing is cleared and nothing is raised.

use std::time::Duration;

use super::{Kind, Sighting};
use crate::station::{Assessment, OUT_ABOVE, Verdict};
use crate::units::{Days, Probability, Time};

/// A match that was out counts as good again below this risk.
const OUT_CLEARS_BELOW: f64 = 0.35;
/// A match that was at risk counts as good again below this share of its line.
const AT_RISK_CLEARS_BELOW: f64 = 0.7;
/// A device is off its aim above this probability, and on it again below the second.
const OFF_AIM: (f64, f64) = (0.5, 0.35);
/// An inbox that cannot be looked through for so long is told of: a share that is mounted again is back sooner. It is to be known within
/// three minutes, and a look is made at least each minute.
const BLIND_AFTER: Duration = Duration::from_secs(60);
/// A step is news for this long after it began; nobody is woken for an older one.
const STEP_IS_NEWS: Days = Days(45.0);

/// Match out, and match at risk. `cause` is an alert that stands and explains it: on one of the station's devices, or on the
/// instrument that reads them.
pub fn of_match(seen: &Assessment, max_risk: Probability, cause: Option<Kind>) -> [(Kind, Sighting); 2] {
    let max_risk = max_risk.get();
    let spoken = |sighting| match cause {
        Some(kind) if sighting != Sighting::Good => Sighting::SpokenFor(kind),
        _ => sighting,
    };
    let out = match seen.verdict {
        Verdict::Out => Sighting::Bad,
        Verdict::Unknown => Sighting::Between,
        _ if seen.risk < OUT_CLEARS_BELOW => Sighting::Good,
        _ => Sighting::Between,
    };
    let at_risk = match seen.verdict {
        Verdict::AtRisk => Sighting::Bad,
        Verdict::Out => Sighting::SpokenFor(Kind::MatchOut),
        Verdict::Unknown => Sighting::Between,
        Verdict::Matched if seen.risk_within < AT_RISK_CLEARS_BELOW * max_risk => Sighting::Good,
        Verdict::Matched => Sighting::Between,
    };
    [(Kind::MatchOut, spoken(out)), (Kind::MatchAtRisk, spoken(at_risk))]
}

/// Reading overdue: nothing for longer than the strictest station allows. A device that was never read is given the same
/// time from the day the ledger began.
pub fn of_age(last: Option<Time>, begun: Time, limit: Days, now: Time) -> Sighting {
    if now.since(last.unwrap_or(begun)) > limit { Sighting::Bad } else { Sighting::Good }
}

/// Blind: the inbox could not be looked through for at least [`BLIND_AFTER`].
pub fn of_blindness(blind_for: Option<Duration>) -> Sighting {
    match blind_for {
        None => Sighting::Good,
        Some(span) if span >= BLIND_AFTER => Sighting::Bad,
        Some(_) => Sighting::Between,
    }
}

/// Step change: a jump that nobody has logged. Good again once something was done to the device after it.
pub fn of_step(began: Option<Time>, acted_since: bool, now: Time) -> Sighting {
    match began {
        Some(began) if !acted_since && now.since(began) <= STEP_IS_NEWS => Sighting::Bad,
        _ => Sighting::Good,
    }
}

/// Device off its aim, from the probability that it is; where its reading is too old nothing is said.
pub fn of_aim(probability: f64, too_old: bool) -> Sighting {
    if too_old {
        Sighting::Between
    } else if probability > OFF_AIM.0 {
        Sighting::Bad
    } else if probability < OFF_AIM.1 {
        Sighting::Good
    } else {
        Sighting::Between
    }
}

// The verdict's line and the alert's are one.
const _: () = assert!(OUT_CLEARS_BELOW < OUT_ABOVE);

#[cfg(test)]
mod tests {
    use super::*;

    fn day(days: f64) -> Time {
        Time::parse("2026-01-01T00:00:00Z").unwrap().plus(Days(days))
    }

    #[test]
    fn ages_and_steps_have_their_lines() {
        assert_eq!(of_age(Some(day(0.0)), day(-9.0), Days(45.0), day(45.0)), Sighting::Good);
        assert_eq!(of_age(Some(day(0.0)), day(-9.0), Days(45.0), day(45.1)), Sighting::Bad);
        assert_eq!(of_age(None, day(0.0), Days(45.0), day(3.0)), Sighting::Good, "it has only begun");
        assert_eq!(of_age(None, day(0.0), Days(45.0), day(46.0)), Sighting::Bad);
        assert_eq!(of_step(None, false, day(1.0)), Sighting::Good);
        assert_eq!(of_step(Some(day(0.0)), false, day(9.0)), Sighting::Bad);
        assert_eq!(of_step(Some(day(0.0)), true, day(9.0)), Sighting::Good);
        assert_eq!(of_step(Some(day(0.0)), false, day(400.0)), Sighting::Good, "two years of old readings wake nobody");
    }

    #[test]
    fn blind_for_a_minute_is_blind() {
        assert_eq!(of_blindness(None), Sighting::Good);
        assert_eq!(of_blindness(Some(Duration::from_secs(59))), Sighting::Between);
        assert_eq!(of_blindness(Some(Duration::from_secs(60))), Sighting::Bad);
    }

    #[test]
    fn between_the_lines_nothing_changes() {
        assert_eq!(of_aim(0.51, false), Sighting::Bad);
        assert_eq!(of_aim(0.4, false), Sighting::Between);
        assert_eq!(of_aim(0.3, false), Sighting::Good);
        assert_eq!(of_aim(0.9, true), Sighting::Between, "what is too old proves nothing");
    }
}
