//! Tristimulus values of the test colours under a spectrum: Σ S R x̄, Σ S R ȳ, Σ S R z̄ for each of them, and for white.
//!
//! The sums are the one costly part of rendering: 100 columns by 401 rows by 3. Reflectances stand in blocks of four columns, so
//! that twelve sums run side by side in registers while a block is read once, in order; nothing is allocated. What does not
//! live here: lights (`reference`) and what the values are used for (`cie_13_3`, `cie_224`, `hues`).

use super::ces::CES;
use super::tcs::TCS;
use crate::color::observer_10deg::BAR as BAR_10DEG;
use crate::color::{GRID, Sampled, matching_functions};

/// Test colours of CIE 13.3, and white after them.
pub(super) const OLD_COLUMNS: usize = 16;
/// Test colours of CIE 224, and white after them.
pub(super) const NEW_COLUMNS: usize = 100;
/// Index in the grid of 380 nm, where CIE 224 begins to sum.
pub(super) const NEW_FROM: usize = 20;
/// Wavelengths that CIE 224 sums over, 380 to 780 nm.
pub(super) const NEW_COUNT: usize = 401;

/// Columns that are summed side by side.
const LANES: usize = 4;

static OLD: [[[f64; LANES]; GRID]; 4] = blocks(&TCS);
static NEW: [[[f64; LANES]; NEW_COUNT]; 25] = blocks(&CES);
static NEW_BAR: [[f64; 3]; NEW_COUNT] = visible(&BAR_10DEG);

/// The columns of a table in blocks, white (1 everywhere) after the last.
const fn blocks<const COLUMNS: usize, const ROWS: usize, const BLOCKS: usize>(
    table: &[[f64; COLUMNS]; ROWS],
) -> [[[f64; LANES]; ROWS]; BLOCKS] {
    let mut out = [[[0.0; LANES]; ROWS]; BLOCKS];
    let mut column = 0;
    while column <= COLUMNS {
        let mut row = 0;
        while row < ROWS {
            out[column / LANES][row][column % LANES] = if column < COLUMNS { table[row][column] } else { 1.0 };
            row += 1;
        }
        column += 1;
    }
    out
}

/// The rows of an observer's table from 380 to 780 nm.
const fn visible(bar: &[[f64; 3]; GRID]) -> [[f64; 3]; NEW_COUNT] {
    let mut out = [[0.0; 3]; NEW_COUNT];
    let mut row = 0;
    while row < NEW_COUNT {
        out[row] = bar[row + NEW_FROM];
        row += 1;
    }
    out
}

/// The sums of each column with three weights a row.
fn sums<const ROWS: usize>(blocks: &[[[f64; LANES]; ROWS]], weights: &[[f64; 3]; ROWS], to: &mut [[f64; 3]]) {
    for (block, to) in blocks.iter().zip(to.chunks_mut(LANES)) {
        let (mut x, mut y, mut z) = ([0.0; LANES], [0.0; LANES], [0.0; LANES]);
        for (row, [wx, wy, wz]) in block.iter().zip(weights) {
            for (((r, x), y), z) in row.iter().zip(&mut x).zip(&mut y).zip(&mut z) {
                *x += r * wx;
                *y += r * wy;
                *z += r * wz;
            }
        }
        for (((to, x), y), z) in to.iter_mut().zip(x).zip(y).zip(z) {
            *to = [x, y, z];
        }
    }
}

/// The test colours of CIE 13.3 and white for the 2° observer, 360 to 830 nm; ends that were not measured as CIE 15 has them.
pub(super) fn old(light: &Sampled) -> [[f64; 3]; OLD_COLUMNS] {
    let mut weights = [[0.0; 3]; GRID];
    for ((weight, value), bar) in weights.iter_mut().zip(&light.values).zip(matching_functions()) {
        *weight = bar.map(|bar| bar * value);
    }
    let mut out = [[0.0; 3]; OLD_COLUMNS];
    sums(&OLD, &weights, &mut out);
    out
}

/// The test colours of CIE 224 and white for the 10° observer, 380 to 780 nm; ends that were not measured are dark (CIE 224).
pub(super) fn new(light: &Sampled) -> [[f64; 3]; NEW_COLUMNS] {
    let mut weights = [[0.0; 3]; NEW_COUNT];
    let values = light.values.iter().enumerate().skip(NEW_FROM);
    for ((weight, (index, value)), bar) in weights.iter_mut().zip(values).zip(&NEW_BAR) {
        if (light.first..=light.last).contains(&index) {
            *weight = bar.map(|bar| bar * value);
        }
    }
    let mut out = [[0.0; 3]; NEW_COLUMNS];
    sums(&NEW, &weights, &mut out);
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn slope() -> Sampled {
        let mut values = [0.0; GRID];
        for (index, value) in values.iter_mut().enumerate() {
            *value = 1.0 + index as f64 / 100.0;
        }
        Sampled { values, first: 40, last: 400 }
    }

    #[test]
    fn blocks_hold_the_columns() {
        let (light, found) = (slope(), old(&slope()));
        for (column, xyz) in found.iter().enumerate() {
            for (channel, sum) in xyz.iter().enumerate() {
                let plain: f64 = (0..GRID)
                    .map(|row| {
                        let reflectance = TCS[row].get(column).copied().unwrap_or(1.0);
                        light.values[row] * reflectance * matching_functions()[row][channel]
                    })
                    .sum();
                assert!((sum / plain - 1.0).abs() < 1e-12, "{column} {channel}: {sum} {plain}");
            }
        }
    }

    #[test]
    fn what_was_not_measured_is_dark_for_cie_224() {
        let (light, found) = (slope(), new(&slope()));
        for (column, xyz) in found.iter().enumerate() {
            let plain: f64 = (light.first..=light.last)
                .map(|index| {
                    let reflectance = CES[index - NEW_FROM].get(column).copied().unwrap_or(1.0);
                    light.values[index] * reflectance * BAR_10DEG[index][2]
                })
                .sum();
            assert!((xyz[2] / plain - 1.0).abs() < 1e-12, "{column}: {} {plain}", xyz[2]);
        }
    }
}
