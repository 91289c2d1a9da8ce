//! Keyword text and spectral XML, through the public face of `formats`: whole, cut, wrong, and at random.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use proptest::prelude::*;
use twinwhite::formats::{
    Context, Format, KeywordRules, NamePattern, Need, Outcome, Quantity, Unfinished, Warning, parse,
};
use twinwhite::reading::{Circumstances, ColourSet, Defect, Draft, Level, Patch, Record, Row, Source};
use twinwhite::units::{
    DeviceId, Hours, Illuminance, InstrumentId, Luminance, OperatorId, SpectralUnit, Spectrum, Time, Xy, Xyz,
};
use twinwhite::zone::LocalZone;

/// As for files that name their device themselves.
fn ledger() -> Context {
    Context { zone: Some(LocalZone::named("Europe/Lisbon").unwrap()), ..Context::of(Need::Ledger) }
}

/// As for files in the folder of a lamp.
fn folder() -> Context {
    Context { folder_device: DeviceId::new("bay-lamp").ok(), ..ledger() }
}

fn look() -> Context {
    Context { zone: None, need: Need::Look, ..ledger() }
}

/// The context in which the files of `kind` are taken.
fn context_of(kind: &str) -> Context {
    if kind == "tm27" { folder() } else { ledger() }
}

fn fixtures(kind: &str, which: &str) -> Vec<(String, Vec<u8>)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fixtures/texts").join(kind).join(which);
    let mut files: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap())
        .map(|entry| (entry.file_name().into_string().unwrap(), std::fs::read(entry.path()).unwrap()))
        .collect();
    files.sort();
    files
}

fn good(kind: &str, name: &str) -> Vec<u8> {
    fixtures(kind, "good").into_iter().find(|(file, _)| file == name).unwrap().1
}

#[track_caller]
fn records(outcome: Outcome) -> (Vec<Row<Record>>, Vec<Row<Warning>>) {
    match outcome {
        Outcome::Records(rows, _, warnings) => (rows, warnings),
        other => panic!("expected records, got {other:?}"),
    }
}

#[track_caller]
fn drafts(bytes: &[u8], context: &Context) -> Vec<Draft> {
    let (rows, _) = records(parse(bytes, context));
    rows.into_iter()
        .map(|row| match row.value {
            Record::Reading(draft) => draft,
            Record::Event(event) => panic!("expected a reading, got {event:?}"),
        })
        .collect()
}

#[track_caller]
fn warnings(bytes: &[u8], context: &Context) -> Vec<String> {
    records(parse(bytes, context)).1.iter().map(|row| row.value.to_string()).collect()
}

#[track_caller]
fn refusal(bytes: &[u8], context: &Context) -> Vec<String> {
    match parse(bytes, context) {
        Outcome::Refused(defects) => defects.iter().map(Defect::to_string).collect(),
        other => panic!("expected a refusal, got {other:?}"),
    }
}

#[track_caller]
fn spectrum(draft: &Draft) -> &Spectrum {
    match &draft.colour {
        ColourSet::Spectrum { spectrum } => spectrum,
        other => panic!("expected a spectrum, got {other:?}"),
    }
}

