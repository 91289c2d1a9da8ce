//! Spectra in columns, and tables of other makes through a mapping: from the file to the ledger, as a user meets them.

use std::path::{Path, PathBuf};

use proptest::prelude::*;
use serde_json::Value;
use twinwhite::config::Config;
use twinwhite::formats::{Context, Need, Outcome, Unfinished, parse};
use twinwhite::reading::{ColourSet, Draft, Level, Record};
use twinwhite::units::{DeviceId, Illuminance, Kelvin, SpectralUnit, Time, Xy};
use twinwhite::zone::LocalZone;

use super::site::{LOFT, Site, day};

/// What a spreadsheet makes of a bench log: lines before the header, semicolons, decimal commas, other names and units.
const MAPPING: &str = r#"
[[mapping]]
id = "bench-log"
decimal = ","
skip_lines = 2
time = { date = "Datum", clock = "Zeit", format = "%d.%m.%Y %H:%M" }
columns = { x = "x-Koord", y = "y-Koord", illuminance_lx = { column = "E", unit = "klx" }, note = "Ort" }
constants = { device = "loft-lamp", instrument = "spectro-1" }
ignore = ["Bemerkung"]
"#;

const EXPORT: &str = "Messplatz 2;;;;;;\r\n\r\nDatum;Zeit;E;x-Koord;y-Koord;Ort;Bemerkung\r\n\
                      06.01.2025;12:00;0,4985;0,3457;0,3585;Mitte;sonnig\r\n\
                      13.01.2025;12:05;0,501;0,3459;0,3586;;\r\n";

/// A spectrum of equal energy each 5 nm; its illuminance is 683 lm/W x 106.857 nm x `level` (CIE 018:2019, sum of V).
fn flat(level: f64) -> (String, String) {
    let names: Vec<String> = (380..=780).step_by(5).map(|nm| format!("nm{nm}")).collect();
    let values = vec![level.to_string(); names.len()];
    (names.join(","), values.join(","))
}

/// The flat spectrum's level at 500 lx.
const AT_500_LX: f64 = 500.0 / (683.0 * 106.857);

fn open_data() -> Option<PathBuf> {
    let beside = Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/open-data");
    let folder = std::env::var_os("TWINWHITE_OPEN_DATA").map_or(beside, PathBuf::from);
    if !folder.is_dir() {
        eprintln!("skipped: no open data at {}", folder.display());
        return None;
    }
    Some(folder)
}

fn config(mappings: &str) -> Config {
    Config::parse(&format!("{LOFT}{mappings}"), "site.toml", Path::new("site")).unwrap_or_else(|bad| panic!("{bad}"))
}

fn through(mappings: &str, text: &str) -> Outcome {
    let context = Context {
        zone: Some(LocalZone::named("Europe/Lisbon").unwrap()),
        mappings: config(mappings).mappings_for("log.csv", None),
        ..Context::of(Need::Ledger)
    };
    parse(text.as_bytes(), &context)
}

#[track_caller]
fn drafts(outcome: Outcome) -> Vec<Draft> {
    let Outcome::Records(rows, ..) = outcome else { panic!("must be read: {outcome:?}") };
    let draft = |value| match value {
        Record::Reading(draft) => draft,
        Record::Event(event) => panic!("expected a reading, got {event:?}"),
    };
    rows.into_iter().map(|row| draft(row.value)).collect()
}

#[track_caller]
fn refusal(outcome: Outcome) -> String {
    let Outcome::Refused(defects) = outcome else { panic!("must be refused: {outcome:?}") };
    defects.iter().map(|defect| format!("{defect}\n")).collect()
}

/// Bodies of the readings in a site's ledger, oldest first.
fn bodies(site: &Site) -> Vec<Value> {
    let ledger = site.ledger();
    let mut query = ledger.prepare("SELECT body FROM entry WHERE kind = 'reading' ORDER BY seq").unwrap();
    let rows = query.query_map([], |row| row.get::<_, String>(0)).unwrap();
    rows.map(|body| serde_json::from_str::<Value>(&body.unwrap()).unwrap()).collect()
}

