//! `compare`: which of some lamps a station should have, and to what its screen must be calibrated to meet each.

pub mod json;

use std::path::{Path, PathBuf};

use super::args::AsOf;
use super::fail::{Failure, Kind};
use super::inspect::{FileOfReadings, Looked};
use super::output;
use super::session::Session;
use crate::color::{PaperUnderLamp, UvSpread, cct_duv, white_as_given};
use crate::evaluate::Estimates;
use crate::ledger::Store;
use crate::reading::{ColourSet, Level, Source};
use crate::say;
use crate::site::{Noise, Paper, Station};
use crate::station::candidates::{Basis, Candidate, Screen, Weighed, same_kelvin_other_tint, weigh};
use crate::station::compare::Light;
use crate::units::Time;

/// Answers `compare`.
pub fn compare(session: Session, files: &[PathBuf], station: &str, when: &AsOf, json: bool) -> Result<(), Failure> {
    let as_of = session.as_of(when)?;
    let station = session.station(station)?;
    let things = &session.config.things;
    let paper = station.papers.first().and_then(|paper| things.paper(paper));
    let paper = paper.ok_or_else(|| Failure::new(Kind::Input, format!("station {} has no paper", station.id)))?;
    let mut lamps = Vec::new();
    let mut passed = Vec::new();
    for path in files {
        read(path, &session, paper, &mut lamps, &mut passed)?;
    }
    if lamps.is_empty() {
        let message = format!("there is no reading of a lamp's white in these files{}", list_of(&passed));
        return Err(Failure::new(Kind::Input, message));
    }
    let mut ledger = session.reader()?;
    let Screens { now, later, noise, read } = ledger.read(|store| screens(store, &session, station, as_of))?;
    let weighed = weigh(lamps, station, &now, &later, noise)
        .map_err(|why| Failure::new(Kind::Input, format!("a candidate's white cannot be used: {why}")))?;
    if json {
        let candidates = weighed.iter().zip(1..).map(|(w, rank)| json::CandidateJson::of(rank, w, station)).collect();
        let station = station.id.clone();
        return output::json(&json::Compared { station, as_of, display_was_read: read, candidates, notes: passed });
    }
    output::print(&as_text(&weighed, station, read, &passed))
}

fn list_of(passed: &[String]) -> String {
    if passed.is_empty() { String::new() } else { format!(" ({})", passed.join("; ")) }
}

fn read(
    path: &Path,
    session: &Session,
    paper: &Paper,
    lamps: &mut Vec<Candidate>,
    passed: &mut Vec<String>,
) -> Result<(), Failure> {
    let file = FileOfReadings::read(path, Some(&session.config))?;
    passed.extend(file.warnings.iter().cloned());
    let many = file.drafts.len() > 1;
    for (line, draft) in file.drafts {
        let source = if many { format!("{}:{line}", file.stem) } else { file.stem.clone() };
        let noise = session.config.things.noise_of(draft.circumstances.instrument.as_ref());
        let looked = match Looked::at(draft, &source, None) {
            Ok(looked) => looked,
            Err(why) => {
                passed.push(format!("{source} is passed over: {why}"));
                continue;
            }
        };
        if !looked.may_be_a_lamp() {
            passed.push(format!("{} is passed over: not the light of a lamp", looked.id));
            continue;
        }
        let taken = lamps.iter().any(|lamp| lamp.name == looked.id);
        let name = if taken { format!("{} ({source})", looked.id) } else { looked.id.clone() };
        match candidate(name.clone(), &looked, noise, paper) {
            Ok(lamp) => lamps.push(lamp),
            Err(why) => passed.push(format!("{name} is passed over: {why}")),
        }
    }
    Ok(())
}

fn candidate(name: String, looked: &Looked, noise: Noise, paper: &Paper) -> Result<Candidate, String> {
    let circumstances = &looked.draft.circumstances;
    let given = white_as_given(&looked.draft.colour, circumstances.source).map_err(|why| why.to_string())?;
    let basis = match (&looked.draft.colour, circumstances.source) {
        (_, Source::Label) => Basis::Label,
        (ColourSet::Spectrum { .. }, _) => Basis::Spectrum,
        (ColourSet::Cct { .. }, _) => Basis::KelvinOnly,
        _ => Basis::Coordinates,
    };
    // What is printed was not read by anybody's instrument.
    let scatter = if basis == Basis::Label { UvSpread::default() } else { UvSpread::round(noise.uv) };
    let spread = given.spread.plus(scatter);
    let spectral = looked.spectral.as_ref();
    let lit = PaperUnderLamp::of(paper, spectral.map(|spectral| &spectral.sampled));
    let coloured = spectral.into_iter().flat_map(|spectral| &spectral.hues).filter(|shift| shift.tint.is_none());
    Ok(Candidate {
        name,
        basis,
        white: given.uv,
        spread,
        paper: lit.and_then(|paper| paper.under(given.uv, spread)).map_err(|why| why.to_string())?,
        illuminance: match looked.level {
            Some(Level::Illuminance(lx)) => Some(lx),
            _ => None,
        },
        known: looked.known(),
        rf: looked.rendering().map(|rendering| rendering.fidelity.rf),
        worst: coloured.max_by(|a, b| a.delta_e.total_cmp(&b.delta_e)).copied(),
    })
}

