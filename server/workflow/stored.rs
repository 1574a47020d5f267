//! Captures of a store: read once, then mapped from the columns that were kept.

use crate::ingest::{self, Progress, ReadOptions};
use crate::model::Capture;
use crate::store::{self, Digest, Store};

/// Why a stored capture could not be had.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    #[error(transparent)]
    Store(#[from] store::Error),
    #[error(transparent)]
    File(#[from] ingest::Error),
}

/// The capture in the original `digest`, called `file`, as read with `options`: from the columns kept when it was read
/// so before, else from the original, and then its columns are kept. Where they can't be kept (the disk is full, say) it
/// is read again the next time.
///
/// # Errors
/// There is no such original, or it can't be read.
// An error ends the reading; its size costs nothing.
#[allow(clippy::result_large_err)]
pub fn read_stored(
    store: &Store,
    digest: &Digest,
    file: &str,
    options: &ReadOptions,
    progress: &dyn Progress,
) -> Result<Capture, Error> {
    let key = read_key(options);
    if let Some(capture) = store.kept_capture(digest, &key, file) {
        return Ok(capture);
    }
    let path = store.original_path(digest)?;
    let capture = ingest::read_file_as(&path, file, options, progress)?;
    match store.keep_capture(digest, &key, &capture) {
        Ok(Some(kept)) => Ok(kept),
        Ok(None) => Ok(capture),
        Err(error) => {
            tracing::warn!("the edge columns of {file} were not kept: {error}");
            Ok(capture)
        }
    }
}

/// Names the reader and all that it was told.
fn read_key(options: &ReadOptions) -> String {
    format!("{} {} {options:?}", env!("CARGO_PKG_VERSION"), ingest::VERSION)
}
