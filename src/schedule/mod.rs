//! When things are due. Pure.

pub mod cron;

use crate::units::DeviceId;
use cron::CronLine;

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
