//! The probability that a match is out of tolerance, now and at any time up to a day.
//!
//! At one instant the difference of the two whites is a mixture of normal distributions in u′, v′ and ln luminance; each
//! part's share inside the tolerance is an integral over a circle and a band ([`region`](super::region)), and
//! risk = 1 − Σ share. Within one part u′v′ and luminance are independent, as `drift` keeps them in banks of their own, so the
//! two integrals multiply. Where they are correlated, as after a step that may have moved both, that is in the mixture: the
//! part with the step has both means elsewhere, and being out is then not the product of the two overall.
//!
//! Having been out at any time up to a day is a question of whole paths: [`passage`](super::passage).

use super::passage::{Step, stayed};
use super::region::{inside_band, inside_circle};
use crate::site::{LuminanceRule, Station};

/// The match's difference on one day under one hypothesis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Difference {
    /// Mean of display minus paper in u′ and v′.
    pub uv: (f64, f64),
    /// Covariance of that: u′u′, u′v′, v′v′.
    pub uv_cov: (f64, f64, f64),
    /// Of that covariance, what movement from the first day on adds.
    pub uv_fresh: (f64, f64, f64),
    /// The fresh part's covariance with the previous day of the grid; zero on the first.
    pub uv_fresh_carry: (f64, f64, f64),
    /// Natural log of the luminance ratio, already divided by the ratio the station asks for; absent where not judged.
    pub ln_ratio: Option<LnRatio>,
}

/// Mean and spread of the natural log of the luminance ratio on one day.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub struct LnRatio {
    pub mean: f64,
    pub var: f64,
    /// Of the variance, what movement from the first day on adds.
    pub fresh: f64,
    /// The fresh part's covariance with the previous day of the grid; zero on the first.
    pub fresh_carry: f64,
}

/// The limits a difference is held against.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Limits {
    /// Radius in u′v′.
    pub delta_uv: f64,
    /// Natural log of the largest luminance ratio either way, where it is judged.
    pub ln_ratio: Option<f64>,
}

impl Limits {
    /// The limits that a station's tolerance sets, luminance only where the station judges it.
    pub fn of(station: &Station) -> Self {
        let judged = station.luminance != LuminanceRule::NotJudged;
        Self {
            delta_uv: station.tolerance.delta_uv,
            ln_ratio: station.tolerance.luminance_ratio.filter(|_| judged).map(libm::log),
        }
    }

    /// The narrowest of several stations' limits; without a station nothing is too far.
    pub fn strictest(stations: &[&Station]) -> Self {
        let all = stations.iter().map(|station| Self::of(station));
        all.fold(Self { delta_uv: f64::INFINITY, ln_ratio: None }, |a, b| Self {
            delta_uv: a.delta_uv.min(b.delta_uv),
            ln_ratio: match (a.ln_ratio, b.ln_ratio) {
                (Some(a), Some(b)) => Some(a.min(b)),
                (a, b) => a.or(b),
            },
        })
    }
}

/// Risk along a grid of days.
#[derive(Debug, Clone, PartialEq)]
pub struct RiskPath {
    /// Probability of being out on each day.
    pub on: Vec<f64>,
    /// Probability of having been out on any day so far.
    pub within: Vec<f64>,
}

/// Risks that all together stay below this are not worth an integral.
const NEGLIGIBLE: f64 = 1e-6;

/// Joins hypotheses (their probability, and the difference along the same grid of days) into one path of risk.
/// The probabilities should sum to 1. An empty grid gives empty paths.
pub fn risk_path(hypotheses: &[(f64, Vec<Difference>)], limits: &Limits) -> RiskPath {
    risk_until(hypotheses, limits, |_| false, 0.0)
}

/// The same up to the first day whose risk makes `enough`; the paths end there. Where all days together stay below `negligible`,
/// no path is looked at: having been out on any day is no likelier than the sum over the days, and that stands in.
pub fn risk_until(
    hypotheses: &[(f64, Vec<Difference>)],
    limits: &Limits,
    enough: impl Fn(f64) -> bool,
    negligible: f64,
) -> RiskPath {
    let walks = walk_all(hypotheses, limits, enough);
    let on = joined(&walks, |walk| walk.on.clone());
    if on.iter().sum::<f64>() <= negligible {
        let so_far = |sum: &mut f64, risk: &f64| {
            *sum += risk;
            Some(*sum)
        };
        let within = on.iter().scan(0.0, so_far).collect();
        return RiskPath { on, within };
    }
    let mut within = joined(&walks, Walk::within);
    // The probabilities of the hypotheses may be off by a rounding.
    for (within, on) in within.iter_mut().zip(&on) {
        *within = within.max(*on);
    }
    RiskPath { on, within }
}

