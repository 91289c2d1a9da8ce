//! Any text after a bracket, so that it is taken for JSON: no panic, and what is read is kept on the second reading.

#![no_main]

use libfuzzer_sys::fuzz_target;
use twinwhite::formats::{Context, Need, Outcome, parse};

fuzz_target!(|text: &str| {
    let context = Context::of(Need::Look);
    for bracket in ["{", "["] {
        let text = format!("{bracket}{text}");
        let once = parse(text.as_bytes(), &context);
        // A byte-order mark and an empty line change nothing but the line numbers.
        let again = parse(format!("\u{feff}\n{text}").as_bytes(), &context);
        match (once, again) {
            (Outcome::Records(once, ..), Outcome::Records(again, ..)) => {
                assert!(once.iter().map(|row| &row.value).eq(again.iter().map(|row| &row.value)));
            }
            (Outcome::Refused(once), Outcome::Refused(again)) => assert_eq!(once.len(), again.len()),
            (Outcome::Incomplete { .. }, Outcome::Incomplete { .. }) => {}
            (once, again) => panic!("{once:?} became {again:?}"),
        }
    }
});
