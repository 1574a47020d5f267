//! Contact bounce: a burst of irregular pulses around a contact's own slow change, settling at a new level.
//!
//! A line bounces when its edges fall into bursts parted by rests far longer than any pause inside them, most bursts have
//! an odd number of edges (they settle at the other level), the pauses inside are irregular, and the edges neither switch
//! with other lines nor come one time after another's ([`led`]). Durations from microseconds to a hand switch's tens of
//! milliseconds (MIL-R-5757J counts openings of 10 µs and more; reed contacts settle in 0.5 to 1 ms; worn hand switches
//! were seen to bounce for 157 ms).

use std::ops::Range;

use super::led;
use crate::analysis::stats::tails::binomial_upper;
use crate::model::{Capture, Level, Line, Ticks};

/// A burst of contact bounce.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Burst {
    pub line: usize,
    /// The edges of the burst, the first change included.
    pub edges: Range<usize>,
    pub start: Ticks,
    pub end: Ticks,
    /// The level the contact settled at.
    pub settled: Level,
}

impl Burst {
    /// End minus start.
    pub fn length(&self) -> Ticks {
        self.end - self.start
    }
}

const LONGEST_BURST_S: f64 = 0.2;
/// A pause inside a burst; longer ones part bursts.
const LONGEST_PAUSE_S: f64 = 0.02;
/// Pulses inside a burst are at least this long for the most part: a contact is no gate.
const TYPICAL_PAUSE_S: f64 = 1e-6;
/// The shortest rest between bursts is this many times the longest pause inside one.
const REST_TO_PAUSE: f64 = 4.0;
const FEWEST_EDGES: usize = 3;
/// A contact's line that another contact strikes shows two edges more for each fall of the other: about as many as its own, or twice.
const MOST_TAKEN: usize = 2;
/// Every rest is at least this many times the longest burst.
const REST_TO_BURST: f64 = 2.0;
/// With fewer bursts than this a line's own activity looks much like bounce, so more is asked of it.
const FEW_BURSTS: usize = 4;
const REST_TO_FEW: f64 = 5.0;
/// Longest of a few bursts: debouncing for 10 to 50 ms is common practice, no source.
const LONGEST_LONE_S: f64 = 0.05;
/// Most edges of one of a few bursts.
const MOST_LONE_EDGES: usize = 100;
/// More edges than a hand or a relay makes: not looked at as a contact.
const MOST_EDGES: usize = 200_000;

/// The bursts of all lines that bounce.
pub fn find(capture: &Capture) -> Vec<Burst> {
    let looked_at: Vec<Contact> = (0..capture.lines.len())
        .map(|line| Contact::of(capture, line))
        .collect();
    let mut bursts = Vec::new();
    for (index, contact) in looked_at.iter().enumerate() {
        if !contact.bursts.is_empty() && switches_alone(capture, &looked_at, index) {
            bursts.extend(contact.bursts.iter().cloned());
        }
    }
    bursts
}

/// A line looked at as a contact.
#[derive(Default)]
struct Contact {
    bursts: Vec<Burst>,
    /// The line without its shortest pulses, where bursts showed only so.
    bare: Option<Line>,
}

impl Contact {
    fn of(capture: &Capture, index: usize) -> Contact {
        let line = &capture.lines[index];
        if line.edges.len() < FEWEST_EDGES || line.edges.len() > MOST_EDGES {
            return Contact::default();
        }
        let bursts = bursts_of(capture, index, line);
        if !bursts.is_empty() {
            return Contact { bursts, bare: None };
        }
        Contact::struck(capture, index).unwrap_or_default()
    }

    /// A contact's line that is struck besides: strays between its bursts, which settle nowhere, hide them. Without pulses that are
    /// too short for a contact each burst ends at the level it ended at.
    fn struck(capture: &Capture, index: usize) -> Option<Contact> {
        let line = &capture.lines[index];
        let shortest = capture.timebase.ticks_of(TYPICAL_PAUSE_S);
        let kept = without_short(line, shortest);
        let taken = line.edges.len() - kept.len();
        if taken == 0 || taken > MOST_TAKEN * kept.len() || kept.len() < FEWEST_EDGES {
            return None;
        }
        let edges = kept.iter().map(|&at| line.edges[at]).collect();
        let bare = Line {
            stretches: line.stretches.clone(),
            ..Line::digital(line.name.clone(), line.first, edges, line.span)
        };
        let mut bursts = bursts_of(capture, index, &bare);
        for burst in &mut bursts {
            burst.edges = kept[burst.edges.start]..kept[burst.edges.end - 1] + 1;
        }
        let bare = Some(bare);
        (!bursts.is_empty()).then_some(Contact { bursts, bare })
    }
}

