//! The drawing of `ageing --svg`: light left over age with what lies ahead, and the way of the white in u′v′.

use maud::{Markup, html};

use super::gather::Gathered;
use crate::cli::drawing::{BandPoint, Frame, at, range, sheet, ticks, wrapped};
use crate::life::{Age, Aged, Life};
use crate::say;
use crate::zone::LocalZone;

/// Standard deviations of a band that holds nine in ten.
const NINE_IN_TEN: f64 = 1.645;

pub fn document(gathered: &Gathered, zone: &LocalZone) -> String {
    let report = &gathered.report;
    let head = say::ageing::headline(report, zone);
    let drawn = match gathered.lives.current().filter(|life| life.points().next().is_some()) {
        Some(life) => html! { (light(gathered, life)) (white(gathered, life)) },
        None => html! {},
    };
    let content = html! {
        @for (nth, line) in wrapped(&head, 110).iter().enumerate() {
            text class="head" x="24" y=(34 + 22 * nth) { (line) }
        }
        (drawn)
    };
    sheet(1000.0, 500.0, &content)
}

fn light(gathered: &Gathered, life: &Life) -> Markup {
    let report = &gathered.report;
    let aged = life.ageing();
    let share = |ln: f64| 100.0 * libm::exp(ln);
    let known = || aged.iter().filter_map(|one: &Aged| Some((one.age.number(), one.ln_left?)));
    let band: Vec<BandPoint> = known()
        .map(|(age, ln)| (age, share(ln.mean - NINE_IN_TEN * ln.sd), share(ln.mean + NINE_IN_TEN * ln.sd)))
        .collect();
    let line: Vec<(f64, f64)> = known().map(|(age, ln)| (age, share(ln.mean))).collect();
    // What lies ahead begins where the light stands now.
    let last = known().next_back().map(|(age, ln)| (age, ln.mean, ln.sd));
    let ahead: Vec<(f64, f64, f64)> = match (report.light_left, gathered.ahead.first()) {
        (Some(left), Some(now)) => (gathered.ahead.iter())
            .map(|one| {
                let mean = libm::log(left.mean) + one.ln_level.mean - now.ln_level.mean;
                let own = (left.sd / left.mean).powi(2) - now.ln_level.sd.powi(2);
                (life.age(one.time, one.hours).number(), mean, libm::sqrt(own.max(0.0) + one.ln_level.sd.powi(2)))
            })
            .collect(),
        _ => Vec::new(),
    };
    // What nobody has read since the last reading is ahead too.
    let ahead: Vec<(f64, f64, f64)> = last.into_iter().chain(ahead).collect();
    let onward: Vec<(f64, f64)> = ahead.iter().map(|(age, mean, _)| (*age, share(*mean))).collect();
    let fan: Vec<BandPoint> = ahead
        .iter()
        .map(|(age, mean, sd)| (*age, share(mean - NINE_IN_TEN * sd), share(mean + NINE_IN_TEN * sd)))
        .collect();
    let ages = || line.iter().chain(&onward).map(|(age, _)| *age);
    let until = ages().fold(0.0, f64::max);
    let rated = report
        .rated
        .map(|rated| rated.hours)
        .filter(|hours| matches!(report.age, Some(Age::Hours(_))) && *hours <= 1.3 * until);
    let from = ages().fold(f64::INFINITY, f64::min);
    let frame = Frame {
        place: (70.0, 110.0, 480.0, 310.0),
        across: (from, rated.unwrap_or(until).max(until)),
        up: range(band.iter().chain(&fan).flat_map(|(_, low, high)| [*low, *high]).chain([100.0]), 4.0),
    };
    let unit = if matches!(report.age, Some(Age::Hours(_))) { "hours of use" } else { "days in place" };
    html! {
        (frame.scale("light left, % of its first", 0))
        (frame.band(&band, "band"))
        (frame.band(&fan, "ahead"))
        (frame.line(&line, "model"))
        (frame.line(&onward, "onward"))
        @for (age, light) in &line { circle class="used" cx=(at(frame.x(*age))) cy=(at(frame.y(*light))) r="2.2" {} }
        @if let Some(rated) = rated { (frame.upright(rated, "rated hours", "limit")) }
        @for tick in ticks(frame.across, 5) {
            text class="faint" x=(at(frame.x(tick))) y="438" text-anchor="middle" { (say::ageing::thousands(tick)) }
        }
        text class="faint" x="310" y="458" text-anchor="middle" { (unit) }
        text class="faint" x="70" y="480" { "bands hold nine in ten; green: so far, brown and dashed: ahead" @if rated.is_some() { ", red: rated hours" } }
    }
}

fn white(gathered: &Gathered, life: &Life) -> Markup {
    let path: Vec<(f64, f64)> = life.points().map(|point| (point.u.mean, point.v.mean)).collect();
    let Some(white) = &gathered.report.white else { return html! {} };
    let (u, v) = (range(path.iter().map(|p| p.0), 0.004), range(path.iter().map(|p| p.1), 0.004));
    // One scale both ways, so that directions are true.
    let half = 0.5 * (u.1 - u.0).max(v.1 - v.0);
    let about = |(low, high): (f64, f64)| (0.5 * (low + high) - half, 0.5 * (low + high) + half);
    let frame = Frame { place: (640.0, 110.0, 310.0, 310.0), across: about(u), up: about(v) };
    let moved = white.direction.as_ref().map(ToString::to_string).unwrap_or_default();
    html! {
        (frame.scale("way of its white: v′ over u′", 4))
        (frame.line(&path, "model"))
        @if let Some((u, v)) = path.first() {
            circle class="unused" cx=(at(frame.x(*u))) cy=(at(frame.y(*v))) r="5" { title { "first reading" } }
        }
        circle class="used" cx=(at(frame.x(white.now.u))) cy=(at(frame.y(white.now.v))) r="4.5" { title { "now" } }
        @for tick in ticks(frame.across, 3) {
            text class="faint" x=(at(frame.x(tick))) y="438" text-anchor="middle" { (format!("{tick:.4}")) }
        }
        text class="faint" x="640" y="480" { "from the open ring to the full dot; by itself: " (moved) }
    }
}
