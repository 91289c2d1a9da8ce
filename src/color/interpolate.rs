//! From measured wavelengths to every nanometre from 360 to 830, for spectra of light and for reflectance curves.
//!
//! | measured at | between the measured values |
//! | --- | --- |
//! | each whole nanometre | nothing: untouched |
//! | an even step above 1 nm | Sprague, fifth order through six points, as CIE 15:2018 recommends; two points more at either end from the end polynomials of CIE 167:2005 |
//! | steps below 1 nm | the mean over each nanometre of the straight lines between the values, so that no line falls between two nanometres |
//! | uneven steps above 1 nm | cubic Hermite that keeps the shape (Fritsch and Carlson 1980, slopes of Fritsch and Butland 1984, ends of Moler 2004) |
//!
//! Beyond the ends the nearest measured value stands (CIE 15:2018 clause 7.2.2.1).
//!
//! **Why two interpolants.** Where steps are uneven someone kept the points that matter to the shape, and sharp lines stand beside
//! wide empty gaps: a polynomial through all of them swings there. On the rare-earth lamp of the open-data folder (85 points from
//! 400 nm on, 0.4 to 44.9 nm apart; tests/fixtures/colour/interpolation.py):
//!
//! | joined by | x | y | lowest, of the peak |
//! | --- | --- | --- | --- |
//! | straight lines | 0.38810 | 0.43730 | 0.029 |
//! | natural cubic spline | 0.49524 | 0.63509 | -0.616: light that nobody measured, and less than none |
//! | the cubic that keeps the shape | 0.38942 | 0.43655 | 0.029 |
//!
//! The distance of the first from the last, Δu'v' 0.001, is what such a thinned file leaves open.
//!
//! **What falls below zero stays there.** Beside a line that rises within one step Sprague swings below zero, by up to 8 % of the
//! peak among the illuminants of CIE 15. It is not cut off: the swings above and below cancel in a sum with smooth functions, and
//! cutting one side would add light, and move x by up to 0.0025 (FL3.4).

use super::observer::{FIRST_NM, GRID};

/// A value for each nanometre of the observers' table, and which part of it was measured.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct OnGrid {
    pub values: [f64; GRID],
    pub first: usize,
    pub last: usize,
}

/// The wavelengths that values stand at, nm, rising.
pub(super) enum Wavelengths {
    Even { from: f64, step: f64 },
    Listed(Vec<f64>),
}

/// Listed wavelengths no farther than this from even ones, nm, were rounded when they were written.
const ROUNDING_NM: f64 = 0.01;

impl Wavelengths {
    /// Takes them as even where `step` is known or where they are even but for rounding.
    pub fn of(step: Option<f64>, mut nm: impl Iterator<Item = f64>) -> Self {
        if let Some(step) = step {
            return Self::Even { from: nm.next().unwrap_or_default(), step };
        }
        let nm: Vec<f64> = nm.collect();
        if let [from, .., to] = *nm {
            let step = (to - from) / (nm.len() - 1) as f64;
            let even = Self::Even { from, step };
            if nm.iter().enumerate().all(|(index, nm)| (even.nm(index) - nm).abs() <= ROUNDING_NM) {
                return even;
            }
        }
        Self::Listed(nm)
    }

    pub fn nm(&self, index: usize) -> f64 {
        match self {
            Self::Even { from, step } => from + index as f64 * step,
            Self::Listed(all) => all.get(index).copied().unwrap_or_default(),
        }
    }
}

/// `values` at `wavelengths`, brought to each nanometre. At least six values that reach into the table.
pub(super) fn on_grid(wavelengths: &Wavelengths, values: &[f64]) -> OnGrid {
    let (from, to) = (wavelengths.nm(0), wavelengths.nm(values.len().saturating_sub(1)));
    let index = |nm: f64| (nm - FIRST_NM).clamp(0.0, (GRID - 1) as f64) as usize;
    let (first, last) = (index(from.ceil()), index(to.floor()));
    let mut grid = [0.0; GRID];
    let (Some(before), Some(after)) = (values.first(), values.last()) else {
        return OnGrid { values: grid, first, last };
    };
    let (below, rest) = grid.split_at_mut(first);
    let (within, above) = rest.split_at_mut((last + 1).saturating_sub(first));
    below.fill(*before);
    above.fill(*after);
    let begin = FIRST_NM + first as f64;
    match wavelengths {
        Wavelengths::Even { step, .. } if *step == 1.0 && from.fract() == 0.0 => {
            let skipped = (begin - from).max(0.0) as usize;
            for (out, value) in within.iter_mut().zip(values.iter().skip(skipped)) {
                *out = *value;
            }
        }
        Wavelengths::Even { step, .. } if *step >= 1.0 => sprague(from, *step, values, begin, within),
        Wavelengths::Even { .. } => {
            let mut segment = 0;
            for (out, nm) in within.iter_mut().zip(nanometres(begin)) {
                *out = mean(wavelengths, values, &mut segment, nm);
            }
        }
        Wavelengths::Listed(all) => uneven(wavelengths, all, values, begin, within),
    }
    OnGrid { values: grid, first, last }
}

