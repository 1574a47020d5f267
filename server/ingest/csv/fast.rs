//! The fast path for plain tables: times in the first column, then single-character levels or plain decimal
//! volts; no quotes, no blanks, no odd rows. Anything else, and the general path reads the table instead.
//!
//! Workers check every byte of every row: the time is read and compared with the pace, cells are compared with
//! the row before (whose cells were checked) and looked at singly where they differ. What they hand over is the
//! rows that differ, and the rows where the pace breaks.

use std::io;
use std::path::Path;

use super::super::blocks::{self, Block};
use super::super::build::Value;
use super::super::digits::{eight_digits, is_eight_digits, word_at};
use super::cells::Decimal;
use super::clock::{Clock, Pace, Step};
use super::probe::TablePlan;
use super::table::{Sink, Table};
use super::time::TimeStyle;

/// What workers need to know.
#[derive(Clone, Debug)]
struct Shape {
    delimiter: u8,
    point: u8,
    /// Columns after the time.
    cells: Vec<Cell>,
    only_levels: bool,
    /// Rows at a fixed period: `Some(period, near)` in written units.
    pace: Option<(f64, f64)>,
    unit: i32,
    exponent: i32,
    volts: Vec<f64>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Cell {
    Level,
    Volts,
}

/// A row that says something new.
#[derive(Clone, Copy, Debug)]
struct Entry {
    row: u32,
    time: i64,
    levels: u64,
    /// The pace breaks here (or the block begins).
    anchor: bool,
}

/// What a block holds.
#[derive(Debug, Default)]
struct Parsed {
    rows: u32,
    entries: Vec<Entry>,
    last_time: i64,
    /// By analog column.
    volts: Vec<Vec<f32>>,
    bytes: u64,
    unfit: bool,
}

/// How the fast path ended.
pub enum Ended {
    /// All rows were read.
    Whole {
        start: i64,
        end: i64,
    },
    /// The table is not for the fast path, or does not keep its pace: read it the general way.
    Unfit,
    Cancelled,
}

const MOST_LEVELS: usize = 64;

fn shape(plan: &TablePlan, sinks: &[Sink]) -> Option<Shape> {
    let TimeStyle::Number { exponent } = plan.reader.style else {
        return None;
    };
    if plan.time != Some(0) || plan.sample_s.is_some() || plan.point == plan.delimiter {
        return None;
    }
    let mut cells = Vec::new();
    let mut volts = Vec::new();
    for (sink, column) in sinks[1..].iter().zip(&plan.columns[1..]) {
        cells.push(match sink {
            Sink::Level(_) => Cell::Level,
            Sink::Volts(_) => {
                volts.push(column.volts);
                Cell::Volts
            }
            Sink::Bus { .. } | Sink::Nothing => return None,
        });
    }
    let levels = cells.iter().filter(|c| **c == Cell::Level).count();
    if levels > MOST_LEVELS || cells.is_empty() {
        return None;
    }
    let pace = match plan.pace {
        // Times written as coarsely as the samples come can't pace a block: where samples were dropped is then
        // a matter of the whole table, which the general path sees.
        Pace::Samples(grid) if 0.25 * grid.period < 1.01 * plan.rounding => return None,
        Pace::Samples(grid) => {
            // Half a period within the general path; closer here, so that the drift within a block is safe.
            Some((grid.period, 0.25 * grid.period))
        }
        Pace::Snapped(_) | Pace::Free => None,
    };
    // Uneven volts are rare, and long blocks of very short periods drift: the general path has them.
    if !volts.is_empty() && pace.is_none() {
        return None;
    }
    Some(Shape {
        delimiter: plan.delimiter,
        point: plan.point,
        only_levels: volts.is_empty(),
        cells,
        pace,
        unit: plan.reader.unit,
        exponent,
        volts,
    })
}

/// Reads the rows from byte `from` on into `table`.
pub fn read(
    path: &Path,
    from: u64,
    plan: &TablePlan,
    table: &mut Table,
    clock: &mut Clock,
    sub: i64,
    told: &mut dyn FnMut(u64) -> bool,
) -> io::Result<Ended> {
    let Some(shape) = shape(plan, &table.sinks) else {
        return Ok(Ended::Unfit);
    };
    let mut merge = Merge {
        lines: table
            .sinks
            .iter()
            .filter_map(|s| if let Sink::Level(l) = s { Some(*l) } else { None })
            .collect(),
        uniform: shape.pace.is_some(),
        sub,
        levels: 0,
        start: None,
        end: 0,
        unfit: false,
        cancelled: false,
    };
    blocks::for_each::<_, _, io::Error>(
        path,
        from,
        || (),
        |(), block| match block {
            Some(block) => parse(&shape, block),
            None => Parsed {
                unfit: true,
                ..Parsed::default()
            },
        },
        |parsed| {
            if !told(parsed.bytes) {
                merge.cancelled = true;
                return Ok(false);
            }
            merge.take(parsed, table, clock)
        },
    )?;
    Ok(match merge.start {
        _ if merge.cancelled => Ended::Cancelled,
        Some(start) if !merge.unfit => Ended::Whole {
            start,
            end: merge.end,
        },
        _ => Ended::Unfit,
    })
}

struct Merge {
    lines: Vec<usize>,
    uniform: bool,
    sub: i64,
    levels: u64,
    start: Option<i64>,
    end: i64,
    unfit: bool,
    cancelled: bool,
}

impl Merge {
    fn take(&mut self, parsed: Parsed, table: &mut Table, clock: &mut Clock) -> io::Result<bool> {
        if parsed.unfit {
            self.unfit = true;
            return Ok(false);
        }
        // Row and tick of the latest anchor.
        let mut anchor = (0u32, 0i64);
        let mut samples_from = 0u32;
        for entry in &parsed.entries {
            let (tick, gap) = if self.uniform && !entry.anchor {
                (anchor.1 + i64::from(entry.row - anchor.0) * self.sub, false)
            } else {
                if self.uniform && entry.row > 0 {
                    clock.pass(i64::from(entry.row - anchor.0) - 1);
                }
                match clock.step(entry.time) {
                    Step::At(tick) if self.start.is_none() || self.uniform || tick > self.end => {
                        (tick, false)
                    }
                    Step::Gap(from, to) => {
                        self.samples(table, &parsed, samples_from, entry.row, anchor)?;
                        samples_from = entry.row;
                        for &line in &self.lines {
                            table.lines[line].set(from, Value::Unrecorded)?;
                        }
                        for volts in &mut table.volts {
                            volts.gap(from, ((to - from) / self.sub) as u64)?;
                        }
                        (to, true)
                    }
                    _ => {
                        self.unfit = true;
                        return Ok(false);
                    }
                }
            };
            if entry.anchor && self.uniform {
                if entry.row > samples_from {
                    self.samples(table, &parsed, samples_from, entry.row, anchor)?;
                    samples_from = entry.row;
                }
                anchor = (entry.row, tick);
            }
            if self.start.is_none() {
                self.start = Some(tick);
                table.lines.iter_mut().for_each(|l| l.begin(tick));
                table.volts.iter_mut().for_each(|v| v.begin(tick));
                self.set_all(table, tick, entry.levels)?;
            } else if gap {
                self.set_all(table, tick, entry.levels)?;
            } else {
                let mut changed = entry.levels ^ self.levels;
                while changed != 0 {
                    let bit = changed.trailing_zeros() as usize;
                    changed &= changed - 1;
                    table.lines[self.lines[bit]].toggle(tick)?;
                }
            }
            self.levels = entry.levels;
            self.end = tick;
        }
        if parsed.rows > 0 && self.uniform {
            self.samples(table, &parsed, samples_from, parsed.rows, anchor)?;
            self.end = anchor.1 + i64::from(parsed.rows - 1 - anchor.0) * self.sub;
            clock.pass(i64::from(parsed.rows - 1 - anchor.0));
            clock.arrived(parsed.last_time);
        }
        Ok(true)
    }

