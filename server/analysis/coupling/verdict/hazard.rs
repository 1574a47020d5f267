//! A gate's own glitch: the victim is a function of two to five captured lines that switch almost together.
//!
//! Where one input changes before another the gate shows, for as long as they are apart, the level that belongs to the
//! state between (a hazard; McCluskey, *Logic Design Principles*, 1986, chapter 3, from memory). No line induces
//! that. It is told by the levels: the victim's steady level is settled by those of the inputs, and at (nearly) every
//! stray several of these switched, between two states of the rest level and through one of the stray's. The outputs of
//! a decoder, the carry of a counter and the sum of an adder are such gates.

use crate::analysis::coupling::fit::select::{Reach, Victim};
use crate::analysis::coupling::suspects::able::{OwnEdges, any_within, last_to};
use crate::analysis::stats::order::middle;
use crate::analysis::strays::Strays;
use crate::model::{Capture, Level, Line};

/// Strays from which on a gate is looked for.
const FEWEST: usize = 4;
/// Share of the strays that must be such glitches.
const SHARE: f64 = 0.85;
/// Share of the time in a state at which the victim has the level of that state.
const SETTLED: f64 = 0.97;
/// Inputs of a gate at most, and the lines that are tried as such.
const MOST_INPUTS: usize = 5;
const MOST_TRIED: usize = 8;
/// A line that switches at a smaller share of the strays is not tried.
const TRIED_FROM: f64 = 0.1;
/// Stays in a state that show its level where an input is said to matter.
const FEWEST_STAYS: i64 = 3;
/// Rising and falling delays of a TTL gate differ by so much at most (from memory of data books: 22 ns and 15 ns).
const STRETCH_S: f64 = 12e-9;
/// Own edges of the victim that show how long it takes.
const DELAYS: usize = 256;
/// So many stretches of so many edges show whether the levels may be a function of others at all: then no more than this
/// share of the stays at the victim's rarer level is out of place.
const STRETCHES: usize = 16;
const IN_A_STRETCH: usize = 48;
const AT_A_GLANCE: f64 = 0.25;

/// Lines of which the victim is a function, and whose switching together makes its strays.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Gate {
    /// Two to five, ascending.
    pub inputs: Vec<usize>,
    /// Strays that are such glitches, as positions in the list of all strays, ascending.
    pub strays: Vec<usize>,
}

/// The fewest lines whose switching together explains the victim's strays by themselves, if any. `lines`: those looked at.
/// Cost: strays × log of edges for each line; the edges of each few lines that may be the inputs.
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
        unit: victim.unit,
        stretch: capture.timebase.ticks_of(STRETCH_S),
    };
    let some = (TRIED_FROM * victim.times.len() as f64).ceil() as usize;
    // For each line the strays at which it switched.
    let mut candidates: Vec<(usize, Vec<bool>)> = lines
        .iter()
        .filter(|&&l| l != victim.line)
        .map(|&l| (l, glitches.touched_by(&edges[l])))
        .filter(|(_, touched)| touched.iter().filter(|t| **t).count() >= some)
        .collect();
    candidates.sort_by_key(|(_, touched)| std::cmp::Reverse(touched.iter().filter(|t| **t).count()));
    candidates.truncate(MOST_TRIED);
    candidates.sort_by_key(|(line, _)| *line);
    let mut sets: Vec<u32> = (1u32..1 << candidates.len())
        .filter(|set| (2..=MOST_INPUTS as u32).contains(&set.count_ones()))
        .collect();
    sets.sort_by_key(|set| set.count_ones());
    let of_set = |set: u32| {
        let of = candidates.iter().enumerate();
        of.filter(move |(i, _)| set & (1 << i) != 0)
            .map(|(_, candidate)| candidate)
    };
    sets.retain(|&set| {
        let at = |k: &usize| of_set(set).filter(|(_, touched)| touched[*k]).count() >= 2;
        (0..victim.times.len()).filter(at).count() >= enough
    });
    if sets.is_empty() {
        return None;
    }
    let input = |line: usize| Input::new(line, &capture.lines[line], &edges[line]);
    let record = input(victim.line);
    let all: Vec<Input> = candidates.iter().map(|(line, _)| input(*line)).collect();
    sets.into_iter().find_map(|set| {
        let inputs: Vec<&Input> = all
            .iter()
            .enumerate()
            .filter(|(i, _)| set & (1 << i) != 0)
            .map(|(_, input)| input)
            .collect();
        if !may_be_function(&inputs, &record, reach.hi) {
            return None;
        }
        let function = function_of(&inputs, &record, reach.hi)?;
        let made = glitches.made_by(
            &inputs,
            &function,
            delay_of(&inputs, &record, &victim.times, reach.hi),
        );
        (made.len() >= enough).then(|| Gate {
            inputs: inputs.iter().map(|input| input.line).collect(),
            strays: made.into_iter().map(|k| victim.strays[k]).collect(),
        })
    })
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

    /// Its edges from `from` to `to`, both ends closed.
    fn within(&self, from: i64, to: i64) -> &[i64] {
        let at = self.times.partition_point(|&e| e < from);
        let end = self.times.partition_point(|&e| e <= to);
        &self.times[at..end.max(at)]
    }
}

