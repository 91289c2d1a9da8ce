//! One sentence for each entry of the ledger, for lists of what happened. The entry says more.

use super::{key_event, verdict};
use crate::ledger::Body;
use crate::ledger::entry::{Outcome, Transition};
use crate::reading::Reading;
use crate::station::Verdict;
use crate::zone::LocalZone;

/// What an entry says, in one sentence without its full stop.
pub fn entry(body: &Body, zone: &LocalZone) -> String {
    match body {
        Body::Founded(founded) => match &founded.note {
            Some(note) => format!("the ledger begins, by twinwhite {}: {note}", founded.program),
            None => format!("the ledger begins, by twinwhite {}", founded.program),
        },
        Body::Config(config) => {
            let digest: String = config.sha256.to_string().chars().take(12).collect();
            format!("a configuration comes into force ({} bytes, {digest}…)", config.text.len())
        }
        Body::File(file) => format!("{} was taken in: {} new, {} known already", file.name, file.taken, file.duplicate),
        Body::Refusal(refusal) => format!("{} was refused", refusal.name),
        Body::ReadingTaken(taken) => {
            let Reading { device, time, .. } = &taken.reading;
            let pruned = if taken.spectrum_pruned.is_some() { "; its spectrum was pruned" } else { "" };
            format!("{device} read on {}{pruned}", zone.show(*time))
        }
        Body::EventTaken(taken) => {
            let event = &taken.event;
            format!("{}: {} on {}", event.device, event.kind.word(), zone.show(event.time))
        }
        Body::Retract(retract) => format!("entry {} is taken back: {}", retract.seq, retract.reason),
        Body::Release(release) => format!("the held reading of entry {} counts", release.seq),
        Body::Verdict(changed) => {
            let words = Verdict::from_word(&changed.verdict)
                .map_or_else(|| changed.verdict.clone(), |word| verdict(word).to_owned());
            format!("{} is {words}", changed.station)
        }
        Body::Alert(step) => {
            let done = match step.transition {
                Transition::Raised => "raised",
                Transition::Repeated => "told again",
                Transition::Acknowledged => "acknowledged",
                Transition::Cleared => "over",
            };
            format!("alert {}: {} {}, {done}", step.id, step.kind, step.subject)
        }
        Body::Delivery(delivery) => {
            let count = delivery.keys().count();
            let end = match delivery.outcome {
                Outcome::Sent => "delivered",
                Outcome::GivenUp => "given up",
            };
            format!(
                "{} through {}: {end}",
                super::count(u64::try_from(count).unwrap_or(0), "message"),
                delivery.channel
            )
        }
        Body::Resend(resend) => {
            let count = u64::try_from(resend.messages.len()).unwrap_or(0);
            format!("{} to be tried again", super::count(count, "message"))
        }
        Body::Summary(summary) => format!("summary of {}: {}", summary.day, summary.headline),
        Body::Maintenance(work) => {
            let about = work.subject.as_deref().unwrap_or("the whole site");
            format!("maintenance {} of {about} until {}: {}", work.id, zone.show(work.until), work.reason)
        }
        Body::MaintenanceEnded(ended) => format!("maintenance {} is over", ended.id),
        Body::SignOff(signed) => {
            let word = &signed.state.verdict;
            let over = signed.over.as_ref().map_or(String::new(), |over| format!(", signed anyway: {}", over.reason));
            format!("{} signed off at {} while {word}{over}", signed.job, signed.state.station)
        }
        Body::Restored(restored) => {
            let lost = restored.seen.saturating_sub(restored.entries);
            let held = super::entries(restored.entries);
            format!("a backup of {held} was restored; what came after is lost: {}", super::entries(lost))
        }
        Body::SpectraPruned(pruned) => {
            let count = u64::try_from(pruned.entries.len()).unwrap_or(0);
            let readings = super::count(count, "reading");
            format!("the spectra of {readings} made before {} were taken out", zone.show(pruned.before))
        }
        Body::KeyMade(_) | Body::KeyRotated(_) | Body::KeyLost(_) => key_event(body).unwrap_or_default(),
    }
}
