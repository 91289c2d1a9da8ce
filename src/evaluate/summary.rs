//! The summary of a morning: gathered once a day and kept as it was told.

use super::agenda::demands;
use super::seen::Estimates;
use super::{append, devices_of};
use crate::alert::Kind;
use crate::config::Config;
use crate::ledger::checkpoint::SignedHead;
use crate::ledger::entry;
use crate::ledger::{Body, LedgerError, Seq, Store, Tx};
use crate::outbox::{self, LOG_CHANNEL};
use crate::say::{self, Intake, StationLine};
use crate::schedule::merge;
use crate::units::{Days, Time};
use crate::zone::LocalZone;

/// What is due within so long is named.
const AHEAD: Days = Days(7.0);
/// Readings are counted back from the newest entry, so many entries at most.
const ENTRIES_LOOKED_AT: usize = 20_000;

/// Writes the summary of the day, once its time has come.
pub fn sum_up(tx: &mut Tx, config: &Config) -> Result<(), LedgerError> {
    let (now, zone) = (tx.now(), LocalZone(config.site.zone));
    let Some(time) = config.messages.summary else { return Ok(()) };
    let day = zone.date(now);
    let key = format!("{}/{LOG_CHANNEL}", outbox::summary_key(tx.site(), &day));
    if now < zone.at(zone.day(now), time) || tx.message(&key)?.is_some() {
        return Ok(());
    }
    let (headline, lines) = words(tx, config, now)?;
    append(tx, config, Body::Summary(entry::Summary { day, headline, lines }))?;
    Ok(())
}

fn words(store: &Store, config: &Config, now: Time) -> Result<(String, Vec<String>), LedgerError> {
    let zone = LocalZone(config.site.zone);
    let mut estimates = Estimates::new(store, config, now);
    let mut due = merge(demands(&mut estimates, config)?, now);
    due.retain(|due| due.date <= now.plus(AHEAD));
    let mut stations = Vec::new();
    for station in &config.things.stations {
        let seen = estimates.seen(station)?;
        let judgement = estimates.judge(&seen)?;
        let read = |device| estimates.get(device).and_then(|known| known.state.last_read());
        let last_read = read(&station.display).min(read(&station.lamp));
        stations.push(StationLine { judgement, horizon: station.horizon, last_read });
    }
    let last = devices_of(&config.things).filter_map(|device| estimates.get(device)?.state.last_read()).max();
    let intake = Intake { taken: taken_since(store, now.plus(Days(-1.0)))?, last };
    let standing = store.standing_alerts()?;
    let alerts: Vec<(String, Time)> = standing
        .iter()
        .filter_map(|row| Some((say::headline(Kind::from_word(&row.kind)?, &row.subject), row.raised_at)))
        .collect();
    let given_up = store.given_up_messages()?.len();
    let headline = say::summary_headline(&stations, &intake, &zone);
    let mut lines = say::summary(&stations, &intake, &alerts, &due, given_up, &zone);
    for work in store.standing_maintenance(now)? {
        let about = work.subject.as_deref();
        let named = &config.things.operators;
        let by = work.operator.as_ref().map(|by| say::who(by, work.operator_by, named));
        lines.push(say::maintenance(about, work.until, &work.reason, by.as_deref(), &zone));
    }
    if let Some(newest) = store.newest_signed_head()?
        && let Ok(signed) = SignedHead::parse(&newest.note)
    {
        lines.extend(say::head_lines(&signed.note, &signed.code.to_string(), newest.head.size));
    }
    Ok((headline, lines))
}

/// How many readings came in since then; `None` for more than are looked at.
fn taken_since(store: &Store, since: Time) -> Result<Option<u64>, LedgerError> {
    let mut taken = 0;
    let mut at = store.head()?.size;
    for _ in 0..ENTRIES_LOOKED_AT {
        let Some(entry) = Seq::new(at).map(|seq| store.entry(seq)).transpose()?.flatten() else {
            return Ok(Some(taken));
        };
        if entry.time < since {
            return Ok(Some(taken));
        }
        taken += u64::from(matches!(entry.body, Body::ReadingTaken(_)));
        at -= 1;
    }
    Ok(None)
}
