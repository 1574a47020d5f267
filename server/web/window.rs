//! A window of one line for the timing diagram: cost follows pixels, not edges.
//!
//! A window has few edges, then all are given exactly; or many, then each pixel column says the level on
//! entering it and how many edges lie inside (capped at [`CROWDED`]: more than that is drawn as a block
//! anyway). Positions come from [`LineIndex`], which keeps every 128th edge in memory: a boundary costs one search
//! in memory and at most one page of the column, and a column that spans a whole block costs no page at all,
//! because it is crowded whatever its exact count. So a window of 1,600 columns never reads more than some 3 MB of a
//! file, one after the other. Tried and dropped: plain binary search over the whole column (a page per probe: half a
//! second on a cold file of 100 million edges); every 512th edge (four times as much to read).

use std::ops::Range;

use crate::model::{Column, Level, Line, Ticks};

/// Most edges that a pixel column is said to hold.
pub const CROWDED: u8 = 63;

/// Positions of edges in a sorted column, by every [`LineIndex::STEP`]th edge.
#[derive(Clone, Debug, Default)]
pub struct LineIndex {
    /// `edges[0]`, `edges[STEP]`, …
    marks: Column,
}

impl LineIndex {
    /// Edges in a block.
    pub const STEP: usize = Line::LANDMARK_STEP;

    /// Of a line: its landmarks where they are kept, else as [`LineIndex::new`].
    pub fn of(line: &Line) -> LineIndex {
        match &line.landmarks {
            Some(marks) => LineIndex { marks: marks.clone() },
            None => LineIndex::new(&line.edges),
        }
    }

    /// Touches one edge in [`LineIndex::STEP`]. `edges`: n ascending ticks.
    pub fn new(edges: &[Ticks]) -> LineIndex {
        LineIndex {
            marks: edges
                .iter()
                .step_by(LineIndex::STEP)
                .copied()
                .collect::<Vec<_>>()
                .into(),
        }
    }

    /// Number of edges before `time`; `edges` is the column the index was made of.
    pub fn rank(&self, edges: &[Ticks], time: Ticks) -> usize {
        let block = self.marks.partition_point(|&mark| mark < time);
        rank_in_block(edges, block, time)
    }

    /// Number of marks before `time`, searched outwards from `near` (a former answer for an earlier time).
    fn block(&self, near: usize, time: Ticks) -> usize {
        let marks = &self.marks[near..];
        let mut reach = 1;
        while reach < marks.len() && marks[reach] < time {
            reach *= 2;
        }
        let low = reach / 2;
        let high = marks.len().min(reach + 1);
        near + low.min(high) + marks[low.min(high)..high].partition_point(|&mark| mark < time)
    }
}

/// Number of edges before `time`, given that `block` marks lie before it.
fn rank_in_block(edges: &[Ticks], block: usize, time: Ticks) -> usize {
    let Some(last) = block.checked_sub(1) else {
        return 0;
    };
    let start = last * LineIndex::STEP;
    let end = edges.len().min(start + LineIndex::STEP);
    start + edges[start..end].partition_point(|&edge| edge < time)
}

/// What a window of a line holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LineWindow {
    /// The known level just before the window's start, looking through unknown stretches.
    pub entering: Level,
    /// Indices of the edges inside.
    pub edges: Range<usize>,
    pub shape: Shape,
}

/// How a line is told in a window.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Shape {
    /// All edges inside are to be drawn one by one.
    Edges,
    /// One byte a pixel column: bit 0 is 1 when the line is high on entering it, bits 2 to 7 count the edges
    /// inside, [`CROWDED`] standing for that many or more. The level of a crowded column's entry is only right
    /// when the column before is not crowded too.
    Columns(Vec<u8>),
}

/// First moment of pixel column `index` of `columns` over `start..end`. Whole ticks, rounded down.
pub fn boundary(start: Ticks, end: Ticks, columns: usize, index: usize) -> Ticks {
    let length = (end.0 as i128) - (start.0 as i128);
    Ticks((start.0 as i128 + length * index as i128 / columns.max(1) as i128) as i64)
}

