//! `inspect`: the colorimetry of readings in a file; stores nothing, needs no configuration.
//!
//! What lives here: which readings are looked at, and all that is worked out of each. How it is said is in `text`, drawn in
//! `chart` (terminal) and `svg`, and handed on in `json`.

mod chart;
pub mod json;
mod svg;
mod text;

use std::fs;
use std::path::Path;

use super::args::{Cli, Look};
use super::fail::{Failure, Kind};
use super::{output, session, take};
use crate::color::rendering::{
    HueShift, Rendering, Simulator, SimulatorTables, Ultraviolet, honest_light, hues, rendering, simulator,
};
use crate::color::{Colorimetry, KnownLight, Sampled, level_as_given};
use crate::config::{Config, find};
use crate::formats::{self, Context, Need, Outcome};
use crate::reading::{ColourSet, Defect, Draft, Level, Patch, Record, Source};
use crate::units::{SpectralUnit, Spectrum};

/// The largest file that is looked at.
const MAX_BYTES: u64 = 256 << 20;
/// More readings than this are told shortly, unless all is asked for.
const IN_FULL: usize = 1;

/// One reading and all that is worked out of it.
pub(super) struct Looked {
    pub id: String,
    pub draft: Draft,
    colorimetry: Colorimetry,
    pub level: Option<Level>,
    /// X, Y, Z on the scale of the level, or as given.
    xyz: Option<[f64; 3]>,
    pub spectral: Option<Spectral>,
}

/// What a spectrum tells beyond its white.
pub(super) struct Spectral {
    spectrum: Spectrum,
    pub sampled: Sampled,
    /// Absent for a light that has no colour temperature.
    rendering: Option<Rendering>,
    honest: Option<Sampled>,
    pub hues: Vec<HueShift>,
    simulator: Option<Simulator>,
    ultraviolet: Ultraviolet,
}

/// Answers `inspect`.
pub fn inspect(cli: &Cli, look: &Look, json: bool) -> Result<(), Failure> {
    // No configuration is needed: one that was named must be sound, one that lies about is used where it is.
    let config = match &cli.config {
        Some(named) => Some(find::load(named)?),
        None => session::config_file(cli).ok().and_then(|found| find::load(&found).ok()),
    };
    let tables = tables(look.tables.as_deref(), config.as_ref())?;
    let mut readings = Vec::new();
    let mut warnings = Vec::new();
    for path in &look.files {
        let file = FileOfReadings::read(path, config.as_ref())?;
        warnings.extend(file.warnings.iter().cloned());
        for (line, draft) in file.drafts {
            let looked = Looked::at(draft, &file.stem, tables.as_ref())
                .map_err(|why| bad(path, &format!("line {line}: {why}")))?;
            readings.push(looked);
        }
    }
    if let Some(only) = &look.only {
        readings.retain(|looked| looked.id == *only);
        if readings.is_empty() {
            return Err(Failure::new(Kind::NotFound, format!("no reading in these files has the id '{only}'")));
        }
    }
    if let Some(path) = &look.svg {
        let sheets: Vec<svg::Sheet> = readings.iter().filter_map(text::sheet).collect();
        if sheets.is_empty() {
            return Err(Failure::new(Kind::Input, "there is no spectrum to draw in these files".to_owned()));
        }
        fs::write(path, svg::document(&sheets)).map_err(|why| bad(path, &why.to_string()))?;
    }
    if json {
        let readings = readings.iter().map(json::ReadingJson::of).collect();
        return output::json(&json::Inspected { readings, warnings });
    }
    let full = look.full || readings.len() <= IN_FULL;
    output::print(&text::of_all(&readings, &warnings, full))
}

fn bad(path: &Path, why: &str) -> Failure {
    Failure::new(Kind::Input, format!("{}: {why}", path.display()))
}

/// The tables of ISO 23603 that were named, here or in the configuration.
fn tables(named: Option<&Path>, config: Option<&Config>) -> Result<Option<SimulatorTables>, Failure> {
    let (path, text) = match (named, config.and_then(|config| config.tables.iso_23603.as_ref())) {
        (Some(path), _) => {
            let bytes = take::read(path, MAX_BYTES).map_err(|why| bad(path, &why))?;
            (path, String::from_utf8(bytes).map_err(|_| bad(path, "is not UTF-8 text"))?)
        }
        (None, Some(kept)) => (Path::new(&kept.name), kept.text.clone()),
        (None, None) => return Ok(None),
    };
    SimulatorTables::parse(&text).map(Some).map_err(|why| bad(path, &why.to_string()))
}

/// The readings of a file that is only looked at.
pub(super) struct FileOfReadings {
    /// Its name without folder and ending.
    pub stem: String,
    /// The readings, with the line each stands on.
    pub drafts: Vec<(u64, Draft)>,
    /// What was noticed and did not stop the reading.
    pub warnings: Vec<String>,
}

