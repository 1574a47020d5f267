//! The time cell of a row: a number, a number with its unit, an ISO 8601 date, a time of day.

use chrono::{Datelike, NaiveDate};

use super::cells::{Decimal, time_unit, words};

/// How the time cells of a table are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TimeStyle {
    /// A number in units of `10^exponent` s.
    Number { exponent: i32 },
    /// Each cell carries its unit.
    Suffixed,
    /// `2026-11-25T13:51:41.123`, or without the date.
    Clock,
}

/// Reads time cells as whole numbers of `10^unit` s.
#[derive(Clone, Debug)]
pub struct TimeReader {
    pub style: TimeStyle,
    /// Stands before decimals.
    pub point: u8,
    /// Power of ten.
    pub unit: i32,
    /// Day of the first date, counted as [`clock`] does; times count from its midnight.
    pub first_day: Option<i64>,
    /// Plain numbers count from here, in the column's own unit: what is left of a long time before them leaves no room
    /// for their last digits.
    pub zero: i64,
}

impl TimeReader {
    /// The time in units of `10^unit` s; `None`: no time, or no whole number of units.
    pub fn read(&self, cell: &[u8]) -> Option<i64> {
        let (number, exponent) = self.number(cell)?;
        Decimal {
            mantissa: number.mantissa,
            exponent: number.exponent.checked_add(exponent)?,
        }
        .in_units(self.unit)
    }

    fn counted_from_zero(&self, number: Decimal) -> Option<Decimal> {
        if self.zero == 0 {
            return Some(number);
        }
        let exponent = number.exponent.min(0);
        let scale = |power: i32| 10i128.checked_pow(u32::try_from(power).ok()?);
        let mantissa = number.mantissa.checked_mul(scale(number.exponent - exponent)?)?;
        let mantissa = mantissa.checked_sub(i128::from(self.zero).checked_mul(scale(-exponent)?)?)?;
        Some(Decimal { mantissa, exponent })
    }

    /// The number of a cell and the power of ten of its unit.
    pub fn number(&self, cell: &[u8]) -> Option<(Decimal, i32)> {
        match self.style {
            TimeStyle::Number { exponent } => Some((
                self.counted_from_zero(Decimal::parse(cell, self.point)?)?,
                exponent,
            )),
            TimeStyle::Suffixed => suffixed(cell, self.point),
            TimeStyle::Clock => {
                let (day, seconds) = clock(cell, self.point)?;
                let days = day.map_or(0, |d| d - self.first_day.unwrap_or(d));
                let scale = 10i128.checked_pow(u32::try_from(-seconds.exponent).ok()?)?;
                let whole = i128::from(days * 86_400).checked_mul(scale)?;
                let mantissa = seconds.mantissa.checked_add(whole)?;
                Some((Decimal { mantissa, ..seconds }, 0))
            }
        }
    }
}

/// `1.5 us`: number and power of ten of the unit.
pub fn suffixed(cell: &[u8], point: u8) -> Option<(Decimal, i32)> {
    let text = &words(cell);
    let at = text.find(|c: char| c.is_alphabetic() && c != 'e' && c != 'E')?;
    let unit = time_unit(&text[at..])?;
    Some((Decimal::parse(text[..at].trim().as_bytes(), point)?, unit))
}

/// A femtosecond is finer than any instrument.
const FINEST: i32 = -15;

/// A date (days since the year 1 began) and the seconds of its day; zone letters and offsets are passed over.
pub fn clock(cell: &[u8], point: u8) -> Option<(Option<i64>, Decimal)> {
    let text = std::str::from_utf8(cell).ok()?;
    let (date, time) = match text.find(['T', ' ']) {
        Some(at) if !text[..at].contains(':') => (Some(&text[..at]), text[at + 1..].trim()),
        _ if text.contains(':') => (None, text),
        _ => return None,
    };
    let day = match date {
        None => None,
        Some(date) => {
            let mut parts = date.split(['-', '/', '.']);
            let mut part = || parts.next()?.parse::<u32>().ok();
            let (year, month, day) = by_order([part()?, part()?, part()?]);
            let year = i32::try_from(year)
                .ok()
                .filter(|year| (1..=9999).contains(year))?;
            // Only days that the month has.
            let date = NaiveDate::from_ymd_opt(year, month, day)?;
            Some(i64::from(date.num_days_from_ce()))
        }
    };
    let (time, noon) = half_of_day(time.trim_end_matches('Z'));
    let time = time.rfind(['+', '-']).map_or(time, |at| &time[..at]);
    let mut parts = time.splitn(3, ':');
    let (hours, minutes) = (
        parts.next()?.parse::<u32>().ok()?,
        parts.next()?.parse::<u32>().ok()?,
    );
    let hours = noon.map_or(hours, |noon| hours % 12 + noon);
    let seconds = parts.next().unwrap_or("0");
    let seconds = Decimal::parse(seconds.as_bytes(), point)
        .or_else(|| Decimal::parse(seconds.as_bytes(), if point == b'.' { b',' } else { b'.' }))?;
    // What is written finer than that is rounded: no clock knows it, and it would find no room beside the days.
    let seconds = match seconds.exponent {
        FINEST.. => seconds,
        _ => Decimal {
            mantissa: i128::from(seconds.in_units(FINEST)?),
            exponent: FINEST,
        },
    };
    if hours > 24 || minutes > 59 || seconds.exponent > 0 || seconds.mantissa < 0 {
        return None;
    }
    let scale = 10i128.checked_pow(u32::try_from(-seconds.exponent).ok()?)?;
    let whole = i128::from(hours * 3600 + minutes * 60).checked_mul(scale)?;
    Some((
        day,
        Decimal {
            mantissa: seconds.mantissa.checked_add(whole)?,
            exponent: seconds.exponent,
        },
    ))
}

