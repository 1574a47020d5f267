//! What can go wrong with the store, worded for the person at the bench.

use std::io;
use std::path::{Path, PathBuf};

/// Why the store could not do what it was asked.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    #[error(
        "the disk is full: {doing} in {path} was not finished, and nothing that was stored before is harmed; make room and try again"
    )]
    DiskFull { doing: &'static str, path: PathBuf },
    #[error("{doing} failed for {path}: {source}")]
    Io {
        doing: &'static str,
        path: PathBuf,
        source: io::Error,
    },
    #[error(
        "the database failed: {0}; close other programs that use the data folder, and run `edgewitness doctor` on it"
    )]
    Database(rusqlite::Error),
    #[error(
        "{path} is damaged or no database: {source}; what was brought lies unharmed in originals/ beside it. Put back a copy of \
         this file if you have one, or move it away and bring the files of originals/ again"
    )]
    NoDatabase { path: PathBuf, source: rusqlite::Error },
    #[error(
        "{dir} was written by a newer Edgewitness (store version {found}, this one knows up to {known}); nothing was touched: use the newer program, or another folder with --data"
    )]
    Newer { dir: PathBuf, found: i64, known: i64 },
    #[error(
        "another Edgewitness is using the folder {dir}; close it first, or use another folder with --data"
    )]
    InUse { dir: PathBuf },
    #[error("there is no {what}")]
    NotFound { what: String },
    #[error("the upload is larger than {limit_bytes} bytes, the limit for one file")]
    TooLarge { limit_bytes: u64 },
    /// The person's own mistake, as a sentence.
    #[error("{0}")]
    Invalid(String),
    #[error("the stored {what} is damaged: {detail}; `edgewitness doctor` tells more")]
    Damaged { what: String, detail: String },
}

impl Error {
    /// Whether the person can mend it (a wrong word, a missing thing), as opposed to a failure of ours.
    pub fn is_the_callers(&self) -> bool {
        matches!(
            self,
            Error::NotFound { .. } | Error::Invalid(_) | Error::TooLarge { .. }
        )
    }

    /// Wraps an error of the file system; a full disk is told apart.
    pub(super) fn io(doing: &'static str, path: &Path) -> impl FnOnce(io::Error) -> Error {
        let path = path.to_owned();
        move |source| match source.kind() {
            io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded | io::ErrorKind::FileTooLarge => {
                Error::DiskFull { doing, path }
            }
            _ => Error::Io { doing, path, source },
        }
    }

    /// Something that is not there.
    pub(super) fn no(what: impl Into<String>) -> Error {
        Error::NotFound { what: what.into() }
    }
}

impl From<rusqlite::Error> for Error {
    fn from(error: rusqlite::Error) -> Error {
        match error.sqlite_error_code() {
            Some(rusqlite::ErrorCode::DiskFull) => Error::DiskFull {
                doing: "a change",
                path: PathBuf::from("the database"),
            },
            _ => Error::Database(error),
        }
    }
}
