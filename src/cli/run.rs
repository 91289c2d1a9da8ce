//! `run`: the daemon in the foreground, its log on standard error.

use std::env;
use std::io::{self, IsTerminal};
use std::sync::Arc;

use tokio::sync::mpsc;
use tracing::{error, info, warn};
use tracing_subscriber::filter::{LevelFilter, Targets};
use tracing_subscriber::layer::SubscriberExt;
use tracing_subscriber::util::SubscriberInitExt;
use tracing_subscriber::{Layer, fmt};

use super::fail::{Failure, Kind};
use super::session::Session;
use crate::clock::SystemClock;
use crate::daemon::{self, FileEnd, Notice, Signal};
use crate::evaluate::Happened;
use crate::outbox::Tells;
use crate::say;

/// Runs until a signal ends it.
pub fn run(session: Session, new_ledger: bool) -> Result<(), Failure> {
    start_log();
    let (config, file) = (session.config, session.config_file);
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build()?;
    runtime.block_on(async move {
        let signals = listen()?;
        let daemon = daemon::start(config, file, Arc::new(SystemClock::new()), new_ledger, Box::new(log))?;
        daemon.run(signals).await.map_err(|stopped| {
            let message = format!("{stopped}; start it again, and `twinwhite audit verify` says whether all is well");
            Failure::new(Kind::Ledger, message)
        })
    })
}

/// Readable on a terminal, JSON under a service manager, plain text elsewhere; always on standard error.
fn start_log() {
    let filter = Targets::new().with_default(LevelFilter::WARN).with_target("twinwhite", LevelFilter::INFO);
    let layer = fmt::layer().with_writer(io::stderr).with_target(false);
    let managed = env::var_os("INVOCATION_ID").is_some() || env::var_os("JOURNAL_STREAM").is_some();
    let layer = if io::stderr().is_terminal() {
        let no_color = env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
        layer.with_ansi(!no_color).boxed()
    } else if managed {
        layer.json().flatten_event(true).boxed()
    } else {
        layer.with_ansi(false).boxed()
    };
    // A log that is already there, as in tests, serves as well.
    let _ = tracing_subscriber::registry().with(layer.with_filter(filter)).try_init();
}

/// Turns the system's signals into the daemon's.
#[cfg(unix)]
fn listen() -> Result<mpsc::Receiver<Signal>, Failure> {
    use tokio::signal::unix::{SignalKind, signal};
    let (send, receive) = mpsc::channel(4);
    let mut hangup = signal(SignalKind::hangup())?;
    let mut terminate = signal(SignalKind::terminate())?;
    let mut interrupt = signal(SignalKind::interrupt())?;
    tokio::spawn(async move {
        loop {
            let told = tokio::select! {
                _ = hangup.recv() => Signal::Reload,
                _ = terminate.recv() => Signal::Stop,
                _ = interrupt.recv() => Signal::Stop,
            };
            if send.send(told).await.is_err() {
                break;
            }
        }
    });
    Ok(receive)
}

/// Elsewhere there is only Ctrl-C.
#[cfg(not(unix))]
fn listen() -> Result<mpsc::Receiver<Signal>, Failure> {
    let (send, receive) = mpsc::channel(4);
    tokio::spawn(async move {
        while tokio::signal::ctrl_c().await.is_ok() {
            if send.send(Signal::Stop).await.is_err() {
                break;
            }
        }
    });
    Ok(receive)
}

fn log(notice: Notice) {
    match notice {
        Notice::Watching { inbox, deaf } => {
            info!(inbox = %inbox.display(), "watching");
            if let Some(deaf) = deaf {
                warn!("{deaf}");
            }
        }
        Notice::File { name, end } => match end {
            FileEnd::Taken { new, duplicates, held, warnings } => {
                info!(file = name, new, duplicates, held, "taken");
                for warning in warnings {
                    info!(file = name, "note: {warning}");
                }
            }
            FileEnd::Known => info!(file = name, "known, nothing changed"),
            FileEnd::Refused { first, count } => warn!(file = name, defects = count, first, "refused"),
            FileEnd::Incomplete(why) => info!(file = name, why, "not finished, waits"),
        },
        Notice::Happened(Happened::Verdict(verdict)) => {
            let from = verdict.from.as_deref().unwrap_or("nothing");
            let risk = say::percent(verdict.risk.get());
            info!(station = %verdict.station, from, to = verdict.verdict, risk, "verdict changed");
        }
        // Alerts are told when their message leaves.
        Notice::Happened(Happened::Alert(_)) | Notice::Round { .. } => {}
        Notice::Message(message) => {
            let lines = message.lines.join(" ");
            let state = message.state.word();
            // What tells of nothing wrong is no warning.
            match message.state {
                Tells::Raised | Tells::Still => {
                    warn!(alert = message.alert, kind = message.kind, state, lines, "{}", message.headline)
                }
                Tells::Cleared | Tells::Summary | Tells::Test => {
                    info!(alert = message.alert, kind = message.kind, state, lines, "{}", message.headline)
                }
            }
        }
        Notice::Trouble(what) => error!("{what}"),
        Notice::Settled(what) => info!("{what}"),
        Notice::Reloaded => info!("the configuration was read again and is in force"),
        Notice::Stopping => info!("stopping"),
    }
}
