//! `edgewitness lines`: what is there.

use std::process::ExitCode;

use super::Output;
use super::reading::Reading;
use crate::report::text::lines_text;
use crate::workflow::lines::lines_report;

/// Read captures and say what is there: lines, edges, levels; no analysis
#[derive(clap::Args)]
pub struct Words {
    #[command(flatten)]
    reading: Reading,
    #[command(flatten)]
    output: Output,
}

/// # Errors
/// When a file can't be read or the answer can't be written.
pub fn run(words: &Words) -> anyhow::Result<ExitCode> {
    let setup = words.reading.setup()?;
    let report = lines_report(&words.reading.captures(&setup)?);
    words.output.write(&report, lines_text)?;
    Ok(ExitCode::SUCCESS)
}
