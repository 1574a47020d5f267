//! Edges that strike twice: a second stray at one time after the first, though longer than a guard.
//!
//! What an edge brings may come back from the far end of a wire and strike again. One lag window over both strays tells neither when
//! the edge strikes nor how often. The second strays of a suspect's edges are left out of the model where they come at one time after
//! the first and depend on it: more often behind a first stray than at edges without one. Another line that goes along with the
//! suspect, and strikes by itself, has its strays at the suspect's edges alike, whether these strike or not. Likewise left out are those
//! at that time whose first stray was too weak to show. Once it is known who strikes they are put down to the same edges
//! ([`super::super::joined::causes`]).

use super::evidence::Evidence;
use super::lags::Pair;
use super::model::LagWindow;
use super::select::{Explanation, Reach, Suspect, Victim};
use crate::analysis::stats::fisher::fisher;
use crate::analysis::stats::order::middle;

/// Fewer edges that struck twice tell no time between the strays.
const FEWEST: usize = 5;
/// Chance at or below which second strays depend on the first.
const CHANCE: f64 = 1e-4;
/// Share of a stray that another suspect of the explanation may have, for it to be this one's second.
const ANOTHERS: f64 = 0.5;

/// A stray that came again after an edge.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Second {
    /// Position among all strays.
    pub stray: usize,
    /// Whose edge strikes twice.
    pub suspect: Suspect,
    /// Stray's start minus that edge, in ticks.
    pub lag: i64,
}

/// The second strays at the edges of the most telling suspect whose edges strike twice, and the victim without them; none where no
/// suspect's do. Cost: a sort of the pairs of each chosen suspect.
pub fn without(
    victim: &Victim,
    evidence: &[Evidence],
    explanation: &Explanation,
    reach: &Reach,
) -> Option<(Victim, Vec<Second>)> {
    let mut order: Vec<usize> = (0..explanation.chosen.len()).collect();
    order.sort_by(|&a, &b| explanation.chosen[b].gain.total_cmp(&explanation.chosen[a].gain));
    order.into_iter().find_map(|at| {
        let suspect = &evidence[explanation.chosen[at].evidence];
        let is_anothers = |stray: usize| {
            let shares = explanation.model.shares(stray);
            (1..shares.len()).any(|j| j != at + 1 && shares[j] > ANOTHERS)
        };
        let pairs = suspect.pairs.iter().filter(|p| !is_anothers(p.stray));
        let mut pairs: Vec<Pair> = pairs.copied().collect();
        pairs.sort_unstable_by_key(|p| (p.edge, p.lag));
        let again = again(&pairs, suspect, victim.unit, reach)?;
        let is_again = |at: usize| again.iter().any(|p| p.stray == at);
        let seconds = again.iter().map(|p| Second {
            stray: victim.strays[p.stray],
            suspect: suspect.suspect,
            lag: p.lag,
        });
        Some((victim.only(|at| !is_again(at)), seconds.collect()))
    })
}

/// The pairs of second strays, of `pairs` sorted by edge and lag.
fn again(pairs: &[Pair], suspect: &Evidence, unit: f64, reach: &Reach) -> Option<Vec<Pair>> {
    let of_edges: Vec<&[Pair]> = pairs.chunk_by(|a, b| a.edge == b.edge).collect();
    let twice = || {
        of_edges
            .iter()
            .filter(|p| p.len() > 1)
            .map(|p| [p[0].lag, p[1].lag])
    };
    if twice().count() < FEWEST {
        return None;
    }
    let middle_of = |mut lags: Vec<i64>| {
        lags.sort_unstable();
        middle(&lags)
    };
    let [first, second] = [
        middle_of(twice().map(|lags| lags[0]).collect())?,
        middle_of(twice().map(|lags| lags[1]).collect())?,
    ];
    let slack = (reach.narrowest + unit).ceil() as i64;
    if second - first <= 2 * slack {
        return None;
    }
    let is_near = |lag: i64, to: i64| (lag - to).abs() <= slack;
    let has = |of: &[Pair], at: i64| of.iter().any(|p| is_near(p.lag, at));
    let [mut both, mut first_alone, mut second_alone] = [0u64; 3];
    for of in &of_edges {
        match (has(of, first), has(of, second)) {
            (true, true) => both += 1,
            (true, false) => first_alone += 1,
            (false, true) => second_alone += 1,
            (false, false) => {}
        }
    }
    let window = LagWindow::new(first - slack, first + slack, unit);
    let opportunities = suspect.opportunities(&window) as u64;
    let without = opportunities.saturating_sub(both + first_alone).max(second_alone);
    let depends = fisher(both, both + first_alone, second_alone, without).greater() <= CHANCE;
    if (both as usize) < FEWEST || !depends {
        return None;
    }
    // What another of its edges brings at once is that edge's first.
    let mut firsts: Vec<usize> = pairs
        .iter()
        .filter(|p| is_near(p.lag, first))
        .map(|p| p.stray)
        .collect();
    firsts.sort_unstable();
    let seconds = pairs
        .iter()
        .filter(|p| is_near(p.lag, second) && firsts.binary_search(&p.stray).is_err());
    Some(seconds.copied().collect())
}
