//! From answers to a commented configuration, and to the first commands. Pure.

use std::f64::consts::PI;

use super::answers::{Finish, Lamp, Screen, Sheet, SheetWhite, White};
use crate::color::{CctDuv, Illuminant, PaperUnderLamp, UvSpread, delta_uv, uv_of_cct_duv, uv_prime, xy};
use crate::site::{LampKind, PaperWhite};
use crate::units::{Duv, Kelvin, UvPrime, Xy};
use crate::zone::LocalZone;

/// The lamp's level where nobody said one: common practice for prints seen beside a screen, in lx.
const USUAL_LX: f64 = 500.0;
/// The most that a display's aim may be, in cd/m².
const BRIGHTEST: f64 = 10_000.0;
/// From here on two levels that were both said are two levels on purpose, as a share.
const ON_PURPOSE: f64 = 0.02;
/// A screen this far from the paper gives half of the tolerance away.
const HALF_THE_TOLERANCE: f64 = 0.0025;

/// All that was answered.
pub struct Watch {
    /// The site's name.
    pub name: String,
    /// Its time zone.
    pub zone: LocalZone,
    /// The screen.
    pub screen: Screen,
    /// The lamp.
    pub lamp: Lamp,
    /// The paper.
    pub paper: Sheet,
    /// Where readings are dropped.
    pub folder: String,
}

/// Where screen and lamp should be, with what was not said filled in.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Aims {
    /// The lamp's white.
    pub lamp: White,
    /// Its chromaticity.
    pub lamp_xy: Xy,
    /// Illuminance at the print, in lx.
    pub lx: f64,
    /// The screen's chromaticity.
    pub screen_xy: Xy,
    /// The screen's luminance, in cd/m².
    pub luminance: f64,
    /// The paper's luminance under the lamp, in cd/m².
    pub paper_luminance: f64,
    /// Δu′v′ of the screen's aim from the paper under the lamp.
    pub apart: f64,
}

impl Finish {
    /// CIELAB of the unprinted sheet, D50, 2° observer, on a white backing: ISO 12647-2:2004, paper types 2, 1, 4 and 5, as a public
    /// presentation to ISO/TC 130 in 2006 quotes them.
    const fn lab(self) -> [f64; 3] {
        match self {
            Self::Matte => [94.0, 0.0, -2.0],
            Self::Glossy | Self::Uncoated => [95.0, 0.0, -2.0],
            Self::Cream => [90.0, 0.0, 9.0],
        }
    }

    /// What such a paper is called.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Matte => "matte coated",
            Self::Glossy => "gloss coated",
            Self::Uncoated => "uncoated white",
            Self::Cream => "uncoated, slightly yellowish",
        }
    }
}

impl SheetWhite {
    /// L, a, b.
    pub const fn lab(self) -> [f64; 3] {
        match self {
            Self::Read { l, a, b } => [l, a, b],
            Self::Typical(finish) => finish.lab(),
        }
    }
}

impl White {
    fn uv(self) -> Option<UvPrime> {
        match self {
            Self::D50 => uv_prime(Illuminant::D50.xy()).ok(),
            Self::D55 => uv_prime(Illuminant::D55.xy()).ok(),
            Self::D65 => uv_prime(Illuminant::D65.xy()).ok(),
            Self::Kelvin(k) => {
                let (cct_k, duv) = (Kelvin::new(k).ok()?, Duv::new(super::answers::duv_of(k)).ok()?);
                uv_of_cct_duv(CctDuv { cct_k, duv }).ok()
            }
        }
    }
}

/// The aims of what was answered; `None` where the paper has no white under such a lamp, which no answer leads to.
pub fn aims(screen: &Screen, lamp: &Lamp, paper: &Sheet) -> Option<Aims> {
    let white = lamp.white.or(screen.white).unwrap_or(White::D50);
    let uv = white.uv()?;
    let [l, a, b] = paper.white.lab();
    let lit = PaperUnderLamp::new(&PaperWhite::Lab { l, a, b }).ok()?.under(uv, UvSpread::default()).ok()?;
    let for_screen = screen.luminance.map(|luminance| (luminance * PI / lit.reflectance).round());
    let lx = lamp.illuminance.or(for_screen).unwrap_or(USUAL_LX).clamp(1.0, 200_000.0);
    let paper_luminance = lit.luminance(lx);
    let luminance = screen.luminance.unwrap_or_else(|| shown(paper_luminance.min(BRIGHTEST)));
    let at = screen.white.map_or(Some(lit.uv), White::uv)?;
    Some(Aims {
        lamp: white,
        lamp_xy: xy(uv).ok()?,
        lx,
        screen_xy: xy(at).ok()?,
        luminance,
        paper_luminance,
        apart: delta_uv(at, lit.uv),
    })
}

/// A level with as many digits as anybody sets.
fn shown(level: f64) -> f64 {
    if level >= 20.0 { level.round() } else { ((level * 10.0).round() / 10.0).max(0.1) }
}

