//! Delivers what the outbox holds: to the log at once, through channels as tasks beside the loop. At least once.
//!
//! What leaves together, and when, is for `outbox::next`. Messages are marked as sent only after their channel took them. A
//! channel that fails is tried again after a wait that grows (`outbox::backoff_s`), with all that has come meanwhile; after
//! some failures in a row an alert tells of it through the other channels, and what it does not take for long is given up,
//! loudly. Failures are counted while the daemon runs; after a restart every channel is tried at once.

use std::collections::BTreeMap;
use std::time::Duration;

use tokio::task::JoinSet;

use super::Notice;
use crate::alert::{Kind, Sighting};
use crate::channels::{self, Heard, SendError, Taken};
use crate::clock::Clock;
use crate::config::Config;
use crate::evaluate::{self, Condition, Happened, append};
use crate::ledger::entry::{Delivery, Outcome};
use crate::ledger::store::MessageRow;
use crate::ledger::{Body, Digest, Ledger, LedgerError, Tx};
use crate::outbox::{self, Group, LOG_CHANNEL, Message, Next, Tells, Waiting};
use crate::say;
use crate::units::Time;
use crate::zone::LocalZone;

/// How long after the ledger could not be written it is tried again.
const WRITE_AGAIN: Duration = Duration::from_secs(30);

/// What is under way through each channel.
#[derive(Default)]
pub(super) struct Deliveries {
    under_way: JoinSet<Done>,
    lanes: BTreeMap<String, Lane>,
    /// The alerts that stand though all is right again, as they were judged last: within the minute they are judged again. That they
    /// were raised is not told now, but with their end, or as soon as it is wrong again.
    pub(super) passing: Vec<i64>,
}

/// What is known of a channel since the daemon began.
#[derive(Default)]
struct Lane {
    /// Failures in a row.
    failures: u32,
    under_way: bool,
    /// Monotonic time before which it is not tried again.
    not_before: Duration,
    /// When it last took something, also where the ledger could not be told.
    sent_at: Option<Time>,
    /// What it took and the ledger could not be told yet: until then nothing more goes out, or it would go out again and again.
    unwritten: Option<Delivery>,
    /// Who has heard what others have yet to hear. A restart forgets it: then they hear it once more.
    heard: Heard,
}

/// How one attempt ended.
pub(super) struct Done {
    channel: String,
    group: String,
    messages: Vec<MessageRow>,
    end: Result<Taken, SendError>,
}

impl Deliveries {
    /// Sends everything whose time has come; tells what went through the log.
    pub(super) fn send_due(
        &mut self,
        ledger: &mut Ledger,
        config: &Config,
        clock: &dyn Clock,
        tell: &mut dyn FnMut(Notice),
    ) -> Result<(), LedgerError> {
        let mut by_channel: BTreeMap<String, Vec<MessageRow>> = BTreeMap::new();
        for row in ledger.due_messages()? {
            by_channel.entry(row.channel.clone()).or_default().push(row);
        }
        let (mut ended, mut notices) = (Vec::new(), Vec::new());
        for (channel, rows) in by_channel {
            if channel == LOG_CHANNEL {
                let messages = rows.iter().filter_map(|row| serde_json::from_str::<Message>(&row.body).ok());
                notices.extend(messages.map(|message| Notice::Message(Box::new(message))));
                let key = format!("{}/{LOG_CHANNEL}", config.site.id);
                ended.push(ending(key, LOG_CHANNEL, &rows, Outcome::Sent, 1, None));
            } else if config.channels.iter().any(|known| known.id == channel) {
                self.send(ledger, config, clock, channel, rows)?;
            } else {
                // There is nobody to tell any more.
                let why = format!("there is no channel '{channel}' any more");
                notices.push(Notice::Trouble(format!("{} given up: {why}", say::count(rows.len() as u64, "message"))));
                let key = format!("{}/{channel}", config.site.id);
                ended.push(ending(key, &channel, &rows, Outcome::GivenUp, 0, Some(why)));
                self.lanes.remove(&channel);
            }
        }
        if !ended.is_empty() {
            ledger.write(clock.now(), |tx| {
                ended.into_iter().try_for_each(|delivery| append(tx, config, Body::Delivery(delivery)).map(|_| ()))
            })?;
        }
        // Only now: what could not be noted would be told at every round.
        notices.into_iter().for_each(tell);
        Ok(())
    }

