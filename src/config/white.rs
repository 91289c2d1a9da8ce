//! A white written as colour temperature and tint.

use crate::units::{Duv, Kelvin, Xy};

/// The chromaticity of a colour temperature and tint, or `None` outside 1000 to 15 000 K.
///
/// Interim, until `color` is merged: replace the use of this in `config::understand` by its function and drop the file.
/// Planckian locus by Krystek's rational formula (Color Research and Application 10, 1985), good to 9e-5 in u, v;
/// the tint is laid off along its normal in CIE 1960 u, v.
pub(super) fn cct_duv_to_xy(cct: Kelvin, duv: Duv) -> Option<Xy> {
    let kelvin = cct.get();
    if kelvin > 15_000.0 {
        return None;
    }
    let locus = |t: f64| {
        let u = (0.860_117_757 + 1.541_182_54e-4 * t + 1.286_412_12e-7 * t * t)
            / (1.0 + 8.424_202_35e-4 * t + 7.081_451_63e-7 * t * t);
        let v = (0.317_398_726 + 4.228_062_45e-5 * t + 4.204_816_91e-8 * t * t)
            / (1.0 - 2.897_418_16e-5 * t + 1.614_560_53e-7 * t * t);
        (u, v)
    };
    let (here, warmer) = (locus(kelvin), locus(kelvin - 0.5));
    let (along_u, along_v) = (warmer.0 - here.0, warmer.1 - here.1);
    let length = libm::hypot(along_u, along_v);
    let u = here.0 - duv.get() * along_v / length;
    let v = here.1 + duv.get() * along_u / length;
    let denominator = 2.0 * u - 8.0 * v + 4.0;
    let xy = Xy { x: 3.0 * u / denominator, y: 2.0 * v / denominator };
    (xy.x.is_finite() && xy.y.is_finite()).then_some(xy)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whites_come_out_where_cie_15_has_them() {
        // Illuminant A is a black body of about 2856 K; D65 has 6504 K and Duv 0.0032.
        for (cct, duv, x, y) in [(2855.5, 0.0, 0.44758, 0.40745), (6503.5, 0.0032, 0.31271, 0.32902)] {
            let xy = cct_duv_to_xy(Kelvin::new(cct).unwrap(), Duv::new(duv).unwrap()).unwrap();
            assert!((xy.x - x).abs() < 4e-4 && (xy.y - y).abs() < 4e-4, "{cct} K: {xy:?}");
        }
        assert_eq!(cct_duv_to_xy(Kelvin::new(50_000.0).unwrap(), Duv::new(0.0).unwrap()), None);
    }
}
