//! Volts of a line near a moment, without copying its trace.

use std::ops::Range;

use crate::model::{Line, TraceSamples};

/// The samples of one line.
#[derive(Clone, Copy)]
pub struct Samples<'a> {
    samples: &'a TraceSamples,
}

impl<'a> Samples<'a> {
    /// Those of `line`, if it was captured as volts.
    pub fn of(line: &'a Line) -> Option<Samples<'a>> {
        let samples = &line.trace.as_ref()?.samples;
        Some(Samples { samples })
    }

    /// From one sample to the next, in ticks; `None` where a value holds until the next, so that none is missed.
    pub fn step(&self) -> Option<i64> {
        match self.samples {
            TraceSamples::Uniform { step, .. } => Some(*step),
            TraceSamples::Steps { .. } => None,
        }
    }

    /// No more than about `count` of the samples, evenly taken, missing ones left out.
    pub fn some(&self, count: usize) -> Vec<f64> {
        match self.samples {
            TraceSamples::Uniform { volts, .. } => {
                let volts = (**volts).as_ref();
                let some = volts.iter().step_by((volts.len() / count).max(1));
                some.filter(|v| !v.is_nan()).map(|&v| f64::from(v)).collect()
            }
            TraceSamples::Steps { values, .. } => {
                let some = values.iter().step_by((values.len() / count).max(1));
                some.copied().filter(|v| !v.is_nan()).collect()
            }
        }
    }

    /// How long the edge at `time` takes from a tenth to nine tenths of the swing, in ticks, if it does so within `reach` of it.
    /// `share`: how far volts are on the way. Cost: linear in the samples there.
    pub fn transition(&self, time: i64, reach: i64, share: impl Fn(f64) -> f64) -> Option<f64> {
        let (mut last, mut left): (Option<(f64, f64)>, Option<f64>) = (None, None);
        for (at, volts) in self.timed(time - reach, time + reach) {
            let (at, now) = (at as f64, share(volts));
            if let Some((then, before)) = last {
                let crossing = |level: f64| then + (level - before) / (now - before) * (at - then);
                if before <= 0.1 && now > 0.1 {
                    left = Some(crossing(0.1));
                }
                if let Some(left) = left.filter(|_| before < 0.9 && now >= 0.9) {
                    return Some(crossing(0.9) - left);
                }
            }
            last = Some((at, now));
        }
        None
    }

    /// The samples from `from` to `to` (ticks, both ends closed) with their moments, missing ones left out.
    fn timed(&self, from: i64, to: i64) -> Vec<(i64, f64)> {
        match self.samples {
            TraceSamples::Uniform {
                start, step, volts, ..
            } => {
                let volts = (**volts).as_ref();
                let inside = between(volts.len(), (*start, *step), from, to);
                let timed = inside.map(|i| (start + i as i64 * step, f64::from(volts[i])));
                timed.filter(|(_, v)| !v.is_nan()).collect()
            }
            TraceSamples::Steps { times, values } => {
                let first = times.partition_point(|&t| t < from);
                let past = times.partition_point(|&t| t <= to).max(first);
                let timed = times[first..past]
                    .iter()
                    .copied()
                    .zip(values[first..past].iter().copied());
                timed.filter(|(_, v)| !v.is_nan()).collect()
            }
        }
    }

    /// The volts of the samples from `from` to `to` (ticks, both ends closed) into `found`, missing ones left out; of a trace whose values
    /// hold, the one that holds at `from` as well. Cost: linear in them, and log of the trace where values hold.
    pub fn within(&self, from: i64, to: i64, found: &mut Vec<f64>) {
        found.clear();
        match self.samples {
            TraceSamples::Uniform {
                start, step, volts, ..
            } => {
                let volts = (**volts).as_ref();
                let inside = volts[between(volts.len(), (*start, *step), from, to)].iter();
                found.extend(inside.filter(|v| !v.is_nan()).map(|&v| f64::from(v)));
            }
            TraceSamples::Steps { times, values } => {
                let first = times.partition_point(|&t| t <= from).saturating_sub(1);
                let past = times.partition_point(|&t| t <= to).max(first);
                found.extend(values[first..past].iter().copied().filter(|v| !v.is_nan()));
            }
        }
    }
}

/// The places of samples, `count` of them one a step from `start` on, from `from` to `to`, both ends closed.
fn between(count: usize, (start, step): (i64, i64), from: i64, to: i64) -> Range<usize> {
    let (step, count) = (step.max(1), count as i64);
    let first = (from - start + step - 1).div_euclid(step).clamp(0, count);
    let past = ((to - start).div_euclid(step) + 1).clamp(first, count);
    first as usize..past as usize
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::analysis::coupling::fixtures;
    use crate::model::{Level, Ticks, TimeSpan};

    #[test]
    fn samples_within_are_those_of_both_closed_ends_without_missing_ones() {
        let span = TimeSpan::new(Ticks(0), Ticks(100));
        let line = Line::digital("PEG", Level::Low, Vec::new(), span);
        let volts = vec![0.0, 1.0, f32::NAN, 3.0, 4.0];
        let line = fixtures::with_volts(line, 10, volts);
        let samples = Samples::of(&line).expect("volts");
        let mut found = Vec::new();
        let mut within = |from: i64, to: i64| {
            samples.within(from, to, &mut found);
            found.clone()
        };
        assert_eq!(within(10, 30), [1.0, 3.0]);
        assert_eq!(within(11, 29), [] as [f64; 0]);
        assert_eq!(within(-50, 5), [0.0]);
        assert_eq!(within(35, 5_000), [4.0]);
        assert_eq!(within(60, 50), [] as [f64; 0]);
    }
}
