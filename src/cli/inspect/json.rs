//! `inspect --json`: every figure unrounded, what cannot be known as null.

use schemars::JsonSchema;
use serde::Serialize;

use super::{Looked, Spectral};
use crate::color::rendering::{
    HueShift, Metamerism, R15_EDITION, RA_EDITION, RF_EDITION, RG_EDITION, Rendering, SIMULATOR_EDITION, SSI_EDITION,
    Simulator,
};
use crate::color::{Observer, mired, uv_prime_of_xyz, xy_of_xyz};
use crate::reading::{Level, Source};
use crate::units::{DeviceId, Duv, Illuminance, Kelvin, Luminance, SpectralUnit, Time};

/// The colorimetry of the readings in some files. Nothing is stored.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Inspected {
    /// The readings, in the order of the files.
    pub readings: Vec<ReadingJson>,
    /// What was noticed and did not stop the reading, in words.
    pub warnings: Vec<String>,
}

/// One reading and what is worked out of it.
#[derive(Debug, Serialize, JsonSchema)]
pub struct ReadingJson {
    /// The row's `id` or `device`, else the file's name.
    id: String,
    /// When it was measured; null where that was not said.
    time: Option<Time>,
    /// What was measured; null where that was not said.
    device: Option<DeviceId>,
    /// CIE 1931 X, on the scale of the level, or as given; null where neither is known.
    #[serde(rename = "X")]
    x_upper: Option<f64>,
    /// CIE 1931 Y, likewise.
    #[serde(rename = "Y")]
    y_upper: Option<f64>,
    /// CIE 1931 Z, likewise.
    #[serde(rename = "Z")]
    z_upper: Option<f64>,
    /// CIE 1931 x, 0 to 1; null where the tint is not known.
    x: Option<f64>,
    /// CIE 1931 y, 0 to 1; null where the tint is not known.
    y: Option<f64>,
    /// CIE 1976 u′; null where the tint is not known.
    u_prime: Option<f64>,
    /// CIE 1976 v′; null where the tint is not known.
    v_prime: Option<f64>,
    /// Correlated colour temperature, K; null where it has none.
    cct_k: Option<Kelvin>,
    /// Reciprocal colour temperature, 1e6/K; null where it has none.
    mired: Option<f64>,
    /// Signed distance from the Planckian locus in CIE 1960 u,v, positive when greenish; null where it is not known.
    duv: Option<Duv>,
    /// Illuminance, lx; null where none is known.
    illuminance_lx: Option<Illuminance>,
    /// Luminance, cd/m²; null where none is known.
    luminance_cd_m2: Option<Luminance>,
    /// General colour rendering index Ra (CIE 13.3-1995), at most 100, of the spectrum, or as given; null where neither is known.
    ra: Option<f64>,
    /// Special colour rendering index R9, at most 100; null without a spectrum.
    r9: Option<f64>,
    /// Colour fidelity index Rf (CIE 224:2017), 0 to 100; null without a spectrum.
    rf: Option<f64>,
    /// Gamut index Rg (ANSI/IES TM-30-20); null without a spectrum.
    rg: Option<f64>,
    /// Whether it was measured or copied from a label.
    source: Source,
    /// What a spectrum tells beyond its white; null without one.
    spectral: Option<SpectralJson>,
}

/// A spectrum.
#[derive(Debug, Serialize, JsonSchema)]
pub struct SpectralJson {
    /// The unit of its values.
    unit: SpectralUnit,
    /// Its first wavelength, nm.
    from_nm: f64,
    /// Its last wavelength, nm.
    to_nm: f64,
    /// The step between wavelengths, nm; null where it is not even.
    step_nm: Option<f64>,
    /// How many values there are.
    values: usize,
    /// Full width at half maximum of the instrument, nm; null where that was not said.
    bandwidth_nm: Option<f64>,
    /// x for the CIE 1964 10° observer; null for no light at all.
    x_10: Option<f64>,
    /// y for the CIE 1964 10° observer; null for no light at all.
    y_10: Option<f64>,
    /// u′ for the CIE 1964 10° observer; null for no light at all.
    u_prime_10: Option<f64>,
    /// v′ for the CIE 1964 10° observer; null for no light at all.
    v_prime_10: Option<f64>,
    /// Colour rendering indices; null for a light that has no colour temperature.
    indices: Option<Indices>,
    /// Colour fidelity; null for a light that has no colour temperature.
    fidelity: Option<Fidelity>,
    /// Spectral similarity; null for a light that has no colour temperature.
    similarity: Option<Similarity>,
    /// How well it stands for daylight; null for a light that has no colour temperature.
    daylight_simulator: Option<SimulatorJson>,
    /// What is known of its ultraviolet, in words.
    ultraviolet: String,
    /// Which colours it pushes where.
    hues: Vec<HueJson>,
}

