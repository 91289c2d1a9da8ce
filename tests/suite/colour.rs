//! Colorimetry against values that others published or computed: CIE tables, the colour-science package (fixtures/colour, made by
//! the script there), and measured lamps and papers of the open-data folder, read in place.

use std::path::PathBuf;

use twinwhite::color::{
    self, CctDuv, Illuminant, NoTemperature, PaperUnderLamp, UvSpread, cct_duv, delta_uv, uv_of_cct_duv, uv_prime,
    uv_prime_from_1960,
};
use twinwhite::reading::ColourSet;
use twinwhite::site::PaperWhite;
use twinwhite::units::{Duv, Kelvin, UvPrime, Xy};

/// The rows of a CSV text below its header, each value with its column's name.
pub struct Table {
    pub names: Vec<String>,
    pub rows: Vec<Vec<String>>,
}

impl Table {
    pub fn of(text: &str) -> Self {
        let mut lines = text.lines().map(|line| line.split(',').map(str::to_owned).collect::<Vec<_>>());
        let names = lines.next().unwrap();
        Self { names, rows: lines.collect() }
    }

    pub fn column(&self, name: &str) -> usize {
        self.names.iter().position(|n| n == name).unwrap_or_else(|| panic!("no column {name}"))
    }

    pub fn number(&self, row: &[String], name: &str) -> f64 {
        row[self.column(name)].parse().unwrap()
    }

    pub fn uv(&self, row: &[String]) -> UvPrime {
        UvPrime { u: self.number(row, "u_prime"), v: self.number(row, "v_prime") }
    }

    pub fn xy(&self, row: &[String]) -> Xy {
        Xy { x: self.number(row, "x"), y: self.number(row, "y") }
    }
}

fn given(cct: f64, duv: f64) -> CctDuv {
    CctDuv { cct_k: Kelvin::new(cct).unwrap(), duv: Duv::new(duv).unwrap() }
}

#[test]
fn coordinates_and_temperature_agree_with_colour_science() {
    let table = Table::of(include_str!("../fixtures/colour/cct-duv.csv"));
    assert!(table.rows.len() > 250);
    for row in &table.rows {
        let (made, tint) = (table.number(row, "made_cct_k"), table.number(row, "made_duv"));
        let (uv, at) = (table.uv(row), table.xy(row));
        assert!(delta_uv(uv_prime(at).unwrap(), uv) < 1e-12, "{row:?}");
        let back = color::xy(uv).unwrap();
        assert!((back.x - at.x).abs() < 1e-12 && (back.y - at.y).abs() < 1e-12, "{row:?}");

        assert!(delta_uv(uv_of_cct_duv(given(made, tint)).unwrap(), uv) < 1e-7, "{row:?}");
        let found = cct_duv(uv).unwrap();
        let (cct, duv) = (table.number(row, "cct_k"), table.number(row, "duv"));
        // 0.2 K is promised from 2000 to 10 000 K, 2e-5 of T beyond.
        let allowed = if (2000.0..=10_000.0).contains(&made) { 0.2 } else { 2e-5 * made };
        assert!((found.cct_k.get() - cct).abs() < allowed, "{row:?} {found:?}");
        assert!((found.duv.get() - duv).abs() < 5e-6, "{row:?} {found:?}");
        assert!(
            (found.cct_k.get() - made).abs() < allowed && (found.duv.get() - tint).abs() < 5e-6,
            "{row:?} {found:?}"
        );
    }
}

#[test]
fn temperature_and_tint_as_listed() {
    let at = |u, v| cct_duv(uv_prime_from_1960(u, v));
    for (u, v, cct, duv) in [
        (0.1978, 0.3122, 6507.475, 0.0032233),
        (0.24878719, 0.35226167, 3000.0, 0.005),
        (0.25235080, 0.34291819, 3000.0, -0.005),
        (0.26249639, 0.35156748, 2700.0, 0.0),
        (0.22510967, 0.33438737, 4000.0, 0.0),
        (0.20932170, 0.32525613, 5000.0, 0.003),
        (0.19482810, 0.29110518, 10_000.0, -0.005),
    ] {
        let found = at(u, v).unwrap();
        assert!((found.cct_k.get() - cct).abs() < 0.2, "{u} {v}: {found:?}");
        assert!((found.duv.get() - duv).abs() < 3e-6, "{u} {v}: {found:?}");
    }
    // Outside the useful range (|Duv| > 0.05) a temperature is refused, with the distance: it would say nothing.
    for (u, v, distance) in [(0.4328, 0.2883, 0.0673781), (0.2927, 0.2722, 0.0843706)] {
        let Err(NoTemperature::TooFar { distance: found }) = at(u, v) else { panic!("{u} {v} has a temperature") };
        assert!((found - distance).abs() < 5e-6, "{found}");
    }
    // Wyszecki and Stiles 1982, table 1(3.11), to its digits.
    for (t, u, v) in [
        (2000.0, 0.30505, 0.35907),
        (5000.0, 0.21142, 0.32312),
        (10_000.0, 0.19032, 0.29326),
        (20_000.0, 0.18388, 0.27709),
    ] {
        let (pu, pv) = color::uv_1960(color::planckian(Kelvin::new(t).unwrap()));
        assert!((pu - u).abs() < 1e-4 && (pv - v).abs() < 1e-4, "{t}: {pu} {pv}");
    }
}

