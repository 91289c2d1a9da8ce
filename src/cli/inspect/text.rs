//! `inspect` in words: first whether to judge prints under it, why, and what one will see; then every figure.

use super::chart;
use super::svg::Sheet;
use super::{Looked, Spectral};
use crate::cli::{output, width};
use crate::color::rendering::{
    HueShift, R15_EDITION, RA_EDITION, RF_EDITION, SIMULATOR_EDITION, SSI_EDITION, Simulator,
};
use crate::color::{FIRST_NM, Observer, fitness, nearest_daylight, uv_prime_of_xyz, xy_of_xyz};
use crate::reading::Level;
use crate::say;
use crate::say::lamp;
use crate::units::SpectralUnit;

/// All readings: a table where there are several, then each.
pub(super) fn of_all(readings: &[Looked], warnings: &[String], full: bool) -> String {
    let mut text = String::new();
    if readings.len() > 1 {
        text.push_str(&table(readings));
    }
    for looked in readings.iter().filter(|looked| full || (looked.may_be_a_lamp() && readings.len() <= 40)) {
        if !text.is_empty() {
            text.push('\n');
        }
        text.push_str(&in_short(looked));
        if full && let Some(spectral) = &looked.spectral {
            text.push_str(&in_full(looked, spectral));
        }
    }
    if !full && readings.iter().any(|looked| looked.spectral.is_some()) {
        text.push_str("\nEvery figure of one: --only ID. Of all: --full. Drawn: --svg FILE.\n");
    }
    for warning in warnings {
        text.push_str(&format!("Note: {warning}\n"));
    }
    text
}

fn table(readings: &[Looked]) -> String {
    let rows = readings.iter().map(|looked| {
        let c = &looked.colorimetry;
        let or_unknown = |text: Option<String>| text.unwrap_or_else(|| "-".to_owned());
        let indices = looked.rendering().map(|r| r.indices);
        let fidelity = looked.rendering().map(|r| r.fidelity);
        let whole = |value: Option<f64>| or_unknown(value.map(|value| format!("{value:.0}")));
        [
            looked.id.clone(),
            or_unknown(c.xy.map(|at| format!("{:.4}", at.x))),
            or_unknown(c.xy.map(|at| format!("{:.4}", at.y))),
            or_unknown(c.uv.map(|at| format!("{:.4}", at.u))),
            or_unknown(c.uv.map(|at| format!("{:.4}", at.v))),
            or_unknown(c.cct_k.map(|kelvin| format!("{:.0} K", kelvin.get()))),
            or_unknown(c.duv.map(|duv| say::tint(duv.get()))),
            or_unknown(looked.level.map(level)),
            whole(indices.map(|i| i.ra).or(looked.draft.circumstances.ra)),
            whole(indices.map(|i| i.r9())),
            whole(fidelity.map(|f| f.rf)),
            whole(fidelity.map(|f| f.rg)),
        ]
    });
    let header = ["id", "x", "y", "u′", "v′", "CCT", "tint", "level", "Ra", "R9", "Rf", "Rg"];
    output::fitting_table(header, rows, &[3, 4, 11, 9, 10, 6], 0)
}

fn level(level: Level) -> String {
    match level {
        Level::Luminance(luminance) => format!("{:.1} cd/m²", luminance.get()),
        Level::Illuminance(illuminance) if illuminance.get() < 10.0 => format!("{:.3} lx", illuminance.get()),
        Level::Illuminance(illuminance) => format!("{:.0} lx", illuminance.get()),
    }
}

/// The verdict and the four lines that give it grounds.
fn in_short(looked: &Looked) -> String {
    let mut lines: Vec<(&str, String)> = Vec::new();
    let known = looked.known();
    let label = if looked.is_label() { " (by its label only)" } else { "" };
    let white = lamp::white_of(&known);
    let head = if looked.may_be_a_lamp() {
        let (fit, findings) = fitness(&known);
        let why = findings.iter().filter(|finding| finding.weight == fit).map(|finding| lamp::fault(&finding.fault));
        let why: Vec<String> = why.collect();
        let verdict = format!("{}{label}", lamp::fitness(fit, &findings));
        let room = WIDEST.saturating_sub(looked.id.chars().count() + verdict.chars().count() + 5);
        let why = if why.is_empty() { String::new() } else { format!(": {}", as_many_as_fit(&why, room)) };
        let near = known.white.map(|white| nearest_daylight(white).1);
        let near = near.map(|distance| format!("; {}", lamp::white_is_right(distance))).unwrap_or_default();
        lines.push(("white", format!("{white}{label}{near}")));
        lines.push(("rendering", rendering_line(looked)));
        if let Some(spectral) = looked.spectral.as_ref().filter(|spectral| !spectral.hues.is_empty()) {
            lines.push(("colours", as_many_as_fit(&hues_said(&spectral.hues), WIDEST - INDENT)));
        }
        format!("{verdict}{why}")
    } else {
        "the light of a screen or of lit paper".to_owned()
    };
    if !looked.may_be_a_lamp() {
        lines.push(("white", white));
    }
    lines.push(("light", light_line(looked)));
    let mut text = format!("{}: {}.\n", output::strong(&looked.id), head);
    for (name, line) in lines {
        text.push_str(&format!("  {name:<10} {line}\n"));
    }
    text
}

