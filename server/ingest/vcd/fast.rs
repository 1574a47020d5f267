//! The fast path for the changes of a VCD: one command a line, times, scalars, vectors and reals only. A line of
//! any other make, and the general path takes over from there.

use std::io;
use std::path::Path;

use super::super::blocks::{self, Block};
use super::super::build::Value;
use super::super::digits::{eight_digits, is_eight_digits, word_at};
use super::changes::{Codes, Reader, level_of};
use super::{Plan, Target};

/// How far the fast path came.
pub enum Ended {
    /// Everything before this byte was read.
    At(u64),
    Cancelled,
}

const TIME: u32 = u32::MAX;
const REAL: u32 = u32::MAX - 1;

/// What a block holds, in order: `line × 4 + value`, or a mark that the next time or real follows.
#[derive(Default)]
struct Parsed {
    events: Vec<u32>,
    times: Vec<i64>,
    reals: Vec<(usize, f64)>,
    /// x and z among the changes.
    strange: usize,
    /// Where the block begins.
    offset: u64,
    /// Where a line of another make begins.
    stopped: Option<u64>,
    bytes: u64,
}

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
    let bits = vector_bits(reader.plan);
    let result = blocks::for_each::<_, io::Error>(
        path,
        from,
        |block| match block {
            Some(block) => parse(&codes, bits, block),
            None => Parsed {
                stopped: Some(u64::MAX),
                ..Parsed::default()
            },
        },
        |parsed| {
            let early = parsed.times.first().is_some_and(|&t| t < reader.now);
            let crowded = reader.plan.stretches + parsed.strange > reader.limits.stretches;
            if parsed.stopped == Some(u64::MAX) || early || crowded {
                // The general path will tell what is wrong, with its place.
                ended = Ended::At(if parsed.stopped == Some(u64::MAX) {
                    reader.came_to
                } else {
                    parsed.offset
                });
                return Ok(false);
            }
            apply(reader, &parsed)?;
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

fn vector_bits(plan: &Plan) -> usize {
    plan.builders.len()
}

fn apply(reader: &mut Reader, parsed: &Parsed) -> io::Result<()> {
    const VALUES: [Value; 4] = [Value::Low, Value::High, Value::Unknown, Value::Floating];
    let mut times = parsed.times.iter();
    let mut reals = parsed.reals.iter();
    reader.plan.stretches += parsed.strange;
    for &event in &parsed.events {
        match event {
            TIME => {
                if let Some(&time) = times.next() {
                    reader.go_to(time);
                }
            }
            REAL => {
                if let Some(&(place, value)) = reals.next() {
                    reader.other(place, Some(value));
                }
            }
            change => {
                reader.changed = true;
                let value = VALUES[(change & 3) as usize];
                reader.plan.builders[(change >> 2) as usize].set(reader.now, value)?;
            }
        }
    }
    Ok(())
}

fn parse(codes: &Codes, bits: usize, block: Block) -> Parsed {
    let mut parsed = Parsed {
        offset: block.offset,
        bytes: block.bytes.len() as u64,
        ..Parsed::default()
    };
    parsed.events.reserve(block.bytes.len() / 5);
    // The vectors' bits as the block has shown them; 4: not yet.
    let mut held = vec![4u8; bits];
    let bytes = block.bytes;
    let mut at = 0;
    let mut now = i64::MIN;
    while at < bytes.len() {
        match line(codes, &bytes[at..], &mut parsed, &mut held, &mut now) {
            Some(length) => at += length,
            None => {
                parsed.stopped = Some(block.offset + at as u64);
                break;
            }
        }
    }
    parsed
}

/// One line; its length with its end, or `None` for one of another make.
#[inline]
fn line(codes: &Codes, bytes: &[u8], parsed: &mut Parsed, held: &mut [u8], now: &mut i64) -> Option<usize> {
    match bytes[0] {
        digit @ (b'0' | b'1' | b'x' | b'z' | b'X' | b'Z') => {
            let (line, length) = match *bytes {
                [_, code, b'\n', ..] if codes.scalars[usize::from(code)] != 0 => {
                    (codes.scalars[usize::from(code)] as usize - 1, 3)
                }
                _ => match code_at(codes, bytes, 1)? {
                    (Target::Scalar(line), length) => (line, length),
                    _ => return None,
                },
            };
            let value = match digit {
                b'0' => 0,
                b'1' => 1,
                b'x' | b'X' => 2,
                _ => 3,
            };
            parsed.strange += usize::from(value > 1);
            parsed.events.push((line as u32) << 2 | value);
            Some(length)
        }
        b'#' => {
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
            if at == 1 || time < *now {
                return None;
            }
            *now = time;
            parsed.times.push(time);
            parsed.events.push(TIME);
            line_end(bytes, at)
        }
        b'b' | b'B' => vector(codes, bytes, parsed, held),
        b'r' | b'R' => {
            let space = memchr::memchr(b' ', &bytes[..bytes.len().min(64)])?;
            let value: f64 = std::str::from_utf8(&bytes[1..space]).ok()?.parse().ok()?;
            let (target, length) = code_at(codes, bytes, space + 1)?;
            let Target::Other(place) = target else { return None };
            parsed.reals.push((place, value));
            parsed.events.push(REAL);
            Some(length)
        }
        b'\n' => Some(1),
        _ => None,
    }
}

fn vector(codes: &Codes, bytes: &[u8], parsed: &mut Parsed, held: &mut [u8]) -> Option<usize> {
    let space = memchr::memchr(b' ', bytes)?;
    let digits = &bytes[1..space];
    let (target, length) = code_at(codes, bytes, space + 1)?;
    let (first, width) = match target {
        Target::Vector { first, width, .. } => (first, width),
        Target::Scalar(line) => (line, 1),
        Target::Other(_) => return None,
    };
    if digits.is_empty() || digits.len() > width {
        return None;
    }
    let fill = match digits[0] {
        b'0' | b'1' => 0,
        digit => value_of(digit)?,
    };
    let missing = width - digits.len();
    for bit in 0..width {
        let value = if bit < missing {
            fill
        } else {
            value_of(digits[bit - missing])?
        };
        if held[first + bit] != value {
            held[first + bit] = value;
            parsed.strange += usize::from(value > 1);
            parsed.events.push(((first + bit) as u32) << 2 | u32::from(value));
        }
    }
    Some(length)
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
