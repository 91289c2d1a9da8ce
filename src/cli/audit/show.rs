//! `audit show`: the entries of the ledger in words, narrowed by what they are about, who acted, and when.

use std::collections::HashSet;

use schemars::JsonSchema;
use serde::Serialize;
use serde_json::Value;

use crate::cli::args::Which;
use crate::cli::fail::{Failure, Kind};
use crate::cli::output;
use crate::cli::session::Session;
use crate::ledger::store::RawEntry;
use crate::ledger::{Body, Seq, Unsound};
use crate::say;
use crate::units::{OperatorId, Time};
use crate::zone::LocalZone;

/// Entries read at once.
const PART: u32 = 1000;

/// The entries that were asked for, in their order.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Shown {
    /// The entries.
    entries: Vec<EntryJson>,
}

/// One entry of the ledger.
#[derive(Debug, Serialize, JsonSchema)]
pub struct EntryJson {
    /// Its number.
    #[schemars(range(min = 1))]
    seq: i64,
    /// When it was written.
    time: Time,
    /// The word of its kind.
    kind: String,
    /// What it says, in one sentence.
    says: String,
    /// The entry that takes it back; null while it stands.
    taken_back_by: Option<i64>,
    /// Whether it is as it was written, as far as its own leaf shows; so is a reading whose spectrum was taken out, where a later entry says so.
    matches_leaf: bool,
    /// The entry itself, as `audit export` documents it.
    body: Value,
    /// Its leaf hash (RFC 9162), 64 hexadecimal digits.
    #[schemars(extend("pattern" = "^[0-9a-f]{64}$"))]
    leaf: String,
}

/// Lists the entries that fit.
pub fn show(session: Session, which: &Which, json: bool) -> Result<(), Failure> {
    let zone = session.zone();
    let wanted = Wanted::of(which, &session)?;
    let mut ledger = session.reader()?;
    let (mut found, mut taken_back): (Vec<EntryJson>, Vec<(i64, i64)>) = (Vec::new(), Vec::new());
    let (mut about, mut unsound) = (HashSet::new(), Unsound::default());
    ledger.read(|store| {
        let mut from = Seq::FIRST;
        loop {
            let rows = store.raw_entries(from, PART)?;
            let Some(last) = rows.last().and_then(|row| Seq::new(row.seq)) else { return Ok::<_, Failure>(()) };
            for row in rows {
                let body: Value = serde_json::from_str(&row.body).unwrap_or(Value::Null);
                unsound.pass(&row);
                let takes_back = body.get("seq").and_then(Value::as_i64).filter(|_| row.kind == "retract");
                taken_back.extend(takes_back.map(|seq| (seq, row.seq)));
                // What takes something back is about the same thing, and does not name it.
                if !(wanted.is_about(&body) || takes_back.is_some_and(|seq| about.contains(&seq))) {
                    continue;
                }
                about.insert(row.seq);
                if !wanted.is_of(&row, &body) {
                    continue;
                }
                match Time::parse(&row.time) {
                    Ok(time) if wanted.is_when(time) => found.push(entry(row, time, body, &zone)),
                    Ok(_) => {}
                    Err(_) => eprintln!(
                        "Entry {} is left out, its time cannot be read: `twinwhite audit verify` says more.",
                        row.seq
                    ),
                }
            }
            from = last.next();
        }
    })?;
    for entry in &mut found {
        entry.matches_leaf = !unsound.has(entry.seq);
        entry.taken_back_by = taken_back.iter().find(|(seq, _)| *seq == entry.seq).map(|(_, by)| *by);
    }
    if let Some(last) = which.last {
        found.drain(..found.len().saturating_sub(last));
    }
    if json {
        return output::json(&Shown { entries: found });
    }
    if found.is_empty() {
        return output::print(&format!("No entry fits.\n{}", unknown_names(which, &session)));
    }
    let line = |entry: &EntryJson| {
        let back = entry.taken_back_by.map_or(String::new(), |by| format!(" [taken back by entry {by}]"));
        let altered = if entry.matches_leaf { "" } else { " [does not match its leaf]" };
        format!("{:>7}  {}  {:<12}  {}{back}{altered}\n", entry.seq, zone.show(entry.time), entry.kind, entry.says)
    };
    output::print(&found.iter().map(line).collect::<String>())
}

