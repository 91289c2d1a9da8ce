//! A plot of numbers over time for a terminal: points as `o`, a line as `.`, nothing that needs colour.

use crate::units::Time;

/// One number at one time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// When.
    pub time: Time,
    /// The number; one that is not finite is not drawn.
    pub value: f64,
}

/// What is drawn in one frame.
pub struct Plot<'a> {
    /// What the numbers are, above the frame.
    pub title: &'a str,
    /// Measured points: `o`.
    pub points: &'a [Point],
    /// Points that do not count: `x`.
    pub doubted: &'a [Point],
    /// The model: `.`.
    pub line: &'a [Point],
    /// Times at which something was done: `|`.
    pub events: &'a [Time],
    /// Digits after the decimal point on the scale.
    pub digits: usize,
}

const HEIGHT: usize = 10;
const LABEL: usize = 9;

impl Plot<'_> {
    /// Draws in `width` columns; nothing where there is nothing to draw, or only one instant. `date` writes the days under the frame.
    pub fn draw(&self, width: usize, date: impl Fn(Time) -> String) -> String {
        let all = || self.points.iter().chain(self.doubted).chain(self.line).filter(|p| p.value.is_finite());
        let (Some(first), Some(last)) = (all().map(|p| p.time).min(), all().map(|p| p.time).max()) else {
            return String::new();
        };
        if first == last {
            return String::new();
        }
        let low = all().map(|p| p.value).fold(f64::INFINITY, f64::min);
        let high = all().map(|p| p.value).fold(f64::NEG_INFINITY, f64::max);
        let room = (high - low).max(10f64.powi(-(self.digits as i32))) * 0.05;
        // What is never negative has no scale below zero.
        let bottom = if low < 0.0 { low - room } else { (low - room).max(0.0) };
        let (low, high) = (bottom, high + room);
        let columns = width.saturating_sub(LABEL + 2).max(20);
        let mut cells = vec![vec![' '; columns]; HEIGHT];
        let span = (last.micros() - first.micros()).max(1) as f64;
        let column =
            |time: Time| ((time.micros() - first.micros()) as f64 / span * (columns - 1) as f64).round() as usize;
        let row = |value: f64| ((high - value) / (high - low) * (HEIGHT - 1) as f64).round() as usize;
        for event in self.events.iter().filter(|event| **event >= first && **event <= last) {
            cells.iter_mut().for_each(|line| set(line, column(*event), '|'));
        }
        for (points, mark) in [(self.line, '.'), (self.doubted, 'x'), (self.points, 'o')] {
            for point in points.iter().filter(|p| p.value.is_finite()) {
                if let Some(line) = cells.get_mut(row(point.value)) {
                    set(line, column(point.time), mark);
                }
            }
        }
        let mut text = format!("{}\n", self.title);
        for (index, line) in cells.iter().enumerate() {
            let value = high - (high - low) * index as f64 / (HEIGHT - 1) as f64;
            let label = if index % 3 == 0 { format!("{value:>LABEL$.*}", self.digits) } else { " ".repeat(LABEL) };
            let drawn: String = line.iter().collect();
            text.push_str(&format!("{label} {}\n", drawn.trim_end()));
        }
        let (from, to) = (date(first), date(last));
        let gap = columns.saturating_sub(from.chars().count() + to.chars().count()).max(1);
        text.push_str(&format!("{} {from}{}{to}\n", " ".repeat(LABEL), " ".repeat(gap)));
        text
    }
}

fn set(line: &mut [char], column: usize, mark: char) {
    if let Some(cell) = line.get_mut(column) {
        *cell = mark;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Days;

    #[test]
    fn points_stand_where_they_belong() {
        let start = Time::parse("2026-01-01T00:00:00Z").unwrap();
        let at = |day: f64, value: f64| Point { time: start.plus(Days(day)), value };
        let plot = Plot {
            title: "level",
            points: &[at(0.0, 100.0), at(10.0, 90.0)],
            doubted: &[at(5.0, 50.0)],
            line: &[at(2.0, 98.0), at(3.0, f64::NAN)],
            events: &[start.plus(Days(7.0))],
            digits: 0,
        };
        let drawn = plot.draw(40, |time| time.to_string()[..10].to_owned());
        insta::assert_snapshot!(drawn);
        let empty = Plot { points: &[], doubted: &[], line: &[], ..plot };
        assert_eq!(empty.draw(40, |time| time.to_string()), "");
    }
}
