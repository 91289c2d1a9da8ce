//! CIELAB of tristimulus values on any scale, and CIEDE2000 between two such colours, through `palette`.

use palette::Lab;
use palette::color_difference::Ciede2000;
use palette::white_point::Any;

/// L*, a*, b* of X, Y, Z against a white (CIE 15); None for a white without light.
pub(super) fn lab(xyz: [f64; 3], white: [f64; 3]) -> Option<[f64; 3]> {
    let mut f = [0.0; 3];
    for ((f, value), white) in f.iter_mut().zip(xyz).zip(white) {
        let ratio = value / white;
        if !ratio.is_finite() {
            return None;
        }
        // (6/29)³ and the line that meets the cube root there.
        *f = if ratio > 216.0 / 24_389.0 { ratio.cbrt() } else { (24_389.0 / 27.0 * ratio + 16.0) / 116.0 };
    }
    let [x, y, z] = f;
    Some([116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)])
}

/// CIEDE2000 of two colours in L*, a*, b* (ISO/CIE 11664-6).
pub(super) fn difference(a: [f64; 3], b: [f64; 3]) -> f64 {
    let [a, b] = [a, b].map(|[l, a, b]| Lab::<Any, f64>::new(l, a, b));
    a.difference(b)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn as_published() {
        // Sharma, Wu and Dalal (2005), table 1, pairs 1, 2 and 25.
        for (a, b, published) in [
            ([50.0, 2.6772, -79.7751], [50.0, 0.0, -82.7485], 2.0425),
            ([50.0, 3.1571, -77.2803], [50.0, 0.0, -82.7485], 2.8615),
            ([50.0, 2.5, 0.0], [73.0, 25.0, -18.0], 27.1492),
        ] {
            assert!((difference(a, b) - published).abs() < 1e-4);
        }
        let white = [96.42, 100.0, 82.51];
        assert_eq!(lab(white, white), Some([100.0, 0.0, 0.0]));
        let [l, a, b] = lab(white.map(|v| 0.184_187 * v), white).unwrap();
        assert!((l - 50.0).abs() < 1e-4 && a.abs() < 1e-9 && b.abs() < 1e-9);
        let [dark, ..] = lab(white.map(|v| 0.001 * v), white).unwrap();
        assert!((dark - 0.9033).abs() < 1e-4);
        assert_eq!(lab(white, [0.0; 3]), None);
    }
}
