//! How good forecasts are on simulated rooms: the table of the project's statistical notes.
//!
//! Asked weekly (Brier) or every four weeks (coverage, CRPS) with only what was read before; a window with an event or
//! an unlogged step in it is not scored. Coverage: mean ± 1.645 sd holds the true state. CRPS of a normal forecast:
//! `s[z(2Φ(z) − 1) + 2φ(z) − 1/√π]` (Gneiting and Raftery 2007), as a ratio to the oracle's on the same windows,
//! averaged over the channels. Brier: mean squared error of the probability of being out of tolerance (0.005 in u′v′,
//! 1.2 in level) 14 days ahead. Out on one station: display against lamp.

use super::SimAct;
use super::followers::{Follower, Guess, Method};
use super::room::{Conditions, ROOM_DAYS, Room, room};

/// Days ahead.
pub const HORIZONS: [f64; 3] = [30.0, 60.0, 90.0];
/// z of a 90 % interval.
const Z90: f64 = 1.644_853_626_951_472_7;
/// Tolerance of every room.
const LIMIT_UV: f64 = 0.005;
const LIMIT_LN: f64 = 0.182_321_556_793_954_6;
/// Readings of a device before it is asked at all, and up to which it counts as young.
const YOUNG: std::ops::RangeInclusive<usize> = 4..=7;

/// Sums over the windows of one method.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Score {
    /// Hits and windows by horizon and channel.
    pub hits: [[(u64, u64); 3]; 3],
    /// Hits and windows with 1 to 3 readings, all horizons and channels.
    pub first: (u64, u64),
    /// Sum of CRPS by channel: all, and young devices.
    pub crps: [[f64; 3]; 2],
    /// Sum of squared errors of probabilities, and how many.
    pub brier: (f64, u64),
    /// Weeks in which the probability of being out within 14 days passed 0.2 anew while in tolerance, without a breach
    /// in 28 days.
    pub false_alerts: u64,
    /// Breaches (in tolerance for 14 days, then out for 3 or more) without a step in the 28 days before, and how many
    /// were warned.
    pub breaches: (u64, u64),
    /// Days from an unlogged step (5 % of level or 0.003 in u′v′ at least) to its report, where one came within 60 days
    /// and no logged event before it.
    pub step_delays: Vec<f64>,
    /// How many such steps there were, and reports without any step in the 60 days before.
    pub steps: (u64, u64),
    /// Station years.
    pub years: f64,
}

/// Closed-form CRPS of a normal forecast; a forecast without spread gives the absolute error.
pub fn crps(mean: f64, sd: f64, truth: f64) -> f64 {
    if sd <= 0.0 {
        return (truth - mean).abs();
    }
    let z = (truth - mean) / sd;
    sd * (z * (2.0 * phi_upto(z) - 1.0) + 2.0 * phi(z) - 1.0 / libm::sqrt(std::f64::consts::PI))
}

/// Hits over windows.
fn share<'a>(counts: impl Iterator<Item = &'a (u64, u64)>) -> f64 {
    let (hits, windows) = counts.fold((0, 0), |a, b| (a.0 + b.0, a.1 + b.1));
    hits as f64 / windows.max(1) as f64
}

/// Density of the standard normal.
fn phi(z: f64) -> f64 {
    libm::exp(-0.5 * z * z) / libm::sqrt(std::f64::consts::TAU)
}

/// Distribution of the standard normal.
fn phi_upto(z: f64) -> f64 {
    0.5 * libm::erfc(-z / std::f64::consts::SQRT_2)
}

impl Score {
    /// Scores `method` on the rooms of `seeds` under `conditions`.
    pub fn of(method: Method, seeds: std::ops::Range<u64>, conditions: &Conditions) -> Self {
        let mut score = Self::default();
        for seed in seeds {
            score.add(method, &room(seed, conditions));
        }
        score
    }

    /// Coverage over all channels at one of [`HORIZONS`], by place; 0 where there is none.
    pub fn coverage(&self, horizon: usize) -> f64 {
        share(self.hits.get(horizon).into_iter().flatten())
    }

    /// Coverage of one channel over all horizons; 0 where there is none.
    pub fn coverage_of(&self, channel: usize) -> f64 {
        share(self.hits.iter().filter_map(|hits| hits.get(channel)))
    }

    /// CRPS as a multiple of another's: all, and young devices.
    pub fn crps_ratio(&self, other: &Self) -> [f64; 2] {
        [0, 1].map(|age: usize| (0..3).map(|c| self.crps[age][c] / other.crps[age][c]).sum::<f64>() / 3.0)
    }

