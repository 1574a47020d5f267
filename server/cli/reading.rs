//! What every command that reads captures takes, and how it reads them.

use std::io::Read;
use std::path::PathBuf;

use super::Bar;
use super::failure::unread;
use crate::model::Capture;
use crate::setup::Setup;
use crate::workflow::read;

/// A setup file of a whole machine has some ten thousand lines at most.
const MOST_SETUP_BYTES: u64 = 4 << 20;

/// Files and how to read them.
#[derive(clap::Args)]
pub struct Reading {
    /// Captures: VCD or CSV, told by their content; gzip is unwrapped; - reads standard input
    #[arg(required = true, value_name = "FILE")]
    pub files: Vec<PathBuf>,
    /// Setup file (TOML): narrow limits, families, links, rules
    #[arg(long, value_name = "SETUP")]
    pub setup: Option<PathBuf>,
}

impl Reading {
    /// The setup, checked; the default where none was named.
    ///
    /// # Errors
    /// The first mistake, with its line and column.
    pub fn setup(&self) -> anyhow::Result<Setup> {
        read_setup(self.setup.as_deref())
    }

    /// All captures, in the order of the words.
    ///
    /// # Errors
    /// When a file can't be read.
    pub fn captures(&self, setup: &Setup) -> anyhow::Result<Vec<Capture>> {
        read_captures(&self.files, setup)
    }
}

/// The setup file at `path`, checked; the default where there is none.
pub fn read_setup(path: Option<&std::path::Path>) -> anyhow::Result<Setup> {
    let Some(path) = path else {
        return Ok(Setup::default());
    };
    let unread = |error: std::io::Error| unread(path, "a setup file", &error);
    let mut text = String::new();
    let file = std::fs::File::open(path).map_err(unread)?;
    file.take(MOST_SETUP_BYTES + 1)
        .read_to_string(&mut text)
        .map_err(unread)?;
    anyhow::ensure!(
        text.len() as u64 <= MOST_SETUP_BYTES,
        "{}: larger than {} MiB, expected a setup file; is it a capture?",
        path.display(),
        MOST_SETUP_BYTES >> 20
    );
    Ok(Setup::parse(&text, &path.display().to_string())?)
}

/// The captures at `files`, with a bar on standard error where it takes over a second.
pub fn read_captures(files: &[PathBuf], setup: &Setup) -> anyhow::Result<Vec<Capture>> {
    let mut captures = Vec::with_capacity(files.len());
    for path in files {
        let bar = Bar::new(&format!("reading {}", path.display()));
        captures.push(read::read_capture(path, setup, &bar)?);
    }
    Ok(captures)
}
