//! Correlated colour temperature and tint, from chromaticity and back.
//!
//! CCT is the temperature of the nearest black body in CIE 1960 u,v, Duv the signed distance from it, positive above the
//! locus (greenish). Method: Y. Ohno, "Practical Use and Calculation of CCT and Duv", Leukos 10(1), 47–55 (2014; online 2013).
//! From the nearest entry m of a table of the locus and its neighbours m−1, m+1 at distances d of the chromaticity:
//!
//! ```text
//! triangular   l = |P(m+1) - P(m-1)|    p = (d(m-1)^2 - d(m+1)^2 + l^2) / 2l
//!              T = T(m-1) + (T(m+1) - T(m-1)) p/l        |Duv| = sqrt(d(m-1)^2 - p^2)
//! parabolic    the parabola through the three (T, d): T at its lowest point, |Duv| its height there
//! ```
//!
//! The triangular solution is taken for |Duv| < 0.002, else the parabolic one. With the paper's table, steps of 1 %, that leaves
//! up to 1e-4 of T (the paper's factor 0.99991 is the mean of it); one step of Newton's method on the locus itself, with
//! (P − L(T))·L′(T) = 0, takes it out, so that a temperature and tint come back from their chromaticity.
//! Planck's law with c2 = 1.4388e-2 m K (CIE 15), summed over 360–830 nm, stands as a table in `locus`: the sums take
//! milliseconds, which no call of the program should wait for.
//!
//! Worked number: u 0.1978 v 0.3122 has CCT 6507.5 K, Duv 0.00322.

use super::chromaticity::{Degenerate, uv_1960, uv_prime_from_1960};
use super::locus::LOCUS;
use crate::units::{Duv, Kelvin, UvPrime};

/// Largest |Duv| at which a colour temperature means anything (CIE 15).
pub const MAX_TINT: f64 = 0.05;

/// Colour temperature and tint.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CctDuv {
    /// Correlated colour temperature.
    pub cct_k: Kelvin,
    /// Signed distance from the Planckian locus in CIE 1960 u,v.
    pub duv: Duv,
}

/// Why a chromaticity has no colour temperature.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum NoTemperature {
    /// Too far from the locus.
    #[error(
        "no colour temperature: {distance:.4} from the Planckian locus, expected at most 0.05 in CIE 1960 u,v (CIE 15); give x,y or u',v' instead"
    )]
    TooFar {
        /// Distance from the locus, CIE 1960.
        distance: f64,
    },
    /// Beyond one end of the range.
    #[error("no colour temperature between 1000 and 100 000 K is nearest to u' {u}, v' {v}; give x,y or u',v' instead")]
    OutOfRange {
        /// u′ as found.
        u: f64,
        /// v′ as found.
        v: f64,
    },
}

/// A point of the Planckian locus in CIE 1960 u,v, with the unit tangent towards higher temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub struct LocusPoint {
    pub u: f64,
    pub v: f64,
    /// Unit vector along the locus, towards higher temperature (bluer).
    pub along: (f64, f64),
}

impl LocusPoint {
    /// Unit vector across the locus, towards positive Duv (greener).
    pub const fn across(&self) -> (f64, f64) {
        // The locus runs to smaller u and smaller v as it gets hotter, so this quarter turn points to larger v.
        (self.along.1, -self.along.0)
    }
}

/// CCT and Duv of a chromaticity, to 0.01 K and 1e-8 between 2000 and 10 000 K.
pub fn cct_duv(at: UvPrime) -> Result<CctDuv, NoTemperature> {
    let (u, v) = uv_1960(at);
    let outside = NoTemperature::OutOfRange { u: at.u, v: at.v };
    let solution = solve(u, v).ok_or(outside)?;
    if solution.duv.abs() > MAX_TINT {
        return Err(NoTemperature::TooFar { distance: solution.duv.abs() });
    }
    match (Kelvin::new(solution.kelvin), Duv::new(solution.duv)) {
        (Ok(cct_k), Ok(duv)) => Ok(CctDuv { cct_k, duv }),
        _ => Err(outside),
    }
}

