//! Fields as they may be typed, `name=value` a line: no panic, and a refusal always says something.

#![no_main]

use libfuzzer_sys::fuzz_target;
use twinwhite::formats::{Context, Need, typed};
use twinwhite::zone::LocalZone;

fuzz_target!(|text: &str| {
    let fields: Vec<(String, String)> =
        text.lines().filter_map(|line| line.split_once('=')).map(|(n, v)| (n.to_owned(), v.to_owned())).collect();
    let context = Context { zone: LocalZone::named("Europe/Lisbon").ok(), ..Context::of(Need::Ledger) };
    if let Err(defects) = typed(&fields, &context) {
        assert!(!defects.is_empty());
    }
});
