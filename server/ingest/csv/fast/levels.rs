//! Rows of times and single-character levels: `0.000000042,0,1,…`, the cells eight bytes at a time.

use super::block::RowSink;
use super::numbers::{LONGEST_TIME, TimeReader};
use super::{MOST_LEVELS, Parsed, Shape};
use crate::ingest::blocks::{Block, PADDING};
use crate::ingest::digits::word_at;

/// Bytes of a row that are looked at without asking each time whether there are so many.
const ROW: usize = 256;
const _: () = assert!(ROW <= PADDING && LONGEST_TIME + 2 * MOST_LEVELS + 8 < ROW);

/// Reads the rows of a block; `None` where one is of another make.
pub fn parse_levels(
    shape: &Shape,
    block: &Block,
    sink: &mut impl RowSink,
    parsed: &mut Parsed,
) -> Option<()> {
    match (2 * shape.cells.len() - 1).div_ceil(8) {
        ..=1 => rows::<1>(shape, block, sink, parsed),
        2 => rows::<2>(shape, block, sink, parsed),
        3 => rows::<3>(shape, block, sink, parsed),
        4 => rows::<4>(shape, block, sink, parsed),
        5..=8 => rows::<8>(shape, block, sink, parsed),
        _ => rows::<16>(shape, block, sink, parsed),
    }
}

/// `WORDS`: of eight bytes, enough for the cells of a row.
fn rows<const WORDS: usize>(
    shape: &Shape,
    block: &Block,
    sink: &mut impl RowSink,
    parsed: &mut Parsed,
) -> Option<()> {
    let cells = CellWords::<WORDS>::new(shape);
    let mut times = TimeReader::new(shape);
    let mut known = [0u64; WORDS];
    let mut levels = 0u64;
    let (mut at, length) = (0, block.bytes.len());
    while at < length {
        let row: &[u8; ROW] = block.padded[at..].first_chunk()?;
        let (time, time_length) = match times.usual(row) {
            Some(read) => read,
            None => times.read_slowly(&block.bytes[at..])?,
        };
        let from = time_length.min(LONGEST_TIME) + 1;
        let word_of = |word: usize| word_at(row, from + 8 * word);
        let mut differs = 0u64;
        for (word, before) in known.iter().enumerate() {
            differs |= (word_of(word) ^ before) & cells.used[word];
        }
        let changed = differs != 0;
        if changed {
            let (mut wrong, mut fresh) = (0u64, 0u64);
            for (word, before) in known.iter_mut().enumerate() {
                *before = word_of(word);
                wrong |= (*before ^ cells.pattern[word]) & cells.fixed[word];
                fresh |= gathered(*before & cells.level[word]) << (4 * word % 64);
            }
            if wrong != 0 {
                return None;
            }
            levels = fresh;
        }
        at += time_length + 1 + cells.width;
        at += match length.checked_sub(at)? {
            // The last row of a file may lack its end.
            0 => 0,
            _ => match (row[from + cells.width], row[from + cells.width + 1]) {
                (b'\n', _) => 1,
                (b'\r', b'\n') => 2,
                _ => return None,
            },
        };
        sink.row(time, levels, changed, parsed);
    }
    Some(())
}

/// Bits 0, 16, 32 and 48 of a word in which nothing else is set, side by side.
#[inline(always)]
fn gathered(word: u64) -> u64 {
    (word | word >> 15 | word >> 30 | word >> 45) & 0xf
}

/// What the bytes `0,1,…` of a row of levels must be, four cells a word.
struct CellWords<const WORDS: usize> {
    width: usize,
    /// Bytes that belong to the row.
    used: [u64; WORDS],
    /// Bits that are the same in every sound row, and what they are.
    fixed: [u64; WORDS],
    pattern: [u64; WORDS],
    /// The bits that say the levels.
    level: [u64; WORDS],
}

impl<const WORDS: usize> CellWords<WORDS> {
    fn new(shape: &Shape) -> CellWords<WORDS> {
        let width = 2 * shape.cells.len() - 1;
        let mut words = CellWords {
            width,
            used: [0; WORDS],
            fixed: [0; WORDS],
            pattern: [0; WORDS],
            level: [0; WORDS],
        };
        for byte in 0..width {
            let (word, shift) = (byte / 8, byte % 8 * 8);
            let is_cell = byte % 2 == 0;
            words.used[word] |= 0xff << shift;
            words.fixed[word] |= if is_cell { 0xfe } else { 0xff } << shift;
            words.pattern[word] |= u64::from(if is_cell { b'0' } else { shape.delimiter }) << shift;
            words.level[word] |= u64::from(is_cell) << shift;
        }
        words
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn levels_are_gathered_in_order() {
        for levels in 0..16u64 {
            let spread = (0..4).map(|n| (levels >> n & 1) << (16 * n)).sum();
            assert_eq!(gathered(spread), levels);
        }
    }
}
