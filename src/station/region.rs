//! Probability that an uncertain difference lies inside its limit: a circle in u′,v′, a band in ln(luminance ratio).
//!
//! The difference is normal with mean m and covariance C. In the principal axes of C, with standard deviations a ≥ b and the
//! radius taken as 1, the circle is cut across the narrow axis:
//!
//! ```text
//! P = integral over |y| <= 1 of phi((y - m2)/b)/b [Phi((w - m1)/a) - Phi((-w - m1)/a)] dy,   w = sqrt(1 - y^2)
//! ```
//!
//! Each half is integrated in q = sqrt(1 ∓ y) where the edge is near, which takes the root out of w = q sqrt(2 − q²) and keeps the
//! digits of the distance to the edge; elsewhere in (y − m2)/b. Both arguments are monotone, so the panels of `normal::over_panels` need no search and the result holds from
//! standard deviations of nothing to those of any size. Quadrature, no sampling: equal input, equal result.
//!
//! Worked number: radius 0.005, mean (0.004, 0), 0.001 in both directions: 0.812595.

use super::normal::{EDGE, Weighted, between, over_panels, phi};

/// P(‖d‖ ≤ radius) for d normal with mean (u, v) and covariance (var u, cov u v, var v), to 1e-11.
///
/// Variances may be zero; a covariance that rounding has made indefinite is taken as its nearest with no negative
/// variance. Anything not finite, and a negative radius, gives 0: what is not known is not said to be inside.
pub fn inside_circle(mean: (f64, f64), cov: (f64, f64, f64), radius: f64) -> f64 {
    let values = [mean.0, mean.1, cov.0, cov.1, cov.2, radius];
    if values.into_iter().any(|x| !x.is_finite()) || radius < 0.0 {
        return 0.0;
    }
    let axes = principal_axes(cov);
    let (c, s) = axes.direction;
    let (along, across) = (c * mean.0 + s * mean.1, c * mean.1 - s * mean.0);
    if radius == 0.0 {
        return if axes.wide == 0.0 && mean == (0.0, 0.0) { 1.0 } else { 0.0 };
    }
    let [m1, m2, a, b] = [along.abs(), across, axes.wide, axes.narrow].map(|x| x / radius);
    if [m1, m2, a, b].into_iter().any(|x| !x.is_finite()) {
        return 0.0;
    }
    // The edge is out of reach in every direction, as it is on most days ahead of a match that holds.
    if libm::hypot(m1, m2) + EDGE * a < 1.0 {
        return 1.0;
    }
    if b == 0.0 {
        // On a line: the chord at m2.
        let w = libm::sqrt((1.0 - m2) * (1.0 + m2));
        return if m2.abs() > 1.0 { 0.0 } else { band(m1, a, w) };
    }
    (half(m1, m2, a, b) + half(m1, -m2, a, b)).clamp(0.0, 1.0)
}

/// P(|x| ≤ limit) for x normal with this mean and variance. Zero variance is legal; anything not finite, a negative variance
/// and a negative limit give 0.
pub fn inside_band(mean: f64, var: f64, limit: f64) -> f64 {
    if !(mean.is_finite() && var.is_finite() && limit.is_finite()) || var < 0.0 || limit < 0.0 {
        return 0.0;
    }
    band(mean.abs(), libm::sqrt(var), limit)
}

/// The half of the unit circle with y ≥ 0.
fn half(m1: f64, m2: f64, a: f64, b: f64) -> f64 {
    // From the mean to the edge, upwards.
    let gap = 1.0 - m2;
    if gap > 2.0 * EDGE * b {
        // The edge is out of reach of the narrow axis, and its root with it: y in standard deviations keeps all digits.
        let width = |t: f64| libm::sqrt((gap - b * t) * (1.0 + m2 + b * t));
        let step = |t: f64| (width(t) - m1) / a;
        let share = |t: f64| band(m1, a, width(t));
        return over_panels((-m2 / b).max(-EDGE), EDGE, &Weighted { z: |t| t, dz: |_| 1.0, step, share });
    }
    let low = libm::sqrt((gap - EDGE * b).clamp(0.0, 1.0));
    let high = libm::sqrt((gap + EDGE * b).clamp(0.0, 1.0));
    let width = |q: f64| q * libm::sqrt(2.0 - q * q);
    let (z, dz) = (|q: f64| (gap - q * q) / b, |q: f64| 2.0 * q / b);
    let step = |q: f64| (width(q) - m1) / a;
    over_panels(low, high, &Weighted { z, dz, step, share: |q| band(m1, a, width(q)) })
}

