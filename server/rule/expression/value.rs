//! Four-state vectors of 1 to 64 bits.
//!
//! Each bit is a pair (a, b): 0 is (0, 0), 1 is (1, 0), z is (0, 1), x is (1, 1). In all operators but `===`, `!==`
//! and copying, z counts as x.

use std::fmt;

use super::{Binary, Unary};

/// Bits in a value, at most.
pub const MOST_BITS: u32 = 64;

/// A vector; bits above its width are 0 in both words.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct Value {
    /// In bits.
    pub width: u32,
    pub signed: bool,
    a: u64,
    b: u64,
}

/// Ones in the lowest `width` places.
pub fn mask(width: u32) -> u64 {
    if width >= 64 { u64::MAX } else { (1 << width) - 1 }
}

impl Value {
    /// A vector from its two words; what lies above the width is dropped.
    pub fn new(width: u32, signed: bool, a: u64, b: u64) -> Value {
        let mask = mask(width);
        Value {
            width,
            signed,
            a: a & mask,
            b: b & mask,
        }
    }

    /// An unsigned vector whose bits are all known.
    pub fn known(width: u32, value: u64) -> Value {
        Value::new(width, false, value, 0)
    }

    /// x in every bit.
    pub fn unknown(width: u32) -> Value {
        Value::new(width, false, u64::MAX, u64::MAX)
    }

    /// One bit: `None` is x.
    pub fn bit(value: Option<bool>) -> Value {
        value.map_or(Value::unknown(1), |v| Value::known(1, u64::from(v)))
    }

    /// The number, when all bits are known (as if unsigned).
    pub fn number(&self) -> Option<u64> {
        (self.b == 0).then_some(self.a)
    }

    /// Places in which the bit is 0 or 1.
    pub fn known_mask(&self) -> u64 {
        !self.b & mask(self.width)
    }

    /// The word of ones (with x, which is never asked for alone).
    pub fn ones(&self) -> u64 {
        self.a & !self.b
    }

    fn zeros(&self) -> u64 {
        !self.a & !self.b & mask(self.width)
    }

    /// As a number with a sign, when all bits are known.
    fn signed_number(&self) -> Option<i64> {
        let shift = 64 - self.width;
        self.number().map(|n| ((n << shift) as i64) >> shift)
    }

    /// True when any bit is 1, false when all are 0, else unknown.
    pub fn truth(&self) -> Option<bool> {
        if self.ones() != 0 {
            Some(true)
        } else if self.b == 0 {
            Some(false)
        } else {
            None
        }
    }

    /// To `width` bits and the sign of the context: the top bit is copied when the context is signed, else 0 comes in.
    pub fn resized(self, width: u32, signed: bool) -> Value {
        let (mut a, mut b) = (self.a, self.b);
        if signed && width > self.width {
            let extension = mask(width) & !mask(self.width);
            let top = self.width - 1;
            if a >> top & 1 == 1 {
                a |= extension;
            }
            if b >> top & 1 == 1 {
                b |= extension;
            }
        }
        Value::new(width, signed, a, b)
    }

    /// `self` above `low`.
    pub fn joined(self, low: Value) -> Value {
        let shift = |word: u64| if low.width >= 64 { 0 } else { word << low.width };
        Value::new(
            self.width + low.width,
            false,
            shift(self.a) | low.a,
            shift(self.b) | low.b,
        )
    }

    /// The operator's result, unknown bits where it depends on unknown ones (IEEE Std 1364-2005, clause 5.1).
    pub fn unary(self, operator: Unary) -> Value {
        let all = mask(self.width);
        let and = || {
            if self.zeros() != 0 {
                Some(false)
            } else {
                (self.b == 0).then_some(true)
            }
        };
        let xor = || self.number().map(|n| n.count_ones() % 2 == 1);
        match operator {
            Unary::Plus => self,
            Unary::Minus => match self.number() {
                Some(n) => Value::new(self.width, self.signed, n.wrapping_neg(), 0),
                None => Value::new(self.width, self.signed, all, all),
            },
            Unary::Invert => Value::new(self.width, self.signed, self.zeros() | self.b, self.b),
            Unary::Not => Value::bit(self.truth().map(|t| !t)),
            Unary::And => Value::bit(and()),
            Unary::Nand => Value::bit(and().map(|t| !t)),
            Unary::Or => Value::bit(self.truth()),
            Unary::Nor => Value::bit(self.truth().map(|t| !t)),
            Unary::Xor => Value::bit(xor()),
            Unary::Xnor => Value::bit(xor().map(|t| !t)),
        }
    }

