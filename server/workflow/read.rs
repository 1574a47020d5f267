//! Files → captures, as the setup says.

use std::path::Path;

use crate::ingest::{self, FamilyChoice, Progress, ReadOptions};
use crate::model::Capture;
use crate::setup::Setup;

/// The reader's options that a setup asks for.
pub fn read_options(setup: &Setup) -> ReadOptions {
    let families = setup.lines.iter().filter_map(|(name, line)| {
        let family = line.thresholds.as_ref()?;
        Some((
            name.clone(),
            FamilyChoice {
                name: family.name.clone(),
                thresholds: family.thresholds,
            },
        ))
    });
    ReadOptions {
        timescale_s: setup.read.timescale_s,
        families: families.collect(),
        ..ReadOptions::default()
    }
}

/// Reads one file; `-` is standard input.
///
/// # Errors
/// When it can't be read: one line with file, place, what was found and expected, and what to do.
pub fn read_capture(path: &Path, setup: &Setup, progress: &dyn Progress) -> Result<Capture, ingest::Error> {
    let options = read_options(setup);
    if path == Path::new("-") {
        return ingest::read_stream("standard input", std::io::stdin(), &options, progress);
    }
    ingest::read_file(path, &options, progress)
}
