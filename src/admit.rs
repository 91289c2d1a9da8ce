//! Holds the rows of a file against the site: is the device known, does the unit fit it, can the light exist? Pure.
//!
//! A format has read the rows; nothing was checked against the configuration yet. Here every row becomes an
//! [`Admitted`] reading or event, or the whole file is refused with all its defects. What merely looks odd (a unit slip,
//! hours that run backwards) is admitted: that judgement needs the device's history and belongs to `drift`.

use crate::color::{LUMENS_PER_WATT, Sampled, WhitePoint, level_of_spectrum, white_point};
use crate::reading::{ColourSet, Defect, Draft, Event, EventKind, Level, Patch, Reading, Record, Row, ThingKind};
use crate::site::Things;
use crate::units::{DeviceId, SpectralUnit, Spectrum};

/// A level beside an absolute spectrum agrees with the spectrum's own to this share; beyond it one of the two has another
/// unit than it says, or was read elsewhere.
const AGREES: f64 = 0.10;

/// A row that may enter the ledger.
#[derive(Debug, Clone, PartialEq)]
pub enum Admitted {
    /// A measurement, with the white point that its colour set stands for.
    Reading(Reading, WhitePoint),
    /// Something that was done.
    Event(Event),
}

/// Admits every row, or lists every defect in the order of the lines. `folder_device` names the device of rows that do not.
pub fn admit(
    rows: Vec<Row<Record>>,
    things: &Things,
    folder_device: Option<&DeviceId>,
) -> Result<Vec<Row<Admitted>>, Vec<Defect>> {
    let mut admitted = Vec::with_capacity(rows.len());
    let mut defects = Vec::new();
    for Row { line, value } in rows {
        let result = match value {
            Record::Reading(draft) => admit_reading(line, draft, things, folder_device),
            Record::Event(event) => admit_event(line, event, things),
        };
        match result {
            Ok(value) => admitted.push(Row { line, value }),
            Err(defect) => defects.push(defect),
        }
    }
    if defects.is_empty() { Ok(admitted) } else { Err(defects) }
}

fn admit_reading(
    line: u64,
    draft: Draft,
    things: &Things,
    folder_device: Option<&DeviceId>,
) -> Result<Admitted, Defect> {
    let Some(device) = draft.device.or_else(|| folder_device.cloned()) else {
        return Err(Defect::at(
            line,
            "device",
            "nothing",
            "the id of a display or lamp, in a column `device` or as the name of the inbox's sub-folder",
        ));
    };
    let patch = draft.circumstances.patch;
    match kind_of(line, &device, things)? {
        kind @ (ThingKind::Display | ThingKind::Lamp) => {
            fits(line, kind, patch, &draft.colour, draft.level)?;
        }
        ThingKind::Paper => {
            let expected = "a display or a lamp: for lit paper give the lamp as the device, and patch = paper";
            return Err(Defect::at(line, "device", &format!("the paper '{device}'"), expected));
        }
        ThingKind::Instrument => {
            let found = format!("the instrument '{device}'");
            return Err(Defect::at(line, "device", &found, "a display or a lamp: what was read, not what read it"));
        }
    }
    let Some(time) = draft.time else {
        return Err(Defect::at(line, "time", "nothing", "the instant of the reading, like 2026-03-04T09:30:00Z"));
    };
    let white = white_point(&draft.colour).map_err(|impossible| {
        let said = impossible.to_string();
        let (found, expected) = said.split_once(": expected ").unwrap_or((&said, "a colour that light can have"));
        Defect::of_line(line, found, expected)
    })?;
    if let ColourSet::Spectrum { spectrum } = &draft.colour {
        level_agrees(line, spectrum, draft.level)?;
    }
    let reading = Reading {
        device,
        time,
        time_given: draft.time_given,
        colour: draft.colour,
        level: draft.level,
        circumstances: draft.circumstances,
    };
    Ok(Admitted::Reading(reading, white))
}

