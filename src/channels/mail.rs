//! Mail: one letter for all recipients, handed to a server over SMTP (RFC 5321).
//!
//! The steps are taken one by one instead of by the library's own `send`, which gives up at the first recipient that is
//! refused. A recipient refused for good is remarked on and the others hear. One put off for now fails the attempt after
//! the others have heard; they are remembered, so that the next attempt of the same group does not tell them twice.

use std::collections::VecDeque;
use std::sync::Mutex;
use std::time::{Duration, SystemTime};

use lettre::Address;
use lettre::message::header::{HeaderName, HeaderValue};
use lettre::message::{Mailbox, Message, MultiPart};
use lettre::transport::smtp::Error;
use lettre::transport::smtp::authentication::{Credentials, DEFAULT_MECHANISMS};
use lettre::transport::smtp::client::{Certificate, CertificateStore, SmtpConnection, TlsParameters};
use lettre::transport::smtp::commands::{Data, Mail as MailFrom, Rcpt};
use lettre::transport::smtp::extension::ClientId;

use super::{SendError, Taken, said, secret};
use crate::config::{Mail, Security};
use crate::ledger::Digest;
use crate::outbox::{Group, Tells};
use crate::say::letter::{self, Letter, Part, State};
use crate::units::Time;

/// For each answer that is waited for.
const STEP: Duration = Duration::from_secs(10);

/// Who has heard of a group that others have yet to hear of.
struct Heard {
    key: String,
    to: Vec<Address>,
}

/// How many such groups are remembered.
const REMEMBERED: usize = 64;

static HEARD: Mutex<VecDeque<Heard>> = Mutex::new(VecDeque::new());

/// How people know the server.
pub(super) fn peer(mail: &Mail) -> String {
    format!("mail server {}, port {}", mail.server, mail.port)
}

/// Sends the group to everybody who has not had it.
pub(super) fn send(mail: &Mail, group: &Group, now: Time) -> Result<Taken, SendError> {
    let password = mail.login.as_ref().map(|login| secret::read(&login.password)).transpose()?;
    let letter = compose(mail, group, now)?;
    let waiting: Vec<&Mailbox> = mail.to.iter().filter(|to| !has_heard(&group.key, &to.email)).collect();
    let mut line = open(mail)?;
    if let (Some(login), Some(password)) = (&mail.login, &password) {
        let credentials = Credentials::new(login.user.clone(), password.reveal().to_owned());
        line.auth(DEFAULT_MECHANISMS, &credentials).map_err(|error| refused_login(mail, &login.user, error))?;
    }
    line.command(MailFrom::new(Some(mail.from.email.clone()), Vec::new())).map_err(|error| refused(mail, error))?;
    let (mut taken, mut put_off, mut remarks) = (Vec::new(), None, Vec::new());
    for to in waiting {
        match line.command(Rcpt::new(to.email.clone(), Vec::new())) {
            Ok(_) => taken.push(to.email.clone()),
            Err(error) if error.is_permanent() => remarks.push(format!(
                "{} refuses {} for good and the others get it: {}",
                peer(mail),
                to.email,
                answer(&error)
            )),
            Err(error) if error.is_transient() => put_off = Some(error),
            Err(error) => return Err(refused(mail, error)),
        }
    }
    if !taken.is_empty() {
        line.command(Data).and_then(|_| line.message(&letter)).map_err(|error| refused(mail, error))?;
    }
    // It is taken already: how the line is closed changes nothing.
    let _ = line.quit();
    match put_off {
        Some(error) => {
            remember(&group.key, taken);
            Err(refused(mail, error))
        }
        None if taken.is_empty()
            && !remarks.is_empty()
            && mail.to.iter().all(|to| !has_heard(&group.key, &to.email)) =>
        {
            let advice = "correct `to`";
            Err(SendError::Refused { peer: peer(mail), answer: said(&remarks.join("; ")), advice })
        }
        None => {
            forget(&group.key);
            Ok(Taken { remarks })
        }
    }
}

/// A line to the server, as safe as it is meant to be.
fn open(mail: &Mail) -> Result<SmtpConnection, SendError> {
    let trouble = |error: Error| reached(mail, error);
    let hello = ClientId::default();
    let tls = match mail.security {
        Security::None => None,
        Security::Tls | Security::Starttls => Some(tls(mail)?),
    };
    let wrapper = tls.as_ref().filter(|_| mail.security == Security::Tls);
    let server = (mail.server.as_str(), mail.port);
    let mut line = SmtpConnection::connect(server, Some(STEP), &hello, wrapper, None).map_err(trouble)?;
    if let (Security::Starttls, Some(tls)) = (mail.security, &tls) {
        if !line.can_starttls() {
            let why = "it does not offer STARTTLS; port 465 wants security = \"tls\"".to_owned();
            return Err(SendError::Unsafe { peer: peer(mail), why });
        }
        line.starttls(tls, &hello).map_err(trouble)?;
    }
    Ok(line)
}

