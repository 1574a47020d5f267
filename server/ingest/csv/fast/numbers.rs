//! Times and decimals of plain rows, read eight digits at a time where they look like those of the row before.

use super::super::cells::Decimal;
use super::Shape;
use crate::ingest::digits::{eight_digits, word_at};

/// Bytes of a time at most; with a longer one the general path reads the table.
pub const LONGEST_TIME: usize = 60;

/// Reads times, the leading digits of which seldom change from row to row.
pub struct TimeReader<'s> {
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
    /// A reader that knows no time yet.
    pub fn new(shape: &'s Shape) -> TimeReader<'s> {
        TimeReader {
            shape,
            length: 0,
            // No text is like it.
            front: u64::MAX,
            front_mask: u64::MAX,
            front_worth: 0,
            scale: 1,
        }
    }

    /// The time in units of the clock, and its length; its delimiter follows.
    #[inline]
    pub fn read(&mut self, bytes: &[u8]) -> Option<(i64, usize)> {
        match bytes.first_chunk().and_then(|row| self.usual::<32>(row)) {
            Some(read) => Some(read),
            None => self.read_slowly(bytes),
        }
    }

    /// The same where it is written like the one before.
    #[inline(always)]
    pub fn usual<const BYTES: usize>(&self, row: &[u8; BYTES]) -> Option<(i64, usize)> {
        const { assert!(BYTES >= 32) };
        let front = (word_at(row, 0) ^ self.front) & self.front_mask;
        let tail = eight_digits(word_at(row, self.length.wrapping_sub(8) % 16))?;
        if front != 0 || row[self.length % 32] != self.shape.delimiter {
            return None;
        }
        Some((self.front_worth + tail * self.scale, self.length))
    }

    /// However it is written.
    #[cold]
    pub fn read_slowly(&mut self, bytes: &[u8]) -> Option<(i64, usize)> {
        *self = TimeReader::new(self.shape);
        let length = memchr::memchr(self.shape.delimiter, &bytes[..bytes.len().min(LONGEST_TIME + 1)])?;
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
        if plain
            && (8..=16).contains(&length)
            && (0..=9).contains(&power)
            && let Some(tail) = eight_digits(word_at(text, length - 8))
        {
            self.scale = 10i64.pow(power as u32);
            self.front = word_at(text, 0);
            self.front_mask = u64::MAX
                .checked_shl(8 * (length as u32 - 8))
                .map_or(u64::MAX, |m| !m);
            self.front_worth = time - tail * self.scale;
            // Near the end of what 64 bits hold, other last digits might have no room.
            let most = 99_999_999 * self.scale;
            self.length = match self.front_worth.checked_add(most) {
                Some(_) => length,
                None => return Some((time, length)),
            };
        }
        Some((time, length))
    }
}

/// Reads decimals that mostly have the shape of the one before.
#[derive(Clone, Copy, Debug, Default)]
pub struct DecimalReader {
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
    /// The number at the start of `bytes` and its length; `None` where the text is not plain digits with at most one
    /// `point`, after at most one minus.
    #[inline]
    pub fn read(&mut self, bytes: &[u8], point: u8) -> Option<(f64, usize)> {
        let negative = bytes.first() == Some(&b'-');
        let text = &bytes[usize::from(negative)..];
        if self.length > 0 && text.len() > 8 && !text[self.length].is_ascii_digit() {
            let word = word_at(text, 0) << (64 - 8 * self.length);
            let digits = ((word & self.before) << 8) | (word & self.after) | self.fill;
            let mark = word & !self.before & !self.after;
            let marked = (u64::from(point) << self.before.count_ones() << (64 - 8 * self.length)) == mark;
            if marked && let Some(number) = eight_digits(digits) {
                let value = number as f64 / POWERS[self.decimals];
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

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// Against the standard library, which rounds correctly, to the last bit.
        #[test]
        fn decimals_are_rounded_as_the_standard_library_does(
            negative in any::<bool>(),
            value in 0u64..1_000_000_000_000_000,
            decimals in 0usize..15,
        ) {
            let digits = format!("{value:0width$}", width = decimals + 1);
            if digits.len() <= 15 {
                let (whole, part) = digits.split_at(digits.len() - decimals);
                let point = if decimals > 0 { "." } else { "" };
                let text = format!("{}{whole}{point}{part}", if negative { "-" } else { "" });
                let (read, length) = read_decimal(format!("{text},1").as_bytes(), b'.').unwrap();
                prop_assert_eq!(length, text.len());
                prop_assert_eq!(read.to_bits(), text.parse::<f64>().unwrap().to_bits(), "{}", text);
            }
        }
    }

    #[test]
    fn what_is_no_short_decimal_is_left_to_others() {
        for text in ["", "-", ".", "x", "1234567890123456", "12345678901234567.0"] {
            assert_eq!(read_decimal(text.as_bytes(), b'.'), None, "{text}");
        }
    }
}