fn admit_event(line: u64, event: Event, things: &Things) -> Result<Admitted, Defect> {
    let kind = kind_of(line, &event.device, things)?;
    let needs = match event.kind {
        EventKind::CrossCalibrated | EventKind::Certificate | EventKind::Adjusted => {
            Some((ThingKind::Instrument, "an instrument"))
        }
        EventKind::NewBatch => Some((ThingKind::Paper, "a paper")),
        EventKind::PartReplaced => Some((ThingKind::Lamp, "a lamp")),
        _ => None,
    };
    if let Some((needed, name)) = needs
        && kind != needed
    {
        let found = format!("{} for the {} '{}'", event.kind.word(), kind.word(), event.device);
        return Err(Defect::at(line, "event", &found, format!("{} only of {name}", event.kind.word())));
    }
    if event.kind == EventKind::Firmware && kind == ThingKind::Paper {
        return Err(Defect::at(
            line,
            "event",
            &format!("firmware for the paper '{}'", event.device),
            "a thing that has any",
        ));
    }
    if event.kind == EventKind::CrossCalibrated && event.other.is_none() {
        return Err(Defect::at(line, "other", "nothing", "the instrument it was compared with"));
    }
    Ok(Admitted::Event(event))
}

fn kind_of(line: u64, device: &DeviceId, things: &Things) -> Result<ThingKind, Defect> {
    things.kind_of(device.as_str()).ok_or_else(|| {
        let nearest = things
            .ids()
            .map(|id| (strsim::damerau_levenshtein(id, device.as_str()), id))
            .min()
            .filter(|(distance, id)| *distance <= id.len().max(3) / 2)
            .map(|(_, id)| format!(" (the nearest is '{id}')"))
            .unwrap_or_default();
        Defect::at(line, "device", &format!("'{device}'"), format!("a device of the configuration{nearest}"))
    })
}

/// Whether spectrum and level are in units that such a thing is read in.
fn fits(line: u64, kind: ThingKind, patch: Patch, colour: &ColourSet, level: Option<Level>) -> Result<(), Defect> {
    if let ColourSet::Spectrum { spectrum } = colour {
        unit_fits(line, kind, patch, spectrum.unit())?;
    }
    match patch {
        Patch::Ambient => fits_foreign(line, colour, level),
        _ if kind == ThingKind::Display => fits_display(line, patch, level),
        _ => fits_lamp(line, patch, level),
    }
}

/// Foreign light counts by the share that it has of the illuminance, and without one for nothing.
fn fits_foreign(line: u64, colour: &ColourSet, level: Option<Level>) -> Result<(), Defect> {
    let tells_it = |spectrum: &Spectrum| spectrum.unit() == SpectralUnit::Irradiance;
    match level {
        Some(Level::Luminance(l)) => {
            let found = format!("{} cd/m2", l.get());
            let expected = "illuminance_lx: foreign light is the illuminance on the print or at the face of the screen";
            Err(Defect::at(line, "luminance_cd_m2", &found, expected))
        }
        None if !matches!(colour, ColourSet::Spectrum { spectrum } if tells_it(spectrum)) => {
            let expected = "the illuminance on the print or at the face of the screen, 0 where it is dark";
            Err(Defect::at(line, "illuminance_lx", "nothing", expected))
        }
        Some(Level::Illuminance(_)) | None => Ok(()),
    }
}

fn unit_fits(line: u64, kind: ThingKind, patch: Patch, unit: SpectralUnit) -> Result<(), Defect> {
    let expected = match (kind, patch, unit) {
        (_, _, SpectralUnit::Relative) => return Ok(()),
        (_, Patch::Ambient, SpectralUnit::Radiance) => {
            "W/m2/nm: foreign light is read as it falls on the print or on the face of the screen, as irradiance"
        }
        (_, Patch::Ambient, _) => return Ok(()),
        (ThingKind::Lamp, Patch::White, SpectralUnit::Radiance) => {
            "W/m2/nm: a lamp's own light is read as irradiance; of lit paper say patch = paper, and for colour without a level \
             unit = relative"
        }
        (ThingKind::Display, _, SpectralUnit::Irradiance) => {
            "W/m2/sr/nm: a display is read as radiance; for colour without a level say unit = relative"
        }
        (ThingKind::Lamp, Patch::Paper, SpectralUnit::Irradiance) => {
            "W/m2/sr/nm: lit paper is read as radiance; for colour without a level say unit = relative"
        }
        _ => return Ok(()),
    };
    Err(Defect::at(line, "unit", unit.word(), expected))
}