/// The strays as glitches of a gate.
struct Glitches<'a> {
    starts: &'a [i64],
    ends: &'a [i64],
    level: Level,
    reach: &'a Reach,
    /// Edges so near to each other may have come in either order, in ticks.
    unit: f64,
    /// A gate may stretch a glitch by so much, in ticks.
    stretch: f64,
}

impl Glitches<'_> {
    /// When an edge may have made a stray, both ends closed.
    fn window(&self, stray: usize) -> (i64, i64) {
        (
            self.starts[stray] - self.reach.hi,
            self.ends[stray] - self.reach.lo,
        )
    }

    /// For each stray whether a line has an edge near it.
    fn touched_by(&self, own: &OwnEdges) -> Vec<bool> {
        let near = |k: usize| {
            let (from, to) = self.window(k);
            let mut times = [&own.rises, &own.falls].into_iter();
            times.any(|times| any_within(times, from, to))
        };
        (0..self.starts.len()).map(near).collect()
    }

    /// Strays (positions) that `function` of the inputs makes while some have switched and others have not. `delay`: how long
    /// after its inputs the gate switches, in ticks, where that is known.
    fn made_by(&self, inputs: &[&Input], function: &Function, delay: Option<f64>) -> Vec<usize> {
        (0..self.starts.len())
            .filter(|&k| self.is_made(inputs, function, delay, k))
            .collect()
    }

    fn is_made(&self, inputs: &[&Input], function: &Function, delay: Option<f64>, stray: usize) -> bool {
        let is_high = self.level == Level::High;
        let (from, to) = self.window(stray);
        let mut edges: Vec<(i64, usize)> = inputs
            .iter()
            .enumerate()
            .flat_map(|(i, input)| input.within(from, to).iter().map(move |&t| (t, i)))
            .collect();
        edges.sort_unstable();
        let before = state(inputs, from - 1);
        let after = edges.iter().fold(before, |state, edge| state ^ 1 << edge.1);
        let rests = |state: usize| function.level(state).is_none_or(|high| high != is_high);
        if edges.len() < 2 || !rests(before) || !rests(after) {
            return false;
        }
        // A glitch lasts no longer than its edges are apart, but for what the gate's delays differ by and sampling hides.
        let apart = edges[edges.len() - 1].0 - edges[0].0;
        let width = self.ends[stray] - self.starts[stray];
        if width as f64 > apart as f64 + 2.0 * self.unit + self.stretch {
            return false;
        }
        // It begins a delay after an input other than the last; what begins when all are at rest is something else.
        let begins_at_most =
            |delay: f64| edges[edges.len() - 2].0 as f64 + delay + self.stretch + 2.0 * self.unit;
        if delay.is_some_and(|delay| self.starts[stray] as f64 > begins_at_most(delay)) {
            return false;
        }
        // What sampling shows at once came in an order that is not known: every state on the way may have been.
        let shows = |state: usize| function.level(state) == Some(is_high);
        let mut now = before;
        let mut at = 0;
        while at < edges.len() {
            let together = edges[at..]
                .iter()
                .take_while(|e| (e.0 - edges[at].0) as f64 <= self.unit);
            let flips: Vec<usize> = together.map(|e| 1 << e.1).collect();
            let part = |of: usize| {
                let chosen = flips.iter().enumerate().filter(|(i, _)| of & (1 << i) != 0);
                chosen.fold(now, |state, (_, flip)| state ^ flip)
            };
            if (1..1usize << flips.len().min(MOST_TRIED)).any(|of| shows(part(of))) {
                return true;
            }
            now = flips.iter().fold(now, |state, flip| state ^ flip);
            at += flips.len();
        }
        false
    }
}

