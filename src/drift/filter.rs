//! The state-space filter as a value: carry it to another time, take in one number.
//!
//! State `x ~ N(m, P)`. Carrying: `m ← F m`, `P ← F P Fᵀ + Q`. A number `z = hᵀx + e`, `e ~ N(0, r)`, has the
//! innovation `v = z − hᵀm` of variance `S = hᵀP h + r`; with `K = P h / S`: `m ← m + K v`, and Joseph's form `P ← (I
//! − K hᵀ) P (I − K hᵀ)ᵀ + r K Kᵀ`, which stays symmetric and positive under rounding (Bucy and Joseph 1968; Durbin
//! and Koopman 2012, §4.3). Log-likelihood of `z`: `−½ (ln 2π + ln S + v²/S)`.
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_sources_are_weighed_by_precision() {
        let (after, innovation) = Filter { mean: [10.0], cov: Matrix([[4.0]]) }.update(&[1.0], 1.0, 15.0);
        assert_eq!((after.mean, after.cov), ([14.0], Matrix([[0.8]])));
        assert_eq!((innovation.value, innovation.variance), (5.0, 5.0));
        // ln N(15; 10, 5) = −½(ln 2π + ln 5 + 5)
        assert!((innovation.log_likelihood + 4.223_657_489_421_722).abs() < 1e-12);
    }

    #[test]
    fn certainty_is_legal() {
        let sure = Filter { mean: [1.0, 0.5], cov: Matrix::ZERO };
        let (after, innovation) = sure.update(&[1.0, 0.0], 0.0, 1.0);
        assert!(after == sure && innovation.log_likelihood.is_finite());
        let (after, _) = Filter { mean: [0.0, 0.0], cov: Matrix::diagonal([1.0, 1.0]) }.update(&[1.0, 1.0], 0.0, 3.0);
        assert!((after.mean[0] + after.mean[1] - 3.0).abs() < 1e-12, "an exact number is met exactly");
    }

    #[test]
    fn the_covariance_stays_symmetric_and_positive() {
        let f = Matrix([[1.0, 9.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 0.7]]);
        let q = Matrix::diagonal([0.0, 1e-12, 1e-7]);
        let mut filter = Filter { mean: [0.0; 3], cov: Matrix::diagonal([1e8, 1e-8, 1e-7]) };
        for k in 0..5000 {
            filter = filter.predict(&f, &q).update(&[1.0, 0.0, 1.0], 1e-10, f64::from(k % 7)).0;
            let p = &filter.cov.0;
            for i in 0..3 {
                assert!(p[i][i] >= 0.0);
                for j in 0..3 {
                    assert_eq!(p[i][j].to_bits(), p[j][i].to_bits());
                    assert!(p[i][j] * p[i][j] <= p[i][i] * p[j][j] * (1.0 + 1e-6) + 1e-30, "step {k}: {p:?}");
                }
            }
        }
    }
}
