//! The reflectance curve of a paper as a small CSV file: wavelengths in nm, and reflectance as a factor or in percent.
//!
//! Which of the two it is stands in the header and is never guessed from the numbers. Here: the text; which numbers are the
//! curve of a paper is for `units`.

use crate::units::ReflectanceCurve;

/// What such a file should be.
pub(super) const EXPECTED: &str = "a CSV file with the columns nm and reflectance_factor (or reflectance_percent), from 400 nm or below to 700 or above";

/// Reads the text of such a file. What is wrong is told with its line.
pub(super) fn parse(text: &str) -> Result<ReflectanceCurve, String> {
    let text = text.trim_start_matches('\u{feff}');
    let separator = if text.lines().next().is_some_and(|line| line.contains(';')) { b';' } else { b',' };
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .delimiter(separator)
        .comment(Some(b'#'))
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut rows = reader.records();
    let unreadable = |why: csv::Error| match why.position().map(csv::Position::line) {
        Some(line) => format!("line {line} does not have as many fields as the header"),
        None => why.to_string(),
    };
    let header = rows.next().ok_or("an empty file")?.map_err(unreadable)?;
    let mut column = None;
    let mut wavelength = None;
    for (at, name) in header.iter().enumerate() {
        let place = match name {
            "nm" => &mut wavelength,
            "reflectance_factor" => &mut column,
            "reflectance_percent" => &mut column,
            other => return Err(format!("line 1: a column {other:?}")),
        };
        let scale = if name == "reflectance_percent" { 0.01 } else { 1.0 };
        if place.replace((at, scale)).is_some() {
            return Err(format!("line 1: a second column {name:?}"));
        }
    }
    let (Some(wavelength), Some(column)) = (wavelength, column) else {
        let missing = if wavelength.is_none() { "nm" } else { "reflectance_factor or reflectance_percent" };
        return Err(format!("line 1: no column {missing}"));
    };
    let (mut wavelengths, mut factors) = (Vec::new(), Vec::new());
    for row in rows {
        let row = row.map_err(unreadable)?;
        let line = row.position().map_or(0, csv::Position::line);
        let number = |(at, scale): (usize, f64)| {
            let cell = row.get(at).unwrap_or_default();
            let number = cell.parse::<f64>().ok().filter(|number| number.is_finite()).map(|number| number * scale);
            let comma = if cell.contains(',') { "; a number has a point, not a comma" } else { "" };
            number.ok_or_else(|| {
                format!("line {line}: {:?} is no number{comma}", cell.chars().take(40).collect::<String>())
            })
        };
        wavelengths.push(number(wavelength)?);
        factors.push(number(column)?);
    }
    ReflectanceCurve::new(&wavelengths, factors).map_err(|bad| bad.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(head: &str, step: usize, value: &str) -> String {
        let rows = (400..=700).step_by(step).map(|nm| format!("{nm},{value}\n"));
        format!("{head}\n{}", rows.collect::<String>())
    }

    #[test]
    fn factors_and_declared_percent_are_the_same_curve() {
        let factors = parse(&rows("nm,reflectance_factor", 10, "0.5")).unwrap();
        assert_eq!(factors.factors(), [0.5; 31]);
        assert_eq!(parse(&rows("\u{feff}nm , reflectance_percent", 10, " 50 ")).unwrap(), factors);
        let marked = "reflectance_factor;nm\r\n# read by the bench\r\n".to_owned();
        let swapped = (400..=700).step_by(10).map(|nm| format!("0.5;{nm}\r\n")).collect::<String>();
        assert_eq!(parse(&(marked + &swapped)).unwrap(), factors);
    }

    #[test]
    fn what_is_no_curve_is_told_with_its_line() {
        let told = |text: &str| parse(text).unwrap_err();
        assert_eq!(told(""), "an empty file");
        assert_eq!(told("400,0.9\n"), "line 1: a column \"400\"");
        assert_eq!(told("nm,nm\n"), "line 1: a second column \"nm\"");
        assert_eq!(
            told("nm,reflectance_factor,reflectance_percent\n"),
            "line 1: a second column \"reflectance_percent\""
        );
        assert_eq!(told("reflectance_factor\n0.9\n"), "line 1: no column nm");
        assert_eq!(told("nm\n400\n"), "line 1: no column reflectance_factor or reflectance_percent");
        assert_eq!(told("nm,reflectance_factor\n400,0.9\n410\n"), "line 3 does not have as many fields as the header");
        assert_eq!(told("nm,reflectance_factor\n400,white\n"), "line 2: \"white\" is no number");
        assert_eq!(
            told("nm;reflectance_factor\n# one\n400;0,9\n"),
            "line 3: \"0,9\" is no number; a number has a point, not a comma"
        );
        assert!(told("nm,reflectance_factor\n400,NaN\n").contains("line 2: \"NaN\""));
        assert!(told(&rows("nm,reflectance_factor", 30, "0.9")).contains("steps of 20 nm"));
        assert!(told(&rows("nm,reflectance_factor", 10, "90")).contains("divide percent by 100"));
    }
}
