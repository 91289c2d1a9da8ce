//! The lights that a lamp's rendering is held against: black bodies, phases of daylight, and the mix of CIE 224 between them.
//!
//! Black body: λ⁻⁵ / (exp(c2/λT) − 1), c2 = 1.4388e-2 m K (CIE 15). Daylight (CIE 15:2018) with x, y of the daylight locus:
//!
//! ```text
//! M  = 0.0241 + 0.2562 x - 0.7341 y
//! M1 = (-1.3515 -  1.7703 x +  5.9114 y) / M         S(λ) = S0(λ) + M1 S1(λ) + M2 S2(λ)
//! M2 = ( 0.0300 - 31.4424 x + 30.0717 y) / M
//! ```
//!
//! M1 and M2 are rounded to three decimals and S0, S1, S2 joined by straight lines between their 10 nm, as CIE 15 says. CIE 13.3: black
//! body below 5000 K, daylight from 5000 K. CIE 224: black body up to 4000 K, daylight from 5000 K; between them both at the
//! lamp's own temperature T, each scaled to the same Y (here Y10), with the share (T − 4000)/1000 of daylight.
//!
//! Tristimulus values of test colours under them come without a sum over wavelengths: see `moments`.

use super::moments::{NEW, NODES, OLD};
use super::phases::PHASES;
use super::samples::{NEW_COLUMNS, OLD_COLUMNS};
use crate::color::{FIRST_NM, GRID, Sampled, daylight};
use crate::units::Kelvin;

/// Rows of `moments`: the nodes of a black body, then S0, S1, S2.
const LIGHTS: usize = 19;
/// c2 of Planck's law, nm K.
const C2: f64 = 1.4388e7;
/// Where a black body's spectrum is 1, nm.
const UNIT_NM: f64 = 560.0;

/// A black body from 360 to 830 nm, 1 at 560 nm.
pub fn black_body(cct_k: Kelvin) -> Sampled {
    let mut values = [0.0; GRID];
    for (index, value) in values.iter_mut().enumerate() {
        *value = planck(FIRST_NM + index as f64, cct_k.get());
    }
    whole(values)
}

/// A phase of daylight from 360 to 830 nm, about 100 at 560 nm; None outside 4000 to 25 000 K.
pub fn daylight_phase(cct_k: Kelvin) -> Option<Sampled> {
    let shares = phase_shares(cct_k)?;
    let mut values = [0.0; GRID];
    for (index, value) in values.iter_mut().enumerate() {
        let rest = (index % 10) as f64 / 10.0;
        let (here, next) = (PHASES.get(index / 10)?, PHASES.get(index / 10 + 1).or(PHASES.last())?);
        for ((share, a), b) in shares.iter().zip(here).zip(next) {
            *value += share * (a + (b - a) * rest);
        }
    }
    Some(whole(values))
}

/// The reference of CIE 224:2017 for a lamp of this temperature; None above 25 000 K, where daylight is not defined.
pub fn honest_light(cct_k: Kelvin) -> Option<Sampled> {
    let share = daylight_share(cct_k);
    if share <= 0.0 {
        return Some(black_body(cct_k));
    }
    let day = daylight_phase(cct_k)?;
    if share >= 1.0 {
        return Some(day);
    }
    let (mut mix, day_y, body) = (day, white_y(&daylight_shares(cct_k)?), black_body(cct_k));
    let body_y = white_y(&planck_shares(cct_k));
    for (value, body) in mix.values.iter_mut().zip(&body.values) {
        *value = share * *value / day_y + (1.0 - share) * body / body_y;
    }
    Some(mix)
}

/// Tristimulus values of the test colours of CIE 13.3 and white under its reference; None above 25 000 K.
pub(super) fn old(cct_k: Kelvin) -> Option<[[f64; 3]; OLD_COLUMNS]> {
    let shares = if cct_k.get() < 5000.0 { planck_shares(cct_k) } else { daylight_shares(cct_k)? };
    Some(sums(&OLD, &shares))
}

/// Tristimulus values of the test colours of CIE 224 and white under its reference; None above 25 000 K.
pub(super) fn new(cct_k: Kelvin) -> Option<[[f64; 3]; NEW_COLUMNS]> {
    let share = daylight_share(cct_k);
    if share <= 0.0 {
        return Some(sums(&NEW, &planck_shares(cct_k)));
    }
    let mut shares = daylight_shares(cct_k)?;
    if share < 1.0 {
        let body = planck_shares(cct_k);
        let (day_y, body_y) = (white_y(&shares), white_y(&body));
        for (day, body) in shares.iter_mut().zip(body) {
            *day = share * *day / day_y + (1.0 - share) * body / body_y;
        }
    }
    Some(sums(&NEW, &shares))
}

/// Σ over the lights of share times what the light gives on each test colour.
fn sums<const COLUMNS: usize>(moments: &[[[f64; 3]; COLUMNS]; LIGHTS], shares: &[f64; LIGHTS]) -> [[f64; 3]; COLUMNS] {
    let mut out = [[0.0; 3]; COLUMNS];
    for (share, row) in shares.iter().zip(moments).filter(|(share, _)| **share != 0.0) {
        for (out, value) in out.as_flattened_mut().iter_mut().zip(row.as_flattened()) {
            *out += share * value;
        }
    }
    out
}

/// Y10 of white, 380 to 780 nm.
fn white_y(shares: &[f64; LIGHTS]) -> f64 {
    shares.iter().zip(&NEW).map(|(share, row)| share * row.last().map_or(0.0, |white| white[1])).sum()
}

