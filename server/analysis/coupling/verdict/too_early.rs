//! Strays that begin before the accused's edges, though on the mean they come after them.
//!
//! A cause comes first: no coupled stray begins before its edge, but for what sampling and thresholds do
//! ([`super::untimely`]). A hidden line that switches about when the accused does, now earlier and now later, brings
//! some on either side.

use super::clues::Clue;
use crate::analysis::coupling::Coupling;
use crate::analysis::coupling::fit::rows;
use crate::analysis::coupling::fit::select::Victim;
use crate::analysis::coupling::suspects::able::{OwnEdges, first_from, time_near};
use crate::analysis::stats::tails::poisson_upper;

/// Channels up to half a sample apart, and edges that fall anyhow between samples, let a stray seem so many samples early,
/// and parts that see edges at other thresholds so much beyond that.
const EARLY_SAMPLES: f64 = 1.5;
const EARLY_S: f64 = 3e-9;
/// Strays that say something, and as a share of the strikes.
const FEWEST: usize = 5;
const SHARE: f64 = 0.05;
/// Chance at or below which strays from elsewhere come so often just before the edges.
const CHANCE: f64 = 1e-4;

/// Strays that begin too long before the row's edges to be theirs, and no longer before them than the row's own come after:
/// where they are more than chance brings, and lags go on from these to the row's without a gap as wide as the row's own spread.  What other rows explain is not asked about. `second`: ticks in a second. Cost:
/// strays × log of the edges, linear in the victim's rests.
pub fn of(
    edges: &[OwnEdges],
    victim: &Victim,
    rows: &[Coupling],
    row: &Coupling,
    second: f64,
) -> Option<Clue> {
    let times = rows::edges_of(edges, row);
    let lags = row.occurrences.iter().map(|o| o.lag);
    let (least, most) = (lags.clone().min()?, lags.max()?);
    let latest = -(EARLY_SAMPLES * victim.unit + EARLY_S * second).ceil() as i64;
    let earliest = latest.min(least) - (most - least).max(most);
    let others: Vec<Coupling> = rows
        .iter()
        .filter(|other| !std::ptr::eq(*other, row))
        .cloned()
        .collect();
    let is_early = |stray: &i64| {
        // Its nearest edge, before or after, comes after it.
        let after = first_from(times, *stray - latest);
        let near = first_from(times, *stray - most);
        after.is_some_and(|edge| edge <= stray - earliest && near == Some(edge))
    };
    let lag = |stray: i64| first_from(times, stray - most).map(|edge| stray - edge);
    let early = rows::unexplained(victim, &others)
        .filter(is_early)
        .filter_map(lag);
    let own = row.occurrences.iter().map(|o| o.lag).filter(|&lag| lag > latest);
    let mut all: Vec<i64> = early.chain(own).collect();
    // Those that nothing joins to the others are of another line, which leads this one.
    let widest = (most - least.max(0)) + victim.unit.ceil() as i64;
    all.sort_unstable_by(|a, b| b.cmp(a));
    let joined = all.chunk_by(|later, sooner| later - sooner <= widest).next()?;
    let early = joined.iter().filter(|&&lag| lag <= latest).count();
    if early < FEWEST.max((SHARE * row.occurrences.len() as f64).ceil() as usize) {
        return None;
    }
    let elsewhere = victim.times.len().saturating_sub(row.occurrences.len()) as f64;
    let before = time_near(times, &victim.rests, earliest, latest + 1);
    let expected = elsewhere * before / victim.time.max(1.0);
    (poisson_upper(early as u64, expected) <= CHANCE).then_some(Clue::TooEarly {
        line: row.aggressor,
        edge: row.edge,
        early: early as u64,
        by: -latest,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::suspects::able::Rest;
    use crate::analysis::coupling::{Edge, Occurrence, fixtures};
    use crate::model::Polarity;

    /// Strays `lag(n)` ns after the n-th of 60 rises, known to 2 ns; those from −4 ns on are counted.
    fn early(lag: impl Fn(i64) -> i64) -> Option<u64> {
        let rises: Vec<i64> = (1..=60).map(|n| 5_000 * n).collect();
        let times: Vec<i64> = (0..).zip(&rises).map(|(n, t)| t + lag(n)).collect();
        let counted = (0..).zip(&rises).filter(|(n, _)| lag(*n) >= -4);
        let strikes = counted.map(|(n, &at)| Occurrence {
            at,
            polarity: Polarity::Rise,
            stray: n as usize,
            lag: lag(n),
        });
        let row = fixtures::row([1, 0], Edge::Rise, 20, strikes.collect(), 60);
        let rest = Rest {
            start: 0,
            end: 310_000,
        };
        let mut victim = fixtures::victim(1, times, vec![rest]);
        victim.unit = 2.0;
        let edges = [OwnEdges {
            rises,
            falls: Vec::new(),
        }];
        let rows = [row];
        match of(&edges, &victim, &rows, &rows[0], 1e9)? {
            Clue::TooEarly { early, .. } => Some(early),
            clue => panic!("{clue:?}"),
        }
    }

    #[test]
    fn what_comes_before_some_edges_and_after_others_is_not_theirs() {
        // Every tenth from −16 ns to −8 ns, the others later.
        assert_eq!(
            early(|n| if n % 10 == 0 { -8 - n % 20 } else { 2 * (n % 20) }),
            Some(6)
        );
        assert_eq!(early(|n| 2 * (n % 20)), None);
        // Within what sampling and thresholds do.
        assert_eq!(early(|n| if n % 10 == 0 { -4 } else { 2 * (n % 20) }), None);
        // A line that leads this one strikes at a lag of its own.
        assert_eq!(early(|n| if n % 10 == 0 { -24 } else { 12 + n % 9 }), None);
        // One or two of them may come from elsewhere.
        assert_eq!(early(|n| if n % 30 == 0 { -12 } else { 2 * (n % 20) }), None);
    }
}
