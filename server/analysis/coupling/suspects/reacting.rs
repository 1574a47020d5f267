//! Lines that the victim clocks: their edges follow its strays, so they tell nothing of who caused these.
//!
//! A counter that takes a stray for a clock edge switches a few tens of nanoseconds later, at every stray. Seen among
//! the instants it goes with the strays better than any cause could. What shows it is that (nearly) all of its edges
//! keep one distance after an edge of the victim, strays or not.

use super::able::{OwnEdges, first_from, gallop};
use crate::analysis::coupling::fit::copies::crowd;
use crate::analysis::coupling::fit::select::Victim;
use crate::analysis::strays::Strays;
use crate::model::{Capture, Line};

/// Share of a line's edges that follow the victim's: it may have seen pulses of that which sampling hides.
pub(super) const FOLLOWS: f64 = 0.9;
/// Share of those that follow strays which come too late to be their cause.
const LATE: f64 = 0.95;
/// Strays that a line's edges follow, at least.
pub(super) const FEWEST: usize = 3;

/// A line that may react to a victim: (nearly) all of its edges keep these least and greatest distances behind the victim's.
#[derive(Clone, Debug, PartialEq)]
pub struct Follower {
    pub line: usize,
    /// Of its own edges, and of all with strays, where it has some: what a stray makes it do may be short as well.
    own: Option<(i64, i64)>,
    all: Option<(i64, i64)>,
}

/// The lines of `lines` that may react to `victim`. `latest`: longest reaction, `steady`: how near distances must be to be one,
/// in ticks. Cost: log of the edges for most lines, linear for those that react.
pub fn followers(
    capture: &Capture,
    strays: &Strays,
    edges: &[OwnEdges],
    victim: usize,
    lines: &[usize],
    [latest, steady]: [i64; 2],
) -> Vec<Follower> {
    let record = &capture.lines[victim];
    let follower = |&line: &usize| {
        let of = [edges[line].rises.as_slice(), &edges[line].falls];
        let follower = Follower {
            line,
            own: distance(&of, record, latest, steady),
            all: (!strays.of_line(line).is_empty())
                .then(|| distance(&[capture.lines[line].ticks()], record, latest, steady))
                .flatten(),
        };
        (follower.own.is_some() || follower.all.is_some()).then_some(follower)
    };
    lines.iter().filter_map(follower).collect()
}

impl Follower {
    /// Whether it reacts to the strays of `victim`. `latest`: as [`followers`]; `possible`: so long after a stray's start an edge
    /// may still have caused it, in ticks. Cost: strays × log of edges.
    pub fn reacts(
        &self,
        capture: &Capture,
        edges: &[OwnEdges],
        victim: &Victim,
        [latest, possible]: [i64; 2],
    ) -> bool {
        let own = [edges[self.line].rises.as_slice(), &edges[self.line].falls];
        let all = [capture.lines[self.line].ticks(), &[]];
        [(self.own, own), (self.all, all)].into_iter().any(|(keeps, of)| {
            keeps.is_some_and(|distance| follow_strays(of, victim, distance, latest, possible))
        })
    }
}

/// Whether edges that keep a distance behind the victim's follow its strays, too late to be their cause.
fn follow_strays(
    of: [&[i64]; 2],
    victim: &Victim,
    (least, most): (i64, i64),
    latest: i64,
    possible: i64,
) -> bool {
    let follows = |start: i64| {
        let next = of
            .into_iter()
            .filter_map(|times| first_from(times, start + least));
        next.min().filter(|&t| t <= start + most + latest)
    };
    // A stray is followed from its start or from its end, both within reach of the start.
    let after: Vec<i64> = victim
        .times
        .iter()
        .filter_map(|&s| follows(s).map(|t| t - s))
        .collect();
    if after.len() < FEWEST {
        return false;
    }
    // Edges too late to be a cause, or a line that follows the victim's own edges alike.
    let late = after.iter().filter(|&&lag| lag > possible).count();
    let count: usize = of.iter().map(|times| times.len()).sum();
    let others = count.saturating_sub(after.len());
    let is_late = late as f64 >= LATE * after.len() as f64;
    is_late || least >= 0 && most > 0 && others >= FEWEST
}

