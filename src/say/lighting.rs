//! What is said of the light itself: rendering, lit paper, labels, foreign light, and how bright the print will look.

use super::{day, direction_word};
use crate::site::Station;
use crate::station::ambient::Pull;
use crate::station::{Judgement, RaSource, lightness_lost};
use crate::units::{DeviceId, Time};
use crate::zone::LocalZone;

/// How the lamp's colour rendering stands to the station's limit.
pub(super) fn rendering(ra: f64, limit: f64, when: Time, source: RaSource, zone: &LocalZone) -> String {
    let said = match source {
        RaSource::Spectrum => format!("from its spectrum of {}", day(zone, when)),
        RaSource::Given => format!("as its meter said on {}", day(zone, when)),
        RaSource::Label => "by its label".to_owned(),
    };
    let (verb, than) =
        if ra < limit { ("renders colours poorly", "below") } else { ("renders colours well enough", "at least") };
    format!("The lamp {verb}: Ra {ra:.0} (CIE 13.3), {than} {limit:.0}, {said}.", ra = shown(ra, limit))
}

/// An index that is not rounded onto its limit from below.
fn shown(ra: f64, limit: f64) -> f64 {
    if ra < limit && ra.round() >= limit { ra.floor() } else { ra }
}

/// Its colour rendering is not known any more.
pub(super) fn rendering_not_since(lamp: &DeviceId, changed: Time, zone: &LocalZone) -> String {
    let changed = day(zone, changed);
    format!(
        "The colour rendering of {lamp} was not measured since the lamp was changed on {changed}; it is not judged."
    )
}

/// The paper white is a reading.
pub(super) fn paper_read(paper: &DeviceId, when: Time, zone: &LocalZone) -> String {
    format!("The paper white is as {paper} was read under this lamp on {}.", day(zone, when))
}

/// The paper white hangs on the lamp's ultraviolet.
pub(super) fn paper_brightened(sd: f64, lamp_uv: Option<f64>) -> String {
    let lamp = match lamp_uv {
        None => "a lamp whose UV was not measured".to_owned(),
        Some(share) => format!("a lamp with {:.0} % of the UV of D50", share * 100.0),
    };
    format!(
        "Brightened paper under {lamp}: its white is uncertain by ± Δu′v′ {sd:.4}; read the lit paper to settle it."
    )
}

/// The device is a label.
pub(super) fn label_only(device: &DeviceId, sd: f64) -> String {
    format!(
        "{device} is known by its label only: its white is uncertain by ± Δu′v′ {sd:.4}, as ANSI C78.377 allows (from memory, \
         check your copy). One measurement settles it."
    )
}

/// The newest reading has no tint.
pub(super) fn tint_unknown(device: &DeviceId) -> String {
    format!(
        "The tint of {device} is unknown: its newest reading gave kelvin alone, and green or magenta does not show in that."
    )
}

/// Foreign light on the print.
pub(super) fn ambient(share: f64, limit: f64, hours: (u16, u16), pull: Option<&Pull>) -> String {
    let pulled = pull.map(|pull| {
        let word = direction_word(pull.direction.as_ref()).map(|word| format!(", {word}")).unwrap_or_default();
        format!("; it pulls the white by Δu′v′ {:.4}{word}", pull.delta_uv)
    });
    format!(
        "Between {}:00 and {}:00 {:.0} % of the light on the print is not the lamp's (at most {:.0} %){}.",
        hours.0,
        hours.1,
        share * 100.0,
        limit * 100.0,
        pulled.unwrap_or_default()
    )
}

/// How bright the print will look beside the screen: paper ÷ screen luminance over what is agreed, which is `agreed` as screen ÷ paper.
/// Where that is not 1, the print is meant to be another brightness, and only what goes beyond it is said.
pub fn print_looks(print_to_screen: f64, agreed: f64) -> String {
    let than = if agreed == 1.0 {
        "the screen".to_owned()
    } else {
        format!("agreed (the screen at {agreed} of the paper's luminance)")
    };
    match unlike(print_to_screen) {
        Some(unlike) => {
            format!("The print will look {unlike} than {than} (ΔL* {:.0}).", lightness_lost(print_to_screen))
        }
        None => format!("The print will look as bright as {than}."),
    }
}

/// How much darker or brighter the print looks, from its luminance over that of what it is held against; `None` below 1 %.
pub(super) fn unlike(ratio: f64) -> Option<String> {
    let per_cent = (ratio - 1.0).abs() * 100.0;
    let word = if ratio < 1.0 { "darker" } else { "brighter" };
    (per_cent >= 1.0).then(|| format!("{per_cent:.0} % {word}"))
}

/// The line of a status about it: what the limit made a reason of is not said twice.
pub fn print_line(judgement: &Judgement, station: &Station) -> Option<String> {
    let ratio = judgement.print_to_screen?;
    let agreed = station.luminance.agreed()?;
    let limit = station.tolerance.luminance_ratio.unwrap_or(f64::INFINITY);
    (ratio <= limit && ratio.recip() <= limit).then(|| print_looks(ratio, agreed))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Days;

    #[test]
    fn darker_and_brighter_in_words() {
        assert_eq!(print_looks(0.82, 1.0), "The print will look 18 % darker than the screen (ΔL* 7).");
        assert_eq!(print_looks(1.25, 1.0), "The print will look 25 % brighter than the screen (ΔL* 8).");
        assert_eq!(print_looks(1.004, 1.0), "The print will look as bright as the screen.");
        assert_eq!(
            print_looks(0.9, 0.25),
            "The print will look 10 % darker than agreed (the screen at 0.25 of the paper's luminance) (ΔL* 4)."
        );
    }

    #[test]
    fn an_index_below_its_limit_is_never_shown_at_it() {
        let zone = LocalZone(chrono_tz::Europe::Lisbon);
        let when = Time::parse("2026-03-04T09:30:00Z").unwrap();
        let say = |ra, source| rendering(ra, 90.0, when, source, &zone);
        assert_eq!(
            say(89.7, RaSource::Spectrum),
            "The lamp renders colours poorly: Ra 89 (CIE 13.3), below 90, from its spectrum of 4 Mar 2026."
        );
        assert_eq!(
            say(90.0, RaSource::Label),
            "The lamp renders colours well enough: Ra 90 (CIE 13.3), at least 90, by its label."
        );
        let since = rendering_not_since(&DeviceId::new("bay-lamp").unwrap(), when.plus(Days(1.0)), &zone);
        assert!(since.contains("not measured since the lamp was changed on 5 Mar 2026"), "{since}");
    }
}
