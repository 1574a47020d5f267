//! Captured lines that show only a part of what strikes: a gated copy of a line without a probe, or what it toggles.
//!
//! Where the clock of both is captured, the instants tell ([`super::context`], [`super::phase`]). Here the accused lines'
//! own edges do, against the strays that they don't explain and against each other:
//! - **it is left out at times**: the other strays keep as far from its edges as its own edges keep from each other, and
//!   come where one of them would have been due. Strays from elsewhere come near its edges as often as far from them.
//! - **they take turns**: two lines strike alike, after one lag and equally often, and never switch near each other, as
//!   two gated copies of one line do.
//! - **it is toggled**: rises and falls of a line that runs like a divider's output strike alike and towards one level.
//!   What toggles it has an edge of one kind at each of these, and one kind of edge pulls one way.
//!
//! None of these proves that a line is missing; each says that the record leaves it open.

use super::one_lag::is_one;
use super::toggled::{is_divided, is_next_bit};
use crate::analysis::coupling::fit::rows::{self, edges_of};
use crate::analysis::coupling::fit::select::Victim;
use crate::analysis::coupling::suspects::able::{OwnEdges, Rest, nearest, time_near};
use crate::analysis::coupling::{Coupling, Edge};
use crate::analysis::stats::fisher::fisher;
use crate::analysis::stats::normal::normal_upper;
use crate::analysis::stats::tails::binomial_lower;

/// Why a line without a probe may strike through what only shows a part of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ground {
    /// So many strays come without the line, each where one of its edges would be due.
    LeftOut { line: usize, edge: Edge, without: usize },
    /// These lines strike alike and never near each other.
    TakeTurns { lines: [usize; 2], edge: Edge },
    /// The line's rises and falls strike alike and one way, and it runs like a divider's output, or another line is toggled by
    /// one of its edges, as a counter's next bit is.
    Toggled { line: usize, next: Option<usize> },
}

/// What speaks for a line without a probe, if anything. `second`: ticks in a second. Cost: linear in the accused lines' edges and the victim's rests.
pub fn ground(
    edges: &[OwnEdges],
    victim: &Victim,
    rows: &[Coupling],
    lines: &[usize],
    latest: i64,
    second: f64,
) -> Option<Ground> {
    let pairs = || {
        let all = 0..rows.len();
        all.flat_map(|a| (a + 1..rows.len()).map(move |b| (a, b)))
            .map(|(a, b)| (&rows[a], &rows[b]))
    };
    let toggled = pairs()
        .filter(|(a, b)| a.aggressor == b.aggressor)
        .find_map(|(a, b)| {
            let (line, apart) = (a.aggressor, victim.unit + DELAYS_S * second);
            if !alike(a, b, apart, DIFFER_TOGGLED) {
                return None;
            }
            let mut others = lines.iter().copied();
            let next = others.find(|&other| is_next_bit(edges, line, other, latest));
            (next.is_some() || is_divided(&edges[line], victim.unit))
                .then_some(Ground::Toggled { line, next })
        });
    if toggled.is_some() {
        return toggled;
    }
    let turns = pairs().find(|(a, b)| a.aggressor != b.aggressor && take_turns(edges, victim, a, b));
    if let Some((a, b)) = turns {
        return Some(Ground::TakeTurns {
            lines: [a.aggressor, b.aggressor],
            edge: if a.edge == b.edge { a.edge } else { Edge::Both },
        });
    }
    rows.iter().find_map(|row| {
        let without = left_out(edges, victim, rows, row, latest)?;
        Some(Ground::LeftOut {
            line: row.aggressor,
            edge: row.edge,
            without,
        })
    })
}

/// Edges nearer to each other than this share of what (nearly) all successive ones keep are no two of one train.
const NEAR: f64 = 0.9;
/// Share of a line's intervals that may be shorter than what they are said to keep.
const SHORTEST: f64 = 0.02;
/// Share of strays or edges that may stray into such a distance.
const ASTRAY: f64 = 0.03;
/// Chance at or below which strays that keep away from a line's edges do so for a reason.
const CHANCE: f64 = 1e-4;
const LEFT_OUT_CHANCE: f64 = 1e-3;
/// Strays without the accused that say something, and as a share of its strikes.
const FEWEST: usize = 4;
const SHARE: f64 = 0.02;
/// Half of them lie no farther from its edges than so many of its usual intervals: else they belong to another time.
const WITHIN: f64 = 2.0;

