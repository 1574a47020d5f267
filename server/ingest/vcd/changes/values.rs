//! One value change: of a scalar, a vector, a real or event, a port; and the levels that its digits stand for.

use super::super::Target;
use super::super::tokens::Tokens;
use super::{Failed, Reader};
use crate::ingest::ErrorKind;
use crate::ingest::build::Value;
use crate::ingest::error::quoted;

/// The level a digit stands for, with VHDL's nine values: U, W and - as unknown, L as low, H as high.
pub fn level_of(digit: u8) -> Option<Value> {
    Some(match digit {
        b'0' | b'l' | b'L' => Value::Low,
        b'1' | b'h' | b'H' => Value::High,
        b'x' | b'X' | b'u' | b'U' | b'w' | b'W' | b'-' | b'?' => Value::Unknown,
        b'z' | b'Z' => Value::Floating,
        _ => return None,
    })
}

/// The level of a port's state letter (§18.4.3.1; letters' meanings from memory of the standard's table).
fn port_level(letter: u8) -> Option<Value> {
    Some(match letter {
        b'D' | b'd' | b'L' | b'l' | b'0' => Value::Low,
        b'U' | b'u' | b'H' | b'h' | b'1' => Value::High,
        b'Z' | b'T' | b'F' | b'f' => Value::Floating,
        b'N' | b'X' | b'?' | b'A' | b'a' | b'B' | b'b' | b'C' | b'c' => Value::Unknown,
        _ => return None,
    })
}

