//! The carillon as a whole: boards on their harness, run for a while, with the faults that were planted.

use std::collections::BTreeMap;

use super::boards::{Board, Burst, Driver, Memory, Panel, Sequencer};
use super::harness::{Cable, Contact};
use super::wires::{Net, Wave, Wires};
use crate::model::{Ticks, TimeSpan};

/// How fast the machine runs.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pace {
    pub tempo_ns: f64,
    /// Steps in one go, at most: above 1, the sequencer now and then passes over steps of the tune, 300 ns apart.
    pub most_steps: u32,
    pub clear_ns: f64,
    pub lamp_ns: f64,
    pub hammer_ns: f64,
}

impl Pace {
    /// As people hear it: some thirty beats a second while testing.
    pub const EVENING: Pace = Pace {
        tempo_ns: 31e6,
        most_steps: 3,
        clear_ns: 2_000.0,
        lamp_ns: 1.1e6,
        hammer_ns: 12e6,
    };
    /// Hammers unplugged and the tempo resistor bridged: a tune in microseconds, for a short table of samples.
    pub const BENCH: Pace = Pace {
        tempo_ns: 2_400.0,
        most_steps: 1,
        clear_ns: 800.0,
        lamp_ns: 1_000.0,
        hammer_ns: 900.0,
    };
}

/// What is wrong with the machine.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Faults {
    /// Chance that a fall of STEP makes CLEAR_N dip.
    pub strike_chance: f64,
    /// Dips of CLEAR_N that have no cause on the machine.
    pub causeless: u32,
    /// Chance that a strike strobe is lost between sequencer and tower.
    pub loss_chance: f64,
    /// The bell whose drive was never wired.
    pub unwired_bell: Option<u8>,
}

impl Faults {
    /// The evening's faults before anything was mended.
    pub const AS_FOUND: Faults = Faults {
        strike_chance: 0.43,
        causeless: 2,
        loss_chance: 0.3,
        unwired_bell: Some(4),
    };
    /// The clear line has a pair of its own now; the rest is as it was.
    pub const CLEAR_MOVED: Faults = Faults {
        strike_chance: 0.0,
        ..Faults::AS_FOUND
    };
}

/// One evening, or a part of one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plan {
    /// Another seed: other moments, same machine.
    pub seed: u64,
    pub length: Ticks,
    pub pace: Pace,
    pub faults: Faults,
    /// Somebody presses the play key; else the tune runs from the start.
    pub manned: bool,
}

/// A dip that was planted: `start` its first edge, exact.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dip {
    pub start: Ticks,
    pub width: Ticks,
    /// The fall of STEP that made it, or none.
    pub cause: Option<Ticks>,
}

/// What happened, exact to the picosecond, and what was planted.
pub struct Run {
    pub plan: Plan,
    pub span: TimeSpan,
    pub waves: BTreeMap<Net, Wave>,
    pub dips: Vec<Dip>,
    /// Starts, at the sequencer, of strike strobes that never reached the tower.
    pub lost: Vec<Ticks>,
    pub bursts: Vec<Burst>,
}

/// Runs the machine. Cost: linear in edges, times the logarithm of what is pending.
pub fn run(plan: Plan) -> Run {
    let mut wires = Wires::new(plan.seed);
    let mut sequencer = Sequencer::new(plan.pace, !plan.manned);
    let mut memory = Memory;
    let mut driver = Driver::new(plan.pace, plan.faults.unwired_bell);
    let mut panel = Panel::new(plan.manned);
    let mut cable = Cable::new(plan.faults, plan.length);
    let mut contact = Contact::new(plan.faults.loss_chance);
    {
        let mut boards: [&mut dyn Board; 6] = [
            &mut sequencer,
            &mut memory,
            &mut driver,
            &mut panel,
            &mut cable,
            &mut contact,
        ];
        for board in &mut boards {
            board.power_up(&mut wires);
        }
        while let Some(edge) = wires.step(plan.length) {
            for board in &mut boards {
                board.answer(edge, &mut wires);
            }
        }
    }
    let mut dips = cable.dips;
    dips.retain(|dip| dip.start + dip.width < plan.length);
    dips.sort_by_key(|dip| dip.start);
    Run {
        plan,
        span: TimeSpan::new(Ticks::ZERO, plan.length),
        waves: wires.into_waves(),
        dips,
        lost: contact.lost,
        bursts: panel.bursts,
    }
}
