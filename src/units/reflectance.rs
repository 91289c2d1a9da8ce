//! The reflectance curve of a paper as it was received: wavelengths and reflectance factors. Kept whole, never resampled.
//!
//! What lives here: which lists of numbers are the curve of a paper. What does not: interpolation and colour (`color`).

use super::spectrum::Places;

/// A curve reaches from this wavelength or a shorter one, nm (ASTM E308: 400 to 700 nm at the least).
pub const CURVE_BEGINS_NM: f64 = 400.0;
/// A curve reaches to this wavelength or a longer one, nm.
pub const CURVE_ENDS_NM: f64 = 700.0;
/// Neighbouring wavelengths of a curve are no farther apart than this, nm (ASTM E308: 20 nm at the coarsest).
pub const CURVE_STEP_NM: f64 = 20.0;
/// The greatest reflectance factor: brightened paper passes 1 in the blue; beyond this it is percent, or another quantity.
pub const MOST_REFLECTANCE: f64 = 1.6;
/// The most values of a curve.
const MOST_VALUES: usize = 2000;

/// Reflectance factors, 0 to [`MOST_REFLECTANCE`] (1 is the perfect diffuser), at rising wavelengths from 400 nm or below
/// to 700 nm or above, no more than 20 nm apart, not all zero.
#[derive(Debug, Clone, PartialEq)]
pub struct ReflectanceCurve {
    places: Places,
    factors: Vec<f64>,
}

/// Why a list of numbers is not the reflectance of a paper.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[allow(missing_docs)]
pub enum BadCurve {
    #[error("{wavelengths} wavelengths and {factors} reflectance factors: expected one factor at each wavelength")]
    Lengths { wavelengths: usize, factors: usize },
    #[error("{found} reflectance factors: expected 16 to {MOST_VALUES}, at least one every 20 nm")]
    Count { found: usize },
    #[error("{nm} nm after {before} nm: expected each wavelength once, in rising order, from 100 to 4000 nm")]
    Order { before: f64, nm: f64 },
    #[error("the curve goes from {first} to {last} nm: expected one that reaches from 400 to 700 nm")]
    Reach { first: f64, last: f64 },
    #[error("nothing between {from} and {to} nm: expected steps of 20 nm or less")]
    Gap { from: f64, to: f64 },
    #[error(
        "{factor} at {nm} nm: expected a reflectance factor from 0 to {MOST_REFLECTANCE}, 1 for the perfect diffuser; divide percent by 100"
    )]
    Factor { nm: f64, factor: f64 },
    #[error("no reflectance factor is above 0: expected the curve of a paper")]
    Black,
}

impl ReflectanceCurve {
    /// Takes `factors` at `wavelengths` (nm, rising) as the curve of a paper.
    pub fn new(wavelengths: &[f64], factors: Vec<f64>) -> Result<Self, BadCurve> {
        if wavelengths.len() != factors.len() {
            return Err(BadCurve::Lengths { wavelengths: wavelengths.len(), factors: factors.len() });
        }
        let (Some(first), Some(last)) = (wavelengths.first(), wavelengths.last()) else {
            return Err(BadCurve::Count { found: 0 });
        };
        for pair in wavelengths.windows(2) {
            let [before, nm] = pair else { continue };
            // Also true of what is not a number.
            if !(nm > before && *before >= 100.0 && *nm <= 4000.0) {
                return Err(BadCurve::Order { before: *before, nm: *nm });
            }
        }
        if !(*first <= CURVE_BEGINS_NM && *last >= CURVE_ENDS_NM) {
            return Err(BadCurve::Reach { first: *first, last: *last });
        }
        let too_wide = |pair: &&[f64]| matches!(pair, [a, b] if b - a > CURVE_STEP_NM * (1.0 + 1e-9));
        if let Some([from, to]) = wavelengths.windows(2).find(too_wide) {
            return Err(BadCurve::Gap { from: *from, to: *to });
        }
        // The fewest follow from reach and gap.
        if factors.len() > MOST_VALUES {
            return Err(BadCurve::Count { found: factors.len() });
        }
        let bad = |factor: f64| !(0.0..=MOST_REFLECTANCE).contains(&factor);
        if let Some((nm, factor)) = wavelengths.iter().zip(&factors).find(|(_, factor)| bad(**factor)) {
            return Err(BadCurve::Factor { nm: *nm, factor: *factor });
        }
        if factors.iter().all(|factor| *factor <= 0.0) {
            return Err(BadCurve::Black);
        }
        Ok(Self { places: Places::of(wavelengths), factors })
    }

