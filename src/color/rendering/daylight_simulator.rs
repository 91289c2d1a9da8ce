//! The visible metamerism index of a daylight simulator: ISO/CIE 23603 (CIE S 012), from tables that a user owns.
//!
//! Five pairs of colours that match under a phase of daylight are looked at under the lamp, 10° observer, CIELAB with the lamp's own
//! white; the index is the mean of their five differences ΔE*ab. The pairs' radiance factors are part of the standard, which is sold: they
//! are read from a user's file (`simulator_tables`), and without it the lamp is not judged ([`Simulator::NotJudged`]). The index for UV needs the
//! spectrum from 300 nm and a second set of tables; it is never computed, and [`Ultraviolet`] says so in words.
//!
//! From memory, not from the standard's text: the limit on chromaticity, and the grades but B.

use super::reference::daylight_phase;
use super::similarity::similarity;
use super::simulator_tables::{FROM_NM, Five, PAIRS, ROWS, STEP_NM, SimulatorTables};
use crate::color::observer_10deg::BAR;
use crate::color::{FIRST_NM, LabColour, Sampled, uv_prime_of_xyz};
use crate::units::{Kelvin, UvPrime, Xyz};

/// Edition of the index.
pub const EDITION: &str = "ISO/CIE 23603:2024 (CIE S 012), visible range";
/// Farthest that a simulator may lie from its phase of daylight in u′10, v′10 (from memory: default, check your copy of the standard).
pub const MAX_DISTANCE: f64 = 0.015;

/// A phase of daylight that simulators are made for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Daylight {
    D50,
    D55,
    D65,
    D75,
}

impl Daylight {
    /// All of them, in order of temperature.
    pub const ALL: [Self; 4] = [Self::D50, Self::D55, Self::D65, Self::D75];

    /// Its name.
    pub const fn name(self) -> &'static str {
        match self {
            Self::D50 => "D50",
            Self::D55 => "D55",
            Self::D65 => "D65",
            Self::D75 => "D75",
        }
    }

    /// Its colour temperature, K: the nominal one by 1.4388/1.4380.
    pub const fn kelvin(self) -> f64 {
        let nominal = match self {
            Self::D50 => 5000.0,
            Self::D55 => 5500.0,
            Self::D65 => 6500.0,
            Self::D75 => 7500.0,
        };
        nominal * 1.4388 / 1.4380
    }

    /// The nearest to a colour temperature, in mired.
    pub fn nearest(cct_k: Kelvin) -> Self {
        let apart = |phase: &Self| (1e6 / phase.kelvin() - 1e6 / cct_k.get()).abs();
        Self::ALL.into_iter().min_by(|a, b| apart(a).total_cmp(&apart(b))).unwrap_or(Self::D50)
    }

    /// Its spectrum.
    fn light(self) -> Option<Sampled> {
        daylight_phase(Kelvin::new(self.kelvin()).ok()?)
    }
}

/// How well a lamp stands for daylight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Simulator {
    /// By the pairs of the standard.
    Judged(Metamerism),
    /// The pairs for this phase were not given.
    NotJudged {
        /// The phase nearest to the lamp.
        phase: Daylight,
        /// What stands in: the spectral similarity index against that phase, unrounded.
        stand_in: f64,
    },
}

/// The visible metamerism index.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Metamerism {
    /// The phase of daylight that the lamp was held against.
    pub phase: Daylight,
    /// Mean CIELAB difference of the five pairs.
    pub index: f64,
    /// The difference of each pair.
    pub pairs: [f64; PAIRS],
    /// Its grade.
    pub grade: Grade,
    /// Distance from the phase in u′10, v′10; the standard wants at most [`MAX_DISTANCE`].
    pub distance: f64,
}

/// Grade of an index in CIELAB: A ≤ 0.25, B ≤ 0.5, C ≤ 1, D ≤ 2, E beyond. A, C and D from memory: check your copy of the standard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
#[allow(missing_docs)]
pub enum Grade {
    A,
    B,
    C,
    D,
    E,
}

impl Grade {
    /// The grade of an index.
    pub fn of(index: f64) -> Self {
        match index {
            ..=0.25 => Self::A,
            ..=0.5 => Self::B,
            ..=1.0 => Self::C,
            ..=2.0 => Self::D,
            _ => Self::E,
        }
    }
}

/// What is known of a lamp's ultraviolet; its index is never computed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Ultraviolet {
    /// The instrument begins at 380 nm or later.
    NotMeasured,
    /// The spectrum begins below 380 nm, at this wavelength.
    NotJudged {
        /// First wavelength, nm.
        from_nm: f64,
    },
}

