//! The tables of ISO/CIE 23603 as a user who owns the standard writes them down: radiance factors of five standards and of their
//! counterparts. The form is this project's own; the numbers are the standard's and are not shipped.
//!
//! The file is CSV text with a header; lines that begin with `#` are comments:
//!
//! ```text
//! # radiance factors at 400, 405, … 700 nm, 0 to 1; the five standards, then for each phase of daylight its five counterparts
//! nm,standard_1,…,standard_5,d50_1,…,d50_5
//! 400,0.0521,…
//! ```
//!
//! Columns `d55_1` to `d55_5`, `d65_…` and `d75_…` may follow or stand instead. Columns may come in any order.

use super::daylight_simulator::Daylight;

pub(super) const PAIRS: usize = 5;
pub(super) const FROM_NM: usize = 400;
pub(super) const STEP_NM: usize = 5;
pub(super) const ROWS: usize = 61;

/// Radiance factors of five colours at 400, 405, … 700 nm.
pub(super) type Five = [[f64; PAIRS]; ROWS];

/// The tables of a user: the standards, and their counterparts for at least one phase of daylight.
#[derive(Debug, Clone, PartialEq)]
pub struct SimulatorTables {
    standards: Five,
    counterparts: Vec<(Daylight, Five)>,
}

/// Why a text is no tables of radiance factors.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[allow(missing_docs)]
pub enum BadTables {
    #[error("no header: expected nm, standard_1 to standard_5 and d50_1 to d50_5 (or d55, d65, d75)")]
    NoHeader,
    #[error(
        "no column {column}: expected nm, standard_1 to standard_5, and all five columns of a phase, such as d50_1 to d50_5"
    )]
    NoColumn { column: String },
    #[error(
        "column {column} stands twice, or is none of nm, standard_1 to standard_5, d50_1 to d50_5, d55, d65, d75; remove or rename it"
    )]
    Column { column: String },
    #[error("line {line}: {found} values under {expected} columns; give each column a value")]
    Length { line: usize, found: usize, expected: usize },
    #[error(
        "line {line}: {found:?} in column {column}: expected a radiance factor from 0 to 1.5, a decimal point, no percent"
    )]
    Value { line: usize, column: String, found: String },
    #[error("line {line}: {found:?} nm: expected {expected} nm; give 400, 405, … 700 nm, each once, in this order")]
    Wavelength { line: usize, found: String, expected: usize },
    #[error("{found} rows of values: expected 61, for 400, 405, … 700 nm")]
    Rows { found: usize },
}

impl SimulatorTables {
    /// Reads the tables from the text of a file; see the head of this module for its form.
    pub fn parse(text: &str) -> Result<Self, BadTables> {
        let mut lines = text
            .trim_start_matches('\u{feff}')
            .lines()
            .enumerate()
            .map(|(at, line)| (at + 1, line.trim()))
            .filter(|(_, line)| !line.is_empty() && !line.starts_with('#'));
        let Some((_, header)) = lines.next() else { return Err(BadTables::NoHeader) };
        let names: Vec<String> = header.split(',').map(|name| name.trim().to_ascii_lowercase()).collect();
        let groups = Group::all();
        let mut known: Vec<String> = vec!["nm".to_owned()];
        known.extend(groups.iter().flat_map(Group::columns));
        for (at, name) in names.iter().enumerate() {
            if !known.contains(name) || names.iter().take(at).any(|before| before == name) {
                return Err(BadTables::Column { column: name.clone() });
            }
        }
        let place = |column: &str| {
            names.iter().position(|name| name == column).ok_or(BadTables::NoColumn { column: column.to_owned() })
        };
        let nm = place("nm")?;
        let mut wanted: Vec<(Group, [usize; PAIRS])> = Vec::new();
        for group in groups {
            let columns = group.columns();
            let optional = group.0.is_some() && !columns.iter().any(|column| names.contains(column));
            if !optional {
                let mut places = [0; PAIRS];
                for (place_of, column) in places.iter_mut().zip(&columns) {
                    *place_of = place(column)?;
                }
                wanted.push((group, places));
            }
        }
        if wanted.len() < 2 {
            return Err(BadTables::NoColumn { column: "d50_1".to_owned() });
        }
        let mut filled: Vec<Five> = vec![[[0.0; PAIRS]; ROWS]; wanted.len()];
        let mut rows = 0;
        for (line, text) in lines {
            let cells: Vec<&str> = text.split(',').map(str::trim).collect();
            if cells.len() != names.len() {
                return Err(BadTables::Length { line, found: cells.len(), expected: names.len() });
            }
            let expected = FROM_NM + STEP_NM * rows;
            let found = cells.get(nm).copied().unwrap_or_default();
            if rows == ROWS {
                return Err(BadTables::Rows { found: rows + 1 });
            }
            if found.parse() != Ok(expected as f64) {
                return Err(BadTables::Wavelength { line, found: found.to_owned(), expected });
            }
            for ((_, places), table) in wanted.iter().zip(&mut filled) {
                for (value, at) in table.get_mut(rows).into_iter().flatten().zip(places) {
                    let found = cells.get(*at).copied().unwrap_or_default();
                    let bad = || BadTables::Value {
                        line,
                        column: names.get(*at).cloned().unwrap_or_default(),
                        found: found.to_owned(),
                    };
                    *value = found.parse().ok().filter(|v| (0.0..=1.5).contains(v)).ok_or_else(bad)?;
                }
            }
            rows += 1;
        }
        if rows != ROWS {
            return Err(BadTables::Rows { found: rows });
        }
        let mut standards = None;
        let mut counterparts = Vec::new();
        for ((group, _), table) in wanted.into_iter().zip(filled) {
            match group.0 {
                None => standards = Some(table),
                Some(phase) => counterparts.push((phase, table)),
            }
        }
        Ok(Self { standards: standards.ok_or(BadTables::NoHeader)?, counterparts })
    }

