//! Instruments, people and how surely they are known, in sentences. Pure.

use super::day;
use crate::equipment::Doubt;
use crate::reading::{Certificate, Details, Event, OperatorBy};
use crate::units::{Day, Days, DeviceId, InstrumentId, OperatorId};
use crate::zone::LocalZone;

/// What speaks against what an instrument read last.
pub fn instrument_doubt(instrument: &InstrumentId, devices: &[DeviceId], doubt: Doubt, zone: &LocalZone) -> String {
    let names: Vec<&str> = devices.iter().map(DeviceId::as_str).collect();
    let (names, were) = (names.join(" and "), if devices.len() == 1 { "was" } else { "were" });
    match doubt {
        Doubt::CertificateEnded { until } => format!(
            "The certificate of {instrument} was good until {}; {names} {were} last read after that.",
            until.0.format("%-d %b %Y")
        ),
        Doubt::Damaged { since, repaired: None } => format!(
            "{instrument} was damaged on {} and is not repaired; {names} {were} last read after that.",
            day(zone, since)
        ),
        Doubt::Damaged { since, repaired: Some(repaired) } => format!(
            "{instrument} was damaged on {} and repaired on {}; {names} {were} last read in between.",
            day(zone, since),
            day(zone, repaired)
        ),
    }
}

/// Who did something and how surely that is known; `named` are the configuration's operators.
pub fn who(operator: &OperatorId, by: Option<OperatorBy>, named: &[OperatorId]) -> String {
    let unknown = if named.contains(operator) { "" } else { ", not in the configuration" };
    match by {
        None => operator.to_string(),
        Some(OperatorBy::Option) => format!("{operator} (as typed)"),
        Some(OperatorBy::File) => format!("{operator} (as the file says{unknown})"),
        Some(OperatorBy::Login) => format!("{operator} (login name{unknown})"),
    }
}

/// How long after it was measured or done something was entered, where that is worth saying: from a day on.
pub fn entered_late(after: Days) -> Option<String> {
    (after.0 >= 1.0).then(|| format!("entered {} later", super::count(after.0.round() as u64, "day")))
}

/// What an event says beside its kind, in pieces.
pub fn event_details(event: &Event) -> Vec<String> {
    let Details { certificate, firmware, place, attached } = &event.details;
    let mut said = Vec::new();
    if let Some(Certificate { until, number, issued, laboratory, results }) = certificate {
        let of = |word: &str, day: Day| format!("{word} {}", day.0.format("%-d %b %Y"));
        said.extend(number.clone());
        said.extend(laboratory.as_ref().map(|laboratory| format!("by {laboratory}")));
        said.extend(issued.map(|day| of("issued", day)));
        said.push(of("good until", *until));
        said.extend(results.clone());
    }
    said.extend(firmware.clone());
    said.extend(place.as_ref().map(|place| format!("to {place}")));
    said.extend(event.other.as_ref().map(|other| format!("with {other}")));
    said.extend(
        attached
            .as_ref()
            .map(|file| format!("file {} (SHA-256 {}…)", file.name, file.sha256.get(..12).unwrap_or_default())),
    );
    said
}
