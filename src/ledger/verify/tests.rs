//! The check against every way of changing a ledger behind its back.

use proptest::prelude::*;

use super::*;
use crate::ledger::checkpoint::Checkpoint;
use crate::ledger::entry::keys::handover;
use crate::ledger::entry::{Body, KeyLost, KeyMade, KeyRotated, Refusal, Retract, Seq};
use crate::ledger::note::SigningKey;
use crate::ledger::proof;
use crate::ledger::samples::{Room, fill, noon, retract, site};
use crate::ledger::store::Ledger;
use crate::reading::Defect;

const LENGTH: i64 = 9;

/// What the check says of a ledger of nine entries after `attack`.
fn after(attack: &str) -> Verification {
    let mut ledger = Ledger::in_memory(&site()).unwrap();
    fill(&mut ledger, LENGTH);
    ledger.attack(attack);
    verify(&ledger, &[]).unwrap()
}

#[test]
fn a_sound_ledger_is_sound() {
    let found = after("");
    assert!(found.ok);
    assert_eq!((found.entries, found.first_bad, found.fault), (LENGTH, None, None));
    let empty = Ledger::in_memory(&site()).unwrap();
    let found = verify(&empty, &[]).unwrap();
    assert!(found.ok);
    assert!(found.root.to_string().starts_with("e3b0c442"));
}

#[test]
fn every_column_of_every_entry_is_watched() {
    for seq in 1..=LENGTH {
        for change in [
            "body = replace(body, '\"', '\"\"')",
            "body = body || ' '",
            "body = body || char(10)",
            "body = CAST(x'ff' AS TEXT)",
            "time = '2026-03-04T12:00:00.000Z'",
            "kind = 'release'",
            "site = 'elsewhere'",
            "leaf = zeroblob(32)",
            "leaf = x''",
        ] {
            let found = after(&format!("UPDATE entry SET {change} WHERE seq = {seq}"));
            assert!(!found.ok);
            assert_eq!(found.first_bad, Some(seq), "{change}: {:?}", found.fault);
            assert_eq!(found.entries, LENGTH);
        }
    }
}

#[test]
fn every_byte_of_every_entry_is_watched() {
    let mut ledger = Ledger::in_memory(&site()).unwrap();
    fill(&mut ledger, LENGTH);
    let flipped = every_flip_is_found(&ledger, &[], LENGTH);
    assert!(flipped > 800, "{flipped}");
}

/// Flips one bit of each byte of each column of each entry, and tells how many that were. The ledger must be sound.
pub(super) fn every_flip_is_found(ledger: &Ledger, heads: &[Head], length: i64) -> usize {
    let mut flipped = 0;
    for seq in 1..=length {
        let entry = ledger.raw_entry(Seq::new(seq).unwrap()).unwrap().unwrap();
        let columns = [
            ("site", entry.site.into_bytes()),
            ("time", entry.time.into_bytes()),
            ("kind", entry.kind.into_bytes()),
            ("body", entry.body.into_bytes()),
            ("leaf", entry.leaf),
        ];
        for (column, whole) in columns {
            let set = |bytes: &[u8]| {
                let hex: String = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
                let kind = if column == "leaf" { "BLOB" } else { "TEXT" };
                ledger.attack(&format!("UPDATE entry SET {column} = CAST(x'{hex}' AS {kind}) WHERE seq = {seq}"));
            };
            for at in 0..whole.len() {
                let mut bytes = whole.clone();
                bytes[at] ^= 1 << (at % 7);
                set(&bytes);
                let found = verify(ledger, heads).unwrap();
                assert_eq!((found.ok, found.first_bad), (false, Some(seq)), "byte {at} of {column}: {:?}", found.fault);
                flipped += 1;
            }
            set(&whole);
        }
    }
    assert!(verify(ledger, heads).unwrap().ok, "put right again");
    flipped
}

