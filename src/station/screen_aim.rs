//! The aim that a display should be calibrated to so that it meets the paper under a given lamp, and whether that is sensible. Pure.
//!
//! The aim is the paper white under that lamp, moved by the station's offset where one was found by eye, and its luminance:
//! E ρ / π times what the station asks of the ratio. Not every such aim should be followed: a screen set to a household lamp shows everything else wrongly, and one can be too
//! bright or too dark to work at. Limits of luminance: at least 80 cd/m² (a handbook's reading of ISO 3664 and ISO 12646); above
//! 250 cd/m² most screens age fast and strain the eyes in a dim room (common practice).

use crate::color::{
    CctDuv, Degenerate, Move, PaperLight, WHITE_BEARABLE, WHITE_GOOD, cct_duv, direction, nearest_daylight, xy,
};
use crate::site::LuminanceRule;
use crate::units::{Illuminance, Luminance, UvPrime, Xy};

/// The least luminance of a screen that prints are judged beside, cd/m².
pub const DARKEST: f64 = 80.0;
/// The luminance above which an aim is not sensible for a screen, cd/m².
pub const BRIGHTEST: f64 = 250.0;

/// What a display should be calibrated to.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)]
pub struct ScreenAim {
    pub white: Xy,
    /// The same in kelvin and tint, where it has them.
    pub temperature: Option<CctDuv>,
    /// Absent where the lamp's level is not known, or luminance is not judged.
    pub luminance: Option<Luminance>,
    /// What speaks against it; empty for a sensible aim.
    pub doubts: Vec<AimDoubt>,
}

/// What speaks against an aim.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub enum AimDoubt {
    /// The white lies this far from daylight between D50 and D65; `far` from all that a screen should follow.
    White { distance: f64, direction: Option<Move>, far: bool },
    /// The luminance is lower than a screen should have.
    TooDark { luminance: f64 },
    /// The luminance is higher than a screen should have.
    TooBright { luminance: f64 },
}

impl ScreenAim {
    /// Whether a screen may be set to it.
    pub fn is_sensible(&self) -> bool {
        self.doubts.iter().all(|doubt| matches!(doubt, AimDoubt::White { far: false, .. }))
    }
}

/// The aim that meets `paper` under a lamp of this illuminance, by a station's rule of luminances and its offset in u′, v′.
pub fn screen_aim(
    paper: &PaperLight,
    illuminance: Option<Illuminance>,
    rule: LuminanceRule,
    offset: (f64, f64),
) -> Result<ScreenAim, Degenerate> {
    let aim = UvPrime { u: paper.uv.u + offset.0, v: paper.uv.v + offset.1 };
    let white = xy(aim)?;
    let wanted = illuminance.zip(rule.agreed()).map(|(lx, ratio)| paper.luminance(lx.get()) * ratio);
    let mut doubts = Vec::new();
    let (nearest, distance) = nearest_daylight(aim);
    if distance > WHITE_GOOD {
        let far = distance > WHITE_BEARABLE;
        doubts.push(AimDoubt::White { distance, direction: direction(nearest, aim), far });
    }
    match wanted {
        Some(luminance) if luminance < DARKEST => doubts.push(AimDoubt::TooDark { luminance }),
        Some(luminance) if luminance > BRIGHTEST => doubts.push(AimDoubt::TooBright { luminance }),
        _ => {}
    }
    Ok(ScreenAim {
        white,
        temperature: cct_duv(aim).ok(),
        luminance: wanted.and_then(|level| Luminance::new(level).ok()),
        doubts,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::color::{PaperUnderLamp, UvSpread, uv_prime};
    use crate::site::PaperWhite;

    fn aim(x: f64, y: f64, lx: f64) -> ScreenAim {
        let paper = PaperUnderLamp::new(&PaperWhite::ReflectanceFactor(0.9)).unwrap();
        let lit = paper.under(uv_prime(Xy { x, y }).unwrap(), UvSpread::default()).unwrap();
        screen_aim(&lit, Illuminance::new(lx).ok(), LuminanceRule::DisplayToPaper(1.0), (0.001, 0.0)).unwrap()
    }

    #[test]
    fn a_print_lamp_gives_an_aim_that_a_screen_can_have() {
        let d50 = aim(0.3457, 0.3585, 500.0);
        assert!(d50.is_sensible() && d50.doubts.is_empty(), "{d50:?}");
        // 500 lx × 0.9 / π.
        assert!((d50.luminance.unwrap().get() - 143.24).abs() < 0.01);
        let (paper, aim) = (uv_prime(Xy { x: 0.3457, y: 0.3585 }).unwrap(), uv_prime(d50.white).unwrap());
        assert!((aim.u - paper.u - 0.001).abs() < 1e-9 && (aim.v - paper.v).abs() < 1e-9, "the offset is part of it");
    }

    #[test]
    fn a_household_lamp_gives_none() {
        let warm = aim(0.4519, 0.4120, 500.0);
        assert!(!warm.is_sensible());
        assert!(matches!(warm.doubts[0], AimDoubt::White { far: true, .. }));
    }

    #[test]
    fn a_bright_booth_and_a_dim_corner_are_told() {
        // 2000 lx: 573 cd/m², which no screen should have.
        assert!(matches!(aim(0.3457, 0.3585, 2000.0).doubts[0], AimDoubt::TooBright { .. }));
        assert!(matches!(aim(0.3457, 0.3585, 200.0).doubts[0], AimDoubt::TooDark { .. }));
    }
}
