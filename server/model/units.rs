//! Numbers with units as people read them: engineering prefixes, three significant digits.

/// Which end of an interval a number is. A bound is rounded outwards, so that what is told holds: a lower one down, an upper
/// one up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bound {
    Lower,
    Upper,
}

impl Bound {
    /// `value` on the grid of `decimals` digits behind the point, outwards.
    fn on_grid(self, value: f64, decimals: usize) -> f64 {
        /// Nearer to the grid than this share of a step, a value is on it: what is written 5 % may be 5.000000000000001.
        const ON_IT: f64 = 1e-6;
        let scale = 10f64.powi(decimals as i32);
        let (steps, near) = (value * scale, (value * scale).round());
        let outward = match self {
            _ if (steps - near).abs() <= ON_IT => near,
            Bound::Lower => steps.floor(),
            Bound::Upper => steps.ceil(),
        };
        match outward.is_finite() {
            true => outward / scale,
            false => value,
        }
    }
}

/// The bound of a share as a percentage without its sign, outwards: as [`percent_to_tenths`] has it, and below one percent
/// with two significant digits.
pub fn percent_bound(share: f64, bound: Bound) -> String {
    let value = share * 100.0;
    let decimals = match value.abs() {
        0.0 => 0,
        size if size >= 1.0 => 1,
        size => (1 - size.log10().floor() as i32).clamp(1, 15) as usize,
    };
    let told = bound.on_grid(value, decimals);
    match told != 0.0 && told.abs() < 1e-4 {
        true => format!("{told:.1e}"),
        false => without_trailing_zeros(format!("{told:.decimals$}")),
    }
}

/// A bound in three significant digits, outwards, as [`three_digits`] has a number.
pub fn three_digits_bound(value: f64, bound: Bound) -> String {
    let size = value.abs();
    match (0.001..1000.0).contains(&size) {
        true => {
            let decimals = (2 - size.log10().floor() as i32).clamp(0, 5) as usize;
            three_digits(bound.on_grid(value, decimals))
        }
        false if size >= 1000.0 && size.is_finite() => {
            let step = 10f64.powi(size.log10().floor() as i32 - 2);
            three_digits(bound.on_grid(value / step, 0) * step)
        }
        false => three_digits(value),
    }
}

/// A bound in seconds, outwards, as [`seconds`] has a time.
pub fn seconds_bound(value: f64, bound: Bound) -> String {
    let size = value.abs();
    if size == 0.0 || !size.is_finite() || size >= CLOCK_S {
        return seconds(value);
    }
    let step = 10f64.powi(size.log10().floor() as i32 - 2);
    seconds(bound.on_grid(value / step, 0) * step)
}

fn without_trailing_zeros(text: String) -> String {
    match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        false => text,
    }
}

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

