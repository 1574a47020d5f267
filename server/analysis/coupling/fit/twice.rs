//! Edges that strike twice: a second stray at one time after the first, though longer than a guard.
//!
//! What an edge brings may come back from the far end of a wire and strike again. One lag window over both strays tells neither when
//! the edge strikes nor how often. The second strays of a suspect's edges are left out of the model where they come at one time after
//! the first and depend on it: more often behind a first stray than at edges without one. Another line that goes along with the
//! suspect, and strikes by itself, has its strays at the suspect's edges alike, whether these strike or not. Likewise left out are those
//! at that time whose first stray was too weak to show. Once it is known who strikes they are put down to the same edges
//! ([`super::super::joined::causes`]).

use super::evidence::Evidence;
use super::lags::{self, Pair};
use super::model::LagWindow;
use super::select::{Explanation, Reach, Suspect, Victim};
use crate::analysis::coupling::suspects::able::{OwnEdges, any_within};
use crate::analysis::coupling::suspects::places::{Place, Places};
use crate::analysis::stats::fisher::fisher;
use crate::analysis::stats::order::middle;
use crate::analysis::strays::Strays;
use crate::model::Capture;

/// Fewer edges that struck twice tell no time between the strays.
const FEWEST: usize = 5;
/// Chance at or below which second strays depend on the first. Where it deceives, a stray of a line without a probe that goes along with
/// the suspect is put down to the suspect, which stands accused either way.
const CHANCE: f64 = 2e-3;
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
/// suspect's do. `behind`: starts of strays that were left out already, as they are of one event with those before them, ascending
/// ticks. Cost: a sort of the pairs of each chosen suspect.
pub fn without(
    victim: &Victim,
    edges: &[OwnEdges],
    evidence: &[Evidence],
    explanation: &Explanation,
    (reach, behind): (&Reach, &[i64]),
) -> Option<(Victim, Vec<Second>)> {
    let mut order: Vec<usize> = (0..explanation.chosen.len()).collect();
    order.sort_by(|&a, &b| explanation.chosen[b].gain.total_cmp(&explanation.chosen[a].gain));
    order.into_iter().find_map(|at| {
        let suspect = &evidence[explanation.chosen[at].evidence];
        let times = edges[suspect.suspect.line].of(suspect.suspect.polarity);
        let known = victim.times.len();
        let behind = lags::pairs(behind, times, &victim.able(), reach.lo, reach.hi).into_iter();
        let behind = behind.map(|p| Pair {
            stray: known + p.stray,
            ..p
        });
        let mut pairs: Vec<Pair> = suspect.pairs.iter().copied().chain(behind).collect();
        pairs.sort_unstable_by_key(|p| (p.edge, p.lag));
        let found = again(&pairs, suspect, victim.unit, reach)?;
        let rate = found.seconds.len() as f64 / suspect.count.max(1) as f64;
        let due = found.due(&pairs, times);
        // Another line of the explanation that strikes by itself does so no more seldom than at the suspect's edges, and where none of
        // the suspect's seconds is due as well.
        let by_itself: Vec<bool> = explanation
            .chosen
            .iter()
            .enumerate()
            .map(|(j, chosen)| {
                let other = &evidence[chosen.evidence];
                let times = edges[other.suspect.line].of(other.suspect.polarity);
                j != at && strikes_by_itself(victim, other, times, &chosen.window, &due, found.slack)
            })
            .collect();
        let is_anothers = |stray: usize| {
            let shares = explanation.model.shares(stray);
            let mut others = explanation.model.terms.iter().zip(&shares[1..]).enumerate();
            others.any(|(j, (term, &share))| by_itself[j] && share > ANOTHERS && term.p >= rate)
        };
        pairs.retain(|p| p.stray >= known || !is_anothers(p.stray));
        let mut again = again(&pairs, suspect, victim.unit, reach)?.seconds;
        again.retain(|p| p.stray < known);
        if again.is_empty() {
            return None;
        }
        let mut is_kept = vec![true; known];
        again.iter().for_each(|p| is_kept[p.stray] = false);
        let seconds = again.iter().map(|p| Second {
            stray: victim.strays[p.stray],
            suspect: suspect.suspect,
            lag: p.lag,
        });
        Some((victim.only(|at| is_kept[at]), seconds.collect()))
    })
}

/// Starts of the strays that lie behind others of the victim's events, ascending ticks. Cost: linear in the strays of its line.
pub fn behind(capture: &Capture, strays: &Strays, victim: &Victim) -> Vec<i64> {
    let places = Places::of(&capture.lines[victim.line], strays, victim.line, victim.guard);
    let of_line = strays.of_line(victim.line).iter();
    let behind = of_line.filter(|s| s.level == victim.level && places.at(s) == Place::Again);
    behind.map(|s| s.start.0).collect()
}