impl Ultraviolet {
    /// What is known from a spectrum that begins at `first_nm`.
    pub fn of(first_nm: f64) -> Self {
        if first_nm < 380.0 { Self::NotJudged { from_nm: first_nm } } else { Self::NotMeasured }
    }
}

impl std::fmt::Display for Ultraviolet {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NotMeasured => f.write_str("UV: not measured"),
            Self::NotJudged { from_nm } => write!(f, "UV: measured from {from_nm} nm, not judged"),
        }
    }
}

/// Judges a lamp of this colour temperature against the phase of daylight nearest to it, by the user's tables where they hold that
/// phase. None for a lamp that is dark from 375 to 675 nm.
pub fn simulator(lamp: &Sampled, cct_k: Kelvin, tables: Option<&SimulatorTables>) -> Option<Simulator> {
    let phase = Daylight::nearest(cct_k);
    match tables.and_then(|tables| tables.judge(lamp, phase)) {
        Some(judged) => Some(Simulator::Judged(judged)),
        None => Some(Simulator::NotJudged { phase, stand_in: similarity(lamp, &phase.light()?)? }),
    }
}

impl SimulatorTables {
    /// The index of a lamp against one phase; None where the tables have no pairs for it, or the lamp is dark.
    pub fn judge(&self, lamp: &Sampled, phase: Daylight) -> Option<Metamerism> {
        let (standards, counterparts) = self.pairs(phase)?;
        let white = white(lamp);
        let (standards, counterparts) = (sums(lamp, standards), sums(lamp, counterparts));
        let mut pairs = [0.0; PAIRS];
        for ((pair, standard), counterpart) in pairs.iter_mut().zip(standards).zip(counterparts) {
            let [one, other] = [standard, counterpart].map(|xyz| LabColour::of(self::xyz(xyz), self::xyz(white)));
            let (one, other) = (one?, other?);
            *pair = libm::hypot(libm::hypot(one.l - other.l, one.a - other.a), one.b - other.b);
        }
        let index = pairs.iter().sum::<f64>() / PAIRS as f64;
        let (at, aim) = (uv(white)?, uv(self::white(&phase.light()?))?);
        let distance = libm::hypot(at.u - aim.u, at.v - aim.v);
        Some(Metamerism { phase, index, pairs, grade: Grade::of(index), distance })
    }
}

/// S x̄10, S ȳ10, S z̄10 each nanometre from 400 to 700; what was not measured is dark.
fn weights(light: &Sampled) -> impl Iterator<Item = [f64; 3]> + '_ {
    let from = FROM_NM - FIRST_NM as usize;
    (from..=from + STEP_NM * (ROWS - 1)).map(move |index| {
        let value = light.values.get(index).filter(|_| (light.first..=light.last).contains(&index));
        BAR.get(index).zip(value).map_or([0.0; 3], |(bar, value)| bar.map(|bar| bar * value))
    })
}

fn white(light: &Sampled) -> [f64; 3] {
    weights(light).fold([0.0; 3], |[x, y, z], [dx, dy, dz]| [x + dx, y + dy, z + dz])
}

/// Tristimulus values of five colours; their factors are joined by straight lines, so that no line of the lamp's is missed.
fn sums(light: &Sampled, factors: &Five) -> [[f64; 3]; PAIRS] {
    let mut out = [[0.0; 3]; PAIRS];
    for (index, weights) in weights(light).enumerate() {
        let (row, rest) = (index / STEP_NM, (index % STEP_NM) as f64 / STEP_NM as f64);
        let Some(here) = factors.get(row) else { continue };
        let next = factors.get(row + 1).unwrap_or(here);
        for ((sum, a), b) in out.iter_mut().zip(here).zip(next) {
            let factor = a + (b - a) * rest;
            for (sum, weight) in sum.iter_mut().zip(weights) {
                *sum += factor * weight;
            }
        }
    }
    out
}

const fn xyz([x, y, z]: [f64; 3]) -> Xyz {
    Xyz { x, y, z }
}

fn uv(at: [f64; 3]) -> Option<UvPrime> {
    uv_prime_of_xyz(xyz(at)).ok()
}

#[cfg(test)]
mod tests {
    use super::super::reference::black_body;
    use super::*;
    use crate::color::GRID;
    use crate::color::illuminant::{D50_K, D65_K};