impl FileOfReadings {
    /// Reads it, by the mappings of a configuration where there is one.
    pub fn read(path: &Path, config: Option<&Config>) -> Result<Self, Failure> {
        let bytes = take::read(path, MAX_BYTES).map_err(|why| bad(path, &why))?;
        let name = path.file_name().unwrap_or(path.as_os_str()).to_string_lossy();
        let context = config.map_or_else(|| Context::of(Need::Look), |config| config.to_look_at(&name));
        let (rows, said) = match formats::parse(&bytes, &context) {
            Outcome::Records(rows, _, said) => (rows, said),
            Outcome::Incomplete { why } => return Err(bad(path, &format!("is not finished: {why}"))),
            Outcome::Refused(defects) => {
                let all: Vec<String> = defects.iter().map(Defect::to_string).collect();
                return Err(bad(path, &format!("cannot be read:\n  {}", all.join("\n  "))));
            }
        };
        let warnings = said.into_iter().map(|warning| match warning.line {
            0 => format!("{}: {}", path.display(), warning.value),
            line => format!("{}, line {line}: {}", path.display(), warning.value),
        });
        let drafts = rows.into_iter().filter_map(|row| match row.value {
            Record::Reading(draft) => Some((row.line, draft)),
            Record::Event(_) => None,
        });
        Ok(Self {
            stem: path.file_stem().unwrap_or(path.as_os_str()).to_string_lossy().into_owned(),
            drafts: drafts.collect(),
            warnings: warnings.collect(),
        })
    }
}

impl Looked {
    pub fn at(draft: Draft, file: &str, tables: Option<&SimulatorTables>) -> Result<Self, crate::color::Impossible> {
        let colorimetry = Colorimetry::of(&draft.colour)?;
        let device = draft.device.as_ref().map(ToString::to_string);
        let id = draft.circumstances.id.clone().or(device).unwrap_or_else(|| file.to_owned());
        let spectrum = match &draft.colour {
            ColourSet::Spectrum { spectrum } => Some(spectrum.as_ref().clone()),
            _ => None,
        };
        let level = level_as_given(draft.level, &draft.colour);
        let xyz = tristimulus(&draft, level, &colorimetry);
        let spectral = spectrum.map(|spectrum| Spectral::of(spectrum, tables));
        Ok(Self { id, draft, colorimetry, level, xyz, spectral })
    }

    /// Whether it may be the light of a lamp: not a screen's, nor lit paper's.
    pub fn may_be_a_lamp(&self) -> bool {
        let radiance = self.spectral.as_ref().is_some_and(|s| s.spectrum.unit() == SpectralUnit::Radiance);
        let luminance = matches!(self.level, Some(Level::Luminance(_)));
        self.draft.circumstances.patch == Patch::White && !radiance && !luminance
    }

    fn is_label(&self) -> bool {
        self.draft.circumstances.source == Source::Label
    }

    pub fn rendering(&self) -> Option<&Rendering> {
        self.spectral.as_ref()?.rendering.as_ref()
    }

    /// What `color::fitness` needs of it.
    pub fn known(&self) -> KnownLight {
        let indices = self.rendering().map(|rendering| rendering.indices);
        KnownLight {
            white: self.colorimetry.uv.filter(|_| !self.is_label()),
            cct_k: self.colorimetry.cct_k,
            ra: indices.map(|i| i.ra).or(self.draft.circumstances.ra),
            least_special: indices.and_then(|i| i.least_special()),
            r9: indices.map(|i| i.r9()),
        }
    }
}

impl Spectral {
    fn of(spectrum: Spectrum, tables: Option<&SimulatorTables>) -> Self {
        let sampled = Sampled::of(&spectrum);
        let rendering = rendering(&sampled);
        let cct_k = rendering.map(|rendering| rendering.cct_duv.cct_k);
        Self {
            honest: cct_k.and_then(honest_light),
            hues: hues(&sampled, None, None),
            simulator: cct_k.and_then(|cct_k| simulator(&sampled, cct_k, tables)),
            ultraviolet: Ultraviolet::of(spectrum.reach().0),
            rendering,
            sampled,
            spectrum,
        }
    }
}

/// X, Y, Z as given, or on the scale of the level where colour and level are known.
fn tristimulus(draft: &Draft, level: Option<Level>, colorimetry: &Colorimetry) -> Option<[f64; 3]> {
    if let ColourSet::Xyz(xyz) = draft.colour {
        return Some([xyz.x, xyz.y, xyz.z]);
    }
    let level = match level? {
        Level::Luminance(luminance) => luminance.get(),
        Level::Illuminance(illuminance) => illuminance.get(),
    };
    let xyz = crate::color::xyz_of_xy(colorimetry.xy?, level).ok()?;
    Some([xyz.x, xyz.y, xyz.z])
}
