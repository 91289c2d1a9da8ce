//! `audit prove`: a certificate of one entry.

use std::path::Path;

use super::head::hand_out;
use super::read_head;
use crate::cli::fail::{Failure, Kind};
use crate::cli::output;
use crate::cli::session::Session;
use crate::cli::sign::{write_certificate, write_page};
use crate::ledger::certificate::CannotCertify;
use crate::ledger::checkpoint::SignedHead;
use crate::ledger::note::VerifierKey;
use crate::ledger::{Body, Certificate, Seq, Store};
use crate::pipeline;
use crate::say;
use crate::signing::{self, SigningError};
use crate::zone::LocalZone;

/// Proves entry `seq` under the newest signed head; signs one first where that does not cover it.
pub fn prove(session: Session, seq: i64, kept: Option<&Path>, out: Option<&Path>, json: bool) -> Result<(), Failure> {
    let mut ledger = session.ledger()?;
    let kept = kept.map(read_head).transpose()?;
    let newest = ledger.newest_signed_head()?.filter(|newest| newest.head.size >= seq);
    let signed = match newest {
        Some(newest) => SignedHead::parse(&newest.note).map_err(SigningError::from)?,
        None if seq > ledger.head()?.size => {
            return Err(CannotCertify::NoEntry { seq, size: ledger.head()?.size }.into());
        }
        None => {
            let signed = ledger.write(session.clock.now(), |tx| {
                pipeline::come_into_force(tx, &session.config)?;
                signing::sign_head(tx, &session.config)
            })?;
            // A failed copy is told by the daemon and by `check`, and made up for.
            let _ = hand_out(&session, &signed);
            signed
        }
    };
    let missing = CannotCertify::NoEntry { seq, size: signed.checkpoint.head.size };
    let number = Seq::new(seq).ok_or(missing)?;
    let key = ledger.signing_key()?.ok_or(SigningError::NoKey)?;
    let key = VerifierKey::parse(&key).map_err(SigningError::from)?;
    let certificate = ledger.read(|store| Certificate::make(store, number, &signed, &key, kept.as_ref()))?;
    let withdrawn = withdrawn(&ledger, number, session.zone())?;
    let Some(out) = out else {
        if let Some(how) = &withdrawn {
            eprintln!("The sign-off was withdrawn. {how}");
        }
        return output::json(&certificate);
    };
    let failed = |why| Failure::new(Kind::System, why);
    write_certificate(&certificate, out).map_err(failed)?;
    let page = out.with_extension("html");
    let signed_off = match Body::parse(&certificate.entry.kind, &certificate.entry.body) {
        Ok(Body::SignOff(signed)) => Some(signed),
        _ => None,
    };
    if let Some(signed) = &signed_off {
        write_page(&session.config.site.name, signed, &certificate, out, &page, withdrawn.as_deref())
            .map_err(failed)?;
    }
    if json {
        return output::json(&certificate);
    }
    if let Some(how) = &withdrawn {
        output::print(&format!(
            "The sign-off was WITHDRAWN. {how} The page says so; the certificate is of the entry alone.\n"
        ))?;
    }
    let (entry, proof) = (&certificate.entry, &certificate.proof);
    output::print(&format!(
        "Entry {seq} ({}, written {}) is proven under the signed head of {}, code {}.\n{} checks it anywhere: \
         `twinwhite audit verify {} --head HEAD`, HEAD being what somebody kept.\n",
        entry.kind,
        entry.time,
        say::entries(proof.size),
        certificate.code,
        out.display(),
        out.display()
    ))?;
    if signed_off.is_some() {
        output::print(&format!("{} is its page for people.\n", page.display()))?;
    }
    Ok(())
}

/// How the sign-off of this entry was taken back, where it is one and was.
fn withdrawn(store: &Store, seq: Seq, zone: LocalZone) -> Result<Option<String>, Failure> {
    let Some(by) = store.sign_off(seq)?.and_then(|row| row.withdrawn) else { return Ok(None) };
    Ok(store.entry(by)?.map(|entry| {
        let reason = match &entry.body {
            Body::Retract(retract) => retract.reason.as_str(),
            _ => "",
        };
        format!("Entry {by} took it back on {}: {reason}.", zone.show_full(entry.time))
    }))
}
