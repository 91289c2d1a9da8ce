//! Configuration files as people write them: the examples, the sound fixtures, and one fixture for each mistake.

use std::fs;
use std::path::{Path, PathBuf};
use std::time::Duration;

use proptest::prelude::*;
use twinwhite::config::find::read_named;
use twinwhite::config::{ChannelKind, Config, Login, SecretPlace, Security, WebAddress};
use twinwhite::formats::mapping::{Constant, Decimal, Ignored};
use twinwhite::formats::{KeywordRules, Quantity as Declared};
use twinwhite::rules::{Limit, Origin, Quantity};
use twinwhite::site::{AimWhite, LampKind, LuminanceRule, PaperWhite};
use twinwhite::units::{Days, DeviceId, SpectralUnit, Xy};

fn folder(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(name)
}

/// Name and text of every TOML file of a folder, by name.
fn files(name: &str) -> Vec<(String, String)> {
    let mut files: Vec<_> = fs::read_dir(folder(name))
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|end| end == "toml"))
        .map(|path| (path.file_stem().unwrap().to_str().unwrap().to_owned(), fs::read_to_string(&path).unwrap()))
        .collect();
    files.sort();
    assert!(!files.is_empty(), "no fixtures in {name}");
    files
}

fn parse(name: &str, text: &str) -> Result<Config, twinwhite::config::Mistakes> {
    let files = read_named(text, &folder("tests/config/files"));
    Config::parse_with(text, &format!("{name}.toml"), Path::new("site"), &files)
}

fn parse_file(name: &str) -> Config {
    let text = fs::read_to_string(folder(name)).unwrap();
    parse(name, &text).unwrap_or_else(|mistakes| panic!("{mistakes}"))
}

