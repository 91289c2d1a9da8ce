//! The exact bytes of entries, and what is none.

use super::*;
use crate::ledger::tree;

#[test]
fn the_bytes_of_an_entry_are_pinned() {
    let body = Body::Retract(Retract {
        seq: Seq::new(7).unwrap(),
        reason: "wrong lamp".into(),
        operator: None,
        operator_by: None,
    });
    let mut json = Vec::new();
    body.write_json(&mut json).unwrap();
    assert_eq!(String::from_utf8(json.clone()).unwrap(), r#"{"seq":7,"reason":"wrong lamp"}"#);
    let mut bytes = Vec::new();
    assert!(write_bytes(&mut bytes, "quillmoor", 1, "2026-03-04T09:30:00Z", body.kind(), &json));
    let text =
        "twinwhite entry 1\nquillmoor\n1\n2026-03-04T09:30:00Z\nretract\n{\"seq\":7,\"reason\":\"wrong lamp\"}\n";
    assert_eq!(String::from_utf8(bytes.clone()).unwrap(), text);
    assert_eq!(tree::leaf(&bytes).to_string(), "807d01a06f8b88552ae7283941eb0e94e60927d4519b1569282474f58c0b7e90");
}

#[test]
fn a_line_feed_cannot_move_from_one_column_to_the_next() {
    let mut bytes = Vec::new();
    assert!(!write_bytes(&mut bytes, "a\n1", 1, "t", "k", b"{}"));
    assert!(!write_bytes(&mut bytes, "a", 1, "t\nk", "k", b"{}"));
    assert!(!write_bytes(&mut bytes, "a", 1, "t", "k\n{}", b"{}"));
    assert!(!write_bytes(&mut bytes, "a", 1, "t", "k", b"{\n}"));
    let note = Body::Founded(Founded { format: 1, program: "0".into(), note: Some("two\nlines".into()) });
    let mut json = Vec::new();
    note.write_json(&mut json).unwrap();
    assert!(!json.contains(&b'\n'), "JSON escapes it");
}

#[test]
fn a_reading_is_readable_in_the_ledger() {
    let reading: Reading = serde_json::from_str(
        r#"{"device":"bay-lamp","time":"2026-03-04T09:30:00Z","colour":{"x":0.3127,"y":0.329},"level":{"illuminance_lx":501.5},"instrument":"spectro-1"}"#,
    )
    .unwrap();
    let body = Body::ReadingTaken(ReadingTaken { file: Seq::new(2), line: Some(3), ..ReadingTaken::from(reading) });
    let mut json = Vec::new();
    body.write_json(&mut json).unwrap();
    let json = String::from_utf8(json).unwrap();
    assert_eq!(
        json,
        concat!(
            r#"{"file":2,"line":3,"reading":{"device":"bay-lamp","time":"2026-03-04T09:30:00Z","#,
            r#""colour":{"x":0.3127,"y":0.329},"level":{"illuminance_lx":501.5},"instrument":"spectro-1"}}"#
        )
    );
    assert_eq!(Body::parse("reading", &json).unwrap(), body);
}

#[test]
fn a_configuration_is_known_by_its_text_and_its_files() {
    let file = |name: &str, text: &str| NamedText { name: name.into(), text: text.into() };
    let plain = Config::of("toml", &[]);
    assert_eq!(plain.sha256, Digest::of(b"toml"), "as before there were files");
    assert!(!serde_json::to_string(&plain).unwrap().contains("files"));
    let rag = Config::of("toml", &[file("rag.csv", "nm")]);
    for other in [&[][..], &[file("rag.csv", "n")], &[file("rag.csvn", "m")], &[file("rag.csv", "nm"), file("", "")]] {
        assert_ne!(Config::of("toml", other).sha256, rag.sha256, "{other:?}");
    }
    let body = Body::Config(rag);
    let mut json = Vec::new();
    body.write_json(&mut json).unwrap();
    assert_eq!(Body::parse("config", std::str::from_utf8(&json).unwrap()).unwrap(), body);
}

#[test]
fn what_is_no_entry_is_refused() {
    assert!(matches!(Body::parse("brewed", "{}"), Err(BadBody::Kind { .. })));
    assert!(matches!(Body::parse("release", r#"{"seq":0}"#), Err(BadBody::Body { kind: "release", .. })));
    assert!(matches!(Body::parse("release", "not JSON"), Err(BadBody::Body { .. })));
    assert_eq!(Body::KINDS.len(), 21);
}
