//! Signed heads as text: the open checkpoint form of C2SP "tlog-checkpoint", and the short code that people compare by eye.
//!
//! What lives here: origin, size and root as lines, read and written; the code of such a text; finding a signed head in
//! whatever text somebody kept it in. What does not: signatures (`note`), the tree itself (`tree`).
//!
//! ```text
//! twinwhite/<site>/<the first 16 hexadecimal digits of the leaf of entry 1>
//! <how many entries, decimal>
//! <their root, base64>
//! <when it was signed, RFC 3339 in UTC>
//! ```
//! The first line is the origin, and the name of the key that signs. It holds a digit of the beginning, so that two sites of
//! one name are not taken for each other. Readers pass over lines below the third that they do not know.

use std::fmt;

use base64::prelude::{BASE64_STANDARD, Engine as _};

use super::digest::Digest;
use super::note::{BadNote, Note};
use super::store::Head;
use crate::units::{SiteId, Time};

const PROGRAM: &str = "twinwhite/";

/// Why a text is no checkpoint.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum BadCheckpoint {
    /// A line is missing or not of its form.
    #[error("this is no checkpoint: expected {0}")]
    Line(&'static str),
    /// It stands in no signed note.
    #[error(transparent)]
    Note(#[from] BadNote),
    /// Nowhere in a text is there a signed head.
    #[error(
        "there is no signed head in it: expected the text that `twinwhite audit head` prints, or a mail that holds it"
    )]
    Absent,
}

/// The origin of a ledger: its site, and which of all ledgers of that site it is.
pub fn origin(site: &SiteId, first_leaf: &Digest) -> String {
    let leaf = first_leaf.to_string();
    format!("{PROGRAM}{site}/{}", leaf.get(..16).unwrap_or(&leaf))
}

/// What a head says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Checkpoint {
    /// Whose ledger it is.
    pub origin: String,
    /// How many entries, and their root.
    pub head: Head,
    /// When it was signed, if it says so.
    pub time: Option<Time>,
}

impl Checkpoint {
    /// The text that is signed.
    pub fn text(&self) -> String {
        let root = BASE64_STANDARD.encode(self.head.root.as_bytes());
        let time = self.time.map(|time| format!("{time}\n")).unwrap_or_default();
        format!("{}\n{}\n{root}\n{time}", self.origin, self.head.size)
    }

    /// Reads a text.
    pub fn parse(text: &str) -> Result<Self, BadCheckpoint> {
        let text = text.strip_suffix('\n').ok_or(BadCheckpoint::Line("a last line that is ended"))?;
        let mut lines = text.split('\n');
        let mut line = || lines.next().filter(|line| !line.is_empty());
        let origin = line().ok_or(BadCheckpoint::Line("an origin in the first line"))?.to_owned();
        let size = line().and_then(size).ok_or(BadCheckpoint::Line("a number of entries in the second line"))?;
        let root = line().and_then(|line| BASE64_STANDARD.decode(line).ok());
        let root = root.and_then(|bytes| Digest::from_bytes(&bytes));
        let root = root.ok_or(BadCheckpoint::Line("a root of 32 bytes in base64 in the third line"))?;
        let mut time = None;
        for (nth, line) in lines.enumerate() {
            if line.is_empty() {
                return Err(BadCheckpoint::Line("no empty line"));
            }
            if nth == 0 {
                time = Time::parse(line).ok();
            }
        }
        Ok(Self { origin, head: Head { size, root }, time })
    }
}

fn size(line: &str) -> Option<i64> {
    let plain = line.bytes().all(|byte| byte.is_ascii_digit()) && (line == "0" || !line.starts_with('0'));
    line.parse().ok().filter(|_| plain)
}

/// A head as it was signed. That it is signed by a key that counts is for [`Note::signed_by`] to say.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SignedHead {
    /// The whole note.
    pub note: String,
    /// What it says.
    pub checkpoint: Checkpoint,
    /// The code of its text.
    pub code: ShortCode,
}

impl SignedHead {
    /// Reads a note whose text is a checkpoint.
    pub fn parse(note: &str) -> Result<Self, BadCheckpoint> {
        let parsed = Note::parse(note)?;
        let checkpoint = Checkpoint::parse(parsed.text())?;
        Ok(Self { note: note.to_owned(), checkpoint, code: ShortCode::of(parsed.text()) })
    }

