//! Shapes that several schemas use.

use serde::{Deserialize, Serialize};

/// One file that was read.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct CaptureRow {
    pub file: String,
    /// `vcd` or `csv`.
    pub format: String,
    pub start_s: f64,
    pub end_s: f64,
    pub resolution_s: f64,
    /// Time on the first capture's clock = time here × (1 + `drift_ppm`·10⁻⁶) + `offset_s`.
    pub offset_s: f64,
    pub drift_ppm: f64,
    pub warnings: Vec<String>,
}

/// An estimate with its 95 % interval, both ends closed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Interval {
    pub estimate: f64,
    pub low: f64,
    pub high: f64,
}

/// A median with its 95 % interval, or the smallest and largest where there are too few for one (n < 6).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct Median {
    pub median: f64,
    pub low: f64,
    pub high: f64,
}
