//! `ageing`: how a lamp or a display ages, when it leaves its aim, what to do, and how far such dates were right before.

mod gather;
pub mod json;
mod svg;

use std::fs;
use std::path::Path;

use super::args::AsOf;
use super::fail::Failure;
use super::output;
use super::session::Session;
use crate::life::report::Report;
use crate::say;
use gather::Gathered;
pub use gather::gather;

/// Answers `ageing`.
pub fn ageing(session: Session, device: &str, svg: Option<&Path>, when: &AsOf, json: bool) -> Result<(), Failure> {
    let device = session.device(device)?;
    let as_of = session.as_of(when)?;
    let mut ledger = session.reader()?;
    let gathered = ledger.read(|store| gather(store, &session, &device, as_of))?;
    if let Some(file) = svg {
        fs::write(file, svg::document(&gathered, &session.zone()))?;
    }
    if json {
        output::json(&json::Ageing::of(&gathered, text_parts(&session, &gathered), &session.zone()))
    } else {
        output::print(&as_text(&session, &gathered))
    }
}

/// The sentences of the answer, of which the JSON bears some too.
struct Parts {
    headline: String,
    acts: Vec<String>,
    checks: Vec<String>,
}

fn text_parts(session: &Session, gathered: &Gathered) -> Parts {
    let (report, zone) = (&gathered.report, session.zone());
    let lamp = session.config.things.lamp(&report.device);
    let turns = lamp.map(|lamp| lamp.adjustable.as_slice()).unwrap_or_default();
    Parts {
        headline: say::ageing::headline(report, &zone),
        acts: say::ageing::acts(report, turns, gathered.max_risk, &zone),
        checks: say::ageing::checks(report, &zone),
    }
}

fn as_text(session: &Session, gathered: &Gathered) -> String {
    let (report, zone) = (&gathered.report, session.zone());
    let parts = text_parts(session, gathered);
    let mut text = format!("{}\n", output::strong(&parts.headline));
    if report.age.is_none() {
        parts.acts.iter().for_each(|act| text.push_str(&format!("\nwhat to do\n  {act}\n")));
        return text;
    }
    text.push_str("\nwhy\n");
    let mut facts = say::ageing::facts(report, &zone);
    facts.extend(limits(session, gathered));
    let wide = facts.iter().map(|(name, _)| name.len()).max().unwrap_or(0);
    facts.iter().for_each(|(name, fact)| text.push_str(&format!("  {name:<wide$}  {fact}\n")));
    if report.lives.len() > 1 {
        text.push_str("\nin this place\n");
        let (header, rows) = say::ageing::lives(report, &zone);
        let header = [0, 1, 2, 3, 4].map(|c: usize| header.get(c).map_or("", String::as_str));
        let table = output::fitting_table(header, rows, &[], 2);
        table.lines().for_each(|line| text.push_str(&format!("  {line}\n")));
    }
    if !parts.acts.is_empty() {
        text.push_str("\nwhat to do\n");
        parts.acts.iter().for_each(|act| text.push_str(&format!("  {act}\n")));
    }
    if report.leaving.is_some() {
        text.push_str("\nhow such dates did before\n");
        parts.checks.iter().for_each(|line| text.push_str(&format!("  {line}\n")));
    }
    text
}

/// What its aim is, and how far it may be from it.
fn limits(session: &Session, gathered: &Gathered) -> Option<(&'static str, String)> {
    let report: &Report = &gathered.report;
    let Some(limits) = gathered.limits else {
        let why = if session.config.things.stations_of(&report.device).next().is_none() {
            "no station uses it, so there is no limit for it to leave"
        } else {
            "it follows the paper: `twinwhite forecast` tells until when the match holds"
        };
        return Some(("aim", why.to_owned()));
    };
    let level = limits.ln_ratio.map(|ln| format!(" or {:.2} times in level", libm::exp(ln))).unwrap_or_default();
    Some(("aim", format!("left beyond Δu′v′ {:.4}{level}, the narrowest tolerance of its stations", limits.delta_uv)))
}
