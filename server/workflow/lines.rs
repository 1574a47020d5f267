//! What is there, line by line, without analysis.

use crate::model::{Capture, Line, Ticks};
use crate::report::CaptureRow;
use crate::report::lines::{LineRow, LinesReport, SCHEMA};

/// The `lines` report of captures, each on its own clock. Cost: linear in edges, lines shared out over the cores.
pub fn lines_report(captures: &[Capture]) -> LinesReport {
    let jobs: Vec<(&Capture, &Line)> = captures
        .iter()
        .flat_map(|c| c.lines.iter().map(move |l| (c, l)))
        .collect();
    LinesReport {
        schema: SCHEMA.to_owned(),
        captures: captures.iter().map(|c| capture_row(c, 0.0, 0.0)).collect(),
        lines: super::on_all_cores(&jobs, |(capture, line)| line_row(capture, line)),
    }
}

/// One file as the report names it; the clock relation is to the first capture.
pub fn capture_row(capture: &Capture, offset_s: f64, drift_ppm: f64) -> CaptureRow {
    CaptureRow {
        file: capture.file.clone(),
        format: capture.format.word().to_owned(),
        start_s: capture.seconds(capture.span.start),
        end_s: capture.seconds(capture.span.end),
        resolution_s: capture.timebase.length_s(capture.resolution_ticks),
        offset_s,
        drift_ppm,
        warnings: capture.warnings.iter().map(|w| w.text.clone()).collect(),
    }
}

fn line_row(capture: &Capture, line: &Line) -> LineRow {
    let times = line.tally();
    let seconds = |ticks: Ticks| capture.timebase.length_s(ticks.0 as f64);
    LineRow {
        line: line.name.clone(),
        capture: capture.file.clone(),
        source: line.source,
        edges: line.edges.len() as u64,
        first_level: line.level_at(line.span.start).word().to_owned(),
        low_s: seconds(times.low),
        high_s: seconds(times.high),
        unknown_s: seconds(times.unknown),
        floating_s: seconds(times.floating),
        shortest_s: times.shortest.map(seconds),
        longest_s: times.longest.map(seconds),
    }
}
