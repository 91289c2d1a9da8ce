//! `compare`: which of some lamps a station should have, and to what its screen must be calibrated to meet each.

use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use super::args::AsOf;
use super::fail::{Failure, Kind};
use super::inspect::FileOfReadings;
use super::output;
use super::session::Session;
use crate::color::rendering::{HueShift, hues, rendering};
use crate::color::{
    KnownLight, Move, PaperUnderLamp, Sampled, UvSpread, cct_duv, label_white, level_of_spectrum, white_point,
};
use crate::evaluate::Estimates;
use crate::ledger::Store;
use crate::reading::{ColourSet, Draft, Level, Patch, Source};
use crate::say;
use crate::site::{Noise, Paper, Station};
use crate::station::candidates::{Basis, Candidate, Meeting, Screen, Weighed, same_kelvin_other_tint, weigh};
use crate::station::compare::Light;
use crate::station::screen_aim::AimDoubt;
use crate::units::Time;

/// A candidate with what `weigh` does not need of it.
struct Lamp {
    candidate: Candidate,
    worst: Option<HueShift>,
}

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
    let worst: Vec<(String, HueShift)> =
        lamps.iter().filter_map(|lamp| Some((lamp.candidate.name.clone(), lamp.worst?))).collect();
    let worst_of = |name: &str| worst.iter().find(|(known, _)| known == name).map(|(_, shift)| *shift);
    let candidates = lamps.into_iter().map(|lamp| lamp.candidate).collect();
    let weighed = weigh(candidates, station, &now, &later, noise)
        .map_err(|why| Failure::new(Kind::Input, format!("a candidate's white cannot be used: {why}")))?;
    if json {
        let all: Vec<Value> =
            weighed.iter().enumerate().map(|(i, w)| as_json(i + 1, w, station, worst_of(&w.candidate.name))).collect();
        return output::json(
            &json!({ "station": station.id, "as_of": as_of, "display_was_read": read, "candidates": all, "notes": passed }),
        );
    }
    output::print(&as_text(&weighed, station, read, &worst_of, &passed))
}

fn list_of(passed: &[String]) -> String {
    if passed.is_empty() { String::new() } else { format!(" ({})", passed.join("; ")) }
}

fn read(
    path: &Path,
    session: &Session,
    paper: &Paper,
    lamps: &mut Vec<Lamp>,
    passed: &mut Vec<String>,
) -> Result<(), Failure> {
    let file = FileOfReadings::read(path, Some(&session.config))?;
    passed.extend(file.warnings.iter().cloned());
    let many = file.drafts.len() > 1;
    for (line, draft) in file.drafts {
        let device = draft.device.as_ref().map(ToString::to_string);
        let unnamed = || if many { format!("{}:{line}", file.stem) } else { file.stem.clone() };
        let mut name = draft.circumstances.id.clone().or(device).unwrap_or_else(unnamed);
        let taken = |name: &str| lamps.iter().any(|lamp: &Lamp| lamp.candidate.name == name);
        if taken(&name) {
            name = format!("{name} ({}:{line})", file.stem);
        }
        if draft.circumstances.patch != Patch::White || matches!(draft.level, Some(Level::Luminance(_))) {
            passed.push(format!("{name} is passed over: not the light of a lamp"));
            continue;
        }
        match Lamp::of(name.clone(), &draft, session, paper) {
            Ok(lamp) => lamps.push(lamp),
            Err(why) => passed.push(format!("{name} is passed over: {why}")),
        }
    }
    Ok(())
}

