//! Text with a unit → a number: `60 ns`, `1.5us`, `-12 V`.

/// A length of time in seconds from text such as `60 ns`, `1.5us`, `2 µs`, `0.1 s`.
///
/// # Errors
/// A phrase that says what was expected.
pub fn parse_seconds(text: &str) -> Result<f64, String> {
    let expected = "expected a time with its unit, such as \"60 ns\" (s, ms, us, µs, ns, ps or fs)";
    let text = text.trim();
    let unit_at = text
        .find(|c: char| c.is_alphabetic() && c != 'e' && c != 'E')
        .ok_or(expected)?;
    let (number, unit) = text.split_at(unit_at);
    let scale = match unit.trim() {
        "s" => 1.0,
        "ms" => 1e3,
        "us" | "µs" | "μs" => 1e6,
        "ns" => 1e9,
        "ps" => 1e12,
        "fs" => 1e15,
        other => return Err(format!("found the unit \"{other}\", {expected}")),
    };
    let value: f64 = number
        .trim()
        .parse()
        .map_err(|_| format!("found the number \"{}\", {expected}", number.trim()))?;
    if value.is_finite() {
        Ok(value / scale)
    } else {
        Err(expected.to_owned())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_carry_their_unit() {
        assert_eq!(parse_seconds("60 ns"), Ok(60e-9));
        assert_eq!(parse_seconds("1.5us"), Ok(1.5e-6));
        assert_eq!(parse_seconds(" 2 µs "), Ok(2e-6));
        assert_eq!(parse_seconds("1e-3 s"), Ok(1e-3));
        for wrong in ["", "60", "ns", "60 n", "6,0 ns", "inf s", "60 ns ns"] {
            assert!(parse_seconds(wrong).is_err(), "{wrong}");
        }
    }
}
