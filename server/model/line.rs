//! A digital line: a start level and a sorted column of edges, levels alternating; the rare unknown,
//! floating and unrecorded stretches stand beside it.
//!
//! An edge is a change between known levels. Through an unknown or floating stretch there is one edge when
//! the known levels before and after differ, placed at the moment the new known level was recorded, and none
//! when they agree. The leap out of a stretch that was not recorded is no edge: if the level differs
//! afterwards, the end of that stretch is listed in [`Line::flips`].

use std::ops::Range;

use serde::{Deserialize, Serialize};

use super::{Column, Level, Polarity, Tally, Ticks, TimeSpan, Trace};

/// Where a line's levels come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Source {
    /// Recorded as levels.
    Digital,
    /// Recorded as volts, made levels through thresholds with hysteresis.
    Analog,
}

/// What a stretch without a known level is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum StretchKind {
    /// x: recorded as unknown, or a missing cell.
    Unknown,
    /// z: recorded as floating.
    Floating,
    /// Nothing was recorded: after `$dumpoff`, in a gap of the samples, outside the capture's own span.
    Unrecorded,
}

/// A stretch in which the line has no known level: start closed, end open.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stretch {
    pub span: TimeSpan,
    pub kind: StretchKind,
}

/// An excursion of an analog line that left one threshold and came back without reaching the other
/// (IEEE Std 181-2011: runt). It made no edge, so it is not among the line's pulses: the analysis lists it as
/// a stray of kind `runt`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Runt {
    /// When the voltage crossed the threshold it left by, interpolated.
    pub start: Ticks,
    /// From that crossing to the crossing back.
    pub width: Ticks,
    /// The level it made for: high for an excursion from low.
    pub level: Level,
    /// The voltage furthest from the level it left.
    pub peak_v: f64,
}

/// What a person says of the pulse or runt that starts at a moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Judged {
    pub start: Ticks,
    /// True: a stray. False: the line's own.
    pub stray: bool,
}

/// One named signal of a capture.
#[derive(Clone, Debug)]
pub struct Line {
    /// The name as the report has it; unique within a capture.
    pub name: String,
    /// Position of the file this line came from in the list of captures (0 for a single capture).
    pub capture: usize,
    pub source: Source,
    /// The first known level, which holds up to the first edge; `Unknown` when no level was ever known.
    pub first: Level,
    /// Times of the edges, ascending and distinct. Levels alternate from [`Line::first`].
    pub edges: Column,
    /// Moments (ascending) at which the level is inverted without an edge: ends of unrecorded stretches.
    /// Nearly always empty.
    pub flips: Vec<Ticks>,
    /// Stretches without a known level, ascending, not overlapping. Nearly always empty.
    pub stretches: Vec<Stretch>,
    /// What the line's own capture recorded: first to last moment.
    pub span: TimeSpan,
    /// Sampling period of the instrument on this line, in ticks: an edge at `t` happened in the period up to
    /// `t` (IEEE-style time stamp at the first sample that shows it), unless [`Line::interpolated`].
    /// 0 when the edges are exact to the tick.
    pub sample_ticks: f64,
    /// Edge times were interpolated between samples (analog), so they have no half-sample bias.
    pub interpolated: bool,
    /// The samples of an analog line.
    pub trace: Option<Trace>,
    /// Another line of the same capture that is the same signal under another name (a VCD identifier with
    /// several variables): never a suspect against its twin.
    pub same_as: Option<usize>,
    /// Runts of an analog line, ascending by start.
    pub runts: Vec<Runt>,
    /// Pulses and runts that a person judged, in no order. Nearly always empty.
    pub judged: Vec<Judged>,
    /// Time an analog line spent between its thresholds, in ticks.
    pub between: Ticks,
    /// Every [`Line::LANDMARK_STEP`]th edge from the first on, where they are kept beside the edges: to find a moment among
    /// hundreds of millions without touching them all. Whoever changes the edges or the timebase drops them.
    pub landmarks: Option<Column>,
    /// Sums the reader kept while the edges streamed past; `None` on lines made otherwise. Whoever changes
    /// the edges or the timebase drops it.
    pub tally: Option<Tally>,
}

