//! The fast path for the changes of a VCD: one command a line, times, scalars, vectors and reals only. A line of
//! any other make, and the general path takes over from there.

use std::io;
use std::path::Path;

use super::super::blocks::{self, Block};
use super::super::build::Value;
use super::super::digits::{eight_digits, is_eight_digits, word_at};
use super::super::grid::{ThinnedPart, ThinnedView};
use super::super::runs::{Run, Runs};
use super::Target;
use super::changes::{Reader, level_of};
use super::codes::Codes;

/// How far the fast path came.
pub enum Ended {
    /// Everything before this byte was read.
    At(u64),
    Cancelled,
}

/// What a block holds.
#[derive(Default)]
struct Parsed {
    /// Changes before the block's first time: lines with levels, and reals.
    head: Vec<(usize, u8)>,
    head_reals: Vec<(usize, f64)>,
    /// First time of the block, the latest two, and whether something changed at the latest.
    first: Option<i64>,
    before: i64,
    now: i64,
    changed: bool,
    runs: Vec<Run>,
    reals: Vec<(i64, usize, f64)>,
    /// Times before the latest at which something changed.
    times: ThinnedPart,
    /// x and z among the changes.
    strange: usize,
    /// Where the block begins.
    offset: u64,
    /// Where a line of another make begins.
    stopped: Option<u64>,
    bytes: u64,
}

/// A block that could not be had in whole lines.
const NO_LINES: u64 = u64::MAX;

/// Reads changes from byte `from` (the start of a line) on.
pub fn read(
    path: &Path,
    from: u64,
    reader: &mut Reader,
    told: &mut dyn FnMut(u64) -> bool,
) -> io::Result<Ended> {
    let size = std::fs::metadata(path)?.len();
    let mut ended = Ended::At(size);
    // The workers look codes up while the lines grow.
    let codes = std::mem::take(&mut reader.plan.codes);
    let lines = reader.plan.builders.len();
    let view = ThinnedView::default();
    reader.times.show(&view);
    let result = blocks::for_each::<_, _, io::Error>(
        path,
        from,
        || Runs::new(lines),
        |runs, block| match block {
            Some(block) => parse(&codes, &view, runs, block),
            None => Parsed {
                stopped: Some(NO_LINES),
                ..Parsed::default()
            },
        },
        |parsed| {
            let early = parsed.first.is_some_and(|first| first <= reader.now);
            let crowded = reader.plan.stretches + parsed.strange > reader.limits.stretches;
            if parsed.stopped == Some(NO_LINES) || early || crowded {
                // The general path will tell what is wrong, with its place.
                ended = Ended::At(if parsed.stopped == Some(NO_LINES) {
                    reader.came_to
                } else {
                    parsed.offset
                });
                return Ok(false);
            }
            apply(reader, &parsed)?;
            reader.times.show(&view);
            reader.came_to = parsed.stopped.unwrap_or(parsed.offset + parsed.bytes);
            if !told(reader.came_to) {
                ended = Ended::Cancelled;
                return Ok(false);
            }
            if let Some(at) = parsed.stopped {
                ended = Ended::At(at);
                return Ok(false);
            }
            Ok(true)
        },
    );
    reader.plan.codes = codes;
    reader.values.iter_mut().for_each(Vec::clear);
    result.map(|()| ended)
}

fn apply(reader: &mut Reader, parsed: &Parsed) -> io::Result<()> {
    const VALUES: [Value; 4] = [Value::Low, Value::High, Value::Unknown, Value::Floating];
    reader.plan.stretches += parsed.strange;
    for &(line, level) in &parsed.head {
        reader.changed = true;
        reader.plan.builders[line].set(reader.now, VALUES[usize::from(level & 3)])?;
    }
    for &(place, value) in &parsed.head_reals {
        reader.other(place, Some(value));
    }
    let Some(first) = parsed.first else {
        return Ok(());
    };
    reader.go_to(first);
    for run in &parsed.runs {
        reader.plan.builders[run.line].append(run)?;
    }
    for &(time, place, value) in &parsed.reals {
        reader.other_at(time, place, Some(value));
    }
    reader.times.append(&parsed.times);
    if parsed.now > first {
        reader.before = parsed.before;
        reader.now = parsed.now;
    }
    reader.changed = parsed.changed;
    Ok(())
}

