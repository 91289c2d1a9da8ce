//! `history`: readings, model and events of one device over time.

mod svg;

use std::collections::HashMap;
use std::fs;
use std::path::Path;

use schemars::JsonSchema;
use serde::Serialize;

use super::answer::MeanSd;
use super::args::AsOf;
use super::fail::Failure;
use super::output;
use super::plot::{Plot, Point};
use super::session::Session;
use super::width;
use crate::aims;
use crate::color::{delta_uv, uv_prime};
use crate::drift::{Fate, Params};
use crate::estimates::{self, Estimate, Met};
use crate::ledger::store::{EventRow, ReadingRow};
use crate::ledger::{LedgerError, Seq};
use crate::reading::{EventKind, Patch};
use crate::say;
use crate::site::AimWhite;
use crate::units::{DeviceId, Hours, InstrumentId, OperatorId, Time, UvPrime};

/// Every reading that was kept of one device, and everything that was done to it.
#[derive(Debug, Serialize, JsonSchema)]
pub struct History {
    /// The display or lamp.
    device: DeviceId,
    /// Its readings by their own time, the oldest first.
    readings: Vec<ReadingJson>,
    /// What was done to it, the oldest first.
    events: Vec<EventJson>,
    /// The instrument on whose scale the device is kept; not there where no reading named one.
    #[serde(skip_serializing_if = "Option::is_none")]
    scale: Option<ScaleJson>,
}

/// One reading.
#[derive(Debug, Serialize, JsonSchema)]
pub struct ReadingJson {
    /// Its entry in the ledger.
    seq: Seq,
    /// When it was measured.
    time: Time,
    /// Whether it counts.
    used: bool,
    /// Why it does not count, or not fully, in words; null where it does.
    why: Option<String>,
    /// CIE 1976 u′.
    u_prime: f64,
    /// CIE 1976 v′.
    v_prime: f64,
    /// Natural logarithm of illuminance in lx for a lamp, of luminance in cd/m² for a display or lit paper; null where no level
    /// was read.
    ln_luminance: Option<f64>,
    /// What it was read with; null where that was not said.
    instrument: Option<InstrumentId>,
    /// What was lit.
    patch: Patch,
    /// The device's own hours counter, h; null where it was not read.
    hours: Option<Hours>,
    /// Minutes since the device was switched on; null where that was not said.
    warmup_min: Option<f64>,
    /// Dimmer or dial, as written; null where that was not said.
    setting: Option<String>,
}

/// Something that was done to the device.
#[derive(Debug, Serialize, JsonSchema)]
pub struct EventJson {
    /// Its entry in the ledger.
    seq: Seq,
    /// When it was done.
    time: Time,
    /// What was done.
    event: EventKind,
    /// Whether it counts; false where it was taken back.
    used: bool,
    /// Who did it; null where that was not said.
    operator: Option<OperatorId>,
    /// What was noted; null where nothing was.
    note: Option<String>,
}

/// The instrument on whose scale the device is kept: the one that read it most.
#[derive(Debug, Serialize, JsonSchema)]
pub struct ScaleJson {
    /// The instrument.
    instrument: InstrumentId,
    /// What the instrument that read it second most reads above that one; null where there is no second.
    other: Option<OtherInstrument>,
}

/// What an instrument reads above the one on whose scale the device is kept.
#[derive(Debug, Serialize, JsonSchema)]
pub struct OtherInstrument {
    /// The instrument.
    instrument: InstrumentId,
    /// Difference in CIE 1976 u′.
    u_prime: MeanSd,
    /// Difference in CIE 1976 v′.
    v_prime: MeanSd,
    /// Difference in the natural logarithm of the level, which is about its fraction.
    ln_luminance: MeanSd,
}

/// One reading and what became of it.
struct Line {
    row: ReadingRow,
    fate: Option<Fate>,
    /// The model's mean after it: u′, v′, ln level.
    model: [Option<f64>; 3],
}

/// All records of a device, and its estimate after them.
struct Walked {
    readings: Vec<Line>,
    events: Vec<EventRow>,
    estimate: Estimate,
}

