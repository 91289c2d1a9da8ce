//! The rule sets of a station as `status` shows them, in words and as JSON.

use schemars::JsonSchema;
use serde::Serialize;

use crate::rules::{Limit, Origin, Quantity};
use crate::say::rules as say;
use crate::site::Station;
use crate::station::rules::{Measured, Point, State, Value, points};
use crate::units::UvPrime;

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

/// A rule set, point by point.
#[derive(Debug, Serialize, JsonSchema)]
pub struct RuleSetJson {
    /// Its name in the configuration.
    id: String,
    /// Its name for people.
    title: String,
    /// The text it follows.
    source: String,
    /// The edition of that text.
    edition: String,
    /// What it asks and how that stands, in the order of the set.
    points: Vec<PointJson>,
}

/// One point of a rule set as it stands.
#[derive(Debug, Serialize, JsonSchema)]
pub struct PointJson {
    /// What is limited.
    #[schemars(extend("enum" = Quantity::WORDS.iter().map(|(word, _)| *word).collect::<Vec<_>>()))]
    point: &'static str,
    /// Whether the limit is kept.
    #[schemars(extend("enum" = ["holds", "fails", "not-measured"]))]
    state: &'static str,
    /// What it was judged by; null where nobody measured it.
    value: Option<ValueJson>,
    /// The standard deviation of a value that is a number, where it is known; else null.
    sd: Option<f64>,
    /// The unit of value and limits; empty for a bare number.
    unit: &'static str,
    /// What must hold.
    limit: LimitJson,
    /// What should hold, where a tighter limit is preferred; else null.
    preferred_limit: Option<LimitJson>,
    /// Whether the tighter limit is kept; null where there is none, or nothing was measured.
    within_preferred: Option<bool>,
    /// What would tell, in words; null where it was measured.
    needs: Option<&'static str>,
    /// A quantity it stands in for, which was not measured; else null.
    stands_in_for: Option<&'static str>,
    /// How well the limit is known: seen in the standard, in a secondary source, from memory, or the practice of the house.
    #[schemars(extend("enum" = Origin::WORDS.map(|(word, _)| word)))]
    origin: &'static str,
    /// The same in words, where there is something to say; else null.
    origin_note: Option<&'static str>,
    /// Where the limit was seen.
    source: String,
}

/// What a point was judged by.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(untagged)]
pub enum ValueJson {
    /// A number in the point's unit.
    Number(f64),
    /// A chromaticity.
    White {
        /// u′ for the quantity's own observer.
        u_prime: f64,
        /// v′ for the quantity's own observer.
        v_prime: f64,
        /// Its distance from the centre of the limit, in u′v′; 0 or more.
        distance: f64,
    },
}

/// A limit, in the point's unit.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(untagged)]
pub enum LimitJson {
    /// From `min` to `max`, both included; one of them may be null.
    Range {
        /// The least that is allowed; null for no such limit.
        min: Option<f64>,
        /// The most that is allowed; null for no such limit.
        max: Option<f64>,
    },
    /// A circle in u′v′ of the quantity's own observer.
    Circle {
        /// u′ of its centre.
        u_prime: f64,
        /// v′ of its centre.
        v_prime: f64,
        /// Its radius, above 0.
        radius: f64,
    },
    /// At most `ratio` times either way.
    Ratio {
        /// The factor, above 1.
        ratio: f64,
    },
}

/// The same as JSON, numbers unrounded.
pub fn as_json(station: &Station, measured: &Measured) -> Vec<RuleSetJson> {
    let sets = station.rules.iter().map(|set| RuleSetJson {
        id: set.id.clone(),
        title: set.title.clone(),
        source: set.source.clone(),
        edition: set.edition.clone(),
        points: points(set, measured).iter().map(point).collect(),
    });
    sets.collect()
}

fn point(point: &Point) -> PointJson {
    let (preferred, needs) = match point.state {
        State::Holds { preferred } => (point.preferred.map(|_| preferred), None),
        State::Fails => (point.preferred.map(|_| false), None),
        State::NotMeasured { needs } => (None, Some(say::needs(needs))),
    };
    let (value, sd) = match point.value {
        Some(Value::Number { mean, sd }) => (Some(ValueJson::Number(mean)), sd),
        Some(Value::White { at: UvPrime { u, v }, distance }) => {
            (Some(ValueJson::White { u_prime: u, v_prime: v, distance }), None)
        }
        None => (None, None),
    };
    PointJson {
        point: point.quantity.word(),
        state: point.state.word(),
        value,
        sd,
        unit: point.quantity.unit(),
        limit: limit(&point.limit),
        preferred_limit: point.preferred.as_ref().map(limit),
        within_preferred: preferred,
        needs,
        stands_in_for: point.stands_in_for.map(|other| other.word()),
        origin: point.origin.word(),
        origin_note: say::origin_note(point.origin),
        source: point.source.to_owned(),
    }
}

fn limit(limit: &Limit) -> LimitJson {
    match *limit {
        Limit::Range { min, max } => LimitJson::Range { min, max },
        Limit::Circle { centre: UvPrime { u, v }, radius } => LimitJson::Circle { u_prime: u, v_prime: v, radius },
        Limit::Ratio { times } => LimitJson::Ratio { ratio: times },
    }
}