/// The levels of the inputs just after `time`, a bit each.
fn state(inputs: &[&Input], time: i64) -> usize {
    let bits = inputs.iter().enumerate();
    bits.fold(0, |all, (i, input)| all | usize::from(input.is_high(time)) << i)
}

/// The victim's level in each state of the inputs, where that was seen: stays in it, and those at which it was high.
struct Function {
    stays: Vec<i64>,
    high: Vec<i64>,
}

impl Function {
    /// Counted over the stays in a state that begin at `moments` (ascending). The middle of what lies beyond the gate's delay,
    /// one look a stay.
    fn counted(inputs: &[&Input], victim: &Input, settle: i64, moments: &[i64]) -> Function {
        let states = 1 << inputs.len();
        let mut function = Function {
            stays: vec![0; states],
            high: vec![0; states],
        };
        for (at, &moment) in moments.iter().enumerate() {
            let last = moment + 4 * settle.max(1);
            let end = moments.get(at + 1).copied().unwrap_or(last);
            let from = moment + settle;
            if from >= end {
                continue;
            }
            let state = state(inputs, moment);
            function.stays[state] += 1;
            function.high[state] += i64::from(victim.is_high(from + (end - from) / 2));
        }
        function
    }

    /// Whether the victim is high in a state; none where that was never seen.
    fn level(&self, state: usize) -> Option<bool> {
        (self.stays[state] > 0).then(|| 2 * self.high[state] >= self.stays[state])
    }

    /// Stays at which the victim had another level than that of the state, and those at which it had its rarer one.
    fn astray(&self) -> (i64, i64) {
        let rarer = |high: i64, stays: i64| high.min(stays - high);
        let of = (0..self.stays.len()).map(|state| rarer(self.high[state], self.stays[state]));
        (of.sum(), rarer(self.high.iter().sum(), self.stays.iter().sum()))
    }

    /// Whether each state that was seen has one level.
    fn is_one(&self) -> bool {
        (0..self.stays.len()).all(|state| {
            let share = self.high[state] as f64 / self.stays[state].max(1) as f64;
            self.stays[state] == 0 || share <= 1.0 - SETTLED || share >= SETTLED
        })
    }

    /// Whether an input alone makes the difference somewhere.
    fn depends_on(&self, input: usize) -> bool {
        let seen = |state: usize| self.stays[state] >= FEWEST_STAYS;
        (0..self.stays.len()).any(|state| {
            let other = state ^ 1 << input;
            seen(state) && seen(other) && self.level(state) != self.level(other)
        })
    }
}

/// Edges of the inputs, ascending: all of them, or those of some stretches all over the record.
fn moments(inputs: &[&Input], stretches: Option<usize>) -> Vec<i64> {
    let mut moments: Vec<i64> = Vec::new();
    match stretches {
        None => inputs.iter().for_each(|input| moments.extend(&input.times)),
        Some(count) => {
            let first = inputs.iter().filter_map(|input| input.times.first()).min();
            let last = inputs.iter().filter_map(|input| input.times.last()).max();
            let (Some(&first), Some(&last)) = (first, last) else {
                return moments;
            };
            for stretch in 0..count {
                let from = first + (last - first) / count as i64 * stretch as i64;
                let mut of: Vec<i64> = Vec::new();
                for input in inputs {
                    let at = input.times.partition_point(|&t| t < from);
                    of.extend(input.times[at..].iter().take(IN_A_STRETCH));
                }
                // Beyond the line that ended first some edges are missing.
                of.sort_unstable();
                moments.extend(of.into_iter().take(IN_A_STRETCH));
            }
        }
    }
    moments.sort_unstable();
    moments.dedup();
    moments
}

