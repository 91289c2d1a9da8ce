//! The drawing of `history --svg`: u′, v′ and level over time, one below the other.
//!
//! The band is the model's at the times between the readings, each from the state as it was after the reading before: it widens until
//! the next one narrows it. What is not used stands as a cross with a letter; the letters' reasons stand below.

use maud::{Markup, html};

use super::Line;
use crate::cli::drawing::{BandPoint, Frame, at, range, sheet, wrapped};
use crate::drift::{DeviceState, Params};
use crate::ledger::store::EventRow;
use crate::reading::Patch;
use crate::say;
use crate::station::grid;
use crate::units::{Days, Time};
use crate::zone::LocalZone;

/// Standard deviations of a band that holds nine in ten.
const NINE_IN_TEN: f64 = 1.645;
/// Days ahead that are drawn where no date of leaving the aim lies farther.
const AHEAD_DAYS: f64 = 90.0;
/// And at most.
const FARTHEST_DAYS: f64 = 730.0;
/// Reasons that are written out.
const REASONS: usize = 20;

/// The model between the records, gathered on the way through them.
#[derive(Default)]
pub struct Model {
    before: Option<(Time, DeviceState)>,
    /// For each channel: days since the epoch, mean, sd.
    bands: [Vec<(f64, f64, f64)>; 3],
}

impl Model {
    /// Notes the state after a record at `time`; the state before it is drawn up to here.
    pub fn note(&mut self, params: &Params, time: Time, state: &DeviceState) {
        if let Some((from, before)) = self.before.take() {
            let half = from.plus(Days(0.5 * time.since(from).0));
            self.add(params, &before, &[half, time]);
        }
        self.add(params, state, &[time]);
        self.before = Some((time, state.clone()));
    }

    fn add(&mut self, params: &Params, state: &DeviceState, times: &[Time]) {
        let path = state.forecast(params, times).likely;
        for (band, channel) in self.bands.iter_mut().zip(&path.channels) {
            let Some(channel) = channel else { continue };
            let rows = times.iter().zip(channel.mean.iter().zip(&channel.sd));
            band.extend(rows.map(|(time, (mean, sd))| (days(*time), *mean, *sd)));
        }
    }
}

fn days(time: Time) -> f64 {
    time.since(Time::from_micros(0)).0
}

/// What is drawn.
pub struct Drawn<'a> {
    pub title: String,
    pub readings: &'a [Line],
    pub events: &'a [EventRow],
    pub params: &'a Params,
    pub model: Model,
    /// The instant from which the forecast runs, the state there, and the date up to which it is wanted.
    pub now: Time,
    pub state: &'a DeviceState,
    pub until: Option<Time>,
    pub is_display: bool,
    pub zone: LocalZone,
}

const WIDTH: f64 = 1040.0;
const LEFT: f64 = 80.0;
const ACROSS: f64 = 920.0;
const TOPS: [f64; 3] = [120.0, 330.0, 540.0];
const HEIGHT: f64 = 160.0;

