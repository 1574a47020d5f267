//! The rows of one block, as a worker reads them: levels alone eight bytes at a time, levels and volts cell by cell.

use super::numbers::{DecimalReader, TimeReader};
use super::{Cell, Entry, MOST_LEVELS, Parsed, Shape};
use crate::ingest::blocks::Block;
use crate::ingest::digits::word_at;

/// Reads the rows of a block.
pub fn parse(shape: &Shape, block: Block) -> Parsed {
    let mut parsed = Parsed {
        volts: vec![Vec::new(); shape.volts.len()],
        bytes: block.bytes.len() as u64,
        ..Parsed::default()
    };
    let done = if shape.only_levels {
        parse_levels(shape, block.bytes, &mut parsed)
    } else {
        parse_mixed(shape, block.bytes, &mut parsed)
    };
    parsed.unfit = done.is_none();
    parsed
}

/// Follows the pace within a block: whether a row's time breaks it.
struct Follow {
    period: f64,
    near: f64,
    uniform: bool,
    anchor_time: i64,
    since: f64,
    last: i64,
}

impl Follow {
    fn new(shape: &Shape) -> Follow {
        let (period, near) = shape.pace.unwrap_or((0.0, 0.0));
        Follow {
            period,
            near,
            uniform: shape.pace.is_some(),
            anchor_time: 0,
            since: f64::NAN,
            last: i64::MIN,
        }
    }

    /// True when the row must be handed over with its time.
    #[inline]
    fn breaks(&mut self, time: i64) -> bool {
        if !self.uniform {
            return true;
        }
        self.since += 1.0;
        let off = (time - self.anchor_time) as f64 - self.since * self.period;
        // NaN at the block's first row: the comparison is false, so it breaks.
        let keeps = off.abs() <= self.near && time >= self.last;
        self.last = time;
        if !keeps {
            self.anchor_time = time;
            self.since = 0.0;
        }
        !keeps
    }
}

fn parse_levels(shape: &Shape, bytes: &[u8], parsed: &mut Parsed) -> Option<()> {
    let cells = CellWords::new(shape);
    let mut at = 0;
    let mut follow = Follow::new(shape);
    let mut times = TimeReader::new(shape);
    let mut known = [0u64; WORDS];
    let mut levels = 0u64;
    while at < bytes.len() {
        let (time, length) = times.read(&bytes[at..])?;
        at += length + 1;
        let rest = &bytes[at..];
        let padded;
        let row = if rest.len() >= 8 * cells.count {
            rest
        } else {
            // The last row of a block.
            let mut copy = [0u8; 8 * WORDS];
            copy[..rest.len()].copy_from_slice(rest);
            padded = copy;
            &padded[..]
        };
        if rest.len() < cells.width {
            return None;
        }
        let mut differs = 0u64;
        for (i, &before) in known.iter().enumerate().take(cells.count) {
            differs |= (word_at(row, 8 * i) ^ before) & cells.used[i];
        }
        let changed = differs != 0;
        if changed {
            let mut wrong = 0u64;
            let mut fresh = 0u64;
            for (i, before) in known.iter_mut().enumerate().take(cells.count) {
                let word = word_at(row, 8 * i);
                *before = word;
                wrong |= (word ^ cells.pattern[i]) & cells.fixed[i];
                // Bits 0, 16, 32 and 48 to the top, in order.
                const GATHER: u64 = (1 << 60) | (1 << 45) | (1 << 30) | (1 << 15);
                let bits = word & cells.level[i];
                fresh |=
                    ((bits >> 48) << 3 | (bits & 0xffff_ffff_ffff).wrapping_mul(GATHER) >> 60 & 7) << (4 * i);
            }
            if wrong != 0 {
                return None;
            }
            levels = fresh;
        }
        at += cells.width;
        match bytes.get(at) {
            Some(b'\n') => at += 1,
            Some(b'\r') if bytes.get(at + 1) == Some(&b'\n') => at += 2,
            None => {}
            _ => return None,
        }
        let breaks = follow.breaks(time);
        if changed || breaks {
            parsed.entries.push(Entry {
                row: parsed.rows,
                time,
                levels,
                anchor: breaks,
            });
        }
        parsed.rows += 1;
        parsed.last_time = time;
    }
    Some(())
}

/// Words of eight bytes that hold the cells of a row of levels.
const WORDS: usize = MOST_LEVELS / 4;

/// What the bytes `0,1,…` of a row of levels must be, four cells a word.
struct CellWords {
    count: usize,
    width: usize,
    /// Bytes that belong to the row.
    used: [u64; WORDS],
    /// Bits that are the same in every sound row, and what they are.
    fixed: [u64; WORDS],
    pattern: [u64; WORDS],
    /// The bits that say the levels.
    level: [u64; WORDS],
}

impl CellWords {
    fn new(shape: &Shape) -> CellWords {
        let width = 2 * shape.cells.len() - 1;
        let mut words = CellWords {
            count: width.div_ceil(8),
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

fn parse_mixed(shape: &Shape, bytes: &[u8], parsed: &mut Parsed) -> Option<()> {
    let mut at = 0;
    let mut follow = Follow::new(shape);
    let mut times = TimeReader::new(shape);
    let mut levels = 0u64;
    let mut decimals = vec![DecimalReader::default(); shape.volts.len()];
    let rough = bytes.len() / 24;
    parsed.volts.iter_mut().for_each(|v| v.reserve(rough));
    while at < bytes.len() {
        let (time, length) = times.read(&bytes[at..])?;
        at += length + 1;
        let (mut fresh, mut bit, mut column) = (0u64, 0, 0);
        for (place, cell) in shape.cells.iter().enumerate() {
            if place > 0 {
                if bytes.get(at) != Some(&shape.delimiter) {
                    return None;
                }
                at += 1;
            }
            match cell {
                Cell::Level => {
                    let digit = bytes.get(at)? ^ b'0';
                    if digit > 1 {
                        return None;
                    }
                    fresh |= u64::from(digit) << bit;
                    bit += 1;
                    at += 1;
                }
                Cell::Volts => {
                    let (volts, length) = decimals[column].read(&bytes[at..], shape.point)?;
                    parsed.volts[column].push((volts * shape.volts[column]) as f32);
                    column += 1;
                    at += length;
                }
            }
        }
        match bytes.get(at) {
            Some(b'\n') => at += 1,
            Some(b'\r') if bytes.get(at + 1) == Some(&b'\n') => at += 2,
            None => {}
            _ => return None,
        }
        let breaks = follow.breaks(time);
        if fresh != levels || breaks {
            levels = fresh;
            parsed.entries.push(Entry {
                row: parsed.rows,
                time,
                levels,
                anchor: breaks,
            });
        }
        parsed.rows += 1;
        parsed.last_time = time;
    }
    Some(())
}