/// A block while it is read.
struct Worker<'w> {
    codes: &'w Codes,
    runs: &'w mut Runs,
    parsed: Parsed,
    zeros: u32,
}

fn parse(codes: &Codes, view: &ThinnedView, runs: &mut Runs, block: Block) -> Parsed {
    let parsed = Parsed {
        offset: block.offset,
        bytes: block.bytes.len() as u64,
        times: ThinnedPart::new(view),
        ..Parsed::default()
    };
    let mut worker = Worker {
        codes,
        runs,
        parsed,
        zeros: view.zeros(),
    };
    let bytes = block.bytes;
    let mut at = 0;
    while at < bytes.len() {
        if worker.parsed.first.is_some() {
            at = worker.plain_lines(bytes, at);
            if at == bytes.len() {
                break;
            }
        }
        match worker.line(&bytes[at..]) {
            Some(length) => at += length,
            None => {
                worker.parsed.stopped = Some(block.offset + at as u64);
                break;
            }
        }
    }
    let mut parsed = worker.parsed;
    parsed.strange += runs.strange;
    parsed.runs = runs.take();
    parsed
}

impl Worker<'_> {
    /// Times, and scalars with codes of one character, from byte `at` on: nearly all lines of most files. Where the next
    /// line of another make begins, or the end.
    fn plain_lines(&mut self, bytes: &[u8], mut at: usize) -> usize {
        let codes = self.codes;
        // The longest such line has 21 bytes; the last few are for the other way.
        let end = bytes.len().saturating_sub(32);
        while at < end {
            if bytes[at] == b'#' {
                match self.time(&bytes[at..]) {
                    Some(length) => at += length,
                    None => return at,
                }
            }
            // After a time comes a change.
            let line: &[u8; 3] = bytes[at..].first_chunk().unwrap_or(&[0; 3]);
            let scalar = codes.scalars[usize::from(line[1])];
            if line[0] & 0xfe == b'0' && line[2] == b'\n' && scalar != 0 {
                self.parsed.changed = true;
                self.runs.set(scalar as usize - 1, self.parsed.now, line[0] & 1);
                at += 3;
            } else if line[0] != b'#' {
                return at;
            }
        }
        at
    }

    /// One line; its length with its end, or `None` for one of another make.
    #[inline]
    fn line(&mut self, bytes: &[u8]) -> Option<usize> {
        match bytes[0] {
            digit @ (b'0' | b'1') => {
                if let [_, code, b'\n', ..] = *bytes
                    && let scalar @ 1.. = self.codes.scalars[usize::from(code)]
                {
                    self.set(scalar as usize - 1, digit & 1);
                    return Some(3);
                }
                self.scalar(bytes, digit & 1)
            }
            b'#' => self.time(bytes),
            b'b' | b'B' => self.vector(bytes),
            b'x' | b'X' => self.scalar(bytes, 2),
            b'z' | b'Z' => self.scalar(bytes, 3),
            b'r' | b'R' => self.real(bytes),
            b'\n' => Some(1),
            _ => None,
        }
    }

    #[inline]
    fn set(&mut self, line: usize, level: u8) {
        if self.parsed.first.is_some() {
            self.parsed.changed = true;
            self.runs.set(line, self.parsed.now, level);
        } else {
            self.parsed.strange += usize::from(level > 1);
            self.parsed.head.push((line, level));
        }
    }

    fn scalar(&mut self, bytes: &[u8], level: u8) -> Option<usize> {
        let (Target::Scalar(line), length) = code_at(self.codes, bytes, 1)? else {
            return None;
        };
        self.set(line, level);
        Some(length)
    }

    #[inline]
    fn time(&mut self, bytes: &[u8]) -> Option<usize> {
        let mut time = 0i64;
        let mut at = 1;
        if bytes.len() > 9 && is_eight_digits(word_at(bytes, 1)) {
            time = eight_digits(word_at(bytes, 1));
            at = 9;
        }
        loop {
            let byte = *bytes.get(at)?;
            let digit = byte.wrapping_sub(b'0');
            if digit > 9 {
                break;
            }
            // Eighteen digits fit for certain; longer ones are for the general path.
            if at > 18 {
                return None;
            }
            time = time * 10 + i64::from(digit);
            at += 1;
        }
        if at == 1 {
            return None;
        }
        let length = line_end(bytes, at)?;
        let parsed = &mut self.parsed;
        if parsed.first.is_none() {
            parsed.first = Some(time);
            parsed.now = time;
            return Some(length);
        }
        if time <= parsed.now {
            return (time == parsed.now).then_some(length);
        }
        if parsed.changed {
            parsed.times.push(parsed.now, self.zeros);
            parsed.changed = false;
        }
        parsed.before = parsed.now;
        parsed.now = time;
        Some(length)
    }

    fn real(&mut self, bytes: &[u8]) -> Option<usize> {
        let space = memchr::memchr(b' ', &bytes[..bytes.len().min(64)])?;
        let value: f64 = std::str::from_utf8(&bytes[1..space]).ok()?.parse().ok()?;
        let (Target::Other(place), length) = code_at(self.codes, bytes, space + 1)? else {
            return None;
        };
        if self.parsed.first.is_some() {
            self.parsed.reals.push((self.parsed.now, place, value));
        } else {
            self.parsed.head_reals.push((place, value));
        }
        Some(length)
    }

    fn vector(&mut self, bytes: &[u8]) -> Option<usize> {
        let space = memchr::memchr(b' ', bytes)?;
        let digits = &bytes[1..space];
        let (target, length) = code_at(self.codes, bytes, space + 1)?;
        let (first, width) = match target {
            Target::Vector { first, width, .. } => (first, width),
            Target::Scalar(line) => (line, 1),
            Target::Other(_) => return None,
        };
        if digits.is_empty() || digits.len() > width {
            return None;
        }
        // All or nothing: a digit of another make leaves the line to the general path.
        if digits.iter().any(|&digit| value_of(digit).is_none()) {
            return None;
        }
        let fill = match digits[0] {
            b'0' | b'1' => 0,
            digit => value_of(digit)?,
        };
        let missing = width - digits.len();
        for bit in 0..missing {
            self.set(first + bit, fill);
        }
        for (bit, &digit) in digits.iter().enumerate() {
            self.set(first + missing + bit, value_of(digit)?);
        }
        Some(length)
    }
}