/// The SVG document.
pub fn document(drawn: &mut Drawn) -> String {
    let last = drawn.readings.iter().filter(|line| line.used()).map(|line| line.row.time).max();
    let now = last.map_or(drawn.now, |last| last.max(drawn.now));
    let wanted = drawn.until.map_or(AHEAD_DAYS, |until| until.since(now).0).clamp(AHEAD_DAYS, FARTHEST_DAYS);
    // Up to now the state after the last record goes on by itself.
    if let Some((time, state)) = drawn.model.before.take().filter(|(time, _)| *time < now) {
        let (params, half) = (drawn.params, time.plus(Days(0.5 * now.since(time).0)));
        drawn.model.add(params, &state, &[half, now]);
    }
    let ahead_times = grid(now, Days(wanted));
    let ahead = drawn.state.forecast(drawn.params, &ahead_times).likely;
    let white: Vec<&Line> = drawn.readings.iter().filter(|line| line.row.patch == Patch::White).collect();
    let others = drawn.readings.len() - white.len();
    let reasons = reasons(&white);
    let first = white
        .iter()
        .filter(|line| line.used())
        .map(|line| line.row.time)
        .chain(drawn.events.iter().map(|row| row.event.time))
        .min();
    let across = (days(first.unwrap_or(now)), days(now) + wanted);
    let aim = drawn.params.aim_white;
    let aims = [aim.map(|aim| aim.u), aim.map(|aim| aim.v), drawn.params.aim_ln_level.map(libm::exp)];
    let level = if drawn.is_display { "luminance, cd/m²" } else { "illuminance, lx" };
    let titles = [("u′", 4, 0.002), ("v′", 4, 0.002), (level, 0, 2.0)];
    let panels: Vec<Markup> = (0..3)
        .filter_map(|c: usize| {
            let value = |number: f64| if c == 2 { libm::exp(number) } else { number };
            let edges = |(time, mean, sd): (f64, f64, f64)| {
                (time, value(mean - NINE_IN_TEN * sd), value(mean + NINE_IN_TEN * sd))
            };
            let model: Vec<(f64, f64, f64)> =
                drawn.model.bands.get(c)?.iter().copied().filter(|(time, ..)| *time <= days(now)).collect();
            let fan: Vec<(f64, f64, f64)> = match ahead.channels.get(c)? {
                Some(channel) => (ahead_times.iter().zip(channel.mean.iter().zip(&channel.sd)))
                    .map(|(time, (mean, sd))| (days(*time), *mean, *sd))
                    .collect(),
                None => Vec::new(),
            };
            let (title, digits, least) = *titles.get(c)?;
            let read = |line: &Line| match c {
                0 => Some(line.row.u),
                1 => Some(line.row.v),
                _ => line.row.ln_level.map(libm::exp),
            };
            // What is not used does not stretch the scale; it stands at the edge.
            let used = white.iter().filter(|line| line.used()).filter_map(|line| read(line));
            let band: Vec<BandPoint> = model.iter().copied().map(edges).collect();
            let onward: Vec<BandPoint> = fan.iter().copied().map(edges).collect();
            let means = model.iter().chain(&fan).map(|(_, mean, _)| value(*mean));
            let tops = onward.iter().flat_map(|(_, low, high)| [*low, *high]);
            let up = range(used.chain(means).chain(tops).chain(*aims.get(c)?), least);
            let frame = Frame { place: (LEFT, *TOPS.get(c)?, ACROSS, HEIGHT), across, up };
            let line = |points: &[(f64, f64, f64)]| -> Vec<(f64, f64)> {
                points.iter().map(|(time, mean, _)| (*time, value(*mean))).collect()
            };
            Some(html! {
                (frame.scale(title, digits))
                (frame.band(&band, "band"))
                (frame.band(&onward, "ahead"))
                @if let Some(aim) = aims.get(c).copied().flatten() {
                    line class="aim" x1=(LEFT) x2=(LEFT + ACROSS) y1=(at(frame.y(aim))) y2=(at(frame.y(aim))) { title { "its aim" } }
                }
                (frame.line(&line(&model), "model"))
                (frame.line(&line(&fan), "onward"))
                (frame.upright(days(now), "now", "grid"))
                @for row in drawn.events.iter().filter(|row| row.excluded.is_none()) {
                    (frame.upright(days(row.event.time), &event_words(row, &drawn.zone), "event"))
                }
                @for one in &white { @if let Some(value) = read(one) { (mark(&frame, one, value, &reasons, &drawn.zone)) } }
            })
        })
        .collect();
    let frame = Frame { place: (LEFT, TOPS[0], ACROSS, HEIGHT), across, up: (0.0, 1.0) };
    let under = TOPS[2] + HEIGHT;
    let notes = notes(&reasons, others);
    let content = html! {
        text class="head" x="24" y="34" { (drawn.title) }
        text class="faint" x="24" y="54" {
            "green band: the model, nine in ten; brown and dashed: ahead if nobody touches it; dotted: its aim; crosses: not used, reasons below"
        }
        (event_labels(&frame, drawn.events))
        @for panel in &panels { (panel) }
        @for date in dates(across) {
            text class="faint" x=(at(frame.x(days(date)))) y=(under + 18.0) text-anchor="middle" { (say::day(&drawn.zone, date)) }
        }
        @for (nth, note) in notes.iter().enumerate() { text x="24" y=(under + 50.0 + 17.0 * nth as f64) { (note) } }
    };
    sheet(WIDTH, under + 60.0 + 17.0 * notes.len() as f64, &content)
}

