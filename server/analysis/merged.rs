//! Edges of many lines in the order of time, a block at a time: what a sweep over all lines at once walks along.
//!
//! A block holds some tens of thousands of edges, so that it and what is counted along it stay in the cache; blocks
//! stand for themselves, so that several threads can take them. Each is sorted by counting digits of the time
//! (Knuth, *The Art of Computer Programming*, volume 3, section 5.2.5), which columns that are sorted already need only
//! for what lies between them.

use std::ops::Range;

/// Low bits of a key that name the column; the rest is the time since the block's start.
pub const COLUMN_BITS: u32 = 20;
/// Columns that one merge can take.
pub const MOST_COLUMNS: usize = 1 << COLUMN_BITS;
/// Longest stretch of time in a block, and beyond its end: times since its start fit beside the column.
const LONGEST: i64 = 1 << 42;
/// Every so many edges of a column one is looked at when the blocks are cut.
const STRIDE: usize = 512;
const STRIDES_A_BLOCK: usize = 64;
/// Bits of a digit: its counts fill half of a small first cache.
const DIGIT_BITS: u32 = 11;
/// With more digits than this, or fewer edges, comparing is quicker than counting.
const MOST_DIGITS: u32 = 4;
const FEW: usize = 512;

/// Columns (each ascending ticks) and the stretches of time into which their merge is cut.
pub struct Merged<'a> {
    columns: &'a [&'a [i64]],
    /// Start closed, end open; every one holds an edge and none is left out.
    spans: Vec<Range<i64>>,
}

/// Edges of one block: ascending keys, the ticks since `start` above the position of the column.
#[derive(Default)]
pub struct Block {
    /// First tick of the block.
    pub start: i64,
    /// Ascending.
    pub keys: Vec<u64>,
    /// How many of the keys lie before the block's end; the others are what was asked for beyond it.
    pub inside: usize,
    spare: Vec<u64>,
}

/// Ticks since the block's start.
pub fn time_of(key: u64) -> u64 {
    key >> COLUMN_BITS
}

/// Position of the column.
pub fn column_of(key: u64) -> usize {
    (key & (MOST_COLUMNS as u64 - 1)) as usize
}

impl<'a> Merged<'a> {
    /// Cuts the columns into blocks. Cost: a sort of one edge in 512.
    ///
    /// # Panics
    /// With more than [`MOST_COLUMNS`] columns.
    pub fn new(columns: &'a [&'a [i64]]) -> Merged<'a> {
        assert!(columns.len() <= MOST_COLUMNS, "too many columns for one merge");
        let mut seen: Vec<i64> = columns
            .iter()
            .flat_map(|c| c.iter().step_by(STRIDE).copied())
            .collect();
        seen.sort_unstable();
        let last = columns.iter().filter_map(|c| c.last()).max().copied();
        let ends = seen.iter().step_by(STRIDES_A_BLOCK).skip(1).copied();
        let mut at = i64::MIN;
        let mut spans = Vec::new();
        for cut in ends.chain(last.map(|l| l.saturating_add(1))) {
            while at < cut {
                let next = columns
                    .iter()
                    .filter_map(|c| c.get(c.partition_point(|&t| t < at)))
                    .min();
                let Some(&next) = next.filter(|&&t| t < cut) else {
                    break;
                };
                at = cut.min(next.saturating_add(LONGEST));
                spans.push(next..at);
            }
            at = at.max(cut);
        }
        Merged { columns, spans }
    }

    /// How many blocks there are.
    pub fn len(&self) -> usize {
        self.spans.len()
    }

    /// Fills `block` with the edges of block `index`, and with those less than `beyond` ticks after its end.
    pub fn read(&self, index: usize, beyond: i64, block: &mut Block) {
        let span = &self.spans[index];
        let end = span.end.saturating_add(beyond.clamp(0, LONGEST));
        block.start = span.start;
        block.keys.clear();
        for (position, column) in self.columns.iter().enumerate() {
            let from = column.partition_point(|&t| t < span.start);
            let edges = column[from..].iter().take_while(|&&t| t < end);
            block
                .keys
                .extend(edges.map(|&t| ((t - span.start) as u64) << COLUMN_BITS | position as u64));
        }
        sort(&mut block.keys, &mut block.spare);
        let length = (span.end - span.start) as u64;
        block.inside = block.keys.partition_point(|&k| time_of(k) < length);
    }
}

/// Sorts keys whose equal times stand by column already.
fn sort(keys: &mut Vec<u64>, spare: &mut Vec<u64>) {
    let largest = keys.iter().fold(0, |all, k| all | k) >> COLUMN_BITS;
    let digits = (u64::BITS - largest.leading_zeros()).div_ceil(DIGIT_BITS);
    if keys.len() < FEW || digits > MOST_DIGITS {
        keys.sort_unstable();
        return;
    }
    spare.clear();
    spare.resize(keys.len(), 0);
    for digit in 0..digits {
        let shift = COLUMN_BITS + digit * DIGIT_BITS;
        let of = |key: u64| (key >> shift) as usize & ((1 << DIGIT_BITS) - 1);
        let mut places = [0u32; 1 << DIGIT_BITS];
        keys.iter().for_each(|&k| places[of(k)] += 1);
        let mut before = 0;
        for place in &mut places {
            (*place, before) = (before, before + *place);
        }
        for &key in keys.iter() {
            let place = &mut places[of(key)];
            spare[*place as usize] = key;
            *place += 1;
        }
        std::mem::swap(keys, spare);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn all(columns: &[Vec<i64>], beyond: i64) -> Vec<(i64, usize)> {
        let slices: Vec<&[i64]> = columns.iter().map(Vec::as_slice).collect();
        let merged = Merged::new(&slices);
        let mut block = Block::default();
        let mut edges = Vec::new();
        for index in 0..merged.len() {
            merged.read(index, beyond, &mut block);
            let inside = &block.keys[..block.inside];
            edges.extend(
                inside
                    .iter()
                    .map(|&k| (block.start + time_of(k) as i64, column_of(k))),
            );
        }
        edges
    }

    fn plain(columns: &[Vec<i64>]) -> Vec<(i64, usize)> {
        let edges = columns
            .iter()
            .enumerate()
            .flat_map(|(c, times)| times.iter().map(move |&t| (t, c)));
        let mut edges: Vec<(i64, usize)> = edges.collect();
        edges.sort_unstable();
        edges
    }

    #[test]
    fn edges_ages_apart_are_merged_as_well() {
        let columns = [vec![i64::MIN / 4, 0, 7, i64::MAX / 4], vec![-3, 7, 1 << 50]];
        assert_eq!(all(&columns, 5), plain(&columns));
        assert!(all(&[Vec::new(), Vec::new()], 0).is_empty());
    }

    #[test]
    fn many_blocks_hold_every_edge_once() {
        let columns: Vec<Vec<i64>> = (1..6i64)
            .map(|step| (0..60_000 / step).map(|n| n * step * 3 + n % step).collect())
            .collect();
        assert_eq!(all(&columns, 100), plain(&columns));
    }

    proptest! {
        #[test]
        fn blocks_hold_what_a_plain_sort_gives(
            mut columns in proptest::collection::vec(proptest::collection::vec(-5_000i64..5_000, 0..900), 0..5),
            spread in 1i64..1 << 40,
            beyond in 0i64..50,
        ) {
            for column in &mut columns {
                column.iter_mut().for_each(|t| *t *= spread);
                column.sort_unstable();
            }
            prop_assert_eq!(all(&columns, beyond), plain(&columns));
        }
    }
}
