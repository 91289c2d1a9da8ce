//! The state-space filter as a value: carry it to another time, take in one number.
//!
//! State `x ~ N(m, P)`. Carrying: `m ← F m`, `P ← F P Fᵀ + Q`. A number `z = hᵀx + e`, `e ~ N(0, r)`, has the innovation
//! `v = z − hᵀm` of variance `S = hᵀP h + r`; with `K = P h / S`: `m ← m + K v`, and Joseph's form
//! `P ← (I − K hᵀ) P (I − K hᵀ)ᵀ + r K Kᵀ`, which stays symmetric and positive under rounding
//! (Bucy and Joseph 1968; Durbin and Koopman 2012, §4.3). Log-likelihood of `z`: `−½ (ln 2π + ln S + v²/S)`.
//!
//! What the states mean is for `dynamics`; weights of many filters are for `bank`.

use super::matrix::{Matrix, dot};

/// Below this an innovation variance counts as zero: the number tells nothing that was not known exactly.
const LEAST_VARIANCE: f64 = 1e-24;

/// A Gaussian belief about `N` states.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub struct Filter<const N: usize> {
    pub mean: [f64; N],
    pub cov: Matrix<N, N>,
}

/// What a number was against what was expected of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Innovation {
    /// Number minus expectation.
    pub value: f64,
    /// Its variance, above zero.
    pub variance: f64,
    /// ln of the probability density of the number.
    pub log_likelihood: f64,
}

impl<const N: usize> Filter<N> {
    /// The belief after the time that the transition `f` and the noise covariance `q` stand for.
    #[inline]
    pub fn predict(&self, f: &Matrix<N, N>, q: &Matrix<N, N>) -> Self {
        Self { mean: f.times_column(&self.mean), cov: self.cov.carried_by(f).plus(q) }
    }

    /// The belief after the number `z = hᵀx + e` with noise variance `r ≥ 0`, and how surprising `z` was.
    #[inline]
    pub fn update(&self, h: &[f64; N], r: f64, z: f64) -> (Self, Innovation) {
        let ph = self.cov.times_column(h);
        let variance = (dot(h, &ph) + r).max(LEAST_VARIANCE);
        let value = z - dot(h, &self.mean);
        let gain = ph.map(|covariance| covariance / variance);
        let mut mean = self.mean;
        let mut keep = Matrix::diagonal([1.0; N]);
        for ((state, row), share) in mean.iter_mut().zip(&mut keep.0).zip(gain) {
            *state += share * value;
            for (element, seen) in row.iter_mut().zip(h) {
                *element -= share * seen;
            }
        }
        let noise = Matrix(gain.map(|a| gain.map(|b| r * (a * b))));
        let cov = self.cov.carried_by(&keep).plus(&noise);
        let log_likelihood = -0.5 * (LN_TAU + libm::log(variance) + value * value / variance);
        (Self { mean, cov }, Innovation { value, variance, log_likelihood })
    }
}

/// ln 2π.
const LN_TAU: f64 = 1.837_877_066_409_345_3;
