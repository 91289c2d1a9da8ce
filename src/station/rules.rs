//! A station held against a rule set, point by point: what holds, what fails, what was not measured. Pure.
//!
//! It informs and decides nothing: the verdict of a station rests on its tolerance alone. A point is judged by the value as
//! it is believed, without a margin for its uncertainty, which is handed on to be shown. Not here: the sets (`crate::rules`),
//! where the values come from (`crate::measured`), the words (`say::rules`).

use super::Spread;
use crate::rules::{Limit, Origin, Quantity, RuleSet};
use crate::units::UvPrime;

/// What is known of a station, by the quantities that rule sets ask for; `None` for what was not measured.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Measured {
    /// The lamp's white, CIE 1964 10° observer, u′₁₀ v′₁₀.
    pub lamp_uv10: Option<UvPrime>,
    /// The lamp's white, CIE 1931 2° observer.
    pub lamp_uv: Option<UvPrime>,
    /// Illuminance on the print, lx.
    pub illuminance: Option<Spread>,
    /// General colour rendering index Ra.
    pub ra: Option<f64>,
    /// The lowest of the special indices R1 to R8.
    pub lowest_r1_r8: Option<f64>,
    /// Visible metamerism index of ISO 23603.
    pub metamerism_visible: Option<f64>,
    /// Ultraviolet metamerism index of ISO 23603.
    pub metamerism_uv: Option<f64>,
    /// The lamp's hours ÷ its rated hours.
    pub lamp_hours_of_rated: Option<f64>,
    /// Minutes the lamp had burned when it was last read.
    pub warm_up_min: Option<f64>,
    /// Foreign light ÷ all light on the print, 0 to 1.
    pub ambient_share: Option<f64>,
    /// The screen's white, 2° observer.
    pub screen_uv: Option<UvPrime>,
    /// Distance of the screen's white from its aim, Δu′v′.
    pub screen_to_aim: Option<f64>,
    /// Luminance of the screen's white, cd/m².
    pub screen_luminance: Option<Spread>,
    /// Distance of the screen's white from the paper's, Δu′v′.
    pub delta_uv: Option<Spread>,
    /// Screen luminance ÷ paper luminance.
    pub luminance_ratio: Option<Spread>,
    /// Black of the screen ÷ the same place with the screen off.
    pub screen_black: Option<f64>,
    /// Illuminance at the face of the screen from all around it, lx.
    pub screen_ambient_lx: Option<f64>,
    /// Colour temperature of the ambient light less that of the screen's white, K.
    pub ambient_cct_over_screen: Option<f64>,
}

/// The value a point was judged by.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub enum Value {
    /// A number, with its standard deviation where that is known.
    Number { mean: f64, sd: Option<f64> },
    /// A chromaticity, and its distance from the centre of the limit.
    White { at: UvPrime, distance: f64 },
}

/// How a point stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum State {
    /// The limit is kept.
    Holds {
        /// Whether the tighter limit is kept too; true where there is none.
        preferred: bool,
    },
    /// The limit is not kept.
    Fails,
    /// Nobody knows.
    NotMeasured {
        /// What would tell.
        needs: Needs,
    },
}

impl State {
    /// The stable word that scripts see.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Holds { .. } => "holds",
            Self::Fails => "fails",
            Self::NotMeasured { .. } => "not-measured",
        }
    }
}

/// What would tell how a point stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Needs {
    /// A reading of the lamp that is not too old, with its illuminance for the level.
    LampReading,
    /// A spectrum of the lamp.
    LampSpectrum,
    /// A spectrum of the lamp and the tables of ISO 23603, which are sold.
    SpectrumAndTables,
    /// The tables of ISO 23603, which are sold.
    Tables,
    /// A spectrum from 300 nm and the tables of ISO 23603 for UV; twinwhite reads no such tables.
    UvSpectrumAndTables,
    /// A reading of the screen that is not too old.
    ScreenReading,
    /// Readings of both that are not too old, with their levels.
    BothReadings,
    /// The lamp's hours with a reading, and its rated hours in the configuration.
    Hours,
    /// The minutes since the lamp was switched on, with a reading.
    WarmUp,
    /// A reading of the foreign light on the print, lamp off.
    AmbientOnPrint,
    /// A reading of the foreign light before the screen.
    AmbientAtScreen,
    /// Readings of the screen's black and of the screen switched off; twinwhite keeps none of the latter.
    Blacks,
    /// An illuminance meter led over the surface; twinwhite keeps no such readings.
    MeterOverSurface,
    /// Nine places of the screen; twinwhite keeps no such readings.
    PlacesOfScreen,
    /// A person's look at the surroundings; twinwhite keeps no such readings.
    Eye,
}

