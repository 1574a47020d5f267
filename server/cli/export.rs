//! `edgewitness export`: captures and answers in forms that other programs read.

use std::path::PathBuf;
use std::process::ExitCode;

use super::Bar;
use super::failure::unwritten;
use super::reading::Reading;
use crate::workflow::export::{What, choose, write, write_file};
use crate::workflow::inspect::{Question, inspect};

/// Write the capture as VCD or CSV, or strays, couplings, links and lags as CSV, JSON or Parquet
#[derive(clap::Args)]
#[command(after_help = "\
The form follows OUT's ending (.vcd, .csv, .json, .parquet), the content its name:
  edgewitness export a.csv --to a.vcd             the lines, as VCD (IEEE 1364)
  edgewitness export a.vcd --to changes.csv       the lines, one row a change
  edgewitness export a.vcd --to strays.parquet    the stray pulses
  edgewitness export a.vcd --what lags --to l.csv the lag counts of each coupling
  edgewitness export a.vcd --to pairs.csv         how often every line switched each lag after every other")]
pub struct Words {
    #[command(flatten)]
    reading: Reading,
    /// File to write; one that is there is replaced
    #[arg(long, value_name = "OUT")]
    to: PathBuf,
    /// What to write, when OUT's name does not say it
    #[arg(long, value_name = "WHAT", value_parser = What::WORDS)]
    what: Option<String>,
    /// Bring several captures to one clock by this line (LINE, or LINE=LINE_IN_THE_OTHERS)
    #[arg(long, value_name = "LINE")]
    align_on: Option<String>,
}

/// # Errors
/// When a file can't be read, the captures can't be aligned, or OUT can't be written.
pub fn run(words: &Words) -> anyhow::Result<ExitCode> {
    let what = words.what.as_deref().and_then(What::from_word);
    let (form, what) = choose(&words.to, what).map_err(anyhow::Error::msg)?;
    let setup = words.reading.setup()?;
    let captures = words.reading.captures(&setup)?;
    let question = Question {
        setup: &setup,
        align_on: words.align_on.as_deref(),
    };
    let mut captures = captures;
    let (capture, report) = if captures.len() == 1 && !what.needs_report() {
        (captures.remove(0), None)
    } else {
        let bar = Bar::new("looking for strays and their causes");
        let inspection = inspect(captures, &question)?;
        drop(bar);
        (inspection.capture, Some(inspection.report))
    };
    let notes = write_file(&words.to, |out| write(form, what, &capture, report.as_ref(), out))
        .map_err(|error| unwritten(&words.to, false, &error))?;
    for note in notes {
        eprintln!("edgewitness: {}", super::one_line(&note));
    }
    Ok(ExitCode::SUCCESS)
}
