//! Delivers what the outbox holds: to the log at once, to commands as tasks beside the loop. At least once.
//!
//! A message is marked as sent only after its channel took it. What fails is tried again after a wait that grows
//! (`outbox::backoff_s`) and is given up, loudly, after `outbox::ATTEMPTS`. Attempts are counted while the daemon runs; after
//! a restart they begin anew.

use std::collections::HashMap;
use std::process::Stdio;
use std::time::Duration;

use tokio::io::AsyncWriteExt;
use tokio::process::Command;
use tokio::task::JoinSet;

use super::Notice;
use crate::clock::Clock;
use crate::config::{ChannelKind, Config};
use crate::evaluate::append;
use crate::ledger::entry::{Delivery, Outcome};
use crate::ledger::store::MessageRow;
use crate::ledger::{Body, Ledger, LedgerError};
use crate::outbox::{self, LOG_CHANNEL, Message};

/// A command that has not ended by then is ended, and its message tried again.
const COMMAND_PATIENCE: Duration = Duration::from_secs(30);

/// Messages under way and those that wait for another try.
#[derive(Default)]
pub(super) struct Deliveries {
    under_way: JoinSet<Done>,
    tries: HashMap<String, Try>,
    config: Option<Config>,
}

/// What is known of a message that was tried.
struct Try {
    attempts: u32,
    under_way: bool,
    /// Monotonic time before which it is not tried again.
    not_before: Duration,
}

/// How one attempt ended.
pub(super) struct Done {
    message: MessageRow,
    end: Result<(), String>,
}

impl Deliveries {
    /// Sends every message whose time has come, and returns what went through the log.
    pub(super) fn send_due(
        &mut self,
        ledger: &mut Ledger,
        config: &Config,
        clock: &dyn Clock,
    ) -> Result<Vec<Notice>, LedgerError> {
        self.config = Some(config.clone());
        let mut notices = Vec::new();
        let mut logged = Vec::new();
        for row in ledger.due_messages()? {
            if row.channel == LOG_CHANNEL {
                if let Ok(message) = serde_json::from_str::<Message>(&row.body) {
                    notices.push(Notice::Message(Box::new(message)));
                }
                logged.push(row);
            } else {
                self.send(row, config, clock.monotonic());
            }
        }
        if !logged.is_empty() {
            ledger.write(clock.now(), |tx| {
                for row in &logged {
                    append(tx, config, ended(row, Outcome::Sent, 1, None))?;
                }
                Ok::<(), LedgerError>(())
            })?;
        }
        Ok(notices)
    }

    fn send(&mut self, row: MessageRow, config: &Config, monotonic: Duration) {
        let tried = self.tries.entry(row.key.clone()).or_insert(Try {
            attempts: 0,
            under_way: false,
            not_before: Duration::ZERO,
        });
        if tried.under_way || monotonic < tried.not_before {
            return;
        }
        tried.under_way = true;
        tried.attempts += 1;
        let channel = config.channels.iter().find(|channel| channel.id == row.channel);
        match channel.map(|channel| channel.kind.clone()) {
            Some(ChannelKind::Command { program, arguments }) => {
                self.under_way.spawn(async move {
                    let end = run_command(&program, &arguments, &row.body).await;
                    Done { message: row, end }
                });
            }
            None => {
                // The channel is no longer configured: there is nobody to tell.
                tried.attempts = outbox::ATTEMPTS;
                let end = Err(format!("there is no channel '{}' any more", row.channel));
                self.under_way.spawn(async move { Done { message: row, end } });
            }
        }
    }

    /// Ends when an attempt has ended; never while none is under way.
    pub(super) async fn finished(&mut self) -> Done {
        loop {
            match self.under_way.join_next().await {
                Some(Ok(done)) => return done,
                // A task that was ended or failed leaves its message due: the next start tries it again.
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

    /// Writes down how an attempt ended; returns what to complain of.
    pub(super) fn note(
        &mut self,
        ledger: &mut Ledger,
        clock: &dyn Clock,
        done: Done,
    ) -> Result<Option<String>, LedgerError> {
        let Done { message, end } = done;
        let attempts = self.tries.get(&message.key).map_or(1, |tried| tried.attempts);
        let Some(config) = self.config.clone() else { return Ok(None) };
        let mut write = |outcome, error| {
            ledger.write(clock.now(), |tx| append(tx, &config, ended(&message, outcome, attempts, error)).map(|_| ()))
        };
        match end {
            Ok(()) => {
                self.tries.remove(&message.key);
                write(Outcome::Sent, None).map(|()| None)
            }
            Err(why) if attempts >= outbox::ATTEMPTS => {
                self.tries.remove(&message.key);
                let trouble = format!("message {} is given up after {attempts} attempts: {why}", message.key);
                write(Outcome::GivenUp, Some(why)).map(|()| Some(trouble))
            }
            Err(why) => {
                let wait = Duration::from_secs(outbox::backoff_s(attempts));
                if let Some(tried) = self.tries.get_mut(&message.key) {
                    tried.under_way = false;
                    tried.not_before = clock.monotonic() + wait;
                }
                let again = wait.as_secs();
                Ok(Some(format!("message {} was not delivered, next try in {again} s: {why}", message.key)))
            }
        }
    }
}

fn ended(row: &MessageRow, outcome: Outcome, attempts: u32, error: Option<String>) -> Body {
    Body::Delivery(Delivery { key: row.key.clone(), channel: row.channel.clone(), outcome, attempts, error })
}

/// Starts a program without a shell, gives it the message, and waits for it to end well.
async fn run_command(program: &str, arguments: &[String], message: &str) -> Result<(), String> {
    let mut command = Command::new(program);
    command.args(arguments).stdin(Stdio::piped()).stdout(Stdio::null()).stderr(Stdio::piped()).kill_on_drop(true);
    let mut child = command.spawn().map_err(|why| format!("'{program}' cannot be started: {why}"))?;
    let mut input = child.stdin.take();
    let work = async move {
        if let Some(mut stdin) = input.take() {
            // A program that does not read its input may close it; only how it ends counts.
            let _ = stdin.write_all(message.as_bytes()).await;
            let _ = stdin.shutdown().await;
        }
        child.wait_with_output().await
    };
    match tokio::time::timeout(COMMAND_PATIENCE, work).await {
        Err(_) => Err(format!("'{program}' did not end within {} s", COMMAND_PATIENCE.as_secs())),
        Ok(Err(why)) => Err(format!("'{program}': {why}")),
        Ok(Ok(output)) if output.status.success() => Ok(()),
        Ok(Ok(output)) => {
            let said: String = String::from_utf8_lossy(&output.stderr).trim().chars().take(200).collect();
            Err(format!("'{program}' ended with {}: {said}", output.status))
        }
    }
}
