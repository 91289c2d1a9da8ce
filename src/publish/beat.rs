//! The beat: a file that says when the watch last looked through everything, for `status` and for whoever watches the watch.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::config::Config;
use crate::ledger::{LedgerError, Store};
use crate::units::{DeviceId, Time};
use crate::whole_file;

/// The file's name in the state folder.
pub const FILE: &str = "heartbeat.json";

/// What stands in the file. It is written only after a complete look: the inbox was looked through, what was whole is committed, the
/// stations were judged.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Beat {
    /// When that look was done.
    pub at: Time,
    /// When the watch was ended in good order after it; absent while it watches, or where it was cut off.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub ended_at: Option<Time>,
    /// Of the program that looked.
    pub version: String,
    /// Files that wait in the inbox, since they are not whole yet.
    pub files_waiting: usize,
    /// The reading that was taken in last, once there is one.
    pub last_reading: Option<LastReading>,
    /// Alerts that are not over.
    pub standing_alerts: usize,
    /// Entries of the ledger.
    pub entries: i64,
    /// Set while the outgoing URL fails.
    pub url_fails: Option<Fails>,
    /// Set while signed heads cannot be written as files.
    #[serde(default)]
    pub heads_fail: Option<Fails>,
}

/// The reading that was taken in last.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LastReading {
    /// Of what.
    pub device: DeviceId,
    /// When it was measured.
    pub time: Time,
    /// When it was taken in.
    pub taken_at: Time,
}

/// Something that the watch does beside watching fails, and is tried again.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Fails {
    /// Since when.
    pub since: Time,
    /// What happened; of a URL, without the URL.
    pub why: String,
}

/// All that fails so.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Failing {
    /// The outgoing URL does not answer well.
    pub url: Option<Fails>,
    /// Signed heads cannot be written as files, in the state folder or that of copies.
    pub heads: Option<Fails>,
}

impl Beat {
    /// A beat at `at`, from what the ledger holds.
    pub fn of(store: &Store, at: Time, files_waiting: usize, failing: Failing) -> Result<Self, LedgerError> {
        let last_reading = match store.last_taken()? {
            None => None,
            Some((seq, device, time)) => {
                let taken_at = store.entry(seq)?.map_or(time, |entry| entry.time);
                Some(LastReading { device, time, taken_at })
            }
        };
        Ok(Self {
            at,
            ended_at: None,
            version: env!("CARGO_PKG_VERSION").to_owned(),
            files_waiting,
            last_reading,
            standing_alerts: store.standing_alerts()?.len(),
            entries: store.head()?.size,
            url_fails: failing.url,
            heads_fail: failing.heads,
        })
    }

    /// Puts it into its file.
    pub fn write(&self, config: &Config) -> io::Result<()> {
        whole_file::write(&path(config), (serde_json::to_string_pretty(self)? + "\n").as_bytes())
    }
}

/// Where the beat of this site is written.
pub fn path(config: &Config) -> PathBuf {
    config.paths.state.join(FILE)
}

/// The last beat; none where there never was one, or none that can be read.
pub fn last(config: &Config) -> Option<Beat> {
    read(&path(config))
}

fn read(path: &Path) -> Option<Beat> {
    serde_json::from_str(&fs::read_to_string(path).ok()?).ok()
}