    /// Mean squared error of the probabilities.
    pub fn brier_mean(&self) -> f64 {
        self.brier.0 / self.brier.1.max(1) as f64
    }

    fn add(&mut self, method: Method, room: &Room) {
        let devices = [&room.display, &room.lamp];
        let mut followers = devices.map(|device| Follower::new(method, device));
        let mut next = [0usize; 2];
        let mut read = [0usize; 2];
        let mut reported = [Vec::new(), Vec::new()];
        let mut alert_until = f64::NEG_INFINITY;
        let (mut warned, mut alerts) = (Vec::new(), Vec::new());
        for week in 0..ROOM_DAYS / 7 {
            let day = week as f64 * 7.0;
            for d in 0..2 {
                while let Some(entry) = devices[d].log.get(next[d]) {
                    if entry.time().since(devices[d].recipe.start).0 > day {
                        break;
                    }
                    if followers[d].see(devices[d], entry) {
                        reported[d].push(entry.time().since(devices[d].recipe.start).0);
                    }
                    read[d] += usize::from(matches!(entry, super::Logged::Reading(..)));
                    next[d] += 1;
                }
                if week % 4 == 0 && read[d] > 0 {
                    self.windows(devices[d], &followers[d], day, read[d]);
                }
            }
            if read[0] < *YOUNG.start() || read[1] < *YOUNG.start() {
                continue;
            }
            let days = [day, day + 7.0, day + 14.0];
            let (Some(display), Some(lamp)) =
                (followers[0].guess(devices[0], &days), followers[1].guess(devices[1], &days))
            else {
                continue;
            };
            let risks = [0, 1, 2].map(|k: usize| risk(&display, &lamp, k));
            if day + 14.0 <= ROOM_DAYS as f64 && devices.iter().all(|device| whole(device, day, day + 14.0)) {
                let out = f64::from(u8::from(is_out(room, day + 14.0)));
                self.brier.0 += (risks[2] - out) * (risks[2] - out);
                self.brier.1 += 1;
            }
            let within = risks.iter().fold(0.0f64, |a, b| a.max(*b));
            if within > 0.2 && day >= alert_until && !is_out(room, day) {
                alert_until = day + 28.0;
                alerts.push(day);
            }
            if within > 0.2 {
                warned.push(day);
            }
        }
        self.judge_alerts(room, &alerts, &warned);
        (0..2).for_each(|d| self.judge_steps(devices[d], &reported[d]));
        self.years += ROOM_DAYS as f64 / 365.25;
    }

    fn windows(&mut self, device: &super::SimDevice, follower: &Follower, day: f64, read: usize) {
        let days = HORIZONS.map(|h| day + h);
        let Some(shown) = follower.shown(device, &days) else { return };
        for (h, (at, guess)) in days.iter().zip(&shown).enumerate() {
            if *at > ROOM_DAYS as f64 || !whole(device, day, *at) {
                continue;
            }
            let truth = device.truth_at(*at);
            for c in 0..3 {
                let (mean, sd) = guess[c];
                let hit = u64::from((truth[c] - mean).abs() <= Z90 * sd);
                if read < *YOUNG.start() {
                    self.first.0 += hit;
                    self.first.1 += 1;
                    continue;
                }
                self.hits[h][c].0 += hit;
                self.hits[h][c].1 += 1;
                let error = crps(mean, sd, truth[c]);
                self.crps[0][c] += error;
                if YOUNG.contains(&read) {
                    self.crps[1][c] += error;
                }
            }
        }
    }

    fn judge_steps(&mut self, device: &super::SimDevice, reported: &[f64]) {
        let mut steps = Vec::new();
        for (place, (day, act)) in device.recipe.acts.iter().enumerate() {
            let SimAct::Step([u, v, ln]) = act else { continue };
            steps.push(*day);
            let next = device.recipe.acts.get(place + 1).map_or(ROOM_DAYS as f64, |(next, _)| *next);
            let overtaken = next < day + 60.0;
            if overtaken || (libm::hypot(*u, *v) < 0.003 && ln.abs() < 0.05) {
                continue;
            }
            self.steps.0 += 1;
            let report = reported.iter().find(|at| *at >= day && **at < day + 60.0);
            self.step_delays.extend(report.map(|at| at - day));
        }
        let groundless = |at: &&f64| !steps.iter().any(|day| day <= at && **at < day + 60.0);
        self.steps.1 += reported.iter().filter(groundless).count() as u64;
    }