/// The indices of a line's edges, ascending, without both edges of each pulse shorter than `shortest` (ticks).
fn without_short(line: &Line, shortest: f64) -> Vec<usize> {
    let mut kept: Vec<usize> = Vec::with_capacity(line.edges.len());
    for segment in line.segments() {
        let first = kept.len();
        for at in segment.edges {
            let is_short = |last: &usize| ((line.edges[at] - line.edges[*last]).0 as f64) < shortest;
            match kept[first..].last().is_some_and(is_short) {
                true => drop(kept.pop()),
                false => kept.push(at),
            }
        }
    }
    kept
}

fn bursts_of(capture: &Capture, index: usize, line: &Line) -> Vec<Burst> {
    let tick_s = capture.timebase.tick_s();
    let mut groups: Vec<Range<usize>> = Vec::new();
    let mut rests: Vec<f64> = Vec::new();
    // Groups that the record's beginning or end may have cut: whether they settle is not known.
    let mut cut: Vec<usize> = Vec::new();
    for segment in line.segments() {
        let edges = segment.edges.clone();
        let pauses: Vec<f64> = line.edges[edges.clone()]
            .windows(2)
            .map(|p| (p[1] - p[0]).0 as f64 * tick_s)
            .collect();
        let Some(limit) = pause_limit(&pauses) else {
            continue;
        };
        let mut from = edges.start;
        let first = groups.len();
        for (i, &pause) in pauses.iter().enumerate() {
            if pause > limit {
                groups.push(from..edges.start + i + 1);
                rests.push(pause);
                from = edges.start + i + 1;
            }
        }
        if from < edges.end {
            groups.push(from..edges.end);
        }
        let beside = |gap: Ticks| gap.0 as f64 * tick_s <= limit;
        if beside(line.edges[edges.start] - segment.span.start) {
            cut.push(first);
        }
        if beside(segment.span.end - line.edges[edges.end - 1]) {
            cut.push(groups.len() - 1);
        }
    }
    let long: Vec<Range<usize>> = groups
        .iter()
        .filter(|g| g.len() >= FEWEST_EDGES)
        .cloned()
        .collect();
    let is_long = |at: &usize| groups[*at].len() >= FEWEST_EDGES;
    let mut whole: Vec<usize> = (0..groups.len()).filter(is_long).collect();
    if whole.iter().any(|at| !cut.contains(at)) {
        whole.retain(|at| !cut.contains(at));
    }
    let odd = whole.iter().filter(|&&at| groups[at].len() % 2 == 1).count();
    let edges_inside: usize = long.iter().map(|g| g.len()).sum();
    let settles = odd * 10 >= whole.len() * 9;
    // One burst alone must be long to be told from an edge with a stray beside it.
    let enough = long.len() * 2 >= groups.len() && (long.len() >= 3 || edges_inside >= 5 * long.len().max(1));
    if long.is_empty() || !settles || !enough || !is_irregular(line, &long, tick_s) {
        return Vec::new();
    }
    let burst = |edges: Range<usize>| Burst {
        line: index,
        start: line.edges[edges.start],
        end: line.edges[edges.end - 1],
        settled: line.level_after(edges.end - 1),
        edges,
    };
    let bursts: Vec<Burst> = long.into_iter().map(burst).collect();
    let longest = bursts
        .iter()
        .map(|b| b.length().0 as f64 * tick_s)
        .fold(0.0, f64::max);
    let mut shortest_rest = rests.iter().copied().fold(f64::INFINITY, f64::min);
    let few = bursts.len() < FEW_BURSTS;
    if few {
        // A contact that was worked once or twice: the record after it must show that it rests.
        let after = line.span.end - bursts[bursts.len() - 1].end;
        shortest_rest = shortest_rest.min(after.0 as f64 * tick_s);
    }
    let most = bursts.iter().map(|b| b.edges.len()).max().unwrap_or(0);
    let (times, limit) = if few {
        (REST_TO_FEW, LONGEST_LONE_S)
    } else {
        (REST_TO_BURST, LONGEST_BURST_S)
    };
    if longest > limit || shortest_rest < times * longest || (few && most > MOST_LONE_EDGES) {
        return Vec::new();
    }
    bursts
}

