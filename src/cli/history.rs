//! `history`: readings, model and events of one thing over time, and the records of it.

mod json;
mod records;
mod svg;

use std::collections::HashMap;
use std::fs;
use std::path::Path;

use super::args::When;
use super::fail::{Failure, Kind};
use super::output;
use super::plot::{Plot, Point};
use super::session::{Asked, Session};
use super::width;
use crate::aims;
use crate::color::{delta_uv, uv_prime};
use crate::drift::{Fate, Params};
use crate::estimates::{self, Estimate, Met};
use crate::ledger::store::{EventRow, ReadingRow};
use crate::ledger::{LedgerError, Seq, Store};
use crate::reading::{Patch, ThingKind};
use crate::say;
use crate::site::AimWhite;
use crate::units::{DeviceId, Time, UvPrime};
pub use json::History;
use records::{Deed, Known, Origins};

/// One reading and what became of it.
struct Line {
    row: ReadingRow,
    fate: Option<Fate>,
    /// The model's mean after it: u′, v′, ln level.
    model: [Option<f64>; 3],
    origins: Origins,
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
    when: &When,
    json: bool,
) -> Result<(), Failure> {
    let Asked { session, mut ledger, as_of: now, given, .. } = session.asked(&when.at, &when.known)?;
    let (device, kind) = session.thing(device)?;
    // All of it, what lies ahead of the clock and is held back for that included.
    let as_of = given.unwrap_or(Time::from_micros(i64::MAX));
    let lit = matches!(kind, ThingKind::Display | ThingKind::Lamp);
    if svg.is_some() && !lit {
        return Err(Failure::new(Kind::Usage, format!("--svg draws displays and lamps; {device} is neither")));
    }
    let (known, walked, mut deeds) = ledger.read(|store| -> Result<_, Failure> {
        if !lit {
            let deeds = Deed::all(store, store.events(&device, Time::from_micros(i64::MIN), as_of)?)?;
            return Ok((Known::of(store, &session, &device, kind, &deeds, now)?, None, deeds));
        }
        let mut model = svg.map(|_| svg::Model::default());
        let mut walked = walk(store, &session, &device, as_of, model.as_mut())?;
        if let Some((file, model)) = svg.zip(model) {
            draw(store, &session, &device, &walked, model, file, now)?;
        }
        if let Some(last) = last {
            walked.readings.drain(..walked.readings.len().saturating_sub(last));
        }
        for line in &mut walked.readings {
            line.origins = Origins::of(store, &line.row)?;
        }
        let deeds = Deed::all(store, std::mem::take(&mut walked.events))?;
        Ok((Known::of(store, &session, &device, kind, &deeds, now)?, Some(walked), deeds))
    })?;
    let readings = walked.as_ref().map(|walked| walked.readings.as_slice()).unwrap_or_default();
    if json {
        let estimate = walked.as_ref().map(|walked| &walked.estimate);
        output::json(&History::of(device, &known, readings, &deeds, estimate))
    } else {
        // Before the first reading that is shown there is nothing for an event to explain.
        if let Some(first) = readings.first().filter(|_| last.is_some()) {
            deeds.retain(|deed| deed.row.event.time >= first.row.time);
        }
        let mut text = known.text(&session, now);
        text.push_str(&as_text(&session, &device, kind, readings, &deeds));
        if let Some(walked) = &walked {
            text.push_str(&plots(&session, &device, readings, &deeds, &walked.estimate.params));
        }
        output::print(&text)
    }
}

fn draw(
    store: &Store,
    session: &Session,
    device: &DeviceId,
    walked: &Walked,
    model: svg::Model,
    file: &Path,
    now: Time,
) -> Result<(), Failure> {
    let gathered = super::ageing::gather(store, session, device, now)?;
    let mut drawn = svg::Drawn {
        title: format!("{device}, {}", say::day(&session.zone(), now)),
        readings: &walked.readings,
        events: &walked.events,
        params: &walked.estimate.params,
        model,
        now,
        state: &walked.estimate.state,
        until: gathered.report.leaving.and_then(|leaving| leaving.about),
        is_display: session.config.things.display(device).is_some(),
        zone: session.zone(),
    };
    Ok(fs::write(file, svg::document(&mut drawn))?)
}