/// The window `start..end` (start closed, end open) of `line` in `columns` pixel columns.
///
/// Exact edges when there are at most `columns` of them. Cost: O(columns · log n) comparisons; at most one page
/// of the column for each pixel column.
pub fn window(line: &Line, index: &LineIndex, start: Ticks, end: Ticks, columns: usize) -> LineWindow {
    let edges = &line.edges;
    let from = index.rank(edges, start);
    let to = index.rank(edges, end).max(from);
    let level = |rank: usize, time: Ticks| {
        let flips = if line.flips.is_empty() {
            0
        } else {
            line.flips.partition_point(|&flip| flip < time)
        };
        if (rank + flips).is_multiple_of(2) {
            line.first
        } else {
            line.first.inverted()
        }
    };
    let shape = if to - from <= columns {
        edges.will_read(from..to);
        Shape::Edges
    } else {
        Shape::Columns(fill_columns(edges, index, from, (start, end), columns, level))
    };
    LineWindow {
        entering: level(from, start),
        edges: from..to,
        shape,
    }
}

fn fill_columns(
    edges: &Column,
    index: &LineIndex,
    from: usize,
    (start, end): (Ticks, Ticks),
    columns: usize,
    level: impl Fn(usize, Ticks) -> Level,
) -> Vec<u8> {
    let mut blocks = Vec::with_capacity(columns + 1);
    blocks.push(index.block(0, start));
    for column in 1..=columns {
        let before = blocks[column - 1];
        blocks.push(index.block(before, boundary(start, end, columns, column)));
    }
    bring(edges, &blocks);
    let edges: &[Ticks] = edges;
    let mut codes = Vec::with_capacity(columns);
    let mut time = start;
    // Edges before `time`; unknown after a column that was told crowded by its marks alone.
    let mut rank = Some(from);
    for (column, pair) in blocks.windows(2).enumerate() {
        let (block, next_block) = (pair[0], pair[1]);
        let next = boundary(start, end, columns, column + 1);
        let entering = rank.map_or(Level::Low, |rank| level(rank, time));
        let count = if is_crowded(block, next_block) {
            rank = None;
            CROWDED
        } else {
            let before = rank.unwrap_or_else(|| rank_in_block(edges, block, time));
            // One mark inside at most: look on from where we are.
            let limit = edges.len().min(next_block * LineIndex::STEP).max(before);
            let after = before + count_before(&edges[before..limit], next);
            rank = Some(after);
            (after - before).min(CROWDED as usize) as u8
        };
        codes.push(u8::from(entering == Level::High) | count << 2);
        time = next;
    }
    codes
}

/// Two marks inside: a whole block of edges lies between them.
fn is_crowded(block: usize, next_block: usize) -> bool {
    next_block - block >= 2
}

/// Has the blocks that [`fill_columns`] is going to touch brought into memory, in as few parts as possible.
fn bring(edges: &Column, blocks: &[usize]) {
    /// A gap of fewer blocks (128 KiB) is read along: one request costs more than that.
    const GAP: usize = 128;
    let mut part: Option<Range<usize>> = None;
    let read = |part: Range<usize>| edges.will_read(part.start * LineIndex::STEP..part.end * LineIndex::STEP);
    for pair in blocks.windows(2).filter(|pair| !is_crowded(pair[0], pair[1])) {
        let next = pair[0].saturating_sub(1)..pair[1];
        part = match part {
            Some(part) if next.start <= part.end + GAP => Some(part.start..next.end.max(part.end)),
            Some(part) => {
                read(part);
                Some(next)
            }
            None => Some(next),
        };
    }
    part.into_iter().for_each(read);
}

