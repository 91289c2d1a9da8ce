//! The drop folder: wakes on hints, scans for truth, waits until a file is whole, hands its bytes on, and moves it
//! once it is settled what it was.
//!
//! One file goes this way:
//!
//! 1. [`Inbox::scan`] lists the folder and says which files are whole. A file is whole when a [`Hint`] said that it was
//!    renamed into place or closed after writing, or when its size and time have stood still for the settle time.
//! 2. [`Inbox::claim`] reads one of them, bounded, and makes sure that what was read is what was found.
//! 3. The caller decides and commits. Only then it calls [`Inbox::archive`] or [`Inbox::quarantine`], or, where the
//!    content shows that more is to come, [`Inbox::leave_incomplete`]. A crash before the move costs nothing: the file is
//!    found again, its digest is known, and it is only moved.
//!
//! Nothing here knows a format, the ledger or a clock: monotonic time and the calendar's are passed in. [`Watch`] is the
//! only place that names the notify crate.

mod claim;
mod folders;
mod listing;
mod report;
mod scan;
mod share;
mod shelf;
mod watch;

#[cfg(test)]
mod model;

pub use claim::{Candidate, Claim, ClaimError, TooLarge};
pub use folders::{FolderError, FolderRole, Folders};
pub use listing::files_waiting;
pub use report::{Blind, IncompleteFile, Note, ScanReport, WhyWaiting};
pub use scan::Inbox;
pub use share::network_share;
pub use shelf::{ShelveError, Step};
pub use watch::{Hint, Watch, WatchError};
