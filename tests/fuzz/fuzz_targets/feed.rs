//! Any text as a calendar's file: no panic, and what is read is written so that it is read again alike.

#![no_main]

use libfuzzer_sys::fuzz_target;
use twinwhite::calendar;
use twinwhite::zone::LocalZone;

fuzz_target!(|text: &str| {
    let Ok(feed) = calendar::read(text) else { return };
    let Ok(zone) = LocalZone::named("Europe/Lisbon") else { return };
    let once = calendar::write(&feed, "Harbour", zone);
    if let Ok(again) = calendar::read(&once) {
        assert_eq!(calendar::write(&again, "Harbour", zone), once);
    }
});
