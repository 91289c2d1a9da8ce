//! Powers and logarithms without branches or calls, so that a compiler does several side by side in registers.
//!
//! 99 colours under two lights take a thousand powers, which would be most of the cost of a fidelity index. Both series are cut where
//! the next term is below 1e-11, and their terms are taken in pairs, which do not wait for each other:
//!
//! ```text
//! x = 2^k m, √½ ≤ m < √2      ln x = k ln 2 + 2 (s + s³/3 + … + s¹³/13),  s = (m - 1)/(m + 1)
//! y = n ln 2 + r, |r| ≤ ½ ln 2      exp y = 2^n (1 + r + … + r⁹/9!)
//! ```

use std::f64::consts::{LN_2, LOG2_E};

/// The exponent of 1.0 in place.
const ONE: u64 = 0x3ff0_0000_0000_0000;
/// √½.
const ROOT_HALF: u64 = 0x3fe6_a09e_667f_3bcd;
/// 2⁵²: what is or-ed into its mantissa is added to it.
const TWO_52: u64 = 0x4330_0000_0000_0000;
/// 1.5 × 2⁵²: a sum with it is rounded to whole numbers, which stand in the last bits.
const ROUNDING: f64 = 6_755_399_441_055_744.0;
/// ln 2 in two parts, the first with so few digits that a multiple of it is exact.
const LN_2_HIGH: f64 = 0.693_147_180_369_123_8;
const LN_2_LOW: f64 = 1.908_214_929_270_587_7e-10;

/// `base` to the power of `exponent`, for a base that is finite and not negative; 0 comes out below 1e-100 for exponents from 0.4.
#[inline(always)]
pub(super) fn power(base: f64, exponent: f64) -> f64 {
    exp(exponent * ln(base))
}

/// Natural logarithm of a finite number above zero, to 1e-11; -709 for zero.
#[inline(always)]
pub(super) fn ln(x: f64) -> f64 {
    let bits = x.to_bits();
    let exponent = bits.wrapping_add(ONE - ROOT_HALF) >> 52;
    let m = f64::from_bits(bits.wrapping_sub(exponent << 52).wrapping_add(ONE));
    let k = f64::from_bits(exponent | TWO_52) - (4_503_599_627_370_496.0 + 1023.0);
    let s = (m - 1.0) / (m + 1.0);
    let z = s * s;
    let (z2, z4) = (z * z, z * z * z * z);
    let (a, b, c) = (1.0 + z * (1.0 / 3.0), 1.0 / 5.0 + z * (1.0 / 7.0), 1.0 / 9.0 + z * (1.0 / 11.0));
    let series = a + z2 * b + z4 * (c + z2 * (1.0 / 13.0));
    k * LN_2 + 2.0 * s * series
}

/// The exponential of a number, held between e^±700.
#[inline(always)]
fn exp(y: f64) -> f64 {
    let y = y.clamp(-700.0, 700.0);
    let rounded = y * LOG2_E + ROUNDING;
    let n = rounded - ROUNDING;
    let r = (y - n * LN_2_HIGH) - n * LN_2_LOW;
    let (r2, r4) = (r * r, r * r * r * r);
    let (a, b) = (1.0 + r, 1.0 / 2.0 + r * (1.0 / 6.0));
    let (c, d) = (1.0 / 24.0 + r * (1.0 / 120.0), 1.0 / 720.0 + r * (1.0 / 5040.0));
    let e = 1.0 / 40_320.0 + r * (1.0 / 362_880.0);
    let series = (a + r2 * b) + r4 * ((c + r2 * d) + r4 * e);
    series * f64::from_bits((rounded.to_bits() << 52).wrapping_add(ONE))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn as_the_library_has_them(decade in -12f64..6.0, exponent in 0.3f64..1.5, y in -600f64..600.0) {
            let x = 10f64.powf(decade);
            prop_assert!((power(x, exponent) / x.powf(exponent) - 1.0).abs() < 4e-11, "{} ^ {}", x, exponent);
            prop_assert!((ln(x) - x.ln()).abs() < 1e-11, "{}", x);
            prop_assert!((exp(y) / y.exp() - 1.0).abs() < 2e-11, "{}", y);
        }
    }

    #[test]
    fn ends() {
        assert_eq!((power(1.0, 0.42), ln(1.0)), (1.0, 0.0));
        assert!(power(0.0, 0.42) < 1e-100 && power(0.0, 0.42) >= 0.0);
        assert!(power(f64::MIN_POSITIVE, 1.0) > 0.0 && power(1e300, 1.5).is_finite());
    }
}