/// The least and greatest distance, close together, that (nearly) all of these edges, in ascending lists, keep behind the last or
/// an earlier edge of `line`; none where they don't. Cost: log of the line's edges between for each, few where it is soon
/// clear.
pub(in crate::analysis::coupling) fn distance(
    of: &[&[i64]],
    line: &Line,
    latest: i64,
    steady: i64,
) -> Option<(i64, i64)> {
    let count: usize = of.iter().map(|times| times.len()).sum();
    let most_missing = ((1.0 - FOLLOWS) * count as f64) as usize;
    let mut missing = 0;
    let mut lags: Vec<i64> = Vec::new();
    for times in of {
        let mut from = 0;
        for &time in *times {
            from += gallop(&line.edges[from..], |e| e.0 < time - latest);
            let before = lags.len();
            let near = line.edges[from..].iter().take_while(|e| e.0 <= time);
            lags.extend(near.map(|e| time - e.0));
            missing += usize::from(lags.len() == before);
            if missing > most_missing {
                return None;
            }
        }
    }
    lags.sort_unstable();
    let crowd = crowd(&lags, 2 * steady);
    let all = !crowd.is_empty() && crowd.len() >= count - most_missing;
    all.then(|| (lags[crowd.start], lags[crowd.end - 1]))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::fixtures;
    use crate::model::{Level, Ticks, TimeSpan};

    /// A line with own pulses of 4,000 ticks and strays of 20, and a victim level that has these.
    fn struck() -> (Line, Victim, Vec<i64>) {
        let own: Vec<i64> = (1..20).map(|n| 20_000 * n).collect();
        let strays: Vec<i64> = (1..15).map(|n| 20_000 * n + 9_000).collect();
        let mut edges: Vec<i64> = own.iter().flat_map(|t| [*t, t + 4_000]).collect();
        edges.extend(strays.iter().flat_map(|t| [*t, t + 20]));
        edges.sort_unstable();
        let rises: Vec<i64> = edges.iter().step_by(2).copied().collect();
        let span = TimeSpan::new(Ticks(0), Ticks(500_000));
        let edges = edges.into_iter().map(Ticks).collect();
        let victim = fixtures::victim(0, strays, Vec::new());
        (Line::digital("CLEAR", Level::Low, edges, span), victim, rises)
    }

    /// Whether a line with these edges reacts.
    fn is(of: [&[i64]; 2], victim: &Victim, line: &Line, latest: i64, possible: i64, steady: i64) -> bool {
        let keeps = distance(&of, line, latest, steady);
        keeps.is_some_and(|distance| follow_strays(of, victim, distance, latest, possible))
    }

    #[test]
    fn a_counter_that_the_victim_clocks_reacts() {
        let (line, victim, rises) = struck();
        let counter: Vec<i64> = rises.iter().map(|t| t + 15).collect();
        assert!(is([&counter, &[]], &victim, &line, 122, 8, 6));
    }

    #[test]
    fn a_line_that_switches_by_itself_or_in_time_to_strike_does_not() {
        let (line, victim, _) = struck();
        // At each stray, and as often elsewhere.
        let mut company: Vec<i64> = victim.times.iter().map(|t| t + 15).collect();
        company.extend((1..15).map(|n| 20_000 * n + 13_000));
        company.sort_unstable();
        assert!(!is([&company, &[]], &victim, &line, 122, 8, 6));
        // The cause of each stray.
        let cause: Vec<i64> = victim.times.iter().map(|t| t - 12).collect();
        assert!(!is([&cause, &[]], &victim, &line, 122, 8, 6));
        // So near before or after that it may be the cause.
        let near: Vec<i64> = victim.times.iter().map(|t| t + 4).collect();
        assert!(!is([&near, &[]], &victim, &line, 122, 8, 6));
    }

    #[test]
    fn what_the_victim_clocks_keeps_its_distance_to_the_victim_s_edges() {
        let (line, _, rises) = struck();
        let behind = |times: &[i64]| distance(&[times], &line, 122, 6);
        let counter: Vec<i64> = rises
            .iter()
            .enumerate()
            .map(|(n, t)| t + 15 + n as i64 % 3)
            .collect();
        assert_eq!(behind(&counter), Some((15, 17)));
        // At no one distance, and without an edge to follow.
        let loose: Vec<i64> = rises
            .iter()
            .enumerate()
            .map(|(n, t)| t + 5 * (n as i64 % 19))
            .collect();
        assert_eq!(behind(&loose), None);
        let by_itself: Vec<i64> = rises.iter().map(|t| t + 500).collect();
        assert_eq!(behind(&by_itself), None);
    }
}
