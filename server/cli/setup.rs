//! `edgewitness setup`: prints a setup file with every key explained, to start from.

use std::io::Write;
use std::process::ExitCode;

/// Print a setup file with every key explained, to start from
#[derive(clap::Args)]
#[command(after_help = "Example: edgewitness setup > setup.toml, then leave what fits your machine.")]
pub struct Words {}

/// # Errors
/// Standard output can't be written.
pub fn run(_words: &Words) -> anyhow::Result<ExitCode> {
    std::io::stdout().write_all(crate::setup::EXAMPLE.as_bytes())?;
    Ok(ExitCode::SUCCESS)
}
