//! All tests against the outside of the crate, in one binary.

mod config;
