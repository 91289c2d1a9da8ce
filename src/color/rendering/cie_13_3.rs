//! The colour rendering indices of CIE 13.3-1995: Ra, R1 to R14, and R15 of JIS Z 8726.
//!
//! Under the lamp (k) and its reference of equal temperature (r), CIE 1960 u, v of each test colour i, 2° observer, and
//!
//! ```text
//! c = (4 - u - 10 v)/v,  d = (1.708 v + 0.404 - 1.481 u)/v,  c' = c_ki c_r/c_k,  d' = d_ki d_r/d_k        (von Kries)
//! u' = (10.872 + 0.404 c' - 4 d')/(16.518 + 1.481 c' - d'),  v' = 5.520/(16.518 + 1.481 c' - d')
//! W* = 25 Y^⅓ - 17,  U* = 13 W* (u - u_r),  V* = 13 W* (v - v_r),  R_i = 100 - 4.6 ΔE_i,  Ra = mean of R_1 … R_8
//! ```
//!
//! Nothing is rounded on the way and nothing is clamped: an index may be negative. Sums run at 1 nm over 360–830 nm; the
//! temperature is the nearest one in u, v (Ohno 2014). The reference changes from black body to daylight at 5000 K, so that Ra of one
//! lamp may jump there by up to 1.4: that is the method's, no fault of the lamp, and nothing to be warned of.

use super::{reference, samples};
use crate::color::Sampled;
use crate::units::Kelvin;

/// Edition of Ra and R1 to R14.
pub const EDITION: &str = "CIE 13.3-1995";
/// Edition of R15, skin of an east-asian face; CIE 13.3-1995 ends at R14.
pub const R15_EDITION: &str = "JIS Z 8726:1990";
/// Lamp and reference lie no farther apart than this in CIE 1960 u, v, else the indices mean little (CIE 13.3-1995; from memory).
pub const VALID_DISTANCE: f64 = 5.4e-3;

/// The indices of a lamp.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ColourRendering {
    /// General index, mean of the first eight; 100 is the reference's, may be negative.
    pub ra: f64,
    /// R1 to R14 and R15 at the indices 0 to 14.
    pub r: [f64; 15],
    /// Distance of the lamp's white from its reference's, CIE 1960 u, v.
    pub distance: f64,
}

impl ColourRendering {
    /// Whether lamp and reference are near enough for the indices to mean what they say.
    pub fn is_valid(&self) -> bool {
        self.distance < VALID_DISTANCE
    }

    /// The least of R1 to R8, with its number.
    pub fn least_special(&self) -> Option<(u8, f64)> {
        (1..=8).zip(self.r).min_by(|a, b| a.1.total_cmp(&b.1))
    }

    /// R9, the saturated red that most lamps are worst at.
    pub const fn r9(&self) -> f64 {
        self.r[8]
    }
}

/// The indices of a lamp of correlated colour temperature `cct_k`; None above 25 000 K, where there is no daylight.
pub fn colour_rendering(lamp: &Sampled, cct_k: Kelvin) -> Option<ColourRendering> {
    let reference = reference::old(cct_k)?;
    let lamp = samples::old(lamp);
    let (white_k, white_r) = (Seen::of(*lamp.last()?, 1.0), Seen::of(*reference.last()?, 1.0));
    let (scale_k, scale_r) = (100.0 / lamp.last()?[1], 100.0 / reference.last()?[1]);
    let (by_c, by_d) = (white_r.c() / white_k.c(), white_r.d() / white_k.d());
    let mut r = [0.0; 15];
    for ((r, k_i), r_i) in r.iter_mut().zip(lamp).zip(reference) {
        let (k_i, r_i) = (Seen::of(k_i, scale_k), Seen::of(r_i, scale_r));
        let (c, d) = (k_i.c() * by_c, k_i.d() * by_d);
        let below = 16.518 + 1.481 * c - d;
        let adapted = Seen { u: (10.872 + 0.404 * c - 4.0 * d) / below, v: 5.520 / below, y: k_i.y };
        let ([u0, v0, w0], [u1, v1, w1]) = (adapted.uvw(&white_r), r_i.uvw(&white_r));
        let square = (u0 - u1) * (u0 - u1) + (v0 - v1) * (v0 - v1) + (w0 - w1) * (w0 - w1);
        *r = 100.0 - 4.6 * square.sqrt();
    }
    let ra = r.iter().take(8).sum::<f64>() / 8.0;
    let distance = libm::hypot(white_k.u - white_r.u, white_k.v - white_r.v);
    Some(ColourRendering { ra, r, distance })
}

/// A colour in CIE 1960 u, v and Y of white 100.
struct Seen {
    u: f64,
    v: f64,
    y: f64,
}

impl Seen {
    fn of([x, y, z]: [f64; 3], scale: f64) -> Self {
        let below = x + 15.0 * y + 3.0 * z;
        Self { u: 4.0 * x / below, v: 6.0 * y / below, y: y * scale }
    }

    fn c(&self) -> f64 {
        (4.0 - self.u - 10.0 * self.v) / self.v
    }

    fn d(&self) -> f64 {
        (1.708 * self.v + 0.404 - 1.481 * self.u) / self.v
    }

    fn uvw(&self, white: &Self) -> [f64; 3] {
        let w = 25.0 * self.y.cbrt() - 17.0;
        [13.0 * w * (self.u - white.u), 13.0 * w * (self.v - white.v), w]
    }
}

#[cfg(test)]
mod tests {
    use super::super::reference::{black_body, daylight_phase};
    use super::*;

    #[test]
    fn a_reference_renders_as_itself() {
        for kelvin in [1500.0, 2856.0, 4999.0] {
            let k = Kelvin::new(kelvin).unwrap();
            let found = colour_rendering(&black_body(k), k).unwrap();
            assert!(found.r.iter().all(|r| (r - 100.0).abs() < 1e-4) && found.is_valid(), "{kelvin}: {found:?}");
        }
        for kelvin in [5000.0, 6504.0, 20_000.0] {
            let k = Kelvin::new(kelvin).unwrap();
            let found = colour_rendering(&daylight_phase(k).unwrap(), k).unwrap();
            assert!((found.ra - 100.0).abs() < 1e-6 && found.distance < 1e-9, "{kelvin}: {found:?}");
        }
        assert_eq!(colour_rendering(&black_body(Kelvin::new(3000.0).unwrap()), Kelvin::new(26_000.0).unwrap()), None);
    }

    #[test]
    fn far_from_its_reference_an_index_means_little() {
        // A black body held against one 1500 K hotter.
        let k = Kelvin::new(3000.0).unwrap();
        let found = colour_rendering(&black_body(k), Kelvin::new(4500.0).unwrap()).unwrap();
        assert!(!found.is_valid(), "{found:?}");
        assert_eq!(found.r9(), found.r[8]);
    }
}
