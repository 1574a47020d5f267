//! Text → words. Numbers by IEEE Std 1364-2005 clause 3.5, identifiers by 3.7 (escaped ones end at white space).

use super::value::{MOST_BITS, Value, mask};
use super::{MOST_BYTES, Mistake};

/// One word of an expression; `End` follows the last.
#[derive(Clone, Debug, PartialEq)]
pub enum Word {
    Number(Value),
    Name(String),
    Symbol(&'static str),
    End,
}

/// Longest first.
const SYMBOLS: [&str; 43] = [
    "<<<",
    ">>>",
    "===",
    "!==",
    "**",
    "<<",
    ">>",
    "<=",
    ">=",
    "==",
    "!=",
    "&&",
    "||",
    "~&",
    "~|",
    "~^",
    "^~",
    "+",
    "-",
    "!",
    "~",
    "&",
    "|",
    "^",
    "*",
    "/",
    "%",
    "<",
    ">",
    "?",
    ":",
    "(",
    ")",
    "[",
    "]",
    "{",
    "}",
    ",",
    "$signed",
    "$unsigned",
    ";",
    "=",
    "#",
];

/// The words of `text` with the byte at which each begins, and `End` at the end.
pub fn words(text: &str) -> Result<Vec<(usize, Word)>, Mistake> {
    if text.len() > MOST_BYTES {
        let message = format!(
            "found an expression of {} bytes, expected at most {MOST_BYTES}",
            text.len()
        );
        return Err(Mistake::at(MOST_BYTES, message));
    }
    let mut words = Vec::new();
    let mut at = 0;
    loop {
        let rest = &text[at..];
        let trimmed = rest.trim_start();
        at += rest.len() - trimmed.len();
        let Some(first) = trimmed.chars().next() else {
            words.push((at, Word::End));
            return Ok(words);
        };
        let start = at;
        let word = if first.is_ascii_digit() || first == '\'' {
            number(text, &mut at)?
        } else if first == '\\' {
            let length = trimmed[1..]
                .find(char::is_whitespace)
                .unwrap_or(trimmed.len() - 1);
            if length == 0 {
                return Err(Mistake::at(
                    at,
                    "expected a name after the backslash, up to a blank",
                ));
            }
            at += 1 + length;
            Word::Name(trimmed[1..1 + length].to_owned())
        } else if first.is_alphabetic() || first == '_' {
            let length = trimmed
                .find(|c: char| !(c.is_alphanumeric() || "_$.".contains(c)))
                .unwrap_or(trimmed.len());
            at += length;
            Word::Name(trimmed[..length].to_owned())
        } else if let Some(symbol) = SYMBOLS.iter().find(|s| trimmed.starts_with(**s)) {
            at += symbol.len();
            Word::Symbol(symbol)
        } else {
            let message = format!(
                "found \"{first}\", expected a line's name, a number or an operator (a name with other characters is \
                 written \\name and a blank)"
            );
            return Err(Mistake::at(at, message));
        };
        words.push((start, word));
    }
}

/// `12`, `4'b10x0`, `'hFF`, `8'shF0`; blanks may stand around the base.
fn number(text: &str, at: &mut usize) -> Result<Word, Mistake> {
    let start = *at;
    let digits = |at: &mut usize, allowed: fn(char) -> bool| {
        let rest = &text[*at..];
        let length = rest
            .find(|c: char| !(allowed(c) || c == '_'))
            .unwrap_or(rest.len());
        *at += length;
        rest[..length].replace('_', "")
    };
    let leading = digits(at, |c| c.is_ascii_digit());
    let mut look = *at;
    look += text[look..].len() - text[look..].trim_start().len();
    if !text[look..].starts_with('\'') {
        if text[*at..].starts_with('.') {
            return Err(Mistake::at(
                start,
                "found a number with a point, expected a whole number",
            ));
        }
        return match leading.parse::<u64>() {
            Ok(n) if n <= i32::MAX as u64 => Ok(Word::Number(Value::new(32, true, n, 0))),
            _ => Err(Mistake::at(start, too_wide(&leading))),
        };
    }
    *at = look + 1;
    let sized = !leading.is_empty();
    let width = if sized {
        let width = leading.parse::<u32>().unwrap_or(u32::MAX);
        if !(1..=MOST_BITS).contains(&width) {
            return Err(Mistake::at(
                start,
                format!("found a size of {leading} bits, expected 1 to {MOST_BITS}"),
            ));
        }
        width
    } else {
        32
    };
    let mut base = text[*at..].chars().next().map(|c| c.to_ascii_lowercase());
    let signed = base == Some('s');
    if signed {
        *at += 1;
        base = text[*at..].chars().next().map(|c| c.to_ascii_lowercase());
    }
    let (bits, allowed): (u32, fn(char) -> bool) = match base {
        Some('b') => (1, |c| "01xXzZ?".contains(c)),
        Some('o') => (3, |c| "01234567xXzZ?".contains(c)),
        Some('h') => (4, |c| c.is_ascii_hexdigit() || "xXzZ?".contains(c)),
        Some('d') => (0, |c| c.is_ascii_digit() || "xXzZ?".contains(c)),
        _ => return Err(Mistake::at(*at, "expected the base of the number: b, o, d or h")),
    };
    *at += 1;
    *at += text[*at..].len() - text[*at..].trim_start().len();
    let digits_at = *at;
    let digits = digits(at, allowed);
    if digits.is_empty() {
        return Err(Mistake::at(digits_at, "expected the digits of the number"));
    }
    if text[*at..].starts_with(|c: char| c.is_alphanumeric()) {
        return Err(Mistake::at(*at, "found a digit that its base does not have"));
    }
    let (a, b) = if bits == 0 {
        decimal(&digits, digits_at)?
    } else {
        grouped(&digits, bits, digits_at)?
    };
    if !sized && (a | b) & !mask(32) != 0 && !digits.starts_with(['x', 'X', 'z', 'Z', '?']) {
        return Err(Mistake::at(start, too_wide(&digits)));
    }
    Ok(Word::Number(Value::new(width, signed, a, b)))
}

fn too_wide(digits: &str) -> String {
    format!("found {digits}, which needs more than 32 bits; write its size in front, such as 40'd{digits}")
}

/// A decimal number, or x or z alone for all bits.
fn decimal(digits: &str, at: usize) -> Result<(u64, u64), Mistake> {
    match digits {
        "x" | "X" => Ok((u64::MAX, u64::MAX)),
        "z" | "Z" | "?" => Ok((0, u64::MAX)),
        _ => match digits.parse() {
            Ok(n) => Ok((n, 0)),
            Err(_) => Err(Mistake::at(
                at,
                format!("found {digits}, expected a decimal number of at most 64 bits"),
            )),
        },
    }
}

/// Digits of `bits` bits each; a leading x or z fills all bits above.
fn grouped(digits: &str, bits: u32, at: usize) -> Result<(u64, u64), Mistake> {
    let ones = mask(bits);
    let (mut a, mut b) = match digits.chars().next() {
        Some('x' | 'X') => (u64::MAX, u64::MAX),
        Some('z' | 'Z' | '?') => (0, u64::MAX),
        _ => (0, 0),
    };
    let significant = digits.trim_start_matches('0').len();
    if significant as u32 * bits > MOST_BITS + bits - 1 {
        return Err(Mistake::at(
            at,
            format!("found {significant} digits, expected at most {MOST_BITS} bits"),
        ));
    }
    for digit in digits.chars() {
        let (da, db) = match digit {
            'x' | 'X' => (ones, ones),
            'z' | 'Z' | '?' => (0, ones),
            other => (u64::from(other.to_digit(16).unwrap_or(0)), 0),
        };
        a = a << bits | da;
        b = b << bits | db;
    }
    Ok((a, b))
}
