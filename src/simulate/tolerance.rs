//! The tolerance of every simulated room, and the probability of being out of it by the product's own code.
//!
//! 0.005 in u′v′ and a ratio of 1.2 in level. Lamp and display stand on one scale, so that paper and instruments add nothing to
//! the difference; from there on it is `station::risk`.

use crate::drift::Forecast;
use crate::station::Limits;
use crate::station::compare::{Light, Spot, hypotheses};
use crate::station::risk::{Difference, LnRatio, RiskPath, risk_path};
use crate::units::UvPrime;

const LIMIT_UV: f64 = 0.005;
const LIMIT_RATIO: f64 = 1.2;
/// Stands in for a colour that was never read; not met in these rooms, where every reading tells it.
const UNREAD: UvPrime = UvPrime { u: 0.1978, v: 0.4683 };

/// Whether a display and a lamp with these true u′, v′, ln level are out.
pub fn is_out(display: [f64; 3], lamp: [f64; 3]) -> bool {
    share_of_limit(display, lamp) > 1.0
}

/// How far apart they are, as a share of the limit that is nearer to being broken.
pub fn share_of_limit(display: [f64; 3], lamp: [f64; 3]) -> f64 {
    let apart = [0, 1, 2].map(|c: usize| display[c] - lamp[c]);
    (libm::hypot(apart[0], apart[1]) / LIMIT_UV).max(apart[2].abs() / libm::log(LIMIT_RATIO))
}

/// Risk along the times of the two forecasts, which must be the same.
pub fn risk_along(display: &Forecast, lamp: &Forecast) -> RiskPath {
    let mut pairs = Vec::new();
    for (p, screen) in hypotheses(display) {
        for (q, light) in hypotheses(lamp) {
            let along = (0..display.times.len())
                .map(|place| difference(&Light::at(screen, place, UNREAD), &Light::at(light, place, UNREAD)));
            pairs.push((p * q, along.collect()));
        }
    }
    risk_path(&pairs, &Limits { delta_uv: LIMIT_UV, ln_ratio: Some(libm::log(LIMIT_RATIO)) })
}

fn difference(screen: &Light, light: &Light) -> Difference {
    let (u, v) = (apart(screen.u, light.u), apart(screen.v, light.v));
    let level = screen.ln_level.zip(light.ln_level).map(|(a, b)| apart(a, b));
    Difference {
        uv: (u.mean, v.mean),
        uv_cov: (u.var, 0.0, v.var),
        uv_fresh: (u.fresh, 0.0, v.fresh),
        uv_fresh_carry: (u.fresh_carry, 0.0, v.fresh_carry),
        ln_ratio: level.map(|Spot { mean, var, fresh, fresh_carry }| LnRatio { mean, var, fresh, fresh_carry }),
    }
}

fn apart(a: Spot, b: Spot) -> Spot {
    Spot {
        mean: a.mean - b.mean,
        var: a.var + b.var,
        fresh: a.fresh + b.fresh,
        fresh_carry: a.fresh_carry + b.fresh_carry,
    }
}