impl Aims {
    /// The luminance of screen by paper, where two levels were meant that are not equal.
    fn ratio(&self) -> Option<f64> {
        let ratio = self.luminance / self.paper_luminance;
        ((ratio - 1.0).abs() > ON_PURPOSE).then(|| (ratio * 1000.0).round() / 1000.0)
    }

    fn rule(&self) -> String {
        match self.ratio() {
            None => noted("luminance = \"equal\"", "screen and paper should be equally bright"),
            Some(ratio) if (0.01..=100.0).contains(&ratio) => noted(
                &format!("luminance = {{ display_to_paper = {ratio} }}"),
                "as you named both levels; or \"equal\"",
            ),
            Some(_) => noted("luminance = \"not-judged\"", "the levels that you named are far apart"),
        }
    }

    /// What the answers do to the match, where somebody should think of it.
    pub fn doubts(&self) -> Vec<String> {
        let mut doubts = Vec::new();
        if self.apart > HALF_THE_TOLERANCE {
            doubts.push(format!(
                "The screen's white lies {:.4} in u′v′ from the paper under this lamp, of 0.005 that are tolerated. Without a white the \
                 screen aims at the paper.",
                self.apart
            ));
        }
        if let Some(ratio) = self.ratio() {
            doubts.push(format!(
                "At {} lx the paper has {} cd/m², so the screen at {} cd/m² is meant to be {ratio} times as bright. To have both equal, leave \
                 one level out.",
                self.lx,
                shown(self.paper_luminance),
                self.luminance
            ));
        }
        doubts
    }
}

impl Watch {
    /// The text of the configuration.
    pub fn text(&self, aims: &Aims) -> String {
        let Self { name, zone, screen, lamp, paper, folder } = self;
        let kind = match lamp.kind {
            LampKind::Led => "led",
            LampKind::Fluorescent => "fluorescent",
            LampKind::Halogen => "halogen",
            LampKind::Other => "other",
        };
        let white = screen.white.map_or_else(|| "\"paper\"".to_owned(), White::written);
        let level = if screen.white.is_some() || screen.luminance.is_some() {
            format!(", luminance_cd_m2 = {}", aims.luminance)
        } else {
            String::new()
        };
        let [l, a, b] = paper.white.lab();
        let origin = match paper.white {
            SheetWhite::Read { .. } => {
                "# CIELAB of the unprinted sheet, D50, 2 degree observer, as you gave it.".to_owned()
            }
            SheetWhite::Typical(finish) => format!(
                "# Typical, not yours: {} paper as ISO 12647-2:2004 describes it (white backing, D50, 2 degree\n\
                 # observer). Read your own and write its numbers here.",
                finish.word()
            ),
        };
        format!(
            r#"# twinwhite: one screen, one lamp, one paper. Lines that begin with # are comments.
# After a change, `twinwhite check` says whether it is sound.

[site]
name = {name}
{zone}

[paths]                             # relative to this file
{folder}
state = "state"                     # the ledger; keep it on a disk of this computer

# The screen. White "paper" follows the paper under the lamp, which is what a print is compared with; or write "D50", "D55",
# "D65", {{ x = 0.3435, y = 0.3550 }} or {{ cct_k = 5800, duv = 0.003 }}, with luminance_cd_m2.
[[display]]
id = "{screen}"
aim = {{ white = {white}{level} }}
warm_up_min = 30                    # readings before that count for less

# The lamp. Do not look into it; what is wired to the mains is for qualified people.
[[lamp]]
id = "{lamp}"
{kind}
{lamp_aim}
# A lamp with a dimmer should say so here (take the first # away). Unless it does, what only needs turning up is to be cleaned or replaced.
# adjustable = ["level"]            # it has a dimmer; ["level", "cct"]: a colour dial too
# rated_hours = 25000

{origin}
[[paper]]
id = "{paper}"
white = {{ L = {l}, a = {a}, b = {b} }}

# Where screen, lamp and paper meet.
[[station]]
id = "desk"
display = "{screen}"
lamp = "{lamp}"
paper = "{paper}"
tolerance = {{ delta_uv = 0.005, luminance_ratio = 1.2 }}
{rule}
max_risk = 0.2                      # speak up when the match is out with a probability above 20 %
horizon_days = 14                   # at any time within the next two weeks
max_age_days = 45                   # no reading for longer than this: the match is unknown

# [[reminder]]                      # take the marks away to be reminded each Monday at 9:00
# task = "read"
# device = "{lamp}"
# cron = "0 9 * * Mon"
"#,
            name = quoted(name),
            zone = noted(
                &format!("timezone = \"{}\"", zone.name()),
                "times without an offset in your files are in this zone"
            ),
            folder = noted(
                &format!("inbox = {}", quoted(folder)),
                "drop readings here; archive and quarantine appear beside it"
            ),
            kind = noted(
                &format!("kind = \"{kind}\""),
                "led, fluorescent, halogen or other: how a lamp ages depends on it"
            ),
            screen = screen.id,
            lamp = lamp.id,
            lamp_aim = noted(
                &format!("aim = {{ white = {}, illuminance_lx = {} }}", aims.lamp.written(), aims.lx),
                "illuminance at the print"
            ),
            paper = paper.id,
            rule = aims.rule(),
        )
    }

