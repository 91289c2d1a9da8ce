//! The tables `[[paper]]` of the file. What their values mean is in `site`; how a curve is written, in `curve`; whether there is
//! such a paper, in `color`.

use super::curve;
use super::files::Files;
use super::things::{identity, known_id};
use super::walk::{Entry, Table};
use crate::color::PaperUnderLamp;
use crate::site::{MeasurementCondition, Paper, PaperWhite};
use crate::units::DeviceId;

/// A paper, if it is whole; else its mistakes were noted.
pub(super) fn paper(table: &Table<'_>, files: &Files<'_>) -> Option<Paper> {
    let known = ["id", "maker", "model", "serial", "place"];
    table.only(&[&known[..], &["white", "reflectance_factor", "reflectance", "condition", "brightened"]].concat());
    let white = white(table, files);
    let conditions = [
        ("M0", MeasurementCondition::M0),
        ("M1", MeasurementCondition::M1),
        ("M2", MeasurementCondition::M2),
        ("M3", MeasurementCondition::M3),
    ];
    let condition = table.get("condition").and_then(|entry| entry.choice(&conditions));
    let brightened = table.get("brightened").and_then(|entry| entry.truth());
    let identity = identity(table);
    let id = DeviceId::new(known_id(table)?).ok()?;
    let paper = Paper { id, identity, white: white?, condition, brightened };
    if let Err(bad) = PaperUnderLamp::of(&paper, None)
        && let Some(entry) = table.get("white").or(table.get("reflectance"))
    {
        let said = bad.to_string();
        let (found, expected) = said.split_once(": expected ").unwrap_or((&said, "the white of a paper"));
        entry.note(found, expected, None);
        return None;
    }
    Some(paper)
}

fn white(table: &Table<'_>, files: &Files<'_>) -> Option<PaperWhite> {
    let (lab, factor, file) = (table.get("white"), table.get("reflectance_factor"), table.get("reflectance"));
    if let Some(file) = file {
        if lab.is_some() || factor.is_some() {
            file.note("a second white of this paper", "one of white, reflectance_factor and reflectance", None);
            return None;
        }
        let text = files.content(&file, curve::EXPECTED)?;
        let curve = curve::parse(text).map_err(|why| {
            let name = file.as_text().unwrap_or_default();
            file.note(format!("{name}: {why}"), curve::EXPECTED, None);
        });
        return curve.ok().map(PaperWhite::Curve);
    }
    match (lab, factor) {
        (Some(_), Some(factor)) => {
            factor.note("a second white beside { L, a, b }", "either white or reflectance_factor", None);
            None
        }
        (Some(white), None) => {
            let known = ["L", "a", "b", "reflectance_factor"];
            let table = white.table("{ L = …, a = …, b = … } or { reflectance_factor = … }", &known)?;
            match table.get("reflectance_factor") {
                Some(factor) if table.keys().count() == 1 => neutral(&factor),
                Some(factor) => {
                    factor.note("a second white beside L, a, b", "either L, a, b or reflectance_factor", None);
                    None
                }
                None => lab_white(&table),
            }
        }
        (None, Some(factor)) => neutral(&factor),
        (None, None) => {
            let expected =
                "the paper's white as { L, a, b } (D50, 2°), reflectance_factor, or reflectance = \"file.csv\"";
            table.missing("white", expected, Some("for example white = { L = 96, a = 0.5, b = -1.5 }".to_owned()));
            None
        }
    }
}

fn neutral(factor: &Entry<'_>) -> Option<PaperWhite> {
    let expected = "the share of light that the paper sends back, above 0, at most 1.2; 0.88 for 88 %";
    factor.number(expected, |r| r > 0.0 && r <= 1.2).map(PaperWhite::ReflectanceFactor)
}

fn lab_white(lab: &Table<'_>) -> Option<PaperWhite> {
    let l = "the lightness L* of a paper, from 20 to 100 (D50, 2°)";
    let ab = "a paper's a* or b* from -50 to 50 (D50, 2°)";
    let lightness = lab.need("L", l).and_then(|entry| entry.number(l, |l| (20.0..=100.0).contains(&l)));
    let side = |key| lab.need(key, ab).and_then(|entry| entry.number(ab, |v| (-50.0..=50.0).contains(&v)));
    let (a, b) = (side("a"), side("b"));
    Some(PaperWhite::Lab { l: lightness?, a: a?, b: b? })
}