/// Answers `history`.
pub fn history(
    session: Session,
    device: &str,
    last: Option<usize>,
    svg: Option<&Path>,
    when: &AsOf,
    json: bool,
) -> Result<(), Failure> {
    let device = session.device(device)?;
    // All of it, what lies ahead of the clock and is held back for that included.
    let as_of = if when.as_of.is_some() { session.as_of(when)? } else { Time::from_micros(i64::MAX) };
    let mut ledger = session.reader()?;
    let now = if when.as_of.is_some() { as_of } else { session.clock.now() };
    let Walked { mut readings, mut events, estimate } = ledger.read(|store| -> Result<_, Failure> {
        let mut model = svg.map(|_| svg::Model::default());
        let walked = walk(store, &session, &device, as_of, model.as_mut())?;
        if let Some((file, model)) = svg.zip(model) {
            let gathered = super::ageing::gather(store, &session, &device, now)?;
            let mut drawn = svg::Drawn {
                title: format!("{device}, {}", say::day(&session.zone(), now)),
                readings: &walked.readings,
                events: &walked.events,
                params: &walked.estimate.params,
                model,
                now,
                state: &walked.estimate.state,
                until: gathered.report.leaving.and_then(|leaving| leaving.about),
                is_display: session.config.things.display(&device).is_some(),
                zone: session.zone(),
            };
            fs::write(file, svg::document(&mut drawn))?;
        }
        Ok(walked)
    })?;
    if let Some(last) = last {
        readings.drain(..readings.len().saturating_sub(last));
    }
    if json {
        output::json(&History {
            device,
            readings: readings.iter().map(ReadingJson::of).collect(),
            events: events.iter().map(EventJson::of).collect(),
            scale: ScaleJson::of(&estimate),
        })
    } else {
        // Before the first reading that is shown there is nothing for an event to explain.
        if let Some(first) = readings.first().filter(|_| last.is_some()) {
            events.retain(|row| row.event.time >= first.row.time);
        }
        output::print(&as_text(&session, &device, &readings, &events, &estimate.params))
    }
}

fn walk(
    store: &crate::ledger::Store,
    session: &Session,
    device: &DeviceId,
    as_of: Time,
    mut model: Option<&mut svg::Model>,
) -> Result<Walked, LedgerError> {
    let mut readings: Vec<Line> = Vec::new();
    let mut events = Vec::new();
    let mut revised: HashMap<Seq, Fate> = HashMap::new();
    let things = &session.config.things;
    let unknown = || LedgerError::Damaged { what: format!("{device} is no display or lamp") };
    let params = aims::params_of(things, device).ok_or_else(unknown)?;
    let estimate = estimates::history(store, things, device, as_of, |met, state| {
        if let (Some(model), Met::Reading(..) | Met::Event(..)) = (model.as_deref_mut(), met) {
            model.note(&params, met.time(), state);
        }
        revised.extend(met.revised());
        match met {
            Met::Reading(row, absorbed) => {
                let path = state.forecast(&params, &[row.time]).likely;
                let model = path.channels.map(|channel| channel.and_then(|channel| channel.mean.first().copied()));
                readings.push(Line { row: row.clone(), fate: Some(absorbed.fate), model });
            }
            Met::Passed(row) => readings.push(Line { row: row.clone(), fate: None, model: [None; 3] }),
            Met::Event(row, _) => events.push(row.clone()),
        }
    })?
    .ok_or_else(unknown)?;
    for line in &mut readings {
        if let Some(fate) = revised.get(&line.row.seq) {
            line.fate = Some(*fate);
        }
    }
    Ok(Walked { readings, events, estimate })
}

impl ScaleJson {
    /// `None` where no instrument was named.
    fn of(estimate: &Estimate) -> Option<Self> {
        let instrument = estimate.state.scale_instrument()?.clone();
        let other = estimate.state.other_instrument(&estimate.params).map(|(id, [u, v, ln])| OtherInstrument {
            instrument: id.clone(),
            u_prime: u.into(),
            v_prime: v.into(),
            ln_luminance: ln.into(),
        });
        Some(Self { instrument, other })
    }
}

impl Line {
    fn used(&self) -> bool {
        self.fate.is_some_and(Fate::is_used)
    }

    fn why(&self) -> Option<String> {
        say::fate(self.fate, self.row.excluded.as_deref(), self.row.patch)
    }
}

impl ReadingJson {
    fn of(line: &Line) -> Self {
        let row = &line.row;
        Self {
            seq: row.seq,
            time: row.time,
            used: line.used(),
            why: line.why(),
            u_prime: row.u,
            v_prime: row.v,
            ln_luminance: row.ln_level,
            instrument: row.instrument.clone(),
            patch: row.patch,
            hours: row.hours,
            warmup_min: row.warmup_min,
            setting: row.setting.clone(),
        }
    }
}

