//! The tables `[[station]]` of the file. What their values mean is in `site`.

use super::checks::Declared;
use super::rules::RuleSets;
use super::things::known_id;
use super::walk::{Entry, Table};
use crate::reading::ThingKind;
use crate::site::{LuminanceRule, Station, Tolerance};
use crate::units::{Days, DeviceId, Probability, StationId};

/// The share of foreign light on the print from which it is a reason in the verdict: our own default.
const AMBIENT_MAX: f64 = 0.1;

/// A station, if it is whole; else its mistakes were noted.
pub(super) fn station(table: &Table<'_>, declared: &Declared, sets: &RuleSets) -> Option<Station> {
    table.only(&[
        "id",
        "display",
        "lamp",
        "paper",
        "papers",
        "tolerance",
        "luminance",
        "visual_offset",
        "max_risk",
        "horizon_days",
        "max_age_days",
        "ambient_max",
        "rules",
    ]);
    let refer = |key: &str, kind: ThingKind| {
        let entry = table.need(key, &Declared::expected(&[kind]))?;
        DeviceId::new(declared.refer(&entry, &[kind])?).ok()
    };
    let display = refer("display", ThingKind::Display);
    let lamp = refer("lamp", ThingKind::Lamp);
    let papers = papers(table, declared);
    let tolerance = tolerance(table);
    let luminance = luminance(table);
    let visual_offset = visual_offset(table);
    let days = |key: &str, default: f64| {
        let number = |entry: Entry<'_>| entry.number("days, above 0, at most 3650", |d| d > 0.0 && d <= 3650.0);
        Days(table.get(key).and_then(number).unwrap_or(default))
    };
    let (horizon, max_age) = (days("horizon_days", 14.0), days("max_age_days", 45.0));
    let expected = "a probability between 0 and 1, like 0.2 for 20 %";
    let risk = |entry: Entry<'_>| entry.number(expected, |p| p > 0.0 && p < 1.0);
    let max_risk = Probability::new(table.get("max_risk").and_then(risk).unwrap_or(0.2)).ok();
    let expected = "the largest share of foreign light on the print, above 0, at most 1; 0.1 for 10 %";
    let share = |entry: Entry<'_>| entry.number(expected, |share| share > 0.0 && share <= 1.0);
    let ambient_max = table.get("ambient_max").and_then(share).unwrap_or(AMBIENT_MAX);
    let rules = sets.named_by(table);
    Some(Station {
        id: StationId::new(known_id(table)?).ok()?,
        display: display?,
        lamp: lamp?,
        papers: papers?,
        tolerance: tolerance?,
        luminance,
        visual_offset,
        max_risk: max_risk?,
        horizon,
        max_age,
        ambient_max,
        rules,
    })
}

fn papers(table: &Table<'_>, declared: &Declared) -> Option<Vec<DeviceId>> {
    let paper = |entry: &Entry<'_>| DeviceId::new(declared.refer(entry, &[ThingKind::Paper])?).ok();
    let expected = "the ids of one or more papers, the usual one first";
    match (table.get("paper"), table.get("papers")) {
        (Some(_), Some(many)) => {
            many.note(
                "papers beside paper",
                "one of the two",
                Some("write papers = […] and take paper out".to_owned()),
            );
            None
        }
        (Some(one), None) if one.is_list() => {
            one.mistake("the id of a paper", Some("several stand under papers = […]".to_owned()));
            None
        }
        (Some(one), None) => paper(&one).map(|paper| vec![paper]),
        (None, Some(many)) => {
            let entries = many.list(expected)?;
            if entries.is_empty() {
                many.mistake(expected, None);
                return None;
            }
            let mut papers = Vec::new();
            let mut whole = true;
            for entry in &entries {
                match paper(entry) {
                    Some(id) if papers.contains(&id) => {
                        entry.note(format!("\"{id}\" a second time"), "each paper once", None)
                    }
                    Some(id) => papers.push(id),
                    None => whole = false,
                }
            }
            whole.then_some(papers)
        }
        (None, None) => {
            table.missing("paper", "the id of a paper", None);
            None
        }
    }
}

fn tolerance(table: &Table<'_>) -> Option<Tolerance> {
    let expected = "limits like { delta_uv = 0.005, luminance_ratio = 1.2, ra_min = 90 }";
    let entry = table.need("tolerance", expected)?;
    let limits = entry.table(expected, &["delta_uv", "luminance_ratio", "ra_min"])?;
    let uv = "the largest difference in u', v', above 0, at most 0.1; 0.005 is a usual one";
    let delta_uv = limits.need("delta_uv", uv).and_then(|entry| entry.number(uv, |d| d > 0.0 && d <= 0.1));
    let ratio = "the largest ratio of the two luminances either way, above 1, at most 10; 1.2 for 20 %";
    let ratio = |entry: Entry<'_>| entry.number(ratio, |r| r > 1.0 && r <= 10.0);
    let ra = "the least colour rendering index Ra, from 0 to 100";
    let ra = |entry: Entry<'_>| entry.number(ra, |ra| (0.0..=100.0).contains(&ra));
    let luminance_ratio = limits.get("luminance_ratio").and_then(ratio);
    let ra_min = limits.get("ra_min").and_then(ra);
    Some(Tolerance { delta_uv: delta_uv?, luminance_ratio, ra_min })
}

fn luminance(table: &Table<'_>) -> LuminanceRule {
    let equal = LuminanceRule::DisplayToPaper(1.0);
    let Some(entry) = table.get("luminance") else { return equal };
    match entry.as_text() {
        Some("equal") => equal,
        Some("not-judged") => LuminanceRule::NotJudged,
        _ => {
            let expected = "\"equal\", \"not-judged\" or { display_to_paper = 0.25 }";
            let Some(rule) = entry.table(expected, &["display_to_paper"]) else { return equal };
            let expected = "display luminance divided by paper luminance, from 0.01 to 100";
            let number = |entry: Entry<'_>| entry.number(expected, |r| (0.01..=100.0).contains(&r));
            let ratio = rule.need("display_to_paper", expected).and_then(number);
            LuminanceRule::DisplayToPaper(ratio.unwrap_or(1.0))
        }
    }
}

fn visual_offset(table: &Table<'_>) -> (f64, f64) {
    let known = ["u_prime", "v_prime"];
    let offset = table.get("visual_offset").and_then(|entry| entry.table("{ u_prime = …, v_prime = … }", &known));
    let part = |key| {
        let expected = "a difference in u' or v' from -0.05 to 0.05";
        let entry = offset.as_ref()?.need(key, expected)?;
        entry.number(expected, |d| (-0.05..=0.05).contains(&d))
    };
    (part("u_prime").unwrap_or(0.0), part("v_prime").unwrap_or(0.0))
}