/// The stretch between two successive edges of one line: a view, never stored.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pulse {
    /// Index of the edge that starts it.
    pub edge: usize,
    pub start: Ticks,
    pub end: Ticks,
    /// The level during it.
    pub level: Level,
}

impl Pulse {
    /// End minus start.
    pub fn width(&self) -> Ticks {
        self.end - self.start
    }
}

/// A part of a line that was recorded without interruption: within it levels alternate strictly.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Segment {
    /// Indices of the edges inside.
    pub edges: Range<usize>,
    /// First to last recorded moment.
    pub span: TimeSpan,
    /// The known level before the first edge inside.
    pub first: Level,
}

impl Line {
    /// The times of all edges, ascending, in plain ticks.
    pub fn ticks(&self) -> &[i64] {
        bytemuck::cast_slice(&self.edges)
    }

    /// Edges from one landmark to the next: 1 KiB of the column for 8 bytes.
    pub const LANDMARK_STEP: usize = 128;

    /// A digital line with exact edges, no gaps. `edges`: n ascending, distinct ticks.
    pub fn digital(name: impl Into<String>, first: Level, edges: Vec<Ticks>, span: TimeSpan) -> Line {
        Line {
            name: name.into(),
            capture: 0,
            source: Source::Digital,
            first,
            edges: edges.into(),
            flips: Vec::new(),
            stretches: Vec::new(),
            span,
            sample_ticks: 0.0,
            interpolated: false,
            trace: None,
            same_as: None,
            runts: Vec::new(),
            judged: Vec::new(),
            landmarks: None,
            between: Ticks::ZERO,
            tally: None,
        }
    }

    /// Time at each level, shortest and longest pulse: the reader's own, or counted now (linear in edges).
    pub fn tally(&self) -> Tally {
        self.tally.unwrap_or_else(|| Tally::of(self))
    }

    /// The known level after edge `index` (as if no unknown stretch followed).
    ///
    /// # Panics
    /// If there is no such edge.
    pub fn level_after(&self, index: usize) -> Level {
        let flips = self.flips.partition_point(|&f| f <= self.edges[index]);
        if (index + 1 + flips).is_multiple_of(2) {
            self.first
        } else {
            self.first.inverted()
        }
    }

    /// Polarity of edge `index`.
    ///
    /// # Panics
    /// If there is no such edge, or no level was ever known.
    pub fn polarity(&self, index: usize) -> Polarity {
        Polarity::towards(self.level_after(index)).expect("an edge leads to a known level")
    }

    /// The level at `time`: known, or what the stretch around it says. Cost: logarithmic in edges.
    pub fn level_at(&self, time: Ticks) -> Level {
        if let Some(stretch) = self.stretch_at(time) {
            return match stretch.kind {
                StretchKind::Floating => Level::Floating,
                _ => Level::Unknown,
            };
        }
        self.known_level_at(time)
    }

    /// Whether both have the same edges, one by one, to within the coarser sampling. Cost: linear in the edges, mostly ended by
    /// the first that differ.
    pub fn moves_as_one_with(&self, other: &Line) -> bool {
        let slack = self.sample_ticks.max(other.sample_ticks);
        self.edges.len() == other.edges.len()
            && self.first == other.first
            && self.capture == other.capture
            && self
                .edges
                .iter()
                .zip(other.edges.iter())
                .all(|(&x, &y)| (x - y).0.abs() as f64 <= slack)
    }

    /// The last known level at or before `time`, looking through unknown stretches.
    pub fn known_level_at(&self, time: Ticks) -> Level {
        let before = self.edges.partition_point(|&e| e <= time);
        let flips = self.flips.partition_point(|&f| f <= time);
        if (before + flips).is_multiple_of(2) {
            self.first
        } else {
            self.first.inverted()
        }
    }

    /// The stretch without a known level that holds `time`, if any.
    pub fn stretch_at(&self, time: Ticks) -> Option<Stretch> {
        let after = self.stretches.partition_point(|s| s.span.start <= time);
        let stretch = *self.stretches.get(after.checked_sub(1)?)?;
        stretch.span.contains(time).then_some(stretch)
    }

    /// Whether there was no known level at some moment at or after `start` and before `end`. Cost: logarithmic.
    pub fn is_blind(&self, start: Ticks, end: Ticks) -> bool {
        let from = self.stretches.partition_point(|s| s.span.end <= start);
        self.stretches.get(from).is_some_and(|s| s.span.start < end)
    }

