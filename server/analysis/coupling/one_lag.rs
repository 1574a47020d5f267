//! Strays of two seeming causes that keep one lag: then one line without a probe is the likelier cause.
//!
//! Lines that one clock latches switch at the same instants. Where two of them strike the same victim, each does so
//! after a lag of its own, counted from its own edge, and seen from the clock's edge there are two lags. A single line
//! without a probe that the same clock latches strikes after one lag, whoever else switches at that instant.

use super::able::{self, OwnEdges};
use super::instants::Instants;
use super::select::Victim;
use super::{Coupling, Edge, Occurrence};
use crate::analysis::stats::normal::normal_upper;
use crate::analysis::stats::tails::binomial_upper;
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

/// Whether two of the rows strike at the same instants and after one lag, seen from the one that switches at more of
/// these.
pub fn nested(edges: &[OwnEdges], victim: &Victim, rows: &[Coupling], span: i64) -> bool {
    rows.iter().filter(|row| may_be_latched(row)).any(|outer| {
        let within = |inner: &&Coupling| {
            inner.aggressor != outer.aggressor && inner.opportunities < outer.opportunities
        };
        rows.iter().filter(within).any(|inner| {
            let from_outer = lags_from(edges, outer, inner, span);
            let enough = from_outer.len() as f64 >= FOLLOWS * inner.occurrences.len() as f64;
            let own: Vec<f64> = outer.occurrences.iter().map(|o| o.lag as f64).collect();
            enough && is_one(&from_outer, &own, victim.unit) && strikes_without(edges, outer, inner, span)
        })
    })
}

/// Share of the outer line's strikes that come without the inner one: fewer, and they are that one's stragglers.
const WITHOUT: f64 = 0.7;

fn strikes_without(edges: &[OwnEdges], outer: &Coupling, inner: &Coupling, span: i64) -> bool {
    let times = edge_times(edges, inner);
    let without = |o: &&Occurrence| {
        let near = times[times.partition_point(|&t| t < o.at - span)..].first();
        near.is_none_or(|&t| t > o.at + span)
    };
    let count = outer.occurrences.iter().filter(without).count();
    count as f64 >= WITHOUT * outer.occurrences.len() as f64
}

fn edge_times<'a>(edges: &'a [OwnEdges], row: &Coupling) -> &'a [i64] {
    edges[row.aggressor].of(match row.edge {
        Edge::Fall => Polarity::Fall,
        _ => Polarity::Rise,
    })
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
    let mut explained: Vec<usize> = rows
        .iter()
        .flat_map(|r| &r.occurrences)
        .map(|o| o.stray)
        .collect();
    explained.sort_unstable();
    let opposite = match row.edge {
        Edge::Fall => edges[row.aggressor].of(Polarity::Rise),
        _ => edges[row.aggressor].of(Polarity::Fall),
    };
    let open: Vec<i64> = (0..victim.times.len())
        .filter(|&k| explained.binary_search(&victim.strays[k]).is_err())
        .map(|k| victim.times[k])
        .collect();
    let follows = |t: &&i64| {
        let edge = opposite.get(opposite.partition_point(|&e| e < **t - hi));
        edge.is_some_and(|&e| e <= **t - lo)
    };
    let count = open.iter().filter(follows).count();
    let covered = able::covered(opposite, &victim.opportunities(opposite), lo, hi);
    let chance = (covered / victim.time).min(1.0);
    count >= OPPOSITE_FEWEST && binomial_upper(count as u64, open.len() as u64, chance) <= OPPOSITE_CHANCE
}

/// Lags of `inner`'s strays counted from the outer one's edge within `span` ticks of its own, where there is one.
fn lags_from(edges: &[OwnEdges], outer: &Coupling, inner: &Coupling, span: i64) -> Vec<f64> {
    let times = edge_times(edges, outer);
    let from_outer = |o: &Occurrence| {
        let near = times[times.partition_point(|&t| t < o.at - span)..].first()?;
        (*near <= o.at + span).then_some((o.at - near + o.lag) as f64)
    };
    inner.occurrences.iter().filter_map(from_outer).collect()
}

/// Whether two sets of lags differ by no more than sampling (`unit` ticks) and chance explain: two-sided rank sum test
/// with the normal approximation, ties allowed for (Wilcoxon 1945; Lehmann, *Nonparametrics*, section 1.4).
fn is_one(a: &[f64], b: &[f64], unit: f64) -> bool {
    if a.len() < FEWEST || b.len() < FEWEST {
        return false;
    }
    (middle(a) - middle(b)).abs() <= unit || rank_sum(a, b) >= DIFFER
}

fn middle(values: &[f64]) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    sorted[sorted.len() / 2]
}

/// Two-sided chance of ranks as uneven as these.
fn rank_sum(a: &[f64], b: &[f64]) -> f64 {
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