/// What candidates are held against.
struct Screens {
    now: Screen,
    later: Screen,
    /// Of the instrument that reads the display.
    noise: Noise,
    /// Whether the display was ever read, or its aim stands in.
    read: bool,
}

/// The display now and at the station's horizon, and the scatter of the instrument that reads it.
fn screens(store: &Store, session: &Session, station: &Station, as_of: Time) -> Result<Screens, Failure> {
    let mut estimates = Estimates::new(store, &session.config, as_of);
    estimates.read_station(station)?;
    let seen = estimates.seen(station)?;
    let scale = seen.comparison().scale;
    let display = &seen.display;
    let forecast = display.state.forecast(display.params, &[as_of, as_of.plus(station.horizon)]);
    let at = |index: usize| {
        let light = Light::at(&forecast.likely, index, display.aim);
        Screen {
            uv: light.uv(),
            spread: UvSpread { uu: light.u.var, uv: 0.0, vv: light.v.var },
            ln_luminance: light.ln_level,
            scale,
        }
    };
    let read = display.state.last_read().is_some();
    Ok(Screens { now: at(0), later: at(1), noise: display.noise, read })
}

fn as_text(weighed: &[Weighed], station: &Station, screen_read: bool, passed: &[String]) -> String {
    let lamps = say::count(weighed.len() as u64, "lamp");
    let unread = if screen_read { String::new() } else { say::lamp::screen_unread(station.display.as_str()) };
    let mut text =
        format!("Station {}: {lamps} for the screen {}, the best first.\n{unread}\n", station.id, station.display);
    let or_unknown = |text: Option<String>| text.unwrap_or_else(|| "-".to_owned());
    let whole = |value: Option<f64>| or_unknown(value.map(|value| format!("{value:.0}")));
    let rows = weighed.iter().enumerate().map(|(index, w)| {
        let known = &w.candidate.known;
        let temperature = known.white.and_then(|white| cct_duv(white).ok());
        [
            format!("{}", index + 1),
            w.candidate.name.clone(),
            say::lamp::fit_word(w.fitness).to_owned(),
            format!("{:.4}", w.now.delta_uv),
            format!("{:.4}", w.later.delta_uv),
            or_unknown(known.cct_k.map(|k| format!("{:.0} K", k.get()))),
            or_unknown(temperature.map(|t| say::tint(t.duv.get()))),
            or_unknown(w.candidate.illuminance.map(|lx| format!("{:.0} lx", lx.get()))),
            whole(known.ra),
            whole(known.r9),
            whole(w.candidate.rf),
            or_unknown(w.candidate.worst.map(|s| format!("{} {:.1}", s.hue.word(), s.delta_e))),
        ]
    });
    let ahead = format!("in {}", say::span(station.horizon));
    let header =
        ["", "lamp", "verdict", "Δu′v′ now", &ahead, "CCT", "tint", "level", "Ra", "R9", "Rf", "worst hue, ΔE"];
    text.push_str(&output::fitting_table(header, rows, &[10, 9, 11, 7, 6, 5, 4], 0));
    text.push('\n');
    for (index, w) in weighed.iter().enumerate() {
        text.push_str(&format!("{}. {}\n", index + 1, output::strong(&w.candidate.name)));
        text.push_str(&format!("   {}\n", say::lamp::place(w, station)));
        text.push_str(&format!("   {}\n", say::lamp::screen_aim(station.display.as_str(), w)));
    }
    for (a, b) in same_kelvin_other_tint(weighed) {
        let of = |index: usize| {
            let candidate = &weighed.get(index)?.candidate;
            Some((candidate.name.as_str(), cct_duv(candidate.known.white?).ok()?))
        };
        if let Some(((a, at), (b, bt))) = of(a).zip(of(b)) {
            text.push_str(&format!("\n{}\n", say::lamp::told_apart((a, at), (b, bt))));
        }
    }
    for one in passed {
        text.push_str(&format!("\nNote: {one}.\n"));
    }
    text
}
