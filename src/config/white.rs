//! A white written as colour temperature and tint.

use crate::color::{CctDuv, uv_of_cct_duv, xy};
use crate::units::{Duv, Kelvin, Xy};

/// The chromaticity of a colour temperature and tint (Ohno 2013); `None` where there is none.
pub(super) fn cct_duv_to_xy(cct_k: Kelvin, duv: Duv) -> Option<Xy> {
    xy(uv_of_cct_duv(CctDuv { cct_k, duv }).ok()?).ok()
}
