//! Rule sets: those that come with the program, and a user's own `[[rules]]`, in one syntax. What they mean is in
//! `crate::rules`.
//!
//! The built-in ones are the files of `config/rules/`, compiled in. A `[[rules]]` table with the id of one of them takes
//! its place whole.

use toml::de::DeTable;

use super::checks::id_of;
use super::walk::{Entry, Notes, Table};
use super::words::{nearest, quoted};
use crate::rules::{Form, Limit, Origin, Quantity, Rule, RuleSet};
use crate::units::UvPrime;

/// The sets that come with the program: id and text.
const BUILT_IN: [(&str, &str); 4] = [
    ("iso-3664-critical", include_str!("../../config/rules/iso-3664-critical.toml")),
    ("iso-3664-practical", include_str!("../../config/rules/iso-3664-practical.toml")),
    ("iso-12646-beside-print", include_str!("../../config/rules/iso-12646-beside-print.toml")),
    ("d65-studio", include_str!("../../config/rules/d65-studio.toml")),
];

/// What a point that names no source of its own rests on.
const OWN: &str = "the site's own configuration";

/// The rule sets that come with the program.
pub fn built_in_rules() -> Vec<RuleSet> {
    BUILT_IN.iter().filter_map(|(_, text)| built_in(text)).collect()
}

fn built_in(text: &str) -> Option<RuleSet> {
    let notes = Notes::new(text);
    let document = DeTable::parse(text).ok()?;
    let set = rule_set(&Table::root(&notes, document.get_ref()));
    set.filter(|_| notes.into_mistakes().is_empty())
}

/// The sets that a station of the file can name.
pub(super) struct RuleSets {
    /// The file's own; `None` where the set has a mistake, which was noted.
    own: Vec<(String, Option<RuleSet>)>,
    /// Whether some own set has no readable id, so that what seems undefined may be that one.
    nameless: bool,
}

impl RuleSets {
    /// Every `[[rules]]`.
    pub(super) fn of(root: &Table<'_>) -> Self {
        let mut own: Vec<(String, Option<RuleSet>)> = Vec::new();
        let mut lines: Vec<(String, usize)> = Vec::new();
        let mut nameless = root.get("rules").is_some_and(|entry| !entry.is_list());
        for table in root.sections("rules") {
            let set = rule_set(&table);
            let Some((entry, id)) = table.get("id").and_then(|entry| entry.as_text().map(|id| (entry.clone(), id)))
            else {
                nameless = true;
                continue;
            };
            if let Some((_, line)) = lines.iter().find(|(other, _)| other == id) {
                let found = format!("\"{id}\", already the id of rules on line {line}");
                entry.note(found, "an id of its own for each set of rules", None);
            }
            lines.push((id.to_owned(), entry.line()));
            own.push((id.to_owned(), set));
        }
        Self { own, nameless }
    }

    /// The sets a station names under `rules`; an entry that names none is noted.
    pub(super) fn named_by(&self, station: &Table<'_>) -> Vec<RuleSet> {
        let Some(entry) = station.get("rules") else { return Vec::new() };
        let expected = "the name of a set of rules, or a list of such names";
        if entry.as_text().is_some() {
            return self.find(&entry, expected).into_iter().collect();
        }
        let mut sets: Vec<RuleSet> = Vec::new();
        for entry in entry.list(expected).unwrap_or_default() {
            match self.find(&entry, "the name of a set of rules") {
                Some(set) if sets.iter().any(|other| other.id == set.id) => {
                    entry.note(format!("\"{}\" a second time", set.id), "each set of rules once", None);
                }
                set => sets.extend(set),
            }
        }
        sets
    }