/// The bad files, and how the lines of their refusals begin.
const BAD_KEYWORD: &[(&str, &[&str])] = &[
    (
        "a-blank-device.txt",
        &["line 12, DEVICE: found nothing; expected the device's id, here or as the name of the drop folder"],
    ),
    (
        "a-time-that-never-was.txt",
        &[
            "line 4, CREATED: found 2026-03-29 01:30; expected 2026-03-29T01:30:00+00:00 if the clock had not yet been put",
        ],
    ),
    (
        "a-value-missing.txt",
        &["line 14: found 11 values, 3 of them on this line; expected 4 values a set, one for each field"],
    ),
    (
        "a-word-for-a-number.txt",
        &[
            "line 13, XYZ_Y: found high; expected a number with a decimal point and no unit, like 0.3127",
            "line 14, XYZ_Z: found lx; expected a number with a decimal point and no unit, like 0.3127",
        ],
    ),
    (
        "after-quote.txt",
        &["line 9: found \"ines\"x; expected a blank or the end of the line after a closing quote; a quote"],
    ),
    (
        "backing.txt",
        &[
            "line 8: found SAMPLE_BACKING \"black\"; expected a reading of a display or a lamp: printed patches are measured",
        ],
    ),
    (
        "commas-and-points.txt",
        &["line 13: found a decimal comma, and on line 14 a decimal point; expected one of the two in all of a table"],
    ),
    ("count-in-words.txt", &["line 12, NUMBER_OF_SETS: found one; expected a whole number"]),
    ("dark-spectrum.txt", &["line 13: found no value is above 0; expected some light; check that the lamp was on"]),
    (
        "empty-format.txt",
        &[
            "line 11: found END_DATA_FORMAT without any name before it; expected the names of the fields between BEGIN_DATA_FORMAT and",
        ],
    ),
    (
        "end-without-begin.txt",
        &[
            "line 2: found END_DATA without its beginning; expected BEGIN_DATA_FORMAT and BEGIN_DATA before what ends them",
        ],
    ),
    (
        "fields-counted-wrong.txt",
        &[
            "line 9: found NUMBER_OF_FIELDS 5, and 4 names between BEGIN_DATA_FORMAT and END_DATA_FORMAT; expected the two to agree: one of them is wrong, or something is",
        ],
    ),
    ("gap.txt", &["line 9: found nothing between 490 and 570 nm; expected no gap wider than 50 nm"]),
    ("half-of-xyy.txt", &["line 9: found fields SAMPLE_ID, XYY_X, A, B; expected also XYY_Y"]),
    ("half-of-xyz.txt", &["line 9: found fields SAMPLE_ID, XYZ_X, XYZ_Y, STDEV_Z; expected also XYZ_Z"]),
    (
        "hours-in-words.txt",
        &["line 9, HOURS: found many; expected a number with a decimal point and no unit, like 0.3127"],
    ),
    (
        "include.txt",
        &["line 9: found .INCLUDE directive; expected one file that holds everything: no other file is ever opened"],
    ),
    (
        "inks-under-a-light.txt",
        &["line 9: found fields CMYK_K; expected a reading of a display or a lamp: printed patches are measured"],
    ),
    (
        "lab-alone.txt",
        &[
            "line 9: found fields LAB_L, LAB_A, LAB_B; expected a reading of a display or a lamp: printed patches are measured",
        ],
    ),
    (
        "latin-1.txt",
        &["line 10, HOURS: found viele, für alle; expected a number with a decimal point and no unit, like 0.3127"],
    ),
    ("level-beyond-the-sun.txt", &["line 13, XYZ_Y: found 5000000; expected an illuminance from 0 to 1 000 000 lx"]),
    (
        "loose-pairs.txt",
        &[
            "line 9: found 4 spectral fields that are no pairs; expected SPECTRAL_NM before each SPECTRAL_PCT or SPECTRAL_DEC",
        ],
    ),
    (
        "negative-light.txt",
        &[
            "line 13, XYZ_X: found -482.1; expected a tristimulus value, from 0 to 1e9: light is not negative",
            "line 14, XYZ_Y: found -500; expected a tristimulus value, from 0 to 1e9: light is not negative",
        ],
    ),
    (
        "negative-spectrum.txt",
        &["line 13: found -0.5 at 700 nm; expected a number from 0 to 1e9 (noise down to -2 % of the peak is"],
    ),
    (
        "no-colour.txt",
        &["line 9: found fields SAMPLE_ID, A, B, C; expected XYZ_X, XYZ_Y and XYZ_Z; or XYY_X and XYY_Y; or spectral"],
    ),
    (
        "no-created.txt",
        &["line 1, CREATED: found nothing; expected date and time of day, here or as KEYWORD \"TIME\" and TIME"],
    ),
    (
        "no-device.txt",
        &["line 1, DEVICE: found nothing; expected KEYWORD \"DEVICE\" and DEVICE \"its-id\", or the device's id as"],
    ),
    ("no-end-before-the-next.txt", &["line 22: found BEGIN_DATA_FORMAT among the values; expected END_DATA before it"]),
    (
        "no-end-of-format.txt",
        &["line 11: found BEGIN_DATA among the names of fields; expected END_DATA_FORMAT before it"],
    ),
    (
        "no-format.txt",
        &[
            "line 3: found BEGIN_DATA without a data format; expected BEGIN_DATA_FORMAT, the names of the fields and END_DATA_FORMAT",
        ],
    ),
    (
        "no-id.txt",
        &["line 8, DEVICE: found bay lamp; expected an id: 1 to 64 letters, digits, '-', '_' or '.', a letter or"],
    ),
    (
        "no-quantity.txt",
        &["line 1: found no QUANTITY; expected KEYWORD \"QUANTITY\" and a line QUANTITY with \"irradiance"],
    ),
    (
        "no-values.txt",
        &["line 14: found no value between BEGIN_DATA and END_DATA; expected at least one set of values"],
    ),
    ("open-quote.txt", &["line 9: found \"ines; expected a quote at the end of the text, on the same line; a quote"]),
    (
        "pairs-out-of-order.txt",
        &["line 13: found 680 nm after 700 nm; expected each wavelength once, in rising order, from 100 to 4000 nm"],
    ),
    (
        "paper-in-lux.txt",
        &["line 14, XYZ_Y: found 500; expected nothing: lit paper is read in cd/m2, as luminance_cd_m2"],
    ),
    ("patch.txt", &["line 13, PATCH: found withe; expected one of white, black, paper, ambient; did you mean white?"]),
    (
        "percent-of-irradiance.txt",
        &[
            "line 9: found SPECTRAL_PCT and the quantity W/m2/nm; expected SPECTRAL_DEC with it: percent are of something, and go with",
        ],
    ),
    (
        "printed-patches.txt",
        &[
            "line 5: found fields CMYK_C, CMYK_M, CMYK_Y, CMYK_K, MEASUREMENT_GEOMETRY \"Reflection, M1\", SA; expected a reading of a display or a lamp: printed patches",
        ],
    ),
    (
        "quantity-of-a-material.txt",
        &[
            "line 6, QUANTITY: found reflectance factor; expected a quantity of light, one of \"irradiance W/m2/nm\", \"radiance",
        ],
    ),
    (
        "quantity-of-another-unit.txt",
        &[
            "line 6, QUANTITY: found irradiance mW/m2/nm; expected a quantity and its unit, one of \"irradiance W/m2/nm\",",
        ],
    ),
    (
        "quantity-without-unit.txt",
        &["line 6, QUANTITY: found illuminance; expected a quantity and its unit, one of \"irradiance W/m2/nm\","],
    ),
    (
        "reflectance-pairs.txt",
        &["line 7: found fields SPECTRAL_PCT; expected a reading of a display or a lamp: printed patches are measured"],
    ),
    (
        "reflection-geometry.txt",
        &[
            "line 8: found MEASUREMENT_GEOMETRY \"45/0 reflection\"; expected a reading of a display or a lamp: printed patches are measured",
        ],
    ),
    (
        "second-table-undeclared.txt",
        &["line 15: found no QUANTITY; expected KEYWORD \"QUANTITY\" and a line QUANTITY with \"irradiance"],
    ),
    (
        "sets-counted-wrong.txt",
        &[
            "line 12: found NUMBER_OF_SETS 4, and 2 sets between BEGIN_DATA and END_DATA; expected the two to agree: one of them is wrong, or something is",
        ],
    ),
    (
        "short-spectrum.txt",
        &["line 9: found the spectrum goes from 420 to 740 nm; expected one that reaches from 400 to 700 nm"],
    ),
    ("spectral-word.txt", &["line 13, nm700: found over; expected a number without a unit, like 0.3127"]),
    ("spectrum-in-lux.txt", &["line 6: found QUANTITY \"illuminance lx\"; expected for spectral fields one of"]),
    ("twice-a-field.txt", &["line 9, XYZ_X: found the same field twice; expected each field once"]),
    ("twice-a-keyword.txt", &["line 9, DEVICE: found the same keyword twice; expected each keyword once in a table"]),
    ("twice-a-meaning.txt", &["line 9, ID: found the same field twice; expected each field once"]),
    (
        "twice-a-wavelength.txt",
        &["line 9: found 500 nm after 500 nm; expected each wavelength once, in rising order, from 100 to 4000 nm"],
    ),
    ("two-formats.txt", &["line 12: found BEGIN_DATA_FORMAT for the second time; expected one data format in a table"]),
    ("two-quantities.txt", &["line 9, QUANTITY: found luminance cd/m2; expected one quantity in a table"]),
    (
        "xyy-without-its-level.txt",
        &["line 9: found fields XYY_X, XYY_Y; expected also XYY_CAPY (the level that QUANTITY declares)"],
    ),
];