fn nanometres(begin: f64) -> impl Iterator<Item = f64> {
    (0..GRID).map(move |index| begin + index as f64)
}

/// Sprague's interpolation (CIE 167:2005; Westland, Ripamonti and Cheung 2012, equation 4.10) of even values from `from` on, at
/// whole nanometres from `begin` on.
fn sprague(from: f64, step: f64, values: &[f64], begin: f64, out: &mut [f64]) {
    let ends = (beyond(values.iter()), beyond(values.iter().rev()));
    let mut place = usize::MAX;
    let mut c = [0.0; 6];
    let last = values.len().saturating_sub(2);
    for (out, nm) in out.iter_mut().zip(nanometres(begin)) {
        let t = (nm - from) / step;
        let at = (t.max(0.0) as usize).min(last);
        if at != place {
            c = polynomial(window(values, at, ends));
            place = at;
        }
        let h = t - at as f64;
        let [c0, c1, c2, c3, c4, c5] = c;
        *out = ((((c5 * h + c4) * h + c3) * h + c2) * h + c1) * h + c0;
    }
}

/// The two points before the first of `values`, the nearer one first (CIE 167:2005 table V).
fn beyond<'a>(values: impl Iterator<Item = &'a f64>) -> [f64; 2] {
    const NEARER: [f64; 6] = [508.0, -540.0, 488.0, -367.0, 144.0, -24.0];
    const FARTHER: [f64; 6] = [884.0, -1960.0, 3033.0, -2648.0, 1080.0, -180.0];
    let mut sum = [0.0; 2];
    for (value, (near, far)) in values.zip(NEARER.into_iter().zip(FARTHER)) {
        sum = [sum[0] + near * value, sum[1] + far * value];
    }
    sum.map(|sum| sum / 209.0)
}

/// The six values around the interval from `at` to `at` + 1.
fn window(values: &[f64], at: usize, (before, after): ([f64; 2], [f64; 2])) -> [f64; 6] {
    let inside = at.checked_sub(2).and_then(|from| values.get(from..from + 6)).and_then(|six| six.try_into().ok());
    inside.unwrap_or_else(|| {
        let [before1, before2] = before;
        let [after1, after2] = after;
        [0usize, 1, 2, 3, 4, 5].map(|offset| match (at + offset).checked_sub(2) {
            Some(index) => match values.get(index) {
                Some(value) => *value,
                None if index == values.len() => after1,
                None => after2,
            },
            None if at + offset == 1 => before1,
            None => before2,
        })
    })
}

/// The coefficients of the polynomial between the third and the fourth of six values.
fn polynomial([p, q, r, s, t, u]: [f64; 6]) -> [f64; 6] {
    [
        r,
        (2.0 * p - 16.0 * q + 16.0 * s - 2.0 * t) / 24.0,
        (-p + 16.0 * q - 30.0 * r + 16.0 * s - t) / 24.0,
        (-9.0 * p + 39.0 * q - 70.0 * r + 66.0 * s - 33.0 * t + 7.0 * u) / 24.0,
        (13.0 * p - 64.0 * q + 126.0 * r - 124.0 * s + 61.0 * t - 12.0 * u) / 24.0,
        (-5.0 * p + 25.0 * q - 50.0 * r + 50.0 * s - 25.0 * t + 5.0 * u) / 24.0,
    ]
}

/// The mean of the straight lines between the values over the nanometre around `nm`, as far as it was measured. `segment`
/// goes along with rising calls.
fn mean(wavelengths: &Wavelengths, values: &[f64], segment: &mut usize, nm: f64) -> f64 {
    let last = values.len().saturating_sub(2);
    let (from, to) = ((nm - 0.5).max(wavelengths.nm(0)), (nm + 0.5).min(wavelengths.nm(last + 1)));
    while *segment < last && wavelengths.nm(*segment + 1) <= from {
        *segment += 1;
    }
    let mut area = 0.0;
    for (at, pair) in values.windows(2).enumerate().skip(*segment) {
        let ([p, q], left, right) = (pair, wavelengths.nm(at), wavelengths.nm(at + 1)) else { break };
        if left >= to {
            break;
        }
        let (a, b) = (from.max(left), to.min(right));
        area += (b - a) * (p + (q - p) * ((a + b) / 2.0 - left) / (right - left));
    }
    area / (to - from)
}

