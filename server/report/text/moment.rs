//! Moments as people read them: in UTC, so that a page is the same wherever it is made and its script can show them in the
//! reader's own time zone; or in a zone that was asked for.

use chrono::{DateTime, Datelike, TimeDelta, Timelike};

/// `2026-11-25 14:05 UTC` of milliseconds since 1970-01-01.
pub fn moment(ms: i64) -> String {
    moment_in(ms, 0)
}

/// The same `offset_min` minutes east of Greenwich, as `2026-11-25 15:05 +01:00`; without an offset as [`moment`].
/// Milliseconds that no calendar reaches are told as they are.
pub fn moment_in(ms: i64, offset_min: i32) -> String {
    let east = TimeDelta::minutes(i64::from(offset_min));
    let local = DateTime::from_timestamp_millis(ms).and_then(|utc| utc.naive_utc().checked_add_signed(east));
    let Some(local) = local else {
        return format!("{ms} ms after 1970-01-01 UTC");
    };
    let (sign, offset) = (if offset_min < 0 { '-' } else { '+' }, offset_min.unsigned_abs());
    let zone = match offset {
        0 => "UTC".to_owned(),
        _ => format!("{sign}{:02}:{:02}", offset / 60, offset % 60),
    };
    format!(
        "{:04}-{:02}-{:02} {:02}:{:02} {zone}",
        local.year(),
        local.month(),
        local.day(),
        local.hour(),
        local.minute()
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn moments_read_as_the_calendar_has_them() {
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
        // No clock shows these, and no arithmetic may overflow.
        assert!(moment_in(0, i32::MIN).ends_with("-35791394:08"));
        assert_eq!(moment(i64::MAX), format!("{} ms after 1970-01-01 UTC", i64::MAX));
    }
}
