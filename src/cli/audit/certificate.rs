//! `audit verify CERTIFICATE`: is what somebody was handed true to a head that they kept? Needs neither ledger nor configuration.

use std::path::Path;
use std::process::ExitCode;

use schemars::JsonSchema;
use serde::Serialize;

use super::{kept, read};
use crate::cli::fail::Failure;
use crate::cli::output;
use crate::cli::sign::{as_text, print_file};
use crate::ledger::Body;
use crate::ledger::certificate::{BadCertificate, Certificate, CertifiedEntry, Kept};
use crate::ledger::checkpoint::SignedHead;
use crate::ledger::entry::sign_off::PrintFile;
use crate::ledger::note::VerifierKey;
use crate::say;

/// Whether a certificate holds against what somebody kept. Printed, with exit code 1, also where it does not.
#[derive(Debug, Serialize, JsonSchema)]
pub struct Checked {
    /// Whether all of it agrees, and with what was kept, and the file given is the one that was signed off.
    ok: bool,
    /// What it was held against. `nothing`: only its inner agreement was checked, which whoever has any key can bring about.
    against: Against,
    /// Whether a head or code that was kept fixes the entry: false where each head was signed before the entry was written (its history is
    /// only continued by the certificate's), where nothing was kept, and where the certificate does not hold.
    covered: bool,
    /// Whether the verifier key was given and is that of the certificate; null where none was given.
    key_matches: Option<bool>,
    /// Whether the file given is the one that was signed off, by SHA-256 and length; false also where the certificate names none; null where
    /// no file was given, or the certificate does not hold.
    file_matches: Option<bool>,
    /// The entry that is certified; null where the file is no certificate.
    entry: Option<CertifiedEntry>,
    /// How many entries its signed head covers; null where it holds none.
    size: Option<i64>,
    /// The short code of its signed head; null where it holds none.
    code: Option<String>,
    /// What does not hold; null where all does.
    why: Option<String>,
}

/// What a certificate was held against.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, JsonSchema)]
#[serde(rename_all = "lowercase")]
#[allow(missing_docs)]
pub enum Against {
    Head,
    Code,
    Nothing,
}

/// What a certificate is held against.
pub struct Given<'a> {
    /// Files with signed heads, or short codes.
    pub heads: &'a [String],
    /// A verifier key.
    pub key: Option<&'a str>,
    /// A print file.
    pub file: Option<&'a Path>,
}

/// Checks a certificate; exit code 1 where it does not hold.
pub fn verify(certificate: &Path, given: &Given, json: bool) -> Result<ExitCode, Failure> {
    let key = given.key;
    let print = given.file.map(|path| Ok::<_, Failure>((path, print_file(path)?))).transpose()?;
    let kept = given.heads.iter().map(|named| kept(named)).collect::<Result<Vec<Kept>, Failure>>()?;
    let text = read(certificate)?;
    let read = Certificate::parse(&text);
    let checked = read.as_ref().map_err(Clone::clone).and_then(|certificate| check(certificate, &kept, key));
    let against = match kept.as_slice() {
        [] => Against::Nothing,
        kept if kept.iter().any(|one| matches!(one, Kept::Head(_))) => Against::Head,
        _ => Against::Code,
    };
    let certificate = read.ok();
    let print = print.filter(|_| checked.is_ok()).zip(certificate.as_ref());
    let print = print.map(|((path, found), certificate)| compared(path, &found, certificate));
    let ok = checked.is_ok() && !matches!(print, Some(Err(_)));
    let head = certificate.as_ref().and_then(|certificate| SignedHead::parse(&certificate.head).ok());
    if json {
        output::json(&Checked {
            ok,
            against,
            covered: checked.is_ok()
                && certificate.as_ref().is_some_and(|read| kept.iter().any(|kept| kept.covers(read.entry.seq))),
            key_matches: key.map(|key| certificate.as_ref().is_some_and(|certificate| certificate.key == key.trim())),
            file_matches: print.as_ref().map(Result::is_ok),
            entry: certificate.map(|certificate| certificate.entry),
            size: head.as_ref().map(|head| head.checkpoint.head.size),
            code: head.as_ref().map(|head| head.code.to_string()),
            why: checked.as_ref().err().map(ToString::to_string).or(print.and_then(Result::err)),
        })?;
    } else {
        // What was asked for is told first where it fails, else after what it rests on.
        if let Some(Err(why)) = &print {
            output::print(&format!("NOT the file that was signed off: {why}.\n"))?;
        }
        output::print(&words(certificate.as_ref(), &checked, &kept, key.is_some()))?;
        if let Some(Ok(same)) = &print {
            output::print(&format!("{same}.\n"))?;
        }
    }
    Ok(if ok { ExitCode::SUCCESS } else { ExitCode::FAILURE })
}

