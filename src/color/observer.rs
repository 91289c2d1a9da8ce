//! The CIE 1931 2° standard colorimetric observer, 360–830 nm at 1 nm (CIE 018; ISO/CIE 11664-1).
//!
//! The numbers stand in `observer_2deg`, which a script makes. Sums run over the whole table: cut at 380–780 nm the
//! Planckian locus is off by up to 4 K at 8000 K.

use super::observer_2deg::BAR;

/// Wavelength of the first row of [`matching_functions`], nm.
pub const FIRST_NM: f64 = 360.0;
/// Wavelength of the last row of [`matching_functions`], nm.
pub const LAST_NM: f64 = 830.0;

/// x̄, ȳ, z̄ of the 2° observer, one row each nanometre from [`FIRST_NM`] to [`LAST_NM`].
pub fn matching_functions() -> &'static [[f64; 3]] {
    &BAR
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_the_published_one() {
        let bar = matching_functions();
        assert_eq!(bar.len() as f64, LAST_NM - FIRST_NM + 1.0);
        assert_eq!(bar[555 - 360][1], 1.0, "y-bar peaks at 555 nm");
        let sum = bar.iter().fold([0.0; 3], |s, b| [s[0] + b[0], s[1] + b[1], s[2] + b[2]]);
        // The sums of the 1 nm table; the equal-energy white lies at x = y = 1/3 to a few parts in 10 000.
        for (found, published) in sum.into_iter().zip([106.865_469, 106.856_917, 106.892_251]) {
            assert!((found - published).abs() < 1e-6, "{found}");
        }
    }
}
