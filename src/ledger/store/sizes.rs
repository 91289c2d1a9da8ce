//! How much waits, and what came last: for the heartbeat and the metrics.

use super::{LedgerError, Seq, Store};
use crate::units::{DeviceId, Time};

impl Store {
    /// The reading that was taken in last: its number, its device, and when it was measured.
    pub fn last_taken(&self) -> Result<Option<(Seq, DeviceId, Time)>, LedgerError> {
        self.maybe("SELECT seq, device, time_us FROM reading ORDER BY seq DESC LIMIT 1", (), |row| {
            Ok((row.get(0)?, row.get(1)?, row.get(2)?))
        })
    }

    /// Of each channel that has any: how many messages are still to be delivered, and how many were given up.
    pub fn messages_by_channel(&self) -> Result<Vec<(String, i64, i64)>, LedgerError> {
        self.all(
            "SELECT channel, sum(state = 'due'), sum(state = 'given_up') FROM outbox
             WHERE state IN ('due', 'given_up') GROUP BY channel ORDER BY channel",
            (),
            |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)),
        )
    }
}
