//! What leaves through one channel at once: the messages that have gathered for it, the worst first.

use serde::{Deserialize, Serialize};

use super::Message;
use crate::units::{SiteId, Time};

/// Messages that leave together. As JSON it is what a command reads on its standard input and what a webhook is sent.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Group {
    /// The same for every delivery of the same messages through the same channel: `site/channel/digest`. A receiver that has
    /// seen it drops the repeat; each message bears its own key beside.
    pub key: String,
    /// The site.
    pub site: SiteId,
    /// Its name for people.
    pub site_name: String,
    /// When the newest of the messages came about, RFC 3339 UTC.
    pub at: Time,
    /// The same in the site's local time, to be read by people.
    pub at_local: String,
    /// What is wrong where, in one line: the worst message's, and how many more there are.
    pub headline: String,
    /// The messages, the worst first; never empty.
    pub messages: Vec<Message>,
}
