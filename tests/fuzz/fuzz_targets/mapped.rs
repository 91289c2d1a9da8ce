//! Any text as a table for mappings: no panic, and a refusal always says something.

#![no_main]

use std::path::Path;

use libfuzzer_sys::fuzz_target;
use twinwhite::config::Config;
use twinwhite::formats::{Context, Need, Outcome, parse};
use twinwhite::zone::LocalZone;

const SITE: &str = include_str!("../../config/valid/mapping.toml");

fuzz_target!(|text: &str| {
    let Ok(config) = Config::parse(SITE, "fuzz", Path::new(".")) else { panic!("the configuration is sound") };
    let zone = LocalZone::named("Europe/Lisbon").ok();
    let context = Context { zone, mappings: config.mappings, ..Context::of(Need::Ledger) };
    // With and without the header that the mapping waits for, so that rows are reached too.
    let under = format!("\n\nDay\tClock\t1e6/T\tDuv\tE\t380 nm\t390 nm\tRemarks\n{text}");
    for text in [text, &under] {
        if let Outcome::Refused(defects) = parse(text.as_bytes(), &context) {
            assert!(!defects.is_empty());
        }
    }
});
