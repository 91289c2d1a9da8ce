//! Any bytes after a type of keyword text: no panic, a refusal always says something, and line ends change no reading.

#![no_main]

use libfuzzer_sys::fuzz_target;
use twinwhite::formats::{Context, KeywordRules, NamePattern, Need, Outcome, Quantity, parse};

fuzz_target!(|bytes: &[u8]| {
    let keyword_text =
        KeywordRules { spectral_pattern: NamePattern::new("S{nm}").ok(), quantity: Some(Quantity::Illuminance) };
    for keyword_text in [KeywordRules::default(), keyword_text] {
        let context = Context { keyword_text, ..Context::of(Need::Look) };
        let once = parse(&[b"CGATS.17\n", bytes].concat(), &context);
        let again = parse(&[b"CGATS.17\r\n", bytes].concat(), &context);
        match (once, again) {
            (Outcome::Refused(once), Outcome::Refused(again)) => assert!(!once.is_empty() && once == again),
            (once, again) => assert_eq!(format!("{once:?}"), format!("{again:?}")),
        }
    }
});
