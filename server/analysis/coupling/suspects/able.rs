//! Lines without their strays, and the time during which a victim was able to show a stray.

use std::ops::Range;

use crate::analysis::parallel::on_all_cores;
use crate::analysis::strays::{StrayKind, Strays};
use crate::model::{Capture, Level, Line, Polarity};

/// A line's own edges by polarity, strays taken out: ascending ticks.
#[derive(Clone, Debug, Default)]
pub struct OwnEdges {
    pub rises: Vec<i64>,
    pub falls: Vec<i64>,
}

impl OwnEdges {
    /// The edges of that polarity, in ticks, ascending.
    pub fn of(&self, polarity: Polarity) -> &[i64] {
        match polarity {
            Polarity::Rise => &self.rises,
            Polarity::Fall => &self.falls,
        }
    }

    /// Rises and falls, ascending. Cost: linear.
    pub fn either(&self) -> Vec<i64> {
        let mut times = [self.rises.as_slice(), &self.falls].concat();
        // The stable sort merges runs.
        times.sort();
        times
    }
}

/// A stretch at one level without an edge of the line's own: start closed, end open, in ticks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Rest {
    pub start: i64,
    pub end: i64,
}

/// When a victim can show a stray: an edge at e is an opportunity when it lies in a rest with `slack` ticks to
/// spare on both sides, start + slack < e < end − slack.
#[derive(Clone, Copy, Debug)]
pub struct Able<'a> {
    /// Ascending, not overlapping.
    pub rests: &'a [Rest],
    pub slack: i64,
}

impl Able<'_> {
    /// Whether an edge at `time` is an opportunity. Cost: log of the rests.
    pub fn at(&self, time: i64) -> bool {
        let after = self.rests.partition_point(|r| r.end - self.slack <= time);
        self.rests.get(after).is_some_and(|r| r.start + self.slack < time)
    }
}

/// Whether one of `times` (ascending) lies from `from` to `to`, both ends closed. Cost: log of the times.
pub fn any_within(times: &[i64], from: i64, to: i64) -> bool {
    first_from(times, from).is_some_and(|t| t <= to)
}

/// The first of `times` (ascending) at or after `at`. Cost: log of the times.
pub fn first_from(times: &[i64], at: i64) -> Option<i64> {
    times.get(times.partition_point(|&t| t < at)).copied()
}

/// The last of `times` (ascending) at or before `at`. Cost: log of the times.
pub fn last_to(times: &[i64], at: i64) -> Option<i64> {
    let after = times.partition_point(|&t| t <= at);
    after.checked_sub(1).map(|last| times[last])
}

/// Edges that begin or end a stray pulse of `line`, ascending indices.
fn stray_edges(strays: &Strays, line: usize) -> Vec<usize> {
    let pulses = strays.of_line(line).iter().filter(|s| s.kind == StrayKind::Pulse);
    let mut edges: Vec<usize> = pulses.filter_map(|s| s.edge).flat_map(|e| [e, e + 1]).collect();
    edges.sort_unstable();
    edges
}

/// `edges` without those of `skip` (ascending). Cost: linear.
fn without<'a>(edges: Range<usize>, skip: &'a [usize]) -> impl Iterator<Item = usize> + 'a {
    let mut at = skip.partition_point(|&s| s < edges.start);
    edges.filter(move |&edge| {
        while skip.get(at).is_some_and(|&s| s < edge) {
            at += 1;
        }
        skip.get(at) != Some(&edge)
    })
}

/// The own edges of every line. Cost: linear in edges. All cores.
pub fn own_edges(capture: &Capture, strays: &Strays) -> Vec<OwnEdges> {
    let all: Vec<usize> = (0..capture.lines.len()).collect();
    on_all_cores(&all, |&index| own_edges_of(capture, strays, index))
}

/// The own edges of line `index`.
pub fn own_edges_of(capture: &Capture, strays: &Strays, index: usize) -> OwnEdges {
    let line: &Line = &capture.lines[index];
    let skip = stray_edges(strays, index);
    let half = line.edges.len() / 2 + 1;
    let mut own = OwnEdges {
        rises: Vec::with_capacity(half),
        falls: Vec::with_capacity(half),
    };
    for segment in line.segments() {
        let before = segment.edges.start;
        for edge in without(segment.edges, &skip) {
            let leaves_first = (edge - before).is_multiple_of(2);
            match leaves_first == (segment.first == Level::Low) {
                true => own.rises.push(line.edges[edge].0),
                false => own.falls.push(line.edges[edge].0),
            }
        }
    }
    own
}

/// The stretches in which `line` rested at `level`, strays looked through; unknown, floating and unrecorded
/// stretches are left out. Ascending.
pub fn rests(capture: &Capture, strays: &Strays, line: usize, level: Level) -> Vec<Rest> {
    let skip = stray_edges(strays, line);
    let of = &capture.lines[line];
    let mut rests = Vec::new();
    for segment in of.segments() {
        let mut now = segment.first;
        let mut since = segment.span.start.0;
        for edge in without(segment.edges, &skip) {
            let at = of.edges[edge].0;
            // Strays come in pairs of edges, so the levels of what is left alternate.
            if now == level && at > since {
                push_known(of, since, at, &mut rests);
            }
            now = now.inverted();
            since = at;
        }
        if now == level && segment.span.end.0 > since {
            push_known(of, since, segment.span.end.0, &mut rests);
        }
    }
    rests
}

