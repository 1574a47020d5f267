//! Numbers with units as people read them: engineering prefixes, three significant digits.

/// Seconds in engineering units, three significant digits: `13 ns`, `1.25 ms`, `-0.5 ns`.
pub fn seconds(value: f64) -> String {
    engineering(value, "s")
}

/// A value with an SI prefix and three significant digits, trailing zeros dropped.
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
    format!("{text} {prefix}{unit}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn engineering_units_keep_three_digits() {
        assert_eq!(seconds(1.3e-8), "13 ns");
        assert_eq!(seconds(0.0012345), "1.23 ms");
        assert_eq!(seconds(9.999e-7), "1 µs");
        assert_eq!(seconds(-5e-10), "-500 ps");
        assert_eq!(seconds(0.0), "0 s");
        assert_eq!(seconds(41.6667e-9), "41.7 ns");
    }
}
