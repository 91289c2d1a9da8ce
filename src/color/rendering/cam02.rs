//! CAM02-UCS coordinates under the viewing conditions of CIE 224:2017: L_A = 100 cd/m², Y_b = 20, average surround, D = 1.
//!
//! CIECAM02 (CIE 159:2004) and the uniform space of M. R. Luo, G. Cui and C. Li, "Uniform colour spaces based on CIECAM02
//! colour appearance model", Color Res. Appl. 31(4), 320–330 (2006):
//!
//! ```text
//! (R', G', B') = HPE CAT02⁻¹ diag(100 / RGB_w) CAT02 XYZ      each then 400 (F_L R'/100)^0.42 / ((F_L R'/100)^0.42 + 27.13) + 0.1
//! a = R' - 12 G'/11 + B'/11,  b = (R' + G' - 2 B')/9,  A = (2 R' + G' + B'/20 - 0.305) N_bb,  J = 100 (A/A_w)^(c z)
//! e = (cos(h + 2) + 3.8)/4,   t = (50000/13) N_c N_cb e √(a² + b²) / (R' + G' + 21 B'/20)
//! M = F_L^¼ t^0.9 √(J/100) (1.64 - 0.29^n)^0.73,   J' = 1.7 J/(1 + 0.007 J),   M' = ln(1 + 0.0228 M)/0.0228
//! ```
//!
//! With D = 1 all of it but the white's adaptation is constant. No angle is formed: cos h = a/√(a² + b²).

use super::powers::{ln, power};

/// F_L at L_A = 100 cd/m².
const F_L: f64 = 0.793_700_527_546_167_3;
/// F_L to the power of ¼.
const F_L_QUARTER: f64 = 0.943_874_313_146_098_9;
/// N_bb = N_cb = 0.725 (1/n)^0.2 with n = 0.2.
const N_BB: f64 = 1.000_304_004_559_380_7;
/// c z = 0.69 (1.48 + √n).
const C_Z: f64 = 0.69 * 1.927_213_595_499_957_9;
/// (1.64 − 0.29^n)^0.73.
const CHROMA: f64 = 0.895_217_884_813_427_9;
/// CIECAM02's CAT02 matrix.
const CAT02: [[f64; 3]; 3] = [[0.7328, 0.4296, -0.1624], [-0.7036, 1.6975, 0.0061], [0.0030, 0.0136, 0.9834]];
/// Hunt–Pointer–Estévez times the inverse of CAT02.
const HPE_OF_CAT02: [[f64; 3]; 3] = [
    [0.740_979_097_013_530_8, 0.218_025_155_675_735_66, 0.041_005_747_310_733_59],
    [0.285_353_291_685_880_2, 0.624_201_574_118_815_8, 0.090_445_134_195_304_2],
    [-0.009_627_608_738_429_36, -0.005_698_031_216_113_42, 1.015_325_639_954_542_7],
];

/// A colour in CAM02-UCS.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Ucs {
    pub j: f64,
    pub a: f64,
    pub b: f64,
}

impl Ucs {
    /// Euclidean distance, the colour difference of CIE 224.
    pub fn distance(self, other: Self) -> f64 {
        let (j, a, b) = (self.j - other.j, self.a - other.a, self.b - other.b);
        (j * j + a * a + b * b).sqrt()
    }
}

/// An eye that has adapted to a white.
#[derive(Debug, Clone, Copy)]
pub(super) struct Adapted {
    /// From X, Y, Z on the white's scale to R', G', B' over 100, times F_L.
    cones: [[f64; 3]; 3],
    /// Achromatic response to the white.
    white: f64,
}

impl Adapted {
    /// Adapts to a white, on any scale; None for one with no light in some cone.
    pub fn to(white: [f64; 3]) -> Option<Self> {
        let rgb = CAT02.map(|row| dot(row, white));
        if rgb.iter().any(|cone| *cone <= 0.0 || !cone.is_finite()) {
            return None;
        }
        let [cat_r, cat_g, cat_b] = CAT02;
        let [w_r, w_g, w_b] = rgb;
        let cones = HPE_OF_CAT02.map(|[r, g, b]| {
            let mut row = [0.0; 3];
            for (((to, cr), cg), cb) in row.iter_mut().zip(cat_r).zip(cat_g).zip(cat_b) {
                *to = F_L * (r * cr / w_r + g * cg / w_g + b * cb / w_b);
            }
            row
        });
        let response = cones.map(|row| compressed(dot(row, white)));
        Some(Self { cones, white: achromatic(response) })
    }

