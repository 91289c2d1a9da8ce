//! Any text as a time, in zones of every kind of clock change: no panic, and what is refused at a clock change offers
//! texts that are read.

#![no_main]

use libfuzzer_sys::fuzz_target;
use twinwhite::zone::{BadLocalTime, LocalZone};

fuzz_target!(|text: &str| {
    for name in ["Europe/Lisbon", "Australia/Lord_Howe", "Pacific/Apia", "America/Santiago", "Africa/Casablanca"] {
        let Ok(zone) = LocalZone::named(name) else { continue };
        match zone.read(text) {
            Ok(time) => assert!(!zone.show_full(time).is_empty()),
            Err(bad) => {
                let offered = match &bad {
                    BadLocalTime::Skipped { before, after, .. } => vec![before, after],
                    BadLocalTime::Twice { first, second, .. } => vec![first, second],
                    _ => vec![],
                };
                // Offsets of local mean time have seconds, which no text can hold.
                for at in offered.into_iter().filter(|at| at.offset().local_minus_utc() % 60 == 0) {
                    assert!(zone.read(&at.to_rfc3339()).is_ok(), "{bad}");
                }
            }
        }
    }
});
