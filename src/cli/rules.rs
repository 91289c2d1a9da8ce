//! The rule sets of a station as `status` shows them, in words and as JSON.

use serde_json::{Value as Json, json};

use crate::rules::Limit;
use crate::say::rules as say;
use crate::site::Station;
use crate::station::rules::{Measured, Point, State, Value, points};

/// The block below a station; empty where it names no set.
pub fn as_text(station: &Station, measured: &Measured) -> String {
    if station.rules.is_empty() {
        return String::new();
    }
    let mut text = format!("  {}:\n", say::HEADING);
    for set in &station.rules {
        text.push_str(&format!("    {}\n", say::title(set)));
        for line in say::lines(&points(set, measured)) {
            text.push_str(&format!("      {line}\n"));
        }
    }
    text
}

/// The same as JSON, numbers unrounded.
pub fn as_json(station: &Station, measured: &Measured) -> Vec<Json> {
    let set = |set| {
        let points: Vec<Json> = points(set, measured).iter().map(point).collect();
        json!({ "id": set.id, "title": set.title, "source": set.source, "edition": set.edition, "points": points })
    };
    station.rules.iter().map(set).collect()
}

fn point(point: &Point) -> Json {
    let (preferred, needs) = match point.state {
        State::Holds { preferred } => (point.preferred.map(|_| preferred), None),
        State::Fails => (point.preferred.map(|_| false), None),
        State::NotMeasured { needs } => (None, Some(say::needs(needs))),
    };
    let (value, sd) = match point.value {
        Some(Value::Number { mean, sd }) => (json!(mean), json!(sd)),
        Some(Value::White { at, distance }) => {
            (json!({ "u_prime": at.u, "v_prime": at.v, "distance": distance }), Json::Null)
        }
        None => (Json::Null, Json::Null),
    };
    json!({
        "point": point.quantity.word(),
        "state": point.state.word(),
        "value": value,
        "sd": sd,
        "unit": point.quantity.unit(),
        "limit": limit(&point.limit),
        "preferred_limit": point.preferred.as_ref().map(limit),
        "within_preferred": preferred,
        "needs": needs,
        "stands_in_for": point.stands_in_for.map(|other| other.word()),
        "origin": point.origin.word(),
        "origin_note": say::origin_note(point.origin),
        "source": point.source,
    })
}

fn limit(limit: &Limit) -> Json {
    match limit {
        Limit::Range { min, max } => json!({ "min": min, "max": max }),
        Limit::Circle { centre, radius } => json!({ "u_prime": centre.u, "v_prime": centre.v, "radius": radius }),
        Limit::Ratio { times } => json!({ "ratio": times }),
    }
}
