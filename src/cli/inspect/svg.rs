//! The drawing of `inspect --svg`: each light's spectrum over an honest one of the same white, and what it does to hues.
//!
//! The hues stand in a row, red at the left, round the circle to purple at the right. From each a needle rises where the light
//! makes colours more vivid and hangs where it makes them duller, and leans towards the neighbour that the hue moves to.
//! The grey band is what nobody sees.

use maud::{Markup, html};

/// What is drawn of one light.
pub struct Sheet {
    /// Its name.
    pub title: String,
    /// What is said under the name.
    pub lines: Vec<String>,
    /// Wavelength (nm) and value.
    pub spectrum: Vec<(f64, f64)>,
    /// The honest light of the same white, on the same scale.
    pub reference: Vec<(f64, f64)>,
    /// For each of the 16 hue bins: local chroma shift as a fraction, local hue shift in radians (anticlockwise), fidelity.
    pub bins: Vec<(f64, f64, f64)>,
}

const WIDTH: f64 = 860.0;
const HEIGHT: f64 = 470.0;
const INK: &str = "#26323a";
const PALE: &str = "#8a979e";
const REFERENCE: &str = "#b0703c";

/// All sheets one under the other, as an SVG document.
pub fn document(sheets: &[Sheet]) -> String {
    let height = HEIGHT * sheets.len() as f64;
    let markup = html! {
        svg xmlns="http://www.w3.org/2000/svg" width=(WIDTH) height=(height) viewBox=(format!("0 0 {WIDTH} {height}"))
            font-family="sans-serif" font-size="12" fill=(INK) {
            rect width=(WIDTH) height=(height) fill="#fbfaf7" {}
            @for (index, sheet) in sheets.iter().enumerate() {
                g transform=(format!("translate(0 {})", index as f64 * HEIGHT)) { (one(sheet)) }
            }
        }
    };
    format!("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n{}\n", markup.into_string())
}

fn one(sheet: &Sheet) -> Markup {
    html! {
        text x="24" y="32" font-size="17" { (sheet.title) }
        @for (index, line) in sheet.lines.iter().enumerate() {
            text x="24" y=(52 + 16 * index) { (line) }
        }
        g transform="translate(24 200)" { (spectrum(sheet)) }
        @if !sheet.bins.is_empty() {
            g transform="translate(452 200)" { (hues(&sheet.bins)) }
        }
    }
}

/// Size of each of the two frames.
const FRAME: (f64, f64) = (384.0, 210.0);

fn spectrum(sheet: &Sheet) -> Markup {
    let (width, height) = FRAME;
    let all = || sheet.spectrum.iter().chain(&sheet.reference);
    let (from, to) = all().fold((f64::MAX, f64::MIN), |(a, b), (nm, _)| (a.min(*nm), b.max(*nm)));
    let peak = all().map(|(_, value)| *value).fold(f64::MIN_POSITIVE, f64::max);
    let x = |nm: f64| (nm - from) / (to - from).max(1.0) * width;
    let path = |points: &[(f64, f64)]| {
        let places: Vec<String> =
            points.iter().map(|(nm, v)| format!("{:.1},{:.1}", x(*nm), height * (1.0 - v.max(0.0) / peak))).collect();
        places.join(" ")
    };
    let ticks = (300..=900).step_by(50).map(f64::from).filter(|nm| (from..=to).contains(nm));
    html! {
        text x="0" y="-10" { "Power at each wavelength" }
        line x1="0" y1=(height) x2=(width) y2=(height) stroke=(PALE) {}
        @for nm in ticks {
            line x1=(x(nm)) y1=(height) x2=(x(nm)) y2=(height + 5.0) stroke=(PALE) {}
            text x=(x(nm)) y=(height + 19.0) text-anchor="middle" fill=(PALE) { (nm) }
        }
        text x=(width) y=(height + 36.0) text-anchor="end" fill=(PALE) { "nm" }
        @if !sheet.reference.is_empty() {
            polyline points=(path(&sheet.reference)) fill="none" stroke=(REFERENCE) stroke-width="1.2" stroke-dasharray="5 4" {}
            text x="0" y=(height + 36.0) fill=(REFERENCE) { "dashed: the same white, rendered honestly" }
        }
        polyline points=(path(&sheet.spectrum)) fill="none" stroke=(INK) stroke-width="1.6" {}
    }
}