    /// Finds the last signed head in a text that holds more, such as a mail: its lines may be indented and quoted, and the
    /// empty line before the signature may be lost. Nothing else of them may differ, or the signature will not fit.
    pub fn find(text: &str) -> Result<Self, BadCheckpoint> {
        if let Ok(found) = Self::parse(text) {
            return Ok(found);
        }
        let lines: Vec<&str> = text.lines().map(|line| line.trim_start_matches(['>', ' ', '\t']).trim_end()).collect();
        let begins = lines.iter().enumerate().rev().filter(|(_, line)| line.starts_with(PROGRAM));
        for (begin, _) in begins {
            let mut note = String::new();
            let mut signed = false;
            for line in lines.iter().skip(begin).filter(|line| !line.is_empty()) {
                match (line.starts_with("\u{2014} "), signed) {
                    (true, false) => {
                        note.push('\n');
                        signed = true;
                    }
                    (false, true) => break,
                    (true, true) | (false, false) => {}
                }
                note.push_str(line);
                note.push('\n');
            }
            if let Ok(found) = Self::parse(&note) {
                return Ok(found);
            }
        }
        Err(BadCheckpoint::Absent)
    }
}

/// Twelve signs over a head's text: the first 60 bits of SHA-256 of the text of the note, without its signatures, in the
/// digits of Crockford's base 32.
///
/// For the eye and the telephone: somebody who can do 2^60 steps of work can find another text with the same code. The file proves.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ShortCode(u64);

const DIGITS: &[u8; 32] = b"0123456789ABCDEFGHJKMNPQRSTVWXYZ";

impl ShortCode {
    /// The code of the text of a note.
    pub fn of(text: &str) -> Self {
        let digest = Digest::of(text.as_bytes());
        let [a, b, c, d, e, f, g, h, ..] = *digest.as_bytes();
        Self(u64::from_be_bytes([a, b, c, d, e, f, g, h]) >> 4)
    }

    /// Reads a code as people write it: in either case, with or without dashes and blanks, O for 0, I and L for 1.
    pub fn parse(text: &str) -> Option<Self> {
        let mut code = 0_u64;
        let mut count = 0;
        for c in text.chars().filter(|c| !matches!(c, '-' | ' ')) {
            let digit = match c.to_ascii_uppercase() {
                'O' => 0,
                'I' | 'L' => 1,
                c => DIGITS.iter().position(|digit| char::from(*digit) == c)? as u64,
            };
            count += 1;
            if count > 12 {
                return None;
            }
            code = code << 5 | digit;
        }
        (count == 12).then_some(Self(code))
    }
}

impl fmt::Display for ShortCode {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for nth in 0..12 {
            if nth == 4 || nth == 8 {
                f.write_str("-")?;
            }
            let digit = (self.0 >> (55 - 5 * nth)) & 31;
            let digit = DIGITS.get(digit as usize).copied().unwrap_or(b'0');
            write!(f, "{}", char::from(digit))?;
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::super::note::SigningKey;
    use super::*;

    fn checkpoint() -> Checkpoint {
        let origin = origin(&SiteId::new("quillmoor").unwrap(), &Digest::of(b"abc"));
        let head = Head { size: 20_852_163, root: Digest::of(b"") };
        Checkpoint { origin, head, time: Some(Time::parse("2026-03-04T09:30:00Z").unwrap()) }
    }

    const TEXT: &str = "twinwhite/quillmoor/ba7816bf8f01cfea\n20852163\n47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU=\n\
                        2026-03-04T09:30:00Z\n";

    #[test]
    fn the_text_is_pinned() {
        assert_eq!(checkpoint().text(), TEXT);
        assert_eq!(Checkpoint::parse(TEXT), Ok(checkpoint()));
        let more = format!("{TEXT}something of later\n");
        assert_eq!(Checkpoint::parse(&more), Ok(checkpoint()));
    }

    /// The example of C2SP tlog-checkpoint's companion tlog-cosignature: three lines and no time.
    #[test]
    fn the_published_checkpoint_is_read() {
        let text = "example.com/behind-the-sofa\n20852163\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\n";
        let found = Checkpoint::parse(text).unwrap();
        assert_eq!(
            (found.origin.as_str(), found.head.size, found.time),
            ("example.com/behind-the-sofa", 20_852_163, None)
        );
        assert!(found.head.root.to_string().starts_with("0ac5186a9186"));
        assert_eq!(found.text(), text);
        let note = format!(
            "{text}\n— example.com/behind-the-sofa \
             Az3grlgtzPICa5OS8npVmf1Myq/5IZniMp+ZJurmRDeOoRDe4URYN7u5/Zhcyv2q1gGzGku9nTo+zyWE+xeMcTOAYQ8=\n"
        );
        assert_eq!(SignedHead::parse(&note).unwrap().checkpoint, found);
    }

