//! The samples of an analog line and the thresholds that made it a digital one.

use std::sync::Arc;

use serde::{Deserialize, Serialize};

/// Volts below which a line is low and above which it is high; between them the last level holds (hysteresis).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Thresholds {
    pub low_v: f64,
    pub high_v: f64,
}

/// Volts over time. Cheap to clone.
#[derive(Clone)]
pub struct Trace {
    pub thresholds: Thresholds,
    /// The family that gave the thresholds ("ttl-5v", …), or "volts" when they were given as numbers.
    pub family: String,
    /// Whether the family was declared (true) or proposed from the line's own state levels.
    pub declared: bool,
    pub samples: TraceSamples,
}

/// Smallest and largest volts of successive runs of samples, in memory or in a mapped file.
pub type PyramidLevel = Arc<dyn AsRef<[[f32; 2]]> + Send + Sync>;

/// Where the samples of a trace lie in time.
#[derive(Clone)]
pub enum TraceSamples {
    /// Sample `i` was taken at tick `start + i × step` of the capture's timebase.
    Uniform {
        start: i64,
        step: i64,
        /// n volts; NaN where a cell was missing.
        volts: Arc<dyn AsRef<[f32]> + Send + Sync>,
        /// Smallest and largest (NaN left out; both NaN where all are) of each run of
        /// [`TraceSamples::PYRAMID`] samples, level by level: level 0 has
        /// ⌈n/16⌉ pairs, each further level a 16th of the one before, down to one pair.
        pyramid: Arc<Vec<PyramidLevel>>,
    },
    /// A value that holds from its time to the next (VCD reals). `times` ascending; as many `values`.
    Steps {
        times: Arc<Vec<i64>>,
        values: Arc<Vec<f64>>,
    },
}

impl TraceSamples {
    /// Samples in one pair of the pyramid's first level.
    pub const PYRAMID: usize = 16;
}

impl std::fmt::Debug for Trace {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Trace({}, {:?})", self.family, self.thresholds)
    }
}
