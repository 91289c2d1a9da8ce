//! Any bytes as a file: no panic, and a refusal always says something.

#![no_main]

use libfuzzer_sys::fuzz_target;
use twinwhite::formats::{Context, Need, Outcome, parse};
use twinwhite::zone::LocalZone;

fuzz_target!(|bytes: &[u8]| {
    let zone = LocalZone::named("Europe/Lisbon").ok();
    for need in [Need::Ledger, Need::Look] {
        if let Outcome::Refused(defects) = parse(bytes, &Context { zone, ..Context::of(need) }) {
            assert!(!defects.is_empty());
        }
    }
});
