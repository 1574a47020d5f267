//! The sections of a file of kept columns, mapped: numbers one after the other, each section from a multiple of 64 bytes on.

use std::ops::Range;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::model::{Column, Ticks};

/// Sections begin at multiples of this.
pub const ALIGNMENT: u64 = 64;

/// `count` numbers from byte `offset` on.
#[derive(Clone, Copy, Serialize, Deserialize)]
pub struct Section {
    pub offset: u64,
    pub count: u64,
}

/// A part of the mapped file as numbers.
pub struct Part {
    map: Option<Arc<memmap2::Mmap>>,
    bytes: Range<usize>,
}

impl<T: bytemuck::AnyBitPattern> AsRef<[T]> for Part {
    fn as_ref(&self) -> &[T] {
        match &self.map {
            Some(map) => bytemuck::cast_slice(&map[self.bytes.clone()]),
            None => &[],
        }
    }
}

impl Part {
    /// As a column of ticks that has pages of the file read before they are touched one by one.
    pub fn column(self) -> Column {
        let (map, offset) = (self.map.clone(), self.bytes.start);
        let column = Column::shared(Arc::new(self));
        let Some(map) = map else { return column };
        column.with_read_ahead(Arc::new(move |entries| {
            let bytes = entries.start * size_of::<Ticks>()..entries.end * size_of::<Ticks>();
            read_ahead(&map, offset + bytes.start, bytes.len());
        }))
    }
}

/// Only a hint: where it is not taken, the pages are read when they are touched.
#[cfg(unix)]
fn read_ahead(map: &memmap2::Mmap, offset: usize, length: usize) {
    let _ = map.advise_range(memmap2::Advice::WillNeed, offset, length);
}

#[cfg(not(unix))]
fn read_ahead(_: &memmap2::Mmap, _: usize, _: usize) {}

/// The mapped file `columns`.
pub struct Sections {
    pub map: Option<Arc<memmap2::Mmap>>,
    /// Bytes of the file.
    pub size: u64,
}

impl Sections {
    /// A section as numbers; `None` where it does not lie in the file or begins between numbers.
    pub fn part<T>(&self, section: Section) -> Option<Part> {
        let bytes = section.count.checked_mul(size_of::<T>() as u64)?;
        let end = section.offset.checked_add(bytes)?;
        let fits = end <= self.size && section.offset.is_multiple_of(ALIGNMENT);
        fits.then(|| Part {
            map: self.map.clone().filter(|_| bytes > 0),
            bytes: section.offset as usize..end as usize,
        })
    }

    /// A section copied into memory; `None` as [`part`](Sections::part).
    pub fn numbers<T: bytemuck::AnyBitPattern>(&self, section: Section) -> Option<Vec<T>> {
        Some(AsRef::<[T]>::as_ref(&self.part::<T>(section)?).to_vec())
    }
}
