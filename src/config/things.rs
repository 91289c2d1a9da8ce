//! The tables of the file that are about the things of the site: displays, lamps, instruments, operators;
//! papers are in `papers`, stations in `stations`. What their values mean is in `site`.

use super::checks::{Declared, paper_aims};
use super::files::Files;
use super::papers::paper;
use super::rules::RuleSets;
use super::stations::station;
use super::walk::{Entry, Table};
use crate::site::{
    Adjustable, AimWhite, Bias, Display, DisplayAim, Identity, Instrument, InstrumentKind, Lamp, LampAim, LampKind,
    Noise, Things,
};
use crate::units::{DeviceId, Duv, Hours, Illuminance, InstrumentId, Kelvin, Luminance, OperatorId, Xy};

/// How a white written as colour temperature and tint becomes a chromaticity.
pub(super) type CctDuvToXy = fn(Kelvin, Duv) -> Option<Xy>;

/// The tables of the things, in the order of the file.
pub(super) struct Tables<'a> {
    pub(super) displays: Vec<Table<'a>>,
    pub(super) lamps: Vec<Table<'a>>,
    pub(super) papers: Vec<Table<'a>>,
    pub(super) stations: Vec<Table<'a>>,
    pub(super) instruments: Vec<Table<'a>>,
    pub(super) operators: Vec<Table<'a>>,
}

impl<'a> Tables<'a> {
    pub(super) fn of(root: &Table<'a>) -> Self {
        Self {
            displays: root.sections("display"),
            lamps: root.sections("lamp"),
            papers: root.sections("paper"),
            stations: root.sections("station"),
            instruments: root.sections("instrument"),
            operators: root.sections("operator"),
        }
    }
}

/// Every thing that is whole; of the others the mistakes were noted.
pub(super) fn things(
    tables: &Tables<'_>,
    declared: &Declared,
    rules: &RuleSets,
    files: &Files<'_>,
    resolve: CctDuvToXy,
) -> Things {
    let displays: Vec<_> = tables.displays.iter().filter_map(|table| display(table, resolve)).collect();
    let stations: Vec<_> = tables.stations.iter().filter_map(|table| station(table, declared, rules)).collect();
    if stations.len() == tables.stations.len() {
        paper_aims(&displays, &stations);
    }
    Things {
        displays: displays.into_iter().map(|(display, _)| display).collect(),
        lamps: tables.lamps.iter().filter_map(|table| lamp(table, resolve)).collect(),
        papers: tables.papers.iter().filter_map(|table| paper(table, files)).collect(),
        stations,
        instruments: tables.instruments.iter().filter_map(instrument).collect(),
        operators: tables.operators.iter().filter_map(operator).collect(),
    }
}

/// The id of a table whose mistakes `Declared` has noted already.
pub(super) fn known_id<'a>(table: &Table<'a>) -> Option<&'a str> {
    table.get("id")?.as_text()
}

/// What tells a thing from others; each a text.
pub(super) fn identity(table: &Table<'_>) -> Identity {
    let text = |key| table.get(key).and_then(|entry| entry.text("a text")).map(str::to_owned);
    Identity {
        maker: text("maker"),
        model: text("model"),
        serial: text("serial"),
        firmware: text("firmware"),
        place: text("place"),
    }
}

fn display<'a>(table: &Table<'a>, resolve: CctDuvToXy) -> Option<(Display, Entry<'a>)> {
    table.only(&["id", "maker", "model", "serial", "firmware", "place", "aim", "warm_up_min"]);
    let expected = "an aim like { white = \"D65\", luminance_cd_m2 = 145 }";
    let aim = table.need("aim", expected).and_then(|entry| {
        let aim = entry.table(expected, &["white", "luminance_cd_m2"])?;
        let entry = aim.need("white", DISPLAY_WHITE)?;
        let white = white(&entry, DISPLAY_WHITE, true, resolve);
        let level = aim.get("luminance_cd_m2");
        if level.is_none() && matches!(white, Some(AimWhite::Fixed(_))) {
            let hint = "it may be left out only where the white is \"paper\"".to_owned();
            aim.missing("luminance_cd_m2", LUMINANCE, Some(hint));
        }
        let level = level.and_then(|level| level.number(LUMINANCE, |l| l > 0.0 && l <= 10_000.0));
        let luminance = level.and_then(|level| Luminance::new(level).ok());
        Some((DisplayAim { white: white?, luminance }, entry))
    });
    let identity = identity(table);
    let warm_up_min = warm_up(table);
    let (aim, at) = aim?;
    Some((Display { id: DeviceId::new(known_id(table)?).ok()?, identity, aim, warm_up_min }, at))
}