/// Where an uneven train doesn't show how many edges are left out, so many strays.
const FEWEST_UNEVEN: usize = 8;
/// Chance at or below which strays at free slots are too few for a line that strikes there as the accused does: this share as often at
/// least, as those near other edges are not counted.
const TOO_FEW: f64 = 1e-2;
const FEWER: f64 = 0.4;
/// A gap longer than so many usual intervals is a pause.
const PAUSE: f64 = 20.0;

/// Slots of an even train that it leaves free: between edges a whole number of its usual intervals apart. None for an uneven one.
fn free_slots(own: &[i64], keeps: f64, usual: f64) -> Option<u64> {
    if keeps < NEAR * usual {
        return None;
    }
    let gaps = own.windows(2).map(|w| (w[1] - w[0]) as f64 / usual);
    Some(
        gaps.filter(|&gap| gap <= PAUSE)
            .map(|gap| gap.round().max(1.0) as u64 - 1)
            .sum(),
    )
}

/// Strays that come without the row's line where one of its edges would be due, if that is no chance.
pub(super) fn left_out(
    edges: &[OwnEdges],
    victim: &Victim,
    rows: &[Coupling],
    row: &Coupling,
    latest: i64,
) -> Option<usize> {
    let either;
    let own: &[i64] = match rows
        .iter()
        .any(|r| r.aggressor == row.aggressor && r.edge != row.edge)
    {
        true => {
            either = edges[row.aggressor].either();
            &either
        }
        false => edges_of(edges, row),
    };
    let (keeps, usual) = intervals(own)?;
    let near = (NEAR * keeps) as i64;
    let lag = row.lag.estimate.round() as i64;
    let mut distances: Vec<i64> = rows::unexplained(victim, rows)
        .map(|time| nearest(own, time - lag))
        // What comes with an edge and was not counted says nothing.
        .filter(|&d| d > latest + victim.guard)
        .collect();
    let count = distances.len();
    if count < FEWEST.max((SHARE * row.occurrences.len() as f64).ceil() as usize) || near <= latest {
        return None;
    }
    distances.sort_unstable();
    let astray = distances.partition_point(|&d| d < near);
    let keeps_away = astray as f64 <= ASTRAY * count as f64;
    let belongs = distances[count / 2] as f64 <= WITHIN * usual;
    let covered = time_near(own, &victim.rests, lag - near, lag + near) / victim.time;
    let chance = binomial_lower(astray as u64, count as u64, covered.min(1.0));
    // A line without a probe would strike wherever an edge is left out as often as it does with one.
    let slots = free_slots(own, keeps, usual);
    let strikes = row.strike_rate.estimate;
    let is_left_out = match slots {
        Some(free) => {
            // The victim could show a stray at as large a share of the free slots as of the edges.
            let able = row.opportunities as f64 / own.len().max(1) as f64;
            let free = ((free as f64 * able.min(1.0)) as u64).max(count as u64);
            chance <= LEFT_OUT_CHANCE && binomial_lower(count as u64, free, FEWER * strikes) > TOO_FEW
        }
        None => {
            count >= FEWEST_UNEVEN && chance <= CHANCE
                || lies_in_holes(&distances, |d| {
                    time_near(own, &victim.rests, lag - d, lag + d) / victim.time
                })
        }
    };
    (keeps_away && belongs && is_left_out).then_some(count)
}

/// Chance at or below which strays lie in holes for a reason: such a train is uneven, and there are many.
const HOLES_CHANCE: f64 = 3e-4;
/// Distances looked at, evenly taken, at most.
const LOOKED_AT: usize = 48;

/// Whether strays lie farther from an uneven train's edges, as a whole, than chance would have it: where one is left out it is about
/// as far to either side as edges are from each other. `distances`: ascending; `covered`: share of the victim's time nearer than
/// that to an edge. By the mean of the ranks, which is a sum of uniform variables where chance rules (its normal limit; the exact
/// tail is smaller).
fn lies_in_holes(distances: &[i64], covered: impl Fn(i64) -> f64) -> bool {
    let looked_at = distances.len().min(LOOKED_AT);
    let ranks = (0..looked_at).map(|at| covered(distances[(2 * at + 1) * distances.len() / (2 * looked_at)]));
    let mean = ranks.sum::<f64>() / looked_at as f64;
    normal_upper((mean - 0.5) * (12.0 * looked_at as f64).sqrt()) <= HOLES_CHANCE
}