/// The parts of a date as year, month, day: the year first as in ISO 8601, or last, with the day before the month unless
/// that can't be.
fn by_order([first, second, third]: [u32; 3]) -> (u32, u32, u32) {
    match (first, second) {
        _ if first > 31 || third < 1000 => (first, second, third),
        (_, 13..) => (third, first, second),
        _ => (third, second, first),
    }
}

/// Whether a date may have its day or its month first.
pub fn is_date_open(cell: &[u8]) -> bool {
    let date = cell.split(|byte| b" T".contains(byte)).next().unwrap_or_default();
    let is_dotted = date.contains(&b'.');
    let mut parts = date.split(|byte| b"-/".contains(byte));
    let mut part = || std::str::from_utf8(parts.next()?).ok()?.parse::<i64>().ok();
    match (part(), part(), part()) {
        (Some(first), Some(second), Some(1000..)) => {
            !is_dotted && first <= 12 && second <= 12 && first != second
        }
        _ => false,
    }
}

/// A time without its AM or PM, and the hours to add to those that are counted from midnight or noon.
fn half_of_day(time: &str) -> (&str, Option<u32>) {
    let time = time.trim_end();
    let letters = time.len().saturating_sub(2);
    match time.get(letters..) {
        Some(half) if half.eq_ignore_ascii_case("am") => (time[..letters].trim_end(), Some(0)),
        Some(half) if half.eq_ignore_ascii_case("pm") => (time[..letters].trim_end(), Some(12)),
        _ => (time, None),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dates_and_times_with_units_are_read_or_refused() {
        let (day, seconds) = clock(b"2026-11-25T13:51:41.250Z", b'.').unwrap();
        assert_eq!(seconds.in_units(-3), Some(49_901_250));
        let (next, _) = clock(b"2026-11-26 00:00:00", b'.').unwrap();
        assert_eq!(next.unwrap() - day.unwrap(), 1);
        let day_of = |date: &str| clock(format!("{date} 10:00:00").as_bytes(), b'.').and_then(|read| read.0);
        assert_eq!(day_of("2000-03-01").unwrap() - day_of("2000-02-28").unwrap(), 2);
        for no_day in [
            "2026-02-31",
            "2026-02-29",
            "2026-04-31",
            "31/04/2026",
            "2026-13-01",
            "2026-00-10",
        ] {
            assert_eq!(day_of(no_day), None, "{no_day}");
        }
        for same in [
            "25/11/2026 13:51:41",
            "11/25/2026 1:51:41 PM",
            "25.11.2026 13:51:41",
        ] {
            assert_eq!(clock(same.as_bytes(), b'.').unwrap().0, day, "{same}");
            assert_eq!(
                clock(same.as_bytes(), b'.').unwrap().1.in_units(0),
                Some(49_901),
                "{same}"
            );
        }
        assert_eq!(clock(b"12:00:01 am", b'.').unwrap().1.in_units(0), Some(1));
        assert!(is_date_open(b"03/04/2026 12:00:00") && !is_date_open(b"03.04.2026 12:00:00"));
        assert!(!is_date_open(b"2026-03-04 12:00:00") && !is_date_open(b"13/04/2026 12:00:00"));
        assert_eq!(suffixed(b"1.5 us", b'.').unwrap().1, -6);
        assert_eq!(suffixed(b"1.5", b'.'), None);
    }
}
