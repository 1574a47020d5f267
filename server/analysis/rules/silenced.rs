//! Lines that fall silent for good while lines that moved only with them go on: a clip that fell off, or a wire.

use std::ops::Range;

use crate::analysis::stats::order::middle;
use crate::analysis::stats::tails::binomial_upper;
use crate::model::{Capture, Level, Line, Ticks};

/// A line without an edge from a moment on, and one that shows that it ought to have some.
#[derive(Clone, Debug, PartialEq)]
pub struct Silenced {
    /// Position in the capture.
    pub line: usize,
    /// Its last edge.
    pub since: Ticks,
    /// A line whose edges came after one of its edges, so many of so many until then; and those that have come without one since.
    pub follower: usize,
    pub followed: (u64, u64),
    pub without: u64,
    /// So soon, in ticks.
    pub within: i64,
    /// Whether the machine may do something else from then on: another line that seldom switches did so just then, or the
    /// follower keeps another rhythm since.
    pub may_be_meant: bool,
}

/// What follows an edge comes so soon: some gates and a cable.
const WITHIN_S: f64 = 120e-9;
/// Edges of the silent line, and of the other before and after it fell silent, that can show it (no source: round numbers).
const FEWEST: usize = 10;
/// Share of the other's edges that came after the line's.
const FOLLOWED: f64 = 0.97;
/// Chance, all lines allowed for, that so many do so without having to do with it.
const CHANCE: f64 = 1e-6;
/// A third line explains what moved on if so large a share of the edges since come after its own.
const EXPLAINED: f64 = 0.9;
/// A line with fewer edges than this share of the silent line's seldom switches: what says which phase a machine is in. It
/// does so within so many of the silent line's usual intervals of its last edge.
const SELDOM: f64 = 0.1;
const JUST_THEN: i64 = 3;
/// Rhythms and widths differ where their middles do by this factor (common practice, no source).
const OTHER_RHYTHM: f64 = 1.3;
/// So many edges, evenly spread, are looked at before all are.
const TASTED: usize = 64;

/// The lines that fell silent, with the follower that moved on most. Cost: for each line that ends well before the record
/// does the edges of those that go on × log of its own, of most lines a few.
pub fn silenced(capture: &Capture) -> Vec<Silenced> {
    let lines = 0..capture.lines.len();
    lines.filter_map(|line| silenced_line(capture, line)).collect()
}

fn silenced_line(capture: &Capture, index: usize) -> Option<Silenced> {
    let line = &capture.lines[index];
    let since = *line.edges.last()?;
    let recorded = line.segments().last().is_some_and(|s| s.span.start <= since);
    if line.edges.len() < FEWEST || line.same_as.is_some() || line.trace.is_some() || !recorded {
        return None;
    }
    let others = (0..capture.lines.len()).filter(|&other| other != index && may_follow(capture, other));
    let found = others.filter_map(|other| follower(capture, index, other, since));
    found.max_by_key(|silenced| silenced.without)
}

/// Whether a line is one of its own that could show another to have fallen silent.
fn may_follow(capture: &Capture, other: usize) -> bool {
    let line = &capture.lines[other];
    line.same_as.is_none() && line.trace.is_none() && line.edges.len() >= 2 * FEWEST
}

/// Whether `other` moved only with the line until its last edge, and has moved on since.
fn follower(capture: &Capture, index: usize, other: usize, since: Ticks) -> Option<Silenced> {
    let (line, follower) = (&capture.lines[index], &capture.lines[other]);
    let within = Within::of(capture, line, follower);
    let until = follower.edges.partition_point(|&e| e.0 <= since.0 + within.after);
    let recorded = follower.edges.partition_point(|&e| e <= line.span.end);
    let (before, later) = (
        &follower.edges[..until],
        &follower.edges[until..recorded.max(until)],
    );
    if before.len() < FEWEST || later.len() < FEWEST {
        return None;
    }
    let share = |edges: &[Ticks], of: &Line| {
        let step = edges.len() / TASTED + 1;
        let tasted = || edges.iter().step_by(step);
        tasted().filter(|&&e| within.is_after(of, e)).count() as f64 / tasted().count() as f64
    };
    if share(before, line) < FOLLOWED {
        return None;
    }
    let followed = before.iter().filter(|&&e| within.is_after(line, e)).count();
    let whole = (since - line.span.start).0.max(1) as f64;
    let covered = (line.edges.len() as f64 * within.length() / whole).min(1.0);
    let chance = binomial_upper(followed as u64, before.len() as u64, covered);
    let tried = (capture.lines.len() * capture.lines.len()) as f64;
    if (followed as f64) < FOLLOWED * before.len() as f64 || chance * tried > CHANCE {
        return None;
    }
    // A third line may move it: the machine does something else by now, or the silent line was gated from the third all along.
    let mut thirds = (0..capture.lines.len()).filter(|&third| third != index && third != other);
    let is_explained = thirds.any(|third| share(later, &capture.lines[third]) >= EXPLAINED);
    (!is_explained).then_some(Silenced {
        line: index,
        since,
        follower: other,
        followed: (followed as u64, before.len() as u64),
        without: later.len() as u64,
        within: within.after,
        may_be_meant: turns_just_then(capture, index, since) || changes_rhythm(follower, until),
    })
}