/// Rates of two rows are called alike only where they are known to so much: the sum of 1/strikes.
const KNOWN: f64 = 0.08;
/// Rates that differ with a smaller chance than this are two; of a divider's output, whose edges speak for themselves, with
/// a much smaller one.
const DIFFER: f64 = 0.01;
const DIFFER_TOGGLED: f64 = 1e-4;

/// A flip-flop's rises and falls come after delays so different (TTL data books, from memory).
const DELAYS_S: f64 = 15e-9;

/// Whether two rows strike after one lag, to `apart` ticks, and equally often, as far as so many strikes tell.
fn alike(a: &Coupling, b: &Coupling, apart: f64, differ: f64) -> bool {
    let lags = |row: &Coupling| -> Vec<f64> { row.occurrences.iter().map(|o| o.lag as f64).collect() };
    let known = 1.0 / a.strays.max(1) as f64 + 1.0 / b.strays.max(1) as f64 <= KNOWN;
    known
        && is_one(&lags(a), &lags(b), apart)
        && fisher(a.strays, a.opportunities, b.strays, b.opportunities).two_sided() >= differ
}

fn take_turns(edges: &[OwnEdges], victim: &Victim, a: &Coupling, b: &Coupling) -> bool {
    let (first, second) = (edges_of(edges, a), edges_of(edges, b));
    let (Some((keep, _)), Some((other, _))) = (intervals(first), intervals(second)) else {
        return false;
    };
    let near = (NEAR * keep.min(other)) as i64;
    if a.edge != b.edge || near <= 0 || !alike(a, b, victim.unit, DIFFER) {
        return false;
    }
    let astray = second.iter().filter(|&&t| nearest(first, t) < near).count();
    let (Some(start), Some(end)) = (first.first(), first.last()) else {
        return false;
    };
    let during = second.iter().filter(|&&t| (*start..=*end).contains(&t)).count();
    let rest = [Rest {
        start: *start,
        end: *end,
    }];
    let covered = time_near(first, &rest, -near, near) / ((end - start) as f64).max(1.0);
    astray as f64 <= ASTRAY * during as f64
        && binomial_lower(astray as u64, during as u64, covered.min(1.0)) <= CHANCE
}

