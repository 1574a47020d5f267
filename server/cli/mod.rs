//! The command line: one file a command.

use std::process::ExitCode;

/// Reads the arguments, runs one command, gives the exit code.
pub fn run() -> ExitCode {
    ExitCode::SUCCESS
}
