//! The command line: what was typed, who answers it, and how it ends.
//!
//! Every command is a file of its own beside this one. Exit codes: 0 done, 1 failed, 2 wrong usage; `status --exit-code`
//! has its own. A failure is one clear line on standard error and what to do next, in JSON when JSON was asked for.

mod acts;
mod ageing;
mod alerts;
mod answer;
mod args;
mod audit;
mod backtest;
mod backup;
mod check;
mod compare;
mod demo;
mod desktop;
mod drawing;
mod due;
mod fail;
mod forecast;
mod history;
mod init;
mod inspect;
mod maintenance;
mod messages;
mod named_file;
mod operator;
mod output;
mod plot;
mod prune;
mod record;
mod rules;
mod run;
pub mod schema;
mod send;
mod session;
mod sign;
mod status;
mod take;
mod width;

use std::process::ExitCode;

use clap::Parser;

use crate::clock::SystemClock;
use crate::signing::Change;
use args::{Audit, Cli, Command};
use fail::Failure;
use session::Session;

pub use args::Cli as Arguments;

/// Answers what was typed.
pub fn main() -> ExitCode {
    let cli = Cli::parse();
    let json = cli.command.wants_json();
    match answer(cli) {
        Ok(code) => code,
        Err(failure) => {
            failure.print(json);
            ExitCode::from(failure.exit_code())
        }
    }
}

fn answer(cli: Cli) -> Result<ExitCode, Failure> {
    let clock = SystemClock::new();
    let session = || Session::open(&cli, &clock);
    let done = |()| ExitCode::SUCCESS;
    match &cli.command {
        Command::Init(given) => init::init(&cli, given).map(done),
        Command::Run { new_ledger } => run::run(session()?, *new_ledger).map(done),
        Command::Add { device, fields, output } => take::add(session()?, device, fields, output.json).map(done),
        Command::Ingest { files, device, output } => take::ingest(session()?, files, device.as_deref(), output.json),
        Command::Inspect { look, output } => inspect::inspect(&cli, look, output.json).map(done),
        Command::Compare { files, station, when, output } => {
            compare::compare(session()?, files, station, when, output.json).map(done)
        }
        Command::Status { station, exit_code, when, output } => {
            status::status(session()?, station.as_deref(), *exit_code, when, output.json)
        }
        Command::Ageing { device, svg, when, output } => {
            ageing::ageing(session()?, device, svg.as_deref(), when, output.json).map(done)
        }
        Command::History { device, last, svg, when, output } => {
            history::history(session()?, device, *last, svg.as_deref(), when, output.json).map(done)
        }
        Command::Forecast { station, horizon, when, output } => {
            forecast::forecast(session()?, station, horizon, when, output.json).map(done)
        }
        Command::Backtest { station, when, output } => {
            backtest::backtest(session()?, station.as_deref(), when, output.json).map(done)
        }
        Command::Due { within, ics, when, output } => {
            due::due(session()?, *within, ics.as_deref(), when, output.json).map(done)
        }
        Command::Alerts { open, known, output } => alerts::alerts(session()?, *open, known, output.json).map(done),
        Command::Ack { id } => alerts::ack(session()?, *id).map(done),
        Command::Sign(signing) => sign::sign(session()?, signing).map(done),
        Command::Messages { output } => messages::messages(session()?, output.json).map(done),
        Command::Resend { keys, .. } => messages::resend(session()?, keys).map(done),
        Command::Maintenance { subject, whole_site, until, reason, end, output } => {
            let session = session()?;
            let announced = until.as_deref().zip(reason.as_deref());
            match (end, announced, subject.as_deref(), whole_site) {
                (Some(id), ..) => maintenance::end(session, *id),
                (None, Some((until, reason)), Some(subject), _) => {
                    maintenance::begin(session, Some(subject), until, reason)
                }
                (None, Some((until, reason)), None, true) => maintenance::begin(session, None, until, reason),
                (None, Some(_), None, false) => {
                    Err(Failure::new(fail::Kind::Usage, "name what is worked on, or say --whole-site"))
                }
                (None, None, ..) => maintenance::list(session, output.json),
            }
            .map(done)
        }
        Command::Record { event, device, at, file, fields } => {
            record::record(session()?, event, device, at.as_deref(), file.as_deref(), fields).map(done)
        }
        Command::Retract { seq, reason } => record::retract(session()?, *seq, reason).map(done),
        Command::Release { seq } => record::release(session()?, *seq).map(done),
        Command::Check { send: Some(channel), output } => send::send(session()?, channel, output.json).map(done),
        Command::Check { send: None, output } => check::check(&cli, &clock, output.json),
        Command::Desktop { folder, once } => desktop::desktop(&cli, &clock, folder.as_deref(), *once).map(done),
        Command::Backup { file, output } => backup::backup(session()?, file, output.json).map(done),
        Command::Restore { file, output } => backup::restore(session()?, file, output.json).map(done),
        Command::Prune(given) => prune::prune(session()?, given).map(done),
        Command::Rebuild => audit::rebuild(session()?).map(done),
        Command::Audit(Audit::Verify { certificate: Some(certificate), head, key, file, output }) => {
            let held = audit::certificate::Given { heads: head, key: key.as_deref(), file: file.as_deref() };
            audit::certificate::verify(certificate, &held, output.json)
        }
        Command::Audit(Audit::Verify { certificate: None, head, output, .. }) => {
            audit::verify(session()?, head, output.json)
        }
        Command::Audit(Audit::Show { which, output }) => audit::show::show(session()?, which, output.json).map(done),
        Command::Audit(Audit::Export { folder, output }) => {
            audit::export::export(session()?, folder, output.json).map(done)
        }
        Command::Audit(Audit::Head { output }) => audit::head::head(session()?, output.json).map(done),
        Command::Audit(Audit::Prove { seq, head, out, output }) => {
            audit::prove::prove(session()?, *seq, head.as_deref(), out.as_deref(), output.json).map(done)
        }
        Command::Audit(Audit::Key { rotate, lost, output }) => {
            let change = match (rotate, lost) {
                (Some(reason), _) => Some((Change::Rotate, reason.as_str())),
                (None, Some(reason)) => Some((Change::Lost, reason.as_str())),
                (None, None) => None,
            };
            audit::key::key(session()?, change, output.json).map(done)
        }
        Command::Demo { dir } => demo::demo(dir.as_deref(), &clock).map(done),
    }
}
