//! Which of the accused's edges strike: what a line induces, it induces at each of its edges, as far as chance goes. Strikes
//! that come only where the line had rested for long, only at long pulses, or only at every third edge are those of
//! something that the line clocks, counts or lets through: a frame signal, a divider, a watchdog without a probe.

use super::clues::{Clue, Count};
use super::trials::{Trial, trials};
use crate::analysis::coupling::Coupling;
use crate::analysis::coupling::fit::rows::edges_of;
use crate::analysis::coupling::fit::select::Victim;
use crate::analysis::coupling::suspects::able::{OwnEdges, last_to};
use crate::analysis::stats::fisher::fisher;
use crate::analysis::stats::tails::binomial_upper;

/// Strikes with which something is concluded, and edges on either side.
const FEWEST_STRIKES: usize = 5;
const FEWEST_EDGES: u64 = 3;
/// Chance, for all that is tried of one row, at or below which which edges strike is no accident.
const CHANCE: f64 = 1e-4;
/// Strikes at the other edges, as a share of those at the edges that strike: (nearly) none.
const STRAGGLE: f64 = 0.1;
/// A rest that is not so many times as long as a stray takes to come and go says nothing: edges so near each other act on it
/// together.
const LONGER: f64 = 8.0;
/// Widest gaps between the lengths of rests that are tried as a bound, and parts of equal count whose bounds are.
const GAPS: usize = 5;
const PARTS: usize = 8;
/// Every second edge up to every so many.
const MOST_STEPS: usize = 16;

/// What shows that only some of the row's edges strike, by their place in the line's own record. `apart`: how long an edge
/// and its stray last, in ticks. Cost: the accused edges × log of them.
pub fn only_some(edges: &[OwnEdges], victim: &Victim, row: &Coupling, apart: f64) -> Option<Clue> {
    let trials = trials(edges, victim, row);
    if trials.iter().filter(|trial| trial.hit).count() < FEWEST_STRIKES {
        return None;
    }
    let of_line = &edges[row.aggressor];
    let either = of_line.either();
    let times = edges_of(edges, row);
    by_rest(row, &trials, &either, LONGER * apart).or_else(|| by_number(row, &trials, times))
}

/// How long the line had rested before each edge, and whether those after long or after short rests strike. How long it rests
/// afterwards is not asked: it may decide whether a stray shows.
fn by_rest(row: &Coupling, trials: &[Trial], either: &[i64], shortest: f64) -> Option<Clue> {
    let rest = |trial: &Trial| Some((trial.time - last_to(either, trial.time - 1)?, trial.hit));
    let rests: Vec<(i64, bool)> = trials.iter().filter_map(rest).collect();
    let says = |bound: i64| {
        let of = |is_long: bool| -> Count {
            let those = rests.iter().filter(|(rest, _)| (*rest >= bound) == is_long);
            those.fold((0, 0), |(all, hits), (_, hit)| (all + 1, hits + u64::from(*hit)))
        };
        let (short, long) = (of(false), of(true));
        Some((chance(short, long)? * (GAPS + PARTS) as f64, bound, short, long))
    };
    let tried = bounds(&rests)
        .into_iter()
        .filter(|&bound| bound as f64 > shortest);
    let (chance, bound, short, long) = tried.filter_map(says).min_by(|a, b| a.0.total_cmp(&b.0))?;
    (chance <= CHANCE).then_some(Clue::Rested {
        line: row.aggressor,
        edge: row.edge,
        bound,
        short,
        long,
    })
}

/// Lengths that part the others: those above the widest gaps (of their logarithms), and those of equal parts.
fn bounds(lengths: &[(i64, bool)]) -> Vec<i64> {
    let mut sorted: Vec<i64> = lengths.iter().map(|l| l.0.max(1)).collect();
    sorted.sort_unstable();
    let mut bounds: Vec<i64> = (1..PARTS)
        .filter_map(|part| sorted.get(sorted.len() * part / PARTS).copied())
        .collect();
    sorted.dedup();
    let mut gaps: Vec<(f64, i64)> = sorted
        .windows(2)
        .map(|pair| (pair[1] as f64 / pair[0] as f64, pair[1]))
        .collect();
    gaps.sort_by(|a, b| b.0.total_cmp(&a.0));
    bounds.extend(gaps.iter().take(GAPS).map(|gap| gap.1));
    bounds.sort_unstable();
    bounds.dedup();
    bounds
}

