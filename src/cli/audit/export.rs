//! `audit export`: the whole ledger as text, for whoever wants to check or read it without this program.

use std::fs::{self, File};
use std::io::{BufWriter, Write};
use std::path::Path;

use schemars::JsonSchema;
use serde::Serialize;

use crate::cli::fail::{Failure, Kind};
use crate::cli::output::{self, Progress};
use crate::cli::session::Session;
use crate::ledger::store::RawEntry;
use crate::ledger::{Body, Seq};
use crate::say;
use crate::units::Time;
use crate::zone::LocalZone;

/// What the files mean, precisely enough to write another checker from.
const FORMAT: &str = include_str!("../../../contrib/ledger-format.md");
/// Rows read at once.
const PART: u32 = 1000;

/// What was exported.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Exported {
    /// How many entries.
    #[schemars(range(min = 0))]
    entries: i64,
    /// Their root, 64 hexadecimal digits.
    #[schemars(extend("pattern" = "^[0-9a-f]{64}$"))]
    root: String,
    /// How many signed heads.
    heads: u64,
    /// The folder that holds `entries.jsonl`, `entries.csv`, `heads.jsonl` and `FORMAT.md`.
    folder: String,
}

/// A line of `entries.jsonl`.
#[derive(Debug, Serialize)]
struct Line<'a> {
    site: &'a str,
    seq: i64,
    time: &'a str,
    kind: &'a str,
    body: &'a str,
    leaf: String,
}

/// A line of `heads.jsonl`.
#[derive(Debug, Serialize)]
struct HeadLine<'a> {
    size: i64,
    root: String,
    code: Option<String>,
    note: &'a str,
}

/// Writes the ledger into a folder that is empty or new.
pub fn export(session: Session, folder: &Path, json: bool) -> Result<(), Failure> {
    fs::create_dir_all(folder)?;
    if fs::read_dir(folder)?.next().is_some() {
        let message = format!(
            "{} is not empty; name a new folder, so that nothing old lies beside what is new",
            folder.display()
        );
        return Err(Failure::new(Kind::Usage, message));
    }
    let zone = session.zone();
    let mut ledger = session.reader()?;
    let create = |name: &str| File::create(folder.join(name)).map(BufWriter::new);
    let mut lines = create("entries.jsonl")?;
    let mut table = csv::Writer::from_writer(create("entries.csv")?);
    let mut head_lines = create("heads.jsonl")?;
    table.write_record(["seq", "time_utc", "time_local", "kind", "says"]).map_err(failed)?;
    let mut progress = Progress::of("entries written");
    // One snapshot for all: what is appended meanwhile is in none of the files.
    let (head, heads) = ledger.read(|store| {
        let head = store.head()?;
        let mut from = Seq::FIRST;
        loop {
            let rows = store.raw_entries(from, PART)?;
            let Some(last) = rows.last().and_then(|row| Seq::new(row.seq)) else { break };
            for row in &rows {
                write_entry(row, &zone, &mut lines, &mut table)?;
            }
            progress.at(last.get());
            from = last.next();
        }
        let (mut heads, mut after) = (0, 0);
        loop {
            let rows = store.signed_heads(after, PART)?;
            let Some(last) = rows.last() else { break };
            after = last.head.size;
            for row in &rows {
                let code = crate::ledger::checkpoint::SignedHead::parse(&row.note).ok();
                let code = code.map(|signed| signed.code.to_string());
                let line = HeadLine { size: row.head.size, root: row.head.root.to_string(), code, note: &row.note };
                write_line(&mut head_lines, &line)?;
                heads += 1;
            }
        }
        Ok::<_, Failure>((head, heads))
    })?;
    drop(progress);
    lines.flush()?;
    head_lines.flush()?;
    table.flush()?;
    fs::write(folder.join("FORMAT.md"), FORMAT)?;
    let folder = folder.display().to_string();
    if json {
        return output::json(&Exported { entries: head.size, root: head.root.to_string(), heads, folder });
    }
    output::print(&format!(
        "{} and {} are in {folder}; root {}.\nFORMAT.md there says what the files mean; \
         check_ledger.py of the contrib folder checks them without twinwhite.\n",
        say::entries(head.size),
        say::count(heads, "signed head"),
        head.root
    ))
}

fn write_entry(
    row: &RawEntry,
    zone: &LocalZone,
    lines: &mut impl Write,
    table: &mut csv::Writer<impl Write>,
) -> Result<(), Failure> {
    let leaf = row.leaf.iter().map(|byte| format!("{byte:02x}")).collect();
    let RawEntry { site, seq, time, kind, body, .. } = row;
    write_line(lines, &Line { site, seq: *seq, time, kind, body, leaf })?;
    let local = Time::parse(time).map_or(String::new(), |time| zone.show_full(time));
    let says = Body::parse(kind, body).map_or_else(|bad| bad.to_string(), |body| say::entry(&body, zone));
    table.write_record([&seq.to_string(), time, &local, kind, &plain(&says)]).map_err(failed)
}

/// Text that a spreadsheet takes for text: it calculates what begins with one of these.
fn plain(text: &str) -> String {
    if text.starts_with(['=', '+', '-', '@', '\t', '\r']) { format!("'{text}") } else { text.to_owned() }
}

fn write_line(to: &mut impl Write, line: &impl Serialize) -> Result<(), Failure> {
    let text = serde_json::to_string(line).map_err(|bad| Failure::new(Kind::System, bad.to_string()))?;
    Ok(writeln!(to, "{text}")?)
}

fn failed(why: csv::Error) -> Failure {
    Failure::new(Kind::System, why.to_string())
}
