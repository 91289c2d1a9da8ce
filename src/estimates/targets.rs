//! What a recalibration set a display to: the target it named, or the paper white as it then was.

use super::{LampLight, asks_for_spectrum, at, lit_paper};
use crate::color::{UvSpread, uv_prime};
use crate::drift::TargetWhite;
use crate::ledger::store::EventRow;
use crate::ledger::{LedgerError, Seq, Store};
use crate::reading::EventKind;
use crate::site::{Display, Things};
use crate::station::compare::Light;
use crate::units::{Luminance, Time};

/// The target that an event names. A luminance alone changes no white and is read with the aim.
pub(super) fn named_target(row: &EventRow) -> Option<TargetWhite> {
    let uv = uv_prime(row.event.target_white?).ok()?;
    Some(TargetWhite { uv, ln_level: row.event.target_luminance.and_then(ln), sd_uv: None, sd_ln: None })
}

/// The logarithm of a luminance; of none there is none.
fn ln(level: Luminance) -> Option<f64> {
    Some(level.get()).filter(|level| *level > 0.0).map(libm::log)
}

/// For each recalibration of a display that follows the paper and that named no white: the paper white as it then was.
pub(super) fn followed_targets(
    store: &Store,
    things: &Things,
    display: &Display,
) -> Result<Vec<(Seq, TargetWhite)>, LedgerError> {
    let Some(station) = things.stations_of(&display.id).next() else { return Ok(Vec::new()) };
    let paper = station.papers.first().and_then(|id| things.paper(id));
    let Some((paper, lamp)) = paper.zip(things.lamp(&station.lamp)) else { return Ok(Vec::new()) };
    let always = (Time::from_micros(i64::MIN), Time::from_micros(i64::MAX));
    let mut targets = Vec::new();
    for event in store.events(&display.id, always.0, always.1)? {
        let open = event.event.kind == EventKind::Recalibrated && event.event.target_white.is_none();
        if !open || event.excluded.is_some() {
            continue;
        }
        let Some(estimate) = at(store, things, &lamp.id, event.event.time)? else { continue };
        let Ok(aim) = uv_prime(lamp.aim.white) else { continue };
        let forecast = estimate.state.forecast(&estimate.params, &[event.event.time]);
        let light = Light::at(&forecast.likely, 0, aim);
        let spread = UvSpread { uu: light.u.var, uv: 0.0, vv: light.v.var };
        let state = &estimate.state;
        let spectrum = match asks_for_spectrum(paper) {
            true => LampLight::of(store, &lamp.id, state, event.event.time)?.spectrum,
            false => None,
        };
        let spectrum = spectrum.as_ref().map(|(_, sampled)| sampled);
        let lit = lit_paper(store, things, lamp, paper, state, spectrum, event.event.time)?;
        let Ok(white) = lit.under.under(light.uv(), spread) else { continue };
        let named = event.event.target_luminance.or(display.aim.luminance).and_then(ln);
        let followed = light.ln_level.map(|lx| lx.mean + libm::log(white.luminance(1.0)));
        let variance = white.spread();
        targets.push((
            event.seq,
            TargetWhite {
                uv: white.uv,
                ln_level: named.or(followed),
                sd_uv: Some(variance.uu.max(variance.vv).max(0.0).sqrt()),
                sd_ln: light.ln_level.filter(|_| named.is_none()).map(|lx| lx.var.max(0.0).sqrt()),
            },
        ));
    }
    Ok(targets)
}