    /// The reflectance factors, in the order of their wavelengths.
    pub fn factors(&self) -> &[f64] {
        &self.factors
    }

    /// The wavelengths, nm, rising.
    pub fn wavelengths(&self) -> impl Iterator<Item = f64> + '_ {
        (0..self.factors.len()).map(|index| self.places.nm(index))
    }

    /// The step between wavelengths, nm, where it is the same everywhere.
    pub const fn step_nm(&self) -> Option<f64> {
        self.places.step_nm()
    }

    /// First and last wavelength, nm.
    pub fn reach(&self) -> (f64, f64) {
        (self.places.nm(0), self.places.nm(self.factors.len().saturating_sub(1)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn every(step: usize, from: usize, to: usize) -> Vec<f64> {
        (from..=to).step_by(step).map(|nm| nm as f64).collect()
    }

    fn white(nm: &[f64]) -> Result<ReflectanceCurve, BadCurve> {
        ReflectanceCurve::new(nm, vec![0.9; nm.len()])
    }

    #[test]
    fn a_curve_from_400_to_700_is_taken() {
        let curve = white(&every(20, 400, 700)).unwrap();
        assert_eq!((curve.step_nm(), curve.reach(), curve.factors().len()), (Some(20.0), (400.0, 700.0), 16));
        let mut uneven = every(10, 380, 730);
        uneven.remove(4);
        let uneven = white(&uneven).unwrap();
        assert_eq!((uneven.step_nm(), uneven.wavelengths().nth(4)), (None, Some(430.0)));
        let bright = ReflectanceCurve::new(&every(10, 400, 700), vec![1.25; 31]);
        assert!(bright.is_ok(), "brightened paper passes 1");
    }

    #[test]
    fn what_is_no_curve_is_refused_by_reason() {
        let said = |result: Result<ReflectanceCurve, BadCurve>| result.unwrap_err().to_string();
        let nm = every(10, 400, 700);
        assert!(said(ReflectanceCurve::new(&nm, vec![0.9; 3])).starts_with("31 wavelengths and 3 reflectance factors"));
        assert!(said(ReflectanceCurve::new(&[], vec![])).starts_with("0 reflectance factors"));
        assert!(said(white(&every(10, 410, 700))).starts_with("the curve goes from 410 to 700 nm"));
        assert!(said(white(&every(25, 400, 700))).starts_with("nothing between 400 and 425 nm"));
        assert!(said(white(&[400.0, 390.0])).starts_with("390 nm after 400 nm"));
        assert!(said(white(&[400.0, f64::NAN])).starts_with("NaN nm after 400 nm"));
        let percent = said(ReflectanceCurve::new(&nm, vec![92.0; 31]));
        assert!(percent.starts_with("92 at 400 nm") && percent.ends_with("divide percent by 100"), "{percent}");
        assert!(said(ReflectanceCurve::new(&nm, vec![f64::NAN; 31])).starts_with("NaN at 400 nm"));
        assert_eq!(ReflectanceCurve::new(&nm, vec![0.0; 31]), Err(BadCurve::Black));
        assert!(matches!(
            white(&(0..3001).map(|i| 380.0 + 0.2 * f64::from(i)).collect::<Vec<_>>()),
            Err(BadCurve::Count { .. })
        ));
    }
}
