//! The sampling of lines whose reader did not know it, as their edges show it.
//!
//! Where every sample of 10 ns is written to 10 ns, nothing of the file says which digits are samples. What two instruments
//! saw is compared to a part of a sample, so the same step must be taken wherever their times are: by the alignment, for the
//! delays between them, and for how well an edge is said to be known.

use crate::analysis::strays::coarse_tick;
use crate::model::{Capture, Line, gcd};

/// Fewest edges that say a step: with fewer, one is met by chance.
const LEAST_EDGES: usize = 32;
/// Edges looked at, at most: enough to refute a wrong step many times over.
const MOST_EDGES: usize = 20_000;

/// Whether the reader left the line's sampling open.
fn is_open(line: &Line) -> bool {
    line.sample_ticks <= 0.0 && !line.interpolated
}

/// The largest step, in ticks, that all edges keep to of the lines whose sampling is not known, where that is more than a
/// tick; else the tick, where that is coarse; else 0. Cost: linear in the edges looked at, 20,000 at most.
pub fn step_of(capture: &Capture) -> f64 {
    let lines = || capture.lines.iter().filter(|line| is_open(line));
    let share = MOST_EDGES / lines().count().max(1);
    let mut edges = lines().flat_map(|line| line.edges.iter().take(share));
    let Some(first) = edges.next() else {
        return 0.0;
    };
    let (mut step, mut count) = (0, 1);
    for edge in edges {
        count += 1;
        step = gcd(step, edge.0.abs_diff(first.0));
        if step == 1 {
            break;
        }
    }
    match step {
        2.. if count >= LEAST_EDGES => step as f64,
        _ => coarse_tick(&capture.timebase),
    }
}

/// The capture with [`step_of`] as the sampling of the lines where it was not known.
pub fn with_steps(mut capture: Capture) -> Capture {
    let step = step_of(&capture);
    for line in capture.lines.iter_mut().filter(|line| is_open(line)) {
        line.sample_ticks = step;
    }
    capture
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::{Level, Ticks, TimeSpan, Timebase};

    #[test]
    fn a_capture_s_own_grid_stands_for_a_missing_sampling_period() {
        let span = TimeSpan::new(Ticks(0), Ticks(1_000_000));
        let of = |steps: &[i64], timebase: Timebase| {
            let line = |step: &i64| {
                let edges = (1..60).map(|k| Ticks(k * k * step)).collect();
                Line::digital(format!("A{step}"), Level::Low, edges, span)
            };
            let lines = steps.iter().map(line).collect();
            let capture = Capture {
                timebase,
                ..Capture::in_nanoseconds("a.csv", span, lines)
            };
            step_of(&capture)
        };
        let nanoseconds = Timebase::decimal(-9);
        // Of one line by itself a coarser step may show than the instrument has.
        let found = [&[50][..], &[50, 20], &[50, 1]].map(|steps| of(steps, nanoseconds));
        assert_eq!(found, [50.0, 10.0, 0.0]);
        // Written to a hundredth of a microsecond.
        assert_eq!(of(&[1], Timebase::decimal(-8)), 1.0);
    }
}