/// The chromaticity of a colour temperature and a tint. Beyond [`MAX_TINT`] a temperature says nothing of the colour.
pub fn uv_of_cct_duv(at: CctDuv) -> Result<UvPrime, NoTemperature> {
    let duv = at.duv.get();
    if duv.abs() > MAX_TINT {
        return Err(NoTemperature::TooFar { distance: duv.abs() });
    }
    let foot = planckian_point(at.cct_k);
    let (nu, nv) = foot.across();
    Ok(uv_prime_from_1960(foot.u + duv * nu, foot.v + duv * nv))
}

/// The chromaticity of a black body.
pub fn planckian(cct_k: Kelvin) -> UvPrime {
    let foot = planckian_point(cct_k);
    uv_prime_from_1960(foot.u, foot.v)
}

/// The black body's place on the locus and the directions along and across it.
pub fn planckian_point(cct_k: Kelvin) -> LocusPoint {
    arc_at(cct_k.get()).point()
}

/// The place on the locus nearest to a chromaticity, also where that has no colour temperature.
pub(super) fn foot(at: UvPrime) -> Result<LocusPoint, Degenerate> {
    let (u, v) = uv_1960(at);
    let degenerate = Degenerate { space: "u', v'", first: at.u, second: at.v };
    if !(u.is_finite() && v.is_finite()) {
        return Err(degenerate);
    }
    let kelvin = solve(u, v).map_or_else(|| kelvin_of(nearest(u, v)), |s| s.kelvin);
    Ok(arc_at(kelvin).point())
}

struct Solution {
    kelvin: f64,
    duv: f64,
}

/// Ohno's solution, with no regard to whether it means anything; None beyond the ends of the table.
fn solve(u: f64, v: f64) -> Option<Solution> {
    if !(u.is_finite() && v.is_finite()) {
        return None;
    }
    let middle = nearest(u, v);
    let (before, at, after) = (entry(middle.checked_sub(1)?)?, entry(middle)?, entry(middle + 1)?);
    let [d0, d1, d2] = [before, at, after].map(|e| libm::hypot(u - e.u, v - e.v));

    let (chord_u, chord_v) = (after.u - before.u, after.v - before.v);
    let chord = libm::hypot(chord_u, chord_v);
    // p/l and Duv as inner and outer product with the chord: equal to the squares above, and they keep their digits.
    let share = ((u - before.u) * chord_u + (v - before.v) * chord_v) / (chord * chord);
    let duv = ((u - before.u) * chord_v - (v - before.v) * chord_u) / chord;
    if duv.abs() < 0.002 {
        let kelvin = before.kelvin + (after.kelvin - before.kelvin) * share;
        return Some(refined(u, v, Solution { kelvin, duv }));
    }

    // The parabola d(T) by divided differences about the middle entry.
    let (t0, t2) = (before.kelvin - at.kelvin, after.kelvin - at.kelvin);
    let (s0, s2) = ((d0 - d1) / t0, (d2 - d1) / t2);
    let a = (s2 - s0) / (t2 - t0);
    let b = s0 - a * t0;
    if a <= 0.0 {
        return None;
    }
    let step = -b / (2.0 * a);
    Some(refined(u, v, Solution { kelvin: at.kelvin + step, duv: (d1 + b * step / 2.0).copysign(duv) }))
}

/// One entry of the table.
#[derive(Clone, Copy)]
struct Entry {
    kelvin: f64,
    u: f64,
    v: f64,
}

/// Steps of ln T; and the table's cold end, like its hot one a little beyond the range of `Kelvin`, so that the range's
/// ends have neighbours.
const STEP: f64 = 0.01;
const COLDEST: f64 = 980.0;

fn entry(index: usize) -> Option<Entry> {
    LOCUS.get(index).map(|[u, v, ..]| Entry { kelvin: kelvin_of(index), u: *u, v: *v })
}

fn kelvin_of(index: usize) -> f64 {
    COLDEST * libm::exp(STEP * index as f64)
}

/// Index of the entry nearest to u, v: every 8th first, then those around the best.
fn nearest(u: f64, v: f64) -> usize {
    const STRIDE: usize = 8;
    let least = |from: usize, count: usize, by: usize| {
        let mut best = (from, f64::INFINITY);
        for (i, [eu, ev, ..]) in LOCUS.iter().enumerate().skip(from).step_by(by).take(count) {
            let d = (eu - u) * (eu - u) + (ev - v) * (ev - v);
            if d < best.1 {
                best = (i, d);
            }
        }
        best.0
    };
    let coarse = least(0, LOCUS.len(), STRIDE);
    least(coarse.saturating_sub(STRIDE), 2 * STRIDE + 1, 1)
}