const LUMINANCE: &str = "a luminance in cd/m2, above 0, at most 10000";
const ILLUMINANCE: &str = "an illuminance in lx, above 0, at most 200000";
const DISPLAY_WHITE: &str = "\"D50\", \"D55\", \"D65\", \"paper\", { x, y } or { cct_k, duv }";
const LAMP_WHITE: &str = "\"D50\", \"D55\", \"D65\", { x, y } or { cct_k, duv }";

/// The white of an aim.
fn white(entry: &Entry<'_>, expected: &str, paper: bool, resolve: CctDuvToXy) -> Option<AimWhite> {
    if !entry.is_table() {
        if entry.as_text() == Some("paper") && !paper {
            let hint = "only a display can aim at the paper; a lamp makes the paper's white";
            entry.mistake(expected, Some(hint.to_owned()));
            return None;
        }
        // CIE 15: chromaticities of the daylight illuminants for the 2° observer.
        let fixed = |x, y| AimWhite::Fixed(Xy { x, y });
        let d50 = fixed(0.345_67, 0.358_51);
        let (d55, d65) = (fixed(0.332_43, 0.347_44), fixed(0.312_71, 0.329_02));
        return match entry.as_text() {
            Some("D50") => Some(d50),
            Some("D55") => Some(d55),
            Some("D65") => Some(d65),
            Some("paper") => Some(AimWhite::Paper),
            Some(text) => {
                let words = ["D50", "D55", "D65", "paper"];
                let words = words.into_iter().take(if paper { 4 } else { 3 });
                let same = |word: &&str| word.eq_ignore_ascii_case(text.trim());
                let hint = match words.clone().find(same) {
                    Some(word) => format!("write \"{word}\""),
                    None => "any other white is written as { x = …, y = … } or { cct_k = …, duv = … }".to_owned(),
                };
                entry.mistake(expected, Some(hint));
                None
            }
            None => {
                entry.mistake(expected, None);
                None
            }
        };
    }
    let table = entry.table(expected, &["x", "y", "cct_k", "duv"])?;
    let (by_xy, by_cct) = (["x", "y"], ["cct_k", "duv"]);
    let any = |keys: [&str; 2]| keys.iter().any(|key| table.get(key).is_some());
    if !any(by_xy) && !any(by_cct) && table.keys().next().is_some() {
        // What stands there has been noted as unknown already.
        return None;
    }
    if any(by_xy) == any(by_cct) {
        entry.mistake("either x and y, or cct_k and duv", None);
        return None;
    }
    if any(by_xy) {
        let [x, y] = by_xy.map(|key| table.get(key).and_then(|entry| entry.as_number()));
        // No white lies up there in x, y, but in u′, v′ all warmer than about 12 000 K do.
        if let (Some(0.15..0.34), Some(0.45..0.6)) = (x, y) {
            let hint = "these look like u', v'; give them as x, y, or as cct_k and duv";
            entry.note("x and y of no white", "the x and y of a white (CIE 1931, 2° observer)", Some(hint.to_owned()));
            return None;
        }
        let x = table.need("x", WHITE_X).and_then(|x| x.number(WHITE_X, |x| (0.24..=0.60).contains(&x)));
        let y = table.need("y", WHITE_Y).and_then(|y| y.number(WHITE_Y, |y| (0.23..=0.45).contains(&y)));
        return Some(AimWhite::Fixed(Xy { x: x?, y: y? }));
    }
    let cct = table.need("cct_k", CCT).and_then(|cct| cct.number(CCT, |cct| (1500.0..=15_000.0).contains(&cct)));
    let duv = table.need("duv", DUV).and_then(|duv| duv.number(DUV, |duv| (-0.03..=0.03).contains(&duv)));
    let xy = resolve(Kelvin::new(cct?).ok()?, Duv::new(duv?).ok()?);
    if xy.is_none() {
        entry.mistake("a colour temperature and tint that are a colour", None);
    }
    xy.map(AimWhite::Fixed)
}

const WHITE_X: &str = "the x of a white (CIE 1931, 2° observer), from 0.24 to 0.60";
const WHITE_Y: &str = "the y of a white (CIE 1931, 2° observer), from 0.23 to 0.45";
const CCT: &str = "a colour temperature from 1500 to 15000 K";
const DUV: &str = "a tint Duv from -0.03 (magenta) to 0.03 (green); 0 is a black body, daylight is near 0.003";

fn warm_up(table: &Table<'_>) -> f64 {
    let minutes = |entry: Entry<'_>| entry.number("minutes from 0 to 1440", |m| (0.0..=1440.0).contains(&m));
    table.get("warm_up_min").and_then(minutes).unwrap_or(30.0)
}

