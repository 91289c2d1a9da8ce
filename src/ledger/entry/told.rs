//! What entries say of alerts and their messages: steps, how messages ended, summaries, and spans for which they wait.

use serde::{Deserialize, Serialize};

use crate::reading::OperatorBy;
use crate::units::{OperatorId, Time};

/// The steps of an alert's life.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[allow(missing_docs)]
pub enum Transition {
    Raised,
    Acknowledged,
    /// It stands still, and people are told again.
    Repeated,
    Cleared,
}

impl Transition {
    /// The step's word, as in JSON.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Raised => "raised",
            Self::Acknowledged => "acknowledged",
            Self::Repeated => "repeated",
            Self::Cleared => "cleared",
        }
    }
}

/// An alert went one step.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Alert {
    /// The alert's number in this ledger, from 1.
    pub id: i64,
    /// The word of its kind.
    pub kind: String,
    /// The station, device or file it is about.
    pub subject: String,
    /// The step.
    pub transition: Transition,
    /// The word of the reason.
    pub reason: String,
    /// One sentence for people.
    pub detail: String,
    /// What is wrong where, where that says more than kind and subject.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub headline: Option<String>,
    /// Who acknowledged it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator: Option<OperatorId>,
    /// Whence that is known; absent where nobody is named, and in entries of before this was kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator_by: Option<OperatorBy>,
    /// The run of a reminder that it tells of.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub run: Option<Time>,
}

/// How a message ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[allow(missing_docs)]
pub enum Outcome {
    Sent,
    GivenUp,
}

/// Messages that left together reached their end.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Delivery {
    /// The key of the group; of the message where it left alone.
    pub key: String,
    /// The keys of the group's messages, as the outbox has them; empty where `key` is one itself.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub messages: Vec<String>,
    /// The channel they went through.
    pub channel: String,
    /// How it ended.
    pub outcome: Outcome,
    /// How often it was tried in vain or with success, since the daemon began or the channel last worked.
    pub attempts: u32,
    /// What the channel last complained of; where it was sent, what it complained of all the same.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub error: Option<String>,
}

impl Delivery {
    /// The keys of the messages that it is about.
    pub fn keys(&self) -> impl Iterator<Item = &str> {
        let alone = self.messages.is_empty().then_some(self.key.as_str());
        alone.into_iter().chain(self.messages.iter().map(String::as_str))
    }
}

/// Messages that were given up are to be tried again.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Resend {
    /// The keys of the messages.
    pub messages: Vec<String>,
    /// Who wants it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator: Option<OperatorId>,
    /// Whence that is known; absent where nobody is named, and in entries of before this was kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator_by: Option<OperatorBy>,
}

/// A morning's summary, as it was told.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Summary {
    /// The local day, `YYYY-MM-DD`.
    pub day: String,
    /// Its first line.
    pub headline: String,
    /// The lines below.
    pub lines: Vec<String>,
}

/// A span for which messages about something wait: something is done there that readings will show.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Maintenance {
    /// Its number in this ledger, from 1.
    pub id: i64,
    /// The station or thing; absent for the whole site.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub subject: Option<String>,
    /// Its end, if nobody ends it sooner. It begins with the entry.
    pub until: Time,
    /// What is done.
    pub reason: String,
    /// Who said so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator: Option<OperatorId>,
    /// Whence that is known; absent where nobody is named, and in entries of before this was kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator_by: Option<OperatorBy>,
}

/// A maintenance ended before its time.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct MaintenanceEnded {
    /// Its number.
    pub id: i64,
    /// Who ended it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator: Option<OperatorId>,
    /// Whence that is known; absent where nobody is named, and in entries of before this was kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub operator_by: Option<OperatorBy>,
}
