//! `audit` and `rebuild`: is the ledger whole, do the derived tables follow from it, and what can somebody outside hold it to?

pub mod certificate;
pub mod export;
pub mod head;
pub mod key;
pub mod prove;
pub mod show;

use std::fs;
use std::path::Path;
use std::process::ExitCode;

use schemars::JsonSchema;
use serde::Serialize;

use super::fail::{Failure, Kind};
use super::output::{self, Progress};
use super::session::Session;
use crate::ledger::certificate::{Kept, MAX_BYTES};
use crate::ledger::checkpoint::{ShortCode, SignedHead};
use crate::ledger::{self, LedgerError, Seq, Store, Verification};
use crate::rebuild;
use crate::say;

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
    /// The codes given with --head that no signed head here has: typed wrong, of another ledger, or of a head that was
    /// rewritten or cut off since. `ok` is false then.
    unknown_codes: Vec<String>,
    /// How many different signed heads were held against the entries, those given with --head among them.
    #[schemars(range(min = 0))]
    signed_heads: usize,
    /// How many readings are there without the spectrum that they came with; an entry says so of each.
    #[schemars(range(min = 0))]
    spectra_pruned: u64,
}

/// Signed heads are looked through so many at a time.
const CHUNK: u32 = 1000;

/// What `--head` names: a file that holds a signed head, or a short code.
fn kept(named: &str) -> Result<Kept, Failure> {
    let path = Path::new(named);
    if path.is_file() {
        return read_head(path).map(Kept::Head);
    }
    let neither = || {
        let message = format!("--head {named}: there is no such file, and it is no short code like 7ZK3-0QWE-11M9");
        Failure::new(Kind::Input, message)
    };
    ShortCode::parse(named).map(Kept::Code).ok_or_else(neither)
}

/// The signed head in a file.
fn read_head(path: &Path) -> Result<SignedHead, Failure> {
    let text = read(path)?;
    SignedHead::find(&text).map_err(|bad| Failure::new(Kind::Input, format!("{}: {bad}", path.display())))
}

/// A text from outside.
fn read(path: &Path) -> Result<String, Failure> {
    let failed = |why: String| Failure::new(Kind::Input, format!("{}: {why}", path.display()));
    let bytes = fs::metadata(path).map_err(|why| failed(why.to_string()))?.len();
    if bytes > MAX_BYTES as u64 {
        return Err(failed(format!("it has {bytes} bytes, at most {MAX_BYTES} are read")));
    }
    fs::read_to_string(path).map_err(|why| failed(why.to_string()))
}

/// Whether a signed head with this code is in the store.
fn has_code(store: &Store, code: ShortCode) -> Result<bool, LedgerError> {
    let mut after = -1;
    loop {
        let rows = store.signed_heads(after, CHUNK)?;
        let Some(last) = rows.last() else { return Ok(false) };
        after = last.head.size;
        if rows.iter().any(|row| SignedHead::parse(&row.note).is_ok_and(|head| head.code == code)) {
            return Ok(true);
        }
    }
}

/// Recomputes every hash and every derived table, and holds all against the heads that were kept elsewhere. Exit code 1
/// when something does not match.
pub fn verify(session: Session, heads: &[String], json: bool) -> Result<ExitCode, Failure> {
    let mut outside = Vec::new();
    let mut codes = Vec::new();
    for named in heads {
        match kept(named)? {
            Kept::Head(head) => outside.push(head),
            Kept::Code(code) => codes.push(code),
        }
    }
    let mut ledger = session.reader()?;
    let found = ledger::verify_against(&ledger, &outside)?;
    let mut unknown: Vec<String> = Vec::new();
    for code in codes {
        if !has_code(&ledger, code)? {
            unknown.push(code.to_string());
        }
    }
    let not_here =
        (!unknown.is_empty()).then(|| format!("no signed head with the code {} is in it", unknown.join(" or ")));
    // Tables can only be compared where the entries themselves are sound.
    let mut progress = Progress::of("entries applied");
    let differing = if found.ok {
        rebuild::differences(&mut ledger, &session.config, session.clock.now(), |done| progress.at(done))?
    } else {
        Vec::new()
    };
    drop(progress);
    let cache = (found.ok && !found.subtrees_ok).then_some("subtree");
    let differing: Vec<&'static str> = differing.into_iter().chain(cache).collect();
    let ok = found.ok && differing.is_empty() && not_here.is_none();
    if json {
        output::json(&Verified {
            ok,
            entries: found.entries,
            root: found.root.to_string(),
            first_bad: found.first_bad,
            why: found.fault.as_ref().map(ToString::to_string).or(not_here),
            differing_tables: differing,
            unknown_codes: unknown,
            signed_heads: found.signed_heads,
            spectra_pruned: found.pruned,
        })?;
    } else if ok {
        output::print(&format!("The ledger is whole: {}, root {}.\n", say::entries(found.entries), found.root))?;
        match found.signed_heads {
            0 => {}
            1 => output::print("It leads to its one signed head.\n")?,
            heads => output::print(&format!("It leads to all {heads} signed heads.\n"))?,
        }
        if found.pruned > 0 {
            let readings = say::count(found.pruned, "reading");
            output::print(&format!("The spectra of {readings} were taken out, and entries say so of each.\n"))?;
        }
        output::print(if heads.is_empty() {
            "That says nothing against somebody who holds the key and rewrote all of it: hold it against a head kept elsewhere, \
             with --head.\n"
        } else {
            "What you hold fits it: nothing up to there was changed since.\n"
        })?;
    } else if let Some(why) = found.fault {
        output::print(&format!(
            "The ledger does NOT hold: {why}.\nDo not go on with this one: move it away and put a backup in its place with `twinwhite restore FILE`.\n"
        ))?;
    } else {
        if let Some(not_here) = not_here {
            output::print(&code_not_here(&not_here, &found, ledger.last_restored()?))?;
        }
        if !differing.is_empty() {
            let tables = differing.join(", ");
            output::print(&format!(
                "The ledger is whole, but what is derived from it differs in: {tables}.\n`twinwhite rebuild` makes it anew.\n"
            ))?;
        }
    }
    Ok(if ok { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

/// A code is soon mistyped, and nobody shall throw a ledger away for that.
fn code_not_here(not_here: &str, found: &Verification, restored: Option<Seq>) -> String {
    let restored = restored.map_or(String::new(), |seq| {
        format!(
            "Entry {seq} says that a backup was restored that did not hold all: a head from between was lost then. `twinwhite audit show` \
             shows that entry.\n"
        )
    });
    format!(
        "Not found: {not_here}. Its {} and {} hold together all the same.\n\
         Look first whether the code was typed right, and whether it is of this ledger and not of another.\n{restored}\
         Only where all that is excluded was the ledger rewritten or cut after the head with that code was signed: keep it as it is, and hold \
         the head itself against it, with --head FILE.\n",
        say::entries(found.entries),
        say::count(u64::try_from(found.signed_heads).unwrap_or(0), "signed head")
    )
}

/// Makes all derived tables anew.
pub fn rebuild(session: Session) -> Result<(), Failure> {
    let mut ledger = session.ledger()?;
    let mut progress = Progress::of("entries applied");
    let count = rebuild::rebuild(&mut ledger, &session.config, session.clock.now(), |done| progress.at(done))?;
    drop(progress);
    output::print(&format!("Made anew from {}.\n", say::entries(count)))
}
