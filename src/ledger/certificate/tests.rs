//! Certificates: made, checked without the store, and changed in every byte.

use super::*;
use crate::ledger::checkpoint::Checkpoint;
use crate::ledger::note::SigningKey;
use crate::ledger::samples::{fill, noon, site};
use crate::ledger::store::Ledger;

fn ledger(entries: i64) -> Ledger {
    let mut ledger = Ledger::in_memory(&site()).unwrap();
    fill(&mut ledger, entries);
    ledger
}

fn key(ledger: &Ledger) -> SigningKey {
    SigningKey::from_seed(&ledger.log_origin().unwrap().unwrap(), &[8; 32]).unwrap()
}

/// The head at `size` entries, signed.
fn head(ledger: &Ledger, size: i64) -> SignedHead {
    let mut edge = tree::Frontier::new();
    for seq in 1..=size {
        edge.push(ledger.raw_entry(Seq::new(seq).unwrap()).unwrap().unwrap().true_leaf().unwrap());
    }
    let origin = ledger.log_origin().unwrap().unwrap();
    let text = Checkpoint { origin, head: Head { size, root: edge.root() }, time: Some(noon()) }.text();
    SignedHead::parse(&key(ledger).sign(&text).unwrap()).unwrap()
}

fn made(ledger: &Ledger, seq: i64, under: i64, kept: Option<i64>) -> Certificate {
    let kept = kept.map(|size| head(ledger, size));
    let seq = Seq::new(seq).unwrap();
    Certificate::make(ledger, seq, &head(ledger, under), key(ledger).verifier(), kept.as_ref()).unwrap()
}

#[test]
fn a_certificate_needs_no_store() {
    let ledger = ledger(300);
    for (seq, under) in [(1, 1), (1, 300), (300, 300), (256, 257), (77, 200)] {
        let text = serde_json::to_string_pretty(&made(&ledger, seq, under, None)).unwrap();
        let read = Certificate::parse(&text).unwrap();
        let own = read.check(None).unwrap();
        assert_eq!(read.check(Some(&Kept::Head(own.clone()))), Ok(own.clone()));
        assert_eq!(read.check(Some(&Kept::Code(own.code))), Ok(own));
    }
    for (under, kept) in [(200, 300), (300, 120), (256, 128), (299, 300)] {
        let read = made(&ledger, 77, under, Some(kept));
        assert!(read.check(Some(&Kept::Head(head(&ledger, kept)))).is_ok(), "{under} {kept}");
        let other = head(&ledger, 150);
        assert!(matches!(read.check(Some(&Kept::Head(other))), Err(BadCertificate::Unconnected { .. })));
    }
}

#[test]
fn another_history_is_told() {
    let (ledger, mut other) = (ledger(20), ledger(10));
    other
        .write(noon(), |tx| (0..10).try_for_each(|_| tx.append(&crate::ledger::samples::retract(2)).map(|_| ())))
        .unwrap();
    let certificate = made(&ledger, 5, 20, None);
    let forked = head(&other, 20);
    assert!(matches!(
        certificate.check(Some(&Kept::Head(forked.clone()))),
        Err(BadCertificate::Forked { size: 20, .. })
    ));
    assert!(matches!(certificate.check(Some(&Kept::Code(forked.code))), Err(BadCertificate::Code { .. })));
    let kept = head(&other, 15);
    let seq = Seq::new(5).unwrap();
    let foreign = Certificate::make(&ledger, seq, &head(&ledger, 20), key(&ledger).verifier(), Some(&kept));
    assert!(matches!(foreign, Err(CannotCertify::Foreign(_))), "{foreign:?}");
    let beyond = Certificate::make(&ledger, Seq::new(21).unwrap(), &head(&ledger, 20), key(&ledger).verifier(), None);
    assert!(matches!(beyond, Err(CannotCertify::NoEntry { seq: 21, size: 20 })));
}

/// Every byte of the file changed: no other certificate that reads otherwise is believed.
#[test]
fn no_byte_can_be_changed() {
    let ledger = ledger(300);
    let certificate = made(&ledger, 77, 300, Some(120));
    let kept = Kept::Head(head(&ledger, 120));
    let text = serde_json::to_string(&certificate).unwrap();
    assert!(Certificate::parse(&text).unwrap().check(Some(&kept)).is_ok());
    for at in 0..text.len() {
        for flip in [0x01, 0x10] {
            let mut bytes = text.as_bytes().to_vec();
            bytes[at] ^= flip;
            let Ok(changed) = String::from_utf8(bytes) else { continue };
            let Ok(read) = Certificate::parse(&changed) else { continue };
            assert!(read == certificate || read.check(Some(&kept)).is_err(), "byte {at}: {changed}");
        }
    }
    for at in 0..certificate.proof.hashes.len() {
        let mut fewer = certificate.clone();
        fewer.proof.hashes.remove(at);
        assert!(matches!(fewer.check(None), Err(BadCertificate::Inclusion(_))));
    }
}

/// The inner agreement of what somebody made with a key of their own: only what was kept elsewhere tells.
#[test]
fn a_forger_with_a_key_is_found_by_what_was_kept() {
    let honest = ledger(20);
    let mut forged = Ledger::in_memory(&site()).unwrap();
    fill(&mut forged, 20);
    let stranger = SigningKey::from_seed(&forged.log_origin().unwrap().unwrap(), &[1; 32]).unwrap();
    let text = Checkpoint {
        origin: forged.log_origin().unwrap().unwrap(),
        head: Head { size: 20, root: Digest::of(b"x") },
        time: None,
    }
    .text();
    let other = SignedHead::parse(&stranger.sign(&text).unwrap()).unwrap();
    let certificate = made(&honest, 5, 20, None);
    assert!(certificate.check(Some(&Kept::Head(other))).is_err());
}