/// Whether a line that seldom switches does so about when the line falls silent.
fn turns_just_then(capture: &Capture, index: usize, since: Ticks) -> bool {
    let line = &capture.lines[index];
    let interval = usual(line.edges.windows(2).map(|w| (w[1] - w[0]).0));
    let reach = JUST_THEN * interval.unwrap_or(0);
    let mut others = capture
        .lines
        .iter()
        .enumerate()
        .filter(|(other, _)| *other != index);
    others.any(|(_, other)| {
        let seldom = (other.edges.len() as f64) < SELDOM * line.edges.len() as f64;
        seldom
            && !other
                .edges_within(Ticks(since.0 - reach), Ticks(since.0 + reach + 1))
                .is_empty()
    })
}

/// Whether the line's pulses of either level last longer or shorter from edge `until` on than before it.
fn changes_rhythm(line: &Line, until: usize) -> bool {
    let lengths = |range: Range<usize>, level: Level| {
        let pulses = range.filter(|&edge| edge + 1 < line.edges.len() && line.level_after(edge) == level);
        usual(pulses.map(|edge| (line.edges[edge + 1] - line.edges[edge]).0))
    };
    [Level::Low, Level::High].into_iter().any(|level| {
        let [before, later] =
            [0..until.saturating_sub(1), until..line.edges.len()].map(|range| lengths(range, level));
        let (Some(before), Some(later)) = (before, later) else {
            return false;
        };
        before.max(later) as f64 > OTHER_RHYTHM * before.min(later).max(1) as f64
    })
}

/// The middle of some lengths.
fn usual(lengths: impl Iterator<Item = i64>) -> Option<i64> {
    let mut lengths: Vec<i64> = lengths.collect();
    lengths.sort_unstable();
    middle(&lengths)
}

/// How soon before and after an edge another belongs to it, in ticks.
struct Within {
    before: i64,
    after: i64,
}

impl Within {
    fn of(capture: &Capture, line: &Line, follower: &Line) -> Within {
        let sample = line.sample_ticks.max(follower.sample_ticks).ceil() as i64;
        Within {
            before: sample,
            after: capture.timebase.ticks_of(WITHIN_S) as i64 + sample,
        }
    }

    fn length(&self) -> f64 {
        (self.before + self.after + 1) as f64
    }

    /// Whether an edge of `line` comes shortly before `edge`, or with it.
    fn is_after(&self, line: &Line, edge: Ticks) -> bool {
        let near = line.edges_within(Ticks(edge.0 - self.after), Ticks(edge.0 + self.before + 1));
        !near.is_empty()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::TimeSpan;

    /// STEP rises every 10,000 ticks up to the n-th time that `steps` says; BEAT switches 20 ticks after each rise of all
    /// 100, and LIFT 5 ticks before it, from `lift` on.
    fn found(steps: i64, lift: i64) -> Vec<(usize, usize, u64, u64)> {
        let found = silenced(&capture(steps, lift)).into_iter();
        found
            .map(|s| (s.line, s.follower, s.followed.0, s.without))
            .collect()
    }

    fn capture(steps: i64, lift: i64) -> Capture {
        let span = TimeSpan::new(Ticks(0), Ticks(1_100_000));
        let line = |name: &str, edges: Vec<i64>| {
            Line::digital(name, Level::Low, edges.into_iter().map(Ticks).collect(), span)
        };
        let at = |n: i64| 10_000 * (n + 1) + 37 * (n % 11);
        let lines = vec![
            line("STEP", (0..steps).flat_map(|n| [at(n), at(n) + 4_000]).collect()),
            line("BEAT", (0..100).map(|n| at(n) + 20).collect()),
            line("LIFT", (lift..100).map(|n| at(n) - 5).collect()),
        ];
        Capture::in_nanoseconds("fallen", span, lines)
    }

    #[test]
    fn a_line_falls_silent_where_another_goes_on_without_it() {
        assert_eq!(found(40, 100), [(0, 1, 40, 60)]);
        // To the end, or nearly.
        assert!(found(100, 100).is_empty());
        assert!(found(95, 100).is_empty());
        // Another line steps it from then on.
        assert!(found(40, 40).is_empty());
        // Or it stepped both all along, and STEP is gated from it.
        assert!(found(40, 0).is_empty());
    }

    #[test]
    fn another_phase_of_the_machine_may_be_meant() {
        let may_be_meant = |of: &Capture| silenced(of)[0].may_be_meant;
        let fallen = capture(40, 100);
        assert!(!may_be_meant(&fallen));
        // LIFT switches once, as STEP's last edge has come.
        let mut turned = fallen.clone();
        let lift = vec![Ticks(turned.lines[0].edges[79].0 + 3_000)];
        turned.lines[2] = Line::digital("LIFT", Level::Low, lift, turned.span);
        assert!(may_be_meant(&turned));
        // BEAT goes on half as fast.
        let mut slower = fallen;
        let beat = &slower.lines[1].edges;
        let kept = beat.iter().enumerate().filter(|(n, _)| *n < 40 || n % 2 == 0);
        let kept = kept.map(|(_, edge)| *edge).collect();
        slower.lines[1] = Line::digital("BEAT", Level::Low, kept, slower.span);
        assert!(may_be_meant(&slower));
    }
}
