//! Keyword text: CGATS.17 / ISO 28178, colorimetric and spectral.
//!
//! What lives here: what is keyword text, and the way from its tables to readings. Words are in `lexer`, tables in
//! `table`, which fields hold a colour in `colour`, sets of values in `set`.
//!
//! No field of the standard has a unit of light. A table becomes readings only where its header has the keyword
//! QUANTITY (one of [`Quantity`](super::Quantity)), or the configuration says for the folder what it holds:
//!
//! ```text
//! CGATS.17
//! CREATED "2026-03-04 10:30"                        the time, where there is no TIME and it has a time of day
//! KEYWORD "QUANTITY"
//! QUANTITY "illuminance lx"
//! KEYWORD "DEVICE"
//! DEVICE "bay-lamp"
//! BEGIN_DATA_FORMAT
//! SAMPLE_ID XYZ_X XYZ_Y XYZ_Z SAMPLE_NAME           SAMPLE_ID is our id, SAMPLE_NAME our note
//! END_DATA_FORMAT
//! BEGIN_DATA
//! 1 482.1 500.0 412.6 "centre"
//! END_DATA
//! ```
//!
//! DEVICE, TIME, INSTRUMENT, OPERATOR, HOURS, WARMUP_MIN, SETTING, SOURCE, PATCH, RA, ID and NOTE may be keywords (for
//! all sets of a table) or fields (for each set, and then they go before), and mean what they mean in CSV.
//! Measurements of printed patches are read as a whole, so that it can be said that this is what they are, and refused.

mod colour;
mod lexer;
mod set;
mod table;

use super::defects::Defects;
use super::{Context, Format, Outcome, refused};
use set::Sets;
use table::Stop;

/// So many bytes of a text tell its format.
pub(super) const HEAD: usize = 16 << 10;
/// The largest keyword text that is read, in bytes.
const MAX_BYTES: usize = 8 << 20;

/// Whether a text, blanks at its start apart, is keyword text: by its type, or by a line that nothing else has. A text
/// that ends within the name of a type is one, too: the rest of it may yet come.
pub(super) fn is_written_in(start: &str) -> bool {
    const TYPES: [&str; 2] = ["CGATS", "ISO28178"];
    const SIGNS: [&str; 7] = [
        "BEGIN_DATA_FORMAT",
        "BEGIN_DATA",
        "NUMBER_OF_FIELDS",
        "NUMBER_OF_SETS",
        "KEYWORD",
        "ORIGINATOR",
        "FILE_DESCRIPTOR",
    ];
    let head = start.char_indices().nth(HEAD).and_then(|(end, _)| start.get(..end)).unwrap_or(start);
    TYPES.iter().any(|name| head.starts_with(name) || name.starts_with(start))
        || head.split(['\n', '\r']).any(|line| line.split_whitespace().next().is_some_and(|word| SIGNS.contains(&word)))
}

/// Reads keyword text.
pub(super) fn read(text: &str, context: &Context) -> Outcome {
    if text.len() > MAX_BYTES {
        return refused(0, &format!("{} bytes", text.len()), "keyword text of 8 MiB at most: split the file");
    }
    let mut defects = Defects::default();
    let tables = match table::tables(text, &mut defects) {
        Ok(tables) => tables,
        Err(Stop::Unfinished(why)) => return Outcome::Incomplete { why },
        Err(Stop::Refused) => return Outcome::Refused(defects.into_list()),
    };
    let (mut rows, mut warnings) = (Vec::new(), Vec::new());
    // Where counts disagree, sets are not what they seem.
    if defects.count() == 0 {
        for table in &tables {
            if let Some(sets) = Sets::of(table, context, &mut defects, &mut warnings) {
                sets.read(&mut rows, &mut defects);
            }
            if defects.are_hopeless() {
                break;
            }
        }
    }
    if defects.count() > 0 {
        Outcome::Refused(defects.into_list())
    } else {
        Outcome::Records(rows, Format::KeywordText, warnings)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keyword_text_is_known_by_its_type_or_its_lines() {
        for text in [
            "CGATS.17\n",
            "ISO28178",
            "C",
            "ISO28",
            "some type\nORIGINATOR \"a\"",
            "T\r\rBEGIN_DATA_FORMAT A B",
            "\"a\"\n  NUMBER_OF_SETS\t3",
        ] {
            assert!(is_written_in(text), "{text:?}");
        }
        for text in ["time,device,x,y\n", "CGA,x", "KEYWORDS\n", "note\nthe KEYWORD\n", "{}"] {
            assert!(!is_written_in(text), "{text:?}");
        }
        assert!(!is_written_in(&format!("{}\nKEYWORD \"a\"", "x".repeat(HEAD))), "only the head counts");
    }
}
