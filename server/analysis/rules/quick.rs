//! A quick hash for keys of a few numbers that come from captures by the million.

use std::hash::{BuildHasher, Hasher};

/// Makes [`QuickHasher`]s. Not for keys that an enemy may choose among billions: a capture's values are at most as many as
/// its edges, and the worst of them cost time, nothing else.
#[derive(Clone, Copy, Default)]
pub struct Quick;

impl BuildHasher for Quick {
    type Hasher = QuickHasher;

    fn build_hasher(&self) -> QuickHasher {
        QuickHasher(0)
    }
}

/// Multiplies and folds, a step a number.
pub struct QuickHasher(u64);

impl Hasher for QuickHasher {
    #[inline]
    fn write_u64(&mut self, number: u64) {
        // The fraction of the golden ratio in 64 bits (Knuth, The Art of Computer Programming, vol. 3, 6.4).
        let mixed = u128::from(self.0.rotate_left(5) ^ number) * 0x9e37_79b9_7f4a_7c15;
        self.0 = (mixed as u64) ^ (mixed >> 64) as u64;
    }

    fn write(&mut self, bytes: &[u8]) {
        for &byte in bytes {
            self.write_u64(u64::from(byte));
        }
    }

    #[inline]
    fn finish(&self) -> u64 {
        self.0
    }
}