/// The longest line, in characters.
const WIDEST: usize = 118;
/// Where the text of a line begins.
const INDENT: usize = 13;

/// The first of `parts`, and as many more as fit into `room` characters; a mark where some are left out.
fn as_many_as_fit(parts: &[String], room: usize) -> String {
    let mut text = String::new();
    for (index, part) in parts.iter().enumerate() {
        if index > 0 && text.chars().count() + part.chars().count() + 5 > room {
            return text + ", and more";
        }
        if index > 0 {
            text.push_str("; ");
        }
        text.push_str(part);
    }
    text
}

fn rendering_line(looked: &Looked) -> String {
    match looked.rendering() {
        Some(rendering) => {
            let (indices, fidelity) = (&rendering.indices, &rendering.fidelity);
            let word = lamp::rendering_word(indices.ra);
            format!(
                "{word}: Ra {:.0}, R9 {:.0}; Rf {:.0}, Rg {:.0}",
                indices.ra,
                indices.r9(),
                fidelity.rf,
                fidelity.rg
            )
        }
        None => match looked.draft.circumstances.ra {
            Some(ra) => format!("{}: Ra {ra:.0}, as stated and not measured here", lamp::rendering_word(ra)),
            None if looked.spectral.is_some() => "none: no white to compare it with".to_owned(),
            None => "not measured: it takes a spectrum".to_owned(),
        },
    }
}

/// The hues that change, the worst first, greys by half, since eyes get used to a tint; then those that do not.
fn hues_said(hues: &[HueShift]) -> Vec<String> {
    let mut changed: Vec<&HueShift> = hues.iter().filter(|shift| shift.amount().is_some()).collect();
    let weight = |shift: &HueShift| if shift.tint.is_some() { 0.5 * shift.delta_e } else { shift.delta_e };
    changed.sort_by(|a, b| weight(b).total_cmp(&weight(a)));
    let right: Vec<&str> = hues.iter().filter(|shift| shift.amount().is_none()).map(|shift| shift.hue.word()).collect();
    let of = |shift: &&HueShift| match &shift.tint {
        Some(tint) => format!(
            "greys {tint} than in daylight of its kelvin (ΔE {:.1}, unseen once the eye is used to it)",
            shift.delta_e
        ),
        None => format!("{shift} (ΔE {:.1})", shift.delta_e),
    };
    let mut parts: Vec<String> = changed.iter().map(of).collect();
    if !right.is_empty() {
        parts.push(format!("{} as {} should be", right.join(", "), if right.len() == 1 { "it" } else { "they" }));
    }
    parts
}

fn light_line(looked: &Looked) -> String {
    let level = looked.level.map_or_else(|| "level not known".to_owned(), level);
    match &looked.spectral {
        Some(spectral) => {
            let relative = match (looked.level, spectral.spectrum.unit()) {
                (Some(_), _) => "",
                (None, SpectralUnit::Relative) => " (relative values)",
                (None, _) => " (beyond what light on a print can be: check the unit)",
            };
            format!("{level}{relative}; {}", spectral.ultraviolet)
        }
        None => level,
    }
}

