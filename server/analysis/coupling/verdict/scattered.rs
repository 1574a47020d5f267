//! Lags that scatter by more than an edge lasts.
//!
//! What an edge induces begins as that edge crosses what the victim's threshold lets through: at nearly one lag, whatever else
//! the machine does. Strays of a hidden line that switches about when the accused does come at any lag.

use super::clues::Clue;
use crate::analysis::coupling::Coupling;

/// Lags that say something.
const FEWEST: usize = 12;
/// The share of the lags whose narrowest stretch is looked at: fewer than half, so that a stray and its echo, at a lag each,
/// are no scatter.
const SHARE: f64 = 0.45;
/// That stretch, beyond half a sample: most of an edge of 20 ns (common practice, no source).
const WIDEST_S: f64 = 14e-9;

/// Whether the lags of `row`, of one level and polarity, scatter. `unit`: a sample, in ticks; `second`: ticks in a second. Cost: a sort
/// of the strikes.
pub fn of(row: &Coupling, unit: f64, second: f64) -> Option<Clue> {
    let mut lags: Vec<i64> = row.occurrences.iter().map(|o| o.lag).collect();
    lags.sort_unstable();
    let count = (SHARE * lags.len() as f64).ceil() as usize;
    if lags.len() < FEWEST {
        return None;
    }
    let narrowest = lags.windows(count).map(|some| some[count - 1] - some[0]).min()?;
    (narrowest as f64 > WIDEST_S * second + 0.5 * unit).then(|| Clue::Scattered {
        line: row.aggressor,
        edge: row.edge,
        least: lags[0],
        most: lags[lags.len() - 1],
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::{Edge, Occurrence, fixtures};
    use crate::model::Polarity;

    /// Strikes at these lags in nanoseconds, known to 2 ns.
    fn scatters(lag: impl Fn(i64) -> i64) -> bool {
        let strike = |n: i64| Occurrence {
            at: 5_000 * n,
            polarity: Polarity::Rise,
            stray: n as usize,
            lag: lag(n),
        };
        let row = fixtures::row([1, 0], Edge::Rise, 20, (0..60).map(strike).collect(), 100);
        of(&row, 2.0, 1e9).is_some()
    }

    #[test]
    fn lags_wider_than_an_edge_are_no_coupling_s() {
        assert!(scatters(|n| n % 20 * 3), "anywhere in 60 ns");
        assert!(!scatters(|n| 10 + n % 20), "within an edge of 20 ns");
        assert!(!scatters(|n| n % 2 * 70 + n % 5), "a stray and its echo");
    }
}