/// The locus at `kelvin` by cubic Hermite interpolation in ln T, exact to 1e-10; beyond the table, its end.
fn arc_at(kelvin: f64) -> Arc {
    let place = libm::log(kelvin / COLDEST) / STEP;
    let index = (place.max(0.0) as usize).min(LOCUS.len() - 2);
    let t = (place - index as f64).clamp(0.0, 1.0);
    let [a, b] = [index, index + 1].map(|index| LOCUS.get(index).copied().unwrap_or_default());
    // Value, slope and bend of the cubic through p, q with slopes dp, dq by ln T.
    let cubic = |p: f64, dp: f64, q: f64, dq: f64| {
        let (dp, dq, rise, s) = (dp * STEP, dq * STEP, q - p, 1.0 - t);
        let value = p + t * (s * (dp * s - dq * t) + rise * t * (3.0 - 2.0 * t));
        let slope = 6.0 * t * s * rise + s * (1.0 - 3.0 * t) * dp + t * (3.0 * t - 2.0) * dq;
        let bend = 6.0 * (1.0 - 2.0 * t) * rise + (6.0 * t - 4.0) * dp + (6.0 * t - 2.0) * dq;
        [value, slope / STEP, bend / (STEP * STEP)]
    };
    Arc { u: cubic(a[0], a[2], b[0], b[2]), v: cubic(a[1], a[3], b[1], b[3]) }
}

/// A place of the locus: u and v, each with its first and second derivative by ln T.
struct Arc {
    u: [f64; 3],
    v: [f64; 3],
}

impl Arc {
    fn point(&self) -> LocusPoint {
        let ([u, du, _], [v, dv, _]) = (self.u, self.v);
        let length = libm::hypot(du, dv);
        LocusPoint { u, v, along: (du / length, dv / length) }
    }
}

/// One step of Newton's method towards the foot of the perpendicular from u, v.
fn refined(u: f64, v: f64, rough: Solution) -> Solution {
    let arc = arc_at(rough.kelvin);
    let ([lu, du, ddu], [lv, dv, ddv]) = (arc.u, arc.v);
    let miss = (u - lu) * du + (v - lv) * dv;
    let slope = (u - lu) * ddu + (v - lv) * ddv - du * du - dv * dv;
    let kelvin = rough.kelvin * libm::exp(-miss / slope);
    // Where the distance has no lowest point the step means nothing.
    if slope >= 0.0 || !kelvin.is_finite() {
        return rough;
    }
    let foot = arc_at(kelvin).point();
    let (nu, nv) = foot.across();
    Solution { kelvin, duv: (u - foot.u) * nu + (v - foot.v) * nv }
}

#[cfg(test)]
mod tests {
    use super::super::chromaticity::delta_uv;
    use super::super::observer::{FIRST_NM, matching_functions};
    use super::*;
    use proptest::prelude::*;

    /// u, v and their derivatives by ln T of the black body of `kelvin`, summed over the observer's table.
    fn sum(kelvin: f64) -> [f64; 4] {
        const C2: f64 = 1.4388e-2;
        let (mut sum, mut slope) = ([0.0; 3], [0.0; 3]);
        for (i, bar) in matching_functions().iter().enumerate() {
            let nm = FIRST_NM + i as f64;
            let q = C2 / (nm * 1e-9 * kelvin);
            let e = libm::exp(-q);
            // λ⁻⁵ / (exp(q) − 1) on a scale of its own; d ln(power) / d ln T = q / (1 − exp(−q)).
            let scaled = nm / 555.0;
            let power = e / (scaled * scaled * scaled * scaled * scaled * (1.0 - e));
            let rise = power * q / (1.0 - e);
            for ((s, d), b) in sum.iter_mut().zip(&mut slope).zip(bar) {
                *s += b * power;
                *d += b * rise;
            }
        }
        let ([x, y, z], [dx, dy, dz]) = (sum, slope);
        let (d, dd) = (x + 15.0 * y + 3.0 * z, dx + 15.0 * dy + 3.0 * dz);
        let (u, v) = (4.0 * x / d, 6.0 * y / d);
        [u, v, (4.0 * dx - u * dd) / d, (6.0 * dy - v * dd) / d]
    }

