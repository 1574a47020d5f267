//! Counts, lists and delays of a link that carries the signal.

use super::fit::Fit;
use super::train::Train;
use super::{Arrival, Delay, Distorted, EndPulse, Link};
use crate::analysis::stats::intervals::median_of_sorted;
use crate::model::{Level, Line, Polarity};

/// Puts counts, lists and delays of a live link in.
pub(super) fn fill(
    link: &mut Link,
    near_end: (&Line, &Train, Level),
    far_end: (&Line, &Train, Level),
    fit: &Fit,
) {
    let (from, sent, active) = near_end;
    let (to, far, far_active) = far_end;
    let towards = Polarity::towards(active) == Some(Polarity::Rise);
    let pulse = |line: &Line, edge: usize, level: Level| EndPulse {
        start: line.edges[edge],
        end: line.edges[edge + 1],
        level,
    };
    let level_at = |rise: bool, level: Level| if rise == towards { level } else { level.inverted() };
    let m = &fit.matching;
    link.missing = m
        .missing
        .iter()
        .map(|&i| pulse(from, i, level_at(sent.rises[i], active)))
        .collect();
    link.extra = m
        .extra
        .iter()
        .map(|&j| pulse(to, j, level_at(far.rises[j], far_active)))
        .collect();
    // Matched and displaced edges together, in order; a pulse arrived if both its edges did, side by side.
    let mut all = m.pairs.clone();
    all.extend(&m.displaced);
    all.sort_unstable();
    let starts: Vec<(usize, usize)> = all
        .iter()
        .copied()
        .filter(|p| sent.rises[p.0] == towards)
        .collect();
    link.arrived = arrived(&all, sent, towards);
    // Each lost pause holds the start of a pulse that arrived joined to the one before.
    link.sent = link.arrived + m.missing.len();
    for pair in all.windows(2) {
        let [(i, j), (i2, j2)] = [pair[0], pair[1]];
        let moved =
            m.displaced.binary_search(&pair[0]).is_ok() || m.displaced.binary_search(&pair[1]).is_ok();
        if moved && i2 == i + 1 && j2 == j + 1 && sent.rises[i] == towards {
            link.distorted.push(Distorted {
                sent: pulse(from, i, active),
                arrived: pulse(to, j, far_active),
            });
        }
    }
    let bias = bias_of(to) - bias_of(from);
    let last = sent.times.len().saturating_sub(1);
    let whole = starts.iter().filter(|&&(i, _)| i < last);
    link.arrivals = whole
        .map(|&(i, j)| Arrival {
            sent: pulse(from, i, active),
            start: to.edges[j],
            delay: (far.times[j] - sent.times[i]) as f64 - bias,
        })
        .collect();
    let delay = |pairs: &[(usize, usize)]| {
        let mut lags: Vec<f64> = pairs
            .iter()
            .map(|&(i, j)| (far.times[j] - sent.times[i]) as f64 - bias)
            .collect();
        lags.sort_by(f64::total_cmp);
        median_of_sorted(&lags).map(|(median, low, high)| Delay { median, low, high })
    };
    link.delay = delay(&starts);
    let ends: Vec<(usize, usize)> = all
        .iter()
        .copied()
        .filter(|p| sent.rises[p.0] != towards)
        .collect();
    link.end_delay = delay(&ends);
}

/// Pulses of the active level whose start arrived, or whose end did where the start lies before the recording.
fn arrived(all: &[(usize, usize)], sent: &Train, towards: bool) -> usize {
    let last = sent.times.len().saturating_sub(1);
    all.iter()
        .filter(|p| sent.rises[p.0] == towards && p.0 < last)
        .count()
}

/// An edge stamped by the first sample that shows it happened half a sample earlier on average.
pub(super) fn bias_of(line: &Line) -> f64 {
    if line.interpolated {
        0.0
    } else {
        0.5 * line.sample_ticks
    }
}
