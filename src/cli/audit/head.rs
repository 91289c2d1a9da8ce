//! `audit head`: the newest signed head, to be kept by somebody outside.

use schemars::JsonSchema;
use serde::Serialize;

use crate::cli::fail::Failure;
use crate::cli::output;
use crate::cli::session::Session;
use crate::ledger::checkpoint::SignedHead;
use crate::ledger::store::SignedRow;
use crate::pipeline;
use crate::say;
use crate::signing::{self, SigningError, files};
use crate::units::Time;

/// The newest signed head.
#[derive(Debug, Serialize, JsonSchema)]
pub struct HeadJson {
    /// How many entries it covers.
    #[schemars(range(min = 1))]
    size: i64,
    /// Their root (RFC 9162), 64 hexadecimal digits.
    #[schemars(extend("pattern" = "^[0-9a-f]{64}$"))]
    root: String,
    /// When it was signed.
    time: Option<Time>,
    /// Its short code.
    code: String,
    /// The whole signed note.
    note: String,
    /// The verifier key that it is signed with.
    key: Option<String>,
    /// Why it could not be copied to a folder that it belongs into; null where it could.
    copy_failed: Option<String>,
}

/// Signs a head where there is news, and shows the newest.
pub fn head(session: Session, json: bool) -> Result<(), Failure> {
    let mut ledger = session.ledger()?;
    let config = &session.config;
    // Only to look is no news.
    let newest = ledger.newest_signed_head()?.filter(|newest| Ok(newest.head) == ledger.head().map_err(|_| ()));
    let signed = match newest {
        Some(newest) => SignedHead::parse(&newest.note).map_err(SigningError::from)?,
        None => ledger.write(session.clock.now(), |tx| {
            pipeline::come_into_force(tx, config)?;
            signing::sign_head(tx, config)
        })?,
    };
    let copy_failed = hand_out(&session, &signed);
    let (size, root) = (signed.checkpoint.head.size, signed.checkpoint.head.root);
    if json {
        return output::json(&HeadJson {
            size,
            root: root.to_string(),
            time: signed.checkpoint.time,
            code: signed.code.to_string(),
            note: signed.note,
            key: ledger.signing_key()?,
            copy_failed,
        });
    }
    let when = signed.checkpoint.time.map_or(String::new(), |time| format!(", {}", session.zone().show_full(time)));
    let mut text = format!(
        "{}  signed head of {}{when}\n\n{}\n",
        output::strong(&signed.code.to_string()),
        say::entries(size),
        signed.note
    );
    text.push_str("Send all of it to somebody who cannot write here: it proves that nothing up to it was changed.\n");
    if let Some(why) = copy_failed {
        text.push_str(&format!("{why}\n"));
    }
    output::print(&text)
}

/// Writes the head's files; why not, where that failed.
pub fn hand_out(session: &Session, signed: &SignedHead) -> Option<String> {
    let row = SignedRow {
        head: signed.checkpoint.head,
        time: signed.checkpoint.time.unwrap_or_else(|| session.clock.now()),
        note: signed.note.clone(),
    };
    let mut places = files::places(&session.config).into_iter();
    let failed = places.find_map(|place| place.make_up(&session.config.site.id, std::slice::from_ref(&row)).err());
    failed.map(|why| why.to_string())
}
