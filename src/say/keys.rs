//! What became of the keys that sign heads.

use crate::ledger::Body;
use crate::ledger::entry::{KeyLost, KeyRotated};
use crate::units::OperatorId;

/// What an entry about a key says, in one sentence; `None` for other entries.
pub fn key_event(body: &Body) -> Option<String> {
    let by = |operator: &Option<OperatorId>| operator.as_ref().map(|who| format!(" by {who}")).unwrap_or_default();
    match body {
        Body::KeyMade(_) => Some("the first key was made".to_owned()),
        Body::KeyRotated(KeyRotated { reason, operator, .. }) => {
            Some(format!("the key was replaced{}, and the old one signed for the new: {reason}", by(operator)))
        }
        Body::KeyLost(KeyLost { reason, operator, .. }) => {
            Some(format!("the key was given up as lost{}, and nothing vouches for the new one: {reason}", by(operator)))
        }
        _ => None,
    }
}

/// The lines of a morning's summary that hand the newest signed head on.
pub fn head_lines(note: &str, code: &str, size: i64) -> Vec<String> {
    let told = format!(
        "Signed head of the ledger at {}, code {code}. Whoever keeps this message can prove later that nothing up to there \
         was changed (`twinwhite audit verify --head FILE`):",
        super::entries(size)
    );
    std::iter::once(told).chain(note.lines().filter(|line| !line.is_empty()).map(str::to_owned)).collect()
}
