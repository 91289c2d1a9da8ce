//! The CIE illuminants that aims are named by, and the daylight locus.
//!
//! CIE 15:2018; daylight by Judd, MacAdam and Wyszecki (1964), with T the correlated colour temperature in kelvin:
//!
//! ```text
//! x = 0.244063 + 0.09911e3/T + 2.9678e6/T^2 - 4.6070e9/T^3     4000 to 7000 K
//! x = 0.237040 + 0.24748e3/T + 1.9018e6/T^2 - 2.0064e9/T^3     7000 to 25 000 K
//! y = -3.000 x^2 + 2.870 x - 0.275
//! ```
//!
//! D50, D55 and D65 stand here as tabulated (from their spectra), which is not quite where the formula puts them: at 6504 K
//! it gives y 0.32912, the table 0.32902. Both are right.

use crate::units::{Kelvin, Xy, Xyz};

/// The temperature of D50, K: nominal 5000, since c2 was revised (5000 × 1.4388 / 1.4380).
pub(super) const D50_K: f64 = 5002.78;
/// The temperature of D65, K, likewise.
pub(super) const D65_K: f64 = 6503.62;

/// Tristimulus values of D50, 2° observer, Y = 1 (CIE 15:2018). ICC and ASTM round otherwise, Z 0.82521: 1.1e-4 apart.
pub const D50_XYZ: Xyz = Xyz { x: 0.9642, y: 1.0, z: 0.8251 };

/// An illuminant of CIE 15 that an aim may name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Illuminant {
    A,
    D50,
    D55,
    D65,
}

impl Illuminant {
    /// All of them, in order of temperature.
    pub const ALL: [Self; 4] = [Self::A, Self::D50, Self::D55, Self::D65];

    /// Its name in CIE 15.
    pub const fn name(self) -> &'static str {
        match self {
            Self::A => "A",
            Self::D50 => "D50",
            Self::D55 => "D55",
            Self::D65 => "D65",
        }
    }

    /// The illuminant of this name, in either case.
    pub fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|i| i.name().eq_ignore_ascii_case(name))
    }

    /// Its chromaticity for the 2° observer, as tabulated in CIE 15.
    pub const fn xy(self) -> Xy {
        match self {
            Self::A => Xy { x: 0.44758, y: 0.40745 },
            Self::D50 => Xy { x: 0.34567, y: 0.35851 },
            Self::D55 => Xy { x: 0.33243, y: 0.34744 },
            Self::D65 => Xy { x: 0.31271, y: 0.32902 },
        }
    }
}

/// The chromaticity of CIE daylight; None outside 4000 to 25 000 K, where the locus is not defined.
///
/// The nominal "6500 K" is 6504 K since c2 was revised (6500 × 1.4388 / 1.4380).
pub fn daylight(cct_k: Kelvin) -> Option<Xy> {
    let t = cct_k.get();
    let [c0, c1, c2, c3] = match t {
        4000.0..=7000.0 => [0.244063, 0.09911e3, 2.9678e6, -4.6070e9],
        7000.0..=25_000.0 => [0.237040, 0.24748e3, 1.9018e6, -2.0064e9],
        _ => return None,
    };
    let x = c0 + (c1 + (c2 + c3 / t) / t) / t;
    Some(Xy { x, y: (-3.0 * x + 2.870) * x - 0.275 })
}

#[cfg(test)]
mod tests {
    use super::super::chromaticity::xy_of_xyz;
    use super::*;

    #[test]
    fn daylight_as_published() {
        for (t, x, y) in [
            (4000.0, 0.382344, 0.383766),
            (5000.0, 0.345741, 0.358666),
            (5003.0, 0.345653, 0.358596),
            (5503.0, 0.332430, 0.347545),
            (6504.0, 0.312714, 0.329119),
            (7504.0, 0.299045, 0.314976),
            (10_000.0, 0.278800, 0.291967),
            (25_000.0, 0.249854, 0.254799),
        ] {
            let at = daylight(Kelvin::new(t).unwrap()).unwrap();
            assert!((at.x - x).abs() < 1e-6 && (at.y - y).abs() < 1e-6, "{t}: {at:?}");
        }
        assert_eq!(daylight(Kelvin::new(3999.0).unwrap()), None);
        assert_eq!(daylight(Kelvin::new(25_001.0).unwrap()), None);
    }

    #[test]
    fn illuminants_as_tabulated() {
        // XYZ of CIE 15:2018, two decimals, against its x,y, five: they agree to the coarser rounding.
        for (illuminant, x, z) in [
            (Illuminant::A, 109.85, 35.58),
            (Illuminant::D50, 96.42, 82.51),
            (Illuminant::D55, 95.68, 92.14),
            (Illuminant::D65, 95.04, 108.88),
        ] {
            let (table, from_xyz) = (illuminant.xy(), xy_of_xyz(Xyz { x, y: 100.0, z }).unwrap());
            assert!((table.x - from_xyz.x).abs() < 2e-5 && (table.y - from_xyz.y).abs() < 2e-5, "{illuminant:?}");
        }
        assert_eq!(Illuminant::named("d65"), Some(Illuminant::D65));
        assert_eq!(Illuminant::named("D93"), None);
        let d50 = xy_of_xyz(D50_XYZ).unwrap();
        assert!((d50.x - 0.34567).abs() < 1e-5 && (d50.y - 0.35851).abs() < 1e-5);
    }
}
