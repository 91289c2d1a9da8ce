//! What to do, by when, and what it gains. Pure.

use super::{count, day, direction_word, percent, white};
use crate::station::{Advice, Call, CallReason, Holds, Judgement, LampFault, Reason, Verdict, Weighed};
use crate::units::{DeviceId, Luminance, Time};
use crate::zone::LocalZone;

/// One piece of advice, as a sentence that begins with what to do.
pub fn advice(advice: &Advice, zone: &LocalZone) -> String {
    let luminance = |l: &Option<Luminance>| l.map(|l| format!(", {:.0} cd/m²", l.get())).unwrap_or_default();
    match advice {
        Advice::Read { device } => format!("Read {device}."),
        Advice::ReadPaper { paper, lamp } => {
            format!("Read {paper} under {lamp} (`twinwhite add {lamp} patch=paper id={paper} …`).")
        }
        Advice::RecalibrateToAim { display, white: aim, luminance: level } => {
            format!("Recalibrate {display} to its aim: {}{}.", white(*aim), luminance(level))
        }
        Advice::RecalibrateToPaper { display, white: aim, luminance: level, meets } => {
            let meets = day(zone, *meets);
            format!(
                "Recalibrate {display} to the paper white expected on {meets}, so that it holds while the lamp drifts on: {}{}.",
                white(*aim),
                luminance(level)
            )
        }
        Advice::TurnDimmer { lamp, from, to } => {
            let word = if to > from { "up" } else { "down" };
            format!("Turn the dimmer of {lamp} {word}: from {:.0} to {:.0} lx, then read it.", from.get(), to.get())
        }
        Advice::TurnColourDial { lamp, direction, white: aim } => {
            let towards =
                direction_word(direction.as_ref()).map(|word| format!(" to make it {word},")).unwrap_or_default();
            let aim = aim.map(|aim| format!(": {}", white(aim))).unwrap_or_default();
            format!("Turn the colour dial of {lamp}{towards} until it reads as its aim{aim}.")
        }
        Advice::CleanLamp { lamp, level_ratio } => format!(
            "Clean {lamp}, then read it (it gives {:.0} % of its aim's light, and dust may be part of that). {CARE}",
            level_ratio * 100.0
        ),
        Advice::ReplaceLamp { lamp, why } => {
            let what = match why {
                LampFault::Colour { delta_uv } => {
                    format!("Clean {lamp}, or replace it (its colour is Δu′v′ {delta_uv:.4} from its aim).")
                }
                LampFault::Dim { level_ratio } => {
                    format!("Clean {lamp}, or replace it (it gives {:.0} % of its aim's light).", level_ratio * 100.0)
                }
                LampFault::Rendering { ra, limit } => {
                    format!("Replace {lamp} (Ra {ra:.1}, where {limit:.0} is asked for).")
                }
                LampFault::Ageing => format!("Replace {lamp}, then read it."),
            };
            format!("{what} {CARE}")
        }
        Advice::ShutOutLight { from_hour, to_hour } => {
            format!("Keep foreign light off the print from {from_hour}:00 to {to_hour}:00, or judge at another hour.")
        }
        Advice::LookAtHeld { device } => {
            format!("Look at what is held back: `twinwhite history {device}`, then `release` or `retract` it.")
        }
        Advice::LookAtJump { device, lamp, began } => format!(
            "{device} jumped by {}. {} {} Only if you find nothing, go on:",
            day(zone, *began),
            look_first(*lamp),
            write_down(device, *lamp)
        ),
    }
}

/// What to look for where a light has jumped.
pub(super) fn look_first(lamp: bool) -> &'static str {
    if lamp {
        "Look first whether a dimmer or dial was turned, a tube replaced, the lamp moved, or window light fell in."
    } else {
        "Look first whether its brightness or another setting was changed, it was calibrated anew, or it was moved."
    }
}

/// What to do once it is found.
pub(super) fn write_down(device: &DeviceId, lamp: bool) -> String {
    let others = if lamp { "replaced, moved" } else { "recalibrated, moved" };
    format!("Undo it and read again, or write it down: `twinwhite record setting_changed {device}` (or {others}).")
}

/// What is said wherever hands go to a lamp.
const CARE: &str = "Power off, let it cool, do not look into it.";

