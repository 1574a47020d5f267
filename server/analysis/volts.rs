//! The samples of a trace as moments and volts, whatever their form.

use crate::model::{Capture, Trace, TraceSamples};

/// n samples: `times` in ticks ascending, `volts` as many, none missing.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Volts {
    pub times: Vec<f64>,
    pub volts: Vec<f64>,
}

impl Volts {
    /// Copies a trace; missing samples are left out. A value that holds until the next (VCD reals) keeps its own moments.
    pub fn of(trace: &Trace) -> Volts {
        match &trace.samples {
            TraceSamples::Uniform {
                start, step, volts, ..
            } => {
                let known = (**volts).as_ref().iter().enumerate().filter(|(_, v)| !v.is_nan());
                let pairs = known.map(|(i, &v)| ((start + i as i64 * step) as f64, f64::from(v)));
                let (times, volts) = pairs.unzip();
                Volts { times, volts }
            }
            TraceSamples::Steps { times, values } => Volts {
                times: times.iter().map(|&t| t as f64).collect(),
                volts: values.to_vec(),
            },
        }
    }

    /// The trace called `name`, of an analog line or of a variable that is no logic line.
    pub fn named(capture: &Capture, name: &str) -> Option<Volts> {
        let line = capture
            .line_index(name)
            .and_then(|i| capture.lines[i].trace.as_ref());
        let other = || capture.not_logic.iter().find(|n| n.name == name)?.trace.as_ref();
        line.or_else(other).map(Volts::of)
    }

    /// Whether there is no sample.
    pub fn is_empty(&self) -> bool {
        self.times.is_empty()
    }

    /// The value at or before `time`. Cost: logarithmic.
    pub fn at(&self, time: f64) -> Option<f64> {
        let after = self.times.partition_point(|&t| t <= time);
        after.checked_sub(1).map(|i| self.volts[i])
    }
}
