//! `audit key`: the key that signs heads, and what became of those before it.

use schemars::JsonSchema;
use serde::Serialize;

use super::head::hand_out;
use crate::cli::fail::Failure;
use crate::cli::output;
use crate::cli::session::Session;
use crate::pipeline;
use crate::say;
use crate::signing::{self, Change};
use crate::units::Time;

/// The key that signs heads.
#[derive(Debug, Serialize, JsonSchema)]
pub struct KeyJson {
    /// The verifier key, to be kept outside.
    key: Option<String>,
    /// Every entry about keys, the oldest first.
    history: Vec<KeyEventJson>,
    /// The short code of the head that was signed with a new key just now; null where none was.
    code: Option<String>,
    /// Why that head could not be copied to a folder that it belongs into; null where it could, or where none was signed.
    copy_failed: Option<String>,
}

/// One entry about keys.
#[derive(Debug, Serialize, JsonSchema)]
pub struct KeyEventJson {
    /// The number of the entry.
    #[schemars(range(min = 1))]
    seq: i64,
    /// When it was written.
    time: Time,
    /// `key-made`, `key-rotated` or `key-lost`.
    kind: &'static str,
    /// The verifier key from then on.
    key: String,
    /// What it says, in words.
    says: String,
}

/// Shows the key, made if there is none; or replaces it first.
pub fn key(session: Session, change: Option<(Change, &str)>, json: bool) -> Result<(), Failure> {
    let mut ledger = session.ledger()?;
    let (config, now) = (&session.config, session.clock.now());
    let signed = match change {
        Some((change, reason)) => {
            let operator = session.operator.as_ref();
            Some(signing::replace_key(&mut ledger, config, change, reason, operator, now)?.1)
        }
        None if ledger.signing_key()?.is_none() => Some(ledger.write(now, |tx| {
            pipeline::come_into_force(tx, config)?;
            signing::sign_head(tx, config)
        })?),
        None => None,
    };
    let copy_failed = signed.as_ref().and_then(|signed| hand_out(&session, signed));
    let events = signing::key_events(&ledger)?;
    let key = ledger.signing_key()?;
    if json {
        let history = events.into_iter().map(|event| KeyEventJson {
            seq: event.seq.get(),
            time: event.time,
            kind: event.body.kind(),
            says: say::key_event(&event.body).unwrap_or_default(),
            key: event.key,
        });
        let code = signed.map(|signed| signed.code.to_string());
        return output::json(&KeyJson { key, history: history.collect(), code, copy_failed });
    }
    let zone = session.zone();
    let mut text = format!("{}\n", output::strong(&key.unwrap_or_default()));
    let place = config.signing.key.display();
    text.push_str("This checks our signatures; have somebody outside keep it. It is no secret; the private key ");
    text.push_str(&if config.signing.key.exists() {
        format!("is in\n{place}\n\n")
    } else {
        format!(
            "belongs into\n{place}\nand is MISSING there: nothing can be signed until you put your copy of it back, or say \
             `twinwhite audit key --lost REASON`.\n\n"
        )
    });
    for event in events {
        let says = say::key_event(&event.body).unwrap_or_default();
        text.push_str(&format!("{}  entry {}: {says}\n", zone.show(event.time), event.seq));
    }
    if matches!(change, Some((Change::Lost, _))) {
        text.push_str("\nNothing vouches for the new key: give it by hand to everybody who keeps the old one.\n");
    }
    if let Some(signed) = signed {
        text.push_str(&format!(
            "\nSigned with it: the head of {}, code {}.\n",
            say::entries(signed.checkpoint.head.size),
            signed.code
        ));
    }
    if let Some(why) = copy_failed {
        text.push_str(&format!("{why}\n"));
    }
    output::print(&text)
}