const BAD_TM27: &[(&str, &[&str])] = &[
    (
        "a-time-that-never-was.xml",
        &[
            "line 7, DocumentCreationDate: found 2026-03-29T01:30:00; expected 2026-03-29T01:30:00+00:00 if the clock had not yet been put",
        ],
    ),
    ("ampersand.xml", &["line 4: found <Description>tile & lamp</Description>; expected XML: &amp; for the sign &"]),
    (
        "another-encoding.xml",
        &["line 1: found encoding=\"ISO-8859-1\"; expected UTF-8: save or export the file again, in UTF-8"],
    ),
    (
        "another-root.xml",
        &[
            "found XML or HTML with the root <rates>; expected CSV, JSON, JSON Lines, CGATS.17 / ISO 28178 keyword text, or",
        ],
    ),
    (
        "attribute-twice.xml",
        &[
            "line 15: found the attributes of <SpectralData>; expected attributes as XML has them: position 30: duplicated attribute,",
        ],
    ),
    (
        "attribute-without-quotes.xml",
        &[
            "line 15: found the attributes of <SpectralData>; expected attributes as XML has them: position 24: attribute value must",
        ],
    ),
    (
        "bandwidth-in-words.xml",
        &["line 11, BandwidthFWHM: found narrow; expected the full width at half maximum in nm, like 5.0"],
    ),
    (
        "bandwidth-too-wide.xml",
        &["line 9: found a bandwidth of 80 nm; expected the full width at half maximum, above 0, at most 50 nm"],
    ),
    ("control-character.xml", &["line 4: found &#7;; expected no control characters"]),
    ("corrected-perhaps.xml", &["line 12, BandwidthCorrected: found perhaps; expected true or false"]),
    ("dark.xml", &["line 9: found no value is above 0; expected some light; check that the lamp was on"]),
    ("data-in-the-wrong-place.xml", &["line 9: found no SpectralData; expected data, like <SpectralData"]),
    (
        "date-not-applicable.xml",
        &[
            "line 7, DocumentCreationDate: found N/A; expected date and time of day of the reading, here or as ReportDate,",
        ],
    ),
    ("decimal-comma.xml", &["line 15, SpectralData: found 0,12; expected a number with a decimal point, like 0.0021"]),
    ("deep.xml", &["line 30: found <a> at depth 9; expected elements at most 8 deep"]),
    (
        "dtd.xml",
        &[
            "line 2: found a document type declaration; expected none: no DTD is read, and no entity but those of XML itself",
        ],
    ),
    (
        "entity-in-an-attribute.xml",
        &["line 13: found &four;00; expected &lt; &gt; &amp; &quot; &apos; or a character by its number,"],
    ),
    ("entity.xml", &["line 4: found &lamp;; expected &lt; &gt; &amp; &quot; &apos; or a character by its number,"]),
    ("few.xml", &["line 9: found 7 values; expected 16 to 10000, at least one every 20 nm"]),
    ("gap.xml", &["line 9: found nothing between 490 and 570 nm; expected no gap wider than 50 nm"]),
    (
        "hyphens-in-a-comment.xml",
        &["line 2: found <!-- a -- b -->; expected XML: ill-formed document: forbidden string `--` was found in a"],
    ),
    (
        "instruction.xml",
        &["line 2: found a processing instruction 'style'; expected none: instructions to programs are not followed"],
    ),
    (
        "latin-1.xml",
        &[
            "line 4: found byte 0xFC at offset 107, which is not UTF-8 (Latin-1 or Windows text, perhaps); expected UTF-8 text: save or export the file again, in UTF-8",
        ],
    ),
    (
        "negative.xml",
        &["line 9: found -0.5 at 440 nm; expected a number from 0 to 1e9 (noise down to -2 % of the peak is"],
    ),
    ("no-creator.xml", &["line 2: found no DocumentCreator; expected the element DocumentCreator in Header"]),
    ("no-data.xml", &["line 9: found no SpectralData; expected data, like <SpectralData"]),
    ("no-date.xml", &["line 2: found no DocumentCreationDate; expected the element DocumentCreationDate in Header"]),
    ("no-description.xml", &["line 2: found no Description; expected the element Description in Header"]),
    ("no-distribution.xml", &["line 1: found no SpectralDistribution; expected one, with the data in it"]),
    (
        "no-quantity.xml",
        &["line 9: found no SpectralQuantity; expected the element SpectralQuantity in SpectralDistribution:"],
    ),
    ("no-wavelength.xml", &["line 15, wavelength: found nothing; expected a wavelength in nm, like 380 or 405.5"]),
    (
        "page.xml",
        &[
            "found XML or HTML with the root <html>; expected CSV, JSON, JSON Lines, CGATS.17 / ISO 28178 keyword text, or",
        ],
    ),
    (
        "quantity-absorptance.xml",
        &[
            "line 10, SpectralQuantity: found absorptance; expected irradiance, radiance or relative (or flux, intensity or",
        ],
    ),
    (
        "quantity-brightness.xml",
        &[
            "line 10, SpectralQuantity: found brightness; expected irradiance, radiance or relative (or flux, intensity or",
        ],
    ),
    (
        "quantity-other.xml",
        &["line 10, SpectralQuantity: found other; expected irradiance, radiance or relative (or flux, intensity or"],
    ),
    (
        "quantity-r-factor.xml",
        &[
            "line 10, SpectralQuantity: found R-Factor; expected irradiance, radiance or relative (or flux, intensity or",
        ],
    ),
    (
        "quantity-reflectance.xml",
        &[
            "line 10, SpectralQuantity: found reflectance; expected irradiance, radiance or relative (or flux, intensity or",
        ],
    ),
    (
        "quantity-t-factor.xml",
        &[
            "line 10, SpectralQuantity: found T-Factor; expected irradiance, radiance or relative (or flux, intensity or",
        ],
    ),
    (
        "quantity-transmittance.xml",
        &[
            "line 10, SpectralQuantity: found transmittance; expected irradiance, radiance or relative (or flux, intensity or",
        ],
    ),
    (
        "short.xml",
        &["line 9: found the spectrum goes from 380 to 400 nm; expected one that reaches from 400 to 700 nm"],
    ),
    ("tags-crossed.xml", &["line 4: found <Description><b>x</Description><b></Description>; expected XML: </b>"]),
    ("text-after-the-root.xml", &["line 31: found the end; expected no text outside of the root element"]),
    ("twice-a-quantity.xml", &["line 11, SpectralQuantity: found the same element twice; expected it once"]),
    (
        "two-declarations.xml",
        &["line 2: found an XML declaration; expected it at the start of the file and nowhere else"],
    ),
    (
        "two-distributions.xml",
        &["line 30: found a second SpectralDistribution; expected one spectrum a file: split the file"],
    ),
    ("two-roots.xml", &["line 31: found <IESTM2714> after the end of the root; expected one root element"]),
    ("value-empty.xml", &["line 15, SpectralData: found nothing; expected a number with a decimal point, like 0.0021"]),
    ("value-in-words.xml", &["line 15, SpectralData: found low; expected a number with a decimal point, like 0.0021"]),
    ("value-infinite.xml", &["line 15, SpectralData: found INF; expected a number with a decimal point, like 0.0021"]),
    (
        "wavelength-twice.xml",
        &["line 15, wavelength: found 420 after 420; expected each wavelength once, in rising order"],
    ),
    (
        "wavelength-with-a-unit.xml",
        &["line 15, wavelength: found 440 nm; expected a wavelength in nm, like 380 or 405.5"],
    ),
    (
        "wavelengths-fall.xml",
        &["line 15, wavelength: found 410 after 420; expected each wavelength once, in rising order"],
    ),
    ("wrong-bang.xml", &["line 2: found <!ELEMENT a>; expected XML: <!-- and --> around a comment"]),
];

