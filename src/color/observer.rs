//! The two standard colorimetric observers, CIE 1931 2° and CIE 1964 10°, 360–830 nm at 1 nm (CIE 018, CIE 019; ISO/CIE 11664-1).
//!
//! The numbers stand in `observer_2deg` and `observer_10deg`, which scripts make. Sums run over the whole table: cut at 380–780 nm the
//! Planckian locus is off by up to 4 K at 8000 K.

use super::{observer_2deg, observer_10deg};

/// Wavelength of the first row of [`matching_functions`], nm.
pub const FIRST_NM: f64 = 360.0;

/// Rows of [`matching_functions`].
pub const GRID: usize = 471;

/// A standard colorimetric observer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Observer {
    /// CIE 1931, for fields of 1° to 4°: what meters report, and what luminance is defined by.
    TwoDegree,
    /// CIE 1964, for wider fields: what ISO 3664 and CIE 224 ask for.
    TenDegree,
}

impl Observer {
    /// Its x̄, ȳ, z̄, one row each nanometre from [`FIRST_NM`] to 830 nm.
    pub const fn matching_functions(self) -> &'static [[f64; 3]; GRID] {
        match self {
            Self::TwoDegree => &observer_2deg::BAR,
            Self::TenDegree => &observer_10deg::BAR,
        }
    }
}

/// x̄, ȳ, z̄ of the 2° observer, one row each nanometre from [`FIRST_NM`] to 830 nm.
pub fn matching_functions() -> &'static [[f64; 3]] {
    Observer::TwoDegree.matching_functions()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_the_published_one() {
        let bar = matching_functions();
        assert_eq!(bar.len() as f64, 830.0 - FIRST_NM + 1.0);
        assert_eq!(bar[555 - 360][1], 1.0, "y-bar peaks at 555 nm");
        let sum = bar.iter().fold([0.0; 3], |s, b| [s[0] + b[0], s[1] + b[1], s[2] + b[2]]);
        // The sums of the 1 nm table; the equal-energy white lies at x = y = 1/3 to a few parts in 10 000.
        for (found, published) in sum.into_iter().zip([106.865_469, 106.856_917, 106.892_251]) {
            assert!((found - published).abs() < 1e-6, "{found}");
        }
    }

    #[test]
    fn the_wide_field_is_the_published_one() {
        let bar = Observer::TenDegree.matching_functions();
        let sum = bar.iter().fold([0.0; 3], |s, b| [s[0] + b[0], s[1] + b[1], s[2] + b[2]]);
        // Equal energy is white for this observer too, to the rounding of its table.
        for sum in sum {
            assert!((sum / 116.66 - 1.0).abs() < 2e-4, "{sum}");
        }
        // Rows of the published table.
        assert_eq!(bar[400 - 360], [0.019_109_7, 0.002_004_4, 0.086_010_9]);
        assert_eq!(bar[600 - 360], [1.123_99, 0.658_341, 0.0]);
    }
}
