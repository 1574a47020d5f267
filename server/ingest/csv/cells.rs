//! What a cell says: a level, a number, a time, a unit.

use super::super::build::Value;

/// A decimal number as written: `mantissa × 10^exponent`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Decimal {
    pub mantissa: i128,
    pub exponent: i32,
}

/// Digits beyond this are finer than any clock.
const DIGITS: u32 = 30;

impl Decimal {
    /// Parses `-1.5e-3` exactly; `point` is the decimal mark. The other of point and comma may part thousands
    /// (`1,234.5`). `None` for anything else (nan, inf, text).
    pub fn parse(text: &[u8], point: u8) -> Option<Decimal> {
        let (negative, mut rest) = match text {
            [b'-', rest @ ..] => (true, rest),
            // U+2212, the minus sign of typesetters.
            [0xe2, 0x88, 0x92, rest @ ..] => (true, rest),
            [b'+', rest @ ..] => (false, rest),
            rest => (false, rest),
        };
        let (mut mantissa, mut exponent, mut digits) = (0i128, 0i32, 0u32);
        let mut seen = false;
        let mut after_point = false;
        while let [byte, tail @ ..] = rest {
            if byte.is_ascii_digit() {
                seen = true;
                if digits < DIGITS {
                    mantissa = mantissa * 10 + i128::from(byte - b'0');
                    digits += u32::from(mantissa != 0);
                    exponent -= i32::from(after_point);
                } else {
                    exponent += i32::from(!after_point);
                }
            } else if *byte == point && !after_point {
                after_point = true;
            } else if matches!(byte, b',' | b'.')
                && *byte != point
                && mantissa != 0
                && !after_point
                && begins_with_group(tail)
            {
                // A mark between thousands: nobody writes nought thousand.
            } else {
                break;
            }
            rest = tail;
        }
        if !seen {
            return None;
        }
        if let [b'e' | b'E', power @ ..] = rest {
            let power: i32 = std::str::from_utf8(power).ok()?.parse().ok()?;
            if !(-400..=400).contains(&power) {
                return None;
            }
            exponent += power;
            rest = &[];
        }
        rest.is_empty().then_some(Decimal {
            mantissa: if negative { -mantissa } else { mantissa },
            exponent,
        })
    }

    /// The nearest whole number of `10^unit`; `None` when it does not fit.
    pub fn in_units(self, unit: i32) -> Option<i64> {
        let shift = self.exponent - unit;
        if self.mantissa == 0 {
            return Some(0);
        }
        let value = if shift >= 0 {
            let factor = 10i128.checked_pow(u32::try_from(shift).ok()?)?;
            self.mantissa.checked_mul(factor)?
        } else {
            let divisor = match 10i128.checked_pow(u32::try_from(-shift).ok()?) {
                Some(divisor) => divisor,
                None => return Some(0),
            };
            let half = divisor / 2;
            let magnitude = (self.mantissa.abs().checked_add(half)?) / divisor;
            if self.mantissa < 0 { -magnitude } else { magnitude }
        };
        i64::try_from(value).ok()
    }

    /// The nearest double, correctly rounded.
    pub fn to_f64(self) -> f64 {
        if (-22..=22).contains(&self.exponent) && self.mantissa.unsigned_abs() < 1 << 53 {
            let power = 10f64.powi(self.exponent.abs());
            let mantissa = self.mantissa as f64;
            return if self.exponent < 0 {
                mantissa / power
            } else {
                mantissa * power
            };
        }
        format!("{}e{}", self.mantissa, self.exponent)
            .parse()
            .unwrap_or(f64::NAN)
    }
}

/// Whether three digits follow and no fourth, as after a comma between thousands.
fn begins_with_group(text: &[u8]) -> bool {
    let digits = text
        .iter()
        .take(4)
        .take_while(|byte| byte.is_ascii_digit())
        .count();
    digits == 3
}

/// The text of a cell; bytes that are no UTF-8 are taken for Latin-1 (ISO/IEC 8859-1), in which many programs write µ.
pub fn words(cell: &[u8]) -> std::borrow::Cow<'_, str> {
    match std::str::from_utf8(cell) {
        Ok(text) => text.into(),
        Err(_) => cell
            .iter()
            .map(|&byte| char::from(byte))
            .collect::<String>()
            .into(),
    }
}

