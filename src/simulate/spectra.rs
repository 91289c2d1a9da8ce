//! Spectra for the demo's lamps: invented shapes, bent so that they have just the white and the level that the story asks for.
//!
//! A shape is a sum of bell-shaped bands. Three broad ones (blue, green, red) are then added in the amounts, some of them negative,
//! that bring X, Y and Z to what is wanted: three equations in three unknowns, since the sums are linear in the spectrum.

use crate::color::{LUMENS_PER_WATT, Sampled, xyz_of_xy};
use crate::units::{SpectralUnit, Spectrum, Xy, Xyz};

/// Wavelengths, nm: 380, 385, … 780.
pub(super) const NM: (usize, usize, usize) = (380, 780, 5);

/// How a lamp of the room makes light.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Shape {
    /// Many narrow chips and phosphors: no deep valley anywhere.
    Panel,
    /// A pair of tubes of five bands over a low ground.
    Tubes,
}

/// Bands as centre and width, nm, and height.
const PANEL: [(f64, f64, f64); 9] = [
    (415.0, 14.0, 0.55),
    (440.0, 14.0, 0.95),
    (465.0, 16.0, 1.0),
    (495.0, 20.0, 0.95),
    (525.0, 22.0, 0.92),
    (560.0, 26.0, 0.9),
    (600.0, 28.0, 0.85),
    (640.0, 28.0, 0.82),
    (685.0, 30.0, 0.6),
];
const TUBES: [(f64, f64, f64); 8] = [
    (405.0, 4.0, 0.4),
    (436.0, 4.0, 1.2),
    (455.0, 28.0, 0.5),
    (490.0, 12.0, 0.75),
    (546.0, 6.0, 1.5),
    (580.0, 30.0, 0.55),
    (612.0, 9.0, 1.3),
    (655.0, 28.0, 0.5),
];
const BENDING: [(f64, f64); 3] = [(450.0, 40.0), (545.0, 45.0), (615.0, 45.0)];

/// Spectral irradiance (W/m²/nm) at [`NM`] of a lamp that gives `lux` of this white; nothing where that cannot be.
pub(super) fn spectrum(shape: Shape, white: Xy, lux: f64) -> Option<Vec<f64>> {
    let bands: &[(f64, f64, f64)] = match shape {
        Shape::Panel => &PANEL,
        Shape::Tubes => &TUBES,
    };
    let ground: Vec<f64> =
        nm().map(|nm| bands.iter().map(|(centre, width, height)| height * bell(nm, *centre, *width)).sum()).collect();
    let wanted = xyz_of_xy(white, sums(&ground)?.y).ok()?;
    let bends = BENDING.map(|(centre, width)| nm().map(|nm| bell(nm, centre, width)).collect::<Vec<f64>>());
    let [Some(blue), Some(green), Some(red)] = [sums(&bends[0]), sums(&bends[1]), sums(&bends[2])] else { return None };
    let have = sums(&ground)?;
    let missing = Xyz { x: wanted.x - have.x, y: wanted.y - have.y, z: wanted.z - have.z };
    let amounts = solve([blue, green, red], missing)?;
    let factor = lux / (LUMENS_PER_WATT * wanted.y);
    let bent = ground.iter().enumerate().map(|(index, value)| {
        let more: f64 =
            bends.iter().zip(amounts).map(|(bend, amount)| bend.get(index).copied().unwrap_or(0.0) * amount).sum();
        (value + more) * factor
    });
    Some(bent.collect())
}

/// The wavelengths of [`NM`].
pub(super) fn nm() -> impl Iterator<Item = f64> {
    (NM.0..=NM.1).step_by(NM.2).map(|nm| nm as f64)
}

fn bell(nm: f64, centre: f64, width: f64) -> f64 {
    let z = (nm - centre) / width;
    libm::exp(-0.5 * z * z)
}

fn sums(values: &[f64]) -> Option<Xyz> {
    let nm: Vec<f64> = nm().collect();
    let spectrum = Spectrum::new(SpectralUnit::Irradiance, &nm, values.to_vec(), None).ok()?;
    Some(Sampled::of(&spectrum).tristimulus())
}

/// The amounts of three lights that together have these tristimulus values, by Cramer's rule.
fn solve([a, b, c]: [Xyz; 3], sum: Xyz) -> Option<[f64; 3]> {
    let determinant = |a: Xyz, b: Xyz, c: Xyz| {
        a.x * (b.y * c.z - b.z * c.y) - b.x * (a.y * c.z - a.z * c.y) + c.x * (a.y * b.z - a.z * b.y)
    };
    let whole = determinant(a, b, c);
    let amounts = [determinant(sum, b, c), determinant(a, sum, c), determinant(a, b, sum)].map(|part| part / whole);
    amounts.iter().all(|amount| amount.is_finite()).then_some(amounts)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::color::rendering::figures;
    use crate::color::{level_of_spectrum, xy_of_xyz};
    use crate::reading::Level;

    #[test]
    fn a_lamp_has_the_white_and_the_level_that_are_asked_for() {
        for (shape, white, lux, ra) in [
            (Shape::Panel, Xy { x: 0.3127, y: 0.3290 }, 500.0, 95.0),
            (Shape::Tubes, Xy { x: 0.3457, y: 0.3585 }, 2000.0, 90.0),
            (Shape::Tubes, Xy { x: 0.3530, y: 0.3630 }, 1700.0, 88.0),
        ] {
            let nm: Vec<f64> = nm().collect();
            let values = spectrum(shape, white, lux).unwrap();
            let made = Spectrum::new(SpectralUnit::Irradiance, &nm, values, None).unwrap();
            let sampled = Sampled::of(&made);
            let xy = xy_of_xyz(sampled.tristimulus()).unwrap();
            assert!((xy.x - white.x).abs() < 1e-9 && (xy.y - white.y).abs() < 1e-9, "{xy:?}");
            let Some(Level::Illuminance(level)) = level_of_spectrum(&made) else { panic!("no level") };
            assert!((level.get() - lux).abs() < 1e-6 * lux);
            let found = figures(&sampled).unwrap().ra;
            assert!(found > ra, "{shape:?}: Ra {found}");
        }
    }
}