/// Chroma shift that takes the full height either way.
const FULL_SHIFT: f64 = 0.25;
/// A shift of chroma that nobody sees: about ΔE 1 at the chroma of the test samples.
const UNSEEN: f64 = 0.03;

fn hues(bins: &[(f64, f64, f64)]) -> Markup {
    let (width, height) = FRAME;
    let middle = height / 2.0;
    let step = width / bins.len() as f64;
    let rise = |chroma: f64| chroma.clamp(-FULL_SHIFT, FULL_SHIFT) / FULL_SHIFT * (middle - 8.0);
    html! {
        text x="0" y="-10" { "Hues: up more vivid, down duller, leaning as they turn" }
        rect x="0" y=(middle - rise(UNSEEN)) width=(width) height=(2.0 * rise(UNSEEN)) fill="#e9e6de" {}
        line x1="0" y1=(middle) x2=(width) y2=(middle) stroke=(PALE) {}
        @for (index, (chroma, hue, fidelity)) in bins.iter().enumerate() {
            @let x = (index as f64 + 0.5) * step;
            // A whole bin is 22.5°, 0.393 rad: a hue that turns by one leans by one column.
            @let lean = (hue / (std::f64::consts::TAU / 16.0)).clamp(-1.5, 1.5) * step;
            @let tip = middle - rise(*chroma);
            line x1=(x) y1=(middle) x2=(format!("{:.1}", x + lean)) y2=(format!("{tip:.1}")) stroke=(INK) stroke-width="3"
                stroke-linecap="round" {}
            circle cx=(x) cy=(middle) r="4" fill=(swatch(index, bins.len())) stroke=(INK) stroke-width="0.6" {
                title { (format!("hue bin {}: chroma {:+.0} %, hue {:+.1}°, fidelity {:.0}", index + 1, chroma * 100.0, hue.to_degrees(), fidelity)) }
            }
            rect x=(x - step / 2.0 + 2.0) y=(height) width=(step - 4.0) height="7" fill=(swatch(index, bins.len())) {}
        }
        @for (at, name) in [(0.5, "red"), (3.5, "yellow"), (6.5, "green"), (11.0, "blue"), (14.0, "purple")] {
            text x=(format!("{:.0}", (at + 0.5) * step)) y=(height + 24.0) text-anchor="middle" fill=(PALE) { (name) }
        }
    }
}

/// A quiet colour of the bin's hue, for orientation only: its angle in CAM02-UCS taken to one of HSL by eye.
fn swatch(index: usize, count: usize) -> String {
    const BY_EYE: [(f64, f64); 9] = [
        (0.0, -10.0),
        (30.0, 12.0),
        (90.0, 55.0),
        (150.0, 110.0),
        (200.0, 175.0),
        (250.0, 215.0),
        (290.0, 265.0),
        (330.0, 310.0),
        (360.0, 350.0),
    ];
    let angle = (index as f64 + 0.5) / count as f64 * 360.0;
    let between = BY_EYE.windows(2).find_map(|pair| match pair {
        [(a, from), (b, to)] if (*a..=*b).contains(&angle) => Some(from + (to - from) * (angle - a) / (b - a)),
        _ => None,
    });
    format!("hsl({:.0} 38% 62%)", between.unwrap_or(angle).rem_euclid(360.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_escaped_and_every_bin_is_drawn() {
        let sheet = Sheet {
            title: "lamp <a> & b".to_owned(),
            lines: vec!["fit".to_owned()],
            spectrum: vec![(380.0, 0.0), (560.0, 1.0), (780.0, 0.2)],
            reference: vec![(380.0, 0.5), (780.0, 0.5)],
            bins: vec![(0.1, -0.1, 90.0); 16],
        };
        let drawn = document(&[sheet]);
        assert!(drawn.contains("lamp &lt;a&gt; &amp; b"));
        assert_eq!(drawn.matches("<circle").count(), 16);
        assert_eq!(drawn.matches("<polyline").count(), 2);
        assert_eq!(drawn.matches("<svg").count(), drawn.matches("</svg>").count());
    }
}
