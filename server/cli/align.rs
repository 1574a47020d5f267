//! `edgewitness align`: how the second capture's clock lies to the first's.

use std::path::PathBuf;
use std::process::ExitCode;

use super::Output;
use super::reading::{read_captures, read_setup};
use crate::report::text::align_text;
use crate::workflow::align::{align_pair, align_report};

/// Find the offset and drift between two captures that share a line
#[derive(clap::Args)]
pub struct Words {
    /// The capture whose clock counts
    #[arg(value_name = "A")]
    a: PathBuf,
    /// The capture to bring to it
    #[arg(value_name = "B")]
    b: PathBuf,
    /// Line that both captured, or several parted by commas; LINE=LINE_IN_B where the names differ
    #[arg(long, value_name = "LINE")]
    on: String,
    /// Setup file (TOML)
    #[arg(long, value_name = "SETUP")]
    setup: Option<PathBuf>,
    #[command(flatten)]
    output: Output,
}

/// # Errors
/// When a file can't be read, or the two do not share enough edges to tell.
pub fn run(words: &Words) -> anyhow::Result<ExitCode> {
    let setup = read_setup(words.setup.as_deref())?;
    let captures = read_captures(&[words.a.clone(), words.b.clone()], &setup)?;
    let alignment = align_pair(&captures[0], &captures[1], &words.on)?;
    words.output.write(&align_report(&alignment), align_text)?;
    Ok(ExitCode::SUCCESS)
}
