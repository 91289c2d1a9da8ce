//! `check`: are configuration, folders, ledger, time zone, instruments and reminders sound? Runs what the daemon runs.

use std::path::Path;
use std::process::ExitCode;

use chrono::NaiveDate;
use schemars::JsonSchema;
use serde::Serialize;

use super::args::Cli;
use super::fail::Failure;
use super::messages;
use super::output;
use super::session::{self, Session};
use crate::channels::{desktop, secret};
use crate::clock::Clock;
use crate::config::Mistake;
use crate::config::find::{self, LoadError};
use crate::config::{ChannelKind, Reach, SecretPlace, WebAddress, reach_of};
use crate::evaluate;
use crate::inbox::{Folders, network_share};
use crate::ledger::{Ledger, verify};
use crate::publish::{self, beat};
use crate::say;
use crate::schedule::sources::{Stage, certificate_stage};
use crate::signing::files;
use crate::site::Instrument;
use crate::units::{Days, InstrumentId, Time};
use crate::whole_file;

/// A session that has looked within this time is there: it says so every minute.
const LOOKED: Days = Days(5.0 / 1440.0);
/// How many of a reminder's next times are shown.
const NEXT_TIMES: usize = 3;

/// Whether configuration, folders, ledger, time zone, instruments and reminders are sound. Printed, with exit code 1, also where
/// something is wrong.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Checked {
    /// Whether nothing is wrong.
    ok: bool,
    /// The configuration file.
    config: String,
    /// What is wrong with it; empty where nothing is. Nothing else is looked at before it is sound.
    mistakes: Vec<Mistake>,
    /// What was looked at, and how it was found.
    findings: Vec<Finding>,
}

/// One thing that was looked at.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Finding {
    /// What was looked at: `configuration`, `folders`, `ledger`, `signed heads`, `messages`, `instrument`, `time zone`, `stations`, `reminder`,
    /// `channel`.
    what: &'static str,
    /// How it was found.
    #[serde(rename = "found")]
    sort: Sort,
    /// The same in words, with what to do.
    says: String,
}

/// How it was found.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
pub enum Sort {
    /// As it should be.
    Sound,
    /// Nothing is wrong, but somebody should know.
    Note,
    /// Something has to be done.
    Wrong,
}

impl Sort {
    const fn word(self) -> &'static str {
        match self {
            Self::Sound => "sound",
            Self::Note => "note",
            Self::Wrong => "wrong",
        }
    }
}

