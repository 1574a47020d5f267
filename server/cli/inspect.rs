//! `edgewitness inspect`: what is wrong, with the evidence.

use std::process::ExitCode;

use super::reading::Reading;
use super::{Bar, Output};
use crate::report::inspect::Severity;
use crate::report::text::inspect_text;
use crate::workflow::inspect::{Question, inspect};

/// Find stray pulses, who causes them, what does not arrive, and what to try next
#[derive(clap::Args)]
pub struct Words {
    #[command(flatten)]
    reading: Reading,
    /// Bring several captures to one clock by this line (LINE, or LINE=LINE_IN_THE_OTHERS)
    #[arg(long, value_name = "LINE")]
    align_on: Option<String>,
    /// Exit with 1 when a finding of this severity, or a worse one, was made
    #[arg(long, value_name = "SEVERITY", value_parser = ["fault", "warning", "note"])]
    fail_on: Option<String>,
    #[command(flatten)]
    output: Output,
}

/// # Errors
/// When a file can't be read, the captures can't be aligned, or the answer can't be written.
pub fn run(words: &Words) -> anyhow::Result<ExitCode> {
    let setup = words.reading.setup()?;
    let captures = words.reading.captures(&setup)?;
    let bar = Bar::new("looking for strays and their causes");
    let inspection = inspect(
        captures,
        &Question {
            setup: &setup,
            align_on: words.align_on.as_deref(),
        },
    )?;
    drop(bar);
    words.output.write(&inspection.report, inspect_text)?;
    let limit = match words.fail_on.as_deref() {
        Some("fault") => Severity::Fault,
        Some("warning") => Severity::Warning,
        Some(_) => Severity::Note,
        None => return Ok(ExitCode::SUCCESS),
    };
    let failed = inspection.report.findings.iter().any(|f| f.severity <= limit);
    Ok(if failed {
        ExitCode::from(1)
    } else {
        ExitCode::SUCCESS
    })
}