#[inline(always)]
fn value_of(digit: u8) -> Option<u8> {
    Some(match digit {
        b'0' => 0,
        b'1' => 1,
        digit => match level_of(digit)? {
            Value::Low => 0,
            Value::High => 1,
            Value::Floating => 3,
            _ => 2,
        },
    })
}

/// The code from byte `at` to the end of the line, and the line's length.
#[inline]
fn code_at(codes: &Codes, bytes: &[u8], at: usize) -> Option<(Target, usize)> {
    if let (Some(&code), Some(b'\n')) = (bytes.get(at), bytes.get(at + 1)) {
        return Some((codes.single(code)?, at + 2));
    }
    let rest = &bytes[at..];
    let end = memchr::memchr(b'\n', rest)?;
    let code = rest[..end].strip_suffix(b"\r").unwrap_or(&rest[..end]);
    if code.is_empty() || code.iter().any(|&b| b <= b' ') {
        return None;
    }
    Some((codes.get(code)?, at + end + 1))
}

#[inline]
fn line_end(bytes: &[u8], at: usize) -> Option<usize> {
    match bytes.get(at)? {
        b'\n' => Some(at + 1),
        b'\r' if bytes.get(at + 1) == Some(&b'\n') => Some(at + 2),
        _ => None,
    }
}
