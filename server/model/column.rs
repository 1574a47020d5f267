//! A column of sorted edge times: a slice, whether it lies in memory or in a mapped file.

use std::ops::{Deref, Range};
use std::sync::Arc;

use super::Ticks;

/// n ascending ticks. Cheap to clone; the owner (a vector or a mapped file) is shared.
#[derive(Clone)]
pub struct Column {
    owner: Arc<dyn AsRef<[Ticks]> + Send + Sync>,
    range: Range<usize>,
    /// Has the system bring a part of the owner's entries into memory, without waiting for it.
    bring: Option<Arc<dyn Fn(Range<usize>) + Send + Sync>>,
}

impl Column {
    /// A column over anything that yields a slice of ticks, e.g. a mapped file.
    pub fn shared(owner: Arc<dyn AsRef<[Ticks]> + Send + Sync>) -> Column {
        let length = (*owner).as_ref().len();
        Column {
            owner,
            range: 0..length,
            bring: None,
        }
    }

    /// A column over a mapped file: `bring` has the system read entries (positions in the whole owner) ahead.
    pub fn with_read_ahead(self, bring: Arc<dyn Fn(Range<usize>) + Send + Sync>) -> Column {
        Column {
            bring: Some(bring),
            ..self
        }
    }

    /// Says that the entries at `range` are about to be read, one after the other. Does nothing for those in memory.
    pub fn will_read(&self, range: Range<usize>) {
        let end = range.end.min(self.len());
        if let Some(bring) = &self.bring
            && range.start < end
        {
            bring(self.range.start + range.start..self.range.start + end);
        }
    }
}

impl From<Vec<Ticks>> for Column {
    fn from(times: Vec<Ticks>) -> Column {
        Column::shared(Arc::new(times))
    }
}

impl Default for Column {
    fn default() -> Column {
        Column::from(Vec::new())
    }
}

impl Deref for Column {
    type Target = [Ticks];
    fn deref(&self) -> &[Ticks] {
        &(*self.owner).as_ref()[self.range.clone()]
    }
}

impl std::fmt::Debug for Column {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Column({} edges)", self.len())
    }
}
