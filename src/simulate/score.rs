//! How good forecasts are on simulated rooms: the table of the project's statistical notes.
//!
//! Asked weekly (Brier, alerts) or every four weeks (coverage, CRPS) with only what was read before, from the fourth reading of a
//! device on; a window with an event or an unlogged step in it is not scored. Coverage: mean ± 1.645 sd holds the true state. CRPS
//! of a normal forecast: `s[z(2Φ(z) − 1) + 2φ(z) − 1/√π]` (Gneiting and Raftery 2007), as a ratio to the oracle's on the same
//! windows, averaged over the channels. Brier: mean squared error of the probability of being out of tolerance 14 days ahead.
//!
//! An alert is P(out at any time within 14 days) > 0.2 while truly in tolerance. It lives 28 days: a breach in that time makes it
//! a warning, an event or step first leaves it unjudged, else it was false. A breach by drift lasts at least 3 days after at least
//! 14 in tolerance, with no event or step in those 14 days nor on its own.

use std::ops::Range;

use super::device::{Logged, SimAct, SimDevice};
use super::followers::{Follower, Method};
use super::many::for_each_seed;
use super::room::{Conditions, ROOM_DAYS, Room, room};
use super::simple::median;
use super::tolerance::{is_out, risk_along};
use crate::drift::Forecast;

/// Days ahead.
pub const HORIZONS: [f64; 3] = [30.0, 60.0, 90.0];
/// z of a 90 % interval.
const Z90: f64 = 1.644_853_626_951_472_7;
/// Readings of a device before it is asked at all, and up to which it counts as young.
const YOUNG: std::ops::RangeInclusive<usize> = 4..=7;
/// What makes an alert, how far it looks and how long it lives, days.
const ALERT_ABOVE: f64 = 0.2;
const ALERT_LOOKS: usize = 14;
const ALERT_LIVES: f64 = 28.0;
/// Days within which a step is to be reported.
const STEP_DAYS: f64 = 60.0;
/// A step is worth a report from here on, in u′v′ or in ln level.
const STEP_SIZE: (f64, f64) = (0.003, 0.05);

/// So many of so many.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Tally {
    /// That did.
    pub hits: u64,
    /// In all.
    pub of: u64,
}

impl Tally {
    /// The share; 0 of none.
    pub fn share(self) -> f64 {
        self.hits as f64 / self.of.max(1) as f64
    }

    fn count(&mut self, hit: bool) {
        self.hits += u64::from(hit);
        self.of += 1;
    }

    fn plus(self, other: Self) -> Self {
        Self { hits: self.hits + other.hits, of: self.of + other.of }
    }
}

/// Sums over the windows of one method.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Score {
    /// Coverage by device (display, lamp), horizon and channel.
    pub covered: [[[Tally; 3]; 3]; 2],
    /// Coverage with 1 to 3 readings.
    pub first: Tally,
    /// Sum of CRPS by channel: all, and young devices.
    pub crps: [[f64; 3]; 2],
    /// Sum of squared errors of the probability of being out, and how many.
    pub brier: (f64, u64),
    /// Asked weeks in which the match was out 14 days later.
    pub out: Tally,
    /// Alerts: warnings, false ones, and those that an event left unjudged.
    pub alerts: [u64; 3],
    /// Of the false ones, those that would not have been but for an odd reading that waited for the next.
    pub false_by_doubt: u64,
    /// Breaches by drift that were warned before they began.
    pub warned: Tally,
    /// Days from the first alert that lived at such a breach to the breach.
    pub leads: Vec<f64>,
    /// Unlogged steps of a size that matters, not overtaken by an event, that were reported within 60 days.
    pub steps: Tally,
    /// Days from such a step to its report.
    pub delays: Vec<f64>,
    /// Reports without any step in the 60 days before.
    pub groundless: u64,
    /// Station years.
    pub years: f64,
}

