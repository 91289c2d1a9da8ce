//! The JSON of `history`.

use schemars::JsonSchema;
use serde::Serialize;

use super::super::answer::{CertificateJson, CertifiedJson, MeanSd};
use super::Line;
use super::records::{Correction, Deed, Known};
use crate::estimates::Estimate;
use crate::ledger::Seq;
use crate::reading::{Attached, EventKind, OperatorBy, Patch};
use crate::site::Identity;
use crate::units::{DeviceId, Hours, InstrumentId, OperatorId, Time};

/// What one thing is, every reading that was kept of it, and everything that was done to it.
#[derive(Debug, Serialize, JsonSchema)]
pub struct History {
    /// The display, lamp, paper or instrument.
    device: DeviceId,
    /// What it is.
    #[schemars(extend("enum" = ["display", "lamp", "paper", "instrument"]))]
    kind: &'static str,
    /// What tells it from others.
    identity: IdentityJson,
    /// The certificate that it has or had last; null for what is no instrument, and where none is known.
    certificate: Option<CertifiedJson>,
    /// Since when an instrument is damaged; null where it is not, or was repaired.
    damaged_since: Option<Time>,
    /// Its readings by their own time, the oldest first; of displays and lamps only.
    readings: Vec<ReadingJson>,
    /// What was done to it, the oldest first.
    events: Vec<EventJson>,
    /// The instrument on whose scale the device is kept; not there where no reading named one.
    #[serde(skip_serializing_if = "Option::is_none")]
    scale: Option<ScaleJson>,
}

/// One reading.
#[derive(Debug, Serialize, JsonSchema)]
pub struct ReadingJson {
    /// Its entry in the ledger.
    seq: Seq,
    /// When it was measured.
    time: Time,
    /// Whether it counts.
    used: bool,
    /// Why it does not count, or not fully, in words; null where it does.
    why: Option<String>,
    /// CIE 1976 u′.
    u_prime: f64,
    /// CIE 1976 v′.
    v_prime: f64,
    /// Natural logarithm of illuminance in lx for a lamp, of luminance in cd/m² for a display or lit paper; null where no level
    /// was read.
    ln_luminance: Option<f64>,
    /// What it was read with; null where that was not said.
    instrument: Option<InstrumentId>,
    /// What was lit.
    patch: Patch,
    /// The device's own hours counter, h; null where it was not read.
    hours: Option<Hours>,
    /// Minutes since the device was switched on; null where that was not said.
    warmup_min: Option<f64>,
    /// Dimmer or dial, as written; null where that was not said.
    setting: Option<String>,
    /// When it was appended to the ledger.
    entered_at: Option<Time>,
    /// How long after it was measured that was, in days; below 0 for a time ahead of the clock.
    entered_after_days: Option<f64>,
    /// Who read it; null where that was not said.
    operator: Option<OperatorId>,
    /// Whence that is known; null where it was not said, and in a ledger of before this was kept.
    operator_by: Option<OperatorBy>,
    /// The entries that take it back or let it count.
    corrections: Vec<CorrectionJson>,
}

/// Something that was done to the device.
#[derive(Debug, Serialize, JsonSchema)]
pub struct EventJson {
    /// Its entry in the ledger.
    seq: Seq,
    /// When it was done.
    time: Time,
    /// What was done.
    event: EventKind,
    /// Whether it counts; false where it was taken back.
    used: bool,
    /// Who did it; null where that was not said.
    operator: Option<OperatorId>,
    /// What was noted; null where nothing was.
    note: Option<String>,
    /// Whence the operator is known; null where nobody was named, and in a ledger of before this was kept.
    operator_by: Option<OperatorBy>,
    /// When it was appended to the ledger.
    entered_at: Option<Time>,
    /// How long after it was done that was, in days.
    entered_after_days: Option<f64>,
    /// Of `certificate`: what it says; else null.
    certificate: Option<CertificateJson>,
    /// The firmware from then on; null where that was not said.
    firmware: Option<String>,
    /// Where it stands from then on; null where that was not said.
    place: Option<String>,
    /// A file that belongs to it; null where there is none.
    attached: Option<Attached>,
    /// The entries that take it back.
    corrections: Vec<CorrectionJson>,
}

/// The instrument on whose scale the device is kept: the one that read it most.
#[derive(Debug, Serialize, JsonSchema)]
pub struct ScaleJson {
    /// The instrument.
    instrument: InstrumentId,
    /// What the instrument that read it second most reads above that one; null where there is no second.
    other: Option<OtherInstrument>,
}

