//! The words for rule sets: a station held against a standard, point by point.

use crate::rules::{Limit, Origin, Quantity, RuleSet};
use crate::station::rules::{Needs, Point, State, Value};

/// What stands over the rule sets of a station.
pub const HEADING: &str = "rules, point by point (the verdict rests on the tolerance alone)";

/// A set by its name and edition.
pub fn title(set: &RuleSet) -> String {
    format!("{}, {}", set.title, set.edition)
}

/// The points of one set, a line each in columns, and below them what the marks mean.
pub fn lines(points: &[Point]) -> Vec<String> {
    let rows: Vec<[String; 4]> = points.iter().map(row).collect();
    let width = |column: usize| rows.iter().filter_map(|row| row.get(column)).map(|cell| cell.chars().count()).max();
    let widths = [0, 1, 2].map(|column| width(column).unwrap_or(0));
    let mut lines: Vec<String> = rows
        .iter()
        .map(|[state, quantity, value, rest]| {
            let [first, second, third] = widths;
            format!("{state:<first$}  {quantity:<second$}  {value:<third$}  {rest}").trim_end().to_owned()
        })
        .collect();
    for origin in [Origin::Memory, Origin::Practice] {
        let note = origin_note(origin);
        if let (Some(note), true) = (note, points.iter().any(|point| origin_note(point.origin) == note)) {
            lines.push(format!("{} {note}", mark(origin)));
        }
    }
    lines
}

fn row(point: &Point) -> [String; 4] {
    let state = match point.state {
        State::Holds { preferred: true } if point.preferred.is_some() => "holds well",
        State::Holds { .. } => "holds",
        State::Fails => "fails",
        State::NotMeasured { .. } => "not measured",
    };
    let needs = match point.state {
        State::NotMeasured { needs: what } => format!("; needs {}", needs(what)),
        _ => String::new(),
    };
    let stands = point.stands_in_for.map(|other| format!(", stands in for {}", quantity(other))).unwrap_or_default();
    let rest = format!("{}{} {}{needs}", limit(point), stands, mark(point.origin));
    [
        state.to_owned(),
        quantity(point.quantity).to_owned(),
        point.value.map_or_else(|| "-".to_owned(), |found| value(point.quantity, found)),
        rest.trim_end().replace(" ;", ";"),
    ]
}

/// The name of a quantity.
pub fn quantity(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::LampWhite10 => "lamp white, 10° observer",
        Quantity::LampWhite2 => "lamp white, 2° observer",
        Quantity::Illuminance => "illuminance on the print",
        Quantity::Ra => "colour rendering Ra",
        Quantity::LowestR1To8 => "lowest of R1 to R8",
        Quantity::MetamerismVisible => "metamerism, visible",
        Quantity::MetamerismUv => "metamerism, UV",
        Quantity::Evenness => "evenness, lowest ÷ centre",
        Quantity::SurroundReflectance => "surround reflectance",
        Quantity::LampHours => "lamp hours of its rated ones",
        Quantity::WarmUp => "warm-up before reading",
        Quantity::AmbientShare => "foreign light on the print",
        Quantity::ScreenWhite => "screen white, 2° observer",
        Quantity::ScreenToAim => "screen white to its aim",
        Quantity::ScreenLuminance => "screen luminance",
        Quantity::ScreenToPaper => "screen white to paper white",
        Quantity::LuminanceRatio => "luminance, screen ÷ paper",
        Quantity::ScreenBlack => "screen black ÷ screen off",
        Quantity::ScreenEvenness => "screen evenness, luminance",
        Quantity::ScreenTintEvenness => "screen evenness, tint",
        Quantity::ScreenSurround => "screen surround ÷ white",
        Quantity::ScreenAmbient => "foreign light at the screen",
        Quantity::AmbientOverScreen => "foreign light, CCT over screen",
    }
}

/// What has to be done so that a point can be judged, as a noun phrase.
pub fn needs(needs: Needs) -> &'static str {
    match needs {
        Needs::LampReading => "a recent reading of the lamp with colour and level",
        Needs::LampSpectrum => "a spectrum of the lamp",
        Needs::SpectrumAndTables => "a spectrum of the lamp and the tables of ISO 23603",
        Needs::Tables => "the tables of ISO 23603",
        Needs::UvSpectrumAndTables => "a spectrum from 300 nm and tables for UV, which twinwhite does not read",
        Needs::ScreenReading => "a recent reading of the screen",
        Needs::BothReadings => "recent readings of lamp and screen with their levels",
        Needs::Hours => "hours with a reading, and rated_hours",
        Needs::WarmUp => "warmup_min with a reading",
        Needs::AmbientOnPrint => "a reading of the print with the lamp off",
        Needs::AmbientAtScreen => "a reading of the light at the screen",
        Needs::Blacks => "readings of black and of the screen off; none of the screen off are kept",
        Needs::MeterOverSurface => "a meter led over the surface; no readings of that are kept",
        Needs::PlacesOfScreen => "nine places of the screen; no readings of that are kept",
        Needs::Eye => "a look at the surroundings; no readings of that are kept",
    }
}

/// What must be said of a limit that was not seen in the standard itself; `None` where it was.
pub const fn origin_note(origin: Origin) -> Option<&'static str> {
    match origin {
        Origin::Standard => None,
        Origin::Secondary | Origin::Memory => Some("default, check your copy of the standard"),
        Origin::Practice => Some("common practice or your own, not a standard"),
    }
}

const fn mark(origin: Origin) -> &'static str {
    match origin {
        Origin::Standard => "",
        Origin::Secondary | Origin::Memory => "*",
        Origin::Practice => "†",
    }
}