/// A moment to the nanosecond, by the largest unit that it fills, as the diagram and the setup file write it: `11.00437 ms`
/// has as many digits as part it from the next. From a thousand seconds on by the clock: `0:20:34.5`.
pub fn moment(value: f64) -> String {
    let sign = if value < 0.0 { "−" } else { "" };
    let ns = (value.abs() * 1e9).round();
    if !value.is_finite() || ns == 0.0 {
        return engineering(if value.is_finite() { 0.0 } else { value }, "s");
    }
    // Whole nanoseconds, so that no digit beyond them shows.
    let parts = |unit: u64| {
        let (whole, rest) = (ns as u64 / unit, ns as u64 % unit);
        let digits = unit.ilog10() as usize;
        let rest = if digits == 0 {
            String::new()
        } else {
            format!(".{rest:0digits$}")
        };
        (whole, rest.trim_end_matches('0').trim_end_matches('.').to_owned())
    };
    if value.abs() >= CLOCK_S {
        let (whole, rest) = parts(1_000_000_000);
        return format!(
            "{sign}{}:{:02}:{:02}{rest}",
            whole / 3600,
            whole / 60 % 60,
            whole % 60
        );
    }
    let units = [(1_000_000_000, "s"), (1_000_000, "ms"), (1_000, "µs"), (1, "ns")];
    let (unit, name) = units
        .into_iter()
        .find(|(unit, _)| ns >= *unit as f64)
        .unwrap_or((1, "ns"));
    let (whole, rest) = parts(unit);
    format!("{sign}{whole}{rest} {name}")
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

/// SI prefixes and what they stand for, the largest first.
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

/// A value with an SI prefix and three significant digits, trailing zeros dropped; below zero with a minus sign (U+2212).
pub fn engineering(value: f64, unit: &str) -> String {
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
    if value.abs() < step * 1e-6 {
        return "0".to_owned();
    }
    let size = value.abs().max(step);
    let mut from_seconds = PREFIXES.iter().filter(|(scale, _)| *scale <= 1.0);
    let (scale, prefix) = from_seconds
        .find(|(scale, _)| size >= scale * 0.999_999_9)
        .unwrap_or(&PREFIXES[8]);
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

/// The bound of a share as [`percent`] has it, outwards.
pub fn bound_in_sentence(share: f64, bound: Bound) -> String {
    match share * 100.0 {
        value if value >= 9.5 => format!("{:.0}", bound.on_grid(value, 0)),
        _ => percent_bound(share, bound),
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
    let low = Bound::Lower.on_grid(low, 3);
    let high = high.map(|high| Bound::Upper.on_grid(high, 3));
    format!("{} ({low:.3}–{})", end(estimate), end(high))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_moment_has_the_digits_that_part_it_from_the_next() {
        assert_eq!(moment(0.011_004_37), "11.00437 ms");
        assert_eq!(
            [
                moment(0.011),
                moment(2.0),
                moment(3e-6),
                moment(262e-9),
                moment(0.0)
            ],
            ["11 ms", "2 s", "3 µs", "262 ns", "0 s"]
        );
        assert_eq!([moment(0.999_999_999_8), moment(-0.5e-3)], ["1 s", "−500 µs"]);
        assert_eq!(
            [moment(1.234_567_891), moment(1234.5)],
            ["1.234567891 s", "0:20:34.5"]
        );
    }

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
    fn bounds_are_rounded_outwards() {
        use Bound::{Lower, Upper};
        // None of 2048: 1 − 0.05^(1/2048).
        let none_of_2048 = 1.0 - 0.05f64.powf(1.0 / 2048.0);
        assert_eq!(percent_bound(none_of_2048, Upper), "0.15");
        assert_eq!(percent_bound(none_of_2048, Lower), "0.14");
        assert_eq!(
            [0.22105, 0.05, 0.999_99, 1.0, 0.0].map(|share| percent_bound(share, Upper)),
            ["22.2", "5", "100", "100", "0"]
        );
        assert_eq!(
            [0.0769, 0.29, 0.0].map(|share| percent_bound(share, Lower)),
            ["7.6", "29", "0"]
        );
        assert_eq!(percent_bound(1.234e-9, Upper), "1.3e-7");
        assert_eq!(
            [12.34, 1234.1, 2.0].map(|v| three_digits_bound(v, Upper)),
            ["12.4", "1.24e3", "2"]
        );
        assert_eq!(
            [12.38, 1239.0].map(|v| three_digits_bound(v, Lower)),
            ["12.3", "1.23e3"]
        );
        assert_eq!(
            [
                seconds_bound(1.2301e-8, Upper),
                seconds_bound(1.2399e-8, Lower),
                seconds_bound(-1.2399e-8, Lower)
            ],
            ["12.4 ns", "12.3 ns", "−12.4 ns"]
        );
        assert_eq!(seconds_bound(2e-8, Upper), "20 ns");
        assert_eq!(ratio(Some(0.1), 0.0519, Some(0.1821)), "0.100 (0.051–0.183)");
        assert_eq!(bound_in_sentence(0.327, Bound::Lower), "32");
        assert_eq!(bound_in_sentence(0.537, Bound::Upper), "54");
        assert_eq!(bound_in_sentence(0.08748, Bound::Upper), "8.8");
    }

    #[test]
    fn chances_and_ratios_are_worded_with_their_bounds() {
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