#[test]
fn a_spectrum_is_kept_whole_in_the_ledger() {
    let site = Site::loft();
    let (names, values) = flat(AT_500_LX);
    let holes = values.replacen(&AT_500_LX.to_string(), "", 1);
    let text = format!(
        "unit,{names},time,device,bandwidth_nm,illuminance_lx,x,y\n\
         W/m2/nm,{values},{},loft-lamp,5,497,,\n\
         ,{holes},{},loft-lamp,,,,\n\
         ,{},{},loft-lamp,,500,0.3457,0.3585\n",
        day(0.0),
        day(7.0),
        ",".repeat(80),
        day(14.0),
    );
    let taken = site.ingest("spectra.csv", &text);
    assert_eq!((&taken["result"], &taken["readings"]), (&"taken".into(), &3.into()), "{taken}");
    let bodies = bodies(&site);
    let spectrum = &bodies[0]["reading"]["colour"]["spectrum"];
    assert_eq!((&spectrum["unit"], &spectrum["bandwidth_nm"]), (&"W/m2/nm".into(), &5.0.into()));
    assert_eq!((&spectrum["from_nm"], &spectrum["step_nm"]), (&380.0.into(), &5.0.into()));
    let values = spectrum["values"].as_array().unwrap();
    assert!(values.len() == 81 && values.iter().all(|value| value.as_f64() == Some(AT_500_LX)), "{spectrum}");
    assert_eq!(bodies[0]["reading"]["level"]["illuminance_lx"], 497.0, "what was given is kept as it was given");
    let relative = &bodies[1]["reading"]["colour"]["spectrum"];
    assert_eq!((&relative["unit"], &relative["from_nm"]), (&"relative".into(), &385.0.into()));
    assert_eq!(relative["values"].as_array().unwrap().len(), 80);
    // Equal energy is x = y = 1/3, which is u' = 4/19, v' = 9/19.
    let readings = site.readings("loft-lamp");
    assert_eq!(readings.len(), 3);
    let (u, v) = (readings[0]["u_prime"].as_f64().unwrap(), readings[0]["v_prime"].as_f64().unwrap());
    assert!((u - 4.0 / 19.0).abs() < 1e-4 && (v - 9.0 / 19.0).abs() < 1e-4, "{u} {v}");
    assert_eq!(site.ingest("again.csv", &text.replace(",497,", ",497.0,"))["duplicates"], 3);
    site.audit();
}

#[test]
fn a_spectrum_can_be_typed() {
    let site = Site::loft();
    let (names, _) = flat(1.0);
    let fields: Vec<String> = names.split(',').map(|name| format!("{name}={AT_500_LX}")).collect();
    site.ok(&format!("add loft-lamp unit=W/m2/nm time={} {}", day(0.0), fields.join(" ")));
    assert_eq!(bodies(&site)[0]["reading"]["colour"]["spectrum"]["values"].as_array().unwrap().len(), 81);
    let said = site.run(&format!("add loft-lamp unit=W/m2/nm illuminance_lx=5000 {}", fields.join(" ")));
    assert_eq!(said.code, 1, "{}", said.err);
    assert!(said.err.contains("illuminance_lx: found 5000 lx; expected"), "{}", said.err);
    assert!(said.err.contains("lx within 10 %, as the spectrum gives it: check the unit"), "{}", said.err);
}

