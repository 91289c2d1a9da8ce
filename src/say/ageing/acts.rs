//! What `ageing` says there is to do: read, recalibrate, order, replace, and the care that it takes. Pure.

use super::super::{day, percent, span};
use crate::drift::Thing;
use crate::life::report::Report;
use crate::site::{Adjustable, LampKind};
use crate::station::leaving::{Cause, Leaving};
use crate::units::Days;
use crate::zone::LocalZone;

/// Days that a new lamp is allowed to be on its way: an assumption of the house.
const DELIVERY: Days = Days(14.0);

/// What to do. `turns`: what a person can turn on it.
pub fn acts(report: &Report, turns: &[Adjustable], max_risk: Option<f64>, zone: &LocalZone) -> Vec<String> {
    let device = &report.device;
    if report.retired {
        return Vec::new();
    }
    if report.age.is_none() {
        return vec![format!("Read {device}.")];
    }
    let mut acts = Vec::new();
    if let Some((last, limit)) = report.last_read.zip(report.max_age) {
        let age = report.as_of.since(last);
        if age.0 > limit.0 {
            acts.push(format!("Read {device} first: it was last read {} ago.", span(age)));
        }
    }
    let past_rated = report.rated.and_then(|rated| rated.used).is_some_and(|used| used >= 1.0);
    let Some(leaving) = &report.leaving else {
        if past_rated {
            acts.push(format!("{device} is past its rated hours: have a new one at hand."));
        } else if acts.is_empty() {
            acts.push(format!("Nothing but to go on reading {device}."));
        }
        return acts;
    };
    if past_rated {
        acts.push(format!("{device} is past its rated hours: have a new one at hand."));
    }
    match report.thing {
        Thing::Display => acts.push(display_act(report, leaving, max_risk, zone)),
        Thing::Lamp(kind) => acts.extend(lamp_acts(report, leaving, kind, turns, max_risk, zone)),
    }
    acts
}

fn display_act(report: &Report, leaving: &Leaving, max_risk: Option<f64>, zone: &LocalZone) -> String {
    let device = &report.device;
    match (leaving.is_off(), leaving.act_by) {
        (true, _) if leaving.cause == Some(Cause::Doubt) => format!("Read {device}."),
        (true, _) => format!("Recalibrate {device}."),
        (false, Some(by)) if leaving.cause == Some(Cause::Doubt) => {
            format!("Read {device} by about {}; that takes the doubt away.", day(zone, by))
        }
        (false, Some(by)) if leaving.about.is_some() => {
            format!("Recalibrate {device} by about {}{}.", day(zone, by), at_risk(max_risk))
        }
        (false, _) => format!("Nothing but to go on reading {device}."),
    }
}

fn at_risk(max_risk: Option<f64>) -> String {
    max_risk.map(|risk| format!(" (the risk of being off its aim reaches {} then)", percent(risk))).unwrap_or_default()
}

fn lamp_acts(
    report: &Report,
    leaving: &Leaving,
    kind: LampKind,
    turns: &[Adjustable],
    max_risk: Option<f64>,
    zone: &LocalZone,
) -> Vec<String> {
    let device = &report.device;
    let new = if kind == LampKind::Fluorescent { "a new tube" } else { "a new lamp" };
    let mut acts = Vec::new();
    let dims = leaving.cause == Some(Cause::Dimmer);
    let dimmer = turns.contains(&Adjustable::Level);
    let dial = matches!(leaving.cause, Some(Cause::Colour(_))) && turns.contains(&Adjustable::Cct);
    match (leaving.is_off(), leaving.act_by) {
        (_, Some(by)) if leaving.cause == Some(Cause::Doubt) => {
            let when = if by > report.as_of { format!(" by about {}", day(zone, by)) } else { String::new() };
            acts.push(format!("Read {device}{when}; that takes the doubt away. It is too early to order {new}."));
            return acts;
        }
        (true, _) => {
            if dims && dimmer {
                acts.push(format!(
                    "Turn the dimmer of {device} up and read it; that buys time, though it makes no lamp younger."
                ));
            }
            if dial {
                acts.push(format!("Turn the colour dial of {device} towards its aim and read it."));
            }
            acts.push(format!("Clean {device} and read it; if it is still off its aim, replace it."));
        }
        (false, Some(by)) if leaving.about.is_some() => {
            let order = by.plus(Days(-DELIVERY.0));
            let order = if order <= report.as_of { "now".to_owned() } else { format!("by {}", day(zone, order)) };
            acts.push(format!(
                "Order {new} {order} and replace {device} by about {}{}.",
                day(zone, by),
                at_risk(max_risk)
            ));
            if leaving.guess {
                acts.push(format!(
                    "The date is a guess still: go on reading {device}, and ask again before you order."
                ));
            }
            if dims && dimmer {
                acts.push("Turning its dimmer up when it gets too dim buys time before that.".to_owned());
            }
            if dial {
                acts.push(
                    "Turning its colour dial towards its aim when it leaves it buys time before that.".to_owned(),
                );
            }
        }
        (false, _) => {
            acts.push(format!("Nothing but to go on reading {device}."));
            return acts;
        }
    }
    let mercury = if kind == LampKind::Fluorescent {
        " Tubes hold mercury: do not break them, and hand used ones in as your local rules say."
    } else {
        ""
    };
    acts.push(format!(
        "Before you change it: power off, let it cool, do not look into it. Ballasts, dimmers and wiring are for qualified people.{mercury}"
    ));
    acts
}
