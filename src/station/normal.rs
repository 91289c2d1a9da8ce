//! The normal distribution in one and two dimensions: density, distribution, quantile. Pure, and never NaN.
//!
//! One dimension by `erfc`; the quantile by M. J. Wichura's algorithm AS 241 (Applied Statistics 37, 1988, 477–484), refined by
//! one step of Halley. Two dimensions by quadrature of the conditional form, which stays smooth as |ρ| → 1 because the
//! panels follow the step that the integrand then has:
//!
//! ```text
//! P(X <= h, Y <= k) = integral to h of phi(x) Phi((k - rho x) / sqrt(1 - rho^2)) dx
//! ```
//!
//! Worked number: both below 0 with ρ = 0.5 is 1/4 + asin(ρ)/2π = 1/3.

use std::f64::consts::FRAC_1_SQRT_2;

/// Beyond this many standard deviations less than 1e-13 remains on one side.
pub(super) const EDGE: f64 = 7.5;

/// Density of the standard normal distribution; 0 for what is not a number.
pub fn pdf(z: f64) -> f64 {
    /// 1/√(2π).
    const HIGHEST: f64 = 0.398_942_280_401_432_7;
    if z.is_nan() { 0.0 } else { HIGHEST * libm::exp(-0.5 * z * z) }
}

/// P(Z ≤ z) of a standard normal Z, precise in both tails; 0.5 for what is not a number.
pub fn phi(z: f64) -> f64 {
    if z.is_nan() { 0.5 } else { 0.5 * libm::erfc(-z * FRAC_1_SQRT_2) }
}

/// P(a < Z ≤ b), without loss of digits in the tails; 0 unless a < b.
pub fn between(a: f64, b: f64) -> f64 {
    if a < b { if a > 0.0 { phi(-a) - phi(-b) } else { phi(b) - phi(a) } } else { 0.0 }
}

fn finite(value: f64) -> f64 {
    if value.is_finite() { value } else { 0.0 }
}

/// The z with P(Z ≤ z) = p. p ≤ 0 gives −∞, p ≥ 1 gives +∞, what is not a number 0.
pub fn quantile(p: f64) -> f64 {
    if p.is_nan() {
        return 0.0;
    }
    if p <= 0.0 {
        return f64::NEG_INFINITY;
    }
    if p >= 1.0 {
        return f64::INFINITY;
    }
    let q = p - 0.5;
    // Only the lower half is refined, where Φ has all its digits; the upper half is its mirror.
    if q > 0.0 {
        return -lower_quantile(1.0 - p, -q);
    }
    lower_quantile(p, q)
}

/// AS 241 (PPND16) for 0 < p ≤ 0.5 with q = p − 0.5, then one step of Halley on Φ(z) = p.
#[allow(clippy::excessive_precision)]
fn lower_quantile(p: f64, q: f64) -> f64 {
    const A: [f64; 8] = [
        3.387_132_872_796_366_5,
        133.141_667_891_784_38,
        1_971.590_950_306_551_3,
        13_731.693_765_509_46,
        45_921.953_931_549_87,
        67_265.770_927_008_7,
        33_430.575_583_588_13,
        2_509.080_928_730_122_7,
    ];
    const B: [f64; 8] = [
        1.0,
        42.313_330_701_600_91,
        687.187_007_492_057_9,
        5_394.196_021_424_751,
        21_213.794_301_586_597,
        39_307.895_800_092_71,
        28_729.085_735_721_943,
        5_226.495_278_852_545,
    ];
    const C: [f64; 8] = [
        1.423_437_110_749_683_5,
        4.630_337_846_156_546,
        5.769_497_221_460_691,
        3.647_848_324_763_204_5,
        1.270_458_252_452_368_4,
        0.241_780_725_177_450_6,
        0.022_723_844_989_269_184,
        7.745_450_142_783_414e-4,
    ];
    const D: [f64; 8] = [
        1.0,
        2.053_191_626_637_759,
        1.676_384_830_183_803_8,
        0.689_767_334_985_1,
        0.148_103_976_427_480_08,
        0.015_198_666_563_616_457,
        5.475_938_084_995_345e-4,
        1.050_750_071_644_416_9e-9,
    ];
    const E: [f64; 8] = [
        6.657_904_643_501_103,
        5.463_784_911_164_114,
        1.784_826_539_917_291_3,
        0.296_560_571_828_504_87,
        0.026_532_189_526_576_124,
        0.001_242_660_947_388_078_4,
        2.711_555_568_743_487_6e-5,
        2.010_334_399_292_288_1e-7,
    ];
    const F: [f64; 8] = [
        1.0,
        0.599_832_206_555_888,
        0.136_929_880_922_735_8,
        0.014_875_361_290_850_615,
        7.868_691_311_456_133e-4,
        1.846_318_317_510_054_8e-5,
        1.421_511_758_316_445_9e-7,
        2.044_263_103_389_939_8e-15,
    ];
    let poly = |c: &[f64; 8], x: f64| c.iter().rev().fold(0.0, |sum, k| sum * x + k);
    let first = if q.abs() <= 0.425 {
        let r = 0.180_625 - q * q;
        q * poly(&A, r) / poly(&B, r)
    } else {
        let r = libm::sqrt(-libm::log(p));
        let tail = if r <= 5.0 { poly(&C, r - 1.6) / poly(&D, r - 1.6) } else { poly(&E, r - 5.0) / poly(&F, r - 5.0) };
        -tail
    };
    let density = pdf(first);
    if density <= 0.0 {
        return first;
    }
    let newton = (phi(first) - p) / density;
    first - newton / (1.0 + 0.5 * first * newton)
}

