//! What people are told again: alerts that stand and that nobody has acknowledged. What waits, and what an alert tells in another's
//! place. And the end of what can end in no other way.

use super::{Condition, Happened, append, decide, state_of};
use crate::alert::{self, Kind, Sighting, Standing};
use crate::config::Config;
use crate::ledger::entry::{self, Transition};
use crate::ledger::store::AlertRow;
use crate::ledger::{Body, LedgerError, Store, Tx};
use crate::outbox::Held;
use crate::site::Station;
use crate::station::Verdict;
use crate::units::Time;

/// Tells again of every alert whose time for that has come; what is under maintenance waits for its end.
pub(super) fn tell_again(tx: &mut Tx, config: &Config, standing: &[AlertRow]) -> Result<Vec<Happened>, LedgerError> {
    let mut happened = Vec::new();
    let (Some(every), now) = (config.messages.repeat, tx.now()) else { return Ok(happened) };
    let due = |row: &&AlertRow| {
        Kind::from_word(&row.kind).is_some_and(|kind| {
            let standing = Standing { kind, state: state_of(row), raised_at: row.raised_at };
            alert::tell_again(&standing, row.repeated_at, every, now)
        })
    };
    let due: Vec<&AlertRow> = standing.iter().filter(due).collect();
    if due.is_empty() {
        return Ok(happened);
    }
    let held = held(tx, config, now)?;
    for row in due.into_iter().filter(|row| !held.iter().any(|held| held.holds(&row.subject))) {
        let step = entry::Alert {
            id: row.id,
            kind: row.kind.clone(),
            subject: row.subject.clone(),
            transition: Transition::Repeated,
            reason: Transition::Repeated.word().to_owned(),
            detail: row.detail.clone(),
            headline: None,
            operator: None,
            operator_by: None,
            run: row.run,
        };
        append(tx, config, Body::Alert(step.clone()))?;
        happened.push(Happened::Alert(step));
    }
    Ok(happened)
}

/// What waits for the end of a maintenance that stands now: with a station what stands at it.
pub fn held(store: &Store, config: &Config, now: Time) -> Result<Vec<Held>, LedgerError> {
    let rows = store.standing_maintenance(now)?;
    let names = |subject: Option<String>| subject.map(|id| config.things.names_under(&id)).unwrap_or_default();
    Ok(rows.into_iter().map(|row| Held { names: names(row.subject), until: row.until }).collect())
}

/// The alert of a match in whose place one of this kind and subject tells: the worst that a station it concerns stands at now. An
/// instrument concerns every station, since its readings are behind their verdicts.
pub fn speaks_for(store: &Store, config: &Config, kind: Kind, subject: &str) -> Result<Option<Kind>, LedgerError> {
    if !kind.tells_of_matches() {
        return Ok(None);
    }
    let concerns = |station: &Station| {
        kind == Kind::InstrumentSuspect || [&station.lamp, &station.display].iter().any(|id| id.as_str() == subject)
    };
    let mut worst: Option<Kind> = None;
    for station in config.things.stations.iter().filter(|station| concerns(station)) {
        let verdict = store.verdict(&station.id)?.and_then(|row| Verdict::from_word(&row.verdict));
        let silent = match verdict {
            Some(Verdict::Out) => Some(Kind::MatchOut),
            Some(Verdict::AtRisk) => Some(Kind::MatchAtRisk),
            Some(Verdict::Unknown | Verdict::Matched) | None => None,
        };
        worst = worst.into_iter().chain(silent).min_by_key(|kind| kind.rank());
    }
    Ok(worst)
}

/// A channel that is no longer configured can fail no more.
pub(super) fn end_of_channels(
    tx: &mut Tx,
    config: &Config,
    standing: &[AlertRow],
) -> Result<Vec<Happened>, LedgerError> {
    let gone = |row: &&AlertRow| {
        row.kind == Kind::ChannelFailing.word() && !config.channels.iter().any(|channel| channel.id == row.subject)
    };
    let mut happened = Vec::new();
    for row in standing.iter().filter(gone) {
        let over = Condition::of(Kind::ChannelFailing, &row.subject, Sighting::Good, Vec::new());
        happened.extend(decide(tx, config, over)?);
    }
    Ok(happened)
}
