//! `audit verify` and `rebuild`: is the ledger whole, and do the derived tables follow from it?

use std::process::ExitCode;

use schemars::JsonSchema;
use serde::Serialize;

use super::fail::Failure;
use super::output::{self, Progress};
use super::session::Session;
use crate::ledger;
use crate::rebuild;

/// Whether the ledger is whole and unchanged. Printed, with exit code 1, also where it is not.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Verified {
    /// Whether every hash, the root and every derived table are as they must be.
    ok: bool,
    /// How many entries there are.
    #[schemars(range(min = 0))]
    entries: i64,
    /// Root of the tree over all entries (RFC 9162), 64 hexadecimal digits.
    #[schemars(extend("pattern" = "^[0-9a-f]{64}$"))]
    root: String,
    /// The lowest entry that is missing or does not match; null where all do.
    first_bad: Option<i64>,
    /// What is wrong with it, in words; null where nothing is.
    why: Option<String>,
    /// The derived tables that do not follow from the entries; empty where they do, or where the entries are not sound.
    differing_tables: Vec<&'static str>,
}

/// Recomputes every hash and every derived table. Exit code 1 when something does not match.
pub fn verify(session: Session, json: bool) -> Result<ExitCode, Failure> {
    let mut ledger = session.reader()?;
    let found = ledger::verify(&ledger, &[])?;
    // Tables can only be compared where the entries themselves are sound.
    let mut progress = Progress::of("entries applied");
    let differing = if found.ok {
        rebuild::differences(&mut ledger, &session.config, session.clock.now(), |done| progress.at(done))?
    } else {
        Vec::new()
    };
    drop(progress);
    let ok = found.ok && differing.is_empty();
    if json {
        output::json(&Verified {
            ok,
            entries: found.entries,
            root: found.root.to_string(),
            first_bad: found.first_bad,
            why: found.fault.as_ref().map(ToString::to_string),
            differing_tables: differing,
        })?;
    } else if ok {
        let entries = found.entries;
        output::print(&format!("The ledger is whole: {entries} entries, root {}.\n", found.root))?;
        output::print("Keep the root elsewhere: whoever can write here could rewrite the ledger as a whole.\n")?;
    } else if let Some(fault) = &found.fault {
        output::print(&format!(
            "The ledger does NOT hold: {fault}.\nPut a backup in its place; do not go on with this one.\n"
        ))?;
    } else {
        let tables = differing.join(", ");
        output::print(&format!(
            "The ledger is whole, but what is derived from it differs in: {tables}.\n`twinwhite rebuild` makes it anew.\n"
        ))?;
    }
    Ok(if ok { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

/// Makes all derived tables anew.
pub fn rebuild(session: Session) -> Result<(), Failure> {
    let mut ledger = session.ledger()?;
    let mut progress = Progress::of("entries applied");
    let count = rebuild::rebuild(&mut ledger, &session.config, session.clock.now(), |done| progress.at(done))?;
    drop(progress);
    output::print(&format!("Made anew from {count} entries.\n"))
}
