//! The boards of the carillon: each looks at the nets it is wired to and drives its own outputs.

mod driver;
mod memory;
mod panel;
mod sequencer;

pub use driver::Driver;
pub use memory::{Memory, TIED, TUNE};
pub use panel::{Burst, Panel};
pub use sequencer::Sequencer;

use super::wires::{Edge, Wires};

/// Something on the stage that answers edges.
pub trait Board {
    /// Puts its nets at rest and plans what it does by itself.
    fn power_up(&mut self, wires: &mut Wires);
    /// Answers one edge.
    fn answer(&mut self, edge: Edge, wires: &mut Wires);
}
