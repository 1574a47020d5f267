//! How the line that says up or down stood at the wrong steps of a count: its level, and whether it had only just changed.

use super::company::Window;
use crate::model::{Capture, Level, Ticks};

/// Without a settling time an edge counts as just before the strobe within this part of the middle step. No source: a round number.
const PART_OF_A_STEP: f64 = 0.1;

/// The direction line at the wrong steps.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Direction {
    /// Position in the capture.
    pub line: usize,
    /// Wrong steps at whose strobe it was high, and low; just before it.
    pub high: u64,
    pub low: u64,
    /// Wrong steps before whose strobe it had an edge, at most `within` ticks before.
    pub edge_before: u64,
    pub within: Ticks,
}

/// Counts over the wrong ones of `windows`; `settle` in ticks. Cost: wrong steps times the logarithm of the line's edges.
pub(super) fn direction(
    capture: &Capture,
    line: usize,
    windows: &[Window],
    settle: Option<f64>,
) -> Direction {
    let of = &capture.lines[line];
    let within = settle.unwrap_or_else(|| {
        let mut lengths: Vec<i64> = windows.iter().map(|w| (w.end - w.start).0).collect();
        lengths.sort_unstable();
        PART_OF_A_STEP * lengths.get(lengths.len() / 2).copied().unwrap_or(0) as f64
    });
    let mut told = Direction {
        line,
        high: 0,
        low: 0,
        edge_before: 0,
        within: Ticks(within.ceil() as i64),
    };
    for window in windows.iter().filter(|window| window.is_wrong) {
        match of.known_level_at(Ticks(window.start.0 - 1)) {
            Level::High => told.high += 1,
            Level::Low => told.low += 1,
            _ => {}
        }
        let next = of.edges.partition_point(|&edge| edge < window.start);
        let last = next.checked_sub(1).map(|at| of.edges[at]);
        told.edge_before += u64::from(last.is_some_and(|edge| window.start - edge <= told.within));
    }
    told
}