/// Every figure of a spectrum.
fn in_full(looked: &Looked, spectral: &Spectral) -> String {
    let Spectral { spectrum, sampled, rendering, .. } = spectral;
    let (from, to) = spectrum.reach();
    let step = spectrum.step_nm().map_or_else(|| "uneven steps".to_owned(), |step| format!("every {step} nm"));
    let mut text = format!("\n  spectrum ({}, {from} to {to} nm, {step})\n", spectrum.unit().word());
    text.push_str(&chart::spectrum(&sampled.values, FIRST_NM, width::of_drawing()));
    text.push_str("\n  white\n");
    for (name, observer) in [("2°", Observer::TwoDegree), ("10°", Observer::TenDegree)] {
        let sum = sampled.tristimulus_for(observer);
        if let (Ok(xy), Ok(uv)) = (xy_of_xyz(sum), uv_prime_of_xyz(sum)) {
            text.push_str(&format!("    {name:<4} x {:.5}  y {:.5}  u′ {:.5}  v′ {:.5}\n", xy.x, xy.y, uv.u, uv.v));
        }
    }
    if let Some([x, y, z]) = looked.xyz {
        text.push_str(&format!("    X {x:.4}  Y {y:.4}  Z {z:.4}\n"));
    }
    let Some(rendering) = rendering else {
        text.push_str("\n  No colour temperature, and so no reference to render against.\n");
        return text;
    };
    if !looked.may_be_a_lamp() {
        return text;
    }
    let r = &rendering.indices.r;
    text.push_str("\n  what it does to colours (test colours of CIE 13.3, CIEDE2000)\n");
    for said in hues_said(&spectral.hues) {
        text.push_str(&format!("    {said}\n"));
    }
    text.push_str(&format!("\n  indices of {RA_EDITION} (R15 of {R15_EDITION})\n"));
    for (line, chunk) in r.chunks(8).enumerate() {
        let cells: Vec<String> = chunk
            .iter()
            .enumerate()
            .map(|(i, value)| format!("{:>4} {value:>4.0}", format!("R{}", line * 8 + i + 1)))
            .collect();
        text.push_str(&format!("    {}\n", cells.join(" ")));
    }
    if !rendering.indices.is_valid() {
        text.push_str("    (too far from its reference in tint for these to be exact)\n");
    }
    text.push_str(&format!("\n  sixteen hues of {RF_EDITION}, from red round to purple\n"));
    text.push_str("    hue  fidelity    duller | more vivid      turns\n");
    for (index, bin) in rendering.fidelity.bins.iter().enumerate() {
        text.push_str(&format!(
            "    {:>3}  {:>8.0}  {} {:+4.0} %  {:+5.1}°\n",
            index + 1,
            bin.fidelity,
            chart::swing(bin.chroma_shift, 0.3),
            bin.chroma_shift * 100.0,
            bin.hue_shift.to_degrees()
        ));
    }
    text.push_str(&format!(
        "\n  likeness to daylight ({SSI_EDITION}): {:.0} to D50, {:.0} to D65\n",
        rendering.similar_to_d50, rendering.similar_to_d65
    ));
    if let Some(simulator) = &spectral.simulator {
        text.push_str(&format!("  {}\n", simulator_line(simulator)));
    }
    text
}

fn simulator_line(simulator: &Simulator) -> String {
    match simulator {
        Simulator::Judged(judged) => format!(
            "as a simulator of {} ({SIMULATOR_EDITION}): index {:.2}, grade {:?}; Δu′v′ (10°) {:.4} from it",
            judged.phase.name(),
            judged.index,
            judged.grade,
            judged.distance
        ),
        Simulator::NotJudged { phase, stand_in } => format!(
            "as a simulator of {}: not judged: needs the tables of ISO 23603 (--tables FILE); its likeness of {stand_in:.0} stands in",
            phase.name()
        ),
    }
}

/// What is drawn of a reading; nothing where there is no spectrum.
pub(super) fn sheet(looked: &Looked) -> Option<Sheet> {
    let spectral = looked.spectral.as_ref()?;
    let shown = |sampled: &crate::color::Sampled, scale: f64| -> Vec<(f64, f64)> {
        let all = sampled.values.iter().enumerate().map(|(index, value)| (FIRST_NM + index as f64, value * scale));
        all.filter(|(nm, _)| (380.0..=780.0).contains(nm)).collect()
    };
    let y = spectral.sampled.tristimulus().y;
    let reference =
        spectral.honest.as_ref().map(|honest| shown(honest, y / honest.tristimulus().y)).unwrap_or_default();
    let bins = spectral.rendering.filter(|_| looked.may_be_a_lamp()).map(|rendering| {
        rendering.fidelity.bins.iter().map(|bin| (bin.chroma_shift, bin.hue_shift, bin.fidelity)).collect()
    });
    let lines = in_short(looked).lines().map(|line| line.trim().to_owned()).collect();
    Some(Sheet {
        title: looked.id.clone(),
        lines,
        spectrum: shown(&spectral.sampled, 1.0),
        reference,
        bins: bins.unwrap_or_default(),
    })
}
