//! The sequencer: tempo, step strobe, step counter, beat lamp, clear at the bar's end, strike strobe.

use super::{Board, TIED};
use crate::demo::machine::Pace;
use crate::demo::wires::{Edge, Net, Wires, ns};
use crate::model::Level;

/// Bits of the step counter.
const ADDRESS_BITS: u8 = 4;
/// Tempo periods in a bar; the counter is cleared at the end of each.
const BAR: u32 = 16;
/// Tempo periods of a bar in whose middle the beat lamp switches once more, without any step.
const OFF_BEATS: [u32; 2] = [5, 10];
/// A clear has to last this long before the counter takes it, in nanoseconds.
const CLEAR_ACTS_AFTER_NS: f64 = 30.0;

/// The board that counts through the tune.
pub struct Sequencer {
    pace: Pace,
    playing: bool,
    /// Tempo periods since the bar began.
    bar: u32,
    address: u8,
    beat: bool,
    lamp: bool,
}

impl Sequencer {
    /// `playing`: whether it starts by itself, with the play key bridged.
    pub fn new(pace: Pace, playing: bool) -> Sequencer {
        Sequencer {
            pace,
            playing,
            bar: 0,
            address: 0,
            beat: false,
            lamp: false,
        }
    }

    fn count_to(&mut self, address: u8, delay_ns: f64, wires: &mut Wires) {
        self.address = address;
        for bit in 0..ADDRESS_BITS {
            let delay = wires.gate(delay_ns);
            wires.settle(Net::Address(bit), address >> bit & 1 == 1, delay);
        }
    }

    fn switch_beat(&mut self, after_ns: f64, wires: &mut Wires) {
        self.beat = !self.beat;
        let delay = wires.gate(after_ns);
        wires.drive(Net::Beat, self.beat, delay);
    }

    /// One step, or as many as the pace allows, 300 ns apart.
    fn burst(&mut self, wires: &mut Wires) {
        let more = wires.random.unit();
        let steps = if more < 0.55 {
            1
        } else if more < 0.85 {
            2
        } else {
            3
        };
        let first_ns = wires.random.normal(140.0, 20.0);
        for step in 0..steps.min(self.pace.most_steps) {
            let at = ns(first_ns + 300.0 * f64::from(step) + wires.random.normal(0.0, 0.4));
            let width = ns(wires.random.normal(80.0, 0.5));
            wires.pulse(Net::Step, false, at, width);
        }
    }

    fn tempo_rose(&mut self, wires: &mut Wires) {
        let jitter = wires.random.normal(1.0, 0.01);
        let period_ns = self.pace.tempo_ns * jitter;
        wires.drive(Net::Tempo, false, ns(period_ns * 0.5));
        wires.drive(Net::Tempo, true, ns(period_ns));
        if self.playing {
            self.burst(wires);
        }
    }

    fn tempo_fell(&mut self, wires: &mut Wires) {
        if !self.playing {
            return;
        }
        if OFF_BEATS.contains(&self.bar) {
            self.switch_beat(40.0, wires);
        }
        self.bar += 1;
        if self.bar == BAR {
            self.bar = 0;
            let delay = wires.gate(55.0);
            let width = ns(wires.random.normal(self.pace.clear_ns, 4.0));
            wires.pulse(Net::ClearN, false, delay, width);
            self.lamp = !self.lamp;
            wires.drive(Net::Lamp, self.lamp, ns(self.pace.lamp_ns));
        }
    }
}

impl Board for Sequencer {
    fn power_up(&mut self, wires: &mut Wires) {
        for (net, first) in [
            (Net::Tempo, Level::Low),
            (Net::Step, Level::High),
            (Net::Beat, Level::Low),
            (Net::ClearN, Level::High),
            (Net::StrikeOut, Level::Low),
            (Net::Lamp, Level::Low),
        ] {
            wires.rest(net, first);
        }
        for bit in 0..ADDRESS_BITS {
            wires.rest(Net::Address(bit), Level::Low);
        }
        let start = wires.random.uniform(0.1, 0.6) * self.pace.tempo_ns;
        wires.drive(Net::Tempo, true, ns(start));
    }

    fn answer(&mut self, edge: Edge, wires: &mut Wires) {
        if edge.is_rise_of(Net::Tempo) {
            self.tempo_rose(wires);
        } else if edge.is_fall_of(Net::Tempo) {
            self.tempo_fell(wires);
        } else if edge.is_fall_of(Net::Step) {
            if !TIED[usize::from(self.address)] {
                self.switch_beat(3.0, wires);
            }
            wires.pulse(Net::Window, true, ns(180.0), ns(10.0));
        } else if edge.is_rise_of(Net::Step) {
            let next = (self.address + 1) % (1 << ADDRESS_BITS);
            self.count_to(next, 12.0, wires);
        } else if edge.is_rise_of(Net::Window) {
            if wires.is_high(Net::Note) {
                let delay = wires.gate(8.0);
                let width = ns(wires.random.normal(60.0, 0.5));
                wires.pulse(Net::StrikeOut, true, delay, width);
            }
        } else if edge.is_fall_of(Net::ClearN) {
            wires.settle(Net::Cleared, true, ns(CLEAR_ACTS_AFTER_NS));
        } else if edge.is_rise_of(Net::ClearN) {
            wires.settle(Net::Cleared, false, ns(0.5));
        } else if edge.is_rise_of(Net::Cleared) {
            self.count_to(0, 6.0, wires);
        } else if edge.is_rise_of(Net::Play) {
            // The key sets a latch: the first touch starts the tune, whatever the contact does then.
            self.playing = true;
        }
    }
}