/// The share of daylight in the reference of CIE 224.
fn daylight_share(cct_k: Kelvin) -> f64 {
    ((cct_k.get() - 4000.0) / 1000.0).clamp(0.0, 1.0)
}

fn planck(nm: f64, kelvin: f64) -> f64 {
    let ratio = UNIT_NM / nm;
    let fifth = ratio * ratio * ratio * ratio * ratio;
    fifth * (C2 / (UNIT_NM * kelvin)).exp_m1() / (C2 / (nm * kelvin)).exp_m1()
}

fn planck_shares(cct_k: Kelvin) -> [f64; LIGHTS] {
    let mut shares = [0.0; LIGHTS];
    for (share, nm) in shares.iter_mut().zip(NODES) {
        *share = planck(nm, cct_k.get());
    }
    shares
}

fn daylight_shares(cct_k: Kelvin) -> Option<[f64; LIGHTS]> {
    let mut shares = [0.0; LIGHTS];
    for (share, phase) in shares.iter_mut().skip(NODES.len()).zip(phase_shares(cct_k)?) {
        *share = phase;
    }
    Some(shares)
}

/// 1, M1 and M2.
fn phase_shares(cct_k: Kelvin) -> Option<[f64; 3]> {
    let at = daylight(cct_k)?;
    let m = 0.0241 + 0.2562 * at.x - 0.7341 * at.y;
    let m1 = (-1.3515 - 1.7703 * at.x + 5.9114 * at.y) / m;
    let m2 = (0.0300 - 31.4424 * at.x + 30.0717 * at.y) / m;
    let three_decimals = |m: f64| (m * 1000.0).round() / 1000.0;
    Some([1.0, three_decimals(m1), three_decimals(m2)])
}

/// A light that is known everywhere.
const fn whole(values: [f64; GRID]) -> Sampled {
    Sampled { values, first: 0, last: GRID - 1 }
}

#[cfg(test)]
mod tests {
    use super::super::samples;
    use super::*;
    use crate::color::illuminant::{D50_K, D65_K};

    fn k(kelvin: f64) -> Kelvin {
        Kelvin::new(kelvin).unwrap()
    }

    /// Largest difference, as a share of the white's value.
    fn apart(a: &[[f64; 3]], b: &[[f64; 3]]) -> f64 {
        // Scales differ (560 nm against Y): compared as shares of the white's Y.
        let (ya, yb) = (a.last().unwrap()[1], b.last().unwrap()[1]);
        let each = a.as_flattened().iter().zip(b.as_flattened()).map(|(a, b)| (a / ya - b / yb).abs());
        each.fold(0.0, f64::max)
    }

    #[test]
    fn moments_are_the_sums() {
        for kelvin in [1000.0, 1300.0, 1800.0, 2700.0, 3500.0, 3999.0] {
            let body = black_body(k(kelvin));
            assert!(apart(&old(k(kelvin)).unwrap(), &samples::old(&body)) < 1e-8, "{kelvin}");
            assert!(apart(&new(k(kelvin)).unwrap(), &samples::new(&body)) < 1e-8, "{kelvin}");
        }
        for kelvin in [5000.0, 5003.0, 6504.0, 7000.0, 12_000.0, 25_000.0] {
            let day = daylight_phase(k(kelvin)).unwrap();
            assert!(apart(&old(k(kelvin)).unwrap(), &samples::old(&day)) < 1e-11, "{kelvin}");
            assert!(apart(&new(k(kelvin)).unwrap(), &samples::new(&day)) < 1e-11, "{kelvin}");
        }
        for kelvin in [2000.0, 4000.0, 4001.0, 4200.0, 4500.0, 4999.0, 5000.0, 8000.0] {
            let honest = honest_light(k(kelvin)).unwrap();
            assert!(apart(&new(k(kelvin)).unwrap(), &samples::new(&honest)) < 1e-9, "{kelvin}");
        }
    }

    #[test]
    fn mixed_at_its_own_temperature() {
        // A mix of 4000 K and 5000 K lights would be neither: both ends meet what they join to.
        let step = |a: f64, b: f64| apart(&new(k(a)).unwrap(), &new(k(b)).unwrap());
        assert!(step(3999.9, 4000.1) < 1e-3 && step(4999.9, 5000.1) < 1e-3);
        // The reference of CIE 13.3 flips at 5000 K.
        assert!(apart(&old(k(4999.9)).unwrap(), &old(k(5000.1)).unwrap()) > 5e-3);
    }

    #[test]
    fn daylight_as_tabulated() {
        // CIE 15: D65 at 360, 400, 450, 560 and 780 nm; D50 at 380, 500, 700 nm.
        let d65 = daylight_phase(k(D65_K)).unwrap();
        for (nm, value) in [(360, 46.6383), (400, 82.7549), (450, 117.008), (560, 100.0), (780, 63.3828)] {
            assert!((d65.values[nm - 360] - value).abs() < 0.05, "{nm}: {}", d65.values[nm - 360]);
        }
        let d50 = daylight_phase(k(D50_K)).unwrap();
        for (nm, value) in [(380, 24.488), (500, 95.722), (700, 91.604)] {
            assert!((d50.values[nm - 360] - value).abs() < 0.05, "{nm}: {}", d50.values[nm - 360]);
        }
        assert_eq!(daylight_phase(k(3999.0)), None);
        assert_eq!(honest_light(k(25_001.0)), None);
        assert_eq!((old(k(30_000.0)), new(k(30_000.0))), (None, None));
    }
}
