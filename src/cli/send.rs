//! `check --send`: one test message through one channel.

use schemars::JsonSchema;
use serde::Serialize;

use super::fail::{Failure, Kind};
use super::output;
use super::session::Session;
use crate::channels::{self, Heard};
use crate::outbox::LOG_CHANNEL;

/// The answer of `check --send CHANNEL --json`.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Sent {
    /// The channel that took the message.
    channel: String,
    /// What is to be known of it all the same, like a recipient whom the server refuses.
    remarks: Vec<String>,
}

/// Sends a test message and says whether it was taken.
pub fn send(session: Session, id: &str, json: bool) -> Result<(), Failure> {
    let config = &session.config;
    let now = session.clock.now();
    let group = channels::test_group(&config.site, id, now);
    let remarks = match config.channels.iter().find(|channel| channel.id == id) {
        Some(channel) => {
            let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
            let sent = runtime.block_on(channels::send(channel, &group, &Heard::default(), now));
            sent.map_err(|why| Failure::new(Kind::System, format!("'{id}' does not work: {why}")))?.remarks
        }
        None if id == LOG_CHANNEL => {
            eprintln!("{}", group.headline);
            Vec::new()
        }
        None => {
            let known: Vec<&str> = config.channels.iter().map(|channel| channel.id.as_str()).collect();
            let known = [&[LOG_CHANNEL], &known[..]].concat().join(", ");
            return Err(Failure::new(Kind::NotFound, format!("there is no channel '{id}'; there is {known}")));
        }
    };
    if json {
        return output::json(&Sent { channel: id.to_owned(), remarks });
    }
    let remarks: String = remarks.iter().map(|remark| format!("But {remark}.\n")).collect();
    output::print(&format!("'{id}' took a test message. See that it arrived where it should.\n{remarks}"))
}