fn check(certificate: &Certificate, kept: &[Kept], key: Option<&str>) -> Result<SignedHead, BadCertificate> {
    let head = certificate.check(None)?;
    if let Some(key) = key {
        let held = VerifierKey::parse(key.trim()).map_err(|bad| BadCertificate::Form(format!("--key: {bad}")))?;
        if held.to_string() != certificate.key {
            return Err(BadCertificate::Key);
        }
    }
    kept.iter().try_for_each(|kept| certificate.check(Some(kept)).map(|_| ()))?;
    Ok(head)
}

fn words(
    certificate: Option<&Certificate>,
    checked: &Result<SignedHead, BadCertificate>,
    kept: &[Kept],
    keyed: bool,
) -> String {
    let (certificate, head) = match (certificate, checked) {
        (Some(certificate), Ok(head)) => (certificate, head),
        (_, Err(bad)) => return format!("NOT proven: {bad}.\n"),
        (None, Ok(_)) => return "NOT proven: there is no certificate.\n".to_owned(),
    };
    let CertifiedEntry { site, seq, time, kind, body } = &certificate.entry;
    let (size, code) = (head.checkpoint.head.size, head.code);
    let heads = kept.iter().filter_map(|kept| match kept {
        Kept::Head(held) => Some(held.checkpoint.head.size),
        Kept::Code(_) => None,
    });
    let mut text = match heads.max() {
        Some(held) if held >= *seq => {
            format!("Proven: the ledger of {site} held this entry, and the head that you hold covers it.\n")
        }
        _ if kept.iter().any(|kept| matches!(kept, Kept::Code(_))) => format!(
            "Proven, as far as a code of 60 bits can: the ledger of {site} held this entry under the head with your code.\n"
        ),
        Some(held) => older(held, head, *seq),
        None => {
            "Only inner agreement was checked: all parts of the certificate fit each other.\nWhoever has any key can make such a file. \
             To prove more, hold it against a head kept elsewhere, with --head FILE or --head CODE.\n"
                .to_owned()
        }
    };
    text.push_str(&format!("  entry  {seq}, {kind}, written {time}\n"));
    match Body::parse(kind, body) {
        Ok(Body::SignOff(signed)) => text.push_str(&as_text(&signed)),
        _ => text.push_str(&format!("  says   {body}\n")),
    }
    text.push_str(&format!("  head   {}, code {code}\n", say::entries(size)));
    let key = if keyed { "is the one that you hold" } else { "was taken from the certificate" };
    text.push_str(&format!("  key    {}\n         {key}\n", certificate.key));
    text
}

/// Whether a print file is the one that the sign-off in a certificate names, and in which words.
fn compared(path: &Path, found: &PrintFile, certificate: &Certificate) -> Result<String, String> {
    let path = path.display();
    let CertifiedEntry { seq, kind, body, .. } = &certificate.entry;
    let Ok(Body::SignOff(signed)) = Body::parse(kind, body) else {
        return Err(format!(
            "entry {seq} is of the kind {kind} and no sign-off, so it names no print file to hold {path} against"
        ));
    };
    let Some(PrintFile { name, sha256, bytes }) = signed.file else {
        return Err(format!("the sign-off of {} names no print file to hold {path} against", signed.job));
    };
    if (found.sha256, found.bytes) == (sha256, bytes) {
        return Ok(format!(
            "{path} is the file that this sign-off of {} names, {name}: SHA-256 and length agree",
            signed.job
        ));
    }
    Err(format!(
        "{path} has {} bytes with the SHA-256 {}, the sign-off of {} names {name} with {bytes} bytes and {sha256}",
        found.bytes, found.sha256, signed.job
    ))
}

/// What a head shows of an entry that was written after it.
fn older(held: i64, own: &SignedHead, seq: i64) -> String {
    let (size, code) = (say::entries(own.checkpoint.head.size), own.code);
    let held = say::entries(held);
    format!(
        "The head that you hold is older than the entry and does not fix it.\n\
         Shown: entry {seq} stands under the certificate's own head of {size}, whose history continues your head of {held}.\n\
         Not shown: that entry {seq} was always as it says. Whoever has the key can make another entry {seq} that fits your head as well.\n\
         Ask somebody who cannot write to the ledger for a head of {} or more, or whether they hold the code {code}, and give that with --head.\n",
        say::entries(seq)
    )
}
