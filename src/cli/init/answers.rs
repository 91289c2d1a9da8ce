//! What people answer to `init`, as they would say it: a name first, then what is known of white, level, kind. Pure.
//!
//! An answer is words, with commas or without. The name is what stands before the first word that is a white, a level or a
//! number with a unit. A comma within a number is a decimal one, or sets thousands apart.

#[cfg(test)]
mod tests;

use std::fmt;

use crate::color::{PaperUnderLamp, daylight, uv_prime};
use crate::config::id_from;
use crate::site::{LampKind, PaperWhite};
use crate::units::{DeviceId, Kelvin};

/// No answer is longer, in characters.
const LONGEST: usize = 200;
/// A number without a unit up to here is a level; above, it may be a colour temperature as well.
const SURELY_A_LEVEL: f64 = 2500.0;

/// An aim's white.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub enum White {
    D50,
    D55,
    D65,
    /// A colour temperature in K, 2000 to 15 000: of daylight from 4000 on, else of a black body.
    Kelvin(f64),
}

/// The screen.
#[derive(Debug, Clone, PartialEq)]
pub struct Screen {
    /// Its id.
    pub id: DeviceId,
    /// Its aim; the paper's white where none was said.
    pub white: Option<White>,
    /// Its aim in cd/m²; as bright as the paper where none was said.
    pub luminance: Option<f64>,
}

/// The lamp.
#[derive(Debug, Clone, PartialEq)]
pub struct Lamp {
    /// Its id.
    pub id: DeviceId,
    /// Its aim; the screen's where none was said.
    pub white: Option<White>,
    /// Its aim in lx, at the print; what goes with the screen where none was said.
    pub illuminance: Option<f64>,
    /// How it makes light.
    pub kind: LampKind,
}

/// The paper.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet {
    /// Its id.
    pub id: DeviceId,
    /// Its white.
    pub white: SheetWhite,
}

/// The white of a paper.
#[derive(Debug, Clone, Copy, PartialEq)]
#[allow(missing_docs)]
pub enum SheetWhite {
    /// CIELAB, D50, 2° observer, as somebody read it.
    Read {
        l: f64,
        a: f64,
        b: f64,
    },
    Typical(Finish),
}

/// Kinds of paper with a typical white.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Finish {
    Glossy,
    Matte,
    Uncoated,
    Cream,
}

/// An answer that is not understood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Puzzled {
    /// What of it is not.
    pub found: String,
    /// What was expected, with an example.
    pub expected: &'static str,
}

impl fmt::Display for Puzzled {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}; expected {}", self.found, self.expected)
    }
}

const OF_SCREEN: &str = "a name, then if you like a white (D50, D55, D65 or kelvin such as 5800 K) and a level in cd/m2, as in: \
                         Desk screen, D65, 120 cd/m2";
const OF_LAMP: &str = "a name, then if you like a white (D50, D55, D65 or kelvin such as 5800 K), a level in lx at the print, and led, \
                       fluorescent, halogen or other, as in: Desk lamp, D50, 500 lx, led";
const OF_PAPER: &str = "a name, then if you like matte, glossy, uncoated or cream, or its L a b under D50, as in: Rag matte, 96.8 0.6 -1.9";
const OF_FOLDER: &str = "a folder of its own, as in: inbox";

/// Understands what was said of the screen. Nothing at all is the default.
pub fn screen(answer: &str) -> Result<Screen, Puzzled> {
    let said = Said::of(answer, "cd/m2", OF_SCREEN)?;
    if said.lab.is_some() || said.kind.is_some_and(|named| !named.in_name) {
        return Err(puzzled("that is not of a screen", OF_SCREEN));
    }
    Ok(Screen { id: said.id("desk-screen", OF_SCREEN)?, white: said.white, luminance: said.level })
}

/// Understands what was said of the lamp.
pub fn lamp(answer: &str) -> Result<Lamp, Puzzled> {
    let said = Said::of(answer, "lx", OF_LAMP)?;
    let unsaid = if answer.trim().is_empty() { LampKind::Led } else { LampKind::Other };
    Ok(Lamp {
        id: said.id("desk-lamp", OF_LAMP)?,
        white: said.white,
        illuminance: said.level,
        kind: said.kind.map_or(unsaid, |named| named.kind),
    })
}

