//! Simulated captures with a known truth, wiring first: lines that have a job ([`wiring`]), then what one does to another
//! ([`physics`]), then what an instrument makes of both ([`instrument`]). [`families`], [`likeness`] and [`parts`] say
//! which faults there are, [`bench`] and [`planted`] put them together; [`score`] compares what the analysis says with what
//! was planted.
//!
//! The same family and seed give the same capture on every machine.

pub mod bench;
pub mod families;
pub mod instrument;
pub mod likeness;
pub mod parts;
pub mod physics;
pub mod planted;
pub mod retold;
pub mod score;
pub mod wiring;

use edgewitness::export;
use edgewitness::ingest::{self, ReadOptions};
use edgewitness::model::{Capture, Ticks};

/// A planted coupling, positions being those of the capture's lines.
#[derive(Clone, Debug)]
pub struct Planted {
    pub victim: usize,
    pub aggressor: usize,
    pub rise: Planting,
    pub fall: Planting,
}

/// One polarity of a planted coupling.
#[derive(Clone, Copy, Debug, Default)]
pub struct Planting {
    /// Chance that an opportunity makes a stray that the instrument shows.
    pub chance_shown: f64,
    pub opportunities: usize,
    /// Strays that show.
    pub shown: usize,
    /// Whether enough show for this polarity to be demanded; else it may be named or not.
    pub demanded: bool,
}

/// A stray that shows in the capture.
#[derive(Clone, Debug)]
pub struct TrueStray {
    pub line: usize,
    pub start: i64,
    pub end: i64,
    pub high: bool,
    /// Captured lines that did it; empty for none.
    pub causes: Vec<usize>,
    /// So near to an edge of the line's own that the record alone does not tell which of the two pulses is the
    /// stray: neither demanded nor wrong.
    pub marginal: bool,
}

/// A burst of bounce: first and last edge, in ticks.
#[derive(Clone, Copy, Debug)]
pub struct TrueBurst {
    pub line: usize,
    pub start: i64,
    pub end: i64,
}

/// What was planted.
#[derive(Clone, Debug, Default)]
pub struct Truth {
    pub couplings: Vec<Planted>,
    pub strays: Vec<TrueStray>,
    pub bursts: Vec<TrueBurst>,
    /// Victim whose culprit was not captured.
    pub uncaptured: Option<usize>,
    /// Nothing in the record speaks for the uncaptured culprit: the sentence that it may be there is all that can be asked.
    pub untellable: bool,
    /// A victim, and captured lines that fit its strays alike: all of them are to be named, none accused.
    pub alike: Option<(usize, Vec<usize>)>,
    /// Victims of a shared lead, and the lines that share it.
    pub shared: Option<(Vec<usize>, Vec<usize>)>,
}

/// A simulated capture and its truth.
pub struct Scene {
    pub name: String,
    pub capture: Capture,
    /// A narrow limit (line, ticks) that the person declares; `None`: it is for the analysis to tell.
    pub narrow_below: Option<(usize, f64)>,
    pub truth: Truth,
}

impl Scene {
    /// The same scene, its capture written as a VCD or as a change list and read as a person's file is. Its ticks may be others.
    pub fn read_back(mut self, vcd: bool) -> Scene {
        let mut bytes = Vec::new();
        let name = match vcd {
            true => "simulated.vcd",
            false => "simulated.csv",
        };
        match vcd {
            true => export::vcd::write(&self.capture, &mut bytes).map(drop),
            false => export::changes::write_csv(&self.capture, &mut bytes),
        }
        .expect("bytes in memory");
        let read = ingest::read_bytes(name, bytes, &ReadOptions::default()).expect("a capture");
        let of = |capture: &Capture| capture.timebase.length_s(1.0);
        let ratio = of(&self.capture) / of(&read);
        let first = (self.capture.timebase.seconds(Ticks(0)) - read.timebase.seconds(Ticks(0))) / of(&read);
        let moved = |ticks: i64| (ticks as f64 * ratio + first).round() as i64;
        for stray in &mut self.truth.strays {
            (stray.start, stray.end) = (moved(stray.start), moved(stray.end));
        }
        for burst in &mut self.truth.bursts {
            (burst.start, burst.end) = (moved(burst.start), moved(burst.end));
        }
        self.narrow_below = self.narrow_below.map(|(line, limit)| (line, limit * ratio));
        self.capture = read;
        self
    }
}
