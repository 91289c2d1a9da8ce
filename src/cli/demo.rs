//! `demo`: an invented print room, two simulated years in seconds.

use std::path::Path;

use super::fail::{Failure, Kind};

/// Runs the demo.
pub fn demo(_dir: Option<&Path>) -> Result<(), Failure> {
    Err(Failure::new(Kind::System, "being written"))
}