/// All hypotheses along the grid, up to the first day whose joint risk makes `enough`.
fn walk_all(hypotheses: &[(f64, Vec<Difference>)], limits: &Limits, enough: impl Fn(f64) -> bool) -> Vec<(f64, Walk)> {
    let mut walks: Vec<(f64, Walk)> = hypotheses.iter().map(|(p, _)| (*p, Walk::default())).collect();
    let days = hypotheses.iter().map(|(_, path)| path.len()).min().unwrap_or(0);
    for day in 0..days {
        let mut risk = 0.0;
        for ((p, walk), (_, path)) in walks.iter_mut().zip(hypotheses) {
            if let Some(today) = path.get(day) {
                risk += *p * walk.step(today, limits);
            }
        }
        if enough(risk) {
            break;
        }
    }
    walks
}

/// The mean over hypotheses, for each day, kept within 0 to 1.
fn joined(walks: &[(f64, Walk)], of: impl Fn(&Walk) -> Vec<f64>) -> Vec<f64> {
    let mut all: Vec<f64> = Vec::new();
    for (probability, walk) in walks {
        let one = of(walk);
        all.resize(one.len(), 0.0);
        all.iter_mut().zip(one).for_each(|(sum, risk)| *sum += probability * risk);
    }
    all.iter_mut().for_each(|risk| *risk = risk.clamp(0.0, 1.0));
    all
}

/// One hypothesis on its way along the grid.
#[derive(Default)]
struct Walk {
    on: Vec<f64>,
    circle: Vec<Step>,
    band: Vec<Step>,
}

impl Walk {
    /// Takes one more day and returns the risk on it.
    fn step(&mut self, today: &Difference, limits: &Limits) -> f64 {
        let in_circle = inside_circle(today.uv, today.uv_cov, limits.delta_uv);
        let (total, fresh, carry) = along_difference(today);
        self.circle.push(Step::new(in_circle, total, fresh, carry, self.circle.last()));
        let mut inside = in_circle;
        if let (Some(limit), Some(ratio)) = (limits.ln_ratio, today.ln_ratio) {
            let in_band = inside_band(ratio.mean, ratio.var, limit);
            self.band.push(Step::new(in_band, ratio.var, ratio.fresh, ratio.fresh_carry, self.band.last()));
            inside *= in_band;
        }
        self.on.push(1.0 - inside);
        1.0 - inside
    }

    /// Risk of having been out by each day: at least that of being out, and never falling.
    fn within(&self) -> Vec<f64> {
        let mut most: f64 = 0.0;
        if self.on.iter().sum::<f64>() < NEGLIGIBLE {
            // The sum bounds what is sought.
            return self
                .on
                .iter()
                .map(|on| {
                    most = most.max(*on);
                    most
                })
                .collect();
        }
        let (circle, band) = (stayed(&self.circle), stayed(&self.band));
        (self.on.iter().enumerate())
            .map(|(day, on)| {
                let both = circle.get(day).unwrap_or(&1.0) * band.get(day).unwrap_or(&1.0);
                most = most.max(1.0 - both).max(*on);
                most
            })
            .collect()
    }
}

