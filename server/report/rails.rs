//! What supply rails and analog lines came to: the arrays `rails` and `waveforms` of the inspect report.

use serde::{Deserialize, Serialize};

/// One declared rail. Volts.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct RailRow {
    pub rail: String,
    pub nominal_v: f64,
    /// Lowest and highest allowed.
    pub low_v: f64,
    pub high_v: f64,
    /// `kept`, `broken` or `nothing-checked` (not in the capture).
    pub verdict: String,
    /// Samples of the trace; missing ones are not counted.
    pub samples: u64,
    /// Null when nothing was recorded.
    pub mean_v: Option<f64>,
    pub smallest_v: Option<f64>,
    pub largest_v: Option<f64>,
    pub ripple_rms_v: Option<f64>,
    /// Share of the samples outside, 0 to 1.
    pub outside: Option<f64>,
    pub excursions: Vec<ExcursionRow>,
    pub cause: Option<CauseRow>,
    /// Supply end minus this end.
    pub mean_drop_v: Option<f64>,
    pub largest_drop_v: Option<f64>,
    pub readings: Vec<ReadingRow>,
}

/// A stretch of a rail outside its tolerance.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct ExcursionRow {
    pub start_s: f64,
    pub end_s: f64,
    /// The voltage furthest from nominal.
    pub extreme_v: f64,
    /// `dip` (towards zero) or `rise`.
    pub kind: String,
}

/// The line whose edges the dips follow.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct CauseRow {
    pub line: String,
    /// `rise` or `fall`.
    pub edge: String,
    /// Dips that begin after such an edge, no later than `within_s`, of all dips.
    pub dips: u64,
    pub of: u64,
    /// Longest time from the edge to the dip.
    pub within_s: f64,
    /// Lines whose edges fit the same dips as well.
    pub inseparable_from: Vec<String>,
    /// As many dips from the share of time that the stretches after the edges cover; every line, polarity and length of
    /// stretch that was tried is allowed for in `p_value`.
    pub expected_by_chance: f64,
    pub p_value: f64,
}

/// A meter reading, and whether it lies within the rail's tolerance.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct ReadingRow {
    /// Where it was taken, as the person wrote it.
    pub at: String,
    pub volts: f64,
    pub within: bool,
}

/// Measures of one analog line by IEEE Std 181; medians over its transitions.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, utoipa::ToSchema)]
pub struct WaveformRow {
    pub line: String,
    pub low_v: f64,
    pub high_v: f64,
    pub rises: u64,
    pub falls: u64,
    /// 10 % to 90 %; null without such a transition.
    pub rise_s: Option<f64>,
    pub fall_s: Option<f64>,
    /// Largest, as fractions of the amplitude.
    pub overshoot: f64,
    pub pre_shoot: f64,
    /// Pulses that left one state and came back without reaching the other.
    pub runts: u64,
    /// What is left to the family's levels: VIL − low state, high state − VIH.
    pub margin_low_v: f64,
    pub margin_high_v: f64,
}
