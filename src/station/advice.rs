//! What to do about a station, the cheapest thing that helps first. Pure.
//!
//! Each act is held against what it would leave: the distance of the whites and of the luminances right after it. An act
//! helps when both then lie within [`COMFORT`] of their limits. From cheap to dear: take a reading, turn the lamp's dimmer
//! or dial, recalibrate the display to its aim, recalibrate it to the paper as it is, replace the lamp. A lamp that left its
//! aim by far is not followed by the display: that would only carry the fault on.

use super::{Advice, Doubt, Judgement, LampFault, Picture, Reason, Seen, Verdict};
use crate::color::direction;
use crate::color::{delta_uv, xy};
use crate::drift::Summary;
use crate::site::{Adjustable, LuminanceRule};
use crate::units::{Days, Illuminance, Luminance, UvPrime};

/// Share of a limit within which an act leaves the match comfortably.
const COMFORT: f64 = 0.6;
/// While a device has few readings it is read this often, so that its drift can be told from its scatter (common practice:
/// weekly).
const LEARNING: Days = Days(7.0);
/// A lamp this many tolerances from its aim in colour should go.
const LAMP_FAULTY_COLOUR: f64 = 2.0;
/// A lamp that gives less than this share of its aim's light, and cannot be turned up, should go.
const LAMP_FAULTY_LEVEL: f64 = 0.7;

/// Chooses the advice for a judgement whose numbers stand.
pub fn advise(
    seen: &Seen,
    picture: &Picture,
    summaries: &[Summary; 2],
    judgement: &Judgement,
    doubt: Option<&Doubt>,
) -> Vec<Advice> {
    let mut advice = match judgement.verdict {
        Verdict::Unknown => readings_wanted(seen, summaries, judgement, doubt),
        Verdict::Matched => read_by(seen, summaries, judgement),
        Verdict::AtRisk | Verdict::Out => restore(seen, picture),
    };
    // A paper that nobody read under this lamp may be the whole difference; to read it costs a minute.
    let read = Advice::ReadPaper { paper: seen.paper.id.clone(), lamp: seen.lamp.id.clone() };
    let bad = matches!(judgement.verdict, Verdict::AtRisk | Verdict::Out) && !seen.renders_poorly();
    if bad && picture.paper_is_the_doubt && seen.lit.read.is_none() {
        advice.insert(0, read);
    }
    // An odd reading waits for a second one, which is cheaper than any act it may call for.
    for (device, summary) in [&seen.display, &seen.lamp].into_iter().zip(summaries) {
        let read = Advice::Read { device: device.id.clone() };
        // Nor is a lamp replaced or followed on the word of its label.
        let by_label = summary.by_label && judgement.verdict != Verdict::Matched;
        if by_label {
            advice.retain(|other| matches!(other, Advice::Read { .. } | Advice::ReadPaper { .. }));
        }
        if (by_label || !summary.waiting.is_empty()) && !advice.contains(&read) {
            advice.retain(|other| !matches!(other, Advice::ReadBy { .. }));
            advice.insert(0, read);
        }
    }
    if bad && advice.is_empty() {
        let older = |(_, summary): &(&&super::Watched, &Summary)| summary.last_read.map(|(last, _)| last);
        let devices = [&seen.display, &seen.lamp];
        let oldest = devices.iter().zip(summaries).min_by_key(older);
        advice.extend(oldest.map(|(device, _)| Advice::Read { device: device.id.clone() }));
    }
    advice.extend(judgement.reasons.iter().find_map(|reason| match reason {
        Reason::AmbientLight { from_hour, to_hour, .. } => {
            Some(Advice::ShutOutLight { from_hour: *from_hour, to_hour: *to_hour })
        }
        _ => None,
    }));
    for (device, summary) in [&seen.display, &seen.lamp].into_iter().zip(summaries) {
        if summary.held_count > 0 {
            advice.push(Advice::LookAtHeld { device: device.id.clone() });
        }
    }
    advice
}

fn readings_wanted(seen: &Seen, summaries: &[Summary; 2], judgement: &Judgement, doubt: Option<&Doubt>) -> Vec<Advice> {
    let helps = doubt.map_or([false, false], |d| [d.display, d.lamp]);
    let lit = doubt.filter(|doubt| doubt.paper);
    let lit = lit.map(|_| Advice::ReadPaper { paper: seen.paper.id.clone(), lamp: seen.lamp.id.clone() });
    [&seen.display, &seen.lamp]
        .into_iter()
        .zip(summaries)
        .zip(helps)
        .filter(|((_, summary), helps)| {
            *helps || super::too_old(summary.last_read.map(|(last, _)| last), seen.station, judgement.as_of)
        })
        .map(|((device, _), _)| Advice::Read { device: device.id.clone() })
        .chain(lit)
        .collect()
}