#[test]
fn bad_files_are_refused_with_their_reason() {
    for (kind, bad) in [("keyword", BAD_KEYWORD), ("tm27", BAD_TM27)] {
        let files = fixtures(kind, "bad");
        let found: BTreeSet<&str> = files.iter().map(|(name, _)| name.as_str()).collect();
        let told: BTreeSet<&str> = bad.iter().map(|(name, _)| *name).collect();
        assert_eq!(found, told, "every file has its reasons, and every reason its file");
        assert!(files.len() >= 30);
        for (name, beginnings) in bad {
            let (_, bytes) = files.iter().find(|(file, _)| file == name).unwrap();
            let said = refusal(bytes, &context_of(kind));
            assert_eq!(said.len(), beginnings.len(), "{name}: {said:?}");
            for (line, beginning) in said.iter().zip(*beginnings) {
                assert!(line.starts_with(beginning), "{name}: {line}\n  does not begin with {beginning}");
            }
        }
    }
}

#[test]
fn tables_of_a_lamp_and_a_screen_are_read() {
    let bytes = good("keyword", "two-tables.txt");
    let Outcome::Records(rows, format, said) = parse(&bytes, &ledger()) else { panic!("must be read") };
    assert_eq!(format, Format::KeywordText);
    assert_eq!(rows.iter().map(|row| row.line).collect::<Vec<_>>(), [17, 18, 29, 30]);
    assert_eq!(said[0].value, Warning::NotRead { names: vec!["STDEV_X".to_owned()], others: 0 });
    let drafts = drafts(&bytes, &ledger());
    let circumstances = Circumstances {
        instrument: InstrumentId::new("spectro-1").ok(),
        hours: Some(Hours(1200.5)),
        warmup_min: Some(45.0),
        id: Some("c".to_owned()),
        note: Some("centre, \"near\" #1".to_owned()),
        ..Circumstances::default()
    };
    let first = Draft {
        device: DeviceId::new("bay-lamp").ok(),
        time: Time::parse("2026-03-04T10:30:00Z").ok(),
        time_given: Some("2026-03-04 10:30".to_owned()),
        colour: ColourSet::Xy(Xy { x: 0.3457, y: 0.3585 }),
        level: Illuminance::new(502.5).ok().map(Level::Illuminance),
        circumstances,
    };
    assert_eq!(drafts[0], first);
    assert_eq!((drafts[1].circumstances.note.as_deref(), drafts[1].circumstances.id.as_deref()), (None, Some("e")));
    let screen = &drafts[2];
    assert_eq!(screen.device, DeviceId::new("bay-screen").ok());
    assert_eq!(screen.colour, ColourSet::Xyz(Xyz { x: 137.8, y: 145.0, z: 157.9 }));
    assert_eq!(screen.level, Luminance::new(145.0).ok().map(Level::Luminance));
    assert_eq!(screen.circumstances.operator, OperatorId::new("ines").ok(), "of this table alone");
    assert_eq!((screen.circumstances.setting.as_deref(), screen.circumstances.hours), (Some("dial 7"), None));
    assert_eq!((drafts[3].circumstances.patch, drafts[3].time_given.as_deref()), (Patch::Black, None));
}

