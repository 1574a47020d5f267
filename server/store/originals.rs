//! What a person brought: files by digest, whole or not at all.
//!
//! An upload is written to `staging/`, flushed to the disk, renamed to `originals/ab/abcd…` and only then named
//! in the database. Broken off at any point it leaves at most a file in `staging/`, which the next start clears,
//! or a whole file that no row names, which is taken up when the same bytes come again.

use std::fs::{self, File};
use std::io::{self, BufWriter, Read, Write};
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

use rusqlite::params;

use super::{Digest, Error, Store, now_ms};

/// A file on its way into the store. Dropped before [`Upload::commit`], it leaves nothing.
pub struct Upload<'a> {
    store: &'a Store,
    name: String,
    staged: Staged,
    file: BufWriter<File>,
    hasher: blake3::Hasher,
    size_bytes: u64,
    limit_bytes: u64,
    over_limit: bool,
}

/// A file that is whole and in the store.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Stored {
    /// The file's name as the person gave it, without any folders.
    pub name: String,
    pub digest: Digest,
    pub size_bytes: u64,
    /// The same bytes were there already.
    pub was_there: bool,
}

impl Store {
    /// Starts an upload. `name` is the file's name as given; it never becomes a path. `limit_bytes`: most bytes
    /// that are taken.
    ///
    /// # Errors
    /// The staging folder can't be written to.
    pub fn begin_upload(&self, name: &str, limit_bytes: u64) -> Result<Upload<'_>, Error> {
        let staged = Staged::new(&self.staging_dir());
        let file = File::create(&staged.path).map_err(Error::io("storing a file", &staged.path))?;
        Ok(Upload {
            store: self,
            name: plain_name(name),
            staged,
            file: BufWriter::with_capacity(256 * 1024, file),
            hasher: blake3::Hasher::new(),
            size_bytes: 0,
            limit_bytes,
            over_limit: false,
        })
    }

    /// Stores everything `reader` yields.
    ///
    /// # Errors
    /// Reading or writing failed, or there is more than `limit_bytes`; then nothing is stored.
    pub fn store_from(&self, name: &str, mut reader: impl Read, limit_bytes: u64) -> Result<Stored, Error> {
        let mut upload = self.begin_upload(name, limit_bytes)?;
        let mut buffer = vec![0; 256 * 1024];
        loop {
            match reader.read(&mut buffer) {
                Ok(0) => return upload.commit(),
                Ok(n) => upload.add(&buffer[..n])?,
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(Error::io("reading", Path::new(name))(error)),
            }
        }
    }

    /// Where the bytes of a stored file lie.
    ///
    /// # Errors
    /// [`Error::NotFound`] when no file of that digest is stored.
    pub fn original_path(&self, digest: &Digest) -> Result<PathBuf, Error> {
        let path = self.place(digest);
        if path.is_file() {
            Ok(path)
        } else {
            Err(Error::no(format!("stored file {digest}")))
        }
    }

    /// Size in bytes of a stored file, or `None` when it is not named in the database.
    ///
    /// # Errors
    /// The disk's own.
    pub fn original_size(&self, digest: &Digest) -> Result<Option<u64>, Error> {
        let connection = self.connection();
        let mut query = connection.prepare_cached("SELECT size_bytes FROM original WHERE digest = ?1")?;
        let mut rows = query.query([digest.as_str()])?;
        let row = rows.next()?;
        row.map(|row| row.get::<_, i64>(0).map(|n| n as u64))
            .transpose()
            .map_err(Error::from)
    }

    /// Where the original of that digest lies, whether or not it is there.
    pub(super) fn place(&self, digest: &Digest) -> PathBuf {
        let name = digest.as_str();
        self.dir().join("originals").join(&name[..2]).join(name)
    }
}

impl Upload<'_> {
    /// Takes the next bytes.
    ///
    /// # Errors
    /// The disk is full or fails, or the limit is passed; the upload is then to be dropped.
    pub fn add(&mut self, bytes: &[u8]) -> Result<(), Error> {
        let limit_bytes = self.limit_bytes;
        if self.over_limit || bytes.len() as u64 > limit_bytes - self.size_bytes {
            self.over_limit = true;
            return Err(Error::TooLarge { limit_bytes });
        }
        self.file
            .write_all(bytes)
            .map_err(Error::io("storing a file", &self.staged.path))?;
        self.hasher.update(bytes);
        self.size_bytes += bytes.len() as u64;
        Ok(())
    }

    /// Makes the file part of the store: on the disk and found again by its digest.
    ///
    /// # Errors
    /// The disk is full or fails; nothing of the upload is then visible.
    pub fn commit(mut self) -> Result<Stored, Error> {
        if self.over_limit {
            return Err(Error::TooLarge {
                limit_bytes: self.limit_bytes,
            });
        }
        let failed = || Error::io("storing a file", &self.staged.path);
        self.file.flush().map_err(failed())?;
        self.file.get_ref().sync_all().map_err(failed())?;
        let digest = Digest::from(self.hasher.finalize());
        let store = self.store;
        let place = store.place(&digest);
        let known = store.original_size(&digest)? == Some(self.size_bytes)
            && fs::metadata(&place).is_ok_and(|m| m.len() == self.size_bytes);
        if !known {
            let folder = place.parent().expect("a place has a folder");
            fs::create_dir_all(folder).map_err(Error::io("storing a file", folder))?;
            // Replaces a damaged or nameless file of the same digest, if there is one.
            fs::rename(&self.staged.path, &place).map_err(Error::io("storing a file", &place))?;
            sync_dir(folder)?;
            sync_dir(folder.parent().expect("the folder of all originals"))?;
            store.connection().execute(
                "INSERT INTO original (digest, size_bytes, stored_ms) VALUES (?1, ?2, ?3)
                     ON CONFLICT (digest) DO UPDATE SET size_bytes = excluded.size_bytes",
                params![digest.as_str(), self.size_bytes as i64, now_ms()],
            )?;
        }
        Ok(Stored {
            name: std::mem::take(&mut self.name),
            digest,
            size_bytes: self.size_bytes,
            was_there: known,
        })
    }
}

