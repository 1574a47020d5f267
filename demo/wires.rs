//! Nets, their levels over time, and the queue of what will happen: the stage on which the boards play.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BinaryHeap};

use super::random::Random;
use crate::model::{Level, Polarity, Ticks};

/// A moment or a length in the simulation: one tick is a picosecond.
pub fn ns(value: f64) -> Ticks {
    Ticks((value * 1e3).round() as i64)
}

/// One electrical node of the carillon. What a probe can be clipped to has a name (see [`Net::label`]); the
/// rest are nodes inside a board.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Net {
    /// Tempo oscillator of the sequencer.
    Tempo,
    /// Step strobe of the sequencer, active low: steps the address of the tune memory at its end.
    Step,
    /// Lamp flip-flop of the sequencer, clocked by the step strobe's start.
    Beat,
    /// Clears the step counter, active low; wired-or over the backplane, so its pull-up is weak.
    ClearN,
    /// Bit of the step counter, which addresses the tune memory.
    Address(u8),
    /// The tune memory says that the present step has a note.
    Note,
    /// Bit of the tune memory's note word, one bit a bell.
    Word(u8),
    /// Strike strobe where it leaves the sequencer, and where it reaches the tower.
    StrikeOut,
    StrikeIn,
    /// Drive of one bell's hammer.
    Bell(u8),
    /// A hammer is lifted (sense contact in the tower), and the damper's magnet.
    Hammer,
    Damper,
    /// The play key's contact, and the lamp beside it.
    Play,
    Lamp,
    /// Inside the sequencer: the moment to look for a note, and a clear that was long enough to act.
    Window,
    Cleared,
}

impl Net {
    /// The line's name on a capture; `None` for a node that no probe reaches.
    pub fn label(self) -> Option<String> {
        let name = match self {
            Net::Tempo => "TEMPO",
            Net::Step => "STEP",
            Net::Beat => "BEAT",
            Net::ClearN => "CLEAR_N",
            Net::Address(0) => "TUNE_A",
            Net::Address(1) => "TUNE_B",
            Net::Note => "NOTE",
            Net::StrikeOut => "STRIKE_OUT",
            Net::StrikeIn => "STRIKE_IN",
            Net::Hammer => "HAMMER",
            Net::Damper => "DAMPER",
            Net::Play => "PLAY",
            Net::Lamp => "LAMP",
            Net::Bell(bit) => return Some(format!("BELL[{bit}]")),
            Net::Address(_) | Net::Word(_) | Net::Window | Net::Cleared => return None,
        };
        Some(name.to_owned())
    }
}

/// A net's whole life: its first level and its edges, ascending and distinct, in picoseconds.
#[derive(Clone, Debug, PartialEq)]
pub struct Wave {
    pub first: Level,
    pub edges: Vec<Ticks>,
}

impl Wave {
    /// The level at `time`, an edge at `time` included. Cost: logarithmic.
    pub fn level_at(&self, time: Ticks) -> Level {
        let before = self.edges.partition_point(|&e| e <= time);
        if before.is_multiple_of(2) {
            self.first
        } else {
            self.first.inverted()
        }
    }

    /// Times of the edges of one polarity.
    pub fn edges_towards(&self, polarity: Polarity) -> impl Iterator<Item = Ticks> + '_ {
        let skip = usize::from(Polarity::towards(self.first.inverted()) != Some(polarity));
        self.edges.iter().skip(skip).step_by(2).copied()
    }
}

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Planned {
    at: Ticks,
    /// Order of planning decides between changes at one moment.
    order: u64,
    net: Net,
    high: bool,
}

/// An edge that has just happened.
#[derive(Clone, Copy, Debug)]
pub struct Edge {
    pub net: Net,
    pub polarity: Polarity,
    pub at: Ticks,
}

impl Edge {
    /// Whether it is a rise of `net`.
    pub fn is_rise_of(&self, net: Net) -> bool {
        self.net == net && self.polarity == Polarity::Rise
    }

    /// Whether it is a fall of `net`.
    pub fn is_fall_of(&self, net: Net) -> bool {
        self.net == net && self.polarity == Polarity::Fall
    }
}

/// All nets, and the changes still to come.
pub struct Wires {
    pub random: Random,
    now: Ticks,
    waves: BTreeMap<Net, Wave>,
    queue: BinaryHeap<Reverse<Planned>>,
    /// Plans of a net older than this are void (see [`Wires::settle`]).
    void_before: BTreeMap<Net, u64>,
    order: u64,
}

