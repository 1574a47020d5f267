//! Columns of edges that grow while a file streams past, and go to disk when they grow large.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use crate::model::{Column, Ticks};

/// A folder among the system's temporary files, made when first needed. It vanishes with this value; files that
/// are mapped live on until they are let go.
#[derive(Debug)]
pub struct SpillFolder {
    path: PathBuf,
}

impl SpillFolder {
    /// A name no other process and no other folder of this one has; the folder itself is made at the first spill.
    pub fn new() -> SpillFolder {
        static COUNT: AtomicU64 = AtomicU64::new(0);
        let name = format!(
            "edgewitness-{}-{}",
            std::process::id(),
            COUNT.fetch_add(1, Ordering::Relaxed)
        );
        SpillFolder {
            path: std::env::temp_dir().join(name),
        }
    }

    /// The path of a file in the folder.
    pub fn file(&self, name: &str) -> io::Result<PathBuf> {
        if !self.path.is_dir() {
            fs::create_dir_all(&self.path)?;
        }
        Ok(self.path.join(name))
    }
}

impl Drop for SpillFolder {
    fn drop(&mut self) {
        // A folder left behind among temporary files is no reason to fail.
        let _ = fs::remove_dir_all(&self.path);
    }
}

/// Plain numbers of one kind that grow at the end: in memory up to `room`, then in a file.
#[derive(Debug)]
pub struct Growing<T> {
    buffer: Vec<T>,
    room: usize,
    name: String,
    folder: Arc<SpillFolder>,
    file: Option<PathBuf>,
    in_file: usize,
}

/// Bytes that are worth being written by themselves, without a copy.
const DIRECT: usize = 32 << 10;

impl<T: bytemuck::Pod + Send + Sync> Growing<T> {
    /// `name`: of its file, should it need one. `room`: numbers kept in memory.
    pub fn new(folder: &Arc<SpillFolder>, name: String, room: usize) -> Growing<T> {
        Growing {
            buffer: Vec::new(),
            room: room.max(16),
            name,
            folder: folder.clone(),
            file: None,
            in_file: 0,
        }
    }

    /// How many numbers there are, in the file and in memory.
    pub fn len(&self) -> usize {
        self.in_file + self.buffer.len()
    }

    /// The numbers in memory: the latest ones, or all.
    pub fn latest(&self) -> &[T] {
        &self.buffer
    }

    /// Adds one to those in memory; the caller looks at [`is_full`](Growing::is_full) and flushes.
    #[inline]
    pub fn push(&mut self, number: T) {
        self.buffer.push(number);
    }

    /// Adds many; they are in a file for certain when this says true, and then nothing is in memory.
    pub fn extend(&mut self, more: &[T]) -> io::Result<bool> {
        if self.buffer.len() + more.len() < self.room || size_of_val(more) < DIRECT {
            self.buffer.extend_from_slice(more);
            return Ok(false);
        }
        self.write(more)?;
        Ok(true)
    }

    /// Whether the buffer wants to be written out.
    #[inline]
    pub fn is_full(&self) -> bool {
        self.buffer.len() >= self.room
    }

    /// Writes out what is in memory.
    pub fn flush(&mut self) -> io::Result<()> {
        self.write(&[])
    }

    fn write(&mut self, more: &[T]) -> io::Result<()> {
        let mut file = match &self.file {
            Some(path) => OpenOptions::new().append(true).open(path)?,
            None => {
                let path = self.folder.file(&self.name)?;
                let file = File::create(&path)?;
                self.file = Some(path);
                file
            }
        };
        file.write_all(bytemuck::cast_slice(&self.buffer))?;
        file.write_all(bytemuck::cast_slice(more))?;
        self.in_file += self.buffer.len() + more.len();
        self.buffer.clear();
        Ok(())
    }

    /// The whole as a slice, in memory or mapped.
    pub fn finish(mut self) -> io::Result<Arc<dyn AsRef<[T]> + Send + Sync>> {
        if self.file.is_none() {
            self.buffer.shrink_to_fit();
            return Ok(Arc::new(self.buffer));
        }
        self.flush()?;
        let path = self.file.take().expect("a file was opened");
        map_file(&path, 0, self.in_file)
    }
}

/// Maps `count` numbers from byte `offset` (a multiple of their size) of a file.
fn map_file<T: bytemuck::Pod + Send + Sync>(
    path: &Path,
    offset: u64,
    count: usize,
) -> io::Result<Arc<dyn AsRef<[T]> + Send + Sync>> {
    if count == 0 {
        return Ok(Arc::new(Vec::new()));
    }
    let file = File::open(path)?;
    let bytes = count
        .checked_mul(size_of::<T>())
        .ok_or_else(|| io::Error::other("a column longer than memory can address"))?;
    let (ends, size) = (offset.checked_add(bytes as u64), file.metadata()?.len());
    if ends.is_none_or(|end| end > size) || !offset.is_multiple_of(size_of::<T>() as u64) {
        return Err(io::Error::other(format!(
            "{} is shorter than its columns",
            path.display()
        )));
    }
    // SAFETY: the file lies in a folder of our own and is not written to any more; a file that somebody else
    // cuts short under us is outside what a reader can defend against.
    let map = unsafe { memmap2::MmapOptions::new().offset(offset).len(bytes).map(&file)? };
    Ok(Arc::new(Mapped {
        map,
        kind: std::marker::PhantomData,
    }))
}

struct Mapped<T> {
    map: memmap2::Mmap,
    kind: std::marker::PhantomData<T>,
}

impl<T: bytemuck::Pod> AsRef<[T]> for Mapped<T> {
    fn as_ref(&self) -> &[T] {
        bytemuck::cast_slice(&self.map)
    }
}

/// A finished column of ticks.
pub fn column(growing: Growing<Ticks>) -> io::Result<Column> {
    Ok(Column::shared(growing.finish()?))
}