    #[test]
    fn the_table_is_the_sum() {
        let (before, _) = include_str!("locus.rs").split_once("= [\n").unwrap();
        let rows: String = (0..LOCUS.len()).map(|index| format!("    {:?},\n", sum(kelvin_of(index)))).collect();
        let whole = format!("{before}= [\n{rows}];\n");
        assert!(include_str!("locus.rs") == whole, "locus.rs should read\n{whole}");
        assert!(kelvin_of(1) < 1000.0 && kelvin_of(LOCUS.len() - 2) > 100_000.0);
    }

    fn of(cct: f64, duv: f64) -> CctDuv {
        CctDuv { cct_k: Kelvin::new(cct).unwrap(), duv: Duv::new(duv).unwrap() }
    }

    #[test]
    fn the_worked_number() {
        let found = cct_duv(uv_prime_from_1960(0.1978, 0.3122)).unwrap();
        assert!((found.cct_k.get() - 6507.5).abs() < 0.1 && (found.duv.get() - 0.00322).abs() < 5e-6, "{found:?}");
    }

    #[test]
    fn interpolation_is_the_sum_itself() {
        for i in 0..200 {
            let kelvin = 1000.0 * 100f64.powf(f64::from(i) / 199.0);
            let ([u, v, du, dv], between) = (sum(kelvin), arc_at(kelvin).point());
            assert!((u - between.u).abs() < 1e-10 && (v - between.v).abs() < 1e-10, "{kelvin}");
            let length = du.hypot(dv);
            assert!((du / length - between.along.0).abs() < 1e-6, "{kelvin}");
            assert!((dv / length - between.along.1).abs() < 1e-6, "{kelvin}");
        }
    }

    #[test]
    fn beyond_the_range_there_is_no_temperature() {
        // Colder than 1000 K, hotter than any black body, no number, and far off on either side.
        for (u, v) in [(0.46, 0.353), (0.178, 0.26), (f64::NAN, 0.3), (f64::INFINITY, 0.3), (0.2, 0.45), (0.3, 0.2)] {
            assert!(cct_duv(uv_prime_from_1960(u, v)).is_err(), "{u} {v}");
        }
        assert!(uv_of_cct_duv(of(5000.0, 0.0501)).is_err());
        for edge in [1000.5, 99_000.0] {
            let back = cct_duv(uv_of_cct_duv(of(edge, 0.004)).unwrap()).unwrap();
            assert!((back.cct_k.get() / edge - 1.0).abs() < 1e-4, "{edge}: {back:?}");
        }
    }

    proptest! {
        #[test]
        fn there_and_back(cct in 2000f64..10_000.0, duv in -0.03f64..0.03) {
            let back = cct_duv(uv_of_cct_duv(of(cct, duv)).unwrap()).unwrap();
            prop_assert!((back.cct_k.get() - cct).abs() < 0.01, "{:?}", back);
            prop_assert!((back.duv.get() - duv).abs() < 1e-8, "{:?}", back);
        }

        #[test]
        fn the_quick_search_finds_the_nearest(cct in 1000f64..100_000.0, duv in -0.05f64..0.05) {
            let (u, v) = uv_1960(uv_of_cct_duv(of(cct, duv)).unwrap());
            let d = |e: &[f64; 4]| (e[0] - u).hypot(e[1] - v);
            let all = LOCUS.iter().map(d).fold(f64::INFINITY, f64::min);
            prop_assert!(d(&LOCUS[nearest(u, v)]) <= all);
        }

        #[test]
        fn tint_has_the_sign_of_the_side(cct in 1500f64..20_000.0, duv in 0.0001f64..0.04) {
            let (green, pink) = (uv_of_cct_duv(of(cct, duv)).unwrap(), uv_of_cct_duv(of(cct, -duv)).unwrap());
            prop_assert!(green.v > pink.v);
            prop_assert!(cct_duv(green).unwrap().duv.get() > 0.0 && cct_duv(pink).unwrap().duv.get() < 0.0);
            prop_assert!(delta_uv(green, pink) > 2.0 * duv * 0.999);
        }

        #[test]
        fn no_numbers_make_it_panic(u in any::<f64>(), v in any::<f64>()) {
            let _ = (cct_duv(UvPrime { u, v }), foot(UvPrime { u, v }));
        }
    }
}
