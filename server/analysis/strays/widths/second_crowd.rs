//! A second crowd of strays above the first: of another cause, or of the other level's.

use super::{Cut, FAR};
use crate::analysis::strays::long_pulses::share_spread;

/// A stray of the other level beside an edge of the line's own leaves a piece of a pulse, of any width. Of the pulses below
/// a drop no more than this share, or one, are such pieces, each longer than the crowd by this factor (common practice, no
/// source).
const ODD_SHARE: f64 = 0.05;
const ODD_GAP: f64 = 1.4;
/// Longest pulses of a second crowd of strays.
const SECOND_NS: f64 = 90.0;
/// Widths of a second crowd scatter at least so much.
const SECOND_SPREAD: f64 = 0.25;

/// The cut above a second crowd of strays, which begins at the valley `below`: at the drop `all`, before the few pulses of
/// the line's own that lie far beyond the crowd and yet under the drop, or before the odd one that stands apart from both.
pub(super) fn beyond_second_crowd(
    widths: &[f64],
    below: Cut,
    all: Cut,
    sampling: f64,
    ns: f64,
) -> Option<Cut> {
    let is_parted = |at: usize, by: f64| widths[at] >= by * (widths[at - 1] + sampling);
    let at = |count: usize| Cut {
        count,
        longest_narrow: widths[count - 1],
        shortest_wide: widths[count],
    };
    let before_own = (below.count + 1..all.count).find(|&count| is_parted(count, FAR));
    let odd = ((ODD_SHARE * all.count as f64) as usize).max(1);
    let before_odd = (all.count.saturating_sub(odd).max(below.count + 1)..all.count)
        .rev()
        .find(|&count| is_parted(count, ODD_GAP));
    [Some(all), before_own.map(at), before_odd.map(at)]
        .into_iter()
        .flatten()
        .find(|cut| is_second_crowd(&widths[below.count..cut.count], sampling, ns))
}

/// Whether widths above a valley are those of a second cause rather than the line's own: as short as strays are, and
/// scattered beyond what sampling does.
fn is_second_crowd(widths: &[f64], sampling: f64, ns: f64) -> bool {
    let (Some(&longest), true) = (widths.last(), widths.len() >= 5) else {
        return false;
    };
    longest <= SECOND_NS * ns
        && share_spread(widths) >= SECOND_SPREAD
        && longest - widths[0] >= 4.0 * sampling.max(1.0)
}

/// The cut moved beyond a second crowd, where strays of the other level are as wide: what lies between two strays, or between
/// one and an edge of the line's own, makes a crowd of shorter pulses.
pub(super) fn with_second_crowd(widths: &[f64], own: Cut, other: Cut, sampling: f64, ns: f64) -> Cut {
    let count = widths.partition_point(|&w| w < other.limit(sampling));
    if count <= own.count || count == widths.len() {
        return own;
    }
    let (longest_narrow, shortest_wide) = (widths[count - 1], widths[count]);
    let is_parted = shortest_wide >= 1.3 * (longest_narrow + sampling);
    let crowd = &widths[own.count..count];
    if is_parted
        && longest_narrow <= other.longest_narrow * 1.1 + sampling
        && is_second_crowd(crowd, sampling, ns)
    {
        return Cut {
            count,
            longest_narrow,
            shortest_wide,
        };
    }
    own
}