/// One point of a set, as it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Point<'a> {
    /// What is limited.
    pub quantity: Quantity,
    /// How it stands.
    pub state: State,
    /// The value, where there is one.
    pub value: Option<Value>,
    /// What must hold.
    pub limit: Limit,
    /// What should hold.
    pub preferred: Option<Limit>,
    /// A quantity it stands in for, which was not measured.
    pub stands_in_for: Option<Quantity>,
    /// How well the limit is known.
    pub origin: Origin,
    /// Where the limit was seen.
    pub source: &'a str,
}

/// Every point of a set as it stands, in the order of the set. A point that stands in for a measured one is left out.
pub fn points<'a>(set: &'a RuleSet, measured: &Measured) -> Vec<Point<'a>> {
    let counts = |stands_in_for: Option<Quantity>| stands_in_for.is_none_or(|other| found(other, measured).is_none());
    let rules = set.points.iter().filter(|rule| counts(rule.stands_in_for));
    rules
        .map(|rule| {
            let found = found(rule.quantity, measured);
            let state = match &found {
                None => State::NotMeasured { needs: needs(rule.quantity, measured) },
                Some(found) if !found.within(&rule.limit) => State::Fails,
                Some(found) => State::Holds { preferred: rule.preferred.is_none_or(|limit| found.within(&limit)) },
            };
            Point {
                quantity: rule.quantity,
                state,
                value: found.map(|found| found.value(&rule.limit)),
                limit: rule.limit,
                preferred: rule.preferred,
                stands_in_for: rule.stands_in_for,
                origin: rule.origin,
                source: &rule.source,
            }
        })
        .collect()
}

/// What was found of a quantity.
#[derive(Debug, Clone, Copy)]
enum Found {
    Number(f64, Option<f64>),
    White(UvPrime),
}

impl Found {
    fn within(self, limit: &Limit) -> bool {
        match self {
            Self::Number(mean, _) => limit.admits(mean),
            Self::White(at) => limit.admits_white(at),
        }
    }

    fn value(self, limit: &Limit) -> Value {
        match (self, limit) {
            (Self::Number(mean, sd), _) => Value::Number { mean, sd },
            (Self::White(at), Limit::Circle { centre, .. }) => {
                Value::White { at, distance: (at.u - centre.u).hypot(at.v - centre.v) }
            }
            (Self::White(at), Limit::Range { .. } | Limit::Ratio { .. }) => {
                Value::White { at, distance: f64::INFINITY }
            }
        }
    }
}

fn found(quantity: Quantity, measured: &Measured) -> Option<Found> {
    let number = |value: Option<f64>| value.map(|value| Found::Number(value, None));
    let spread = |value: &Option<Spread>| value.as_ref().map(|value| Found::Number(value.mean, Some(value.sd)));
    match quantity {
        Quantity::LampWhite10 => measured.lamp_uv10.map(Found::White),
        Quantity::LampWhite2 => measured.lamp_uv.map(Found::White),
        Quantity::Illuminance => spread(&measured.illuminance),
        Quantity::Ra => number(measured.ra),
        Quantity::LowestR1To8 => number(measured.lowest_r1_r8),
        Quantity::MetamerismVisible => number(measured.metamerism_visible),
        Quantity::MetamerismUv => number(measured.metamerism_uv),
        Quantity::LampHours => number(measured.lamp_hours_of_rated),
        Quantity::WarmUp => number(measured.warm_up_min),
        Quantity::AmbientShare => number(measured.ambient_share),
        Quantity::ScreenWhite => measured.screen_uv.map(Found::White),
        Quantity::ScreenToAim => number(measured.screen_to_aim),
        Quantity::ScreenLuminance => spread(&measured.screen_luminance),
        Quantity::ScreenToPaper => spread(&measured.delta_uv),
        Quantity::LuminanceRatio => spread(&measured.luminance_ratio),
        Quantity::ScreenBlack => number(measured.screen_black),
        Quantity::ScreenAmbient => number(measured.screen_ambient_lx),
        Quantity::AmbientOverScreen => number(measured.ambient_cct_over_screen),
        Quantity::Evenness
        | Quantity::SurroundReflectance
        | Quantity::ScreenEvenness
        | Quantity::ScreenTintEvenness
        | Quantity::ScreenSurround => None,
    }
}

