//! Strays of two seeming causes that keep one lag: then one line without a probe is the likelier cause.
//!
//! Lines that one clock latches switch at the same instants. Where two of them strike the same victim, each does so
//! after a lag of its own, counted from its own edge, and seen from the clock's edge there are two lags. A single line
//! without a probe that the same clock latches strikes after one lag, whoever else switches at that instant.

use super::succession::in_succession;
use crate::analysis::coupling::fit::rows;
use crate::analysis::coupling::fit::select::Victim;
use crate::analysis::coupling::suspects::able::{self, OwnEdges, any_within, first_from};
use crate::analysis::coupling::suspects::instants::Instants;
use crate::analysis::coupling::{Coupling, Edge, Occurrence};
use crate::analysis::stats::fisher::fisher;
use crate::analysis::stats::normal::normal_upper;
use crate::analysis::stats::tails::{binomial_upper, poisson_lower};
use crate::model::Polarity;

/// Strikes on each side from which on lags are compared.
const FEWEST: usize = 3;
/// Lags that differ with a smaller chance than this are two.
const DIFFER: f64 = 0.02;
/// Share of a line's strikes at instants of the other from which on it follows that one.
const FOLLOWS: f64 = 0.9;

/// A line that one polarity of another latches rises at no more than every second edge of that.
const LATCHED: f64 = 0.5;

fn may_be_latched(row: &Coupling) -> bool {
    row.strike_rate.low < LATCHED
}

/// Whether the strikes of `row` keep one lag whether `other` (a key) switched at their instant or not. False where there
/// are too few on a side to say.
pub fn with_and_without(instants: &Instants, victim: &Victim, row: &Coupling, other: usize) -> bool {
    if !may_be_latched(row) {
        return false;
    }
    let switched = |o: &&Occurrence| {
        let home = instants.begun_by(o.at);
        home.is_some_and(|i| instants.who(i).binary_search(&(other as u32)).is_ok())
    };
    let (with, without): (Vec<&Occurrence>, Vec<&Occurrence>) = row.occurrences.iter().partition(switched);
    let lags = |of: &[&Occurrence]| -> Vec<f64> { of.iter().map(|o| o.lag as f64).collect() };
    is_one(&lags(&with), &lags(&without), victim.unit)
}

/// Two lines, the one that switches at more of the instants first, whose rows strike at the same instants and after one lag, seen
/// from that one.
pub fn nested(edges: &[OwnEdges], victim: &Victim, rows: &[Coupling], span: i64) -> Option<[usize; 2]> {
    rows.iter().filter(|row| may_be_latched(row)).find_map(|outer| {
        // What switches along with a hidden line is followed by strays more often than the clock of both.
        let within = |inner: &&Coupling| {
            inner.aggressor != outer.aggressor
                && inner.opportunities < outer.opportunities
                && inner.strike_rate.estimate >= outer.strike_rate.estimate
        };
        let mut inner = rows.iter().filter(within);
        let inner = inner.find(|inner| {
            let from_outer = lags_from(edges, outer, inner, span);
            let enough = from_outer.len() as f64 >= FOLLOWS * inner.occurrences.len() as f64;
            let own: Vec<f64> = outer.occurrences.iter().map(|o| o.lag as f64).collect();
            enough && is_one(&from_outer, &own, victim.unit) && strikes_without(edges, outer, inner, span)
        })?;
        Some([outer.aggressor, inner.aggressor])
    })
}

/// A row with so small a part of another's strike rate, always at that one's edges, is its stragglers.
const STRAGGLERS: f64 = 0.15;

/// Chance at or below which a row's line strikes more seldom without another's edges than with them.
const NEVER_ALONE: f64 = 1e-2;

