//! Calls the command line and returns its exit code.

use std::process::ExitCode;

fn main() -> ExitCode {
    twinwhite::cli::main()
}
