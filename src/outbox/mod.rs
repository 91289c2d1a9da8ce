//! Messages to people: their keys, what leaves together and when. Pure: keeping and delivering them is for `ledger` and `daemon`.
//!
//! A message is written in the transaction of the entry that caused it, once for each channel. Its key is made from the
//! site, the alert and the step, so that a receiver can drop a repeat: delivery is at least once.
//!
//! [`plan`] says which of the messages that wait for a channel leave now, [`Group`] what they become, [`Rules`] what the
//! site wants of all this.

mod group;
mod plan;
mod rules;

use serde::{Deserialize, Serialize};

use crate::units::{SiteId, Time};
pub use group::Group;
pub use plan::{Held, Next, Waiting, next};
pub use rules::{Quiet, Rules};

/// One thing that people are told.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Message {
    /// The same for every delivery of this message: `site/alert/step`, `site/summary/day`.
    pub key: String,
    /// The site.
    pub site: SiteId,
    /// The alert's number, for `ack`; null where it tells of none.
    pub alert: Option<i64>,
    /// The alert's kind; `summary` or `test` where it tells of none.
    pub kind: String,
    /// What it is about: a station, a device, a file.
    pub subject: String,
    /// What it tells.
    pub state: Tells,
    /// When that came about, RFC 3339 UTC.
    pub at: Time,
    /// The same in the site's local time, to be read by people.
    pub at_local: String,
    /// Since when what it tells of has been so; `at` where it began with that. RFC 3339 UTC.
    pub since: Time,
    /// The same in the site's local time.
    pub since_local: String,
    /// What is wrong where, in one line.
    pub headline: String,
    /// Why, how sure that is, and what to do, a sentence each.
    pub lines: Vec<String>,
}

/// What a message tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Tells {
    /// An alert was raised.
    Raised,
    /// It still stands.
    Still,
    /// It is over.
    Cleared,
    /// How everything stands, every morning.
    Summary,
    /// That the channel works.
    Test,
}

impl Tells {
    /// The word in JSON and in keys.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Raised => "raised",
            Self::Still => "still",
            Self::Cleared => "cleared",
            Self::Summary => "summary",
            Self::Test => "test",
        }
    }
}

/// The key of the message that tells of the step `word` of alert `alert` of `site`.
pub fn key(site: &SiteId, alert: i64, word: &str) -> String {
    format!("{site}/{alert}/{word}")
}

/// The key of the message that sums up a local day, `YYYY-MM-DD`.
pub fn summary_key(site: &SiteId, day: &str) -> String {
    format!("{site}/summary/{day}")
}

/// The channel that is always on.
pub const LOG_CHANNEL: &str = "log";

/// So many failures of a channel in a row, and it counts as failing: people hear of it through the others.
pub const FAILING_AFTER: u32 = 3;

/// What keeps from some what others heard is tried again no later than after five minutes, the time within which messages leave
/// together anyway: whoever can hear does not wait for whoever cannot.
pub const PARTLY_AGAIN_S: f64 = 300.0;

/// Seconds to wait after `attempts` failed attempts in a row: 5 s, doubling, at most an hour; up to a quarter of that less, as
/// `jitter` says (0 to 1), so that the sites of a company do not all come back to a server at once.
pub fn backoff_s(attempts: u32, jitter: f64) -> f64 {
    let longest = 5u64.saturating_mul(1 << attempts.saturating_sub(1).min(10)).min(3600);
    longest as f64 * (1.0 - 0.25 * jitter.clamp(0.0, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_are_stable() {
        let site = SiteId::new("quillmoor").unwrap();
        assert_eq!(key(&site, 17, "raised"), "quillmoor/17/raised");
        assert_eq!(summary_key(&site, "2026-05-01"), "quillmoor/summary/2026-05-01");
    }

    #[test]
    fn backoff_grows_to_an_hour() {
        let waits: Vec<f64> = (1..=12).map(|attempts| backoff_s(attempts, 0.0)).collect();
        assert_eq!(waits, [5.0, 10.0, 20.0, 40.0, 80.0, 160.0, 320.0, 640.0, 1280.0, 2560.0, 3600.0, 3600.0]);
        assert_eq!(backoff_s(1, 1.0), 3.75);
        assert_eq!(backoff_s(u32::MAX, 2.0), 2700.0);
    }
}