/// P(|x| ≤ limit) for x normal about `mean` ≥ 0.
fn band(mean: f64, sd: f64, limit: f64) -> f64 {
    if sd == 0.0 {
        return if mean <= limit { 1.0 } else { 0.0 };
    }
    let (near, far) = ((limit - mean) / sd, (limit + mean) / sd);
    // Above, the far side is out of reach: one tail less to compute.
    if far > EDGE { phi(near) } else { between(-far, near) }
}

struct Axes {
    wide: f64,
    narrow: f64,
    /// Cosine and sine of the angle from u′ to the wide axis.
    direction: (f64, f64),
}

/// Standard deviations along the principal axes of a 2×2 covariance.
fn principal_axes((uu, uv, vv): (f64, f64, f64)) -> Axes {
    // Scaled by its largest element, so that no product overflows or vanishes.
    let scale = uu.abs().max(uv.abs()).max(vv.abs());
    if scale == 0.0 {
        return Axes { wide: 0.0, narrow: 0.0, direction: (1.0, 0.0) };
    }
    let (uu, uv, vv) = (uu / scale, uv / scale, vv / scale);
    let (middle, lean) = ((uu + vv) / 2.0, (uu - vv) / 2.0);
    let root = libm::hypot(lean, uv);
    let wide = (middle + root).max(0.0);
    // The product of both is the determinant, which is exacter than the difference middle − root.
    let narrow = if wide > 0.0 { ((uu * vv - uv * uv) / wide).clamp(0.0, wide) } else { 0.0 };
    let angle = 0.5 * libm::atan2(uv, lean);
    let unit = libm::sqrt(scale);
    Axes {
        wide: unit * libm::sqrt(wide),
        narrow: unit * libm::sqrt(narrow),
        direction: (libm::cos(angle), libm::sin(angle)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn circles_as_published() {
        for (d, s, p) in [
            (0.0, 0.002, 0.956063),
            (0.002, 0.002, 0.879146),
            (0.003, 0.001, 0.969322),
            (0.004, 0.0005, 0.974058),
            (0.004, 0.001, 0.812595),
            (0.005, 0.001, 0.459902),
            (0.006, 0.001, 0.137485),
        ] {
            let found = inside_circle((0.6 * d, -0.8 * d), (s * s, 0.0, s * s), 0.005);
            assert!((found - p).abs() < 5.1e-7, "{d} {s}: {found}");
        }
        for (mean, (a, b, rho), p) in [
            ((0.003, 0.002), (0.001, 0.0015, 0.0), 0.841546),
            ((0.002, -0.003), (0.0004, 0.0012, 0.0), 0.900906),
            ((0.003, 0.002), (0.0012, 0.0009, 0.4), 0.850083),
        ] {
            let found = inside_circle(mean, (a * a, rho * a * b, b * b), 0.005);
            assert!((found - p).abs() < 5.1e-7, "{mean:?}: {found}");
        }
        // The largest offset that still gives 95 %, and the spread above which none does.
        let round = |d: f64, s: f64| inside_circle((0.0, d), (s * s, 0.0, s * s), 0.005);
        for (s, offset) in [(0.0005, 0.004150), (0.001, 0.003230), (0.0015, 0.002191), (0.002, 0.000591)] {
            assert!(round(offset - 5.1e-7, s) > 0.95 && round(offset + 5.1e-7, s) < 0.95, "{s}: {}", round(offset, s));
        }
        assert!(round(0.0, 0.002043 - 5.1e-7) > 0.95 && round(0.0, 0.002043 + 5.1e-7) < 0.95);
        // "Best possible P(inside 0.005) is 0.968 when the reading says identical" (u 0.00217, 0.00141, rho −0.21).
        let meters =
            inside_circle((0.0, 0.0), (0.00217 * 0.00217, -0.21 * 0.00217 * 0.00141, 0.00141 * 0.00141), 0.005);
        assert!((meters - 0.968).abs() < 1e-3, "{meters}");
    }

    #[test]
    fn bands_as_jcgm_106_has_them() {
        // 1500 to 2500 lx is 2000 ± 500.
        for (y, u, p) in
            [(1600.0, 40.0, 0.99379), (1560.0, 40.0, 0.93319), (1500.0, 40.0, 0.5), (2450.0, 50.0, 0.84134)]
        {
            assert!((inside_band(y - 2000.0, u * u, 500.0) - p).abs() < 5e-6, "{y}");
        }
        assert_eq!(inside_band(0.1, 0.0, 0.1), 1.0);
        assert_eq!(inside_band(-0.2, 0.0, 0.1), 0.0);
        assert_eq!(inside_band(0.0, -1.0, 0.1), 0.0);
        assert_eq!(inside_band(f64::NAN, 1.0, 0.1), 0.0);
    }

    #[test]
    fn zero_variances_are_legal() {
        assert_eq!(inside_circle((0.003, 0.004), (0.0, 0.0, 0.0), 0.005000001), 1.0);
        assert_eq!(inside_circle((0.003, 0.0041), (0.0, 0.0, 0.0), 0.005), 0.0);
        assert_eq!(inside_circle((0.0, 0.0), (0.0, 0.0, 0.0), 0.0), 1.0);
        assert_eq!(inside_circle((0.0, 0.0), (1e-6, 0.0, 1e-6), 0.0), 0.0);
        // Along a line that misses the centre by 0.003 the chord is ±0.004.
        let line = inside_circle((0.001, 0.003), (4e-6, 0.0, 0.0), 0.005);
        assert!((line - between(-2.5, 1.5)).abs() < 1e-14, "{line}");
        // The same, turned by 30°.
        let (c, s) = (0.75f64.sqrt(), 0.5);
        let mean = (c * 0.001 - s * 0.003, s * 0.001 + c * 0.003);
        let turned = inside_circle(mean, (4e-6 * c * c, 4e-6 * c * s, 4e-6 * s * s), 0.005);
        assert!((turned - line).abs() < 1e-7, "{turned} {line}");
        // A narrow axis of almost nothing leads there.
        assert!((inside_circle((0.001, 0.003), (4e-6, 0.0, 1e-26), 0.005) - line).abs() < 1e-9);
    }

    #[test]
    fn from_the_tiniest_to_the_widest_spread() {
        let round = |d: f64, s: f64| inside_circle((d, 0.0), (s * s, 0.0, s * s), 0.005);
        assert!(round(0.0049, 1e-9) > 1.0 - 1e-12);
        assert_eq!(round(0.0051, 1e-9), 0.0);
        // On the limit itself: half, less the curvature's share s/(2R) φ(0).
        assert!((round(0.005, 1e-9) - 0.5).abs() < 1e-7, "{}", round(0.005, 1e-9));
        assert!((round(0.005, 1e-15) - 0.5).abs() < 1e-3, "at the resolution of f64: {}", round(0.005, 1e-15));
        let wide = round(0.0, 1e3);
        let exact = -libm::expm1(-0.5 * (0.005f64 / 1e3).powi(2));
        assert!((wide / exact - 1.0).abs() < 1e-9, "{wide} {exact}");
        for (a, b) in [(1e3, 1e-9), (1e-9, 1e3), (1e150, 1e-150), (1e-160, 1e-160), (1e3, 1e3)] {
            let p = inside_circle((0.001, -0.002), (a * a, 0.0, b * b), 0.005);
            assert!((0.0..=1.0).contains(&p), "{a} {b}: {p}");
        }
    }

    #[test]
    fn an_edge_out_of_reach_is_not_integrated() {
        for (d, flat) in [(0.0, 1.0), (0.3, 0.5), (0.9, 1.0), (0.99, 0.01)] {
            let at = |a: f64| inside_circle((0.6 * d, -0.8 * d), (a * a, 0.0, a * a * flat * flat), 1.0);
            let reach = (1.0 - d) / EDGE;
            assert_eq!(at(reach * (1.0 - 1e-9)), 1.0);
            assert!(at(reach * (1.0 + 1e-9)) > 1.0 - 2e-12, "{d} {flat}: {}", at(reach * (1.0 + 1e-9)));
        }
    }

    /// P over the plane by Simpson's rule on a fine grid in polar coordinates: slow, simple, and nothing like the above.
    fn by_polar_grid(mean: (f64, f64), (uu, uv, vv): (f64, f64, f64), radius: f64) -> f64 {
        let det = uu * vv - uv * uv;
        let (n, turns) = (240, 240);
        let mut sum = 0.0;
        for i in 0..=n {
            let r = radius * f64::from(i) / f64::from(n);
            let weight = if i == 0 || i == n {
                1.0
            } else if i % 2 == 1 {
                4.0
            } else {
                2.0
            };
            for j in 0..turns {
                let (s, c) = (2.0 * std::f64::consts::PI * f64::from(j) / f64::from(turns)).sin_cos();
                let (x, y) = (r * c - mean.0, r * s - mean.1);
                let form = (vv * x * x - 2.0 * uv * x * y + uu * y * y) / det;
                sum += weight * r * (-0.5 * form).exp();
            }
        }
        sum * (radius / f64::from(n) / 3.0) / f64::from(turns) / det.sqrt()
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

        #[test]
        fn against_a_plain_sum(
            u in -0.008f64..0.008, v in -0.008f64..0.008, a in 0.0004f64..0.02, b in 0.0004f64..0.02, rho in -0.9f64..0.9,
        ) {
            let cov = (a * a, rho * a * b, b * b);
            let (found, plain) = (inside_circle((u, v), cov, 0.005), by_polar_grid((u, v), cov, 0.005));
            prop_assert!((found - plain).abs() < 1e-7, "{} {}", found, plain);
        }

        #[test]
        fn chi_square_in_closed_form(s in 1e-6f64..1.0, r in 1e-6f64..1.0) {
            let found = inside_circle((0.0, 0.0), (s * s, 0.0, s * s), r);
            let exact = -libm::expm1(-0.5 * (r / s) * (r / s));
            prop_assert!((found - exact).abs() < 1e-11, "{} {}", found, exact);
        }

        #[test]
        fn grows_with_the_radius(
            u in -0.01f64..0.01, v in -0.01f64..0.01, a in -9f64..1.0, b in -9f64..1.0, rho in -1f64..=1.0,
            r in 0f64..0.02, more in 0f64..0.01,
        ) {
            let (a, b) = (10f64.powf(a), 10f64.powf(b));
            let cov = (a * a, rho * a * b, b * b);
            let (less, more) = (inside_circle((u, v), cov, r), inside_circle((u, v), cov, r + more));
            prop_assert!((0.0..=1.0).contains(&less) && (0.0..=1.0).contains(&more));
            prop_assert!(less <= more + 1e-11, "{} {}", less, more);
        }

        #[test]
        fn turning_the_axes_changes_nothing(
            u in -0.01f64..0.01, v in -0.01f64..0.01, a in -4f64..0.0, b in -4f64..0.0, angle in 0f64..6.3,
        ) {
            let (a, b) = (10f64.powf(a), 10f64.powf(b));
            let (s, c) = angle.sin_cos();
            let (uu, vv) = (a * a, b * b);
            let turned = (c * c * uu + s * s * vv, c * s * (uu - vv), s * s * uu + c * c * vv);
            let straight = inside_circle((u, v), (uu, 0.0, vv), 0.005);
            let found = inside_circle((c * u - s * v, s * u + c * v), turned, 0.005);
            // A narrow axis loses the digits of its variance in the turn: 1e-16 of the wide one's, relative to its own.
            let lost = 1e-15 * (a / b).max(b / a).powi(2);
            prop_assert!((straight - found).abs() < 1e-11 + lost, "{} {}", straight, found);
        }

        #[test]
        fn no_numbers_make_it_nan(x in prop::array::uniform6(any::<f64>())) {
            let [u, v, uu, uv, vv, r] = x;
            prop_assert!((0.0..=1.0).contains(&inside_circle((u, v), (uu, uv, vv), r)));
            prop_assert!((0.0..=1.0).contains(&inside_band(u, uu, r)));
        }
    }
}