/// The middle of what passes from an input's edge to an edge of the victim's own, in ticks, from some of these; none where too
/// few follow within `latest`.
fn delay_of(inputs: &[&Input], victim: &Input, strays: &[i64], latest: i64) -> Option<f64> {
    // They neither begin a stray nor end one.
    let own = victim
        .times
        .iter()
        .filter(|&&t| !any_within(strays, t - latest, t));
    let mut delays: Vec<i64> = own
        .take(DELAYS)
        .filter_map(|&t| {
            let last = |input: &&Input| last_to(&input.times, t);
            let delay = t - inputs.iter().filter_map(last).max()?;
            (delay <= latest).then_some(delay)
        })
        .collect();
    delays.sort_unstable();
    let middle = middle(&delays).filter(|_| delays.len() >= FEWEST);
    middle.map(|delay| delay as f64)
}

/// Whether some stays speak for a function of the inputs: a look that costs little.
fn may_be_function(inputs: &[&Input], victim: &Input, settle: i64) -> bool {
    let some = moments(inputs, Some(STRETCHES));
    let (astray, rarer) = Function::counted(inputs, victim, settle, &some).astray();
    rarer > 0 && astray as f64 <= AT_A_GLANCE * rarer as f64
}

/// The victim's level in each state of the inputs, where each state that was seen has one level, and all of them matter.
fn function_of(inputs: &[&Input], victim: &Input, settle: i64) -> Option<Function> {
    let function = Function::counted(inputs, victim, settle, &moments(inputs, None));
    let matters = (0..inputs.len()).all(|input| function.depends_on(input));
    (function.is_one() && matters).then_some(function)
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

    /// Ticks at which a bit of a counter that counts every 1,000 ticks changes, `rounds` times through.
    fn counting(bit: u32, rounds: i64) -> Vec<i64> {
        (1..16 * rounds)
            .filter(|n| n % (1 << bit) == 0)
            .map(|n| 1_000 * n)
            .collect()
    }

    /// Edges of what is high while the count is `value`, 8 ticks later.
    fn high_at(value: i64, rounds: i64) -> Vec<i64> {
        (0..rounds)
            .flat_map(|r| [1_000 * (16 * r + value) + 8, 1_000 * (16 * r + value + 1) + 8])
            .collect()
    }

    #[test]
    fn a_gate_is_told_by_its_levels() {
        let bits: Vec<Input> = (0..4)
            .map(|bit| input(bit, false, &counting(bit as u32, 5)))
            .collect();
        let all: Vec<&Input> = bits.iter().collect();
        let decoded = input(9, false, &high_at(11, 5));
        let function = function_of(&all, &decoded, 120).expect("a function of four");
        let high: Vec<usize> = (0..16)
            .filter(|&state| function.level(state) == Some(true))
            .collect();
        assert_eq!(high, [11]);
        assert!(
            function_of(&all[..3], &decoded, 120).is_none(),
            "three don't settle it"
        );
        let copy = input(
            9,
            false,
            &counting(1, 5).iter().map(|t| t + 8).collect::<Vec<_>>(),
        );
        assert!(
            function_of(&all[..2], &copy, 120).is_none(),
            "one of the two does not matter"
        );
    }

    #[test]
    fn only_pulses_on_the_way_from_one_state_to_another_are_glitches() {
        let reach = Reach {
            lo: -8,
            hi: 120,
            narrowest: 5.0,
        };
        let and = Function {
            stays: vec![5; 4],
            high: vec![0, 0, 0, 5],
        };
        let (starts, ends) = ([1_010], [1_040]);
        let made = |level, a: &Input, b: &Input| {
            let glitches = Glitches {
                starts: &starts,
                ends: &ends,
                level,
                reach: &reach,
                unit: 2.0,
                stretch: 10.0,
            };
            glitches.made_by(&[a, b], &and, None).len()
        };
        // Low and high become high and low: an AND shows high while both are high.
        let (a, b) = (input(0, false, &[1_000]), input(1, true, &[1_030]));
        assert_eq!(made(Level::High, &a, &b), 1);
        assert_eq!(made(Level::Low, &a, &b), 0);
        // The other order passes through both low, and an AND stays low.
        let (late, early) = (input(0, false, &[1_030]), input(1, true, &[1_000]));
        assert_eq!(made(Level::High, &late, &early), 0);
        // Within one sample the order is not known.
        let (first, second) = (input(0, false, &[1_002]), input(1, true, &[1_000]));
        assert_eq!(
            made(Level::High, &first, &second),
            0,
            "it lasts far longer than they are apart"
        );
        // Nothing else switched.
        assert_eq!(made(Level::High, &a, &input(1, true, &[50_000])), 0);
    }
}
