//! The rows of one block, as a worker reads them: levels alone eight bytes at a time, levels and volts cell by cell.

use super::levels::parse_levels;
use super::numbers::{DecimalReader, TimeReader};
use super::quotes::unquoted;
use super::{Cell, Entry, Parsed, Shape};
use crate::ingest::blocks::{Block, PADDING};

/// Reads the rows of a block; `room` is for rows without their quotes.
pub fn parse(shape: &Shape, block: &Block, room: &mut Vec<u8>) -> Parsed {
    if memchr::memchr(b'"', block.bytes).is_none() {
        return parse_bare(shape, block);
    }
    let Some(padded) = unquoted(block.bytes, shape.delimiter, room) else {
        return Parsed {
            unfit: true,
            ..Parsed::default()
        };
    };
    let bare = Block {
        bytes: &padded[..padded.len() - PADDING],
        padded,
        offset: block.offset,
    };
    Parsed {
        bytes: block.bytes.len() as u64,
        ..parse_bare(shape, &bare)
    }
}

fn parse_bare(shape: &Shape, block: &Block) -> Parsed {
    let mut parsed = Parsed {
        volts: vec![Vec::new(); shape.volts.len()],
        bytes: block.bytes.len() as u64,
        ..Parsed::default()
    };
    let done = if !shape.only_levels {
        parse_mixed(shape, block.bytes, &mut parsed)
    } else if shape.pace.is_some() {
        parse_levels(shape, block, &mut AtPace(Follow::new(shape)), &mut parsed)
    } else {
        // Rows of the usual length.
        let rows = block.bytes.len() / (2 * shape.cells.len() + 10);
        parsed.times.reserve(rows);
        parsed.levels.reserve(rows);
        parse_levels(shape, block, &mut Changes, &mut parsed)
    };
    parsed.unfit = done.is_none();
    parsed
}

/// What becomes of a row of levels.
pub trait RowSink {
    /// `changed`: the levels are not those of the row before.
    fn row(&mut self, time: i64, levels: u64, changed: bool, parsed: &mut Parsed);
}

/// One row a sample: those that say something new.
struct AtPace(Follow);

impl RowSink for AtPace {
    #[inline(always)]
    fn row(&mut self, time: i64, levels: u64, changed: bool, parsed: &mut Parsed) {
        let anchor = self.0.breaks(time);
        if changed || anchor {
            parsed.entries.push(Entry {
                row: parsed.rows,
                time,
                levels,
                anchor,
            });
        }
        parsed.rows += 1;
        parsed.last_time = time;
    }
}

/// One row a change: all of them.
struct Changes;

impl RowSink for Changes {
    #[inline(always)]
    fn row(&mut self, time: i64, levels: u64, _: bool, parsed: &mut Parsed) {
        parsed.times.push(time);
        parsed.levels.push(levels);
    }
}

/// Follows the pace within a block: whether a row's time breaks it.
struct Follow {
    period: f64,
    near: f64,
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
            anchor_time: 0,
            since: f64::NAN,
            last: i64::MIN,
        }
    }

    /// True when the row must be handed over with its time.
    #[inline(always)]
    fn breaks(&mut self, time: i64) -> bool {
        self.since += 1.0;
        // Where the difference has no room it wraps to one that breaks: after `last` only an earlier time could fit.
        let off = time.wrapping_sub(self.anchor_time) as f64 - self.since * self.period;
        // NaN at the block's first row: the comparison is false, so it breaks.
        let keeps = (off.abs() <= self.near) & (time >= self.last);
        self.last = time;
        if !keeps {
            self.anchor_time = time;
            self.since = 0.0;
        }
        !keeps
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
