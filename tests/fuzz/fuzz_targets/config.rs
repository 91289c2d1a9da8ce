//! Any text as a configuration: no panic.

#![no_main]

use std::path::Path;

use libfuzzer_sys::fuzz_target;
use twinwhite::config::Config;

fuzz_target!(|text: &str| {
    let _ = Config::parse(text, "fuzz", Path::new("."));
});
