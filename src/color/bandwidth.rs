//! What the width of an instrument's slit did to a spectrum, taken back.
//!
//! A spectrometer whose response is a triangle of full width b at half maximum (its standard deviation is b/√6) reads P + (b²/12) P″ for a spectrum
//! P. Stearns and Stearns (Color Res. Appl. 13, 1988, 257–259) take that back where the step equals the width, with α = 0.083:
//!
//! ```text
//! P_i = -α P'_(i-1) + (1 + 2α) P'_i - α P'_(i+1)      inside
//! P_1 = (1 + α) P'_1 - α P'_2                          at either end
//! ```
//!
//! **Other steps.** This is P′ - α b² P″ with P″ from neighbours one step away. Here the neighbours are, on either side, the
//! nearest that lie at least one width away (with a step as wide or wider: the next ones), at distances h and k:
//!
//! ```text
//! P_i = P'_i - α b² · 2/(h + k) · ((P'_right - P'_i)/k - (P'_i - P'_left)/h)
//! ```
//!
//! With h = k = b it is the published formula. A step finer than the width thus falls into interleaved
//! series that each have the width for their step, and noise grows no more than by the published 1.19 instead of
//! by (width/step)²; with a coarser step the correction shrinks as α (b/step)². Lines much narrower than the slit are beyond any such formula.

use super::interpolate::Wavelengths;

/// α of Stearns and Stearns, nearly 1/12.
const ALPHA: f64 = 0.083;

/// `values` at `wavelengths` as an instrument of no width would have read them. `width` is the full width at half maximum, nm.
pub(super) fn corrected(wavelengths: &Wavelengths, values: &[f64], width: f64) -> Vec<f64> {
    // What was meant as one width is one width, whatever the decimals of the wavelengths.
    let enough = width * (1.0 - 1e-6);
    let last = values.len().saturating_sub(1);
    let (mut left, mut right) = (0, 0);
    let at = |index: usize| wavelengths.nm(index);
    let corrected = values.iter().enumerate().map(|(index, value)| {
        while left + 1 < index && at(index) - at(left + 1) >= enough {
            left += 1;
        }
        right = right.max((index + 1).min(last));
        while right < last && at(right) - at(index) < enough {
            right += 1;
        }
        let chord = |other: usize| {
            let far = (at(other) - at(index)).abs();
            values.get(other).filter(|_| far >= enough).map(|other| (far, (other - value) / far))
        };
        // At an end there is a neighbour on one side only; the published end formula takes the missing one as level.
        let bend = match (chord(left), chord(right)) {
            (Some((h, down)), Some((k, up))) => 2.0 * (up + down) / (h + k),
            (Some((far, chord)), None) | (None, Some((far, chord))) => chord / far,
            (None, None) => 0.0,
        };
        value - ALPHA * width * width * bend
    });
    corrected.collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    const PUBLISHED: [f64; 6] = [0.0651, 0.0705, 0.0772, 0.0870, 0.1128, 0.1360];

    fn even(step: f64) -> Wavelengths {
        Wavelengths::Even { from: 500.0, step }
    }

    #[test]
    fn the_published_example() {
        let found = corrected(&even(20.0), &PUBLISHED, 20.0);
        // By hand from the formula; the ends are also those that colour-science 0.4.7 documents.
        let by_hand = [0.0646518, 0.0703921, 0.0769427, 0.085672, 0.1130158, 0.1379256];
        for (found, by_hand) in found.iter().zip(by_hand) {
            assert!((found - by_hand).abs() < 5e-9, "{found} {by_hand}");
        }
        // That package's inner values, 0.07042930, 0.07694857, 0.08569287, 0.11296447, come from another reading of the formula: its
        // loop puts in the left neighbour as already corrected. So read, ours lead to its digits.
        let mut in_place = found.clone();
        in_place[1..5].copy_from_slice(&PUBLISHED[1..5]);
        for i in 1..5 {
            in_place[i] = -ALPHA * in_place[i - 1] + (1.0 + 2.0 * ALPHA) * PUBLISHED[i]
                - ALPHA * PUBLISHED.get(i + 1).copied().filter(|_| i < 4).unwrap_or(found[5]);
        }
        for (found, documented) in
            in_place.iter().zip([0.06465180, 0.07042930, 0.07694857, 0.08569287, 0.11296447, 0.13792560])
        {
            assert!((found - documented).abs() < 5e-9, "{found} {documented}");
        }
        let listed = Wavelengths::Listed((0..6).map(|i| 500.0 + 20.0 * f64::from(i)).collect());
        assert_eq!(corrected(&listed, &PUBLISHED, 20.0), found);
    }

    #[test]
    fn a_finer_step_is_read_as_interleaved_series() {
        let twice: Vec<f64> = PUBLISHED.iter().flat_map(|value| [*value, 2.0 * value]).collect();
        let found = corrected(&even(10.0), &twice, 20.0);
        let alone = corrected(&even(20.0), &PUBLISHED, 20.0);
        for (pair, alone) in found.chunks(2).zip(alone) {
            assert!((pair[0] - alone).abs() < 1e-15 && (pair[1] - 2.0 * alone).abs() < 1e-15, "{pair:?} {alone}");
        }
    }

    #[test]
    fn a_coarser_step_is_corrected_less() {
        let found = corrected(&even(20.0), &PUBLISHED, 10.0);
        let whole = corrected(&even(20.0), &PUBLISHED, 20.0);
        for ((found, whole), as_read) in found.iter().zip(whole).zip(PUBLISHED) {
            assert!((4.0 * (found - as_read) - (whole - as_read)).abs() < 1e-15);
        }
    }

    /// A triangular slit over a smooth peak, read at several steps, even and uneven: the correction takes back most of the error.
    #[test]
    fn it_brings_a_peak_back() {
        let peak = |nm: f64| (-0.5 * ((nm - 550.0) / 12.0).powi(2)).exp();
        let width = 10.0;
        let read = |nm: f64| {
            let weight = |i: i32| 1.0 - f64::from(i.abs()) / 200.0;
            let sum: f64 = (-200..=200).map(|i| weight(i) * peak(nm + f64::from(i) * width / 200.0)).sum();
            sum / (-200..=200).map(weight).sum::<f64>()
        };
        let uneven: Vec<f64> = (0..30).map(|i| 470.0 + f64::from(i) * 5.0 + 2.0 * f64::from(i % 3)).collect();
        for (places, count) in
            [(even(10.0), 12), (even(5.0), 24), (even(1.0), 120), (even(2.5), 48), (Wavelengths::Listed(uneven), 30)]
        {
            let nm: Vec<f64> = (0..count).map(|i| places.nm(i)).collect();
            let values: Vec<f64> = nm.iter().map(|nm| read(*nm)).collect();
            let worst = |values: &[f64]| {
                let inside = values.iter().zip(&nm).filter(|(_, nm)| (515.0..585.0).contains(*nm));
                inside.map(|(value, nm)| (value - peak(*nm)).abs()).fold(0.0, f64::max)
            };
            let (before, after) = (worst(&values), worst(&corrected(&places, &values, width)));
            assert!(before > 0.03 && after < 0.45 * before, "{before} {after} {nm:?}");
        }
    }
}
