//! CIELAB and colour differences: CIEDE2000, and mired for differences of colour temperature.
//!
//! CIE 15:2018 clause 8.2.1 (ISO/CIE 11664-4), with f(t) = t^(1/3) above (6/29)³ and (841/108) t + 4/29 below:
//!
//! ```text
//! L* = 116 f(Y/Yn) - 16     a* = 500 (f(X/Xn) - f(Y/Yn))     b* = 200 (f(Y/Yn) - f(Z/Zn))
//! ```
//!
//! CIEDE2000 (ISO/CIE 11664-6) is `palette`'s, in f64, with kL = kC = kH = 1; it is held against the 34 pairs of Sharma, Wu and Dalal
//! (2005). It was made for differences up to about 5 between surfaces seen on grey.

use palette::Lab;
use palette::color_difference::Ciede2000;
use palette::white_point::Any;

use crate::units::{Kelvin, Xyz};

/// A colour in CIELAB, under whatever white it was made with; two are compared only under the same.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub struct LabColour {
    pub l: f64,
    pub a: f64,
    pub b: f64,
}

impl LabColour {
    /// The colour of `xyz` seen under `white`, both on the same scale; None when a value of the white is not above zero or a
    /// number is not finite.
    pub fn of(xyz: Xyz, white: Xyz) -> Option<Self> {
        if !(white.x > 0.0 && white.y > 0.0 && white.z > 0.0) {
            return None;
        }
        let [x, y, z] = [xyz.x / white.x, xyz.y / white.y, xyz.z / white.z].map(cube_root);
        let (l, a, b) = (116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z));
        (l.is_finite() && a.is_finite() && b.is_finite()).then_some(Self { l, a, b })
    }

    /// X, Y, Z of this colour on the scale of `white`.
    pub fn xyz(self, white: Xyz) -> Xyz {
        let y = (self.l + 16.0) / 116.0;
        let [x, y, z] = [y + self.a / 500.0, y, y - self.b / 200.0].map(cube);
        Xyz { x: x * white.x, y: y * white.y, z: z * white.z }
    }

    /// C*ab, the distance from grey.
    pub fn chroma(self) -> f64 {
        libm::hypot(self.a, self.b)
    }
}

/// Where the cube root gives way to the straight line: (6/29)³.
const KNEE: f64 = 216.0 / 24_389.0;

fn cube_root(t: f64) -> f64 {
    if t > KNEE { libm::cbrt(t) } else { 841.0 / 108.0 * t + 4.0 / 29.0 }
}

fn cube(f: f64) -> f64 {
    if f > 6.0 / 29.0 { f * f * f } else { (f - 4.0 / 29.0) * 108.0 / 841.0 }
}

/// ΔE00 of two colours under one white.
///
/// Where two hues lie exactly 180° apart the formula itself has two values (pair 14 of the published list: 4.8045 or 4.7461).
pub fn delta_e_2000(one: LabColour, other: LabColour) -> f64 {
    let [one, other] = [one, other].map(|LabColour { l, a, b }| Lab::<Any, f64>::new(l, a, b));
    one.difference(other)
}

/// Reciprocal colour temperature, 1e6/T in mired (MK⁻¹): equal steps look about equal.
pub fn mired(cct_k: Kelvin) -> f64 {
    1e6 / cct_k.get()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn lab_as_defined() {
        let white = Xyz { x: 0.9642, y: 1.0, z: 0.8251 };
        assert_eq!(LabColour::of(white, white), Some(LabColour { l: 100.0, a: 0.0, b: 0.0 }));
        let grey = LabColour::of(Xyz { x: 0.9642 * 0.1842, y: 0.1842, z: 0.8251 * 0.1842 }, white).unwrap();
        assert!((grey.l - 50.0).abs() < 0.01 && grey.chroma() < 1e-12, "L* 50 is Y 0.1842");
        let dark = LabColour::of(Xyz { x: 0.0, y: 0.001, z: 0.0 }, white).unwrap();
        assert!((dark.l - 0.9033).abs() < 1e-4, "903.3 Y below the knee: {dark:?}");
        assert_eq!(LabColour::of(white, Xyz { x: 0.9, y: 1.0, z: 0.0 }), None);
        assert_eq!(LabColour::of(Xyz { x: f64::NAN, y: 1.0, z: 1.0 }, white), None);
    }

    #[test]
    fn mired_of_the_usual_whites() {
        let of = |k| mired(Kelvin::new(k).unwrap());
        assert_eq!((of(5000.0), of(2500.0)), (200.0, 400.0));
    }

    proptest! {
        #[test]
        fn there_and_back(l in 0f64..110.0, a in -60f64..60.0, b in -60f64..60.0) {
            let white = Xyz { x: 95.04, y: 100.0, z: 108.88 };
            let back = LabColour::of(LabColour { l, a, b }.xyz(white), white).unwrap();
            prop_assert!((back.l - l).abs() < 1e-9 && (back.a - a).abs() < 1e-9 && (back.b - b).abs() < 1e-9);
        }

        #[test]
        fn a_difference_has_no_direction(
            l in 0f64..100.0, a in -60f64..60.0, b in -60f64..60.0, m in 0f64..100.0, c in -60f64..60.0, d in -60f64..60.0,
        ) {
            let (one, other) = (LabColour { l, a, b }, LabColour { l: m, a: c, b: d });
            let (there, back) = (delta_e_2000(one, other), delta_e_2000(other, one));
            prop_assert!(there >= 0.0 && (there - back).abs() < 1e-9, "{} {}", there, back);
            prop_assert!(delta_e_2000(one, one) < 1e-9);
        }
    }
}
