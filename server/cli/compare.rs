//! `edgewitness compare`: did the fix make a difference?

use std::path::PathBuf;
use std::process::ExitCode;

use super::reading::{read_captures, read_setup};
use super::{Bar, Output};
use crate::report::text::compare_text;
use crate::workflow::compare::compare;

/// Compare captures before and after a fix: gone, reduced, worse, unchanged, or too early to say
#[derive(clap::Args)]
pub struct Words {
    /// Captures taken before the fix
    #[arg(long, required = true, num_args = 1.., value_name = "FILE")]
    before: Vec<PathBuf>,
    /// Captures taken after it
    #[arg(long, required = true, num_args = 1.., value_name = "FILE")]
    after: Vec<PathBuf>,
    /// Setup file (TOML)
    #[arg(long, value_name = "SETUP")]
    setup: Option<PathBuf>,
    /// Bring the files of one run, before as after, to one clock by this line (LINE, or LINE=LINE_IN_THE_OTHERS); said again for
    /// files that have another line to go by
    #[arg(long, value_name = "LINE")]
    align_on: Vec<String>,
    #[command(flatten)]
    output: Output,
}

/// # Errors
/// When a file can't be read, `--align-on` joins none, or the answer can't be written.
pub fn run(words: &Words) -> anyhow::Result<ExitCode> {
    let setup = read_setup(words.setup.as_deref())?;
    let before = read_captures(&words.before, &setup)?;
    let after = read_captures(&words.after, &setup)?;
    let bar = Bar::new("comparing");
    let report = compare(before, after, &words.align_on, &setup)?;
    drop(bar);
    words.output.write(&report, compare_text)?;
    Ok(ExitCode::SUCCESS)
}