/// What (nearly) all successive edges keep from each other, and the middle of these, in ticks; none of fewer than three.
fn intervals(times: &[i64]) -> Option<(f64, f64)> {
    let mut between: Vec<i64> = times.windows(2).map(|w| w[1] - w[0]).collect();
    between.sort_unstable();
    let at = |share: f64| {
        between
            .get((between.len() as f64 * share) as usize)
            .map(|&t| t as f64)
    };
    (between.len() > 1).then_some((at(SHORTEST)?, at(0.5)?))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::Occurrence;
    use crate::analysis::coupling::fixtures;

    use crate::model::{Level, Polarity};

    const LAG: i64 = 30;

    /// A row of `aggressor`, whose strikes come at `at`.
    fn row(aggressor: usize, edge: Edge, at: &[i64], opportunities: usize) -> Coupling {
        let polarity = if edge == Edge::Rise {
            Polarity::Rise
        } else {
            Polarity::Fall
        };
        let occurrences: Vec<Occurrence> = at
            .iter()
            .map(|&at| Occurrence {
                at,
                polarity,
                stray: at as usize,
                lag: LAG + at % 3,
            })
            .collect();
        fixtures::row([9, aggressor], edge, LAG, occurrences, opportunities as u64)
    }

    /// A victim struck `LAG` after each of `at`; strays are numbered by that time.
    fn victim(at: &[i64]) -> Victim {
        let rests = vec![Rest {
            start: 0,
            end: 3_000_000,
        }];
        Victim {
            level: Level::Low,
            strays: at.iter().map(|&t| t as usize).collect(),
            guard: 1,
            ..fixtures::victim(9, at.iter().map(|t| t + LAG + t % 3).collect(), rests)
        }
    }

    fn lines(of: &[(&[i64], &[i64])]) -> Vec<OwnEdges> {
        of.iter()
            .map(|(rises, falls)| OwnEdges {
                rises: rises.to_vec(),
                falls: falls.to_vec(),
            })
            .collect()
    }

    /// Falls every 5,000 ticks, somewhat unevenly; every fourth strikes.
    fn train() -> Vec<i64> {
        (1..500).map(|n| 5_000 * n + 37 * n % 400).collect()
    }

    fn every(of: &[i64], step: usize) -> Vec<i64> {
        of.iter().step_by(step).copied().collect()
    }

    #[test]
    fn strays_where_an_edge_was_left_out_are_a_gated_copy_s() {
        let all = train();
        let struck = every(&all, 4);
        let kept: Vec<i64> = all
            .iter()
            .enumerate()
            .filter(|(n, _)| n % 7 != 0)
            .map(|(_, &t)| t)
            .collect();
        let with: Vec<i64> = struck
            .iter()
            .copied()
            .filter(|t| kept.binary_search(t).is_ok())
            .collect();
        let edges = lines(&[(&[], &kept)]);
        let rows = [row(0, Edge::Fall, &with, kept.len())];
        let found = ground(&edges, &victim(&struck), &rows, &[], 120, 1e9);
        let without = struck.len() - with.len();
        let line = Ground::LeftOut {
            line: 0,
            edge: Edge::Fall,
            without,
        };
        assert_eq!(found, Some(line));
        // As many strays from nowhere, over the whole record: some come near the line's edges.
        let mut struck = with.clone();
        struck.extend((0..without as i64).map(|n| 9_000 + 131_371 * n % 2_400_000));
        struck.sort_unstable();
        assert_eq!(ground(&edges, &victim(&struck), &rows, &[], 120, 1e9), None);
        // Or while the line rests: another time, not an edge left out.
        let mut struck = with.clone();
        struck.extend((0..without as i64).map(|n| 2_600_000 + 20_000 * n));
        assert_eq!(ground(&edges, &victim(&struck), &rows, &[], 120, 1e9), None);
    }

    #[test]
    fn strays_in_holes_lie_farther_from_edges_than_chance_has_it() {
        // Ranks of 0.8 and more, seven of them: uniform variables come so high once in 78,000 (0.2 to the seventh).
        let covered = |d: i64| d as f64 / 100.0;
        assert!(lies_in_holes(&[80, 85, 90, 92, 95, 97, 99], covered));
        assert!(!lies_in_holes(&[80, 85, 90, 95], covered), "too few");
        assert!(!lies_in_holes(&[5, 30, 60, 80, 99], covered));
        assert!(!lies_in_holes(&[1, 2, 3, 5, 8], covered));
    }

    /// What is found of an even train with many an edge left out, whose edges strike one in four, and that leaves strays at so many
    /// of its free slots as `strikes` says by their number.
    fn of_a_thinned_train(strikes: impl Fn(usize) -> bool) -> Option<Ground> {
        let all: Vec<i64> = (1..500).map(|n| 5_000 * n).collect();
        let (kept, free): (Vec<i64>, Vec<i64>) = all.iter().partition(|t| *t / 5_000 * 7_919 % 13 < 7);
        let with = every(&kept, 4);
        let without = free
            .iter()
            .enumerate()
            .filter(|(n, _)| strikes(*n))
            .map(|(_, t)| *t);
        let mut struck: Vec<i64> = with.iter().copied().chain(without).collect();
        struck.sort_unstable();
        let rows = [row(0, Edge::Fall, &with, kept.len())];
        ground(&lines(&[(&[], &kept)]), &victim(&struck), &rows, &[], 120, 1e9)
    }

    #[test]
    fn a_line_that_would_strike_at_free_slots_strikes_there_as_often() {
        // 230 free slots, at which such a copy strikes 57 times and not twelve.
        assert!(of_a_thinned_train(|n| n % 4 == 0).is_some());
        assert_eq!(of_a_thinned_train(|n| n % 20 == 7), None);
    }

    #[test]
    fn lines_that_strike_alike_and_never_together_are_one_line_s_copies() {
        let all = train();
        let struck = every(&all, 4);
        let is_first = |n: usize| n * 7_919 % 13 < 7;
        let part = |of: &[i64], first: bool| -> Vec<i64> {
            let place = |t: &i64| all.binary_search(t).unwrap();
            of.iter()
                .copied()
                .filter(|t| is_first(place(t)) == first)
                .collect()
        };
        let (a, b) = (part(&all, true), part(&all, false));
        let edges = lines(&[(&[], &a), (&[], &b)]);
        let of = |line: usize, falls: &[i64], strikes: &[i64]| row(line, Edge::Fall, strikes, falls.len());
        let rows = [of(0, &a, &part(&struck, true)), of(1, &b, &part(&struck, false))];
        let found = ground(&edges, &victim(&struck), &rows, &[], 120, 1e9);
        let lines_named = Ground::TakeTurns {
            lines: [0, 1],
            edge: Edge::Fall,
        };
        assert_eq!(found, Some(lines_named));
        // One strikes far more often than the other: two culprits.
        let often = part(&every(&all, 2), false);
        let rows = [of(0, &a, &part(&struck, true)), of(1, &b, &often)];
        assert_eq!(ground(&edges, &victim(&struck), &rows, &[], 120, 1e9), None);
        // A line that keeps no distance to the other.
        let mut b: Vec<i64> = b.iter().map(|t| t + 131 * (t / 5_000) % 5_000).collect();
        b.sort_unstable();
        b.dedup();
        let edges = lines(&[(&[], &a), (&[], &b)]);
        let strikes = every(&b, 4);
        let rows = [of(0, &a, &part(&struck, true)), of(1, &b, &strikes)];
        let mut all_strikes = [part(&struck, true), strikes].concat();
        all_strikes.sort_unstable();
        assert_eq!(ground(&edges, &victim(&all_strikes), &rows, &[], 120, 1e9), None);
    }

    #[test]
    fn a_divider_s_output_that_strikes_by_either_edge_is_toggled() {
        let all = train();
        // Every fourth of each, so that rises and falls strike alike.
        let struck: Vec<i64> = all
            .iter()
            .enumerate()
            .filter(|(n, _)| n % 8 < 2)
            .map(|(_, &t)| t)
            .collect();
        let of = |from: usize, of: &[i64]| -> Vec<i64> {
            let place = |t: &i64| all.binary_search(t).unwrap();
            of.iter().copied().filter(|t| place(t) % 2 == from).collect()
        };
        let (rises, falls) = (of(0, &all), of(1, &all));
        let edges = lines(&[(&rises, &falls)]);
        let rows = [
            row(0, Edge::Rise, &of(0, &struck), rises.len()),
            row(0, Edge::Fall, &of(1, &struck), falls.len()),
        ];
        let found = ground(&edges, &victim(&struck), &rows, &[], 120, 1e9);
        assert_eq!(found, Some(Ground::Toggled { line: 0, next: None }));
        // A clock's high phase is shorter than its low one: nothing toggles it.
        let early: Vec<i64> = falls.iter().map(|t| t - 2_000).collect();
        let edges = lines(&[(&rises, &early)]);
        let strikes = every(&early, 4);
        let mut all_strikes = [of(0, &struck), strikes.clone()].concat();
        all_strikes.sort_unstable();
        let rows = [
            row(0, Edge::Rise, &of(0, &struck), rises.len()),
            row(0, Edge::Fall, &strikes, early.len()),
        ];
        assert_eq!(ground(&edges, &victim(&all_strikes), &rows, &[], 120, 1e9), None);
    }

    #[test]
    fn a_counter_s_bit_that_runs_unevenly_is_known_by_the_next_one() {
        // Keyed by hand: 2,000 to 10,000 ticks apart.
        let all: Vec<i64> = (1..200)
            .scan(0, |at, n: i64| {
                Some({
                    *at += 2_000 + n * n % 17 * 500;
                    *at
                })
            })
            .collect();
        let (rises, falls) = (every(&all, 2), every(&all[1..], 2));
        let (up, down) = (every(&rises, 4), every(&falls, 4));
        let mut struck = [up.clone(), down.clone()].concat();
        struck.sort_unstable();
        let rows = [
            row(0, Edge::Rise, &up, rises.len()),
            row(0, Edge::Fall, &down, falls.len()),
        ];
        let told = |next: &[i64]| {
            let (of_next, back): (Vec<i64>, Vec<i64>) = (every(next, 2), every(&next[1..], 2));
            let edges = lines(&[(&rises, &falls), (&of_next, &back)]);
            ground(&edges, &victim(&struck), &rows, &[0, 1], 120, 1e9)
        };
        let toggled = |next| {
            Some(Ground::Toggled {
                line: 0,
                next: Some(next),
            })
        };
        let later = |of: &[i64]| -> Vec<i64> { of.iter().map(|t| t + 15).collect() };
        assert_eq!(told(&later(&falls)), toggled(1));
        assert_eq!(told(&later(&all)), None, "a copy switches at both");
        let others: Vec<i64> = falls.iter().map(|t| t + 900).collect();
        assert_eq!(told(&others), None, "nothing of this line's");
    }
}
