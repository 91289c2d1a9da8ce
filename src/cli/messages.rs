//! `messages` and `resend`: what waits to be told, what was given up, and whether the channels work.

use schemars::JsonSchema;
use serde::Serialize;

use super::fail::Failure;
use super::output;
use super::session::Session;
use crate::acts;
use crate::alert::Kind;
use crate::config::Config;
use crate::ledger::store::MessageRow;
use crate::ledger::{LedgerError, Store};
use crate::outbox::{LOG_CHANNEL, Message};
use crate::say;
use crate::units::Time;
use crate::zone::LocalZone;

/// The answer of `messages --json`.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Answer {
    /// Every channel of the configuration; the log is always there.
    channels: Vec<ChannelState>,
    /// What waits, the oldest first.
    waiting: Vec<Told>,
    /// What was given up and can be sent again, the oldest first.
    given_up: Vec<Told>,
}

/// How a channel does.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct ChannelState {
    /// Its id.
    pub channel: String,
    /// Since when it takes nothing; null where it works as far as is known.
    pub failing_since: Option<Time>,
    /// What it said, and what becomes of its messages.
    pub why: Option<String>,
    /// When something last went out through it; null for never.
    pub last_sent: Option<Time>,
    /// What it complained of when something last went out through it, like a recipient whom the mail server refuses; null for
    /// nothing.
    pub remark: Option<String>,
    /// Messages that wait for it.
    pub waiting: u64,
    /// Messages that were given up.
    pub given_up: u64,
}

/// A message that waits or was given up.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct Told {
    /// Its key, for `resend`.
    key: String,
    /// The channel.
    channel: String,
    /// When it was written.
    at: Time,
    /// Its first line.
    headline: String,
}

/// How every channel does.
pub fn channel_states(store: &Store, config: &Config) -> Result<Vec<ChannelState>, LedgerError> {
    let (waiting, given_up) = (store.due_messages()?, store.given_up_messages()?);
    let count = |rows: &[MessageRow], id: &str| rows.iter().filter(|row| row.channel == id).count() as u64;
    let configured = config.channels.iter().map(|channel| channel.id.as_str());
    std::iter::once(LOG_CHANNEL)
        .chain(configured)
        .map(|id| {
            let failing = store.standing_alert(Kind::ChannelFailing.word(), id)?;
            Ok(ChannelState {
                channel: id.to_owned(),
                failing_since: failing.as_ref().map(|alert| alert.raised_at),
                why: failing.map(|alert| alert.detail.lines().next().unwrap_or_default().to_owned()),
                last_sent: store.last_sent(id)?,
                remark: store.last_remark(id)?,
                waiting: count(&waiting, id),
                given_up: count(&given_up, id),
            })
        })
        .collect()
}

/// A line for each channel that needs somebody, for `status`.
pub fn troubles(channels: &[ChannelState], zone: &LocalZone) -> String {
    let mut text = String::new();
    for channel in channels {
        let id = &channel.channel;
        if let Some(since) = channel.failing_since {
            let waiting = verb(channel.waiting as usize, "waits", "wait");
            text.push_str(&format!(
                "Messages through '{id}' do not get through since {}: {waiting}.\n",
                zone.show(since)
            ));
        }
        if let (None, Some(remark)) = (channel.failing_since, &channel.remark) {
            text.push_str(&format!("'{id}' works, but {remark}.\n"));
        }
        if channel.given_up > 0 {
            let lost = verb(channel.given_up as usize, "was", "were");
            text.push_str(&format!("{lost} given up through '{id}'; `twinwhite messages` lists what was.\n"));
        }
    }
    text
}

/// Answers `messages`.
pub fn messages(session: Session, json: bool) -> Result<(), Failure> {
    let config = &session.config;
    let (channels, waiting, given_up) = session.reader()?.read(|store| {
        Ok::<_, LedgerError>((channel_states(store, config)?, store.due_messages()?, store.given_up_messages()?))
    })?;
    if json {
        let told = |rows: &[MessageRow]| rows.iter().map(as_json).collect();
        return output::json(&Answer { channels, waiting: told(&waiting), given_up: told(&given_up) });
    }
    output::print(&as_text(&channels, &waiting, &given_up, &session.zone()))
}

fn headline(row: &MessageRow) -> String {
    serde_json::from_str::<Message>(&row.body).map(|message| message.headline).unwrap_or_default()
}

fn as_json(row: &MessageRow) -> Told {
    Told { key: row.key.clone(), channel: row.channel.clone(), at: row.created_at, headline: headline(row) }
}

fn as_text(channels: &[ChannelState], waiting: &[MessageRow], given_up: &[MessageRow], zone: &LocalZone) -> String {
    let failing = channels.iter().filter(|channel| channel.failing_since.is_some()).count();
    let verdict = match (failing, given_up.len(), waiting.len()) {
        (0, 0, 0) => "Everything was told.".to_owned(),
        (0, 0, waiting) => format!("{} to be told.", verb(waiting, "waits", "wait")),
        (0, lost, _) => format!("{} given up.", verb(lost, "was", "were")),
        (1, ..) => "A channel does not get through.".to_owned(),
        (failing, ..) => format!("{failing} channels do not get through."),
    };
    let mut text = format!("{}\n", output::strong(&verdict));
    for channel in channels {
        let state = match (channel.failing_since, channel.last_sent) {
            (Some(since), _) => format!("does not get through since {}", zone.show(since)),
            (None, Some(last)) => format!("last took something {}", zone.show(last)),
            (None, None) => "nothing went through it yet".to_owned(),
        };
        text.push_str(&format!("  {}: {state}", channel.channel));
        for (count, word) in [(channel.waiting, "waiting"), (channel.given_up, "given up")] {
            if count > 0 {
                text.push_str(&format!(", {count} {word}"));
            }
        }
        text.push('\n');
        if let Some(why) = &channel.why {
            text.push_str(&format!("    {why}\n"));
        }
        if let (None, Some(remark)) = (channel.failing_since, &channel.remark) {
            text.push_str(&format!("    but {remark}\n"));
        }
    }
    for (title, rows) in [("waiting", waiting), ("given up", given_up)] {
        if !rows.is_empty() {
            text.push_str(&format!("{title}:\n"));
        }
        for row in rows {
            text.push_str(&format!("  {}  {}\n    {}\n", zone.show(row.created_at), headline(row), row.key));
        }
    }
    if !given_up.is_empty() {
        text.push_str("`twinwhite resend --all` has them tried again.\n");
    }
    text
}

fn verb(count: usize, one: &str, many: &str) -> String {
    format!("{} {}", say::count(count as u64, "message"), if count == 1 { one } else { many })
}

/// Has messages tried again.
pub fn resend(session: Session, keys: &[String]) -> Result<(), Failure> {
    let (now, operator) = (session.clock.now(), session.operator.as_ref());
    let mut ledger = session.ledger()?;
    let count = acts::resend(&mut ledger, &session.config, keys, operator, now)?;
    output::print(&match count {
        0 => "Nothing was given up.\n".to_owned(),
        _ => format!("{} again; `twinwhite run` sends what waits.\n", verb(count, "waits", "wait")),
    })
}
