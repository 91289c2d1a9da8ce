//! The probability of having stayed inside a limit on every day so far.
//!
//! Out at any time up to a day is a first-passage probability without a closed form. The approximation works on
//! margins: each share inside, p, becomes z = Φ⁻¹(p), so that the match is inside that day if one standard normal stays
//! below z. That normal is taken as `√(1−f)·Q + √f·ε`, where f is the share of the variance along the difference that *fresh*
//! movement adds from now on, Q what is not known of the present and its trend (the same on all days), and ε the fresh part:
//! a Markov chain with the correlation r from day to day. Then
//!
//! ```text
//! P(in all the time) ≈ ∫ φ(q) · Π P(εₖ < cₖ(q) | εₖ₋₁ < cₖ₋₁(q)) dq,   cₖ(q) = (zₖ − √(1−fₖ)·q) / √fₖ
//! ```
//!
//! A pure trend (f = 0) gives Φ(min z), which is exact; pure wander is exact for a one-sided limit on a Markov path seen at
//! the grid's days. What lies between is held against simulated paths by a test, and is within 0.025 there.

use super::normal::{pdf, phi, quantile};

/// One day of one limit, as margins see it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Step {
    /// Φ⁻¹ of the share inside.
    margin: f64,
    /// √(1−f) and √f: how the margin's normal divides into what is not known now and what is fresh.
    known: f64,
    moved: f64,
    /// Correlation of the fresh part with the day before.
    correlation: f64,
    /// Variance of the fresh part.
    fresh: f64,
}

impl Step {
    /// Of the share inside that day, the variance along the difference, its fresh part, and that part's covariance with
    /// the day before.
    pub(super) fn new(inside: f64, total: f64, fresh: f64, carry: f64, before: Option<&Self>) -> Self {
        let share = if total > 0.0 { (fresh / total).clamp(0.0, 1.0) } else { 0.0 };
        let scale = (fresh * before.map_or(0.0, |before| before.fresh)).sqrt();
        Self {
            margin: quantile(inside.clamp(1e-15, 1.0 - 1e-15)),
            known: (1.0 - share).sqrt(),
            moved: share.sqrt(),
            correlation: if scale > 0.0 { (carry / scale).clamp(-1.0, 1.0) } else { 0.0 },
            fresh,
        }
    }

    /// The limit of the fresh part where the present is `q`.
    fn limit(&self, q: f64) -> f64 {
        (self.margin - self.known * q) / self.moved
    }
}

/// Nodes and weights of the Gauss–Legendre rule of 12 points on −1..1, the positive half (Abramowitz and Stegun 1964,
/// table 25.4).
const NODES: [(f64, f64); 6] = [
    (0.125_233_408_511_469, 0.249_147_045_813_403),
    (0.367_831_498_998_180, 0.233_492_536_538_355),
    (0.587_317_954_286_617, 0.203_167_426_723_066),
    (0.769_902_674_194_305, 0.160_078_328_543_346),
    (0.904_117_256_370_475, 0.106_939_325_995_318),
    (0.981_560_634_246_719, 0.047_175_336_386_512),
];
/// Below the least margin by this much nothing can go out any more.
const FAR: f64 = 5.0;
/// No present lies beyond this: Φ(−8.3) is 5e-17.
const BEYOND: f64 = 8.3;
/// A day whose fresh part is less than this of its spread has an edge so sharp that it bounds the integral instead of
/// being integrated over.
const SHARP: f64 = 0.15;

/// Probability of having been inside on every day so far, for each day.
pub(super) fn stayed(steps: &[Step]) -> Vec<f64> {
    let mut all = vec![0.0; steps.len()];
    let least = steps.iter().map(|step| step.margin).fold(f64::INFINITY, f64::min);
    if least > FAR {
        all.fill(1.0);
        return all;
    }
    // The least margin of the sharp days so far: every present above it is out.
    let mut edge = BEYOND;
    let edge_of = |step: &Step| {
        edge = if step.moved < SHARP { edge.min(step.margin) } else { edge };
        edge
    };
    let edges: Vec<f64> = steps.iter().map(edge_of).collect();
    let mut from = 0;
    for days in edges.chunk_by(|a, b| a == b) {
        let until = from + days.len();
        if let Some(edge) = days.first() {
            integrate(steps, from..until, *edge, least, &mut all);
        }
        from = until;
    }
    all.iter_mut().for_each(|stayed| *stayed = stayed.clamp(0.0, 1.0));
    all
}

