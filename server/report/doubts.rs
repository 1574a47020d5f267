//! Pulses that a note is about, where nothing shows, or only their regularity does, whether they are strays.

use serde::{Deserialize, Serialize};

/// Pulses of one line and level that a finding leaves open, or takes for the line's job.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct DoubtRow {
    /// The finding that tells of them: its `id`. Several rows may have one finding.
    pub finding: String,
    pub line: String,
    /// `low` or `high`.
    pub level: String,
    /// `open` (strays or the line's job), `whole-pulses` (another line's whole pulses, by a gate or because the two touch)
    /// or `job` (taken for the line's job).
    pub held: String,
    /// The line whose edges they follow, and which: `rise`, `fall` or `both`; null where they follow none.
    pub follows: Option<String>,
    pub edge: Option<String>,
    /// How many there are; `moments` has the first of them, at most 2,000.
    pub pulses: u64,
    pub moments: Vec<DoubtMoment>,
}

/// One of these pulses.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct DoubtMoment {
    pub start_s: f64,
    pub width_s: f64,
    /// Start minus the edge that it follows; null where it follows none.
    pub lag_s: Option<f64>,
}
