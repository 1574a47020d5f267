//! A gate's own glitch: the victim is a function of two captured lines that switch almost together.
//!
//! Where one input changes before the other the gate shows, for as long as they are apart, the level that belongs to the
//! state between (a hazard; McCluskey, *Logic Design Principles*, 1986, chapter 3, from memory). No line induces
//! that. It is told by the levels: the victim's steady level is settled by those of two lines, and at (nearly) every
//! stray both switched, between two states of the rest level and through one of the stray's.

use super::able::OwnEdges;
use super::select::{Reach, Victim};
use crate::analysis::strays::Strays;
use crate::model::{Capture, Level, Line};

/// Strays from which on a gate is looked for.
const FEWEST: usize = 4;
/// Share of the strays that must be such glitches.
const SHARE: f64 = 0.85;
/// Share of the time in a state at which the victim has the level of that state.
const SETTLED: f64 = 0.97;

/// Two lines of which the victim is a function, and whose switching together makes its strays.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Gate {
    pub inputs: [usize; 2],
    /// Strays that are such glitches, of all at that level.
    pub strays: usize,
}

/// The two lines whose switching together explains the victim's strays by themselves, if any. `lines`: those looked at.
/// Cost: strays × log of edges for each line; the edges of each two lines that switch at nearly all strays.
pub fn find(
    capture: &Capture,
    strays: &Strays,
    edges: &[OwnEdges],
    victim: &Victim,
    lines: &[usize],
    reach: &Reach,
) -> Option<Gate> {
    if victim.times.len() < FEWEST {
        return None;
    }
    let enough = (SHARE * victim.times.len() as f64).ceil() as usize;
    let ends: Vec<i64> = victim
        .strays
        .iter()
        .map(|&i| strays.strays[i].start.0 + strays.strays[i].width.0)
        .collect();
    let glitches = Glitches {
        starts: &victim.times,
        ends: &ends,
        level: victim.level,
        reach,
    };
    let candidates: Vec<Input> = lines
        .iter()
        .filter(|&&l| l != victim.line && glitches.are_near(&edges[l], enough))
        .map(|&l| Input::new(l, &capture.lines[l], &edges[l]))
        .filter(|input| glitches.touched_by(input) >= enough)
        .collect();
    let own = &edges[victim.line];
    let record = Input::new(victim.line, &capture.lines[victim.line], own);
    for (at, a) in candidates.iter().enumerate() {
        for b in &candidates[at + 1..] {
            if glitches.touched_by_both(a, b) < enough {
                continue;
            }
            let Some(function) = function_of(a, b, &record, reach.hi) else {
                continue;
            };
            let count = glitches.made_by(a, b, function);
            if count >= enough {
                return Some(Gate {
                    inputs: [a.line, b.line],
                    strays: count,
                });
            }
        }
    }
    None
}

/// A line's edges of both polarities, and its level before the first.
struct Input {
    line: usize,
    first_high: bool,
    times: Vec<i64>,
}

impl Input {
    fn new(line: usize, of: &Line, own: &OwnEdges) -> Input {
        let times = own.either();
        let first_high = match (own.rises.first(), own.falls.first()) {
            (Some(rise), Some(fall)) => fall < rise,
            (None, Some(_)) => true,
            (Some(_), None) => false,
            (None, None) => of.first == Level::High,
        };
        Input {
            line,
            first_high,
            times,
        }
    }

    /// High just after `time`.
    fn is_high(&self, time: i64) -> bool {
        let before = self.times.partition_point(|&e| e <= time);
        self.first_high != (before % 2 == 1)
    }

    /// The only edge from `from` to `to`, both ends closed.
    fn only_edge(&self, from: i64, to: i64) -> Option<i64> {
        let at = self.times.partition_point(|&e| e < from);
        let edge = *self.times.get(at)?;
        let next = self.times.get(at + 1);
        (edge <= to && next.is_none_or(|&n| n > to)).then_some(edge)
    }
}

/// The strays as glitches of a gate.
struct Glitches<'a> {
    starts: &'a [i64],
    ends: &'a [i64],
    level: Level,
    reach: &'a Reach,
}

