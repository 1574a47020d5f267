//! The edges of one line as a plain list with polarities: what delay estimation and matching work on.

use crate::model::{Level, Line, StretchKind, TimeSpan};

/// Edges of one line in ticks, polarities as +1 (towards high) and −1, and where the line can be judged.
#[derive(Clone)]
pub(super) struct Train {
    /// Ticks, ascending.
    pub times: Vec<i64>,
    pub rises: Vec<bool>,
    /// Ascending stretches in which what the line did is known: recorded, and not unknown.
    pub known: Vec<TimeSpan>,
    pub span: TimeSpan,
}

impl Train {
    /// `inverted` swaps the polarities.
    pub fn of(line: &Line, inverted: bool) -> Train {
        let times: Vec<i64> = line.edges.iter().map(|t| t.0).collect();
        let mut rises = Vec::with_capacity(times.len());
        for segment in line.segments() {
            let mut high = segment.first == Level::High;
            for _ in segment.edges {
                high = !high;
                rises.push(high != inverted);
            }
        }
        // Edges outside every segment cannot occur in a well-formed line; keep the lengths equal all the same.
        rises.resize(times.len(), !inverted);
        let mut known = Vec::new();
        let mut start = line.span.start;
        for stretch in &line.stretches {
            if stretch.kind == StretchKind::Floating {
                continue;
            }
            if stretch.span.start > start {
                known.push(TimeSpan::new(start, stretch.span.start));
            }
            start = start.max(stretch.span.end);
        }
        if line.span.end >= start {
            known.push(TimeSpan::new(start, line.span.end));
        }
        Train {
            times,
            rises,
            known,
            span: line.span,
        }
    }

    /// The same edges with polarities swapped.
    pub fn inverted(&self) -> Train {
        Train {
            times: self.times.clone(),
            rises: self.rises.iter().map(|r| !r).collect(),
            known: self.known.clone(),
            span: self.span,
        }
    }

    /// Times of the edges of one polarity.
    pub fn of_polarity(&self, rise: bool) -> Vec<i64> {
        let pairs = self.times.iter().zip(&self.rises);
        pairs.filter(|(_, r)| **r == rise).map(|(t, _)| *t).collect()
    }

    /// Whether all of [`from`, `to`] lies in one known stretch.
    pub fn is_known(&self, from: i64, to: i64) -> bool {
        let after = self.known.partition_point(|k| k.start.0 <= from);
        after > 0 && to <= self.known[after - 1].end.0
    }
}
