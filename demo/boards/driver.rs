//! The striker driver in the tower: takes the word at the strike strobe and lifts the hammers for a while.

use super::Board;
use crate::demo::machine::Pace;
use crate::demo::wires::{Edge, Net, Wires, ns};
use crate::model::{Level, Ticks};

/// The board in the tower: one coil a bell, struck on the strobe.
pub struct Driver {
    pace: Pace,
    /// The bell whose drive was never wired.
    unwired: Option<u8>,
}

impl Driver {
    /// Drives at that pace; `unwired` is the bell whose drive was never wired.
    pub fn new(pace: Pace, unwired: Option<u8>) -> Driver {
        Driver { pace, unwired }
    }
}

impl Board for Driver {
    fn power_up(&mut self, wires: &mut Wires) {
        for bit in 0..8 {
            wires.rest(Net::Bell(bit), Level::Low);
        }
        wires.rest(Net::StrikeIn, Level::Low);
        wires.rest(Net::Hammer, Level::Low);
        wires.rest(Net::Damper, Level::High);
    }

    fn answer(&mut self, edge: Edge, wires: &mut Wires) {
        if edge.is_rise_of(Net::StrikeIn) {
            let mut longest = Ticks::ZERO;
            for bit in 0..8 {
                if wires.is_high(Net::Word(bit)) && Some(bit) != self.unwired {
                    let rise = wires.gate(25.0);
                    let hold = ns(self.pace.hammer_ns * wires.random.normal(1.0, 0.01));
                    wires.settle(Net::Bell(bit), true, rise);
                    // The one-shot starts anew with each strike.
                    wires.drive(Net::Bell(bit), false, rise + hold);
                    longest = longest.max(rise + hold);
                }
            }
            if longest > Ticks::ZERO {
                let lift = ns(self.pace.hammer_ns * wires.random.normal(0.26, 0.01));
                let fall = ns(self.pace.hammer_ns * wires.random.normal(0.35, 0.01));
                wires.settle(Net::Hammer, true, lift);
                wires.drive(Net::Hammer, false, longest + fall);
            }
        } else if edge.net == Net::Hammer {
            let delay = ns(self.pace.hammer_ns * wires.random.normal(0.05, 0.002));
            wires.settle(Net::Damper, edge.is_fall_of(Net::Hammer), delay);
        }
    }
}