    /// The first commands, with `call` before each; the numbers are those of the aims.
    pub fn commands(&self, aims: &Aims, call: &str) -> String {
        let Aims { screen_xy: s, lamp_xy: l, .. } = aims;
        format!(
            "{call} add {} x={:.4} y={:.4} luminance_cd_m2={}\n{call} add {} x={:.4} y={:.4} illuminance_lx={}\n{call} status\n",
            self.screen.id, s.x, s.y, aims.luminance, self.lamp.id, l.x, l.y, aims.lx
        )
    }
}

/// A line with a comment where the other comments stand.
fn noted(line: &str, comment: &str) -> String {
    format!("{line:<35} # {comment}")
}

/// A text of TOML.
fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use proptest::prelude::*;

    use super::super::answers;
    use super::*;
    use crate::config::Config;

    fn watch(answers: [&str; 4], name: &str) -> Option<(Watch, Aims)> {
        let screen = answers::screen(answers[0]).ok()?;
        let (lamp, paper) = (answers::lamp(answers[1]).ok()?, answers::paper(answers[2]).ok()?);
        let folder = answers::folder(answers[3]).ok()?;
        let (lamp, paper) = answers::told_apart(&screen, lamp, paper);
        let aims = aims(&screen, &lamp, &paper).expect("aims for whatever is understood");
        let zone = LocalZone::named("Europe/Lisbon").unwrap();
        Some((Watch { name: name.to_owned(), zone, screen, lamp, paper, folder }, aims))
    }

    #[test]
    fn the_default_reads_well() {
        let (watch, aims) = watch(["", "", "", ""], "Harbour loft").unwrap();
        insta::assert_snapshot!(watch.text(&aims) + "\n" + &watch.commands(&aims, "twinwhite"));
        assert_eq!(aims.doubts(), Vec::<String>::new());
    }

    #[test]
    fn levels_and_whites_that_do_not_meet_are_said() {
        let (watch, aims) = watch(["A, D65, 100 cd/m2", "B, D50, 500 lx", "Rag, 96.8 0.6 -1.9", "in"], "x").unwrap();
        insta::assert_snapshot!(aims.doubts().join("\n") + "\n" + &watch.text(&aims));
        // A lamp that was not described goes with the screen.
        let (_, aims) = super::tests::watch(["A, D65, 100 cd/m2", "B", "", ""], "x").unwrap();
        assert_eq!((aims.lamp, aims.lx), (White::D65, 368.0));
    }

    fn answer() -> impl Strategy<Value = String> {
        let words = prop::sample::select(vec![
            "Desk",
            "desk-lamp",
            "D50",
            "d65",
            "5800 K",
            "2000K",
            "15000 K",
            "3900 kelvin",
            "120 cd/m2",
            "1 cd/m2",
            "10000 nits",
            "500 lx",
            "1lx",
            "200000 lux",
            "led",
            "tube",
            "matte",
            "glossy",
            "cream",
            "96.8",
            "0.6",
            "-1.9",
            "50",
            "100",
            "30",
            "-30",
            "L=",
            "a",
            "b*",
            "'",
            "\"",
            "\\",
            "#",
            "]",
            "ü",
            "画",
            "\u{7f}",
            "\u{202e}",
            "../x",
            "/",
            "C:\\prints",
            "2",
            "7e9",
            "1,5",
            "1,200",
            "−3",
            "",
        ]);
        prop_oneof![
            3 => (prop::collection::vec(words, 0..7), prop::sample::select(vec![" ", ", ", ",", "; "]))
                .prop_map(|(words, by)| words.join(by)),
            1 => "\\PC{0,40}",
            1 => any::<String>(),
        ]
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(2000))]

        #[test]
        fn whatever_is_understood_makes_a_sound_configuration(
            screen in answer(), lamp in answer(), paper in answer(), folder in answer(), name in "[A-Za-z]\\PC{0,30}",
        ) {
            // Each answer also on its own, so that one that is not understood does not hide the others.
            for answers in [
                [screen.as_str(), lamp.as_str(), paper.as_str(), "inbox"],
                [&screen, "", "", ""], ["", &lamp, "", ""], ["", "", &paper, ""], [&screen, &lamp, "", ""], ["", "", "", &folder],
            ] {
                let Some((watch, aims)) = watch(answers, &name) else { continue };
                let text = watch.text(&aims);
                match Config::parse(&text, "twinwhite.toml", Path::new("/site")) {
                    Ok(config) => prop_assert_eq!(config.things.stations.len(), 1),
                    // Whether folders lie apart is the configuration's to say, and `init` asks again.
                    Err(mistakes) => prop_assert!(
                        answers[3] == folder && mistakes.list.iter().all(|mistake| mistake.expected.contains("folder")),
                        "{answers:?}: {mistakes}\n{text}"
                    ),
                }
            }
        }
    }
}
