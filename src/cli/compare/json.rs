//! The JSON of `compare`.

use schemars::JsonSchema;
use serde::Serialize;

use crate::color::rendering::HueShift;
use crate::color::{self, Move, cct_duv};
use crate::say;
use crate::site::Station;
use crate::station::candidates::{self, Weighed};
use crate::station::screen_aim::{self, AimDoubt};
use crate::units::{Duv, Illuminance, Kelvin, Luminance, StationId, Time};

/// Lamps that were measured, or copied from labels, as candidates for a station, the best first.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Compared {
    /// The station that needs a lamp.
    pub station: StationId,
    /// The instant that the answer speaks of.
    pub as_of: Time,
    /// Whether its display was ever read; else the display's aim stands in.
    pub display_was_read: bool,
    /// The lamps, the best first.
    pub candidates: Vec<CandidateJson>,
    /// What was noticed, and what was passed over and why, in words.
    pub notes: Vec<String>,
}

/// One lamp.
#[derive(Debug, Serialize, JsonSchema)]
pub struct CandidateJson {
    /// Its place, from 1.
    #[schemars(range(min = 1))]
    rank: usize,
    /// Its name in the file.
    lamp: String,
    /// What is known of it.
    basis: Basis,
    /// How fit its light is for judging prints, whatever the station.
    fitness: Fitness,
    /// Why it has its place, as a sentence.
    why: String,
    /// How its paper white stands to the display now.
    now: Meeting,
    /// How it will stand at the station's horizon.
    at_horizon: Meeting,
    /// CIE 1976 u′ of its white; where only its colour temperature is known, of that temperature's usual white.
    u_prime: f64,
    /// CIE 1976 v′ of its white, likewise.
    v_prime: f64,
    /// Correlated colour temperature, K; null where it has none.
    cct_k: Option<Kelvin>,
    /// Signed distance from the Planckian locus in CIE 1960 u,v, positive when greenish; null where the tint is not known.
    duv: Option<Duv>,
    /// Illuminance, lx; null where it was not measured.
    illuminance_lx: Option<Illuminance>,
    /// General colour rendering index Ra, at most 100; null where it is not known.
    ra: Option<f64>,
    /// Special colour rendering index R9, at most 100; null without a spectrum.
    r9: Option<f64>,
    /// Colour fidelity index Rf, 0 to 100; null without a spectrum.
    rf: Option<f64>,
    /// The colour that it pushes farthest; null without a spectrum.
    worst_hue: Option<WorstHue>,
    /// Standard deviation of its white as it is known, in u′v′.
    white_sd: f64,
    /// The same after a reading by the instrument that reads the display.
    white_sd_if_measured: f64,
    /// To what the display must be calibrated to meet it.
    screen_aim: ScreenAim,
}

/// What is known of a lamp.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub enum Basis {
    /// A spectrum.
    Spectrum,
    /// Coordinates of its white.
    Coordinates,
    /// A measured colour temperature alone.
    CctK,
    /// What is printed on it.
    Label,
}

/// How fit a light is for judging prints.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Fitness {
    /// Nothing speaks against it.
    Fit,
    /// It will do, with the faults that are named.
    WithCare,
    /// Prints should not be judged under it.
    Unfit,
}

/// How a paper white stands to the display.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Meeting {
    /// Distance of the two whites in u′v′.
    delta_uv: f64,
    /// Display luminance ÷ paper luminance, over what the station's rule asks for; null where not judged or not known.
    luminance_ratio_to_rule: Option<f64>,
    /// Probability of being within the station's tolerance, 0 to 1; in luminance where both levels are known.
    #[schemars(range(min = 0.0, max = 1.0))]
    chance: f64,
    /// Probability of that for the colour alone, 0 to 1.
    #[schemars(range(min = 0.0, max = 1.0))]
    colour_chance: f64,
    /// The display's white as seen from the paper's, in words; null where there is nothing to say.
    screen_is: Option<String>,
}

/// The colour that a lamp pushes farthest.
#[derive(Debug, Serialize, JsonSchema)]
pub struct WorstHue {
    /// The colour that people look for.
    hue: &'static str,
    /// CIEDE2000 difference, 0 or more.
    delta_e_2000: f64,
    /// Where it is pushed, in words.
    said: String,
}

