//! Lags that drift: each stray's nearly that of the one before, though all together they spread.
//!
//! What an edge induces keeps its lag, within jitter that knows nothing of the stray before. A hidden line with a clock of its own that
//! runs nearly in step with the accused meets it later and later, or earlier and earlier.

use crate::analysis::coupling::Coupling;
use crate::analysis::coupling::fit::select::Victim;

/// Fewer strays show no drift.
const FEWEST: usize = 12;
/// Lags that spread over no more samples, and no longer than this, may be what sampling does: a sampling clock drifts as well.
const SAMPLES: f64 = 2.5;
const SPREAD_S: f64 = 8e-9;
/// Standard deviations by which successive lags are nearer to each other than those of strays in random order.
const DEVIATIONS: f64 = 4.0;

/// Whether the lags of a row's strays drift. `misplaced`: how far edges of another capture may lie
/// beside, in ticks, and differently as two sampling clocks pass each other; `second`: ticks in a second. Cost: sorting the strikes.
///
/// # Formula
/// The mean square of successive differences over the variance, V, is near 2 for values in random order, with a variance of about
/// 4(n − 2)/(n² − 1).
///
/// # Source
/// von Neumann, The Annals of Mathematical Statistics 12 (1941), 367–395.
pub fn drifts(victim: &Victim, row: &Coupling, misplaced: f64, second: f64) -> bool {
    let mut strikes: Vec<(i64, i64)> = row.occurrences.iter().map(|o| (o.at, o.lag)).collect();
    strikes.sort_unstable();
    let lags: Vec<f64> = strikes.iter().map(|strike| strike.1 as f64).collect();
    let n = lags.len() as f64;
    let least = lags.iter().copied().fold(f64::INFINITY, f64::min);
    let most = lags.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if lags.len() < FEWEST || most - least <= SAMPLES * victim.unit + SPREAD_S * second + misplaced {
        return false;
    }
    let mean = lags.iter().sum::<f64>() / n;
    let variance = lags.iter().map(|lag| (lag - mean).powi(2)).sum::<f64>() / n;
    let squares = lags
        .windows(2)
        .map(|pair| (pair[1] - pair[0]).powi(2))
        .sum::<f64>()
        / (n - 1.0);
    let deviation = (4.0 * (n - 2.0) / (n * n - 1.0)).sqrt();
    squares / variance < 2.0 - DEVIATIONS * deviation
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::fixtures;
    use crate::analysis::coupling::suspects::able::Rest;
    use crate::analysis::coupling::{Edge, Occurrence};
    use crate::model::Polarity;

    fn drifting(lag: impl Fn(i64) -> i64) -> bool {
        drifting_beside(0.0, lag)
    }

    /// The same where edges may lie so much beside.
    fn drifting_beside(misplaced: f64, lag: impl Fn(i64) -> i64) -> bool {
        let occurrences = (0..40).map(|n| Occurrence {
            stray: n as usize,
            at: 10_000 * n,
            polarity: Polarity::Rise,
            lag: lag(n),
        });
        let rest = Rest {
            start: 0,
            end: 500_000,
        };
        let victim = fixtures::victim(0, (0..40).map(|n| 10_000 * n + lag(n)).collect(), vec![rest]);
        let row = fixtures::row([0, 1], Edge::Rise, 20, occurrences.collect(), 300);
        drifts(&victim, &row, misplaced, 1e9)
    }

    #[test]
    fn lags_that_go_on_from_one_another_drift_and_those_in_no_order_don_t() {
        assert!(drifting(|n| 20 + n));
        assert!(drifting(|n| 20 + n % 20));
        assert!(!drifting(|n| 20 + n * 7_919 % 41));
        assert!(
            !drifting(|n| 20 + n / 8),
            "within what sampling and thresholds do"
        );
        let as_clocks_pass = |n| 20 + n % 20;
        assert!(
            !drifting_beside(14.0, as_clocks_pass),
            "within the samples of two instruments"
        );
    }
}
