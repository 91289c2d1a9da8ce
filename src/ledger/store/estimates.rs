//! What the model knows of each device, as bytes that only the model reads.

use super::{LedgerError, Store, Tx};
use crate::ledger::digest::Digest;
use crate::units::{DeviceId, Time};

/// The estimate of one device.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct EstimateRow {
    /// The device.
    pub device: DeviceId,
    /// Holds all that was measured or done up to and including this instant.
    pub upto: Time,
    /// Digest of everything beside readings and events that went into it. An estimate, and every checkpoint of its device,
    /// made with others is of no use.
    pub params: Digest,
    /// The state.
    pub state: Vec<u8>,
}

impl Store {
    /// The devices that have an estimate.
    pub fn estimated_devices(&self) -> Result<Vec<DeviceId>, LedgerError> {
        self.all("SELECT device FROM estimate ORDER BY device", (), |row| row.get(0))
    }

    /// The estimate of `device`.
    pub fn estimate(&self, device: &DeviceId) -> Result<Option<EstimateRow>, LedgerError> {
        self.maybe("SELECT device, upto_us, params, state FROM estimate WHERE device = ?1", (device,), |row| {
            Ok(EstimateRow { device: row.get(0)?, upto: row.get(1)?, params: row.get(2)?, state: row.get(3)? })
        })
    }

    /// The last checkpoint of `device` at or before `to`: its instant, up to and including which it holds all, and the state.
    pub fn checkpoint(&self, device: &DeviceId, to: Time) -> Result<Option<(Time, Vec<u8>)>, LedgerError> {
        self.maybe(
            "SELECT time_us, state FROM checkpoint WHERE device = ?1 AND time_us <= ?2 ORDER BY time_us DESC LIMIT 1",
            (device, to),
            |row| Ok((row.get(0)?, row.get(1)?)),
        )
    }
}

impl Tx<'_> {
    /// Keeps an estimate in place of the one before.
    pub fn put_estimate(&self, row: &EstimateRow) -> Result<(), LedgerError> {
        self.run(
            "INSERT INTO estimate (device, upto_us, params, state) VALUES (?1, ?2, ?3, ?4)
             ON CONFLICT (device) DO UPDATE SET upto_us = ?2, params = ?3, state = ?4",
            (&row.device, row.upto, row.params, &row.state),
        )?;
        Ok(())
    }

    /// Keeps a checkpoint of `device`, in place of one at the same instant.
    pub fn put_checkpoint(&self, device: &DeviceId, time: Time, state: &[u8]) -> Result<(), LedgerError> {
        self.run(
            "INSERT OR REPLACE INTO checkpoint (device, time_us, state) VALUES (?1, ?2, ?3)",
            (device, time, state),
        )?;
        Ok(())
    }

    /// Drops the checkpoints of `device` at or after `from`: those a record of that instant makes wrong.
    pub fn drop_checkpoints(&self, device: &DeviceId, from: Time) -> Result<(), LedgerError> {
        self.run("DELETE FROM checkpoint WHERE device = ?1 AND time_us >= ?2", (device, from))?;
        Ok(())
    }

    /// Drops the estimate and all checkpoints of `device`.
    pub fn forget_estimate(&self, device: &DeviceId) -> Result<(), LedgerError> {
        self.run("DELETE FROM estimate WHERE device = ?1", (device,))?;
        self.run("DELETE FROM checkpoint WHERE device = ?1", (device,))?;
        Ok(())
    }
}