/// The pause that parts bursts from pauses inside: the widest gap in the sorted pauses below the limit.
fn pause_limit(pauses: &[f64]) -> Option<f64> {
    if pauses.len() < FEWEST_EDGES - 1 {
        return None;
    }
    let mut sorted = pauses.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let inside = sorted.partition_point(|&p| p <= LONGEST_PAUSE_S);
    if inside == 0 {
        return None;
    }
    if inside == sorted.len() && sorted.iter().sum::<f64>() <= LONGEST_BURST_S {
        // A single burst, the whole of the line's activity: unless a gap parts it.
        let parted = widest(&sorted, inside - 1);
        return Some(parted.map_or(sorted[inside - 1], |(at, _)| sorted[at]));
    }
    widest(&sorted, inside).map(|(at, _)| sorted[at])
}

/// Index of the last pause inside bursts, and the ratio to the next, where that is large enough.
fn widest(sorted: &[f64], inside: usize) -> Option<(usize, f64)> {
    (0..inside)
        .filter(|&i| i + 1 < sorted.len())
        .map(|i| (i, sorted[i + 1] / sorted[i].max(1e-12)))
        .filter(|&(i, ratio)| ratio >= REST_TO_PAUSE && i * 2 >= sorted.len())
        .max_by(|a, b| a.1.total_cmp(&b.1))
}

/// Pauses that differ by less than this are one: what a clock times repeats at least so well (no source).
const SAME_PAUSE: f64 = 1.002;
/// A contact's pauses differ by this from the first tenth to the last (no source).
const SPREAD: f64 = 1.8;
/// Half the pauses must be of widths of their own; of more than so many, half of these will do (no source).
const MANY_PAUSES: usize = 12;

/// Contacts bounce irregularly: pauses differ widely, and no few widths make up the whole.
fn is_irregular(line: &Line, groups: &[Range<usize>], tick_s: f64) -> bool {
    let mut pauses: Vec<f64> = groups
        .iter()
        .flat_map(|g| {
            line.edges[g.clone()]
                .windows(2)
                .map(|p| (p[1] - p[0]).0 as f64 * tick_s)
        })
        .collect();
    pauses.sort_unstable_by(f64::total_cmp);
    let at = |share: f64| pauses[((pauses.len() - 1) as f64 * share) as usize];
    if at(0.5) < TYPICAL_PAUSE_S {
        return false;
    }
    let mut widths = pauses.clone();
    widths.dedup_by(|a, b| *a <= *b * SAME_PAUSE);
    at(0.9) >= SPREAD * at(0.1)
        && widths.len() * 2 >= pauses.len().min(MANY_PAUSES)
        && !are_of_few_widths(line, groups)
}

/// Pauses of one burst that differ by less are alike; more than this share of its pairs of pauses are alike where a code has two or
/// three widths, and of a contact's pauses hardly any (common practice, no source). Fewer pairs than the last show neither.
const ALIKE: f64 = 0.03;
const MOST_ALIKE: f64 = 0.28;
const FEWEST_PAIRS: usize = 12;
/// Pauses of a burst that are looked at.
const PAUSES_PAIRED: usize = 24;

/// Whether the pauses inside bursts are of two or three widths, as those of data that a clock times: each burst by itself, since a
/// contact's bursts may be many. Cost: bursts × the square of [`PAUSES_PAIRED`].
fn are_of_few_widths(line: &Line, groups: &[Range<usize>]) -> bool {
    let (mut alike, mut pairs) = (0usize, 0usize);
    for group in groups {
        let edges = &line.edges[group.clone()];
        let pauses: Vec<f64> = edges
            .windows(2)
            .take(PAUSES_PAIRED)
            .map(|p| (p[1] - p[0]).0 as f64)
            .collect();
        for (at, one) in pauses.iter().enumerate() {
            let others = &pauses[at + 1..];
            pairs += others.len();
            alike += others
                .iter()
                .filter(|&other| (other - one).abs() <= ALIKE * one)
                .count();
        }
    }
    pairs >= FEWEST_PAIRS && alike as f64 > MOST_ALIKE * pairs as f64
}