/// What an instrument reads above the one on whose scale the device is kept.
#[derive(Debug, Serialize, JsonSchema)]
pub struct OtherInstrument {
    /// The instrument.
    instrument: InstrumentId,
    /// Difference in CIE 1976 u′.
    u_prime: MeanSd,
    /// Difference in CIE 1976 v′.
    v_prime: MeanSd,
    /// Difference in the natural logarithm of the level, which is about its fraction.
    ln_luminance: MeanSd,
}

/// What tells a thing from others; each null where it was not written down.
#[derive(Debug, Serialize, JsonSchema)]
pub struct IdentityJson {
    /// Who made it.
    maker: Option<String>,
    /// Type or model.
    model: Option<String>,
    /// Its serial number; of a paper, its batch.
    serial: Option<String>,
    /// Its firmware, as recorded last.
    firmware: Option<String>,
    /// Where it stands, as recorded last.
    place: Option<String>,
}

/// An entry that corrects another. Neither is ever changed.
#[derive(Debug, Serialize, JsonSchema)]
pub struct CorrectionJson {
    /// The entry.
    seq: Seq,
    /// When it was appended.
    time: Time,
    /// `retracted`: no longer counts; `released`: was held back and counts.
    #[schemars(extend("enum" = ["retracted", "released"]))]
    what: &'static str,
    /// Why; null where it was let count.
    reason: Option<String>,
    /// Who; null where nobody is known.
    operator: Option<OperatorId>,
    /// Whence that is known; null where nobody is, and in a ledger of before this was kept.
    operator_by: Option<OperatorBy>,
}

impl History {
    /// The whole answer.
    pub(super) fn of(
        device: DeviceId,
        known: &Known,
        readings: &[Line],
        deeds: &[Deed],
        estimate: Option<&Estimate>,
    ) -> Self {
        let Identity { maker, model, serial, firmware, place } = known.identity.clone();
        Self {
            device,
            kind: known.kind.word(),
            identity: IdentityJson { maker, model, serial, firmware, place },
            certificate: known.certificate.as_ref().map(CertifiedJson::of),
            damaged_since: known.damaged,
            readings: readings.iter().map(ReadingJson::of).collect(),
            events: deeds.iter().map(EventJson::of).collect(),
            scale: estimate.and_then(ScaleJson::of),
        }
    }
}

impl CorrectionJson {
    fn of(correction: &Correction) -> Self {
        Self {
            seq: correction.seq,
            time: correction.time,
            what: if correction.retracted.is_some() { "retracted" } else { "released" },
            reason: correction.retracted.clone(),
            operator: correction.operator.clone(),
            operator_by: correction.operator_by,
        }
    }
}

impl ScaleJson {
    /// `None` where no instrument was named.
    fn of(estimate: &Estimate) -> Option<Self> {
        let instrument = estimate.state.scale_instrument()?.clone();
        let other = estimate.state.other_instrument(&estimate.params).map(|(id, [u, v, ln])| OtherInstrument {
            instrument: id.clone(),
            u_prime: u.into(),
            v_prime: v.into(),
            ln_luminance: ln.into(),
        });
        Some(Self { instrument, other })
    }
}

impl ReadingJson {
    fn of(line: &Line) -> Self {
        let (row, origin) = (&line.row, line.origins.origin.as_ref());
        Self {
            seq: row.seq,
            time: row.time,
            used: line.used(),
            why: line.why(),
            u_prime: row.u,
            v_prime: row.v,
            ln_luminance: row.ln_level,
            instrument: row.instrument.clone(),
            patch: row.patch,
            hours: row.hours,
            warmup_min: row.warmup_min,
            setting: row.setting.clone(),
            entered_at: origin.map(|origin| origin.entered),
            entered_after_days: origin.map(|origin| origin.entered.since(row.time).0),
            operator: origin.and_then(|origin| origin.operator.clone()),
            operator_by: origin.and_then(|origin| origin.operator_by),
            corrections: line.origins.corrections.iter().map(CorrectionJson::of).collect(),
        }
    }
}

impl EventJson {
    fn of(deed: &Deed) -> Self {
        let row = &deed.row;
        let details = &row.event.details;
        Self {
            seq: row.seq,
            time: row.event.time,
            event: row.event.kind,
            used: row.excluded.is_none(),
            operator: row.event.operator.clone(),
            note: row.event.note.clone(),
            operator_by: row.event.operator_by,
            entered_at: deed.entered,
            entered_after_days: deed.entered.map(|entered| entered.since(row.event.time).0),
            certificate: details.certificate.as_ref().map(CertificateJson::of),
            firmware: details.firmware.clone(),
            place: details.place.clone(),
            attached: details.attached.clone(),
            corrections: deed.corrections.iter().map(CorrectionJson::of).collect(),
        }
    }
}
