//! `inspect`: the colorimetry of readings in a file; stores nothing, needs no configuration. One that is named lends its
//! mappings.

use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use super::fail::{Failure, Kind};
use super::{output, take};
use crate::color::Colorimetry;
use crate::config::{Config, find};
use crate::formats::{self, Context, Need, Outcome};
use crate::reading::{ColourSet, Defect, Draft, Level, Record};
use crate::say;

/// The largest file that is looked at.
const MAX_BYTES: u64 = 256 << 20;

struct Looked {
    id: String,
    draft: Draft,
    colorimetry: Colorimetry,
    xyz: Option<[f64; 3]>,
}

/// Answers `inspect`.
pub fn inspect(config: Option<&Path>, files: &[PathBuf], json: bool) -> Result<(), Failure> {
    let config = config.map(find::load).transpose()?;
    let mut readings = Vec::new();
    for path in files {
        look(path, config.as_ref(), &mut readings)?;
    }
    if json {
        output::json(&json!({ "readings": readings.iter().map(as_json).collect::<Vec<_>>() }))
    } else {
        output::print(&as_text(&readings))
    }
}

fn look(path: &Path, config: Option<&Config>, readings: &mut Vec<Looked>) -> Result<(), Failure> {
    let bad = |why: String| Failure::new(Kind::Input, format!("{}: {why}", path.display()));
    let bytes = take::read(path, MAX_BYTES).map_err(bad)?;
    let file = path.file_stem().unwrap_or(path.as_os_str()).to_string_lossy().into_owned();
    let name = path.file_name().unwrap_or(path.as_os_str()).to_string_lossy();
    let context = config.map_or_else(|| Context::of(Need::Look), |config| config.to_look_at(&name));
    let rows = match formats::parse(&bytes, &context) {
        Outcome::Records(rows, ..) => rows,
        Outcome::Incomplete { why } => return Err(bad(format!("is not finished: {why}"))),
        Outcome::Refused(defects) => {
            let all: Vec<String> = defects.iter().map(Defect::to_string).collect();
            return Err(bad(format!("cannot be read:\n  {}", all.join("\n  "))));
        }
    };
    for row in rows {
        let Record::Reading(draft) = row.value else { continue };
        let colorimetry = Colorimetry::of(&draft.colour).map_err(|why| bad(format!("line {}: {why}", row.line)))?;
        let device = draft.device.as_ref().map(ToString::to_string);
        let id = draft.circumstances.id.clone().or(device).unwrap_or_else(|| file.clone());
        let xyz = tristimulus(&draft, &colorimetry);
        readings.push(Looked { id, draft, colorimetry, xyz });
    }
    Ok(())
}

/// X, Y, Z as given, or on the scale of the level where colour and level are known.
fn tristimulus(draft: &Draft, colorimetry: &Colorimetry) -> Option<[f64; 3]> {
    if let ColourSet::Xyz(xyz) = draft.colour {
        return Some([xyz.x, xyz.y, xyz.z]);
    }
    let level = match draft.level? {
        Level::Luminance(luminance) => luminance.get(),
        Level::Illuminance(illuminance) => illuminance.get(),
    };
    let xyz = crate::color::xyz_of_xy(colorimetry.xy?, level).ok()?;
    Some([xyz.x, xyz.y, xyz.z])
}

fn as_json(looked: &Looked) -> Value {
    let Looked { id, draft, colorimetry, xyz } = looked;
    let number = |index: usize| xyz.and_then(|xyz| xyz.get(index).copied());
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
        "duv": colorimetry.duv,
        // Rendering needs a spectrum.
        "ra": null,
        "r9": null,
        "rf": null,
        "rg": null,
    })
}

fn as_text(readings: &[Looked]) -> String {
    let rows = readings.iter().map(|looked| {
        let c = &looked.colorimetry;
        let or_unknown = |text: Option<String>| text.unwrap_or_else(|| "-".to_owned());
        let level = looked.draft.level.map(|level| match level {
            Level::Luminance(luminance) => format!("{:.1} cd/m²", luminance.get()),
            Level::Illuminance(illuminance) => format!("{:.0} lx", illuminance.get()),
        });
        [
            looked.id.clone(),
            or_unknown(c.xy.map(|at| format!("{:.4}", at.x))),
            or_unknown(c.xy.map(|at| format!("{:.4}", at.y))),
            or_unknown(c.uv.map(|at| format!("{:.4}", at.u))),
            or_unknown(c.uv.map(|at| format!("{:.4}", at.v))),
            or_unknown(c.cct_k.map(|kelvin| format!("{:.0} K", kelvin.get()))),
            or_unknown(c.duv.map(|duv| say::tint(duv.get()))),
            or_unknown(level),
        ]
    });
    output::table(["id", "x", "y", "u′", "v′", "CCT", "tint", "level"], rows)
}
