//! Whom to look at: each line at each level at which it shows strays, and when it was able to.

use super::able::{self, OwnEdges, Rest};
use super::left_out::{self, LeftOut};
use super::places::{Place, Places};
use super::reacting::{self, Follower};
use super::sweep;
use crate::analysis::coupling::fit::copies::Distances;
use crate::analysis::coupling::fit::select::{Reach, Victim};
use crate::analysis::coupling::legitimate::answering::Answering;
use crate::analysis::coupling::suspects_of;
use crate::analysis::merged;
use crate::analysis::parallel::on_all_cores;
use crate::analysis::stats::order::middle;
use crate::analysis::strays::{Stray, StrayKind, Strays};
use crate::model::{Capture, Level, Line, Polarity};

/// Every line and level with strays. `edges`: own edges of all lines. Cost: linear in edges of the lines with strays. All
/// cores.
pub fn of(capture: &Capture, strays: &Strays, edges: &[OwnEdges], answering: &[Answering]) -> Vec<Victim> {
    let lines: Vec<usize> = (0..capture.lines.len())
        .filter(|&line| capture.lines[line].same_as.is_none() && !strays.of_line(line).is_empty())
        .collect();
    let of_line = |&line: &usize| {
        let levels = [Level::Low, Level::High].into_iter();
        let victims: Vec<Victim> = levels
            .filter_map(|level| {
                let answers = answering.iter().find(|a| a.line == line && a.from != level);
                victim(capture, strays, (line, level), answers.map(|a| (a, edges)))
            })
            .collect();
        victims
    };
    on_all_cores(&lines, of_line).into_iter().flatten().collect()
}

/// The line at one stray level, where it shows strays and is ever able to. `answers`: what is known of its edges that leave the
/// other level.
fn victim(
    capture: &Capture,
    strays: &Strays,
    (line, level): (usize, Level),
    answers: Option<(&Answering, &[OwnEdges])>,
) -> Option<Victim> {
    let first = strays.strays.partition_point(|s| s.line < line);
    let guard = answers.map_or_else(|| guard_of(strays, line), |(answering, _)| answering.guard);
    let record = &capture.lines[line];
    let places = Places::of(record, strays, line, guard);
    let of_level: Vec<usize> = strays
        .of_line(line)
        .iter()
        .enumerate()
        .filter(|(_, s)| s.level == level && s.kind != StrayKind::Bounce)
        .filter(|(_, s)| match places.at(s) {
            Place::Apart => true,
            Place::Again => false,
            Place::Beside => answers.is_some_and(|(a, edges)| is_before_answer(record, s, guard, a, edges)),
        })
        .map(|(i, _)| first + i)
        .collect();
    let mut widths: Vec<i64> = of_level.iter().map(|&i| strays.strays[i].width.0).collect();
    widths.sort_unstable();
    let width = middle(&widths)?;
    if answers.is_none() && rings(capture, strays, line, level) {
        return None;
    }
    let mut rests = able::rests(capture, strays, line, level.inverted());
    if let Some((answering, edges)) = answers {
        until_answers(&mut rests, guard, |end| answering.is_answer(edges, end));
    }
    let time = able::length(&rests);
    (time > 0.0).then(|| Victim {
        line,
        level,
        times: of_level.iter().map(|&i| strays.strays[i].start.0).collect(),
        strays: of_level,
        rests,
        time,
        unit: strays.sampling[line].max(1.0),
        guard,
        width,
    })
}

/// Share of the strays that a guard lets pass, but not twice the guard, from which on the line is taken to ring.
const RINGS: f64 = 0.9;
/// What rings behind a slice lasts no longer than this, in guards.
const SLICE: f64 = 1.3;

/// Whether most strays of the level come beside own edges, and (nearly) all others come hardly later after one: then those that the guard just
/// lets pass are of the same kind. Strays behind others of one event are not counted.
pub fn rings(capture: &Capture, strays: &Strays, line: usize, level: Level) -> bool {
    let (guard, record) = (guard_of(strays, line), &capture.lines[line]);
    let places = Places::of(record, strays, line, guard);
    let pulses = strays.of_line(line).iter();
    let of_level = pulses.filter(|s| s.kind != StrayKind::Bounce && s.level == level);
    let [mut beside, mut near, mut far] = [0u64; 3];
    // Where the stray before ends, and whether it came of an own edge.
    let mut last: Option<(i64, bool)> = None;
    for stray in of_level {
        let end = stray.start.0 + stray.width.0;
        // The stray, or the slice before it that begins with the own edge. A runt has no edges of its own.
        let [first, next] = match stray.edge {
            Some(edge) => [edge, edge + 2],
            None => [record.edges.partition_point(|t| t.0 <= stray.start.0); 2],
        };
        let before = first.checked_sub(1).map(|e| record.edges[e].0);
        let after = record.edges.get(next).map(|t| t.0);
        let comes_of_own = before.is_some_and(|t| {
            stray.start.0 - t < 2 * guard && last.is_none_or(|(end, comes_of_own)| t != end || comes_of_own)
        });
        let is_own = |t: i64| stray.edge.is_none() || !begins_with(strays.of_line(line), t);
        let follows =
            comes_of_own || after.is_some_and(|t| ((t - end) as f64) < SLICE * guard as f64 && is_own(t));
        let place = places.at(stray);
        match (place, follows) {
            (Place::Beside, _) => beside += 1,
            (Place::Again, _) => {}
            (Place::Apart, true) => near += 1,
            (Place::Apart, false) => far += 1,
        }
        last = Some((end, place == Place::Beside || follows));
    }
    beside > 0 && beside >= near + far && near as f64 >= RINGS * (near + far) as f64
}