#[test]
fn what_is_declared_decides() {
    let example = good("keyword", "own-example.txt");
    assert_eq!(drafts(&example, &ledger())[0].level, None, "a spectral quantity is no unit of X, Y and Z");
    assert!(warnings(&example, &ledger())[0].starts_with("QUANTITY \"irradiance W/m2/nm\" is spectral"));
    let with = |quantity: Option<Quantity>, text: &str| {
        let keyword_text = KeywordRules { spectral_pattern: NamePattern::new("SPEC_{nm}").ok(), quantity };
        parse(text.as_bytes(), &Context { keyword_text, ..look() })
    };
    let table = |head: &str, fields: &str, values: &str| {
        format!("CGATS.17\n{head}BEGIN_DATA_FORMAT\n{fields}\nEND_DATA_FORMAT\nBEGIN_DATA\n{values}\nEND_DATA\n")
    };
    // The configuration declares where the file does not; the file goes before it.
    let xyz = |head: &str| table(head, "XYZ_X XYZ_Y XYZ_Z", "48 50 41");
    let level = |outcome: Outcome| match records(outcome).0.remove(0).value {
        Record::Reading(draft) => draft.level,
        Record::Event(_) => unreachable!(),
    };
    let lux = Illuminance::new(50.0).ok().map(Level::Illuminance);
    assert_eq!(level(with(Some(Quantity::Illuminance), &xyz(""))), lux);
    assert_eq!(level(with(Some(Quantity::Luminance), &xyz("QUANTITY \"illuminance lx\"\n"))), lux);
    assert!(matches!(with(None, &xyz("")), Outcome::Refused(_)));
    // What the header says of a print is not overruled by a configuration for a whole folder.
    let print = xyz("MEASUREMENT_GEOMETRY \"45/0, reflection\"\n");
    assert!(matches!(with(Some(Quantity::Illuminance), &print), Outcome::Refused(_)));
    // Spectral columns by the pattern of the configuration, and by it alone.
    let nm: Vec<usize> = (380..=780).step_by(10).collect();
    let named = |before: &str| nm.iter().map(|nm| format!("{before}{nm}")).collect::<Vec<_>>().join(" ");
    let values = nm.iter().map(|nm| format!("0.{nm}")).collect::<Vec<_>>().join(" ");
    let radiance = Quantity::Spectral(SpectralUnit::Radiance);
    let (rows, said) = records(with(Some(radiance), &table("", &named("SPEC_"), &values)));
    let Record::Reading(draft) = &rows[0].value else { unreachable!() };
    assert_eq!(spectrum(draft).unit(), SpectralUnit::Radiance);
    assert_eq!((spectrum(draft).step_nm(), spectrum(draft).values()[40]), (Some(10.0), 0.78));
    assert!(said.is_empty(), "380 to 780 nm lack nothing that is wanted: {said:?}");
    let unknown = table("QUANTITY relative\n", &named("X_"), &values);
    assert!(refusal(unknown.as_bytes(), &look())[0].contains("as the pattern in the configuration names them"));
    // A spectrum beside tristimulus values is kept, and they are not.
    let both = table("QUANTITY relative\n", &format!("XYZ_X XYZ_Y XYZ_Z {}", named("nm")), &format!("1 2 3 {values}"));
    let (rows, said) = records(parse(both.as_bytes(), &look()));
    assert!(matches!(&rows[0].value, Record::Reading(draft) if spectrum(draft).values().len() == 41));
    assert_eq!(said[0].value.to_string(), "not read: XYZ_X, XYZ_Y, XYZ_Z");
    // Pairs are reflectance by the standard, and what is declared where something is.
    let pairs = good("keyword", "pairs.txt");
    assert_eq!(spectrum(&drafts(&pairs, &ledger())[0]).values()[1], 81.5);
}

#[test]
fn spectral_columns_stand_in_any_order() {
    let drafts = drafts(&good("keyword", "columns.txt"), &ledger());
    let (a, b) = (spectrum(&drafts[0]), spectrum(&drafts[1]));
    assert_eq!(
        (a.unit(), a.reach(), a.values()[0], b.values()[0]),
        (SpectralUnit::Irradiance, (400.0, 700.0), 0.025, 0.025)
    );
    assert_eq!(drafts[0].level, None, "the level of a spectrum is worked out from it");
}

#[test]
fn keyword_text_may_be_latin_1() {
    let latin = good("keyword", "latin-1.txt");
    assert!(std::str::from_utf8(&latin).is_err());
    assert_eq!(drafts(&latin, &ledger())[0].circumstances.note.as_deref(), Some("grün"));
    let utf_8: String = latin.iter().map(|byte| char::from(*byte)).collect();
    assert_eq!(drafts(utf_8.as_bytes(), &ledger()), drafts(&latin, &ledger()));
    let with_mark = format!("\u{feff}{utf_8}");
    assert_eq!(drafts(with_mark.as_bytes(), &ledger()), drafts(&latin, &ledger()));
    // UTF-8 that was cut within a character is not Latin-1.
    let cut = format!("{utf_8}# \u{fc}");
    assert_eq!(
        parse(&cut.as_bytes()[..cut.len() - 1], &ledger()),
        Outcome::Incomplete { why: Unfinished::MidCharacter }
    );
}

#[test]
fn spectral_xml_is_read() {
    let Outcome::Records(rows, format, said) = parse(&good("tm27", "irradiance.xml"), &folder()) else { panic!() };
    assert_eq!((format, rows.len(), said.len()), (Format::Tm27, 1, 1));
    let one = &drafts(&good("tm27", "irradiance.xml"), &folder())[0];
    assert_eq!((one.device.clone(), one.level), (DeviceId::new("bay-lamp").ok(), None));
    assert_eq!(one.time, Time::parse("2026-03-04T09:30:00Z").ok());
    assert_eq!(one.circumstances.id.as_deref(), Some("b7d0c1aa-0001"));
    assert_eq!(one.circumstances.note.as_deref(), Some("Booth A, tile centre"));
    let read = spectrum(one);
    assert_eq!((read.unit(), read.step_nm(), read.bandwidth_nm()), (SpectralUnit::Irradiance, Some(20.0), Some(10.0)));
    let uneven = &drafts(&good("tm27", "uneven-and-prefixed.xml"), &folder())[0];
    assert_eq!(uneven.circumstances.note.as_deref(), Some("cold tube, 8 °C & dim"));
    assert_eq!(uneven.time_given.as_deref(), Some("2026-03-04T10:30:00+01:00"), "of the report");
    assert_eq!((spectrum(uneven).step_nm(), spectrum(uneven).reach()), (None, (380.5, 780.0)));
    let newer = good("tm27", "newer.xml");
    assert_eq!(spectrum(&drafts(&newer, &folder())[0]).unit(), SpectralUnit::Relative);
    let said = warnings(&newer, &folder()).join("\n");
    for part in
        ["<IESTM2720 xmlns=\"iestm2720\" version=\"2.0\"> is not of", "flux is light as a lamp", "a bandwidth of 10 nm"]
    {
        assert!(said.contains(part), "{part}: {said}");
    }
}