    fn find(&self, entry: &Entry<'_>, expected: &str) -> Option<RuleSet> {
        let name = entry.text(expected)?;
        if let Some((_, set)) = self.own.iter().find(|(id, _)| id == name) {
            return set.clone();
        }
        if let Some((_, text)) = BUILT_IN.iter().find(|(id, _)| *id == name) {
            return built_in(text);
        }
        if self.nameless {
            return None;
        }
        let mut known: Vec<&str> = self.own.iter().map(|(id, _)| id.as_str()).collect();
        known.extend(BUILT_IN.iter().map(|(id, _)| *id).filter(|id| self.own.iter().all(|(own, _)| own != id)));
        let near = nearest(name, known.iter().copied()).map(|near| format!("did you mean \"{near}\"?"));
        let found = format!("\"{}\", which is no set of rules", name.chars().take(80).collect::<String>());
        entry.note(found, expected, Some(near.unwrap_or_else(|| format!("there is {}", quoted(&known, "and")))));
        None
    }
}

/// One set, if it is whole; else its mistakes were noted.
fn rule_set(table: &Table<'_>) -> Option<RuleSet> {
    table.only(&["id", "title", "source", "edition", "point"]);
    let text = |key: &str, expected: &str| table.need(key, expected)?.text(expected).map(str::to_owned);
    let id = id_of(table).map(|(_, id)| id.to_owned());
    let title = text("title", "a name for people, like \"practical viewing of prints\"");
    let source = text("source", "the text that the rules follow, like \"ISO 3664\", or who set them");
    let edition = text("edition", "the edition or date of that text");
    let expected = "a table [[rules.point]] for each point";
    let written = table.need("point", expected).and_then(|entry| {
        let entries = entry.list(expected)?;
        if entries.is_empty() {
            entry.mistake(expected, None);
        }
        (!entries.is_empty()).then_some(entries)
    });
    let mut points: Vec<Rule> = Vec::new();
    let mut stand_ins = Vec::new();
    let mut whole = true;
    for entry in written.iter().flatten() {
        let Some((rule, stand_in)) = rule(entry) else {
            whole = false;
            continue;
        };
        if points.iter().any(|other| other.quantity == rule.quantity) {
            entry.note(format!("\"{}\" a second time", rule.quantity.word()), "each quantity once in a set", None);
        }
        stand_ins.extend(stand_in.zip(rule.stands_in_for));
        points.push(rule);
    }
    for (entry, quantity) in stand_ins.iter().filter(|_| whole) {
        if !points.iter().any(|point| point.quantity == *quantity && point.stands_in_for.is_none()) {
            entry.mistake("a quantity that has a point of its own in this set", None);
        }
    }
    let points = written.filter(|_| whole).map(|_| points)?;
    Some(RuleSet { id: id?, title: title?, source: source?, edition: edition?, points })
}

const RANGE: [&str; 4] = ["min", "max", "preferred_min", "preferred_max"];
const CIRCLE: [&str; 3] = ["centre", "radius", "preferred_radius"];
const RATIO: [&str; 2] = ["ratio", "preferred_ratio"];

/// One point, and where it says for what it stands in.
fn rule<'a>(entry: &Entry<'a>) -> Option<(Rule, Option<Entry<'a>>)> {
    let example = "a point like { quantity = \"illuminance\", min = 375, max = 625 }";
    let all: Vec<&str> =
        ["quantity", "stands_in_for", "origin", "source"].into_iter().chain(RANGE).chain(CIRCLE).chain(RATIO).collect();
    let table = entry.open(example)?;
    let quantity = table.get("quantity").and_then(|entry| entry.as_text()).and_then(Quantity::from_word);
    let limits: &[&str] = match quantity.map(Quantity::form) {
        Some(Form::Range) => &RANGE,
        Some(Form::Circle) => &CIRCLE,
        Some(Form::Ratio) => &RATIO,
        None => &all,
    };
    let known: Vec<&str> = all.iter().copied().take(4).chain(limits.iter().copied()).collect();
    table.only(&known);
    let quantity = table.need("quantity", "a quantity, like \"illuminance\" or \"ra\"")?.choice(Quantity::WORDS)?;
    let (limit, preferred) = match quantity.form() {
        Form::Range => range(&table),
        Form::Circle => circle(&table),
        Form::Ratio => ratio(&table),
    }?;
    let stands = table.get("stands_in_for");
    let stands_in_for = stands.as_ref().and_then(|entry| entry.choice(Quantity::WORDS));
    let origin = match table.get("origin") {
        Some(entry) => entry.choice(&Origin::WORDS)?,
        None => Origin::Practice,
    };
    let source = match table.get("source") {
        Some(entry) => entry.text("where the limit was seen")?.to_owned(),
        None => OWN.to_owned(),
    };
    Some((Rule { quantity, limit, preferred, stands_in_for, origin, source }, stands))
}

