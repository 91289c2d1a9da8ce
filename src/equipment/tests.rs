//! Certificates and damage over time, at their edges.

use super::*;
use crate::reading::Details;
use crate::site::{Bias, Identity, Noise};

const ZONE: LocalZone = LocalZone(chrono_tz::Europe::Lisbon);

fn at(day: &str) -> Time {
    Time::parse(&format!("{day}T12:00:00Z")).unwrap()
}

fn day(text: &str) -> Day {
    Day::parse(text).unwrap()
}

fn event(kind: EventKind, when: &str, certificate: Option<(&str, &str)>) -> Event {
    let certificate = certificate.map(|(issued, until)| Certificate {
        until: day(until),
        number: None,
        issued: Some(day(issued)),
        laboratory: None,
        results: None,
    });
    Event {
        device: DeviceId::new("spectro-1").unwrap(),
        time: at(when),
        time_given: None,
        kind,
        operator: None,
        operator_by: None,
        note: None,
        target_white: None,
        target_luminance: None,
        other: None,
        details: Details { certificate, ..Details::default() },
    }
}

fn life(until: Option<&str>, events: &[Event]) -> Life {
    let instrument = Instrument {
        id: InstrumentId::new("spectro-1").unwrap(),
        identity: Identity::default(),
        kind: None,
        certificate_until: until.map(|until| day(until).0),
        noise: Noise::default(),
        bias: Bias::default(),
    };
    let numbered = events.iter().enumerate().map(|(n, event)| (Seq::new(n as i64 + 1).unwrap(), event));
    Life::of(Some(&instrument), numbered, ZONE)
}

fn ended(until: &str) -> Doubt {
    Doubt::CertificateEnded { until: day(until) }
}

#[test]
fn a_reading_is_held_against_the_certificate_of_its_own_hour() {
    let renewed = event(EventKind::Certificate, "2026-05-20", Some(("2026-05-15", "2027-05-14")));
    let life = life(Some("2026-04-30"), &[renewed]);
    let doubts = |when| life.doubts(at(when), ZONE);
    assert_eq!(doubts("2026-04-30"), []);
    assert_eq!(doubts("2026-05-01"), [ended("2026-04-30")]);
    assert_eq!(doubts("2026-05-15"), [], "good from its issue on, whenever it was written down");
    assert_eq!(doubts("2027-05-15"), [ended("2027-05-14")]);
    // The last day ends with the day in the zone of the site.
    assert_eq!(life.doubts(Time::parse("2026-04-30T22:59:59Z").unwrap(), ZONE), []);
    assert_eq!(life.doubts(Time::parse("2026-04-30T23:00:00Z").unwrap(), ZONE), [ended("2026-04-30")]);
}

#[test]
fn the_certificate_issued_last_counts_unless_the_configuration_reaches_further() {
    let first = event(EventKind::Certificate, "2026-01-10", Some(("2026-01-10", "2028-01-09")));
    let shorter = event(EventKind::Certificate, "2026-03-10", Some(("2026-03-10", "2026-09-09")));
    let until = |life: &Life, when| life.certificate_until(at(when)).map(|day| day.to_string());
    let two = life(None, &[first.clone(), shorter.clone()]);
    assert_eq!(until(&two, "2026-02-01").as_deref(), Some("2028-01-09"));
    assert_eq!(
        until(&two, "2026-04-01").as_deref(),
        Some("2026-09-09"),
        "what was found last, though it is the shorter"
    );
    assert_eq!(until(&two, "2026-01-01"), None);
    assert_eq!(two.certificate(at("2026-04-01")).unwrap().seq, Seq::new(2));
    let late = life(Some("2026-12-31"), &[shorter]);
    assert_eq!(until(&late, "2026-04-01").as_deref(), Some("2026-12-31"));
    assert_eq!(late.certificate(at("2026-04-01")).unwrap().seq, None);
    assert_eq!(until(&life(None, &[]), "2026-04-01"), None);
    assert_eq!(life(None, &[]).doubts(at("2026-04-01"), ZONE), [], "nobody said that it has one");
}

#[test]
fn what_was_read_while_it_was_damaged_stays_in_doubt() {
    let damaged = || event(EventKind::Damaged, "2026-03-01", None);
    let open = life(None, &[damaged()]);
    let since = at("2026-03-01");
    assert_eq!(open.damaged(), Some(since));
    assert_eq!(open.doubts(at("2026-02-28"), ZONE), []);
    assert_eq!(open.doubts(at("2026-03-02"), ZONE), [Doubt::Damaged { since, repaired: None }]);
    let mended = life(None, &[damaged(), damaged(), event(EventKind::Repaired, "2026-03-09", None)]);
    let repaired = Some(at("2026-03-09"));
    assert_eq!(mended.damaged(), None);
    assert_eq!(mended.doubts(at("2026-03-02"), ZONE), [Doubt::Damaged { since, repaired }]);
    assert_eq!(mended.doubts(at("2026-03-09"), ZONE), []);
    let gone = life(None, &[damaged(), event(EventKind::Retired, "2026-03-02", None)]);
    assert_eq!((gone.damaged(), gone.is_retired()), (None, true));
}
