//! The same evidence told differently: what the analysis says of a capture must not hang on how its file was written.

use edgewitness::model::{Capture, Line, Stretch, Ticks, TimeSpan};

/// A way to tell the same record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Telling {
    /// Ticks a third as long; sampling and resolution stay what they are in seconds.
    FinerTicks,
    /// The clock of the instrument began at another moment.
    Later,
    /// The lines in the opposite order.
    OtherOrder,
}

impl Telling {
    pub const ALL: [Telling; 3] = [Telling::FinerTicks, Telling::Later, Telling::OtherOrder];

    /// Whether it tells the same: how well the edges of a record without sampling are known is its tick.
    pub fn tells_all(self, capture: &Capture) -> bool {
        self != Telling::FinerTicks || capture.lines.iter().all(|line| line.sample_ticks > 0.0)
    }

    /// How many ticks it makes of one.
    pub fn ticks_of_one(self) -> i64 {
        match self {
            Telling::FinerTicks => 3,
            Telling::Later | Telling::OtherOrder => 1,
        }
    }

    /// The position of line `line` of `lines` in the telling.
    pub fn position(self, line: usize, lines: usize) -> usize {
        match self {
            Telling::OtherOrder => lines - 1 - line,
            Telling::FinerTicks | Telling::Later => line,
        }
    }

    /// Tells `capture`, lines without volts, marks and aliases, so.
    pub fn of(self, capture: &Capture) -> Capture {
        let mut told = capture.clone();
        let ratio = self.ticks_of_one();
        let shift = if self == Telling::Later { 7_777_777 } else { 0 };
        let moment = |t: Ticks| Ticks(t.0 * ratio + shift);
        let span = |s: TimeSpan| TimeSpan::new(moment(s.start), moment(s.end));
        told.timebase.denominator *= ratio as f64;
        told.span = span(told.span);
        told.resolution_ticks *= ratio as f64;
        for line in &mut told.lines {
            *line = Line {
                edges: line.edges.iter().map(|&t| moment(t)).collect::<Vec<_>>().into(),
                flips: line.flips.iter().map(|&t| moment(t)).collect(),
                stretches: line
                    .stretches
                    .iter()
                    .map(|s| Stretch {
                        span: span(s.span),
                        kind: s.kind,
                    })
                    .collect(),
                span: span(line.span),
                sample_ticks: line.sample_ticks * ratio as f64,
                between: Ticks(line.between.0 * ratio),
                landmarks: None,
                tally: None,
                ..line.clone()
            };
        }
        if self == Telling::OtherOrder {
            told.lines.reverse();
        }
        told
    }
}