/// Whether the strays of `row` are another row's: they come at that line's edges as well, which strikes far more often, or the
/// row's line hardly strikes without that one.
pub fn is_straggler(
    edges: &[OwnEdges],
    victim: &Victim,
    rows: &[Coupling],
    row: &Coupling,
    span: i64,
) -> bool {
    let strays = row.occurrences.len() as f64;
    rows.iter()
        .filter(|other| other.aggressor != row.aggressor)
        .any(|other| {
            let seldom = row.strike_rate.estimate < STRAGGLERS * other.strike_rate.estimate;
            lags_from(edges, other, row, span).len() as f64 >= FOLLOWS * strays
                && (seldom
                    || row.strays < other.strays && hardly_strikes_alone(edges, victim, row, other, span))
        })
}

/// Whether the row's edges strike more seldom, beyond chance, without an edge of the other row's line within `span` ticks.
fn hardly_strikes_alone(
    edges: &[OwnEdges],
    victim: &Victim,
    row: &Coupling,
    other: &Coupling,
    span: i64,
) -> bool {
    let (times, others) = (rows::edges_of(edges, row), rows::edges_of(edges, other));
    let is_beside = |time: i64| any_within(others, time - span, time + span);
    let able = victim.opportunities_apart(times, row.lag.estimate.round() as i64);
    let (mut with, mut alone) = (0u64, 0u64);
    for &time in able.iter().flat_map(|range| &times[range.clone()]) {
        match is_beside(time) {
            true => with += 1,
            false => alone += 1,
        }
    }
    let struck = |beside: bool| {
        row.occurrences
            .iter()
            .filter(|o| is_beside(o.at) == beside)
            .count() as u64
    };
    let (struck_with, struck_alone) = (struck(true), struck(false));
    fisher(
        struck_with,
        with.max(struck_with),
        struck_alone,
        alone.max(struck_alone),
    )
    .greater()
        <= NEVER_ALONE
}

/// Share of the outer line's strikes that come without the inner one: fewer, and they are that one's stragglers.
const WITHOUT: f64 = 0.7;

fn strikes_without(edges: &[OwnEdges], outer: &Coupling, inner: &Coupling, span: i64) -> bool {
    let times = rows::edges_of(edges, inner);
    let without = |o: &&Occurrence| !any_within(times, o.at - span, o.at + span);
    let count = outer.occurrences.iter().filter(without).count();
    count as f64 >= WITHOUT * outer.occurrences.len() as f64
}

/// Chance at or below which strays after the accused's opposite edges are not put down to chance, and how many there
/// are at least.
const OPPOSITE_CHANCE: f64 = 1e-3;
const OPPOSITE_FEWEST: usize = 2;

/// Whether strays that no row explains follow the opposite edges of the accused after the very lag of its strikes. An
/// edge and its opposite pull opposite ways; a line that switches along with a hidden one does so by either.
pub fn opposite_edges_too(edges: &[OwnEdges], victim: &Victim, rows: &[Coupling], row: &Coupling) -> bool {
    let lags = row.occurrences.iter().map(|o| o.lag);
    let (Some(lo), Some(hi)) = (lags.clone().min(), lags.max()) else {
        return false;
    };
    let slack = victim.unit.floor() as i64;
    let (lo, hi) = (lo - slack, hi + slack);
    let opposite = match row.edge {
        Edge::Fall => edges[row.aggressor].of(Polarity::Rise),
        _ => edges[row.aggressor].of(Polarity::Fall),
    };
    let open = rows::unexplained(victim, rows);
    let open: Vec<i64> = open
        .filter(|&t| !is_near_strikes(edges, victim, rows, t))
        .collect();
    let follows = |&&t: &&i64| any_within(opposite, t - hi, t - lo);
    let count = open.iter().filter(follows).count();
    let covered = able::covered(opposite, &victim.opportunities(opposite), lo, hi);
    let chance = (covered / victim.time).min(1.0);
    count >= OPPOSITE_FEWEST && binomial_upper(count as u64, open.len() as u64, chance) <= OPPOSITE_CHANCE
}