/// Edges this soon after another line's coincide with it; what comes later than they do, by more than a sample, follows them.
const NEAR_S: f64 = 50e-9;
/// Share of the edges that must not coincide with one other line's, nor with others' together unless chance has it, up to
/// this chance.
const TOGETHER: f64 = 0.5;
const TOGETHER_CHANCE: f64 = 1e-3;

/// Whether the bursts' edges seldom coincide with edges of other lines and none leads them. A bit of a bus coincides with some
/// of the other bits each time, and with none of them always. What a contact's line catches as another switches is no switching of its own. Cost: the bursts'
/// edges × lines × log of their edges.
fn switches_alone(capture: &Capture, looked_at: &[Contact], index: usize) -> bool {
    let bursts = &looked_at[index].bursts;
    let line = &capture.lines[index];
    let sample = line.sample_ticks.ceil() as i64;
    let near = (capture.timebase.ticks_of(NEAR_S) as i64).max(sample);
    let edges: Vec<Ticks> = bursts
        .iter()
        .flat_map(|b| &line.edges[b.edges.clone()])
        .copied()
        .collect();
    let others = capture.lines.iter().enumerate();
    let others = others
        .filter(|(other, l)| *other != index && line.same_as != Some(*other) && l.same_as != Some(index));
    let others = others.map(|(other, l)| looked_at[other].bare.as_ref().unwrap_or(l));
    let (mut with_any, mut covered) = (vec![false; edges.len()], 0.0);
    for other in others {
        let mut together = 0;
        for (at, with) in edges.iter().zip(&mut with_any) {
            let is_near = !other
                .edges_within(Ticks(at.0 - near), Ticks(at.0 + sample + 1))
                .is_empty();
            together += usize::from(is_near);
            *with |= is_near;
        }
        if together as f64 >= TOGETHER * edges.len() as f64 {
            return false;
        }
        covered += (other.edges.len() as i64 * (near + sample + 1)) as f64;
    }
    if led::by_another(capture, index, &edges) {
        return false;
    }
    let together = with_any.iter().filter(|with| **with).count();
    let covered = (covered / (line.span.end - line.span.start).0.max(1) as f64).min(1.0);
    (together as f64) < TOGETHER * edges.len() as f64
        || binomial_upper(together as u64, edges.len() as u64, covered) > TOGETHER_CHANCE
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::random::Random;
    use crate::model::TimeSpan;

    /// A key that is worked every 30 ms and bounces; the record ends inside the last burst, after an even number of edges.
    #[test]
    fn a_burst_that_the_record_s_end_cuts_says_nothing_against_bounce() {
        let mut random = Random::new(3);
        let mut edges = Vec::new();
        for press in 0..6i64 {
            let mut at = 30_000_000 * (press + 1);
            let count = if press == 5 {
                6
            } else {
                5 + 2 * (press as usize % 2)
            };
            for _ in 0..count {
                edges.push(Ticks(at));
                at += 20_000 + (random.unit() * 300_000.0) as i64;
            }
        }
        let told = |end: i64| {
            let span = TimeSpan::new(Ticks(0), Ticks(end));
            let line = Line::digital("KEY", Level::Low, edges.clone(), span);
            find(&Capture::in_nanoseconds("a key", span, vec![line])).len()
        };
        let last = edges.last().unwrap().0;
        assert_eq!(told(last + 10_000), 6);
        // With the record going on the last burst is even, and one in six is too many.
        assert_eq!(told(last + 100_000_000), 0);
    }

    #[test]
    fn a_bit_of_a_bus_that_others_go_along_with_by_turns_is_no_contact() {
        let mut random = Random::new(7);
        let bursts: Vec<Ticks> = (1..7i64)
            .flat_map(|press| {
                let mut at = 30_000_000 * press;
                let mut step = || {
                    at += 20_000 + (random.unit() * 300_000.0) as i64;
                    Ticks(at)
                };
                [step(), step(), step(), step(), step()]
            })
            .collect();
        let span = TimeSpan::new(Ticks(0), Ticks(300_000_000));
        // Each of three lines switches with every third edge, a little before it, or later.
        let told = |after: i64| -> usize {
            let bit = |turn: usize| {
                bursts
                    .iter()
                    .skip(turn)
                    .step_by(3)
                    .map(|t| Ticks(t.0 + after))
                    .collect()
            };
            let mut lines = vec![Line::digital("KEY", Level::Low, bursts.clone(), span)];
            lines.extend((0..3).map(|turn| Line::digital("D", Level::Low, bit(turn), span)));
            let found = find(&Capture::in_nanoseconds("a bus", span, lines));
            found.iter().filter(|b| b.line == 0).count()
        };
        // As a counter's bits do, that come behind the key.
        assert_eq!([told(0), told(-5), told(5_000), told(12)], [0, 0, 6, 6]);
    }

    /// Two keys, worked by turns, that bounce; each fall of one puts a dip of 300 to 900 ns on the other, `lag` later.
    fn two_keys(lag: i64) -> Capture {
        let mut random = Random::new(11);
        let span = TimeSpan::new(Ticks(0), Ticks(6_000_000_000));
        let mut edges: [Vec<Ticks>; 2] = Default::default();
        for press in 0..20usize {
            let (own, other) = (press % 2, 1 - press % 2);
            for change in 0..2 {
                let mut at = 250_000_000 * (press as i64 + 1) + 120_000_000 * change;
                let count = 3 + 2 * (random.unit() * 3.0) as i64;
                for n in 0..count {
                    edges[own].push(Ticks(at));
                    // It rests high.
                    if (n + change) % 2 == 0 {
                        let width = 300 + (random.unit() * 600.0) as i64;
                        edges[other].extend([Ticks(at + lag), Ticks(at + lag + width)]);
                    }
                    at += 30_000 + (random.unit() * 900_000.0) as i64;
                }
            }
        }
        let line = |name: &str, mut edges: Vec<Ticks>| {
            edges.sort_unstable();
            Line::digital(name, Level::High, edges, span)
        };
        let [peal, damp] = edges;
        let mut lines = vec![line("PEAL_KEY", peal), line("DAMP_KEY", damp)];
        lines.iter_mut().for_each(|line| line.sample_ticks = 40.0);
        Capture::in_nanoseconds("two keys", span, lines)
    }

    #[test]
    fn contacts_that_strike_each_other_bounce_all_the_same_and_their_dips_are_strays() {
        use crate::analysis::strays::{self, StrayKind, StrayOptions};
        for lag in [20, 90] {
            let capture = two_keys(lag);
            let bursts = find(&capture);
            let of = |line: usize| bursts.iter().filter(|b| b.line == line).count();
            assert_eq!([of(0), of(1)], [20, 20], "lag {lag}");
            let found = strays::find(&capture, &StrayOptions::default());
            let dips = found.strays.iter().filter(|s| s.kind == StrayKind::Pulse);
            let dips: Vec<i64> = dips.map(|s| s.width.0).collect();
            assert!(dips.len() > 60, "{}", dips.len());
            assert!(dips.iter().all(|width| (300..900).contains(width)));
        }
    }

    #[test]
    fn strays_while_a_key_is_held_are_parted_from_its_rest_before_and_after() {
        use crate::analysis::strays::{self, StrayKind, StrayOptions};
        let span = TimeSpan::new(Ticks(0), Ticks(900_000_000));
        let bounces = |at: i64| [0, 31_007, 52_113, 163_391, 171_822].map(|after| Ticks(at + after));
        let strays = (1..7i64).flat_map(|n| {
            let at = 210_000_000 + 41_000_000 * n;
            [Ticks(at), Ticks(at + 30 + 7 * n)]
        });
        let mut edges: Vec<Ticks> = bounces(200_000_000)
            .into_iter()
            .chain(bounces(600_000_000))
            .collect();
        edges.extend(strays);
        edges.sort_unstable();
        let line = Line::digital("LAMP_TEST_N", Level::High, edges, span);
        let capture = Capture::in_nanoseconds("a key held", span, vec![line]);
        let found = strays::find(&capture, &StrayOptions::default());
        let of = |kind: StrayKind| found.strays.iter().filter(|s| s.kind == kind).count();
        assert_eq!([of(StrayKind::Bounce), of(StrayKind::Pulse)], [8, 6]);
    }
}