#[test]
fn units_and_levels_of_spectra_are_held_against_the_thing() {
    let site = Site::loft();
    let (names, values) = flat(AT_500_LX);
    let mut text = format!("time,device,patch,unit,illuminance_lx,luminance_cd_m2,{names}\n");
    for (nth, (rest, values)) in [
        ("loft-lamp,,W/m2/sr/nm,,", &values),
        ("loft-screen,,W/m2/nm,,", &values),
        ("loft-lamp,paper,W/m2/nm,,", &values),
        ("loft-lamp,,W/m2/nm,46.45,", &values),
        ("loft-lamp,paper,W/m2/sr/nm,,560", &values),
        ("loft-lamp,ambient,W/m2/nm,,12", &values),
        ("loft-lamp,,W/m2/nm,,", &flat(1e4).1),
        ("loft-lamp,ambient,W/m2/sr/nm,,505", &values),
        ("loft-screen,ambient,relative,,30", &values),
        ("loft-screen,ambient,relative,,", &values),
        // And these are sound.
        ("loft-lamp,ambient,W/m2/nm,,", &values),
        ("loft-screen,ambient,relative,0,", &values),
        ("loft-lamp,paper,W/m2/sr/nm,,455", &values),
        ("loft-screen,,relative,,145", &values),
        ("loft-screen,,W/m2/sr/nm,,545", &values),
        ("loft-lamp,,W/m2/nm,545,", &values),
    ]
    .into_iter()
    .enumerate()
    {
        text.push_str(&format!("{},{rest},{values}\n", day(nth as f64)));
    }
    site.write("units.csv", &text);
    let refused = site.run("ingest units.csv --json");
    assert_eq!(refused.code, 1);
    let refused = &serde_json::from_str::<Value>(&refused.out).unwrap()["files"][0];
    let defects: Vec<String> = refused["defects"].as_array().unwrap().iter().map(Value::to_string).collect();
    for (defect, (line, parts)) in defects.iter().zip([
        (2, ["unit", "W/m2/nm: a lamp's own light is read as irradiance; of lit paper say patch = paper"]),
        (3, ["unit", "a display is read as radiance"]),
        (4, ["unit", "lit paper is read as radiance"]),
        (5, ["46.45 lx", "lx within 10 %"]),
        (6, ["560 cd/m2", "within 10 %"]),
        (7, ["12 cd/m2", "illuminance_lx: foreign light is"]),
        (8, ["a spectrum of 7.298e8 lx", "check whether the values are in W/m2/nm"]),
        (9, ["unit", "W/m2/nm: foreign light is read as it falls on the print"]),
        (10, ["30 cd/m2", "illuminance_lx: foreign light is the illuminance on the print"]),
        (11, ["illuminance_lx", "at the face of the screen, 0 where it is dark"]),
    ]) {
        assert!(defect.contains(&format!("\"line\":{line},")), "{defect}");
        assert!(parts.iter().all(|part| defect.contains(part)), "{parts:?}: {defect}");
    }
    assert_eq!(defects.len(), 10, "{defects:#?}");
}

#[test]
fn a_spreadsheet_export_is_taken_in_through_its_mapping() {
    let site = Site::new(&format!("{LOFT}{MAPPING}"));
    let taken = site.ingest("export.csv", EXPORT);
    assert_eq!((&taken["result"], &taken["readings"]), (&"taken".into(), &2.into()), "{taken}");
    let bodies = bodies(&site);
    assert_eq!(
        (&bodies[0]["reading"]["colour"]["x"], &bodies[0]["reading"]["colour"]["y"]),
        (&0.3457.into(), &0.3585.into())
    );
    assert_eq!(bodies[0]["reading"]["level"]["illuminance_lx"], 498.5);
    assert_eq!(
        (&bodies[0]["reading"]["time"], &bodies[0]["reading"]["time_given"]),
        (&day(0.0).to_string().into(), &"06.01.2025 12:00".into())
    );
    assert_eq!(
        (&bodies[0]["reading"]["note"], &bodies[0]["reading"]["instrument"]),
        (&"Mitte".into(), &"spectro-1".into())
    );
    assert_eq!((&bodies[1]["reading"]["note"], &bodies[1]["line"]), (&Value::Null, &5.into()));
    // The same through the inbox of the daemon.
    site.write("inbox/later.csv", EXPORT.replace("2025;", "2026;"));
    let daemon = site.daemon();
    daemon.until("two more readings", || site.readings("loft-lamp").len() == 4);
    assert!(daemon.stop().success());
    site.audit();
    // Without a configuration the same file is not understood; with one that lies there or is named it is.
    let elsewhere = Site::bare();
    elsewhere.write("export.csv", EXPORT);
    assert_eq!(elsewhere.run("inspect export.csv").code, 1);
    assert_eq!(site.json("inspect export.csv")["readings"][1]["x"], 0.3459);
    let seen = site.json("--config twinwhite.toml inspect export.csv");
    assert_eq!(seen["readings"][1]["x"], 0.3459, "{seen}");
}