/// The chance of counts as uneven, where one side (nearly) never strikes.
fn chance(a: Count, b: Count) -> Option<f64> {
    let share = |of: Count| of.1 as f64 / of.0.max(1) as f64;
    let (less, more) = (share(a).min(share(b)), share(a).max(share(b)));
    let says = a.0 >= FEWEST_EDGES && b.0 >= FEWEST_EDGES && less <= STRAGGLE * more;
    says.then(|| fisher(a.1, a.0, b.1, b.0).two_sided())
}

/// Whether the strikes come at one of every so many edges, counted through the record.
fn by_number(row: &Coupling, trials: &[Trial], times: &[i64]) -> Option<Clue> {
    let numbers: Vec<(usize, bool)> = trials
        .iter()
        .filter_map(|trial| Some((times.binary_search(&trial.time).ok()?, trial.hit)))
        .collect();
    let tried: usize = (2..=MOST_STEPS).sum();
    let told = (2..=MOST_STEPS).filter_map(|step| {
        let mut counts = vec![(0u64, 0u64); step];
        for (number, hit) in &numbers {
            let count = &mut counts[number % step];
            *count = (count.0 + 1, count.1 + u64::from(*hit));
        }
        let here = counts.iter().copied().max_by_key(|count| count.1)?;
        let all = counts
            .iter()
            .fold((0, 0), |all, count| (all.0 + count.0, all.1 + count.1));
        let others = (all.0 - here.0, all.1 - here.1);
        chance(others, here)?;
        let chance = binomial_upper(here.1, all.1, here.0 as f64 / all.0 as f64);
        Some((chance * tried as f64, step, here, others))
    });
    // Of several that say so, the one that chance does least.
    let (_, step, here, others) = told
        .filter(|told| told.0 <= CHANCE)
        .min_by(|a, b| a.0.total_cmp(&b.0))?;
    Some(Clue::EveryFew {
        line: row.aggressor,
        edge: row.edge,
        step,
        here,
        others,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::Edge;
    use crate::demo::random::Random;

    fn trials_of(times: &[i64], strikes: impl Fn(usize) -> bool) -> Vec<Trial> {
        let trial = |(n, &time): (usize, &i64)| Trial {
            time,
            hit: strikes(n),
        };
        times.iter().enumerate().map(trial).collect()
    }

    fn row() -> Coupling {
        crate::analysis::coupling::fixtures::row([0, 1], Edge::Rise, 20, Vec::new(), 100)
    }

    /// Rises of a clock in groups of eight, the first of each group 5 000 ticks after the last one's last fall.
    fn groups() -> Vec<i64> {
        (0..400i64).map(|n| 200 * n + 5_000 * (n / 8)).collect()
    }

    fn with_falls(rises: &[i64]) -> Vec<i64> {
        rises.iter().flat_map(|&t| [t, t + 100]).collect()
    }

    #[test]
    fn strikes_after_long_rests_only_are_not_the_clock_s_own() {
        let rises = groups();
        let first = trials_of(&rises, |n| n % 8 == 0 && n % 3 > 0);
        let clue = by_rest(&row(), &first, &with_falls(&rises), 500.0);
        let Some(Clue::Rested { short, long, .. }) = clue else {
            panic!("{clue:?}");
        };
        assert_eq!((short, long.1), ((350, 0), 33));
        // As many at any of them.
        let mut random = Random::new(5);
        let draws: Vec<bool> = rises.iter().map(|_| random.uniform(0.0, 1.0) < 0.08).collect();
        let any = trials_of(&rises, |n| draws[n]);
        assert_eq!(by_rest(&row(), &any, &with_falls(&rises), 500.0), None);
        // Rests no longer than a stray and what follows it say nothing.
        assert_eq!(by_rest(&row(), &first, &with_falls(&rises), 1e5), None);
    }

    #[test]
    fn strikes_at_every_third_edge_are_a_divider_s() {
        let rises: Vec<i64> = (0..300).map(|n| 1_000 * n).collect();
        let third = trials_of(&rises, |n| n % 3 == 1 && n % 7 < 4);
        let clue = by_number(&row(), &third, &rises);
        let Some(Clue::EveryFew { step, others, .. }) = clue else {
            panic!("{clue:?}");
        };
        assert_eq!((step, others), (3, (200, 0)));
        let mut random = Random::new(6);
        let draws: Vec<bool> = rises.iter().map(|_| random.uniform(0.0, 1.0) < 0.2).collect();
        let any = trials_of(&rises, |n| draws[n]);
        assert_eq!(by_number(&row(), &any, &rises), None);
        // Where the victim could show a stray at every third edge only, strikes there say nothing.
        let able: Vec<Trial> = third
            .into_iter()
            .step_by(1)
            .filter(|t| t.time / 1_000 % 3 == 1)
            .collect();
        assert_eq!(by_number(&row(), &able, &rises), None);
    }
}