fn needs(quantity: Quantity, measured: &Measured) -> Needs {
    match quantity {
        Quantity::LampWhite2 | Quantity::Illuminance => Needs::LampReading,
        Quantity::LampWhite10 | Quantity::Ra | Quantity::LowestR1To8 => Needs::LampSpectrum,
        Quantity::MetamerismVisible if measured.lamp_uv10.is_some() => Needs::Tables,
        Quantity::MetamerismVisible => Needs::SpectrumAndTables,
        Quantity::MetamerismUv => Needs::UvSpectrumAndTables,
        Quantity::Evenness => Needs::MeterOverSurface,
        Quantity::SurroundReflectance | Quantity::ScreenSurround => Needs::Eye,
        Quantity::LampHours => Needs::Hours,
        Quantity::WarmUp => Needs::WarmUp,
        Quantity::AmbientShare => Needs::AmbientOnPrint,
        Quantity::ScreenWhite | Quantity::ScreenToAim | Quantity::ScreenLuminance => Needs::ScreenReading,
        Quantity::ScreenToPaper | Quantity::LuminanceRatio => Needs::BothReadings,
        Quantity::ScreenBlack => Needs::Blacks,
        Quantity::ScreenEvenness | Quantity::ScreenTintEvenness => Needs::PlacesOfScreen,
        Quantity::ScreenAmbient | Quantity::AmbientOverScreen => Needs::AmbientAtScreen,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rules::Rule;

    fn set(points: Vec<Rule>) -> RuleSet {
        let text = || "house".to_owned();
        RuleSet { id: text(), title: text(), source: text(), edition: text(), points }
    }

    fn rule(quantity: Quantity, limit: Limit, preferred: Option<Limit>) -> Rule {
        let (stands_in_for, origin) = (None, Origin::Memory);
        Rule { quantity, limit, preferred, stands_in_for, origin, source: "a note".to_owned() }
    }

    fn only(rule: Rule, measured: &Measured) -> State {
        points(&set(vec![rule]), measured)[0].state
    }

    #[test]
    fn a_number_holds_tightly_or_widely_or_fails_or_is_not_known() {
        let range = |min, max| Limit::Range { min: Some(min), max: Some(max) };
        let rule = || rule(Quantity::Illuminance, range(1500.0, 2500.0), Some(range(1750.0, 2250.0)));
        let at = |mean| Measured { illuminance: Some(Spread { mean, sd: 20.0 }), ..Measured::default() };
        assert_eq!(only(rule(), &at(2000.0)), State::Holds { preferred: true });
        assert_eq!(only(rule(), &at(2400.0)), State::Holds { preferred: false });
        assert_eq!(only(rule(), &at(2501.0)), State::Fails);
        assert_eq!(only(rule(), &Measured::default()), State::NotMeasured { needs: Needs::LampReading });
        let set = set(vec![rule()]);
        let point = points(&set, &at(2400.0)).remove(0);
        assert_eq!(point.value, Some(Value::Number { mean: 2400.0, sd: Some(20.0) }));
        assert_eq!((point.origin, point.source), (Origin::Memory, "a note"));
    }

    #[test]
    fn what_stands_in_counts_only_while_the_other_is_not_measured() {
        let circle = |u, v| Limit::Circle { centre: UvPrime { u, v }, radius: 0.005 };
        let mut two = rule(Quantity::LampWhite2, circle(0.20916, 0.48808), None);
        two.stands_in_for = Some(Quantity::LampWhite10);
        let set = set(vec![rule(Quantity::LampWhite10, circle(0.2102, 0.4889), None), two]);
        let meter = Measured { lamp_uv: Some(UvPrime { u: 0.20916, v: 0.49108 }), ..Measured::default() };
        let by_meter = points(&set, &meter);
        assert_eq!(by_meter[0].state, State::NotMeasured { needs: Needs::LampSpectrum });
        assert_eq!(by_meter[1].state, State::Holds { preferred: true });
        let Some(Value::White { distance, .. }) = by_meter[1].value else { panic!("{by_meter:?}") };
        assert!((distance - 0.003).abs() < 1e-12);
        let spectrum = Measured { lamp_uv10: Some(UvPrime { u: 0.2102, v: 0.4949 }), ..meter };
        let by_spectrum = points(&set, &spectrum);
        assert_eq!((by_spectrum.len(), by_spectrum[0].state), (1, State::Fails));
    }

    #[test]
    fn only_the_tables_are_wanting_once_there_is_a_spectrum() {
        let rule = || rule(Quantity::MetamerismVisible, Limit::Range { min: None, max: Some(1.0) }, None);
        let spectrum = Measured { lamp_uv10: Some(UvPrime { u: 0.21, v: 0.49 }), ..Measured::default() };
        assert_eq!(only(rule(), &Measured::default()), State::NotMeasured { needs: Needs::SpectrumAndTables });
        assert_eq!(only(rule(), &spectrum), State::NotMeasured { needs: Needs::Tables });
        assert_eq!(only(rule(), &Measured { metamerism_visible: Some(1.2), ..spectrum }), State::Fails);
    }

    #[test]
    fn a_ratio_counts_either_way() {
        let rule = || rule(Quantity::LuminanceRatio, Limit::Ratio { times: 1.2 }, Some(Limit::Ratio { times: 1.1 }));
        let at = |mean| Measured { luminance_ratio: Some(Spread { mean, sd: 0.0 }), ..Measured::default() };
        assert_eq!(only(rule(), &at(0.95)), State::Holds { preferred: true });
        assert_eq!(only(rule(), &at(1.15)), State::Holds { preferred: false });
        assert_eq!(only(rule(), &at(0.25)), State::Fails);
    }
}
