//! Chromaticity coordinates, how one becomes another, and the region that light can reach.
//!
//! CIE 15:2018 clauses 7 and 8 (ISO/CIE 11664-3, -5), with s = X + Y + Z and d = X + 15 Y + 3 Z:
//!
//! ```text
//! x = X/s                       y = Y/s
//! u' = 4X/d = 4x/(-2x+12y+3)    v' = 9Y/d = 9y/(-2x+12y+3)      CIE 1976
//! u = u'                        v = (2/3) v'                    CIE 1960, only for CCT and Duv
//! x = 9u'/(6u'-16v'+12)         y = 4v'/(6u'-16v'+12)
//! X = Y 9u'/(4v')               Z = Y (12-3u'-20v')/(4v')
//! ```
//!
//! Worked number: D65, x 0.3127 y 0.3290, has u' 0.19783 v' 0.46832. Colour temperature is in `temperature`.

use std::sync::LazyLock;

use super::observer::matching_functions;
use crate::units::{UvPrime, Xy, Xyz};

/// How far outside the spectral locus, in x,y, a chromaticity may lie and still count as light: rounding to three decimals
/// and the step of the table, no more.
pub const LOCUS_ALLOWANCE: f64 = 1e-3;

/// Why coordinates have no counterpart: the denominator of the conversion is not above zero, or one is not a number.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error(
    "({first}, {second}) cannot be a chromaticity in {space}: expected finite coordinates with a positive denominator; check which columns hold the colour"
)]
pub struct Degenerate {
    /// The space the coordinates were given in.
    pub space: &'static str,
    /// The first coordinate as found.
    pub first: f64,
    /// The second coordinate as found.
    pub second: f64,
}

/// A quotient pair, if numerators and denominator are finite and the denominator is above zero.
fn over(a: f64, b: f64, denominator: f64) -> Option<(f64, f64)> {
    let (a, b) = (a / denominator, b / denominator);
    (denominator > 0.0 && a.is_finite() && b.is_finite()).then_some((a, b))
}

/// u′, v′ of x, y.
pub fn uv_prime(at: Xy) -> Result<UvPrime, Degenerate> {
    over(4.0 * at.x, 9.0 * at.y, -2.0 * at.x + 12.0 * at.y + 3.0).map(|(u, v)| UvPrime { u, v }).ok_or(Degenerate {
        space: "x, y",
        first: at.x,
        second: at.y,
    })
}

/// x, y of u′, v′.
pub fn xy(at: UvPrime) -> Result<Xy, Degenerate> {
    over(9.0 * at.u, 4.0 * at.v, 6.0 * at.u - 16.0 * at.v + 12.0).map(|(x, y)| Xy { x, y }).ok_or(Degenerate {
        space: "u', v'",
        first: at.u,
        second: at.v,
    })
}

/// x, y of tristimulus values on any scale; black has none.
pub fn xy_of_xyz(at: Xyz) -> Result<Xy, Degenerate> {
    over(at.x, at.y, at.x + at.y + at.z).map(|(x, y)| Xy { x, y }).ok_or(Degenerate {
        space: "X, Y of X, Y, Z",
        first: at.x,
        second: at.y,
    })
}

/// u′, v′ of tristimulus values on any scale; black has none.
pub fn uv_prime_of_xyz(at: Xyz) -> Result<UvPrime, Degenerate> {
    over(4.0 * at.x, 9.0 * at.y, at.x + 15.0 * at.y + 3.0 * at.z).map(|(u, v)| UvPrime { u, v }).ok_or(Degenerate {
        space: "X, Y of X, Y, Z",
        first: at.x,
        second: at.y,
    })
}

/// Tristimulus values of x, y at luminance `big_y`, in its unit; y = 0 has none.
pub fn xyz_of_xy(at: Xy, big_y: f64) -> Result<Xyz, Degenerate> {
    over(at.x * big_y, (1.0 - at.x - at.y) * big_y, at.y).map(|(x, z)| Xyz { x, y: big_y, z }).ok_or(Degenerate {
        space: "x, y with a luminance",
        first: at.x,
        second: at.y,
    })
}

/// Tristimulus values of u′, v′ at luminance `big_y`, in its unit; v′ = 0 has none.
pub fn xyz_of_uv_prime(at: UvPrime, big_y: f64) -> Result<Xyz, Degenerate> {
    let z = 12.0 - 3.0 * at.u - 20.0 * at.v;
    over(9.0 * at.u * big_y, z * big_y, 4.0 * at.v).map(|(x, z)| Xyz { x, y: big_y, z }).ok_or(Degenerate {
        space: "u', v' with a luminance",
        first: at.u,
        second: at.v,
    })
}

