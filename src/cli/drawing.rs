//! Frames with scales for the drawings over time: points, bands, lines, marks, and a look that follows the reader's light or dark.

use maud::{Markup, PreEscaped, html};

/// One panel: where it stands on the sheet, and which values its edges stand for.
#[derive(Debug, Clone, Copy)]
pub struct Frame {
    /// Left edge and top, size across and down.
    pub place: (f64, f64, f64, f64),
    /// Values at the left and right edge.
    pub across: (f64, f64),
    /// Values at the bottom and the top.
    pub up: (f64, f64),
}

/// A band: across, and its lower and upper edge.
pub type BandPoint = (f64, f64, f64);

impl Frame {
    /// Where a value across stands on the sheet.
    pub fn x(&self, value: f64) -> f64 {
        let (left, _, width, _) = self.place;
        left + (value - self.across.0) / positive(self.across.1 - self.across.0) * width
    }

    /// Where a value upwards stands on the sheet, kept within the panel.
    pub fn y(&self, value: f64) -> f64 {
        let (_, top, _, height) = self.place;
        let share = (value - self.up.0) / positive(self.up.1 - self.up.0);
        top + height * (1.0 - share.clamp(0.0, 1.0))
    }

    /// A line through points.
    pub fn line(&self, points: &[(f64, f64)], class: &str) -> Markup {
        let places: Vec<String> = finite(points).map(|(x, y)| format!("{:.1},{:.1}", self.x(x), self.y(y))).collect();
        html! { @if places.len() > 1 { polyline class=(class) points=(places.join(" ")) {} } }
    }

    /// A band between two edges.
    pub fn band(&self, band: &[BandPoint], class: &str) -> Markup {
        let edge = |upper: bool| band.iter().map(move |(x, low, high)| (*x, if upper { *high } else { *low }));
        let mut outline: Vec<(f64, f64)> = edge(true).collect();
        outline.extend(edge(false).rev());
        let places: Vec<String> = finite(&outline).map(|(x, y)| format!("{:.1},{:.1}", self.x(x), self.y(y))).collect();
        html! { @if band.len() > 1 { polygon class=(class) points=(places.join(" ")) {} } }
    }

    /// The frame with its scale at the left and a title; `digits` after the point.
    pub fn scale(&self, title: &str, digits: usize) -> Markup {
        let (left, top, width, height) = self.place;
        html! {
            text class="title" x=(left) y=(top - 8.0) { (title) }
            rect class="frame" x=(left) y=(top) width=(width) height=(height) {}
            @for value in ticks(self.up, 4) {
                line class="grid" x1=(left) x2=(left + width) y1=(at(self.y(value))) y2=(at(self.y(value))) {}
                text class="faint" x=(left - 6.0) y=(at(self.y(value) + 4.0)) text-anchor="end" { (format!("{value:.digits$}")) }
            }
        }
    }

    /// An upright line with a word at its head.
    pub fn upright(&self, value: f64, word: &str, class: &str) -> Markup {
        let (_, top, _, height) = self.place;
        let x = at(self.x(value));
        html! {
            line class=(class) x1=(x) x2=(x) y1=(top) y2=(top + height) { @if !word.is_empty() { title { (word) } } }
        }
    }
}

fn positive(span: f64) -> f64 {
    if span > 0.0 { span } else { 1.0 }
}

fn finite(points: &[(f64, f64)]) -> impl Iterator<Item = (f64, f64)> {
    points.iter().copied().filter(|(x, y)| x.is_finite() && y.is_finite())
}

/// A length on the sheet.
pub fn at(length: f64) -> String {
    format!("{length:.1}")
}

/// Round values within a range, about `count` of them.
pub fn ticks((low, high): (f64, f64), count: usize) -> Vec<f64> {
    let rough = (high - low) / count.max(1) as f64;
    if !(rough.is_finite() && rough > 0.0) {
        return Vec::new();
    }
    let size = libm::pow(10.0, libm::floor(libm::log10(rough)));
    let step = [1.0, 2.0, 5.0, 10.0].map(|n| n * size).into_iter().find(|step| *step >= rough).unwrap_or(10.0 * size);
    let first = libm::ceil(low / step);
    (0..=2 * count).map(|n| (first + n as f64) * step).take_while(|value| *value <= high + 1e-9 * step).collect()
}