/// Why by that day, as a clause.
pub fn call_reason(why: CallReason) -> String {
    match why {
        CallReason::NeverRead => "it was never read".to_owned(),
        CallReason::Unsettled => "a reading settles what is in doubt".to_owned(),
        CallReason::Learning { readings } => {
            format!("with {} its drift cannot be told from its scatter yet", count(readings, "reading"))
        }
        CallReason::TooOld { limit } => {
            format!("the last reading will then be {} old, and after that it counts for nothing", super::span(limit))
        }
        CallReason::Doubt { left } => {
            let share = match 1.0 - left {
                0.85.. => "nearly all of the risk",
                0.6..0.85 => "three quarters of the risk",
                0.4..0.6 => "half of the risk",
                0.15..0.4 => "a quarter of the risk",
                _ => "part of the risk",
            };
            format!("what is not known of it makes {share}, and a reading settles that")
        }
        CallReason::Decides => "what that finds decides whether anything needs doing".to_owned(),
        CallReason::Jumped => "its light jumped, and nobody wrote down why".to_owned(),
        CallReason::Out => "the match is out of tolerance".to_owned(),
        CallReason::ForeignLight => "more foreign light falls on the print than it allows".to_owned(),
        CallReason::RiskPasses { guess: false } => "after that the risk is over the station's line".to_owned(),
        CallReason::RiskPasses { guess: true } => {
            "after that the risk may be over the station's line, which is a guess".to_owned()
        }
    }
}

/// Until when a match holds, as it may honestly be called.
pub fn holds(holds: &Holds, now: Time, zone: &LocalZone) -> String {
    let guess = if holds.guess { " (a guess)" } else { "" };
    match (holds.date, holds.early, holds.late) {
        (Some(date), Some(early), Some(late)) => {
            format!("holds until about {}, likely {}{guess}", day(zone, date), range(zone, early, late))
        }
        (Some(date), Some(early), None) => {
            format!("holds until about {}, likely from {} on{guess}", day(zone, date), day(zone, early))
        }
        _ if holds.beyond_reach(now) => "holds for a time that nobody can tell yet".to_owned(),
        _ => format!("holds at least until {}{guess}", day(zone, holds.at_least())),
    }
}

/// Two days, like 20 Feb to 9 Apr 2026.
fn range(zone: &LocalZone, from: Time, to: Time) -> String {
    let (first, last) = (day(zone, from), day(zone, to));
    match (first.rsplit_once(' '), last.rsplit_once(' ')) {
        (Some((short, year)), Some((_, same))) if year == same => format!("{short} to {last}"),
        _ => format!("{first} to {last}"),
    }
}

/// Until when a station holds, and when its risk passes its line.
pub fn until(judgement: &Judgement, max_risk: f64, zone: &LocalZone) -> String {
    let line = match judgement.risk_date {
        Some(risk) if risk.date > judgement.as_of => {
            format!("; the risk passes {} about {}", percent(max_risk), day(zone, risk.date))
        }
        _ => String::new(),
    };
    format!("{}{line}", holds(&judgement.holds, judgement.as_of, zone))
}

/// All there is to do, by when, with what the chosen act gains and what would be next best; where nothing is, that, and what comes
/// next.
pub fn to_do(judgement: &Judgement, max_risk: f64, zone: &LocalZone) -> Vec<String> {
    let mut lines = to_do_now(judgement, zone);
    let chosen = judgement.acts.iter().find(|act| act.chosen && act.helps(max_risk));
    let Some((chosen, last)) = chosen.and_then(|act| Some((act, act.steps.last()?))) else { return lines };
    let told = advised(judgement, last, zone);
    let Some(place) = lines.iter().position(|line| *line == told) else { return lines };
    let gain = holds(&chosen.holds, judgement.as_of, zone);
    if let Some(line) = lines.get_mut(place) {
        line.push_str(&match last {
            Advice::Read { .. } | Advice::ReadPaper { .. } => {
                format!(" If it finds what is expected, the match {gain}.")
            }
            _ => format!(" The match then {gain}."),
        });
    }
    let other = judgement.acts.iter().find(|act| !act.chosen && act.helps(max_risk));
    if let Some(other) = other.filter(|_| judgement.verdict != Verdict::Unknown) {
        lines.insert(place + 1, next_best(other, chosen, judgement.as_of, zone));
    }
    lines
}

/// What there is to do, by when; where nothing is, that, and what comes next.
pub fn to_do_now(judgement: &Judgement, zone: &LocalZone) -> Vec<String> {
    let advised = judgement.advice.iter().map(|advice| advised(judgement, advice, zone));
    match judgement.verdict {
        Verdict::Matched => advised.chain(next(judgement, zone)).collect(),
        Verdict::AtRisk => spared(judgement, zone).into_iter().chain(advised).collect(),
        Verdict::Unknown | Verdict::Out => advised.collect(),
    }
}

