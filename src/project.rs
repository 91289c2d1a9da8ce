//! What an entry does to the projections: the one place, so that living on and rebuilding cannot differ.
//!
//! Whoever appends an entry applies it here in the same transaction; a rebuild applies the same entries in the same order
//! to empty tables. Not here: the devices' estimates (`estimates`), which depend on all of a device's records and not on
//! their order of arrival; and the question whether an entry should be made at all (`pipeline`, `evaluate`).

use crate::alert::{self, Cleared};
use crate::color::{Tint, level_as_given, white_as_given};
use crate::config::Config;
use crate::fate::Excluded;
use crate::ledger::entry::{self, Outcome, Transition};
use crate::ledger::store::{
    AlertRow, EventRow, FileRow, Given, MessageRow, MessageState, ReadingRow, UvVariance, VerdictRow,
};
use crate::ledger::{Body, LedgerError, Seq, Tx};
use crate::outbox::{self, LOG_CHANNEL, Message};
use crate::reading::{ColourSet, Level, Patch, Reading};
use crate::say;
use crate::units::{DeviceId, Time};
use crate::zone::LocalZone;

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
        Body::Founded(_) => Ok(None),
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
            tx.retract(retract.seq)?;
            renew_first_use(tx, retract.seq)?;
            Ok(stirred)
        }
        Body::Release(release) => {
            tx.release_reading(release.seq)?;
            renew_first_use(tx, release.seq)?;
            stirred_by(tx, release.seq)
        }
        Body::Verdict(verdict) => {
            let row = VerdictRow { station: verdict.station.clone(), verdict: verdict.verdict.clone(), since: at, seq };
            tx.put_verdict(&row).map(|()| None)
        }
        Body::Alert(step) => alert_step(tx, at, step, config).map(|()| None),
        Body::Delivery(delivery) => {
            let state = match delivery.outcome {
                Outcome::Sent => MessageState::Sent,
                Outcome::GivenUp => MessageState::GivenUp,
            };
            tx.mark_message(&delivery.key, state).map(|_| None)
        }
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
fn reading_row(seq: Seq, taken: &entry::ReadingTaken) -> Result<ReadingRow, LedgerError> {
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
        given: Given::of_reading(reading),
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

fn alert_step(tx: &Tx, at: Time, step: &entry::Alert, config: &Config) -> Result<(), LedgerError> {
    let row = match (step.transition, tx.alert(step.id)?) {
        (Transition::Raised, _) | (_, None) => AlertRow {
            id: step.id,
            kind: step.kind.clone(),
            subject: step.subject.clone(),
            raised_at: at,
            acknowledged_at: None,
            cleared_at: None,
            operator: None,
            reason: step.reason.clone(),
            detail: step.detail.clone(),
            run: step.run,
        },
        (Transition::Acknowledged, Some(row)) => {
            AlertRow { acknowledged_at: Some(at), operator: step.operator.clone(), ..row }
        }
        (Transition::Cleared, Some(row)) => AlertRow { cleared_at: Some(at), reason: step.reason.clone(), ..row },
    };
    tx.put_alert(&row)?;
    for message in messages(tx, at, step, &row, config) {
        tx.put_message(&message)?;
    }
    Ok(())
}

/// The messages that a step of an alert sends, one for each channel, the log first.
fn messages(tx: &Tx, at: Time, step: &entry::Alert, row: &AlertRow, config: &Config) -> Vec<MessageRow> {
    let zone = LocalZone(config.site.zone);
    let Some(kind) = alert::Kind::from_word(&step.kind) else { return Vec::new() };
    let headline = match step.transition {
        Transition::Raised => say::headline(kind, &step.subject),
        Transition::Cleared if !kind.end_is_news() => return Vec::new(),
        Transition::Cleared => {
            let why = Cleared::from_word(&step.reason).unwrap_or(Cleared::ConditionOver);
            say::closing(kind, &step.subject, why, at.since(row.raised_at))
        }
        // Whoever acknowledges knows already.
        Transition::Acknowledged => return Vec::new(),
    };
    let state = match step.transition {
        Transition::Raised => alert::State::Raised,
        _ => alert::State::Cleared,
    };
    let key = outbox::key(tx.site(), step.id, state.word());
    let message = Message {
        key: key.clone(),
        site: tx.site().clone(),
        alert: step.id,
        kind: step.kind.clone(),
        subject: step.subject.clone(),
        state: state.word().to_owned(),
        at,
        at_local: zone.show_full(at),
        headline,
        lines: step.detail.lines().map(str::to_owned).collect(),
    };
    let Ok(body) = serde_json::to_string(&message) else { return Vec::new() };
    let configured = config.channels.iter().map(|channel| channel.id.as_str());
    std::iter::once(LOG_CHANNEL)
        .chain(configured)
        .map(|channel| MessageRow {
            key: format!("{key}/{channel}"),
            alert: Some(step.id),
            channel: channel.to_owned(),
            body: body.clone(),
            created_at: at,
            state: MessageState::Due,
        })
        .collect()
}
