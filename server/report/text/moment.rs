//! Moments as people read them: in UTC, so that a page is the same wherever it is made and its script can show them in the
//! reader's own time zone; or in a zone that was asked for.

/// `2026-11-25 14:05 UTC` of milliseconds since 1970-01-01.
///
/// # Source
/// Days to a civil date: the proleptic Gregorian calendar in 400-year cycles (Howard Hinnant, "chrono-compatible
/// low-level date algorithms", 2013); from memory, checked against known dates below.
pub fn moment(ms: i64) -> String {
    moment_in(ms, 0)
}

/// The same `offset_min` minutes east of Greenwich, as `2026-11-25 15:05 +01:00`; without an offset as [`moment`].
pub fn moment_in(ms: i64, offset_min: i32) -> String {
    let minutes = ms.div_euclid(60_000) + i64::from(offset_min);
    let (days, minute) = (minutes.div_euclid(1440), minutes.rem_euclid(1440));
    let from_march = days + 719_468;
    let cycle = from_march.div_euclid(146_097);
    let day_of_cycle = from_march.rem_euclid(146_097);
    let year_of_cycle =
        (day_of_cycle - day_of_cycle / 1460 + day_of_cycle / 36_524 - day_of_cycle / 146_096) / 365;
    let day_of_year = day_of_cycle - (365 * year_of_cycle + year_of_cycle / 4 - year_of_cycle / 100);
    let month_from_march = (5 * day_of_year + 2) / 153;
    let day = day_of_year - (153 * month_from_march + 2) / 5 + 1;
    let month = if month_from_march < 10 {
        month_from_march + 3
    } else {
        month_from_march - 9
    };
    let year = year_of_cycle + cycle * 400 + i64::from(month <= 2);
    let (sign, offset) = (if offset_min < 0 { '-' } else { '+' }, offset_min.abs());
    let zone = match offset {
        0 => "UTC".to_owned(),
        _ => format!("{sign}{:02}:{:02}", offset / 60, offset % 60),
    };
    format!(
        "{year:04}-{month:02}-{day:02} {:02}:{:02} {zone}",
        minute / 60,
        minute % 60
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn known_dates() {
        // POSIX: 0 is 1970-01-01 00:00, 10⁹ s is 2001-09-09 01:46:40, 951 782 400 s is 2000-02-29.
        assert_eq!(moment(0), "1970-01-01 00:00 UTC");
        assert_eq!(moment(1_000_000_000_000), "2001-09-09 01:46 UTC");
        assert_eq!(moment(951_782_400_000), "2000-02-29 00:00 UTC");
        assert_eq!(moment(951_868_800_000), "2000-03-01 00:00 UTC");
        assert_eq!(moment(-1), "1969-12-31 23:59 UTC");
        assert_eq!(moment(4_107_542_400_000), "2100-03-01 00:00 UTC");
        // The same moments by clocks an hour ahead, and three and a half behind.
        assert_eq!(moment_in(1_000_000_000_000, 60), "2001-09-09 02:46 +01:00");
        assert_eq!(moment_in(0, -210), "1969-12-31 20:30 -03:30");
    }
}
