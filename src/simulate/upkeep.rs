//! Who keeps a match in tolerance with how many recalibrations: policies, each living the same rooms.
//!
//! Whoever recalibrates first measures the lamp with care and sets the display to what is then known of the lamp, but for a small
//! miss. Counted are the days on which the match is truly in tolerance, and every recalibration.

use std::ops::Range;

use super::device::{Logged, SimDevice};
use super::followers::{Follower, Method};
use super::many::for_each_seed;
use super::room::{Conditions, Keeper, ROOM_DAYS, Today, live};
use super::score::Tally;
use super::tolerance::{is_out, risk_along, share_of_limit};
use crate::drift::DeviceState;
use crate::station::grid;
use crate::units::{Days, Time};

/// When a display is recalibrated, and when things are read.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Policy {
    /// Every so many days; read as is the habit.
    Every(f64),
    /// The staircase of ILAC-G24 and OIML D 10: both are read with care each interval; apart by more than this share of the limit is
    /// a failure, and the display is recalibrated.
    Staircase(f64),
    /// When the product's risk of being out at any time up to `ahead` days passes `above`; read as is the habit.
    Risk {
        /// Threshold.
        above: f64,
        /// Days; 0 for now.
        ahead: f64,
    },
    /// The same, and read when the risk of today passes `read_above`, or after `longest` days; no reading sooner than three days
    /// after another, and no recalibration but after a reading of that day.
    Asking {
        /// Threshold.
        above: f64,
        /// Days.
        ahead: f64,
        /// Threshold for a reading.
        read_above: f64,
        /// Days.
        longest: usize,
    },
}

/// What a policy came to.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Kept {
    /// Days in tolerance.
    pub good: Tally,
    /// Recalibrations.
    pub recalibrations: u64,
    /// Visits with readings, those for a recalibration left out.
    pub visits: u64,
    /// Station years.
    pub years: f64,
}

impl Kept {
    /// Recalibrations a station-year.
    pub fn a_year(&self) -> f64 {
        self.recalibrations as f64 / self.years
    }

    /// Visits a station-year.
    pub fn visits_a_year(&self) -> f64 {
        self.visits as f64 / self.years
    }
}

/// Lives the usual rooms of `seeds` by `policy`.
pub fn keep(policy: Policy, seeds: Range<u64>) -> Kept {
    let mut all = Kept::default();
    for one in for_each_seed(seeds, |seed| keep_one(policy, seed)) {
        all.good = Tally { hits: all.good.hits + one.good.hits, of: all.good.of + one.good.of };
        all.recalibrations += one.recalibrations;
        all.visits += one.visits;
        all.years += one.years;
    }
    all
}

fn keep_one(policy: Policy, seed: u64) -> Kept {
    let mut hands = Hands::new(policy);
    let room = live(seed, &Conditions::default(), &mut hands);
    let mut good = Tally::default();
    for (display, lamp) in room.display.truth.iter().zip(&room.lamp.truth) {
        good.hits += u64::from(!is_out(*display, *lamp));
        good.of += 1;
    }
    Kept { good, recalibrations: hands.recalibrated, visits: hands.visits, years: ROOM_DAYS as f64 / 365.25 }
}

/// The laxest policy of a family that keeps at least `share` of the days on `seeds`, found by halving: `family(x)` is the laxer
/// the larger `x` is, from 0 to 1.
pub fn laxest(family: impl Fn(f64) -> Policy, share: f64, seeds: &Range<u64>) -> Policy {
    let (mut strict, mut lax) = (0.0, 1.0);
    for _ in 0..7 {
        let middle = 0.5 * (strict + lax);
        if keep(family(middle), seeds.clone()).good.share() >= share {
            strict = middle;
        } else {
            lax = middle;
        }
    }
    family(strict)
}

/// The interval of the staircase after an inspection, days: a fifth longer after a pass, at most 365; half after a failure, at
/// least 7.
pub fn next_interval(interval: f64, passed: bool) -> f64 {
    if passed { (interval * 1.2).min(365.0) } else { (interval * 0.5).max(7.0) }
}

/// A policy at work.
struct Hands {
    policy: Policy,
    /// The product's states, once the devices were seen.
    states: [Option<Follower>; 2],
    /// Day on which the next interval ends, and the interval.
    due: (f64, f64),
    last_read: Option<usize>,
    /// Whether the display was read since it was recalibrated.
    known: bool,
    recalibrated: u64,
    visits: u64,
}

impl Hands {
    fn new(policy: Policy) -> Self {
        let interval = match policy {
            Policy::Every(days) => days,
            _ => 90.0,
        };
        Self {
            policy,
            states: [None, None],
            due: (interval, interval),
            last_read: None,
            known: false,
            recalibrated: 0,
            visits: 0,
        }
    }

