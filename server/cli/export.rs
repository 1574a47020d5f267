//! `edgewitness export`: captures and answers in forms that other programs read.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use super::Bar;
use super::failure::unwritten;
use super::reading::Reading;
use crate::workflow::export::{What, choose, on_two_clocks, write, write_file};
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
    /// File to write; one that is there is replaced, unless it is one of those read
    #[arg(long, value_name = "OUT")]
    to: PathBuf,
    /// What to write, when OUT's name does not say it
    #[arg(long, value_name = "WHAT", value_parser = What::WORDS)]
    what: Option<String>,
    /// Bring several captures to one clock by this line (LINE, or LINE=LINE_IN_THE_OTHERS)
    #[arg(long, value_name = "LINE")]
    align_on: Option<String>,
}

/// A capture is what was measured, and nothing brings it back: OUT replaces what is there, but never what it is made from.
///
/// # Errors
/// OUT is one of the files that are read.
fn is_no_input(words: &Words) -> anyhow::Result<()> {
    let inputs = words.reading.files.iter().chain(&words.reading.setup);
    for input in inputs {
        anyhow::ensure!(
            !is_one_file(input, &words.to),
            "{}: expected a file to write, found one of those that are read: it would be lost; give --to another name",
            words.to.display()
        );
    }
    Ok(())
}

/// Whether two paths lead to one file: by the same name once links are followed, or, where the system tells, by two names.
fn is_one_file(a: &Path, b: &Path) -> bool {
    let same_name = matches!((a.canonicalize(), b.canonicalize()), (Ok(a), Ok(b)) if a == b);
    #[cfg(unix)]
    let same_file = {
        use std::os::unix::fs::MetadataExt;
        let id = |path: &Path| path.metadata().ok().map(|m| (m.dev(), m.ino()));
        id(a).is_some() && id(a) == id(b)
    };
    #[cfg(not(unix))]
    let same_file = false;
    same_name || same_file
}

/// # Errors
/// When a file can't be read, the captures can't be aligned, or OUT can't be written.
pub fn run(words: &Words) -> anyhow::Result<ExitCode> {
    let what = words.what.as_deref().and_then(What::from_word);
    let (form, what) = choose(&words.to, what).map_err(anyhow::Error::msg)?;
    is_no_input(words)?;
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
        // The lines of two clocks have no times in common; what was found in each has its own.
        if let Some(trouble) = inspection.left.first() {
            anyhow::ensure!(what.needs_report(), "{trouble}");
        }
        if let Some(trouble) = on_two_clocks(&inspection.report).filter(|_| !what.needs_report()) {
            anyhow::bail!(
                "{trouble}; export each of them by itself, or join them first: the same command with --align-on LINE (an irregular \
                 line that both recorded; LINE=LINE_IN_THE_OTHERS where it is called otherwise)"
            );
        }
        for trouble in &inspection.left {
            eprintln!("edgewitness: {}", super::one_line(trouble));
        }
        (inspection.capture, Some(inspection.report))
    };
    let notes = write_file(&words.to, |out| write(form, what, &capture, report.as_ref(), out))
        .map_err(|error| unwritten(&words.to, false, &error))?;
    for note in notes {
        eprintln!("edgewitness: {}", super::one_line(&note));
    }
    Ok(ExitCode::SUCCESS)
}
