//! `ingest` and `add`: readings taken in by hand, with or without the daemon.

use std::fs::File;
use std::io::Read;
use std::path::Path;
use std::process::ExitCode;

use schemars::JsonSchema;
use serde::Serialize;

use super::fail::{Failure, Kind};
use super::operator;
use super::output;
use super::session::Session;
use crate::admit::admit;
use crate::formats::{self, Context, Need};
use crate::ledger::Seq;
use crate::ledger::entry::CameBy;
use crate::pipeline::{self, Incoming, Receipt, Taken};
use crate::reading::{Defect, Operator, Record, Row};
use crate::say;
use crate::units::DeviceId;

/// What became of files that were given by hand. Printed, with exit code 1, also where one was not taken.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Ingested {
    /// Each file, in the order given.
    files: Vec<FileJson>,
}

/// What became of one file.
#[derive(Debug, Serialize, JsonSchema)]
pub struct FileJson {
    /// The file as given.
    file: String,
    #[serde(flatten)]
    fate: FileFate,
}

/// What became of a file.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(tag = "result", rename_all = "lowercase")]
pub enum FileFate {
    /// It cannot be read from the disk, or is too large.
    Unreadable {
        /// Why, and what to do.
        why: String,
    },
    /// The same bytes were taken before; nothing changed.
    Known {
        /// The entry that took them.
        seq: Seq,
    },
    /// It is not finished; nothing of it was taken.
    Incomplete {
        /// What it lacks.
        why: String,
    },
    /// Nothing of it was taken.
    Refused {
        /// Everything that is wrong with it.
        defects: Vec<Defect>,
    },
    /// It was taken.
    Taken {
        #[serde(flatten)]
        receipt: ReceiptJson,
    },
}

/// What was taken of a file, or of what was typed by hand.
#[derive(Debug, Serialize, JsonSchema)]
pub struct ReceiptJson {
    /// Readings that are now in the ledger.
    readings: usize,
    /// Events that are now in the ledger.
    events: usize,
    /// Rows that the ledger already had.
    duplicates: u64,
    /// The entries of the readings.
    seqs: Vec<Seq>,
    /// Readings that are kept and wait for a person.
    held: Vec<HeldJson>,
    /// Readings that the model doubts.
    doubted: Vec<DoubtedJson>,
    /// What was noticed and did not keep it from being taken.
    warnings: Vec<WarningJson>,
}

/// A reading that waits for a person.
#[derive(Debug, Serialize, JsonSchema)]
pub struct HeldJson {
    /// Its entry.
    seq: Seq,
    /// Its line in the file, from 1; 0 where it has none.
    line: u64,
    /// Why, in words.
    why: String,
}

/// A reading that the model doubts.
#[derive(Debug, Serialize, JsonSchema)]
pub struct DoubtedJson {
    /// Its entry.
    seq: Seq,
    /// Its line in the file, from 1; 0 where it has none.
    line: u64,
}

/// Something that was noticed.
#[derive(Debug, Serialize, JsonSchema)]
pub struct WarningJson {
    /// The line in the file, from 1; 0 for the file as a whole.
    line: u64,
    /// What, in words.
    what: String,
}

