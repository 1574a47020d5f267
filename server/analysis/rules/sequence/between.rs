//! What a counter does between the reading of one step and the next strobe, where nothing tells it to move.

use super::super::edges::Edges;
use super::step::{Kind, Rule as StepRule};
use crate::model::{Capture, Ticks};
use crate::rule::{Demand, Rule, Sequence};

/// Steps further that one look back may show: two edges that came where none was sent.
const MOST_STEPS: usize = 2;

/// A step that was read right, and left before the next strobe.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Move {
    /// Position among the steps that were judged.
    pub step: usize,
    /// When the step was read, and when the next strobe came; open.
    pub from: Ticks,
    pub until: Ticks,
    pub before: u64,
    pub after: u64,
}

/// The moves of one counter.
#[derive(Debug, Default)]
pub(super) struct Between {
    /// By one or two steps of the rule.
    pub steps: Vec<Move>,
    /// To any other value, as a load, a clear or a count the other way takes it.
    pub jumps: u64,
}

impl Between {
    /// Whether the moves are steps that nobody sent. Where the bus is loaded or cleared between its strobes as well, a value
    /// that happens to be the next one says nothing.
    pub fn is_unbidden(&self) -> bool {
        !self.steps.is_empty() && self.jumps == 0
    }

    /// Puts a move where it belongs; `input` says up or down.
    pub fn add(&mut self, rule: &StepRule, input: u64, moved: Move) {
        let mut value = moved.before;
        let is_step = (0..MOST_STEPS).any(|_| {
            value = rule.expected(value, input);
            value == moved.after
        });
        match is_step {
            true => self.steps.push(moved),
            false => self.jumps += 1,
        }
    }
}

/// Whether a bus that steps so has a job at its strobes only: a shift register is loaded between them, and what a load, a hold
/// or a clear leaves may be moved by something else.
pub(super) fn rests_between(rule: &StepRule) -> bool {
    matches!(rule.kind, Kind::Up | Kind::Down | Kind::UpAt(_))
}

/// The edges at which another of `rules` moves a line of this `bus` (positions in the capture), ascending.
pub(super) fn other_strobes(
    capture: &Capture,
    (sequence, bus): (&Sequence, &[usize]),
    rules: &[Rule],
) -> Vec<Ticks> {
    let lines = |name: &String| match (
        capture.line_index(name),
        capture.buses.iter().find(|b| b.name == *name),
    ) {
        (Some(line), _) => vec![line],
        (None, bus) => bus.map_or(Vec::new(), |bus| bus.bits.clone()),
    };
    let shares = |other: &Sequence| other.bus.iter().flat_map(lines).any(|line| bus.contains(&line));
    let mut times: Vec<Ticks> = Vec::new();
    for rule in rules {
        let Demand::Sequence(other) = &rule.demand else {
            continue;
        };
        let strobe = capture.line_index(&other.strobe.line);
        if let Some(strobe) = strobe.filter(|_| other != sequence && shares(other)) {
            times.extend(Edges::of(&capture.lines[strobe], other.strobe.polarity).iter());
        }
    }
    times.sort_unstable();
    times
}