/// P(X ≤ h and Y ≤ k) for standard normal X and Y with correlation `rho`, to 1e-12; `rho` is taken into [−1, 1]. What is not
/// a number counts as 0. What the rough one of `risk` is held against.
#[cfg(test)]
pub fn both_below(h: f64, k: f64, rho: f64) -> f64 {
    let [h, k, rho] = [h, k, rho].map(|x| if x.is_nan() { 0.0 } else { x });
    let rho = rho.clamp(-1.0, 1.0);
    if h.is_infinite() || k.is_infinite() {
        return if h.min(k) == f64::NEG_INFINITY { 0.0 } else { phi(h.min(k)) };
    }
    let rest = libm::sqrt((1.0 - rho) * (1.0 + rho));
    if rest == 0.0 {
        return if rho > 0.0 { phi(h.min(k)) } else { (phi(h) - phi(-k)).max(0.0) };
    }
    // The variable that is cut lower leaves the shorter way to integrate.
    let (h, k) = if h <= k { (h, k) } else { (k, h) };
    // The other one cuts nothing off.
    if k > EDGE {
        return phi(h);
    }
    let step = |x: f64| (k - rho * x) / rest;
    let sum = over_panels(-EDGE, h.min(EDGE), &Weighted { z: |x| x, dz: |_| 1.0, step, share: |x| phi(step(x)) });
    sum.clamp(0.0, 1.0)
}

/// An integrand φ(z(q)) |z′(q)| share(q), where the share goes from 0 to 1 as `step` goes from below −[`EDGE`] to above it.
/// `z` and `step` must be monotone between the limits of integration.
pub(super) struct Weighted<Z, D, S, G> {
    pub z: Z,
    pub dz: D,
    pub step: S,
    pub share: G,
}

/// Integrates between `low` and `high` by Gauss and Legendre on panels parted until neither argument moves more than a few standard
/// deviations; where the share is 0 or 1, in closed form.
pub(super) fn over_panels<Z, D, S, G>(low: f64, high: f64, f: &Weighted<Z, D, S, G>) -> f64
where
    Z: Fn(f64) -> f64,
    D: Fn(f64) -> f64,
    S: Fn(f64) -> f64,
    G: Fn(f64) -> f64,
{
    /// Each parting narrows by two at least: 80 reach the resolution of f64 from any start.
    const DEEPEST: u32 = 80;
    fn panel<Z, D, S, G>(low: f64, high: f64, depth: u32, f: &Weighted<Z, D, S, G>) -> f64
    where
        Z: Fn(f64) -> f64,
        D: Fn(f64) -> f64,
        S: Fn(f64) -> f64,
        G: Fn(f64) -> f64,
    {
        /// Twenty nodes over this many standard deviations err by less than 1e-13.
        const REACH: f64 = 6.0;
        let (z0, z1) = ((f.z)(low), (f.z)(high));
        let (s0, s1) = ((f.step)(low), (f.step)(high));
        let (z_low, z_high) = (z0.min(z1), z0.max(z1));
        if z_low > EDGE || z_high < -EDGE || s0.max(s1) < -EDGE {
            return 0.0;
        }
        if s0.min(s1) > EDGE {
            return between(z_low, z_high);
        }
        let middle = low + (high - low) / 2.0;
        let moved = (z_high - z_low).max((s1 - s0).abs());
        if moved <= REACH || depth >= DEEPEST || !(middle > low && middle < high) {
            let half = (high - low) / 2.0;
            let at = |x: f64| pdf((f.z)(x)) * (f.dz)(x).abs() * (f.share)(x);
            return half * GAUSS.iter().map(|(x, w)| w * (at(middle - half * x) + at(middle + half * x))).sum::<f64>();
        }
        let parts = if moved > 2.0 * REACH { 3 } else { 2 };
        let width = (high - low) / f64::from(parts);
        (0..parts)
            .map(|i| {
                let (from, to) = (low + width * f64::from(i), low + width * f64::from(i + 1));
                panel(from, if i + 1 == parts { high } else { to }, depth + 1, f)
            })
            .sum()
    }
    if low < high { finite(panel(low, high, 0, f)) } else { 0.0 }
}