/// CIE 1960 (u, v): the space in which Duv and isotherms are defined.
pub const fn uv_1960(at: UvPrime) -> (f64, f64) {
    (at.u, at.v * 2.0 / 3.0)
}

/// u′, v′ of CIE 1960 u, v.
pub const fn uv_prime_from_1960(u: f64, v: f64) -> UvPrime {
    UvPrime { u, v: v * 1.5 }
}

/// Δu′v′: the distance of two chromaticities in u′, v′.
pub fn delta_uv(a: UvPrime, b: UvPrime) -> f64 {
    libm::hypot(a.u - b.u, a.v - b.v)
}

/// Variances and covariance in u′, v′.
#[derive(Debug, Clone, Copy, Default, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct UvSpread {
    /// Variance of u′.
    pub uu: f64,
    /// Covariance of u′ and v′.
    pub uv: f64,
    /// Variance of v′.
    pub vv: f64,
}

impl UvSpread {
    /// The same standard deviation `sd` in every direction.
    pub const fn round(sd: f64) -> Self {
        Self { uu: sd * sd, uv: 0.0, vv: sd * sd }
    }

    /// Standard deviation ‖(u, v)‖ along the direction (u, v), none across it.
    pub const fn along(u: f64, v: f64) -> Self {
        Self { uu: u * u, uv: u * v, vv: v * v }
    }

    /// The spread of the sum of two independent quantities.
    pub const fn plus(self, other: Self) -> Self {
        Self { uu: self.uu + other.uu, uv: self.uv + other.uv, vv: self.vv + other.vv }
    }

    /// The spread of J·d where d has this spread (JCGM 100 clause 5.2, JCGM 102): J C Jᵀ.
    pub const fn through(self, j: [[f64; 2]; 2]) -> Self {
        let [[a, b], [c, d]] = j;
        Self {
            uu: a * a * self.uu + 2.0 * a * b * self.uv + b * b * self.vv,
            uv: a * c * self.uu + (a * d + b * c) * self.uv + b * d * self.vv,
            vv: c * c * self.uu + 2.0 * c * d * self.uv + d * d * self.vv,
        }
    }
}

/// Whether light can have this chromaticity: inside the spectral locus closed by the purple line, or outside it by no more
/// than [`LOCUS_ALLOWANCE`].
pub fn inside_locus(at: Xy) -> bool {
    // Whites all lie in this polygon, which lies in the locus (a test says so).
    if at.x >= 0.2 && at.y >= 0.25 && at.x + at.y <= 0.94 {
        return true;
    }
    if !(at.x.is_finite() && at.y.is_finite()) {
        return false;
    }
    // A ray towards greater x changes sides at each edge it meets.
    let meets =
        |(a, b): &(Xy, Xy)| (a.y > at.y) != (b.y > at.y) && at.x < (b.x - a.x) * (at.y - a.y) / (b.y - a.y) + a.x;
    let inside = edges().filter(meets).count() % 2 == 1;
    inside || edges().any(|(a, b)| distance_squared(at, a, b) <= LOCUS_ALLOWANCE * LOCUS_ALLOWANCE)
}

fn edges() -> impl Iterator<Item = (Xy, Xy)> {
    BORDER.iter().copied().zip(BORDER.iter().copied().cycle().skip(1))
}

/// The chromaticities of the wavelengths in order; the last joined to the first is the purple line.
static BORDER: LazyLock<Vec<Xy>> = LazyLock::new(|| {
    let table = matching_functions().iter();
    table.filter_map(|&[x, y, z]| xy_of_xyz(Xyz { x, y, z }).ok()).collect()
});

