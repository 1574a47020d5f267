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

/// A number of bytes as people read it: `12.3 kB`, in powers of 1,000.
pub fn file_size(bytes: u64) -> String {
    match bytes {
        0..1000 => format!("{bytes} bytes"),
        1000..1_000_000 => format!("{:.1} kB", bytes as f64 / 1e3),
        1_000_000..1_000_000_000 => format!("{:.1} MB", bytes as f64 / 1e6),
        _ => format!("{:.1} GB", bytes as f64 / 1e9),
    }
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

/// A share as a whole percentage without its sign, for a sentence; below ten percent with the digits it needs, so that only 0
/// reads "0".
pub fn percent(share: f64) -> String {
    match share * 100.0 {
        value if value >= 9.5 => format!("{value:.0}"),
        _ => percent_to_tenths(share),
    }
}

/// The same to a tenth of a percent, for figures that are compared with one another: "22.1", "50", "0.05".
pub fn percent_to_tenths(share: f64) -> String {
    let value = share * 100.0;
    if value == 0.0 || value >= 0.1 {
        let text = format!("{value:.1}");
        text.strip_suffix(".0").unwrap_or(&text).to_owned()
    } else {
        three_digits(value)
    }
}

/// "1 stray pulse", "39 stray pulses".
pub fn count_of(count: u64, noun: &str) -> String {
    match count {
        1 => format!("1 {noun}"),
        _ => format!("{count} {noun}s"),
    }
}

/// Below this a probability is told as smaller still: the numbers end at some 1e-308, and 0 would be no probability.
const SMALLEST_P: f64 = 1e-300;

/// A probability as it stands in a table: "0.012", "1.2e-5", "< 1e-300".
pub fn p_value(p: f64) -> String {
    if p >= 0.001 {
        format!("{p:.3}")
    } else if p < SMALLEST_P {
        format!("< {SMALLEST_P:.0e}")
    } else {
        format!("{p:.1e}")
    }
}

/// The same in a sentence: "p = 0.012", "p < 1e-300".
pub fn p_is(p: f64) -> String {
    match p_value(p) {
        less if less.starts_with('<') => format!("p {less}"),
        value => format!("p = {value}"),
    }
}

/// A ratio of two rates and its interval: "0.240 (0.101–0.553)"; what is `None` has no bound.
pub fn ratio(estimate: Option<f64>, low: f64, high: Option<f64>) -> String {
    let end = |value: Option<f64>| value.map_or("no bound".to_owned(), |v| format!("{v:.3}"));
    format!("{} ({low:.3}–{})", end(estimate), end(high))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_keep_the_digits_they_need() {
        assert_eq!(percent(0.433), "43");
        assert_eq!(percent(0.0123), "1.2");
        assert_eq!(percent(0.0005), "0.05");
        assert_eq!(percent(0.0), "0");
        assert_eq!(percent(1.0), "100");
        // Rare is not never.
        for rare in [5e-5, 4e-4, 2e-7, 1e-12] {
            for told in [percent(rare), percent_to_tenths(rare)] {
                assert!(told.parse::<f64>().unwrap() > 0.0, "{told}");
            }
        }
        assert_eq!(percent(5e-5), "0.005");
        let figures = [0.221, 0.5, 0.025, 2e-5, 0.0, 1.0, 0.0996].map(percent_to_tenths);
        assert_eq!(figures, ["22.1", "50", "2.5", "0.002", "0", "100", "10"]);
    }

    #[test]
    fn probabilities_and_ratios() {
        assert_eq!(
            [0.0123, 1.23e-5, 0.0].map(p_value),
            ["0.012", "1.2e-5", "< 1e-300"]
        );
        assert_eq!([0.0123, 0.0].map(p_is), ["p = 0.012", "p < 1e-300"]);
        assert_eq!(ratio(Some(0.24), 0.1, None), "0.240 (0.100–no bound)");
    }

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
