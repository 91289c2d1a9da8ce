//! Mail: one letter for all recipients, handed to a server over SMTP (RFC 5321).
//!
//! The steps are taken one by one instead of by the library's own `send`, which gives up at the first recipient that is
//! refused. A recipient refused for good is remarked on and the others hear. One put off for now fails the attempt after
//! the others have heard; what they heard is remembered, so that the next attempt tells each only what is new to them.

use std::io::ErrorKind;
use std::time::{Duration, SystemTime};

use lettre::message::header::{HeaderName, HeaderValue};
use lettre::message::{Mailbox, Message, MultiPart};
use lettre::transport::smtp::Error;
use lettre::transport::smtp::authentication::{Credentials, DEFAULT_MECHANISMS};
use lettre::transport::smtp::client::{Certificate, CertificateStore, SmtpConnection, TlsParameters};
use lettre::transport::smtp::commands::{Data, Mail as MailFrom, Rcpt, Rset};
use lettre::transport::smtp::extension::ClientId;

use super::{Heard, SendError, Taken, said, secret};
use crate::config::{Mail, Security};
use crate::ledger::Digest;
use crate::outbox::Group;
use crate::say::letter;
use crate::units::Time;

/// For each answer that is waited for.
const STEP: Duration = Duration::from_secs(10);
/// What there is to do about what a server puts off.
const LATER: &str = "it may take it later";

/// How people know the server.
pub(super) fn peer(mail: &Mail) -> String {
    format!("mail server {}, port {}", mail.server, mail.port)
}

/// Sends to each recipient what they have not heard of the group, in as few letters as that takes.
pub(super) fn send(mail: &Mail, channel: &str, group: &Group, heard: &Heard, now: Time) -> Result<Taken, SendError> {
    let password = mail.login.as_ref().map(|login| secret::read(&login.password)).transpose()?;
    let letters = letters(mail, channel, group, heard);
    let mut line = open(mail)?;
    if let (Some(login), Some(password)) = (&mail.login, &password) {
        let credentials = Credentials::new(login.user.clone(), password.reveal().to_owned());
        line.auth(DEFAULT_MECHANISMS, &credentials).map_err(|error| refused_login(mail, &login.user, error))?;
    }
    let mut missed = Missed::default();
    for letter in &letters {
        hand_over(mail, &mut line, letter, heard, &mut missed, now)?;
    }
    // It is taken already: how the line is closed changes nothing.
    let _ = line.quit();
    let peer = peer(mail);
    let Missed { refused, put_off } = missed;
    let nobody_heard = refused.len() + put_off.len() == mail.to.len();
    match (put_off.is_empty(), nobody_heard) {
        (true, false) => {
            let remark = |refusal| format!("{peer} refuses for good, while the others get it: {refusal}");
            Ok(Taken { remarks: refused.into_iter().map(remark).collect() })
        }
        (true, true) => Err(SendError::Refused { peer, answer: said(&refused.join("; ")), advice: "correct `to`" }),
        (false, true) => Err(SendError::Refused { peer, answer: said(&put_off.join("; ")), advice: LATER }),
        (false, false) => Err(SendError::PutOff { peer, answer: said(&put_off.join("; ")) }),
    }
}

/// A letter and those who have heard nothing of what it holds.
struct Letter<'a> {
    group: Group,
    to: Vec<&'a Mailbox>,
}

/// Which letters are to be written: one, but where some have heard what others have not.
fn letters<'a>(mail: &'a Mail, channel: &str, group: &Group, heard: &Heard) -> Vec<Letter<'a>> {
    let mut letters: Vec<Letter> = Vec::new();
    for to in &mail.to {
        let mut messages = group.messages.clone();
        messages.retain(|message| !heard.has(to.email.as_ref(), &message.key));
        let left = match messages.len() == group.messages.len() {
            true => Some(group.clone()),
            false => Group::of(channel, &group.site_name, messages),
        };
        let Some(left) = left else { continue };
        match letters.iter_mut().find(|letter| letter.group.key == left.key) {
            Some(letter) => letter.to.push(to),
            None => letters.push(Letter { group: left, to: vec![to] }),
        }
    }
    letters
}

/// Who did not hear, and what the server said of them.
#[derive(Default)]
struct Missed {
    /// For good.
    refused: Vec<String>,
    /// For now.
    put_off: Vec<String>,
}

/// Hands one letter over for all whom the server takes.
fn hand_over(
    mail: &Mail,
    line: &mut SmtpConnection,
    letter: &Letter<'_>,
    heard: &Heard,
    missed: &mut Missed,
    now: Time,
) -> Result<(), SendError> {
    let text = compose(mail, &letter.group, now)?;
    line.command(MailFrom::new(Some(mail.from.email.clone()), Vec::new())).map_err(|error| refused(mail, error))?;
    let mut taken = Vec::new();
    for to in &letter.to {
        match line.command(Rcpt::new(to.email.clone(), Vec::new())) {
            Ok(_) => taken.push(to),
            Err(error) if error.is_permanent() => missed.refused.push(format!("{}: {}", to.email, answer(&error))),
            Err(error) if error.is_transient() => missed.put_off.push(format!("{}: {}", to.email, answer(&error))),
            Err(error) => return Err(refused(mail, error)),
        }
    }
    if taken.is_empty() {
        // So that another letter can begin; if the line is broken, that one says so.
        let _ = line.command(Rset);
        return Ok(());
    }
    line.command(Data).and_then(|_| line.message(&text)).map_err(|error| refused(mail, error))?;
    for to in taken {
        heard.note(to.email.as_ref(), letter.group.messages.iter().map(|message| message.key.as_str()));
    }
    Ok(())
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
            return Err(SendError::NoStarttls { peer: peer(mail) });
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
    if ["InvalidContentType", "received corrupt"].iter().any(|word| why.contains(word)) {
        return SendError::Plain { peer };
    }
    // rustls speaks through input and output errors.
    if error.is_tls() || ["certificate", "handshake"].iter().any(|word| why.contains(word)) {
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
        false => LATER,
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
    let beneath = std::error::Error::source(error);
    let kind = beneath.and_then(|source| source.downcast_ref::<std::io::Error>()).map(std::io::Error::kind);
    // A read that takes too long is told in either way.
    if error.is_timeout() || kind == Some(ErrorKind::WouldBlock) {
        return format!("no answer within {} s", STEP.as_secs());
    }
    said(&beneath.map_or_else(|| error.to_string(), ToString::to_string))
}

fn compose(mail: &Mail, group: &Group, now: Time) -> Result<Vec<u8>, SendError> {
    let failed = |why: String| SendError::Letter(said(&why));
    let letter = super::letter_of(group);
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