    /// The colours of tristimulus values on the white's scale. Step by step for all of them, so that each step runs several abreast.
    pub fn sees<const N: usize>(&self, xyz: &[[f64; 3]; N]) -> [Ucs; N] {
        let (mut red, mut green, mut blue) = ([0.0; N], [0.0; N], [0.0; N]);
        let [to_red, to_green, to_blue] = self.cones;
        for (((r, g), b), xyz) in red.iter_mut().zip(&mut green).zip(&mut blue).zip(xyz) {
            (*r, *g, *b) = (dot(to_red, *xyz), dot(to_green, *xyz), dot(to_blue, *xyz));
        }
        for cones in [&mut red, &mut green, &mut blue] {
            cones.iter_mut().for_each(|cone| *cone = compressed(*cone));
        }
        let (mut j, mut a, mut b) = ([0.0; N], [0.0; N], [0.0; N]);
        let cones = red.iter().zip(&green).zip(&blue);
        for (((j, a), b), ((r, g), bl)) in j.iter_mut().zip(&mut a).zip(&mut b).zip(cones) {
            (*j, *a, *b) = self.coordinates([*r, *g, *bl]);
        }
        let mut out = [Ucs::default(); N];
        for (((out, j), a), b) in out.iter_mut().zip(j).zip(a).zip(b) {
            *out = Ucs { j, a, b };
        }
        out
    }

    /// J', a', b' of compressed cone responses.
    #[inline(always)]
    fn coordinates(&self, response: [f64; 3]) -> (f64, f64, f64) {
        let [r, g, b] = response;
        let (red, blue) = (r - (12.0 * g - b) * (1.0 / 11.0), (r + g - 2.0 * b) * (1.0 / 9.0));
        let j = 100.0 * power((achromatic(response) / self.white).max(0.0), C_Z);
        // Kept from zero: grey has no hue, and no chroma either.
        let length = (red * red + blue * blue).sqrt().max(1e-300);
        let (cos, sin) = (red / length, blue / length);
        // cos(h + 2), 2 in radians.
        let eccentricity = 0.25 * (cos * COS_2 - sin * SIN_2 + 3.8);
        let t = 50_000.0 / 13.0 * N_BB * eccentricity * length / (r + g + 1.05 * b);
        let m = F_L_QUARTER * power(t.max(0.0), 0.9) * (0.01 * j).sqrt() * CHROMA;
        let m = ln(1.0 + 0.0228 * m) * (1.0 / 0.0228);
        (1.7 * j / (1.0 + 0.007 * j), m * cos, m * sin)
    }
}

const COS_2: f64 = -0.416_146_836_547_142_4;
const SIN_2: f64 = 0.909_297_426_825_681_7;

fn dot(row: [f64; 3], xyz: [f64; 3]) -> f64 {
    let ([a, b, c], [x, y, z]) = (row, xyz);
    a * x + b * y + c * z
}

#[inline(always)]
fn compressed(cone: f64) -> f64 {
    let raised = power(cone.abs(), 0.42);
    (400.0 * raised / (raised + 27.13)).copysign(cone) + 0.1
}

fn achromatic([r, g, b]: [f64; 3]) -> f64 {
    (2.0 * r + g + 0.05 * b - 0.305) * N_BB
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn constants_are_what_they_are_made_of() {
        let k: f64 = 1.0 / 501.0;
        let f_l = 0.2 * k.powi(4) * 500.0 + 0.1 * (1.0 - k.powi(4)).powi(2) * 500f64.cbrt();
        assert!((F_L - f_l).abs() < 1e-15 && (F_L_QUARTER - f_l.powf(0.25)).abs() < 1e-15);
        assert!((N_BB - 0.725 * 5f64.powf(0.2)).abs() < 1e-15);
        assert!((C_Z - 0.69 * (1.48 + 0.2f64.sqrt())).abs() < 1e-15);
        assert!((CHROMA - (1.64 - 0.29f64.powf(0.2)).powf(0.73)).abs() < 1e-15);
        assert!((COS_2 - 2f64.cos()).abs() < 1e-15 && (SIN_2 - 2f64.sin()).abs() < 1e-15);
        // HPE of CIECAM02.
        let hpe = [[0.38971, 0.68898, -0.07868], [-0.22981, 1.18340, 0.04641], [0.0, 0.0, 1.0]];
        for (row, hpe) in HPE_OF_CAT02.iter().zip(hpe) {
            for column in 0..3 {
                let product: f64 = (0..3).map(|i| row[i] * CAT02[i][column]).sum();
                assert!((product - hpe[column]).abs() < 1e-15, "{product}");
            }
        }
    }

    #[test]
    fn white_is_white() {
        let white = [96.0, 100.0, 82.0];
        let eye = Adapted::to(white).unwrap();
        let [seen] = eye.sees(&[white]);
        assert!((seen.j - 100.0).abs() < 1e-12 && seen.a.hypot(seen.b) < 0.01, "{seen:?}");
        // On another scale all is the same.
        let twice = Adapted::to(white.map(|v| 2.0 * v)).unwrap();
        let ([a], [b]) = (eye.sees(&[[30.0, 20.0, 10.0]]), twice.sees(&[[60.0, 40.0, 20.0]]));
        assert!(a.distance(b) < 1e-12);
        assert!(Adapted::to([0.0; 3]).is_none() && Adapted::to([f64::NAN, 1.0, 1.0]).is_none());
        assert!(eye.sees(&[[0.0; 3]])[0].j < 1e-12);
    }
}
