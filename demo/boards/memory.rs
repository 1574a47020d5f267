//! The tune memory: sixteen steps, one bit a bell; a step without bells is a rest.

use super::Board;
use crate::demo::wires::{Edge, Net, Wires};
use crate::model::Level;

/// Bells of each step, bit 0 the smallest. Every bell has its turn, bell 4 too.
pub const TUNE: [u8; 16] = [
    0b0000_0001,
    0b0000_0100,
    0b0001_0000,
    0b0000_0000,
    0b0010_0101,
    0b0000_1000,
    0b0100_0010,
    0b0000_0001,
    0b1000_0000,
    0b0001_0100,
    0b0000_0010,
    0b0000_0000,
    0b0100_1000,
    0b0010_0000,
    0b0000_0101,
    0b1001_0010,
];

/// Steps that are tied to the one before: the beat lamp does not switch on them (three of sixteen).
pub const TIED: [bool; 16] = {
    let mut tied = [false; 16];
    tied[3] = true;
    tied[6] = true;
    tied[11] = true;
    tied
};

/// From address to word, in nanoseconds.
const ACCESS_NS: f64 = 45.0;

/// The tune: a word of bells for each address, after its access time.
pub struct Memory;

impl Board for Memory {
    fn power_up(&mut self, wires: &mut Wires) {
        wires.rest(Net::Note, Level::High);
        for bit in 0..8 {
            let high = TUNE[0] >> bit & 1 == 1;
            wires.rest(Net::Word(bit), if high { Level::High } else { Level::Low });
        }
    }

    fn answer(&mut self, edge: Edge, wires: &mut Wires) {
        let Net::Address(_) = edge.net else { return };
        let address: usize = (0..4)
            .map(|bit| usize::from(wires.is_high(Net::Address(bit))) << bit)
            .sum();
        let word = TUNE[address];
        let delay = wires.gate(ACCESS_NS);
        wires.settle(Net::Note, word != 0, delay);
        for bit in 0..8 {
            wires.settle(Net::Word(bit), word >> bit & 1 == 1, delay);
        }
    }
}
