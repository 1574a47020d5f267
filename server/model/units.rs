//! Numbers with units as people read them: engineering prefixes, three significant digits.

/// Seconds in engineering units, three significant digits: `13 ns`, `1.25 ms`, `−500 ps`.
pub fn seconds(value: f64) -> String {
    match value.abs() >= CLOCK_S && value.is_finite() {
        true => clock(value),
        false => engineering(value, "s"),
    }
}

/// From here on a time is told as a clock has it: nobody reads kiloseconds.
const CLOCK_S: f64 = 1000.0;

/// Hours, minutes and whole seconds: `22:01:33`.
fn clock(value: f64) -> String {
    let whole = value.abs().round() as u64;
    let sign = if value < 0.0 { "−" } else { "" };
    format!("{sign}{}:{:02}:{:02}", whole / 3600, whole / 60 % 60, whole % 60)
}

/// A value with an SI prefix and three significant digits, trailing zeros dropped; below zero with a minus sign (U+2212).
pub fn engineering(value: f64, unit: &str) -> String {
    const PREFIXES: [(f64, &str); 9] = [
        (1e9, "G"),
        (1e6, "M"),
        (1e3, "k"),
        (1.0, ""),
        (1e-3, "m"),
        (1e-6, "µ"),
        (1e-9, "n"),
        (1e-12, "p"),
        (1e-15, "f"),
    ];
    if value == 0.0 || !value.is_finite() {
        return format!("{value} {unit}");
    }
    let size = value.abs();
    // 0.9995 rounds to 1.00, so the next prefix is taken from there on.
    let (scale, prefix) = PREFIXES
        .iter()
        .find(|(scale, _)| size >= scale * 0.9995)
        .unwrap_or(&PREFIXES[8]);
    let scaled = value / scale;
    let digits = match scaled.abs() {
        s if s >= 99.95 => 0,
        s if s >= 9.995 => 1,
        _ => 2,
    };
    let mut text = format!("{scaled:.digits$}");
    if text.contains('.') {
        text.truncate(text.trim_end_matches('0').trim_end_matches('.').len());
    }
    format!("{} {prefix}{unit}", text.replace('-', "−"))
}

/// A moment on a scale whose marks are `step` seconds apart: no more decimals than tell two marks from one another, `0` for
/// what is nearer to zero than a millionth of a step.
pub fn on_scale(value: f64, step: f64) -> String {
    const PREFIXES: [(f64, &str); 6] = [
        (1.0, ""),
        (1e-3, "m"),
        (1e-6, "µ"),
        (1e-9, "n"),
        (1e-12, "p"),
        (1e-15, "f"),
    ];
    if value.abs() < step * 1e-6 {
        return "0".to_owned();
    }
    let size = value.abs().max(step);
    let (scale, prefix) = PREFIXES
        .iter()
        .find(|(scale, _)| size >= scale * 0.999_999_9)
        .unwrap_or(&PREFIXES[5]);
    let decimals = (-(step / scale).log10() - 1e-9).ceil().clamp(0.0, 15.0) as usize;
    format!("{:.decimals$} {prefix}s", value / scale).replace('-', "−")
}

/// A rate a second by the longest usual time that keeps it below 1000: the value, and that time in words and as a unit
/// ("a millisecond", "/ms").
pub fn per_time(rate_s: f64) -> (f64, &'static str, &'static str) {
    match rate_s.abs() {
        rate if rate < 1e3 => (rate_s, "a second", "/s"),
        rate if rate < 1e6 => (rate_s * 1e-3, "a millisecond", "/ms"),
        _ => (rate_s * 1e-6, "a microsecond", "/µs"),
    }
}

/// Three significant digits without trailing zeros, never as a power of ten above 0.001: "12.8", "0.476", "0".
pub fn three_digits(value: f64) -> String {
    if value == 0.0 {
        return "0".to_owned();
    }
    if !(0.001..1000.0).contains(&value.abs()) {
        return format!("{value:.2e}");
    }
    let digits = (2 - value.abs().log10().floor() as i32).clamp(0, 5) as usize;
    let text = format!("{value:.digits$}");
    match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        false => text,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_moment_far_from_zero_keeps_what_tells_it_from_the_next_mark() {
        assert_eq!(on_scale(0.356_866_465, 5e-9), "356.866465 ms");
        assert_eq!(on_scale(0.356_866_470, 5e-9), "356.866470 ms");
        assert_eq!(on_scale(-50e-9, 50e-9), "−50 ns");
        assert_eq!(on_scale(1e-6, 200e-9), "1.0 µs");
        assert_eq!(on_scale(1e-20, 1e-9), "0");
    }

    #[test]
    fn engineering_units_keep_three_digits() {
        assert_eq!(seconds(1.3e-8), "13 ns");
        assert_eq!(seconds(0.0012345), "1.23 ms");
        assert_eq!(seconds(9.999e-7), "1 µs");
        assert_eq!(seconds(-5e-10), "−500 ps");
        assert_eq!(seconds(0.0), "0 s");
        assert_eq!(seconds(999.0), "999 s");
        assert_eq!(seconds(79_293.2), "22:01:33");
        assert_eq!(seconds(-1000.0), "−0:16:40");
        assert_eq!(seconds(41.6667e-9), "41.7 ns");
    }
}
