//! Where a pattern holds: one merge pass over the edges of its lines.

use std::collections::HashMap;

use super::{Found, Moment, Pattern, Question, Where, collect, seek};
use crate::analysis::rules::edges::Merge;
use crate::model::{Capture, Level, Line, Ticks};
use crate::rule::expression::Value;

/// Answers are kept for this many combinations of levels; beyond that they are worked out again.
const MOST_KEPT: usize = 1 << 16;

/// Moments of a pattern. Cost: edges of its lines × their number.
pub fn moments(capture: &Capture, pattern: &Pattern, place: Where) -> Found {
    match (pattern.edge, &pattern.typed) {
        (Some((line, polarity)), None) => {
            let question = Question::Edge {
                line,
                polarity: Some(polarity),
            };
            seek(capture, &question, place)
        }
        (Some((line, polarity)), Some(_)) => {
            let line = &capture.lines[line];
            let mut holds = Holds::new(capture, pattern);
            let mut stretch = holds.next();
            let edges = (0..line.edges.len()).filter(|&index| line.polarity(index) == polarity);
            let at = edges.filter(|&index| {
                // Just before the edge: from the tick after the stretch's start up to its end.
                let time = line.edges[index];
                while stretch.is_some_and(|s| s.end < time) {
                    stretch = holds.next();
                }
                stretch.is_some_and(|s| s.start < time && time <= s.end)
            });
            let moment = |index: usize| Moment {
                start: line.edges[index],
                end: line.edges[index],
            };
            collect(at.map(moment), place)
        }
        (None, _) => collect(Holds::new(capture, pattern), place),
    }
}

/// The stretches in which the condition is true, in time.
struct Holds<'a> {
    pattern: &'a Pattern,
    lines: Vec<&'a Line>,
    /// For each operand, positions in `lines`.
    operands: Vec<Vec<usize>>,
    /// For each column that is merged, the line it belongs to.
    owners: Vec<usize>,
    merge: std::iter::Peekable<Merge<'a>>,
    /// Bit n is the level of line n: its value, and whether it is x or z (at most 64 lines, see `pattern`).
    levels: (u64, u64),
    now: Ticks,
    end: Ticks,
    known: HashMap<(u64, u64), bool>,
    since: Option<Ticks>,
    is_over: bool,
}

impl<'a> Holds<'a> {
    fn new(capture: &'a Capture, pattern: &'a Pattern) -> Holds<'a> {
        let mut positions: Vec<usize> = pattern.operands.iter().flatten().copied().collect();
        positions.sort_unstable();
        positions.dedup();
        let place = |line: &usize| {
            positions
                .binary_search(line)
                .expect("every operand's line is there")
        };
        let lines: Vec<&Line> = positions
            .iter()
            .map(|&position| &capture.lines[position])
            .collect();
        let mut columns: Vec<&[Ticks]> = Vec::new();
        let mut owners = Vec::new();
        for (owner, line) in lines.iter().enumerate() {
            columns.push(&line.edges);
            owners.push(owner);
            if !line.flips.is_empty() {
                columns.push(&line.flips);
                owners.push(owner);
            }
        }
        let start = capture.span.start;
        let mut merge = Merge::new(columns).peekable();
        while merge.next_if(|&(time, _)| time <= start).is_some() {}
        let mut holds = Holds {
            pattern,
            operands: pattern
                .operands
                .iter()
                .map(|lines| lines.iter().map(place).collect())
                .collect(),
            levels: levels_at(&lines, start),
            lines,
            owners,
            merge,
            now: start,
            end: capture.span.end + Ticks(1),
            known: HashMap::new(),
            since: None,
            is_over: false,
        };
        holds.since = holds.is_true().then_some(start);
        holds
    }

    fn is_true(&mut self) -> bool {
        let Some(typed) = &self.pattern.typed else {
            return true;
        };
        if let Some(&known) = self.known.get(&self.levels) {
            return known;
        }
        let values: Vec<Value> = self
            .operands
            .iter()
            .map(|operand| {
                let word = |bits: u64| operand.iter().fold(0, |word, &line| word << 1 | bits >> line & 1);
                Value::new(
                    operand.len() as u32,
                    false,
                    word(self.levels.0),
                    word(self.levels.1),
                )
            })
            .collect();
        let truth = typed.evaluate(&values, typed.width()).truth() == Some(true);
        if self.known.len() < MOST_KEPT {
            self.known.insert(self.levels, truth);
        }
        truth
    }

    /// The next moment at which a level may change: an edge, or an end of an unknown stretch.
    fn next_time(&mut self) -> Option<Ticks> {
        let now = self.now;
        let edge = self.merge.peek().map(|&(time, _)| time);
        let borders = self.lines.iter().filter_map(|line| {
            let at = line.stretches.partition_point(|s| s.span.end <= now);
            let span = line.stretches.get(at)?.span;
            Some(if span.start > now { span.start } else { span.end })
        });
        edge.into_iter().chain(borders).min()
    }
}

/// The levels of all lines: values, and which are x or z (z is 0 and unknown, x is 1 and unknown).
fn levels_at(lines: &[&Line], time: Ticks) -> (u64, u64) {
    let mut levels = (0, 0);
    for (n, line) in lines.iter().enumerate() {
        let (value, is_unknown) = match line.level_at(time) {
            Level::Low => (0, 0),
            Level::High => (1, 0),
            Level::Unknown => (1, 1),
            Level::Floating => (0, 1),
        };
        levels.0 |= value << n;
        levels.1 |= is_unknown << n;
    }
    levels
}

impl Iterator for Holds<'_> {
    type Item = Moment;

    fn next(&mut self) -> Option<Moment> {
        if self.is_over {
            return None;
        }
        let is_plain = self.lines.iter().all(|line| line.stretches.is_empty());
        loop {
            let time = if is_plain {
                self.merge.peek().map(|&(time, _)| time)
            } else {
                self.next_time()
            };
            let Some(time) = time.filter(|&time| time < self.end) else {
                self.is_over = true;
                let end = self.end;
                return self.since.take().map(|start| Moment { start, end });
            };
            self.now = time;
            while let Some((_, column)) = self.merge.next_if(|&(at, _)| at == time) {
                self.levels.0 ^= u64::from(is_plain) << self.owners[column];
            }
            if !is_plain {
                self.levels = levels_at(&self.lines, time);
            }
            match (self.since, self.is_true()) {
                (None, true) => self.since = Some(time),
                (Some(start), false) => {
                    self.since = None;
                    return Some(Moment { start, end: time });
                }
                _ => {}
            }
        }
    }
}
