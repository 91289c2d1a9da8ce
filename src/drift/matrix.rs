//! Fixed-size matrices, as many operations as the filter needs.
//!
//! Dense, row by row, sizes known at compile time so that a mismatch does not compile. No decomposition and no inverse
//! lives here: the filter takes in one number at a time and divides by a scalar.

/// A matrix of `R` rows and `C` columns.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Matrix<const R: usize, const C: usize>(pub [[f64; C]; R]);

impl<const R: usize, const C: usize> Matrix<R, C> {
    /// All zeros.
    pub const ZERO: Self = Self([[0.0; C]; R]);

    /// The matrix product.
    #[inline]
    pub fn times<const K: usize>(&self, right: &Matrix<C, K>) -> Matrix<R, K> {
        let mut out = Matrix::ZERO;
        for i in 0..R {
            for j in 0..K {
                let mut sum = 0.0;
                for k in 0..C {
                    sum += self.0[i][k] * right.0[k][j];
                }
                out.0[i][j] = sum;
            }
        }
        out
    }

    /// The matrix times a column.
    #[inline]
    pub fn times_column(&self, column: &[f64; C]) -> [f64; R] {
        self.0.map(|row| dot(&row, column))
    }

    /// Rows become columns.
    #[inline]
    pub fn transposed(&self) -> Matrix<C, R> {
        let mut out = Matrix::ZERO;
        for i in 0..R {
            for j in 0..C {
                out.0[j][i] = self.0[i][j];
            }
        }
        out
    }

    /// The sum, element by element.
    #[inline]
    pub fn plus(&self, other: &Self) -> Self {
        let mut out = *self;
        for i in 0..R {
            for j in 0..C {
                out.0[i][j] += other.0[i][j];
            }
        }
        out
    }
}

impl<const N: usize> Matrix<N, N> {
    /// `values` on the diagonal, zeros elsewhere.
    pub fn diagonal(values: [f64; N]) -> Self {
        let mut out = Self::ZERO;
        for (i, value) in values.into_iter().enumerate() {
            out.0[i][i] = value;
        }
        out
    }

    /// `F P Fᵀ` of a symmetric `P`: only the upper half is computed and then mirrored, so the result is symmetric to
    /// the last bit.
    #[inline]
    pub fn carried_by(&self, f: &Self) -> Self {
        let half = f.times(self);
        let mut out = Self::ZERO;
        for i in 0..N {
            for j in i..N {
                let sum = dot(&half.0[i], &f.0[j]);
                out.0[i][j] = sum;
                out.0[j][i] = sum;
            }
        }
        out
    }
}

/// The inner product of two columns.
#[inline]
pub fn dot<const N: usize>(a: &[f64; N], b: &[f64; N]) -> f64 {
    let mut sum = 0.0;
    for i in 0..N {
        sum += a[i] * b[i];
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn products_by_hand() {
        let a = Matrix([[1.0, 2.0], [3.0, 4.0], [5.0, 6.0]]);
        let b = Matrix([[7.0, 8.0, 9.0], [1.0, 2.0, 3.0]]);
        assert_eq!(a.times(&b), Matrix([[9.0, 12.0, 15.0], [25.0, 32.0, 39.0], [41.0, 52.0, 63.0]]));
        assert_eq!(a.transposed(), Matrix([[1.0, 3.0, 5.0], [2.0, 4.0, 6.0]]));
        assert_eq!(a.times_column(&[1.0, -1.0]), [-1.0, -1.0, -1.0]);
        assert_eq!(a.plus(&a), Matrix([[2.0, 4.0], [6.0, 8.0], [10.0, 12.0]]));
    }

    #[test]
    fn carrying_a_covariance_is_the_double_product_and_symmetric() {
        let p = Matrix([[4.0, 1.0, 0.3], [1.0, 3.0, -0.7], [0.3, -0.7, 2.0]]);
        let f = Matrix([[1.0, 0.1, 0.7], [0.0, 1.3, 0.0], [0.2, 0.0, 0.9]]);
        let want = f.times(&p).times(&f.transposed());
        let got = p.carried_by(&f);
        for i in 0..3 {
            for j in 0..3 {
                assert!((got.0[i][j] - want.0[i][j]).abs() < 1e-14);
                assert_eq!(got.0[i][j].to_bits(), got.0[j][i].to_bits());
            }
        }
        assert_eq!(Matrix::diagonal([1.0, 1.0, 1.0]).carried_by(&f), {
            let eye = Matrix::diagonal([1.0; 3]);
            eye.carried_by(&f)
        });
    }
}