    /// Indices of the edges at or after `start` and before `end`. Cost: logarithmic.
    pub fn edges_within(&self, start: Ticks, end: Ticks) -> Range<usize> {
        let from = self.edges.partition_point(|&e| e < start);
        let to = self.edges.partition_point(|&e| e < end);
        from..to.max(from)
    }

    /// The uninterrupted parts of the record, in order: split at unrecorded stretches only.
    pub fn segments(&self) -> Vec<Segment> {
        let mut segments = Vec::new();
        if self.first == Level::Unknown {
            return segments;
        }
        let mut start = self.span.start;
        let unrecorded = self
            .stretches
            .iter()
            .filter(|s| s.kind == StretchKind::Unrecorded);
        let ends = unrecorded.map(|s| (s.span.start, s.span.end));
        for (end, next) in ends.chain([(self.span.end, self.span.end)]) {
            if end > start || (end == self.span.end && next == end && end == start) {
                let last = end == next;
                let from = self.edges.partition_point(|&e| e < start);
                let to = self.edges.partition_point(|&e| e < end || (last && e == end));
                let flips = self.flips.partition_point(|&f| f <= start);
                let even = (from + flips).is_multiple_of(2);
                segments.push(Segment {
                    edges: from..to,
                    span: TimeSpan::new(start, end),
                    first: if even { self.first } else { self.first.inverted() },
                });
            }
            start = next.max(start);
        }
        segments
    }

    /// All pulses between successive edges, in order, none across an unrecorded stretch.
    pub fn pulses(&self) -> impl Iterator<Item = Pulse> + '_ {
        self.segments().into_iter().flat_map(move |segment| {
            let first = segment.first;
            let base = segment.edges.start;
            self.edges[segment.edges]
                .windows(2)
                .enumerate()
                .map(move |(i, pair)| Pulse {
                    edge: base + i,
                    start: pair[0],
                    end: pair[1],
                    level: if i.is_multiple_of(2) {
                        first.inverted()
                    } else {
                        first
                    },
                })
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ticks(times: &[i64]) -> Vec<Ticks> {
        times.iter().map(|&t| Ticks(t)).collect()
    }

    fn line(times: &[i64]) -> Line {
        Line::digital("A", Level::Low, ticks(times), TimeSpan::new(Ticks(0), Ticks(100)))
    }

    #[test]
    fn levels_alternate_from_the_first() {
        let line = line(&[10, 20, 30]);
        assert_eq!(line.level_at(Ticks(9)), Level::Low);
        assert_eq!(line.level_at(Ticks(10)), Level::High);
        assert_eq!(line.level_after(2), Level::High);
        assert_eq!(line.polarity(1), Polarity::Fall);
        assert_eq!(line.edges_within(Ticks(10), Ticks(30)), 0..2);
    }

    #[test]
    fn a_pulse_is_what_lies_between_two_edges() {
        let pulses: Vec<Pulse> = line(&[10, 20, 35]).pulses().collect();
        let widths: Vec<(i64, Level)> = pulses.iter().map(|p| (p.width().0, p.level)).collect();
        assert_eq!(widths, vec![(10, Level::High), (15, Level::Low)]);
    }

    #[test]
    fn no_pulse_spans_an_unrecorded_stretch() {
        let mut line = line(&[10, 20, 60, 70]);
        let span = TimeSpan::new(Ticks(30), Ticks(50));
        line.stretches.push(Stretch {
            span,
            kind: StretchKind::Unrecorded,
        });
        line.flips.push(Ticks(50));
        let pulses: Vec<(i64, Level)> = line.pulses().map(|p| (p.start.0, p.level)).collect();
        assert_eq!(pulses, vec![(10, Level::High), (60, Level::Low)]);
        assert_eq!(line.polarity(2), Polarity::Fall);
        assert_eq!(line.level_at(Ticks(40)), Level::Unknown);
        assert_eq!(line.level_at(Ticks(55)), Level::High);
        let parts: Vec<Range<usize>> = line.segments().into_iter().map(|s| s.edges).collect();
        assert_eq!(parts, vec![0..2, 2..4]);
    }
}
