//! The things of a site as its configuration declares them: displays, lamps, papers, stations, instruments.
//!
//! Plain values, already checked and resolved (an aim written "D50" or in kelvin stands here as x, y). How they are
//! written in a file, and every mistake one can make there, is for `config`.

use crate::reading::ThingKind;
use crate::rules::RuleSet;
use crate::units::{
    Days, DeviceId, Hours, Illuminance, InstrumentId, Luminance, OperatorId, Probability, ReflectanceCurve, StationId,
    Xy,
};

/// Everything a site has. Ids are unique over displays, lamps, papers and instruments; every id a station names exists.
#[derive(Debug, Clone, PartialEq, Default)]
#[allow(missing_docs)]
pub struct Things {
    pub displays: Vec<Display>,
    pub lamps: Vec<Lamp>,
    pub papers: Vec<Paper>,
    pub stations: Vec<Station>,
    pub instruments: Vec<Instrument>,
    pub operators: Vec<OperatorId>,
}

/// What tells a thing from all others of its kind (ISO/IEC 17025:2017 clause 6.4.13 a, b and d), as far as it was written down.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
#[allow(missing_docs)]
pub struct Identity {
    pub maker: Option<String>,
    /// Type or model.
    pub model: Option<String>,
    /// Of a paper: its batch.
    pub serial: Option<String>,
    pub firmware: Option<String>,
    /// Where it stands.
    pub place: Option<String>,
}

/// A screen that prints are held beside.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)]
pub struct Display {
    pub id: DeviceId,
    pub identity: Identity,
    pub aim: DisplayAim,
    /// Minutes until readings are trusted as warm.
    pub warm_up_min: f64,
}

/// The white and luminance a display should have.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DisplayAim {
    /// The white.
    pub white: AimWhite,
    /// The luminance; absent only with [`AimWhite::Paper`], where it follows the paper too.
    pub luminance: Option<Luminance>,
}

/// The white a display aims at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum AimWhite {
    /// A chromaticity that stands still.
    Fixed(Xy),
    /// The paper white of the display's station, as the lamp then stands.
    Paper,
}

/// A lamp that prints are judged under.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)]
pub struct Lamp {
    pub id: DeviceId,
    pub identity: Identity,
    pub kind: LampKind,
    pub aim: LampAim,
    /// What a person can turn; advice uses it.
    pub adjustable: Vec<Adjustable>,
    pub rated_hours: Option<Hours>,
    pub warm_up_min: f64,
}

/// The white and illuminance a lamp should have.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub struct LampAim {
    pub white: Xy,
    pub illuminance: Illuminance,
}

/// How a lamp makes light.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum LampKind {
    Led,
    Fluorescent,
    Halogen,
    #[default]
    Other,
}

/// What a person can turn on a lamp.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Adjustable {
    /// A dimmer.
    Level,
    /// A colour dial.
    Cct,
}

/// A paper that prints are made on.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)]
pub struct Paper {
    pub id: DeviceId,
    pub identity: Identity,
    pub white: PaperWhite,
    /// The measurement condition of ISO 13655 its white was read under.
    pub condition: Option<MeasurementCondition>,
    /// Whether it holds optical brighteners, where someone said so.
    pub brightened: Option<bool>,
}

/// What is known of the unprinted paper's white.
#[derive(Debug, Clone, PartialEq)]
pub enum PaperWhite {
    /// CIELAB under D50, 2° observer; `l` in 0..=100 and above zero.
    #[allow(missing_docs)]
    Lab { l: f64, a: f64, b: f64 },
    /// Neutral reflectance factor, above 0 up to 1.2 (brightened paper can exceed 1).
    ReflectanceFactor(f64),
    /// Reflectance factors by wavelength, read under the paper's condition.
    Curve(ReflectanceCurve),
}

/// Measurement condition of ISO 13655:2017.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum MeasurementCondition {
    M0,
    M1,
    M2,
    M3,
}