/// Understands what was said of the paper.
pub fn paper(answer: &str) -> Result<Sheet, Puzzled> {
    let said = Said::of(answer, "", OF_PAPER)?;
    let white = match said.lab {
        Some([l, a, b]) => {
            let known = PaperUnderLamp::new(&PaperWhite::Lab { l, a, b });
            if !(50.0..=100.0).contains(&l) || a.abs() > 30.0 || b.abs() > 30.0 || known.is_err() {
                return Err(puzzled(&format!("L a b of {l} {a} {b} is no unprinted paper"), OF_PAPER));
            }
            SheetWhite::Read { l, a, b }
        }
        None => SheetWhite::Typical(said.finish.unwrap_or(Finish::Matte)),
    };
    Ok(Sheet { id: said.id("matte", OF_PAPER)?, white })
}

/// Understands the folder; whether it can be one beside the others, the configuration says.
pub fn folder(answer: &str) -> Result<String, Puzzled> {
    let text = answer.trim().trim_matches(['"', '\'']);
    let text = if text.len() > 1 { text.trim_end_matches(['/', '\\']) } else { text };
    let last = text.rsplit(['/', '\\']).next().unwrap_or_default().to_lowercase();
    if text.chars().count() > LONGEST || text.chars().any(char::is_control) {
        Err(puzzled("that is no folder's name", OF_FOLDER))
    } else if ["archive", "quarantine", "state"].contains(&last.as_str()) {
        Err(puzzled(&format!("{last} is kept for the program's own"), OF_FOLDER))
    } else if text.starts_with('~') {
        Err(puzzled("~ is not understood here: write the whole path", OF_FOLDER))
    } else {
        Ok(if text.is_empty() { "inbox" } else { text }.to_owned())
    }
}

/// The same things with ids of their own: what comes later gives way.
pub fn told_apart(screen: &Screen, mut lamp: Lamp, mut paper: Sheet) -> (Lamp, Sheet) {
    lamp.id = apart(lamp.id, "lamp", &[&screen.id]);
    paper.id = apart(paper.id, "paper", &[&screen.id, &lamp.id]);
    (lamp, paper)
}

fn apart(id: DeviceId, what: &str, others: &[&DeviceId]) -> DeviceId {
    if !others.contains(&&id) {
        return id;
    }
    let stem: String = id.as_str().chars().take(54).collect();
    let names = std::iter::once(format!("{stem}-{what}")).chain((2..9).map(|n| format!("{stem}-{what}-{n}")));
    names.filter_map(|name| DeviceId::new(&name).ok()).find(|id| !others.contains(&id)).unwrap_or(id)
}

fn puzzled(found: &str, expected: &'static str) -> Puzzled {
    Puzzled { found: found.chars().take(120).collect(), expected }
}

impl White {
    fn of(word: &str) -> Option<Self> {
        match word.to_lowercase().as_str() {
            "d50" => Some(Self::D50),
            "d55" => Some(Self::D55),
            "d65" => Some(Self::D65),
            _ => None,
        }
    }

    /// As the configuration writes it.
    pub fn written(self) -> String {
        match self {
            Self::D50 => "\"D50\"".to_owned(),
            Self::D55 => "\"D55\"".to_owned(),
            Self::D65 => "\"D65\"".to_owned(),
            Self::Kelvin(k) => format!("{{ cct_k = {k}, duv = {} }}", duv_of(k)),
        }
    }
}

impl fmt::Display for White {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::D50 => f.write_str("D50"),
            Self::D55 => f.write_str("D55"),
            Self::D65 => f.write_str("D65"),
            Self::Kelvin(k) => write!(f, "{k} K"),
        }
    }
}

/// The tint of CIE daylight of `k` kelvin, to four digits; below 4000 K of a black body, which is 0.
pub fn duv_of(k: f64) -> f64 {
    let at = Kelvin::new(k).ok().and_then(daylight).and_then(|at| uv_prime(at).ok());
    let duv = at.and_then(|at| crate::color::cct_duv(at).ok()).map_or(0.0, |found| found.duv.get());
    (duv * 1e4).round() / 1e4
}

/// A kind of lamp and whether it was part of the name.
#[derive(Debug, Clone, Copy)]
struct NamedKind {
    kind: LampKind,
    in_name: bool,
}

/// What an answer holds.
#[derive(Debug, Default)]
struct Said {
    name: String,
    white: Option<White>,
    level: Option<f64>,
    kind: Option<NamedKind>,
    finish: Option<Finish>,
    lab: Option<[f64; 3]>,
}

/// One word; `first` in those before the first comma.
struct Word {
    text: String,
    first: bool,
}

