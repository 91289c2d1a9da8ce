//! The reflectance curve of a paper as a small CSV file: wavelengths in nm, and reflectance as a factor or in percent.
//!
//! Which of the two it is stands in the header and is never guessed from the numbers. Here: the text; which numbers are the
//! curve of a paper is for `units`.

use crate::units::ReflectanceCurve;

/// What such a file should be.
pub(super) const EXPECTED: &str = "a CSV file with the columns nm and reflectance_factor (or reflectance_percent), from 400 nm or below to 700 or above";

/// Reads the text of such a file: cells apart by `,` or `;` as in the header; blank lines and those that begin with `#` do not
/// count. What is wrong is told with its line.
pub(super) fn parse(text: &str) -> Result<ReflectanceCurve, String> {
    let lines = text.trim_start_matches('\u{feff}').lines().enumerate().map(|(at, line)| (at + 1, line.trim()));
    let mut lines = lines.filter(|(_, line)| !line.is_empty() && !line.starts_with('#'));
    let (at, header) = lines.next().ok_or("an empty file")?;
    let separator = if header.contains(';') { ';' } else { ',' };
    let (mut wavelength, mut reflectance) = (None, None);
    let mut columns = 0;
    for (column, name) in header.split(separator).map(str::trim).enumerate() {
        let (place, scale) = match name {
            "nm" => (&mut wavelength, 1.0),
            "reflectance_factor" => (&mut reflectance, 1.0),
            "reflectance_percent" => (&mut reflectance, 0.01),
            other => return Err(format!("line {at}: a column {:?}", cut(other))),
        };
        if place.replace((column, scale)).is_some() {
            return Err(format!("line {at}: a second column {name:?}"));
        }
        columns += 1;
    }
    let wavelength = wavelength.ok_or(format!("line {at}: no column nm"))?;
    let reflectance = reflectance.ok_or(format!("line {at}: no column reflectance_factor or reflectance_percent"))?;
    let (mut wavelengths, mut factors) = (Vec::new(), Vec::new());
    for (at, line) in lines {
        let cells: Vec<&str> = line.split(separator).map(str::trim).collect();
        if cells.len() != columns {
            return Err(format!("line {at}: {} cells under {columns} columns", cells.len()));
        }
        let number = |(column, scale): (usize, f64)| {
            let cell = cells.get(column).copied().unwrap_or_default();
            let number = cell.parse::<f64>().ok().filter(|number| number.is_finite()).map(|number| number * scale);
            let comma = if cell.contains(',') { "; a number has a point, not a comma" } else { "" };
            number.ok_or_else(|| format!("line {at}: {:?} is no number{comma}", cut(cell)))
        };
        wavelengths.push(number(wavelength)?);
        factors.push(number(reflectance)?);
    }
    // A paper that sends back less than a fiftieth is none: factors under a heading of percent.
    if reflectance.1 < 1.0 && factors.iter().all(|factor| *factor < 0.02) {
        return Err("values below 2 under reflectance_percent, which look like factors".to_owned());
    }
    ReflectanceCurve::new(&wavelengths, factors).map_err(|bad| bad.to_string())
}

/// As much of a cell as is worth showing.
fn cut(cell: &str) -> String {
    cell.chars().take(40).collect()
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
    fn a_line_is_found_whatever_stands_before_it() {
        let told = |text: &str| parse(text).unwrap_err();
        assert_eq!(told("# a\n\nnm,lustre\n"), "line 3: a column \"lustre\"");
        assert_eq!(told("nm,reflectance_factor\n\n# b\n400,x\n"), "line 4: \"x\" is no number");
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
        assert_eq!(told("nm,reflectance_factor\n400,0.9\n410\n"), "line 3: 1 cells under 2 columns");
        assert_eq!(told("nm,reflectance_factor\n400,white\n"), "line 2: \"white\" is no number");
        assert_eq!(
            told("nm;reflectance_factor\n# one\n400;0,9\n"),
            "line 3: \"0,9\" is no number; a number has a point, not a comma"
        );
        assert!(told("nm,reflectance_factor\n400,NaN\n").contains("line 2: \"NaN\""));
        assert!(told(&rows("nm,reflectance_factor", 30, "0.9")).contains("steps of 20 nm"));
        assert!(told(&rows("nm,reflectance_factor", 10, "90")).contains("divide percent by 100"));
    }

    proptest::proptest! {
        #[test]
        fn any_text_is_a_curve_or_told(text in "(nm,reflectance_(factor|percent)\n)?([0-9.,;#a-z-]{0,12}\n){0,40}") {
            match parse(&text) {
                Ok(curve) => proptest::prop_assert!(curve.factors().iter().all(|factor| factor.is_finite())),
                Err(told) => proptest::prop_assert!(!told.is_empty()),
            }
        }
    }
}
