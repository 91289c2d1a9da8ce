//! All tests against the outside of the crate, in one binary.

mod clock;
mod backtest;
mod channels;
mod colour;
mod columns;
mod commands;
mod config;
mod demo;
mod drift;
mod examples;
mod fates;
mod formats;
mod inbox;
mod lamps;
mod ledger;
mod lighting;
mod readme;
mod rendering;
mod rules;
mod site;
mod spectra;
mod texts;
mod tidy;
mod words;
