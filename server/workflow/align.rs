//! Several captures → one clock: aligned on a line both recorded, or taken as they are.

use crate::analysis::align::{Alignment, Edges, align};
use crate::model::Capture;
use crate::report::CaptureRow;
use crate::report::align::{AlignReport, SCHEMA};

use super::lines::capture_row;
use super::merge::merge;

/// Aligns the second capture to the first. `on`: `LINE`, or `LINE=LINE_IN_B`.
///
/// # Errors
/// A sentence: the line is missing, or the two do not share enough to tell.
pub fn align_pair(a: &Capture, b: &Capture, on: &str) -> anyhow::Result<Alignment> {
    let (in_a, in_b) = match (a.line_index(on), on.split_once('=')) {
        (None, Some((x, y))) => (x.trim(), y.trim()),
        _ => (on.trim(), on.trim()),
    };
    let find = |capture: &Capture, name: &str| {
        capture.line_index(name).ok_or_else(|| {
            let names: Vec<&str> = capture.lines.iter().take(12).map(|l| l.name.as_str()).collect();
            anyhow::anyhow!(
                "{}: expected a line called {name} to align on, found {}; say --on LINE=LINE_IN_B where they differ",
                capture.file,
                names.join(", ")
            )
        })
    };
    let (x, y) = (find(a, in_a)?, find(b, in_b)?);
    align(&Edges::of(a, x), &Edges::of(b, y))
        .map_err(|error| anyhow::anyhow!("{} and {}, on {on}: {error}", a.file, b.file))
}

/// The report of an alignment.
pub fn align_report(alignment: &Alignment) -> AlignReport {
    AlignReport {
        schema: SCHEMA.to_owned(),
        offset_s: alignment.offset_s,
        offset_se_s: alignment.offset_se_s,
        drift_ppm: alignment.drift_ppm,
        drift_se_ppm: alignment.drift_se_ppm,
        middle_s: alignment.middle_s,
        middle_se_s: alignment.middle_se_s,
        matched: alignment.matched as u64,
        unmatched_a: alignment.unmatched_a as u64,
        unmatched_b: alignment.unmatched_b as u64,
        residual_s: alignment.residual_s,
        inverted: alignment.inverted,
    }
}

/// Captures on the first one's clock, as one; a row for each file; and how each lies to the first.
pub struct OneClock {
    pub capture: Capture,
    pub sources: Vec<CaptureRow>,
    pub alignments: Vec<Alignment>,
}

/// Brings captures (at least one) to the first one's clock: aligned on `on`, or, without it, taken as recorded
/// on one clock.
///
/// # Errors
/// As [`align_pair`]; or there is no capture.
pub fn one_clock(mut captures: Vec<Capture>, on: Option<&str>) -> anyhow::Result<OneClock> {
    anyhow::ensure!(!captures.is_empty(), "expected at least one capture, found none");
    let mut alignments = vec![Alignment::SAME_CLOCK];
    for other in &captures[1..] {
        alignments.push(match on {
            Some(on) => align_pair(&captures[0], other, on)?,
            None => Alignment::SAME_CLOCK,
        });
    }
    let rows = captures.iter().zip(&alignments);
    let sources = rows
        .map(|(capture, a)| capture_row(capture, a.offset_s, a.drift_ppm))
        .collect();
    let capture = match captures.len() {
        1 => captures.remove(0),
        _ => merge(captures, &alignments),
    };
    Ok(OneClock {
        capture,
        sources,
        alignments,
    })
}