fn event_words(row: &EventRow, zone: &LocalZone) -> String {
    let note = row.event.note.as_ref().map(|note| format!(": {note}")).unwrap_or_default();
    format!("{} {}{note}", say::day(zone, row.event.time), row.event.kind.word())
}

/// The events' words over the first panel, in three rows so that neighbours do not hide each other.
fn event_labels(frame: &Frame, events: &[EventRow]) -> Markup {
    html! {
        @for (nth, row) in events.iter().filter(|row| row.excluded.is_none()).enumerate() {
            text class="eventword" x=(at(frame.x(days(row.event.time)) + 3.0)) y=(74 + 14 * (nth % 3)) { (row.event.kind.word().replace('_', " ")) }
        }
    }
}

/// Reasons for which readings are not used, each once, in the order of time.
fn reasons(readings: &[&Line]) -> Vec<String> {
    let mut reasons: Vec<String> = Vec::new();
    for why in readings.iter().filter(|line| !line.used()).map(|line| reason(line)) {
        if !reasons.contains(&why) {
            reasons.push(why);
        }
    }
    reasons
}

fn reason(line: &Line) -> String {
    line.why().unwrap_or_else(|| "not used".to_owned())
}

/// The letter of a reason: a to z, then its number.
fn letter(nth: usize) -> String {
    u8::try_from(nth)
        .ok()
        .filter(|nth| *nth < 26)
        .map_or_else(|| (nth + 1).to_string(), |nth| char::from(b'a' + nth).to_string())
}

fn notes(reasons: &[String], others: usize) -> Vec<String> {
    let mut notes: Vec<String> = Vec::new();
    for (nth, why) in reasons.iter().take(REASONS).enumerate() {
        notes.extend(wrapped(&format!("{}  {why}", letter(nth)), 150));
    }
    if reasons.len() > REASONS {
        notes.push(format!("and {} more reasons: `twinwhite history` lists them", reasons.len() - REASONS));
    }
    if others > 0 {
        notes.push(format!("Not drawn: {} of paper, black or foreign light.", say::count(others as u64, "reading")));
    }
    notes
}

fn mark(frame: &Frame, line: &Line, value: f64, reasons: &[String], zone: &LocalZone) -> Markup {
    // A wrong time must not stretch the sheet: it stands at the edge.
    let (x, y) = (frame.x(days(line.row.time).clamp(frame.across.0, frame.across.1)), frame.y(value));
    let told = format!("{}: {value:.4}", zone.show(line.row.time));
    if line.used() {
        let why = line.why().map(|why| format!("; {why}")).unwrap_or_default();
        return html! { circle class="used" cx=(at(x)) cy=(at(y)) r="2.2" { title { (told) (why) } } };
    }
    let why = reason(line);
    let word = reasons.iter().position(|known| *known == why).map(letter).unwrap_or_default();
    html! {
        path class="unused" d=(format!("M{:.1} {:.1}l7 7m0 -7l-7 7", x - 3.5, y - 3.5)) { title { (told) "; " (why) } }
        text class="faint" x=(at(x + 6.0)) y=(at(y - 3.0)) { (word) }
    }
}

/// A few days to write under the panels, evenly apart.
fn dates((from, to): (f64, f64)) -> Vec<Time> {
    (0..=5).map(|n| Time::from_micros(0).plus(Days(from + (to - from) * f64::from(n) / 5.0))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_go_on_as_numbers() {
        assert_eq!([0, 25, 26].map(letter), ["a", "z", "27"]);
    }
}
