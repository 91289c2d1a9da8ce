//! What must agree between the tables of a file: ids that are one's own, references to what is there, aims that follow
//! a paper.

use super::settings::{ID, id_from};
use super::things::Tables;
use super::walk::{Entry, Table};
use super::words::{list, nearest, quoted};
use crate::reading::ThingKind;
use crate::site::{AimWhite, Display, Station};
use crate::units::DeviceId;

/// The ids of a file, gathered before anything refers to them; also of things that have some other mistake.
pub(super) struct Declared {
    things: Vec<(String, ThingKind, usize)>,
    /// Kinds of which some thing has no readable id, so that what seems undeclared may be that one.
    nameless: Vec<ThingKind>,
}

impl Declared {
    /// Gathers the ids and notes those that are missing, badly formed or taken.
    pub(super) fn of(root: &Table<'_>, tables: &Tables<'_>) -> Self {
        let kinds = [
            (ThingKind::Display, &tables.displays),
            (ThingKind::Lamp, &tables.lamps),
            (ThingKind::Paper, &tables.papers),
            (ThingKind::Instrument, &tables.instruments),
        ];
        let mut things: Vec<(String, ThingKind, usize)> = Vec::new();
        let mut nameless = Vec::new();
        for (kind, tables) in kinds {
            for table in tables {
                match id_of(table) {
                    Some((entry, id)) => things.push((id.to_owned(), kind, entry.line())),
                    None => nameless.push(kind),
                }
            }
            if root.get(kind.word()).is_some_and(|entry| !entry.is_list()) {
                nameless.push(kind);
            }
        }
        // Which of two is the second is a matter of lines, not of kinds.
        for (kind, tables) in kinds {
            for table in tables {
                let Some(entry) = table.get("id") else { continue };
                let (Some(id), line) = (entry.as_text(), entry.line()) else { continue };
                let earlier = things.iter().filter(|(other, _, at)| other == id && *at < line).min_by_key(|t| t.2);
                if let Some((_, other, at)) = earlier {
                    let found = format!("\"{id}\", already the id of {} on line {at}", a(*other));
                    let expected = format!("an id of its own for the {}", kind.word());
                    let hint = "displays, lamps, papers and instruments share one list of ids";
                    entry.note(found, &expected, Some(hint.to_owned()));
                }
            }
        }
        unique(&tables.stations, "station");
        unique(&tables.operators, "operator");
        Self { things, nameless }
    }

    /// The id that `entry` refers to, which must be declared and of one of the `fitting` kinds.
    pub(super) fn refer<'a>(&self, entry: &Entry<'a>, fitting: &[ThingKind]) -> Option<&'a str> {
        let expected = Self::expected(fitting);
        let id = entry.text(&expected)?;
        let of_kind: Vec<&str> =
            self.things.iter().filter(|(_, kind, _)| fitting.contains(kind)).map(|(id, ..)| id.as_str()).collect();
        let words: Vec<&str> = fitting.iter().map(|kind| kind.word()).collect();
        let choice = || match of_kind.as_slice() {
            [] => format!("the file declares no {}", list(&words, "or")),
            [only] => format!("the file has \"{only}\""),
            few if few.len() <= 8 => format!("the file has {}", quoted(few, "and")),
            many => format!("the file has {} of them", many.len()),
        };
        match self.things.iter().find(|(other, ..)| other == id) {
            Some((_, kind, _)) if fitting.contains(kind) => Some(id),
            Some((_, kind, line)) => {
                let found = format!("\"{id}\", which is {} (line {line})", a(*kind));
                entry.note(found, &expected, Some(choice()));
                None
            }
            None if fitting.iter().any(|kind| self.nameless.contains(kind)) => None,
            None => {
                let near = nearest(id, of_kind.iter().copied()).map(|near| format!("did you mean \"{near}\"?"));
                let found =
                    format!("\"{id}\", which is nowhere declared", id = id.chars().take(80).collect::<String>());
                entry.note(found, &expected, Some(near.unwrap_or_else(choice)));
                None
            }
        }
    }

    /// What a reference to the `fitting` kinds should be.
    pub(super) fn expected(fitting: &[ThingKind]) -> String {
        let words: Vec<&str> = fitting.iter().map(|kind| a(*kind)).collect();
        format!("the id of {}", list(&words, "or"))
    }
}

fn a(kind: ThingKind) -> &'static str {
    match kind {
        ThingKind::Display => "a display",
        ThingKind::Lamp => "a lamp",
        ThingKind::Paper => "a paper",
        ThingKind::Instrument => "an instrument",
    }
}

/// The id of a table, well formed; notes it if not.
pub(super) fn id_of<'a>(table: &Table<'a>) -> Option<(Entry<'a>, &'a str)> {
    let entry = table.need("id", ID)?;
    let id = entry.text(ID)?;
    if DeviceId::new(id).is_err() {
        entry.mistake(ID, id_from(id).map(|near| format!("for example \"{near}\"")));
        return None;
    }
    Some((entry, id))
}

/// Notes ids of a kind that stand twice, or are missing or badly formed.
fn unique(tables: &[Table<'_>], kind: &str) {
    let mut seen: Vec<(&str, usize)> = Vec::new();
    for table in tables {
        let Some((entry, id)) = id_of(table) else { continue };
        if let Some((_, line)) = seen.iter().find(|(other, _)| *other == id) {
            let article = if kind == "operator" { "an" } else { "a" };
            let found = format!("\"{id}\", already the id of {article} {kind} on line {line}");
            entry.note(found, &format!("an id of its own for each {kind}"), None);
        }
        seen.push((id, entry.line()));
    }
}

/// Notes displays that aim at a paper but cannot know at which, or how bright.
pub(super) fn paper_aims(displays: &[(Display, Entry<'_>)], stations: &[Station]) {
    for (display, white) in displays.iter().filter(|(display, _)| display.aim.white == AimWhite::Paper) {
        let mut here = stations.iter().filter(|station| station.display == display.id);
        let Some(first) = here.next() else {
            let hint = "name this display in a [[station]], or give it a white of its own, like \"D50\"";
            white.note(
                "\"paper\" for a display of no station",
                "the white of a station's paper",
                Some(hint.to_owned()),
            );
            continue;
        };
        for other in here {
            let both = format!("{} and {}", first.id, other.id);
            if other.lamp != first.lamp || other.papers.first() != first.papers.first() {
                let what = if other.lamp == first.lamp { "papers" } else { "lamps" };
                let found = format!("\"paper\" for a display of the stations {both}, which have different {what}");
                let hint =
                    "a display has one white: give it a fixed one, or its stations the same lamp and first paper";
                white.note(found, "one lamp and one first paper over all its stations", Some(hint.to_owned()));
                break;
            }
            if other.luminance != first.luminance && display.aim.luminance.is_none() {
                let found = format!("\"paper\" for the stations {both}, which want different luminances");
                let hint = "add luminance_cd_m2 to the aim, or give the stations the same luminance rule";
                white.note(found, "one luminance for the display", Some(hint.to_owned()));
                break;
            }
        }
    }
}
