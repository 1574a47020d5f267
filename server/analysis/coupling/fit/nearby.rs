//! Whether strikes stand out against the strays nearby.
//!
//! Strays without a cause may come mostly while the machine runs. Then every edge has some behind it, more than chance over the whole
//! record has it, during most of which the machine may stand still; but as many come a little earlier or later. So strikes are compared
//! with the strays in a stretch around the same edges. Where a share w / (w + f) of that stretch belongs to the lags of the strikes, k of
//! k + m strays there have by chance as many strikes or more as
//!
//! # Formula
//! P(K ≥ k), K ~ Binomial(k + m, w / (w + f)),
//!
//! times the lag windows of that width, and the suspects, that were open to choice (Bonferroni). With none beside them there is no crowd
//! that they could be a part of.
//!
//! # Source
//! The conditional test of two Poisson rates: Przyborowski, Wilenski (1940), Biometrika 31, 313.

use super::rows;
use super::select::{Reach, Victim};
use crate::analysis::coupling::Coupling;
use crate::analysis::coupling::suspects::able::{OwnEdges, any_within, time_near};
use crate::analysis::stats::tails::binomial_upper;

/// How far to either side strays are looked at, in widths of the lag window.
const WIDTHS: i64 = 10;
/// Chance at or below which strikes stand out.
const CHANCE: f64 = 0.01;

/// Whether the strikes of `row`, one of the victim's `rows`, are more than the strays nearby make likely. Strays that another row explains
/// are not among these. `suspects`: how many kinds of edges (a line's rises, or its falls) come near enough
/// strays to be accused. Cost: linear in the line's edges and the victim's rests, strays × log of the edges.
pub fn stand_out(
    edges: &[OwnEdges],
    victim: &Victim,
    rows: &[Coupling],
    row: &Coupling,
    (reach, suspects): (&Reach, usize),
) -> bool {
    let lags = row.occurrences.iter().map(|o| o.lag);
    let (Some(least), Some(most)) = (lags.clone().min(), lags.max()) else {
        return false;
    };
    // Lags come in steps of a unit: each stands for as much time.
    let unit = victim.unit.round() as i64;
    let (lo, hi) = (least - unit, most + unit);
    let width = hi - lo + unit;
    let (from, to) = (lo - WIDTHS * width, hi + WIDTHS * width);
    let times = rows::edges_of(edges, row);
    let is_beside = |stray: &i64| {
        any_within(times, stray - to, stray - from) && !any_within(times, stray - hi, stray - lo)
    };
    let beside = rows::unexplained(victim, rows).filter(is_beside).count() as u64;
    let struck = row.occurrences.len() as u64;
    let inside = time_near(times, &victim.rests, lo, hi + unit);
    let around = time_near(times, &victim.rests, from, to + unit).max(inside);
    let windows = ((reach.hi - reach.lo + unit) as f64 / width as f64).max(1.0);
    let tried = windows * suspects as f64;
    beside == 0 || tried * binomial_upper(struck, struck + beside, inside / around.max(1.0)) <= CHANCE
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::suspects::able::Rest;
    use crate::analysis::coupling::{Edge, Occurrence, fixtures};
    use crate::model::Polarity;

    /// A clock rises every 500 ticks for a while and rests for far longer. `strikes` strays come 20 to 39 after its rises, and
    /// `others` anywhere while it runs.
    fn stands_out(strikes: usize, others: usize) -> bool {
        let rises: Vec<i64> = (1..200).map(|n| 500 * n).collect();
        let strike = |n: usize| (500 * (1 + n as i64 * 37 % 199), 20 + n as i64 * 7 % 20);
        let mut times: Vec<i64> = (0..strikes).map(|n| strike(n).0 + strike(n).1).collect();
        times.extend((0..others as i64).map(|n| 500 * (1 + n * 41 % 199) + 60 + n * 97 % 420));
        let occurrences = (0..strikes).map(|stray| Occurrence {
            at: strike(stray).0,
            polarity: Polarity::Rise,
            stray,
            lag: strike(stray).1,
        });
        let row = fixtures::row([1, 0], Edge::Rise, 29, occurrences.collect(), 199);
        let rest = Rest {
            start: 0,
            end: 10_000_000,
        };
        let reach = Reach {
            lo: -8,
            hi: 120,
            narrowest: 5.0,
        };
        let edges = [fixtures::own(rises, Vec::new())];
        let victim = fixtures::victim(1, times, vec![rest]);
        stand_out(&edges, &victim, std::slice::from_ref(&row), &row, (&reach, 30))
    }

    #[test]
    fn strikes_among_as_many_strays_nearby_are_none() {
        assert!(stands_out(3, 0), "each stray follows");
        assert!(stands_out(20, 20), "ten times as many as nearby");
        assert!(!stands_out(3, 60));
        assert!(!stands_out(8, 160), "as dense as nearby");
    }
}