/// One piece of a judgement's advice, with its day and its reason where these are not said by the verdict.
fn advised(judgement: &Judgement, one: &Advice, zone: &LocalZone) -> String {
    let text = advice(one, zone);
    let Some(call) = judgement.calls.iter().find(|call| call.advice == *one) else { return text };
    match (judgement.verdict, call.why) {
        (Verdict::Matched, why) if why.is_reading() => {
            format!("{}: {}.", text.trim_end_matches('.'), call_reason(why))
        }
        (_, why @ CallReason::RiskPasses { .. }) => {
            format!("{text} Do it {}: {}.", by(call.by, judgement.as_of, zone), call_reason(why))
        }
        _ => text,
    }
}

/// `today`, or `by 4 Mar 2026`.
fn by(date: Time, now: Time, zone: &LocalZone) -> String {
    if zone.day(date) <= zone.day(now) { "today".to_owned() } else { format!("by {}", day(zone, date)) }
}

const NOTHING: &str = "Nothing to do now";
/// Where an instrument wants something that is no matter of the match.
const NOTHING_HERE: &str = "Nothing to do about the match now, but see `twinwhite due`";
const NOTHING_ELSE: &str = "Nothing else to do now";

/// The same without saying that nothing is to do, where something beside the stations needs somebody.
pub fn without_all_clear(lines: Vec<String>) -> Vec<String> {
    let nexts = [NOTHING, NOTHING_HERE].map(|nothing| format!("{nothing}; next"));
    let all_clear = [NOTHING, NOTHING_HERE, NOTHING_ELSE];
    let kept = lines.into_iter().filter_map(|line| match nexts.iter().find_map(|next| line.strip_prefix(next)) {
        Some(rest) => Some(format!("Next{rest}")),
        None => (!all_clear.iter().any(|nothing| line.starts_with(nothing))).then_some(line),
    });
    kept.collect()
}

/// What comes next where all is well: the reading that is wanted first, and the act that is planned.
fn next(judgement: &Judgement, zone: &LocalZone) -> Vec<String> {
    let now = judgement.as_of;
    let reading = judgement.calls.iter().find(|call| call.why.is_reading());
    let act = judgement.calls.iter().find(|call| matches!(call.why, CallReason::RiskPasses { .. }));
    let doubted = judgement.reasons.iter().any(|reason| matches!(reason, Reason::InstrumentDoubt { .. }));
    let (nothing, first) = match (judgement.advice.is_empty(), doubted) {
        (true, false) => (NOTHING, format!("{NOTHING}; next")),
        (true, true) => (NOTHING_HERE, format!("{NOTHING_HERE}; next")),
        (false, _) => (NOTHING_ELSE, "Next".to_owned()),
    };
    let mut lines = Vec::new();
    match reading {
        // It stands among the advice.
        Some(call) if call.by <= now => {}
        Some(call) => {
            let same = |other: &&Call| other.why == call.why && zone.day(other.by) == zone.day(call.by);
            let what: Vec<String> = judgement.calls.iter().filter(same).filter_map(to_read).collect();
            lines.push(format!(
                "{first} reading of {} {}: {}.",
                what.join(" and "),
                by(call.by, now, zone),
                call_reason(call.why)
            ));
        }
        None => lines.push(format!("{nothing}, and no reading is due.")),
    }
    if let Some(call) = act {
        let day = by(call.by, now, zone);
        lines.push(format!("{} Do it {day}: {}.", advice(&call.advice, zone), call_reason(call.why)));
    }
    lines
}

/// A reading that may spare the act that is advised.
fn spared(judgement: &Judgement, zone: &LocalZone) -> Option<String> {
    let act = judgement.calls.iter().find(|call| matches!(call.why, CallReason::RiskPasses { .. }))?;
    let first = |call: &&Call| matches!(call.why, CallReason::Decides | CallReason::Doubt { .. }) && call.by <= act.by;
    let call = judgement.calls.iter().find(first).filter(|call| !judgement.advice.contains(&call.advice))?;
    let day = by(call.by, judgement.as_of, zone);
    Some(format!("First read {} {day}: {}.", to_read(call)?, call_reason(call.why)))
}

/// What a reading is taken of.
fn to_read(call: &Call) -> Option<String> {
    match &call.advice {
        Advice::Read { device } => Some(device.to_string()),
        Advice::ReadPaper { paper, lamp } => Some(format!("{paper} under {lamp}")),
        _ => None,
    }
}

fn next_best(other: &Weighed, chosen: &Weighed, now: Time, zone: &LocalZone) -> String {
    let steps: Vec<String> = other.steps.iter().map(|step| advice(step, zone)).collect();
    format!(
        "Or (cost {} in place of {}, as `[costs]` counts): {} The match then {}.",
        other.cost,
        chosen.cost,
        steps.join(" "),
        holds(&other.holds, now, zone)
    )
}
