//! A paper under its lamp at an instant: as it was read there, else as it is calculated.
//!
//! A direct reading of the lit paper beats any calculation: it holds the paper's reflectance, the lamp's spectrum and what the
//! lamp's ultraviolet does to a brightener in one. It is kept as a relation to the lamp's own white at that hour, so that it goes
//! on holding while the lamp drifts; how sure the relation is follows from both readings. It ends with the lamp (replaced, in
//! part too, or turned to another setting) and with the batch of paper.

use std::f64::consts::PI;

use super::at;
use crate::color::{Brightener, PaperError, PaperUnderLamp, Sampled, UvSpread, uv_prime};
use crate::drift::DeviceState;
use crate::ledger::store::ReadingRow;
use crate::ledger::{LedgerError, Store};
use crate::reading::{EventKind, ThingKind};
use crate::site::{Lamp, Paper, PaperWhite, Things};
use crate::station::LitPaper;
use crate::station::compare::Light;
use crate::units::{Days, DeviceId, Spectrum, Time, UvPrime};

/// Lamp and lit paper that are read within this time of each other belong together, whichever came first.
const ONE_SESSION: Days = Days(0.125);
/// Luminous reflectances beyond these are slips: another unit, another place.
const REFLECTANCE: std::ops::RangeInclusive<f64> = 0.2..=1.3;

/// When a lamp last became another light: replaced, in part too, or turned to another setting.
pub fn last_change(store: &Store, lamp: &DeviceId, to: Time) -> Result<Option<Time>, LedgerError> {
    let mut last = None;
    for kind in [EventKind::Replaced, EventKind::PartReplaced, EventKind::SettingChanged] {
        last = last.max(store.last_event(lamp, kind, to)?);
    }
    Ok(last)
}

/// `paper` under `lamp`, whose state at `to` is `burning`.
pub fn lit_paper(
    store: &Store,
    things: &Things,
    lamp: &Lamp,
    paper: &Paper,
    burning: &DeviceState,
    to: Time,
) -> Result<LitPaper, LedgerError> {
    let base = calculated(store, lamp, paper, burning, to)?;
    let usual = things.stations_of(&lamp.id).next().and_then(|station| station.papers.first());
    let is_meant = |name: Option<&str>| match name.filter(|name| things.kind_of(name) == Some(ThingKind::Paper)) {
        Some(name) => name == paper.id.as_str(),
        None => usual == Some(&paper.id),
    };
    let newest = store.latest_lit(&lamp.id, Time::from_micros(i64::MIN), to, is_meant)?;
    let Some(row) = newest else { return Ok(LitPaper { under: base, read: None }) };
    let ended = last_change(store, &lamp.id, to)?.max(store.last_event(&paper.id, EventKind::NewBatch, to)?);
    let cold = row.warmup_min.is_some_and(|minutes| minutes < lamp.warm_up_min);
    if ended.is_some_and(|ended| row.time < ended) || !same_setting(&row, burning) || cold {
        return Ok(LitPaper { under: base, read: None });
    }
    Ok(match relation(store, things, lamp, &base, &row, to)? {
        Some(under) => LitPaper { under, read: Some(row.time) },
        None => LitPaper { under: base, read: None },
    })
}

/// The paper under the lamp as it is calculated: from its curve and the lamp's spectrum where there are both. A spectrum is read
/// back only for a paper that it tells something of.
fn calculated(
    store: &Store,
    lamp: &Lamp,
    paper: &Paper,
    burning: &DeviceState,
    to: Time,
) -> Result<PaperUnderLamp, LedgerError> {
    let no_paper = |bad: PaperError| LedgerError::Damaged { what: format!("paper {}: {bad}", paper.id) };
    let plain = PaperUnderLamp::of(paper, None).map_err(no_paper)?;
    let brightened = || {
        let aim = uv_prime(lamp.aim.white).ok()?;
        let lit = plain.under(aim, UvSpread::default()).ok()?;
        Some(lit.brightener != Brightener::NoneKnown)
    };
    if !matches!(paper.white, PaperWhite::Curve(_)) && brightened() != Some(true) {
        return Ok(plain);
    }
    let since = just_before(last_change(store, &lamp.id, to)?);
    let spectrum = newest_spectrum(store, &lamp.id, burning, since, to)?;
    // A light that no paper can be calculated under is left to the plain way.
    let lit = spectrum.and_then(|(_, spectrum)| PaperUnderLamp::of(paper, Some(&Sampled::of(&spectrum))).ok());
    Ok(lit.unwrap_or(plain))
}

/// The newest spectrum of a lamp after `from`, up to and including `to`, that is neither doubted nor held, and was read at the
/// setting of `burning`.
pub fn newest_spectrum(
    store: &Store,
    lamp: &DeviceId,
    burning: &DeviceState,
    from: Time,
    to: Time,
) -> Result<Option<(ReadingRow, Spectrum)>, LedgerError> {
    let mut to = to;
    while let Some((row, spectrum)) = store.latest_spectrum(lamp, from, to)? {
        if !burning.doubts(row.seq.get()) {
            return Ok(Some((row, spectrum)).filter(|(row, _)| same_setting(row, burning)));
        }
        to = just_before(Some(row.time));
    }
    Ok(None)
}

/// The last instant before one; before nothing, the first of all.
pub fn just_before(instant: Option<Time>) -> Time {
    Time::from_micros(instant.map_or(i64::MIN, |instant| instant.micros().saturating_sub(1)))
}

/// Whether a reading was made at the lamp's setting of now, as far as either is known.
pub fn same_setting(row: &ReadingRow, burning: &DeviceState) -> bool {
    row.setting.as_deref().zip(burning.setting()).is_none_or(|(then, now)| then == now)
}

/// The paper as `row` found it under the lamp as that was then; `None` where nothing was known of the lamp itself.
fn relation(
    store: &Store,
    things: &Things,
    lamp: &Lamp,
    base: &PaperUnderLamp,
    row: &ReadingRow,
    to: Time,
) -> Result<Option<PaperUnderLamp>, LedgerError> {
    let Some(then) = at(store, things, &lamp.id, to.min(row.time.plus(ONE_SESSION)))? else { return Ok(None) };
    let Ok(aim) = uv_prime(lamp.aim.white) else { return Ok(None) };
    let path = then.state.forecast(&then.params, &[row.time]).likely;
    if path.channels.iter().take(2).any(Option::is_none) {
        return Ok(None);
    }
    let light = Light::at(&path, 0, aim);
    let own = row.instrument.as_ref();
    let noise = things.noise_of(own);
    let mut variance = light.u.var.max(light.v.var) + noise.uv * noise.uv;
    if let Some(scale) = then.state.scale_instrument().filter(|scale| Some(*scale) != own) {
        let (a, b) = (things.bias_of(Some(scale)), things.bias_of(own));
        variance += a.uv * a.uv + b.uv * b.uv;
    }
    if let Some(spread) = row.spread {
        variance += spread.uu.max(spread.vv);
    }
    let read = row.ln_level.zip(light.ln_level).map(|(paper, lamp)| libm::exp(paper - lamp.mean) * PI);
    let reflectance = read.filter(|found| REFLECTANCE.contains(found));
    let paper = UvPrime { u: row.u, v: row.v };
    Ok(PaperUnderLamp::as_read(base, light.uv(), paper, reflectance, libm::sqrt(variance)).ok())
}
