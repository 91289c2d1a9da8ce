//! What an entry does to the projections: the one place, so that living on and rebuilding cannot differ.
//!
//! Whoever appends an entry applies it here in the same transaction; a rebuild applies the same entries in the same order
//! to empty tables. Not here: the devices' estimates (`estimates`), which depend on all of a device's records and not on
//! their order of arrival; and the question whether an entry should be made at all (`pipeline`, `evaluate`).

mod messages;

use crate::color::{Tint, level_as_given, white_as_given};
use crate::config::Config;
use crate::fate::Excluded;
use crate::ledger::entry;
use crate::ledger::store::{EventRow, FileRow, MaintenanceRow, ReadingRow, SignOffRow, UvVariance, VerdictRow};
use crate::ledger::{Body, LedgerError, Seq, Tx};
use crate::reading::{ColourSet, Level, Patch, Reading};
use crate::units::{DeviceId, Time};

/// A device whose estimate an entry makes out of date, from this instant on.
#[derive(Debug, Clone, PartialEq, Eq)]
#[allow(missing_docs)]
pub struct Stirred {
    pub device: DeviceId,
    pub from: Time,
}

/// Applies one entry that was appended at `at`. `config` is the configuration in force then.
pub fn apply(tx: &Tx, seq: Seq, at: Time, body: &Body, config: &Config) -> Result<Option<Stirred>, LedgerError> {
    match body {
        Body::Founded(_) | Body::Restored(_) => Ok(None),
        Body::Config(config) => tx.put_config(seq, &config.sha256).map(|()| None),
        Body::File(file) => put_file(tx, seq, file.sha256, &file.name, false),
        Body::Refusal(refusal) => put_file(tx, seq, refusal.sha256, &refusal.name, true),
        Body::ReadingTaken(taken) => reading(tx, seq, taken),
        Body::EventTaken(taken) => {
            let event = taken.event.clone();
            let stirred = Stirred { device: event.device.clone(), from: event.time };
            tx.put_event(&EventRow { seq, event, excluded: None })?;
            Ok(Some(stirred))
        }
        Body::Retract(retract) => {
            let stirred = stirred_by(tx, retract.seq)?;
            if tx.withdraw_sign_off(retract.seq, seq)? {
                return Ok(None);
            }
            tx.retract(retract.seq)?;
            tx.put_correction(seq, retract.seq)?;
            renew_first_use(tx, retract.seq)?;
            Ok(stirred)
        }
        Body::Release(release) => {
            tx.release_reading(release.seq)?;
            tx.put_correction(seq, release.seq)?;
            renew_first_use(tx, release.seq)?;
            stirred_by(tx, release.seq)
        }
        Body::Verdict(verdict) => {
            let row = VerdictRow { station: verdict.station.clone(), verdict: verdict.verdict.clone(), since: at, seq };
            tx.put_verdict(&row).map(|()| None)
        }
        Body::Alert(step) => messages::alert_step(tx, at, step, config).map(|()| None),
        Body::Delivery(delivery) => messages::delivered(tx, at, delivery).map(|()| None),
        Body::Resend(resend) => messages::resend(tx, resend).map(|()| None),
        Body::Summary(summary) => messages::of_summary(tx, at, summary, config).map(|()| None),
        Body::Maintenance(work) => {
            let entry::Maintenance { id, subject, until, reason, operator, operator_by } = work.clone();
            let row = MaintenanceRow { id, subject, from: at, until, ended_at: None, reason, operator, operator_by };
            tx.put_maintenance(&row).map(|()| None)
        }
        Body::KeyMade(entry::KeyMade { key, .. })
        | Body::KeyRotated(entry::KeyRotated { key, .. })
        | Body::KeyLost(entry::KeyLost { key, .. }) => tx.put_signing_key(seq, key).map(|()| None),
        Body::SignOff(signed) => {
            let row = SignOffRow {
                seq,
                station: signed.state.station.clone(),
                job: signed.job.clone(),
                time: at,
                verdict: signed.state.verdict.clone(),
                operator: signed.operator.clone(),
                overridden: signed.over.is_some(),
                withdrawn: None,
            };
            tx.put_sign_off(&row).map(|()| None)
        }
        Body::SpectraPruned(pruned) => {
            pruned.entries.iter().try_for_each(|one| tx.put_pruned(one.seq, seq)).map(|()| None)
        }
        Body::MaintenanceEnded(ended) => tx.end_maintenance(ended.id, at).map(|()| None),
    }
}

