//! Any text as a note, a key, a checkpoint, a short code and a certificate, and any hashes as proofs: no panic, nothing
//! believed that nobody signed, and what is read is written as it was.

#![no_main]

use libfuzzer_sys::fuzz_target;
use twinwhite::ledger::checkpoint::{Checkpoint, ShortCode, SignedHead};
use twinwhite::ledger::note::{Note, SigningKey, VerifierKey};
use twinwhite::ledger::proof::{check_consistency, check_inclusion};
use twinwhite::ledger::{Certificate, Digest};

fuzz_target!(|bytes: &[u8]| {
    let text = String::from_utf8_lossy(bytes);
    let key = SigningKey::from_seed("quillmoor", &[7; 32]).expect("a name");
    if let Ok(note) = Note::parse(&text) {
        assert!(text.starts_with(note.text()));
        // Only a signature that stands there by chance, one in 2^512, would be believed.
        assert!(note.signed_by(std::slice::from_ref(key.verifier())).is_err());
    }
    if let Ok(found) = VerifierKey::parse(&text) {
        assert_eq!(found.to_string(), text);
    }
    if let Ok(found) = Checkpoint::parse(&text) {
        let again = Checkpoint::parse(&found.text()).expect("what was written is read");
        assert_eq!(again.head, found.head);
    }
    if let Ok(found) = SignedHead::find(&text) {
        assert!(SignedHead::parse(&found.note).is_ok());
    }
    if let Some(code) = ShortCode::parse(&text) {
        assert_eq!(ShortCode::parse(&code.to_string()), Some(code));
    }
    if let Ok(certificate) = Certificate::parse(&text) {
        let _ = certificate.check(None);
    }
    let [a, b, c, d, e, f, g, h, rest @ ..] = bytes else { return };
    let (small, large) = (u64::from_be_bytes([*a, *b, *c, *d, 0, 0, 0, 0]) >> 32, u64::from(*e));
    let size = large << (f & 63) | u64::from(*g) << 8 | u64::from(*h);
    let path: Vec<Digest> = rest.chunks_exact(32).filter_map(Digest::from_bytes).collect();
    let (one, other) = (Digest::of(b"one"), Digest::of(b"other"));
    assert!(check_inclusion(&one, small, size, &path, &other).is_err());
    assert!(check_consistency(small, &one, size, &other, &path).is_err());
});