#[test]
fn each_mistake_is_told_alone_at_its_place() {
    let mut wrong = Vec::new();
    for (name, text) in files("tests/config/invalid") {
        let Err(mistakes) = parse(&name, &text) else {
            wrong.push(format!("{name} is taken for sound"));
            continue;
        };
        let many = ["many-at-once", "empty"].contains(&name.as_str());
        if (mistakes.list.len() > 1) != many {
            wrong.push(format!("{name} must have no mistake but its own:\n{mistakes}"));
        }
        let whole = ["empty", "site-missing", "paths-missing"].contains(&name.as_str());
        if mistakes.list.iter().any(|mistake| (mistake.line == 0) != whole) {
            wrong.push(format!("{name}: only what is missing altogether has no line:\n{mistakes}"));
        }
        if wrong.is_empty() {
            insta::with_settings!({ prepend_module_to_snapshot => false, omit_expression => true,
                snapshot_path => "../config/invalid" },
                { insta::assert_snapshot!(name.as_str(), mistakes.to_string()) });
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n\n"));
}

#[test]
fn sound_files_are_understood() {
    for (name, text) in files("tests/config/valid") {
        if let Err(mistakes) = parse(&name, &text) {
            panic!("{mistakes}");
        }
    }
}

#[test]
fn defaults_are_those_of_the_design() {
    let config = parse_file("tests/config/valid/smallest.toml");
    assert_eq!(config.site.id.as_str(), "test-room");
    assert_eq!(config.paths.inbox, Path::new("site/inbox"));
    assert_eq!(config.paths.archive, Path::new("site/archive"));
    assert_eq!(config.paths.quarantine, Path::new("site/quarantine"));
    assert_eq!((config.inbox.settle, config.inbox.rescan), (Duration::from_secs(10), Duration::from_secs(60)));
    assert_eq!(config.inbox.max_bytes, 8 * 1024 * 1024);
    assert_eq!(config.sha256.len(), 64);
    let things = &config.things;
    assert_eq!((things.displays[0].warm_up_min, things.lamps[0].warm_up_min), (30.0, 30.0));
    assert_eq!(things.displays[0].aim.white, AimWhite::Fixed(Xy { x: 0.34567, y: 0.35851 }));
    assert_eq!(things.lamps[0].kind, LampKind::Other);
    let station = &things.stations[0];
    assert_eq!((station.max_risk.get(), station.horizon, station.max_age), (0.2, Days(14.0), Days(45.0)));
    assert_eq!(station.luminance, LuminanceRule::DisplayToPaper(1.0));
    assert_eq!((station.visual_offset, station.tolerance.ra_min), ((0.0, 0.0), None));
}

#[test]
fn every_key_arrives() {
    let config = parse_file("tests/config/valid/every-key.toml");
    assert_eq!(config.site.id.as_str(), "t1");
    assert_eq!(config.paths.state, Path::new("state"), "\"site/../state\"");
    assert_eq!(config.paths.quarantine, Path::new("/q"));
    assert_eq!(config.inbox.settle, Duration::from_millis(2500));
    assert_eq!(config.inbox.max_bytes, 1_000_000);
    let things = &config.things;
    assert_eq!(things.displays[0].aim.white, AimWhite::Paper);
    assert_eq!(things.displays[0].warm_up_min, 20.0);
    assert_eq!((things.lamps[0].kind, things.lamps[0].adjustable.len()), (LampKind::Led, 2));
    assert_eq!(things.papers[0].white, PaperWhite::Lab { l: 96.8, a: 0.6, b: -1.9 });
    let station = &things.stations[0];
    assert_eq!(station.luminance, LuminanceRule::NotJudged);
    assert_eq!((station.visual_offset, station.max_risk.get()), ((0.001, -0.002), 0.1));
    assert_eq!((station.horizon, station.max_age), (Days(30.0), Days(60.0)));
    let sets: Vec<_> = things.stations[1].rules.iter().map(|set| (set.id.as_str(), set.points.len())).collect();
    assert_eq!(sets, [("house", 3), ("iso-3664-practical", 11), ("d65-studio", 1)], "the file's own set goes first");
    let house = &things.stations[1].rules[0];
    let Limit::Circle { centre, .. } = house.points[0].limit else { panic!("{house:?}") };
    assert_eq!((centre.u, house.points[0].preferred), (0.2102, Some(Limit::Circle { centre, radius: 0.003 })));
    assert_eq!(house.points[1].stands_in_for, Some(Quantity::LampWhite10));
    assert_eq!((house.points[0].origin, house.points[2].origin), (Origin::Secondary, Origin::Practice));
    let own = &things.stations[1].rules[2].points[0];
    assert_eq!(own.preferred, Some(Limit::Range { min: Some(480.0), max: Some(550.0) }));
    assert_eq!((things.stations[0].ambient_max, things.stations[1].ambient_max), (0.1, 0.05));
    assert!(things.stations[0].rules.is_empty());
    let PaperWhite::Curve(curve) = &things.papers[1].white else { panic!("{:?}", things.papers[1]) };
    assert_eq!((curve.reach(), things.papers[1].brightened), ((380.0, 730.0), Some(false)));
    let PaperWhite::Curve(percent) = &things.papers[2].white else { panic!("{:?}", things.papers[2]) };
    for (factor, percent) in curve.factors().iter().zip(percent.factors()) {
        assert!((factor - percent).abs() < 1e-9, "the same paper in percent");
    }
    let files: Vec<&str> = config.files.iter().map(|file| file.name.as_str()).collect();
    assert_eq!(files, ["rag.csv", "rag-percent.csv", "tables.csv"]);
    assert_eq!(config.tables.iso_23603.as_ref(), config.files.last());
    let instrument = &things.instruments[0];
    assert_eq!((instrument.noise.level, instrument.bias.level, instrument.bias.common), (0.015, 0.02, 0.8));
    assert_eq!(instrument.certificate_until.unwrap().to_string(), "2027-03-31");
    assert_eq!(things.operators[0].as_str(), "ines");
    assert_eq!(config.reminders[0].cron.as_str(), "0 9 * * Fri-Mon");
    assert_eq!(config.reminders[0].device, Some(DeviceId::new("lamp").unwrap()));
    let ChannelKind::Command { program, arguments } = &config.channels[0].kind else { panic!("a command") };
    assert_eq!((program.as_str(), arguments.as_slice()), ("tell", [String::new()].as_slice()));
    channels_arrive(&config);
}

fn channels_arrive(config: &Config) {
    let kind = |id: &str| config.channels.iter().find(|channel| channel.id == id).unwrap().kind.clone();
    let ChannelKind::Mail(mail) = kind("mail") else { panic!("a mail") };
    assert_eq!((mail.server.as_str(), mail.port, mail.security), ("mail.quillmoor.example", 2525, Security::Starttls));
    assert_eq!(mail.from.name.as_deref(), Some("twinwhite"));
    assert_eq!(mail.to.iter().map(|to| to.email.to_string()).collect::<Vec<_>>().len(), 2);
    let password = SecretPlace::File("site/mail.secret".into());
    assert_eq!(mail.login, Some(Login { user: "twinwhite".into(), password }));
    assert_eq!(mail.ca_file.as_deref(), Some(Path::new("site/house.pem")));
    let ChannelKind::Mail(mail) = kind("house-post") else { panic!("a mail") };
    assert_eq!((mail.port, mail.security), (25, Security::None));
    assert_eq!(mail.login.unwrap().password, SecretPlace::Variable("QUILLMOOR_MAIL".into()));
    let ChannelKind::Webhook(hook) = kind("hook") else { panic!("a webhook") };
    assert_eq!(hook.url, WebAddress::Secret(SecretPlace::Variable("QUILLMOOR_HOOK".into())));
    assert_eq!(hook.secret, Some(SecretPlace::File("site/hook.secret".into())));
    let ChannelKind::Webhook(hook) = kind("house-hook") else { panic!("a webhook") };
    assert_eq!(hook.url, WebAddress::Written("http://192.168.1.20/in".into()));
    assert_eq!((hook.secret, hook.ca_file), (None, Some("house.pem".into())));
    assert_eq!(kind("screen"), ChannelKind::Desktop { folder: "site/desktop".into() });
    assert_eq!(kind("sill"), ChannelKind::Desktop { folder: "state/desktop".into() });
}

#[test]
fn a_mapping_arrives() {
    let config = parse_file("tests/config/valid/mapping.toml");
    let [log, sheet] = config.mappings.as_slice() else { panic!("two mappings: {:?}", config.mappings) };
    assert_eq!((log.separator, log.decimal, log.skip_lines), (b'\t', Decimal::Comma, 2));
    assert_eq!(log.time.columns, ["Day", "Clock"]);
    assert_eq!(log.time.format.as_ref().unwrap().read("4.3.26 9:30:15").as_deref(), Some("2026-03-04 09:30:15"));
    let mired = log.columns.iter().find(|(name, ..)| name == "1e6/T").unwrap();
    assert_eq!((mired.1.name(), mired.2.apply(200.0)), ("cct_k", 5000.0));
    let spectral = log.spectral.as_ref().unwrap();
    assert_eq!((spectral.unit, spectral.conversion.apply(2e6)), (SpectralUnit::Irradiance, 2.0));
    assert_eq!(spectral.wavelength("380,5 nm", log.decimal), Some(380.5));
    let constant =
        |name: &str| log.constants.iter().find(|(field, _)| field.name() == name).map(|(_, value)| value.clone());
    assert_eq!(constant("patch"), Some(Constant::Text("white".to_owned())));
    assert_eq!(constant("bandwidth_nm"), Some(Constant::Number(5.0)));
    assert_eq!(log.ignored, Ignored::Named(vec!["Remarks".to_owned(), "Battery".to_owned()]));
    assert_eq!((sheet.separator, sheet.decimal, &sheet.ignored), (b',', Decimal::Point, &Ignored::Others));
    let text = config.keyword_text_for("booth.txt", None);
    assert_eq!(text.quantity, Some(Declared::Illuminance));
    assert_eq!(text.spectral_pattern.unwrap().wavelength("SPEC_380"), Some(380.0));
    assert_eq!(config.keyword_text_for("booth.csv", None), KeywordRules::default());
    let ids = |name: &str, folder: Option<&str>| {
        let folder = folder.map(|id| DeviceId::new(id).unwrap());
        config.mappings_for(name, folder.as_ref()).into_iter().map(|mapping| mapping.id).collect::<Vec<_>>()
    };
    assert_eq!(ids("log-1.csv", Some("lamp")), ["bench-log", "sheet"]);
    assert_eq!(ids("log-1.csv", None), ["sheet"]);
    assert_eq!(ids("notes.csv", Some("lamp")), ["sheet"]);
}

#[test]
fn a_marked_file_with_crlf_is_the_same_site() {
    let plain = parse_file("tests/config/valid/smallest.toml");
    let marked = parse_file("tests/config/valid/byte-order-mark-and-crlf.toml");
    assert_eq!((plain.site, plain.things), (marked.site, marked.things));
}

/// CIELAB (ISO/CIE 11664-4) from D50 to tristimulus values, then Bradford to the lamp's white: chromaticity and Y.
/// Written out here so that the examples are not judged by the code that judges stations.
fn paper_white(white: PaperWhite, lamp: Xy) -> (Xy, f64) {
    let of = |xy: Xy| [xy.x / xy.y, 1.0, (1.0 - xy.x - xy.y) / xy.y];
    let (d50, lamp) = (of(Xy { x: 0.34567, y: 0.35851 }), of(lamp));
    let relative = match white {
        PaperWhite::ReflectanceFactor(factor) => [factor; 3],
        PaperWhite::Curve(_) => panic!("no curve is configured here"),
        PaperWhite::Lab { l, a, b } => {
            let y = (l + 16.0) / 116.0;
            [y + a / 500.0, y, y - b / 200.0].map(|f: f64| f.powi(3))
        }
    };
    let cone = |v: [f64; 3]| {
        [
            0.8951 * v[0] + 0.2664 * v[1] - 0.1614 * v[2],
            -0.7502 * v[0] + 1.7135 * v[1] + 0.0367 * v[2],
            0.0389 * v[0] - 0.0685 * v[1] + 1.0296 * v[2],
        ]
    };
    let under_d50 = [0, 1, 2].map(|i| d50[i] * relative[i]);
    let (paper, from, to) = (cone(under_d50), cone(d50), cone(lamp));
    let wanted = [0, 1, 2].map(|i| paper[i] * to[i] / from[i]);
    // The inverse of the Bradford matrix (published to seven digits).
    let back = [
        [0.986_992_9, -0.147_054_3, 0.159_962_7],
        [0.432_305_3, 0.518_360_3, 0.049_291_2],
        [-0.008_528_7, 0.040_042_8, 0.968_486_7],
    ]
    .map(|row: [f64; 3]| row[0] * wanted[0] + row[1] * wanted[1] + row[2] * wanted[2]);
    let sum: f64 = back.iter().sum();
    (Xy { x: back[0] / sum, y: back[1] / sum }, back[1])
}

fn delta_uv(one: Xy, other: Xy) -> f64 {
    let uv = |xy: Xy| {
        let d = -2.0 * xy.x + 12.0 * xy.y + 3.0;
        (4.0 * xy.x / d, 9.0 * xy.y / d)
    };
    let (one, other) = (uv(one), uv(other));
    (one.0 - other.0).hypot(one.1 - other.1)
}

#[test]
fn examples_match_when_every_device_stands_at_its_aim() {
    let examples = files("config");
    assert_eq!(examples.len(), 2);
    for (name, text) in examples {
        let config = parse(&name, &text).unwrap_or_else(|mistakes| panic!("{mistakes}"));
        assert!(!config.things.stations.is_empty());
        for station in &config.things.stations {
            let lamp = config.things.lamp(&station.lamp).unwrap();
            let display = config.things.display(&station.display).unwrap();
            let paper = config.things.paper(&station.papers[0]).unwrap();
            let (white, reflectance) = paper_white(paper.white.clone(), lamp.aim.white);
            let aim = match display.aim.white {
                AimWhite::Fixed(xy) => xy,
                AimWhite::Paper => white,
            };
            let apart = delta_uv(aim, white);
            assert!(apart < station.tolerance.delta_uv / 10.0, "{name}, {}: {apart} apart in u'v'", station.id);
            let plain = delta_uv(lamp.aim.white, white);
            assert!(plain > 0.0008, "{name}, {}: the comment says that the paper is not the lamp's white", station.id);
            if let (Some(luminance), LuminanceRule::DisplayToPaper(rule)) = (display.aim.luminance, station.luminance) {
                let paper = lamp.aim.illuminance.get() * reflectance / std::f64::consts::PI;
                let ratio = luminance.get() / (rule * paper);
                assert!((0.98..1.02).contains(&ratio), "{name}, {}: luminances {ratio}", station.id);
            }
        }
    }
}

#[test]
fn a_lost_character_never_breaks_the_reader() {
    let (_, text) = files("config").into_iter().find(|(name, _)| name == "photographer").unwrap();
    let whole = parse("whole", &text).unwrap();
    for (at, lost) in text.char_indices() {
        let shorter = format!("{}{}", &text[..at], &text[at + lost.len_utf8()..]);
        match parse("shorter", &shorter) {
            Ok(config) => assert_eq!(config.things.stations.len(), whole.things.stations.len(), "at byte {at}"),
            Err(mistakes) => assert!(!mistakes.list.is_empty() && !mistakes.to_string().is_empty()),
        }
    }
}

#[test]
fn a_flood_of_mistakes_stays_readable() {
    let line = format!("[inbox]\nx = [{}]\n", "{ a = 1 }, ".repeat(50_000));
    let flood = format!("{}{line}", (0..3000).map(|n| format!("k{n} = 1\n")).collect::<String>());
    let text = parse("flood", &flood).unwrap_err().to_string();
    assert!(text.ends_with("1000 mistakes or more in flood.toml. Correct the file, then run `twinwhite check`."));
    let long = parse("long", &line).unwrap_err().to_string();
    assert!(long.lines().all(|line| line.chars().count() < 200), "{long}");
    let escaped = fs::read_to_string(folder("tests/config/invalid/site-key-with-escapes.toml")).unwrap();
    let told = parse("escaped", &escaped).unwrap_err().to_string();
    assert!(!told.contains('\u{1b}'), "nothing from the file steers the terminal");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, ..ProptestConfig::default() })]

    /// Pieces of a file in any order, with anything between them.
    #[test]
    fn no_text_breaks_the_reader(cuts in prop::collection::vec((0usize..4000, 0usize..400), 1..12), noise in ".{0,40}") {
        let (_, text) = files("config").into_iter().find(|(name, _)| name == "print-room").unwrap();
        let chars: Vec<char> = text.chars().collect();
        let mut mixed = String::new();
        for (start, length) in cuts {
            mixed.extend(chars.iter().skip(start).take(length));
            mixed.push_str(&noise);
            mixed.push('\n');
        }
        if let Err(mistakes) = parse("mixed", &mixed) {
            prop_assert!(mistakes.to_string().contains("in mixed.toml"));
        }
    }
}