/// Number of edges before `time`, looked for from the front, in order: memory is quick at that, and a column spans two
/// blocks at most.
fn count_before(edges: &[Ticks], time: Ticks) -> usize {
    const STRIDE: usize = 16;
    let mut at = 0;
    while at + STRIDE <= edges.len() && edges[at + STRIDE - 1] < time {
        at += STRIDE;
    }
    let rest = &edges[at..edges.len().min(at + STRIDE)];
    at + rest.iter().take_while(|&&edge| edge < time).count()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::TimeSpan;
    use proptest::prelude::*;

    fn line(edges: Vec<i64>) -> Line {
        let span = TimeSpan::new(Ticks(0), Ticks(edges.last().map_or(1, |last| last + 1)));
        Line::digital("A", Level::Low, edges.into_iter().map(Ticks).collect(), span)
    }

    /// The plain twin: every column counted by going through all edges.
    fn plain(line: &Line, start: Ticks, end: Ticks, columns: usize) -> Vec<(usize, usize)> {
        (0..columns)
            .map(|c| {
                let (from, to) = (
                    boundary(start, end, columns, c),
                    boundary(start, end, columns, c + 1),
                );
                let before = line.edges.iter().filter(|&&e| e < from).count();
                let inside = line.edges.iter().filter(|&&e| from <= e && e < to).count();
                (before, inside)
            })
            .collect()
    }

    fn agrees(line: &Line, start: Ticks, end: Ticks, columns: usize) {
        let index = LineIndex::new(&line.edges);
        let window = window(line, &index, start, end, columns);
        let inside = line.edges.iter().filter(|&&e| start <= e && e < end).count();
        assert_eq!(window.edges.len(), inside);
        assert_eq!(
            window.edges.start,
            line.edges.iter().filter(|&&e| e < start).count()
        );
        let Shape::Columns(codes) = window.shape else {
            assert!(inside <= columns);
            return;
        };
        assert_eq!(codes.len(), columns);
        let mut crowded_before = false;
        for (code, (before, count)) in codes.iter().zip(plain(line, start, end, columns)) {
            assert_eq!(usize::from(code >> 2), count.min(usize::from(CROWDED)));
            if !crowded_before {
                assert_eq!(code & 1 == 1, before % 2 == 1, "level on entering");
            }
            crowded_before = code >> 2 == CROWDED;
        }
    }

    proptest! {
        #[test]
        fn columns_say_what_a_plain_count_says(
            gaps in proptest::collection::vec((1i64..4, 1usize..3000, 1i64..5000), 1..6),
            from in 0.0..1.0f64, to in 0.0..1.0f64, columns in 1usize..200,
        ) {
            // Bursts of close edges with rests between, as captures have them.
            let mut time = 0;
            let mut edges = Vec::new();
            for (gap, count, rest) in gaps {
                for _ in 0..count { time += gap; edges.push(time); }
                time += rest;
            }
            let line = line(edges);
            let at = |f: f64| Ticks((f * time as f64 * 1.2 - time as f64 * 0.1) as i64);
            let (start, end) = if from < to { (at(from), at(to)) } else { (at(to), at(from)) };
            agrees(&line, start, end, columns);
        }
    }

    #[test]
    fn few_edges_are_given_one_by_one() {
        let line = line(vec![10, 20, 30]);
        let window = window(&line, &LineIndex::new(&line.edges), Ticks(10), Ticks(30), 100);
        assert_eq!(
            window,
            LineWindow {
                entering: Level::Low,
                edges: 0..2,
                shape: Shape::Edges
            }
        );
    }

    #[test]
    fn an_empty_line_and_an_empty_window_are_no_trouble() {
        let empty = line(vec![]);
        let index = LineIndex::new(&empty.edges);
        assert_eq!(window(&empty, &index, Ticks(0), Ticks(100), 10).edges, 0..0);
        let one = line(vec![5]);
        let index = LineIndex::new(&one.edges);
        assert_eq!(window(&one, &index, Ticks(5), Ticks(5), 10).edges, 0..0);
    }

    #[test]
    fn boundaries_do_not_overflow_at_the_ends_of_time() {
        let (start, end) = (Ticks(i64::MIN), Ticks(i64::MAX));
        assert_eq!(boundary(start, end, 2, 0), start);
        assert_eq!(boundary(start, end, 2, 2), end);
    }
}
