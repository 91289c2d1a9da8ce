//! A spectrum and its hue shifts drawn with characters, for a terminal that shows no pictures.

const HEIGHT: usize = 8;
const FROM_NM: f64 = 380.0;
const TO_NM: f64 = 780.0;
/// Eighths of a cell, rising.
const EIGHTHS: [char; 9] = [' ', '▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];

/// Draws a spectrum (a value each nanometre from `first_nm`) as columns, in `width` characters.
pub(super) fn spectrum(values: &[f64], first_nm: f64, width: usize) -> String {
    let columns = width.clamp(30, 84) - 4;
    let step = (TO_NM - FROM_NM) / columns as f64;
    let index = |nm: f64| ((nm - first_nm).max(0.0) as usize).min(values.len());
    // The highest within a column, so that no line of the spectrum is lost.
    let heights: Vec<f64> = (0..columns)
        .map(|column| {
            let from = index(FROM_NM + step * column as f64);
            let to = index(FROM_NM + step * (column + 1) as f64).max(from + 1).min(values.len());
            values.get(from..to).unwrap_or_default().iter().copied().fold(0.0, f64::max)
        })
        .collect();
    let peak = heights.iter().copied().fold(f64::MIN_POSITIVE, f64::max);
    let mut text = String::new();
    for row in (0..HEIGHT).rev() {
        let cell = |height: &f64| {
            let filled = height / peak * HEIGHT as f64 - row as f64;
            let eighths = (filled.clamp(0.0, 1.0) * 8.0).round() as usize;
            EIGHTHS.get(eighths).copied().unwrap_or(' ')
        };
        let line: String = heights.iter().map(cell).collect();
        text.push_str(&format!("    {}\n", line.trim_end()));
    }
    text.push_str(&format!("    {}\n", scale(columns)));
    text
}

fn scale(columns: usize) -> String {
    let mut line = vec![' '; columns];
    for nm in [400.0, 450.0, 500.0, 550.0, 600.0, 650.0, 700.0, 750.0] {
        let at = ((nm - FROM_NM) / (TO_NM - FROM_NM) * columns as f64) as usize;
        for (place, digit) in line.iter_mut().skip(at.saturating_sub(1)).zip(format!("{nm:.0}").chars()) {
            *place = digit;
        }
    }
    let line: String = line.into_iter().collect();
    format!("{} nm", line.trim_end())
}

/// A bar to the right for more, to the left for less, about a middle line; `full` takes all of one side.
pub(super) fn swing(value: f64, full: f64) -> String {
    const SIDE: usize = 8;
    let length = ((value / full).clamp(-1.0, 1.0).abs() * SIDE as f64).round() as usize;
    let (left, right) = if value < 0.0 { (length, 0) } else { (0, length) };
    format!("{}{}|{}{}", " ".repeat(SIDE - left), "=".repeat(left), "=".repeat(right), " ".repeat(SIDE - right))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_of_the_spectrum_is_never_lost() {
        let mut values = vec![0.0; 471];
        values[546 - 360] = 1.0;
        let drawn = spectrum(&values, 360.0, 64);
        assert_eq!(drawn.matches('█').count(), HEIGHT, "{drawn}");
        assert!(drawn.lines().last().unwrap().contains("400") && drawn.ends_with("nm\n"));
    }

    #[test]
    fn swings_go_both_ways() {
        assert_eq!(swing(0.2, 0.4), "        |====    ");
        assert_eq!(swing(-0.4, 0.4), "========|        ");
        assert_eq!(swing(0.0, 0.4), "        |        ");
    }
}