/// Whether the level that was given is the spectrum's own, where it has one.
fn level_agrees(line: u64, spectrum: &Spectrum, given: Option<Level>) -> Result<(), Defect> {
    let unit = spectrum.unit();
    let name = match unit {
        SpectralUnit::Relative => return Ok(()),
        SpectralUnit::Irradiance => "lx",
        SpectralUnit::Radiance => "cd/m2",
    };
    let Some(own) = level_of_spectrum(spectrum) else {
        let sum = LUMENS_PER_WATT * Sampled::of(spectrum).tristimulus().y;
        let expected = format!("a level that light can have: check whether the values are in {}", unit.word());
        return Err(Defect::at(line, "unit", &format!("a spectrum of {sum:.3e} {name}"), expected));
    };
    let Some(given) = given else { return Ok(()) };
    let (column, own, given) = match (own, given) {
        (Level::Illuminance(own), Level::Illuminance(given)) => ("illuminance_lx", own.get(), given.get()),
        (Level::Luminance(own), Level::Luminance(given)) => ("luminance_cd_m2", own.get(), given.get()),
        (Level::Illuminance(own), Level::Luminance(given)) => {
            let found = format!("{} cd/m2 beside a spectrum in W/m2/nm", given.get());
            let expected = format!("illuminance_lx, or nothing: the spectrum gives {:.4} lx", own.get());
            return Err(Defect::at(line, "luminance_cd_m2", &found, expected));
        }
        (Level::Luminance(own), Level::Illuminance(given)) => {
            let found = format!("{} lx beside a spectrum in W/m2/sr/nm", given.get());
            let expected = format!("luminance_cd_m2, or nothing: the spectrum gives {:.4} cd/m2", own.get());
            return Err(Defect::at(line, "illuminance_lx", &found, expected));
        }
    };
    if (given - own).abs() <= AGREES * own {
        return Ok(());
    }
    let expected =
        format!("{own:.4} {name} within 10 %, as the spectrum gives it: check the unit, or leave the level away");
    Err(Defect::at(line, column, &format!("{given} {name}"), expected))
}

fn fits_display(line: u64, patch: Patch, level: Option<Level>) -> Result<(), Defect> {
    match (patch, level) {
        (_, Some(Level::Illuminance(lx))) => {
            let found = format!("{} lx", lx.get());
            Err(Defect::at(line, "illuminance_lx", &found, "luminance_cd_m2: a display's level is a luminance"))
        }
        (Patch::White, Some(Level::Luminance(l))) => has_light(line, "luminance_cd_m2", l.get()),
        (Patch::Paper, _) => {
            Err(Defect::at(line, "patch", "paper", "white or black: lit paper is read under a lamp, not on a display"))
        }
        _ => Ok(()),
    }
}

fn fits_lamp(line: u64, patch: Patch, level: Option<Level>) -> Result<(), Defect> {
    match (patch, level) {
        (Patch::Black, _) => Err(Defect::at(line, "patch", "black", "white, paper or ambient: a lamp has no black")),
        (Patch::White, Some(Level::Luminance(l))) => {
            let found = format!("{} cd/m2", l.get());
            let expected =
                "illuminance_lx: a lamp's level is the illuminance on the print (lit paper is patch = paper)";
            Err(Defect::at(line, "luminance_cd_m2", &found, expected))
        }
        (Patch::Paper, Some(Level::Illuminance(lx))) => {
            let found = format!("{} lx", lx.get());
            Err(Defect::at(line, "illuminance_lx", &found, "luminance_cd_m2: lit paper has a luminance"))
        }
        (Patch::White, Some(Level::Illuminance(lx))) => has_light(line, "illuminance_lx", lx.get()),
        (Patch::Paper, Some(Level::Luminance(l))) => has_light(line, "luminance_cd_m2", l.get()),
        _ => Ok(()),
    }
}

fn has_light(line: u64, column: &str, value: f64) -> Result<(), Defect> {
    if value > 0.0 {
        Ok(())
    } else {
        Err(Defect::at(line, column, &value.to_string(), "more than 0: a white without light has no colour"))
    }
}
