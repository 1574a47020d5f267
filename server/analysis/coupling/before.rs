//! Strays that begin before the edge they would be put down to.
//!
//! A coupled stray comes after its cause. Thresholds let it seem up to some nanoseconds early, and channels of an analyzer
//! that are up to half a sample apart shift it by up to a sample either way; how the edges fall between samples shifts single
//! strays, and not their mean. What comes earlier than that on the mean has another cause: a line without a probe, of whose
//! step the accused edge is a part.

use super::able::OwnEdges;
use super::select::Victim;
use super::{Coupling, EARLIEST_LAG_S, rows};

/// Beyond a sample, strays may seem so early (pulses to 1.5 ns in circuit simulation, and delays of a channel vary).
const EARLY_S: f64 = 4e-9;
/// Fewer strays have no mean to speak of.
const FEWEST: usize = 3;

/// How much later than its stray's start a cause may seem to come on the mean, in ticks. `unit`: a sample, in ticks; `second`: ticks in a
/// second.
pub fn earliest(unit: f64, second: f64) -> f64 {
    (EARLIEST_LAG_S * second).max(unit + EARLY_S * second)
}

/// Whether the strays at the row's edges come before these, on the mean. `second`: ticks in a second. Cost: strays × log of the
/// edges.
pub fn its_cause(edges: &[OwnEdges], victim: &Victim, row: &Coupling, second: f64) -> bool {
    let times = rows::edges_of(edges, row);
    let lags = || row.occurrences.iter().map(|o| o.lag);
    let (Some(least), Some(most)) = (lags().min(), lags().max()) else {
        return false;
    };
    // Those that are too early to be counted are of the same kind.
    let unit = victim.unit.ceil() as i64;
    let (lo, hi) = (least - 2 * unit, most + unit);
    let lag = |&stray: &i64| {
        let next = times.get(times.partition_point(|&t| t < stray - hi))?;
        (*next <= stray - lo).then_some((stray - next) as f64)
    };
    let near: Vec<f64> = victim.times.iter().filter_map(lag).collect();
    let earliest = earliest(victim.unit, second);
    near.len() >= FEWEST && near.iter().sum::<f64>() < -earliest * near.len() as f64
}

#[cfg(test)]
mod tests {
    use super::super::able::Rest;
    use super::super::{Edge, Occurrence, fixtures};
    use super::*;
    use crate::model::Polarity;

    /// Strays `lag(n)` ticks of 10 ns after the n-th rise; those from −2 on are counted.
    fn comes_before(lag: impl Fn(i64) -> i64) -> bool {
        let rises: Vec<i64> = (1..40).map(|n| 1_000 * n).collect();
        let times: Vec<i64> = (0..).zip(&rises).map(|(n, t)| t + lag(n)).collect();
        let counted = (0..).zip(&rises).filter(|(n, _)| lag(*n) >= -2);
        let occurrences = counted.map(|(n, &at)| Occurrence {
            at,
            polarity: Polarity::Rise,
            stray: n as usize,
            lag: lag(n),
        });
        let row = fixtures::row([1, 0], Edge::Rise, 0, occurrences.collect(), 39);
        let rest = Rest {
            start: 0,
            end: 100_000,
        };
        let edges = [OwnEdges {
            rises,
            falls: Vec::new(),
        }];
        its_cause(&edges, &fixtures::victim(1, times, vec![rest]), &row, 1e8)
    }

    #[test]
    fn what_comes_more_than_a_sample_early_on_the_mean_has_another_cause() {
        assert!(!comes_before(|_| -1), "two channels half a sample off");
        assert!(!comes_before(|n| -(n % 2)));
        assert!(comes_before(|_| -2));
        assert!(comes_before(|n| -1 - n % 2));
        assert!(
            comes_before(|n| -2 - n % 2),
            "half of them too early to be counted"
        );
    }
}
