//! `inspect --json`: every figure unrounded, what cannot be known as null.

use serde_json::{Value, json};

use super::{Looked, Spectral};
use crate::color::rendering::{
    HueShift, R15_EDITION, RA_EDITION, RF_EDITION, RG_EDITION, SIMULATOR_EDITION, SSI_EDITION, Simulator,
};
use crate::color::{Observer, mired, uv_prime_of_xyz, xy_of_xyz};
use crate::reading::Level;

/// One reading.
pub(super) fn reading(looked: &Looked) -> Value {
    let Looked { id, draft, colorimetry, xyz, level, .. } = looked;
    let number = |index: usize| xyz.and_then(|xyz| xyz.get(index).copied());
    let indices = looked.rendering().map(|rendering| &rendering.indices);
    let fidelity = looked.rendering().map(|rendering| &rendering.fidelity);
    json!({
        "id": id,
        "time": draft.time,
        "device": draft.device,
        "X": number(0),
        "Y": number(1),
        "Z": number(2),
        "x": colorimetry.xy.map(|at| at.x),
        "y": colorimetry.xy.map(|at| at.y),
        "u_prime": colorimetry.uv.map(|at| at.u),
        "v_prime": colorimetry.uv.map(|at| at.v),
        "cct_k": colorimetry.cct_k,
        "mired": colorimetry.cct_k.map(mired),
        "duv": colorimetry.duv,
        "illuminance_lx": level.and_then(|level| match level { Level::Illuminance(lx) => Some(lx), Level::Luminance(_) => None }),
        "luminance_cd_m2": level.and_then(|level| match level { Level::Luminance(l) => Some(l), Level::Illuminance(_) => None }),
        "ra": indices.map(|i| i.ra).or(draft.circumstances.ra),
        "r9": indices.map(|i| i.r9()),
        "rf": fidelity.map(|f| f.rf),
        "rg": fidelity.map(|f| f.rg),
        "source": draft.circumstances.source,
        "spectral": looked.spectral.as_ref().map(spectral),
    })
}

fn spectral(spectral: &Spectral) -> Value {
    let Spectral { spectrum, sampled, rendering, .. } = spectral;
    let (from, to) = spectrum.reach();
    let ten = sampled.tristimulus_for(Observer::TenDegree);
    let (xy_10, uv_10) = (xy_of_xyz(ten).ok(), uv_prime_of_xyz(ten).ok());
    json!({
        "unit": spectrum.unit(),
        "from_nm": from,
        "to_nm": to,
        "step_nm": spectrum.step_nm(),
        "values": spectrum.values().len(),
        "bandwidth_nm": spectrum.bandwidth_nm(),
        "x_10": xy_10.map(|at| at.x),
        "y_10": xy_10.map(|at| at.y),
        "u_prime_10": uv_10.map(|at| at.u),
        "v_prime_10": uv_10.map(|at| at.v),
        "indices": rendering.map(|r| json!({
            "edition": RA_EDITION,
            "edition_of_r15": R15_EDITION,
            "ra": r.indices.ra,
            "r": r.indices.r,
            "chromaticity_difference": r.indices.distance,
            "within_validity": r.indices.is_valid(),
        })),
        "fidelity": rendering.map(|r| json!({
            "edition": RF_EDITION,
            "edition_of_rg": RG_EDITION,
            "rf": r.fidelity.rf,
            "rg": r.fidelity.rg,
            "samples": r.fidelity.samples.as_slice(),
            "hue_bins": r.fidelity.bins.iter().enumerate().map(|(index, bin)| json!({
                "bin": index + 1,
                "rf": bin.fidelity,
                "chroma_shift": bin.chroma_shift,
                "hue_shift_rad": bin.hue_shift,
                "samples": bin.samples,
                "lamp": bin.lamp,
                "reference": bin.reference,
            })).collect::<Vec<_>>(),
        })),
        "similarity": rendering.map(|r| json!({
            "edition": SSI_EDITION, "d50": r.similar_to_d50, "d65": r.similar_to_d65,
        })),
        "daylight_simulator": spectral.simulator.map(simulator),
        "ultraviolet": spectral.ultraviolet.to_string(),
        "hues": spectral.hues.iter().map(hue).collect::<Vec<_>>(),
    })
}

fn simulator(simulator: Simulator) -> Value {
    match simulator {
        Simulator::Judged(judged) => json!({
            "edition": SIMULATOR_EDITION,
            "judged": true,
            "phase": judged.phase.name(),
            "index": judged.index,
            "pairs": judged.pairs,
            "grade": format!("{:?}", judged.grade),
            "chromaticity_distance": judged.distance,
        }),
        Simulator::NotJudged { phase, stand_in } => json!({
            "edition": SIMULATOR_EDITION,
            "judged": false,
            "why": "needs the tables of ISO 23603",
            "phase": phase.name(),
            "similarity_stands_in": stand_in,
        }),
    }
}

fn hue(shift: &HueShift) -> Value {
    json!({
        "hue": shift.hue.word(),
        "test_colour": shift.hue.test_colour(),
        "delta_e_2000": shift.delta_e,
        "delta_l": shift.delta_l,
        "delta_c": shift.delta_c,
        "delta_h": shift.delta_h,
        "towards": shift.towards.map(|to| to.word()),
        "said": shift.to_string(),
    })
}