/// Variance of the difference along its own direction today (where it points nowhere: along its longer axis), the fresh
/// part of it, and that part's covariance with the day before.
fn along_difference(today: &Difference) -> (f64, f64, f64) {
    let (u, v) = today.uv;
    let length = u.hypot(v);
    let (eu, ev) = if length > 0.0 {
        (u / length, v / length)
    } else if today.uv_cov.0 >= today.uv_cov.2 {
        (1.0, 0.0)
    } else {
        (0.0, 1.0)
    };
    let along = |(uu, uv, vv): (f64, f64, f64)| uu * eu * eu + 2.0 * uv * eu * ev + vv * ev * ev;
    (along(today.uv_cov), along(today.uv_fresh), along(today.uv_fresh_carry))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::Chance;

    /// A difference whose u′ has a level, a slope and a wander, each normal; v′ stands still about `v`.
    struct Room {
        level: (f64, f64),
        slope: (f64, f64),
        wander_sd: f64,
        wander_days: f64,
        v: (f64, f64),
    }

    impl Room {
        fn path(&self, days: usize) -> Vec<Difference> {
            let left = |days: f64| (-days / self.wander_days).exp();
            (0..=days)
                .map(|day| {
                    let t = day as f64;
                    let (wander, v) = (self.wander_sd.powi(2), self.v.1.powi(2));
                    let now = self.level.1.powi(2) + (t * self.slope.1).powi(2);
                    let fresh = wander * (1.0 - left(2.0 * t));
                    let carry = if day == 0 { 0.0 } else { wander * (left(1.0) - left(2.0 * t - 1.0)) };
                    Difference {
                        uv: (self.level.0 + t * self.slope.0, self.v.0),
                        uv_cov: (now + wander, 0.0, v),
                        uv_fresh: (fresh, 0.0, 0.0),
                        uv_fresh_carry: (carry, 0.0, 0.0),
                        ln_ratio: None,
                    }
                })
                .collect()
        }

        /// Share of simulated paths that are outside on any day up to the last.
        fn simulated(&self, days: usize, radius: f64, paths: u32) -> f64 {
            let mut chance = Chance::new(20_260_304);
            let keep = (-1.0 / self.wander_days).exp();
            let mut outside = 0;
            for _ in 0..paths {
                let level = self.level.0 + self.level.1 * chance.normal();
                let slope = self.slope.0 + self.slope.1 * chance.normal();
                let v = self.v.0 + self.v.1 * chance.normal();
                let mut wander = self.wander_sd * chance.normal();
                let mut out = false;
                for day in 0..=days {
                    out |= (level + slope * day as f64 + wander).hypot(v) > radius;
                    wander = keep * wander + self.wander_sd * (1.0 - keep * keep).sqrt() * chance.normal();
                }
                outside += u32::from(out);
            }
            f64::from(outside) / f64::from(paths)
        }
    }

    #[test]
    fn out_at_any_time_is_near_what_paths_show() {
        let cases = [
            (
                "trend",
                Room { level: (0.002, 3e-4), slope: (2e-4, 5e-5), wander_sd: 1e-6, wander_days: 30.0, v: (0.0, 3e-4) },
                14,
            ),
            (
                "trend, far",
                Room {
                    level: (0.001, 4e-4),
                    slope: (4e-5, 2e-5),
                    wander_sd: 3e-4,
                    wander_days: 30.0,
                    v: (0.001, 3e-4),
                },
                90,
            ),
            (
                "wander alone",
                Room { level: (0.0035, 3e-4), slope: (0.0, 1e-6), wander_sd: 7e-4, wander_days: 20.0, v: (0.0, 2e-4) },
                14,
            ),
            (
                "wander, long",
                Room { level: (0.003, 2e-4), slope: (0.0, 1e-5), wander_sd: 6e-4, wander_days: 20.0, v: (0.0, 2e-4) },
                60,
            ),
            (
                "centred",
                Room { level: (0.0, 1e-3), slope: (0.0, 2e-5), wander_sd: 1e-3, wander_days: 30.0, v: (0.0, 1e-3) },
                30,
            ),
        ];
        for (name, room, days) in cases {
            let limits = Limits { delta_uv: 0.005, ln_ratio: None };
            let path = risk_path(&[(1.0, room.path(days))], &limits);
            let (ours, seen) = (*path.within.last().unwrap(), room.simulated(days, 0.005, 20_000));
            // 20 000 paths are good to 0.007 at worst (two standard errors).
            assert!((ours - seen).abs() < 0.025, "{name}: {ours:.3}, but {seen:.3} of the paths were out");
            assert!(path.within.windows(2).all(|pair| pair[0] <= pair[1] + 1e-12), "{name}: never falls");
            assert!(path.on.iter().zip(&path.within).all(|(on, within)| on <= within), "{name}");
        }
    }

    #[test]
    fn luminance_counts_beside_colour() {
        let ratio = |mean| Some(LnRatio { mean, var: 0.03f64.powi(2), fresh: 0.0, fresh_carry: 0.0 });
        let at = |mean| Difference {
            uv: (0.001, 0.0),
            uv_cov: (4e-8, 0.0, 4e-8),
            uv_fresh: (0.0, 0.0, 0.0),
            uv_fresh_carry: (0.0, 0.0, 0.0),
            ln_ratio: ratio(mean),
        };
        let limits = Limits { delta_uv: 0.005, ln_ratio: Some(1.2f64.ln()) };
        let within = risk_path(&[(1.0, vec![at(0.0)])], &limits);
        let dark = risk_path(&[(1.0, vec![at(-0.3)])], &limits);
        assert!(within.on[0] < 1e-6 && dark.on[0] > 0.999, "{within:?} {dark:?}");
        let mixed = risk_path(&[(0.7, vec![at(0.0)]), (0.3, vec![at(-0.3)])], &limits);
        assert!((mixed.on[0] - 0.3).abs() < 1e-3);
        let unjudged = risk_path(&[(1.0, vec![at(-0.3)])], &Limits { ln_ratio: None, ..limits });
        assert!(unjudged.on[0] < 1e-6);
        assert!(risk_path(&[], &limits).on.is_empty());
    }
}