    /// Both operands as the operator wants them: of one width and sign, but for the right one of shifts and `**`.
    pub fn binary(self, operator: Binary, other: Value) -> Value {
        let (width, signed) = (self.width, self.signed);
        let all = mask(width);
        let of = |a: u64, b: u64| Value::new(width, signed, a, b);
        let unknown = || of(all, all);
        match operator {
            Binary::And => {
                let zeros = self.zeros() | other.zeros();
                let ones = self.ones() & other.ones();
                of(!zeros, !(zeros | ones))
            }
            Binary::Or => {
                let ones = self.ones() | other.ones();
                let zeros = self.zeros() & other.zeros();
                of(!zeros, !(zeros | ones))
            }
            Binary::Xor => of((self.a ^ other.a) | self.b | other.b, self.b | other.b),
            Binary::Xnor => of(!(self.a ^ other.a) | self.b | other.b, self.b | other.b),
            Binary::LogicalAnd => Value::bit(match (self.truth(), other.truth()) {
                (Some(false), _) | (_, Some(false)) => Some(false),
                (Some(true), Some(true)) => Some(true),
                _ => None,
            }),
            Binary::LogicalOr => Value::bit(match (self.truth(), other.truth()) {
                (Some(true), _) | (_, Some(true)) => Some(true),
                (Some(false), Some(false)) => Some(false),
                _ => None,
            }),
            Binary::CaseEqual => Value::bit(Some(self.a == other.a && self.b == other.b)),
            Binary::CaseNotEqual => Value::bit(Some(self.a != other.a || self.b != other.b)),
            Binary::Equal => Value::bit(self.is_equal(other)),
            Binary::NotEqual => Value::bit(self.is_equal(other).map(|t| !t)),
            Binary::Less => Value::bit(self.order(other).map(|o| o.is_lt())),
            Binary::LessOrEqual => Value::bit(self.order(other).map(|o| o.is_le())),
            Binary::Greater => Value::bit(self.order(other).map(|o| o.is_gt())),
            Binary::GreaterOrEqual => Value::bit(self.order(other).map(|o| o.is_ge())),
            Binary::ShiftLeft | Binary::ArithmeticShiftLeft => match other.number() {
                Some(n) if n < u64::from(width) => of(self.a << n, self.b << n),
                Some(_) => of(0, 0),
                None => unknown(),
            },
            Binary::ShiftRight => match other.number() {
                Some(n) if n < u64::from(width) => of(self.a >> n, self.b >> n),
                Some(_) => of(0, 0),
                None => unknown(),
            },
            Binary::ArithmeticShiftRight => match other.number() {
                Some(n) => {
                    let n = n.min(u64::from(width)) as u32;
                    let wide = |word: u64| {
                        let shift = 64 - width;
                        let whole = (word << shift) as i64;
                        if signed {
                            (whole >> shift >> n.min(63)) as u64
                        } else {
                            word.checked_shr(n).unwrap_or(0)
                        }
                    };
                    of(wide(self.a), wide(self.b))
                }
                None => unknown(),
            },
            Binary::Power => self.power(other).unwrap_or_else(unknown),
            Binary::Add | Binary::Subtract | Binary::Multiply | Binary::Divide | Binary::Remainder => self
                .arithmetic(operator, other)
                .map_or_else(unknown, |n| of(n, 0)),
        }
    }

    fn arithmetic(self, operator: Binary, other: Value) -> Option<u64> {
        let (x, y) = (self.number()?, other.number()?);
        let divides = matches!(operator, Binary::Divide | Binary::Remainder);
        if divides && y == 0 {
            return None;
        }
        Some(match operator {
            Binary::Add => x.wrapping_add(y),
            Binary::Subtract => x.wrapping_sub(y),
            Binary::Multiply => x.wrapping_mul(y),
            Binary::Divide if self.signed => {
                self.signed_number()?.wrapping_div(other.signed_number()?) as u64
            }
            Binary::Remainder if self.signed => {
                self.signed_number()?.wrapping_rem(other.signed_number()?) as u64
            }
            Binary::Divide => x / y,
            _ => x % y,
        })
    }

    /// Table 5-6 of the standard: a negative exponent gives x, 1, −1 or 0 by the base.
    fn power(self, exponent: Value) -> Option<Value> {
        let (base, times) = (self.number()?, exponent.number()?);
        let of = |n: u64| Some(Value::new(self.width, self.signed, n, 0));
        if exponent.signed && exponent.signed_number()? < 0 {
            return match (self.signed, self.signed_number()?, base) {
                (_, _, 0) => None,
                (_, _, 1) => of(1),
                (true, -1, _) => of(if times % 2 == 1 { u64::MAX } else { 1 }),
                _ => of(0),
            };
        }
        let (mut result, mut square, mut left) = (1u64, base, times);
        while left > 0 {
            if left & 1 == 1 {
                result = result.wrapping_mul(square);
            }
            square = square.wrapping_mul(square);
            left >>= 1;
        }
        of(result)
    }

    /// A pair of known and different bits settles it, whatever the others are.
    fn is_equal(self, other: Value) -> Option<bool> {
        let both = !self.b & !other.b;
        if (self.a ^ other.a) & both != 0 {
            Some(false)
        } else {
            (self.b | other.b == 0).then_some(true)
        }
    }

    fn order(self, other: Value) -> Option<std::cmp::Ordering> {
        if self.signed {
            Some(self.signed_number()?.cmp(&other.signed_number()?))
        } else {
            Some(self.number()?.cmp(&other.number()?))
        }
    }

    /// What a conditional gives when its condition is unknown: bits that agree, x elsewhere.
    pub fn merged(self, other: Value) -> Value {
        let differ = (self.a ^ other.a) | self.b | other.b;
        Value::new(self.width, self.signed, self.a | differ, differ)
    }
}

impl fmt::Display for Value {
    /// Digits, most significant first.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for place in (0..self.width).rev() {
            f.write_str(match (self.a >> place & 1, self.b >> place & 1) {
                (0, 0) => "0",
                (1, 0) => "1",
                (0, _) => "z",
                _ => "x",
            })?;
        }
        Ok(())
    }
}

impl fmt::Debug for Value {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}'{}b{self}", self.width, if self.signed { "s" } else { "" })
    }
}