/// Colour rendering indices by test colours.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Indices {
    /// The edition that Ra and R1 to R14 follow.
    edition: &'static str,
    /// The edition that R15 follows.
    edition_of_r15: &'static str,
    /// General index Ra, at most 100.
    ra: f64,
    /// Special indices R1 to R15, each at most 100.
    r: [f64; 15],
    /// Distance of the light from its reference in CIE 1960 u,v.
    chromaticity_difference: f64,
    /// Whether that is small enough for the indices to mean what they say (at most 5.4e-3).
    within_validity: bool,
}

/// Colour fidelity and gamut by 99 samples.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Fidelity {
    /// The edition that Rf follows.
    edition: &'static str,
    /// The edition that Rg and the hue bins follow.
    edition_of_rg: &'static str,
    /// Fidelity index Rf, 0 to 100.
    rf: f64,
    /// Gamut index Rg; 100 is that of the reference.
    rg: f64,
    /// The fidelity of each sample, 0 to 100.
    #[schemars(length(equal = 99))]
    samples: Vec<f64>,
    /// The hue bins in the order of the hue angle.
    #[schemars(length(equal = 16))]
    hue_bins: Vec<HueBin>,
}

/// The samples of one hue.
#[derive(Debug, Serialize, JsonSchema)]
pub struct HueBin {
    /// Its number, 1 to 16.
    bin: usize,
    /// Its fidelity, 0 to 100.
    rf: f64,
    /// Change of chroma as a share of the reference's.
    chroma_shift: f64,
    /// Change of hue, rad.
    hue_shift_rad: f64,
    /// How many samples it holds.
    samples: usize,
    /// Mean a′, b′ (CAM02-UCS) under the lamp.
    lamp: [f64; 2],
    /// Mean a′, b′ (CAM02-UCS) under the reference.
    reference: [f64; 2],
}

/// Spectral similarity to phases of daylight.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Similarity {
    /// The edition that the index follows.
    edition: &'static str,
    /// To D50, at most 100.
    d50: f64,
    /// To D65, at most 100.
    d65: f64,
}

/// How well a lamp stands for daylight.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(untagged)]
pub enum SimulatorJson {
    /// By the pairs of the standard.
    Judged {
        /// The edition that the index follows.
        edition: &'static str,
        /// True.
        #[schemars(extend("const" = true))]
        judged: bool,
        /// The phase of daylight that the lamp was held against.
        phase: &'static str,
        /// Visible metamerism index: the mean CIELAB difference of the pairs; 0 is perfect.
        index: f64,
        /// The CIELAB difference of each pair.
        pairs: [f64; 5],
        /// Grade of the index, A to E.
        #[schemars(extend("enum" = ["A", "B", "C", "D", "E"]))]
        grade: String,
        /// Distance from the phase in u′₁₀ v′₁₀; the standard wants at most 0.015.
        chromaticity_distance: f64,
    },
    /// The pairs for this phase were not given.
    NotJudged {
        /// The edition that the index would follow.
        edition: &'static str,
        /// False.
        #[schemars(extend("const" = false))]
        judged: bool,
        /// Why not.
        why: &'static str,
        /// The phase of daylight nearest to the lamp.
        phase: &'static str,
        /// What stands in: the spectral similarity to that phase, at most 100.
        similarity_stands_in: f64,
    },
}

/// Where a lamp pushes one colour.
#[derive(Debug, Serialize, JsonSchema)]
pub struct HueJson {
    /// The colour that people look for.
    hue: &'static str,
    /// The number of the test colour of CIE 13.3 that stands for it; null for the neutral.
    test_colour: Option<usize>,
    /// CIEDE2000 difference, 0 or more.
    delta_e_2000: f64,
    /// Difference in lightness, positive when lighter.
    delta_l: f64,
    /// Difference in chroma, positive when more vivid.
    delta_c: f64,
    /// Difference in hue.
    delta_h: f64,
    /// The hue that it is turned towards; null where it is not turned.
    towards: Option<&'static str>,
    /// The same in words.
    said: String,
}

