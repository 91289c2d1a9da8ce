//! What to do, by when, and what it gains. Pure.

use super::{count, day, direction_word, percent, white};
use crate::station::{Advice, CallReason, Holds, Judgement, LampFault, Verdict, Weighed};
use crate::units::{Luminance, Time};
use crate::zone::LocalZone;

/// One piece of advice, as a sentence that begins with what to do.
pub fn advice(advice: &Advice, zone: &LocalZone) -> String {
    let luminance = |l: &Option<Luminance>| l.map(|l| format!(", {:.0} cd/m²", l.get())).unwrap_or_default();
    match advice {
        Advice::Read { device } => format!("Read {device}."),
        Advice::ReadPaper { paper, lamp } => {
            format!("Read {paper} under {lamp} (`twinwhite add {lamp} patch=paper id={paper} …`).")
        }
        Advice::ReadBy { device, date, why } => {
            format!("Nothing now. Read {device} by {}{}.", day(zone, *date), call_reason(*why))
        }
        Advice::ActBy { act, date, guess } => {
            let guess = if *guess { " (a guess)" } else { "" };
            format!("Nothing now. By {}{guess}: {}", day(zone, *date), self::advice(act, zone))
        }
        Advice::RecalibrateToAim { display, white: aim, luminance: level } => {
            format!("Recalibrate {display} to its aim: {}{}.", white(*aim), luminance(level))
        }
        Advice::RecalibrateToPaper { display, white: aim, luminance: level, meets } => {
            let meets = day(zone, *meets);
            format!(
                "Recalibrate {display} to the paper white expected on {meets}, midway through the time it should hold: {}{}.",
                white(*aim),
                luminance(level)
            )
        }
        Advice::TurnDimmer { lamp, from, to } => {
            let word = if to > from { "up" } else { "down" };
            format!("Turn the dimmer of {lamp} {word}: from {:.0} to {:.0} lx, then read it.", from.get(), to.get())
        }
        Advice::TurnColourDial { lamp, direction } => match direction_word(direction.as_ref()) {
            Some(word) => format!("Turn the colour dial of {lamp} until it is less {word}, then read it."),
            None => format!("Turn the colour dial of {lamp} until it reads as its aim."),
        },
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
    }
}

/// What is said wherever hands go to a lamp.
const CARE: &str = "Power off, let it cool, do not look into it.";

/// Why by that day, as what follows the day in a sentence.
pub fn call_reason(why: CallReason) -> String {
    match why {
        CallReason::NeverRead => ": it was never read".to_owned(),
        CallReason::Unsettled => ": a reading settles what is in doubt".to_owned(),
        CallReason::Learning { readings } => {
            format!(": with {} its drift cannot be told from its scatter yet", count(readings, "reading"))
        }
        CallReason::TooOld { limit } => {
            format!(": its last reading will then be {} old, and after that it counts for nothing", super::span(limit))
        }
        CallReason::Doubt { left } => {
            let share = match 1.0 - left {
                0.85.. => "nearly all of the risk",
                0.6..0.85 => "three quarters of the risk",
                0.4..0.6 => "half of the risk",
                0.15..0.4 => "a quarter of the risk",
                _ => "part of the risk",
            };
            format!(": its spread alone will then make {share}, and a reading settles it")
        }
        CallReason::Decides => ": what that finds decides whether anything needs doing".to_owned(),
        CallReason::Out => ": the match is out of tolerance".to_owned(),
        CallReason::RiskPasses { guess: false } => ": the risk then passes the station's line".to_owned(),
        CallReason::RiskPasses { guess: true } => ": the risk may then pass the station's line, a guess".to_owned(),
    }
}

/// Until when a match holds, as it may honestly be called.
pub fn holds(holds: &Holds, zone: &LocalZone) -> String {
    let guess = if holds.guess { " (a guess)" } else { "" };
    match (holds.date, holds.early, holds.late) {
        (Some(date), Some(early), Some(late)) => {
            format!("holds until about {}, likely {}{guess}", day(zone, date), range(zone, early, late))
        }
        (Some(date), Some(early), None) => {
            format!("holds until about {}, likely from {} on{guess}", day(zone, date), day(zone, early))
        }
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
    format!("{}{line}", holds(&judgement.holds, zone))
}

/// All advice, with what the chosen act gains and what would be next best.
pub fn to_do(judgement: &Judgement, max_risk: f64, zone: &LocalZone) -> Vec<String> {
    let mut lines: Vec<String> = judgement.advice.iter().map(|a| advice(a, zone)).collect();
    let chosen = judgement.acts.iter().find(|act| act.chosen && act.helps(max_risk));
    let Some((chosen, last)) = chosen.and_then(|act| Some((act, act.steps.last()?))) else { return lines };
    let Some(place) = judgement.advice.iter().position(|one| one == last) else { return lines };
    let gain = holds(&chosen.holds, zone);
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
        lines.insert(place + 1, next_best(other, chosen, zone));
    }
    lines
}

fn next_best(other: &Weighed, chosen: &Weighed, zone: &LocalZone) -> String {
    let steps: Vec<String> = other.steps.iter().map(|step| advice(step, zone)).collect();
    format!(
        "Or, at a cost of {} in place of {}: {} The match then {}.",
        other.cost,
        chosen.cost,
        steps.join(" "),
        holds(&other.holds, zone)
    )
}