/// Positive nodes and weights of the 20-point rule of Gauss and Legendre (a test recomputes them).
#[allow(clippy::unreadable_literal)]
const GAUSS: [(f64, f64); 10] = [
    (0.07652652113349734, 0.15275338713072584),
    (0.22778585114164507, 0.14917298647260374),
    (0.37370608871541955, 0.14209610931838204),
    (0.5108670019508271, 0.13168863844917664),
    (0.636053680726515, 0.11819453196151841),
    (0.7463319064601508, 0.10193011981724044),
    (0.8391169718222188, 0.08327674157670475),
    (0.912234428251326, 0.06267204833410907),
    (0.9639719272779138, 0.04060142980038694),
    (0.9931285991850949, 0.017614007139152118),
];

#[cfg(test)]
mod tests {
    use std::f64::consts::PI;

    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_nodes_are_the_zeros_of_the_legendre_polynomial() {
        let mut total = 0.0;
        for (x, w) in GAUSS {
            let (mut before, mut p) = (1.0, x);
            for n in 2..=20 {
                let n = f64::from(n);
                (before, p) = (p, ((2.0 * n - 1.0) * x * p - (n - 1.0) * before) / n);
            }
            let slope = 20.0 * (before - x * p) / (1.0 - x * x);
            assert!((p / slope).abs() < 1e-15, "{x}");
            assert!((w - 2.0 / ((1.0 - x * x) * slope * slope)).abs() < 1e-15, "{w}");
            total += 2.0 * w;
        }
        assert!((total - 2.0f64).abs() < 1e-14);
    }

    #[test]
    fn conformity_as_jcgm_106_has_it() {
        // Breakdown voltage -5.47 V, u 0.05, limit -5.40; and 1500 to 2500 lx.
        assert!((phi((-5.40 + 5.47) / 0.05) - 0.919243).abs() < 5e-7);
        let inside = |y: f64, u: f64| between((1500.0 - y) / u, (2500.0 - y) / u);
        for (y, u, p) in
            [(1600.0, 40.0, 0.99379), (1560.0, 40.0, 0.93319), (1500.0, 40.0, 0.5), (2450.0, 50.0, 0.84134)]
        {
            assert!((inside(y, u) - p).abs() < 5e-6, "{y} {u}");
        }
        // A guard band of 1.6449 u keeps 95 %, one of 2 u leaves 2.28 % (JCGM 106, 8.3).
        assert!((inside(1500.0 + 1.6449 * 40.0, 40.0) - 0.95).abs() < 5e-6);
        assert!((1.0 - inside(1500.0 + 2.0 * 40.0, 40.0) - 0.0228).abs() < 5e-5);
        for (z, p) in [(1.28, 0.89973), (1.645, 0.95002), (2.0, 0.97725), (3.0, 0.99865)] {
            assert!((phi(z) - p).abs() < 5e-6, "{z}");
        }
    }

    #[test]
    fn quantiles_as_published() {
        // AS 241 gives these three itself, to 16 digits.
        for (p, z) in [
            (0.25, -0.674_489_750_196_081_7),
            (0.001, -3.090_232_306_167_813_5),
            (1e-20, -9.262_340_089_798_408),
            (0.95, 1.644_853_626_951_472_2),
            (0.975, 1.959_963_984_540_054),
        ] {
            assert!((quantile(p) - z).abs() < 2e-15 * z.abs(), "{p}: {}", quantile(p));
        }
        assert_eq!(quantile(0.5), 0.0);
        assert_eq!((quantile(0.0), quantile(1.0)), (f64::NEG_INFINITY, f64::INFINITY));
        assert!(quantile(1e-300).is_finite() && quantile(5e-324).is_finite());
    }

