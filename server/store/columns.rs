//! What was made of an original: its edge columns, in a folder for each (digest, read settings), whole or not
//! at all. Ingest writes into a staging folder and maps the files; the store renames it when it is whole.

use std::fs::{self, File};
use std::path::{Path, PathBuf};

use super::originals::{Staged, sync_dir};
use super::{Digest, Error, Store};

/// A folder of columns on its way into the store. Dropped before [`Columns::commit`], it leaves nothing.
pub struct Columns {
    staged: Staged,
    place: PathBuf,
}

impl Store {
    /// The folder with the edge columns of an original as read with `read_key` (any text that names the
    /// settings and the version of the reader), or `None` when it was not read so yet.
    pub fn columns_dir(&self, digest: &Digest, read_key: &str) -> Option<PathBuf> {
        let place = self.columns_place(digest, read_key);
        place.is_dir().then_some(place)
    }

    /// An empty folder to write edge columns into.
    ///
    /// # Errors
    /// The staging folder can't be written to.
    pub fn begin_columns(&self, digest: &Digest, read_key: &str) -> Result<Columns, Error> {
        let staged = Staged::new(&self.staging_dir());
        fs::create_dir(&staged.path).map_err(Error::io("storing edge columns", &staged.path))?;
        Ok(Columns {
            staged,
            place: self.columns_place(digest, read_key),
        })
    }

    fn columns_place(&self, digest: &Digest, read_key: &str) -> PathBuf {
        let key = &Digest::of(read_key.as_bytes()).as_str()[..16].to_owned();
        self.dir().join("columns").join(digest.as_str()).join(key)
    }
}

impl Columns {
    /// Where to write.
    pub fn path(&self) -> &Path {
        &self.staged.path
    }

    /// Makes the folder part of the store and gives its lasting path. Files that are mapped stay mapped.
    ///
    /// # Errors
    /// The disk is full or fails; nothing is then visible.
    pub fn commit(self) -> Result<PathBuf, Error> {
        let doing = "storing edge columns";
        let entries = fs::read_dir(&self.staged.path).map_err(Error::io(doing, &self.staged.path))?;
        for entry in entries {
            let path = entry.map_err(Error::io(doing, &self.staged.path))?.path();
            let synced = File::open(&path).and_then(|file| file.sync_all());
            synced.map_err(Error::io(doing, &path))?;
        }
        let folder = self.place.parent().expect("a place has a folder");
        fs::create_dir_all(folder).map_err(Error::io(doing, folder))?;
        match fs::rename(&self.staged.path, &self.place) {
            Ok(()) => sync_dir(folder)?,
            // Somebody read the same file with the same settings meanwhile: theirs is as good.
            Err(_) if self.place.is_dir() => {}
            Err(error) => return Err(Error::io(doing, &self.place)(error)),
        }
        Ok(self.place.clone())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::test_store;

    #[test]
    fn columns_are_visible_when_whole() {
        let (_folder, store) = test_store();
        let digest = Digest::of(b"a");
        let columns = store.begin_columns(&digest, "v1").unwrap();
        fs::write(columns.path().join("edges"), [0; 80]).unwrap();
        assert_eq!(store.columns_dir(&digest, "v1"), None);
        let second = store.begin_columns(&digest, "v1").unwrap();
        let place = columns.commit().unwrap();
        assert_eq!(second.commit().unwrap(), place);
        assert_eq!(store.columns_dir(&digest, "v1"), Some(place.clone()));
        assert_eq!(store.columns_dir(&digest, "v2"), None);
        assert_eq!(fs::read(place.join("edges")).unwrap().len(), 80);
        assert_eq!(fs::read_dir(store.staging_dir()).unwrap().count(), 0);
    }
}
