//! The JSON of `ageing`: numbers unrounded, dates as local days beside instants.

use serde_json::{Value, json};

use super::Parts;
use super::gather::Gathered;
use crate::color::Move;
use crate::life::maintenance::{LeftAt, NoProjection};
use crate::life::report::{Check, LifeLine, Projection, Rate, WhitePath};
use crate::life::{Age, Aged, Life};
use crate::station::Spread;
use crate::station::leaving::{Cause, Leaving};
use crate::units::Time;
use crate::zone::LocalZone;

pub fn as_json(gathered: &Gathered, parts: &Parts, zone: &LocalZone) -> Value {
    let report = &gathered.report;
    let path: Vec<Value> = gathered.lives.current().map(Life::ageing).unwrap_or_default().iter().map(aged).collect();
    json!({
        "device": report.device,
        "as_of": report.as_of,
        "verdict": parts.headline,
        "readings": report.readings,
        "last_read": report.last_read,
        "retired": report.retired,
        "age": report.age.map(age),
        "light_left": report.light_left.map(spread),
        "ln_light_rate": report.light_rate.map(rate),
        "white": report.white.as_ref().map(white),
        "hours": report.hours.map(|h| json!({ "counter": h.counter_at(report.as_of), "per_day": h.per_day, "per_day_sd": h.per_day_sd() })),
        "rated": report.rated.map(|r| json!({ "hours": r.hours, "used": r.used, "date": r.reached.map(|reached| zone.date(reached.date)) })),
        "limits": gathered.limits.map(|l| json!({ "delta_uv": l.delta_uv, "level_ratio": l.ln_ratio.map(libm::exp) })),
        "max_risk": gathered.max_risk,
        "leaves_aim": report.leaving.as_ref().map(|l| leaving(l, zone)),
        "projection": match &report.projection {
            Ok(found) => projection(found),
            Err(why) => json!({ "none": no_projection(why) }),
        },
        "lives": report.lives.iter().map(|line| life(line, zone)).collect::<Vec<_>>(),
        "path": path,
        "checked": report.checks.asked.iter().map(|one| check(one, zone)).collect::<Vec<_>>(),
        "ended_before": report.checks.ended_before,
        "outlived": report.checks.outlived,
        "what_to_do": parts.acts,
        "said_before": parts.checks,
    })
}

fn spread(spread: Spread) -> Value {
    json!({ "mean": spread.mean, "sd": spread.sd })
}

fn rate(rate: Rate) -> Value {
    json!({ "per_1000_h": rate.per_1000_h.map(spread), "per_year": spread(rate.per_year) })
}

fn age(age: Age) -> Value {
    match age {
        Age::Hours(hours) => json!({ "hours": hours }),
        Age::Days(days) => json!({ "days": days }),
    }
}

fn aged(one: &Aged) -> Value {
    let (u, v) = one.moved;
    json!({
        "time": one.time,
        "age": age(one.age),
        "ln_light_left": one.ln_left.map(spread),
        "moved_u_prime": spread(u),
        "moved_v_prime": spread(v),
    })
}

fn word(direction: &Option<Move>) -> Option<String> {
    direction.as_ref().map(Move::to_string)
}

fn white(white: &WhitePath) -> Value {
    let place = |uv: crate::units::UvPrime| json!({ "u_prime": uv.u, "v_prime": uv.v });
    json!({
        "first": place(white.first),
        "now": place(white.now),
        "moved": white.moved,
        "moved_direction": word(&white.direction),
        "speed": rate(white.speed),
        "towards": { "u_prime": white.towards.0, "v_prime": white.towards.1 },
        "towards_direction": word(&white.towards_word),
        "told_from_zero": white.told,
    })
}

fn leaving(leaving: &Leaving, zone: &LocalZone) -> Value {
    let date = |time: Option<Time>| time.map(|time| zone.date(time));
    let (because, direction) = match &leaving.cause {
        None => (None, None),
        Some(Cause::Colour(direction)) => (Some("colour"), word(direction)),
        Some(Cause::Dimmer) => (Some("dimmer"), None),
        Some(Cause::Brighter) => (Some("brighter"), None),
        Some(Cause::Doubt) => (Some("doubt"), None),
    };
    json!({
        "off_now": leaving.off_now,
        "about": date(leaving.about),
        "likely_from": date(leaving.early),
        "likely_to": date(leaving.late),
        "guess": leaving.guess,
        "because": because,
        "direction": direction,
        "act_by": date(leaving.act_by),
        "not_said_beyond": zone.date(leaving.farthest),
    })
}

fn projection(found: &Projection) -> Value {
    let at = |share: f64| {
        let (hours, kind) = match found.fit.left_at(share) {
            LeftAt::Passed(hours) => (hours, "passed"),
            LeftAt::Projected(hours) => (hours, "projected"),
            LeftAt::After(hours) => (hours, "after"),
        };
        json!({ "share": share, "hours": hours, "counter": found.counter_from + hours, "kind": kind })
    };
    json!({
        "b": found.fit.b,
        "alpha_per_hour": found.fit.alpha,
        "record_hours": found.fit.record_hours,
        "points": found.fit.points,
        "left": [at(0.9), at(0.8), at(0.7)],
        "is": "an estimate from one lamp by one meter with the arithmetic of TM-21; no TM-21 result",
    })
}

fn no_projection(why: &NoProjection) -> Value {
    match why {
        NoProjection::Short { hours } => json!({ "why": "short", "hours": hours }),
        NoProjection::Gap { hours } => json!({ "why": "gap", "hours": hours }),
    }
}

fn life(line: &LifeLine, zone: &LocalZone) -> Value {
    json!({
        "from": zone.date(line.from),
        "to": line.to.map(|to| zone.date(to)),
        "served": age(line.served),
        "light_left": line.left_now_or_at_end,
        "light_left_at_same_age": line.left_at_same_age,
        "white_moved_per_1000_h_or_year": line.moved_per,
        "left_aim": line.left_aim.map(|left| zone.date(left)),
    })
}

fn check(check: &Check, zone: &LocalZone) -> Value {
    json!({
        "share_of_the_way": check.share,
        "asked": check.asked,
        "said": check.said.as_ref().map(|said| leaving(said, zone)),
        "left_aim": zone.date(check.happened),
        "days_late": check.error(),
        "within": check.within(),
    })
}
