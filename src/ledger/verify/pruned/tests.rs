//! Every way of changing a ledger of which spectra were taken out.

use crate::ledger::entry::{Body, Pruned, ReadingTaken, Seq, SpectraPruned};
use crate::ledger::samples::{fill, noon, reading, retract, site};
use crate::ledger::store::{Head, Ledger};
use crate::ledger::verify::tests::every_flip_is_found;
use crate::ledger::verify::{Fault, Verification, verify};
use crate::reading::ColourSet;
use crate::units::{SpectralUnit, Spectrum};

/// Two entries, two spectral readings, one entry, the one that prunes both, one more.
const LENGTH: i64 = 7;
const READINGS: [i64; 2] = [3, 4];

fn spectral(number: i64) -> ReadingTaken {
    let nm: Vec<f64> = (0..=80).map(|step| 380.0 + 5.0 * f64::from(step)).collect();
    let values = vec![0.01 * number as f64; nm.len()];
    let spectrum = Spectrum::new(SpectralUnit::Irradiance, &nm, values, None).unwrap();
    let mut reading = reading("bay-lamp", noon(), 0.31);
    (reading.colour, reading.level) = (ColourSet::Spectrum { spectrum: Box::new(spectrum) }, None);
    ReadingTaken::from(reading)
}

fn seq(number: i64) -> Seq {
    Seq::new(number).unwrap()
}

/// The ledger, and its heads before and after the pruning.
fn pruned() -> (Ledger, [Head; 2]) {
    let mut ledger = Ledger::in_memory(&site()).unwrap();
    fill(&mut ledger, 2);
    let append = |ledger: &mut Ledger, body: Body| ledger.write(noon(), |tx| tx.append(&body)).unwrap();
    for number in READINGS {
        append(&mut ledger, Body::ReadingTaken(spectral(number)));
    }
    append(&mut ledger, retract(3));
    let before = ledger.head().unwrap();
    let entries = ledger
        .write(noon(), |tx| {
            let shortened = READINGS.map(|number| {
                let left = spectral(number).without_spectrum().unwrap();
                tx.replace_reading(seq(number), left).map(|one| one.entry)
            });
            shortened.into_iter().collect::<Result<Vec<Pruned>, _>>()
        })
        .unwrap();
    let said = SpectraPruned { before: noon(), entries, operator: None, operator_by: None };
    append(&mut ledger, Body::SpectraPruned(said));
    append(&mut ledger, retract(4));
    let after = ledger.head().unwrap();
    (ledger, [before, after])
}

fn after(attack: &str) -> Verification {
    let (ledger, heads) = pruned();
    ledger.attack(attack);
    verify(&ledger, &heads).unwrap()
}

#[test]
fn what_was_pruned_and_told_is_right_and_keeps_every_head() {
    let (ledger, heads) = pruned();
    let found = verify(&ledger, &heads).unwrap();
    assert_eq!((found.ok, found.entries, found.pruned, found.fault), (true, LENGTH, 2, None));
    let row = ledger.raw_entry(seq(3)).unwrap().unwrap();
    assert_ne!(row.true_leaf().unwrap().as_bytes().as_slice(), row.leaf);
    assert!(row.body.contains("spectrum_pruned") && !row.body.contains("irradiance"), "{}", row.body);
    // Out of the store it comes as what is left, with the white, the level and the digest that it had.
    let Some(Body::ReadingTaken(left)) = ledger.entry(seq(3)).unwrap().map(|entry| entry.body) else { panic!() };
    assert_eq!(Some(&left), spectral(3).without_spectrum().as_ref());
    assert_eq!(left.given(), spectral(3).given());
    assert!(left.without_spectrum().is_none(), "there is nothing more to take out");
}

#[test]
fn every_byte_is_watched_still() {
    let (ledger, heads) = pruned();
    let flipped = every_flip_is_found(&ledger, &heads, LENGTH);
    assert!(flipped > 1400, "{flipped}");
}