    /// Starts an attempt if one may be made now.
    fn send(
        &mut self,
        ledger: &mut Ledger,
        config: &Config,
        clock: &dyn Clock,
        channel: String,
        rows: Vec<MessageRow>,
    ) -> Result<(), LedgerError> {
        let lane = self.lanes.entry(channel.clone()).or_default();
        if lane.under_way || clock.monotonic() < lane.not_before {
            return Ok(());
        }
        let now = clock.now();
        if let Some(delivery) = lane.unwritten.take() {
            if let Err(error) = ledger.write(now, |tx| append(tx, config, Body::Delivery(delivery.clone())).map(|_| ()))
            {
                lane.unwritten = Some(delivery);
                lane.not_before = clock.monotonic() + WRITE_AGAIN;
                return Err(error);
            }
            // What is due has changed thereby: the next round sees it.
            return Ok(());
        }
        let last_sent = ledger.last_sent(&channel)?.max(lane.sent_at);
        // What this version cannot read was written by a newer one: it stays, and is listed by `messages`.
        let readable = |row: MessageRow| Some((serde_json::from_str::<Message>(&row.body).ok()?, row));
        let mut pairs: Vec<(Message, MessageRow)> = rows.into_iter().filter_map(readable).collect();
        let says_it_stands = |message: &Message| matches!(message.state, Tells::Raised | Tells::Still);
        let passing = |message: &Message| message.alert.is_some_and(|alert| self.passing.contains(&alert));
        pairs.retain(|(message, _)| !(says_it_stands(message) && passing(message)));
        lane.heard.keep(|key| pairs.iter().any(|(message, _)| message.key == key));
        let waiting: Vec<Waiting> =
            pairs.iter().map(|(message, _)| as_waiting(ledger, config, message)).collect::<Result<_, _>>()?;
        let held = evaluate::held(ledger, config, now)?;
        let zone = LocalZone(config.site.zone);
        let Next::Send(leaving) = outbox::next(&waiting, last_sent, &held, &config.messages, now, zone) else {
            return Ok(());
        };
        let mut nth = 0..;
        pairs.retain(|_| nth.next().is_some_and(|nth| leaving.contains(&nth)));
        let (messages, rows): (Vec<Message>, Vec<MessageRow>) = pairs.into_iter().unzip();
        let known = config.channels.iter().find(|known| known.id == channel).cloned();
        if let Some((group, to)) = Group::of(&channel, &config.site.name, messages).zip(known) {
            lane.under_way = true;
            let heard = lane.heard.clone();
            self.under_way.spawn(async move {
                let end = channels::send(&to, &group, &heard, now).await;
                Done { channel, group: group.key, messages: rows, end }
            });
        }
        Ok(())
    }

    /// Ends when an attempt has ended; never while none is under way.
    pub(super) async fn finished(&mut self) -> Done {
        loop {
            match self.under_way.join_next().await {
                Some(Ok(done)) => return done,
                // A task that was ended or failed leaves its messages due: the next start tries them again.
                Some(Err(_)) => {}
                None => std::future::pending::<()>().await,
            }
        }
    }

    /// Waits for what is under way, when the daemon ends.
    pub(super) async fn drain(&mut self) -> Vec<Done> {
        let mut all = Vec::new();
        while let Some(ended) = self.under_way.join_next().await {
            all.extend(ended);
        }
        all
    }

