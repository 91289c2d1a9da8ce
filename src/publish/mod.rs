//! What others read: the calendar's file, the beat of the watch, and its metrics. Each is a file that is written aside and renamed, so that
//! nobody reads half of one.
//!
//! When they are written is the daemon's business.

pub mod beat;
pub mod feed;
pub mod metrics;

use crate::channels::secret;
use crate::config::{Config, reach_of};

/// The address to tell of each beat, where there is one. The error never holds it.
pub fn heartbeat_url(config: &Config) -> Option<Result<String, String>> {
    let given = secret::address(config.publish.url.as_ref()?);
    Some(given.map_err(|why| why.to_string()).and_then(|(url, _)| match reach_of(&url) {
        Ok(_) => Ok(url),
        Err(found) => Err(format!("found {found} where the address stands; it must begin with https://")),
    }))
}