impl Reader<'_> {
    /// The target of the code that follows.
    pub(super) fn target(&mut self, tokens: &mut Tokens) -> Result<Target, Failed> {
        if !tokens.advance()? {
            return Err(Failed::Cut);
        }
        self.plan
            .codes
            .get(tokens.word())
            .ok_or_else(|| Failed::Error(tokens.error(ErrorKind::Undeclared(quoted(tokens.word())))))
    }

    /// A scalar change: `digit` and the code behind it, in the present word or in the next.
    pub(super) fn scalar(&mut self, tokens: &mut Tokens, digit: u8, value: Value) -> Result<(), Failed> {
        let word = tokens.word();
        let target = match self.plan.codes.get(&word[1..]) {
            Some(target) => target,
            None if word.len() == 1 => self.target(tokens)?,
            None => {
                // Several digits glued to the code of a vector of as many bits, as some writers do.
                let glued = (2..word.len()).find_map(|n| {
                    word[..n].iter().all(|&d| level_of(d).is_some()).then_some(())?;
                    match self.plan.codes.get(&word[n..]) {
                        Some(target @ Target::Vector { width, .. }) if width == n => {
                            Some((target, word[..n].to_vec()))
                        }
                        _ => None,
                    }
                });
                let Some((target, digits)) = glued else {
                    let code = quoted(&word[1..]);
                    return Err(Failed::Error(tokens.error(ErrorKind::Undeclared(code))));
                };
                return self.vector(tokens, target, &digits);
            }
        };
        match target {
            Target::Scalar(line) => self.set(tokens, line, value),
            Target::Vector { .. } => self.vector(tokens, target, &[digit]),
            Target::Other(place) => {
                if !(self.section && self.plan.others[place].event) {
                    self.other(place, Some(f64::from(digit == b'1')));
                }
                Ok(())
            }
        }
    }

    fn set(&mut self, tokens: &Tokens, line: usize, value: Value) -> Result<(), Failed> {
        if self.off {
            return Ok(());
        }
        self.changed = true;
        let builder = &mut self.plan.builders[line];
        if !self.started {
            builder.before(value);
            return Ok(());
        }
        builder
            .set(self.now, value)
            .map_err(|e| Failed::Error(tokens.spill_error(e)))?;
        if matches!(value, Value::Unknown | Value::Floating) {
            self.count_stretch(tokens)?;
        }
        Ok(())
    }

    /// Stretches lie in memory, so there is a limit.
    fn count_stretch(&mut self, tokens: &Tokens) -> Result<(), Failed> {
        self.plan.stretches += 1;
        if self.plan.stretches > self.limits.stretches {
            return Err(Failed::Error(tokens.error(ErrorKind::Limit {
                what: "the number of stretches without a known level (x, z)".to_owned(),
                limit: self.limits.stretches.to_string(),
                advice: "export a shorter part of the capture, or fewer variables",
            })));
        }
        Ok(())
    }

    /// A vector's value, extended on the left (Table 18-1): with 0 for 0 and 1, else with itself.
    pub(super) fn vector(&mut self, tokens: &Tokens, target: Target, digits: &[u8]) -> Result<(), Failed> {
        let (first, width, slot) = match target {
            Target::Vector { first, width, slot } => (first, width, Some(slot)),
            Target::Scalar(first) => (first, 1, None),
            Target::Other(place) => {
                self.other(place, None);
                return Ok(());
            }
        };
        if digits.is_empty() {
            return Err(Failed::Error(tokens.error(ErrorKind::Vcd(
                "expected digits after b, found white space".to_owned(),
            ))));
        }
        if digits.len() > width && self.too_long.len() < 100 {
            let code = quoted(tokens.word());
            if !self.too_long.contains(&code) {
                self.too_long.push(code);
            }
        }
        let digits = &digits[digits.len().saturating_sub(width)..];
        let fill = match digits[0] {
            d @ (b'x' | b'X' | b'z' | b'Z' | b'u' | b'U' | b'w' | b'W' | b'-') => d,
            _ => b'0',
        };
        let missing = width - digits.len();
        let bit_at = |bit: usize| {
            if bit < missing {
                fill
            } else {
                digits[bit - missing]
            }
        };
        // A value written again counts as one written, as a scalar's does and as the fast path has it.
        self.changed |= !self.off;
        let mut old = slot
            .map(|s| std::mem::take(&mut self.values[s]))
            .unwrap_or_default();
        let known = old.len() == width;
        old.resize(width, 0);
        for (bit, held) in old.iter_mut().enumerate() {
            let digit = bit_at(bit);
            if !known || *held != digit {
                *held = digit;
                let value = level_of(digit).unwrap_or(Value::Unknown);
                self.set(tokens, first + bit, value)?;
            }
        }
        if let Some(slot) = slot
            && !self.off
        {
            self.values[slot] = old;
        }
        Ok(())
    }

    /// A change now of a variable that is no logic line; `None`: it has no number.
    pub fn other(&mut self, place: usize, value: Option<f64>) {
        self.other_at(self.now, place, value);
    }

    /// A change of a variable that is no logic line.
    pub fn other_at(&mut self, time: i64, place: usize, value: Option<f64>) {
        if self.off {
            return;
        }
        let other = &mut self.plan.others[place];
        other.changes += 1;
        if !other.real {
            return;
        }
        let Some(value) = value else { return };
        if self.real_changes >= self.limits.real_changes {
            if !self.reals_full {
                self.reals_full = true;
                self.warnings.push(format!(
                    "more than {} changes of reals: the later ones were only counted",
                    self.limits.real_changes
                ));
            }
            return;
        }
        self.real_changes += 1;
        other.times.push(time);
        other.values.push(value);
    }

    /// `p` + state letters, strength of 0, strength of 1, code (§18.4.3); blanks between them vary.
    pub(super) fn port(&mut self, tokens: &mut Tokens, states: &[u8]) -> Result<(), Failed> {
        const WORDS: usize = 3;
        let mut digits = Vec::with_capacity(states.len());
        for &letter in states {
            match port_level(letter) {
                Some(Value::Low) => digits.push(b'0'),
                Some(Value::High) => digits.push(b'1'),
                Some(Value::Floating) => digits.push(b'z'),
                Some(_) => digits.push(b'x'),
                None => {
                    return Err(Failed::Error(tokens.error(ErrorKind::Vcd(format!(
                        "expected port states such as D, U, N, Z, L, H, X or T, found {}",
                        quoted(states)
                    )))));
                }
            }
        }
        for _ in 0..WORDS {
            if !tokens.advance()? {
                return Err(Failed::Cut);
            }
            let word = tokens.word();
            if word.iter().all(u8::is_ascii_digit) && self.plan.codes.get(word).is_none() {
                continue;
            }
            let Some(target) = self.plan.codes.get(word) else {
                return Err(Failed::Error(tokens.error(ErrorKind::Undeclared(quoted(word)))));
            };
            return self.vector(tokens, target, &digits);
        }
        Err(Failed::Error(tokens.error(ErrorKind::Vcd(
            "expected two strengths and a code after a port's states".to_owned(),
        ))))
    }
}
