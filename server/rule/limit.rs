//! Limits on times, by the words of data sheets and of the timing checks of IEEE Std 1364-2005 clause 15.

use crate::model::{Level, Polarity};

/// The smallest and largest value allowed, in seconds; both ends are allowed values.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Bounds {
    pub at_least_s: Option<f64>,
    pub at_most_s: Option<f64>,
}

/// Edges of one line: of one polarity, or of both (`None`).
#[derive(Clone, Debug, PartialEq)]
pub struct EdgeOf {
    pub line: String,
    pub polarity: Option<Polarity>,
}

/// One limit. Where a name is a bus, it stands for all lines of the bus.
#[derive(Clone, Debug, PartialEq)]
pub enum Limit {
    /// Time between two successive edges, while the line is at `level` (either, when `None`).
    PulseWidth {
        line: String,
        level: Option<Level>,
        bounds: Bounds,
    },
    /// Data must not change in the time before a strobe's edge (end points are allowed, as in `$setup`).
    Setup {
        data: Vec<String>,
        strobe: EdgeOf,
        at_least_s: f64,
    },
    /// Data must not change at a strobe's edge nor in the time after it (as in `$hold`).
    Hold {
        data: Vec<String>,
        strobe: EdgeOf,
        at_least_s: f64,
    },
    /// Time from the release of a control to the next strobe (as in `$recovery`).
    Recovery {
        release: EdgeOf,
        strobe: EdgeOf,
        at_least_s: f64,
    },
    /// A line must be at `level` from `before_s` before to `after_s` after each edge of another.
    Stay {
        line: String,
        level: Level,
        strobe: EdgeOf,
        before_s: f64,
        after_s: f64,
    },
    /// No two of the lines may be at `level` at once for longer than `at_most_s`.
    Exclusive {
        lines: Vec<String>,
        level: Level,
        at_most_s: f64,
    },
    /// After each edge `from` there must be an edge `to` within the bounds; none at all is a violation.
    Answer {
        from: EdgeOf,
        to: EdgeOf,
        bounds: Bounds,
    },
    /// Each edge `to` must come within the bounds after the last edge `from`.
    Delay {
        from: EdgeOf,
        to: EdgeOf,
        bounds: Bounds,
    },
    /// Time between successive edges of one polarity; `as_frequency` when it was declared in hertz.
    Period {
        of: EdgeOf,
        bounds: Bounds,
        as_frequency: bool,
    },
}

impl Limit {
    /// The word of the setup file and the report.
    pub fn word(&self) -> &'static str {
        match self {
            Limit::PulseWidth { .. } => "pulse-width",
            Limit::Setup { .. } => "setup",
            Limit::Hold { .. } => "hold",
            Limit::Recovery { .. } => "recovery",
            Limit::Stay { .. } => "stay",
            Limit::Exclusive { .. } => "exclusive",
            Limit::Answer { .. } => "answer",
            Limit::Delay { .. } => "delay",
            Limit::Period {
                as_frequency: false, ..
            } => "period",
            Limit::Period {
                as_frequency: true, ..
            } => "frequency",
        }
    }
}
