//! Small pieces of sentences: times with units, counts with their noun, shares.

use crate::model::units;
pub use crate::model::units::{count_of, percent};
use crate::model::{Polarity, Timebase};

/// A length of `seconds` in words: three significant digits with a fitting unit.
pub fn span_s(seconds: f64) -> String {
    match seconds {
        0.0 => "0 ns".to_owned(),
        // No thousands of seconds in a sentence.
        long if long.abs() >= 999.5 => format!("{long:.0} s").replace('-', "−"),
        other => units::seconds(other),
    }
}

/// A length of `ticks` in words.
pub fn span(timebase: &Timebase, ticks: f64) -> String {
    span_s(timebase.length_s(ticks))
}

/// A small expected count: enough digits to tell it from none.
pub fn small(value: f64) -> String {
    if value >= 10.0 {
        format!("{value:.0}")
    } else if value >= 0.05 {
        format!("{value:.1}")
    } else if value >= 0.0005 {
        format!("{value:.3}")
    } else {
        "less than 0.001".to_string()
    }
}

/// "rises", "falls".
pub fn edges_word(polarity: Polarity) -> &'static str {
    match polarity {
        Polarity::Rise => "rises",
        Polarity::Fall => "falls",
    }
}

/// "A", "A and B", "A, B and C".
pub fn list(names: &[String]) -> String {
    match names {
        [] => String::new(),
        [one] => one.clone(),
        [most @ .., last] => format!("{} and {last}", most.join(", ")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_get_a_fitting_unit() {
        assert_eq!(span_s(13e-9), "13 ns");
        assert_eq!(span_s(4.16667e-8), "41.7 ns");
        assert_eq!(span_s(0.0042), "4.2 ms");
        assert_eq!(span_s(-1.5e-9), "−1.5 ns");
        assert_eq!(span_s(0.0), "0 ns");
        assert_eq!(span_s(120e-9), "120 ns");
        assert_eq!(span_s(1234.0), "1234 s");
    }

    #[test]
    fn lists_end_with_and() {
        let names = |n: &[&str]| n.iter().map(|s| s.to_string()).collect::<Vec<_>>();
        assert_eq!(list(&names(&["A", "B", "C"])), "A, B and C");
    }
}
