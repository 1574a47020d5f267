//! What an alignment has to say.

use super::Alignment;
use crate::analysis::findings::{Finding, Severity};
use crate::model::units::{seconds, three_digits};

/// How the clock of `file` was brought to that of `first`, by `line`. A warning where many edges of the shared
/// line have no counterpart, a note otherwise.
pub fn finding(first: &str, file: &str, line: &str, alignment: &Alignment) -> Finding {
    let a = alignment;
    let lost = a.unmatched_a + a.unmatched_b;
    let severity = if lost * 5 > a.matched {
        Severity::Warning
    } else {
        Severity::Note
    };
    let turned = if a.inverted { ", upside down there," } else { "" };
    Finding {
        severity,
        topic: "alignment",
        lines: line.split('=').map(|name| name.trim().to_owned()).collect(),
        title: format!(
            "{file} was brought to the clock of {first} by {line}{turned}: offset {}, drift {:+.3} ppm",
            exact(a.offset_s),
            a.drift_ppm
        )
        .replace(": offset -", ": offset −")
        .replace(", drift -", ", drift −"),
        detail: format!(
            "{} edges match and scatter by {}; {} of {first} and {} of {file} have no counterpart. Standard errors: \
             {} in the middle of what both recorded, drift {} ppm.",
            a.matched,
            seconds(a.residual_s),
            a.unmatched_a,
            a.unmatched_b,
            seconds(a.middle_se_s),
            three_digits(a.drift_se_ppm)
        ),
        try_next: vec![match severity {
            Severity::Warning => format!(
                "Check that both probes sit on {line}, and that neither threshold is near its levels: edges that only one of them sees make every delay between the captures doubtful."
            ),
            _ => format!(
                "Delays between {first} and {file} are good to that error plus half a sample of each."
            ),
        }],
    }
}

/// An offset to the nanosecond (below that, three digits): it is known far better than three digits tell.
pub fn exact(offset_s: f64) -> String {
    match offset_s.abs() {
        small if small < 1e-6 => seconds(offset_s),
        below if below < 1.0 => format!("{:.6} ms", offset_s * 1e3),
        _ => format!("{offset_s:.9} s"),
    }
}

/// What a person moved a clock by, to the picosecond and without zeros behind: the next sample must show.
pub fn by_hand(shift_s: f64) -> String {
    let (unit, word, digits) = match shift_s.abs() {
        below if below < 1e-6 => (1e9, "ns", 3),
        below if below < 1e-3 => (1e6, "µs", 6),
        below if below < 1.0 => (1e3, "ms", 9),
        _ => (1.0, "s", 12),
    };
    let text = format!("{:.digits$}", shift_s * unit);
    let text = text.trim_end_matches('0').trim_end_matches('.');
    format!("{text} {word}").replace('-', "−")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_shift_by_hand_is_told_to_the_last_step() {
        let told = [1e-6, 3.79e-3, 3.790_005e-3, -40e-9, 2.5].map(by_hand);
        assert_eq!(told, ["1 µs", "3.79 ms", "3.790005 ms", "−40 ns", "2.5 s"]);
    }
}
