//! `sign`: approves a print under the match as it stands, and hands out the certificate.

use std::path::{Path, PathBuf};

use schemars::JsonSchema;
use serde::Serialize;

use super::args::Signing;
use super::audit::head::hand_out;
use super::fail::{Failure, Kind};
use super::session::Session;
use super::{named_file, output};
use crate::inbox::files_waiting;
use crate::ledger::entry::sign_off::{PrintFile, SignOff};
use crate::ledger::{Certificate, Seq};
use crate::say::sign_off::{HOW_TO_OVERRIDE, facts, page};
use crate::sign_off::{self, NotSigned, Request, Signed};
use crate::whole_file;

/// A sign-off that is on record, and what was handed out.
#[derive(Debug, Serialize, JsonSchema)]
pub struct SignedJson {
    /// The entry.
    seq: Seq,
    /// The verdict that was signed under.
    #[schemars(extend("enum" = crate::station::Verdict::ALL.map(crate::station::Verdict::word)))]
    verdict: String,
    /// Whether the program objected and somebody said why it was signed all the same.
    overridden: bool,
    /// The short code of the signed head that covers it: to be written down elsewhere.
    #[schemars(extend("pattern" = "^[0-9A-HJKMNP-TV-Z]{4}-[0-9A-HJKMNP-TV-Z]{4}-[0-9A-HJKMNP-TV-Z]{4}$"))]
    code: String,
    /// The certificate.
    certificate: Certificate,
    /// The files that were written: the certificate, and its page; null where they could not be.
    files: Option<[String; 2]>,
    /// Why something could not be written or copied; null where all could. The sign-off stands all the same.
    trouble: Option<String>,
}

/// Signs a print off.
pub fn sign(session: Session, approved: &Signing) -> Result<(), Failure> {
    let station = session.station(&approved.station)?;
    // Read before the ledger is locked.
    let file = approved.file.as_deref().map(print_file).transpose()?;
    let request = Request {
        station,
        job: &approved.job,
        file,
        operator: session.operator.as_ref(),
        over: approved.over.as_deref(),
        files_waiting: files_waiting(&session.config.paths.inbox),
    };
    // Asked before anything is signed.
    whole_file::try_write(&approved.out.join("certificate"))
        .map_err(|why| Failure::new(Kind::System, format!("NOT signed: {}", unwritten(&approved.out, &why))))?;
    let mut ledger = session.ledger()?;
    let signed = sign_off::sign(&mut ledger, &session.config, &request, session.clock.now()).map_err(refused)?;
    // The sign-off stands from here on, whatever becomes of the files.
    let copies = hand_out(&session, &signed.head);
    let site = &session.config.site;
    let written = write(&site.name, &signed, &approved.out);
    let (files, unwritten) = match written {
        Ok(files) => (Some(files), None),
        Err(why) => {
            let seq = signed.seq;
            let message =
                format!("it is signed off as entry {seq}, but {why}. `twinwhite audit prove {seq} -o FILE` writes it");
            (None, Some(message))
        }
    };
    let trouble =
        [&unwritten, &copies].into_iter().flatten().cloned().reduce(|first, second| format!("{first}; {second}"));
    let end = || unwritten.map_or(Ok(()), |message| Err(Failure::new(Kind::System, message)));
    let Signed { seq, body, head, certificate } = signed;
    if approved.output.json {
        output::json(&SignedJson {
            seq,
            verdict: body.state.verdict,
            overridden: body.over.is_some(),
            code: head.code.to_string(),
            certificate,
            files: files.map(|files| files.map(|file| file.display().to_string())),
            trouble,
        })?;
        return end();
    }
    let mut text = format!("Signed off as entry {seq}. Code {}\n", output::strong(&head.code.to_string()));
    text.push_str(&as_text(&body));
    if approved.over.is_some() && body.over.is_none() {
        text.push_str("Nothing spoke against it: the reason after --override was not needed and is not on record.\n");
    }
    if let Some([certificate, page]) = &files {
        text.push_str(&format!(
            "\nFor the client: {} and {}.\nWrite the code down, or keep the signed head, where nobody here can change it.\n",
            certificate.display(),
            page.display()
        ));
    }
    if let Some(copies) = copies {
        text.push_str(&format!("{copies}.\n"));
    }
    output::print(&text)?;
    end()
}

/// The facts of a sign-off, a line each.
pub fn as_text(signed: &SignOff) -> String {
    facts(signed).into_iter().map(|(name, said)| format!("  {name:<13}  {said}\n")).collect()
}

fn refused(why: NotSigned) -> Failure {
    match why {
        NotSigned::Refused { .. } => Failure::new(Kind::Refused, format!("{why}\n{HOW_TO_OVERRIDE}")),
        NotSigned::Job | NotSigned::NoReason => Failure::new(Kind::Usage, why.to_string()),
        NotSigned::Ledger(why) => why.into(),
        NotSigned::Signing(why) => why.into(),
        NotSigned::Certificate(why) => why.into(),
    }
}

/// Name, hash and length of the file that `--file` names.
pub fn print_file(path: &Path) -> Result<PrintFile, Failure> {
    let (name, sha256, bytes) = named_file::read(path)?;
    Ok(PrintFile { name, sha256, bytes })
}

/// Writes the certificate and its page into the folder.
fn write(site_name: &str, signed: &Signed, folder: &Path) -> Result<[PathBuf; 2], String> {
    let Signed { seq, body, certificate, .. } = signed;
    let stem = format!("{}-{}-{seq}.signoff", certificate.entry.site, safe(&body.job));
    let (file, page_file) = (folder.join(format!("{stem}.json")), folder.join(format!("{stem}.html")));
    write_certificate(certificate, &file)?;
    write_page(site_name, body, certificate, &file, &page_file, None)?;
    Ok([file, page_file])
}

/// Writes a certificate; its folder is made where it is missing.
pub fn write_certificate(certificate: &Certificate, file: &Path) -> Result<(), String> {
    let text = serde_json::to_string_pretty(certificate).map_err(|why| unwritten(file, &why))?;
    whole_file::write(file, (text + "\n").as_bytes()).map_err(|why| unwritten(file, &why))
}

/// Writes the page of a sign-off whose certificate is in `file`; `withdrawn` says how it was taken back, where it was.
pub fn write_page(
    site_name: &str,
    body: &SignOff,
    certificate: &Certificate,
    file: &Path,
    page_file: &Path,
    withdrawn: Option<&str>,
) -> Result<(), String> {
    let name = file.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default();
    let text = page::page(site_name, body, certificate, &name, withdrawn);
    whole_file::write(page_file, text.as_bytes()).map_err(|why| unwritten(page_file, &why))
}

fn unwritten(path: &Path, why: &dyn std::fmt::Display) -> String {
    format!("{} cannot be written: {why}", path.display())
}

/// A job's name as part of a file's name.
fn safe(job: &str) -> String {
    let plain: String =
        job.chars().map(|c| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' }).collect();
    let parts: Vec<&str> = plain.split('-').filter(|part| !part.is_empty()).collect();
    let joined: String = parts.join("-").chars().take(40).collect();
    if joined.is_empty() { "job".to_owned() } else { joined }
}
