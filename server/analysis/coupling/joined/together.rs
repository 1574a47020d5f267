//! Strays of several lines at once that come with an accused line's edges and without them alike.
//!
//! A motor's brushes or a relay strike many lines at the same moments, lines that carry a clip among them, and then some edges of the
//! latter are only what struck them. Such a line seems to strike the others. What tells are the strays that it leaves: they
//! come together with another victim's as well, so what strikes both does without the accused.

use std::collections::{BTreeMap, BTreeSet};

use super::standing::Judged;
use crate::analysis::coupling::fit::rows;
use crate::analysis::coupling::suspects::able::any_within;
use crate::analysis::stats::tails::binomial_upper;

/// Another victim's strays that come with those that the accused leave.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Together {
    pub other: usize,
    /// How many of these come together with one of the other's, of how many.
    pub with: u64,
    pub of: u64,
}

/// Strays that nobody accused explains, at least, and as a share of all.
const FEWEST: usize = 6;
const SHARE: f64 = 0.15;
/// Share of these, and of those explained, that come with another victim's; the first as a share of the second: what strikes both
/// without the accused explains what it seems to strike.
const WITH: f64 = 0.25;
const ALIKE: f64 = 0.5;
/// Chance that so many do.
const CHANCE: f64 = 1e-6;

/// For each victim line another whose strays come together with its own, whether a line that is accused of either switches or
/// not, if there is one. `span`: strays so near come together, in ticks. Cost: for each two victims of which one leaves many
/// strays, strays × log of the other's.
pub fn without_the_accused(judged: &[Judged], span: i64) -> BTreeMap<usize, Together> {
    let mut accused: BTreeMap<usize, BTreeSet<usize>> = BTreeMap::new();
    for one in judged {
        let rows = one.rows.iter().map(|row| row.aggressor);
        accused.entry(one.victim.line).or_default().extend(rows);
    }
    let lines = accused.keys();
    let mut found: BTreeMap<usize, Together> = lines
        .filter_map(|&line| Some((line, of_its_own(line, judged, span)?)))
        .collect();
    // What is so for one of the two is so for the other, if the same lines are accused.
    for (line, told) in found.clone() {
        if !accused[&line].is_disjoint(&accused[&told.other]) {
            found
                .entry(told.other)
                .or_insert(Together { other: line, ..told });
        }
    }
    found
}

