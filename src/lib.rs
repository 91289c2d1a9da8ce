//! twinwhite keeps watch over the match between a screen's white and the lit paper's white.
//!
//! Modules stand in the order in which they may use each other: each uses only those above it.

#![forbid(unsafe_code)]
#![warn(missing_docs)]

pub mod alert;
pub mod clock;
pub mod color;
pub mod config;
pub mod drift;
pub mod formats;
pub mod inbox;
pub mod ledger;
pub mod outbox;
pub mod reading;
pub mod schedule;
pub mod simulate;
pub mod site;
pub mod station;
pub mod units;
pub mod zone;