#[test]
fn entries_removed_moved_or_put_in_are_found() {
    for seq in 1..=LENGTH {
        let found = after(&format!("DELETE FROM entry WHERE seq = {seq}"));
        assert_eq!((found.ok, found.first_bad, found.entries), (false, Some(seq), LENGTH - 1));
        // Closing the gap by renumbering what follows.
        let found = after(&format!(
            "DELETE FROM entry WHERE seq = {seq};
             UPDATE entry SET seq = -seq WHERE seq > {seq}; UPDATE entry SET seq = -seq - 1 WHERE seq < 0"
        ));
        assert_eq!((found.ok, found.first_bad), (false, Some(seq)), "{:?}", found.fault);
        let copy = |to: i64| {
            format!("INSERT INTO entry SELECT site, {to}, time, kind, body, leaf FROM entry WHERE seq = {seq}")
        };
        for to in [LENGTH + 1, 0, -3, LENGTH + 5] {
            let found = after(&copy(to));
            let first = if to > LENGTH { LENGTH + 1 } else { to };
            assert_eq!((found.ok, found.first_bad), (false, Some(first)), "copy to {to}: {:?}", found.fault);
        }
    }
    for low in 1..LENGTH {
        for high in low + 1..=LENGTH {
            let found = after(&format!(
                "UPDATE entry SET seq = -1 WHERE seq = {low}; UPDATE entry SET seq = {low} WHERE seq = {high};
                 UPDATE entry SET seq = {high} WHERE seq = -1"
            ));
            assert_eq!((found.ok, found.first_bad), (false, Some(low)), "{low} for {high}");
        }
    }
}

#[test]
fn a_cut_tail_is_found_at_every_length() {
    for kept in 0..LENGTH {
        let found = after(&format!("DELETE FROM entry WHERE seq > {kept}"));
        assert_eq!((found.ok, found.first_bad, found.entries), (false, Some(kept + 1), kept));
        assert_eq!(found.fault, Some(Fault::Missing(kept + 1)));
    }
}

#[test]
fn a_changed_head_is_found() {
    let cases: [(&str, Option<i64>); 6] = [
        ("UPDATE head SET root = zeroblob(32)", None),
        ("UPDATE head SET root = x'00'", None),
        ("UPDATE head SET frontier = zeroblob(64)", None),
        ("UPDATE head SET size = 4", Some(5)),
        ("UPDATE head SET size = 12", Some(10)),
        ("DELETE FROM head", None),
    ];
    for (attack, first_bad) in cases {
        let found = after(attack);
        assert_eq!((found.ok, found.first_bad), (false, first_bad), "{attack}: {:?}", found.fault);
    }
}

/// An attacker who makes the leaf anew is betrayed by the head; one who makes the head anew too, only by a head that was
/// remembered elsewhere.
#[test]
fn a_remembered_head_finds_what_the_kept_one_cannot() {
    let room = Room::new();
    let ledger = room.filled(LENGTH);
    let remembered = ledger.head().unwrap();
    drop(ledger);
    // The same ledger with another fourth entry, every hash made anew.
    let forged = Room::new();
    let mut ledger = forged.open();
    ledger.found(noon(), "0.1.0", None).unwrap();
    ledger
        .write(noon(), |tx| (2..=LENGTH).try_for_each(|n| tx.append(&retract(if n == 4 { 44 } else { n })).map(|_| ())))
        .unwrap();
    assert!(verify(&ledger, &[]).unwrap().ok);
    let found = verify(&ledger, &[remembered]).unwrap();
    assert!(matches!(found.fault, Some(Fault::Remembered { size: LENGTH, .. })), "{:?}", found.fault);
    assert_eq!((found.ok, found.first_bad), (false, None));

    // Only the leaf made anew.
    let leaf: Vec<u8> = forged.raw().query_row("SELECT leaf FROM entry WHERE seq = 4", (), |row| row.get(0)).unwrap();
    let ledger = room.open();
    room.raw().execute("UPDATE entry SET body = replace(body, '4', '44'), leaf = ?1 WHERE seq = 4", (leaf,)).unwrap();
    let found = verify(&ledger, &[]).unwrap();
    assert!(matches!(found.fault, Some(Fault::Root { .. })), "{:?}", found.fault);
    assert_eq!((found.ok, found.first_bad), (false, None));

    // Tail cut and head rewritten to match.
    let short = Room::new().filled(LENGTH - 2);
    assert!(verify(&short, &[]).unwrap().ok);
    assert_eq!(verify(&short, &[remembered]).unwrap().first_bad, Some(LENGTH - 1));
    let grown = {
        let room = Room::new();
        let mut ledger = room.filled(LENGTH);
        ledger.write(noon(), |tx| tx.append(&retract(10))).unwrap();
        verify(&ledger, &[remembered, Head { size: 0, root: Frontier::new().root() }]).unwrap()
    };
    assert!(grown.ok, "an old head of the same ledger is no fault");
}

