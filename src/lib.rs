//! twinwhite keeps watch over the match between a screen's white and the lit paper's white.
//!
//! Modules stand in the order in which they may use each other: each uses only those above it.

#![forbid(unsafe_code)]
#![warn(missing_docs)]

pub mod units;
pub mod clock;
pub mod reading;
pub mod rules;
pub mod site;
pub mod zone;
pub mod color;
pub mod formats;
pub mod admit;
pub mod ledger;
pub mod drift;
pub mod fate;
pub mod aims;
pub mod equipment;
pub mod station;
pub mod life;
pub mod trial;
pub mod alert;
pub mod schedule;
pub mod say;
pub mod outbox;
pub mod calendar;
pub mod config;
pub mod project;
pub mod estimates;
pub mod evaluate;
pub mod measured;
pub mod backtest;
pub mod pipeline;
pub mod acts;
pub mod whole_file;
pub mod signing;
pub mod sign_off;
pub mod rebuild;
pub mod prune;
pub mod inbox;
pub mod channels;
pub mod publish;
pub mod daemon;
pub mod backup;
pub mod simulate;
pub mod cli;
