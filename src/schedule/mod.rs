//! When things are due: crontab's lines in [`cron`], when a reminder's run is served in [`served`], one list of all that is due
//! in [`due`], and what demands it in [`sources`]. Pure: what was read, done and acknowledged is told by the caller.

pub mod cron;
pub mod due;
pub mod served;
pub mod sources;

use std::fmt;

use crate::units::DeviceId;
use cron::CronLine;

pub use due::{Because, Demand, Due, Source, Work, merge};

/// Something that people want to be reminded of, again and again.
#[derive(Debug, Clone, PartialEq)]
#[allow(missing_docs)]
pub struct Reminder {
    pub task: Task,
    /// The thing it is about: always there for the named tasks; for [`Task::Certificate`] an instrument.
    pub device: Option<DeviceId>,
    pub cron: CronLine,
}

/// What a reminder asks for.
#[derive(Debug, Clone, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum Task {
    Read,
    Recalibrate,
    Clean,
    Certificate,
    /// Anything else, in the words of the file.
    Other(String),
}

impl Task {
    /// The word or words people are shown.
    pub fn words(&self) -> &str {
        match self {
            Self::Read => "read",
            Self::Recalibrate => "recalibrate",
            Self::Clean => "clean",
            Self::Certificate => "certificate",
            Self::Other(words) => words,
        }
    }
}

impl fmt::Display for Reminder {
    /// What it asks for and of what: `read bay-lamp`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.task.words())?;
        self.device.as_ref().map_or(Ok(()), |device| write!(f, " {device}"))
    }
}
