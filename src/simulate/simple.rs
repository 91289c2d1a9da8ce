//! What a spreadsheet does: the last reading holds, or a straight line goes on. They know nothing of strays and steps, and begin
//! anew when a device was logged to be set anew, with where it was set as a first point.

use super::followers::Guess;
use crate::site::Noise;

/// Which way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// The last reading holds; sd: the root mean square of the changes from one reading to the next.
    Last,
    /// Least squares through all readings, with the interval for one more reading.
    Line,
    /// The same through the last eight.
    LineOf8,
    /// Median of the slopes of all pairs and the median of what is left (Theil 1950, Sen 1968); sd from the median absolute rest.
    TheilSen,
}

/// A channel's course as it is thought to go on: at `t0` it is `y0`; variance `spread·(1 + share + ahead²/tt)`.
#[derive(Debug, Clone, Copy)]
struct Line {
    t0: f64,
    y0: f64,
    slope: f64,
    variance: f64,
    of_mean: f64,
    per_square: f64,
}

/// Guesses at each of `days`; `readings` are (day, values) and not empty.
pub fn guesses(way: Way, readings: &[(f64, [f64; 3])], declared: Noise, days: &[f64]) -> Vec<Guess> {
    let floor = [declared.uv, declared.uv, declared.level];
    let lines = [0, 1, 2].map(|c: usize| {
        let points: Vec<(f64, f64)> = readings.iter().map(|(day, values)| (*day, values[c])).collect();
        line(way, &points, floor[c])
    });
    let at = |line: &Line, day: f64| {
        let ahead = day - line.t0;
        let variance = line.variance * (1.0 + line.of_mean + ahead * ahead * line.per_square);
        (line.y0 + line.slope * ahead, libm::sqrt(variance))
    };
    days.iter().map(|day| [at(&lines[0], *day), at(&lines[1], *day), at(&lines[2], *day)]).collect()
}

fn line(way: Way, points: &[(f64, f64)], floor: f64) -> Line {
    let (t_last, y_last) = points.last().copied().unwrap_or_default();
    let lined = if way == Way::LineOf8 { last8(points) } else { points };
    if way == Way::Last || lined.len() < 3 {
        let squares: f64 = points.windows(2).map(|w| (w[1].1 - w[0].1) * (w[1].1 - w[0].1)).sum();
        let variance = (squares / points.len().saturating_sub(1).max(1) as f64).max(floor * floor);
        return Line { t0: t_last, y0: y_last, slope: 0.0, variance, of_mean: 0.0, per_square: 0.0 };
    }
    let n = lined.len() as f64;
    let t0 = lined.iter().map(|p| p.0).sum::<f64>() / n;
    let tt = lined.iter().map(|p| (p.0 - t0) * (p.0 - t0)).sum::<f64>().max(1e-9);
    let (y0, slope, variance) = if way == Way::TheilSen {
        theil_sen(lined, t0)
    } else {
        let y0 = lined.iter().map(|p| p.1).sum::<f64>() / n;
        let slope = lined.iter().map(|p| (p.0 - t0) * (p.1 - y0)).sum::<f64>() / tt;
        let rest: f64 = lined.iter().map(|p| p.1 - y0 - slope * (p.0 - t0)).map(|e| e * e).sum();
        (y0, slope, rest / (n - 2.0))
    };
    Line { t0, y0, slope, variance: variance.max(floor * floor), of_mean: 1.0 / n, per_square: 1.0 / tt }
}

fn last8(points: &[(f64, f64)]) -> &[(f64, f64)] {
    points.get(points.len().saturating_sub(8)..).unwrap_or_default()
}

fn theil_sen(points: &[(f64, f64)], t0: f64) -> (f64, f64, f64) {
    let mut slopes = Vec::new();
    for (place, a) in points.iter().enumerate() {
        slopes.extend(points.iter().skip(place + 1).filter(|b| b.0 > a.0).map(|b| (b.1 - a.1) / (b.0 - a.0)));
    }
    let slope = median(slopes);
    let y0 = median(points.iter().map(|p| p.1 - slope * (p.0 - t0)).collect());
    let rest = median(points.iter().map(|p| (p.1 - y0 - slope * (p.0 - t0)).abs()).collect());
    // 1.4826 makes the median absolute deviation of a normal distribution its sd.
    (y0, slope, (1.4826 * rest) * (1.4826 * rest))
}

/// The middle value, or the mean of the middle two; 0 of none.
pub fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    match (values.get(middle), middle.checked_sub(1).and_then(|before| values.get(before))) {
        (Some(upper), Some(lower)) if values.len().is_multiple_of(2) => 0.5 * (upper + lower),
        (Some(value), _) => *value,
        _ => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_followed_and_theil_sen_minds_no_stray() {
        let line: Vec<(f64, [f64; 3])> = (0..9).map(|k| (7.0 * f64::from(k), [f64::from(k); 3])).collect();
        let mut strayed = line.clone();
        strayed[6].1 = [40.0; 3];
        let noise = Noise { uv: 0.01, level: 0.01 };
        for (way, readings) in [(Way::Line, &line), (Way::LineOf8, &line), (Way::TheilSen, &strayed)] {
            let (mean, sd) = guesses(way, readings, noise, &[70.0])[0][0];
            assert!((mean - 10.0).abs() < 1e-9 && (sd - 0.01).abs() < 0.01, "{way:?}: {mean} ± {sd}");
        }
        let (mean, sd) = guesses(Way::Last, &line, noise, &[70.0])[0][2];
        assert_eq!((mean, sd), (8.0, 1.0));
        assert_eq!((median(vec![3.0, 1.0, 2.0]), median(vec![4.0, 1.0]), median(Vec::new())), (2.0, 2.5, 0.0));
    }
}