/// The other for `line`, by the strays of `line` itself.
fn of_its_own(line: usize, judged: &[Judged], span: i64) -> Option<Together> {
    let levels = || judged.iter().filter(|j| j.victim.line == line);
    let left: Vec<i64> = levels()
        .flat_map(|j| rows::unexplained(j.victim, &j.rows))
        .collect();
    let all: Vec<i64> = levels().flat_map(|j| j.victim.times.iter().copied()).collect();
    if left.len() < FEWEST || (left.len() as f64) < SHARE * all.len() as f64 || left.len() == all.len() {
        return None;
    }
    let time: f64 = levels().map(|j| j.victim.time).sum();
    let mut others: Vec<usize> = judged.iter().map(|j| j.victim.line).collect();
    others.dedup();
    others.retain(|&other| other != line);
    let told = others.into_iter().filter_map(|other| {
        let of_other = judged.iter().filter(|j| j.victim.line == other);
        let mut times: Vec<i64> = of_other.flat_map(|j| j.victim.times.iter().copied()).collect();
        times.sort_unstable();
        let is_with = |&&t: &&i64| any_within(&times, t - span, t + span);
        let with = left.iter().filter(is_with).count();
        let explained = all.iter().filter(is_with).count() - with;
        let of_explained = (all.len() - left.len()) as f64;
        let covered = (times.len() as f64 * (2 * span + 1) as f64 / time.max(1.0)).min(1.0);
        let shares = [with as f64 / left.len() as f64, explained as f64 / of_explained];
        let is_so = shares.iter().all(|share| *share >= WITH)
            && shares[0] >= ALIKE * shares[1]
            && binomial_upper(with as u64, left.len() as u64, covered) <= CHANCE;
        is_so.then_some(Together {
            other,
            with: with as u64,
            of: left.len() as u64,
        })
    });
    told.max_by_key(|together| together.with)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::fit::select::Victim;
    use crate::analysis::coupling::fixtures;
    use crate::analysis::coupling::suspects::able::Rest;
    use crate::analysis::coupling::suspects::instants::Table;
    use crate::analysis::coupling::verdict::context::Verdict;
    use crate::analysis::coupling::{Coupling, Edge, Occurrence};
    use crate::model::Polarity;

    /// What is said of a victim struck at `struck`, by line 2 every second time, where line 1 is struck at `other`.
    fn told(other: impl Iterator<Item = i64>) -> Option<Together> {
        let struck: Vec<i64> = (1..40).map(|n| 10_000 * n).collect();
        let rest = Rest {
            start: 0,
            end: 500_000,
        };
        let victim = fixtures::victim(0, struck.clone(), vec![rest]);
        let occurrences = struck.iter().enumerate().filter(|(n, _)| n % 2 == 0);
        let occurrences = occurrences.map(|(stray, &at)| Occurrence {
            at: at - 20,
            polarity: Polarity::Rise,
            stray,
            lag: 20,
        });
        let row = fixtures::row([0, 2], Edge::Rise, 20, occurrences.collect(), 90);
        let with = fixtures::victim(1, other.collect(), vec![rest]);
        let judged = |victim, rows| Judged {
            victim,
            table: Table::default(),
            rows,
            verdict: Verdict::Captured,
        };
        let both = [judged(&victim, vec![row]), judged(&with, Vec::new())];
        without_the_accused(&both, 40).get(&0).copied()
    }

    #[test]
    fn what_strikes_two_lines_without_the_accused_strikes_them_with_it_too() {
        let together = Together {
            other: 1,
            with: 19,
            of: 19,
        };
        assert_eq!(told((1..40).map(|n| 10_000 * n + 15)), Some(together));
        assert_eq!(
            told((1..20).map(|n| 20_000 * n - 10_000)),
            None,
            "only where the accused switches"
        );
        assert_eq!(told((1..40).map(|n| 10_000 * n + 700)), None, "at other moments");
    }

    #[test]
    fn what_is_so_for_one_of_two_that_one_line_is_accused_of_is_so_for_both() {
        let struck: Vec<i64> = (1..40).map(|n| 10_000 * n).collect();
        let rest = Rest {
            start: 0,
            end: 500_000,
        };
        // Of the first victim line 2 explains every second stray, of the other all but two.
        let judged = |line: usize, explained: fn(usize) -> bool, aggressor: usize| {
            let occurrences = struck.iter().enumerate().filter(|(n, _)| explained(*n));
            let occurrences = occurrences.map(|(stray, &at)| Occurrence {
                at: at - 20,
                polarity: Polarity::Rise,
                stray,
                lag: 20,
            });
            let row = fixtures::row([line, aggressor], Edge::Rise, 20, occurrences.collect(), 90);
            (fixtures::victim(line, struck.clone(), vec![rest]), vec![row])
        };
        let told = |aggressor: usize| {
            let first = judged(0, |n| n % 2 == 0, 2);
            let second = judged(1, |n| n > 1, aggressor);
            let judged = |(victim, rows): &(Victim, Vec<Coupling>)| (victim.clone(), rows.clone());
            let both = [judged(&first), judged(&second)];
            let judged: Vec<Judged> = both
                .iter()
                .map(|(victim, rows)| Judged {
                    victim,
                    table: Table::default(),
                    rows: rows.clone(),
                    verdict: Verdict::Captured,
                })
                .collect();
            without_the_accused(&judged, 40)
                .get(&1)
                .map(|together| together.other)
        };
        assert_eq!(told(2), Some(0));
        assert_eq!(told(3), None, "another line is accused of it");
    }
}