#[test]
fn what_is_wrong_in_a_mapped_table_is_said_in_its_own_names() {
    let said = |from: &str, to: &str| refusal(through(MAPPING, &EXPORT.replacen(from, to, 1)));
    for (from, to, expected) in [
        (
            "0,4985",
            "0.4985",
            "line 4, E: found 0.4985; expected a number with a decimal comma and no unit, like 0,3127, as",
        ),
        ("0,3457", "-0,3457", "line 4, x-Koord: found -0.3457; expected x of 0 or more"),
        ("0,3457", "", "line 4, x-Koord: found nothing; expected a number: x and y belong together"),
        (
            "13.01.2025",
            "13/01/2025",
            "line 5, Datum and Zeit: found 13/01/2025 12:05; expected a time like 23.11.2026 21:47",
        ),
        (
            "06.01.2025;12:00",
            "29.03.2026;01:30",
            "line 4, Datum and Zeit: found 2026-03-29 01:30:00; expected 2026-03-29T01:30:00+00:00",
        ),
        (
            "Bemerkung",
            "Wetter",
            "line 3, Wetter: found a column of unknown meaning; expected a column that the mapping 'bench-log'",
        ),
        ("Ort;Bemerkung", "Ort;E", "line 3, E: found the same column twice"),
        (";sonnig", "", "line 4: found 6 fields; expected 7 fields"),
    ] {
        let all = said(from, to);
        assert!(all.starts_with(expected) && all.matches('\n').count() == 1, "{from} {to}: {all}");
    }
    // A time that no local one can write is written whole.
    let whole = EXPORT.replacen("06.01.2025;12:00", ";2026-03-29T01:30:00Z", 1);
    assert_eq!(drafts(through(MAPPING, &whole))[0].time, Some(Time::parse("2026-03-29T01:30:00Z").unwrap()));
    // A column that a mapping needs is missed, and then the table is nobody's.
    let near = said("y-Koord", "y");
    assert!(near.contains("a header row of column names"), "{near}");
    assert!(
        near.ends_with(
            "line 3: found no column 'y-Koord'; expected it, if this is a table for the mapping 'bench-log'\n"
        ),
        "{near}"
    );
    let nameless = MAPPING.replacen("device = \"loft-lamp\", ", "", 1);
    assert!(refusal(through(&nameless, EXPORT)).starts_with("line 3: found no device; expected a device among the"));
}

#[test]
fn a_mapped_table_that_is_not_finished_waits() {
    let whole = drafts(through(MAPPING, EXPORT));
    let text: Vec<&str> = EXPORT.split_inclusive('\n').collect();
    let header = text[..2].concat();
    for at in header.len() + 1..EXPORT.len() {
        match through(MAPPING, &EXPORT[..at]) {
            Outcome::Incomplete { .. } => {}
            read @ Outcome::Records(..) => {
                let read = drafts(read);
                assert!(read.iter().zip(&whole).all(|(read, whole)| read == whole), "cut at {at}");
            }
            Outcome::Refused(defects) => panic!("cut at {at}: {defects:?}"),
        }
    }
    let cut = through(MAPPING, &EXPORT[..EXPORT.find("y-Koord").unwrap()]);
    assert_eq!(cut, Outcome::Incomplete { why: Unfinished::HeaderOnly });
}

