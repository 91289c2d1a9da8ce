//! The ways out for messages.

mod command;

use crate::config::{Channel, ChannelKind};
use crate::outbox::Group;
use crate::units::Time;

/// Sends a group of messages through a channel.
pub async fn send(channel: &Channel, group: &Group, _now: Time) -> Result<(), String> {
    match &channel.kind {
        ChannelKind::Command { program, arguments } => {
            let body = serde_json::to_string(group).map_err(|why| why.to_string())?;
            command::run(program, arguments, &body).await
        }
    }
}
