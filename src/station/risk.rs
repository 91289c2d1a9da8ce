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
    let (on, within) = days(hypotheses, limits).unzip();
    RiskPath { on, within }
}

/// The first day on which the probability of having been out passes `line`: its place in the grid, that probability, and the
/// one on the day before. No day after it is computed.
pub fn first_above(hypotheses: &[(f64, Vec<Difference>)], limits: &Limits, line: f64) -> Option<FirstAbove> {
    let mut before = None;
    for (day, (_, within)) in days(hypotheses, limits).enumerate() {
        if within > line {
            return Some(FirstAbove { day, within, before });
        }
        before = Some(within);
    }
    None
}

/// See [`first_above`].
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub struct FirstAbove {
    pub day: usize,
    pub within: f64,
    pub before: Option<f64>,
}

/// Risk on each day, and of having been out by then.
fn days<'a>(
    hypotheses: &'a [(f64, Vec<Difference>)],
    limits: &'a Limits,
) -> impl Iterator<Item = (f64, f64)> + use<'a> {
    let mut walks: Vec<_> = hypotheses.iter().map(|(p, path)| (*p, Walk::new(limits), path.iter())).collect();
    let count = hypotheses.iter().map(|(_, path)| path.len()).min().unwrap_or(0);
    (0..count).map(move |_| {
        let (mut on, mut within) = (0.0, 0.0);
        for (probability, walk, path) in &mut walks {
            if let Some(today) = path.next() {
                let (out, been_out) = walk.step(today);
                on += *probability * out;
                within += *probability * been_out;
            }
        }
        (f64::clamp(on, 0.0, 1.0), f64::clamp(within, 0.0, 1.0))
    })
}

/// One hypothesis on its way along the grid.
struct Walk<'a> {
    limits: &'a Limits,
    circle: Chain,
    band: Chain,
    before: Option<&'a Difference>,
}

impl<'a> Walk<'a> {
    fn new(limits: &'a Limits) -> Self {
        Self { limits, circle: Chain::new(), band: Chain::new(), before: None }
    }

    /// Risk today, and of having been out by today.
    fn step(&mut self, today: &'a Difference) -> (f64, f64) {
        let in_circle = inside_circle(today.uv, today.uv_cov, self.limits.delta_uv);
        self.circle.step(in_circle, self.before.map_or(1.0, |before| uv_correlation(before, today)));
        let mut in_both = in_circle;
        if let (Some(limit), Some(ratio)) = (self.limits.ln_ratio, today.ln_ratio) {
            let in_band = inside_band(ratio.mean, ratio.var, limit);
            let before = self.before.and_then(|p| p.ln_ratio);
            self.band.step(in_band, before.map_or(1.0, |b| correlation(ratio.carry, b.var, ratio.var)));
            in_both *= in_band;
        }
        self.before = Some(today);
        (1.0 - in_both, (1.0 - self.circle.inside * self.band.inside).max(1.0 - in_both))
    }
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