/// Adds `[start, end)` without the unknown and floating stretches inside.
fn push_known(line: &Line, start: i64, end: i64, rests: &mut Vec<Rest>) {
    let mut from = start;
    let first = line.stretches.partition_point(|s| s.span.end.0 <= start);
    for stretch in line.stretches[first..]
        .iter()
        .take_while(|s| s.span.start.0 < end)
    {
        if stretch.span.start.0 > from {
            rests.push(Rest {
                start: from,
                end: stretch.span.start.0,
            });
        }
        from = from.max(stretch.span.end.0);
    }
    if end > from {
        rests.push(Rest { start: from, end });
    }
}

/// Total length of `rests` in ticks.
pub fn length(rests: &[Rest]) -> f64 {
    rests.iter().map(|r| (r.end - r.start) as f64).sum()
}

/// The edges (ascending) whose whole lag window `[lo, hi]` lies inside one rest: the opportunities, as ranges
/// of indices, ascending. Cost: rests × log of the edges between them.
pub fn opportunities(edges: &[i64], rests: &[Rest], lo: i64, hi: i64) -> Vec<Range<usize>> {
    let mut ranges = Vec::new();
    let mut from = 0;
    for rest in rests {
        from += gallop(&edges[from..], |&e| e + lo.min(0) <= rest.start);
        let to = from + gallop(&edges[from..], |&e| e + hi.max(0) < rest.end);
        if to > from {
            ranges.push(from..to);
        }
        from = to;
    }
    ranges
}

/// How many leading elements satisfy `before`: steps of doubling length, then a search between.
pub fn gallop<T>(sorted: &[T], before: impl Fn(&T) -> bool) -> usize {
    let mut step = 1;
    while step <= sorted.len() && before(&sorted[step - 1]) {
        step *= 2;
    }
    let low = step / 2;
    low + sorted[low..sorted.len().min(step)].partition_point(|x| before(x))
}

/// Distance to the nearest of `times`, ascending, in ticks; the greatest number where there is none.
pub fn nearest(times: &[i64], to: i64) -> i64 {
    let at = times.partition_point(|&t| t < to);
    let after = times.get(at).map_or(i64::MAX, |t| t - to);
    let before = at.checked_sub(1).map_or(i64::MAX, |b| to - times[b]);
    after.min(before)
}

/// Length of the union of `[e + lo, e + hi]` (whole ticks, both ends closed) over the opportunities.
pub fn covered(edges: &[i64], opportunities: &[Range<usize>], lo: i64, hi: i64) -> f64 {
    let mut total = 0i64;
    let mut last = i64::MIN;
    for range in opportunities {
        for &edge in &edges[range.clone()] {
            let (start, end) = ((edge + lo).max(last), edge + hi + 1);
            if end > start {
                total += end - start;
            }
            last = last.max(end);
        }
    }
    total as f64
}

/// Ticks of `rests` (ascending) that lie in `[t + lo, t + hi)` of any of `times` (ascending). Cost: linear in both.
pub fn time_near(times: &[i64], rests: &[Rest], lo: i64, hi: i64) -> f64 {
    let (mut total, mut from) = (0, 0);
    for rest in rests {
        while from < times.len() && times[from] + hi <= rest.start {
            from += 1;
        }
        let mut last = rest.start;
        for &time in times[from..].iter().take_while(|&&t| t + lo < rest.end) {
            let (start, end) = ((time + lo).max(last), (time + hi).min(rest.end));
            total += (end - start).max(0);
            last = last.max(end);
        }
    }
    total as f64
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn time_near_edges_is_counted_once_and_inside_rests_only() {
        let rests = [Rest { start: 0, end: 100 }, Rest { start: 200, end: 300 }];
        assert_eq!(
            time_near(&[10, 20, 95, 150, 290], &rests, -10, 10),
            30.0 + 15.0 + 20.0
        );
        assert_eq!(nearest(&[10, 20, 95], 60), 35);
    }

    #[test]
    fn coverage_counts_overlapping_windows_once() {
        let edges = [10, 12, 40];
        assert_eq!(
            covered(&edges, std::slice::from_ref(&(0..3)), 0, 4),
            5.0 + 2.0 + 5.0
        );
    }

    proptest! {
        #[test]
        fn the_nearest_times_are_those_that_a_plain_look_finds(mut times in proptest::collection::vec(0i64..100, 0..20), at in -5i64..105, more in -3i64..9) {
            times.sort_unstable();
            prop_assert_eq!(first_from(&times, at), times.iter().copied().find(|&t| t >= at));
            prop_assert_eq!(last_to(&times, at), times.iter().copied().rfind(|&t| t <= at));
            prop_assert_eq!(any_within(&times, at, at + more), times.iter().any(|t| (at..=at + more).contains(t)));
        }

        #[test]
        fn galloping_finds_what_a_plain_count_finds(mut edges in proptest::collection::vec(0i64..500, 0..60), at in 0i64..500) {
            edges.sort_unstable();
            let plain = edges.iter().filter(|&&e| e < at).count();
            prop_assert_eq!(gallop(&edges, |&e| e < at), plain);
        }

        #[test]
        fn opportunities_are_the_edges_whose_window_fits(
            mut edges in proptest::collection::vec(0i64..500, 0..60),
            mut bounds in proptest::collection::vec(0i64..500, 0..8),
            hi in 0i64..20,
        ) {
            edges.sort_unstable();
            bounds.sort_unstable();
            bounds.dedup();
            let rests: Vec<Rest> = bounds.as_chunks().0.iter().map(|&[start, end]| Rest { start, end }).collect();
            let fast: Vec<usize> = opportunities(&edges, &rests, -3, hi).into_iter().flatten().collect();
            let fits = |e: i64| rests.iter().any(|r| e - 3 > r.start && e + hi < r.end);
            let plain: Vec<usize> = (0..edges.len()).filter(|&i| fits(edges[i])).collect();
            prop_assert_eq!(fast, plain);
        }
    }
}
