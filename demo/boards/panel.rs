//! The keyboard panel: a play key whose contact bounces.

use super::Board;
use crate::demo::wires::{Edge, Net, Wires, ns};
use crate::model::{Level, Ticks};

/// One switching of the contact with its bounce.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Burst {
    /// First and last edge.
    pub start: Ticks,
    pub end: Ticks,
    /// Edges in all: an odd number.
    pub edges: u32,
    pub settled_high: bool,
}

/// When the person presses and lets go, in milliseconds.
const TOUCHES_MS: [(f64, f64); 3] = [(310.0, 655.0), (1_820.0, 2_047.0), (3_306.0, 3_588.0)];

/// The keyboard panel, whose play key bounces.
pub struct Panel {
    /// Whether anybody is at the panel.
    manned: bool,
    pub bursts: Vec<Burst>,
}

impl Panel {
    /// A panel that nobody has touched yet.
    pub fn new(manned: bool) -> Panel {
        let bursts = Vec::new();
        Panel { manned, bursts }
    }

    /// Contacts part and meet again at first quickly, then with longer rests, for some milliseconds.
    fn switch(&mut self, to_high: bool, at_ms: f64, wires: &mut Wires) {
        let start = ns(at_ms * 1e6);
        let mut at = start;
        wires.drive(Net::Play, to_high, at);
        let bounces = 2 + (wires.random.unit() * 4.0) as u32;
        for bounce in 0..bounces {
            let closed = 60e3 * f64::from(bounce + 1);
            at += ns(40e3 + wires.random.exponential(closed));
            wires.drive(Net::Play, !to_high, at);
            at += ns(15e3 + wires.random.exponential(45e3));
            wires.drive(Net::Play, to_high, at);
        }
        self.bursts.push(Burst {
            start,
            end: at,
            edges: 1 + 2 * bounces,
            settled_high: to_high,
        });
    }
}

impl Board for Panel {
    fn power_up(&mut self, wires: &mut Wires) {
        wires.rest(Net::Play, Level::Low);
        if self.manned {
            for (press, release) in TOUCHES_MS {
                let (early, late) = (wires.random.uniform(0.0, 9.0), wires.random.uniform(0.0, 9.0));
                self.switch(true, press + early, wires);
                self.switch(false, release + late, wires);
            }
        }
    }

    fn answer(&mut self, _: Edge, _: &mut Wires) {}
}