/// All is well: the device that goes without a reading longest is read next, before its reading is too old or the risk passes.
fn read_by(seen: &Seen, summaries: &[Summary; 2], judgement: &Judgement) -> Vec<Advice> {
    let oldest = [&seen.display, &seen.lamp]
        .into_iter()
        .zip(summaries)
        .filter_map(|(device, summary)| summary.last_read.map(|(last, _)| (last, device)))
        .min_by_key(|(last, _)| *last);
    let Some((last, device)) = oldest else { return Vec::new() };
    let few = summaries.iter().any(|summary| summary.used < super::GUESS_BELOW_READINGS);
    let mut date = last.plus(if few { LEARNING } else { seen.station.max_age });
    if let Some(risk) = judgement.risk_date {
        date = date.min(risk.date);
    }
    let date = date.max(judgement.as_of.plus(Days(0.0)));
    vec![Advice::ReadBy { device: device.id.clone(), date }]
}

/// The match is out or at risk and it is the whites that differ: bring them together.
fn restore(seen: &Seen, picture: &Picture) -> Vec<Advice> {
    let station = seen.station;
    let limit = station.tolerance.delta_uv;
    let lamp_distance = delta_uv(seen.lamp.aim, picture.lamp.uv());
    let lamp_level = seen.lamp.aim_level.zip(picture.lamp.luminance).map(|(aim, now)| now.mean / aim);
    let turns = |what| seen.adjustable.contains(&what);
    let mut advice = Vec::new();
    if let Some((known, limit)) = seen.rendering.known().zip(station.tolerance.ra_min).filter(|_| seen.renders_poorly())
    {
        let why = LampFault::Rendering { ra: known.ra, limit };
        return vec![Advice::ReplaceLamp { lamp: seen.lamp.id.clone(), why }];
    }

    let colour_fault = lamp_distance > LAMP_FAULTY_COLOUR * limit;
    if colour_fault && turns(Adjustable::Cct) {
        let direction = direction(seen.lamp.aim, picture.lamp.uv());
        advice.push(Advice::TurnColourDial { lamp: seen.lamp.id.clone(), direction });
    } else if colour_fault {
        let why = LampFault::Colour { delta_uv: lamp_distance };
        advice.push(Advice::ReplaceLamp { lamp: seen.lamp.id.clone(), why });
    }

    let light_counts = station.luminance != LuminanceRule::NotJudged && station.tolerance.luminance_ratio.is_some();
    let ln_limit = station.tolerance.luminance_ratio.map_or(f64::INFINITY, libm::log);
    let mut light_restored = false;
    if let Some(ratio) = lamp_level.filter(|_| light_counts) {
        let off = libm::log(ratio).abs() > COMFORT * ln_limit;
        let dimmer = seen
            .lamp
            .aim_level
            .zip(picture.lamp.luminance)
            .and_then(|(aim, now)| Some((Illuminance::new(now.mean).ok()?, Illuminance::new(aim).ok()?)));
        match dimmer {
            Some((from, to)) if off && turns(Adjustable::Level) => {
                advice.push(Advice::TurnDimmer { lamp: seen.lamp.id.clone(), from, to });
                light_restored = true;
            }
            _ if ratio < LAMP_FAULTY_LEVEL && !colour_fault => {
                let why = LampFault::Dim { level_ratio: ratio };
                advice.push(Advice::ReplaceLamp { lamp: seen.lamp.id.clone(), why });
            }
            _ => {}
        }
    }
    if !advice.iter().any(|a| matches!(a, Advice::ReplaceLamp { .. } | Advice::TurnColourDial { .. })) {
        advice.extend(recalibrate(seen, picture, limit, ln_limit, light_restored));
    }
    advice
}

/// Recalibrates the display where its light is what is off: to its aim if that meets the paper, else to the paper.
fn recalibrate(seen: &Seen, picture: &Picture, limit: f64, ln_limit: f64, light_restored: bool) -> Option<Advice> {
    let (offset_u, offset_v) = seen.station.visual_offset;
    let paper = picture.paper.uv();
    let target = UvPrime { u: paper.u + offset_u, v: paper.v + offset_v };
    let ratio = picture.ratio_to_rule(seen.station);
    let colour_off = delta_uv(picture.display.uv(), target) > COMFORT * limit;
    let light_off = !light_restored && ratio.is_some_and(|r| libm::log(r).abs() > COMFORT * ln_limit);
    if !colour_off && !light_off {
        return None;
    }
    let wanted = match seen.station.luminance {
        LuminanceRule::DisplayToPaper(rule) => picture.paper.luminance.map(|paper| paper.mean * rule),
        LuminanceRule::NotJudged => None,
    };
    let aim_meets_colour = delta_uv(seen.display.aim, target) <= COMFORT * limit;
    let aim_meets_light = light_restored
        || match (seen.display.aim_level, wanted) {
            (Some(aim), Some(wanted)) => libm::log(aim / wanted).abs() <= COMFORT * ln_limit,
            _ => true,
        };
    let display = seen.display.id.clone();
    if aim_meets_colour && aim_meets_light {
        let luminance = seen.display.aim_level.and_then(|level| Luminance::new(level).ok());
        Some(Advice::RecalibrateToAim { display, white: xy(seen.display.aim).ok()?, luminance })
    } else {
        let luminance = wanted.and_then(|level| Luminance::new(level).ok());
        Some(Advice::RecalibrateToPaper { display, white: xy(target).ok()?, luminance })
    }
}
