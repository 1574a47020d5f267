//! What a person may demand of lines, as declared: limits from a data sheet, logic, latches, sequences, rails.
//!
//! These are names, seconds and volts, not yet tied to a capture: `setup` makes them from the setup file and
//! `analysis::rules` checks them, so they stand beside both and know only the model. Words of the limits are those of data
//! sheets (JEDEC) and of the timing checks of IEEE Std 1364 clause 15.

pub mod expression;
mod latch;
mod limit;
mod logic;
mod rail;
mod sequence;

pub use latch::Latch;
pub use limit::{Bounds, EdgeOf, Limit};
pub use logic::Logic;
pub use rail::{Rail, Reading};
pub use sequence::{Sequence, Step};

/// One rule of the setup file.
#[derive(Clone, Debug, PartialEq)]
pub struct Rule {
    /// What the person called it, or a name made from its kind and lines.
    pub name: String,
    /// The line of the setup file on which it begins, from 1.
    pub setup_line: usize,
    pub demand: Demand,
}

/// What a rule demands.
#[derive(Clone, Debug, PartialEq)]
pub enum Demand {
    Limit(Limit),
    Logic(Logic),
    Latch(Latch),
    Sequence(Sequence),
}

impl Demand {
    /// The word of the setup file and the report: `pulse-width`, …, `sequence`.
    pub fn word(&self) -> &'static str {
        match self {
            Demand::Limit(limit) => limit.word(),
            Demand::Logic(_) => "logic",
            Demand::Latch(_) => "latch",
            Demand::Sequence(_) => "sequence",
        }
    }
}
