//! Strays that come as long after the accused's edges as the victim's own edges do: the accused is an input of the part that
//! drives the victim.
//!
//! A gate that switches for good some time after its input does so puts out a short pulse after the same time where another of its
//! inputs follows (a race). Where that other input carries no clip, levels tell nothing ([`super::hazard`]), and lifting the accused's
//! wire stops the pulses as it would stop what is induced. What tells a gate from a register, or from a line of the same step,
//! is that its own edges go one way with the accused's rises and the other way with its falls.

use super::races::Sign;
use crate::analysis::coupling::fit::rows::edges_of;
use crate::analysis::coupling::fit::select::Victim;
use crate::analysis::coupling::suspects::able::{OwnEdges, any_within};
use crate::analysis::coupling::{Coupling, Edge};
use crate::analysis::stats::tails::binomial_upper;
use crate::model::{Level, Polarity};

/// Own edges that come so, at least, each way; and as a share of all.
const FEWEST: u64 = 5;
const SHARE: f64 = 0.15;
/// Share of those at this distance that go the way a gate's do.
const ONE_WAY: f64 = 0.95;
/// A gate's rise and fall come after times so different, at most (TTL data books, from memory).
const DELAYS_S: f64 = 10e-9;
/// Edges of one step come this near to each other, whatever sets each off: a counter's bits and what is latched beside it.
const STEP_S: f64 = 30e-9;
/// Chance at or below which own edges of the same step, which go either way, don't all go one way.
const CHANCE_WAY: f64 = 1e-5;
/// Chance at or below which own edges at this distance are none.
const CHANCE: f64 = 1e-6;

/// How many of the victim's own edges follow the row's line as a gate's output does its input, at the lag of the strays, if it looks so.
/// `second`: ticks in a second. Cost: linear in the victim's own edges, × log of the accused's.
pub fn sign(edges: &[OwnEdges], victim: &Victim, row: &Coupling, second: f64) -> Option<Sign> {
    let lags = || row.occurrences.iter().map(|o| o.lag);
    let (least, most) = (lags().min()?, lags().max()?);
    let slack = (DELAYS_S * second) as i64;
    let own = &edges[victim.line];
    let accused = &edges[row.aggressor];
    // The own edges that go as a stray begins, and the others, which follow the accused's other edges.
    let begins = match victim.level {
        Level::High => Polarity::Rise,
        _ => Polarity::Fall,
    };
    let strikes = match row.edge {
        Edge::Fall => Polarity::Fall,
        _ => Polarity::Rise,
    };
    let count = |own: &[i64], of: &[i64], lo: i64, hi: i64| {
        let follows = |&&t: &&i64| any_within(of, t - hi, t - lo);
        own.iter().filter(follows).count() as u64
    };
    let with = count(own.of(begins), edges_of(edges, row), least, most);
    let back = count(
        own.of(begins.opposite()),
        accused.of(strikes.opposite()),
        least - slack,
        most + slack,
    );
    let near = (STEP_S * second) as i64;
    let (lo, hi) = (least - near, most + near);
    let against = count(own.of(begins.opposite()), edges_of(edges, row), lo, hi)
        + count(own.of(begins), accused.of(strikes.opposite()), lo, hi);
    let of = (own.rises.len() + own.falls.len()) as u64;
    let so = with + back;
    let whole = match (victim.rests.first(), victim.rests.last()) {
        (Some(first), Some(last)) => (last.end - first.start).max(1) as f64,
        _ => return None,
    };
    let covered = (most - least + 1) as f64 * edges_of(edges, row).len() as f64 / whole;
    let is_gate = with >= FEWEST
        && back >= FEWEST
        && so as f64 >= SHARE * of as f64
        && so as f64 >= ONE_WAY * (so + against) as f64
        && binomial_upper(so, so + against, 0.5) <= CHANCE_WAY
        && binomial_upper(with, own.of(begins).len() as u64, covered.min(1.0)) <= CHANCE;
    is_gate.then_some(Sign::Input { own: so, of })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::Occurrence;
    use crate::analysis::coupling::fixtures;
    use crate::analysis::coupling::suspects::able::Rest;

    /// INPUT rises and falls 60 times; the victim follows after `after(n)` ticks at every second of these pulses, up with its rise if
    /// `is_gate`, else now up and now down; at the others it is struck 20 ticks after the rise.
    fn found(after: i64, is_gate: bool) -> Option<Sign> {
        let mut lines = [OwnEdges::default(), OwnEdges::default()];
        let mut occurrences = Vec::new();
        for n in 1..=60i64 {
            let at = 10_000 * n + 37 * (n % 5);
            lines[1].rises.push(at);
            lines[1].falls.push(at + 4_000);
            let own = [at + after, at + 4_000 + after];
            match (n % 2 == 0, is_gate || n % 4 == 0) {
                (true, true) => {
                    lines[0].rises.push(own[0]);
                    lines[0].falls.push(own[1]);
                }
                (true, false) => {
                    lines[0].falls.push(own[0]);
                    lines[0].rises.push(own[1]);
                }
                _ => occurrences.push(Occurrence {
                    stray: occurrences.len(),
                    at,
                    polarity: Polarity::Rise,
                    lag: 19 + n % 3,
                }),
            }
        }
        let times = occurrences.iter().map(|o| o.at + o.lag).collect();
        let rest = Rest {
            start: 0,
            end: 700_000,
        };
        let victim = fixtures::victim(0, times, vec![rest]);
        let row = fixtures::row([0, 1], Edge::Rise, 20, occurrences, 60);
        sign(&lines, &victim, &row, 1e9)
    }

    #[test]
    fn an_accused_that_the_victim_follows_after_the_lag_of_its_strays_is_its_input() {
        assert_eq!(found(20, true), Some(Sign::Input { own: 60, of: 60 }));
        assert_eq!(found(60, true), None, "an answer comes later");
        assert_eq!(found(20, false), None, "a register goes either way");
    }
}
