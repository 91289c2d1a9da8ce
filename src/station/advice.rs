//! What to do about a station: what is best of the acts that were weighed, and what a judgement calls for beside it. Pure.
//!
//! Readings before acts: an odd reading waits for a second one, a paper that nobody read may be the whole difference, and no
//! lamp is replaced or followed on the word of its label. What the acts are worth is found in [`acts`](super::acts), when a reading
//! is in [`calls`](super::calls).

use super::acts::best;
use super::outlook::Outlook;
use super::{Advice, Call, Doubt, Judgement, Picture, Reason, Seen, Verdict};
use crate::drift::Summary;
use crate::units::Time;

/// Chooses the advice for a judgement whose numbers and acts stand.
pub fn advise(
    seen: &Seen,
    picture: &Picture,
    summaries: &[Summary; 2],
    judgement: &Judgement,
    doubt: Option<&Doubt>,
    readings: &[Call],
    untouched: &Outlook,
) -> Vec<Advice> {
    let (horizon, max_risk) = (seen.station.horizon, seen.station.max_risk.get());
    let best = || best(&judgement.acts, untouched, horizon, max_risk);
    let mut advice = match judgement.verdict {
        Verdict::Unknown => readings_wanted(seen, summaries, judgement, doubt),
        // All is well: nothing but a reading that is due.
        Verdict::Matched => due_now(readings, judgement.as_of),
        Verdict::AtRisk | Verdict::Out => best().map(|act| act.steps.clone()).unwrap_or_default(),
    };
    // A paper that nobody read under this lamp may be the whole difference; to read it costs a minute.
    let read = Advice::ReadPaper { paper: seen.paper.id.clone(), lamp: seen.lamp.id.clone() };
    let bad = matches!(judgement.verdict, Verdict::AtRisk | Verdict::Out) && !seen.renders_poorly();
    if bad && picture.paper_is_the_doubt && seen.lit.read.is_none() && !advice.contains(&read) {
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
    if bad {
        advice.splice(0..0, jumps(seen));
    }
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

/// What is looked at before anything is set, cleaned or replaced.
fn jumps(seen: &Seen) -> impl Iterator<Item = Advice> {
    let devices = [(&seen.display, false), (&seen.lamp, true)];
    devices.into_iter().zip(seen.jumped).filter_map(|((device, lamp), began)| {
        Some(Advice::LookAtJump { device: device.id.clone(), lamp, began: began? })
    })
}

fn due_now(readings: &[Call], now: Time) -> Vec<Advice> {
    readings.iter().filter(|call| call.by <= now).map(|call| call.advice.clone()).collect()
}