/// Values at uneven wavelengths: where a nanometre holds two or more of them their mean, elsewhere the cubic that keeps the shape.
fn uneven(wavelengths: &Wavelengths, nm: &[f64], values: &[f64], begin: f64, out: &mut [f64]) {
    let (mut segment, mut mean_segment) = (0, 0);
    let last = nm.len().saturating_sub(2);
    let mut slopes = (usize::MAX, 0.0, 0.0);
    for (out, wanted) in out.iter_mut().zip(nanometres(begin)) {
        while segment < last && nm.get(segment + 1).is_some_and(|next| *next <= wanted) {
            segment += 1;
        }
        if holds_two(nm, segment, wanted) {
            *out = mean(wavelengths, values, &mut mean_segment, wanted);
            continue;
        }
        let pair = nm.get(segment..segment + 2).zip(values.get(segment..segment + 2));
        let Some(([a, b], [p, q])) = pair else { continue };
        if slopes.0 != segment {
            slopes = (segment, slope(nm, values, segment), slope(nm, values, segment + 1));
        }
        let (h, t) = (b - a, (wanted - a) / (b - a));
        let (_, d, e) = slopes;
        let (t2, t3) = (t * t, t * t * t);
        *out = (2.0 * t3 - 3.0 * t2 + 1.0) * p
            + (t3 - 2.0 * t2 + t) * h * d
            + (3.0 * t2 - 2.0 * t3) * q
            + (t3 - t2) * h * e;
    }
}

/// Whether the nanometre around `wanted`, which lies in this segment, holds two measured values or more.
fn holds_two(nm: &[f64], segment: usize, wanted: f64) -> bool {
    let near = |index: Option<usize>| index.and_then(|i| nm.get(i)).is_some_and(|nm| (nm - wanted).abs() < 0.5);
    let around = [segment.checked_sub(1), Some(segment), Some(segment + 1), Some(segment + 2)];
    around.into_iter().filter(|index| near(*index)).count() >= 2
}

/// The slope of the shape-preserving cubic at a measured point.
fn slope(nm: &[f64], values: &[f64], at: usize) -> f64 {
    let chord = |left: Option<usize>| {
        let left = left?;
        let ([a, b], [p, q]) = nm.get(left..left + 2).zip(values.get(left..left + 2))? else { return None };
        Some((b - a, (q - p) / (b - a)))
    };
    match (chord(at.checked_sub(1)), chord(Some(at))) {
        (Some((h, d)), Some((k, e))) => {
            if d * e <= 0.0 {
                return 0.0;
            }
            let (w, v) = (2.0 * k + h, k + 2.0 * h);
            (w + v) / (w / d + v / e)
        }
        (None, Some(near)) => end_slope(near, chord(Some(at + 1)).unwrap_or(near)),
        (Some(near), None) => end_slope(near, chord(at.checked_sub(2)).unwrap_or(near)),
        (None, None) => 0.0,
    }
}

