//! What a person brought (original bytes by digest), what was made of it (edge columns), what was said about it
//! (SQLite).
//!
//! A data folder holds
//!
//! | | |
//! | --- | --- |
//! | `edgewitness.sqlite` | sessions and what they hold, the journal that undoes, answers worked out |
//! | `originals/ab/abcd…` | files as they were brought, by digest |
//! | `columns/abcd…/key/` | an original as read with certain settings: mapped, not read again, after a restart; can be made again |
//! | `staging/` | what is not whole yet; cleared at every start |
//! | `lock` | held while a program uses the folder |
//!
//! [`Store`] is `Send + Sync`; its calls block, so web handlers reach it through `spawn_blocking`.

mod archive;
mod checklist;
mod clocks;
mod columns;
mod conditions;
mod diagram_view;
mod digest;
mod doctor;
mod entries;
mod error;
mod journal;
mod kept;
mod kinds;
mod log;
mod marks;
mod originals;
mod photographs;
mod reports;
mod schema;
mod sections;
mod sessions;

use std::fs::{self, File, TryLockError};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{SystemTime, UNIX_EPOCH};

use rusqlite::Connection;

pub use archive::{ArchiveLimits, is_archive};
pub use checklist::{Outcome, Step, read_checklist};
pub use clocks::{ChannelSkews, Clock, ReadingSheet};
pub use columns::Columns;
pub use conditions::{AS_FOUND, InHand, Under};
pub use diagram_view::{DiagramView, DimensionLine};
pub use digest::Digest;
pub use doctor::{Doctor, Findings as DoctorFindings, Mend, Trouble};
pub use entries::{Entry, EntryId, Kind};
pub use error::Error;
pub use journal::Action;
pub use log::{
    Capture, ClipList, Condition, FindingState, HarnessSheet, Reading, Remark, Verdict, as_typed, in_the_bin,
};
pub use marks::PulseMark;
pub use originals::{Stored, Upload};
pub use photographs::{Photograph, Picture};
pub use reports::{Summary, report_key};
pub use schema::VERSION;
pub use sessions::{Session, SessionBody, SessionId, SessionRow};

/// An open data folder; no other program has it open.
pub struct Store {
    dir: PathBuf,
    connection: Mutex<Connection>,
    /// Holds the lock as long as the store is open; the system lets go of it when the program dies.
    _lock: File,
}

/// Why `path` can't be the data folder, or one inside it.
fn unusable(path: &Path, error: io::Error) -> Error {
    let why = match error.kind() {
        io::ErrorKind::AlreadyExists | io::ErrorKind::NotADirectory => "it is a file, or lies in one",
        io::ErrorKind::PermissionDenied | io::ErrorKind::ReadOnlyFilesystem => "you may not write there",
        io::ErrorKind::NotFound => "no folder can be made there",
        _ => return Error::io("making the data folder", path)(error),
    };
    Error::Invalid(format!(
        "{} can't be the data folder: {why}; name a folder of your own with --data",
        path.display()
    ))
}

impl Store {
    /// Opens the data folder `dir`, making it if need be, and clears away what was left half done.
    ///
    /// # Errors
    /// [`Error::InUse`] when another program has it open, [`Error::Newer`] when a newer program wrote it, or
    /// the disk's own.
    pub fn open(dir: &Path) -> Result<Store, Error> {
        let make = |path: &Path| fs::create_dir_all(path).map_err(|error| unusable(path, error));
        make(dir)?;
        let lock = take_lock(dir)?;
        let connection = schema::open(&dir.join("edgewitness.sqlite"), dir)?;
        for part in ["originals", "columns", "staging"] {
            make(&dir.join(part))?;
        }
        let store = Store {
            dir: dir.to_owned(),
            connection: Mutex::new(connection),
            _lock: lock,
        };
        store.clear_staging()?;
        Ok(store)
    }

    /// The data folder.
    pub fn dir(&self) -> &Path {
        &self.dir
    }

    fn staging_dir(&self) -> PathBuf {
        self.dir.join("staging")
    }

    fn clear_staging(&self) -> Result<(), Error> {
        let dir = self.staging_dir();
        let failed = || Error::io("clearing what was left half done", &dir);
        for entry in fs::read_dir(&dir).map_err(failed())? {
            let path = entry.map_err(failed())?.path();
            let removed = if path.is_dir() {
                fs::remove_dir_all(&path)
            } else {
                fs::remove_file(&path)
            };
            removed.map_err(failed())?;
        }
        Ok(())
    }

    fn connection(&self) -> MutexGuard<'_, Connection> {
        // A panic elsewhere can't leave half a change: a transaction that is dropped is rolled back.
        self.connection.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

fn take_lock(dir: &Path) -> Result<File, Error> {
    let path = dir.join("lock");
    let opened = File::options()
        .create(true)
        .truncate(false)
        .write(true)
        .open(&path);
    let file = opened.map_err(Error::io("locking the data folder", &path))?;
    match file.try_lock() {
        Ok(()) => Ok(file),
        Err(TryLockError::WouldBlock) => Err(Error::InUse { dir: dir.to_owned() }),
        Err(TryLockError::Error(error)) => Err(Error::io("locking the data folder", &path)(error)),
    }
}

/// This moment, in milliseconds since 1970-01-01 UTC.
fn now_ms() -> i64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH);
    since.map_or(0, |length| length.as_millis() as i64)
}

#[cfg(test)]
fn test_store() -> (tempfile::TempDir, Store) {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(folder.path()).unwrap();
    (folder, store)
}

/// A store with an empty session in it.
#[cfg(test)]
fn test_evening() -> (tempfile::TempDir, Store, SessionId) {
    let (folder, store) = test_store();
    let body = SessionBody {
        title: "Evening".to_owned(),
        ..SessionBody::default()
    };
    let id = store.create_session(&body).unwrap().id;
    (folder, store, id)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_second_program_on_the_folder_is_refused() {
        let (folder, store) = test_store();
        let Err(error) = Store::open(folder.path()) else {
            panic!("opened twice")
        };
        assert!(matches!(error, Error::InUse { .. }));
        assert!(
            error.to_string().contains("another Edgewitness is using"),
            "{error}"
        );
        drop(store);
        Store::open(folder.path()).unwrap();
    }

    #[test]
    fn a_newer_folder_is_refused_untouched() {
        let (folder, store) = test_store();
        store
            .connection()
            .pragma_update(None, "user_version", VERSION + 1)
            .unwrap();
        drop(store);
        let database = folder.path().join("edgewitness.sqlite");
        let before = fs::read(&database).unwrap();
        let Err(error) = Store::open(folder.path()) else {
            panic!("opened a newer folder")
        };
        assert!(
            error.to_string().contains("newer Edgewitness (store version"),
            "{error}"
        );
        assert_eq!(fs::read(&database).unwrap(), before);
    }

    #[test]
    fn what_was_left_half_done_is_cleared() {
        let (folder, store) = test_store();
        drop(store);
        fs::write(folder.path().join("staging/1-0"), b"half").unwrap();
        fs::create_dir(folder.path().join("staging/1-1")).unwrap();
        fs::write(folder.path().join("staging/1-1/edges"), b"half").unwrap();
        let store = Store::open(folder.path()).unwrap();
        assert_eq!(fs::read_dir(store.staging_dir()).unwrap().count(), 0);
    }
}
