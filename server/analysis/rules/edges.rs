//! Walks over sorted edges: those of one polarity, and those of several lines in time order.

use std::borrow::Cow;

use crate::model::{Level, Line, Polarity, Ticks, TimeSpan};

/// The edges of one line and one polarity (or both), as an indexable list. Made in constant time, except for a line with
/// leaps over unrecorded stretches.
pub struct Edges<'a> {
    times: Cow<'a, [Ticks]>,
    first: usize,
    step: usize,
}

impl<'a> Edges<'a> {
    /// Edges of one polarity, or all of them. Cost: none, but linear in the edges of a line with flips.
    pub fn of(line: &'a Line, polarity: Option<Polarity>) -> Edges<'a> {
        let Some(polarity) = polarity else {
            return Edges {
                times: Cow::Borrowed(&line.edges),
                first: 0,
                step: 1,
            };
        };
        if line.flips.is_empty() {
            let first_is = Polarity::towards(line.first.inverted());
            return Edges {
                times: Cow::Borrowed(&line.edges),
                first: usize::from(first_is != Some(polarity)),
                step: 2,
            };
        }
        let wanted = (0..line.edges.len()).filter(|&i| line.polarity(i) == polarity);
        Edges {
            times: Cow::Owned(wanted.map(|i| line.edges[i]).collect()),
            first: 0,
            step: 1,
        }
    }

    /// Number of the edges chosen.
    pub fn len(&self) -> usize {
        self.times.len().saturating_sub(self.first).div_ceil(self.step)
    }

    /// Whether no edge was chosen.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Time of the edge at `index` among those chosen.
    pub fn get(&self, index: usize) -> Option<Ticks> {
        self.times.get(self.first + index * self.step).copied()
    }

    /// Times of the edges chosen, ascending.
    pub fn iter(&self) -> impl Iterator<Item = Ticks> + '_ {
        self.times.iter().skip(self.first).step_by(self.step).copied()
    }
}

/// The edges of several lines in time order. Cost per edge: linear in the number of lines.
pub struct Merge<'a> {
    columns: Vec<&'a [Ticks]>,
    next: Vec<usize>,
    heads: Vec<Ticks>,
}

impl<'a> Merge<'a> {
    /// Merges columns that ascend each in itself.
    pub fn new(columns: Vec<&'a [Ticks]>) -> Merge<'a> {
        let heads = columns
            .iter()
            .map(|c| c.first().copied().unwrap_or(Ticks::MAX))
            .collect();
        Merge {
            next: vec![0; columns.len()],
            heads,
            columns,
        }
    }
}

impl Iterator for Merge<'_> {
    /// The moment and which of the lines.
    type Item = (Ticks, usize);

    #[inline]
    fn next(&mut self) -> Option<(Ticks, usize)> {
        let mut first = 0;
        let mut time = Ticks::MAX;
        for (i, &head) in self.heads.iter().enumerate() {
            if head < time {
                (first, time) = (i, head);
            }
        }
        if time == Ticks::MAX {
            return None;
        }
        self.next[first] += 1;
        self.heads[first] = self.columns[first]
            .get(self.next[first])
            .copied()
            .unwrap_or(Ticks::MAX);
        Some((time, first))
    }
}

/// Stretches of one line at `level`, ascending: between edges, or between an edge and an end of what was recorded.
pub fn pulses_at(line: &Line, level: Level) -> impl Iterator<Item = (Ticks, Ticks)> + '_ {
    line.segments().into_iter().flat_map(move |segment| {
        let edges = &line.edges[segment.edges.clone()];
        let (start, end) = (segment.span.start, segment.span.end);
        let lead = segment.first == level;
        let open = lead.then(|| (start, edges.first().copied().unwrap_or(end)));
        let rest = edges[usize::from(lead).min(edges.len())..]
            .chunks(2)
            .map(move |pair| (pair[0], pair.get(1).copied().unwrap_or(end)));
        open.into_iter().chain(rest)
    })
}

/// Whether any of the lines was without a known level at some moment from `start` to `end`, both closed.
pub fn is_blind(lines: &[&Line], start: Ticks, end: Ticks) -> bool {
    let after = Ticks(end.0.saturating_add(1));
    lines.iter().any(|line| line.is_blind(start, after))
}

/// What all the lines recorded.
pub fn common_span(lines: &[&Line]) -> TimeSpan {
    let start = lines.iter().map(|l| l.span.start).max().unwrap_or_default();
    let end = lines.iter().map(|l| l.span.end).min().unwrap_or_default();
    TimeSpan::new(start, end)
}