/// Answers `check`; exit code 1 if anything is wrong.
pub fn check(cli: &Cli, clock: &dyn Clock, json: bool) -> Result<ExitCode, Failure> {
    let file = session::config_file(cli)?;
    let mut findings = Vec::new();
    match find::load(&file) {
        Err(LoadError::Mistaken(mistakes)) if json => {
            let config = file.display().to_string();
            output::json(&Checked { ok: false, config, mistakes: mistakes.list, findings })?;
            return Ok(ExitCode::FAILURE);
        }
        Err(why) => return Err(why.into()),
        Ok(_) => {
            let session = Session::open(cli, clock)?;
            findings.push(sound("configuration", format!("{} is sound", file.display())));
            folders(&session, &mut findings);
            ledger(&session, &mut findings);
            site(&session, &mut findings);
            reminders(&session, &mut findings);
            published(&session, &mut findings);
            channels(&session, &mut findings);
        }
    }
    let ok = findings.iter().all(|finding| finding.sort != Sort::Wrong);
    if json {
        output::json(&Checked { ok, config: file.display().to_string(), mistakes: Vec::new(), findings })?;
    } else {
        let mut text = String::new();
        for finding in &findings {
            let word = output::strong(finding.sort.word());
            text.push_str(&format!("{word:<5} {}: {}\n", finding.what, finding.says));
        }
        text.push_str(if ok { "All is sound.\n" } else { "Something is wrong; see above.\n" });
        output::print(&text)?;
    }
    Ok(if ok { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

fn sound(what: &'static str, says: impl Into<String>) -> Finding {
    Finding { what, sort: Sort::Sound, says: says.into() }
}

fn note(what: &'static str, says: impl Into<String>) -> Finding {
    Finding { what, sort: Sort::Note, says: says.into() }
}

fn wrong(what: &'static str, says: impl Into<String>) -> Finding {
    Finding { what, sort: Sort::Wrong, says: says.into() }
}

fn folders(session: &Session, findings: &mut Vec<Finding>) {
    let paths = &session.config.paths;
    let folders =
        Folders { inbox: paths.inbox.clone(), archive: paths.archive.clone(), quarantine: paths.quarantine.clone() };
    match folders.prepare() {
        Ok(()) => findings
            .push(sound("folders", format!("inbox, archive and quarantine can be used ({})", paths.inbox.display()))),
        Err(why) => findings.push(wrong("folders", why.to_string())),
    }
    if let Some(kind) = network_share(&paths.inbox) {
        let every = session.config.inbox.look_every().as_secs();
        let says = format!(
            "the inbox lies on a network share ({kind}), which sends no events: it is looked through every {every} s"
        );
        findings.push(note("folders", says));
    }
}

fn ledger(session: &Session, findings: &mut Vec<Finding>) {
    let mut ledger = match session.ledger() {
        Ok(ledger) => ledger,
        Err(why) => return findings.push(wrong("ledger", why.to_string())),
    };
    match verify(&ledger, &[]) {
        Ok(found) if found.ok => findings.push(sound("ledger", format!("whole, {}", say::entries(found.entries)))),
        Ok(found) => {
            let why = found.fault.map(|fault| fault.to_string()).unwrap_or_default();
            findings.push(wrong(
                "ledger",
                format!("{why}; move it away and put a backup in its place with `twinwhite restore FILE`"),
            ));
        }
        Err(why) => findings.push(wrong("ledger", why.to_string())),
    }
    let counted = ledger.read(|store| store.counts());
    if let Ok(counts) = counted
        && counts.due_messages > 0
    {
        let says = match counts.due_messages {
            1 => "1 message waits to be delivered; `twinwhite run` delivers it".to_owned(),
            waiting => format!("{waiting} messages wait to be delivered; `twinwhite run` delivers them"),
        };
        findings.push(note("messages", says));
    }
    heads(&ledger, session, findings);
    undeclared(&ledger, session, findings);
}

/// Whether every signed head has its files.
fn heads(ledger: &Ledger, session: &Session, findings: &mut Vec<Finding>) {
    let site = &session.config.site.id;
    let Ok(rows) = ledger.signed_heads(-1, u32::MAX) else { return };
    for place in files::places(&session.config) {
        let missing = place.missing(site, &rows).len();
        if missing > 0 {
            let folder = place.folder().display();
            let says = format!(
                "{missing} of {} {} not in {folder}: see whether it is there and can be written to; `twinwhite run` makes up for it",
                say::count(rows.len() as u64, "signed head"),
                if missing == 1 { "is" } else { "are" }
            );
            findings.push(note("signed heads", says));
        }
    }
    if session.config.signing.copies.is_none() && !rows.is_empty() {
        let says =
            "no second folder: name one under [signing] copies, or keep what `twinwhite audit head` prints elsewhere";
        findings.push(note("signed heads", says));
    }
}

/// Instruments that readings name and nobody declared.
fn undeclared(ledger: &Ledger, session: &Session, findings: &mut Vec<Finding>) {
    let declared = &session.config.things.instruments;
    for (id, readings) in ledger.instruments().unwrap_or_default() {
        if !declared.iter().any(|instrument| instrument.id == id) {
            let says = format!(
                "'{id}' made {} and is not declared: scatter 0.0007 in u′v′ and 1 % is assumed and no bias, \
                 so absolute claims are the instrument's word",
                say::count(u64::try_from(readings).unwrap_or(0), "reading")
            );
            findings.push(note("instrument", says));
        }
    }
}

/// Whether what the channels need can be had; only `--send` shows that they work.
fn channels(session: &Session, findings: &mut Vec<Finding>) {
    // A ledger that cannot be read has been told of already.
    let states = session
        .reader()
        .ok()
        .and_then(|mut ledger| ledger.read(|store| messages::channel_states(store, &session.config)).ok());
    let states = states.unwrap_or_default();
    for channel in &session.config.channels {
        let id = &channel.id;
        let (secrets, ca_file) = match &channel.kind {
            ChannelKind::Command { .. } | ChannelKind::Desktop { .. } => (Vec::new(), None),
            ChannelKind::Mail(mail) => {
                (mail.login.iter().map(|login| &login.password).collect(), mail.ca_file.as_deref())
            }
            ChannelKind::Webhook(webhook) => {
                let url = match &webhook.url {
                    WebAddress::Secret(place) => Some(place),
                    WebAddress::Written(_) => None,
                };
                (url.into_iter().chain(&webhook.secret).collect(), webhook.ca_file.as_deref())
            }
        };
        let troubles = secrets.iter().filter_map(|place| secret::read(place).err());
        let troubles: Vec<_> = troubles.chain(ca_file.and_then(|path| secret::certificates(path).err())).collect();
        findings.extend(troubles.iter().map(|why| wrong("channel", format!("'{id}': {why}"))));
        for place in secrets {
            if let SecretPlace::File(path) = place
                && secret::readable_by_everybody(path)
            {
                let says =
                    format!("'{id}': everybody on this machine can read {}; take that right away", path.display());
                findings.push(note("channel", says));
            }
        }
        if let ChannelKind::Webhook(webhook) = &channel.kind {
            findings.extend(in_the_clear(id, &webhook.url));
        }
        if let ChannelKind::Desktop { folder } = &channel.kind {
            findings.push(looked_at(id, folder, session));
        }
        let failing = states.iter().find(|state| state.channel == *id && state.failing_since.is_some());
        if let Some((state, since)) = failing.and_then(|state| Some((state, state.failing_since?))) {
            let (since, why) = (session.zone().show(since), state.why.as_deref().unwrap_or_default());
            let says =
                format!("'{id}' does not get through since {since}. {why} `twinwhite check --send {id}` tries it");
            findings.push(note("channel", says));
        } else if troubles.is_empty() {
            let says = format!("'{id}' has what it needs; `twinwhite check --send {id}` tries it");
            findings.push(sound("channel", says));
        }
    }
}

/// What is to be said of where a webhook posts to, without the address.
fn in_the_clear(id: &str, url: &WebAddress) -> Option<Finding> {
    let (url, _) = secret::address(url).ok()?;
    match reach_of(&url) {
        Ok(Reach::Encrypted | Reach::Loopback) => None,
        Ok(Reach::Private) => {
            Some(note("channel", format!("'{id}' posts in the clear: everybody on your network can read its messages")))
        }
        Err(found) => {
            let says = format!("'{id}': found {found} where its address stands; it must begin with https://");
            Some(wrong("channel", says))
        }
    }
}

/// Whether some session shows what is laid into a desktop folder.
fn looked_at(id: &str, folder: &Path, session: &Session) -> Finding {
    let start = "`twinwhite desktop` shows messages for as long as it runs in a login session";
    match desktop::last_sign(folder) {
        Some((user, at)) if session.clock.now().since(at) < LOOKED => {
            sound("channel", format!("'{id}' is shown in the session of {user}"))
        }
        Some((user, at)) => {
            let at = session.zone().show(at);
            note("channel", format!("'{id}': nobody's session has looked since {at} ({user}); {start}"))
        }
        None => {
            let folder = folder.display();
            let says =
                format!("'{id}': no session has left a sign in {folder}; {start}, and leaves one where it may write");
            note("channel", says)
        }
    }
}

fn site(session: &Session, findings: &mut Vec<Finding>) {
    let now = session.clock.now();
    let says = format!("{}, where it is {}", session.config.site.zone.name(), session.zone().show_full(now));
    findings.push(sound("time zone", says));
    let things = &session.config.things;
    if things.stations.is_empty() {
        findings.push(note("stations", "none: readings are kept, but no match is judged"));
    }
    for (instrument, until) in certificates(session) {
        let says = match certificate_stage(until, now, session.zone()) {
            Stage::Over => format!("the certificate of '{instrument}' ended on {until}"),
            Stage::Near => format!("the certificate of '{instrument}' ends soon, on {until}"),
            Stage::Far | Stage::Nearing => continue,
        };
        findings.push(note("instrument", says));
    }
}

/// The last good days of certificates, as far as the record can be read.
fn certificates(session: &Session) -> Vec<(InstrumentId, NaiveDate)> {
    let now = session.clock.now();
    let ledger = session.reader().ok();
    let instruments = session.config.things.instruments.iter();
    let until = |instrument: &Instrument| {
        let life =
            ledger.as_ref().map(|ledger| evaluate::instrument_life(ledger, &session.config, &instrument.id, now));
        match life {
            Some(Ok(life)) if life.is_retired() => None,
            Some(Ok(life)) => life.certificate_until(now),
            Some(Err(_)) | None => instrument.certificate_until,
        }
    };
    instruments.filter_map(|instrument| Some((instrument.id.clone(), until(instrument)?))).collect()
}

fn reminders(session: &Session, findings: &mut Vec<Finding>) {
    for reminder in &session.config.reminders {
        let name = format!("{reminder} ({})", reminder.cron);
        let mut times: Vec<Time> = Vec::new();
        let now = session.clock.now();
        let mut after = now;
        while times.len() < NEXT_TIMES {
            let Some(next) = reminder.cron.next_after(after, session.config.site.zone) else { break };
            times.push(next);
            after = next;
        }
        if times.is_empty() {
            findings.push(wrong("reminder", format!("{name} never comes again")));
        } else {
            findings.push(sound("reminder", format!("{name}: next {}", say::runs(&times, now, &session.zone()))));
        }
    }
}

/// The files for others, and the heartbeat's URL, which is never shown.
fn published(session: &Session, findings: &mut Vec<Finding>) {
    let config = &session.config;
    let beat_file = beat::path(config);
    for (what, file) in
        [("calendar", &config.publish.calendar), ("heartbeat", &beat_file), ("metrics", &config.publish.metrics)]
    {
        findings.push(match whole_file::try_write(file) {
            Ok(()) => sound(what, format!("{} can be written", file.display())),
            Err(why) => wrong(
                what,
                format!("{} cannot be written: {why}; check the path and who may write there", file.display()),
            ),
        });
    }
    let Some(url) = publish::heartbeat_url(config) else { return };
    let failing = beat::last(config).and_then(|last| last.url_fails);
    findings.push(match (url, failing) {
        (Err(why), _) => wrong("heartbeat", format!("the URL: {why}")),
        (Ok(_), Some(fails)) => {
            let since = session.zone().show(fails.since);
            note("heartbeat", format!("the URL fails since {since}: {}", fails.why))
        }
        (Ok(_), None) => {
            let every = config.publish.every.as_secs();
            sound("heartbeat", format!("`twinwhite run` asks for the URL every {every} s, after a complete look"))
        }
    });
}