/// Whether one of these strays (ascending) begins at `time`.
fn begins_with(strays: &[Stray], time: i64) -> bool {
    strays.binary_search_by_key(&time, |s| s.start.0).is_ok()
}

/// Whether the stray comes before an answer of the line's own, as far from the edge before it as any.
fn is_before_answer(
    line: &Line,
    stray: &Stray,
    guard: i64,
    answering: &Answering,
    edges: &[OwnEdges],
) -> bool {
    let Some(edge) = stray.edge else { return false };
    let before = edge.checked_sub(1).map(|e| line.edges[e].0);
    let own = line.edges.get(edge + 2).map(|t| t.0);
    before.is_none_or(|t| stray.start.0 - t >= guard)
        && own.is_some_and(|own| answering.is_before(edges, stray.start.0, own))
}

/// Lengthens the rests that an answer ends, as strays are counted up to it and not up to `guard` before.
fn until_answers(rests: &mut [Rest], guard: i64, is_answer: impl Fn(i64) -> bool) {
    for at in 0..rests.len() {
        if is_answer(rests[at].end) {
            let next = rests.get(at + 1).map_or(i64::MAX, |r| r.start);
            rests[at].end = (rests[at].end + guard).min(next);
        }
    }
}

/// Share of one-sample strays up to which strays are all seen.
const SHORTEST: f64 = 0.02;

/// Whether sampling shows every stray of the victim: one of a sample's length or more is never lost, and where some are
/// shorter, some of those that are seen are one sample wide.
pub fn are_all_seen(strays: &Strays, victim: &Victim) -> bool {
    let is_short = |&&i: &&usize| (strays.strays[i].width.0 as f64) < 1.5 * victim.unit;
    let short = victim.strays.iter().filter(is_short).count();
    short as f64 <= SHORTEST * victim.strays.len() as f64
}

/// So near to an edge of the line's own a stray can't be told from the short rest beside it, in ticks. Neither can it be told
/// there whether a neighbour strikes or the line rings as it switches, so nothing nearer accuses anybody.
pub fn guard_of(strays: &Strays, line: usize) -> i64 {
    let widest = strays.of_line(line).iter().filter(|s| s.kind == StrayKind::Pulse);
    let widest = widest.map(|s| s.width.0).max().unwrap_or(0) as f64;
    strays.limits[line]
        .widest()
        .map_or(widest, |l| l.min(2.0 * widest))
        .ceil() as i64
}

/// What every suspect could have done, by [`Suspect::column`](crate::analysis::coupling::fit::select::Suspect::column).
#[derive(Clone, Debug)]
pub struct Chances {
    /// Edges that came while the victim was able.
    pub counts: Vec<u64>,
    pub left_out: Vec<LeftOut>,
    /// Lines that may react to the victim.
    pub followers: Vec<Follower>,
}

/// For each victim the chances of every suspect. `reach`: lags looked at. Two sweeps over all edges; what [`super::reacting::followers`] takes for
/// each line.
pub fn chances(
    capture: &Capture,
    strays: &Strays,
    edges: &[OwnEdges],
    victims: &[Victim],
    reach: impl Fn(&Victim) -> Reach + Sync,
) -> Vec<Chances> {
    let both = |e| [Polarity::Rise, Polarity::Fall].map(|p| OwnEdges::of(e, p));
    let columns: Vec<&[i64]> = edges.iter().flat_map(both).collect();
    let able: Vec<able::Able> = victims.iter().map(Victim::able).collect();
    // One merge takes no more columns than this; the counts of the next ones follow on.
    let mut counts: Vec<Vec<u64>> = vec![Vec::new(); victims.len()];
    for columns in columns.chunks(merged::MOST_COLUMNS) {
        let more = sweep::opportunities(columns, &able);
        counts
            .iter_mut()
            .zip(more)
            .for_each(|(all, more)| all.extend(more));
    }
    let with_reach: Vec<(&Victim, Reach)> = victims.iter().map(|v| (v, reach(v))).collect();
    let left_out = left_out::of_all(&columns, &with_reach);
    let followers = followers_of(capture, strays, edges, victims, reach);
    let all = counts.into_iter().zip(left_out).zip(followers);
    let chances = all.map(|((counts, left_out), followers)| Chances {
        counts,
        left_out,
        followers,
    });
    chances.collect()
}