fn tls(mail: &Mail) -> Result<TlsParameters, SendError> {
    let failed = |error: Error| SendError::Unsafe { peer: peer(mail), why: said(&error.to_string()) };
    let mut tls = TlsParameters::builder(mail.server.clone());
    if let Some(path) = &mail.ca_file {
        tls = tls.certificate_store(CertificateStore::None);
        for certificate in secret::certificates(path)? {
            tls = tls.add_root_certificate(Certificate::from_der(certificate.der().to_vec()).map_err(failed)?);
        }
    }
    tls.build().map_err(failed)
}

/// Why a line could not be opened.
fn reached(mail: &Mail, error: Error) -> SendError {
    let peer = peer(mail);
    if error.status().is_some() {
        return refused(mail, error);
    }
    let why = why(&error);
    // rustls speaks through input and output errors.
    if error.is_tls()
        || ["certificate", "handshake", "InvalidContentType", "received corrupt"].iter().any(|word| why.contains(word))
    {
        SendError::Unsafe { peer, why }
    } else {
        SendError::Unreachable { peer, why }
    }
}

fn refused_login(mail: &Mail, user: &str, error: Error) -> SendError {
    match error.status() {
        // What the server says here may repeat what it was told.
        Some(code) if error.is_permanent() => {
            SendError::Login { peer: peer(mail), user: user.to_owned(), code: code.to_string() }
        }
        Some(code) => {
            let advice = "it may take the login later";
            SendError::Refused { peer: peer(mail), answer: code.to_string(), advice }
        }
        None if error.is_client() => {
            let why = "it offers no login that is known here (PLAIN or LOGIN)".to_owned();
            SendError::Unsafe { peer: peer(mail), why }
        }
        None => SendError::BrokenOff { peer: peer(mail), why: "the line broke during the login".to_owned() },
    }
}

fn refused(mail: &Mail, error: Error) -> SendError {
    let peer = peer(mail);
    if error.status().is_none() {
        return SendError::BrokenOff { peer, why: why(&error) };
    }
    let advice = match error.is_permanent() {
        true => "see `from`, `to`, and whether the server wants `user` and a password",
        false => "it may take it later",
    };
    SendError::Refused { peer, answer: answer(&error), advice }
}

/// What the server answered: its code and words.
fn answer(error: &Error) -> String {
    let code = error.status().map(|code| code.to_string()).unwrap_or_default();
    said(&format!("{code} {}", why(error)))
}

/// What lies beneath an error of the library.
fn why(error: &Error) -> String {
    if error.is_timeout() {
        return format!("no answer within {} s", STEP.as_secs());
    }
    let beneath = std::error::Error::source(error).map(|source| source.to_string());
    said(&beneath.unwrap_or_else(|| error.to_string()))
}

fn compose(mail: &Mail, group: &Group, now: Time) -> Result<Vec<u8>, SendError> {
    let failed = |why: String| SendError::Letter(said(&why));
    let letter = letter_of(group);
    let id = format!("<{}@{}>", Digest::of(group.key.as_bytes()), mail.from.email.domain());
    let micros = u64::try_from(now.micros()).unwrap_or(0);
    let automatic = HeaderName::new_from_ascii_str("Auto-Submitted");
    let mut message = Message::builder()
        .from(mail.from.clone())
        .subject(letter::subject(&letter))
        .message_id(Some(id))
        .date(SystemTime::UNIX_EPOCH + Duration::from_micros(micros))
        .raw_header(HeaderValue::new(automatic, "auto-generated".to_owned()));
    for to in &mail.to {
        message = message.to(to.clone());
    }
    let parts = MultiPart::alternative_plain_html(letter::plain(&letter), letter::html(&letter));
    Ok(message.multipart(parts).map_err(|why| failed(why.to_string()))?.formatted())
}

fn letter_of(group: &Group) -> Letter<'_> {
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

fn has_heard(key: &str, to: &Address) -> bool {
    let heard = HEARD.lock().unwrap_or_else(|broken| broken.into_inner());
    heard.iter().any(|heard| heard.key == key && heard.to.contains(to))
}

fn remember(key: &str, to: Vec<Address>) {
    let mut heard = HEARD.lock().unwrap_or_else(|broken| broken.into_inner());
    match heard.iter_mut().find(|heard| heard.key == key) {
        Some(known) => known.to.extend(to),
        None => heard.push_back(Heard { key: key.to_owned(), to }),
    }
    while heard.len() > REMEMBERED {
        heard.pop_front();
    }
}

fn forget(key: &str) {
    HEARD.lock().unwrap_or_else(|broken| broken.into_inner()).retain(|heard| heard.key != key);
}
