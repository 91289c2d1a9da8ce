//! Projections anew from the ledger: in place of those kept, to compare with them, or as they were at an earlier entry.
//!
//! Every table but `entry` and `head` can be dropped and comes back the same: entries are applied in their order by the
//! one function that also applied them when they were made, then the estimates are computed from all records at once.

use std::path::Path;

use crate::config::{Config, NamedFile};
use crate::estimates;
use crate::ledger::entry::Entry;
use crate::ledger::{Body, Head, Ledger, LedgerError, Seq, Store, Tx};
use crate::project;
use crate::site::AimWhite;
use crate::units::{SiteId, Time};

/// Entries read at a time.
const CHUNK: u32 = 2000;

/// Makes all projections anew, in one transaction. `config` serves where the ledger names none yet. Returns the number of
/// entries applied; `progress` is told after each chunk.
pub fn rebuild(ledger: &mut Ledger, config: &Config, now: Time, progress: impl FnMut(i64)) -> Result<i64, LedgerError> {
    ledger.write(now, |tx| {
        tx.clear_projections()?;
        tx.renew_subtrees()?;
        replay(tx, tx, config, progress)
    })
}

/// Appends what `from` holds beyond `ledger`, whose head must still be `known`, and makes all projections anew: one
/// transaction. `None` where the head is another one by now.
pub fn carry_over(
    ledger: &mut Ledger,
    from: &Store,
    known: Head,
    config: &Config,
    now: Time,
    progress: impl FnMut(i64),
) -> Result<Option<i64>, LedgerError> {
    ledger.write(now, |tx| {
        if tx.head_now() != known {
            return Ok(None);
        }
        let count = tx.carry_over(from)?;
        tx.clear_projections()?;
        replay(tx, tx, config, progress)?;
        Ok(Some(count))
    })
}

/// The projections whose content is not what the entries lead to, by table. Computed in memory; nothing is changed.
pub fn differences(
    ledger: &mut Ledger,
    config: &Config,
    now: Time,
    progress: impl FnMut(i64),
) -> Result<Vec<&'static str>, LedgerError> {
    ledger.read(|kept| differences_in(kept, config, now, progress))
}

/// The same of what a transaction, or a snapshot, shows.
pub fn differences_in(
    kept: &Store,
    config: &Config,
    now: Time,
    progress: impl FnMut(i64),
) -> Result<Vec<&'static str>, LedgerError> {
    let mut again = Ledger::in_memory(kept.site())?;
    again.write(now, |tx| {
        let (_, in_force) = apply_all(kept, tx, config, progress)?;
        // What a screen that follows the paper was set to rests on spectra, which stand in entries alone.
        let things = &in_force.things;
        let follows = things.displays.iter().any(|display| display.aim.white == AimWhite::Paper);
        if follows && things.papers.iter().any(estimates::asks_for_spectrum) {
            tx.borrow_spectra(kept)?;
        }
        estimates::refresh_void(tx, things)
    })?;
    let (kept, again) = (kept.projection_digests()?, again.projection_digests()?);
    Ok(kept.into_iter().zip(again).filter(|(kept, again)| kept != again).map(|(kept, _)| kept.table).collect())
}

/// The ledger at `path` as it was after its entry `last`, projections included. `config` serves where the ledger names none yet.
pub fn as_it_was(path: &Path, site: &SiteId, last: Seq, config: &Config) -> Result<Ledger, LedgerError> {
    Ledger::as_it_was(path, site, last, |tx| replay(tx, tx, config, |_| ()).map(|_| ()))
}

/// Fills the projections of `to`, whose tables must be empty, from all entries of `from`, which `to` holds too.
fn replay(from: &Store, to: &Tx, config: &Config, progress: impl FnMut(i64)) -> Result<i64, LedgerError> {
    let (count, in_force) = apply_all(from, to, config, progress)?;
    estimates::refresh_void(to, &in_force.things)?;
    Ok(count)
}

/// All projections but the estimates; tells how many entries there were, and the configuration that the last of them leaves in force.
fn apply_all(
    from: &Store,
    to: &Tx,
    config: &Config,
    mut progress: impl FnMut(i64),
) -> Result<(i64, Config), LedgerError> {
    let mut in_force = config.clone();
    let mut next = Seq::FIRST;
    let mut count = 0;
    loop {
        let entries = from.entries(next, CHUNK)?;
        let Some(last) = entries.last() else { break };
        next = last.seq.next();
        count += entries.len() as i64;
        for Entry { seq, time, body, .. } in &entries {
            if let Body::Config(written) = body {
                // A text that this version no longer understands leaves the one before it in force for messages.
                let files: Vec<NamedFile> = written.files.iter().map(NamedFile::from).collect();
                if let Ok(understood) = Config::parse_with(&written.text, "ledger", Path::new("."), &files) {
                    in_force = understood;
                }
            }
            project::apply(to, *seq, *time, body, &in_force)?;
        }
        progress(count);
    }
    Ok((count, in_force))
}