    /// Share of unlogged steps that were reported, and the median days until then.
    pub fn steps_found(&self) -> (f64, f64) {
        let mut delays = self.step_delays.clone();
        delays.sort_by(f64::total_cmp);
        let median = delays.get(delays.len() / 2).copied().unwrap_or(f64::INFINITY);
        (delays.len() as f64 / self.steps.0.max(1) as f64, median)
    }

    fn judge_alerts(&mut self, room: &Room, alerts: &[f64], warned: &[f64]) {
        let devices = [&room.display, &room.lamp];
        for alert in alerts {
            let breach = (0..=28).any(|d| is_out(room, alert + f64::from(d)));
            let event = !devices.iter().all(|device| whole(device, *alert, alert + 28.0));
            self.false_alerts += u64::from(!breach && !event);
        }
        let mut good = 0u32;
        for day in 0..ROOM_DAYS.saturating_sub(3) {
            let day = day as f64;
            if !is_out(room, day) {
                good += 1;
                continue;
            }
            let lasts = (1..3).all(|d| is_out(room, day + f64::from(d)));
            if good >= 14 && lasts && devices.iter().all(|device| whole(device, day - 28.0, day)) && day > 60.0 {
                self.breaches.1 += 1;
                self.breaches.0 += u64::from(warned.iter().any(|w| *w < day && *w >= day - 28.0));
            }
            good = 0;
        }
    }
}

/// No step or event of the device between the two days.
fn whole(device: &super::SimDevice, from: f64, to: f64) -> bool {
    device.breaks().all(|day| day <= from || day > to)
}

fn is_out(room: &Room, day: f64) -> bool {
    let (a, b) = (room.display.truth_at(day), room.lamp.truth_at(day));
    let (u, v) = (a[0] - b[0], a[1] - b[1]);
    u * u + v * v > LIMIT_UV * LIMIT_UV || (a[2] - b[2]).abs() > LIMIT_LN
}

/// Probability of being out, over all pairs of hypotheses, channels taken as independent.
fn risk(display: &[(f64, Vec<Guess>)], lamp: &[(f64, Vec<Guess>)], at: usize) -> f64 {
    let mut out = 0.0;
    for (p, one) in display {
        for (q, other) in lamp {
            let (Some(a), Some(b)) = (one.get(at), other.get(at)) else { continue };
            let apart = [0, 1, 2].map(|c: usize| (a[c].0 - b[c].0, libm::hypot(a[c].1, b[c].1).max(1e-9)));
            out += p * q * (1.0 - in_circle(apart[0], apart[1]) * in_band(apart[2], LIMIT_LN));
        }
    }
    out
}

fn in_band((mean, sd): (f64, f64), limit: f64) -> f64 {
    phi_upto((limit - mean) / sd) - phi_upto((-limit - mean) / sd)
}

/// Probability that two independent normals lie in the circle: Simpson's rule over the angle `a` with `u = limit·sin
/// a`, in which the integrand is smooth up to the rim.
fn in_circle(u: (f64, f64), v: (f64, f64)) -> f64 {
    const PIECES: usize = 48;
    let rim = |x: f64| libm::asin((x / LIMIT_UV).clamp(-1.0, 1.0));
    let (low, high) = (rim(u.0 - 6.0 * u.1), rim(u.0 + 6.0 * u.1));
    let width = (high - low) / PIECES as f64;
    let sum: f64 = (0..=PIECES)
        .map(|k| {
            let angle = low + width * k as f64;
            let (x, half) = (LIMIT_UV * libm::sin(angle), LIMIT_UV * libm::cos(angle));
            let share = if k == 0 || k == PIECES {
                1.0
            } else if k % 2 == 1 {
                4.0
            } else {
                2.0
            };
            share * phi((x - u.0) / u.1) / u.1 * in_band(v, half.max(0.0)) * half
        })
        .sum();
    (sum * width / 3.0).clamp(0.0, 1.0)
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
        let mean: f64 = (-900..=900).map(|k| step * f64::from(k)).map(|y| step * phi(y) * crps(0.0, 1.0, y)).sum();
        assert!((mean - 0.564_189_6).abs() < 5e-8, "{mean}");
    }

    #[test]
    fn the_circle_has_the_published_values() {
        for (d, s, want) in [(0.0, 0.002, 0.956_063), (0.003, 0.001, 0.969_322), (0.005, 0.001, 0.459_902)] {
            assert!((in_circle((d, s), (0.0, s)) - want).abs() < 1e-5, "offset {d}, sd {s}");
        }
        assert!((in_circle((0.003, 0.001), (0.002, 0.0015)) - 0.841_546).abs() < 1e-5);
    }
}