impl ReadingJson {
    pub(super) fn of(looked: &Looked) -> Self {
        let Looked { id, draft, colorimetry, xyz, level, .. } = looked;
        let number = |index: usize| xyz.and_then(|xyz| xyz.get(index).copied());
        let indices = looked.rendering().map(|rendering| &rendering.indices);
        let fidelity = looked.rendering().map(|rendering| &rendering.fidelity);
        let (illuminance_lx, luminance_cd_m2) = match *level {
            Some(Level::Illuminance(lx)) => (Some(lx), None),
            Some(Level::Luminance(luminance)) => (None, Some(luminance)),
            None => (None, None),
        };
        Self {
            id: id.clone(),
            time: draft.time,
            device: draft.device.clone(),
            x_upper: number(0),
            y_upper: number(1),
            z_upper: number(2),
            x: colorimetry.xy.map(|at| at.x),
            y: colorimetry.xy.map(|at| at.y),
            u_prime: colorimetry.uv.map(|at| at.u),
            v_prime: colorimetry.uv.map(|at| at.v),
            cct_k: colorimetry.cct_k,
            mired: colorimetry.cct_k.map(mired),
            duv: colorimetry.duv,
            illuminance_lx,
            luminance_cd_m2,
            ra: indices.map(|i| i.ra).or(draft.circumstances.ra),
            r9: indices.map(|i| i.r9()),
            rf: fidelity.map(|f| f.rf),
            rg: fidelity.map(|f| f.rg),
            source: draft.circumstances.source,
            spectral: looked.spectral.as_ref().map(SpectralJson::of),
        }
    }
}

impl SpectralJson {
    fn of(spectral: &Spectral) -> Self {
        let Spectral { spectrum, sampled, rendering, .. } = spectral;
        let (from_nm, to_nm) = spectrum.reach();
        let ten = sampled.tristimulus_for(Observer::TenDegree);
        let (xy_10, uv_10) = (xy_of_xyz(ten).ok(), uv_prime_of_xyz(ten).ok());
        Self {
            unit: spectrum.unit(),
            from_nm,
            to_nm,
            step_nm: spectrum.step_nm(),
            values: spectrum.values().len(),
            bandwidth_nm: spectrum.bandwidth_nm(),
            x_10: xy_10.map(|at| at.x),
            y_10: xy_10.map(|at| at.y),
            u_prime_10: uv_10.map(|at| at.u),
            v_prime_10: uv_10.map(|at| at.v),
            indices: rendering.as_ref().map(Indices::of),
            fidelity: rendering.as_ref().map(Fidelity::of),
            similarity: rendering.as_ref().map(|rendering| Similarity {
                edition: SSI_EDITION,
                d50: rendering.similar_to_d50,
                d65: rendering.similar_to_d65,
            }),
            daylight_simulator: spectral.simulator.map(SimulatorJson::of),
            ultraviolet: spectral.ultraviolet.to_string(),
            hues: spectral.hues.iter().map(HueJson::of).collect(),
        }
    }
}

impl Indices {
    fn of(rendering: &Rendering) -> Self {
        let indices = &rendering.indices;
        Self {
            edition: RA_EDITION,
            edition_of_r15: R15_EDITION,
            ra: indices.ra,
            r: indices.r,
            chromaticity_difference: indices.distance,
            within_validity: indices.is_valid(),
        }
    }
}

impl Fidelity {
    fn of(rendering: &Rendering) -> Self {
        let fidelity = &rendering.fidelity;
        let bins = fidelity.bins.iter().enumerate().map(|(index, bin)| HueBin {
            bin: index + 1,
            rf: bin.fidelity,
            chroma_shift: bin.chroma_shift,
            hue_shift_rad: bin.hue_shift,
            samples: bin.samples,
            lamp: bin.lamp,
            reference: bin.reference,
        });
        Self {
            edition: RF_EDITION,
            edition_of_rg: RG_EDITION,
            rf: fidelity.rf,
            rg: fidelity.rg,
            samples: fidelity.samples.to_vec(),
            hue_bins: bins.collect(),
        }
    }
}

impl SimulatorJson {
    fn of(simulator: Simulator) -> Self {
        let edition = SIMULATOR_EDITION;
        match simulator {
            Simulator::Judged(Metamerism { phase, index, pairs, grade, distance }) => Self::Judged {
                edition,
                judged: true,
                phase: phase.name(),
                index,
                pairs,
                grade: format!("{grade:?}"),
                chromaticity_distance: distance,
            },
            Simulator::NotJudged { phase, stand_in } => Self::NotJudged {
                edition,
                judged: false,
                why: "needs the tables of ISO 23603",
                phase: phase.name(),
                similarity_stands_in: stand_in,
            },
        }
    }
}

impl HueJson {
    fn of(shift: &HueShift) -> Self {
        Self {
            hue: shift.hue.word(),
            test_colour: shift.hue.test_colour(),
            delta_e_2000: shift.delta_e,
            delta_l: shift.delta_l,
            delta_c: shift.delta_c,
            delta_h: shift.delta_h,
            towards: shift.towards.map(|to| to.word()),
            said: shift.to_string(),
        }
    }
}
