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
    /// The stored original is not as long as what was brought.
    #[error(
        "{file} was {brought} bytes long when it was brought, and what is stored of it now is {found}: something else changed \
         it. Bring the same file again, under any name, and it takes its place; edgewitness doctor tells what else is wrong"
    )]
    Changed { file: String, brought: u64, found: u64 },
}

/// The capture in the original `digest`, called `file`, as read with `options`: from the columns kept when it was read
/// so before, else from the original, and then its columns are kept. Where they can't be kept (the disk is full, say) it
/// is read again the next time.
///
/// # Errors
/// There is no such original, or it can't be read.
pub fn read_stored(
    store: &Store,
    digest: &Digest,
    file: &str,
    options: &ReadOptions,
    progress: &dyn Progress,
) -> Result<Capture, Error> {
    let key = read_key(options);
    let changed = changed(store, digest, file)?;
    if let Some(mut capture) = store.kept_capture(digest, &key, file) {
        if let Some(changed) = changed {
            capture.warn(format!("{changed}. What is shown here was read before that"));
        }
        return Ok(capture);
    }
    let path = store.original_path(digest)?;
    if let Some(changed) = changed {
        return Err(changed);
    }
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

/// Whether the original has another length than what was brought: its digest is for the doctor, but a length costs nothing.
fn changed(store: &Store, digest: &Digest, file: &str) -> Result<Option<Error>, Error> {
    // One that is not there at all is told when it is needed.
    let Ok(data) = store.original_path(digest).map(std::fs::metadata) else {
        return Ok(None);
    };
    let found = data.map_or(0, |data| data.len());
    let brought = store.original_size(digest)?.filter(|brought| *brought != found);
    Ok(brought.map(|brought| Error::Changed {
        file: file.to_owned(),
        brought,
        found,
    }))
}

/// Names the reader and all that it was told.
fn read_key(options: &ReadOptions) -> String {
    format!("{} {} {options:?}", env!("CARGO_PKG_VERSION"), ingest::VERSION)
}
