//! The delay between two trains of edges, estimated robustly.
//!
//! All differences far − sent within the allowed range are sorted; for window widths from one sample to the
//! whole range the fullest window is found, and the width whose fullest window is least likely by chance wins.
//! Lost pulses, extra pulses and neighbours in a burst only add differences elsewhere. Cost: pairs × ln(pairs).

use crate::analysis::stats::tails::ln_binomial_upper;

/// Where the differences pile up.
#[derive(Clone, Copy, Debug)]
pub(super) struct Cluster {
    /// Median difference, in ticks.
    pub center: f64,
    /// Half width of the window in which a far edge counts as this one's arrival, in ticks.
    pub tolerance: f64,
    /// ln of the chance that blind edges pile up so (number of windows allowed for).
    pub ln_chance: f64,
    /// The same against the differences' own density in the range: bursts alone do not make it small.
    pub ln_local: f64,
}

/// Sent edges used for the estimate at most; the matching then uses all.
const SAMPLE: usize = 20_000;
/// Differences used for the estimate at most.
const PAIRS: usize = 2_000_000;

/// Estimates the delay between edges of one polarity. `sent`, `far`: ascending ticks; `range`: allowed
/// differences, both ends closed; `quantum`: ticks of one sample; `length`: ticks recorded.
pub(super) fn estimate(
    sent: &[i64],
    far: &[i64],
    range: (i64, i64),
    quantum: f64,
    length: f64,
) -> Option<Cluster> {
    let (differences, used) = differences(sent, far, range);
    if differences.is_empty() || length <= 0.0 {
        return None;
    }
    let rate = far.len() as f64 / length;
    let reach = range.1 as f64 - range.0 as f64 + quantum;
    let mut best: Option<(f64, f64, f64)> = None;
    let mut width = quantum.max(1.0);
    loop {
        let (count, center) = fullest(&differences, width);
        let chance = -(-rate * (width + quantum)).exp_m1();
        let windows = (reach / width).max(1.0);
        let ln = ln_binomial_upper(count.min(used) as u64, used as u64, chance) + windows.ln();
        if best.is_none_or(|(_, _, least)| ln < least) {
            best = Some((width, center, ln));
        }
        if width >= reach {
            break;
        }
        width = (width * 1.6).max(width + 1.0);
    }
    let (width, center, ln_chance) = best?;
    let (count, _) = fullest(&differences, width);
    let share = ((width + quantum) / reach).min(1.0);
    let ln_local =
        ln_binomial_upper(count as u64, differences.len() as u64, share) + (reach / width).max(1.0).ln();
    let near: Vec<f64> = within(&differences, center, width)
        .iter()
        .map(|&d| d as f64)
        .collect();
    let center = median(&near);
    let mut off: Vec<f64> = near.iter().map(|d| (d - center).abs()).collect();
    off.sort_by(f64::total_cmp);
    let spread = 1.4826 * median(&off);
    let tolerance = (1.5 * quantum).max(6.0 * spread).max(width);
    Some(Cluster {
        center,
        tolerance,
        ln_chance: ln_chance.min(0.0),
        ln_local: ln_local.min(0.0),
    })
}

/// The fullest pile of differences outside the cluster's window, as a share of the cluster's own: near 1 where
/// the edges coincide at many lags because both lines follow one clock.
pub(super) fn echo(sent: &[i64], far: &[i64], cluster: &Cluster, range: (i64, i64)) -> f64 {
    let reach = range.1.saturating_sub(range.0).saturating_mul(20);
    let (mut wide, _) = differences(sent, far, (-reach, reach));
    let own = within(&wide, cluster.center, cluster.tolerance).len();
    wide.retain(|&d| (d as f64 - cluster.center).abs() > cluster.tolerance);
    if wide.is_empty() || own == 0 {
        return 0.0;
    }
    fullest(&wide, 2.0 * cluster.tolerance).0 as f64 / own as f64
}

/// Sorted differences far − sent within the range, and how many sent edges they are of. Long trains are taken
/// in evenly spread blocks.
fn differences(sent: &[i64], far: &[i64], range: (i64, i64)) -> (Vec<i64>, usize) {
    const BLOCK: usize = 500;
    let blocks = sent.len().div_ceil(BLOCK);
    let step = blocks.div_ceil(SAMPLE / BLOCK).max(1);
    let (mut all, mut used) = (Vec::new(), 0);
    for block in sent.chunks(BLOCK).step_by(step) {
        let mut first = far.partition_point(|&f| f < block[0].saturating_add(range.0));
        for &s in block {
            used += 1;
            while first < far.len() && far[first] < s.saturating_add(range.0) {
                first += 1;
            }
            all.extend(
                far[first..]
                    .iter()
                    .take_while(|&&f| f <= s.saturating_add(range.1))
                    .map(|f| f - s),
            );
        }
        if all.len() > PAIRS {
            break;
        }
    }
    all.sort_unstable();
    (all, used)
}

/// The fullest window of `width` (both ends closed) over sorted differences: its count and its median. Windows
/// nearly as full (97 %) and nearer to zero are preferred: a regular train fits one period later as well.
pub(super) fn fullest(sorted: &[i64], width: f64) -> (usize, f64) {
    let width = width as i64;
    let mut counts = Vec::with_capacity(sorted.len());
    let mut end = 0;
    for (start, &from) in sorted.iter().enumerate() {
        while end < sorted.len() && sorted[end] <= from + width {
            end += 1;
        }
        counts.push(end - start);
    }
    let most = counts.iter().copied().max().unwrap_or(0);
    let enough = (most as f64 * 0.97).ceil() as usize;
    let middle = |start: usize| {
        let n = counts[start];
        0.5 * (sorted[start + (n - 1) / 2] + sorted[start + n / 2]) as f64
    };
    let start = (0..sorted.len())
        .filter(|&i| counts[i] >= enough)
        .min_by(|&a, &b| {
            middle(a)
                .abs()
                .total_cmp(&middle(b).abs())
                .then(counts[b].cmp(&counts[a]))
        })
        .unwrap_or(0);
    (counts[start], middle(start))
}

/// The differences within ± `reach` of `center`.
fn within(sorted: &[i64], center: f64, reach: f64) -> &[i64] {
    let from = sorted.partition_point(|&d| (d as f64) < center - reach);
    let to = sorted.partition_point(|&d| (d as f64) <= center + reach);
    &sorted[from..to]
}

/// Median of sorted values; 0 for none.
pub(super) fn median(sorted: &[f64]) -> f64 {
    match sorted.len() {
        0 => 0.0,
        n => 0.5 * (sorted[(n - 1) / 2] + sorted[n / 2]),
    }
}