/// One place where prints are judged.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)]
pub struct Station {
    pub id: StationId,
    pub display: DeviceId,
    pub lamp: DeviceId,
    /// Never empty; the first is the usual one.
    pub papers: Vec<DeviceId>,
    pub tolerance: Tolerance,
    pub luminance: LuminanceRule,
    /// A white agreed on by eye: added to the paper white before it is compared, in u′, v′.
    pub visual_offset: (f64, f64),
    pub max_risk: Probability,
    pub horizon: Days,
    pub max_age: Days,
    /// Largest share of foreign light on the print, above 0 up to 1, before it is a reason in the verdict.
    pub ambient_max: f64,
    /// The rule sets it is held against, point by point; they do not change the verdict.
    pub rules: Vec<RuleSet>,
}

/// The limits of a match.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tolerance {
    /// Largest Δu′v′ between display white and paper white; above 0.
    pub delta_uv: f64,
    /// Largest ratio of the two luminances either way, after the station's rule; above 1.
    pub luminance_ratio: Option<f64>,
    /// Least general colour rendering index (CIE 13.3-1995) of the lamp.
    pub ra_min: Option<f64>,
}

/// How the two luminances are compared.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LuminanceRule {
    /// Display luminance ÷ paper luminance should be this; 1 for equal.
    DisplayToPaper(f64),
    /// Luminance is not part of the match.
    NotJudged,
}

impl LuminanceRule {
    /// Display ÷ paper luminance as agreed; absent where luminance is not judged.
    pub const fn agreed(self) -> Option<f64> {
        match self {
            Self::DisplayToPaper(ratio) => Some(ratio),
            Self::NotJudged => None,
        }
    }
}

/// An instrument that readings are made with.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)]
pub struct Instrument {
    pub id: InstrumentId,
    pub kind: Option<InstrumentKind>,
    pub identity: Identity,
    /// The last day its certificate is good, as YYYY-MM-DD; a certificate on record that reaches further takes its place.
    pub certificate_until: Option<chrono::NaiveDate>,
    pub noise: Noise,
    pub bias: Bias,
}

/// What kind of instrument it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum InstrumentKind {
    Colorimeter,
    Spectrometer,
    IlluminanceMeter,
}

/// Random scatter from reading to reading, as standard deviations.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Noise {
    /// Of u′ and of v′.
    pub uv: f64,
    /// Of the level, as a fraction (0.01 is 1 %).
    pub level: f64,
}

impl Default for Noise {
    /// What is assumed of an instrument nobody declared (design: 0.0007 and 1 %).
    fn default() -> Self {
        Self { uv: 0.0007, level: 0.01 }
    }
}

/// What all readings of an instrument share, as standard uncertainties (JCGM 100).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bias {
    /// Of u′ and of v′.
    pub uv: f64,
    /// Of the level, as a fraction.
    pub level: f64,
    /// Share of the bias, 0 to 1, that is the same on a screen and on lit paper.
    pub common: f64,
}

impl Default for Bias {
    /// An instrument nobody declared is taken at its word; `check` says so.
    fn default() -> Self {
        Self { uv: 0.0, level: 0.0, common: 1.0 }
    }
}

/// What each act costs, all in one unit, of time or of money; above 0. Only their ratios matter.
///
/// The defaults are minutes of a person's work with the reading that ends the act (common practice).
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub struct Costs {
    pub read_display: f64,
    pub read_lamp: f64,
    pub read_paper: f64,
    pub recalibrate: f64,
    /// Turning the lamp's dimmer or its colour dial.
    pub turn_lamp: f64,
    pub clean_lamp: f64,
    /// With what the lamp itself costs.
    pub replace_lamp: f64,
}

impl Default for Costs {
    fn default() -> Self {
        Self {
            read_display: 5.0,
            read_lamp: 5.0,
            read_paper: 5.0,
            recalibrate: 30.0,
            turn_lamp: 5.0,
            clean_lamp: 15.0,
            replace_lamp: 240.0,
        }
    }
}

