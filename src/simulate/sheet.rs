//! Readings and events as the files that people of the print room drop: small tables, now and then JSON.
//!
//! What they mean and when they are dropped is for `print_room`.

use super::spectra::{self, Shape};
use crate::units::{DeviceId, Xy};

/// A file as it is dropped.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Dropped {
    /// The folder below the inbox, where the file lies in the folder of its device.
    pub folder: Option<DeviceId>,
    /// Its name.
    pub name: String,
    /// Its content.
    pub text: String,
}

/// One reading, ready to be written down.
pub(super) struct Line<'a> {
    pub time: &'a str,
    pub device: &'a DeviceId,
    pub white: Xy,
    /// Named as its column.
    pub level: (&'static str, f64),
    pub operator: &'a str,
    pub warmup_min: f64,
}

/// Something that was done, ready to be written down.
pub(super) struct Done<'a> {
    pub time: &'a str,
    pub device: &'a DeviceId,
    pub event: &'static str,
    pub by: &'a str,
    pub note: &'static str,
}

/// The instrument that reads everything.
const INSTRUMENT: &str = "spectro-1";

/// A display and a lamp in one table, the device in a column.
pub(super) fn of_both(name: String, lines: &[Line]) -> Dropped {
    let mut text = "time,device,x,y,luminance_cd_m2,illuminance_lx,warmup_min,instrument,operator\n".to_owned();
    for line in lines {
        let level = format!("{:.1}", line.level.1);
        let levels = if line.level.0 == "luminance_cd_m2" { format!("{level},") } else { format!(",{level}") };
        let Xy { x, y } = line.white;
        let Line { time, device, warmup_min, operator, .. } = line;
        text.push_str(&format!("{time},{device},{x:.4},{y:.4},{levels},{warmup_min:.0},{INSTRUMENT},{operator}\n"));
    }
    Dropped { folder: None, name, text }
}

/// One device in its own folder; the table need not name it. `level_column` is what the person wrote over the level.
pub(super) fn of_one(name: String, line: &Line, level_column: &str) -> Dropped {
    let Xy { x, y } = line.white;
    let Line { time, level: (_, level), warmup_min, operator, .. } = line;
    let text = format!(
        "time,x,y,{level_column},warmup_min,instrument,operator\n\
         {time},{x:.4},{y:.4},{level:.1},{warmup_min:.0},{INSTRUMENT},{operator}\n"
    );
    Dropped { folder: Some(line.device.clone()), name, text }
}

/// A lamp's spectrum in its own folder: colour, level and rendering in one row.
pub(super) fn of_spectrum(name: String, line: &Line, shape: Shape) -> Option<Dropped> {
    let Line { time, white, level: (_, lux), warmup_min, operator, .. } = line;
    let columns: Vec<String> = spectra::nm().map(|nm| format!("nm{nm}")).collect();
    let values: Vec<String> =
        spectra::spectrum(shape, *white, *lux)?.iter().map(|value| format!("{value:.5e}")).collect();
    let text = format!(
        "time,unit,warmup_min,instrument,operator,{}\n{time},W/m2/nm,{warmup_min:.0},{INSTRUMENT},{operator},{}\n",
        columns.join(","),
        values.join(",")
    );
    Some(Dropped { folder: Some(line.device.clone()), name, text })
}

/// Light that falls on the print with the lamp off: time, lx and white of each reading.
pub(super) fn of_foreign(name: String, lamp: &DeviceId, by: &str, readings: &[(String, f64, Xy)]) -> Dropped {
    let mut text = "time,patch,x,y,illuminance_lx,instrument,operator\n".to_owned();
    for (time, lx, Xy { x, y }) in readings {
        text.push_str(&format!("{time},ambient,{x:.4},{y:.4},{lx:.1},{INSTRUMENT},{by}\n"));
    }
    Dropped { folder: Some(lamp.clone()), name, text }
}

/// The same as JSON, with what was done before the readings.
pub(super) fn as_json(name: String, done: &[Done], lines: &[Line]) -> Dropped {
    let one = |line: &Line| {
        let Line { time, device, white: Xy { x, y }, level: (level, value), operator, warmup_min } = line;
        format!(
            "  {{\"time\": \"{time}\", \"device\": \"{device}\", \"x\": {x:.4}, \"y\": {y:.4}, \"{level}\": {value:.1}, \
             \"warmup_min\": {warmup_min:.0}, \"instrument\": \"{INSTRUMENT}\", \"operator\": \"{operator}\"}}"
        )
    };
    let event = |done: &Done| {
        let Done { time, device, event, by, note } = done;
        format!(
            "  {{\"time\": \"{time}\", \"device\": \"{device}\", \"event\": \"{event}\", \"operator\": \"{by}\", \"note\": \"{note}\"}}"
        )
    };
    let mut lists = Vec::new();
    if !done.is_empty() {
        lists.push(format!("\"events\": [\n{}\n]", done.iter().map(event).collect::<Vec<_>>().join(",\n")));
    }
    lists.push(format!("\"readings\": [\n{}\n]", lines.iter().map(one).collect::<Vec<_>>().join(",\n")));
    Dropped { folder: None, name, text: format!("{{{}}}\n", lists.join(", ")) }
}

/// What was done, as a table of its own.
pub(super) fn of_event(name: String, done: &Done) -> Dropped {
    let Done { time, device, event, by, note } = done;
    let text = format!("time,device,event,operator,note\n{time},{device},{event},{by},{note}\n");
    Dropped { folder: None, name, text }
}
