//! What people do to the record by hand: take a record back, let a held reading count, acknowledge an alert.
//!
//! Nothing is ever changed or erased: each act is an entry that points at the one it is about.

use crate::alert;
use crate::config::Config;
use crate::estimates;
use crate::evaluate::{self, Condition, Happened, Scope, append, state_of};
use crate::fate::Excluded;
use crate::ledger::entry::{self, Release, Retract, Transition};
use crate::ledger::{Body, Ledger, LedgerError, Seq};
use crate::pipeline::come_into_force;
use crate::units::{OperatorId, Time};

/// Why an act cannot be done.
#[derive(Debug, thiserror::Error)]
pub enum ActError {
    /// The ledger failed.
    #[error(transparent)]
    Ledger(#[from] LedgerError),
    /// There is no such record, or it is of another kind.
    #[error("entry {seq} is no {expected}; `twinwhite history DEVICE` shows the numbers")]
    NoSuchRecord {
        /// The number that was given.
        seq: i64,
        /// What can be meant, as people call it.
        expected: &'static str,
    },
    /// It was taken back before.
    #[error("entry {seq} was already taken back; it no longer counts")]
    AlreadyRetracted {
        /// Its number.
        seq: i64,
    },
    /// The alert does not exist.
    #[error("there is no alert {id}; `twinwhite alerts` shows the numbers")]
    NoSuchAlert {
        /// The number that was given.
        id: i64,
    },
    /// The alert is over.
    #[error("alert {id} is already cleared; there is nothing to acknowledge")]
    AlreadyCleared {
        /// Its number.
        id: i64,
    },
}

/// Takes a reading or an event back.
pub fn retract(
    ledger: &mut Ledger,
    config: &Config,
    seq: i64,
    reason: &str,
    operator: Option<&OperatorId>,
    now: Time,
) -> Result<Vec<Happened>, ActError> {
    let missing = || ActError::NoSuchRecord { seq, expected: "reading or event" };
    let target = Seq::new(seq).ok_or_else(missing)?;
    ledger.write(now, |tx| {
        let excluded = match (tx.reading(target)?, tx.event(target)?) {
            (Some(reading), _) => reading.excluded,
            (None, Some(event)) => event.excluded,
            (None, None) => return Err(missing()),
        };
        if excluded.as_deref().and_then(Excluded::from_word) == Some(Excluded::Retracted) {
            return Err(ActError::AlreadyRetracted { seq });
        }
        come_into_force(tx, config)?;
        let body = Retract { seq: target, reason: reason.to_owned(), operator: operator.cloned() };
        after(tx, config, Body::Retract(body))
    })
}

/// Lets a reading count that was held back.
pub fn release(
    ledger: &mut Ledger,
    config: &Config,
    seq: i64,
    operator: Option<&OperatorId>,
    now: Time,
) -> Result<Vec<Happened>, ActError> {
    let missing = || ActError::NoSuchRecord { seq, expected: "reading" };
    let target = Seq::new(seq).ok_or_else(missing)?;
    ledger.write(now, |tx| {
        let reading = tx.reading(target)?.ok_or_else(missing)?;
        if reading.excluded.as_deref().and_then(Excluded::from_word) == Some(Excluded::Retracted) {
            return Err(ActError::AlreadyRetracted { seq });
        }
        come_into_force(tx, config)?;
        after(tx, config, Body::Release(Release { seq: target, operator: operator.cloned() }))
    })
}

fn after(tx: &mut crate::ledger::Tx, config: &Config, body: Body) -> Result<Vec<Happened>, ActError> {
    let (_, stirred) = append(tx, config, body)?;
    let stirred: Vec<_> = stirred.into_iter().collect();
    let (fresh, _) = estimates::refresh(tx, &config.things, &stirred)?;
    let devices: Vec<_> = stirred.into_iter().map(|stirred| stirred.device).collect();
    Ok(evaluate::evaluate(tx, config, Scope::Devices(&devices), fresh)?)
}

/// Takes notice of an alert. A kind that nothing but a person can end is over thereby.
pub fn acknowledge(
    ledger: &mut Ledger,
    config: &Config,
    id: i64,
    operator: Option<&OperatorId>,
    now: Time,
) -> Result<Vec<Happened>, ActError> {
    ledger.write(now, |tx| {
        let row = tx.alert(id)?.ok_or(ActError::NoSuchAlert { id })?;
        match state_of(&row) {
            alert::State::Cleared => return Err(ActError::AlreadyCleared { id }),
            // Said twice is said.
            alert::State::Acknowledged => return Ok(Vec::new()),
            alert::State::Raised => {}
        }
        come_into_force(tx, config)?;
        let step = entry::Alert {
            id,
            kind: row.kind.clone(),
            subject: row.subject.clone(),
            transition: Transition::Acknowledged,
            reason: alert::State::Acknowledged.word().to_owned(),
            detail: row.detail.clone(),
            operator: operator.cloned(),
            run: row.run,
        };
        append(tx, config, Body::Alert(step.clone()))?;
        let mut happened = vec![Happened::Alert(step)];
        if let Some(kind) = alert::Kind::from_word(&row.kind) {
            let detail = row.detail.lines().map(str::to_owned).collect();
            let still = Condition::of(kind, &row.subject, alert::Sighting::Between, detail);
            happened.extend(evaluate::decide(tx, config, still)?);
        }
        Ok(happened)
    })
}
