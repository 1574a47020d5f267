//! Text with a unit → a number: `60 ns`, `1.5us`, `-12 V`.

/// A length of time in seconds from text such as `60 ns`, `1.5us`, `2 µs`, `0.1 s`.
///
/// # Errors
/// A phrase that says what was expected.
pub fn parse_seconds(text: &str) -> Result<f64, String> {
    // Divisors, so that 60 ns becomes the float nearest to 6e-8.
    let units = [
        ("s", 1.0),
        ("ms", 1e3),
        ("us", 1e6),
        ("µs", 1e6),
        ("μs", 1e6),
        ("ns", 1e9),
        ("ps", 1e12),
        ("fs", 1e15),
    ];
    let expected = "expected a time with its unit, such as \"60 ns\" (s, ms, us, µs, ns, ps or fs)";
    parse(text, expected, &units)
}

/// A potential in volts from text such as `5 V`, `-12 V`, `250 mV`.
///
/// # Errors
/// A phrase that says what was expected.
pub fn parse_volts(text: &str) -> Result<f64, String> {
    let units = [("V", 1.0), ("mV", 1e3), ("µV", 1e6), ("uV", 1e6), ("kV", 1e-3)];
    let expected = "expected a potential with its unit, such as \"4.93 V\" (V, mV or µV)";
    let volts = parse(text, expected, &units)?;
    match volts.abs() <= MOST_V {
        true => Ok(volts),
        false => Err(format!("found \"{}\", expected a megavolt at most", text.trim())),
    }
}

/// A frequency in hertz from text such as `1 MHz`, `32.768 kHz`.
///
/// # Errors
/// A phrase that says what was expected.
pub fn parse_hertz(text: &str) -> Result<f64, String> {
    let units = [
        ("Hz", 1.0),
        ("kHz", 1e-3),
        ("MHz", 1e-6),
        ("GHz", 1e-9),
        ("mHz", 1e3),
    ];
    let expected = "expected a frequency with its unit, such as \"1 MHz\" (Hz, kHz, MHz or GHz)";
    parse(text, expected, &units)
}

/// Nothing that a logic probe is put to is above it.
const MOST_V: f64 = 1e6;

/// A finite number, then one of the units; the number is divided by the unit's divisor.
fn parse(text: &str, expected: &str, units: &[(&str, f64)]) -> Result<f64, String> {
    let text = text.trim();
    let unit_at = text
        .find(|c: char| c.is_alphabetic() && c != 'e' && c != 'E')
        .ok_or_else(|| format!("found \"{text}\", {expected}"))?;
    let (number, unit) = text.split_at(unit_at);
    let (number, unit) = (number.trim(), unit.trim());
    let Some((_, divisor)) = units.iter().find(|(name, _)| *name == unit) else {
        return Err(format!("found the unit \"{unit}\", {expected}"));
    };
    // A minus sign as pages print it is one as well.
    let value: f64 = number
        .replace('−', "-")
        .parse()
        .map_err(|_| format!("found the number \"{number}\", {expected}"))?;
    if value.is_finite() {
        Ok(value / divisor)
    } else {
        Err(expected.to_owned())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_of_the_exponent_is_no_potential() {
        let wrong = parse_volts("-9e99 V").unwrap_err();
        assert_eq!(wrong, "found \"-9e99 V\", expected a megavolt at most");
        assert!(parse_volts("230 kV").is_ok());
    }

    #[test]
    fn volts_and_hertz_carry_their_unit() {
        assert_eq!(parse_volts("-12 V"), Ok(-12.0));
        assert_eq!(parse_volts("−12 V"), Ok(-12.0));
        assert_eq!(parse_volts("250 mV"), Ok(0.25));
        assert_eq!(parse_hertz("2 kHz"), Ok(2000.0));
        assert!(parse_volts("5").is_err());
        assert!(parse_hertz("2 khz").is_err());
    }

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