fn walk(
    store: &Store,
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
                readings.push(Line { row: row.clone(), fate: Some(absorbed.fate), model, origins: Origins::default() });
            }
            Met::Passed(row) => {
                readings.push(Line { row: row.clone(), fate: None, model: [None; 3], origins: Origins::default() })
            }
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

impl Line {
    fn used(&self) -> bool {
        self.fate.is_some_and(Fate::is_used)
    }

    fn why(&self) -> Option<String> {
        say::fate(self.fate, self.row.excluded.as_deref(), self.row.patch)
    }
}

fn as_text(session: &Session, device: &DeviceId, kind: ThingKind, readings: &[Line], deeds: &[Deed]) -> String {
    let zone = session.zone();
    let named = &session.config.things.operators;
    if readings.is_empty() && deeds.is_empty() {
        return match kind {
            ThingKind::Display | ThingKind::Lamp => {
                format!("{device}: nothing is known yet. `twinwhite add {device} …` takes a reading in.\n")
            }
            ThingKind::Paper => {
                format!("{device}: nothing was done to it yet. `twinwhite record new_batch {device}`\n")
            }
            ThingKind::Instrument => {
                format!("{device}: nothing was done to it yet. `twinwhite record certificate {device} until=…`\n")
            }
        };
    }
    let dash = || "-".to_owned();
    let plain =
        |seq: Seq, time: Time, what: String| [seq.to_string(), zone.show(time), dash(), dash(), dash(), dash(), what];
    let mut rows: Vec<(Time, [String; 7])> = Vec::new();
    for line in readings {
        let row = &line.row;
        let level = row.ln_level.map_or_else(dash, |ln| format!("{:.1}", libm::exp(ln)));
        let used = if line.used() { "yes" } else { "no" };
        let late = line.origins.origin.as_ref().and_then(|origin| say::entered_late(origin.entered.since(row.time)));
        let why: Vec<String> = line.why().into_iter().chain(late).collect();
        let cells = [
            row.seq.to_string(),
            zone.show(row.time),
            format!("{:.4}", row.u),
            format!("{:.4}", row.v),
            level,
            used.to_owned(),
            why.join("; "),
        ];
        rows.push((row.time, cells));
        let corrections = line.origins.corrections.iter();
        rows.extend(corrections.map(|c| (row.time, plain(c.seq, c.time, c.text(row.seq, named)))));
    }
    for Deed { row, entered, corrections } in deeds {
        let event = &row.event;
        let back = row.excluded.as_ref().map(|_| "does not count".to_owned());
        let by = event.operator.as_ref().map(|by| say::who(by, event.operator_by, named));
        let late = entered.and_then(|entered| say::entered_late(entered.since(event.time)));
        let details = say::event_details(event);
        let said: Vec<String> =
            (details.into_iter().chain(event.note.clone()).chain(by).chain(late).chain(back)).collect();
        let what = format!("** {} {}", event.kind.word(), said.join(", "));
        rows.push((event.time, plain(row.seq, event.time, what.trim_end().to_owned())));
        rows.extend(corrections.iter().map(|c| (event.time, plain(c.seq, c.time, c.text(row.seq, named)))));
    }
    rows.sort_by_key(|(time, _)| *time);
    let rows = rows.into_iter().map(|(_, row)| row);
    let mut text = match kind {
        ThingKind::Display | ThingKind::Lamp => {
            let header = ["entry", "time", "u′", "v′", "level", "used", ""];
            output::fitting_table(header, rows, &[2, 3, 5], 0)
        }
        ThingKind::Paper | ThingKind::Instrument => {
            output::fitting_table(["entry", "time", ""], rows.map(|[seq, time, .., what]| [seq, time, what]), &[], 0)
        }
    };
    text.push('\n');
    text
}

fn plots(session: &Session, device: &DeviceId, readings: &[Line], deeds: &[Deed], params: &Params) -> String {
    let things = &session.config.things;
    let aim = match things.display(device) {
        Some(display) if display.aim.white != AimWhite::Paper => params.aim_white,
        Some(_) => None,
        None => things.lamp(device).and_then(|lamp| uv_prime(lamp.aim.white).ok()),
    };
    // Other patches are other quantities.
    let white = || readings.iter().filter(|line| line.row.patch == Patch::White);
    let events: Vec<Time> = deeds.iter().map(|deed| deed.row.event.time).collect();
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