/// A byte changed in the file itself, not through SQL.
#[test]
fn a_changed_byte_of_an_entry_in_the_file_is_found() {
    let room = Room::new();
    drop(room.filled(LENGTH));
    let bytes = std::fs::read(room.path()).unwrap();
    let text = b"reason 7";
    let places: Vec<usize> = (0..bytes.len() - text.len()).filter(|i| bytes[*i..].starts_with(text)).collect();
    assert!(!places.is_empty());
    for offset in places {
        let mut bytes = bytes.clone();
        bytes[offset] ^= 0x01;
        std::fs::write(room.path(), &bytes).unwrap();
        assert_eq!(verify(&room.open(), &[]).unwrap().first_bad, Some(7));
    }
}

fn any_body() -> impl Strategy<Value = Body> {
    let retract = (1..i64::MAX, any::<String>()).prop_map(|(seq, reason)| {
        Body::Retract(Retract { seq: Seq::new(seq).unwrap(), reason, operator: None, operator_by: None })
    });
    let refusal = (any::<String>(), any::<Vec<u8>>(), proptest::collection::vec((any::<u64>(), any::<String>()), 0..4))
        .prop_map(|(name, bytes, defects)| {
            let defects = defects.into_iter().map(|(line, found)| Defect::of_line(line, &found, "a number")).collect();
            Body::Refusal(Refusal { name, sha256: Digest::of(&bytes), defects })
        });
    prop_oneof![retract, refusal]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn whatever_is_appended_is_sound_and_comes_back(
        transactions in proptest::collection::vec(proptest::collection::vec(any_body(), 0..6), 0..6),
    ) {
        let mut ledger = Ledger::in_memory(&site()).unwrap();
        ledger.found(noon(), "0.1.0", None).unwrap();
        let mut heads = vec![ledger.head().unwrap()];
        for bodies in &transactions {
            ledger.write(noon(), |tx| bodies.iter().try_for_each(|body| tx.append(body).map(|_| ()))).unwrap();
            heads.push(ledger.head().unwrap());
        }
        let found = verify(&ledger, &heads).unwrap();
        prop_assert!(found.ok, "{:?}", found.fault);
        let read: Vec<Body> = ledger.entries(Seq::FIRST.next(), 1000).unwrap().into_iter().map(|e| e.body).collect();
        prop_assert_eq!(read, transactions.concat());
    }
}

/// A key, and the head of what `ledger` holds signed with it.
fn key_of(ledger: &Ledger, seed: u8) -> SigningKey {
    SigningKey::from_seed(&ledger.log_origin().unwrap().unwrap(), &[seed; 32]).unwrap()
}

fn sign(ledger: &mut Ledger, key: &SigningKey) -> SignedHead {
    ledger
        .write(noon(), |tx| {
            let origin = tx.log_origin()?.unwrap();
            let text = Checkpoint { origin, head: tx.head_now(), time: Some(noon()) }.text();
            let signed = SignedHead::parse(&key.sign(&text).unwrap()).unwrap();
            tx.put_signed_head(&signed)?;
            Ok::<_, LedgerError>(signed)
        })
        .unwrap()
}

fn append(ledger: &mut Ledger, body: &Body) {
    ledger.write(noon(), |tx| tx.append(body)).unwrap();
}

fn rotated(from: &SigningKey, to: &SigningKey) -> Body {
    let key = to.verifier().to_string();
    let note = from.sign(&handover(from.verifier().name(), &key)).unwrap();
    Body::KeyRotated(KeyRotated { key, note, reason: "a year is over".into(), operator: None, operator_by: None })
}