/// How a quantity's numbers are written: factor, decimals, unit.
const fn style(quantity: Quantity) -> (f64, usize, &'static str) {
    match quantity {
        Quantity::Illuminance | Quantity::ScreenAmbient => (1.0, 0, " lx"),
        Quantity::ScreenLuminance => (1.0, 0, " cd/m²"),
        Quantity::AmbientOverScreen => (1.0, 0, " K"),
        Quantity::WarmUp => (1.0, 0, " min"),
        Quantity::Ra | Quantity::LowestR1To8 => (1.0, 1, ""),
        Quantity::Evenness
        | Quantity::SurroundReflectance
        | Quantity::LampHours
        | Quantity::AmbientShare
        | Quantity::ScreenEvenness
        | Quantity::ScreenSurround => (100.0, 0, " %"),
        Quantity::MetamerismVisible | Quantity::MetamerismUv | Quantity::LuminanceRatio | Quantity::ScreenBlack => {
            (1.0, 2, "")
        }
        Quantity::LampWhite10
        | Quantity::LampWhite2
        | Quantity::ScreenWhite
        | Quantity::ScreenToAim
        | Quantity::ScreenToPaper
        | Quantity::ScreenTintEvenness => (1.0, 4, ""),
    }
}

fn value(quantity: Quantity, found: Value) -> String {
    let (factor, decimals, unit) = style(quantity);
    match found {
        Value::Number { mean, sd: Some(sd) } => {
            format!("{:.decimals$} ± {:.decimals$}{unit}", mean * factor, sd * factor)
        }
        Value::Number { mean, sd: None } => format!("{:.decimals$}{unit}", mean * factor),
        Value::White { distance, .. } => format!("{distance:.4} off"),
    }
}

/// The limits of a point, the tighter one included.
fn limit(point: &Point) -> String {
    let (factor, _, unit) = style(point.quantity);
    // A limit is written as somebody wrote it, not rounded like a value.
    let plain = |number: f64| format!("{}", (number * factor * 1e6).round() / 1e6);
    let range = |min: Option<f64>, max: Option<f64>, unit: &str| match (min, max) {
        (Some(min), Some(max)) => format!("{} to {}{unit}", plain(min), plain(max)),
        (Some(min), None) => format!("at least {}{unit}", plain(min)),
        (None, Some(max)) => format!("at most {}{unit}", plain(max)),
        (None, None) => "no limit".to_owned(),
    };
    let said = match point.limit {
        Limit::Range { min, max } => range(min, max, unit),
        Limit::Circle { centre, radius } => {
            format!("within {} of u′ {}, v′ {}", plain(radius), plain(centre.u), plain(centre.v))
        }
        Limit::Ratio { times } => format!("within {} times", plain(times)),
    };
    let better = match point.preferred {
        Some(Limit::Range { min: Some(min), max: Some(max) }) => format!(", better {} to {}", plain(min), plain(max)),
        Some(Limit::Range { min: Some(one), max: None } | Limit::Range { min: None, max: Some(one) }) => {
            format!(", better {}", plain(one))
        }
        Some(Limit::Circle { radius, .. }) => format!(", better {}", plain(radius)),
        Some(Limit::Ratio { times }) => format!(", better {}", plain(times)),
        Some(Limit::Range { min: None, max: None }) | None => String::new(),
    };
    said + &better
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::UvPrime;

    fn point(quantity: Quantity, limit: Limit, state: State, value: Option<Value>, origin: Origin) -> Point<'static> {
        let preferred = match limit {
            Limit::Range { min: Some(min), max: Some(max) } => {
                let quarter = (max - min) / 4.0;
                Some(Limit::Range { min: Some(min + quarter), max: Some(max - quarter) })
            }
            _ => None,
        };
        Point { quantity, state, value, limit, preferred, stands_in_for: None, origin, source: "a note" }
    }

    #[test]
    fn points_stand_in_columns_with_their_marks_explained() {
        let circle = Limit::Circle { centre: UvPrime { u: 0.2102, v: 0.4889 }, radius: 0.005 };
        let white = Value::White { at: UvPrime { u: 0.2153, v: 0.4889 }, distance: 0.0051 };
        let number = |mean| Some(Value::Number { mean, sd: None });
        let lx = Limit::Range { min: Some(1500.0), max: Some(2500.0) };
        let level = Some(Value::Number { mean: 2410.2, sd: Some(12.4) });
        let most = Limit::Range { min: None, max: Some(0.1) };
        let least = Limit::Range { min: Some(90.0), max: None };
        let (holds, needs) = (State::Holds { preferred: false }, State::NotMeasured { needs: Needs::LampSpectrum });
        let points = [
            point(Quantity::LampWhite10, circle, State::Fails, Some(white), Origin::Secondary),
            point(Quantity::Illuminance, lx, holds, level, Origin::Memory),
            point(Quantity::Ra, least, needs, None, Origin::Memory),
            point(Quantity::AmbientShare, most, State::Holds { preferred: true }, number(0.04), Origin::Practice),
            point(Quantity::ScreenEvenness, most, State::Fails, number(0.12), Origin::Standard),
        ];
        let expected = [
            "fails         lamp white, 10° observer    0.0051 off    within 0.005 of u′ 0.2102, v′ 0.4889 *",
            "holds         illuminance on the print    2410 ± 12 lx  1500 to 2500 lx, better 1750 to 2250 *",
            "not measured  colour rendering Ra         -             at least 90 *; needs a spectrum of the lamp",
            "holds         foreign light on the print  4 %           at most 10 % †",
            "fails         screen evenness, luminance  12 %          at most 10 %",
            "* default, check your copy of the standard",
            "† common practice or your own, not a standard",
        ];
        assert_eq!(lines(&points), expected);
        assert_eq!(lines(&points[4..]).len(), 1, "nothing to explain");
    }
}