/// The lowest and highest of some values, with a little room; something sensible where there are none or all are the same.
pub fn range(values: impl Iterator<Item = f64>, least: f64) -> (f64, f64) {
    let (low, high) = values
        .filter(|value| value.is_finite())
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), value| (low.min(value), high.max(value)));
    if low > high {
        return (0.0, least);
    }
    let room = 0.05 * (high - low);
    let missing = (0.5 * (least - (high - low))).max(0.0);
    (low - room - missing, high + room + missing)
}

/// Lines of at most so many characters, cut between words.
pub fn wrapped(text: &str, most: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    for word in text.split(' ') {
        match lines.last_mut() {
            Some(line) if line.chars().count() + word.chars().count() < most => {
                line.push(' ');
                line.push_str(word);
            }
            _ => lines.push(word.to_owned()),
        }
    }
    lines
}

/// The look of everything on a sheet.
const STYLE: &str = "\
svg{background:#f7f6f2;color:#22302f}
text{fill:#22302f;font:12px sans-serif}
.head{font-size:17px}.title{font-size:13px}.faint{fill:#6f7a78}
.frame{fill:none;stroke:#a9b1ae}.grid{stroke:#dcdfda}
.band{fill:#5f8f86;fill-opacity:.28}.ahead{fill:#b9874a;fill-opacity:.25}
.model{fill:none;stroke:#2f6b62;stroke-width:1.4}.onward{fill:none;stroke:#a06a2c;stroke-width:1.4;stroke-dasharray:6 4}
.aim{stroke:#22302f;stroke-dasharray:2 4}.limit{stroke:#9c3d33;stroke-dasharray:7 3}
.event{stroke:#6b5a86;stroke-width:1.2}.eventword{fill:#6b5a86}
.used{fill:#2f6b62}.unused{fill:none;stroke:#9c3d33;stroke-width:1.6}
@media (prefers-color-scheme:dark){
svg{background:#171c1c;color:#d9dfdc}
text{fill:#d9dfdc}.faint{fill:#8f9a97}.frame{stroke:#56605d}.grid{stroke:#2b3332}
.band{fill:#7fb8ac}.ahead{fill:#d7a566}.model{stroke:#8ccabd}.onward{stroke:#dcae74}
.aim{stroke:#d9dfdc}.limit{stroke:#e08a7f}.event{stroke:#b3a3cf}.eventword{fill:#b3a3cf}
.used{fill:#8ccabd}.unused{stroke:#e08a7f}}
";

/// A sheet of this size with its content, as an SVG document.
pub fn sheet(width: f64, height: f64, content: &Markup) -> String {
    let markup = html! {
        svg xmlns="http://www.w3.org/2000/svg" width=(width) height=(height) viewBox=(format!("0 0 {width} {height}")) {
            style { (PreEscaped(STYLE)) }
            rect width="100%" height="100%" fill="none" {}
            (content)
        }
    };
    format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{}\n", markup.into_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        assert_eq!(ticks((0.0, 100.0), 4), [0.0, 50.0, 100.0]);
        assert_eq!(ticks((478.0, 523.0), 4), [480.0, 500.0, 520.0]);
        assert!(ticks((1.0, 1.0), 4).is_empty() && ticks((f64::NAN, 1.0), 4).is_empty());
        assert_eq!(range([1.0, f64::NAN, 3.0].into_iter(), 0.1), (0.9, 3.1));
        assert_eq!(range(std::iter::empty(), 2.0), (0.0, 2.0));
    }

    #[test]
    fn long_lines_are_cut_between_words() {
        assert_eq!(wrapped("one two three four", 9), ["one two", "three", "four"]);
    }

    #[test]
    fn what_is_not_finite_is_not_drawn() {
        let frame = Frame { place: (0.0, 0.0, 100.0, 100.0), across: (0.0, 1.0), up: (0.0, 1.0) };
        let drawn = frame.line(&[(0.0, 0.5), (0.5, f64::NAN), (1.0, 5.0)], "model").into_string();
        assert!(drawn.contains("0.0,50.0 100.0,0.0"), "{drawn}");
        assert!(!frame.line(&[(0.0, 0.5)], "model").into_string().contains("polyline"));
    }
}