    fn set_all(&mut self, table: &mut Table, tick: i64, levels: u64) -> io::Result<()> {
        for (bit, &line) in self.lines.iter().enumerate() {
            let value = if levels >> bit & 1 == 1 {
                Value::High
            } else {
                Value::Low
            };
            table.lines[line].set(tick, value)?;
            table.lines[line].settle_pending()?;
        }
        Ok(())
    }

    fn samples(
        &self,
        table: &mut Table,
        parsed: &Parsed,
        from: u32,
        to: u32,
        anchor: (u32, i64),
    ) -> io::Result<()> {
        for (volts, column) in table.volts.iter_mut().zip(&parsed.volts) {
            let first = anchor.1 + (i64::from(from) - i64::from(anchor.0)) * self.sub;
            volts.push_run(first, self.sub, &column[from as usize..to as usize])?;
        }
        Ok(())
    }
}

/// Reads the rows of a block.
fn parse(shape: &Shape, block: Block) -> Parsed {
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

/// Reads times, the leading digits of which seldom change from row to row.
struct TimeReader<'s> {
    shape: &'s Shape,
    /// Length and place of the point of the row before; 0: none.
    length: usize,
    /// The bytes of the row before in front of its last eight, all checked, and their worth.
    front: u64,
    front_mask: u64,
    front_worth: i64,
    /// 10^digits lacking after the written ones.
    scale: i64,
}

impl<'s> TimeReader<'s> {
    fn new(shape: &'s Shape) -> TimeReader<'s> {
        TimeReader {
            shape,
            length: 0,
            front: 0,
            front_mask: 0,
            front_worth: 0,
            scale: 1,
        }
    }

    /// The time in units of the clock, and its length; its delimiter follows.
    #[inline]
    fn read(&mut self, bytes: &[u8]) -> Option<(i64, usize)> {
        let length = self.length;
        if length >= 8
            && bytes.get(length) == Some(&self.shape.delimiter)
            && (word_at(bytes, 0) ^ self.front) & self.front_mask == 0
        {
            let tail = word_at(bytes, length - 8);
            if is_eight_digits(tail) {
                let time = self.front_worth + eight_digits(tail) * self.scale;
                return Some((time, length));
            }
        }
        self.read_slowly(bytes)
    }

    #[cold]
    fn read_slowly(&mut self, bytes: &[u8]) -> Option<(i64, usize)> {
        self.length = 0;
        let length = memchr::memchr(self.shape.delimiter, &bytes[..bytes.len().min(64)])?;
        let text = &bytes[..length];
        let number = Decimal::parse(text, self.shape.point)?;
        let exact = Decimal {
            mantissa: number.mantissa,
            exponent: number.exponent + self.shape.exponent,
        };
        let time = exact.in_units(self.shape.unit)?;
        // Next time the front may be the same, where the last eight are digits and nothing is rounded away.
        let plain = text[0] != b'-' && text[0] != b'+' && !text.iter().any(|b| b.eq_ignore_ascii_case(&b'e'));
        let power = exact.exponent - self.shape.unit;
        if plain && (8..=16).contains(&length) && (0..=9).contains(&power) {
            let tail = word_at(text, length - 8);
            if is_eight_digits(tail) {
                self.scale = 10i64.pow(power as u32);
                self.front = word_at(text, 0);
                self.front_mask = u64::MAX
                    .checked_shl(8 * (length as u32 - 8))
                    .map_or(u64::MAX, |m| !m);
                self.front_worth = time - eight_digits(tail) * self.scale;
                self.length = length;
            }
        }
        Some((time, length))
    }
}

/// Reads decimals that mostly have the shape of the one before.
#[derive(Clone, Copy, Debug, Default)]
struct DecimalReader {
    /// Length without the sign, at most eight; 0: none known.
    length: usize,
    /// Bytes in front of the point and all bytes after it, with the text at the top of a word.
    before: u64,
    after: u64,
    /// Zeros for the bytes below the text.
    fill: u64,
    decimals: usize,
}

impl DecimalReader {
    #[inline]
    fn read(&mut self, bytes: &[u8], point: u8) -> Option<(f64, usize)> {
        let negative = bytes.first() == Some(&b'-');
        let text = &bytes[usize::from(negative)..];
        if self.length > 0 && text.len() > 8 && !text[self.length].is_ascii_digit() {
            let word = word_at(text, 0) << (64 - 8 * self.length);
            let digits = ((word & self.before) << 8) | (word & self.after) | self.fill;
            let mark = word & !self.before & !self.after;
            let marked = (u64::from(point) << self.before.count_ones() << (64 - 8 * self.length)) == mark;
            if marked && is_eight_digits(digits) {
                let value = eight_digits(digits) as f64 / POWERS[self.decimals];
                return Some((
                    if negative { -value } else { value },
                    self.length + usize::from(negative),
                ));
            }
        }
        let (value, length) = read_decimal(bytes, point)?;
        let text = &text[..length - usize::from(negative)];
        self.length = 0;
        if let Some(at) = memchr::memchr(point, text)
            && (2..=8).contains(&text.len())
        {
            let low = 8 - text.len();
            let ones = |bytes: usize| {
                if bytes >= 8 {
                    u64::MAX
                } else {
                    (1u64 << (8 * bytes)) - 1
                }
            };
            self.length = text.len();
            self.before = ones(low + at) & !ones(low);
            self.after = !ones(low + at + 1);
            self.fill = 0x3030_3030_3030_3030 & ones(low + 1);
            self.decimals = text.len() - at - 1;
        }
        Some((value, length))
    }
}

const POWERS: [f64; 16] = [
    1e0, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15,
];

/// `-1.234567` → its value, correctly rounded, and its length. Up to 15 digits, nothing but digits and a point.
#[inline]
fn read_decimal(bytes: &[u8], point: u8) -> Option<(f64, usize)> {
    let negative = bytes.first() == Some(&b'-');
    let mut at = usize::from(negative);
    let start = at;
    let mut value = 0u64;
    let mut after = 0usize;
    while let Some(&byte) = bytes.get(at) {
        let digit = byte.wrapping_sub(b'0');
        if digit < 10 {
            value = value * 10 + u64::from(digit);
        } else if byte == point && after == 0 {
            after = at + 1;
        } else {
            break;
        }
        at += 1;
        if at > start + 16 {
            return None;
        }
    }
    let decimals = if after == 0 { 0 } else { at - after };
    let digits = at - start - usize::from(after != 0);
    if digits == 0 || digits > 15 {
        return None;
    }
    let volts = value as f64 / POWERS[decimals];
    Some((if negative { -volts } else { volts }, at))
}