fn lamp(table: &Table<'_>, resolve: CctDuvToXy) -> Option<Lamp> {
    let known = ["id", "maker", "model", "serial", "firmware", "place"];
    table.only(&[&known[..], &["kind", "aim", "adjustable", "rated_hours", "warm_up_min"]].concat());
    let expected = "an aim like { white = \"D50\", illuminance_lx = 500 }";
    let aim = table.need("aim", expected).and_then(|entry| {
        let aim = entry.table(expected, &["white", "illuminance_lx"])?;
        let white = aim.need("white", LAMP_WHITE).and_then(|entry| white(&entry, LAMP_WHITE, false, resolve));
        let level = aim.need("illuminance_lx", ILLUMINANCE);
        let level = level.and_then(|level| level.number(ILLUMINANCE, |l| l > 0.0 && l <= 200_000.0));
        let illuminance = level.and_then(|level| Illuminance::new(level).ok());
        match white? {
            AimWhite::Fixed(white) => Some(LampAim { white, illuminance: illuminance? }),
            AimWhite::Paper => None,
        }
    });
    let kinds = [
        ("led", LampKind::Led),
        ("fluorescent", LampKind::Fluorescent),
        ("halogen", LampKind::Halogen),
        ("other", LampKind::Other),
    ];
    let kind = table.get("kind").and_then(|entry| entry.choice(&kinds)).unwrap_or_default();
    let turns = [("level", Adjustable::Level), ("cct", Adjustable::Cct)];
    let mut adjustable = Vec::new();
    let expected = "a list of what a person can turn: [\"level\"], [\"cct\"] or [\"level\", \"cct\"]";
    for entry in table.get("adjustable").and_then(|entry| entry.list(expected)).unwrap_or_default() {
        let turn = entry.choice(&turns);
        adjustable.extend(turn.filter(|turn| !adjustable.contains(turn)));
    }
    let expected = "the lamp's rated life in hours, above 0, at most 1000000";
    let rated = |entry: Entry<'_>| entry.number(expected, |h| h > 0.0 && h <= 1e6);
    let rated_hours = table.get("rated_hours").and_then(rated).map(Hours);
    let identity = identity(table);
    let warm_up_min = warm_up(table);
    let id = DeviceId::new(known_id(table)?).ok()?;
    Some(Lamp { id, identity, kind, aim: aim?, adjustable, rated_hours, warm_up_min })
}

fn instrument(table: &Table<'_>) -> Option<Instrument> {
    let known = ["id", "maker", "model", "serial", "firmware", "place"];
    table.only(&[&known[..], &["kind", "certificate_until", "noise", "bias"]].concat());
    let kinds = [
        ("colorimeter", InstrumentKind::Colorimeter),
        ("spectrometer", InstrumentKind::Spectrometer),
        ("illuminance_meter", InstrumentKind::IlluminanceMeter),
    ];
    let kind = table.get("kind").and_then(|entry| entry.choice(&kinds));
    let identity = identity(table);
    let certificate_until = table.get("certificate_until").and_then(|entry| {
        let date = entry.as_date();
        if date.is_none() {
            let quoted = entry.as_text().is_some();
            let hint = quoted.then(|| "a date stands without quotation marks".to_owned());
            entry.mistake("the last good day as a date, like 2027-03-31", hint);
        }
        date
    });
    let spread = |table: &Option<Table<'_>>, key: &str, default: f64| {
        let (limit, expected) = if key == "uv" {
            (0.05, "a standard uncertainty of u' and v', from 0 to 0.05")
        } else {
            (100.0, "a standard uncertainty in percent, from 0 to 100")
        };
        let entry = table.as_ref().and_then(|table| table.get(key));
        entry.and_then(|entry| entry.number(expected, |s| (0.0..=limit).contains(&s))).unwrap_or(default)
    };
    let (noise, bias) = (Noise::default(), Bias::default());
    let written = table
        .get("noise")
        .and_then(|entry| entry.table("{ uv = 0.0005, luminance_pct = 1.0 }", &["uv", "luminance_pct"]));
    let noise = Noise {
        uv: spread(&written, "uv", noise.uv),
        level: spread(&written, "luminance_pct", noise.level * 100.0) / 100.0,
    };
    let example = "{ uv = 0.0015, luminance_pct = 2.0, common = 0.8 }";
    let written = table.get("bias").and_then(|entry| entry.table(example, &["uv", "luminance_pct", "common"]));
    let share = |entry: Entry<'_>| entry.number("a share from 0 to 1", |s| (0.0..=1.0).contains(&s));
    let common = written.as_ref().and_then(|table| table.get("common")).and_then(share).unwrap_or(bias.common);
    let bias = Bias {
        uv: spread(&written, "uv", bias.uv),
        level: spread(&written, "luminance_pct", bias.level * 100.0) / 100.0,
        common,
    };
    let id = InstrumentId::new(known_id(table)?).ok()?;
    Some(Instrument { id, identity, kind, certificate_until, noise, bias })
}

fn operator(table: &Table<'_>) -> Option<OperatorId> {
    table.only(&["id", "name"]);
    if let Some(name) = table.get("name") {
        name.text("a text");
    }
    OperatorId::new(known_id(table)?).ok()
}
