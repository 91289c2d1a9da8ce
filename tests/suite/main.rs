//! All tests against the outside of the crate, in one binary.

mod clock;
mod colour;
mod config;
mod demo;
mod drift;
mod formats;