    /// Writes down how an attempt ended.
    pub(super) fn note(
        &mut self,
        ledger: &mut Ledger,
        config: &Config,
        clock: &dyn Clock,
        done: Done,
        tell: &mut dyn FnMut(Notice),
    ) -> Result<(), LedgerError> {
        let Done { channel, group, messages, end } = done;
        let now = clock.now();
        let lane = self.lanes.entry(channel.clone()).or_default();
        lane.under_way = false;
        let attempts = lane.failures.saturating_add(1);
        match end {
            Ok(Taken { remarks }) => {
                remarks.iter().cloned().map(Notice::Trouble).for_each(&mut *tell);
                *lane = Lane { sent_at: Some(now), heard: lane.heard.clone(), ..Lane::default() };
                let remark = (!remarks.is_empty()).then(|| remarks.join("; "));
                let delivery = ending(group, &channel, &messages, Outcome::Sent, attempts, remark);
                let written = ledger.write(now, |tx| {
                    append(tx, config, Body::Delivery(delivery.clone()))?;
                    works_again(tx, config, &channel)
                });
                match written {
                    Ok(happened) => happened.into_iter().map(Notice::Happened).for_each(tell),
                    Err(error) if error.is_passing() => {
                        lane.unwritten = Some(delivery);
                        tell(Notice::Trouble(error.to_string()));
                    }
                    Err(error) => return Err(error),
                }
            }
            Err(why) => {
                lane.failures = attempts;
                let longest =
                    if matches!(why, SendError::PutOff { .. }) { outbox::PARTLY_AGAIN_S } else { f64::INFINITY };
                let wait = outbox::backoff_s(attempts, jitter(config, &channel, attempts)).min(longest);
                let why = why.to_string();
                lane.not_before = clock.monotonic() + Duration::from_secs_f64(wait);
                tell(Notice::Trouble(format!(
                    "{} not delivered through '{channel}', next try in {wait:.0} s: {why}",
                    say::count(messages.len() as u64, "message"),
                )));
                let failed = Failed { channel, group, messages, attempts, why };
                let written = ledger.write(now, |tx| failed.write(tx, config));
                match written {
                    Ok(notices) => notices.into_iter().for_each(tell),
                    Err(error) if error.is_passing() => tell(Notice::Trouble(error.to_string())),
                    Err(error) => return Err(error),
                }
            }
        }
        Ok(())
    }
}

fn as_waiting<'m>(ledger: &Ledger, config: &Config, message: &'m Message) -> Result<Waiting<'m>, LedgerError> {
    let kind = Kind::from_word(&message.kind);
    let stands = matches!(message.state, Tells::Raised | Tells::Still);
    let speaks_for = match kind.filter(|_| stands && config.messages.quiet.is_some()) {
        Some(kind) => evaluate::speaks_for(ledger, config, kind, &message.subject)?,
        None => None,
    };
    Ok(Waiting { kind, speaks_for, subject: &message.subject })
}

/// An attempt that failed.
struct Failed {
    channel: String,
    group: String,
    messages: Vec<MessageRow>,
    attempts: u32,
    why: String,
}

impl Failed {
    /// Raises the alert of a channel that fails, and gives up what it has not taken for long.
    fn write(&self, tx: &mut Tx, config: &Config) -> Result<Vec<Notice>, LedgerError> {
        let mut notices = Vec::new();
        if self.attempts < outbox::FAILING_AFTER {
            return Ok(notices);
        }
        let give_up = config.messages.give_up;
        let waiting = tx.due_messages()?.iter().filter(|row| row.channel == self.channel).count();
        let lines = say::of_failing(&self.channel, self.attempts, &self.why, waiting, give_up);
        let condition = Condition::of(Kind::ChannelFailing, &self.channel, Sighting::Bad, lines);
        notices.extend(evaluate::decide(tx, config, condition)?.map(Notice::Happened));
        let since = tx.standing_alert(Kind::ChannelFailing.word(), &self.channel)?.map(|row| row.raised_at);
        let long = |at: Time| tx.now().since(at) >= give_up;
        if since.is_some_and(long) {
            let old: Vec<MessageRow> = self.messages.iter().filter(|row| long(row.created_at)).cloned().collect();
            if !old.is_empty() {
                let why = Some(self.why.clone());
                let delivery = ending(self.group.clone(), &self.channel, &old, Outcome::GivenUp, self.attempts, why);
                append(tx, config, Body::Delivery(delivery))?;
                notices.push(Notice::Trouble(say::given_up(&self.channel, old.len(), give_up)));
            }
        }
        Ok(notices)
    }
}

/// The alert of a failing channel ends with the first thing that it takes.
fn works_again(tx: &mut Tx, config: &Config, channel: &str) -> Result<Option<Happened>, LedgerError> {
    evaluate::decide(tx, config, Condition::of(Kind::ChannelFailing, channel, Sighting::Good, Vec::new()))
}

fn ending(
    key: String,
    channel: &str,
    rows: &[MessageRow],
    outcome: Outcome,
    attempts: u32,
    error: Option<String>,
) -> Delivery {
    let messages = rows.iter().map(|row| row.key.clone()).collect();
    Delivery { key, messages, channel: channel.to_owned(), outcome, attempts, error }
}

/// Between 0 and 1, another for each site, channel and attempt.
fn jitter(config: &Config, channel: &str, attempts: u32) -> f64 {
    let seed = format!("{}/{channel}/{attempts}", config.site.id);
    f64::from(Digest::of(seed.as_bytes()).as_bytes().first().copied().unwrap_or(0)) / 255.0
}