impl Write for Upload<'_> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        self.add(bytes).map_err(io::Error::other)?;
        Ok(bytes.len())
    }

    fn flush(&mut self) -> io::Result<()> {
        self.file.flush()
    }
}

/// A path in the staging folder that is removed when dropped, be it a file or a folder (a rename takes it away).
pub(super) struct Staged {
    pub path: PathBuf,
}

impl Staged {
    /// A file name that no other upload has; nothing is made yet.
    pub fn new(staging_dir: &Path) -> Staged {
        static NEXT: AtomicU64 = AtomicU64::new(0);
        let number = NEXT.fetch_add(1, Ordering::Relaxed);
        Staged {
            path: staging_dir.join(format!("{}-{number}", std::process::id())),
        }
    }
}

impl Drop for Staged {
    fn drop(&mut self) {
        if self.path.is_dir() {
            let _ = fs::remove_dir_all(&self.path);
        } else {
            let _ = fs::remove_file(&self.path);
        }
    }
}

/// Makes renames and new names in `dir` last through a power cut.
pub(super) fn sync_dir(dir: &Path) -> Result<(), Error> {
    if cfg!(unix) {
        let opened = File::open(dir).and_then(|folder| folder.sync_all());
        opened.map_err(Error::io("writing to the disk", dir))?;
    }
    Ok(())
}

/// The last part of a name that may carry folders of either kind; never empty, without control characters.
fn plain_name(name: &str) -> String {
    const LONGEST: usize = 255;
    let last = name.rsplit(['/', '\\']).next().unwrap_or_default();
    let mut plain: String = last.chars().filter(|c| !c.is_control()).collect();
    plain.truncate(plain.floor_char_boundary(LONGEST));
    let plain = plain.trim();
    if plain.is_empty() {
        "capture".to_owned()
    } else {
        plain.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::test_store;

    #[test]
    fn bytes_are_kept_unchanged_and_found_again() {
        let (_folder, store) = test_store();
        let bytes: Vec<u8> = (0..=255).cycle().take(1_000_000).collect();
        let first = store.store_from("a.vcd", &bytes[..], u64::MAX).unwrap();
        assert!(!first.was_there);
        assert_eq!(
            fs::read(store.original_path(&first.digest).unwrap()).unwrap(),
            bytes
        );
        let again = store
            .store_from("C:\\captures\\b.vcd", &bytes[..], u64::MAX)
            .unwrap();
        assert!(again.was_there);
        assert_eq!((again.digest, again.name.as_str()), (first.digest, "b.vcd"));
        assert_eq!(fs::read_dir(store.staging_dir()).unwrap().count(), 0);
    }

    #[test]
    fn an_upload_broken_off_or_too_large_leaves_nothing() {
        let (_folder, store) = test_store();
        let mut upload = store.begin_upload("a.csv", 10).unwrap();
        upload.add(b"0123456789").unwrap();
        drop(upload);
        let mut upload = store.begin_upload("a.csv", 10).unwrap();
        upload.add(b"01234567").unwrap();
        assert!(matches!(
            upload.add(b"890"),
            Err(Error::TooLarge { limit_bytes: 10 })
        ));
        assert!(upload.commit().is_err());
        assert_eq!(fs::read_dir(store.staging_dir()).unwrap().count(), 0);
        assert_eq!(fs::read_dir(store.dir().join("originals")).unwrap().count(), 0);
    }

    #[test]
    fn a_whole_file_without_a_name_in_the_database_is_taken_up() {
        let (_folder, store) = test_store();
        let digest = Digest::of(b"bytes");
        fs::create_dir_all(store.place(&digest).parent().unwrap()).unwrap();
        fs::write(store.place(&digest), b"byt").unwrap();
        store.store_from("a", &b"bytes"[..], 100).unwrap();
        assert_eq!(fs::read(store.original_path(&digest).unwrap()).unwrap(), b"bytes");
        assert_eq!(store.original_size(&digest).unwrap(), Some(5));
    }

    #[test]
    fn names_never_carry_folders() {
        assert_eq!(plain_name("../../etc/passwd"), "passwd");
        assert_eq!(plain_name("a\\b\u{0}c.csv"), "bc.csv");
        assert_eq!(plain_name("/"), "capture");
        assert_eq!(plain_name(&"é".repeat(300)).len(), 254);
    }
}
