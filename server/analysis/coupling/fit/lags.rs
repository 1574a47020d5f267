//! Lags from a suspect's edges to a victim's strays, and the window among them that tells most.

use super::model::LagWindow;
use crate::analysis::coupling::suspects::able::{Able, gallop};

/// A stray that followed (or nearly preceded) an edge.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pair {
    /// Position among the victim's strays.
    pub stray: usize,
    /// Position among the suspect's edges.
    pub edge: usize,
    /// Stray's start minus edge, in ticks.
    pub lag: i64,
}

/// All pairs with a lag from `lo` to `hi` (both ends closed), by stray. `strays`, `edges`: ascending ticks.
/// Only edges at which the victim was able count. Cost: strays × log of the edges between, pairs × log of rests.
pub fn pairs(strays: &[i64], edges: &[i64], able: &Able, lo: i64, hi: i64) -> Vec<Pair> {
    let mut pairs = Vec::new();
    let mut from = 0;
    for (stray, &time) in strays.iter().enumerate() {
        from += gallop(&edges[from..], |&e| e < time - hi);
        let near = edges[from..].iter().take_while(|&&e| e <= time - lo);
        for (edge, &at) in near.enumerate() {
            if able.at(at) {
                pairs.push(Pair {
                    stray,
                    edge: from + edge,
                    lag: time - at,
                });
            }
        }
    }
    pairs
}

/// Windows worth fitting, best first: `pairs` of one suspect with `count` opportunities, by window; `ln_rate[k]`: ln of
/// the model's present rate at stray k; `unit`: larger of sampling period and tick; `narrowest`: least width.
/// Each comes with a rough gain in ln likelihood. Cost: pairs × widths, after a sort.
pub fn propose(
    pairs: &[Pair],
    ln_rate: &[f64],
    count: impl Fn(&LagWindow) -> f64,
    unit: f64,
    narrowest: f64,
    keep: usize,
) -> Vec<(f64, LagWindow)> {
    let mut sorted: Vec<(i64, f64)> = pairs.iter().map(|p| (p.lag, ln_rate[p.stray])).collect();
    sorted.sort_unstable_by_key(|l| l.0);
    let mut sums = Vec::with_capacity(sorted.len() + 1);
    sums.push(0.0);
    for (i, (_, ln)) in sorted.iter().enumerate() {
        sums.push(sums[i] + ln);
    }
    let Some(reach) = sorted.last().map(|l| (l.0 - sorted[0].0) as f64) else {
        return Vec::new();
    };
    let mut found: Vec<(f64, LagWindow)> = Vec::new();
    let mut width = narrowest.max(2.0 * unit);
    loop {
        // Lags come in steps of a unit, and both ends belong to the window.
        let span = (((width / unit).floor() - 1.0) * unit).round() as i64;
        let mut best: Option<(f64, LagWindow)> = None;
        let mut end = 0;
        for start in 0..sorted.len() {
            if start > 0 && sorted[start].0 == sorted[start - 1].0 {
                continue;
            }
            end = end.max(start);
            while end < sorted.len() && ((sorted[end].0 - sorted[start].0) as f64) < width {
                end += 1;
            }
            let n = (end - start) as f64;
            let window = LagWindow::new(
                sorted[start].0,
                (sorted[start].0 + span).max(sorted[end - 1].0),
                unit,
            );
            let count = count(&window);
            let p = (n / count).min(0.999);
            let height = window.density(sorted[start].0);
            let gain =
                n * (p / (1.0 - p) * height).ln() - (sums[end] - sums[start]) + count * (-p).ln_1p() + n;
            if best.is_none_or(|(g, _)| gain > g) {
                best = Some((gain, window));
            }
        }
        found.extend(best);
        if width > reach {
            break;
        }
        width *= 1.5;
    }
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    found.truncate(keep);
    found
}

/// For each stray, the summed density of the pairs' lags.
pub fn densities(pairs: &[Pair], window: &LagWindow, strays: usize) -> Vec<f64> {
    let mut densities = vec![0.0; strays];
    for pair in pairs {
        densities[pair.stray] += window.density(pair.lag);
    }
    densities
}

/// Counts of lags in bins no finer than the sampling: bin i covers `[start + i·bin, start + (i + 1)·bin)`.
#[derive(Clone, Debug, PartialEq)]
pub struct LagHistogram {
    pub start: f64,
    pub bin: f64,
    pub counts: Vec<u64>,
}

impl LagHistogram {
    /// A histogram of `lags` over `lo..=hi`, with about 24 bins, each a whole number of `unit`s.
    pub fn of(lags: &[i64], lo: i64, hi: i64, unit: f64) -> LagHistogram {
        let unit = unit.max(1.0);
        let bin = unit * ((hi - lo + 1) as f64 / unit / 24.0).ceil().max(1.0);
        let start = (lo as f64 / bin).floor() * bin - if unit > 1.0 { 0.5 * unit } else { 0.0 };
        let bins = ((hi as f64 + 1.0 - start) / bin).ceil().max(1.0) as usize;
        let mut counts = vec![0; bins];
        for &lag in lags {
            let at = ((lag as f64 - start) / bin).floor();
            if at >= 0.0 && (at as usize) < bins {
                counts[at as usize] += 1;
            }
        }
        LagHistogram { start, bin, counts }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::suspects::able::Rest;
    use proptest::prelude::*;

    #[test]
    fn the_window_that_tells_most_holds_the_tight_lags() {
        let pairs: Vec<Pair> = [10, 11, 12, 12, 13, 80, 120]
            .iter()
            .enumerate()
            .map(|(stray, &lag)| Pair {
                stray,
                edge: stray,
                lag,
            })
            .collect();
        let best = propose(&pairs, &[(1e-3f64).ln(); 7], |_| 100.0, 1.0, 4.0, 3)[0].1;
        assert!(best.lo == 10 && best.hi >= 13 && best.hi < 40, "{best:?}");
    }

    proptest! {
        #[test]
        fn pairs_are_what_two_plain_loops_find(
            mut strays in proptest::collection::vec(0i64..400, 0..30),
            mut edges in proptest::collection::vec(0i64..400, 0..60),
            mut bounds in proptest::collection::vec(0i64..400, 0..8),
        ) {
            strays.sort_unstable();
            edges.sort_unstable();
            bounds.sort_unstable();
            bounds.dedup();
            let rests: Vec<Rest> = bounds.as_chunks().0.iter().map(|&[start, end]| Rest { start, end }).collect();
            let able = Able { rests: &rests, slack: 2 };
            let fits = |e: i64| rests.iter().any(|r| r.start + 2 < e && e < r.end - 2);
            let mut plain = Vec::new();
            for (stray, &t) in strays.iter().enumerate() {
                for (edge, &e) in edges.iter().enumerate() {
                    if (-5..=30).contains(&(t - e)) && fits(e) {
                        plain.push(Pair { stray, edge, lag: t - e });
                    }
                }
            }
            prop_assert_eq!(pairs(&strays, &edges, &able, -5, 30), plain);
        }
    }
}