/// Nine entries, a key, signed heads, the key changed twice, more signed heads.
fn signed_room() -> (Room, Vec<SignedHead>) {
    let room = Room::new();
    let mut ledger = room.filled(LENGTH);
    let keys = [1, 2, 3].map(|seed| key_of(&ledger, seed));
    append(&mut ledger, &Body::KeyMade(KeyMade { key: keys[0].verifier().to_string() }));
    let mut heads = vec![sign(&mut ledger, &keys[0])];
    append(&mut ledger, &retract(3));
    heads.push(sign(&mut ledger, &keys[0]));
    append(&mut ledger, &rotated(&keys[0], &keys[1]));
    heads.push(sign(&mut ledger, &keys[1]));
    let (key, lost) = (keys[2].verifier().to_string(), keys[1].verifier().to_string());
    append(
        &mut ledger,
        &Body::KeyLost(KeyLost { key, lost, reason: "disk gone".into(), operator: None, operator_by: None }),
    );
    heads.push(sign(&mut ledger, &keys[2]));
    append(&mut ledger, &retract(4));
    heads.push(sign(&mut ledger, &keys[2]));
    (room, heads)
}

#[test]
fn signed_heads_are_held_against_the_entries() {
    let (room, heads) = signed_room();
    let ledger = room.open();
    let found = verify_against(&ledger, &heads).unwrap();
    assert_eq!((found.ok, found.fault, found.signed_heads), (true, None, 10));
    for (attack, part) in [
        ("UPDATE signed_head SET root = zeroblob(32) WHERE size = 11", "from entry 11 to 11"),
        ("UPDATE signed_head SET note = replace(note, '11\n', '12\n') WHERE size = 11", "another size or root"),
        ("UPDATE signed_head SET note = 'x' WHERE size = 12", "no signed note"),
        (
            "UPDATE signed_head SET note = (SELECT note FROM signed_head WHERE size = 13) WHERE size = 12",
            "another size",
        ),
        ("UPDATE signed_head SET size = 99 WHERE size = 14", "entry 15 is missing"),
        ("UPDATE signed_head SET note = replace(note, '12:00:00Z', '13:00:00Z') WHERE size = 12", "does not fit"),
        ("UPDATE signed_head SET root = x'00' WHERE size = 12", "not to be believed"),
    ] {
        let (room, _) = signed_room();
        let ledger = room.open();
        ledger.attack(attack);
        let found = verify(&ledger, &[]).unwrap();
        let said = found.fault.map(|fault| fault.to_string()).unwrap_or_default();
        assert!(!found.ok && said.contains(part), "{attack}: {said}");
    }
}

/// A head by a key that counted before or after, but not then.
#[test]
fn only_the_key_that_counted_then_signs() {
    let (room, heads) = signed_room();
    let ledger = room.open();
    let first = key_of(&ledger, 1);
    let last = heads.last().unwrap().checkpoint.text();
    let late = SignedHead::parse(&first.sign(&last).unwrap()).unwrap();
    let said = verify_against(&ledger, &[late]).unwrap().fault.unwrap().to_string();
    assert!(said.contains("is not signed with"), "{said}");
    let early = SignedHead::parse(&key_of(&ledger, 3).sign(&heads[0].checkpoint.text()).unwrap()).unwrap();
    assert!(!verify_against(&ledger, &[early]).unwrap().ok);
    let elsewhere = Checkpoint { origin: "twinwhite/quillmoor/0000000000000000".into(), ..heads[0].checkpoint.clone() };
    let elsewhere = SignedHead::parse(&first.sign(&elsewhere.text()).unwrap()).unwrap();
    let said = verify_against(&ledger, &[elsewhere]).unwrap().fault.unwrap().to_string();
    assert!(said.contains("another ledger"), "{said}");
}

