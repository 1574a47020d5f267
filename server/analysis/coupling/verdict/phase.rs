//! Strays that come without the accused, at the moment of the machine's step at which it strikes.
//!
//! A captured line may repeat a hidden one only at times (behind an enable, or one of several that a select picks). Its
//! own edges then strike as often as the hidden line's do, and no count clears it. What gives it away are the strays at
//! the hidden line's other edges: seen from a line that both keep step with they come at the accused's own moment, and
//! the accused did not switch. Strays from nowhere keep no step.

use crate::analysis::coupling::Coupling;
use crate::analysis::coupling::fit::copies::{Distances, crowd};
use crate::analysis::coupling::fit::rows;
use crate::analysis::coupling::fit::select::{Reach, Victim};
use crate::analysis::coupling::suspects::able::{self, OwnEdges, any_within};
use crate::analysis::stats::tails::binomial_upper;

/// Strays without the accused that say something, and as a share of its strikes.
const FEWEST: usize = 5;
const SHARE: f64 = 0.12;
/// The same where (nearly) all strays without the accused keep its step, and what that is.
const SHARE_OF_ALL: f64 = 0.04;
const NEARLY_ALL: f64 = 0.9;
/// Share of the accused's strays that must keep the step.
const IN_STEP: f64 = 0.95;
/// Chance, for all lines tried, that strays from nowhere fall into step as these do.
const CHANCE: f64 = 1e-4;

/// Whether strays that no row explains keep the accused's step without it. `lines`: those that may show a step. Cost:
/// strays × log of edges for each line, where there are strays without the accused at all.
pub fn is_kept_without(
    edges: &[OwnEdges],
    victim: &Victim,
    rows: &[Coupling],
    row: &Coupling,
    lines: &[usize],
    reach: &Reach,
    distances: &Distances,
) -> bool {
    let own = &edges[row.aggressor];
    let without = |t: i64| {
        let mut times = [&own.rises, &own.falls].into_iter();
        times.all(|times| !any_within(times, t - reach.hi, t - reach.lo))
    };
    // What comes with an edge of another accused, a little early or late, is that one's.
    let anothers = |t: i64| {
        let others = rows.iter().filter(|other| other.aggressor != row.aggressor);
        others.into_iter().any(|other| {
            let lags = || other.occurrences.iter().map(|o| o.lag);
            let (least, most) = (lags().min().unwrap_or(0), lags().max().unwrap_or(0));
            let times = rows::edges_of(edges, other);
            any_within(times, t - most - distances.steady, t - least + distances.steady)
        })
    };
    let open: Vec<i64> = rows::unexplained(victim, rows)
        .filter(|&t| without(t) && !anothers(t))
        .collect();
    let needed = |share: f64| FEWEST.max((share * row.occurrences.len() as f64).ceil() as usize);
    let (needed, of_all) = (needed(SHARE), needed(SHARE_OF_ALL));
    if open.len() < of_all {
        return false;
    }
    let span = match (victim.rests.first(), victim.rests.last()) {
        (Some(first), Some(last)) => (last.end - first.start) as f64,
        _ => return false,
    };
    let struck: Vec<i64> = row.occurrences.iter().map(|o| o.at + o.lag).collect();
    let lags = row.occurrences.iter().map(|o| o.lag);
    let spread = lags.clone().max().unwrap_or(0) - lags.min().unwrap_or(0);
    let width = spread + 2 * distances.steady;
    let others = lines.iter().filter(|&&l| l != row.aggressor && l != victim.line);
    let tried = 3.0 * lines.len() as f64;
    others.into_iter().any(|&line| {
        let (rises, falls): (&[i64], &[i64]) = (&edges[line].rises, &edges[line].falls);
        [[rises, &[]], [falls, &[]], [rises, falls]]
            .into_iter()
            .any(|of| {
                let Some((lo, hi)) = step(of, &struck, width) else {
                    return false;
                };
                let slack = distances.steady / 2;
                let (lo, hi) = (lo - slack, hi + slack);
                let in_step = open
                    .iter()
                    .filter(|&&t| since(of, t).any(|s| lo <= s && s <= hi))
                    .count();
                let is_all = in_step >= of_all && in_step as f64 >= NEARLY_ALL * open.len() as f64;
                if in_step < needed && !is_all {
                    return false;
                }
                // The step's edge may come while the victim was not able: all of them count, over all of the record.
                let mut times = of.concat();
                // The stable sort merges runs.
                times.sort();
                let covered = able::covered(&times, std::slice::from_ref(&(0..times.len())), lo, hi);
                let chance = (covered / span).min(1.0);
                tried * binomial_upper(in_step as u64, open.len() as u64, chance) <= CHANCE
            })
    })
}

/// Edges of the step before a stray that are looked at: a pulse that one step begins may end after some more.
const BACK: usize = 6;

/// Ticks since the last edges of two lists at or before `time`, the last first.
fn since(of: [&[i64]; 2], time: i64) -> impl Iterator<Item = i64> {
    let before = of.map(|times| {
        let before = times.partition_point(|&e| e <= time);
        &times[before.saturating_sub(BACK)..before]
    });
    let mut last = before.concat();
    last.sort_unstable();
    last.into_iter().rev().take(BACK).map(move |e| time - e)
}

/// How long after one of the last edges of two lists (nearly) all of `struck` come, where that is the same within `width`
/// ticks.
fn step(of: [&[i64]; 2], struck: &[i64], width: i64) -> Option<(i64, i64)> {
    let mut lags: Vec<i64> = struck.iter().flat_map(|&t| since(of, t)).collect();
    lags.sort_unstable();
    let best = crowd(&lags, width);
    let is_step = !best.is_empty() && best.len() as f64 >= IN_STEP * struck.len() as f64;
    is_step.then(|| (lags[best.start], lags[best.end - 1]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_keeps_step_comes_the_same_while_after_the_last_edge() {
        let clock: Vec<i64> = (0..100).map(|n| 1_000 * n).collect();
        let struck: Vec<i64> = (0..40).map(|n| 2_000 * n + 630 + n % 5).collect();
        assert_eq!(step([&clock, &[]], &struck, 10), Some((630, 634)));
        assert_eq!(step([&clock, &[]], &struck, 3), None);
        let anywhere: Vec<i64> = (0..40).map(|n| 2_000 * n + 17 * n).collect();
        assert_eq!(step([&clock, &[]], &anywhere, 10), None);
        // A pulse that lasts longer than an uneven clock's period at times.
        let uneven: Vec<i64> = (0..100).map(|n| 1_000 * n + 37 * (n * n % 23)).collect();
        let late: Vec<i64> = (10..50).map(|n| uneven[2 * n] + 2_630 + n as i64 % 5).collect();
        assert_eq!(step([&uneven, &[]], &late, 10), Some((2_630, 2_634)));
    }
}