/// Closed-form CRPS of a normal forecast; a forecast without spread gives the absolute error.
pub fn crps(mean: f64, sd: f64, truth: f64) -> f64 {
    if sd <= 0.0 {
        return (truth - mean).abs();
    }
    let z = (truth - mean) / sd;
    let density = libm::exp(-0.5 * z * z) / libm::sqrt(std::f64::consts::TAU);
    let below = 0.5 * libm::erfc(-z / std::f64::consts::SQRT_2);
    sd * (z * (2.0 * below - 1.0) + 2.0 * density - 1.0 / libm::sqrt(std::f64::consts::PI))
}

impl Score {
    /// Scores `method` on the rooms of `seeds` under `conditions`.
    pub fn of(method: Method, seeds: Range<u64>, conditions: &Conditions) -> Self {
        Self::of_each(&[method], seeds, conditions).pop().unwrap_or_default()
    }

    /// Scores each of `methods` on the same rooms.
    pub fn of_each(methods: &[Method], seeds: Range<u64>, conditions: &Conditions) -> Vec<Self> {
        let one = |seed| {
            let room = room(seed, conditions);
            methods.iter().map(|method| Self::of_room(*method, &room)).collect::<Vec<_>>()
        };
        let mut scores = vec![Self::default(); methods.len()];
        for room in for_each_seed(seeds, one) {
            scores.iter_mut().zip(room).for_each(|(score, one)| score.join(one));
        }
        scores
    }

    /// Coverage over both devices and all channels at one of [`HORIZONS`], by place.
    pub fn coverage(&self, horizon: usize) -> f64 {
        self.cells().filter(|cell| cell.0.1 == horizon).fold(Tally::default(), |a, (_, b)| a.plus(b)).share()
    }

    /// Coverage of one channel over both devices and all horizons.
    pub fn coverage_of(&self, channel: usize) -> f64 {
        self.cells().filter(|cell| cell.0.2 == channel).fold(Tally::default(), |a, (_, b)| a.plus(b)).share()
    }

    /// Coverage of each device, horizon and channel.
    pub fn cells(&self) -> impl Iterator<Item = ((usize, usize, usize), Tally)> {
        let place = |k: usize| (k / 9, k / 3 % 3, k % 3);
        (0..18).map(move |k| (place(k), self.covered[place(k).0][place(k).1][place(k).2]))
    }

    /// CRPS as a multiple of another's: all, and young devices.
    pub fn crps_ratio(&self, other: &Self) -> [f64; 2] {
        [0, 1].map(|age: usize| (0..3).map(|c| self.crps[age][c] / other.crps[age][c]).sum::<f64>() / 3.0)
    }

    /// Mean squared error of the probabilities.
    pub fn brier_mean(&self) -> f64 {
        self.brier.0 / self.brier.1.max(1) as f64
    }

    /// False alerts a station-year.
    pub fn false_alerts(&self) -> f64 {
        self.alerts[1] as f64 / self.years
    }

    /// Median days by which breaches were warned.
    pub fn lead(&self) -> f64 {
        median(self.leads.clone())
    }

    /// Median days until a step was reported.
    pub fn delay(&self) -> f64 {
        median(self.delays.clone())
    }

    fn join(&mut self, other: Self) {
        for (mine, theirs) in self.covered.iter_mut().flatten().flatten().zip(other.covered.iter().flatten().flatten())
        {
            *mine = mine.plus(*theirs);
        }
        for (mine, theirs) in self.crps.iter_mut().flatten().zip(other.crps.iter().flatten()) {
            *mine += theirs;
        }
        self.first = self.first.plus(other.first);
        self.brier = (self.brier.0 + other.brier.0, self.brier.1 + other.brier.1);
        self.out = self.out.plus(other.out);
        self.alerts.iter_mut().zip(other.alerts).for_each(|(mine, theirs)| *mine += theirs);
        self.false_by_doubt += other.false_by_doubt;
        self.warned = self.warned.plus(other.warned);
        self.leads.extend(other.leads);
        self.steps = self.steps.plus(other.steps);
        self.delays.extend(other.delays);
        self.groundless += other.groundless;
        self.years += other.years;
    }

