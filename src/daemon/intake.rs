//! One file of the inbox: claimed, taken in, and only after the commit moved away.

use super::{Daemon, DaemonError, FileEnd, Notice};
use crate::inbox::{Candidate, Claim, ClaimError, ShelveError};
use crate::ledger::entry::CameBy;
use crate::pipeline::{self, Incoming, Taken};
use crate::reading::Defect;
use crate::say;
use crate::units::DeviceId;

impl Daemon {
    /// Takes one file in. `None` means that it stays where it is and waits.
    pub(super) fn take_in(&mut self, candidate: &Candidate) -> Result<Option<Vec<Notice>>, DaemonError> {
        let claim = match self.inbox.claim(candidate) {
            Ok(claim) => claim,
            Err(ClaimError::TooLarge { limit, .. }) => {
                return self.refuse_unread(candidate, &limit.to_string()).map(Some);
            }
            Err(ClaimError::Unreadable { again: true, .. } | ClaimError::Gone { .. } | ClaimError::Changed { .. }) => {
                return Ok(None);
            }
            Err(why @ ClaimError::Unreadable { .. }) => return Ok(Some(vec![Notice::Trouble(why.to_string())])),
        };
        let now = self.clock.now();
        let folder_device = match claim.folder_device.as_deref().map(DeviceId::new).transpose() {
            Ok(device) => device,
            Err(bad) => {
                let defect = Defect::of_line(0, &format!("the folder '{}'", bad.found), "a folder named as a device");
                return self.refuse(&claim, vec![defect]).map(Some);
            }
        };
        let incoming =
            Incoming { name: &claim.name, bytes: &claim.bytes, folder_device, from: CameBy::Inbox, operator: None };
        let taken = match pipeline::take(&mut self.ledger, &self.config, &incoming, now) {
            Ok(taken) => taken,
            Err(error) => {
                self.survive(error)?;
                return Ok(None);
            }
        };
        let file = |end| Notice::File { name: claim.name.clone(), end };
        let mut notices = Vec::new();
        match taken {
            Taken::Known { .. } => {
                notices.extend(unmoved(self.inbox.archive(&claim, now)));
                notices.push(file(FileEnd::Known));
            }
            Taken::Accepted(receipt) => {
                notices.extend(unmoved(self.inbox.archive(&claim, now)));
                notices.push(file(FileEnd::Taken {
                    warnings: receipt.warnings.iter().map(|row| row.value.to_string()).collect(),
                    new: receipt.readings.len() + receipt.events.len(),
                    duplicates: receipt.duplicates,
                    held: receipt.held.len(),
                }));
                notices.extend(receipt.happened.into_iter().map(Notice::Happened));
            }
            Taken::Refused { defects, happened } => {
                notices.extend(unmoved(self.inbox.quarantine(&claim, &say::reason_file(&claim.name, &defects))));
                notices.push(file(refused(&defects)));
                notices.extend(happened.into_iter().map(Notice::Happened));
            }
            Taken::Incomplete(why) => {
                self.inbox.leave_incomplete(candidate, why.to_string());
                notices.push(file(FileEnd::Incomplete(why.to_string())));
            }
        }
        Ok(Some(notices))
    }

    fn refuse(&mut self, claim: &Claim, defects: Vec<Defect>) -> Result<Vec<Notice>, DaemonError> {
        let (now, digest) = (self.clock.now(), crate::ledger::Digest::of(&claim.bytes));
        match pipeline::refuse_file(&mut self.ledger, &self.config, &claim.name, digest, defects.clone(), now) {
            Err(error) => self.survive(error).map(|()| Vec::new()),
            Ok(happened) => {
                let mut notices = unmoved(self.inbox.quarantine(claim, &say::reason_file(&claim.name, &defects)));
                notices.push(Notice::File { name: claim.name.clone(), end: refused(&defects) });
                notices.extend(happened.into_iter().map(Notice::Happened));
                Ok(notices)
            }
        }
    }

    /// Refuses a file that is too large to be read. Its digest in the ledger is that of its name and size.
    fn refuse_unread(&mut self, candidate: &Candidate, why: &str) -> Result<Vec<Notice>, DaemonError> {
        let (now, name) = (self.clock.now(), candidate.name.clone());
        let defects =
            vec![Defect::of_line(0, &format!("{} bytes", candidate.size), format!("a file that is not {why}"))];
        let digest = crate::ledger::Digest::of(format!("unread {name} {}", candidate.size).as_bytes());
        match pipeline::refuse_file(&mut self.ledger, &self.config, &name, digest, defects.clone(), now) {
            Err(error) => self.survive(error).map(|()| Vec::new()),
            Ok(happened) => {
                let moved = self.inbox.quarantine_unread(candidate, &say::reason_file(&name, &defects));
                let mut notices = unmoved(moved);
                notices.push(Notice::File { name, end: refused(&defects) });
                notices.extend(happened.into_iter().map(Notice::Happened));
                Ok(notices)
            }
        }
    }
}

fn refused(defects: &[Defect]) -> FileEnd {
    FileEnd::Refused { first: defects.first().map(Defect::to_string).unwrap_or_default(), count: defects.len() }
}

/// A file that could not be moved stays and is found again, when its bytes are known: told, and no harm.
fn unmoved<T>(moved: Result<T, ShelveError>) -> Vec<Notice> {
    moved.err().map(|why| Notice::Trouble(why.to_string())).into_iter().collect()
}
