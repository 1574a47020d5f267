//! `edgewitness align`: how the second capture's clock lies to the first's.

use serde::{Deserialize, Serialize};

/// Name and version of the shape, in its `schema`.
pub const SCHEMA: &str = "edgewitness-align-1";

/// time in A = time in B × (1 + `drift_ppm`·10⁻⁶) + `offset_s`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct AlignReport {
    pub schema: String,
    /// At time 0 of B's clock; half a sample of each instrument is allowed for.
    pub offset_s: f64,
    pub offset_se_s: f64,
    pub drift_ppm: f64,
    pub drift_se_ppm: f64,
    /// Middle of the matched edges on B's clock, and the standard error there.
    pub middle_s: f64,
    pub middle_se_s: f64,
    /// Edges of A with a counterpart in B.
    pub matched: u64,
    /// Edges within what both recorded that have no counterpart.
    pub unmatched_a: u64,
    pub unmatched_b: u64,
    /// Standard deviation of the matched edges about the line.
    pub residual_s: f64,
    /// The line is upside down in B.
    pub inverted: bool,
}
