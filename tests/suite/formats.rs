//! Files as people and programs make them, through the public face of `formats`: whole, cut, wrong, and at random.

use std::collections::BTreeSet;
use std::path::Path;

use proptest::prelude::*;
use twinwhite::formats::{Context, Format, Need, Outcome, Unfinished, parse, typed};
use twinwhite::reading::{
    Circumstances, ColourSet, Defect, Details, Draft, Event, EventKind, Level, OperatorBy, Patch, Record, Row, Source,
};
use twinwhite::units::{
    DeviceId, Duv, Hours, Illuminance, InstrumentId, Kelvin, Luminance, OperatorId, SpectralUnit, Spectrum, Time,
    UvPrime, Xy, Xyz,
};
use twinwhite::zone::LocalZone;

fn ledger() -> Context {
    Context { zone: Some(LocalZone::named("Europe/Lisbon").unwrap()), ..Context::of(Need::Ledger) }
}

fn fixtures(folder: &str) -> Vec<(String, Vec<u8>)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/formats").join(folder);
    let mut files: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| {
            let entry = entry.unwrap();
            (entry.file_name().into_string().unwrap(), std::fs::read(entry.path()).unwrap())
        })
        .collect();
    files.sort();
    files
}

#[track_caller]
fn rows(outcome: Outcome) -> Vec<Row<Record>> {
    match outcome {
        Outcome::Records(rows, ..) => rows,
        other => panic!("expected records, got {other:?}"),
    }
}

#[track_caller]
fn drafts(text: &str, context: &Context) -> Vec<Draft> {
    let rows = rows(parse(text.as_bytes(), context)).into_iter();
    rows.map(|row| match row.value {
        Record::Reading(draft) => draft,
        Record::Event(event) => panic!("expected a reading, got {event:?}"),
    })
    .collect()
}

#[track_caller]
fn defects(outcome: Outcome) -> Vec<Defect> {
    match outcome {
        Outcome::Refused(defects) => defects,
        other => panic!("expected a refusal, got {other:?}"),
    }
}

fn time(text: &str) -> Time {
    Time::parse(text).unwrap()
}

fn device(text: &str) -> DeviceId {
    DeviceId::new(text).unwrap()
}

#[test]
fn every_colour_set_and_field_is_read() {
    let files = fixtures("good");
    let (_, bytes) = files.iter().find(|(name, _)| name == "every-set.csv").unwrap();
    let Outcome::Records(rows, format, _) = parse(bytes, &ledger()) else { panic!("must be read") };
    assert_eq!(format, Format::CsvReadings);
    assert_eq!(rows.iter().map(|row| row.line).collect::<Vec<_>>(), [2, 3, 6, 8, 9, 10]);
    let drafts: Vec<Draft> = rows
        .into_iter()
        .map(|row| match row.value {
            Record::Reading(draft) => draft,
            Record::Event(_) => unreachable!(),
        })
        .collect();
    let spectro = InstrumentId::new("spectro-1").ok();
    assert_eq!(
        drafts[0],
        Draft {
            device: Some(device("bay-screen")),
            time: Some(time("2026-03-04T10:30:00Z")),
            time_given: Some("2026-03-04 10:30".to_owned()),
            colour: ColourSet::Xyz(Xyz { x: 95.047, y: 100.0, z: 108.883 }),
            level: Luminance::new(145.0).ok().map(Level::Luminance),
            circumstances: Circumstances {
                instrument: spectro.clone(),
                operator: OperatorId::new("ines").ok(),
                operator_by: Some(OperatorBy::File),
                hours: Some(Hours(1200.5)),
                warmup_min: Some(45.0),
                id: Some("a1".to_owned()),
                note: Some("after dinner; lights off".to_owned()),
                ..Circumstances::default()
            },
        }
    );
    assert_eq!(drafts[1].colour, ColourSet::Xyz(Xyz { x: 0.0, y: 0.0, z: 0.0 }));
    assert_eq!(drafts[1].circumstances.patch, Patch::Black);
    assert_eq!(drafts[1].circumstances.note.as_deref(), Some("two\r\nlines, \"quoted\""));
    assert_eq!(drafts[2].time, Some(time("2026-03-04T10:32:05.25Z")));
    assert_eq!(drafts[2].time_given.as_deref(), Some("2026-03-04T10:32:05.25Z"), "not as we would write it");
    assert_eq!(drafts[2].colour, ColourSet::Xy(Xy { x: 0.3457, y: 0.3585 }));
    assert_eq!(drafts[2].level, Illuminance::new(502.5).ok().map(Level::Illuminance));
    assert_eq!(drafts[2].circumstances.setting.as_deref(), Some("dial 7"));
    assert_eq!(drafts[3].colour, ColourSet::UvPrime(UvPrime { u: 0.2091, v: 0.4882 }));
    assert_eq!(drafts[3].circumstances.patch, Patch::Paper);
    let (cct_k, duv) = (Kelvin::new(3200.0).unwrap(), Duv::new(-0.0021).unwrap());
    assert_eq!(drafts[4].colour, ColourSet::CctDuv { cct_k, duv });
    assert_eq!(drafts[4].circumstances.note.as_deref(), Some("grün"));
    assert_eq!(drafts[5].colour, ColourSet::Cct { cct_k: Kelvin::new(5000.0).unwrap() });
    assert_eq!(drafts[5].circumstances.source, Source::Label);
    assert_eq!(drafts[5].level, None);
}