    fn of_room(method: Method, room: &Room) -> Self {
        let mut score = Self { years: ROOM_DAYS as f64 / 365.25, ..Self::default() };
        let devices = [&room.display, &room.lamp];
        let mut followers = devices.map(|device| Follower::new(method, device));
        let (mut next, mut read) = ([0usize; 2], [0usize; 2]);
        let mut reported = [Vec::new(), Vec::new()];
        let (mut alerts, mut doubts) = (Vec::new(), Vec::new());
        for week in 0..ROOM_DAYS / 7 {
            let day = week as f64 * 7.0;
            for d in 0..2 {
                let device = devices[d];
                while let Some(entry) = device.log.get(next[d]).filter(|entry| device.day_of(entry.time()) <= day) {
                    if followers[d].see(device, entry) {
                        reported[d].push(device.day_of(entry.time()));
                    }
                    read[d] += usize::from(matches!(entry, Logged::Reading(..)));
                    next[d] += 1;
                }
                if week % 4 == 0 && read[d] > 0 {
                    score.windows(d, device, &followers[d], day, read[d]);
                }
            }
            if read.iter().any(|read| read < YOUNG.start()) {
                continue;
            }
            let days: Vec<f64> = (0..=ALERT_LOOKS).map(|ahead| day + ahead as f64).collect();
            let [display, lamp] = [0, 1].map(|d: usize| followers[d].forecast(devices[d], &days));
            if let Some((display, lamp)) = display.zip(lamp) {
                let within = score.ask_risk(room, day, &display, &lamp);
                let lives = alerts.last().is_some_and(|alert: &f64| day < alert + ALERT_LIVES);
                if within > ALERT_ABOVE && !lives && !out(room, day) {
                    let [display, lamp] = [display, lamp].map(|seen| Forecast { possible: Vec::new(), ..seen });
                    let likely = risk_along(&display, &lamp).within.last().copied().unwrap_or(1.0);
                    alerts.push(day);
                    doubts.push(likely <= ALERT_ABOVE);
                }
            }
        }
        score.judge_alerts(room, &alerts, &doubts);
        score.judge_breaches(room, &alerts);
        (0..2).for_each(|d| score.judge_steps(devices[d], &reported[d]));
        score
    }

    /// The risk of being out at any time within 14 days; the one on the last of them is scored.
    fn ask_risk(&mut self, room: &Room, day: f64, display: &Forecast, lamp: &Forecast) -> f64 {
        let risk = risk_along(display, lamp);
        let last = day + ALERT_LOOKS as f64;
        if last <= ROOM_DAYS as f64 && whole(room, day, last) {
            let is_out = out(room, last);
            let error = risk.on.last().copied().unwrap_or(1.0) - f64::from(u8::from(is_out));
            self.brier.0 += error * error;
            self.brier.1 += 1;
            self.out.count(is_out);
        }
        risk.within.last().copied().unwrap_or(1.0)
    }

    fn windows(&mut self, which: usize, device: &SimDevice, follower: &Follower, day: f64, read: usize) {
        let days = HORIZONS.map(|h| day + h);
        let Some(shown) = follower.forecast(device, &days).map(|forecast| forecast.likely) else { return };
        for (h, at) in days.iter().enumerate() {
            if *at > ROOM_DAYS as f64 || !untouched(device, day, *at) {
                continue;
            }
            let truth = device.truth_at(*at);
            for (c, truth) in truth.into_iter().enumerate() {
                let Some(channel) = &shown.channels[c] else { continue };
                let (mean, sd) = (channel.mean[h], channel.sd[h]);
                let hit = (truth - mean).abs() <= Z90 * sd;
                if read < *YOUNG.start() {
                    self.first.count(hit);
                    continue;
                }
                self.covered[which][h][c].count(hit);
                let error = crps(mean, sd, truth);
                self.crps[0][c] += error;
                if YOUNG.contains(&read) {
                    self.crps[1][c] += error;
                }
            }
        }
    }

