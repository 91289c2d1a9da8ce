//! The state of each device with its uncertainty, and forecasts. Pure and deterministic.
//!
//! One [`DeviceState`] per display or lamp; channels u′, v′ and ln level. `matrix` and `filter` are the arithmetic,
//! `dynamics` says how a channel moves, `bank` averages over noise settings, `priors` is what is believed before the
//! first reading, `odd` the gate and its way back, `offset` what a second instrument reads
//! differently, `label` what stands in until a measurement, `hold` what looks impossible, `ageing` the hours of use, `verified` how its forecasts proved, `device`
//! the life of a device with its events, `forecast` what lies ahead, `bytes` the checkpoint.
//!
//! What does not live here: colorimetry (`color`), the match of two devices and its risk (`station`), the order of late
//! readings (`ledger` replays from a checkpoint).

mod ageing;
mod bank;
mod bytes;
mod device;
pub mod dynamics;
pub mod filter;
mod forecast;
mod hold;
mod hours;
#[cfg(test)]
mod invariants;
mod label;
pub mod matrix;
mod observation;
mod odd;
mod offset;
pub mod priors;
#[cfg(test)]
mod tests;
mod verified;

pub use bytes::BadState;
pub use device::{DeviceState, HELD_LISTED};
pub use forecast::{ChannelPath, Forecast, Hypothesis, Path, Summary};
pub use hours::{HoursInUse, Reached};
pub use observation::{
    Absorbed, Act, Doubt, Fate, Happening, HeldWhy, Observation, Params, SlipFactor, StepFound, TargetWhite,
};
pub use offset::{Apart, LightKind, Pool};
pub use priors::{Thing, drift_prior};
pub use verified::Record;