#[test]
fn a_date_alone_is_taken_for_its_noon_and_that_is_said() {
    for (kind, file) in [("keyword", "date-only.txt"), ("tm27", "date-only.xml")] {
        let bytes = good(kind, file);
        let taken = &drafts(&bytes, &folder())[0];
        // Noon in Lisbon, where winter time is UTC.
        assert_eq!(taken.time, Time::parse("2026-03-04T12:00:00Z").ok(), "{file}");
        let said = warnings(&bytes, &folder()).join("\n");
        assert!(said.contains("2026-03-04 has no time of day: taken as noon of that day"), "{said}");
    }
}

#[test]
fn to_look_at_a_file_neither_time_nor_device_is_needed() {
    let date = good("keyword", "date-only.txt");
    assert_eq!(drafts(&date, &look())[0].time, None);
    assert!(warnings(&date, &look())[0].starts_with("CREATED 2026-03-04 has no time of day"));
    let local = drafts(&good("keyword", "two-tables.txt"), &look());
    assert_eq!((local[0].time, local[0].time_given.as_deref()), (None, Some("2026-03-04 10:30")));
    let xml = fixtures("tm27", "bad").into_iter().find(|(name, _)| name == "date-not-applicable.xml").unwrap().1;
    assert_eq!((drafts(&xml, &look())[0].time, drafts(&xml, &look())[0].device.clone()), (None, None));
    let said = refusal(&good("tm27", "irradiance.xml"), &ledger());
    assert_eq!(said.len(), 1);
    assert!(said[0].starts_with("device: found nothing; expected the device's id as the name of the drop folder"));
}

/// Every good file cut at every byte waits, or gives what stood in it.
#[test]
fn no_cut_makes_up_a_record() {
    for kind in ["keyword", "tm27"] {
        for (name, bytes) in fixtures(kind, "good") {
            let whole = records(parse(&bytes, &context_of(kind))).0;
            for at in 0..bytes.len() {
                match parse(&bytes[..at], &context_of(kind)) {
                    Outcome::Incomplete { .. } => {}
                    Outcome::Records(some, ..) => {
                        assert!(whole.starts_with(&some) && !some.is_empty(), "{name} cut at {at}");
                    }
                    Outcome::Refused(defects) => panic!("{name} cut at {at} is refused: {defects:?}"),
                }
            }
        }
    }
    let waits = |text: &str| match parse(text.as_bytes(), &look()) {
        Outcome::Incomplete { why } => why,
        other => panic!("{text}: {other:?}"),
    };
    assert_eq!(waits("CGATS.17\nBEGIN_DATA_FORMAT\nXYZ_X"), Unfinished::NoEndData { line: 1 });
    assert_eq!(waits("CGATS.17\n\nORIGINATOR \"a"), Unfinished::OpenQuote { line: 3 });
    assert_eq!(waits("<IESTM2714>\n<Header>\n"), Unfinished::MidXml { line: 3 });
}

#[test]
fn caps_hold() {
    let said = |text: &str| refusal(text.as_bytes(), &look()).remove(0);
    let fields = "A ".repeat(4097);
    assert!(said(&format!("CGATS.17\nBEGIN_DATA_FORMAT\n{fields}\n")).contains("4096 fields at most"));
    let sets = "1\n".repeat(100_001);
    let format = "CGATS.17\nBEGIN_DATA_FORMAT\nA\nEND_DATA_FORMAT\n";
    assert!(said(&format!("{format}BEGIN_DATA\n{sets}END_DATA\n")).contains("at most 100 000 sets"));
    assert!(said(&format!("CGATS.17\n{}\n", "a".repeat(65 << 10))).contains("a line of 64 KiB at most"));
    assert!(said(&format!("CGATS.17\n{}", "# a\n".repeat(3 << 20))).contains("8 MiB at most"));
    assert!(said(&format!("<IESTM2714>{}", "<!-- -->".repeat(2 << 20))).contains("8 MiB at most"));
    let points = "<SpectralData wavelength=\"1\">1</SpectralData>\n".repeat(10_001);
    assert!(
        said(&format!("<IESTM2714>\n<SpectralDistribution>{points}"))
            .starts_with("line 10002: found data point 10001;")
    );
    assert!(said(&format!("<IESTM2714>{}", "<a>".repeat(1000))).contains("at most 8 deep"));
    let many = refusal(
        format!("QUANTITY relative\n{format}BEGIN_DATA\n{}END_DATA\n", "x\n".repeat(500))
            .replace("\nA\n", "\nXYZ_X XYZ_Y XYZ_Z\n")
            .replace("x\n", "1 x 1\n")
            .as_bytes(),
        &look(),
    );
    assert_eq!(
        (many.len(), many[200].as_str()),
        (201, "found 300 more defects; expected the 200 above to be put right first")
    );
}

