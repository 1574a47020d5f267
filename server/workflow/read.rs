//! Files → captures, as the setup says.

use std::path::Path;

use crate::ingest::{self, Progress, ReadOptions};
use crate::model::Capture;
use crate::setup::Setup;

use super::marks;

/// The reader's options that a setup asks for.
pub fn read_options(setup: &Setup) -> ReadOptions {
    let families = setup.lines.iter().filter_map(|(name, line)| {
        let family = line.thresholds.clone()?;
        Some((name.clone(), family))
    });
    let read = &setup.read;
    ReadOptions {
        timescale_s: read.timescale_s,
        families: families.collect(),
        family: read.family.clone(),
        columns: read.columns.clone(),
        names: read.names.clone(),
        rename: read.rename.clone(),
        time_unit_s: read.time_unit_s,
        sample_period_s: read.sample_period_s,
        delimiter: read.delimiter,
        decimal: read.decimal,
        form: read.form,
        ..ReadOptions::default()
    }
}

/// Reads one file; `-` is standard input.
///
/// # Errors
/// When it can't be read: one line with file, place, what was found and expected, and what to do.
pub fn read_capture(path: &Path, setup: &Setup, progress: &dyn Progress) -> Result<Capture, ingest::Error> {
    let options = read_options(setup);
    let mut capture = if path == Path::new("-") {
        ingest::read_stream("standard input", std::io::stdin(), &options, progress)?
    } else {
        ingest::read_file(path, &options, progress)?
    };
    marks::put_on_as_set_up(&mut capture, setup);
    Ok(capture)
}
