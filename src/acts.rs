//! What people do to the record by hand: take a record back, let a held reading count, acknowledge an alert, announce a
//! maintenance, have messages sent again.
//!
//! Nothing is ever changed or erased: each act is an entry that points at the one it is about.

use crate::alert;
use crate::config::Config;
use crate::estimates;
use crate::evaluate::{self, Condition, Happened, Scope, append, state_of};
use crate::fate::Excluded;
use crate::ledger::entry::{self, Maintenance, MaintenanceEnded, Release, Resend, Retract, Transition};
use crate::ledger::{Body, Ledger, LedgerError, Seq};
use crate::pipeline::come_into_force;
use crate::reading::Operator;
use crate::units::{Days, Time};

/// Why an act cannot be done.
#[derive(Debug, thiserror::Error)]
pub enum ActError {
    /// The ledger failed.
    #[error(transparent)]
    Ledger(#[from] LedgerError),
    /// There is no such record, or it is of another kind.
    #[error("entry {seq} is no {expected}")]
    NoSuchRecord {
        /// The number that was given.
        seq: i64,
        /// What can be meant, as people call it, and what shows its number.
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
    /// There is no such message among those that were given up.
    #[error("'{key}' is no message that was given up; `twinwhite messages` lists them")]
    NotGivenUp {
        /// The key that was given.
        key: String,
    },
    /// Nothing has that name.
    #[error("there is no station, display, lamp, paper or instrument '{name}' in the configuration")]
    NoSuchThing {
        /// The name that was given.
        name: String,
    },
    /// A maintenance that would be over before it began, or that hardly ends.
    #[error("the end {until} is not ahead, or farther than {} days: say when the work will be done", LONGEST_MAINTENANCE.0)]
    BadEnd {
        /// The end that was given.
        until: Time,
    },
    /// The maintenance does not exist or is over.
    #[error("no maintenance {id} stands; `twinwhite maintenance` lists them")]
    NoSuchMaintenance {
        /// The number that was given.
        id: i64,
    },
}

/// A maintenance ends by itself after at most so long: 90 days.
pub const LONGEST_MAINTENANCE: Days = Days(90.0);

/// Takes a reading, an event or a sign-off back.
pub fn retract(
    ledger: &mut Ledger,
    config: &Config,
    seq: i64,
    reason: &str,
    operator: Option<&Operator>,
    now: Time,
) -> Result<Vec<Happened>, ActError> {
    let expected = "reading or event, whose numbers `twinwhite history DEVICE` shows, and no sign-off, whose numbers `twinwhite audit \
                    show --kind sign-off` shows";
    let missing = || ActError::NoSuchRecord { seq, expected };
    let target = Seq::new(seq).ok_or_else(missing)?;
    let body = Retract {
        seq: target,
        reason: reason.to_owned(),
        operator: operator.map(|by| by.id.clone()),
        operator_by: operator.map(|by| by.by),
    };
    ledger.write(now, |tx| {
        if let Some(signed) = tx.sign_off(target)? {
            if signed.withdrawn.is_some() {
                return Err(ActError::AlreadyRetracted { seq });
            }
            come_into_force(tx, config)?;
            append(tx, config, Body::Retract(body))?;
            return Ok(Vec::new());
        }
        let excluded = match (tx.reading(target)?, tx.event(target)?) {
            (Some(reading), _) => reading.excluded,
            (None, Some(event)) => event.excluded,
            (None, None) => return Err(missing()),
        };
        if excluded.as_deref().and_then(Excluded::from_word) == Some(Excluded::Retracted) {
            return Err(ActError::AlreadyRetracted { seq });
        }
        come_into_force(tx, config)?;
        after(tx, config, Body::Retract(body))
    })
}

/// Lets a reading count that was held back.
pub fn release(
    ledger: &mut Ledger,
    config: &Config,
    seq: i64,
    operator: Option<&Operator>,
    now: Time,
) -> Result<Vec<Happened>, ActError> {
    let missing = || ActError::NoSuchRecord { seq, expected: "reading; `twinwhite history DEVICE` shows the numbers" };
    let target = Seq::new(seq).ok_or_else(missing)?;
    ledger.write(now, |tx| {
        let reading = tx.reading(target)?.ok_or_else(missing)?;
        if reading.excluded.as_deref().and_then(Excluded::from_word) == Some(Excluded::Retracted) {
            return Err(ActError::AlreadyRetracted { seq });
        }
        come_into_force(tx, config)?;
        after(
            tx,
            config,
            Body::Release(Release {
                seq: target,
                operator: operator.map(|by| by.id.clone()),
                operator_by: operator.map(|by| by.by),
            }),
        )
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
    operator: Option<&Operator>,
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
            headline: None,
            operator: operator.map(|by| by.id.clone()),
            operator_by: operator.map(|by| by.by),
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

/// Announces that something is done to `subject` (`None`: the whole site) until then, so that messages about it wait.
/// Returns its number.
pub fn begin_maintenance(
    ledger: &mut Ledger,
    config: &Config,
    subject: Option<&str>,
    until: Time,
    reason: &str,
    operator: Option<&Operator>,
    now: Time,
) -> Result<i64, ActError> {
    let things = &config.things;
    let known = |name: &str| {
        things.kind_of(name).is_some() || things.stations.iter().any(|station| station.id.as_str() == name)
    };
    if let Some(name) = subject.filter(|name| !known(name)) {
        return Err(ActError::NoSuchThing { name: name.to_owned() });
    }
    if until <= now || until.since(now) > LONGEST_MAINTENANCE {
        return Err(ActError::BadEnd { until });
    }
    ledger.write(now, |tx| {
        come_into_force(tx, config)?;
        let id = tx.next_maintenance_id()?;
        let subject = subject.map(str::to_owned);
        let body = Maintenance {
            id,
            subject,
            until,
            reason: reason.to_owned(),
            operator: operator.map(|by| by.id.clone()),
            operator_by: operator.map(|by| by.by),
        };
        append(tx, config, Body::Maintenance(body))?;
        Ok(id)
    })
}

/// Ends a maintenance before its time.
pub fn end_maintenance(
    ledger: &mut Ledger,
    config: &Config,
    id: i64,
    operator: Option<&Operator>,
    now: Time,
) -> Result<(), ActError> {
    ledger.write(now, |tx| {
        if !tx.standing_maintenance(now)?.iter().any(|row| row.id == id) {
            return Err(ActError::NoSuchMaintenance { id });
        }
        come_into_force(tx, config)?;
        append(
            tx,
            config,
            Body::MaintenanceEnded(MaintenanceEnded {
                id,
                operator: operator.map(|by| by.id.clone()),
                operator_by: operator.map(|by| by.by),
            }),
        )?;
        Ok(())
    })
}

/// Has messages tried again that were given up; all of them where `keys` is empty. Returns how many.
pub fn resend(
    ledger: &mut Ledger,
    config: &Config,
    keys: &[String],
    operator: Option<&Operator>,
    now: Time,
) -> Result<usize, ActError> {
    ledger.write(now, |tx| {
        let given_up = tx.given_up_messages()?;
        if let Some(key) = keys.iter().find(|key| !given_up.iter().any(|row| row.key == **key)) {
            return Err(ActError::NotGivenUp { key: key.clone() });
        }
        let wanted = given_up.into_iter().map(|row| row.key).filter(|key| keys.is_empty() || keys.contains(key));
        let messages: Vec<String> = wanted.collect();
        let count = messages.len();
        if count > 0 {
            come_into_force(tx, config)?;
            append(
                tx,
                config,
                Body::Resend(Resend {
                    messages,
                    operator: operator.map(|by| by.id.clone()),
                    operator_by: operator.map(|by| by.by),
                }),
            )?;
        }
        Ok(count)
    })
}