/// Real files of the two formats. Read in place; skipped where absent.
#[test]
fn open_files_are_read_for_what_they_are() {
    let beside = Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/open-data");
    let folder = std::env::var_os("TWINWHITE_OPEN_DATA").map_or(beside, PathBuf::from).join("formats");
    if !folder.is_dir() {
        eprintln!("skipped: no open data at {}", folder.display());
        return;
    }
    let lamp = std::fs::read(folder.join("fluorescent.spdx")).unwrap();
    let draft = &drafts(&lamp, &look())[0];
    let read = spectrum(draft);
    assert_eq!((read.unit(), read.values().len(), read.reach()), (SpectralUnit::Relative, 85, (400.0, 850.1)));
    assert_eq!((read.step_nm(), read.bandwidth_nm()), (None, None), "uneven, and the bandwidth was corrected");
    assert_eq!(read.wavelengths().nth(1), Some(403.1));
    assert_eq!((draft.time, draft.circumstances.note.as_deref()), (None, Some("Rare earth fluorescent lamp")));
    let said = warnings(&lamp, &look()).join("\n");
    assert!(said.contains("from 400 to 850.1 nm: nothing below 400 nm was measured"), "{said}");
    assert!(said.contains("DocumentCreationDate 2014-06-23 has no time of day"), "{said}");
    let prints = std::fs::read(folder.join("iso15339-crpc6.txt")).unwrap();
    for context in [look(), ledger(), self::folder()] {
        let said = refusal(&prints, &context);
        assert_eq!(said.len(), 1, "{said:?}");
        assert!(said[0].contains("fields CMYK_C, CMYK_M, CMYK_Y, CMYK_K"), "{said:?}");
        assert!(said[0].contains("expected a reading of a display or a lamp: printed patches"), "{said:?}");
    }
    // It is read to its end before it is refused: with one value less the counts are what is wrong.
    let text = String::from_utf8(prints).unwrap();
    let (before, after) = text.rsplit_once('\t').map(|_| text.split_at(text.find("\r\n2\t").unwrap())).unwrap();
    let said = refusal(format!("{before}\t7{after}").as_bytes(), &look());
    assert!(said[0].contains("12937 values, 9 of them on this line"), "{said:?}");
}

fn quoted(text: &str) -> String {
    format!("\"{}\"", text.replace('"', "\"\""))
}

/// The draft as a table of its own.
fn table_of(draft: &Draft, in_pairs: bool) -> String {
    let mut fields: Vec<(String, String)> = Vec::new();
    let mut field = |name: &str, value: String| fields.push((name.to_owned(), value));
    let level = match draft.level {
        Some(Level::Luminance(level)) => Some(("luminance cd/m2", level.get())),
        Some(Level::Illuminance(level)) => Some(("illuminance lx", level.get())),
        None => None,
    };
    let mut quantity = level.map_or("relative", |level| level.0).to_owned();
    match &draft.colour {
        ColourSet::Xyz(c) => {
            [("XYZ_X", c.x), ("XYZ_Y", c.y), ("XYZ_Z", c.z)].map(|(n, v)| field(n, v.to_string())).into()
        }
        ColourSet::Xy(c) => [("XYY_X", c.x), ("XYY_Y", c.y)].map(|(n, v)| field(n, v.to_string())).into(),
        ColourSet::Spectrum { spectrum } => {
            quantity = match spectrum.unit() {
                SpectralUnit::Irradiance => "irradiance W/m2/nm",
                SpectralUnit::Radiance => "radiance W/m2/sr/nm",
                SpectralUnit::Relative => "relative",
            }
            .to_owned();
            for (nm, value) in spectrum.wavelengths().zip(spectrum.values()) {
                if in_pairs {
                    field("SPECTRAL_NM", nm.to_string());
                    field("SPECTRAL_DEC", value.to_string());
                } else {
                    field(&format!("nm{nm}"), value.to_string());
                }
            }
            vec![]
        }
        other => panic!("not in keyword text: {other:?}"),
    };
    if let (ColourSet::Xy(_), Some((_, level))) = (&draft.colour, level) {
        field("XYY_CAPY", level.to_string());
    }
    let c = &draft.circumstances;
    let patch = ["white", "black", "paper", "ambient"][c.patch as usize];
    let word = |text: Option<&str>| quoted(text.unwrap_or_default());
    for (name, value) in [
        ("SAMPLE_ID", word(c.id.as_deref())),
        ("SAMPLE_NAME", word(c.note.as_deref())),
        ("SETTING", word(c.setting.as_deref())),
        ("INSTRUMENT", word(c.instrument.as_ref().map(InstrumentId::as_str))),
        ("OPERATOR", word(c.operator.as_ref().map(OperatorId::as_str))),
        ("HOURS", word(c.hours.map(|hours| hours.0.to_string()).as_deref())),
        ("WARMUP_MIN", word(c.warmup_min.map(|minutes| minutes.to_string()).as_deref())),
        ("RA", word(c.ra.map(|ra| ra.to_string()).as_deref())),
        ("SOURCE", if c.source == Source::Label { "label".to_owned() } else { "\"\"".to_owned() }),
        ("PATCH", patch.to_owned()),
        ("DEVICE", quoted(draft.device.as_ref().unwrap().as_str())),
        ("TIME", quoted(&draft.time.unwrap().to_string())),
    ] {
        field(name, value);
    }
    let (names, values): (Vec<String>, Vec<String>) = fields.into_iter().unzip();
    format!(
        "ISO28178\nKEYWORD \"QUANTITY\"\nQUANTITY {}\nNUMBER_OF_FIELDS {}\nBEGIN_DATA_FORMAT\n{}\nEND_DATA_FORMAT\n\
         NUMBER_OF_SETS 1\nBEGIN_DATA\n{}\nEND_DATA\n",
        quoted(&quantity),
        names.len(),
        names.join("\n"),
        values.join("\t")
    )
}