#[test]
fn the_mapping_that_fits_is_taken_and_two_are_a_defect() {
    let other =
        MAPPING.replace("bench-log", "other-log").replace(", note = \"Ort\"", "").replace("[\"Bem", "[\"Ort\", \"Bem");
    let both = format!("{MAPPING}{other}");
    let said = refusal(through(&both, EXPORT));
    assert!(
        said.starts_with("line 3: found columns that fit the mappings 'bench-log' and 'other-log'; expected"),
        "{said}"
    );
    let apart = format!("{MAPPING}name = \"bench-*\"\n{}name = \"log*\"\n", other);
    assert_eq!(drafts(through(&apart, EXPORT))[0].circumstances.note, None, "the other one, by the file's name");
    let folder = format!("{MAPPING}folder = \"loft-lamp\"\n");
    let mappings = |folder: Option<&str>, mappings: &str| {
        config(mappings).mappings_for("log.csv", folder.map(|id| DeviceId::new(id).unwrap()).as_ref()).len()
    };
    assert_eq!(
        (mappings(Some("loft-lamp"), &folder), mappings(Some("loft-screen"), &folder), mappings(None, &folder)),
        (1, 0, 0)
    );
    // What is all in our names is ours: a mapping that would pass over some of it does not touch it.
    let greedy = r#"
[[mapping]]
id = "greedy"
time = "time"
columns = { x = "x", y = "y" }
constants = { device = "loft-lamp" }
ignore_others = true
"#;
    let ours = "time,device,x,y\n2026-03-04T09:30:00Z,loft-screen,0.31,0.33\n";
    assert_eq!(drafts(through(greedy, ours))[0].device, DeviceId::new("loft-screen").ok());
    let theirs = ours.replace("device", "Device");
    assert_eq!(drafts(through(greedy, &theirs))[0].device, DeviceId::new("loft-lamp").ok());
}

#[test]
fn our_own_names_may_have_decimal_commas() {
    let mapping = r#"
[[mapping]]
id = "own-names"
decimal = ","
time = "time"
columns = { device = "device", cct_k = "cct_k", duv = "duv", hours = "hours" }
spectral = { pattern = "nm{nm}", unit = "mW/m2/nm" }
constants = { bandwidth_nm = 5 }
"#;
    let names: Vec<String> = (0..=64).map(|n| format!("nm{}", 380.0 + 5.5 * f64::from(n)).replace('.', ",")).collect();
    let values: Vec<String> = (0..=64).map(|n| format!("{}", 6.0 + f64::from(n) / 8.0).replace('.', ",")).collect();
    let text = format!(
        "time;device;cct_k;duv;hours;{}\n2026-03-04 09:30;loft-lamp;5003,5;-0,0012;12,5;{}\n2026-03-04 10:30;loft-lamp;;;;{}\n",
        names.join(";"),
        ";".repeat(64),
        values.join(";"),
    );
    let read = drafts(through(mapping, &text));
    assert!(matches!(read[0].colour, ColourSet::CctDuv { cct_k, .. } if cct_k == Kelvin::new(5003.5).unwrap()));
    assert_eq!(read[0].circumstances.hours.map(|hours| hours.0), Some(12.5));
    let ColourSet::Spectrum { spectrum } = &read[1].colour else { panic!("{read:?}") };
    assert_eq!(
        (spectrum.unit(), spectrum.bandwidth_nm(), spectrum.step_nm()),
        (SpectralUnit::Irradiance, Some(5.0), Some(5.5))
    );
    assert_eq!(spectrum.values()[1], 6.125 / 1000.0);
    let said = refusal(through(mapping, &text.replace("6,125;", "6.125;").replace("6,25;", "x;")));
    assert!(said.starts_with("line 3, nm385,5: found 6.125; expected a number with a decimal comma"), "{said}");
    assert!(said.ends_with("(1 more of this row are no numbers)\n"), "{said}");
}