/// Takes files in and says what became of each. The exit code is 1 if any was not taken.
pub fn ingest(
    session: Session,
    files: &[std::path::PathBuf],
    device: Option<&str>,
    json: bool,
) -> Result<ExitCode, Failure> {
    let folder_device = device.map(|name| session.device(name)).transpose()?;
    let mut ledger = session.ledger()?;
    let mut answers = Vec::new();
    let mut all_taken = true;
    for path in files {
        let taken = match read(path, session.config.inbox.max_bytes) {
            Err(why) => Err(why),
            Ok(bytes) => {
                let name = path.file_name().unwrap_or(path.as_os_str()).to_string_lossy().into_owned();
                let incoming = Incoming {
                    name: &name,
                    bytes: &bytes,
                    folder_device: folder_device.clone(),
                    from: CameBy::Ingest,
                    operator: session.operator.clone(),
                };
                Ok(pipeline::take(&mut ledger, &session.config, &incoming, session.clock.now())?)
            }
        };
        all_taken &= matches!(taken, Ok(Taken::Known { .. } | Taken::Accepted(_)));
        if json {
            answers.push(FileJson::of(path, taken));
        } else {
            output::print(&file_text(path, &taken))?;
        }
    }
    if json {
        output::json(&Ingested { files: answers })?;
    }
    Ok(if all_taken { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

/// Reads a whole file, unless it is larger than the inbox would take.
pub fn read(path: &Path, max_bytes: u64) -> Result<Vec<u8>, String> {
    let unreadable = |why: std::io::Error| format!("cannot be read ({why}); check the path and who may read it");
    let file = File::open(path).map_err(unreadable)?;
    let mut bytes = Vec::new();
    file.take(max_bytes + 1).read_to_end(&mut bytes).map_err(unreadable)?;
    if bytes.len() as u64 > max_bytes {
        return Err(format!("is larger than {max_bytes} bytes; split it, or raise [inbox] max_bytes"));
    }
    Ok(bytes)
}

/// Takes one typed reading in.
pub fn add(session: Session, device: &str, fields: &[String], json: bool) -> Result<(), Failure> {
    let device = session.device(device)?;
    let mut pairs = fields.iter().map(|field| split(field)).collect::<Result<Vec<_>, _>>()?;
    let operator = who(&session, &mut pairs)?;
    let context =
        Context { zone: Some(session.zone()), folder_device: Some(device.clone()), ..Context::of(Need::Look) };
    let now = session.clock.now();
    let mut draft = formats::typed(&pairs, &context).map_err(|defects| not_taken(&defects))?;
    draft.device = Some(device.clone());
    draft.time.get_or_insert(now);
    draft.circumstances.operator_by = operator.as_ref().map(|operator| operator.by);
    draft.circumstances.operator = operator.map(|operator| operator.id);
    let rows = vec![Row { line: 0, value: Record::Reading(draft) }];
    let admitted = admit(rows, &session.config.things, Some(&device)).map_err(|defects| not_taken(&defects))?;
    let mut ledger = session.ledger()?;
    let mut total = Receipt::default();
    for row in admitted {
        total = pipeline::take_one(&mut ledger, &session.config, row.value, now)?;
    }
    if json { output::json(&ReceiptJson::of(&total)) } else { output::print(&added_text(&device, &total)) }
}

/// Who did it: as typed among the fields, which is then taken from them, or as the session knows.
pub fn who(session: &Session, pairs: &mut Vec<(String, String)>) -> Result<Option<Operator>, Failure> {
    match pairs.iter().position(|(name, _)| name == "operator") {
        Some(place) => {
            let (_, name) = pairs.remove(place);
            operator::known(&name, "operator", &session.config.things).map(Some)
        }
        None => Ok(session.operator.clone()),
    }
}

/// Splits name=value.
pub fn split(field: &str) -> Result<(String, String), Failure> {
    match field.split_once('=') {
        Some((name, value)) => Ok((name.trim().to_owned(), value.trim().to_owned())),
        None => Err(Failure::new(Kind::Usage, format!("'{field}': expected name=value, like x=0.3127"))),
    }
}

/// What is wrong with what was typed.
pub fn not_taken(defects: &[Defect]) -> Failure {
    let all: Vec<String> = defects.iter().map(Defect::to_string).collect();
    Failure::new(Kind::Input, format!("nothing was taken: {}", all.join("; ")))
}

fn added_text(device: &DeviceId, receipt: &Receipt) -> String {
    if receipt.duplicates > 0 {
        return format!("{device}: the ledger already has this reading; nothing changed.\n");
    }
    let mut text = String::new();
    for (seq, _) in &receipt.readings {
        text.push_str(&format!("{device}: taken as entry {seq}.\n"));
    }
    text.push_str(&notes(receipt));
    text
}

/// What a person should know of rows beyond their number.
fn notes(receipt: &Receipt) -> String {
    let mut text = String::new();
    for (seq, line, why) in &receipt.held {
        text.push_str(&format!("  held back: entry {seq}{}: {}\n", place(*line), say::hold(why)));
    }
    for (seq, line) in &receipt.doubted {
        text.push_str(&format!("  doubted: entry {seq}{}: {}\n", place(*line), say::DOUBTED));
    }
    for warning in &receipt.warnings {
        text.push_str(&format!("  note{}: {}\n", place(warning.line), warning.value));
    }
    text
}

fn place(line: u64) -> String {
    if line == 0 { String::new() } else { format!(" (line {line})") }
}

fn file_text(path: &Path, taken: &Result<Taken, String>) -> String {
    let name = path.display();
    match taken {
        Err(why) => format!("{name}: {why}\n"),
        Ok(Taken::Known { file }) => format!("{name}: taken before (entry {file}); nothing changed.\n"),
        Ok(Taken::Incomplete(why)) => format!("{name}: not taken, it is not finished: {why}\n"),
        Ok(Taken::Refused { defects, .. }) => {
            let mut text = format!("{name}: refused, nothing of it was taken:\n");
            for defect in defects {
                text.push_str(&format!("  {defect}\n"));
            }
            text
        }
        Ok(Taken::Accepted(receipt)) => {
            let mut parts = vec![say::count(receipt.readings.len() as u64, "reading")];
            if !receipt.events.is_empty() {
                parts.push(say::count(receipt.events.len() as u64, "event"));
            }
            let seen =
                if receipt.duplicates > 0 { format!(", {} seen before", receipt.duplicates) } else { String::new() };
            let held =
                if receipt.held.is_empty() { String::new() } else { format!(", {} held back", receipt.held.len()) };
            format!("{name}: taken: {}{seen}{held}\n{}", parts.join(", "), notes(receipt))
        }
    }
}

impl FileJson {
    fn of(path: &Path, taken: Result<Taken, String>) -> Self {
        let fate = match taken {
            Err(why) => FileFate::Unreadable { why },
            Ok(Taken::Known { file }) => FileFate::Known { seq: file },
            Ok(Taken::Incomplete(why)) => FileFate::Incomplete { why: why.to_string() },
            Ok(Taken::Refused { defects, .. }) => FileFate::Refused { defects },
            Ok(Taken::Accepted(receipt)) => FileFate::Taken { receipt: ReceiptJson::of(&receipt) },
        };
        Self { file: path.display().to_string(), fate }
    }
}

impl ReceiptJson {
    fn of(receipt: &Receipt) -> Self {
        let held = receipt.held.iter().map(|(seq, line, why)| HeldJson { seq: *seq, line: *line, why: say::hold(why) });
        let doubted = receipt.doubted.iter().map(|(seq, line)| DoubtedJson { seq: *seq, line: *line });
        let warnings = receipt.warnings.iter().map(|row| WarningJson { line: row.line, what: row.value.to_string() });
        Self {
            readings: receipt.readings.len(),
            events: receipt.events.len(),
            duplicates: receipt.duplicates,
            seqs: receipt.readings.iter().map(|(seq, _)| *seq).collect(),
            held: held.collect(),
            doubted: doubted.collect(),
            warnings: warnings.collect(),
        }
    }
}
