//! How one channel of a device moves: level, slope and an Ornstein–Uhlenbeck wander in continuous time.
//!
//! The true value is `level + wander`. Over `d` ageing days the level moves by `d·slope`, while the slope itself does
//! a random walk of intensity `q` (per day): the exact discrete noise of (level, slope) is `q·[d³/3, d²/2; d²/2, d]`
//! (integrated Wiener process; Durbin and Koopman 2012, §3.8). Over `c` calendar days the wander falls back by `φ =
//! e^(−c/τ)` and gains the variance `w²(1 − φ²)`, `w` its standing sd (Uhlenbeck and Ornstein 1930). Both are exact,
//! so carrying by `a` and then by `b` is carrying by `a + b`.
//!
//! Two clocks: ageing follows use, wander (temperature, mains, handling) follows the calendar. While a new tube
//! settles, the slope rests and the level gains variance instead.

use super::matrix::Matrix;

/// Time constant of the wander, days. Between a week (weather) and a season; the forecasts are flat in it.
pub const WANDER_DAYS: f64 = 30.0;

/// What is read: level plus wander.
pub const SEEN: [f64; 3] = [1.0, 0.0, 1.0];

/// A stretch of time as the model sees it. Days, none below zero.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Span {
    /// Over which the slope acts: days of ageing at the reference use.
    pub ageing: f64,
    /// By the calendar, for the wander.
    pub calendar: f64,
    /// Of the calendar days, those in which a new tube still settles.
    pub settling: f64,
}

/// Strengths of the movement of one channel.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Strength {
    /// Variance that the slope gains in one day, (unit/day)² per day.
    pub slope_change: f64,
    /// Standing variance of the wander, unit².
    pub wander: f64,
    /// Variance that the level gains in a day of settling, unit² per day.
    pub settling: f64,
}

impl Span {
    /// `φ`: the share of the wander that is left.
    pub fn wander_left(&self) -> f64 {
        libm::exp(-self.calendar / WANDER_DAYS)
    }

    /// `F` over this span, for (level, slope, wander).
    pub fn transition(&self) -> Matrix<3, 3> {
        Matrix([[1.0, self.ageing, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, self.wander_left()]])
    }

    /// `Q` over this span; `left` is [`Span::wander_left`], computed once for all strengths.
    pub fn noise(&self, strength: &Strength, left: f64) -> Matrix<3, 3> {
        let (d, q) = (self.ageing, strength.slope_change);
        let cross = q * d * d / 2.0;
        Matrix([
            [q * d * d * d / 3.0 + strength.settling * self.settling, cross, 0.0],
            [cross, q * d, 0.0],
            [0.0, 0.0, strength.wander * (1.0 - left * left)],
        ])
    }

    /// The row that reads the true value after this span off the state before it.
    pub fn row(&self) -> [f64; 3] {
        [1.0, self.ageing, self.wander_left()]
    }
}

/// Variance that the movement itself adds to the product of the true values after `near` and after `far`, both counted
/// from the same instant and `near` no later than `far`; with `near == far` the variance added to one value.
///
/// For the integrated Wiener process `q·(a³/3 + a²(b−a)/2)`, for the wander `w²(e^(−(c_b−c_a)/τ) − e^(−(c_a+c_b)/τ))`.
pub fn movement(near: &Span, far: &Span, strength: &Strength) -> f64 {
    let (a, b) = (near.ageing, far.ageing);
    let ageing = strength.slope_change * a * a * (a / 3.0 + (b - a).max(0.0) / 2.0);
    let (l, m) = (near.wander_left(), far.wander_left());
    let apart = libm::exp(-(far.calendar - near.calendar).max(0.0) / WANDER_DAYS);
    ageing + strength.settling * near.settling + strength.wander * (apart - l * m).max(0.0)
}
