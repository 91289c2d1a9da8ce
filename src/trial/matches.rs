//! What was said of a match each week, against the weeks that followed. Pure.
//!
//! A *breach* is a week whose verdict is out after at least two that were not. It came *by drift* unless a device was
//! touched or jumped in the two weeks before, which nobody can foretell. It was *warned* of if the match was called at
//! risk within the four weeks before it, and the *lead* is from the first such week. A *warning* stands for four weeks
//! from its first: with a breach in them it was right; if a device was touched or jumped first it cannot be judged;
//! else it was false.

use crate::units::{Days, Time};

/// What was said at one instant.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Week {
    /// When.
    pub at: Time,
    /// Whether anything could be said.
    pub known: bool,
    /// Out of tolerance.
    pub out: bool,
    /// At risk, though not out.
    pub warned: bool,
}

impl Week {
    /// In tolerance, as far as was known.
    fn held(&self) -> bool {
        self.known && !self.out
    }
}

/// How the warnings did.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct MatchTrial {
    /// Weeks in which the station could be judged.
    pub weeks: usize,
    /// Weeks in which it was unknown.
    pub weeks_unknown: usize,
    /// Weeks that were out.
    pub weeks_out: usize,
    /// Days from the first warning to each breach by drift; `None` for one that came without.
    pub drifted: Vec<(Time, Option<Days>)>,
    /// Breaches after a jump or after something was done.
    pub jumped: Vec<Time>,
    /// Warnings that a breach followed.
    pub right: usize,
    /// Warnings that nothing followed.
    pub wrong: usize,
    /// Warnings overtaken by something that was done, or whose four weeks are not over.
    pub open: usize,
}

/// How long a warning stands, and how far back one is looked for.
const STANDS: Days = Days(28.0);
/// Something done or a jump so long before a breach is taken for its cause.
const CAUSE: Days = Days(14.0);

/// Weighs what was said; `breaks` are the instants, in order, at which a device was touched or jumped.
pub fn outcomes(weeks: &[Week], breaks: &[Time]) -> MatchTrial {
    let mut trial = MatchTrial {
        weeks: weeks.iter().filter(|week| week.known).count(),
        weeks_unknown: weeks.iter().filter(|week| !week.known).count(),
        weeks_out: weeks.iter().filter(|week| week.out).count(),
        ..MatchTrial::default()
    };
    let broken = |from: Time, to: Time| breaks.iter().any(|at| *at > from && *at <= to);
    let breaches = breaches(weeks);
    for breach in &breaches {
        if broken(breach.plus(Days(-CAUSE.0)), *breach) {
            trial.jumped.push(*breach);
            continue;
        }
        let earliest = breach.plus(Days(-STANDS.0));
        let warning = weeks.iter().find(|week| week.warned && week.at >= earliest && week.at < *breach);
        trial.drifted.push((*breach, warning.map(|week| breach.since(week.at))));
    }
    let mut standing_until: Option<Time> = None;
    for week in weeks.iter().filter(|week| week.warned) {
        if standing_until.is_some_and(|until| week.at < until) {
            continue;
        }
        let until = week.at.plus(STANDS);
        standing_until = Some(until);
        let breach = breaches.iter().find(|breach| **breach > week.at && **breach <= until);
        let over = weeks.last().is_some_and(|last| last.at >= until);
        match breach {
            Some(breach) if !broken(week.at, *breach) => trial.right += 1,
            None if over && !broken(week.at, until) => trial.wrong += 1,
            _ => trial.open += 1,
        }
    }
    trial
}

/// The first weeks out after at least two that were not.
fn breaches(weeks: &[Week]) -> Vec<Time> {
    weeks
        .windows(3)
        .filter_map(|three| match three {
            [before, last, week] if before.held() && last.held() && week.out => Some(week.at),
            _ => None,
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// One letter a week: `m`atched, at `r`isk, `o`ut, `u`nknown.
    fn weeks(said: &str) -> Vec<Week> {
        let start = Time::from_micros(0);
        said.chars()
            .enumerate()
            .map(|(k, c)| Week {
                at: start.plus(Days(7.0 * k as f64)),
                known: c != 'u',
                out: c == 'o',
                warned: c == 'r',
            })
            .collect()
    }

    fn day(day: f64) -> Time {
        Time::from_micros(0).plus(Days(day))
    }

    #[test]
    fn a_breach_by_drift_was_warned_of_or_not() {
        let trial = outcomes(&weeks("mmmrroommmmmoo"), &[]);
        assert_eq!(trial.drifted, [(day(35.0), Some(Days(14.0))), (day(84.0), None)]);
        assert_eq!((trial.right, trial.wrong, trial.open, trial.weeks, trial.weeks_out), (1, 0, 0, 14, 4));
        // The lead is no longer than a warning stands.
        let long = outcomes(&weeks("rrrrrrrro"), &[]);
        assert_eq!(long.drifted, [(day(56.0), Some(Days(28.0)))]);
        assert_eq!((long.right, long.wrong), (1, 1), "the first four weeks ended without a breach");
    }

    #[test]
    fn what_was_done_is_no_drift() {
        let trial = outcomes(&weeks("mmmmoommm"), &[day(25.0)]);
        assert_eq!((trial.drifted.len(), trial.jumped.clone()), (0, vec![day(28.0)]));
        let recalibrated = outcomes(&weeks("mmrrmmmmm"), &[day(22.0)]);
        assert_eq!((recalibrated.right, recalibrated.wrong, recalibrated.open), (0, 0, 1));
    }

    #[test]
    fn a_warning_that_nothing_follows_is_wrong_once_it_is_over() {
        assert_eq!(outcomes(&weeks("mmrmmmmmm"), &[]).wrong, 1);
        let fresh = outcomes(&weeks("mmmmmmrm"), &[]);
        assert_eq!((fresh.wrong, fresh.open), (0, 1));
        assert_eq!(outcomes(&[], &[]), MatchTrial::default());
    }

    #[test]
    fn one_week_back_in_is_no_new_breach() {
        assert_eq!(outcomes(&weeks("mmomomo"), &[]).drifted.len(), 1);
        let unknown = outcomes(&weeks("mmuuoo"), &[]);
        assert_eq!(
            (unknown.weeks, unknown.weeks_unknown, unknown.drifted.len()),
            (4, 2, 0),
            "nobody knows when it went out"
        );
    }
}
