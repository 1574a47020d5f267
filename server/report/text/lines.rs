//! The lines report as text.

use super::{Align, Style, Table, printable, seconds};
use crate::report::CaptureRow;
use crate::report::lines::LinesReport;

/// What is there, for reading.
pub fn lines_text(report: &LinesReport, style: Style) -> String {
    let mut text = String::new();
    for capture in &report.captures {
        text.push_str(&capture_text(capture, style));
    }
    let several = report.captures.len() > 1;
    let mut headings = vec![
        ("line", Align::Left),
        ("edges", Align::Right),
        ("starts", Align::Left),
        ("low", Align::Right),
        ("high", Align::Right),
        ("unknown", Align::Right),
        ("floating", Align::Right),
        ("shortest", Align::Right),
        ("longest", Align::Right),
    ];
    if several {
        headings.push(("capture", Align::Left));
    }
    let mut table = Table::new(&headings);
    let optional = |value: Option<f64>| value.map_or("–".to_owned(), seconds);
    let unless_zero = |value: f64| {
        if value == 0.0 {
            "–".to_owned()
        } else {
            seconds(value)
        }
    };
    for line in &report.lines {
        let mut cells = vec![
            line.line.clone(),
            line.edges.to_string(),
            line.first_level.clone(),
            unless_zero(line.low_s),
            unless_zero(line.high_s),
            unless_zero(line.unknown_s),
            unless_zero(line.floating_s),
            optional(line.shortest_s),
            optional(line.longest_s),
        ];
        if several {
            cells.push(line.capture.clone());
        }
        table.row(cells);
    }
    text.push('\n');
    text.push_str(&table.render(0));
    text
}

/// "0 s to 1.2 ms", to the capture's resolution; where both ends read alike, as of dated times, the first and the length.
fn stretch(capture: &CaptureRow) -> String {
    let is_below = |s: f64| s.abs() < 0.5 * capture.resolution_s;
    let worded = |s: f64| seconds(if is_below(s) { 0.0 } else { s });
    let (start, end) = (worded(capture.start_s), worded(capture.end_s));
    match start == end && capture.end_s > capture.start_s {
        true => format!(
            "from {start} on, {} long",
            seconds(capture.end_s - capture.start_s)
        ),
        false => format!("{start} to {end}"),
    }
}

/// One file that was read, in a line, and its warnings.
pub fn capture_text(capture: &CaptureRow, style: Style) -> String {
    let mut text = format!(
        "{} · {} · {} · resolution {}",
        style.bold(&printable(&capture.file)),
        capture.format,
        stretch(capture),
        seconds(capture.resolution_s),
    );
    if capture.offset_s != 0.0 || capture.drift_ppm != 0.0 {
        text.push_str(&format!(
            " · on the first capture's clock: {} ppm, {} {}",
            format!("{:+.4}", capture.drift_ppm).replace('-', "−"),
            seconds(capture.offset_s.abs()),
            if capture.offset_s < 0.0 {
                "earlier"
            } else {
                "later"
            }
        ));
    }
    text.push('\n');
    for warning in &capture.warnings {
        text.push_str(&format!("  {} {}\n", style.warning("note:"), printable(warning)));
    }
    text
}