/// Lines that may react, for each victim: the levels of a line have the same. All cores.
fn followers_of(
    capture: &Capture,
    strays: &Strays,
    edges: &[OwnEdges],
    victims: &[Victim],
    reach: impl Fn(&Victim) -> Reach + Sync,
) -> Vec<Vec<Follower>> {
    let mut lines: Vec<&Victim> = victims.iter().collect();
    lines.dedup_by_key(|victim| victim.line);
    let of_line = on_all_cores(&lines, |victim| {
        let mut others: Vec<usize> = suspects_of(capture, victim.line).map(|s| s.line).collect();
        others.dedup();
        let distances = Distances::new(victim, capture.timebase.ticks_of(1.0));
        let lags = [reach(victim).hi, distances.steady];
        reacting::followers(capture, strays, edges, victim.line, &others, lags)
    });
    let of = |victim: &Victim| {
        let at = lines.partition_point(|other| other.line < victim.line);
        of_line[at].clone()
    };
    victims.iter().map(of).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::strays::{StrayOptions, find};
    use crate::model::{Runt, Ticks, TimeSpan};
    use std::collections::BTreeMap;

    /// PEG is high for 4,000 ticks at a time; a dip of 20 comes `late(n)` after each of its rises.
    fn is_ringing(late: impl Fn(i64) -> i64) -> bool {
        let span = TimeSpan::new(Ticks(0), Ticks(1_010_000));
        let pulses = (0..100i64).flat_map(|n| {
            let at = 10_000 * n + 1_000;
            [at, at + late(n), at + late(n) + 20, at + 4_000]
        });
        let peg = Line::digital("PEG", Level::Low, pulses.map(Ticks).collect(), span);
        let capture = Capture::in_nanoseconds("ringing", span, vec![peg]);
        let options = StrayOptions {
            narrow_below: BTreeMap::from([(0, 60.0)]),
            ..StrayOptions::default()
        };
        rings(&capture, &find(&capture, &options), 0, Level::Low)
    }

    #[test]
    fn dips_hardly_beyond_the_guard_are_of_the_kind_of_those_before_it() {
        // The guard is twice 20.
        assert!(is_ringing(|n| if n % 4 == 0 { 45 + n % 20 } else { 25 }));
        assert!(
            !is_ringing(|n| if n % 4 == 0 { 900 } else { 25 }),
            "others come anywhere"
        );
        assert!(
            !is_ringing(|n| if n % 4 == 0 { 25 } else { 45 + n % 20 }),
            "few are beside edges"
        );
    }

    #[test]
    fn strays_that_come_twice_far_from_own_edges_are_no_ringing() {
        let span = TimeSpan::new(Ticks(0), Ticks(1_010_000));
        for gap in [25, 45] {
            // After most of PEG's rises one dip comes at once; after the others two, 900 ticks later.
            let pulses = (0..100i64).flat_map(|n| {
                let at = 10_000 * n + 1_000;
                let (dip, next) = (at + 900, at + 920 + gap);
                match n % 4 {
                    0 => vec![at, dip, dip + 20, next, next + 20, at + 4_000],
                    _ => vec![at, at + 25, at + 45, at + 4_000],
                }
            });
            let peg = Line::digital("PEG", Level::Low, pulses.map(Ticks).collect(), span);
            let capture = Capture::in_nanoseconds("twice", span, vec![peg]);
            let options = StrayOptions {
                narrow_below: BTreeMap::from([(0, 60.0)]),
                ..StrayOptions::default()
            };
            let strays = find(&capture, &options);
            assert!(!rings(&capture, &strays, 0, Level::Low), "{gap}");
        }
    }

    #[test]
    fn runts_far_from_own_edges_are_no_ringing() {
        let span = TimeSpan::new(Ticks(0), Ticks(1_010_000));
        // Each of PEG's pulses is followed by a short one; runts come far from all of them.
        let pulses = (0..10i64).flat_map(|n| {
            let at = 100_000 * n + 1_000;
            [at, at + 4_000, at + 4_025, at + 4_045]
        });
        let mut peg = Line::digital("PEG", Level::Low, pulses.map(Ticks).collect(), span);
        let runt = |n: i64| Runt {
            start: Ticks(10_000 * n + 7_000),
            width: Ticks(20),
            level: Level::High,
            peak_v: 1.4,
        };
        let options = StrayOptions {
            narrow_below: BTreeMap::from([(0, 60.0)]),
            ..StrayOptions::default()
        };
        let rings = |peg: &Line| {
            let capture = Capture::in_nanoseconds("runts", span, vec![peg.clone()]);
            super::rings(&capture, &find(&capture, &options), 0, Level::High)
        };
        assert!(rings(&peg));
        peg.runts = (0..100).map(runt).collect();
        assert!(!rings(&peg));
    }
}
