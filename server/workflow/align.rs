//! Several captures → one clock: aligned on a line both recorded, or taken as they are.

use crate::analysis::align::Alignment;
use crate::model::{Capture, Line};
use crate::report::CaptureRow;
use crate::report::align::{AlignReport, SCHEMA};

use super::lines::capture_row;
use super::merge::merge;
use super::runs::align_pair_on;

/// Aligns the second capture to the first. `on`: `LINE`, or `LINE=LINE_IN_B`; several parted by commas.
///
/// # Errors
/// A sentence: a line is missing, or the two do not share enough to tell.
pub fn align_pair(a: &Capture, b: &Capture, on: &str) -> anyhow::Result<Alignment> {
    let lines: Vec<String> = match a.line_index(on) {
        Some(_) => vec![on.to_owned()],
        None => on.split(',').map(|name| name.trim().to_owned()).collect(),
    };
    align_pair_on(a, b, &lines).map_err(anyhow::Error::msg)
}

/// A line of one name that brings the second capture to the first one's clock, the one with the most edges that match; and
/// how. `None` where no line that both recorded does. Cost: that of aligning on [`MOST_TRIED`] lines.
pub fn shared(a: &Capture, b: &Capture) -> Option<(String, Alignment)> {
    let in_both = a.lines.iter().filter(|line| b.line_index(&line.name).is_some());
    let mut names: Vec<&Line> = in_both.filter(|line| !line.edges.is_empty()).collect();
    names.sort_by_key(|line| std::cmp::Reverse(line.edges.len()));
    let tried = names.iter().take(MOST_TRIED).filter_map(|line| {
        let alignment = align_pair_on(a, b, std::slice::from_ref(&line.name)).ok()?;
        Some((line.name.clone(), alignment))
    });
    tried.max_by_key(|(_, alignment)| alignment.matched)
}

/// The busiest lines of one name that are tried: two captures of one machine may share all their lines.
const MOST_TRIED: usize = 8;

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