#[test]
fn a_spectrum_is_read_whole_in_any_order_and_with_holes() {
    let (_, bytes) = fixtures("good").into_iter().find(|(name, _)| name == "spectral.csv").unwrap();
    let drafts = drafts(std::str::from_utf8(&bytes).unwrap(), &ledger());
    let spectrum = |n: usize| match &drafts[n].colour {
        ColourSet::Spectrum { spectrum } => spectrum,
        other => panic!("expected a spectrum, got {other:?}"),
    };
    let whole = spectrum(0);
    assert_eq!((whole.unit(), whole.bandwidth_nm()), (SpectralUnit::Irradiance, Some(5.0)));
    assert_eq!((whole.reach(), whole.values().len(), whole.step_nm()), ((395.25, 705.5), 33, None));
    // In the file the columns fall from 700 to 400 nm, and 705.5 and 395.25 nm follow.
    assert_eq!((whole.values()[0], whole.values()[1], whole.values()[32]), (0.007, 0.004, 0.011));
    let holes = spectrum(1);
    assert_eq!((holes.unit(), holes.values().len()), (SpectralUnit::Relative, 30));
    assert!(!holes.wavelengths().any(|nm| [670.0, 530.0, 705.5].contains(&nm)), "empty is absent");
    assert_eq!(drafts[1].level, Illuminance::new(500.0).ok().map(Level::Illuminance));
    assert_eq!(drafts[2].colour, ColourSet::Xy(Xy { x: 0.3457, y: 0.3585 }));
    assert_eq!((spectrum(3).reach(), spectrum(3).values().len()), ((395.25, 700.0), 17));
}

#[test]
fn events_are_read() {
    let files = fixtures("good");
    let (_, bytes) = files.iter().find(|(name, _)| name == "events.csv").unwrap();
    let Outcome::Records(rows, format, _) = parse(bytes, &ledger()) else { panic!("must be read") };
    assert_eq!(format, Format::CsvEvents);
    let Record::Event(first) = &rows[0].value else { panic!("must be an event") };
    assert_eq!(
        *first,
        Event {
            device: device("bay-screen"),
            time: time("2026-03-04T10:30:00Z"),
            time_given: Some("2026-03-04 10:30".to_owned()),
            kind: EventKind::Recalibrated,
            operator: OperatorId::new("ines").ok(),
            operator_by: Some(OperatorBy::File),
            note: Some("new profile, new white".to_owned()),
            target_white: Some(Xy { x: 0.3127, y: 0.329 }),
            target_luminance: Luminance::new(145.0).ok(),
            other: None,
            details: Details::default(),
        }
    );
    let Record::Event(third) = &rows[2].value else { panic!("must be an event") };
    assert_eq!((third.kind, third.time_given.as_deref()), (EventKind::CrossCalibrated, None));
    assert_eq!(third.other, InstrumentId::new("spectro-2").ok());
    for kind in EventKind::ALL.into_iter().filter(|kind| *kind != EventKind::CrossCalibrated) {
        let (until, firmware) = match kind {
            EventKind::Certificate => ("2027-03-31", ""),
            EventKind::Firmware => ("", "2.1"),
            _ => ("", ""),
        };
        let text =
            format!("time,device,event,until,firmware\n2026-03-04T10:30:00Z,a,{},{until},{firmware}\n", kind.word());
        let Record::Event(event) = &crate::formats::rows(parse(text.as_bytes(), &ledger()))[0].value else {
            panic!("{text}")
        };
        assert_eq!(event.kind, kind);
    }
}

