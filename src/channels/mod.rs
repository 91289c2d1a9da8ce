//! The ways out: hands a group of messages to a command, a mail server, a web address or the desktop folder.
//!
//! Here: one attempt, with its bound in time and what it says when it fails. Not here: when to try, how often, and what is
//! told (`outbox`, `daemon`); the words of a mail (`say::letter`). No error tells a secret.

mod command;
pub mod desktop;
mod mail;
pub mod secret;
mod webhook;

use std::collections::BTreeSet;
use std::path::PathBuf;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use crate::config::{Channel, ChannelKind, Site};
use crate::outbox::{Group, Message, Tells};
use crate::say::letter::{self, Letter, Part, State};
use crate::units::Time;
use crate::zone::LocalZone;
use secret::SecretTrouble;

/// No attempt takes longer, whatever the other side does.
pub const PATIENCE: Duration = Duration::from_secs(30);

/// A channel took a group.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Taken {
    /// What a person should hear of it all the same, like a recipient whom the server refuses.
    pub remarks: Vec<String>,
}

/// Who has heard of messages that others behind the same channel have yet to hear of: its delivery is tried again, and they
/// are not told twice. Held in memory by whoever tries; its clones are one.
#[derive(Debug, Clone, Default)]
pub struct Heard(Arc<Mutex<BTreeSet<(String, String)>>>);

impl Heard {
    /// Forgets all but the messages that still wait.
    pub fn keep(&self, waits: impl Fn(&str) -> bool) {
        self.all().retain(|(message, _)| waits(message));
    }

    fn has(&self, who: &str, message: &str) -> bool {
        self.all().contains(&(message.to_owned(), who.to_owned()))
    }

    fn note<'a>(&self, who: &str, messages: impl Iterator<Item = &'a str>) {
        self.all().extend(messages.map(|message| (message.to_owned(), who.to_owned())));
    }

    fn all(&self) -> MutexGuard<'_, BTreeSet<(String, String)>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Why an attempt failed: what was found, and what to do. Never holds a secret.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum SendError {
    /// It did not end.
    #[error("{what} did not come to an end within {} s; it may have taken the message all the same", PATIENCE.as_secs())]
    TooLong {
        /// The other side.
        what: String,
    },
    /// A secret cannot be had.
    #[error(transparent)]
    Secret(#[from] SecretTrouble),
    /// The other side was not reached.
    #[error("{peer} cannot be reached: {why}; see whether it runs, and that name, port and network are right")]
    Unreachable {
        /// The other side.
        peer: String,
        /// What the system said.
        why: String,
    },
    /// The line cannot be made safe.
    #[error("no safe line to {peer}: {why}; see the certificate and `ca_file`")]
    Unsafe {
        /// The other side.
        peer: String,
        /// What is wrong with it.
        why: String,
    },
    /// The mail server does not begin with TLS.
    #[error(
        "no safe line to {peer}: it does not speak TLS from the start there; try security = \"starttls\", or another `port`"
    )]
    Plain {
        /// The server.
        peer: String,
    },
    /// The mail server has no STARTTLS.
    #[error(
        "no safe line to {peer}: it does not offer STARTTLS; try security = \"tls\" with port 465, or \"none\" for a server on this machine"
    )]
    NoStarttls {
        /// The server.
        peer: String,
    },
    /// The line was cut or fell silent.
    #[error("{peer} broke off: {why}; it may have taken the message all the same")]
    BrokenOff {
        /// The other side.
        peer: String,
        /// What happened.
        why: String,
    },
    /// The mail server does not know the user or the password.
    #[error("{peer} does not accept user '{user}' with this password ({code}); correct `user` or the password's file")]
    Login {
        /// The server.
        peer: String,
        /// The user.
        user: String,
        /// The reply code (RFC 5321).
        code: String,
    },
    /// The other side answered, and did not take it.
    #[error("{peer} did not take it: {answer}; {advice}")]
    Refused {
        /// The other side.
        peer: String,
        /// What it answered, at most 200 characters.
        answer: String,
        /// What to do.
        advice: &'static str,
    },
    /// The other side took it for some and may take it for the others later.
    #[error("{peer} puts off some, while the others got it: {answer}; it may take it later")]
    PutOff {
        /// The other side.
        peer: String,
        /// Whom, and why; at most 200 characters.
        answer: String,
    },
    /// A program failed.
    #[error("'{program}' {found}; try it by hand, with the message on its standard input")]
    Command {
        /// The program.
        program: String,
        /// How.
        found: String,
    },
    /// A folder cannot be written to.
    #[error("{} cannot be written: {why}; see that twinwhite may write there", path.display())]
    Folder {
        /// The file.
        path: PathBuf,
        /// What the system said.
        why: String,
    },
    /// The message cannot be made into a mail.
    #[error("the message cannot be made into a mail: {0}")]
    Letter(String),
}