/// Whether a stray follows an edge that strikes nearly as its strikes do: it is late or early, and no other cause's.
fn is_near_strikes(edges: &[OwnEdges], victim: &Victim, rows: &[Coupling], stray: i64) -> bool {
    rows.iter().any(|row| {
        let lags = || row.occurrences.iter().map(|o| o.lag);
        let (Some(lo), Some(hi)) = (lags().min(), lags().max()) else {
            return false;
        };
        let slack = (hi - lo).max(victim.unit.ceil() as i64);
        let times = rows::edges_of(edges, row);
        any_within(times, stray - hi - slack, stray - lo + slack)
    })
}

/// Share of a victim's strays that one line's edges, rises and falls, must explain to be taken for their cause alone.
const ALL: f64 = 0.93;
/// Chance at or below which fewer strikes follow each other than those of one line do.
const FEWER: f64 = 0.05;
/// Chance at or below which rises and falls strike with two probabilities.
const TWO_RATES: f64 = 0.01;

/// The line whose rises and falls both strike towards one level, where nothing needs a line without a probe: its edges
/// explain (nearly) all strays, and rises and falls strike with probabilities of their own, or else strikes follow each
/// other no more seldom than chance has it (something that these edges latch can't rise twice in a row).
pub fn by_either_edge(edges: &[OwnEdges], victim: &Victim, rows: &[Coupling]) -> Option<usize> {
    // Of twins either may stand in a row, with the other beside it.
    let is_of = |row: &Coupling, line: usize| row.aggressor == line || row.inseparable_from.contains(&line);
    let first = rows
        .iter()
        .find(|one| rows.iter().all(|row| is_of(row, one.aggressor)))?;
    let times = edges[first.aggressor].either();
    let slack = victim.unit.floor() as i64;
    let lags = || rows.iter().flat_map(|row| &row.occurrences).map(|o| o.lag);
    let (lo, hi) = (lags().min()? - slack, lags().max()? + slack);
    let edge_of = |stray: &i64| {
        let at = times.partition_point(|&t| t < stray - hi);
        times.get(at).is_some_and(|&t| t <= stray - lo).then_some(at)
    };
    let mut struck: Vec<usize> = victim.times.iter().filter_map(edge_of).collect();
    if (struck.len() as f64) < ALL * victim.times.len() as f64 {
        return None;
    }
    struck.dedup();
    let rises = &edges[first.aggressor].rises;
    let is_rise = |at: &usize| rises.binary_search(&times[*at]).is_ok();
    let able = victim.opportunities(&times);
    // Strikes and opportunities of the rises, then of the falls.
    let mut counts = [(0u64, 0u64); 2];
    let rising = struck.iter().filter(|at| is_rise(at)).count() as u64;
    counts[0].0 = rising;
    counts[1].0 = struck.len() as u64 - rising;
    for at in able.iter().flat_map(|range| range.clone()) {
        counts[usize::from(!is_rise(&at))].1 += 1;
    }
    if counts
        .iter()
        .any(|(strikes, _)| *strikes < OPPOSITE_FEWEST as u64)
    {
        return None;
    }
    let [(a, of_a), (b, of_b)] = counts.map(|(strikes, of)| (strikes, of.max(strikes)));
    let differ = fisher(a, of_a, b, of_b).two_sided() <= TWO_RATES;
    let reach = hi + victim.guard;
    let (expected, together) = in_succession(&times, &able, &struck, reach);
    let follow = poisson_lower(together as u64, expected) > FEWER;
    let often = rows.len() > 1 && rows.iter().all(|row| row.strike_rate.low > LATCHED);
    (differ || follow || often).then_some(first.aggressor)
}

/// Lags of `inner`'s strays counted from the outer one's edge within `span` ticks of its own, where there is one.
fn lags_from(edges: &[OwnEdges], outer: &Coupling, inner: &Coupling, span: i64) -> Vec<f64> {
    let times = rows::edges_of(edges, outer);
    let from_outer = |o: &Occurrence| {
        let near = first_from(times, o.at - span)?;
        (near <= o.at + span).then_some((o.at - near + o.lag) as f64)
    };
    inner.occurrences.iter().filter_map(from_outer).collect()
}