impl Glitches<'_> {
    fn edge_at(&self, input: &Input, stray: usize) -> Option<i64> {
        let from = self.starts[stray] - self.reach.hi;
        input.only_edge(from, self.ends[stray] - self.reach.lo)
    }

    /// Whether a line has an edge near `enough` of the strays: a look that needs no list of both polarities.
    fn are_near(&self, own: &OwnEdges, enough: usize) -> bool {
        let most_missing = self.starts.len() - enough;
        let near = |k: usize| {
            let (from, to) = (self.starts[k] - self.reach.hi, self.ends[k] - self.reach.lo);
            [&own.rises, &own.falls].into_iter().any(|times| {
                let next = times.get(times.partition_point(|&e| e < from));
                next.is_some_and(|&e| e <= to)
            })
        };
        (0..self.starts.len())
            .filter(|&k| !near(k))
            .nth(most_missing)
            .is_none()
    }

    fn touched_by(&self, input: &Input) -> usize {
        (0..self.starts.len())
            .filter(|&k| self.edge_at(input, k).is_some())
            .count()
    }

    fn touched_by_both(&self, a: &Input, b: &Input) -> usize {
        let both = |&k: &usize| self.edge_at(a, k).is_some() && self.edge_at(b, k).is_some();
        (0..self.starts.len()).filter(both).count()
    }

    /// Strays that `function` of the two makes while one has switched and the other has not.
    fn made_by(&self, a: &Input, b: &Input, function: [bool; 4]) -> usize {
        let is_high = self.level == Level::High;
        let made = |&k: &usize| {
            let (Some(at), Some(bt)) = (self.edge_at(a, k), self.edge_at(b, k)) else {
                return false;
            };
            let before = state(a.is_high(at - 1), b.is_high(bt - 1));
            let after = before ^ 0b11;
            // Which came first is not known where sampling shows both at once.
            let between = match at.cmp(&bt) {
                std::cmp::Ordering::Less => function[before ^ 0b10] == is_high,
                std::cmp::Ordering::Greater => function[before ^ 0b01] == is_high,
                std::cmp::Ordering::Equal => {
                    function[before ^ 0b10] == is_high || function[before ^ 0b01] == is_high
                }
            };
            function[before] != is_high && function[after] != is_high && between
        };
        (0..self.starts.len()).filter(made).count()
    }
}

fn state(a: bool, b: bool) -> usize {
    2 * usize::from(a) + usize::from(b)
}

/// The victim's level in each state of the two, where each state was seen and has one level, and both matter.
fn function_of(a: &Input, b: &Input, victim: &Input, settle: i64) -> Option<[bool; 4]> {
    let mut moments: Vec<i64> = [a.times.as_slice(), &b.times].concat();
    moments.sort_unstable();
    moments.dedup();
    let (mut high, mut all) = ([0i64; 4], [0i64; 4]);
    let last = moments.last().copied().unwrap_or(0) + 4 * settle.max(1);
    for (at, &moment) in moments.iter().enumerate() {
        let end = moments.get(at + 1).copied().unwrap_or(last);
        // The middle of what lies beyond the gate's delay: one look for each stay in a state.
        let from = moment + settle;
        if from >= end {
            continue;
        }
        let state = state(a.is_high(moment), b.is_high(moment));
        all[state] += 1;
        high[state] += i64::from(victim.is_high(from + (end - from) / 2));
    }
    let mut function = [false; 4];
    for state in 0..4 {
        let share = high[state] as f64 / all[state].max(1) as f64;
        if all[state] == 0 || share > 1.0 - SETTLED && share < SETTLED {
            return None;
        }
        function[state] = share >= 0.5;
    }
    let by_a = (0..2).any(|b| function[b] != function[2 + b]);
    let by_b = (0..2).any(|a| function[2 * a] != function[2 * a + 1]);
    (by_a && by_b).then_some(function)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn input(line: usize, first_high: bool, times: &[i64]) -> Input {
        Input {
            line,
            first_high,
            times: times.to_vec(),
        }
    }

    #[test]
    fn a_gate_is_told_by_its_levels() {
        // The four states in turn; the victim follows 8 ticks later.
        let a = input(0, false, &[2_000, 4_000, 6_000, 8_000]);
        let b = input(1, false, &[1_000, 3_000, 5_000, 7_000]);
        // States from the start: 00, 01, 11, 10, 00, 01, 11, 10, 00.
        let and = input(2, false, &[2_008, 3_008, 6_008, 7_008]);
        assert_eq!(function_of(&a, &b, &and, 120), Some([false, false, false, true]));
        let of_a_alone = input(2, false, &[2_008, 4_008, 6_008, 8_008]);
        assert_eq!(function_of(&a, &b, &of_a_alone, 120), None);
        // Twice its own way: no function of the two.
        let other = input(2, false, &[2_008, 3_008, 7_008, 8_008]);
        assert_eq!(function_of(&a, &b, &other, 120), None);
    }

    #[test]
    fn only_pulses_between_the_two_edges_are_glitches() {
        let reach = Reach {
            lo: -8,
            hi: 120,
            narrowest: 5.0,
        };
        // Low and high become high and low: an AND shows high while both are high.
        let a = input(0, false, &[1_000]);
        let b = input(1, true, &[1_030]);
        let (starts, ends) = ([1_010], [1_040]);
        let glitches = |level| Glitches {
            starts: &starts,
            ends: &ends,
            level,
            reach: &reach,
        };
        let and = [false, false, false, true];
        assert_eq!(glitches(Level::High).made_by(&a, &b, and), 1);
        assert_eq!(glitches(Level::Low).made_by(&a, &b, and), 0);
        // The other order passes through both low, and an AND stays low.
        let late = input(0, false, &[1_030]);
        let early = input(1, true, &[1_000]);
        assert_eq!(glitches(Level::High).made_by(&late, &early, and), 0);
    }
}