#[test]
fn json_says_the_same_as_csv() {
    let csv = "time,device,x,y,luminance_cd_m2,patch,note\n2026-03-04 10:30,bay-screen,0.3127,0.329,0.04,black,\"a \"\"b\"\"\"\n";
    let one = r#"{"note":"a \"b\"","patch":"black","luminance_cd_m2":4e-2,"x":0.3127,"y":0.329,"time":"2026-03-04 10:30",
                  "device":"bay-screen","hours":null,"setting":""}"#;
    let line = one.replace('\n', " ");
    let of_csv = drafts(csv, &ledger());
    for (text, count, format) in [
        (one.to_owned(), 1, Format::Json),
        (format!("\u{feff} [{one},\n{one}]\r\n"), 2, Format::Json),
        (format!(r#"{{"readings":[{one}]}}"#), 1, Format::Json),
        (format!("{line}\n\n{line}\r\n{line}"), 3, Format::JsonLines),
        ("[]".to_owned(), 0, Format::Json),
    ] {
        let outcome = parse(text.as_bytes(), &ledger());
        assert!(matches!(&outcome, Outcome::Records(_, f, _) if *f == format), "{text}: {outcome:?}");
        assert_eq!(drafts(&text, &ledger()), vec![of_csv[0].clone(); count], "{text}");
    }
    let lists = fixtures("good").into_iter().find(|(name, _)| name == "lists.json").unwrap().1;
    assert_eq!(rows(parse(&lists, &ledger())).iter().map(|row| row.line).collect::<Vec<_>>(), [2, 3, 5]);
}

#[test]
fn the_folder_names_the_device_where_the_row_does_not() {
    let context = Context { folder_device: Some(device("bay-lamp")), ..ledger() };
    let none = drafts("time,x,y\n2026-03-04T09:30:00Z,0.31,0.33\n", &context);
    assert_eq!(none[0].device, Some(device("bay-lamp")));
    let some = drafts("time,device,x,y\n2026-03-04T09:30:00Z,,0.31,0.33\n2026-03-04T09:30:00Z,b,0.31,0.33\n", &context);
    assert_eq!(some.into_iter().flat_map(|draft| draft.device).collect::<Vec<_>>(), [device("bay-lamp"), device("b")]);
    let json = drafts(r#"{"time":"2026-03-04T09:30:00Z","x":0.31,"y":0.33}"#, &context);
    assert_eq!(json[0].device, Some(device("bay-lamp")));
    let event = rows(parse(b"time,event\n2026-03-04T09:30:00Z,cleaned\n", &context));
    assert!(matches!(&event[0].value, Record::Event(event) if event.device == device("bay-lamp")));
}

#[test]
fn to_look_at_a_reading_neither_time_nor_device_is_needed() {
    let context = Context { zone: None, need: Need::Look, ..ledger() };
    assert_eq!(drafts("x,y\n0.31,0.33\n", &context)[0].time, None);
    let local = drafts("id,time,x,y\na,2026-03-04 10:30,0.31,0.33\n", &context);
    assert_eq!((local[0].time, local[0].time_given.as_deref()), (None, Some("2026-03-04 10:30")));
    let utc = drafts("time,x,y\n2026-03-04T10:30:00Z,0.31,0.33\n", &context);
    assert_eq!(utc[0].time, Some(time("2026-03-04T10:30:00Z")));
    let bad = defects(parse(b"time,x,y\nyesterday,0.31,0.33\n", &context));
    assert_eq!(bad[0].column.as_deref(), Some("time"));
    let event = defects(parse(b"time,device,event\n2026-03-04 10:30,a,cleaned\n", &context));
    assert!(event[0].expected.contains("no time zone is known here"), "{event:?}");
}

#[test]
fn typed_fields_are_read_as_csv_is() {
    let fields = |pairs: &[(&str, &str)]| -> Vec<(String, String)> {
        pairs.iter().map(|(name, value)| (name.to_string(), value.to_string())).collect()
    };
    let xy = fields(&[("x", "0.3127"), ("y", "0.329"), ("luminance_cd_m2", "145.2"), ("time", "2026-03-04 10:30")]);
    let context = Context { folder_device: Some(device("bay-screen")), ..ledger() };
    let draft = typed(&xy, &context).unwrap();
    let csv = "time,device,x,y,luminance_cd_m2\n2026-03-04 10:30,bay-screen,0.3127,0.329,145.2\n";
    assert_eq!(vec![draft], drafts(csv, &ledger()));
    let bare = typed(&fields(&[("cct_k", "5000")]), &ledger()).unwrap();
    assert_eq!((bare.time, bare.device), (None, None));

    let wrong =
        [("x", "0,3127"), ("y", "0.329"), ("y", "0.33"), ("luminance", "145"), ("event", "moved"), ("time", "now")];
    let said: Vec<String> = typed(&fields(&wrong), &ledger()).unwrap_err().iter().map(Defect::to_string).collect();
    let all = said.join("\n");
    for snippet in [
        "y: found 0.33; expected y only once",
        "luminance_cd_m2",
        "event: found moved",
        "decimal comma",
        "time: found now",
    ] {
        assert!(all.contains(snippet), "{snippet}: {all}");
    }
    assert_eq!(said.len(), 5, "{all}");
    assert!(typed(&[], &ledger()).unwrap_err()[0].found.contains("no colour"));
}

/// Each bad file, and pieces of what its refusal must say, each at the start of the line it is about.
const BAD: &[(&str, &[&str])] = &[
    ("control-character.csv", &["line 2, note: found \\u{1b}[2Jgone; expected text without U+001B"]),
    (
        "decimal-comma-between-commas.csv",
        &["line 2: found 6 fields; expected 4 fields as in the header", "numbers have a decimal point"],
    ),
    (
        "decimal-comma.csv",
        &[
            "line 2, x: found 0,3127; expected a number",
            "line 2, y: found 0,329",
            "a decimal comma is read only through a [[mapping]]; write a point",
        ],
    ),
    ("duv-alone.csv", &["line 1: found columns time, device, duv; expected also one colour set"]),
    (
        "event-with-reading-columns.csv",
        &["line 1, cct_k: found an unknown column; expected a name that events have: time, device, event"],
    ),
    (
        "events.csv",
        &[
            "line 2, event: found recalibrate; expected one of recalibrated, replaced",
            "did you mean recalibrated?",
            "line 3, event: found nothing",
            "line 4, y: found nothing",
            "line 5, x: found 0.3; expected nothing: only a recal",
            "line 6, other: found nothing; expected the instrument",
            "line 7, other: found b; expected nothing",
            "line 8, time: found nothing",
            "line 9, device: found nothing; expected the device's id",
        ],
    ),
    ("half-a-set-of-columns.csv", &["line 1: found columns time, device, X, Y; expected also one colour set"]),
    (
        "half-a-set.csv",
        &[
            "line 2, y: found nothing; expected a number: x and y belong together",
            "line 3, cct_k: found nothing",
            "line 4: found no colour; expected one colour set",
            "line 5: found 7 fields; expected 6 fields",
        ],
    ),
    (
        "ids.csv",
        &[
            "line 2, device: found ../etc; expected an id",
            "line 3, device: found nothing",
            "line 4, instrument: found my meter",
        ],
    ),
    (
        "impossible-lamp.csv",
        &[
            "line 2, u_prime: found -0.2",
            "line 3, v_prime: found 0;",
            "line 4, cct_k: found 900; expected a colour temperature from 1000",
            "line 5, duv: found 0.2; expected a Duv from -0.1",
            "line 6, illuminance_lx: found -1",
            "line 7, hours: found -1",
            "line 8, warmup_min: found -1",
        ],
    ),
    ("latin-1.csv", &["line 2: found byte 0xFC at offset 56, which is not UTF-8", "UTF-8 text"]),
    ("lines-are-counted.csv", &["line 7, y: found bad; expected a number"]),
    (
        "lists.json",
        &[
            "line 1, event: found an unknown field; expected a name that readings have",
            "line 3, event: found nothing",
            "event: found an unknown field; expected the lists",
        ],
    ),
    (
        "misspelt-columns.csv",
        &[
            "line 1, tiem: found an unknown column; expected 'time'",
            "line 1, devise: found an unknown column; expected 'device'",
            "line 1, instrumnet: found an unknown column; expected 'instrument'",
        ],
    ),
    (
        "negative-light.csv",
        &[
            "line 2, X: found -1",
            "line 3, Y: found 0; expected Y above 0 where",
            "line 4, Y: found 0; expected Y above 0: no light",
            "line 5, y: found 0; expected y above 0",
            "line 6: found x 0.7 and y 0.4; expected x + y of 1 at most",
            "line 7, x: found -0.1",
            "line 8, luminance_cd_m2: found -5",
        ],
    ),
    (
        "nested.json",
        &[
            "line 2, x: found a list; expected a number",
            "line 2, y: found an object",
            "line 4, time: found true or false",
        ],
    ),
    ("no-colour-column.csv", &["line 1: found columns time, device, luminance_cd_m2; expected also one colour set"]),
    ("no-header.csv", &["line 1: found 2026-03-04T09:30:00Z,bay-lamp", "a header row of column names"]),
    ("no-name.csv", &["line 1, column 5: found no name"]),
    ("no-time-column.csv", &["line 1: found columns device, x, y; expected also time"]),
    (
        "not-objects.json",
        &[
            "line 1: found 1; expected an object",
            "line 2: found \"text\"; expected an object",
            "line 3: found [[]]; expected an object",
        ],
    ),
    ("nul.csv", &["line 3: found a NUL byte at offset 49"]),
    ("number-in-quotes.json", &["line 1, x: found the text \"0.3127\"; expected a JSON number: leave the quotes away"]),
    (
        "numbers.csv",
        &[
            "line 2, y: found nan",
            "line 3, y: found inf",
            "line 4, y: found -infinity",
            "line 5, y: found 0x1p-2",
            "line 6, y: found 1e999",
            "line 7, y: found 0.329 cd/m2",
            "line 8, y: found 1 000",
            "line 9, y: found 1_0",
            "line 10, y: found \u{2212}0.3",
            "line 11, y: found .;",
            "line 12, y: found e5",
        ],
    ),
    ("page.csv", &["found XML or HTML; expected CSV, JSON"]),
    ("paper-in-lux.csv", &["line 2, illuminance_lx: found 500; expected nothing: lit paper is read in cd/m2"]),
    ("prose.csv", &["line 1: found Dear all, the lamp is yellow.; expected a header row"]),
    ("quotes.csv", &["line 2: found 2026-03-04T09:30:00Z,a,0.31,0.33,\"oops\\n2026", "after a closing quote"]),
    (
        "second-line.jsonl",
        &[
            "line 2: found {\"time\":\"2026-03-04T09:30:00Z\",; expected one JSON object a line",
            "line 3, y: found -0.329",
        ],
    ),
    (
        "several-texts.json",
        &["line 1: found {\"x\":0.3,; expected one JSON object a line, or one JSON text in all: it ends too early"],
    ),
    (
        "short-row.csv",
        &["line 2: found 3 fields; expected 4 fields as in the header: an absent value is an empty field"],
    ),
    (
        "spectral-events.csv",
        &["line 1, nm380: found a spectral column; expected columns of events; readings stand in a file of their own"],
    ),
    (
        "spectral-names.csv",
        &[
            "line 1, 380 nm: found an unknown column; expected 'nm380', if that is meant: a spectral column is named nm and",
            "line 1, nm382.5.1: found an unknown column; expected a name that readings have",
            "line 1, nm400: found the same wavelength twice; expected each wavelength once",
        ],
    ),
    (
        "spectral-reach.csv",
        &[
            "line 1: found columns that hold no spectrum: the spectrum goes from 410 to 780 nm; expected one that reaches",
        ],
    ),
    (
        "spectral-rows.csv",
        &[
            "line 2: found a spectrum and x,y; expected one colour set in a row: leave the others empty",
            "line 3, nm440: found -5; expected a number from 0 to 1e9 (noise",
            "line 4: found no value is above 0; expected some light",
            "line 5, bandwidth_nm: found a bandwidth of 0 nm; expected the full width",
            "line 6: found nothing between 430 and 500 nm; expected no gap wider than 50 nm",
            "line 7: found the spectrum goes from 410 to 700 nm; expected one that reaches from 400 to 700 nm",
            "line 8, nm400: found 0,5; expected a number with a decimal point",
            "a decimal comma is read only through a [[mapping]]; write a point (30 more of this row are no numbers)",
            "line 9, ra: found 95; expected nothing: Ra follows from the spectrum",
            "line 10, unit: found W/m2; expected one of W/m2/nm, W/m2/sr/nm, relative; did you mean W/m2/nm?",
            "line 11, unit: found relative; expected nothing: it belongs to spectra",
            "line 12, bandwidth_nm: found 5; expected nothing: only a spectrum has a bandwidth",
            "line 13: found 7 values; expected 16 to 10000, at least one every 20 nm",
            "line 14, nm700: found x; expected a number",
        ],
    ),
    (
        "spectral.csv",
        &["line 1: found columns that hold no spectrum: the spectrum goes from 380 to 385 nm; expected one"],
    ),
    (
        "spectral.json",
        &[
            "line 2, nm400: found the same wavelength twice",
            "line 3, nm410: found the text \"1.5\"; expected a JSON number: leave the quotes away",
            "line 4, nm420: found a list; expected a number or null",
            "line 5, nm430: found -7; expected a number from 0 to 1e9",
            "line 6: found a spectrum and x,y; expected one colour set in a row",
            "line 7, 430nm: found an unknown field; expected 'nm430', if that is meant",
        ],
    ),
    ("syntax.json", &["line 2: found \"device\": a}; expected JSON: expected value (column 12)"]),
    ("text-without-quotes.json", &["line 1, device: found 7; expected text: put it in quotes"]),
    (
        "times.csv",
        &[
            "line 2, time: found 2026-03-29 01:30; expected 2026-03-29T01:30:00+00:00 if",
            "does not exist",
            "line 3, time: found 2026-10-25 01:30; expected 2026-10-25T01:30:00+01:00 for the first",
            "exists twice",
            "line 4, time: found 2026-03-04; expected the time of day too",
            "line 5, time: found 4.3.2026 10:30",
            "line 6, time: found nothing",
            "line 7, time: found 2026-02-29 10:00",
        ],
    ),
    ("too-large.json", &["line 1: found {\"time\"", "JSON: number out of range (column 53)"]),
    ("twice-a-column.csv", &["line 1, x: found the same column twice"]),
    ("twice-a-field.json", &["line 1, x: found the same field twice"]),
    (
        "two-levels.csv",
        &["line 2, illuminance_lx: found luminance_cd_m2 145 and illuminance_lx 500; expected one of the two"],
    ),
    ("two-sets.csv", &["line 2: found x,y and cct_k,duv; expected one colour set in a row"]),
    (
        "unknown-column.csv",
        &["line 1, luminance: found an unknown column; expected 'luminance_cd_m2'", "the unit belongs in the name"],
    ),
    ("unknown-field.json", &["line 1, luminance: found an unknown field; expected 'luminance_cd_m2'"]),
    ("utf-16.csv", &["found UTF-16 text; expected UTF-8 text"]),
    (
        "words.csv",
        &[
            "line 2, source: found mesured; expected one of measured, label; did you mean measured?",
            "line 3, patch: found White",
            "did you mean white?",
            "line 4, patch: found grey",
        ],
    ),
    ("zip.csv", &["found a zip archive, which workbooks are too; expected a text file"]),
];

#[test]
fn bad_files_are_refused_with_their_reason() {
    let files = fixtures("bad");
    let (found, told): (BTreeSet<_>, BTreeSet<_>) =
        (files.iter().map(|(name, _)| name.as_str()).collect(), BAD.iter().map(|(name, _)| *name).collect());
    assert_eq!(found, told, "every file has its reasons, and every reason its file");
    for (name, snippets) in BAD {
        let (_, bytes) = files.iter().find(|(file, _)| file == name).unwrap();
        let said: Vec<String> = defects(parse(bytes, &ledger())).iter().map(Defect::to_string).collect();
        for snippet in *snippets {
            assert!(
                said.iter().any(|line| line.contains(snippet)),
                "{name}: {snippet:?} is missing in\n{}",
                said.join("\n")
            );
        }
        // Each defect that the snippets locate is one line, and there are no others.
        let located =
            snippets.iter().filter(|s| s.starts_with("line ") || s.starts_with("found ") || s.starts_with("event:"));
        let extra = if *name == "events.csv" { 1 } else { 0 };
        assert_eq!(said.len(), located.count() + extra, "{name}:\n{}", said.join("\n"));
    }
}

#[test]
fn a_file_that_is_not_finished_waits() {
    let waits = |bytes: &[u8]| match parse(bytes, &ledger()) {
        Outcome::Incomplete { why } => why,
        other => panic!("{:?}: {other:?}", String::from_utf8_lossy(bytes)),
    };
    assert_eq!(waits(b""), Unfinished::Empty);
    assert_eq!(waits(b"\xef\xbb\xbf\r\n  \n"), Unfinished::Empty);
    assert_eq!(waits(b"time,device,x,y\n"), Unfinished::HeaderOnly);
    assert_eq!(waits(b"time,device,x,y\n\r\n,,,\n"), Unfinished::HeaderOnly);
    assert_eq!(waits(b"time,dev"), Unfinished::HeaderOnly);
    assert_eq!(
        waits("time,device,x,y,note\n2026-03-04T09:30:00Z,a,0.3,0.3,gr\u{fc}".as_bytes().split_last().unwrap().1),
        Unfinished::MidCharacter
    );
    let row = |rest: &str| waits(format!("time,device,x,y\n2026-03-04T09:30:00Z,a,{rest}").as_bytes());
    assert_eq!(row("0.3"), Unfinished::MidRow { line: 2, found: 3, expected: 4 });
    for last in ["", "-", "0", "0.", "\"0.3\"\"", "3e", "bad"] {
        assert!(
            matches!(
                row(&format!("0.3,{last}")),
                Unfinished::MidField { line: 2, .. } | Unfinished::OpenQuote { line: 2 }
            ),
            "{last}"
        );
    }
    assert_eq!(row("0.3,\"0.3"), Unfinished::OpenQuote { line: 2 });
    assert_eq!(waits(b"[{\"x\":0.3},\n{\"x\""), Unfinished::MidJson { line: 2 });
    // A row that has a defect elsewhere does not get better by waiting.
    let bad = defects(parse(b"time,device,x,y\nyesterday,a,0.3,0.3", &ledger()));
    assert_eq!(bad[0].column.as_deref(), Some("time"));
    // Nor does a header: what is unknown now will not be known later.
    assert_eq!(defects(parse(b"time,lamp", &ledger())).len(), 1);
    assert_eq!(defects(parse(b"hello", &ledger())).len(), 1);
    assert_eq!(drafts("time,device,x,y\n2026-03-04T09:30:00Z,a,0.3,0.3", &ledger()).len(), 1, "no newline is needed");
}

/// Every sample cut at every byte: what is read stood in the file, nothing is refused. The one exception is documented:
/// in CSV, the last field of a last line without newline.
#[test]
fn no_cut_makes_up_a_record() {
    for (name, bytes) in fixtures("good") {
        let whole = rows(parse(&bytes, &ledger()));
        assert!(!whole.is_empty(), "{name}");
        let mut shortened = 0;
        for at in 0..bytes.len() {
            let start = &bytes[..at];
            let some = match parse(start, &ledger()) {
                Outcome::Incomplete { .. } => continue,
                Outcome::Records(rows, ..) => rows,
                Outcome::Refused(defects) => panic!("{name} cut at {at} is refused: {defects:?}"),
            };
            assert!(some.len() <= whole.len(), "{name} cut at {at}");
            let Some(differs) = some.iter().zip(&whole).position(|(some, whole)| some != whole) else { continue };
            let last_line = String::from_utf8_lossy(start.rsplit(|b| matches!(b, b'\n' | b'\r')).next().unwrap());
            let rest = String::from_utf8_lossy(&bytes[at..]).into_owned();
            let rest_of_line = rest.split(['\n', '\r']).next().unwrap();
            let is_last_field = !rest_of_line.contains([',', ';', '\t']) && !rest_of_line.is_empty();
            assert!(
                name.ends_with(".csv") && differs + 1 == some.len() && is_last_field,
                "{name} cut at {at}: {last_line}"
            );
            shortened += 1;
        }
        eprintln!("{name}: {} cuts, {shortened} shorten the last field", bytes.len());
    }
}

#[test]
fn caps_hold() {
    let row = "2026-03-04T09:30:00Z,a,0.3,0.3,";
    let long = format!("time,device,x,y,note\n{row}{}\n{row}short\n", "n".repeat(70_000));
    assert!(defects(parse(long.as_bytes(), &ledger()))[0].to_string().contains("64 KiB"));
    let wide = vec!["x"; 300].join(",") + "\n";
    assert!(defects(parse(wide.as_bytes(), &ledger()))[0].found.contains("300 columns"));
    let quote = format!("time,device,x,y,note\n{row}\"{}", "n\n".repeat(70_000));
    assert!(matches!(parse(quote.as_bytes(), &ledger()), Outcome::Refused(_)), "a quote is not waited for so long");
    let many = "time,device,x,y\n".to_owned() + &"no,a,0.3,0.3\n".repeat(500);
    let listed = defects(parse(many.as_bytes(), &ledger()));
    assert_eq!((listed.len(), listed[199].line), (201, 201));
    assert_eq!(listed[200].found, "300 more defects");
    let hopeless = "time,device,x,y\n".to_owned() + &"no,a,0.3,0.3\n".repeat(20_000);
    assert_eq!(defects(parse(hopeless.as_bytes(), &ledger()))[200].found, "at least 9800 more defects");
    let spectral = |values: usize| {
        let names: Vec<String> = (0..values).map(|n| format!("nm{}", 380.0 + n as f64 / 16.0)).collect();
        let all: Vec<String> = (0..values).map(|n| format!("{}", (1 + n % 7) as f64 / 7.0)).collect();
        format!("time,device,{}\n2026-03-04T09:30:00Z,a,{}\n", names.join(","), all.join(","))
    };
    let wide = drafts(&spectral(8192), &ledger());
    assert!(matches!(&wide[0].colour, ColourSet::Spectrum { spectrum } if spectrum.step_nm() == Some(0.0625)));
    assert!(defects(parse(spectral(20_000).as_bytes(), &ledger()))[0].expected.contains("16 to 10000"));
    let long = spectral(9000).replace(",0.", &format!(",0.{}", "0".repeat(20)));
    assert!(defects(parse(long.as_bytes(), &ledger()))[0].expected.contains("256 KiB"));
    let deep = "[".repeat(200_000);
    assert!(matches!(parse(deep.as_bytes(), &ledger()), Outcome::Incomplete { .. }));
    let deep = format!("{}{}", "[".repeat(200_000), "]".repeat(200_000));
    assert!(defects(parse(deep.as_bytes(), &ledger()))[0].expected.contains("64 KiB"));
    let deep = format!("{{\"x\":{}{}}}", "[".repeat(20_000), "]".repeat(20_000));
    assert!(defects(parse(deep.as_bytes(), &ledger()))[0].found.contains("a list"));
}

fn id() -> impl Strategy<Value = String> {
    "[a-zA-Z0-9][a-zA-Z0-9._-]{0,15}"
}

/// Texts as a field may hold them: no control characters, no blanks at the ends, not empty.
fn text() -> impl Strategy<Value = String> {
    "\\PC{1,20}"
        .prop_map(|text| text.trim().to_owned())
        .prop_filter("not empty", |text| !text.is_empty() && !text.chars().any(char::is_control))
}

/// Spectra on even and on irregular wavelengths; texts of floats are exact, so that they come back as they are.
fn spectrum() -> impl Strategy<Value = Spectrum> {
    let steps = prop_oneof![
        prop::sample::select(vec![2.5, 5.0, 10.0, 20.0]).prop_map(|step| vec![step; 200]),
        prop::collection::vec(2.0..24.0_f64, 200),
    ];
    let values = prop::collection::vec(prop_oneof![0.0..2.0_f64, 1e-9..1e-3_f64, Just(0.0)], 201);
    let unit = prop::sample::select(SpectralUnit::ALL.to_vec());
    (steps, values, unit, 340.0..400.0_f64, proptest::option::of(0.1..50.0_f64)).prop_map(
        |(steps, mut values, unit, from, bandwidth_nm)| {
            let mut nm = vec![from.floor()];
            for step in steps {
                let last = nm[nm.len() - 1];
                if last >= 700.0 && nm.len() >= 16 {
                    break;
                }
                nm.push(last + step);
            }
            values.truncate(nm.len());
            values[7] = 1.0;
            Spectrum::new(unit, &nm, values, bandwidth_nm).unwrap()
        },
    )
}

fn colour() -> impl Strategy<Value = ColourSet> {
    let positive = 1e-6..1e3_f64;
    prop_oneof![
        (0.0..1e3, positive.clone(), 0.0..1e3).prop_map(|(x, y, z)| ColourSet::Xyz(Xyz { x, y, z })),
        (0.0..0.5, 1e-6..0.5).prop_map(|(x, y)| ColourSet::Xy(Xy { x, y })),
        (0.0..0.65, 1e-6..0.65).prop_map(|(u, v)| ColourSet::UvPrime(UvPrime { u, v })),
        (1000.0..1e5, -0.1..0.1)
            .prop_map(|(t, d)| ColourSet::CctDuv { cct_k: Kelvin::new(t).unwrap(), duv: Duv::new(d).unwrap() }),
        (1000.0..1e5).prop_map(|t| ColourSet::Cct { cct_k: Kelvin::new(t).unwrap() }),
        spectrum().prop_map(|spectrum| ColourSet::Spectrum { spectrum: Box::new(spectrum) }),
    ]
}

prop_compose! {
    fn circumstances()(
        instrument in proptest::option::of(id()), operator in proptest::option::of(id()),
        hours in proptest::option::of(0.0..1e6), warmup_min in proptest::option::of(0.0..1e4),
        setting in proptest::option::of(text()), label in any::<bool>(), patch in 0..4_usize,
        ra in proptest::option::of(-100.0..100.0_f64),
        name in proptest::option::of(text()), note in proptest::option::of(text()),
    ) -> Circumstances {
        Circumstances {
            instrument: instrument.map(|id| InstrumentId::new(&id).unwrap()),
            operator_by: operator.is_some().then_some(OperatorBy::File),
            operator: operator.map(|id| OperatorId::new(&id).unwrap()),
            hours: hours.map(Hours),
            warmup_min,
            setting,
            source: if label { Source::Label } else { Source::Measured },
            patch: [Patch::White, Patch::Black, Patch::Paper, Patch::Ambient][patch],
            ra,
            id: name,
            note,
        }
    }
}

prop_compose! {
    pub(super) fn draft()(
        device in id(), micros in 0..4_000_000_000_000_000_i64, colour in colour(),
        level in proptest::option::of((any::<bool>(), 0.0..1e6)), mut circumstances in circumstances(),
    ) -> Draft {
        if matches!(colour, ColourSet::Spectrum { .. }) {
            circumstances.ra = None;
        }
        let level = level.map(|(lamp, value)| match lamp && circumstances.patch != Patch::Paper {
            true => Level::Illuminance(Illuminance::new(value).unwrap()),
            false => Level::Luminance(Luminance::new(value).unwrap()),
        });
        let time = Time::from_micros(micros);
        Draft {
            device: DeviceId::new(&device).ok(), time: Some(time), time_given: None, colour, level, circumstances,
        }
    }
}

/// The fields of a draft as a writer of files would name and fill them; a value that is a number is marked.
fn fields(draft: &Draft) -> Vec<(String, String, bool)> {
    let mut fields = Vec::new();
    if let ColourSet::Spectrum { spectrum } = &draft.colour {
        fields.push(("unit".to_owned(), spectrum.unit().word().to_owned(), false));
    }
    let mut number = |name: &str, value: f64| fields.push((name.to_owned(), value.to_string(), true));
    match draft.colour {
        ColourSet::Xyz(c) => [("X", c.x), ("Y", c.y), ("Z", c.z)].into_iter().for_each(|(n, v)| number(n, v)),
        ColourSet::Xy(c) => [("x", c.x), ("y", c.y)].into_iter().for_each(|(n, v)| number(n, v)),
        ColourSet::UvPrime(c) => [("u_prime", c.u), ("v_prime", c.v)].into_iter().for_each(|(n, v)| number(n, v)),
        ColourSet::CctDuv { cct_k, duv } => {
            number("cct_k", cct_k.get());
            number("duv", duv.get());
        }
        ColourSet::Cct { cct_k } => number("cct_k", cct_k.get()),
        ColourSet::Spectrum { ref spectrum } => {
            spectrum.bandwidth_nm().iter().for_each(|width| number("bandwidth_nm", *width));
            spectrum.wavelengths().zip(spectrum.values()).for_each(|(nm, value)| number(&format!("nm{nm}"), *value));
        }
    }
    match draft.level {
        Some(Level::Luminance(level)) => number("luminance_cd_m2", level.get()),
        Some(Level::Illuminance(level)) => number("illuminance_lx", level.get()),
        None => {}
    }
    let c = &draft.circumstances;
    c.hours.iter().for_each(|hours| number("hours", hours.0));
    c.warmup_min.iter().for_each(|minutes| number("warmup_min", *minutes));
    c.ra.iter().for_each(|ra| number("ra", *ra));
    let mut word = |name: &str, value: Option<&str>| {
        fields.extend(value.map(|value| (name.to_owned(), value.to_owned(), false)));
    };
    word("device", draft.device.as_ref().map(DeviceId::as_str));
    let time = draft.time.map(|time| time.to_string());
    word("time", time.as_deref());
    word("instrument", c.instrument.as_ref().map(InstrumentId::as_str));
    word("operator", c.operator.as_ref().map(OperatorId::as_str));
    word("setting", c.setting.as_deref());
    word("source", (c.source == Source::Label).then_some("label"));
    word(
        "patch",
        match c.patch {
            Patch::White => None,
            Patch::Black => Some("black"),
            Patch::Paper => Some("paper"),
            Patch::Ambient => Some("ambient"),
        },
    );
    word("id", c.id.as_deref());
    word("note", c.note.as_deref());
    fields
}

/// The drafts as one CSV, its columns in an order and with a separator of one's own.
fn csv_of(drafts: &[Draft], separator: u8, turned: usize) -> Vec<u8> {
    let all: Vec<_> = drafts.iter().map(fields).collect();
    let names: BTreeSet<&str> = all.iter().flatten().map(|field| field.0.as_str()).collect();
    let mut names: Vec<&str> = names.into_iter().collect();
    let turned = turned % names.len();
    names.rotate_left(turned);
    let mut writer = csv::WriterBuilder::new().delimiter(separator).from_writer(Vec::new());
    writer.write_record(&names).unwrap();
    for fields in &all {
        let value = |name: &&str| fields.iter().find(|field| field.0 == *name).map_or("", |field| field.1.as_str());
        writer.write_record(names.iter().map(value)).unwrap();
    }
    writer.into_inner().unwrap()
}

fn json_of(draft: &Draft) -> String {
    let members = fields(draft).into_iter().map(|(name, value, is_number)| {
        let value = if is_number { value } else { serde_json::to_string(&value).unwrap() };
        format!("\"{name}\":{value}")
    });
    format!("{{{}}}", members.collect::<Vec<_>>().join(","))
}

proptest! {
    #[test]
    fn what_is_written_is_read(
        written in proptest::collection::vec(draft(), 1..6), separator in 0..3_usize, turned in 0..30_usize,
    ) {
        let csv = csv_of(&written, b",;\t"[separator], turned);
        prop_assert_eq!(&drafts(std::str::from_utf8(&csv).unwrap(), &ledger()), &written);
        let objects: Vec<String> = written.iter().map(json_of).collect();
        for json in [format!("[{}]", objects.join(",\n")), objects.join("\n"), format!("{{\"readings\":[{}]}}", objects.join(","))] {
            prop_assert_eq!(&drafts(&json, &ledger()), &written);
        }
        for draft in &written {
            let fields: Vec<(String, String)> = fields(draft).into_iter().map(|(n, v, _)| (n, v)).collect();
            prop_assert_eq!(&typed(&fields, &ledger()).unwrap(), draft);
        }
    }

    /// What the samples show at every byte, at any byte of any table: all but the last row is untouched.
    #[test]
    fn no_cut_makes_up_a_row(
        written in proptest::collection::vec(draft(), 1..4), turned in 0..30_usize, at in any::<prop::sample::Index>(),
    ) {
        let csv = csv_of(&written, b',', turned);
        let start = &csv[..at.index(csv.len())];
        match parse(start, &ledger()) {
            Outcome::Incomplete { .. } => {}
            Outcome::Records(rows, ..) => {
                prop_assert!(rows.len() <= written.len());
                let whole = if start.ends_with(b"\n") { rows.len() } else { rows.len() - 1 };
                for (row, draft) in rows.iter().zip(&written).take(whole) {
                    prop_assert_eq!(&row.value, &Record::Reading(draft.clone()));
                }
            }
            Outcome::Refused(defects) => prop_assert!(false, "{:?} is refused: {:?}", String::from_utf8_lossy(start), defects),
        }
    }

    #[test]
    fn no_bytes_make_it_panic(bytes in proptest::collection::vec(any::<u8>(), 0..300)) {
        let _ = parse(&bytes, &ledger());
    }

    /// Good files with a few bytes changed: nearer to what is read than noise is.
    #[test]
    fn no_damage_makes_it_panic(
        which in any::<prop::sample::Index>(), at in any::<prop::sample::Index>(),
        with in prop_oneof!["[,;\\t\"\\n\\r{}\\[\\]:]{0,3}", "\\PC{0,3}"], removed in 0..4_usize, look in any::<bool>(),
    ) {
        let files = fixtures("good");
        let mut bytes = which.get(&files).1.clone();
        let at = at.index(bytes.len());
        let end = (at + removed).min(bytes.len());
        bytes.splice(at..end, with.bytes());
        let need = if look { Need::Look } else { Need::Ledger };
        if let Outcome::Refused(defects) = parse(&bytes, &Context { zone: None, need, ..ledger() }) {
            prop_assert!(!defects.is_empty());
            for defect in defects {
                prop_assert!(!defect.to_string().chars().any(char::is_control), "{}", defect);
            }
        }
    }

    #[test]
    fn no_table_makes_it_panic(text in "(time|device|x|y|X|event|nm380|id)([,;\\t](x|y|Y|Z|note|hours|\"|)){0,5}(\r\n|\n|\r)([\\PC,;\"\n]{0,40})") {
        let _ = parse(text.as_bytes(), &ledger());
    }
}