#[test]
fn entries_about_keys_must_follow_from_each_other() {
    let with = |make: &dyn Fn(&Ledger) -> Body, made: bool| {
        let mut ledger = Ledger::in_memory(&site()).unwrap();
        fill(&mut ledger, LENGTH);
        if made {
            let key = key_of(&ledger, 1).verifier().to_string();
            append(&mut ledger, &Body::KeyMade(KeyMade { key }));
        }
        let body = make(&ledger);
        append(&mut ledger, &body);
        let found = verify(&ledger, &[]).unwrap();
        assert_eq!(found.first_bad, Some(LENGTH + 1 + i64::from(made)));
        found.fault.unwrap().to_string()
    };
    let made = |key: String| Body::KeyMade(KeyMade { key });
    let foreign = SigningKey::from_seed("twinwhite/elsewhere/0", &[5; 32]).unwrap();
    assert!(with(&|ledger| made(key_of(ledger, 2).verifier().to_string()), true).contains("there was one already"));
    assert!(with(&|_| made(foreign.verifier().to_string()), false).contains("the key is that of"));
    assert!(with(&|_| made("no key".into()), false).contains("no verifier key"));
    assert!(with(&|ledger| rotated(&key_of(ledger, 1), &key_of(ledger, 2)), false).contains("none before"));
    assert!(with(&|ledger| rotated(&key_of(ledger, 3), &key_of(ledger, 2)), true).contains("has not signed for it"));
    let for_another = |ledger: &Ledger| {
        let Body::KeyRotated(body) = rotated(&key_of(ledger, 1), &key_of(ledger, 2)) else { panic!() };
        Body::KeyRotated(KeyRotated { key: key_of(ledger, 3).verifier().to_string(), ..body })
    };
    assert!(with(&for_another, true).contains("for another one"));
    let lost = |ledger: &Ledger| {
        let key = |seed| key_of(ledger, seed).verifier().to_string();
        Body::KeyLost(KeyLost { key: key(2), lost: key(3), reason: "gone".into(), operator: None, operator_by: None })
    };
    assert!(with(&lost, true).contains("another key than the one"));
}

#[test]
fn a_wrong_cache_is_told_and_is_no_fault() {
    let room = Room::new();
    let mut ledger = room.filled(600);
    let stored = |ledger: &Ledger| ledger.kept_subtrees().unwrap();
    let right = stored(&ledger);
    assert_eq!(right.iter().map(|(level, index, _)| (*level, *index)).collect::<Vec<_>>(), [(8, 0), (8, 1)]);
    assert!(verify(&ledger, &[]).unwrap().subtrees_ok);
    for attack in [
        "DELETE FROM subtree WHERE idx = 1",
        "UPDATE subtree SET hash = zeroblob(32) WHERE idx = 0",
        "UPDATE subtree SET hash = x'00' WHERE idx = 0",
        "INSERT INTO subtree VALUES (8, 2, zeroblob(32))",
        "UPDATE subtree SET level = 16 WHERE idx = 0",
    ] {
        ledger.attack(attack);
        let found = verify(&ledger, &[]).unwrap();
        assert!(found.ok && !found.subtrees_ok, "{attack}");
        ledger.write(noon(), |tx| tx.renew_subtrees()).unwrap();
        assert!(verify(&ledger, &[]).unwrap().subtrees_ok, "{attack}");
        assert_eq!(stored(&ledger), right);
    }
}

#[test]
fn every_entry_of_a_stored_ledger_is_proven() {
    let mut ledger = Ledger::in_memory(&site()).unwrap();
    fill(&mut ledger, 1000);
    for size in [1, 255, 256, 257, 512, 513, 767, 1000] {
        let head = {
            let mut edge = Frontier::new();
            for seq in 1..=size {
                edge.push(ledger.raw_entry(Seq::new(seq).unwrap()).unwrap().unwrap().true_leaf().unwrap());
            }
            edge.root()
        };
        let size = size as u64;
        for index in (0..size).step_by(37).chain([size - 1]) {
            let leaf = ledger.raw_entry(Seq::new(index as i64 + 1).unwrap()).unwrap().unwrap().true_leaf().unwrap();
            let path = proof::inclusion(&*ledger, index, size).unwrap();
            assert_eq!(proof::check_inclusion(&leaf, index, size, &path, &head), Ok(()), "{index} of {size}");
            let path = proof::consistency(&*ledger, index + 1, 1000).unwrap();
            let now = ledger.head().unwrap().root;
            if index + 1 == size {
                assert_eq!(proof::check_consistency(size, &head, 1000, &now, &path), Ok(()));
            }
        }
    }
}