impl EventJson {
    fn of(row: &EventRow) -> Self {
        Self {
            seq: row.seq,
            time: row.event.time,
            event: row.event.kind,
            used: row.excluded.is_none(),
            operator: row.event.operator.clone(),
            note: row.event.note.clone(),
        }
    }
}

fn as_text(session: &Session, device: &DeviceId, readings: &[Line], events: &[EventRow], params: &Params) -> String {
    if readings.is_empty() && events.is_empty() {
        return format!("{device}: nothing is known yet. `twinwhite add {device} …` takes a reading in.\n");
    }
    let zone = session.zone();
    let mut rows: Vec<(Time, [String; 7])> = readings
        .iter()
        .map(|line| {
            let row = &line.row;
            let level = row.ln_level.map_or_else(|| "-".to_owned(), |ln| format!("{:.1}", libm::exp(ln)));
            let used = if line.used() { "yes" } else { "no" };
            let why = line.why().unwrap_or_default();
            let cells = [
                row.seq.to_string(),
                zone.show(row.time),
                format!("{:.4}", row.u),
                format!("{:.4}", row.v),
                level,
                used.to_owned(),
                why,
            ];
            (row.time, cells)
        })
        .collect();
    rows.extend(events.iter().map(|row| {
        let event = &row.event;
        let dash = || "-".to_owned();
        let said = [event.operator.as_ref().map(ToString::to_string), event.note.clone()];
        let said: Vec<String> = said.into_iter().flatten().collect();
        let note = format!("** {} {}", event.kind.word(), said.join(", "));
        (
            event.time,
            [row.seq.to_string(), zone.show(event.time), dash(), dash(), dash(), dash(), note.trim_end().to_owned()],
        )
    }));
    rows.sort_by_key(|(time, _)| *time);
    let header = ["entry", "time", "u′", "v′", "level", "used", ""];
    let mut text = output::fitting_table(header, rows.into_iter().map(|(_, row)| row), &[2, 3, 5], 0);
    text.push('\n');
    text.push_str(&plots(session, device, readings, events, params));
    text
}

fn plots(session: &Session, device: &DeviceId, readings: &[Line], events: &[EventRow], params: &Params) -> String {
    let things = &session.config.things;
    let aim = match things.display(device) {
        Some(display) if display.aim.white != AimWhite::Paper => params.aim_white,
        Some(_) => None,
        None => things.lamp(device).and_then(|lamp| uv_prime(lamp.aim.white).ok()),
    };
    // Other patches are other quantities.
    let white = || readings.iter().filter(|line| line.row.patch == Patch::White);
    let events: Vec<Time> = events.iter().map(|row| row.event.time).collect();
    let date = |time| say::day(&session.zone(), time);
    let mut text = String::new();
    let about = aim.or_else(|| readings.first().map(|line| UvPrime { u: line.row.u, v: line.row.v }));
    if let Some(about) = about {
        let from = |uv: UvPrime| delta_uv(about, uv);
        let of = |used: bool| -> Vec<Point> {
            let lines = white().filter(|line| line.used() == used);
            lines.map(|l| Point { time: l.row.time, value: from(UvPrime { u: l.row.u, v: l.row.v }) }).collect()
        };
        let model: Vec<Point> = readings
            .iter()
            .filter_map(|l| Some(Point { time: l.row.time, value: from(UvPrime { u: l.model[0]?, v: l.model[1]? }) }))
            .collect();
        let title = if aim.is_some() { "Δu′v′ from its aim" } else { "Δu′v′ from its first reading" };
        let plot = Plot { title, points: &of(true), doubted: &of(false), line: &model, events: &events, digits: 4 };
        text.push_str(&plot.draw(width::of_drawing(), date));
    }
    let of = |used: bool| -> Vec<Point> {
        let lines = white().filter(|line| line.used() == used);
        lines.filter_map(|l| Some(Point { time: l.row.time, value: libm::exp(l.row.ln_level?) })).collect()
    };
    let model: Vec<Point> =
        readings.iter().filter_map(|l| Some(Point { time: l.row.time, value: libm::exp(l.model[2]?) })).collect();
    let title = if things.display(device).is_some() { "luminance, cd/m²" } else { "illuminance, lx" };
    let plot = Plot { title, points: &of(true), doubted: &of(false), line: &model, events: &events, digits: 0 };
    let levels = plot.draw(width::of_drawing(), date);
    if !levels.is_empty() {
        text.push('\n');
        text.push_str(&levels);
    }
    if !text.is_empty() {
        text.push_str("\no reading   x reading that is not used   . model   | event\n");
    }
    text
}
