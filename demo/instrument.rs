//! A logic instrument: looks at its probes once a period of its own clock, and knows nothing between.

use super::machine::Run;
use super::wires::Net;
use crate::model::{Level, Ticks};

/// An instrument with its own clock: time on the machine = time here × (1 + `drift_ppm`·10⁻⁶) + `offset_s`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Instrument {
    pub period_s: f64,
    pub offset_s: f64,
    pub drift_ppm: f64,
}

impl Instrument {
    /// Sees everything: one sample a picosecond, on the machine's own clock.
    pub const EXACT: Instrument = Instrument {
        period_s: 1e-12,
        offset_s: 0.0,
        drift_ppm: 0.0,
    };

    /// A moment on the machine, in seconds on this instrument's clock.
    pub fn clock_s(&self, time: Ticks) -> f64 {
        (time.0 as f64 * 1e-12 - self.offset_s) / (1.0 + self.drift_ppm * 1e-6)
    }

    /// Number of the first sample taken at or after a moment; may be negative.
    pub fn sample_at(&self, time: Ticks) -> i64 {
        if *self == Instrument::EXACT {
            return time.0;
        }
        (self.clock_s(time) / self.period_s).ceil() as i64
    }

    /// Clips a probe to each net and records `run` up to `samples` samples. An edge is noted at the first sample
    /// that shows it; a pulse between two samples is never seen.
    pub fn record(&self, run: &Run, nets: &[Net], samples: Option<i64>) -> Recording {
        let last = self.sample_at(run.span.end) - 1;
        let samples = samples.unwrap_or(last + 1).min(last + 1);
        let lines = nets.iter().map(|&net| {
            let name = net.label().expect("a probe is clipped to a net with a name");
            let wave = &run.waves[&net];
            let mut first = wave.first;
            let mut edges: Vec<i64> = Vec::new();
            for sample in wave.edges.iter().map(|&edge| self.sample_at(edge)) {
                if sample <= 0 {
                    first = first.inverted();
                } else if edges.last() == Some(&sample) {
                    edges.pop();
                } else if sample < samples {
                    edges.push(sample);
                }
            }
            Recorded { name, first, edges }
        });
        Recording {
            lines: lines.collect(),
            period_s: self.period_s,
            samples,
        }
    }
}

/// One line as an instrument recorded it: `edges` are sample numbers, ascending and distinct.
#[derive(Clone, Debug, PartialEq)]
pub struct Recorded {
    pub name: String,
    pub first: Level,
    pub edges: Vec<i64>,
}

/// What an instrument recorded: samples 0 to `samples` − 1, sample 0 at time 0 of its clock.
#[derive(Clone, Debug, PartialEq)]
pub struct Recording {
    pub lines: Vec<Recorded>,
    pub period_s: f64,
    /// How many samples were taken.
    pub samples: i64,
}

impl Recording {
    /// All changes in time order as (sample, position of the line, level after it). Ties keep the order of lines.
    pub fn changes(&self) -> Vec<(i64, usize, Level)> {
        let mut changes = Vec::new();
        for (index, line) in self.lines.iter().enumerate() {
            let mut level = line.first;
            for &edge in &line.edges {
                level = level.inverted();
                changes.push((edge, index, level));
            }
        }
        changes.sort_by_key(|&(sample, index, _)| (sample, index));
        changes
    }
}

#[cfg(test)]
mod tests {
    use super::super::machine::{Faults, Pace, Plan, run};
    use super::*;

    /// A pulse of width w, at a random phase, is seen with chance min(1, w/Ts): geometric probability.
    #[test]
    fn narrow_pulses_are_missed_as_often_as_geometry_says() {
        let machine = run(Plan {
            seed: 11,
            length: Ticks(16_000_000_000),
            pace: Pace::BENCH,
            faults: Faults {
                strike_chance: 1.0,
                ..Faults::AS_FOUND
            },
            manned: false,
        });
        let instrument = Instrument {
            period_s: 37.3e-9,
            offset_s: 0.0,
            drift_ppm: 0.0,
        };
        let recording = instrument.record(&machine, &[Net::ClearN], None);
        let clears = machine.waves[&Net::ClearN].edges.len() / 2 - machine.dips.len();
        let seen = recording.lines[0].edges.len() / 2 - clears;
        let expected: f64 = machine.dips.iter().map(|d| d.width.0 as f64 / 37.3e3).sum();
        let deviation = (expected * 0.7).sqrt();
        assert!(machine.dips.len() > 2000);
        assert!(
            (seen as f64 - expected).abs() < 4.0 * deviation,
            "{seen} of {}, expected {expected}",
            machine.dips.len()
        );
    }
}
