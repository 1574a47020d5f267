//! Strays that the accused lines leave unexplained, but that keep their lag to what else switches.
//!
//! A strobe without a probe takes a bus along, another part of it each time. Where few strays are in hand each line of the bus fits
//! a few of them, and those that fit best stand accused. The others are no strays from elsewhere: they follow other lines of the bus
//! after the very lag of the accused. Strays of a leak come whenever they come.

use crate::analysis::coupling::Coupling;
use crate::analysis::coupling::fit::rows;
use crate::analysis::coupling::fit::select::Victim;
use crate::analysis::coupling::suspects::able::{self, OwnEdges, any_within};
use crate::analysis::stats::tails::binomial_upper;

/// Strays left at least, and as a share of the victim's.
const FEWEST: usize = 5;
const SHARE: f64 = 0.2;
/// Share of them that keep the lag, and the chance at or below which they do so for a reason.
const KEEP: f64 = 0.7;
const CHANCE: f64 = 1e-4;

/// Whether the strays that `rows` leave follow edges of other `lines` after the lags of the accused's strikes, beyond chance (exact
/// cover of their windows). Cost: strays × log of edges for each line; a merge of these where most do.
pub fn keeps_step(edges: &[OwnEdges], victim: &Victim, rows: &[Coupling], lines: &[usize]) -> bool {
    let left: Vec<i64> = rows::unexplained(victim, rows).collect();
    let share = SHARE * victim.times.len() as f64;
    if rows.is_empty() || left.len() < FEWEST || (left.len() as f64) < share {
        return false;
    }
    let lags = || rows.iter().flat_map(|row| &row.occurrences).map(|o| o.lag);
    let (Some(least), Some(most)) = (lags().min(), lags().max()) else {
        return false;
    };
    let unit = victim.unit.ceil() as i64;
    let (lo, hi) = (least - unit, most + unit);
    let others = lines
        .iter()
        .filter(|&&line| rows.iter().all(|row| row.aggressor != line));
    let columns: Vec<&[i64]> = others
        .flat_map(|&line| [&edges[line].rises[..], &edges[line].falls])
        .collect();
    let follows = |times: &[i64], stray: i64| any_within(times, stray - hi, stray - lo);
    let keep = left
        .iter()
        .filter(|&&stray| columns.iter().any(|times| follows(times, stray)));
    let keep = keep.count();
    if (keep as f64) < KEEP * left.len() as f64 {
        return false;
    }
    let mut times: Vec<i64> = columns.concat();
    // The stable sort merges the lines' runs.
    times.sort();
    times.dedup();
    let covered = able::covered(&times, &victim.opportunities(&times), lo, hi) / victim.time;
    binomial_upper(keep as u64, left.len() as u64, covered.min(1.0)) <= CHANCE
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::fixtures;
    use crate::analysis::coupling::suspects::able::Rest;
    use crate::analysis::coupling::{Edge, Occurrence};
    use crate::model::Polarity;

    #[test]
    fn strays_that_follow_other_lines_at_the_accused_s_lag_keep_step() {
        let rises = |line: i64| -> Vec<i64> { (1..60).map(|n| 10_000 * n + 3_000 * line).collect() };
        let own = |rises: Vec<i64>| OwnEdges {
            rises,
            falls: Vec::new(),
        };
        let busy = own((1..170_000).map(|n| 4 * n).collect());
        let edges = [own(rises(0)), own(rises(1)), own(rises(2)), busy];
        let keeps = |others: &dyn Fn(i64) -> i64, lines: &[usize]| {
            let hits: Vec<i64> = edges[0].rises.iter().copied().step_by(4).collect();
            let mut times: Vec<i64> = hits.iter().map(|t| t + 20).collect();
            times.extend((0..12).map(others));
            let rest = Rest {
                start: 0,
                end: 700_000,
            };
            let victim = fixtures::victim(9, times, vec![rest]);
            let occurrences = hits.iter().enumerate().map(|(stray, &at)| Occurrence {
                at,
                polarity: Polarity::Rise,
                stray,
                lag: 20,
            });
            let row = fixtures::row([9, 0], Edge::Rise, 20, occurrences.collect(), 59);
            keeps_step(&edges, &victim, &[row], lines)
        };
        let in_step = |n: i64| 40_000 * (n + 1) + 3_000 * (1 + n % 2) + 20;
        assert!(keeps(&in_step, &[0, 1, 2]));
        let anytime = |n: i64| 40_000 * (n + 1) + 4_000 * (1 + n % 2);
        assert!(!keeps(&anytime, &[0, 1, 2]), "they come at any time");
        // An edge every 4 ticks has windows nearly everywhere: that all of them lie in one says nothing.
        assert!(!keeps(&anytime, &[0, 3]));
    }
}
