//! The spectral fields of a row: how they are named, and the spectrum they are together.
//!
//! A field `nm380` holds the value at 380 nm; fields may stand in any order and at any wavelengths. One that is empty is
//! absent: the spectrum then has no value at this wavelength, and nothing is put there. What such a list must be to count
//! as a spectrum (its ends, gaps, negative values) is for `units`.

use super::column::Column;
use super::defects::{Defects, halves};
use super::field::{Cell, Cells, Row, filled, number_in};
use crate::reading::ColourSet;
use crate::units::{BadSpectrum, SpectralUnit, Spectrum};

/// The wavelength, nm, whose value a field of this name holds: `nm` and a decimal number.
pub(super) fn wavelength(name: &str) -> Option<f64> {
    let number = name.strip_prefix("nm")?;
    let is_plain =
        number.starts_with(|c: char| c.is_ascii_digit()) && number.bytes().all(|b| b.is_ascii_digit() || b == b'.');
    number.parse().ok().filter(|nm: &f64| is_plain && nm.is_finite())
}

/// The name of the field that holds the value at `nm`.
pub(super) fn name_of(nm: f64) -> String {
    format!("nm{nm}")
}

/// The spectral name that an unknown one was likely meant to be, like `nm380` for `380 nm`.
pub(super) fn meant_as_wavelength(name: &str) -> Option<String> {
    // A hostile name may be long.
    let plain: String = name.chars().take(40).collect::<String>().trim().to_lowercase().replace(',', ".");
    let (before, bare) = plain.split_at(plain.find(|c: char| c.is_ascii_digit())?);
    let word = before.trim_matches([' ', '_', '-', '.', '(', '[']);
    if !["", "nm", "λ", "l", "wl", "w", "s", "spec", "spectral", "lambda", "wavelength"].contains(&word) {
        return None;
    }
    let bare = bare.trim_end_matches([')', ']', ' ']);
    let bare = bare.strip_suffix("nm").unwrap_or(bare).trim_end();
    let nm = bare.parse::<f64>().ok().filter(|nm| (100.0..=4000.0).contains(nm))?;
    Some(name_of(nm)).filter(|meant| meant != name)
}

/// Why no row under fields at these rising wavelengths can hold a spectrum: what was found, and what was expected.
pub(super) fn why_unfit(wavelengths: &[f64]) -> Option<(String, String)> {
    let flat = vec![1.0; wavelengths.len()];
    Spectrum::new(SpectralUnit::Relative, wavelengths, flat, None).err().map(|bad| halves(&bad))
}

impl<'a> Cells<'a> {
    /// Adds the cell at a wavelength; the last one added must be followed by [`Cells::order_bands`].
    pub(super) fn add_band(&mut self, nm: f64, cell: Cell<'a>) {
        self.bands.push((nm, filled(cell).unwrap_or_default()));
    }

    /// Puts the spectral cells in the order of their wavelengths; a wavelength that stands twice is a defect.
    pub(super) fn order_bands(&mut self, line: u64, defects: &mut Defects) {
        self.bands.sort_by(|a, b| a.0.total_cmp(&b.0));
        for pair in self.bands.windows(2) {
            if let [(one, _), (other, _)] = pair
                && one == other
            {
                defects.at(line, &name_of(*one), "the same wavelength twice", "each wavelength once");
            }
        }
    }
}

impl Row<'_, '_> {
    /// Whether a spectral field is filled.
    pub(super) fn has_spectrum(&self) -> bool {
        self.cells.bands.iter().any(|(_, cell)| !matches!(cell, Cell::Absent))
    }

    /// The spectrum of a row that has one.
    pub(super) fn spectrum(&mut self) -> Option<ColourSet> {
        let before = self.defects.count();
        let words = SpectralUnit::ALL.map(SpectralUnit::word);
        let unit = self.word(Column::Unit, &words).and_then(SpectralUnit::from_word).unwrap_or_default();
        let bandwidth_nm = self.number(Column::BandwidthNm);
        self.must_be_empty(Column::Ra, "nothing: Ra follows from the spectrum");
        let cells = self.cells;
        let (mut wavelengths, mut values) =
            (Vec::with_capacity(cells.bands.len()), Vec::with_capacity(cells.bands.len()));
        let mut bad: Option<(f64, String, String)> = None;
        let mut more = 0_u32;
        for (nm, cell) in &cells.bands {
            match number_in(cell) {
                Ok(None) => {}
                Ok(Some(value)) => {
                    wavelengths.push(*nm);
                    // Adding 0 turns a negative zero into zero.
                    values.push(value + 0.0);
                }
                Err((found, expected)) if bad.is_none() => bad = Some((*nm, found, expected)),
                Err(_) => more += 1,
            }
        }
        if let Some((nm, found, expected)) = bad {
            // Hundreds of fields are likely wrong for one reason.
            self.defects.at(self.line, &name_of(nm), &found, expected + &and_more(more));
        }
        if self.defects.count() != before {
            return None;
        }
        match Spectrum::new(unit, &wavelengths, values, bandwidth_nm) {
            Ok(spectrum) => Some(ColourSet::Spectrum { spectrum: Box::new(spectrum) }),
            Err(bad) => {
                let (found, expected) = halves(&bad);
                match bad {
                    BadSpectrum::Value { nm, value } => {
                        self.defects.at(self.line, &name_of(nm), &value.to_string(), expected);
                    }
                    BadSpectrum::Bandwidth { .. } => self.blame(Column::BandwidthNm, &found, expected),
                    _ => self.defects.of_line(self.line, &found, expected),
                }
                None
            }
        }
    }
}

/// What is said after the first of several bad fields of one row.
pub(super) fn and_more(more: u32) -> String {
    if more == 0 { String::new() } else { format!(" ({more} more of this row are no numbers)") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_nm_and_a_wavelength() {
        for (name, nm) in [("nm380", 380.0), ("nm382.5", 382.5), ("nm380.0", 380.0), ("nm1050", 1050.0)] {
            assert_eq!(wavelength(name), Some(nm), "{name}");
        }
        for name in ["nm", "nm.5", "nm3.8.0", "nm-380", "nm+380", "nm3e2", "380nm", "NM380", "nm 380", "nminf"] {
            assert_eq!(wavelength(name), None, "{name}");
        }
        assert_eq!(name_of(382.5), "nm382.5");
        assert_eq!(name_of(380.0), "nm380");
    }

    #[test]
    fn what_was_meant_is_seen_where_it_can_be() {
        for (name, meant) in [("380", "nm380"), ("380 nm", "nm380"), ("nm_380", "nm380"), ("λ 382,5", "nm382.5")] {
            assert_eq!(meant_as_wavelength(name).as_deref(), Some(meant), "{name}");
        }
        for name in ["", "x", "nm", "50", "x10 400", "E 500 lx", "nm9000", "x2", "1.2.3"] {
            assert_eq!(meant_as_wavelength(name), None, "{name}");
        }
    }

    #[test]
    fn columns_that_can_hold_no_spectrum_are_known_by_their_wavelengths() {
        let every = |step: usize| (380..=780).step_by(step).map(|nm| nm as f64).collect::<Vec<_>>();
        assert_eq!(why_unfit(&every(5)), None);
        assert_eq!(why_unfit(&every(20)), None);
        assert!(why_unfit(&every(50)).unwrap().0.starts_with("9 values"));
        let (found, expected) = why_unfit(&[380.0, 385.0]).unwrap();
        assert_eq!(found, "the spectrum goes from 380 to 385 nm");
        assert_eq!(expected, "one that reaches from 400 to 700 nm");
    }
}