/// Fills in the days of `days`, for which every present above `edge` is out.
fn integrate(steps: &[Step], days: std::ops::Range<usize>, edge: f64, least: f64, all: &mut [f64]) {
    // From `low` down every day is inside.
    let low = (least - FAR).min(edge);
    let mut sums = vec![phi(low); days.end];
    let panels = if edge - low > 2.0 * FAR { 2 } else { 1 };
    let width = (edge - low) / f64::from(panels);
    for panel in 0..panels {
        let middle = low + (f64::from(panel) + 0.5) * width;
        for (node, weight) in NODES {
            for q in [middle - 0.5 * width * node, middle + 0.5 * width * node] {
                let weight = 0.5 * width * weight * pdf(q);
                if weight > 1e-12 {
                    add_path(steps, q, weight, &mut sums);
                }
            }
        }
    }
    for day in days {
        if let (Some(to), Some(sum)) = (all.get_mut(day), sums.get(day)) {
            *to = *sum;
        }
    }
}

/// Adds `weight` times the probability of having stayed inside up to each day, where the present is `q`.
fn add_path(steps: &[Step], q: f64, weight: f64, all: &mut [f64]) {
    /// A limit as far as this is never met.
    const NEVER: f64 = 7.0;
    let mut inside = weight;
    let mut before = f64::INFINITY;
    for (step, sum) in steps.iter().zip(all) {
        // What is sharp bounds the integral already.
        let limit = if step.moved < SHARP { f64::INFINITY } else { step.limit(q) };
        if limit < NEVER {
            inside *= if before > NEVER {
                phi(limit)
            } else {
                let stayed = phi(before);
                if stayed > 1e-12 {
                    (both_roughly(before, limit, step.correlation) / stayed).clamp(0.0, 1.0)
                } else {
                    0.0
                }
            };
        }
        before = limit;
        *sum += inside;
        if inside < 1e-12 {
            break;
        }
    }
}

/// P(X ≤ h and Y ≤ k) for standard normal X and Y of correlation `rho` ≥ 0, to 1e-4 up to a correlation of 0.98: Plackett's
/// identity (1954) with the correlation as a sine. The chain deserves no more, and is asked for this a thousand times.
fn both_roughly(h: f64, k: f64, rho: f64) -> f64 {
    let half = 0.5 * libm::asin(rho.clamp(0.0, 1.0));
    let (squares, product) = (h * h + k * k, 2.0 * h * k);
    let at = |angle: f64| {
        let (sine, cosine) = libm::sincos(angle);
        libm::exp((product * sine - squares) / (2.0 * cosine * cosine))
    };
    let sum: f64 = NODES.iter().map(|(x, w)| w * (at(half * (1.0 - x)) + at(half * (1.0 + x)))).sum();
    phi(h) * phi(k) + half * sum / (2.0 * std::f64::consts::PI)
}

#[cfg(test)]
mod tests {
    use super::super::normal::both_below;
    use super::*;

    #[test]
    fn rough_is_near_enough() {
        for h in [-2.0, -0.5, 0.0, 1.0, 2.5, 4.0] {
            for k in [-2.0, 0.0, 0.7, 2.4, 4.0] {
                for rho in [0.0, 0.3, 0.7, 0.9, 0.95, 0.98] {
                    let (rough, exact) = (both_roughly(h, k, rho), both_below(h, k, rho));
                    assert!((rough - exact).abs() < 1e-4, "{h} {k} {rho}: {rough} for {exact}");
                }
            }
        }
    }
}