    fn judge_alerts(&mut self, room: &Room, alerts: &[f64], doubts: &[bool]) {
        for (alert, doubt) in alerts.iter().zip(doubts) {
            let mut days = (1..=ALERT_LIVES as usize).map(|ahead| alert + ahead as f64);
            let end = days.find(|day| out(room, *day) || !whole(room, *day - 1.0, *day));
            let kind = match end {
                // A breach by an event or a step is neither a warning nor a false alert.
                Some(day) if !whole(room, day - 1.0, day) => 2,
                Some(_) => 0,
                None if alert + ALERT_LIVES > ROOM_DAYS as f64 => 2,
                None => 1,
            };
            self.alerts[kind] += 1;
            self.false_by_doubt += u64::from(kind == 1 && *doubt);
        }
    }

    fn judge_breaches(&mut self, room: &Room, alerts: &[f64]) {
        let mut good = 0u32;
        for day in 0..ROOM_DAYS - 3 {
            let day = day as f64;
            if !out(room, day) {
                good += 1;
                continue;
            }
            let lasts = (1..3).all(|d| out(room, day + f64::from(d)));
            if good >= 14 && lasts && whole(room, day - 14.0, day) {
                let lead = alerts.iter().map(|alert| day - alert).find(|lead| *lead > 0.0 && *lead <= ALERT_LIVES);
                self.warned.count(lead.is_some());
                self.leads.extend(lead);
            }
            good = 0;
        }
    }

    fn judge_steps(&mut self, device: &SimDevice, reported: &[f64]) {
        let is_step = |act: &SimAct| matches!(act, SimAct::Step(_));
        let in_time = |step: f64, at: f64| step <= at && at < step + STEP_DAYS;
        for (place, (day, act)) in device.done.iter().enumerate() {
            let SimAct::Step([u, v, ln]) = act else { continue };
            let next = device.done.get(place + 1).map_or(ROOM_DAYS as f64, |(next, _)| *next);
            if next < day + STEP_DAYS || (libm::hypot(*u, *v) < STEP_SIZE.0 && ln.abs() < STEP_SIZE.1) {
                continue;
            }
            let report = reported.iter().find(|at| in_time(*day, **at));
            self.steps.count(report.is_some());
            self.delays.extend(report.map(|at| at - day));
        }
        let steps = || device.done.iter().filter(|(_, act)| is_step(act));
        let groundless = |at: &&f64| !steps().any(|(day, _)| in_time(*day, **at));
        self.groundless += reported.iter().filter(groundless).count() as u64;
    }
}

/// No step or event of the device between the two days.
fn untouched(device: &SimDevice, from: f64, to: f64) -> bool {
    device.breaks().all(|day| day <= from || day > to)
}

fn whole(room: &Room, from: f64, to: f64) -> bool {
    untouched(&room.display, from, to) && untouched(&room.lamp, from, to)
}

fn out(room: &Room, day: f64) -> bool {
    is_out(room.display.truth_at(day), room.lamp.truth_at(day))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn crps_has_the_published_values() {
        for (mean, sd, y, want) in [
            (0.0, 1.0, 0.0, 0.233_695_0),
            (0.0, 1.0, 1.0, 0.602_441_4),
            (0.0, 1.0, 2.0, 1.452_791_8),
            (2.0, 3.0, 1.5, 0.734_253_4),
        ] {
            assert!((crps(mean, sd, y) - want).abs() < 1e-7, "CRPS of N({mean},{sd}) at {y}");
        }
        assert_eq!(crps(1.0, 0.0, 3.5), 2.5);
        // Expected of a true forecast: s/√π, here by the trapezoid over y.
        let step = 0.01;
        let mean: f64 = (-900..=900)
            .map(|k| step * f64::from(k))
            .map(|y| step * crate::station::normal::pdf(y) * crps(0.0, 1.0, y))
            .sum();
        assert!((mean - 0.564_189_6).abs() < 5e-8, "{mean}");
    }

    #[test]
    fn a_score_does_not_depend_on_how_rooms_are_shared_out() {
        let usual = Conditions::default();
        let mut apart = Score::of(Method::LastReading, 10..12, &usual);
        apart.join(Score::of(Method::LastReading, 12..13, &usual));
        assert_eq!(Score::of(Method::LastReading, 10..13, &usual), apart);
        assert!(apart.brier.1 > 0 && apart.cells().all(|(_, cell)| cell.of > 0));
    }
}