/// Squared distance of `p` from the line from `a` to `b`.
fn distance_squared(p: Xy, a: Xy, b: Xy) -> f64 {
    let (dx, dy) = (b.x - a.x, b.y - a.y);
    let length = dx * dx + dy * dy;
    let t = if length > 0.0 { (((p.x - a.x) * dx + (p.y - a.y) * dy) / length).clamp(0.0, 1.0) } else { 0.0 };
    let (ex, ey) = (p.x - a.x - t * dx, p.y - a.y - t * dy);
    ex * ex + ey * ey
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn published_whites_in_the_other_coordinates() {
        for ((x, y), (u, v)) in [
            ((0.3127, 0.3290), (0.19783, 0.46832)),
            ((0.3457, 0.3585), (0.20918, 0.48808)),
            ((0.44758, 0.40745), (0.25597, 0.52430)),
            ((1.0 / 3.0, 1.0 / 3.0), (0.21053, 0.47368)),
        ] {
            let at = uv_prime(Xy { x, y }).unwrap();
            assert!((at.u - u).abs() < 6e-6 && (at.v - v).abs() < 6e-6, "{at:?}");
        }
    }

    #[test]
    fn degenerate_coordinates_are_refused_by_name() {
        assert!(uv_prime(Xy { x: 1.5, y: 0.0 }).is_err());
        assert!(uv_prime(Xy { x: f64::NAN, y: 0.3 }).is_err());
        assert!(xy(UvPrime { u: 0.0, v: 0.75 }).is_err());
        assert!(xy(UvPrime { u: f64::INFINITY, v: 0.5 }).is_err());
        assert!(xyz_of_xy(Xy { x: 0.3, y: 0.0 }, 1.0).is_err());
        let black = Xyz { x: 0.0, y: 0.0, z: 0.0 };
        assert!(uv_prime_of_xyz(black).is_err());
        assert!(xy_of_xyz(black).unwrap_err().to_string().starts_with("(0, 0) cannot be a chromaticity"));
    }

    #[test]
    fn light_lies_inside_the_locus() {
        for (x, y) in [(0.3127, 0.3290), (0.64, 0.33), (0.30, 0.60), (0.15, 0.06), (0.17, 0.797), (0.131, 0.046)] {
            assert!(inside_locus(Xy { x, y }), "{x} {y}");
        }
        // 520 nm stands at 0.07430, 0.83380; a laser read to three decimals is still light.
        assert!(inside_locus(Xy { x: 0.074, y: 0.834 }));
        for (x, y) in [(0.07, 0.84), (0.0, 0.0), (0.3, 0.05), (0.8, 0.2), (0.5, 0.51), (-0.1, 0.3), (0.3, f64::NAN)] {
            assert!(!inside_locus(Xy { x, y }), "{x} {y}");
        }
    }

    #[test]
    fn the_quick_polygon_lies_in_the_locus() {
        let inside_by_border = |p: Xy| {
            let met =
                |(a, b): &(Xy, Xy)| (a.y > p.y) != (b.y > p.y) && p.x < (b.x - a.x) * (p.y - a.y) / (b.y - a.y) + a.x;
            edges().filter(met).count() % 2 == 1
        };
        let corners = [(0.2, 0.25), (0.69, 0.25), (0.2, 0.74)];
        for (a, b) in corners.iter().zip(corners.iter().cycle().skip(1)) {
            for i in 0..=100 {
                let t = f64::from(i) / 100.0;
                let p = Xy { x: a.0 + t * (b.0 - a.0), y: a.1 + t * (b.1 - a.1) };
                assert!(inside_by_border(p), "{p:?}");
            }
        }
    }

    proptest! {
        #[test]
        fn conversions_go_round(x in 0.01f64..0.7, y in 0.01f64..0.8, level in 1e-6f64..1e6) {
            let there = uv_prime(Xy { x, y }).unwrap();
            let back = xy(there).unwrap();
            prop_assert!((back.x - x).abs() < 1e-13 && (back.y - y).abs() < 1e-13);
            let xyz = xyz_of_xy(Xy { x, y }, level).unwrap();
            prop_assert!((xyz.y - level).abs() < 1e-12 * level);
            let again = xy_of_xyz(xyz).unwrap();
            prop_assert!((again.x - x).abs() < 1e-13 && (again.y - y).abs() < 1e-13);
            let direct = uv_prime_of_xyz(xyz).unwrap();
            prop_assert!(delta_uv(direct, there) < 1e-13);
        }

        #[test]
        fn no_numbers_make_it_panic(a in any::<f64>(), b in any::<f64>(), c in any::<f64>()) {
            for found in [uv_prime(Xy { x: a, y: b }), uv_prime_of_xyz(Xyz { x: a, y: b, z: c })].into_iter().flatten() {
                prop_assert!(found.u.is_finite() && found.v.is_finite());
            }
            let _ = (xy(UvPrime { u: a, v: b }), xyz_of_xy(Xy { x: a, y: b }, c), inside_locus(Xy { x: a, y: b }));
        }
    }
}
