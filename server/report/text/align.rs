//! The align report as text.

use super::{Style, seconds};
use crate::report::align::AlignReport;

/// How the two clocks lie, in sentences.
pub fn align_text(report: &AlignReport, style: Style) -> String {
    let relation = if report.offset_s < 0.0 {
        format!("{} earlier", seconds(-report.offset_s))
    } else {
        format!("{} later", seconds(report.offset_s))
    };
    let mut text = style.bold(&format!(
        "The second capture's time zero lies {relation} on the first one's clock, and its clock is off by {:+.3} ppm.",
        report.drift_ppm
    ));
    text.push_str(&format!(
        "\nStandard errors: offset {}, drift {:.2e} ppm, and {} in the middle of what both recorded.\n",
        seconds(report.offset_se_s),
        report.drift_se_ppm,
        seconds(report.middle_se_s),
    ));
    text.push_str(&format!(
        "{} edges match; {} of the first and {} of the second capture have no counterpart; they scatter by {}.\n",
        report.matched,
        report.unmatched_a,
        report.unmatched_b,
        seconds(report.residual_s),
    ));
    if report.inverted {
        text.push_str(&format!(
            "{} the line is upside down in the second capture.\n",
            style.warning("note:")
        ));
    }
    let sign = |value: f64| if value < 0.0 { '−' } else { '+' };
    text.push_str(&format!(
        "time in A = time in B × (1 {} {:.6}·10⁻⁶) {} {:.12} s\n",
        sign(report.drift_ppm),
        report.drift_ppm.abs(),
        sign(report.offset_s),
        report.offset_s.abs()
    ));
    text
}
