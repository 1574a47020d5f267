//! Volts → levels: thresholds with hysteresis, linear interpolation between samples, runts (IEEE Std 181-2011).
//!
//! | module | what it is for |
//! | --- | --- |
//! | `samples` | the samples themselves, with a pyramid of smallest and largest values |
//! | `families` | state levels, and the family that a line seems to be of |

mod families;
mod samples;

pub use families::{Proposal, propose};

use std::io;
use std::sync::Arc;

use super::build::{Built, LineBuilder, Value};
use super::columns::SpillFolder;
use crate::model::{Level, Runt, Thresholds, Ticks, TraceSamples};
use samples::SampleStore;

/// A runt must get this far from the threshold it left towards the other: less is noise on a slow edge.
/// [common practice, no source]
const RUNT_DEPTH: f64 = 0.1;

/// Grows one analog line.
#[derive(Debug)]
pub struct AnalogBuilder {
    line: LineBuilder,
    thresholds: Thresholds,
    samples: Option<SampleStore>,
    steps: Option<(Vec<i64>, Vec<f64>)>,
    last: Option<(i64, f64)>,
    high: Option<bool>,
    /// Where the present excursion left the line's level, and its furthest voltage.
    excursion: Option<(f64, f64)>,
    pub runts: Vec<Runt>,
    between: f64,
}

/// A finished analog line.
pub struct BuiltAnalog {
    pub built: Built,
    pub runts: Vec<Runt>,
    pub between: Ticks,
    pub samples: Option<TraceSamples>,
}

impl AnalogBuilder {
    /// `uniform`: samples come one a step; else values are kept with their times.
    pub fn new(
        line: LineBuilder,
        thresholds: Thresholds,
        uniform: bool,
        folder: &Arc<SpillFolder>,
        number: usize,
        room: usize,
    ) -> AnalogBuilder {
        AnalogBuilder {
            line,
            thresholds,
            samples: uniform.then(|| SampleStore::new(folder, number, room)),
            steps: (!uniform).then(Default::default),
            last: None,
            high: None,
            excursion: None,
            runts: Vec::new(),
            between: 0.0,
        }
    }

    /// The trace begins at `start`, in ticks.
    pub fn begin(&mut self, start: i64) {
        self.line.begin(start);
    }

    /// Stretches so far without a known level.
    pub fn stretch_count(&self) -> usize {
        self.line.stretch_count()
    }

    /// The voltage at `time`; NaN where it is missing.
    #[inline]
    pub fn push(&mut self, time: i64, volts: f64) -> io::Result<()> {
        // Samples are kept, and so looked at, as f32.
        let volts = f64::from(volts as f32);
        // What is too large for that is no voltage.
        let volts = if volts.is_finite() { volts } else { f64::NAN };
        if let Some(samples) = &mut self.samples {
            samples.push(volts as f32)?;
        } else if let Some((times, values)) = &mut self.steps {
            times.push(time);
            values.push(volts);
        }
        let Thresholds { low_v, high_v } = self.thresholds;
        if !volts.is_nan()
            && let Some((_, last)) = self.last
            && ((volts <= low_v && last <= low_v) || (volts >= high_v && last >= high_v))
        {
            self.last = Some((time, volts));
            return Ok(());
        }
        self.change(time, volts)
    }

    /// Voltages one a step from `time` on.
    pub fn push_run(&mut self, time: i64, step: i64, volts: &[f32]) -> io::Result<()> {
        if let Some(samples) = &mut self.samples {
            samples.push_run(volts)?;
        } else {
            for (i, &v) in volts.iter().enumerate() {
                self.push(time + i as i64 * step, f64::from(v))?;
            }
            return Ok(());
        }
        let (low, high) = (self.thresholds.low_v, self.thresholds.high_v);
        let mut at = 0;
        while at < volts.len() {
            // Samples that rest beyond a threshold say nothing new.
            if let Some((_, last)) = self.last {
                let rest = if last <= low {
                    leading(&volts[at..], |v| v <= low)
                } else if last >= high {
                    leading(&volts[at..], |v| v >= high)
                } else {
                    0
                };
                if rest > 0 {
                    at += rest;
                    self.last = Some((time + (at - 1) as i64 * step, f64::from(volts[at - 1])));
                    continue;
                }
            }
            self.change(time + at as i64 * step, f64::from(volts[at]))?;
            at += 1;
        }
        Ok(())
    }