impl Said {
    /// Takes an answer apart. `unit` is that of the thing's level; a paper has none, its numbers are L, a, b.
    fn of(answer: &str, unit: &'static str, expected: &'static str) -> Result<Self, Puzzled> {
        if answer.chars().count() > LONGEST {
            return Err(puzzled("that is very long", expected));
        }
        let words = words(answer);
        let mut said = Self::default();
        let mut numbers: Vec<f64> = Vec::new();
        let mut name: Vec<&str> = Vec::new();
        let mut naming = true;
        let mut rest = words.iter().peekable();
        while let Some(word) = rest.next() {
            let text = word.text.as_str();
            naming &= word.first;
            if let Some(white) = White::of(text).filter(|_| !unit.is_empty()) {
                naming = false;
                once(&mut said.white, white, "two whites", expected)?;
                continue;
            }
            if let Some((number, glued)) = number(text) {
                let own = Unit::of(glued);
                let next = rest.peek().and_then(|next| Unit::of(&next.text)).filter(|_| glued.is_empty());
                let paper = unit.is_empty() && glued.is_empty();
                let bare = glued.is_empty() && next.is_none();
                // A number in a name, as in "Screen 2"; of a paper the three that end the answer.
                let in_name = if paper {
                    naming && !numbers_only(text, rest.clone())
                } else {
                    naming && (bare || own.is_none() && next.is_none())
                };
                if in_name {
                    name.push(text);
                    continue;
                }
                naming = false;
                if paper {
                    numbers.push(number);
                    continue;
                }
                if next.is_some() {
                    rest.next();
                }
                said.take(number, own.or(next).filter(|_| !bare), bare, unit, expected)?;
                continue;
            }
            let (kind, finish) = (kind_of(text), finish_of(text));
            if naming {
                name.push(text);
            }
            match (kind, finish) {
                (Some(kind), _) if unit == "lx" || naming => said.kind = Some(NamedKind { kind, in_name: naming }),
                (_, Some(finish)) if unit.is_empty() => said.finish = Some(finish),
                _ if naming || is_filler(text, unit) => {}
                _ => return Err(puzzled(&format!("'{text}' is not understood"), expected)),
            }
        }
        said.lab = match numbers.as_slice() {
            [] => None,
            [l, a, b] => Some([*l, *a, *b]),
            more => return Err(puzzled(&format!("L a b are three numbers, and these are {}", more.len()), expected)),
        };
        said.name = name.join(" ");
        Ok(said)
    }

    /// A number with its unit, or without: then a small one is a level.
    fn take(
        &mut self,
        number: f64,
        found: Option<Unit>,
        bare: bool,
        unit: &'static str,
        expected: &'static str,
    ) -> Result<(), Puzzled> {
        let (lowest, highest) = if unit == "lx" { (1.0, 200_000.0) } else { (1.0, 10_000.0) };
        match found {
            Some(Unit::Kelvin) if (2000.0..=15_000.0).contains(&number) => {
                once(&mut self.white, White::Kelvin(number), "two whites", expected)
            }
            Some(Unit::Kelvin) => Err(puzzled(&format!("{number} K is no white from 2000 to 15000 K"), expected)),
            Some(level) if level.is(unit) && (lowest..=highest).contains(&number) => {
                once(&mut self.level, number, "two levels", expected)
            }
            Some(level) if level.is(unit) => {
                Err(puzzled(&format!("{number} {unit} is no level from {lowest} to {highest} {unit}"), expected))
            }
            None if bare && (10.0..=SURELY_A_LEVEL).contains(&number) => {
                once(&mut self.level, number, "two levels", expected)
            }
            Some(_) => Err(puzzled(&format!("a level is in {unit} here"), expected)),
            None => Err(puzzled(&format!("{number} lacks its unit, which is K or {unit}"), expected)),
        }
    }

    fn id(&self, default: &str, expected: &'static str) -> Result<DeviceId, Puzzled> {
        // A name without a letter of ASCII makes no id; the default stands in and is said back.
        let made = id_from(&self.name).unwrap_or_else(|| default.to_owned());
        DeviceId::new(&made).map_err(|_| puzzled(&format!("no id can be made of '{}'", self.name), expected))
    }
}

