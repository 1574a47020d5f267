//! Arguments in, one command run, exit code out; nothing else.

use std::process::ExitCode;

fn main() -> ExitCode {
    edgewitness::cli::run()
}