fn put_file(
    tx: &Tx,
    seq: Seq,
    sha256: crate::ledger::Digest,
    name: &str,
    refused: bool,
) -> Result<Option<Stirred>, LedgerError> {
    tx.put_file(&FileRow { sha256, seq, name: name.to_owned(), refused }).map(|()| None)
}

fn reading(tx: &Tx, seq: Seq, taken: &entry::ReadingTaken) -> Result<Option<Stirred>, LedgerError> {
    let row = reading_row(seq, taken)?;
    tx.put_reading(&row)?;
    tx.note_first_use(&row)?;
    Ok(Some(Stirred { device: row.device, from: row.time }))
}

/// A reading's row, from its entry alone.
pub(crate) fn reading_row(seq: Seq, taken: &entry::ReadingTaken) -> Result<ReadingRow, LedgerError> {
    let reading = &taken.reading;
    let Reading { device, time, colour, level, circumstances, .. } = reading;
    let white = white_as_given(colour, circumstances.source).map_err(|impossible| LedgerError::Damaged {
        what: format!("entry {seq}: its colour cannot be one: {impossible}"),
    })?;
    let excluded = match (taken.conflict_with, taken.ahead) {
        (Some(_), _) => Some(Excluded::Conflict),
        (None, true) => Some(Excluded::Ahead),
        (None, false) => None,
    };
    let spread = (white.tint != Tint::Known).then_some(white.spread);
    Ok(ReadingRow {
        seq,
        device: device.clone(),
        time: *time,
        instrument: circumstances.instrument.clone(),
        patch: circumstances.patch,
        given: taken.given(),
        u: white.uv.u,
        v: white.uv.v,
        spread: spread.map(|spread| UvVariance { uu: spread.uu, uv: spread.uv, vv: spread.vv }),
        ln_level: level_as_given(*level, colour).and_then(|level| ln_level(level, circumstances.patch)),
        hours: circumstances.hours,
        warmup_min: circumstances.warmup_min,
        setting: circumstances.setting.clone(),
        source: circumstances.source,
        spectral: matches!(colour, ColourSet::Spectrum { .. }),
        ra: circumstances.ra,
        named: circumstances.id.clone().filter(|_| circumstances.patch == Patch::Paper),
        excluded: excluded.map(|why| why.word().to_owned()),
        released: false,
    })
}

/// Foreign light below this, in lx, is darkness.
const DARK_LX: f64 = 1e-3;

/// The logarithm of a level. Foreign light is known by its illuminance alone (`admit` takes no other), and there may be none.
fn ln_level(level: Level, patch: Patch) -> Option<f64> {
    let value = match (level, patch) {
        (Level::Illuminance(lx), Patch::Ambient) => lx.get().max(DARK_LX),
        (Level::Luminance(_), Patch::Ambient) => return None,
        (Level::Luminance(luminance), _) => luminance.get(),
        (Level::Illuminance(illuminance), _) => illuminance.get(),
    };
    (value > 0.0).then(|| libm::log(value))
}

fn renew_first_use(tx: &Tx, seq: Seq) -> Result<(), LedgerError> {
    tx.reading(seq)?.map_or(Ok(()), |row| tx.renew_first_use(&row))
}

fn stirred_by(tx: &Tx, seq: Seq) -> Result<Option<Stirred>, LedgerError> {
    if let Some(row) = tx.reading(seq)? {
        return Ok(Some(Stirred { device: row.device, from: row.time }));
    }
    Ok(tx.event(seq)?.map(|row| Stirred { device: row.event.device, from: row.event.time }))
}