impl Wires {
    /// Quiet nets at tick zero.
    pub fn new(seed: u64) -> Wires {
        Wires {
            random: Random::new(seed),
            now: Ticks::ZERO,
            waves: BTreeMap::new(),
            queue: BinaryHeap::new(),
            void_before: BTreeMap::new(),
            order: 0,
        }
    }

    /// Puts a net on the stage, at rest.
    pub fn rest(&mut self, net: Net, first: Level) {
        let edges = Vec::new();
        self.waves.insert(net, Wave { first, edges });
    }

    /// The present moment of the run, in ticks.
    pub fn now(&self) -> Ticks {
        self.now
    }

    /// The net's level now; low for a net that was never put on the stage.
    pub fn is_high(&self, net: Net) -> bool {
        self.waves
            .get(&net)
            .is_some_and(|w| w.level_at(self.now) == Level::High)
    }

    /// The last edge of a net, if it ever moved.
    pub fn last_edge(&self, net: Net) -> Option<Ticks> {
        self.waves.get(&net)?.edges.last().copied()
    }

    /// Plans a level `after` from now, in picoseconds, and leaves other plans of the net as they are (as on a cable).
    pub fn drive(&mut self, net: Net, high: bool, after: Ticks) {
        self.order += 1;
        let at = self.now + Ticks(after.0.max(0));
        let order = self.order;
        self.queue.push(Reverse(Planned { at, order, net, high }));
    }

    /// Plans a level and drops what else was planned for the net (as a gate that is slower than its input).
    pub fn settle(&mut self, net: Net, high: bool, after: Ticks) {
        self.void_before.insert(net, self.order + 1);
        self.drive(net, high, after);
    }

    /// Drives a pulse of `width` that starts `after` from now, and returns to the opposite level.
    pub fn pulse(&mut self, net: Net, high: bool, after: Ticks, width: Ticks) {
        self.drive(net, high, after);
        self.drive(net, !high, after + width);
    }

    /// A gate's delay: the typical value, drawn with 5 % spread.
    pub fn gate(&mut self, typical_ns: f64) -> Ticks {
        ns(self.random.normal(typical_ns, typical_ns * 0.05))
    }

    /// Goes on to the next real edge before `end`; `None` when nothing more happens.
    pub fn step(&mut self, end: Ticks) -> Option<Edge> {
        while let Some(Reverse(plan)) = self.queue.pop() {
            if plan.at >= end {
                return None;
            }
            self.now = plan.at;
            if plan.order < self.void_before.get(&plan.net).copied().unwrap_or(0) {
                continue;
            }
            let wave = self.waves.entry(plan.net).or_insert(Wave {
                first: Level::Low,
                edges: Vec::new(),
            });
            let level = if plan.high { Level::High } else { Level::Low };
            if wave.level_at(plan.at) == level {
                continue;
            }
            if wave.edges.last() == Some(&plan.at) {
                // There and back in no time: nothing happened.
                wave.edges.pop();
                continue;
            }
            wave.edges.push(plan.at);
            let polarity = if plan.high { Polarity::Rise } else { Polarity::Fall };
            return Some(Edge {
                net: plan.net,
                polarity,
                at: plan.at,
            });
        }
        None
    }

    /// What every net did, once the run is over.
    pub fn into_waves(self) -> BTreeMap<Net, Wave> {
        self.waves
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plans_happen_in_order_and_a_slow_gate_swallows_a_short_pulse() {
        let mut wires = Wires::new(1);
        wires.rest(Net::Step, Level::High);
        wires.rest(Net::Note, Level::Low);
        wires.pulse(Net::Step, false, ns(10.0), ns(80.0));
        wires.settle(Net::Note, true, ns(50.0));
        wires.settle(Net::Note, false, ns(45.0));
        let mut seen = Vec::new();
        while let Some(edge) = wires.step(ns(1000.0)) {
            seen.push((edge.net, edge.polarity, edge.at));
        }
        let expected = vec![
            (Net::Step, Polarity::Fall, Ticks(10_000)),
            (Net::Step, Polarity::Rise, Ticks(90_000)),
        ];
        assert_eq!(seen, expected);
    }

    #[test]
    fn edges_are_told_apart_by_polarity() {
        let wave = Wave {
            first: Level::High,
            edges: [1, 2, 3, 4, 5].map(Ticks).to_vec(),
        };
        assert_eq!(
            wave.edges_towards(Polarity::Fall).collect::<Vec<_>>(),
            [1, 3, 5].map(Ticks)
        );
        assert_eq!(
            wave.edges_towards(Polarity::Rise).collect::<Vec<_>>(),
            [2, 4].map(Ticks)
        );
        assert_eq!(wave.level_at(Ticks(0)), Level::High);
        assert_eq!(wave.level_at(Ticks(1)), Level::Low);
    }
}