/// The slope at an end from the two chords nearest to it: one-sided, three points, held to the sign of the nearer chord.
fn end_slope((h, d): (f64, f64), (k, e): (f64, f64)) -> f64 {
    let slope = ((2.0 * h + k) * d - h * e) / (h + k);
    if slope * d <= 0.0 {
        0.0
    } else if d * e < 0.0 && slope.abs() > 3.0 * d.abs() {
        3.0 * d
    } else {
        slope
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn even(from: f64, step: f64, values: &[f64]) -> OnGrid {
        on_grid(&Wavelengths::Even { from, step }, values)
    }

    #[test]
    fn whole_nanometres_pass_untouched() {
        let values: Vec<f64> = (0..401).map(|i| f64::from((i * 37) % 101)).collect();
        let grid = even(380.0, 1.0, &values);
        assert_eq!((grid.first, grid.last), (20, 420));
        assert_eq!(grid.values[20..=420], values[..]);
        assert!(
            grid.values[..20].iter().all(|v| *v == values[0]) && grid.values[421..].iter().all(|v| *v == values[400])
        );
        // What lies outside the table is left out.
        let wide: Vec<f64> = (0..801).map(f64::from).collect();
        let grid = even(250.0, 1.0, &wide);
        assert_eq!((grid.first, grid.last, grid.values[0], grid.values[470]), (0, 470, 110.0, 580.0));
    }

    #[test]
    fn a_line_narrower_than_a_nanometre_keeps_its_light() {
        // A triangle 0.4 nm wide at half maximum, at 0.1 nm steps, wherever it stands: its area is 0.4.
        for centre in [546.0, 546.1, 546.5, 546.75] {
            let values: Vec<f64> =
                (0..4001).map(|i| (1.0 - (380.0 + f64::from(i) * 0.1 - centre).abs() / 0.4).max(0.0)).collect();
            let nm: Vec<f64> = (0..4001).map(|i| 380.0 + f64::from(i) * 0.1).collect();
            for places in [
                Wavelengths::Even { from: 380.0, step: 0.1 },
                Wavelengths::of(None, nm.iter().copied()),
                Wavelengths::Listed(nm.clone()),
            ] {
                let sum: f64 = on_grid(&places, &values).values.iter().sum();
                assert!((sum - 0.4).abs() < 1e-2, "{centre}: {sum}");
            }
        }
    }

    #[test]
    fn rounded_wavelengths_count_as_even() {
        let nm = (0..120).map(|i| ((380.0 + f64::from(i) * 10.0 / 3.0) * 100.0).round() / 100.0);
        assert!(matches!(Wavelengths::of(None, nm), Wavelengths::Even { .. }));
        let nm = (0..120).map(|i| 380.0 + f64::from(i) * 3.0 + if i == 60 { 0.3 } else { 0.0 });
        assert!(matches!(Wavelengths::of(None, nm), Wavelengths::Listed(_)));
    }

    #[test]
    fn sprague_swings_below_zero_beside_a_line_and_keeps_the_sum() {
        let mut values = vec![0.0; 81];
        values[40] = 1.0;
        let grid = even(380.0, 5.0, &values);
        let lowest = grid.values.iter().copied().fold(0.0, f64::min);
        assert!((-0.12..-0.05).contains(&lowest), "{lowest}");
        let sum: f64 = grid.values.iter().sum();
        assert!((sum - 5.0).abs() < 0.01, "five nanometres of one: {sum}");
    }

    proptest! {
        /// Every way leads along a straight line, and Sprague along a parabola.
        #[test]
        fn straight_lines_stay_straight(
            a in 0.1f64..10.0, b in -0.005f64..0.005, from in 340f64..399.0, step in 0.2f64..20.0, uneven in any::<bool>(),
        ) {
            let count = (420.0 / step) as usize + 20;
            let nm: Vec<f64> = (0..count).map(|i| {
                from + step * (i as f64 + if uneven { 0.3 * ((i % 3) as f64) } else { 0.0 })
            }).collect();
            let line = |nm: f64| a + b * (nm - 560.0);
            let values: Vec<f64> = nm.iter().map(|nm| line(*nm)).collect();
            let grid = on_grid(&Wavelengths::of(None, nm.iter().copied()), &values);
            // The nanometres at the ends hold half a mean.
            for index in grid.first + 1..grid.last {
                let expected = line(FIRST_NM + index as f64);
                prop_assert!((grid.values[index] - expected).abs() < 1e-9, "{} {}", grid.values[index], expected);
            }
            if step >= 1.0 && !uneven {
                let parabola: Vec<f64> = nm.iter().map(|nm| a + b * (nm - 560.0).powi(2)).collect();
                let grid = on_grid(&Wavelengths::Even { from, step }, &parabola);
                // Inside: the published points beyond the ends follow straight lines only.
                let nm = |index: usize| FIRST_NM + index as f64;
                let inside = from + 2.0 * step..from + (count as f64 - 3.0) * step;
                for index in (grid.first..=grid.last).filter(|index| inside.contains(&nm(*index))) {
                    let expected = a + b * (FIRST_NM + index as f64 - 560.0).powi(2);
                    prop_assert!((grid.values[index] - expected).abs() < 1e-7, "{} {}", grid.values[index], expected);
                }
            }
        }

        #[test]
        fn the_shape_is_kept(steps in prop::collection::vec((1.01f64..25.0, 0f64..1.0), 60..100)) {
            let mut nm = vec![380.3];
            for (step, _) in &steps {
                nm.push(nm[nm.len() - 1] + step);
            }
            let values: Vec<f64> = std::iter::once(0.5).chain(steps.iter().map(|(_, value)| *value)).collect();
            let grid = on_grid(&Wavelengths::Listed(nm.clone()), &values);
            for (index, value) in grid.values.iter().enumerate().take(grid.last + 1).skip(grid.first) {
                let wanted = FIRST_NM + index as f64;
                let right = nm.partition_point(|nm| *nm <= wanted).clamp(1, nm.len() - 1);
                let (low, high) = (values[right - 1].min(values[right]), values[right - 1].max(values[right]));
                prop_assert!((low - 1e-12..=high + 1e-12).contains(value), "{wanted}: {value} {low} {high}");
            }
        }
    }
}