    /// Invented radiance factors, none of the standard's: five grey slopes; each counterpart for D50 differs by a wave that D50 hardly sees.
    fn invented(phases: &[&str]) -> String {
        let mut text = "# invented for this test\nnm,standard_1,standard_2,standard_3,standard_4,standard_5".to_owned();
        for phase in phases {
            (1..=5).for_each(|number| text += &format!(",{phase}_{number}"));
        }
        for nm in (400..=700).step_by(5) {
            let base = |number: usize| 0.2 + 0.05 * number as f64 + f64::from(nm - 400) / 2000.0;
            text += &format!("\n{nm}");
            (1..=5).for_each(|number| text += &format!(",{:.4}", base(number)));
            for _ in phases {
                let wave = |number: usize| 0.01 * number as f64 * (f64::from(nm) / 9.0).sin();
                (1..=5).for_each(|number| text += &format!(",{:.4}", base(number) + wave(number)));
            }
        }
        text
    }

    fn day(kelvin: f64) -> Sampled {
        daylight_phase(Kelvin::new(kelvin).unwrap()).unwrap()
    }

    #[test]
    fn invented_pairs_part_under_lamps_of_another_make() {
        let tables = SimulatorTables::parse(&invented(&["d50", "d65"])).unwrap();
        assert_eq!(tables.phases().collect::<Vec<_>>(), [Daylight::D50, Daylight::D65]);
        let d50 = tables.judge(&day(D50_K), Daylight::D50).unwrap();
        assert!(d50.distance < 1e-9 && d50.pairs.iter().all(|pair| *pair < 0.6), "{d50:?}");
        // Three sharp lines: what nearly matched under D50 is far apart.
        let mut lines = day(D50_K);
        for (index, value) in lines.values.iter_mut().enumerate() {
            *value = if [75, 185, 251].iter().any(|line| index.abs_diff(*line) < 3) { 1.0 } else { 0.01 };
        }
        let judged = tables.judge(&lines, Daylight::D50).unwrap();
        assert!(judged.index > 1.0 && judged.index > 3.0 * d50.index && judged.distance > 0.0, "{judged:?}");
        assert_eq!(judged.grade, Grade::of(judged.index));
        assert!((judged.pairs.iter().sum::<f64>() / 5.0 - judged.index).abs() < 1e-12);
    }

    #[test]
    fn without_tables_a_stand_in_is_named() {
        let cct = Kelvin::new(6400.0).unwrap();
        let Some(Simulator::NotJudged { phase, stand_in }) = simulator(&day(D65_K), cct, None) else { panic!() };
        assert_eq!(phase, Daylight::D65);
        assert!((stand_in - 100.0).abs() < 1e-6);
        // Tables for another phase do not serve either.
        let d50_only = SimulatorTables::parse(&invented(&["d50"])).unwrap();
        let found = simulator(&day(D65_K), cct, Some(&d50_only)).unwrap();
        assert!(matches!(found, Simulator::NotJudged { phase: Daylight::D65, .. }));
        let found = simulator(&day(D50_K), Kelvin::new(5100.0).unwrap(), Some(&d50_only)).unwrap();
        assert!(matches!(found, Simulator::Judged(Metamerism { phase: Daylight::D50, .. })));
        let dark = Sampled { values: [0.0; GRID], first: 0, last: GRID - 1 };
        assert_eq!(simulator(&dark, cct, None), None);
    }

    #[test]
    fn a_warm_lamp_is_far_from_any_daylight() {
        let tables = SimulatorTables::parse(&invented(&["d50"])).unwrap();
        let judged = tables.judge(&black_body(Kelvin::new(3000.0).unwrap()), Daylight::D50).unwrap();
        assert!(judged.distance > MAX_DISTANCE, "{judged:?}");
    }

    #[test]
    fn grades_and_ultraviolet_in_words() {
        let grades: Vec<Grade> = [0.25, 0.26, 0.5, 0.9, 1.5, 2.1].map(Grade::of).to_vec();
        assert_eq!(grades, [Grade::A, Grade::B, Grade::B, Grade::C, Grade::D, Grade::E]);
        assert_eq!(Ultraviolet::of(380.0).to_string(), "UV: not measured");
        assert_eq!(Ultraviolet::of(360.0).to_string(), "UV: measured from 360 nm, not judged");
        assert_eq!(Daylight::nearest(Kelvin::new(5230.0).unwrap()), Daylight::D50);
        assert_eq!(Daylight::nearest(Kelvin::new(3000.0).unwrap()), Daylight::D50);
        assert_eq!(Daylight::nearest(Kelvin::new(20_000.0).unwrap()), Daylight::D75);
    }
}