    fn change(&mut self, time: i64, volts: f64) -> io::Result<()> {
        if volts.is_nan() {
            self.last = None;
            self.excursion = None;
            self.high = None;
            return self.line.set(time, Value::Unknown);
        }
        let Thresholds { low_v, high_v } = self.thresholds;
        let Some((last_time, last)) = self.last else {
            self.last = Some((time, volts));
            self.high = (volts >= high_v)
                .then_some(true)
                .or((volts <= low_v).then_some(false));
            let value = self
                .high
                .map_or(Value::Unknown, |h| if h { Value::High } else { Value::Low });
            return self.line.set(time, value);
        };
        self.last = Some((time, volts));
        let span = (time - last_time) as f64;
        let crossing = |level: f64| last_time as f64 + (level - last) / (volts - last) * span;
        let reach = last.max(volts).min(high_v) - last.min(volts).max(low_v);
        if last == volts {
            self.between += span;
        } else if reach > 0.0 {
            self.between += span * reach / (volts - last).abs();
        }
        match self.high {
            None => {
                if volts >= high_v || volts <= low_v {
                    let high = volts >= high_v;
                    self.high = Some(high);
                    let at = crossing(if high { high_v } else { low_v }).round() as i64;
                    self.line.set(at, if high { Value::High } else { Value::Low })?;
                }
            }
            Some(high) => {
                let (own, other) = if high { (high_v, low_v) } else { (low_v, high_v) };
                // Upside down for a high line, so that one reading serves both.
                let beyond = |v: f64, level: f64| if high { v < level } else { v > level };
                let reached = |v: f64| if high { v <= low_v } else { v >= high_v };
                if self.excursion.is_none() && beyond(volts, own) {
                    let start = if beyond(last, own) {
                        last_time as f64
                    } else {
                        crossing(own)
                    };
                    self.excursion = Some((start, volts));
                }
                if reached(volts) {
                    self.excursion = None;
                    self.high = Some(!high);
                    let at = crossing(other).round() as i64;
                    self.line.set(at, if high { Value::Low } else { Value::High })?;
                } else if let Some((start, peak)) = self.excursion {
                    if beyond(volts, peak) {
                        self.excursion = Some((start, volts));
                    }
                    if !beyond(volts, own) {
                        self.excursion = None;
                        self.runt(high, start, crossing(own), peak);
                    }
                }
            }
        }
        Ok(())
    }

    fn runt(&mut self, high: bool, start: f64, end: f64, peak_v: f64) {
        let Thresholds { low_v, high_v } = self.thresholds;
        let depth = if high { high_v - peak_v } else { peak_v - low_v };
        if depth >= RUNT_DEPTH * (high_v - low_v) {
            let start_tick = start.round() as i64;
            self.runts.push(Runt {
                start: Ticks(start_tick),
                width: Ticks((end.round() as i64 - start_tick).max(1)),
                level: if high { Level::Low } else { Level::High },
                peak_v,
            });
        }
    }

    /// Nothing was recorded from `from` on; `missing` samples are lacking.
    pub fn gap(&mut self, from: i64, missing: u64) -> io::Result<()> {
        self.last = None;
        self.excursion = None;
        self.high = None;
        if let Some(samples) = &mut self.samples {
            for _ in 0..missing {
                samples.push(f32::NAN)?;
            }
        }
        self.line.set(from, Value::Unrecorded)
    }

    /// Gives up the samples (a gap too long to fill).
    pub fn drop_samples(&mut self) {
        self.samples = None;
    }

    /// Values kept with their times.
    pub fn steps_held(&self) -> usize {
        self.steps.as_ref().map_or(0, |(times, _)| times.len())
    }

    /// Gives up the values kept with their times.
    pub fn drop_steps(&mut self) {
        self.steps = None;
    }

