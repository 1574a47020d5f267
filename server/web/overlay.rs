//! Persistence: a finding's occurrences laid on one another, aligned at the edge that causes each, or at the
//! evidence's first moment where no edge is to blame.

use serde::Serialize;

use crate::model::{Level, Line, Ticks};

use super::occurrences::{Mark, Occurrence};
use super::opened::Opened;

/// Most occurrences that are laid on one another; more are thinned evenly.
const MOST_LAID: usize = 400;
/// Most edges of one line around one occurrence, and most of all together.
const MOST_EDGES: usize = 256;
const MOST_EDGES_IN_ALL: usize = 400_000;

/// Occurrences around their anchors.
#[derive(Clone, Debug, PartialEq, Serialize, utoipa::ToSchema)]
pub struct Overlay {
    /// Occurrences there are, and how many of these are laid on one another.
    pub count: usize,
    pub laid: usize,
    /// Ticks before and after the anchor.
    pub before: i64,
    pub after: i64,
    pub lines: Vec<Traces>,
}

/// What one line did around each anchor.
#[derive(Clone, Debug, PartialEq, Serialize, utoipa::ToSchema)]
pub struct Traces {
    /// Position in the capture.
    pub line: usize,
    /// One list an occurrence that could be read here: the level on entering (0 or 1), then the edges in ticks from
    /// the anchor.
    pub traces: Vec<Vec<i64>>,
    /// Left out: unknown level, or too many edges.
    pub left_out: usize,
}

/// The moment at which an occurrence is aligned.
pub fn anchor(occurrence: &Occurrence) -> i64 {
    let cause = occurrence.marks.iter().find_map(|mark| match mark {
        Mark::Cause { at, .. } | Mark::Suspect { at, .. } => Some(*at),
        Mark::Missing { sent, .. } => Some(*sent),
        _ => None,
    });
    cause.unwrap_or(occurrence.from)
}

/// Lays occurrences on one another over `before` and `after` ticks around their anchors.
pub fn overlay(opened: &Opened, list: &[Occurrence], lines: &[usize], before: i64, after: i64) -> Overlay {
    let laid = list.len().min(MOST_LAID);
    let anchors: Vec<i64> = (0..laid).map(|i| anchor(&list[i * list.len() / laid])).collect();
    let mut room = MOST_EDGES_IN_ALL;
    let lines = lines.iter().map(|&position| {
        let line = &opened.capture.lines[position];
        let traces: Vec<Vec<i64>> = anchors
            .iter()
            .filter_map(|&anchor| {
                let trace = trace(line, opened.origin().0.saturating_add(anchor), before, after)?;
                room = room.checked_sub(trace.len())?;
                Some(trace)
            })
            .collect();
        Traces {
            line: position,
            left_out: anchors.len() - traces.len(),
            traces,
        }
    });
    let lines = lines.collect();
    Overlay {
        count: list.len(),
        laid,
        before,
        after,
        lines,
    }
}

fn trace(line: &Line, anchor: i64, before: i64, after: i64) -> Option<Vec<i64>> {
    let (start, end) = (
        Ticks(anchor.saturating_sub(before)),
        Ticks(anchor.saturating_add(after)),
    );
    let edges = line.edges_within(start, end);
    let entering = line.known_level_at(Ticks(start.0.saturating_sub(1)));
    if line.is_blind(start, end) || !entering.is_known() || edges.len() > MOST_EDGES {
        return None;
    }
    let level = i64::from(entering == Level::High);
    let moments = line.edges[edges].iter().map(|edge| edge.0 - anchor);
    Some(std::iter::once(level).chain(moments).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::TimeSpan;

    #[test]
    fn a_trace_is_read_from_its_anchor() {
        let span = TimeSpan::new(Ticks(0), Ticks(1000));
        let line = Line::digital("A", Level::Low, [100, 110, 300].map(Ticks).to_vec(), span);
        assert_eq!(trace(&line, 105, 10, 100), Some(vec![0, -5, 5]));
        assert_eq!(trace(&line, 105, 5, 5), Some(vec![0, -5]));
        assert_eq!(trace(&line, 200, 50, 50), Some(vec![0]));
        assert_eq!(trace(&line, 106, 5, 50), Some(vec![1, 4]));
    }

    #[test]
    fn occurrences_are_aligned_at_the_cause() {
        let stray = Mark::Stray {
            line: 0,
            start: 20,
            end: 30,
        };
        let mut occurrence = Occurrence {
            from: 15,
            to: 30,
            marks: vec![stray],
            caption: String::new(),
        };
        assert_eq!(anchor(&occurrence), 15);
        occurrence.marks.push(Mark::Cause { line: 1, at: 7 });
        assert_eq!(anchor(&occurrence), 7);
    }
}
