//! Do strikes come at one edge after the other, as those of a line that strikes at each anew?

use std::ops::Range;

use crate::analysis::stats::tails::poisson_lower;

/// Chance at or below which strikes keep too much distance to be the accused line's own.
const DISTANCE_CHANCE: f64 = 1e-3;

/// Whether strikes avoid successive opportunities. A line strikes at each edge anew, so some strikes follow each
/// other; a hidden line latched by the accused one can't rise twice in a row. `times`: the accused's edges;
/// `opportunities`: index ranges of these; `struck`: indices of those that struck, ascending; `reach`: how long an edge
/// and its stray last, in ticks.
///
/// Successive pairs among k strikes in random order: M·k(k − 1)/(N(N − 1)) of M successive opportunities are
/// expected; the lower tail is Poisson's.
/// The pairs that there are and those expected, where they do.
pub fn keeps_distance(
    times: &[i64],
    opportunities: &[Range<usize>],
    struck: &[usize],
    reach: i64,
) -> Option<(u64, f64)> {
    let (expected, together) = in_succession(times, opportunities, struck, reach);
    (poisson_lower(together as u64, expected) <= DISTANCE_CHANCE).then_some((together as u64, expected))
}

/// Pairs of successive opportunities that both struck: how many are expected of strikes in random order, and how many
/// there are.
pub fn in_succession(
    times: &[i64],
    opportunities: &[Range<usize>],
    struck: &[usize],
    reach: i64,
) -> (f64, usize) {
    let count: usize = opportunities.iter().map(|r| r.len()).sum();
    let follows = |e: usize| times.get(e + 1).is_some_and(|&t| t - times[e] > 2 * reach);
    let pairs = opportunities
        .iter()
        .flat_map(|r| r.start..r.end.saturating_sub(1))
        .filter(|&e| follows(e))
        .count();
    let (n, k) = (count as f64, struck.len() as f64);
    let expected = pairs as f64 * k * (k - 1.0) / (n * (n - 1.0)).max(1.0);
    let together = struck
        .windows(2)
        .filter(|p| p[1] == p[0] + 1 && follows(p[0]))
        .count();
    (expected, together)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn strikes_that_never_follow_each_other_keep_distance() {
        let times: Vec<i64> = (0..300).map(|i| 1_000 * i).collect();
        let all = std::slice::from_ref(&(0..300));
        // Every fifth opportunity: chance has 12 of 60 strikes follow another.
        let spaced: Vec<usize> = (0..300).step_by(5).collect();
        assert!(keeps_distance(&times, all, &spaced, 100).is_some());
        // As many, in pairs.
        let paired: Vec<usize> = (0..300).filter(|i| i % 10 < 2).collect();
        assert!(keeps_distance(&times, all, &paired, 100).is_none());
        // Edges that come faster than a stray lasts say nothing.
        assert!(keeps_distance(&times, all, &spaced, 600).is_none());
    }
}