    fn states(&self) -> Option<[&DeviceState; 2]> {
        match &self.states {
            [Some(Follower::Product(display)), Some(Follower::Product(lamp))] => Some([display, lamp]),
            _ => None,
        }
    }

    /// The product's risk of being out at any time up to `ahead` days; absent before both were read.
    fn risk(&self, today: &Today, ahead: f64) -> Option<f64> {
        let [display, lamp] = self.states()?;
        let now = noon(today);
        let times = grid(now, Days(ahead));
        let [of_display, of_lamp] = today.devices.map(|device| &device.recipe.params);
        let risk = risk_along(&display.forecast(of_display, &times), &lamp.forecast(of_lamp, &times));
        risk.within.last().copied()
    }

    /// Whether the risk is to be asked today: when something was read, else weekly.
    fn asks(&self, today: &Today) -> bool {
        self.known && (today.read || today.day.is_multiple_of(7))
    }
}

fn noon(today: &Today) -> Time {
    today.devices[0].recipe.start.plus(Days(today.day as f64 + 0.5))
}

impl Keeper for Hands {
    fn see(&mut self, which: usize, device: &SimDevice, entry: &Logged) {
        if matches!(self.policy, Policy::Every(_) | Policy::Staircase(_)) {
            return;
        }
        self.known |= which == 0 && matches!(entry, Logged::Reading(..));
        let first = matches!(entry, Logged::Reading(..));
        if let Some(state) = self.states.get_mut(which)
            && (first || state.is_some())
        {
            state.get_or_insert_with(|| Follower::new(Method::Product, device)).see(device, entry);
        }
    }

    fn reads(&mut self, today: &Today) -> bool {
        let reads = match (self.policy, self.last_read) {
            (Policy::Asking { read_above, longest, .. }, Some(last)) => {
                let since = today.day - last;
                since >= longest || (since >= 3 && self.risk(today, 0.0).is_some_and(|risk| risk > read_above))
            }
            (Policy::Asking { .. }, None) => true,
            _ => today.read,
        };
        if reads {
            self.last_read = Some(today.day);
            self.visits += 1;
        }
        reads
    }

    fn recalibrates(&mut self, today: &Today) -> bool {
        let day = today.day as f64;
        let now = match self.policy {
            Policy::Every(_) | Policy::Staircase(_) if day < self.due.0 => false,
            Policy::Every(_) => {
                self.due.0 += self.due.1;
                true
            }
            Policy::Staircase(limit) => {
                // Careful readings of both; their scatter is small beside the limit and left out.
                let [display, lamp] = today.devices.map(|device| device.truth_at(day));
                let passed = share_of_limit(display, lamp) <= limit;
                let interval = next_interval(self.due.1, passed);
                self.due = (day + interval, interval);
                !passed
            }
            Policy::Risk { above, ahead } => {
                self.asks(today) && self.risk(today, ahead).is_some_and(|risk| risk > above)
            }
            Policy::Asking { above, ahead, .. } => {
                self.known && today.read && self.risk(today, ahead).is_some_and(|risk| risk > above)
            }
        };
        if now {
            self.recalibrated += 1;
            self.known = false;
        }
        now
    }

    fn target(&mut self, today: &Today, measured: [f64; 3]) -> [f64; 3] {
        let Some([_, lamp]) = self.states() else { return measured };
        let forecast = lamp.forecast(&today.devices[1].recipe.params, &[noon(today)]);
        let likelier =
            forecast.possible.iter().find(|hypothesis| hypothesis.p > 0.5).map(|hypothesis| &hypothesis.path);
        let path = likelier.unwrap_or(&forecast.likely);
        let believed = |c: usize| path.channels[c].as_ref().and_then(|channel| channel.mean.first()).copied();
        [0, 1, 2].map(|c: usize| believed(c).unwrap_or(measured[c]))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_staircase_goes_its_published_way() {
        let mut interval = 90.0;
        let steps = "PPPFPP".chars().map(|outcome| {
            interval = next_interval(interval, outcome == 'P');
            (interval * 100.0).round() / 100.0
        });
        assert_eq!(steps.collect::<Vec<f64>>(), [108.0, 129.6, 155.52, 77.76, 93.31, 111.97]);
        assert_eq!((next_interval(350.0, true), next_interval(10.0, false)), (365.0, 7.0));
    }

    #[test]
    fn recalibrating_more_often_keeps_the_match_better() {
        let [seldom, often] = [300.0, 40.0].map(|days| keep(Policy::Every(days), 0..6));
        assert!(often.good.share() > seldom.good.share(), "{often:?} {seldom:?}");
        assert!((often.a_year() - 9.0).abs() < 0.2, "{often:?}");
        assert_eq!(often.visits, seldom.visits, "the habit of reading is the room's");
        let risky = keep(Policy::Risk { above: 0.5, ahead: 0.0 }, 0..6);
        assert!(risky.recalibrations > 0 && risky.good.share() > 0.8, "{risky:?}");
    }
}