/// The draft as spectral XML; what has no place there is left out.
fn xml_of(draft: &Draft) -> String {
    let escaped = |text: &str| text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;");
    let element = |name: &str, text: Option<&str>| {
        text.map(|text| format!("<{name}>{}</{name}>\n", escaped(text))).unwrap_or_default()
    };
    let read = spectrum(draft);
    let quantity = match read.unit() {
        SpectralUnit::Irradiance => "irradiance",
        SpectralUnit::Radiance => "radiance",
        SpectralUnit::Relative => "relative",
    };
    let time = draft.time.unwrap().to_string();
    let mut text = "<?xml version=\"1.0\"?>\n<IESTM2714 xmlns=\"iestm2714\" version=\"1.0\">\n<Header>\n".to_owned();
    text += &element("Description", Some(draft.circumstances.note.as_deref().unwrap_or_default()));
    text += &element("DocumentCreator", Some("a test"));
    text += &element("UniqueIdentifier", draft.circumstances.id.as_deref());
    text += &element("DocumentCreationDate", Some(&time));
    text += &format!("</Header>\n<SpectralDistribution>\n<SpectralQuantity>{quantity}</SpectralQuantity>\n");
    let bandwidth = read.bandwidth_nm().map(|nm| nm.to_string());
    text += &element("BandwidthFWHM", bandwidth.as_deref());
    text += &element("BandwidthCorrected", bandwidth.as_ref().map(|_| "false"));
    for (nm, value) in read.wavelengths().zip(read.values()) {
        text += &format!("<SpectralData wavelength=\"{nm}\">{value}</SpectralData>\n");
    }
    text + "</SpectralDistribution>\n</IESTM2714>\n"
}

prop_compose! {
    fn any_spectrum(with_bandwidth: bool)(
        from in 300.0..400.0_f64, steps in prop::collection::vec(0.5..20.0_f64, 40..120),
        values in prop::collection::vec(0.0..5.0_f64, 200), unit in 0..3_usize,
        bandwidth in prop::option::of(0.1..50.0_f64),
    ) -> Spectrum {
        let mut nm = vec![from];
        for step in steps.iter().cycle() {
            let last = *nm.last().unwrap();
            if last >= 700.0 || nm.len() == values.len() {
                break;
            }
            nm.push(last + step.max((700.0 - last) / (values.len() - nm.len()) as f64));
        }
        let mut values = values[..nm.len()].to_vec();
        values[3] = 6.0;
        // Fewer than 16 cannot be: steps are below 20 nm, and 300 nm lie between.
        Spectrum::new(SpectralUnit::ALL[unit], &nm, values, bandwidth.filter(|_| with_bandwidth)).unwrap()
    }
}

/// Drafts that keyword text can hold: Y is the level where there is one.
fn of_keyword_text() -> impl Strategy<Value = Draft> {
    // Of spectra those without a bandwidth: keyword text has no place for it.
    (super::formats::draft(), any_spectrum(false)).prop_map(|(mut draft, spectrum)| {
        if matches!(draft.colour, ColourSet::Spectrum { .. }) {
            draft.level = None;
            draft.colour = ColourSet::Spectrum { spectrum: Box::new(spectrum) };
        }
        match (&draft.colour, draft.level) {
            (ColourSet::Xyz(c), Some(Level::Luminance(_))) => {
                draft.level = Luminance::new(c.y).ok().map(Level::Luminance)
            }
            (ColourSet::Xyz(c), Some(Level::Illuminance(_))) => {
                draft.level = Illuminance::new(c.y).ok().map(Level::Illuminance)
            }
            (ColourSet::Xyz(_) | ColourSet::Xy(_) | ColourSet::Spectrum { .. }, _) => {}
            _ => draft.colour = ColourSet::Xy(Xy { x: 0.3127, y: 0.329 }),
        }
        draft
    })
}

proptest! {
    #[test]
    fn what_is_written_as_keyword_text_is_read(
        written in prop::collection::vec(of_keyword_text(), 1..5), in_pairs in any::<bool>(), in_crlf in any::<bool>(),
    ) {
        let mut text: String = written.iter().map(|draft| table_of(draft, in_pairs)).collect();
        prop_assert_eq!(&drafts(text.as_bytes(), &ledger()), &written);
        if in_crlf {
            text = text.replace('\n', "\r\n");
            prop_assert_eq!(&drafts(text.as_bytes(), &ledger()), &written);
        }
    }

    #[test]
    fn what_is_written_as_spectral_xml_is_read(
        spectrum in any_spectrum(true), id in prop::option::of("[A-Z0-9<&>-]{4,20}"), note in prop::option::of("[a-z<&>'\"\u{e9}] [a-z]{3,9}"),
        micros in 0..4_000_000_000_000_000_i64,
    ) {
        let written = Draft {
            device: DeviceId::new("bay-lamp").ok(), time: Some(Time::from_micros(micros)), time_given: None,
            colour: ColourSet::Spectrum { spectrum: Box::new(spectrum) }, level: None,
            circumstances: Circumstances { id, note, ..Circumstances::default() },
        };
        prop_assert_eq!(&drafts(xml_of(&written).as_bytes(), &folder()), &[written]);
    }

    #[test]
    fn no_bytes_make_it_panic(start in 0..4_usize, bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        let start: &[u8] = [&b"CGATS.17\n"[..], b"<", b"<IESTM2714>", b"CGATS.17\nBEGIN_DATA_FORMAT\nXYZ_X XYZ_Y XYZ_Z\nEND_DATA_FORMAT\nBEGIN_DATA\n"][start];
        let _ = parse(&[start, &bytes].concat(), &look());
    }

    /// Good files with a few bytes changed: nearer to what is read than noise is.
    #[test]
    fn no_damage_makes_it_panic(
        xml in any::<bool>(), which in any::<prop::sample::Index>(), at in any::<prop::sample::Index>(),
        with in prop_oneof!["[<>&;\"'#=!?/\\[\\]\\-,. \\t\\n\\r]{0,4}", "\\PC{0,3}", "(END_DATA|BEGIN_DATA|KEYWORD|<!--|-->|<!\\[CDATA\\[|&#x0;|<a>)"],
        removed in 0..12_usize, look_only in any::<bool>(),
    ) {
        let files = fixtures(if xml { "tm27" } else { "keyword" }, "good");
        let mut bytes = which.get(&files).1.clone();
        let at = at.index(bytes.len());
        let end = (at + removed).min(bytes.len());
        bytes.splice(at..end, with.bytes());
        let context = if look_only { look() } else { folder() };
        if let Outcome::Refused(defects) = parse(&bytes, &context) {
            prop_assert!(!defects.is_empty());
            for defect in defects {
                prop_assert!(!defect.to_string().chars().any(char::is_control), "{}", defect);
            }
        }
    }
}