fn entry(row: RawEntry, time: Time, body: Value, zone: &LocalZone) -> EntryJson {
    let says = Body::parse(&row.kind, &row.body).map_or_else(|bad| bad.to_string(), |body| say::entry(&body, zone));
    let leaf = row.leaf.iter().map(|byte| format!("{byte:02x}")).collect();
    EntryJson { seq: row.seq, time, kind: row.kind, says, taken_back_by: None, matches_leaf: true, body, leaf }
}

/// Which of the names asked for the configuration does not have, and which it has. No mistake: the ledger may hold older ones.
fn unknown_names(which: &Which, session: &Session) -> String {
    let things = &session.config.things;
    let asked = [
        ("display, lamp, paper or instrument", &which.device, things.ids().collect::<Vec<_>>()),
        ("station", &which.station, things.stations.iter().map(|station| station.id.as_str()).collect()),
        ("operator", &which.by, things.operators.iter().map(OperatorId::as_str).collect()),
    ];
    let unknown = asked.into_iter().filter_map(|(what, name, known)| {
        let name = name.as_deref().filter(|name| !known.contains(name))?;
        let known = if known.is_empty() { "none".to_owned() } else { known.join(", ") };
        Some(format!("The configuration has no {what} '{name}'; it has: {known}.\n"))
    });
    unknown.collect()
}

/// What an entry must be to be shown.
struct Wanted<'a> {
    which: &'a Which,
    from: Option<Time>,
    until: Option<Time>,
}

impl<'a> Wanted<'a> {
    fn of(which: &'a Which, session: &Session) -> Result<Self, Failure> {
        if let Some(kind) = &which.kind
            && !Body::KINDS.contains(&kind.as_str())
        {
            let kinds = Body::KINDS.join(", ");
            return Err(Failure::new(Kind::Usage, format!("--kind {kind}: expected one of {kinds}")));
        }
        let from = which.from.as_ref().map(|text| session.beginning("--from", text)).transpose()?;
        let until = which.until.as_ref().map(|text| session.instant("--until", text)).transpose()?;
        Ok(Self { which, from, until })
    }

    /// Whether it names the thing, station and job asked for.
    fn is_about(&self, body: &Value) -> bool {
        let Which { device, station, job, .. } = self.which;
        named(body, &["device", "subject", "instrument", "paper", "id"], device)
            && named(body, &["station", "subject"], station)
            && named(body, &["job"], job)
    }

    /// Whether it is of the kind and operator asked for.
    fn is_of(&self, row: &RawEntry, body: &Value) -> bool {
        self.which.kind.as_ref().is_none_or(|kind| *kind == row.kind) && named(body, &["operator"], &self.which.by)
    }

    /// Whether it was written when asked for.
    fn is_when(&self, time: Time) -> bool {
        self.from.is_none_or(|from| from <= time) && self.until.is_none_or(|until| time <= until)
    }
}

fn named(body: &Value, keys: &[&str], name: &Option<String>) -> bool {
    name.as_ref().is_none_or(|name| names(body, keys, name))
}

/// Whether any of these keys, at any depth, holds this text.
fn names(value: &Value, keys: &[&str], name: &str) -> bool {
    match value {
        Value::Object(fields) => fields.iter().any(|(key, value)| {
            (keys.contains(&key.as_str()) && value.as_str() == Some(name)) || names(value, keys, name)
        }),
        Value::Array(values) => values.iter().any(|value| names(value, keys, name)),
        _ => false,
    }
}