/// Whether a cell says that there is no value; a scope writes an infinite one where its input was overdriven.
pub fn is_missing(cell: &[u8]) -> bool {
    const WORDS: [&[u8]; 14] = [
        b"",
        b"nan",
        b"-nan",
        b"na",
        b"n/a",
        b"null",
        b"none",
        b"#n/a",
        b"inf",
        b"-inf",
        b"+inf",
        b"ol",
        b"infinity",
        b"-infinity",
    ];
    cell.len() <= 9 && WORDS.iter().any(|word| word.eq_ignore_ascii_case(cell))
}

/// The level a cell says; `None` when it says none.
pub fn level_of(cell: &[u8], point: u8) -> Option<Value> {
    match cell {
        b"0" => return Some(Value::Low),
        b"1" => return Some(Value::High),
        [one] => {
            return Some(match one {
                b'L' | b'l' | b'F' | b'f' => Value::Low,
                b'H' | b'h' | b'T' | b't' => Value::High,
                b'X' | b'x' | b'U' | b'u' | b'?' | b'-' | b'W' | b'w' => Value::Unknown,
                b'Z' | b'z' => Value::Floating,
                _ => return None,
            });
        }
        _ => {}
    }
    if is_missing(cell) {
        return Some(Value::Unknown);
    }
    let is = |words: &[&[u8]]| words.iter().any(|w| w.eq_ignore_ascii_case(cell));
    if is(&[b"false", b"low", b"off"]) {
        return Some(Value::Low);
    }
    if is(&[b"true", b"high", b"on"]) {
        return Some(Value::High);
    }
    if is(&[b"hi-z", b"hiz", b"floating"]) {
        return Some(Value::Floating);
    }
    if is(&[b"unknown", b"undefined"]) {
        return Some(Value::Unknown);
    }
    let number = Decimal::parse(cell, point)?;
    match number.to_f64() {
        0.0 => Some(Value::Low),
        1.0 => Some(Value::High),
        _ => None,
    }
}

/// Power of ten of a time unit.
pub fn time_unit(text: &str) -> Option<i32> {
    Some(match text.trim() {
        "s" | "S" | "sec" | "secs" | "second" | "seconds" | "Sec" | "Seconds" | "Second" => 0,
        "ms" | "mS" | "msec" | "millisecond" | "milliseconds" => -3,
        "us" | "uS" | "µs" | "μs" | "µS" | "μS" | "usec" | "µsec" | "microsecond" | "microseconds" => -6,
        "ns" | "nS" | "nsec" | "nanosecond" | "nanoseconds" => -9,
        "ps" | "pS" | "picosecond" | "picoseconds" => -12,
        "fs" | "femtosecond" | "femtoseconds" => -15,
        _ => return None,
    })
}

/// Power of ten of a unit of voltage.
pub fn volt_unit(text: &str) -> Option<i32> {
    Some(match text.trim() {
        "V" | "v" | "Volt" | "Volts" | "volt" | "volts" | "VOLT" => 0,
        "mV" | "mv" => -3,
        "uV" | "uv" | "µV" | "μV" => -6,
        "kV" => 3,
        _ => return None,
    })
}

/// The number of a cell such as `3.719 V`, without the unit behind it; all of the cell where no unit of time or volts ends it.
pub fn number_of(cell: &[u8]) -> &[u8] {
    match cell.last() {
        Some(b'V' | b'v' | b's' | b'S' | b't' | b'T') => {}
        _ => return cell,
    }
    let is_of_number = |&byte: &u8| byte.is_ascii_digit() || matches!(byte, b'.' | b',');
    let at = cell.iter().rposition(is_of_number).map_or(0, |last| last + 1);
    let unit = words(&cell[at..]);
    match at > 0 && (volt_unit(&unit).is_some() || time_unit(&unit).is_some()) {
        true => &cell[..at],
        false => cell,
    }
}

/// Volts of a cell that carries its unit: `3.719 V`, `219 mV`, `12 µV`. `None` for what does not.
pub fn volts_in(cell: &[u8], point: u8) -> Option<f64> {
    let number = number_of(cell);
    let exponent = volt_unit(&words(&cell[number.len()..]))?;
    let number = Decimal::parse(number, point)?;
    Some(
        Decimal {
            exponent: number.exponent + exponent,
            ..number
        }
        .to_f64(),
    )
}

/// Volts of a cell of a column in volts: of a bare number `scale` volts a unit, of one with its unit as that says.
#[inline]
pub fn volts_of(cell: &[u8], point: u8, scale: f64) -> Option<f64> {
    match Decimal::parse(cell, point) {
        Some(number) => Some(number.to_f64() * scale),
        None => volts_in(cell, point),
    }
}