    /// The phases of daylight that the tables hold pairs for.
    pub fn phases(&self) -> impl Iterator<Item = Daylight> + '_ {
        self.counterparts.iter().map(|(phase, _)| *phase)
    }

    /// The standards and their counterparts under a phase, where the tables hold it.
    pub(super) fn pairs(&self, phase: Daylight) -> Option<(&Five, &Five)> {
        let counterparts = self.counterparts.iter().find(|(of, _)| *of == phase);
        counterparts.map(|(_, counterparts)| (&self.standards, counterparts))
    }
}

/// The columns of the standards, or of a phase's counterparts.
struct Group(Option<Daylight>);

impl Group {
    fn all() -> Vec<Self> {
        std::iter::once(None).chain(Daylight::ALL.map(Some)).map(Self).collect()
    }

    fn columns(&self) -> Vec<String> {
        let prefix = self.0.map_or("standard", prefix);
        (1..=PAIRS).map(|number| format!("{prefix}_{number}")).collect()
    }
}

const fn prefix(phase: Daylight) -> &'static str {
    match phase {
        Daylight::D50 => "d50",
        Daylight::D55 => "d55",
        Daylight::D65 => "d65",
        Daylight::D75 => "d75",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Invented radiance factors, a flat grey: none of the standard's.
    fn grey() -> Vec<String> {
        let header = "nm,standard_1,standard_2,standard_3,standard_4,standard_5,d55_1,d55_2,d55_3,d55_4,d55_5";
        let mut lines = vec!["# invented".to_owned(), header.to_owned()];
        lines.extend((400..=700).step_by(5).map(|nm| format!("{nm},{}", ["0.5"; 10].join(","))));
        lines
    }

    fn changed(line: usize, from: &str, to: &str) -> String {
        let mut lines = grey();
        lines[line] = lines[line].replacen(from, to, 1);
        SimulatorTables::parse(&lines.join("\n")).unwrap_err().to_string()
    }

    #[test]
    fn what_is_wrong_is_said() {
        assert!(SimulatorTables::parse(&grey().join("\r\n")).is_ok());
        for (found, said) in [
            (changed(1, "d55_3", "d55_4"), "column d55_4 stands twice"),
            (changed(1, "d55_3", "d93_3"), "column d93_3 stands twice, or is none of"),
            (changed(1, "nm", "standard_1"), "column standard_1 stands twice"),
            (changed(2, "0.5", "52"), "line 3: \"52\" in column standard_1: expected a radiance factor from 0 to 1.5"),
            (changed(2, "0.5", "NaN"), "line 3: \"NaN\" in column standard_1"),
            (changed(3, "405", "410"), "line 4: \"410\" nm: expected 405 nm"),
            (changed(4, ",0.5", ""), "line 5: 10 values under 11 columns"),
            (changed(62, "700,0.5,0.5,0.5,0.5,0.5,0.5,0.5,0.5,0.5,0.5", "# gone"), "60 rows of values: expected 61"),
        ] {
            assert!(found.starts_with(said), "{found} / {said}");
        }
        assert_eq!(SimulatorTables::parse("# nothing\n"), Err(BadTables::NoHeader));
        let no_phase = "nm,standard_1,standard_2,standard_3,standard_4,standard_5";
        assert_eq!(SimulatorTables::parse(no_phase), Err(BadTables::NoColumn { column: "d50_1".to_owned() }));
        let four = "nm,standard_1,standard_2,standard_3,standard_4,standard_5,d50_1,d50_2,d50_3,d50_4";
        assert_eq!(SimulatorTables::parse(four), Err(BadTables::NoColumn { column: "d50_5".to_owned() }));
        let mut long = grey();
        long.push(format!("705,{}", ["0.5"; 10].join(",")));
        assert_eq!(SimulatorTables::parse(&long.join("\n")), Err(BadTables::Rows { found: 62 }));
    }

    proptest! {
        #[test]
        fn no_text_makes_it_panic(text in "(nm|standard_[1-5]|d50_[1-5]|,|\n|[0-9.]{1,4}|#|.){0,60}") {
            let _ = SimulatorTables::parse(&text);
        }
    }
}