type Limits = Option<(Limit, Option<Limit>)>;

fn range(table: &Table<'_>) -> Limits {
    let number = |key: &str| match table.get(key) {
        Some(entry) => entry.number("a number", |_| true).map(Some),
        None => Some(None),
    };
    let (min, max) = (number("min")?, number("max")?);
    if min.is_none() && max.is_none() {
        table.missing("max", "a limit: min, max or both", None);
        return None;
    }
    if let (Some(low), Some(high)) = (min, max)
        && low > high
    {
        table.get("max")?.mistake("a max that is not below min", None);
        return None;
    }
    let (better_min, better_max) = (number("preferred_min")?, number("preferred_max")?);
    let preferred = (better_min.is_some() || better_max.is_some())
        .then(|| Limit::Range { min: better_min.or(min), max: better_max.or(max) });
    let limit = Limit::Range { min, max };
    for (key, value) in [("preferred_min", better_min), ("preferred_max", better_max)] {
        let tighter = |value: f64| limit.admits(value) && preferred.is_some_and(|preferred| preferred.admits(value));
        if let Some(value) = value.filter(|value| !tighter(*value)) {
            let found = format!("the number {value}, outside the limit itself");
            table.get(key)?.note(found, "a tighter limit than min and max", None);
            return None;
        }
    }
    Some((limit, preferred))
}

fn circle(table: &Table<'_>) -> Limits {
    let expected = "{ u_prime = 0.2102, v_prime = 0.4889 }";
    let centre = table.need("centre", expected).and_then(|entry| {
        if entry.open(expected)?.get("x").is_some() {
            let hint = "u' = 4x / (-2x + 12y + 3), v' = 9y / (-2x + 12y + 3)";
            entry.note("a centre in x, y", expected, Some(hint.to_owned()));
            return None;
        }
        let centre = entry.table(expected, &["u_prime", "v_prime"])?;
        let part = |key: &str| {
            let expected = "a coordinate u' or v' (CIE 1976) of a white, from 0.1 to 0.6";
            centre.need(key, expected)?.number(expected, |part| (0.1..=0.6).contains(&part))
        };
        let (u, v) = (part("u_prime"), part("v_prime"));
        Some(UvPrime { u: u?, v: v? })
    });
    let distance = "a distance in u', v', above 0, at most 0.1";
    let radius = table.need("radius", distance).and_then(|entry| entry.number(distance, |r| r > 0.0 && r <= 0.1));
    let (centre, radius) = (centre?, radius?);
    let circle = |radius| Limit::Circle { centre, radius };
    let Some(entry) = table.get("preferred_radius") else { return Some((circle(radius), None)) };
    let better = entry.number("a smaller radius", |better| better > 0.0 && better < radius)?;
    Some((circle(radius), Some(circle(better))))
}

fn ratio(table: &Table<'_>) -> Limits {
    let expected = "a ratio that counts either way, above 1, at most 10";
    let times = table.need("ratio", expected)?.number(expected, |ratio| ratio > 1.0 && ratio <= 10.0)?;
    let Some(entry) = table.get("preferred_ratio") else { return Some((Limit::Ratio { times }, None)) };
    let better = entry.number("a smaller ratio, above 1", |better| better > 1.0 && better < times)?;
    Some((Limit::Ratio { times }, Some(Limit::Ratio { times: better })))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_built_in_set_is_sound_and_cites_its_sources() {
        let sets = built_in_rules();
        assert_eq!(sets.len(), BUILT_IN.len(), "each file parses");
        for (set, (id, _)) in sets.iter().zip(BUILT_IN) {
            assert_eq!(set.id, id, "the id is the file's name");
            assert!(!set.edition.is_empty() && !set.source.is_empty());
            for point in &set.points {
                assert!(point.source != OWN && point.source.len() > 10, "{id}: {:?} cites nothing", point.quantity);
            }
        }
    }
}
