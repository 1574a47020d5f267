//! Runs of times and scalars with codes of one or two characters, which are nearly all lines of most files: everything is
//! checked, a line of any other make ends the run.
//!
//! Tried and dropped: reading every line as a time and as a change at once, without a branch between them. What it saves
//! in wrong guesses it loses twice over in work.

use super::block::Worker;
use crate::ingest::digits::{eight_digits, word_at};
use crate::ingest::runs::SLOW;

/// How times are written: as many digits as the latest one had, of which all but the last eight are the same.
#[derive(Clone, Copy, Debug, Default)]
pub struct TimeStyle {
    /// Digits; 0: nothing is known, no line is like it.
    digits: usize,
    /// By how many bits the last eight are moved, where there are fewer, and zeros for those.
    shift: u32,
    fill: u64,
    /// `#` and the digits in front of the last eight, their place in a line's first word, and their worth.
    front: u64,
    front_mask: u64,
    worth: i64,
    /// Lines end with CR LF.
    returns: bool,
}

/// Bytes that a time with its end has at most, with some to spare.
const LONGEST: usize = 32;

impl TimeStyle {
    /// As `line` (with its end) has it: `#`, `digits` digits that say `time`.
    pub fn of(line: &[u8], digits: usize, time: i64) -> TimeStyle {
        // The digits in front of the last eight lie in one word with the #.
        const MOST_DIGITS: usize = 15;
        const ZEROS: u64 = 0x3030_3030_3030_3030;
        if digits == 0 || digits > MOST_DIGITS {
            return TimeStyle::default();
        }
        let (long, lacking) = (digits.saturating_sub(8), 8usize.saturating_sub(digits));
        let mut word = [0; 8];
        word[..=long].copy_from_slice(&line[..=long]);
        TimeStyle {
            digits,
            shift: 8 * lacking as u32,
            fill: if lacking == 0 { 0 } else { ZEROS >> (8 * digits) },
            front: u64::from_le_bytes(word),
            front_mask: u64::MAX >> (8 * (7 - long)),
            worth: time - time % 100_000_000,
            returns: line.len() > digits + 2,
        }
    }

    /// The time that `line` says, if it is written like this. `SIMPLE`: eight digits or more, and no CR.
    #[inline(always)]
    fn read<const SIMPLE: bool>(&self, line: &[u8; LONGEST]) -> Option<i64> {
        let front = (word_at(line, 0) ^ self.front) & self.front_mask;
        let after = (self.digits & 15) + 1;
        let (tail, ended) = if SIMPLE {
            (
                word_at(line, (self.digits.wrapping_sub(7)) & 15),
                line[after] == b'\n',
            )
        } else {
            let tail = word_at(line, self.digits.saturating_sub(8) % 8 + 1);
            let ended = if self.returns {
                line[after..after + 2] == *b"\r\n"
            } else {
                line[after] == b'\n'
            };
            ((tail << self.shift) | self.fill, ended)
        };
        if front != 0 || !ended {
            return None;
        }
        Some(self.worth + eight_digits(tail)?)
    }
}

impl Worker<'_> {
    /// The lines from byte `at` on, as long as they are of this kind: where the next one of another kind begins, or one
    /// of the last few.
    pub fn plain_lines(&mut self, bytes: &[u8], at: usize) -> usize {
        match self.style.digits {
            0 => at,
            8.. if !self.style.returns && self.codes.are_single() => self.plain_lines_of::<true>(bytes, at),
            _ => self.plain_lines_of::<false>(bytes, at),
        }
    }

    /// `SIMPLE`: times have eight digits or more, scalars' codes one character, and lines end without CR.
    fn plain_lines_of<const SIMPLE: bool>(&mut self, bytes: &[u8], mut at: usize) -> usize {
        let style = self.style;
        let returns = usize::from(style.returns);
        let Some(codes) = self.codes.scalars() else {
            return at;
        };
        let lanes = self.runs.lanes();
        let parsed = &mut self.parsed;
        let (mut before, mut now, mut changed) = (parsed.before, parsed.now, parsed.changed);
        let mut full = None;
        'lines: while let Some(line) = bytes[at..].first_chunk::<LONGEST>() {
            if line[0] == b'#' {
                let Some(time) = style.read::<SIMPLE>(line) else {
                    break;
                };
                if time <= now {
                    break;
                }
                if changed && parsed.times.wants(now) {
                    parsed.times.push(now);
                }
                (before, now, changed) = (now, time, false);
                at += style.digits + 2 + returns;
            }
            // After a time comes a change.
            let from = at;
            while let Some(line) = bytes[at..].first_chunk::<8>() {
                let level = line[0] ^ b'0';
                if level > 1 {
                    break;
                }
                let code = codes[usize::from(u16::from_le_bytes([line[1], line[2]]))] as usize;
                let Some(lane) = lanes.get_mut(code) else {
                    break 'lines;
                };
                let length = if SIMPLE {
                    3
                } else {
                    let length = 3 + returns + usize::from(line[2] > b' ');
                    let ended = line[length - 1] == b'\n' && (returns == 0 || line[length - 2] == b'\r');
                    if !ended {
                        break 'lines;
                    }
                    length
                };
                // With a single character a code is only known together with the end behind it.
                if SIMPLE && line[2] != b'\n' || lane.fill == SLOW || lane.latest() == now {
                    break 'lines;
                }
                at += length;
                changed = true;
                if lane.put(now, level) {
                    full = Some(code);
                    break 'lines;
                }
            }
            if at == from {
                break;
            }
        }
        (parsed.before, parsed.now, parsed.changed) = (before, now, changed);
        if let Some(line) = full {
            self.runs.spill(line);
        }
        at
    }
}
