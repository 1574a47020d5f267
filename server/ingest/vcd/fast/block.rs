//! The lines of one block, one by one, as a worker reads them.

use super::Parsed;
use super::plain::TimeStyle;
use crate::ingest::blocks::Block;
use crate::ingest::build::Value;
use crate::ingest::digits::{eight_digits, word_at};
use crate::ingest::runs::Runs;
use crate::ingest::thinned::{ThinnedPart, ThinnedView};
use crate::ingest::vcd::Target;
use crate::ingest::vcd::changes::level_of;
use crate::ingest::vcd::codes::{Codes, NO_LINE};

/// A block while it is read.
pub struct Worker<'w> {
    pub codes: &'w Codes,
    pub runs: &'w mut Runs,
    pub parsed: Parsed,
    /// How the latest time was written.
    pub style: TimeStyle,
    known: &'w mut [Option<u64>],
}

/// What a worker keeps from block to block.
pub struct State {
    runs: Runs,
    /// The vectors' values, where all their bits were told as 0 or 1 in this block and they are no wider than a word.
    known: Vec<Option<u64>>,
}

impl State {
    /// `lines`, `vectors`: how many there are.
    pub fn new(lines: usize, vectors: usize) -> State {
        State {
            runs: Runs::new(lines),
            known: vec![None; vectors],
        }
    }
}

/// Reads the lines of a block.
pub fn parse(codes: &Codes, view: &ThinnedView, state: &mut State, block: Block) -> Parsed {
    state.known.fill(None);
    let parsed = Parsed {
        offset: block.offset,
        bytes: block.bytes.len() as u64,
        times: ThinnedPart::new(view),
        ..Parsed::default()
    };
    let mut worker = Worker {
        codes,
        runs: &mut state.runs,
        parsed,
        style: TimeStyle::default(),
        known: &mut state.known,
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
    parsed.strange += state.runs.strange;
    parsed.runs = state.runs.take();
    parsed
}

impl Worker<'_> {
    /// One line; its length with its end, or `None` for one of another make.
    #[inline]
    fn line(&mut self, bytes: &[u8]) -> Option<usize> {
        match bytes[0] {
            digit @ (b'0' | b'1') => {
                if let [_, code, b'\n', ..] = *bytes {
                    let line = self.codes.scalar(u16::from_le_bytes([code, b'\n']));
                    if line != NO_LINE {
                        self.set(line as usize, digit & 1);
                        return Some(3);
                    }
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
        if bytes.len() > 9
            && let Some(first) = eight_digits(word_at(bytes, 1))
        {
            time = first;
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
        self.style = TimeStyle::of(&bytes[..length], at - 1, time);
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
            parsed.times.push(parsed.now);
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

    /// A vector of no more bits than a word has, all 0 or 1, with a code of one character: the bits that differ are
    /// set. `None`: it is none, and nothing happened.
    fn plain_vector(&mut self, bytes: &[u8]) -> Option<usize> {
        let (mut value, mut at) = (0u64, 1);
        while let Some(eight) = bytes.get(at..).and_then(|rest| rest.first_chunk()) {
            let word = u64::from_le_bytes(*eight) ^ 0x3030_3030_3030_3030;
            if word & !0x0101_0101_0101_0101 != 0 {
                break;
            }
            // The lowest bits of the bytes side by side, the first byte's the highest.
            value = value << 8 | word.wrapping_mul(0x8040_2010_0804_0201) >> 56;
            at += 8;
        }
        while let Some(bit @ (b'0' | b'1')) = bytes.get(at) {
            value = value << 1 | u64::from(bit & 1);
            at += 1;
        }
        let &[b' ', code, b'\n'] = bytes.get(at..)?.first_chunk()? else {
            return None;
        };
        let Target::Vector { first, width, slot } = self.codes.single(code)? else {
            return None;
        };
        if at == 1 || at - 1 > width || width > 64 || self.parsed.first.is_none() {
            return None;
        }
        let every = u64::MAX >> (64 - width);
        let mut differs = self.known[slot].map_or(every, |before| before ^ value);
        self.known[slot] = Some(value);
        self.parsed.changed = true;
        while differs != 0 {
            let bit = differs.trailing_zeros() as usize;
            differs &= differs - 1;
            let level = (value >> bit & 1) as u8;
            self.runs.set(first + width - 1 - bit, self.parsed.now, level);
        }
        Some(at + 3)
    }

    fn vector(&mut self, bytes: &[u8]) -> Option<usize> {
        if let Some(length) = self.plain_vector(bytes) {
            return Some(length);
        }
        let space = memchr::memchr(b' ', bytes)?;
        let digits = &bytes[1..space];
        let (target, length) = code_at(self.codes, bytes, space + 1)?;
        let (first, width) = match target {
            Target::Vector { first, width, slot } => {
                self.known[slot] = None;
                (first, width)
            }
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