/// Splits a heading into its name and its unit: `Time (ms)`, `PEG_C [V]`, `time_s`, `t / ns`.
pub fn split_unit(heading: &str) -> (&str, Option<&str>) {
    let heading = heading.trim();
    let is_unit = |text: &str| {
        time_unit(text).is_some()
            || volt_unit(text).is_some()
            || matches!(
                text.trim(),
                "A" | "mA" | "uA" | "µA" | "Hz" | "logic" | "level" | "bit" | "0/1" | ""
            )
    };
    for (open, close) in [('(', ')'), ('[', ']'), ('{', '}')] {
        if let Some(inner) = heading.strip_suffix(close)
            && let Some(at) = inner.rfind(open)
        {
            let unit = &inner[at + open.len_utf8()..];
            if is_unit(unit) && at > 0 {
                return (
                    heading[..at].trim_end(),
                    Some(unit.trim()).filter(|u| !u.is_empty()),
                );
            }
        }
    }
    for mark in [" in ", " / ", "/", ", ", "_", " "] {
        if let Some(at) = heading.rfind(mark) {
            let unit = &heading[at + mark.len()..];
            let name = heading[..at].trim_end();
            let loose = matches!(mark, "_" | " " | "/");
            if !name.is_empty() && !unit.is_empty() && is_unit(unit) && (!loose || is_time_word(name)) {
                return (name, Some(unit));
            }
        }
    }
    (heading, None)
}

/// Whether a heading (unit dropped) names a time column.
pub fn is_time_word(name: &str) -> bool {
    let lower = name.trim().to_lowercase();
    matches!(
        lower.as_str(),
        "time"
            | "t"
            | "times"
            | "timestamp"
            | "time stamp"
            | "date"
            | "datetime"
            | "date time"
            | "seconds"
            | "start"
            | "elapsed"
            | "elapsed time"
            | "zeit"
            | "temps"
            | "tiempo"
            | "tempo"
    ) || lower.starts_with("time ")
        || lower.starts_with("time_")
        || lower.ends_with(" time")
}

/// Whether a heading names a column of sample numbers; upper and lower case, a full stop or colon at the end and the sign for
/// a number before it do not matter. An empty one may be one: what it counts says so.
pub fn is_sample_word(name: &str) -> bool {
    let lower = name.trim().to_lowercase().replace('_', " ");
    let lower = lower.trim_start_matches('#').trim();
    let lower = lower.trim_end_matches(['.', ':']).trim_end();
    let last = lower.strip_prefix("sample ").unwrap_or(lower);
    matches!(
        last,
        "" | "sample"
            | "samples"
            | "index"
            | "idx"
            | "n"
            | "no"
            | "nr"
            | "num"
            | "number"
            | "nummer"
            | "lfd nr"
            | "lfd. nr"
            | "numero"
            | "numéro"
            | "número"
            | "n°"
            | "nº"
            | "№"
            | "#"
    ) || matches!(lower, "sequence" | "point")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decimals_are_read_digit_by_digit() {
        let read = |text: &str, unit| Decimal::parse(text.as_bytes(), b'.').and_then(|d| d.in_units(unit));
        assert_eq!(read("0.014298897", -9), Some(14_298_897));
        assert_eq!(read("-40000.000", -3), Some(-40_000_000));
        assert_eq!(read("1.170916666667e-03", -15), Some(1_170_916_666_667));
        assert_eq!(read("0.0000000005", -9), Some(1));
        assert_eq!(read("nan", -9), None);
        assert_eq!(read("1e40", -9), None);
        assert_eq!(read("", -9), None);
        assert_eq!(read(".", -9), None);
        assert_eq!(Decimal::parse(b"41,667", b',').map(Decimal::to_f64), Some(41.667));
    }

    #[test]
    fn units_leave_headings() {
        assert_eq!(split_unit("Time (ms)"), ("Time", Some("ms")));
        assert_eq!(split_unit("PEG_C [V]"), ("PEG_C", Some("V")));
        assert_eq!(split_unit("time_s"), ("time", Some("s")));
        assert_eq!(split_unit("D[3]"), ("D[3]", None));
        assert_eq!(split_unit("BUS[7:0]"), ("BUS[7:0]", None));
        assert_eq!(split_unit("PADDLE_S"), ("PADDLE_S", None));
        assert_eq!(split_unit("CULVERT s"), ("CULVERT s", None));
    }
}
