//! The harness sheet: which signal sits on which pin, in which colour, beside what, and which line of a capture
//! was clipped there.
//!
//! A sheet is a CSV table with a heading row; columns in any order:
//!
//! | column | |
//! | --- | --- |
//! | `board` `connector` `pin` `signal` | required; a pin without a signal has an empty cell |
//! | `colour` | of the wire |
//! | `neighbours` | `ribbon` (conductors in the order of pin numbers), `pairs` (two rows of pins: along the row and across), or the pins beside this one: `11 13`, `J3-4`; an empty cell takes the connector's first `ribbon` or `pairs` |
//! | `line` | the line of the capture whose clip is here, when it is not called as the signal |
//!
//! Knows nobody else in the crate. Words of places: "sequencer J2-12" is pin 12 of connector J2 of that board.

mod advice;
mod clips;
mod neighbours;
mod sheet;
mod table;

pub use advice::{Captured, Move, and_more_places};
pub use clips::Clips;
pub use neighbours::{Beside, Order};
pub use table::Mistake;

/// One pin of one connector.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Pin {
    pub board: String,
    pub connector: String,
    pub pin: String,
    /// Empty when nothing is known to be on it.
    pub signal: String,
    pub colour: String,
    /// As written in the sheet.
    pub neighbours: String,
    /// The line whose clip is here; empty when it is called as the signal.
    pub line: String,
}

impl Pin {
    /// "sequencer J2-12".
    pub fn place(&self) -> String {
        format!("{} {}-{}", self.board, self.connector, self.pin)
    }

    /// "sequencer J2-12, orange".
    pub fn place_and_colour(&self) -> String {
        if self.colour.is_empty() {
            self.place()
        } else {
            format!("{}, {}", self.place(), self.colour)
        }
    }

    /// Whether nothing switches here: no signal, a ground, a supply rail.
    pub fn is_quiet(&self) -> bool {
        const QUIET: [&str; 9] = ["", "-", "nc", "n/c", "gnd", "ground", "0v", "vcc", "vdd"];
        let word = self.signal.to_lowercase().replace(' ', "");
        let is_rail = word.starts_with(['+', '-']) && word.ends_with('v') && word.len() > 2;
        QUIET.contains(&word.as_str()) || is_rail
    }
}

/// A sheet that was read and checked.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Harness {
    pins: Vec<Pin>,
    /// For each pin, the pins beside it (ascending) and what says so.
    beside: Vec<Vec<(usize, Order)>>,
}

impl Harness {
    /// The pins, in the order of the sheet.
    pub fn pins(&self) -> &[Pin] {
        &self.pins
    }

    /// The pin at a place such as "sequencer J2-12".
    pub fn pin_at(&self, place: &str) -> Option<&Pin> {
        self.pins.iter().find(|pin| pin.place() == place)
    }

    /// The pins of a line, as positions in [`Harness::pins`]: where its clip is, or else every pin that carries
    /// the signal of that name. Cost: linear in pins.
    pub fn pins_of(&self, line: &str, clips: &Clips) -> Vec<usize> {
        let all = || self.pins.iter().enumerate();
        // `STEM/LINE` is the same line in one of several captures.
        let names = [line, line.rsplit('/').next().unwrap_or(line)];
        for name in names {
            if let Some(place) = clips.place(name) {
                return all()
                    .filter(|(_, pin)| pin.place() == place)
                    .map(|(i, _)| i)
                    .collect();
            }
            let clipped: Vec<usize> = all()
                .filter(|(_, pin)| pin.line == name)
                .map(|(i, _)| i)
                .collect();
            if !clipped.is_empty() {
                return clipped;
            }
        }
        let name = names[1];
        all()
            .filter(|(_, pin)| pin.signal == name && pin.line.is_empty())
            .map(|(i, _)| i)
            .collect()
    }

    /// Where a line is: "sequencer J2-12"; the first place when its signal passes several, `None` when the
    /// sheet does not have it.
    pub fn place(&self, line: &str, clips: &Clips) -> Option<String> {
        let pins = self.pins_of(line, clips);
        pins.first().map(|&pin| self.pins[pin].place_and_colour())
    }
}
