//! `record`, `retract`, `release`: what people did, and what they take back or let count.

use std::path::Path;

use super::fail::{Failure, Kind};
use super::session::Session;
use super::take::{not_taken, split, who};
use super::{named_file, output};
use crate::acts;
use crate::admit::admit;
use crate::formats::{self, Context, Need};
use crate::ledger::Seq;
use crate::pipeline;
use crate::reading::{Attached, Record, Row};
use crate::units::DeviceId;

/// Writes down an event.
pub fn record(
    session: Session,
    event: &str,
    device: &str,
    at: Option<&str>,
    file: Option<&Path>,
    fields: &[String],
) -> Result<(), Failure> {
    let device = DeviceId::new(device).map_err(|bad| Failure::new(Kind::Usage, bad.to_string()))?;
    let now = session.clock.now();
    let mut pairs = vec![
        ("device".to_owned(), device.to_string()),
        ("event".to_owned(), event.to_owned()),
        ("time".to_owned(), at.map_or_else(|| now.to_string(), str::to_owned)),
    ];
    for field in fields {
        pairs.push(split(field)?);
    }
    let operator = who(&session, &mut pairs)?;
    let context = Context { zone: Some(session.zone()), ..Context::of(Need::Ledger) };
    let mut event = formats::typed_event(&pairs, &context).map_err(|defects| not_taken(&defects))?;
    event.operator_by = operator.as_ref().map(|operator| operator.by);
    event.operator = operator.map(|operator| operator.id);
    event.details.attached = file.map(attached).transpose()?;
    let (kind, time) = (event.kind, event.time);
    if pipeline::is_not_yet(&event, now) {
        let (found, clock) = (session.zone().show_full(time), session.zone().show_full(now));
        return Err(Failure::new(
            Kind::Usage,
            format!("--at: found {found}, expected a time that is past (it is {clock}): record it once it is done"),
        ));
    }
    let rows = vec![Row { line: 0, value: Record::Event(event) }];
    let admitted = admit(rows, &session.config.things, None).map_err(|defects| not_taken(&defects))?;
    let mut ledger = session.ledger()?;
    for row in admitted {
        let receipt = pipeline::take_one(&mut ledger, &session.config, row.value, now)?;
        let when = session.zone().show(time);
        output::print(&match receipt.events.first() {
            Some((seq, _)) => format!("{device}: {} on {when}, written down as entry {seq}.\n", kind.word()),
            None => format!("{device}: {} on {when} is already written down; nothing changed.\n", kind.word()),
        })?;
    }
    Ok(())
}

/// What is kept of a file that belongs to a record: name, digest and length.
fn attached(path: &Path) -> Result<Attached, Failure> {
    let (name, sha256, bytes) = named_file::read(path)?;
    Ok(Attached { name, sha256: sha256.to_string(), bytes })
}

/// Takes a record back.
pub fn retract(session: Session, seq: i64, reason: &str) -> Result<(), Failure> {
    if reason.trim().is_empty() {
        return Err(Failure::new(Kind::Usage, "--reason: expected why, in a few words"));
    }
    let mut ledger = session.ledger()?;
    acts::retract(&mut ledger, &session.config, seq, reason, session.operator.as_ref(), session.clock.now())?;
    output::print(&format!("Entry {seq} no longer counts. It stays in the ledger, and so does why.\n"))?;
    let signed_off = Seq::new(seq).map(|seq| ledger.sign_off(seq)).transpose()?.flatten();
    match signed_off.and_then(|row| row.withdrawn) {
        Some(by) => output::print(&format!(
            "Its certificate goes on proving that it was signed: tell whoever has it. `twinwhite audit prove {by} -o FILE` makes them a \
             certificate of the withdrawal.\n"
        )),
        None => Ok(()),
    }
}

/// Lets a held reading count.
pub fn release(session: Session, seq: i64) -> Result<(), Failure> {
    let mut ledger = session.ledger()?;
    acts::release(&mut ledger, &session.config, seq, session.operator.as_ref(), session.clock.now())?;
    output::print(&format!("Entry {seq} counts now.\n"))
}
