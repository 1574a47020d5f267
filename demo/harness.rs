//! The wiring between the boards: which pin carries what, what runs beside it, and what goes wrong on the way.

use super::boards::Board;
use super::machine::{Dip, Faults};
use super::wires::{Edge, Net, Wires, ns};
use crate::model::Ticks;

/// The harness sheet as the machine was found: STEP and CLEAR_N lie side by side on the sequencer's J2.
pub const SHEET: &str = "\
board,connector,pin,signal,colour,neighbours,line
sequencer,J2,9,TEMPO,white,ribbon,
sequencer,J2,10,BEAT,black,ribbon,
sequencer,J2,11,STEP,brown,ribbon,
sequencer,J2,12,CLEAR_N,red,ribbon,
sequencer,J2,13,LAMP,orange,ribbon,
sequencer,J2,14,,black,ribbon,
sequencer,J5,2,STRIKE,yellow,,STRIKE_OUT
memory,J4,3,TUNE_A,green,ribbon,
memory,J4,4,TUNE_B,blue,ribbon,
memory,J4,5,NOTE,violet,ribbon,
memory,J4,6,TUNE_C,grey,ribbon,
memory,J4,7,TUNE_D,white,ribbon,
tower,J9,2,STRIKE,yellow,,STRIKE_IN
tower,J9,4,HAMMER,grey,,
tower,J9,5,DAMPER,white,,
driver,J6,1,BELL[0],brown,ribbon,
driver,J6,2,BELL[1],red,ribbon,
driver,J6,3,BELL[2],orange,ribbon,
driver,J6,4,BELL[3],yellow,ribbon,
driver,J6,5,BELL[4],green,ribbon,
driver,J6,6,BELL[5],blue,ribbon,
driver,J6,7,BELL[6],violet,ribbon,
driver,J6,8,BELL[7],grey,ribbon,
panel,J1,1,PLAY,green,,
";

/// The ribbon at the sequencer's J2: a fall of STEP pulls CLEAR_N down through the gap between two wires.
pub struct Cable {
    faults: Faults,
    length: Ticks,
    pub dips: Vec<Dip>,
}

/// A dip keeps this far from CLEAR_N's own edges: a line that is being driven shows none.
const CLEAR_OF_EDGES: Ticks = Ticks(150_000);

impl Cable {
    /// A cable for a run of that length.
    pub fn new(faults: Faults, length: Ticks) -> Cable {
        let dips = Vec::new();
        Cable { faults, length, dips }
    }

    fn dip(&mut self, after: Ticks, cause: Option<Ticks>, wires: &mut Wires) {
        let width = ns(wires.random.normal(12.0, 4.0).clamp(6.0, 24.0));
        wires.pulse(Net::ClearN, false, after, width);
        let start = wires.now() + after;
        self.dips.push(Dip { start, width, cause });
    }
}

impl Board for Cable {
    fn power_up(&mut self, wires: &mut Wires) {
        for _ in 0..self.faults.causeless {
            let at = wires.random.uniform(0.2, 0.95) * self.length.0 as f64;
            self.dip(Ticks(at as i64), None, wires);
        }
    }

    fn answer(&mut self, edge: Edge, wires: &mut Wires) {
        if !edge.is_fall_of(Net::Step) {
            return;
        }
        let quiet = wires
            .last_edge(Net::ClearN)
            .is_none_or(|last| edge.at - last > CLEAR_OF_EDGES);
        let strikes = wires.random.chance(self.faults.strike_chance);
        if strikes && quiet && wires.is_high(Net::ClearN) {
            let lag = ns(wires.random.normal(13.0, 1.2));
            self.dip(lag, Some(edge.at), wires);
        }
    }
}

/// The strike strobe's way to the tower: some metres of wire and a contact that is not always one.
pub struct Contact {
    loss_chance: f64,
    /// Whether the pulse under way gets through.
    passing: bool,
    /// Starts of the strobes that were lost.
    pub lost: Vec<Ticks>,
}

impl Contact {
    /// A contact that loses each strobe with that chance.
    pub fn new(loss_chance: f64) -> Contact {
        let lost = Vec::new();
        Contact {
            loss_chance,
            passing: false,
            lost,
        }
    }
}

impl Board for Contact {
    fn power_up(&mut self, _: &mut Wires) {}

    fn answer(&mut self, edge: Edge, wires: &mut Wires) {
        let delay = ns(wires.random.normal(31.0, 0.3));
        if edge.is_rise_of(Net::StrikeOut) {
            self.passing = !wires.random.chance(self.loss_chance);
            if self.passing {
                wires.drive(Net::StrikeIn, true, delay);
            } else {
                self.lost.push(edge.at);
            }
        } else if edge.is_fall_of(Net::StrikeOut) && self.passing {
            wires.drive(Net::StrikeIn, false, delay);
        }
    }
}