fn once<T>(place: &mut Option<T>, value: T, twice: &str, expected: &'static str) -> Result<(), Puzzled> {
    match place.replace(value) {
        None => Ok(()),
        Some(_) => Err(puzzled(twice, expected)),
    }
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Unit {
    Kelvin,
    Luminance,
    Illuminance,
}

impl Unit {
    fn of(text: &str) -> Option<Self> {
        match text.to_lowercase().as_str() {
            "k" | "kelvin" => Some(Self::Kelvin),
            "cd/m2" | "cd/m²" | "cd/m^2" | "cd/qm" | "cd" | "nit" | "nits" => Some(Self::Luminance),
            "lx" | "lux" => Some(Self::Illuminance),
            _ => None,
        }
    }

    fn is(self, unit: &str) -> bool {
        matches!((self, unit), (Self::Luminance, "cd/m2") | (Self::Illuminance, "lx"))
    }
}

fn kind_of(word: &str) -> Option<LampKind> {
    match word.to_lowercase().as_str() {
        "led" | "leds" => Some(LampKind::Led),
        "fluorescent" | "tube" | "tubes" => Some(LampKind::Fluorescent),
        "halogen" | "tungsten" => Some(LampKind::Halogen),
        "other" => Some(LampKind::Other),
        _ => None,
    }
}

fn finish_of(word: &str) -> Option<Finish> {
    match word.to_lowercase().as_str() {
        "matte" | "matt" | "mat" => Some(Finish::Matte),
        "glossy" | "gloss" | "semigloss" | "semi-gloss" | "satin" | "pearl" | "lustre" | "luster" => {
            Some(Finish::Glossy)
        }
        "uncoated" | "plain" => Some(Finish::Uncoated),
        "cream" | "ivory" | "yellowish" => Some(Finish::Cream),
        _ => None,
    }
}

/// Words that join others.
fn is_filler(word: &str, unit: &str) -> bool {
    let word = word.to_lowercase();
    ["and", "at", "with", "about", "white", "lamp", "-"].contains(&word.as_str())
        || (unit == "cd/m2" && ["paper", "screen"].contains(&word.as_str()))
        || (unit.is_empty() && ["l", "a", "b", "l*", "a*", "b*", "lab", "paper", "d50"].contains(&word.as_str()))
}

/// A finite number at the beginning of a word, and what follows it.
fn number(word: &str) -> Option<(f64, &str)> {
    let sign = word.find(|c: char| !matches!(c, '-' | '+' | '−')).unwrap_or(0);
    let end = word.char_indices().find(|(at, c)| *at >= sign && !c.is_ascii_digit() && *c != '.').map(|(at, _)| at);
    let (digits, rest) = word.split_at(end.unwrap_or(word.len()));
    let value: f64 = digits.replace('−', "-").parse().ok()?;
    value.is_finite().then_some((value, rest))
}

/// Whether `word` and all that follow are the three numbers L a b.
fn numbers_only<'w>(word: &str, rest: impl Iterator<Item = &'w Word>) -> bool {
    let plain = |text: &str| number(text).is_some_and(|(_, rest)| rest.is_empty());
    let all: Vec<&str> = rest.map(|word| word.text.as_str()).filter(|text| !is_filler(text, "")).collect();
    plain(word) && all.len() == 2 && all.into_iter().all(plain)
}

/// The words of an answer. Commas part them, except within a number; `=` and `:` are blanks.
fn words(answer: &str) -> Vec<Word> {
    let mut words = Vec::new();
    let (mut first, mut word) = (true, String::new());
    let chars: Vec<char> = answer.chars().collect();
    let mut push = |word: &mut String, first: bool| {
        if !word.is_empty() {
            words.push(Word { text: std::mem::take(word), first });
        }
    };
    for (at, c) in chars.iter().enumerate() {
        match c {
            ',' => match within_number(&word, chars.get(at + 1..).unwrap_or_default()) {
                Some(instead) => word.push_str(instead),
                None => {
                    push(&mut word, first);
                    first = false;
                }
            },
            ';' => {
                push(&mut word, first);
                first = false;
            }
            c if c.is_whitespace() || c.is_control() || matches!(c, '=' | ':') => push(&mut word, first),
            c => word.push(*c),
        }
    }
    push(&mut word, first);
    words
}

/// What a comma after `word` and before `rest` means within a number, if it stands in one.
fn within_number(word: &str, rest: &[char]) -> Option<&'static str> {
    number(word).filter(|(_, rest)| rest.is_empty() && !word.contains('.'))?;
    match rest.iter().take_while(|c| c.is_ascii_digit()).count() {
        1 | 2 => Some("."),
        3 => Some(""),
        _ => None,
    }
}
