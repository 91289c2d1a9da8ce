//! A paper under its lamp at an instant: as it was read there, else as it is calculated.
//!
//! A direct reading of the lit paper beats any calculation: it holds the paper's reflectance, the lamp's spectrum and what the
//! lamp's ultraviolet does to a brightener in one. It is kept as a relation to the lamp's own white at that hour, so that it goes
//! on holding while the lamp drifts; how sure the relation is follows from both readings. It ends with the lamp (replaced, in
//! part too, or turned to another setting) and with the batch of paper.

use std::f64::consts::PI;

use super::at;
use crate::color::{PaperUnderLamp, Sampled, uv_prime};
use crate::drift::DeviceState;
use crate::ledger::store::ReadingRow;
use crate::ledger::{LedgerError, Seq, Store};
use crate::reading::{EventKind, ThingKind};
use crate::site::{Lamp, Paper, PaperWhite, Things};
use crate::station::LitPaper;
use crate::station::compare::Light;
use crate::units::{Days, DeviceId, Spectrum, Time, UvPrime};

/// Lamp and lit paper that are read within this time of each other belong together, whichever came first.
const ONE_SESSION: Days = Days(0.125);
/// Luminous reflectances beyond these are slips: another unit, another place.
const REFLECTANCE: std::ops::RangeInclusive<f64> = 0.2..=1.3;

/// What the ledger knows of a lamp's light beside its white and level.
#[derive(Debug, Clone)]
pub struct LampLight {
    /// When it last became another light: replaced, in part too, or turned to another setting.
    pub changed: Option<Time>,
    /// Its newest spectrum since then that is neither doubted nor held, and when that was taken.
    pub spectrum: Option<(Time, Sampled)>,
}

impl LampLight {
    /// As of `to`, when the lamp's state is `burning`.
    pub fn of(store: &Store, lamp: &DeviceId, burning: &DeviceState, to: Time) -> Result<Self, LedgerError> {
        let changed = last_change(store, lamp, to)?;
        let newest = newest_spectrum(store, lamp, burning, just_before(changed), to)?;
        Ok(Self { changed, spectrum: newest.map(|(row, spectrum)| (row.time, Sampled::of(&spectrum))) })
    }

    /// The spectrum alone.
    pub fn sampled(&self) -> Option<&Sampled> {
        self.spectrum.as_ref().map(|(_, sampled)| sampled)
    }
}

/// The entry of the spectrum that answers for a lamp's light at `to`, when its state is `burning`.
pub fn spectrum_in_use(
    store: &Store,
    lamp: &DeviceId,
    burning: &DeviceState,
    to: Time,
) -> Result<Option<Seq>, LedgerError> {
    let changed = last_change(store, lamp, to)?;
    Ok(newest_spectrum(store, lamp, burning, just_before(changed), to)?.map(|(row, _)| row.seq))
}

fn last_change(store: &Store, lamp: &DeviceId, to: Time) -> Result<Option<Time>, LedgerError> {
    store.last_event(lamp, [EventKind::Replaced, EventKind::PartReplaced, EventKind::SettingChanged], to)
}

/// Whether a lamp's spectrum tells something of this paper under it: its curve can be summed with it, or its brightening
/// weighed.
pub fn asks_for_spectrum(paper: &Paper) -> bool {
    let is_curve = matches!(paper.white, PaperWhite::Curve(_));
    is_curve || PaperUnderLamp::of(paper, None).is_ok_and(|paper| paper.is_brightened())
}

/// `paper` under `lamp`, whose state at `to` is `burning` and whose `spectrum` may be known.
pub fn lit_paper(
    store: &Store,
    things: &Things,
    lamp: &Lamp,
    paper: &Paper,
    burning: &DeviceState,
    spectrum: Option<&Sampled>,
    to: Time,
) -> Result<LitPaper, LedgerError> {
    let base = calculated(paper, spectrum)?;
    let usual = things.stations_of(&lamp.id).next().and_then(|station| station.papers.first());
    let is_meant = |name: Option<&str>| match name.filter(|name| things.kind_of(name) == Some(ThingKind::Paper)) {
        Some(name) => name == paper.id.as_str(),
        None => usual == Some(&paper.id),
    };
    let newest = store.latest_lit(&lamp.id, to, is_meant)?;
    let Some(row) = newest else { return Ok(LitPaper { under: base, read: None }) };
    let new_batch = store.last_event(&paper.id, [EventKind::NewBatch; 3], to)?;
    let ended = last_change(store, &lamp.id, to)?.max(new_batch);
    let cold = row.warmup_min.is_some_and(|minutes| minutes < lamp.warm_up_min);
    if ended.is_some_and(|ended| row.time < ended) || !same_setting(&row, burning) || cold {
        return Ok(LitPaper { under: base, read: None });
    }
    Ok(match relation(store, things, lamp, &base, &row, to)? {
        Some(under) => LitPaper { under, read: Some(row.time) },
        None => LitPaper { under: base, read: None },
    })
}

/// The paper under the lamp as it is calculated: with the lamp's spectrum, where no light that paper cannot be calculated under.
fn calculated(paper: &Paper, spectrum: Option<&Sampled>) -> Result<PaperUnderLamp, LedgerError> {
    let lit = spectrum.and_then(|sampled| PaperUnderLamp::of(paper, Some(sampled)).ok());
    match lit {
        Some(lit) => Ok(lit),
        None => PaperUnderLamp::of(paper, None)
            .map_err(|bad| LedgerError::Damaged { what: format!("paper {}: {bad}", paper.id) }),
    }
}

/// The newest spectrum of a lamp after `from`, up to and including `to`, that is neither doubted nor held, and was read at the
/// setting of `burning`.
fn newest_spectrum(
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
pub(crate) fn just_before(instant: Option<Time>) -> Time {
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