#[test]
fn real_lamps_are_read_in_place() {
    let Some(folder) = open_data() else { return };
    let site = Site::new(&LOFT.replace("max_bytes = 65536\n", ""));
    for (file, count) in [("lamps", 8), ("settings", 14)] {
        let path = folder.join(format!("spectra/{file}.csv"));
        let said = site.json(&format!("inspect {}", path.display()));
        let seen = said["readings"].as_array().unwrap();
        assert_eq!(seen.len(), count, "{file}");
        let expected = std::fs::read_to_string(folder.join(format!("spectra/{file}-expected.csv"))).unwrap();
        let mut expected = csv::Reader::from_reader(expected.as_bytes());
        let header = expected.headers().unwrap().clone();
        for (seen, expected) in seen.iter().zip(expected.records()) {
            let expected = expected.unwrap();
            assert_eq!(seen["id"], expected[0], "{file}");
            // The expected sums end at 380 and 780 nm, ours go on to 360 and 830 nm.
            for name in ["x", "y"] {
                let at = header.iter().position(|column| column == name).unwrap();
                let (seen, expected) = (seen[name].as_f64().unwrap(), expected[at].parse::<f64>().unwrap());
                assert!((seen - expected).abs() < 1e-3, "{file}: {name} {seen} for {expected}");
            }
        }
    }
}

proptest! {
    /// What a log with decimal commas says is what is read, to the digit.
    #[test]
    fn what_a_log_says_is_read(
        rows in prop::collection::vec((0.0..0.5_f64, 1e-6..0.5_f64, 0.001..100.0_f64, 0..3_000_000_i64), 1..5),
    ) {
        let comma = |value: f64| value.to_string().replace('.', ",");
        let mapping = MAPPING.replace("skip_lines = 2\n", "").replace("unit = \"klx\"", "unit = \"lx\"");
        let mut text = "Zeit;Ort;y-Koord;Datum;Bemerkung;x-Koord;E\n".to_owned();
        let start = Time::parse("2021-01-01T00:00:00Z").unwrap().micros();
        let times: Vec<Time> = rows.iter().map(|row| Time::from_micros(start + row.3 * 60_000_000)).collect();
        for ((x, y, lx, _), time) in rows.iter().zip(&times) {
            // Format and zone are those of the mapping and of the context; instants of a clock change are passed over.
            let local = LocalZone::named("Europe/Lisbon").unwrap().show(*time);
            prop_assume!(LocalZone::named("Europe/Lisbon").unwrap().read(&local).is_ok());
            let (date, clock) = local.split_once(' ').unwrap();
            let date: Vec<&str> = date.split('-').collect();
            text.push_str(&format!(
                "{clock};;{};{}.{}.{};;{};{}\n", comma(*y), date[2], date[1], date[0], comma(*x), comma(*lx)
            ));
        }
        let read = drafts(through(&mapping, &text));
        prop_assert_eq!(read.len(), rows.len());
        for ((draft, (x, y, lx, _)), time) in read.iter().zip(&rows).zip(times) {
            prop_assert_eq!(&draft.colour, &ColourSet::Xy(Xy { x: *x, y: *y }));
            prop_assert_eq!(draft.level, Illuminance::new(*lx).ok().map(Level::Illuminance));
            prop_assert_eq!(draft.time, Some(time));
        }
    }

    #[test]
    fn no_mapped_table_makes_it_panic(
        at in any::<prop::sample::Index>(), with in prop_oneof!["[,;\\t\"\\n\\r.]{0,3}", "\\PC{0,3}"], removed in 0..6_usize,
    ) {
        let mut bytes = EXPORT.as_bytes().to_vec();
        let at = at.index(bytes.len());
        let end = (at + removed).min(bytes.len());
        bytes.splice(at..end, with.bytes());
        if let Outcome::Refused(defects) = through(MAPPING, &String::from_utf8_lossy(&bytes)) {
            prop_assert!(!defects.is_empty());
            for defect in defects {
                prop_assert!(!defect.to_string().chars().any(char::is_control), "{}", defect);
            }
        }
    }
}
