//! A capture: lines on one timebase, from one file (or several, brought to one clock).

use serde::{Deserialize, Serialize};

use super::{Line, Ticks, TimeSpan, Timebase, Trace};

/// The form of the file a capture was read from.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Format {
    Vcd,
    Csv,
}

impl Format {
    /// The word of the report.
    pub fn word(self) -> &'static str {
        match self {
            Format::Vcd => "vcd",
            Format::Csv => "csv",
        }
    }
}

/// Something odd but usable that the reader met; the reader went on.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Warning {
    /// A sentence: what, where (row and column, or byte), and what was done about it.
    pub text: String,
}

/// How the warning begins that tells of a file without a unit of its times: all that is said of times hangs on it.
pub const NO_TIME_UNIT: &str = "no $timescale: 1 ns was taken for a time unit";

/// A bus: lines that are the bits of one vector.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Bus {
    pub name: String,
    /// Positions in [`Capture::lines`], most significant bit (as declared) first.
    pub bits: Vec<usize>,
    /// Base in which the file writes its values (2, 8, 10 or 16); `None` where it says none.
    #[serde(default)]
    pub base: Option<u32>,
}

/// A variable that is no logic line (a real, a string, an event): kept, not analysed.
#[derive(Clone, Debug)]
pub struct NotLogic {
    pub name: String,
    /// What it is: "real", "string", "event", …
    pub kind: String,
    /// How often it changed.
    pub changes: usize,
    pub trace: Option<Trace>,
}

/// Lines on one timebase. All ticks of all lines are on [`Capture::timebase`].
#[derive(Clone, Debug)]
pub struct Capture {
    /// The file's name as the person gave it; for several files brought to one clock, the first one's.
    pub file: String,
    pub format: Format,
    pub timebase: Timebase,
    /// First and last recorded moment.
    pub span: TimeSpan,
    /// The file's own resolution in ticks: 1 for a VCD, the sampling period for a uniformly sampled table.
    pub resolution_ticks: f64,
    pub lines: Vec<Line>,
    pub buses: Vec<Bus>,
    pub not_logic: Vec<NotLogic>,
    pub warnings: Vec<Warning>,
}

impl Capture {
    /// Position of the line called `name`.
    pub fn line_index(&self, name: &str) -> Option<usize> {
        self.lines.iter().position(|l| l.name == name)
    }

    /// The moment `time` in seconds.
    pub fn seconds(&self, time: Ticks) -> f64 {
        self.timebase.seconds(time)
    }

    /// Edges on all lines together.
    pub fn edge_count(&self) -> usize {
        self.lines.iter().map(|l| l.edges.len()).sum()
    }

    /// Lines on ticks of a nanosecond from 0 s, and nothing else: what the tests of the analyses look at.
    #[cfg(test)]
    pub fn in_nanoseconds(file: &str, span: TimeSpan, lines: Vec<Line>) -> Capture {
        Capture {
            file: file.to_owned(),
            format: Format::Vcd,
            timebase: Timebase::decimal(-9),
            span,
            resolution_ticks: 1.0,
            lines,
            buses: Vec::new(),
            not_logic: Vec::new(),
            warnings: Vec::new(),
        }
    }

    /// Adds a sentence on odd but usable input.
    pub fn warn(&mut self, text: impl Into<String>) {
        self.warnings.push(Warning { text: text.into() });
    }
}
