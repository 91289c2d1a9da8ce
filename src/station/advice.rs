//! What to do about a station: what is best of the acts that were weighed, and what a judgement calls for beside it. Pure.
//!
//! Readings before acts: an odd reading waits for a second one, a paper that nobody read may be the whole difference, and no
//! lamp is replaced or followed on the word of its label. What the acts are worth is found in [`acts`](super::acts), when a reading
//! is in [`calls`](super::calls).

use super::acts::best;
use super::outlook::Outlook;
use super::{Advice, Call, Doubt, Judgement, Picture, Reason, Seen, Verdict};
use crate::drift::Summary;

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
        Verdict::Matched => nothing_now(readings, best().map(|act| act.steps.as_slice()), judgement),
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
            advice.retain(|other| !matches!(other, Advice::ReadBy { .. } | Advice::ActBy { .. }));
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

/// All is well: what is the next thing to do, and by when.
fn nothing_now(readings: &[Call], act: Option<&[Advice]>, judgement: &Judgement) -> Vec<Advice> {
    let first = readings.first();
    let risk = judgement.risk_date.filter(|risk| first.is_none_or(|call| risk.date < call.by));
    if let Some((risk, act)) = risk.zip(act.and_then(<[Advice]>::first)) {
        return vec![Advice::ActBy { act: Box::new(act.clone()), date: risk.date, guess: risk.guess }];
    }
    let of_call = |call: &Call| match &call.advice {
        advice if call.by <= judgement.as_of => advice.clone(),
        Advice::Read { device } => Advice::ReadBy { device: device.clone(), date: call.by, why: call.why },
        other => Advice::ActBy { act: Box::new(other.clone()), date: call.by, guess: false },
    };
    first.map(of_call).into_iter().collect()
}