/// Hands `group` to `channel` once, for all who are not known to have `heard` it. Ends within [`PATIENCE`].
pub async fn send(channel: &Channel, group: &Group, heard: &Heard, now: Time) -> Result<Taken, SendError> {
    let taken = |()| Taken::default();
    let group = group.clone();
    match channel.kind.clone() {
        ChannelKind::Command { program, arguments } => command::send(&program, &arguments, &group).await.map(taken),
        ChannelKind::Mail(mail) => {
            let peer = mail::peer(&mail);
            let (id, heard) = (channel.id.clone(), heard.clone());
            in_time(peer, move || mail::send(&mail, &id, &group, &heard, now)).await
        }
        ChannelKind::Webhook(webhook) => {
            let peer = "the web address".to_owned();
            in_time(peer, move || webhook::send(&webhook, &group, now)).await.map(taken)
        }
        ChannelKind::Desktop { folder } => {
            let peer = folder.display().to_string();
            in_time(peer, move || desktop::lay(&folder, &group, now)).await.map(taken)
        }
    }
}

/// Runs what blocks on a thread of its own, and leaves it if it does not end. Not on the runtime's: its end would wait.
async fn in_time<T: Send + 'static>(
    what: String,
    work: impl FnOnce() -> Result<T, SendError> + Send + 'static,
) -> Result<T, SendError> {
    within(PATIENCE, what, work).await
}

async fn within<T: Send + 'static>(
    patience: Duration,
    what: String,
    work: impl FnOnce() -> Result<T, SendError> + Send + 'static,
) -> Result<T, SendError> {
    let (tell, told) = tokio::sync::oneshot::channel();
    let thread = std::thread::Builder::new().name("channel".to_owned());
    let started = thread.spawn(move || {
        // Nobody listens any more once the time is up.
        let _ = tell.send(work());
    });
    if let Err(why) = started {
        return Err(SendError::Unreachable { peer: what, why: format!("no thread can be started ({why})") });
    }
    match tokio::time::timeout(patience, told).await {
        Ok(Ok(end)) => end,
        Ok(Err(_)) => Err(SendError::BrokenOff { peer: what, why: "the attempt ended without an answer".to_owned() }),
        Err(_) => Err(SendError::TooLong { what }),
    }
}

/// A group that tells nothing but that this channel works.
pub fn test_group(site: &Site, channel: &str, now: Time) -> Group {
    let at_local = LocalZone(site.zone).show_full(now);
    let (headline, lines) = letter::trial(&site.name, channel);
    let key = format!("{}/{channel}/test-{}", site.id, now.micros());
    let message = Message {
        key: key.clone(),
        site: site.id.clone(),
        alert: None,
        kind: Tells::Test.word().to_owned(),
        subject: channel.to_owned(),
        state: Tells::Test,
        at: now,
        at_local: at_local.clone(),
        since: now,
        since_local: at_local.clone(),
        headline: headline.clone(),
        lines,
    };
    let (site, site_name) = (site.id.clone(), site.name.clone());
    Group { key, site, site_name, at: now, at_local, headline, messages: vec![message] }
}

/// The words of a group, for a mail or a desktop.
pub fn letter_of(group: &Group) -> Letter<'_> {
    let parts = group.messages.iter().map(|message| {
        let state = match (message.state, message.alert) {
            (Tells::Cleared, _) => State::Over,
            (_, Some(alert)) => State::Open { alert },
            (_, None) => State::News,
        };
        let at = if state == State::Over { &message.at_local } else { &message.since_local };
        Part { headline: &message.headline, at, lines: &message.lines, state }
    });
    Letter {
        headline: &group.headline,
        site: &group.site_name,
        at: &group.at_local,
        parts: parts.collect(),
        version: env!("CARGO_PKG_VERSION"),
    }
}

/// What somebody else said, fit to be repeated: one line of at most 200 printable characters.
fn said(text: &str) -> String {
    let printable = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect::<String>();
    let short: String = printable.split_whitespace().collect::<Vec<_>>().join(" ").chars().take(200).collect();
    if short.is_empty() { "without a word".to_owned() } else { short }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn what_does_not_end_is_left() {
        let (hold, held) = std::sync::mpsc::channel::<()>();
        let end = within(Duration::from_millis(20), "the peer".to_owned(), move || {
            let _ = held.recv();
            Ok(())
        });
        assert_eq!(end.await, Err(SendError::TooLong { what: "the peer".to_owned() }));
        drop(hold);
    }

    #[test]
    fn what_others_say_is_cut_to_a_line() {
        assert_eq!(said("no\r\nsuch \x1b[31m user "), "no such [31m user");
        assert_eq!(said(" \n"), "without a word");
        assert_eq!(said(&"ü".repeat(300)).chars().count(), 200);
    }
}
