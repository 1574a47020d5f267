//! A bus that must step by a rule at a strobe's edge.

use super::EdgeOf;
use crate::model::Level;

/// What the bus must do at each strobe.
#[derive(Clone, Debug, PartialEq)]
pub enum Step {
    /// One more, from the largest value back to 0. With a modulus m, values run 0…m−1.
    CountUp,
    /// One less, from 0 back to the largest value.
    CountDown,
    /// One more while the line `direction` has the level `up`, one less while it has the other; its level just before the strobe
    /// counts.
    Count { direction: String, up: Level },
    /// Every bit moves towards the most significant end; the lowest bit takes the level of `serial`, where given.
    ShiftLeft { serial: Option<String> },
    /// Every bit moves towards the least significant end.
    ShiftRight { serial: Option<String> },
    /// Takes the value another bus had at the strobe; most significant bit first.
    Load { from: Vec<String> },
    /// Keeps its value.
    Hold,
    /// Becomes 0.
    Clear,
}

impl Step {
    /// The word of the setup file.
    pub fn word(&self) -> &'static str {
        match self {
            Step::CountUp => "count-up",
            Step::CountDown => "count-down",
            Step::Count { .. } => "count",
            Step::ShiftLeft { .. } => "shift-left",
            Step::ShiftRight { .. } => "shift-right",
            Step::Load { .. } => "load",
            Step::Hold => "hold",
            Step::Clear => "clear",
        }
    }
}

/// A bus, its strobe, and its rule.
#[derive(Clone, Debug, PartialEq)]
pub struct Sequence {
    /// Lines, most significant first; one name may be a bus.
    pub bus: Vec<String>,
    pub strobe: EdgeOf,
    pub step: Step,
    /// Values run 0…modulus−1; `None` for all values the bits can take.
    pub modulus: Option<u64>,
    /// Time after the strobe by which the bus must have its new value; `None`: by the next strobe.
    pub settle_s: Option<f64>,
    /// Other lines to look at when a step is wrong, e.g. the other count input.
    pub watch: Vec<String>,
}