impl Lamp {
    fn of(name: String, draft: &Draft, session: &Session, paper: &Paper) -> Result<Self, String> {
        let colour = &draft.colour;
        let noise = session.config.things.noise_of(draft.circumstances.instrument.as_ref());
        let measured = UvSpread::round(noise.uv);
        let is_label = draft.circumstances.source == Source::Label;
        let (white, spread, basis) = if is_label {
            let label = label_white(colour).map_err(|why| why.to_string())?;
            (label.uv, label.spread, Basis::Label)
        } else {
            let point = white_point(colour).map_err(|why| why.to_string())?;
            let basis = match colour {
                ColourSet::Spectrum { .. } => Basis::Spectrum,
                ColourSet::Cct { .. } => Basis::KelvinOnly,
                _ => Basis::Coordinates,
            };
            (point.uv, point.spread.plus(measured), basis)
        };
        let sampled = match colour {
            ColourSet::Spectrum { spectrum } => Some(Sampled::of(spectrum)),
            _ => None,
        };
        let level = match colour {
            ColourSet::Spectrum { spectrum } => draft.level.or_else(|| level_of_spectrum(spectrum)),
            _ => draft.level,
        };
        let illuminance = match level {
            Some(Level::Illuminance(lx)) => Some(lx),
            _ => None,
        };
        let rendered = sampled.as_ref().and_then(rendering);
        let worst = sampled.as_ref().and_then(|sampled| {
            let all = hues(sampled, None, None).into_iter().filter(|shift| shift.tint.is_none());
            all.max_by(|a, b| a.delta_e.total_cmp(&b.delta_e))
        });
        let lit = PaperUnderLamp::of(paper, sampled.as_ref()).and_then(|paper| paper.under(white, spread));
        let known = KnownLight {
            white: matches!(basis, Basis::Spectrum | Basis::Coordinates).then_some(white),
            cct_k: match colour {
                ColourSet::Cct { cct_k } => Some(*cct_k),
                _ => cct_duv(white).ok().map(|t| t.cct_k),
            },
            ra: rendered.map(|r| r.indices.ra).or(draft.circumstances.ra),
            least_special: rendered.and_then(|r| r.indices.least_special()),
            r9: rendered.map(|r| r.indices.r9()),
        };
        let candidate = Candidate {
            name,
            basis,
            white,
            spread,
            paper: lit.map_err(|why| why.to_string())?,
            illuminance,
            known,
            rf: rendered.map(|r| r.fidelity.rf),
        };
        Ok(Self { candidate, worst })
    }
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
    estimates.read([&station.display, &station.lamp])?;
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
            scale_uv: scale.uv,
        }
    };
    let read = display.state.last_read().is_some();
    Ok(Screens { now: at(0), later: at(1), noise: display.noise, read })
}

fn as_text(
    weighed: &[Weighed],
    station: &Station,
    screen_read: bool,
    worst_of: &dyn Fn(&str) -> Option<HueShift>,
    passed: &[String],
) -> String {
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
            or_unknown(worst_of(&w.candidate.name).map(|s| format!("{} {:.1}", s.hue.word(), s.delta_e))),
        ]
    });
    let ahead = format!("in {}", say::span(station.horizon));
    let header =
        ["", "lamp", "verdict", "Δu′v′ now", &ahead, "CCT", "tint", "level", "Ra", "R9", "Rf", "worst hue, ΔE"];
    text.push_str(&output::table(header, rows));
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

fn as_json(rank: usize, w: &Weighed, station: &Station, worst: Option<HueShift>) -> Value {
    let known = &w.candidate.known;
    let temperature = known.white.and_then(|white| cct_duv(white).ok());
    let basis = match w.candidate.basis {
        Basis::Spectrum => "spectrum",
        Basis::Coordinates => "coordinates",
        Basis::KelvinOnly => "cct_k",
        Basis::Label => "label",
    };
    json!({
        "rank": rank,
        "lamp": w.candidate.name,
        "basis": basis,
        "fitness": match w.fitness {
            crate::color::Fitness::Fit => "fit",
            crate::color::Fitness::WithCare => "with-care",
            crate::color::Fitness::Unfit => "unfit",
        },
        "why": say::lamp::place(w, station),
        "now": meeting(&w.now),
        "at_horizon": meeting(&w.later),
        "u_prime": w.candidate.white.u,
        "v_prime": w.candidate.white.v,
        "cct_k": known.cct_k,
        "duv": temperature.map(|t| t.duv),
        "illuminance_lx": w.candidate.illuminance,
        "ra": known.ra,
        "r9": known.r9,
        "rf": w.candidate.rf,
        "worst_hue": worst.map(|shift| json!({ "hue": shift.hue.word(), "delta_e_2000": shift.delta_e, "said": shift.to_string() })),
        "white_sd": w.settles.0,
        "white_sd_if_measured": w.settles.1,
        "screen_aim": {
            "x": w.aim.white.x,
            "y": w.aim.white.y,
            "cct_k": w.aim.temperature.map(|t| t.cct_k),
            "duv": w.aim.temperature.map(|t| t.duv),
            "luminance_cd_m2": w.aim.luminance,
            "sensible": w.aim.is_sensible(),
            "doubts": w.aim.doubts.iter().map(doubt).collect::<Vec<_>>(),
        },
    })
}

fn meeting(meeting: &Meeting) -> Value {
    json!({
        "delta_uv": meeting.delta_uv,
        "luminance_ratio_to_rule": meeting.ratio,
        "chance": meeting.chance,
        "colour_chance": meeting.colour_chance,
        "screen_is": meeting.direction.as_ref().map(Move::to_string),
    })
}

fn doubt(doubt: &AimDoubt) -> &'static str {
    match doubt {
        AimDoubt::White { far: true, .. } => "white-far-from-daylight",
        AimDoubt::White { .. } => "white-off-daylight",
        AimDoubt::TooDark { .. } => "too-dark",
        AimDoubt::TooBright { .. } => "too-bright",
    }
}