impl Things {
    /// What kind of thing `id` stands for, if it was declared.
    pub fn kind_of(&self, id: &str) -> Option<ThingKind> {
        if self.displays.iter().any(|d| d.id.as_str() == id) {
            Some(ThingKind::Display)
        } else if self.lamps.iter().any(|l| l.id.as_str() == id) {
            Some(ThingKind::Lamp)
        } else if self.papers.iter().any(|p| p.id.as_str() == id) {
            Some(ThingKind::Paper)
        } else if self.instruments.iter().any(|i| i.id.as_str() == id) {
            Some(ThingKind::Instrument)
        } else {
            None
        }
    }

    /// Every declared id, in the order of the file.
    pub fn ids(&self) -> impl Iterator<Item = &str> {
        (self.displays.iter().map(|d| d.id.as_str()))
            .chain(self.lamps.iter().map(|l| l.id.as_str()))
            .chain(self.papers.iter().map(|p| p.id.as_str()))
            .chain(self.instruments.iter().map(|i| i.id.as_str()))
    }

    /// What is written down of a thing's identity.
    pub fn identity_of(&self, id: &str) -> Option<&Identity> {
        (self.displays.iter().map(|d| (d.id.as_str(), &d.identity)))
            .chain(self.lamps.iter().map(|l| (l.id.as_str(), &l.identity)))
            .chain(self.papers.iter().map(|p| (p.id.as_str(), &p.identity)))
            .chain(self.instruments.iter().map(|i| (i.id.as_str(), &i.identity)))
            .find(|(other, _)| *other == id)
            .map(|(_, identity)| identity)
    }

    /// The instrument with this id.
    pub fn instrument(&self, id: &InstrumentId) -> Option<&Instrument> {
        self.instruments.iter().find(|i| i.id == *id)
    }

    /// The display with this id.
    pub fn display(&self, id: &DeviceId) -> Option<&Display> {
        self.displays.iter().find(|d| d.id == *id)
    }

    /// The lamp with this id.
    pub fn lamp(&self, id: &DeviceId) -> Option<&Lamp> {
        self.lamps.iter().find(|l| l.id == *id)
    }

    /// The paper with this id.
    pub fn paper(&self, id: &DeviceId) -> Option<&Paper> {
        self.papers.iter().find(|p| p.id == *id)
    }

    /// The station with this id.
    pub fn station(&self, id: &StationId) -> Option<&Station> {
        self.stations.iter().find(|s| s.id == *id)
    }

    /// The station or thing called `id`, and with a station what stands at it.
    pub fn names_under(&self, id: &str) -> Vec<String> {
        let station = self.stations.iter().find(|station| station.id.as_str() == id);
        let at_it = station.into_iter().flat_map(|station| {
            let papers = station.papers.iter().map(|paper| paper.to_string());
            [station.display.to_string(), station.lamp.to_string()].into_iter().chain(papers)
        });
        std::iter::once(id.to_owned()).chain(at_it).collect()
    }

    /// The stations that `device` belongs to.
    pub fn stations_of<'a>(&'a self, device: &'a DeviceId) -> impl Iterator<Item = &'a Station> {
        self.stations.iter().filter(move |s| s.display == *device || s.lamp == *device)
    }

    /// The random scatter of an instrument, declared or not.
    pub fn noise_of(&self, id: Option<&InstrumentId>) -> Noise {
        self.instruments.iter().find(|i| Some(&i.id) == id).map(|i| i.noise).unwrap_or_default()
    }

    /// The shared uncertainty of an instrument, declared or not.
    pub fn bias_of(&self, id: Option<&InstrumentId>) -> Bias {
        self.instruments.iter().find(|i| Some(&i.id) == id).map(|i| i.bias).unwrap_or_default()
    }
}