#[test]
fn illuminants_of_cie_15() {
    let table = Table::of(include_str!("../fixtures/colour/illuminants.csv"));
    for row in &table.rows {
        assert!(delta_uv(uv_prime(table.xy(row)).unwrap(), table.uv(row)) < 1e-9, "{row:?}");
        let found = cct_duv(table.uv(row)).unwrap();
        assert!((found.cct_k.get() - table.number(row, "cct_k")).abs() < 0.2, "{row:?} {found:?}");
        assert!((found.duv.get() - table.number(row, "duv")).abs() < 5e-6, "{row:?} {found:?}");
    }
    // FL1 to FL12: x, y and the nominal temperature of CIE 15:2004 table T.8, printed to 10 K at the finest.
    let nominal = [6430, 4230, 3450, 2940, 6350, 4150, 6500, 5000, 4150, 5000, 4000, 3000];
    for (i, cct) in nominal.into_iter().enumerate() {
        let name = format!("FL{}", i + 1);
        let row = table.rows.iter().find(|r| r[0] == name).unwrap();
        let found = cct_duv(uv_prime(table.xy(row)).unwrap()).unwrap().cct_k.get();
        assert!((found - f64::from(cct)).abs() < 10.0, "{name}: {found}");
    }
    for (illuminant, cct) in
        [(Illuminant::A, 2855.5), (Illuminant::D50, 5001.0), (Illuminant::D55, 5501.0), (Illuminant::D65, 6504.0)]
    {
        let found = cct_duv(uv_prime(illuminant.xy()).unwrap()).unwrap().cct_k.get();
        assert!((found - cct).abs() < 3.0, "{illuminant:?}: {found}");
    }
}

#[test]
fn papers_under_lamps_agree_with_colour_science() {
    let table = Table::of(include_str!("../fixtures/colour/papers.csv"));
    for row in &table.rows {
        let number = |name| table.number(row, name);
        let white = PaperWhite::Lab { l: number("L"), a: number("a"), b: number("b") };
        let lamp = UvPrime { u: number("lamp_u_prime"), v: number("lamp_v_prime") };
        let lit = PaperUnderLamp::new(&white).unwrap().under(lamp, UvSpread::default()).unwrap();
        assert!(delta_uv(lit.uv, table.uv(row)) < 1e-6, "{row:?} {lit:?}");
        assert!((lit.reflectance - number("reflectance")).abs() < 1e-6, "{row:?} {lit:?}");
    }
}

/// A file of the open-data folder: at TWINWHITE_OPEN_DATA, else beside the repository. None, said aloud, when there is none.
pub fn open_data(file: &str) -> Option<String> {
    let beside = || PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../shared/open-data");
    let path = std::env::var_os("TWINWHITE_OPEN_DATA").map_or_else(beside, PathBuf::from).join(file);
    if !path.exists() {
        eprintln!("skipped: there is no open-data/{file}; set TWINWHITE_OPEN_DATA to the folder");
        return None;
    }
    Some(std::fs::read_to_string(&path).unwrap())
}

#[test]
fn measured_lamps_of_the_open_data() {
    for file in ["spectra/lamps-expected.csv", "spectra/settings-expected.csv"] {
        let Some(text) = open_data(file) else { return };
        let table = Table::of(&text);
        assert!(table.rows.len() >= 8, "{file}");
        for row in &table.rows {
            let seen = color::Colorimetry::of(&ColourSet::Xy(table.xy(row))).unwrap();
            // Six decimals of x, y are given, five of Duv, one of K.
            assert!(delta_uv(seen.uv.unwrap(), table.uv(row)) < 2e-6, "{row:?} {seen:?}");
            let cct = table.number(row, "cct_k");
            assert!((seen.cct_k.unwrap().get() - cct).abs() < 0.2, "{row:?} {seen:?}");
            assert!((seen.duv.unwrap().get() - table.number(row, "duv")).abs() < 1e-5, "{row:?} {seen:?}");
        }
    }
}

#[test]
fn paper_whites_of_seven_printing_conditions() {
    let Some(text) = open_data("formats/paper-whites.csv") else { return };
    let table = Table::of(&text);
    assert_eq!(table.rows.len(), 7);
    let d50 = uv_prime(Illuminant::D50.xy()).unwrap();
    let incandescent = uv_prime(Illuminant::A.xy()).unwrap();
    for row in &table.rows {
        let (l, a, b) = (table.number(row, "L"), table.number(row, "a"), table.number(row, "b"));
        let paper = PaperUnderLamp::new(&PaperWhite::Lab { l, a, b }).unwrap();
        let lit = paper.under(d50, UvSpread::default()).unwrap();
        assert!((lit.reflectance - ((l + 16.0) / 116.0).powi(3)).abs() < 2e-5, "{row:?} {lit:?}");
        // Δu′v′ from the lamp follows the chroma: 0.77 to 1.05 units of ΔE*ab for 0.001 (colour-checks §2).
        let chroma = a.hypot(b);
        assert!(
            (0.0009..0.0015).contains(&(delta_uv(lit.uv, d50) / chroma.max(1e-9))) || chroma == 0.0,
            "{row:?} {lit:?}"
        );
        if b != 0.0 {
            // Bluish paper lies on the blue side of the lamp, yellowish on the other.
            assert_eq!(lit.uv.v < d50.v, b < 0.0, "{row:?}");
        }
        let warm = paper.under(incandescent, UvSpread::default()).unwrap();
        assert!(warm.estimate_sd >= lit.estimate_sd);
        assert!((warm.reflectance / lit.reflectance - 1.0).abs() < 0.01, "{row:?}");
    }
}
