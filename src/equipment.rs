//! How an instrument stood when it read something: which certificate it had, and whether it was damaged. Pure.
//!
//! What lives here: the life of one instrument as its record tells it. What does not: finding that record (`evaluate`), and what
//! is said (`say`). None of this changes a risk: a certificate that ended yesterday makes no reading worse than it is, but it
//! takes away what the reading could be traced to.
//!
//! A reading is held against the certificate of its own hour. One that was made after a certificate had ended does not become
//! certified by the next, and one made with a damaged instrument is not mended with it; a fresh reading is what helps.

use chrono::NaiveDate;

use crate::ledger::Seq;
use crate::reading::{Certificate, Event, EventKind};
use crate::site::Instrument;
use crate::units::{Day, DeviceId, InstrumentId, Time};
use crate::zone::LocalZone;

/// A certificate that an instrument has or had.
#[derive(Debug, Clone, PartialEq)]
pub struct Certified {
    /// The entry that holds it; absent where only the configuration names its end.
    pub seq: Option<Seq>,
    /// From when on it is one; absent for the configuration's.
    pub from: Option<Time>,
    /// What it says.
    pub certificate: Certificate,
}

/// Why what an instrument read is not what it should be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Doubt {
    /// Its certificate had ended.
    CertificateEnded {
        /// The last day on which it was good.
        until: Day,
    },
    /// It was damaged.
    Damaged {
        /// Since when.
        since: Time,
        /// When it was repaired; absent where it was not yet.
        repaired: Option<Time>,
    },
}

impl Doubt {
    /// The doubt's word, as in JSON.
    pub const fn word(self) -> &'static str {
        match self {
            Self::CertificateEnded { .. } => "certificate-ended",
            Self::Damaged { .. } => "instrument-damaged",
        }
    }
}

/// What a device was read with last, among the readings that count.
#[derive(Debug, Clone, PartialEq)]
pub struct ReadWith {
    /// The display or lamp.
    pub device: DeviceId,
    /// The reading's entry.
    pub seq: Seq,
    /// When it was read.
    pub read: Time,
    /// The instrument; absent where none was named.
    pub instrument: Option<InstrumentId>,
    /// The certificate it had then, good or ended; absent where none is known.
    pub certificate: Option<Certified>,
    /// What speaks against it.
    pub doubts: Vec<Doubt>,
}

/// What is on record of one instrument.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Life {
    /// The earliest first, that of the configuration before all.
    certificates: Vec<Certified>,
    /// Spans in which it was damaged.
    damaged: Vec<(Time, Option<Time>)>,
    retired: bool,
}

impl Life {
    /// From what the configuration says of it and all that was done to it, in the order of time; what does not count must have been
    /// left out.
    pub fn of<'e>(
        configured: Option<&Instrument>,
        events: impl IntoIterator<Item = (Seq, &'e Event)>,
        zone: LocalZone,
    ) -> Self {
        let mut life = Self::default();
        let end = configured.and_then(|instrument| instrument.certificate_until);
        life.certificates.extend(end.map(|until| Certified {
            seq: None,
            from: None,
            certificate: Certificate { until: Day(until), number: None, issued: None, laboratory: None, results: None },
        }));
        for (seq, event) in events {
            life.retired = event.kind == EventKind::Retired;
            match event.kind {
                EventKind::Certificate => {
                    life.certificates.extend(event.details.certificate.clone().map(|certificate| {
                        let issued = certificate.issued.map(|day| zone.first_of(day.0));
                        Certified { seq: Some(seq), from: Some(issued.unwrap_or(event.time)), certificate }
                    }))
                }
                EventKind::Damaged if life.damaged.last().is_none_or(|(_, repaired)| repaired.is_some()) => {
                    life.damaged.push((event.time, None));
                }
                // Another one stands in its place.
                EventKind::Repaired | EventKind::Replaced => {
                    if let Some((_, repaired)) = life.damaged.last_mut() {
                        repaired.get_or_insert(event.time);
                    }
                }
                _ => {}
            }
        }
        life.certificates.sort_by_key(|certified| certified.from);
        life
    }

    /// The certificate at an instant, good or ended: the one issued last by then, or the configuration's where that reaches further.
    pub fn certificate(&self, at: Time) -> Option<&Certified> {
        let by_then = || self.certificates.iter().filter(|certified| certified.from.is_none_or(|from| from <= at));
        let issued = by_then().rfind(|certified| certified.from.is_some());
        let configured = by_then().find(|certified| certified.from.is_none());
        match (issued, configured) {
            (Some(issued), Some(configured)) if configured.certificate.until > issued.certificate.until => {
                Some(configured)
            }
            (issued, configured) => issued.or(configured),
        }
    }

    /// The last day on which the certificate at `at` is good.
    pub fn certificate_until(&self, at: Time) -> Option<NaiveDate> {
        self.certificate(at).map(|certified| certified.certificate.until.0)
    }

    /// Since when it is damaged, if nobody has repaired it and it is in use.
    pub fn damaged(&self) -> Option<Time> {
        self.damaged.last().filter(|(_, repaired)| repaired.is_none() && !self.retired).map(|(since, _)| *since)
    }

    /// Whether it is out of use.
    pub const fn is_retired(&self) -> bool {
        self.retired
    }

    /// What speaks against a reading that it made at `read`.
    pub fn doubts(&self, read: Time, zone: LocalZone) -> Vec<Doubt> {
        let until = self.certificate_until(read).filter(|until| zone.day(read) > *until);
        let ended = until.map(|until| Doubt::CertificateEnded { until: Day(until) });
        let within = |(since, repaired): &&(Time, Option<Time>)| {
            *since <= read && repaired.is_none_or(|repaired| read < repaired)
        };
        let damaged = self
            .damaged
            .iter()
            .find(within)
            .map(|(since, repaired)| Doubt::Damaged { since: *since, repaired: *repaired });
        ended.into_iter().chain(damaged).collect()
    }
}

#[cfg(test)]
mod tests;