#[test]
fn entries_removed_or_moved_are_found() {
    for number in 1..=LENGTH {
        let found = after(&format!("DELETE FROM entry WHERE seq = {number}"));
        assert_eq!((found.ok, found.first_bad), (false, Some(number)), "{:?}", found.fault);
    }
    for low in 1..LENGTH {
        for high in low + 1..=LENGTH {
            let found = after(&format!(
                "UPDATE entry SET seq = -1 WHERE seq = {low}; UPDATE entry SET seq = {low} WHERE seq = {high};
                 UPDATE entry SET seq = {high} WHERE seq = -1"
            ));
            // A replaced body that nothing names is told only where nothing else is.
            assert!(
                !found.ok && found.first_bad.is_some_and(|first| first == low || first == high),
                "{low} for {high}"
            );
        }
    }
}

/// As somebody would who may write to the file: each shortens an entry in the way that pruning does.
#[test]
fn only_a_later_entry_can_say_so_and_only_of_readings() {
    let untold = |number: i64| Some(Fault::Untold(number));
    // Nothing says so.
    let found = after(&format!("UPDATE entry SET body = replace(body, '0.', '1.') WHERE seq = {}", READINGS[0]));
    assert_eq!((found.ok, found.first_bad, found.fault), (false, Some(READINGS[0]), untold(READINGS[0])));
    // What says so stands before the reading.
    let mut ledger = Ledger::in_memory(&site()).unwrap();
    fill(&mut ledger, 1);
    let taken = spectral(3);
    let mut json = Vec::new();
    let left = taken.without_spectrum().unwrap();
    Body::ReadingTaken(left).write_json(&mut json).unwrap();
    let mut other = Ledger::in_memory(&site()).unwrap();
    fill(&mut other, 2);
    other.write(noon(), |tx| tx.append(&Body::ReadingTaken(taken.clone()))).unwrap();
    let told = other.write(noon(), |tx| tx.replace_reading(seq(3), taken.without_spectrum().unwrap())).unwrap();
    let said = SpectraPruned { before: noon(), entries: vec![told.entry], operator: None, operator_by: None };
    ledger
        .write(noon(), |tx| tx.append(&Body::SpectraPruned(said)).and(tx.append(&Body::ReadingTaken(taken))))
        .unwrap();
    assert!(verify(&ledger, &[]).unwrap().ok);
    let body = String::from_utf8(json).unwrap().replace('\'', "''");
    ledger.attack(&format!("UPDATE entry SET body = '{body}' WHERE seq = 3"));
    let found = verify(&ledger, &[]).unwrap();
    assert_eq!((found.ok, found.first_bad, found.fault), (false, Some(3), untold(3)));
    // Another kind than a reading, though an entry names it.
    let (mut ledger, _) = pruned();
    let row = ledger.raw_entry(seq(5)).unwrap().unwrap();
    let was = row.true_leaf().unwrap();
    ledger.attack("UPDATE entry SET body = replace(body, 'reason', 'pretext') WHERE seq = 5");
    let now = ledger.raw_entry(seq(5)).unwrap().unwrap().true_leaf().unwrap();
    assert_ne!(was, now);
    let entries = vec![Pruned { seq: seq(5), was, now }];
    let said = SpectraPruned { before: noon(), entries, operator: None, operator_by: None };
    ledger.write(noon(), |tx| tx.append(&Body::SpectraPruned(said))).unwrap();
    let found = verify(&ledger, &[]).unwrap();
    assert_eq!((found.ok, found.first_bad, found.fault), (false, Some(5), Some(Fault::Leaf(5))));
}

#[test]
fn a_changed_entry_is_not_covered_up_by_pruning_it() {
    let mut ledger = Ledger::in_memory(&site()).unwrap();
    fill(&mut ledger, 2);
    ledger.write(noon(), |tx| tx.append(&Body::ReadingTaken(spectral(3)))).unwrap();
    ledger.attack("UPDATE entry SET body = replace(body, '0.03', '0.04') WHERE seq = 3");
    let refused = ledger.write(noon(), |tx| tx.replace_reading(seq(3), spectral(3).without_spectrum().unwrap()));
    assert!(refused.is_err_and(|why| why.to_string().contains("does not match its leaf")));
    assert_eq!(verify(&ledger, &[]).unwrap().first_bad, Some(3));
}
