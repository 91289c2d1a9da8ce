//! Turns alert changes into messages with stable keys. Pure: keeping and delivering them is for `ledger` and `daemon`.
//!
//! A message is written in the transaction of the alert entry that caused it, once for each channel. Its key is made from
//! the site, the alert and the transition, so that a receiver can drop a repeat: delivery is at least once.

mod group;

use serde::{Deserialize, Serialize};

use crate::units::{SiteId, Time};
pub use group::Group;

/// One thing that people are told.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Message {
    /// The same for every delivery of this message: `site/alert/transition`.
    pub key: String,
    /// The site.
    pub site: SiteId,
    /// The alert's number, for `ack`.
    pub alert: i64,
    /// The alert's kind.
    pub kind: String,
    /// What it is about: a station, a device, a file.
    pub subject: String,
    /// `raised` or `cleared`.
    pub state: String,
    /// When that happened, RFC 3339 UTC.
    pub at: Time,
    /// The same in the site's local time, to be read by people.
    pub at_local: String,
    /// What is wrong where, in one line.
    pub headline: String,
    /// Why, and what to do, a sentence each.
    pub lines: Vec<String>,
}

/// The key of the message that tells `state` of alert `alert` of `site`.
pub fn key(site: &SiteId, alert: i64, state: &str) -> String {
    format!("{site}/{alert}/{state}")
}

/// The channel that is always on.
pub const LOG_CHANNEL: &str = "log";

/// How often delivery of a message is tried before it is given up, loudly.
pub const ATTEMPTS: u32 = 8;

/// Seconds to wait after `attempts` failed attempts: 5 s, doubling, at most an hour.
pub fn backoff_s(attempts: u32) -> u64 {
    5u64.saturating_mul(1 << attempts.saturating_sub(1).min(10)).min(3600)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys_are_stable() {
        let site = SiteId::new("quillmoor").unwrap();
        assert_eq!(key(&site, 17, "raised"), "quillmoor/17/raised");
    }

    #[test]
    fn backoff_grows_to_an_hour() {
        let waits: Vec<u64> = (1..=12).map(backoff_s).collect();
        assert_eq!(waits, [5, 10, 20, 40, 80, 160, 320, 640, 1280, 2560, 3600, 3600]);
    }
}
