//! The probability that a match is out of tolerance, now and at any time up to a day.
//!
//! At one instant the difference of the two whites is a mixture of normal distributions in u′, v′ and ln luminance; each
//! part's share inside the tolerance is an integral over a circle and a band ([`region`](super::region)), and
//! risk = 1 − Σ share. u′v′ and luminance are modelled as independent given the part, so the two integrals multiply.
//!
//! **Out at any time up to a day** is a first-passage probability without a closed form. The approximation: along a grid of
//! days each share inside, p, is turned into a margin z = Φ⁻¹(p) of one standard normal, successive margins are given the
//! correlation ρ that the difference has along its own direction between the two days, and the chain is taken as Markov:
//!
//! ```text
//! P(in all the time) ≈ Φ(z₀) · Π Φ₂(zₖ₋₁, zₖ; ρₖ) / Φ(zₖ₋₁)
//! ```
//!
//! With ρ = 1 (a pure trend) this is Φ(min z), which is exact; with a wandering white it is exact for a one-sided limit on a
//! Markov path seen at the grid's days. A test holds it against simulated paths.

use super::normal::{both_below, phi, quantile};
use super::region::{inside_band, inside_circle};
use crate::site::{LuminanceRule, Station};

/// The match's difference on one day under one hypothesis.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Difference {
    /// Mean of display minus paper in u′ and v′.
    pub uv: (f64, f64),
    /// Covariance of that: u′u′, u′v′, v′v′.
    pub uv_cov: (f64, f64, f64),
    /// Covariance with the previous day of the grid: u′u′, u′v′ (mean of both orders), v′v′. Unused on the first day.
    pub uv_carry: (f64, f64, f64),
    /// Natural log of the luminance ratio, already divided by the ratio the station asks for; absent where not judged.
    pub ln_ratio: Option<LnRatio>,
}

/// Mean and spread of the natural log of the luminance ratio on one day.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub struct LnRatio {
    pub mean: f64,
    pub var: f64,
    /// Covariance with the previous day of the grid.
    pub carry: f64,
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

/// Joins hypotheses (their probability, and the difference along the same grid of days) into one path of risk.
/// The probabilities should sum to 1. An empty grid gives empty paths.
pub fn risk_path(hypotheses: &[(f64, Vec<Difference>)], limits: &Limits) -> RiskPath {
    let days = hypotheses.iter().map(|(_, path)| path.len()).min().unwrap_or(0);
    let mut all = RiskPath { on: vec![0.0; days], within: vec![0.0; days] };
    for (probability, path) in hypotheses {
        let one = path_of_one(path, limits);
        for day in 0..days {
            all.on[day] += probability * one.on[day];
            all.within[day] += probability * one.within[day];
        }
    }
    for risk in all.on.iter_mut().chain(all.within.iter_mut()) {
        *risk = risk.clamp(0.0, 1.0);
    }
    all
}

fn path_of_one(path: &[Difference], limits: &Limits) -> RiskPath {
    let mut on = Vec::with_capacity(path.len());
    let mut within = Vec::with_capacity(path.len());
    let (mut circle, mut band) = (Chain::new(), Chain::new());
    let mut previous: Option<&Difference> = None;
    for today in path {
        let in_circle = inside_circle(today.uv, today.uv_cov, limits.delta_uv);
        circle.step(in_circle, previous.map_or(1.0, |before| uv_correlation(before, today)));
        let mut in_both = in_circle;
        if let (Some(limit), Some(ratio)) = (limits.ln_ratio, today.ln_ratio) {
            let in_band = inside_band(ratio.mean, ratio.var, limit);
            let before = previous.and_then(|p| p.ln_ratio);
            band.step(in_band, before.map_or(1.0, |b| correlation(ratio.carry, b.var, ratio.var)));
            in_both *= in_band;
        }
        on.push(1.0 - in_both);
        within.push((1.0 - circle.inside * band.inside).max(1.0 - in_both));
        previous = Some(today);
    }
    RiskPath { on, within }
}

/// Probability of having been inside on every day so far.
struct Chain {
    inside: f64,
    margin: Option<f64>,
}

impl Chain {
    fn new() -> Self {
        Self { inside: 1.0, margin: None }
    }

    fn step(&mut self, inside_today: f64, correlation: f64) {
        let margin = quantile(inside_today.clamp(1e-15, 1.0 - 1e-15));
        self.inside *= match self.margin {
            None => inside_today,
            Some(before) => {
                let stayed = phi(before);
                if stayed > 0.0 { (both_below(before, margin, correlation) / stayed).clamp(0.0, 1.0) } else { 0.0 }
            }
        };
        self.margin = Some(margin);
    }
}

/// Correlation of the difference between two days along the direction in which it points today (where it points nowhere:
/// along its longer axis).
fn uv_correlation(before: &Difference, today: &Difference) -> f64 {
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
    correlation(along(today.uv_carry), along(before.uv_cov), along(today.uv_cov))
}

fn correlation(covariance: f64, var_a: f64, var_b: f64) -> f64 {
    let scale = (var_a * var_b).sqrt();
    if scale > 0.0 { (covariance / scale).clamp(-1.0, 1.0) } else { 1.0 }
}