    #[test]
    fn two_dimensions_in_closed_form() {
        for rho in [-1.0f64, -0.999_999, -0.9, -0.3, 0.0, 0.5, 0.95, 0.999_999_999, 1.0] {
            let exact = 0.25 + rho.asin() / (2.0 * PI);
            assert!((both_below(0.0, 0.0, rho) - exact).abs() < 1e-12, "{rho}");
        }
        assert!((both_below(1.0, -0.5, 0.0) - phi(1.0) * phi(-0.5)).abs() < 1e-12);
        assert_eq!(both_below(1.0, 0.5, 1.0), phi(0.5));
        assert!((both_below(1.0, 0.5, -1.0) - (phi(1.0) + phi(0.5) - 1.0)).abs() < 1e-15);
        assert_eq!(both_below(-1.0, 0.5, -1.0), 0.0);
        assert_eq!(both_below(f64::INFINITY, 0.3, 0.4), phi(0.3));
        assert_eq!(both_below(f64::NEG_INFINITY, 0.3, 0.4), 0.0);
    }

    #[test]
    fn what_cuts_nothing_off_is_not_integrated() {
        for rho in [-0.999_999, -0.7, 0.0, 0.4, 0.999_999] {
            for h in [-3.0, 0.0, 2.0, 7.4] {
                let (near, beyond) = (both_below(h, EDGE - 1e-9, rho), both_below(h, EDGE + 1e-9, rho));
                assert!((near - beyond).abs() < 1e-12, "{h} {rho}: {near} {beyond}");
            }
        }
    }

    /// Plackett's identity, dP/dρ = bivariate density, integrated from ρ = 0 by another rule.
    fn by_plackett(h: f64, k: f64, rho: f64) -> f64 {
        let (n, end) = (4000, rho.asin());
        let f = |t: f64| (-(h * h + k * k - 2.0 * h * k * t.sin()) / (2.0 * t.cos() * t.cos())).exp() / (2.0 * PI);
        let step = end / f64::from(n);
        let inner: f64 = (1..n).map(|i| f(step * f64::from(i)) * if i % 2 == 1 { 4.0 } else { 2.0 }).sum();
        phi(h) * phi(k) + step / 3.0 * (f(0.0) + inner + f(end))
    }

    proptest! {
        #[test]
        fn the_quantile_undoes_the_distribution(z in -30.0f64..5.0) {
            let p = phi(z);
            // Above 0 the digits of 1 − p limit what can come back.
            prop_assert!((quantile(p) - z).abs() < 4e-15 * z.abs().max(1.0) + 2e-16 / pdf(z).max(1e-300) * p);
        }

        #[test]
        fn two_dimensions_against_another_way(h in -5f64..5.0, k in -5f64..5.0, rho in -0.98f64..0.98) {
            let (found, other) = (both_below(h, k, rho), by_plackett(h, k, rho));
            prop_assert!((found - other).abs() < 1e-10, "{found} {other}");
        }

        #[test]
        fn near_one_it_tends_to_the_closed_form(h in -4f64..4.0, k in -4f64..4.0, tiny in 0f64..1e-13) {
            // A gap of 1e-13 in ρ is one of at most 4e-7 in the step's width, times a density of 0.4.
            let rho = 1.0 - tiny;
            prop_assert!((both_below(h, k, rho) - phi(h.min(k))).abs() < 2e-7);
            prop_assert!((both_below(h, k, -rho) - (phi(h) - phi(-k)).max(0.0)).abs() < 2e-7);
        }

        #[test]
        fn the_four_quadrants_fill_the_plane(h in -6f64..6.0, k in -6f64..6.0, rho in -1f64..=1.0) {
            let sum = both_below(h, k, rho) + both_below(-h, k, -rho) + both_below(h, -k, -rho) + both_below(-h, -k, rho);
            prop_assert!((sum - 1.0).abs() < 1e-12, "{sum}");
            prop_assert!((both_below(h, k, rho) - both_below(k, h, rho)).abs() < 1e-12);
        }

        #[test]
        fn no_numbers_make_it_nan(a in any::<f64>(), b in any::<f64>(), c in any::<f64>()) {
            prop_assert!((0.0..=1.0).contains(&both_below(a, b, c)));
            prop_assert!((0.0..=1.0).contains(&phi(a)));
            prop_assert!((0.0..=1.0).contains(&between(a, b)));
            prop_assert!(!quantile(c).is_nan() && !pdf(a).is_nan());
        }
    }
}
