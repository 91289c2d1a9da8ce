//! What the ledger says of a thing beside readings and model: who it is, what was done to it, when and by whom that was entered,
//! and what corrects it.

use super::super::session::Session;
use crate::equipment::Certified;
use crate::evaluate;
use crate::ledger::entry::Entry;
use crate::ledger::store::{EventRow, Origin, ReadingRow};
use crate::ledger::{Body, LedgerError, Seq, Store};
use crate::reading::{EventKind, OperatorBy, ThingKind};
use crate::say;
use crate::site::Identity;
use crate::units::{DeviceId, InstrumentId, OperatorId, Time};

/// Something that was done, as its entry has it.
pub struct Deed {
    pub row: EventRow,
    pub entered: Option<Time>,
    pub corrections: Vec<Correction>,
}

/// How a reading came in, and what became of it since.
#[derive(Default)]
pub struct Origins {
    pub origin: Option<Origin>,
    pub corrections: Vec<Correction>,
}

/// An entry that takes another back, or lets it count.
pub struct Correction {
    pub seq: Seq,
    pub time: Time,
    /// Why it was taken back; absent where it was let count.
    pub retracted: Option<String>,
    pub operator: Option<OperatorId>,
    pub operator_by: Option<OperatorBy>,
}

/// Who a thing is and how it stands.
pub struct Known {
    pub kind: ThingKind,
    /// As the configuration has it, with the firmware and the place that were recorded since.
    pub identity: Identity,
    /// Of an instrument.
    pub certificate: Option<Certified>,
    pub damaged: Option<Time>,
}

impl Deed {
    /// Everything about these events.
    pub fn all(store: &Store, rows: Vec<EventRow>) -> Result<Vec<Self>, LedgerError> {
        let deeds = rows.into_iter().map(|mut row| {
            let entered = evaluate::complete(store, &mut row)?;
            let corrections = Correction::of(store, row.seq)?;
            Ok(Self { row, entered, corrections })
        });
        deeds.collect()
    }
}

impl Origins {
    /// Of one reading.
    pub fn of(store: &Store, row: &ReadingRow) -> Result<Self, LedgerError> {
        Ok(Self { origin: store.origin(row.seq)?, corrections: Correction::of(store, row.seq)? })
    }
}

impl Correction {
    fn of(store: &Store, target: Seq) -> Result<Vec<Self>, LedgerError> {
        let entries = store.corrections(target)?.into_iter();
        Ok(entries
            .filter_map(|Entry { seq, time, body, .. }| match body {
                Body::Retract(back) => Some(Self {
                    seq,
                    time,
                    retracted: Some(back.reason),
                    operator: back.operator,
                    operator_by: back.operator_by,
                }),
                Body::Release(let_count) => Some(Self {
                    seq,
                    time,
                    retracted: None,
                    operator: let_count.operator,
                    operator_by: let_count.operator_by,
                }),
                _ => None,
            })
            .collect())
    }

    /// In words, beside the entry it is about.
    pub fn text(&self, target: Seq, named: &[OperatorId]) -> String {
        let by =
            self.operator.as_ref().map(|by| format!(", {}", say::who(by, self.operator_by, named))).unwrap_or_default();
        match &self.retracted {
            Some(reason) => format!("takes entry {target} back: {reason}{by}"),
            None => format!("lets entry {target} count{by}"),
        }
    }
}

impl Known {
    /// What is known of a thing at `at`, with what was done to it by then.
    pub fn of(
        store: &Store,
        session: &Session,
        thing: &DeviceId,
        kind: ThingKind,
        deeds: &[Deed],
        at: Time,
    ) -> Result<Self, LedgerError> {
        let configured = session.config.things.identity_of(thing.as_str()).cloned().unwrap_or_default();
        let mut identity = configured.clone();
        for Deed { row, .. } in deeds.iter().filter(|deed| deed.row.excluded.is_none()) {
            let details = &row.event.details;
            if row.event.kind == EventKind::Replaced {
                // Of the new one only the configuration can tell.
                identity.firmware.clone_from(&configured.firmware);
            }
            identity.firmware = details.firmware.clone().or(identity.firmware);
            identity.place = details.place.clone().or(identity.place);
        }
        let life = match InstrumentId::new(thing.as_str()).ok().filter(|_| kind == ThingKind::Instrument) {
            Some(instrument) => evaluate::instrument_life(store, &session.config, &instrument, at)?,
            None => Default::default(),
        };
        Ok(Self { kind, identity, certificate: life.certificate(at).cloned(), damaged: life.damaged() })
    }

    /// The lines above the table; empty where nothing was written down.
    pub fn text(&self, session: &Session, now: Time) -> String {
        let Identity { maker, model, serial, firmware, place } = &self.identity;
        let serial_word = if self.kind == ThingKind::Paper { "batch" } else { "serial" };
        let who = [
            maker.clone(),
            model.clone(),
            serial.as_ref().map(|serial| format!("{serial_word} {serial}")),
            firmware.as_ref().map(|version| format!("firmware {version}")),
            place.as_ref().map(|place| format!("at {place}")),
        ];
        let who: Vec<String> = who.into_iter().flatten().collect();
        let mut text = String::new();
        if !who.is_empty() {
            text.push_str(&format!("{}\n", who.join(", ")));
        }
        if let Some(certified) = &self.certificate {
            let number = certified.certificate.number.as_ref().map(|number| format!(" {number}")).unwrap_or_default();
            let until = certified.certificate.until.0;
            let over = session.zone().day(now) > until;
            let verb = if over { "was" } else { "is" };
            text.push_str(&format!("its certificate{number} {verb} good until {}\n", until.format("%-d %b %Y")));
        }
        if let Some(since) = self.damaged {
            text.push_str(&format!("damaged since {}, not repaired\n", session.zone().show(since)));
        }
        if !text.is_empty() {
            text.push('\n');
        }
        text
    }
}
