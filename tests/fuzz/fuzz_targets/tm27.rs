//! Any bytes within the root of spectral XML: no panic, and a refusal always says something.

#![no_main]

use libfuzzer_sys::fuzz_target;
use twinwhite::formats::{Context, Need, Outcome, parse};

fuzz_target!(|bytes: &[u8]| {
    let context = Context::of(Need::Look);
    for start in [&b"<"[..], b"<IESTM2714>", b"<IESTM2714><SpectralDistribution><SpectralData wavelength=\"400\">"] {
        if let Outcome::Refused(defects) = parse(&[start, bytes].concat(), &context) {
            assert!(!defects.is_empty());
        }
    }
});