/// Whether another line strikes where no second of the suspect's is due: at least so many edges, no more seldom than this share of how
/// often it does where one is. Where nearly all of its edges come with one, nothing says so, and it is taken to. `due`: when seconds are,
/// ascending ticks, each to `slack`. Cost: the other's edges × log of the seconds.
fn strikes_by_itself(
    victim: &Victim,
    other: &Evidence,
    times: &[i64],
    window: &LagWindow,
    due: &[i64],
    slack: i64,
) -> bool {
    const FEWEST_ALONE: u64 = 3;
    const AS_OFTEN: f64 = 0.25;
    const FEWEST_EDGES: u64 = 12;
    let in_window = other.pairs.iter().filter(|p| window.contains(p.lag));
    let mut struck: Vec<usize> = in_window.map(|p| p.edge).collect();
    struck.sort_unstable();
    struck.dedup();
    let (lo, hi) = window.reach();
    let able = victim.able();
    let mut counts = [(0u64, 0u64); 2];
    for (edge, &at) in times.iter().enumerate().filter(|(_, at)| able.at(**at)) {
        let count = &mut counts[usize::from(any_within(due, at + lo - slack, at + hi + slack))];
        *count = (
            count.0 + 1,
            count.1 + u64::from(struck.binary_search(&edge).is_ok()),
        );
    }
    let [alone, with] = counts;
    let share = |of: (u64, u64)| of.1 as f64 / of.0.max(1) as f64;
    alone.0 < FEWEST_EDGES || alone.1 >= FEWEST_ALONE && share(alone) >= AS_OFTEN * share(with)
}

/// What a suspect's edges bring a second time.
struct Again {
    /// The pairs of second strays.
    seconds: Vec<Pair>,
    /// Lags of the first and of the second strays, each to `slack`, in ticks.
    first: i64,
    second: i64,
    slack: i64,
}

impl Again {
    /// When a second is due, where a first one came, in ticks, ascending. `times`: the suspect's edges.
    fn due(&self, pairs: &[Pair], times: &[i64]) -> Vec<i64> {
        let firsts = pairs.iter().filter(|p| (p.lag - self.first).abs() <= self.slack);
        let mut due: Vec<i64> = firsts.map(|p| times[p.edge] + self.second).collect();
        due.sort_unstable();
        due
    }
}

/// The second strays among `pairs`, which are sorted by edge and lag.
fn again(pairs: &[Pair], suspect: &Evidence, unit: f64, reach: &Reach) -> Option<Again> {
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
    Some(Again {
        seconds: seconds.copied().collect(),
        first,
        second,
        slack,
    })
}

#[cfg(test)]
mod tests {
    use crate::analysis::coupling::fixtures;
    use crate::demo::random::Random;
    use crate::model::{Level, Line, Ticks, TimeSpan};

    /// What is said of HOLD's 300 rises and PEG's strays: those of HOLD's row, its lag, how many strays are put down to it, and how many
    /// came again.
    struct Told {
        firsts: usize,
        strays: u64,
        lag: f64,
        put_down: usize,
        again: usize,
    }

    /// Half of HOLD's rises lift PEG 12 ticks later, and with a chance of `again` behind these and of `alone` behind the others PEG is
    /// lifted `gap` ticks after that.
    fn told(gap: i64, again: f64, alone: f64) -> Told {
        let mut random = Random::new(7);
        let (mut hold, mut peg, mut firsts) = (Vec::new(), Vec::new(), 0);
        for n in 1..=300 {
            let at = 10_000 * n + random.uniform(0.0, 900.0) as i64;
            hold.extend([at, at + 3_000]);
            let is_struck = random.chance(0.5);
            let comes_again = random.chance(if is_struck { again } else { alone });
            firsts += usize::from(is_struck);
            for (_, lag) in [(is_struck, 12), (comes_again, 12 + gap)]
                .iter()
                .filter(|(is, _)| *is)
            {
                let start = at + lag + random.uniform(0.0, 3.0) as i64;
                peg.extend([start, start + random.uniform(15.0, 24.0) as i64]);
            }
        }
        peg.extend([3_050_000, 3_060_000]);
        let span = TimeSpan::new(Ticks(0), Ticks(3_100_000));
        let line = |name: &str, edges: Vec<i64>| {
            Line::digital(name, Level::Low, edges.into_iter().map(Ticks).collect(), span)
        };
        let lines = vec![line("HOLD", hold), line("PEG", peg)];
        let (_, attribution) = fixtures::attributed(lines, 3_100_000, &[(1, 60.0)]);
        let row = &attribution.couplings[0];
        Told {
            firsts,
            strays: row.strays,
            lag: row.lag.estimate,
            put_down: attribution.causes.iter().flatten().count(),
            again: attribution.again.len(),
        }
    }

    #[test]
    fn an_edge_that_strikes_twice_counts_once() {
        for gap in [45, 80, 95] {
            let told = told(gap, 0.8, 0.0);
            assert_eq!(told.strays as usize, told.firsts, "{gap}");
            assert!((12.0..=14.0).contains(&told.lag), "{gap}: {}", told.lag);
            assert_eq!(told.put_down, told.firsts + told.again, "{gap}");
            assert!(told.again > 100, "{gap}: {}", told.again);
        }
    }

    #[test]
    fn a_first_stray_too_weak_to_show_leaves_the_second() {
        let told = told(80, 0.8, 0.1);
        assert_eq!(told.strays as usize, told.firsts);
        assert_eq!(told.put_down, told.firsts + told.again);
        assert!(told.again > 100, "{}", told.again);
    }

    #[test]
    fn what_comes_alike_without_a_first_stray_is_another_s() {
        assert_eq!(told(80, 0.3, 0.3).again, 0);
    }
}