    /// The line up to `end`; its first sample was at `start`, with `step` ticks between samples.
    pub fn finish(self, start: i64, step: i64, end: i64) -> io::Result<BuiltAnalog> {
        let samples = match (self.samples, self.steps) {
            (Some(store), _) => {
                let (volts, pyramid) = store.finish()?;
                Some(TraceSamples::Uniform {
                    start,
                    step,
                    volts,
                    pyramid: Arc::new(pyramid),
                })
            }
            (None, Some((times, values))) => Some(TraceSamples::Steps {
                times: Arc::new(times),
                values: Arc::new(values),
            }),
            (None, None) => None,
        };
        Ok(BuiltAnalog {
            built: self.line.finish(end)?,
            runts: self.runts,
            between: Ticks(self.between.round() as i64),
            samples,
        })
    }
}

/// How many of the first samples keep to `rule` (NaN keeps to none); whole runs at once, which the compiler turns into
/// wide instructions.
#[inline]
fn leading(volts: &[f32], rule: impl Fn(f64) -> bool) -> usize {
    const AT_ONCE: usize = 16;
    let mut whole = 0;
    for run in volts.as_chunks::<AT_ONCE>().0 {
        if !run.iter().fold(true, |all, &v| all & rule(f64::from(v))) {
            break;
        }
        whole += AT_ONCE;
    }
    whole + volts[whole..].iter().take_while(|&&v| rule(f64::from(v))).count()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn builder() -> AnalogBuilder {
        let folder = Arc::new(SpillFolder::new());
        let line = LineBuilder::new(&folder, "edges-0.i64".to_owned(), 100);
        let thresholds = Thresholds {
            low_v: 0.8,
            high_v: 2.0,
        };
        let mut builder = AnalogBuilder::new(line, thresholds, true, &folder, 0, 64);
        builder.begin(0);
        builder
    }

    /// A trapezoid 0 → 5 V: start 10, rise 4, top 20, fall 6 (by the definitions of IEEE Std 181): the crossings are exact.
    #[test]
    fn crossings_are_interpolated() {
        let volts = |t: f64| match t {
            t if t < 10.0 => 0.0,
            t if t < 14.0 => (t - 10.0) / 4.0 * 5.0,
            t if t < 34.0 => 5.0,
            t if t < 40.0 => (40.0 - t) / 6.0 * 5.0,
            _ => 0.0,
        };
        let mut b = builder();
        for sample in 0..60 {
            b.push(sample * 1000, volts(sample as f64)).unwrap();
        }
        let done = b.finish(0, 1000, 59_000).unwrap();
        // 10 + 4 × 2/5 and 40 − 6 × 0.8/5.
        assert_eq!(&done.built.edges[..], &[Ticks(11_600), Ticks(39_040)]);
        assert!(done.runts.is_empty());
        // Between the thresholds: (2 − 0.8)/5 of each ramp.
        assert_eq!(done.between, Ticks(960 + 1440));
    }

    #[test]
    fn an_excursion_that_turns_back_is_a_runt() {
        let mut b = builder();
        for (i, v) in [0.2, 0.2, 1.4, 1.7, 0.2, 0.2, 0.9, 0.2, 5.0, 5.0, 1.1, 5.0]
            .into_iter()
            .enumerate()
        {
            b.push(i as i64 * 1000, v).unwrap();
        }
        let done = b.finish(0, 1000, 11_000).unwrap();
        assert_eq!(done.built.edges.len(), 1);
        // 0.9 V is only 0.1 V past the threshold: noise.
        assert_eq!(done.runts.len(), 2);
        assert_eq!(
            (done.runts[0].start, done.runts[0].level),
            (Ticks(1500), Level::High)
        );
        assert_eq!(done.runts[0].width, Ticks(3600 - 1500));
        assert_eq!(done.runts[1].level, Level::Low);
        let Some(TraceSamples::Uniform { volts, pyramid, .. }) = done.samples else {
            panic!()
        };
        assert_eq!((*volts).as_ref().len(), 12);
        assert_eq!((*pyramid[0]).as_ref(), [[0.2f32, 5.0]]);
    }

    #[test]
    fn the_pyramid_ends_in_one_pair() {
        let mut b = builder();
        for i in 0..1000 {
            b.push(i, f64::from(i as i32 % 7)).unwrap();
        }
        let Some(TraceSamples::Uniform { pyramid, .. }) = b.finish(0, 1, 999).unwrap().samples else {
            panic!()
        };
        let sizes: Vec<usize> = pyramid.iter().map(|l| (**l).as_ref().len()).collect();
        assert_eq!(sizes, [63, 4, 1]);
    }
}
