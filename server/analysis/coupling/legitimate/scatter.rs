//! Widths that scatter: those of induced pulses do, and those of pulses that a part drives repeat.

use super::USEFUL_S;
use crate::analysis::stats::order::at_shares;
use crate::model::Capture;
use std::ops::Range;

/// Widths of a crowd scatter at least so much: the ninth tenth beyond the first, as a share of the first. A monostable's keep
/// within a few hundredths (common practice, no source).
const SPREAD: f64 = 0.5;
/// Samples no further apart than this show such a scatter; with coarser ones the widths reach over so many, where one width shows as
/// two numbers of samples, and its jitter as a third.
const COARSEST_S: f64 = 12e-9;
const COARSE_RANGE: f64 = 2.9;
/// Where a level has no longer pulse, a lesser scatter shows as much if it is even: the ninth tenth so far beyond the first, as a share of
/// the first and by two samples; half of them no longer than this; and no more than these shares of one width, or of two, which is
/// so wide beside a sample. Pulses of a gate whose inputs settle one after the other have one width or two.
const EVEN_SPREAD: f64 = 0.25;
const EVEN_S: f64 = 60e-9;
const ONE_WIDTH_SHARE: f64 = 0.6;
const TWO_WIDTHS_SHARE: f64 = 0.9;
const ONE_WIDTH: f64 = 0.1;

/// Whether ascending widths scatter as those of induced pulses do. `sampling`: a sample in ticks; `is_all`: the level has no other pulses.
pub(super) fn scatter_like_strays(capture: &Capture, widths: &[i64], sampling: f64, is_all: bool) -> bool {
    let is_coarse = sampling > capture.timebase.ticks_of(COARSEST_S);
    let range = (widths[widths.len() - 1] - widths[0]) as f64;
    if is_coarse && range < COARSE_RANGE * sampling {
        return false;
    }
    let Some(at) = at_shares(widths, [0.1, 0.25, 0.5, 0.9]) else {
        return false;
    };
    let [first, quarter, middle, last] = at.map(|width| width as f64);
    let from_useless = quarter <= capture.timebase.ticks_of(USEFUL_S) && last >= (1.0 + SPREAD) * first;
    from_useless || is_all && middle <= capture.timebase.ticks_of(EVEN_S) && scatter_evenly(widths, sampling)
}

/// Whether ascending widths reach over several samples and gather nowhere. Cost: n log n.
fn scatter_evenly(widths: &[i64], sampling: f64) -> bool {
    let reach_far = at_shares(widths, [0.1, 0.9]).is_some_and(|[first, last]| {
        last as f64 >= (1.0 + EVEN_SPREAD) * first as f64 && (last - first) as f64 >= 2.0 * sampling
    });
    // Those of one width, and those of a second.
    let first = fullest(widths, sampling);
    let rest = [&widths[..first.start], &widths[first.end..]];
    let second = rest
        .map(|part| fullest(part, sampling).len())
        .into_iter()
        .max()
        .unwrap_or(0);
    let all = widths.len() as f64;
    reach_far
        && first.len() as f64 <= ONE_WIDTH_SHARE * all
        && ((first.len() + second) as f64) < TWO_WIDTHS_SHARE * all
}

/// Where most of ascending widths are one, within [`ONE_WIDTH`] and a sample.
fn fullest(widths: &[i64], sampling: f64) -> Range<usize> {
    let held = |from: usize| {
        let last = (1.0 + ONE_WIDTH) * widths[from] as f64 + 1.05 * sampling;
        from..from + widths[from..].partition_point(|&w| w as f64 <= last)
    };
    (0..widths.len()).map(held).max_by_key(Range::len).unwrap_or(0..0)
}