/// Whether two sets of lags differ by no more than sampling (`unit` ticks) and chance explain: two-sided rank sum test
/// with the normal approximation, ties allowed for (Wilcoxon 1945; Lehmann, *Nonparametrics*, section 1.4).
pub fn is_one(a: &[f64], b: &[f64], unit: f64) -> bool {
    if a.len() < FEWEST || b.len() < FEWEST {
        return false;
    }
    (middle(a) - middle(b)).abs() <= unit || rank_sum(a, b) >= DIFFER
}

/// The upper of the middle values; `values` must not be empty.
pub fn middle(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    sorted[sorted.len() / 2]
}

/// Two-sided chance of ranks as uneven as these (rank sum test, as in [`is_one`]); neither side may be empty.
pub fn rank_sum(a: &[f64], b: &[f64]) -> f64 {
    let mut all: Vec<(f64, bool)> = a
        .iter()
        .map(|&v| (v, true))
        .chain(b.iter().map(|&v| (v, false)))
        .collect();
    all.sort_unstable_by(|x, y| x.0.total_cmp(&y.0));
    let (m, n) = (a.len() as f64, b.len() as f64);
    let total = m + n;
    let (mut sum, mut ties, mut from) = (0.0, 0.0, 0);
    for group in all.chunk_by(|x, y| x.0 == y.0) {
        let size = group.len() as f64;
        let rank = from as f64 + (size + 1.0) / 2.0;
        sum += rank * group.iter().filter(|v| v.1).count() as f64;
        ties += size * size * size - size;
        from += group.len();
    }
    let spread = m * n / 12.0 * (total + 1.0 - ties / (total * (total - 1.0)));
    if spread <= 0.0 {
        return 1.0;
    }
    let z = (sum - m * (total + 1.0) / 2.0).abs() / spread.sqrt();
    (2.0 * normal_upper(z)).min(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::able::Rest;
    use crate::analysis::coupling::fixtures;

    #[test]
    fn rank_sums_are_scipy_s() {
        // SciPy 1.17.1: mannwhitneyu(a, b, use_continuity=False, method="asymptotic").
        let chance = rank_sum(
            &[10.0, 11.0, 11.0, 12.0, 13.0],
            &[11.0, 14.0, 15.0, 15.0, 16.0, 18.0],
        );
        assert!(
            (chance / 0.026_676_487_929_357_96 - 1.0).abs() < 1e-10,
            "{chance}"
        );
        let chance = rank_sum(&[5.0, 5.0, 6.0, 6.0, 7.0, 7.0], &[5.0, 6.0, 8.0, 8.0]);
        assert!(
            (chance / 0.378_922_862_869_269_13 - 1.0).abs() < 1e-10,
            "{chance}"
        );
        assert_eq!(rank_sum(&[3.0, 3.0], &[3.0]), 1.0);
    }

    /// A row of `aggressor`: `lag` after each of `at`, of so many opportunities.
    fn row(aggressor: usize, at: &[i64], lag: i64, opportunities: u64) -> Coupling {
        let occurrences: Vec<Occurrence> = at
            .iter()
            .map(|&at| Occurrence {
                at,
                polarity: Polarity::Rise,
                stray: (at / 1_000) as usize,
                lag: lag + at / 1_000 % 3,
            })
            .collect();
        fixtures::row([9, aggressor], Edge::Rise, lag, occurrences, opportunities)
    }

    fn victim(times: Vec<i64>) -> Victim {
        Victim {
            strays: times.iter().map(|t| (t / 1_000) as usize).collect(),
            ..fixtures::victim(
                9,
                times,
                vec![Rest {
                    start: 0,
                    end: 1_000_000,
                }],
            )
        }
    }

    /// A clock rises every 1,000 ticks, a latched line 20 later at every fourth of these.
    fn clocked() -> Vec<OwnEdges> {
        let clock = (1..400).map(|n| 1_000 * n).collect();
        let latched = (1..100).map(|n| 4_000 * n + 20).collect();
        [clock, latched]
            .map(|rises| OwnEdges {
                rises,
                falls: Vec::new(),
            })
            .into()
    }

    #[test]
    fn late_strikes_are_no_strays_of_the_opposite_edges() {
        // A counter falls 18 after every second rise of its clock, and strikes 11 later; the clock strikes by its falls.
        let rises: Vec<i64> = (1..400).map(|n| 2_000 * n).collect();
        let falls: Vec<i64> = rises.iter().map(|t| t + 1_000).collect();
        let bits: Vec<i64> = (1..200).map(|n| 4_000 * n + 18).collect();
        let of = |rises: &[i64], falls: &[i64]| OwnEdges {
            rises: rises.to_vec(),
            falls: falls.to_vec(),
        };
        let edges = [of(&rises, &falls), of(&[], &bits)];
        let by_falls: Vec<i64> = falls.iter().copied().step_by(3).collect();
        let clock = Coupling {
            edge: Edge::Fall,
            ..row(0, &by_falls, 29, 399)
        };
        let by_bits: Vec<i64> = bits.iter().copied().step_by(3).collect();
        let bit = Coupling {
            edge: Edge::Fall,
            ..row(1, &by_bits, 10, 199)
        };
        let late = [4_000 * 5 + 30, 4_000 * 8 + 30, 4_000 * 11 + 30];
        let victim = victim(late.to_vec());
        let alone = std::slice::from_ref(&clock);
        assert!(opposite_edges_too(&edges, &victim, alone, &clock));
        let rows = [clock.clone(), bit];
        assert!(!opposite_edges_too(&edges, &victim, &rows, &clock));
    }

    #[test]
    fn a_latched_line_and_its_clock_that_strike_after_one_lag_are_one_hidden_line() {
        let edges = clocked();
        let latched: Vec<i64> = (1..40).map(|n| 8_000 * n + 20).collect();
        let clock: Vec<i64> = (1..40).map(|n| 8_000 * n + 2_000).collect();
        let of_clock = row(0, &clock, 45, 300);
        let victim = victim(Vec::new());
        let nested = |rows: &[Coupling]| nested(&edges, &victim, rows, 40);
        assert_eq!(
            nested(&[row(1, &latched, 25, 99), of_clock.clone()]),
            Some([0, 1])
        );
        // Lags of their own are two causes.
        assert_eq!(nested(&[row(1, &latched, 11, 99), of_clock.clone()]), None);
        // What comes with the latched line only is its own stragglers.
        let along = row(0, &[8_000, 16_000, 24_000], 45, 300);
        assert_eq!(nested(&[row(1, &latched, 25, 99), along]), None);
        // A clock that strikes at three of four edges is no clock of what strikes.
        let often: Vec<i64> = (1..300).map(|n| 1_000 * n).collect();
        assert_eq!(nested(&[row(1, &latched, 25, 99), row(0, &often, 45, 310)]), None);
    }

    #[test]
    fn strays_that_follow_the_opposite_edges_after_the_same_lag_are_a_doubt() {
        let mut edges = clocked();
        edges[1].falls = (1..100).map(|n| 4_000 * n + 2_020).collect();
        let at: Vec<i64> = (1..20).map(|n| 4_000 * n + 20).collect();
        let row = row(1, &at, 12, 99);
        let after_falls = victim(vec![42_033, 46_032, 70_033]);
        assert!(opposite_edges_too(&edges, &after_falls, &[], &row));
        let anywhere = victim(vec![42_533, 47_032, 71_033]);
        assert!(!opposite_edges_too(&edges, &anywhere, &[], &row));
    }

    #[test]
    fn both_edges_of_one_line_strike_one_way_unless_strikes_avoid_each_other() {
        let own = OwnEdges {
            rises: (1..200).map(|n| 2_000 * n).collect(),
            falls: (1..200).map(|n| 2_000 * n + 1_000).collect(),
        };
        let by = |rises: &[i64], falls: &[i64], nobodys: usize| {
            let falling = Coupling {
                edge: Edge::Fall,
                ..row(0, falls, 20, 199)
            };
            let mut times: Vec<i64> = rises.iter().chain(falls).map(|t| t + 20).collect();
            times.extend((0..nobodys as i64).map(|n| 6_500 + 10_000 * n));
            times.sort_unstable();
            let rows = [row(0, rises, 20, 199), falling];
            by_either_edge(std::slice::from_ref(&own), &victim(times), &rows)
        };
        // Two after each other, then a rest.
        let rises: Vec<i64> = (1..20).map(|n| 20_000 * n).collect();
        let falls: Vec<i64> = rises.iter().map(|t| t + 1_000).collect();
        assert_eq!(by(&rises, &falls, 0), Some(0));
        // As a line does that the edges latch: it can't rise twice in a row. Many strikes, none after another.
        let spaced: Vec<i64> = (1..60).map(|n| 6_000 * n).collect();
        let apart: Vec<i64> = spaced.iter().map(|t| t + 3_000).collect();
        assert_eq!(by(&spaced, &apart, 0), None);
        // Each kind of edge strikes with a probability of its own: nothing latched does.
        assert_eq!(by(&spaced, &apart[..15], 0), Some(0));
        // A fifth of the strays are nobody's.
        assert_eq!(by(&rises, &falls, 9), None);
    }

    #[test]
    fn a_row_that_never_strikes_without_a_stronger_one_is_its_straggler() {
        let strong: Vec<i64> = (1..200).map(|n| 4_000 * n).collect();
        // Every second edge of the weak one comes along with the strong one, 10 after it.
        let weak: Vec<i64> = (1..200)
            .map(|n| 4_000 * n + if n % 2 == 0 { 10 } else { 2_000 })
            .collect();
        let own = |rises: &[i64]| OwnEdges {
            rises: rises.to_vec(),
            falls: Vec::new(),
        };
        let edges = [own(&strong), own(&weak)];
        let hits: Vec<i64> = strong.iter().copied().filter(|t| t / 4_000 % 5 < 3).collect();
        let is_dropped = |at: Vec<i64>| {
            let rows = [row(0, &hits, 20, 199), row(1, &at, 30, 199)];
            is_straggler(&edges, &victim(Vec::new()), &rows, &rows[1], 40)
        };
        let along: Vec<i64> = weak.iter().copied().filter(|t| t % 40_000 == 10).collect();
        assert!(is_dropped(along.clone()));
        // One in five without the other as well: it strikes by itself.
        let alone = weak.iter().copied().filter(|t| t % 40_000 == 6_000);
        assert!(!is_dropped(along.into_iter().chain(alone).collect()));
    }

    #[test]
    fn too_few_edges_alone_make_no_straggler() {
        let strong: Vec<i64> = (1..200).map(|n| 4_000 * n).collect();
        // All but eight of its edges come along with the strong one's, and one in five of these strikes.
        let weak: Vec<i64> = (1..200)
            .map(|n| 4_000 * n + if n % 25 == 24 { 2_000 } else { 10 })
            .collect();
        let own = |rises: &[i64]| OwnEdges {
            rises: rises.to_vec(),
            falls: Vec::new(),
        };
        let hits: Vec<i64> = strong.iter().copied().filter(|t| t / 4_000 % 5 < 3).collect();
        let along: Vec<i64> = weak.iter().copied().filter(|t| t % 20_000 == 10).collect();
        let rows = [row(0, &hits, 20, 199), row(1, &along, 30, 199)];
        let edges = [own(&strong), own(&weak)];
        assert!(!is_straggler(&edges, &victim(Vec::new()), &rows, &rows[1], 40));
    }
}