    #[test]
    fn what_is_not_of_the_form_is_refused() {
        let with = |line: usize, text: &str| {
            let mut lines: Vec<&str> = TEXT.trim_end().split('\n').collect();
            lines[line] = text;
            lines.join("\n") + "\n"
        };
        for bad in [
            String::new(),
            "\n".to_owned(),
            TEXT.trim_end().to_owned(),
            with(0, ""),
            with(1, ""),
            with(1, "020852163"),
            with(1, "+20852163"),
            with(1, "-1"),
            with(1, "20852163 "),
            with(1, "2e7"),
            with(1, "9223372036854775808"),
            with(2, ""),
            with(2, "47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFU"),
            with(2, "47DEQpj8HBSa-_TImW-5JCeuQeRkm5NMpJWZG3hSuFU="),
            with(2, "47DEQpj8HBSa+/TImW+5JCeuQeRkm5NMpJWZG3hSuFV="),
            with(2, "47DEQpj8HBSa"),
            with(3, ""),
            format!("{TEXT}\n"),
        ] {
            assert!(Checkpoint::parse(&bad).is_err(), "{bad:?}");
        }
        assert_eq!(Checkpoint::parse(&with(1, "0")).unwrap().head.size, 0);
    }

    #[test]
    fn a_head_is_found_in_a_mail() {
        let key = SigningKey::from_seed(&checkpoint().origin, &[9; 32]).unwrap();
        let note = key.sign(TEXT).unwrap();
        let exact = SignedHead::parse(&note).unwrap();
        let older = key.sign(&TEXT.replace("20852163", "7")).unwrap();
        let indented: String =
            note.lines().filter(|line| !line.is_empty()).map(|line| format!("  {line}\r\n")).collect();
        let quoted: String = note.lines().map(|line| format!("> {line}\n")).collect();
        for text in [
            note.clone(),
            format!("Good morning\n{older}\n\nand then\n{note}\n-- \ntwinwhite\n"),
            format!("Good morning\n  {older}\n  twinwhite/x is nothing\n{indented}  Nothing is due.\n"),
            format!("On Monday somebody wrote:\n{quoted}>\n> bye"),
        ] {
            let found = SignedHead::find(&text).unwrap();
            assert_eq!(found, exact, "{text}");
            assert!(Note::parse(&found.note).unwrap().signed_by(std::slice::from_ref(key.verifier())).is_ok());
        }
        assert_eq!(SignedHead::find("twinwhite/quillmoor/ba\n1\nnothing\n"), Err(BadCheckpoint::Absent));
    }

    #[test]
    fn codes_are_read_as_people_write_them() {
        let code = ShortCode::of("");
        // SHA-256 of nothing begins e3b0c442 98fc1c1: 11100 01110 11000 01100 01000 10000 10100 11000 11111 10000 01110 00001.
        assert_eq!(code.to_string(), "WERC-8GMR-ZGE1");
        for text in ["WERC-8GMR-ZGE1", "werc8gmrzge1", "WERC 8GMR ZGEL", "werc-8gmr-zgeI"] {
            assert_eq!(ShortCode::parse(text), Some(code), "{text}");
        }
        for text in ["", "WERC-8GMR-ZGE", "WERC-8GMR-ZGE11", "WERC-8GMR-ZGEU", "WERC_8GMR_ZGE1", "WERC-8GMR-ZGEÉ"] {
            assert_eq!(ShortCode::parse(text), None, "{text}");
        }
        assert_eq!(ShortCode::parse("OIL0-0000-0000").unwrap().to_string(), "0110-0000-0000");
    }

    proptest! {
        #[test]
        fn no_text_makes_reading_panic(text in "(\\PC|\n|— |twinwhite/|[0-9]){0,60}") {
            let _ = (Checkpoint::parse(&text), SignedHead::find(&text), ShortCode::parse(&text));
        }

        #[test]
        fn codes_go_round(text in ".{0,20}") {
            let code = ShortCode::of(&text);
            prop_assert_eq!(ShortCode::parse(&code.to_string()), Some(code));
        }
    }
}
