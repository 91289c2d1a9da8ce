//! Lamps that might take a station's place, weighed against its display. Pure.
//!
//! Each candidate brings the paper's white under it with all that is unsure of it. Against the display as it is now and as it
//! is forecast, the difference is normal, and the chance to meet is an integral over the tolerance as in [`risk`](super::risk).
//! Order: fit lights before those with faults, those before unfit ones; within each, those that meet the display as it
//! stands before those that need its calibration, then the smaller difference. Ra decides between equals.
//!
//! What a measurement would settle is told by the spread of a candidate's white as it is known, beside the one that a reading would leave.

use super::compare::{Scale, Spot};
use super::region::{inside_band, inside_circle};
use super::risk::Limits;
use super::screen_aim::{ScreenAim, screen_aim};
use crate::color::rendering::HueShift;
use crate::color::{Degenerate, Finding, Fitness, KnownLight, Move, PaperLight, UvSpread, cct_duv, direction, fitness};
use crate::site::{Noise, Station};
use crate::units::{Illuminance, UvPrime};

/// On what a candidate's colour rests.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Basis {
    /// Its spectrum.
    Spectrum,
    /// Coordinates that were measured.
    Coordinates,
    /// A colour temperature that was measured, and no tint.
    KelvinOnly,
    /// What the box says.
    Label,
}

/// A lamp that might be taken.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)]
pub struct Candidate {
    pub name: String,
    pub basis: Basis,
    /// Its own white, as far as it is known.
    pub white: UvPrime,
    /// What is unsure of that white.
    pub spread: UvSpread,
    /// The station's paper under it.
    pub paper: PaperLight,
    pub illuminance: Option<Illuminance>,
    pub known: KnownLight,
    pub rf: Option<f64>,
    /// The colour that it changes most, of those it is known for.
    pub worst: Option<HueShift>,
}

/// The display that a candidate must meet, at one time.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub struct Screen {
    pub uv: UvPrime,
    pub spread: UvSpread,
    pub ln_luminance: Option<Spot>,
    /// Part of the instruments' bias that does not cancel.
    pub scale: Scale,
}

/// How a candidate's paper white stands to the display at one time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Meeting {
    /// Distance of the two whites in u′v′.
    pub delta_uv: f64,
    /// The display's white as seen from the paper's.
    pub direction: Option<Move>,
    /// Luminance ratio over what the station asks for; absent where not judged or not known.
    pub ratio: Option<f64>,
    /// Probability of being within the station's tolerance in colour, and in luminance where both levels are known.
    pub chance: f64,
    /// Probability of the colour alone.
    pub colour_chance: f64,
}

/// A candidate, weighed.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)]
pub struct Weighed {
    pub candidate: Candidate,
    pub fitness: Fitness,
    pub findings: Vec<Finding>,
    pub now: Meeting,
    /// At the station's horizon.
    pub later: Meeting,
    /// The aim that would make the display meet this lamp.
    pub aim: ScreenAim,
    /// Standard deviation of its white now, and after a reading by the station's instrument; u′v′.
    pub settles: (f64, f64),
}

impl Weighed {
    /// Whether it is likelier than not to meet the display as it stands.
    pub fn meets(&self) -> bool {
        self.now.colour_chance > 0.5
    }
}

/// Weighs candidates against a display now and at the horizon; the best first.
pub fn weigh(
    candidates: Vec<Candidate>,
    station: &Station,
    now: &Screen,
    later: &Screen,
    noise: Noise,
) -> Result<Vec<Weighed>, Degenerate> {
    let limits = Limits::of(station);
    let mut weighed = Vec::with_capacity(candidates.len());
    for candidate in candidates {
        let (fitness, findings) = fitness(&candidate.known);
        let spread = |s: UvSpread| libm::sqrt((s.uu + s.vv) / 2.0);
        weighed.push(Weighed {
            fitness,
            findings,
            now: meeting(&candidate, station, &limits, now, noise),
            later: meeting(&candidate, station, &limits, later, noise),
            aim: screen_aim(&candidate.paper, candidate.illuminance, station.luminance, station.visual_offset)?,
            settles: (spread(candidate.spread), noise.uv),
            candidate,
        });
    }
    let misses = |w: &Weighed| !w.meets();
    weighed.sort_by(|a, b| {
        (a.fitness.cmp(&b.fitness))
            .then(misses(a).cmp(&misses(b)))
            .then(in_steps_of_sight(a.now.delta_uv).cmp(&in_steps_of_sight(b.now.delta_uv)))
            .then(b.candidate.known.ra.unwrap_or(0.0).total_cmp(&a.candidate.known.ra.unwrap_or(0.0)))
            .then(a.now.delta_uv.total_cmp(&b.now.delta_uv))
    });
    Ok(weighed)
}

/// Differences of less than 0.0005 in u′v′ are no reason to prefer one: half the scatter of matching by eye (CIE TN 001).
fn in_steps_of_sight(delta_uv: f64) -> u64 {
    (delta_uv / 0.0005) as u64
}

fn meeting(candidate: &Candidate, station: &Station, limits: &Limits, screen: &Screen, noise: Noise) -> Meeting {
    let paper = &candidate.paper;
    let (offset_u, offset_v) = station.visual_offset;
    let (u, v) = (screen.uv.u - paper.uv.u - offset_u, screen.uv.v - paper.uv.v - offset_v);
    let all = screen.spread.plus(paper.spread()).plus(UvSpread::round(screen.scale.uv));
    let colour_chance = inside_circle((u, v), (all.uu, all.uv, all.vv), limits.delta_uv);
    let ln_ratio = match (station.luminance.agreed(), screen.ln_luminance, candidate.illuminance) {
        (Some(wanted), Some(display), Some(lx)) if lx.get() > 0.0 => {
            let lit = libm::log(paper.luminance(lx.get()) * wanted);
            let still = screen.scale.ln_ratio * screen.scale.ln_ratio;
            Some((display.mean - lit, display.var + noise.level * noise.level + still))
        }
        _ => None,
    };
    let level_chance = match (limits.ln_ratio, ln_ratio) {
        (Some(limit), Some((mean, var))) => inside_band(mean, var, limit),
        _ => 1.0,
    };
    Meeting {
        delta_uv: libm::hypot(u, v),
        // Seen from where the screen should be: the paper white, moved by what was agreed on by eye.
        direction: direction(UvPrime { u: paper.uv.u + offset_u, v: paper.uv.v + offset_v }, screen.uv),
        ratio: ln_ratio.map(|(mean, _)| libm::exp(mean)),
        chance: colour_chance * level_chance,
        colour_chance,
    }
}

/// Two candidates of the same colour temperature (within 2 %) and another tint, in the order given: what a kelvin figure hides.
pub fn same_kelvin_other_tint(weighed: &[Weighed]) -> Vec<(usize, usize)> {
    /// A difference in Duv that is seen side by side, in CIE 1960 u,v.
    const TINT_SEEN: f64 = 0.002;
    let known = |w: &Weighed| w.candidate.known.white.and_then(|white| cct_duv(white).ok());
    let mut pairs = Vec::new();
    for (i, a) in weighed.iter().enumerate() {
        for (j, b) in weighed.iter().enumerate().skip(i + 1) {
            if let Some((a, b)) = known(a).zip(known(b)) {
                let alike = (a.cct_k.get() / b.cct_k.get() - 1.0).abs() < 0.02;
                if alike && (a.duv.get() - b.duv.get()).abs() > TINT_SEEN {
                    pairs.push((i, j));
                }
            }
        }
    }
    pairs
}