/// An aim for a display.
#[derive(Debug, Serialize, JsonSchema)]
pub struct ScreenAim {
    /// CIE 1931 x.
    x: f64,
    /// CIE 1931 y.
    y: f64,
    /// Correlated colour temperature, K; null where it has none.
    cct_k: Option<Kelvin>,
    /// Signed distance from the Planckian locus in CIE 1960 u,v, positive when greenish; null where it has none.
    duv: Option<Duv>,
    /// Luminance, cd/m²; null where the lamp's level is not known, or luminance is not judged.
    luminance_cd_m2: Option<Luminance>,
    /// Whether a screen may be set to it.
    sensible: bool,
    /// What speaks against it; empty where nothing does.
    doubts: Vec<Doubt>,
}

/// What speaks against an aim.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Doubt {
    /// The white lies far from all that a screen should follow.
    WhiteFarFromDaylight,
    /// The white lies off daylight between D50 and D65.
    WhiteOffDaylight,
    /// The luminance is lower than a screen should have.
    TooDark,
    /// The luminance is higher than a screen should have.
    TooBright,
}

impl CandidateJson {
    pub(super) fn of(rank: usize, weighed: &Weighed, station: &Station) -> Self {
        let candidate = &weighed.candidate;
        let known = &candidate.known;
        let temperature = known.white.and_then(|white| cct_duv(white).ok());
        Self {
            rank,
            lamp: candidate.name.clone(),
            basis: candidate.basis.into(),
            fitness: weighed.fitness.into(),
            why: say::lamp::place(weighed, station),
            now: Meeting::of(&weighed.now),
            at_horizon: Meeting::of(&weighed.later),
            u_prime: candidate.white.u,
            v_prime: candidate.white.v,
            cct_k: known.cct_k,
            duv: temperature.map(|t| t.duv),
            illuminance_lx: candidate.illuminance,
            ra: known.ra,
            r9: known.r9,
            rf: candidate.rf,
            worst_hue: candidate.worst.as_ref().map(WorstHue::of),
            white_sd: weighed.settles.0,
            white_sd_if_measured: weighed.settles.1,
            screen_aim: ScreenAim::of(&weighed.aim),
        }
    }
}

impl From<candidates::Basis> for Basis {
    fn from(basis: candidates::Basis) -> Self {
        match basis {
            candidates::Basis::Spectrum => Self::Spectrum,
            candidates::Basis::Coordinates => Self::Coordinates,
            candidates::Basis::KelvinOnly => Self::CctK,
            candidates::Basis::Label => Self::Label,
        }
    }
}

impl From<color::Fitness> for Fitness {
    fn from(fitness: color::Fitness) -> Self {
        match fitness {
            color::Fitness::Fit => Self::Fit,
            color::Fitness::WithCare => Self::WithCare,
            color::Fitness::Unfit => Self::Unfit,
        }
    }
}

impl Meeting {
    fn of(meeting: &candidates::Meeting) -> Self {
        Self {
            delta_uv: meeting.delta_uv,
            luminance_ratio_to_rule: meeting.ratio,
            chance: meeting.chance,
            colour_chance: meeting.colour_chance,
            screen_is: meeting.direction.as_ref().map(Move::to_string),
        }
    }
}

impl WorstHue {
    fn of(shift: &HueShift) -> Self {
        Self { hue: shift.hue.word(), delta_e_2000: shift.delta_e, said: shift.to_string() }
    }
}

impl ScreenAim {
    fn of(aim: &screen_aim::ScreenAim) -> Self {
        Self {
            x: aim.white.x,
            y: aim.white.y,
            cct_k: aim.temperature.map(|t| t.cct_k),
            duv: aim.temperature.map(|t| t.duv),
            luminance_cd_m2: aim.luminance,
            sensible: aim.is_sensible(),
            doubts: aim.doubts.iter().map(Doubt::from).collect(),
        }
    }
}

impl From<&AimDoubt> for Doubt {
    fn from(doubt: &AimDoubt) -> Self {
        match doubt {
            AimDoubt::White { far: true, .. } => Self::WhiteFarFromDaylight,
            AimDoubt::White { .. } => Self::WhiteOffDaylight,
            AimDoubt::TooDark { .. } => Self::TooDark,
            AimDoubt::TooBright { .. } => Self::TooBright,
        }
    }
}
