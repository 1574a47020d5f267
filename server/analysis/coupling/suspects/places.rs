//! Where strays lie: by themselves, beside an edge of the line's own, or behind another stray of one event.
//!
//! One edge of a neighbour may bring two strays, the second as its wave comes back or as what it charged lets go. The level between
//! them is as short as they are, and no edge of the line's own is in it: strays of one level with nothing but short gaps between them
//! are one event. It begins as its first stray does, and that is what says who did it; those behind say nothing more. Only where the
//! event lies beside an edge of the line's own can't it be told which of the short levels are the strays.

use crate::analysis::strays::{Stray, StrayKind, Strays};
use crate::model::Line;

/// Where one stray lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// Away from edges of the line's own: the first of its event.
    Apart,
    /// Likewise, behind another stray of its event.
    Again,
    /// So near to an edge of the line's own that the level between is as short as a stray.
    Beside,
}

/// The places of one line's strays.
#[derive(Clone, Debug, Default)]
pub struct Places {
    /// Starts of its strays, ascending ticks, each with its place.
    of: Vec<(i64, Place)>,
}

impl Places {
    /// Those of the strays of `line`, which is at position `index` of the capture. `guard`: a level shorter than this is as short as a
    /// stray, in ticks. Runts have no edges and lie apart; bounce is of the line's own switching. Cost: linear in the line's strays.
    pub fn of(line: &Line, strays: &Strays, index: usize, guard: i64) -> Places {
        let of_line = strays.of_line(index);
        let mut places: Vec<(i64, Place)> = of_line.iter().map(|s| (s.start.0, Place::Apart)).collect();
        let pulses: Vec<usize> = (0..of_line.len())
            .filter(|&at| of_line[at].kind == StrayKind::Pulse && of_line[at].edge.is_some())
            .collect();
        let goes_on = |a: &usize, b: &usize| {
            let [a, b] = [&of_line[*a], &of_line[*b]];
            b.edge == a.edge.map(|edge| edge + 2) && b.start.0 - end(a) < guard
        };
        for event in pulses.chunk_by(goes_on) {
            let [first, last] = [event[0], event[event.len() - 1]].map(|at| &of_line[at]);
            let is_apart = is_clear(line, [first, last], guard);
            for (nth, &at) in event.iter().enumerate() {
                places[at].1 = match (is_apart, nth) {
                    (false, _) => Place::Beside,
                    (true, 0) => Place::Apart,
                    (true, _) => Place::Again,
                };
            }
        }
        for (at, stray) in of_line.iter().enumerate() {
            if stray.kind == StrayKind::Bounce && !is_clear(line, [stray, stray], guard) {
                places[at].1 = Place::Beside;
            }
        }
        Places { of: places }
    }

    /// Where a stray of the line lies. Cost: log of the strays.
    pub fn at(&self, stray: &Stray) -> Place {
        let found = self.of.binary_search_by_key(&stray.start.0, |(start, _)| *start);
        found.map_or(Place::Apart, |at| self.of[at].1)
    }
}

fn end(stray: &Stray) -> i64 {
    stray.start.0 + stray.width.0
}

/// Whether no other edge of the line comes within `guard` before the first of these strays or after the last.
fn is_clear(line: &Line, [first, last]: [&Stray; 2], guard: i64) -> bool {
    let before = first.edge.and_then(|edge| edge.checked_sub(1));
    let before = before.map(|edge| line.edges[edge].0);
    let after = last.edge.and_then(|edge| line.edges.get(edge + 2));
    before.is_none_or(|t| first.start.0 - t >= guard) && after.is_none_or(|t| t.0 - end(last) >= guard)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::strays::{StrayOptions, find};
    use crate::model::{Capture, Level, Ticks, TimeSpan};
    use std::collections::BTreeMap;

    /// Places of the strays of a line that rests low, is high from 5,000 to 6,000, and has short pulses `from` a time `to` another.
    fn places(pulses: &[[i64; 2]]) -> Vec<Place> {
        let mut edges: Vec<i64> = pulses.iter().flatten().copied().chain([5_000, 6_000]).collect();
        edges.sort_unstable();
        let span = TimeSpan::new(Ticks(0), Ticks(10_000));
        let line = Line::digital("PEG", Level::Low, edges.into_iter().map(Ticks).collect(), span);
        let capture = Capture::in_nanoseconds("places", span, vec![line]);
        let options = StrayOptions {
            narrow_below: BTreeMap::from([(0, 60.0)]),
            ..StrayOptions::default()
        };
        let strays = find(&capture, &options);
        let places = Places::of(&capture.lines[0], &strays, 0, 40);
        strays.strays.iter().map(|s| places.at(s)).collect()
    }

    #[test]
    fn strays_with_short_gaps_between_them_are_one_event() {
        use Place::{Again, Apart};
        assert_eq!(
            places(&[[1_000, 1_020], [1_059, 1_080], [1_119, 1_130]]),
            [Apart, Again, Again]
        );
        assert_eq!(
            places(&[[1_000, 1_020], [1_060, 1_080]]),
            [Apart, Apart],
            "as long as the guard"
        );
    }

    #[test]
    fn an_event_beside_an_own_edge_is_beside_it_as_a_whole() {
        use Place::{Again, Apart, Beside};
        assert_eq!(places(&[[4_890, 4_910], [4_940, 4_961]]), [Beside, Beside]);
        assert_eq!(places(&[[4_880, 4_900], [4_930, 4_960]]), [Apart, Again]);
        assert_eq!(places(&[[6_039, 6_050]]), [Beside]);
    }
}
